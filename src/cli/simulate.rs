//! `jogaudit simulate`

use super::failure::Failure;
use super::{Done, Io};

#[derive(clap::Args, Debug)]
pub(super) struct Args {}

pub(super) fn run(_args: &Args, _io: &mut Io<'_>) -> Result<Done, Failure> {
    Err(Failure::refused("not built yet"))
}
