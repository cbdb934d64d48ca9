//! `jogaudit plan check`, `plan show`, `plan draft`; `plan export` stands in [`super::export`]

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};
use jiff::civil::{Date, Weekday};

use jogaudit_case::{self as case, Failure, named_output};
use jogaudit_core::prescription::draft::{DraftRequest, draft};
use jogaudit_core::prescription::lint::{Increments, LintConfig, lint};
use jogaudit_core::prescription::{DatedSession, Plan, Stage, parse_duration, parse_percent, parse_weekdays};
use jogaudit_core::range::Range;
use jogaudit_core::review::Diary;
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;
use jogaudit_recording::units::LengthUnit;
use jogaudit_report::card::{self, CardView};
use jogaudit_report::plan_lint::{self, LintView};
use jogaudit_report::plan_show::{self, PlanView};
use jogaudit_report::{HandoutView, html, plan_draft, text, view};

use super::{Done, Io, export, units};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Look a plan over for jumps, missing rest and limits that cannot be
    #[command(alias = "lint")]
    Check(CheckArgs),
    /// Print the doses of each stage and week, the card of one session, a hand-out or a blank diary
    Show(ShowArgs),
    /// Draft a steady plan from a start, a goal and limits
    Draft(Box<DraftArgs>),
    /// Write a session as a workout for a watch, or the dated sessions as a calendar
    Export(export::Args),
}

