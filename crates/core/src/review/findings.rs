//! What went beyond the prescription over days and weeks.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::codes::codes;
use crate::prescription::Plan;
use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::units::Unit;

use super::calendar::plus;
use super::history::History;
use super::longest_prescribed::longest_prescribed_run_s;
use super::performed::PerformedSession;
use super::performed::StageChoice;
use super::progress::{Progress, counted};
use super::spacing::{Excess, Spacing};

codes! {
    /// What a finding over days and weeks is about; `docs/review.md` says when each is made.
    pub enum WeeklyCode {
        TooManySessions = "too_many_sessions",
        NoRestDay = "no_rest_day",
        StageSkipped = "stage_skipped",
        StageRushed = "stage_rushed",
        RunningTimeJump = "running_time_jump",
        LongestRunJump = "longest_run_jump",
        RanInPain = "ran_in_pain",
        PainNextMorning = "pain_next_morning",
        UnplannedRun = "unplanned_run",
        EffortTooHigh = "effort_too_high",
    }
}

impl WeeklyCode {
    /// Whether it is about pain.
    pub const fn is_pain(self) -> bool {
        matches!(self, Self::RanInPain | Self::PainNextMorning)
    }
}

/// What the achieved value was held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// The plan's own limit.
    Plan,
    /// The usual bound where the plan has none.
    Usual,
    /// What was done in the days or weeks before.
    Before,
    /// The prescriber's limit of pain.
    PainLimit,
    /// No limit of pain was prescribed: any counts.
    AnyPain,
}

/// One thing that went beyond the prescription over days and weeks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WeeklyFinding {
    /// What.
    pub code: WeeklyCode,
    /// The day it shows on: that of the session that went beyond, or of the diary's line.
    pub date: Date,
    /// The stage of that session, by index.
    pub stage: Option<usize>,
    /// Where it is about one kind of session of several in a week, that kind, by index.
    pub kind: Option<usize>,
    /// For a skipped or rushed stage, that stage.
    pub left: Option<usize>,
    /// What is allowed, in `unit`.
    pub prescribed: Option<f64>,
    /// What was done, in `unit`.
    pub achieved: Option<f64>,
    /// Unit of both: sessions, days, seconds, metres, or points of ten for pain.
    pub unit: Unit,
    /// What it was held against.
    pub against: Against,
    /// Probability that it is so, 0 to 1: below 1 only where it rests on a recognised stage or on measured running.
    pub certainty: f64,
}

impl WeeklyFinding {
    fn new(code: WeeklyCode, date: Date, unit: Unit, against: Against) -> Self {
        let (stage, kind, left, prescribed, achieved) = (None, None, None, None, None);
        Self { code, date, stage, kind, left, prescribed, achieved, unit, against, certainty: 1.0 }
    }

    fn values(self, prescribed: f64, achieved: f64) -> Self {
        Self { prescribed: Some(prescribed), achieved: Some(achieved), ..self }
    }
}

/// How sure it is that the running of a session is running.
fn run_certainty(session: &PerformedSession) -> f64 {
    if session.totals.run_s > 0.0 { session.totals.sure_run_s / session.totals.run_s } else { 1.0 }
}

fn stage_certainty(session: &PerformedSession) -> f64 {
    match session.stage {
        StageChoice::Recognised { certainty, .. } => certainty,
        _ => 1.0,
    }
}

