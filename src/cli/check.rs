//! `jogaudit check`

use std::path::{Path, PathBuf};

use clap::ValueEnum;

use jogaudit_case::{
    self as case, Failure, MAX_UNZIPPED_MIB, case_recordings, config_unzipping, due_in_case, named,
    named_output,
};
use jogaudit_core::audit::{Outcome, Prescription};
use jogaudit_core::clean::Series;
use jogaudit_core::gait::{RunnerEvidence, RunnerPrior};
use jogaudit_core::pipeline::{Activity, Config};
use jogaudit_files::{self as files, Output};
use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::units::LengthUnit;
use jogaudit_report::{CheckReport, html, json, text};

use super::{Done, Io, mebibytes, units};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Recording: FIT, GPX or TCX, plain, gzipped or in a zip archive; `-` reads standard input
    file: PathBuf,
    /// Read the prescription from this TOML file
    #[arg(long, value_name = "PLAN")]
    plan: PathBuf,
    /// Hold the recording against this stage [default: the plan's only one]
    #[arg(long, value_name = "NAME")]
    stage: Option<String>,
    /// Choose the form of the report
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Show paces and distances by the kilometre or the mile [default: the plan's, else km]
    #[arg(long, value_parser = units())]
    units: Option<LengthUnit>,
    /// Write the report to this file, whole or not at all, instead of standard output; `-` is standard output
    #[arg(long, value_name = "PATH")]
    out: Option<PathBuf>,
    /// End with exit code 1 when the outcome is `overdone`
    #[arg(long)]
    strict: bool,
    /// Learn from the other recordings of this case folder how the runner walks and runs, where the recording alone leaves it open
    #[arg(long, value_name = "DIR")]
    case: Option<PathBuf>,
    /// Take the recording by itself all the same
    #[arg(long, requires = "case")]
    no_case_prior: bool,
    /// Take this activity of an input that holds several, counted from 1 [default: the first on foot]
    #[arg(long, value_name = "N")]
    activity: Option<usize>,
    /// Refuse zipped input that unfolds to more than this
    #[arg(long, value_name = "MIB", default_value_t = MAX_UNZIPPED_MIB, value_parser = mebibytes())]
    max_unzipped: u64,
}

impl Args {
    /// A check that prints text, as without any option.
    pub(super) fn plain(file: PathBuf, plan: PathBuf, stage: &str) -> Self {
        Self {
            file,
            plan,
            stage: Some(stage.to_owned()),
            format: Format::Text,
            units: None,
            out: None,
            strict: false,
            case: None,
            no_case_prior: false,
            activity: None,
            max_unzipped: MAX_UNZIPPED_MIB,
        }
    }
}

#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Format {
    /// For reading, 80 columns
    #[default]
    Text,
    /// For programs: jogaudit.check/1
    Json,
    /// For looking and printing: one file that needs nothing else
    Html,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let stdin = Path::new("-");
    if args.file == stdin && args.plan == stdin {
        return Err(Failure::refused("standard input cannot be both the recording and the plan"));
    }
    let case = args.case.as_deref().filter(|_| !args.no_case_prior);
    let out = output(args, case)?;
    let config = config_unzipping(args.max_unzipped);
    let mut notices = Vec::new();
    let mut plan = files::plan(&args.plan, &mut notices)?;
    plan.units = args.units.or(plan.units);
    let stage = case::stage(&plan, args.stage.as_deref())?;
    let mut input = files::input(&args.file, args.activity, &config)?;
    input.activity.notices.splice(0..0, notices);
    let mut asked = stage.clone();
    let mut repetitions = None;
    if let Some(case) = case {
        let files = files::open_case(case)?;
        let recorded = case_recordings(&*files, &|names| files::read_all(&*files, names, &config))?;
        let evidence: Vec<RunnerEvidence> =
            recorded.iter().filter_map(|r| RunnerEvidence::of(&r.series, &r.segmentation)).collect();
        let Activity { series, notices, .. } = &mut input.activity;
        let due = series
            .as_ref()
            .and_then(|series| due_in_case(&*files, &plan, &stage.name, recorded, series, &config, notices));
        if let Some(due) = due {
            (asked.session, repetitions) = (due.session, Some(due.repetitions));
        }
        let prescription = Prescription::of(&plan, &asked);
        input.activity = with_others(input.activity, (case, &evidence), prescription, &config);
    }
    let prescription = Prescription::of(&plan, &asked);
    let with_trace = matches!(args.format, Format::Html);
    let checked = input.activity.check(prescription, &config, with_trace);
    let report = CheckReport::new(&input.activity, &input.sha256, &plan, &asked, &checked);
    let CheckReport { mut view, charts } = report;
    view.repetitions = repetitions;
    match out {
        Some(out) => {
            let report = match args.format {
                Format::Text => anstream::adapter::strip_str(&text::check(&view, true)).to_string(),
                Format::Json => json::check(&view),
                Format::Html => html::check(&view, charts.as_ref()),
            };
            out.write(report.as_bytes())?;
            io.remark(&format!("{}\nThe report is in {}.\n", view.summary, named_output(out.named())));
        }
        None => match args.format {
            Format::Text => {
                io.result(&text::check(&view, false))?;
                io.remark(&text::notices(&view.notices));
            }
            // The other documents hold the notices themselves.
            Format::Json => io.result(&json::check(&view))?,
            Format::Html => io.result(&html::check(&view, charts.as_ref()))?,
        },
    }
    let is_overdone = view.outcome == Outcome::Overdone;
    Ok(if args.strict && is_overdone { Done::Overdone } else { Done::Plain })
}

/// The output, which is none of the inputs: the recording, the plan and the recordings of the case.
fn output(args: &Args, case: Option<&Path>) -> Result<Option<Output>, Failure> {
    let others = match case {
        Some(case) => files::case_inputs(case)?,
        None => Vec::new(),
    };
    let mut inputs: Vec<&Path> = vec![&args.file, &args.plan];
    inputs.extend(others.iter().map(PathBuf::as_path));
    files::output(args.out.as_deref(), &inputs)
}

/// The activity with what the other recordings of a case folder tell of the runner.
fn with_others(
    mut activity: Activity,
    (case, evidence): (&Path, &[RunnerEvidence]),
    prescription: Prescription<'_>,
    config: &Config,
) -> Activity {
    let is_known = |series: &Series| RunnerPrior::of(evidence, series.start(), series.end()).is_some();
    if activity.series.as_ref().is_some_and(|series| !is_known(series)) {
        let text = format!(
            "No other recording of {} tells how this runner walks and runs: this one is taken by itself.",
            named(case)
        );
        activity.notices.push(Notice::new(NoticeCode::RunnerNotKnown, text));
    }
    activity.with_others(evidence, prescription, config)
}