#[derive(clap::Args, Debug)]
struct CheckArgs {
    /// Plan file; `-` reads standard input
    plan: PathBuf,
    /// Choose the form of the result
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Show paces and distances by the kilometre or the mile [default: the plan's, else km]
    #[arg(long, value_parser = units())]
    units: Option<LengthUnit>,
    /// Weeks since the runner last ran [default: taken for three months or more]
    #[arg(long, value_name = "WEEKS")]
    weeks_away: Option<u32>,
}

#[derive(clap::Args, Debug)]
struct ShowArgs {
    /// Plan file; `-` reads standard input
    plan: PathBuf,
    /// Show this stage alone: the card of a session of it instead of the doses
    #[arg(long, value_name = "NAME")]
    stage: Option<String>,
    /// Choose the form of the result
    #[arg(long, value_enum, default_value_t)]
    format: ShowFormat,
    /// Show paces and distances by the kilometre or the mile [default: the plan's, else km]
    #[arg(long, value_parser = units())]
    units: Option<LengthUnit>,
    /// Print the hand-out in large letters; with --format html
    #[arg(long)]
    large_print: bool,
    /// Write the result to this file, whole or not at all, instead of standard output; `-` is standard output
    #[arg(long, value_name = "PATH")]
    out: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Format {
    /// For reading, 80 columns
    #[default]
    Text,
    /// For programs: jogaudit.plan-lint/1
    Json,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum ShowFormat {
    /// For reading, 80 columns
    #[default]
    Text,
    /// For programs: jogaudit.plan/1, with --stage jogaudit.card/1
    Json,
    /// For the patient, to print on A4 or Letter: the plan in words, boxes to tick, a diary to fill in
    Html,
    /// A blank diary.csv, with the days of the sessions where the plan gives them
    Diary,
}

/// Lengths are written as in a plan: `1:00`, `90 s`, `2 min`.
#[derive(clap::Args, Debug)]
struct DraftArgs {
    /// Run of the first stage
    #[arg(long, value_name = "DURATION", value_parser = duration)]
    run: u32,
    /// Walk between two runs, the same in all stages
    #[arg(long, value_name = "DURATION", value_parser = duration)]
    walk: u32,
    /// Most that the first session may take in all, warm-up and cool-down included; or from the least to the most, as in
    /// `22 to 28`: each session with walks is then a range as wide as that
    #[arg(long, value_name = "MINUTES", value_parser = minutes)]
    minutes: Range<u32>,
    /// Let the count of a stage rise by one repetition after each session done as prescribed, where it can
    #[arg(long)]
    rising: bool,
    /// Towards the end, let one session of a week be a run without a walk, while the others keep their walks
    #[arg(long)]
    kinds: bool,
    /// Run without a walk that the plan ends with
    #[arg(long, value_name = "DURATION", value_parser = duration)]
    goal_run: u32,
    /// Sessions done as prescribed before moving on
    #[arg(long, value_name = "N", default_value_t = 3)]
    sessions: u32,
    /// Sessions of a week
    #[arg(long, value_name = "N", default_value_t = 3)]
    per_week: u32,
    /// Days without a session between two
    #[arg(long, value_name = "DAYS", default_value_t = 1)]
    rest_days: u32,
    /// Walk before the first run; 0:00 for none
    #[arg(long, value_name = "DURATION", default_value = "5:00", value_parser = duration)]
    warm_up: u32,
    /// Walk after the last run; 0:00 for none
    #[arg(long, value_name = "DURATION", default_value = "5:00", value_parser = duration)]
    cool_down: u32,
    /// Longest that a session may take, written into the plan
    #[arg(long, value_name = "DURATION", value_parser = duration)]
    session_ceiling: Option<u32>,
    /// Most that a week's running may rise over the week before, written into the plan
    #[arg(long, value_name = "PERCENT", value_parser = share)]
    weekly_increase: Option<f64>,
    /// Most that a session's running may rise from stage to stage [default: the linter's, 10 %]
    #[arg(long, value_name = "PERCENT", value_parser = share)]
    session_increase: Option<f64>,
    /// Rise of a session's running that is always let pass [default: the linter's, 2:00]
    #[arg(long, value_name = "DURATION", value_parser = duration)]
    session_step: Option<u32>,
    /// Most that the longest run may rise from stage to stage [default: the linter's, 50 %]
    #[arg(long, value_name = "PERCENT", value_parser = share)]
    longest_increase: Option<f64>,
    /// Rise of the longest run that is always let pass [default: the linter's, 2:00]
    #[arg(long, value_name = "DURATION", value_parser = duration)]
    longest_step: Option<u32>,
    /// Most that run to walk may rise from stage to stage, as a factor [default: the linter's, 2]
    #[arg(long, value_name = "FACTOR")]
    run_walk_factor: Option<f64>,
    /// Most weeks that the plan may take
    #[arg(long, value_name = "WEEKS")]
    max_weeks: Option<u32>,
    /// Weeks since the runner last ran [default: taken for three months or more]
    #[arg(long, value_name = "WEEKS")]
    weeks_away: Option<u32>,
    /// First day of the first stage, which gives each session its date
    #[arg(long, value_name = "DATE")]
    start: Option<Date>,
    /// Weekdays that sessions are meant for, such as `tue,thu,sun` [default: any]
    #[arg(long, value_name = "DAYS", value_parser = parse_weekdays)]
    weekdays: Option<std::vec::Vec<Weekday>>,
    /// Title of the plan
    #[arg(long, value_name = "TEXT", default_value = "Drafted plan", value_parser = title)]
    title: String,
    /// Write the plan to this file, whole or not at all, instead of standard output; `-` is standard output
    #[arg(long, value_name = "PATH")]
    out: Option<PathBuf>,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    match &args.command {
        Command::Check(args) => run_check(args, io),
        Command::Show(args) => run_show(args, io),
        Command::Draft(args) => run_draft(args, io),
        Command::Export(args) => export::run(args, io),
    }
}

fn run_check(args: &CheckArgs, io: &mut Io<'_>) -> Result<Done, Failure> {
    let plan = read(&args.plan, args.units, io)?;
    let remarks = lint(&plan, LintConfig { weeks_away: args.weeks_away });
    let view = LintView::new(&plan, &remarks);
    match args.format {
        Format::Text => io.result(&plan_lint::text(&view))?,
        Format::Json => io.result(&plan_lint::json(&view))?,
    }
    Ok(Done::Plain)
}

fn run_show(args: &ShowArgs, io: &mut Io<'_>) -> Result<Done, Failure> {
    if args.large_print && args.format != ShowFormat::Html {
        return Err(Failure::refused("--large-print is for the hand-out alone").hint("add --format html"));
    }
    let out = files::output(args.out.as_deref(), &[&args.plan])?;
    if let Some(path) = args.out.as_deref().filter(|_| args.format == ShowFormat::Diary) {
        refuse_a_diary(path)?;
    }
    let plan = read(&args.plan, args.units, io)?;
    let stage = args.stage.as_deref().map(|name| case::stage(&plan, Some(name))).transpose()?;
    let document = match (args.format, stage) {
        (ShowFormat::Text, None) => plan_show::text(&PlanView::new(&plan)),
        (ShowFormat::Text, Some(stage)) => card::card(&plan, stage, None),
        (ShowFormat::Json, None) => plan_show::json(&PlanView::new(&plan)),
        (ShowFormat::Json, Some(stage)) => card::json(&CardView::new(&plan, stage, None)),
        (ShowFormat::Html, stage) => html::handout(&HandoutView::new(&plan, stage), args.large_print),
        (ShowFormat::Diary, stage) => {
            if plan.start.is_none() {
                io.remark(
                    "The plan has no `start`, so its sessions have no days: the diary has its header only.\n",
                );
            }
            Diary::blank(days(&plan, stage))
        }
    };
    match out {
        Some(out) if args.format == ShowFormat::Text => {
            out.write(anstream::adapter::strip_str(&document).to_string().as_bytes())?;
        }
        Some(out) => out.write(document.as_bytes())?,
        None => io.result(&document)?,
    }
    Ok(Done::Plain)
}

/// A diary that is there already may be somebody's: it is never replaced by a blank one.
fn refuse_a_diary(path: &std::path::Path) -> Result<(), Failure> {
    let is_there = path.as_os_str() != "-" && std::fs::symlink_metadata(path).is_ok();
    if !is_there {
        return Ok(());
    }
    let what = format!("{} is there already, and a blank diary does not take its place", named_output(path));
    Err(Failure::refused(what).hint("name another file, or move that one away first"))
}

/// The days of the plan's sessions, or of those of one stage.
fn days<'a>(plan: &'a Plan, stage: Option<&'a Stage>) -> impl Iterator<Item = Date> + 'a {
    let is_asked =
        move |session: &DatedSession| stage.is_none_or(|stage| plan.stages[session.stage].name == stage.name);
    plan.calendar().into_iter().flatten().filter(is_asked).map(|session| session.date)
}

fn run_draft(args: &DraftArgs, io: &mut Io<'_>) -> Result<Done, Failure> {
    let out = files::output(args.out.as_deref(), &[])?;
    let request = request(args);
    let drafted = draft(&request).map_err(|error| {
        let mut failure = Failure::refused("no plan can be drafted: the limits contradict each other");
        for contradiction in &error.contradictions {
            failure = failure.caused_by(contradiction);
        }
        failure
    })?;
    let file = plan_draft::toml(&drafted, &request);
    match out {
        Some(out) => {
            out.write(file.as_bytes())?;
            let stages = drafted.stages.len();
            io.remark(&format!(
                "{stages} stages over {} weeks; the plan is in {}.\n",
                drafted.weeks,
                named_output(out.named())
            ));
        }
        None => io.result(&file)?,
    }
    Ok(Done::Plain)
}

/// Reads the plan; what was noticed goes to standard error.
fn read(path: &std::path::Path, units: Option<LengthUnit>, io: &mut Io<'_>) -> Result<Plan, Failure> {
    let mut notices: Vec<Notice> = Vec::new();
    let mut plan = files::plan(path, &mut notices)?;
    plan.units = units.or(plan.units);
    let views: Vec<_> = notices.iter().map(view::notice).collect();
    io.remark(&text::notices(&views));
    Ok(plan)
}

fn request(args: &DraftArgs) -> DraftRequest {
    let linter = Increments::default();
    DraftRequest {
        title: args.title.clone(),
        run_s: args.run,
        walk_s: args.walk,
        session_s: args.minutes.most.saturating_mul(60),
        session_least_s: (!args.minutes.is_exact()).then(|| args.minutes.least.saturating_mul(60)),
        is_rising: args.rising,
        has_kinds: args.kinds,
        goal_run_s: args.goal_run,
        warm_up_s: args.warm_up,
        cool_down_s: args.cool_down,
        sessions: args.sessions,
        sessions_per_week: args.per_week,
        rest_days: args.rest_days,
        increments: Increments {
            session_share: args.session_increase.unwrap_or(linter.session_share),
            session_s: args.session_step.map_or(linter.session_s, f64::from),
            longest_share: args.longest_increase.unwrap_or(linter.longest_share),
            longest_s: args.longest_step.map_or(linter.longest_s, f64::from),
            run_to_walk: args.run_walk_factor.unwrap_or(linter.run_to_walk),
            ..linter
        },
        weekly_increase: args.weekly_increase,
        session_ceiling_s: args.session_ceiling,
        most_weeks: args.max_weeks,
        weeks_away: args.weeks_away,
        start: args.start,
        weekdays: args.weekdays.clone().unwrap_or_default(),
    }
}

/// A length in whole seconds.
fn duration(text: &str) -> Result<u32, String> {
    let seconds = parse_duration(text).map_err(|error| error.to_string())?.get();
    if seconds.fract() == 0.0 { Ok(seconds as u32) } else { Err("expected whole seconds".to_owned()) }
}

/// Whole minutes, or from the least to the most: `25`, `22 to 28`.
fn minutes(text: &str) -> Result<Range<u32>, String> {
    let number = |text: &str| {
        text.trim().parse().map_err(|_| "expected whole minutes: `25`, or `22 to 28` for a range".to_owned())
    };
    match text.split_once(" to ") {
        None => number(text).map(Range::exactly),
        Some((least, most)) => Ok(Range { least: number(least)?, most: number(most)? }),
    }
}

fn share(text: &str) -> Result<f64, String> {
    parse_percent(text).map_err(|error| error.to_string())
}

/// One line that a plan takes as its title.
fn title(text: &str) -> Result<String, String> {
    let is_fit = (1..=200).contains(&text.chars().count())
        && text.trim() == text
        && !text.chars().any(char::is_control);
    if is_fit { Ok(text.to_owned()) } else { Err("expected one line of 1 to 200 characters".to_owned()) }
}
