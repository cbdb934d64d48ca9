//! `jogaudit bouts`

use std::path::PathBuf;

use clap::ValueEnum;

use jogaudit_case::{Failure, MAX_UNZIPPED_MIB, config_unzipping};
use jogaudit_files as files;
use jogaudit_recording::units::LengthUnit;
use jogaudit_report::{BoutsView, Source, csv, json, text};

use super::{Done, Io, mebibytes, units};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Recording: FIT, GPX or TCX, plain, gzipped or in a zip archive; `-` reads standard input
    file: PathBuf,
    /// Choose the form of the result
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Show paces and distances by the kilometre or the mile [default: km]
    #[arg(long, value_parser = units())]
    units: Option<LengthUnit>,
    /// Take this activity of an input that holds several, counted from 1 [default: the first on foot]
    #[arg(long, value_name = "N")]
    activity: Option<usize>,
    /// Refuse zipped input that unfolds to more than this
    #[arg(long, value_name = "MIB", default_value_t = MAX_UNZIPPED_MIB, value_parser = mebibytes())]
    max_unzipped: u64,
}

#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Format {
    /// For reading, 80 columns
    #[default]
    Text,
    /// For programs: jogaudit.bouts/1
    Json,
    /// For spreadsheets: one line a bout
    Csv,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let input = files::input(&args.file, args.activity, &config_unzipping(args.max_unzipped))?;
    let activity = &input.activity;
    let source = Source { facts: &activity.facts, sha256: &input.sha256 };
    let view =
        BoutsView::new(source, &activity.segmentation, &activity.notices, args.units.unwrap_or_default());
    match args.format {
        Format::Text => io.result(&text::bouts(&view, false))?,
        Format::Json => io.result(&json::bouts(&view))?,
        Format::Csv => io.result(&csv::bouts(&view))?,
    }
    // The JSON document holds the notices itself.
    if !matches!(args.format, Format::Json) {
        io.remark(&text::notices(&view.notices));
    }
    Ok(Done::Plain)
}
