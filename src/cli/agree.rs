//! `jogaudit agree`

use std::fs;
use std::path::{Path, PathBuf};

use clap::ValueEnum;

use jogaudit_case::{Failure, named};
use jogaudit_core::agree::bootstrap::{RESAMPLES, Resampling, SEED};
use jogaudit_core::agree::input::{self, BoutSets, Side};
use jogaudit_core::agree::{compare_bouts, compare_scores};
use jogaudit_files::{self as files, Output};
use jogaudit_recording::notice::Notice;
use jogaudit_report::{agree_plot, agree_text, agree_view, text, view};

use super::{Done, Io};

/// Larger sides are refused rather than read into memory.
const MOST_BYTES: u64 = input::MOST_CHARACTERS as u64;
/// What a file of a folder ends with.
const ENDINGS: [&str; 2] = ["json", "csv"];
/// What may stand before the ending and tells the side, not the recording.
const SIDES: [&str; 2] = [".truth", ".bouts"];

/// A side is a file of bouts (the JSON or CSV of `bouts`, the truth of `simulate`), a folder of such files, a table of the
/// bouts of many recordings, or a table of scores; tables are CSV or NDJSON.
#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// What the other side is held against
    reference: PathBuf,
    /// What is held against the reference
    other: PathBuf,
    /// Choose the form of the result
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Write a picture (SVG) as well: of bouts their boundaries' errors, of scores differences against means
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Columns that name a row of a table [default: `path`, of bouts else `recording`, of scores else the first of the reference]
    #[arg(long, value_name = "COLUMNS", value_delimiter = ',')]
    key: Vec<String>,
    /// Columns of scores to compare [default: all that hold numbers on both sides]
    #[arg(long, value_name = "COLUMNS", value_delimiter = ',')]
    columns: Vec<String>,
    /// Draw the recordings this often for the intervals of bouts
    #[arg(long, value_name = "N", default_value_t = RESAMPLES, value_parser = clap::value_parser!(u32).range(100..=20_000))]
    resamples: u32,
    /// Begin the draws here: the same number gives the same intervals
    #[arg(long, value_name = "N", default_value_t = SEED)]
    seed: u64,
}

#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Format {
    /// For reading, 80 columns
    #[default]
    Text,
    /// For programs: jogaudit.agree/1
    Json,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let out = output(args)?;
    let sides = (side(&args.reference, &args.key)?, side(&args.other, &args.key)?);
    let (result, plot, notices) = match sides {
        (Side::Bouts(mut reference), Side::Bouts(mut other)) => {
            same_name(args, &mut reference, &mut other);
            let mut notices = Vec::new();
            let compared = compare_bouts(&reference, &other).take(&mut notices);
            if compared.each.is_empty() {
                return Err(no_partner("recording", &compared.unmatched));
            }
            let how = Resampling { resamples: args.resamples, seed: args.seed };
            let view = agree_view::AgreedBoutsView::new(&compared, how, &notices);
            let result = match args.format {
                Format::Text => agree_text::bouts(&view),
                Format::Json => agree_view::bouts_json(&view),
            };
            (result, args.plot.as_ref().map(|_| agree_plot::bouts(&compared.sum)), notices)
        }
        (Side::Scores(reference), Side::Scores(other)) => {
            let joined = input::join(&reference, &other, &args.key, &args.columns)
                .map_err(|error| Failure::refused("the two tables cannot be compared").caused_by(&error))?;
            if joined.matched == 0 {
                return Err(no_partner("row", &joined.unmatched));
            }
            let mut notices = Vec::new();
            let compared = compare_scores(joined).take(&mut notices);
            let view = agree_view::AgreedScoresView::new(&compared, &notices);
            let result = match args.format {
                Format::Text => agree_text::scores(&view),
                Format::Json => agree_view::scores_json(&view),
            };
            (result, args.plot.as_ref().map(|_| agree_plot::scores(&compared)), notices)
        }
        _ => {
            return Err(Failure::refused("one side has bouts and the other has scores")
                .hint("a table of bouts has the columns `gait`, `start_s` and `end_s`"));
        }
    };
    // The result is printed once the picture is there.
    if let (Some(out), Some(plot)) = (out, plot) {
        out.write(plot.as_bytes())?;
    }
    io.result(&result)?;
    if matches!(args.format, Format::Text) {
        remark(&notices, io);
    }
    Ok(Done::Plain)
}