/// Sessions too many in a week, or too close to the one before: one finding a week for all sessions and one for each kind, on the
/// day of the first session too many, with the week's number. Gives besides, for each session, whether it is one.
pub(super) fn spacing(history: &History<'_>) -> (Vec<WeeklyFinding>, Vec<bool>) {
    let mut found: Vec<WeeklyFinding> = Vec::new();
    let mut is_improper = Vec::with_capacity(history.sessions.len());
    let mut spacing = Spacing::new(history.plan);
    let mut at: BTreeMap<Option<usize>, usize> = BTreeMap::new();
    for session in history.sessions {
        let week = spacing.week;
        let spaced = spacing.take(session, history.config);
        if spacing.week != week {
            at.clear();
        }
        let about = |code, unit, excess: Excess| WeeklyFinding {
            stage: session.stage.stage(),
            certainty: run_certainty(session),
            ..WeeklyFinding::new(code, session.date, unit, Against::Plan)
                .values(excess.allowed.into(), excess.done.into())
        };
        let of_week = spaced.of_week.map(|excess| (None, excess));
        let of_kind = spaced.of_kind.map(|(kind, excess)| (Some(kind), excess));
        for (kind, excess) in [of_week, of_kind].into_iter().flatten() {
            let first = *at.entry(kind).or_insert(found.len());
            let Some(first) = found.get_mut(first) else {
                let finding = about(WeeklyCode::TooManySessions, Unit::Sessions, excess);
                let of_kind = if kind.is_some() { stage_certainty(session) } else { 1.0 };
                found.push(WeeklyFinding { kind, certainty: finding.certainty.min(of_kind), ..finding });
                continue;
            };
            first.achieved = Some(excess.done.into());
        }
        found.extend(spaced.rest.map(|excess| about(WeeklyCode::NoRestDay, Unit::Days, excess)));
        is_improper.push(spaced.is_improper());
    }
    (found, is_improper)
}

/// Stages left out, or left before their sessions were kept. A session that was too many or too close does not count as
/// kept.
pub(super) fn stages(
    history: &History<'_>,
    is_improper: &[bool],
    notices: &mut Vec<Notice>,
) -> Vec<WeeklyFinding> {
    let plan = history.plan;
    let mut found = Vec::new();
    let mut progress = Progress::new(plan);
    let mut visits = history.seen.in_turn();
    for (session, is_improper) in history.sessions.iter().zip(is_improper) {
        progress.visited(visits.until(session.date));
        if let Some(stage) = session.stage.stage() {
            match progress.furthest {
                None => notices.extend(begins_late(plan, session, stage)),
                Some(furthest) if plan.stages[stage].place > plan.stages[furthest].place => {
                    found.extend(moved_on(plan, session, stage, furthest, &progress, notices));
                }
                Some(_) => {}
            }
        }
        progress.take(&session.stage, counted(session, *is_improper, history.config), session.date);
    }
    found
}

fn begins_late(plan: &Plan, session: &PerformedSession, stage: usize) -> Option<Notice> {
    let place = plan.stages[stage].place;
    let mut before = plan.stages.iter().filter(|earlier| earlier.place < place);
    let is_late = before.any(|stage| stage.session.prescribes_running());
    is_late.then(|| {
        let name = &plan.stages[stage].name;
        let text = format!(
            "The first session on record, of {}, is of stage “{name}”: whether the stages before it were done can't \
             be told.",
            session.date
        );
        Notice::new(NoticeCode::BeginsLateInPlan, text)
    })
}

/// A step forward to `stage`. Stages of walking may be done without a recording and do not count.
fn moved_on(
    plan: &Plan,
    session: &PerformedSession,
    stage: usize,
    furthest: usize,
    progress: &Progress<'_>,
    notices: &mut Vec<Notice>,
) -> Vec<WeeklyFinding> {
    let runs = |stage: usize| plan.stages[stage].session.prescribes_running();
    let about = |code, left: usize, unit| WeeklyFinding {
        stage: Some(stage),
        left: Some(left),
        certainty: stage_certainty(session),
        ..WeeklyFinding::new(code, session.date, unit, Against::Plan)
    };
    let mut found = Vec::new();
    let place = |stage: usize| plan.stages[stage].place;
    let is_between = |skipped: &usize| place(*skipped) > place(furthest) && place(*skipped) < place(stage);
    if let Some(skipped) = (furthest + 1..stage).filter(is_between).find(|skipped| runs(*skipped)) {
        found.push(about(WeeklyCode::StageSkipped, skipped, Unit::Sessions));
    }
    let by_weeks = plan.stages[furthest].weeks.is_some();
    if runs(furthest) && !progress.may_be_complete(furthest) {
        let (kept, needed) = (progress.kept_at(furthest), progress.needed_at(furthest));
        let unit = if by_weeks { Unit::Weeks } else { Unit::Sessions };
        found.push(about(WeeklyCode::StageRushed, furthest, unit).values(needed.into(), kept.into()));
    } else if runs(furthest) && !progress.is_complete(furthest) {
        notices.push(Notice::new(
            NoticeCode::StageCompletionOpen,
            format!(
                "Whether the {} of stage “{}” were done as prescribed before moving on, on {}, depends on sessions that can't \
                 be judged.",
                if by_weeks { "weeks" } else { "sessions" },
                plan.stages[furthest].stage_name(),
                session.date
            ),
        ));
    }
    found
}

