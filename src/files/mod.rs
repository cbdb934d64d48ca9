//! What stands on disk: the inputs that the user named, results written whole, case folders; and what is said when that
//! fails. The command line, the batch and the page share it.

mod case;
mod failure;
mod input;
mod output;

pub(crate) use case::read_case;
pub(crate) use failure::{Failure, named};
pub(crate) use input::bytes;
pub(crate) use input::{MAX_UNZIPPED_MIB, plan, session, stage};
pub(crate) use output::{refuse_inputs, write_whole};
