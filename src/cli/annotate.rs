//! `jogaudit annotate`

use std::path::PathBuf;

use jogaudit_case::{Failure, MAX_UNZIPPED_MIB, config_unzipping, named_output};
use jogaudit_core::agree::input::MOST_CHARACTERS;
use jogaudit_files::{self as files, Output};
use jogaudit_page::annotate::{Sheet, rater_name};
use jogaudit_report::{text, view};
use jogaudit_server::serve_annotation;

use super::{Done, Io, mebibytes};

/// The page holds the recording's readings and nothing that the program makes of them. What is saved is a table of bouts that `agree`
/// reads; docs/validation.md has a study with two raters.
#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Recording: FIT, GPX or TCX, plain, gzipped or in a zip archive; `-` reads standard input
    file: PathBuf,
    /// Say who marks: initials or a pseudonym
    #[arg(long, value_name = "NAME", value_parser = rater_name)]
    rater: String,
    /// Write what is marked to this file at every Save, whole
    #[arg(long, value_name = "FILE.csv")]
    out: PathBuf,
    /// Go on with what this rater has saved there before
    #[arg(long)]
    resume: bool,
    /// Take this activity of an input that holds several, counted from 1 [default: the first on foot]
    #[arg(long, value_name = "N")]
    activity: Option<usize>,
    /// Listen on this port [default: one that is free]
    #[arg(long, value_name = "PORT", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Refuse zipped input that unfolds to more than this
    #[arg(long, value_name = "MIB", default_value_t = MAX_UNZIPPED_MIB, value_parser = mebibytes())]
    max_unzipped: u64,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let out = output(args)?;
    let (sha256, readings) =
        files::readings(&args.file, args.activity, &config_unzipping(args.max_unzipped))?;
    let mut sheet = Sheet::new(&args.file, &sha256, &readings, &args.rater, &args.out)?;
    if args.resume {
        let bytes = files::bytes(&args.out, MOST_CHARACTERS as u64)?;
        sheet = sheet.resumed(&String::from_utf8_lossy(&bytes))?;
    }
    let notices: Vec<_> = readings.notices.iter().map(view::notice).collect();
    serve_annotation(sheet, out, args.port, &mut |address| {
        io.result(&format!("{address}\n"))?;
        io.remark(&text::notices(&notices));
        io.remark(
            "Open this address in a browser on this machine. It lets in whoever has it: do not pass it on.\nSave on the page, then \
             end with Ctrl-C.\n",
        );
        Ok(())
    })?;
    Ok(Done::Plain)
}

/// The file of the marks: not the recording, not standard output, and no file that is there already, unless it is gone on with.
fn output(args: &Args) -> Result<Output, Failure> {
    let refused = |what: &str, hint: &str| Failure::refused(what).hint(hint);
    let out = files::output(Some(&args.out), &[&args.file])?;
    let Some(out) = out.filter(Output::is_file) else {
        return Err(refused("marks are kept in a file of their own", "name a new file with --out"));
    };
    let to = named_output(&args.out);
    match (args.out.exists(), args.resume) {
        (true, false) => Err(refused(
            &format!("{to} is there already and is not overwritten"),
            "name another file with --out, or add --resume to go on with what is marked there",
        )),
        (false, true) => Err(refused(
            &format!("{to} is not there to go on with"),
            "leave --resume out to begin, or name the file that was saved",
        )),
        _ => Ok(out),
    }
}