/// Running that is no session of the plan.
pub(super) fn unplanned(history: &History<'_>) -> Vec<WeeklyFinding> {
    let unplanned = history.sessions.iter().filter(|session| session.is_unplanned(history.config));
    unplanned
        .map(|session| WeeklyFinding {
            certainty: run_certainty(session),
            ..WeeklyFinding::new(WeeklyCode::UnplannedRun, session.date, Unit::Seconds, Against::Plan)
                .values(0.0, session.totals.run_s)
        })
        .collect()
}

/// Pain in the diary beyond what is allowed.
pub(super) fn pain(history: &History<'_>) -> Vec<WeeklyFinding> {
    let mut found = Vec::new();
    for (date, pain) in history.pains() {
        let Some(entry) = history.diary.on(date) else { continue };
        let bounds = history.bounds_on(date);
        let about = |code, achieved: Option<f64>, limit: Option<f64>| WeeklyFinding {
            achieved,
            prescribed: Some(limit.unwrap_or(0.0)),
            ..WeeklyFinding::new(
                code,
                date,
                Unit::PointsOfTen,
                if limit.is_some() { Against::PainLimit } else { Against::AnyPain },
            )
        };
        if pain.during || pain.night {
            found.push(about(WeeklyCode::RanInPain, entry.pain_during, bounds.pain_limit));
        }
        if pain.next_morning {
            found.push(about(WeeklyCode::PainNextMorning, entry.pain_next_morning, bounds.morning_limit));
        }
    }
    found
}

/// Effort in the diary above the ceiling of that day's stage, on days with running.
pub(super) fn effort(history: &History<'_>) -> Vec<WeeklyFinding> {
    let mut runs = history.runs.clone();
    runs.dedup_by_key(|index| history.sessions[*index].date);
    let too_high = |index: &usize| {
        let session = &history.sessions[*index];
        let ceiling = history.bounds_at(*index).effort_ceiling?;
        let effort = history.diary.on(session.date)?.effort.filter(|effort| *effort > ceiling)?;
        Some(WeeklyFinding {
            stage: session.stage.stage(),
            ..WeeklyFinding::new(WeeklyCode::EffortTooHigh, session.date, Unit::PointsOfTen, Against::Plan)
                .values(ceiling, effort)
        })
    };
    runs.iter().filter_map(too_high).collect()
}

codes! {
    /// How far a longest run lies above that of the 30 days before, in the categories of the published cohort (Frandsen
    /// et al. 2025, Br J Sports Med 59:1203-10).
    pub enum RiseBand {
        /// Up to 10 % longer.
        Reference = "reference",
        /// Up to 30 % longer.
        Small = "small",
        /// Up to 100 % longer.
        Moderate = "moderate",
        /// Longer still.
        Large = "large",
    }
}

/// A session's longest run against the longest of the days before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LongestRun {
    /// The session's own, in `unit`.
    pub own: f64,
    /// The longest of the days before, in `unit`.
    pub before: f64,
    /// Metres, or seconds where a distance is not known.
    pub unit: Unit,
}

impl LongestRun {
    /// Rise as a fraction: 0.1 for 10 % longer.
    pub fn rise(&self) -> f64 {
        self.own / self.before - 1.0
    }

    /// The category of its rise.
    pub fn band(&self) -> RiseBand {
        match self.own / self.before {
            ratio if ratio > 2.0 => RiseBand::Large,
            ratio if ratio > 1.3 => RiseBand::Moderate,
            ratio if ratio > 1.1 => RiseBand::Small,
            _ => RiseBand::Reference,
        }
    }
}

