//! `jogaudit agree`

use std::path::{Path, PathBuf};

use clap::ValueEnum;

use jogaudit_case::Failure;
use jogaudit_core::agree::bootstrap::{RESAMPLES, Resampling, SEED};
use jogaudit_files::{self as files, Compared, Output, compare_sides, give_one_name, side, side_files};
use jogaudit_recording::notice::Notice;
use jogaudit_report::{agree_plot, agree_text, agree_view, text, view};

use super::{Done, Io};

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
    let (mut reference, mut other) = (side(&args.reference, &args.key)?, side(&args.other, &args.key)?);
    if !args.reference.is_dir() && !args.other.is_dir() {
        give_one_name(&mut reference, &mut other);
    }
    let mut notices = Vec::new();
    let compared = compare_sides(&reference, &other, &args.key, &args.columns, &mut notices)?;
    let (result, plot) = match compared {
        Compared::Bouts(compared) => {
            let how = Resampling { resamples: args.resamples, seed: args.seed };
            let view = agree_view::AgreedBoutsView::new(&compared, how, &notices);
            let result = match args.format {
                Format::Text => agree_text::bouts(&view),
                Format::Json => agree_view::bouts_json(&view),
            };
            (result, args.plot.as_ref().map(|_| agree_plot::bouts(&compared.sum)))
        }
        Compared::Scores(compared) => {
            let view = agree_view::AgreedScoresView::new(&compared, &notices);
            let result = match args.format {
                Format::Text => agree_text::scores(&view),
                Format::Json => agree_view::scores_json(&view),
            };
            (result, args.plot.as_ref().map(|_| agree_plot::scores(&compared)))
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
            inputs.extend(side_files(side)?);
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
