//! `jogaudit page`

use std::path::{Path, PathBuf};

use jiff::civil::Date;
use tempfile::TempDir;

use jogaudit_case::Failure;
use jogaudit_server::{Options, serve};

use super::{Done, Io, demo};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Case folder, folder of cases, or zip of a case to look at [default: a made-up case]
    #[arg(value_name = "CASE")]
    place: Option<PathBuf>,
    /// Listen on this port [default: one that is free]
    #[arg(long, value_name = "PORT", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Review the cases as they stood on this day [default: today in the plan's time zone]
    #[arg(long, value_name = "DATE")]
    as_of: Option<Date>,
    /// Refuse files that are larger than this
    #[arg(long, value_name = "MIB", default_value_t = 16, value_parser = clap::value_parser!(u16).range(1..=64))]
    max_file: u16,
    /// Show the plan to read only: for whoever follows it
    #[arg(long)]
    patient: bool,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let made_up = if args.place.is_none() { Some(MadeUp::new()?) } else { None };
    let place = args.place.as_deref().or(made_up.as_ref().map(|made_up| made_up.case.as_path()));
    let options = Options {
        place: place.unwrap_or(Path::new(".")).to_owned(),
        made_up: made_up.is_some(),
        as_of: args.as_of.or(made_up.is_some().then_some(demo::AS_OF)),
        port: args.port,
        max_file_bytes: usize::from(args.max_file) << 20,
        is_patient: args.patient,
    };
    serve(&options, &mut |address| {
        io.result(&format!("{address}\n"))?;
        io.remark(
            "Open this address in a browser on this machine. It lets in whoever has it: do not pass it on.\nEnd with \
             Ctrl-C.\n",
        );
        Ok(())
    })?;
    Ok(Done::Plain)
}

/// A made-up case in a folder of its own, which is removed when this is dropped.
struct MadeUp {
    _folder: TempDir,
    case: PathBuf,
}

impl MadeUp {
    fn new() -> Result<Self, Failure> {
        let folder = tempfile::Builder::new().prefix("jogaudit-").tempdir().map_err(|error| {
            Failure::refused("could not make a folder for the made-up case").caused_by(&error)
        })?;
        let case = folder.path().join("made-up-case");
        demo::make_case(&case)?;
        Ok(Self { _folder: folder, case })
    }
}