/// For each session, its longest run against the longest of the days before; `None` without running in these days.
pub(super) fn longest_runs(history: &History<'_>) -> Vec<Option<LongestRun>> {
    let mut all = vec![None; history.sessions.len()];
    for (at, &index) in history.runs.iter().enumerate() {
        let session = &history.sessions[index];
        let from = plus(session.date, -history.config.longest_days);
        let earlier = || {
            let before = history.runs[..at].iter().rev().map(|i| &history.sessions[*i]);
            before.take_while(move |s| s.date >= from).map(|s| s.totals)
        };
        let by_time = || earlier().map(|t| t.longest_run_s).fold(0.0, f64::max);
        let by_distance =
            || earlier().map(|t| t.longest_run_m).try_fold(0.0, |most: f64, m| Some(most.max(m?)));
        let longest = match (session.totals.longest_run_m, by_distance()) {
            (Some(own), Some(before)) => LongestRun { own, before, unit: Unit::Metres },
            _ => LongestRun { own: session.totals.longest_run_s, before: by_time(), unit: Unit::Seconds },
        };
        all[index] = (longest.before > 0.0).then_some(longest);
    }
    all
}

/// Longest runs that are a jump and more than what is prescribed: what a plan asks for is the plan's to answer for.
pub(super) fn longest_jumps(history: &History<'_>, longest: &[Option<LongestRun>]) -> Vec<WeeklyFinding> {
    let mut found = Vec::new();
    let mut furthest: Option<usize> = None;
    let mut visits = history.seen.in_turn();
    for (index, session) in history.sessions.iter().enumerate() {
        let to = visits.until(session.date).iter().filter_map(|visit| visit.stage).max();
        furthest = to.max(furthest);
        let places = history.plan.places();
        let due = furthest.map_or(0, |f: usize| (history.plan.stages[f].place + 1).min(places - 1));
        let due = history.plan.kinds_at(due).end - 1;
        let licensed = match &session.stage {
            StageChoice::Given(stage) | StageChoice::Recognised { stage, .. } => {
                // The first session on record may be of any stage; later ones of none that is not due.
                if furthest.is_some() { vec![(*stage).min(due)] } else { vec![*stage] }
            }
            StageChoice::Ambiguous(candidates) if !candidates.is_empty() => {
                candidates.iter().map(|(stage, _)| *stage).collect()
            }
            StageChoice::Ambiguous(_) | StageChoice::InParts | StageChoice::NoSession => {
                vec![history.stage_at(index)]
            }
        };
        furthest = furthest.max(session.stage.stage());
        let Some(run) = longest[index].filter(|run| run.rise() > history.config.longest_jump) else {
            continue;
        };
        let totals = &session.totals;
        let speed = totals.longest_run_m.map(|m| m / totals.longest_run_s);
        let prescribed_s = licensed
            .iter()
            .map(|stage| longest_prescribed_run_s(&history.plan.stages[*stage].session, speed))
            .fold(0.0, f64::max);
        if totals.longest_run_s > prescribed_s + history.plan.tolerance.run.get() {
            found.push(WeeklyFinding {
                stage: session.stage.stage(),
                certainty: run_certainty(session),
                ..WeeklyFinding::new(WeeklyCode::LongestRunJump, session.date, run.unit, Against::Before)
                    .values(run.before, run.own)
            });
        }
    }
    found
}

/// Makes the finding that the running of a week rose too much; `date` is the day on which it went beyond.
pub(super) fn running_time_jump(
    date: Date,
    stage: Option<usize>,
    bound_s: f64,
    run_s: f64,
    against: Against,
    certainty: f64,
) -> WeeklyFinding {
    WeeklyFinding {
        stage,
        certainty,
        ..WeeklyFinding::new(WeeklyCode::RunningTimeJump, date, Unit::Seconds, against).values(bound_s, run_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edges_of_the_published_bands() {
        // Frandsen et al. 2025: reference up to 10 %, > 10 to 30 %, > 30 to 100 %, > 100 %.
        let bands = [
            (110.0, RiseBand::Reference),
            (110.01, RiseBand::Small),
            (130.0, RiseBand::Small),
            (131.0, RiseBand::Moderate),
            (200.0, RiseBand::Moderate),
            (201.0, RiseBand::Large),
        ];
        for (own, band) in bands {
            assert_eq!(LongestRun { own, before: 100.0, unit: Unit::Metres }.band(), band, "{own}");
        }
    }
}