/// The file of the picture: no file of either side, and not standard output, which takes the result.
fn output(args: &Args) -> Result<Option<Output>, Failure> {
    let Some(plot) = args.plot.as_deref() else { return Ok(None) };
    if plot == Path::new("-") {
        let failure = Failure::refused("the result and the picture cannot both go to standard output");
        return Err(failure.hint("name a file with --plot"));
    }
    let mut inputs = Vec::new();
    for side in [&args.reference, &args.other] {
        if side.is_dir() {
            inputs.extend(files_of(side)?);
        } else {
            inputs.push(side.clone());
        }
    }
    let inputs: Vec<&Path> = inputs.iter().map(PathBuf::as_path).collect();
    files::output(Some(plot), &inputs)
}

/// Says what was noticed; the JSON document holds it itself.
fn remark(notices: &[Notice], io: &mut Io<'_>) {
    let views: Vec<_> = notices.iter().map(view::notice).collect();
    io.remark(&text::notices(&views));
}

fn no_partner(what: &str, unmatched: &[Vec<String>; 2]) -> Failure {
    let example =
        |names: &[String]| names.first().map_or_else(|| "nothing".to_owned(), |name| format!("`{name}`"));
    Failure::refused(format!("no {what} stands on both sides")).hint(format!(
        "the reference names {} first, the other side {}; name them alike, or name the columns with --key",
        example(&unmatched[0]),
        example(&unmatched[1])
    ))
}

/// Two files of one recording each are compared whatever they are called.
fn same_name(args: &Args, reference: &mut BoutSets, other: &mut BoutSets) {
    if reference.len() == 1 && other.len() == 1 && !args.reference.is_dir() && !args.other.is_dir() {
        let name =
            reference.keys().chain(other.keys()).find(|name| !name.is_empty()).cloned().unwrap_or_default();
        for sets in [reference, other] {
            *sets = std::mem::take(sets).into_values().map(|set| (name.clone(), set)).collect();
        }
    }
}

fn side(path: &Path, key: &[String]) -> Result<Side, Failure> {
    if path.is_dir() { folder(path).map(Side::Bouts) } else { file(path, key) }
}

fn file(path: &Path, key: &[String]) -> Result<Side, Failure> {
    const HINT: &str = "a side is CSV or JSON; `batch` writes CSV and NDJSON, `bouts` CSV and JSON";
    let refused = || Failure::refused(format!("could not read {}", named(path)));
    let bytes = files::bytes(path, MOST_BYTES)?;
    let text = std::str::from_utf8(&bytes).map_err(|error| refused().caused_by(&error).hint(HINT))?;
    input::parse(text, key).map_err(|error| refused().caused_by(&error).hint(HINT))
}

/// The JSON and CSV files of a folder, in order of name.
fn files_of(path: &Path) -> Result<Vec<PathBuf>, Failure> {
    let entries = fs::read_dir(path).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    let mut files: Vec<PathBuf> = entries
        .map_err(|error| Failure::input(path, &error))?
        .into_iter()
        .map(|entry| entry.path())
        .collect();
    files.retain(|file| file.extension().is_some_and(|ending| ENDINGS.iter().any(|known| ending == *known)));
    files.sort();
    Ok(files)
}

/// The bouts of every JSON and CSV file of a folder, by the file's name without what it ends with.
fn folder(path: &Path) -> Result<BoutSets, Failure> {
    let mut sets = BoutSets::new();
    for path in files_of(path)? {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let name = SIDES.iter().find_map(|side| stem.strip_suffix(side)).unwrap_or(&stem).to_owned();
        let Side::Bouts(bouts) = file(&path, &[])? else {
            return Err(Failure::refused(format!("{} holds no bouts", named(&path)))
                .hint("a folder holds one file of bouts a recording"));
        };
        let mut bouts = bouts.into_values();
        let (Some(set), None) = (bouts.next(), bouts.next()) else {
            return Err(Failure::refused(format!("{} holds the bouts of several recordings", named(&path)))
                .hint("name the table itself instead of its folder"));
        };
        if sets.insert(name.clone(), set).is_some() {
            return Err(Failure::refused(format!("{} is a second file of bouts of `{name}`", named(&path))));
        }
    }
    if sets.is_empty() {
        return Err(Failure::refused(format!("{} holds no file of bouts", named(path)))
            .hint("files of bouts end in .json or .csv"));
    }
    Ok(sets)
}
