//! `jogaudit review`

use std::path::PathBuf;

use clap::ValueEnum;
use jiff::Timestamp;
use jiff::civil::Date;

use jogaudit_case::Failure;
use jogaudit_core::pipeline::Config;
use jogaudit_files::read_case;
use jogaudit_recording::units::LengthUnit;
use jogaudit_report::{html, json, review_text, text};

use super::{Done, Io, units};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Folder with plan.toml, diary.csv and recordings/, or a zip of one
    #[arg(value_name = "CASE")]
    case: PathBuf,
    /// Choose the form of the report
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Show paces and distances by the kilometre or the mile [default: the plan's, else km]
    #[arg(long, value_parser = units())]
    units: Option<LengthUnit>,
    /// Review the case as it stood on this day [default: today in the plan's time zone]
    #[arg(long, value_name = "DATE")]
    as_of: Option<Date>,
    /// Take each recording by itself, without what the others tell of the runner
    #[arg(long)]
    no_case_prior: bool,
}

impl Args {
    /// A review that prints text.
    pub(super) fn plain(case: PathBuf, as_of: Date) -> Self {
        Self { case, format: Format::Text, units: None, as_of: Some(as_of), no_case_prior: false }
    }
}

#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Format {
    /// For reading, 80 columns
    #[default]
    Text,
    /// For programs: jogaudit.review/1
    Json,
    /// For looking and printing: one file that needs nothing else
    Html,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let config = Config { alone: args.no_case_prior, ..Config::default() };
    let mut case = read_case(&args.case, &config)?;
    case.plan.units = args.units.or(case.plan.units);
    let as_of = args.as_of.unwrap_or_else(|| case.today(Timestamp::now()));
    let view = case.review(as_of, &config);
    match args.format {
        Format::Text => {
            io.result(&review_text::review(&view, false))?;
            io.remark(&text::notices(&view.notices));
        }
        // The other documents hold the notices themselves.
        Format::Json => io.result(&json::review(&view))?,
        Format::Html => io.result(&html::review(&view))?,
    }
    Ok(Done::Plain)
}
