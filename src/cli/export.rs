//! `jogaudit plan export`

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;

use jogaudit_case::{self as case, Failure, named_output};
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::{DueSession, Plan, Stage};
use jogaudit_core::review::{Recommendation, Review};
use jogaudit_export::{CalendarRequest, calendar, workout};
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;
use jogaudit_report::{text, view};

use super::{Done, Io};

#[derive(clap::Args, Debug)]
pub(super) struct Args {
    /// Plan file; or the folder or zip of a case: what comes next by its review
    plan: PathBuf,
    /// Export this stage alone [default: for a workout the plan's only one, or the one that the review of a case names]
    #[arg(long, value_name = "NAME")]
    stage: Option<String>,
    /// File to write, whole or not at all: a workout for a watch if it ends in `.fit`, a calendar if it ends in `.ics`
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Of a stage whose count rises, export the session that is the Nth begun [default: 1, or the one that is due in a case]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1000))]
    session: Option<u32>,
    /// Time of day of the sessions in a calendar, in the plan's time zone [default: they take their whole day]
    #[arg(long, value_name = "TIME")]
    at: Option<Time>,
    /// Export as on this day [default: today]
    #[arg(long, value_name = "DATE")]
    as_of: Option<Date>,
}

/// What a file's name asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Workout,
    Calendar,
}

pub(super) fn run(args: &Args, io: &mut Io<'_>) -> Result<Done, Failure> {
    let form = form(&args.out)?;
    refuse_what_has_no_place(args, form)?;
    let inputs = if is_case(&args.plan) { files::case_inputs(&args.plan)? } else { Vec::new() };
    let inputs: Vec<&Path> = inputs.iter().map(PathBuf::as_path).chain([args.plan.as_path()]).collect();
    let out = files::output(Some(&args.out), &inputs)?;
    let mut notices = Vec::new();
    let (plan, review) = read(args, &mut notices)?;
    let stage = args.stage.as_deref().map(|name| case::stage(&plan, Some(name))).transpose()?;
    let bytes = match form {
        Form::Workout => session(args, &plan, stage, review.as_ref(), &mut notices)?,
        Form::Calendar => dated(args, &plan, stage, review.as_ref())?,
    };
    if let Some(out) = out {
        out.write(&bytes)?;
        io.remark(&format!("The {} is in {}.\n", form.word(), named_output(out.named())));
    }
    let views: Vec<_> = notices.iter().map(view::notice).collect();
    io.remark(&text::notices(&views));
    Ok(Done::Plain)
}

impl Form {
    const fn word(self) -> &'static str {
        match self {
            Self::Workout => "workout",
            Self::Calendar => "calendar",
        }
    }
}

fn form(out: &Path) -> Result<Form, Failure> {
    let ending = out.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("fit") => Ok(Form::Workout),
        Some("ics") => Ok(Form::Calendar),
        _ => Err(Failure::refused(format!("{} does not say what to write", named_output(out)))
            .hint("let --out end in .fit for a workout, or in .ics for a calendar")),
    }
}

fn refuse_what_has_no_place(args: &Args, form: Form) -> Result<(), Failure> {
    match form {
        Form::Workout if args.at.is_some() => {
            Err(Failure::refused("--at is for a calendar alone")
                .hint("let --out end in .ics, or leave it out"))
        }
        Form::Calendar if args.session.is_some() => Err(Failure::refused("--session is for a workout alone")
            .hint("let --out end in .fit, or leave it out: a calendar has each session with its number")),
        Form::Workout | Form::Calendar => Ok(()),
    }
}

/// Whether a plan is named by its case.
fn is_case(path: &Path) -> bool {
    path.is_dir() || path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip"))
}

/// The plan; of a case with its review.
fn read(args: &Args, notices: &mut Vec<Notice>) -> Result<(Plan, Option<Review>), Failure> {
    if !is_case(&args.plan) {
        return Ok((files::plan(&args.plan, notices)?, None));
    }
    let config = Config::default();
    let case = files::read_case(&args.plan, &config)?;
    let as_of = args.as_of.unwrap_or_else(|| case.today(Timestamp::now()));
    let (plan, review) = case.ruled(as_of, &config);
    Ok((plan, Some(review)))
}

/// The session as a workout.
fn session(
    args: &Args,
    plan: &Plan,
    stage: Option<&Stage>,
    review: Option<&Review>,
    notices: &mut Vec<Notice>,
) -> Result<Vec<u8>, Failure> {
    let next = review.map(|review| next(plan, review)).transpose()?;
    let stage = match (stage, &next) {
        (Some(stage), _) => stage,
        (None, Some((next, _))) => *next,
        (None, None) => case::stage(plan, None)?,
    };
    let due = match (args.session, next) {
        (Some(number), _) => Some(numbered(stage, number)?),
        (None, Some((next, due))) if next.name == stage.name => due,
        _ => None,
    };
    let made = workout(plan, stage, due.as_ref()).map_err(|error| {
        Failure::refused(format!("stage `{}` does not fit into a workout file", stage.name)).caused_by(&error)
    })?;
    Ok(made.take(notices))
}

/// The stage of the next session by a review, and what is due of it.
fn next<'p>(plan: &'p Plan, review: &Review) -> Result<(&'p Stage, Option<DueSession>), Failure> {
    let ruling = &review.ruling;
    match ruling.stage.and_then(|stage| plan.stages.get(stage)) {
        Some(stage) if ruling.recommendation < Recommendation::Rest => Ok((stage, ruling.due.clone())),
        _ => {
            let what = format!(
                "the review of {} rules `{}`: there is no session",
                review.as_of,
                ruling.recommendation.word()
            );
            Err(Failure::refused(what).hint("`jogaudit review` says why, and what to do"))
        }
    }
}

/// The session of a stage that is the nth begun, the ones before it kept.
fn numbered(stage: &Stage, number: u32) -> Result<DueSession, Failure> {
    stage.session.due_after(number - 1).ok_or_else(|| {
        Failure::refused(format!("no count of stage `{}` rises: its sessions are all the same", stage.name))
            .hint("leave --session out")
    })
}

/// The dated sessions as a calendar.
fn dated(
    args: &Args,
    plan: &Plan,
    stage: Option<&Stage>,
    review: Option<&Review>,
) -> Result<Vec<u8>, Failure> {
    let midnight = args.as_of.and_then(|day| TimeZone::UTC.to_timestamp(day.at(0, 0, 0, 0)).ok());
    let made = midnight.unwrap_or_else(Timestamp::now);
    let calendar = calendar(&CalendarRequest { plan, only: stage, review, at: args.at, made });
    let calendar = calendar.map_err(|error| {
        Failure::refused(error.to_string()).hint(
            "add `start = 2026-03-02` with the first day to the plan, and `weekdays` if only some are meant",
        )
    })?;
    Ok(calendar.into_bytes())
}
