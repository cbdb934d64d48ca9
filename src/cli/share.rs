//! `jogaudit share`

use std::path::{Path, PathBuf};

use jogaudit_case::{Failure, NOT_HIDDEN, SharedCase, named_output};
use jogaudit_core::pipeline::Config;
use jogaudit_files as files;

use super::{Done, Io};

const WITH_PLACES: &str =
    "The recordings are as they were: they show where the runner runs, mostly also where they live.\n";

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Case folder, or a zip of one
    #[arg(value_name = "CASE")]
    case: PathBuf,
    /// Write the zip to this file; `-` is standard output
    #[arg(long, value_name = "FILE.zip")]
    out: PathBuf,
    /// Leave the recordings as they are, with every place
    #[arg(long)]
    keep_places: bool,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let inputs = files::case_inputs(&args.case)?;
    let inputs: Vec<&Path> = inputs.iter().map(PathBuf::as_path).collect();
    let out = files::outputs(&[&args.out], &inputs)?;
    let case = files::open_case(&args.case)?;
    // A folder that is none, or has nothing in it, is most likely the wrong one.
    if !case.has("plan.toml") && case.recordings(&mut Vec::new())?.is_empty() {
        let what = format!("{} holds no case", jogaudit_case::named(&args.case));
        return Err(Failure::refused(what).hint("CASE is a folder with plan.toml, diary.csv and recordings/"));
    }
    let shared = files::share_case(&*case, args.keep_places, &Config::default())?;
    files::write_together(&out, &[&shared.zip])?;
    io.remark(&said(args, &shared));
    Ok(Done::Plain)
}

/// What was done, what was not, and what is not hidden.
fn said(args: &Args, shared: &SharedCase) -> String {
    let to = named_output(&args.out);
    let recordings = count(shared.recordings, "recording", "recordings");
    let mut said = if args.keep_places {
        format!("The case is in {to}, with {recordings}.\n{WITH_PLACES}")
    } else {
        let taken = match shared.without_places {
            0 => "None of them had places.".to_owned(),
            n => format!("Places were taken out of {}.", count(n, "activity", "activities")),
        };
        format!(
            "The case is in {to}, with {recordings}. {taken} Names and numbers of devices, and names, notes and owners in recordings \
             were taken out too.\n"
        )
    };
    for (name, why) in &shared.left_out {
        said += &["Left out, since it can’t be told what it holds: ", name, ": ", why, ".\n"].concat();
    }
    for (name, new) in &shared.renamed {
        said += &[name, " is ", new, " there: GPX cannot do without places.\n"].concat();
    }
    said + NOT_HIDDEN + "\n"
}

fn count(n: usize, one: &str, several: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {several}") }
}
