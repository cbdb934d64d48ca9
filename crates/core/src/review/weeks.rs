//! Sums by week, and how far the running of a week rose.

use jiff::civil::Date;

use crate::audit::Outcome;
use crate::codes::codes;

use super::calendar::{days_between, monday, plus};
use super::effort::{WeekEffort, session_load, week_effort};
use super::findings::{Against, WeeklyFinding, running_time_jump};
use super::history::History;
use super::load::{loading_bw, loading_ratio};
use super::pace;
use super::performed::StageChoice;
use super::progress::{Ledger, counted, still_due};
use crate::range::Range;
use jogaudit_recording::units::Seconds;

codes! {
    /// What became of a week of a stage that goes by weeks or has several kinds of session in one.
    pub enum WeekOutcome {
        /// Every kind of session was kept as often as the week asks for, and nothing was overdone.
        Kept = "kept",
        /// The week is over, and something that it asks for is missing.
        Incomplete = "incomplete",
        /// Something was overdone.
        Overdone = "overdone",
        /// The week is over, and whether it is kept hangs on sessions that can't be judged.
        Undecided = "undecided",
    }
}

/// Weeks that a week's running is held against.
const WEEKS_BEFORE: i64 = 4;

/// Sums of one week, Monday to Sunday, of the days up to that of the review.
#[derive(Clone, Debug, PartialEq)]
pub struct Week {
    /// Its Monday.
    pub monday: Date,
    /// Weeks without any recording or entry between the week listed before and this one.
    pub empty_before: u32,
    /// Whether all its days lie before or on the day of the review.
    pub is_over: bool,
    /// What became of it; `None` while it runs and is neither kept nor overdone, and where the plan does not go by weeks.
    pub outcome: Option<WeekOutcome>,
    /// Sessions with running.
    pub sessions: u32,
    /// Walks.
    pub walks: u32,
    /// Days without running.
    pub rest_days: u32,
    /// Sessions with running by outcome: kept, overdone (also running that is no session of the plan), underdone,
    /// undecided.
    pub outcomes: [u32; 4],
    /// Running, s.
    pub run_s: f64,
    /// Running that the plan prescribes for the week, s, from the least to the most; `None` where it is left open.
    pub planned_run_s: Option<Range>,
    /// Walking, s.
    pub walk_s: f64,
    /// Steps while running; `None` where not all are known.
    pub run_steps: Option<f64>,
    /// Steps while walking; `None` where not all are known.
    pub walk_steps: Option<f64>,
    /// Distance run, m; `None` where not all is known.
    pub run_distance_m: Option<f64>,
    /// The longest run, s.
    pub longest_run_s: f64,
    /// Agreed training besides running: each sport with its time, s, in the order of the plan.
    pub other_s: Vec<(String, u32)>,
    /// Mean pace of the running in sessions of the plan, s/km: its time over its distance, as run, of the sessions in which the
    /// distance of all running is known; `None` without any.
    pub easy_pace_s_per_km: Option<f64>,
    /// The pace ceilings of these sessions' runs, s/km, from the fastest to the slowest; `None` where none has one.
    pub pace_ceiling_s_per_km: Option<Range>,
    /// The greatest pain noted.
    pub greatest_pain: Option<f64>,
    /// The greatest effort noted.
    pub greatest_effort: Option<f64>,
    /// Effort; known when the week is over and each session has its effort.
    pub effort: WeekEffort,
    /// Estimated loading, body weights summed over the steps.
    pub loading_bw: Option<Range>,
    /// Ratio of the estimated loading to that of the week as prescribed.
    pub loading_ratio: Option<Range>,
    /// Rise of the running over the week before, as a fraction; `None` without running in it.
    pub rise_over_last: Option<f64>,
    /// Rise of the running over the mean of the up to four weeks before since the first session; `None` without any.
    pub rise_over_mean: Option<f64>,
}

/// Running of one week as a base for the next ones.
#[derive(Clone, Copy, Debug)]
struct Base {
    monday: Date,
    /// All running, s.
    run_s: f64,
    /// Running that was not overdone, s.
    proper_s: f64,
    /// The most that was prescribed, s.
    planned_s: Option<f64>,
    /// Whether the case began in this week after its Monday.
    is_first_part: bool,
}

/// Sums every week with a recording or an entry. `is_improper` says which sessions were too many or too close.
pub(super) fn weeks(history: &History<'_>, is_improper: &[bool]) -> (Vec<Week>, Vec<WeeklyFinding>) {
    let mut weeks: Vec<Week> = Vec::new();
    let mut bases: Vec<Base> = Vec::new();
    let mut found = Vec::new();
    let first_run = history.runs.first().map(|i| history.sessions[*i].date);
    let mut next_session = 0;
    for week in mondays(history) {
        let from = next_session;
        while history.sessions.get(next_session).is_some_and(|s| monday(s.date) == week) {
            next_session += 1;
        }
        let indices: Vec<usize> = (from..next_session).collect();
        let mut sums = sums(history, week, &indices);
        sums.outcome = outcome(history, is_improper, &sums, &indices);
        sums.empty_before = weeks
            .last()
            .map_or(0, |last| u32::try_from(days_between(last.monday, week) / 7 - 1).unwrap_or(0));
        rises(&mut sums, &bases, first_run);
        found.extend(jump(history, &sums, &indices, &bases));
        let proper_s = indices.iter().filter(|i| !is_improper[**i]).map(|i| proper_run_s(history, *i)).sum();
        bases.push(Base {
            monday: week,
            run_s: sums.run_s,
            proper_s,
            planned_s: sums
                .planned_run_s
                .map(|planned| planned.most)
                .filter(|_| names_sessions_per_week(history, &indices)),
            is_first_part: first_run.is_some_and(|first| monday(first) == week && first != week),
        });
        weeks.push(sums);
    }
    (weeks, found)
}

/// Whether the plan says how many sessions the week should have.
fn names_sessions_per_week(history: &History<'_>, indices: &[usize]) -> bool {
    indices.last().is_some_and(|last| history.bounds_at(*last).sessions_per_week.is_some())
}

/// Mondays of the weeks that hold a session or an entry, in order.
fn mondays(history: &History<'_>) -> Vec<Date> {
    let entries =
        history.diary.entries().iter().map(|entry| entry.date).filter(|date| *date <= history.as_of);
    let mut all: Vec<Date> = history
        .sessions
        .iter()
        .map(|s| s.date)
        .chain(history.other.iter().map(|s| s.date))
        .chain(entries)
        .map(monday)
        .collect();
    all.sort();
    all.dedup();
    all
}

/// Running of a session that may be a base for the next weeks: not more than was prescribed.
fn proper_run_s(history: &History<'_>, index: usize) -> f64 {
    let session = &history.sessions[index];
    if session.is_unplanned(history.config) || !session.is_run(history.config) {
        return 0.0;
    }
    let run_s = session.totals.run_s;
    history.prescribed_run_s(index).map_or(run_s, |prescribed| run_s.min(prescribed.most))
}

fn sums(history: &History<'_>, week: Date, indices: &[usize]) -> Week {
    let sunday = plus(week, 6);
    let sessions = || indices.iter().map(|i| &history.sessions[*i]);
    let runs: Vec<usize> =
        indices.iter().copied().filter(|i| history.sessions[*i].is_run(history.config)).collect();
    let mut outcomes = [0; 4];
    for index in &runs {
        let session = &history.sessions[*index];
        outcomes[match session.outcome {
            _ if session.is_unplanned(history.config) => 1,
            Outcome::Kept => 0,
            Outcome::Overdone => 1,
            Outcome::Underdone => 2,
            Outcome::Undecided => 3,
        }] += 1;
    }
    let mut run_dates: Vec<Date> = runs.iter().map(|i| history.sessions[*i].date).collect();
    run_dates.dedup();
    let days = days_between(week, history.as_of.min(sunday)) + 1;
    let in_week =
        || history.diary.entries().iter().filter(|e| e.date >= week && e.date <= sunday.min(history.as_of));
    let run_steps: Option<f64> = sessions().map(|s| s.totals.run_steps).sum();
    let walk_steps: Option<f64> = sessions().map(|s| s.totals.walk_steps).sum();
    let mut sums = Week {
        monday: week,
        empty_before: 0,
        is_over: sunday <= history.as_of,
        outcome: None,
        sessions: runs.len() as u32,
        walks: (indices.len() - runs.len()) as u32,
        rest_days: (u32::try_from(days).unwrap_or(0)).saturating_sub(run_dates.len() as u32),
        outcomes,
        run_s: sessions().map(|s| s.totals.run_s).sum(),
        planned_run_s: planned(
            history,
            &runs,
            |stage| history.stage_run_s(stage),
            |i| history.prescribed_run_s(i),
        ),
        walk_s: sessions().map(|s| s.totals.walk_s).sum(),
        run_steps,
        walk_steps,
        run_distance_m: sessions().map(|s| s.totals.run_distance_m).sum(),
        longest_run_s: sessions().map(|s| s.totals.longest_run_s).fold(0.0, f64::max),
        other_s: other(history, week),
        easy_pace_s_per_km: pace::of_week(history, &runs),
        pace_ceiling_s_per_km: pace::ceiling_of_week(history, &runs),
        greatest_pain: in_week().filter_map(super::diary::Entry::greatest_pain).reduce(f64::max),
        greatest_effort: in_week().filter_map(|entry| entry.effort).reduce(f64::max),
        effort: WeekEffort::default(),
        loading_bw: run_steps.zip(walk_steps).map(|(run, walk)| loading_bw(run, walk)),
        loading_ratio: None,
        rise_over_last: None,
        rise_over_mean: None,
    };
    sums.effort = if sums.is_over { effort(history, week, indices) } else { WeekEffort::default() };
    sums.loading_ratio = ratio(history, &sums, &runs);
    sums
}

/// What became of a week, by the stage of its last session with a known one.
fn outcome(
    history: &History<'_>,
    is_improper: &[bool],
    week: &Week,
    indices: &[usize],
) -> Option<WeekOutcome> {
    let plan = history.plan;
    let stage = indices.iter().rev().find_map(|i| history.sessions[*i].stage.stage())?;
    let (place, by_weeks) = (plan.stages[stage].place, plan.stages[stage].weeks.is_some());
    if !by_weeks && plan.stages[stage].kind.is_none() {
        return None;
    }
    let mut ledger = Ledger::default();
    let mut is_overdone = false;
    for index in indices {
        let session = &history.sessions[*index];
        let outcome = counted(session, is_improper[*index], history.config);
        is_overdone |= outcome == Outcome::Overdone;
        let may_be = |kind: &usize| match &session.stage {
            StageChoice::Ambiguous(candidates) => candidates.iter().any(|(stage, _)| stage == kind),
            StageChoice::InParts => true,
            known => known.stage() == Some(*kind),
        };
        ledger.add(session.date, plan.kinds_at(place).filter(may_be).collect(), outcome);
    }
    let is_complete = |with_open| ledger.is_week_complete(plan, week.monday, with_open);
    match (is_overdone, is_complete(false), week.is_over) {
        (true, _, _) => Some(WeekOutcome::Overdone),
        (false, true, _) => Some(WeekOutcome::Kept),
        (false, false, true) if is_complete(true) => Some(WeekOutcome::Undecided),
        (false, false, true) => Some(WeekOutcome::Incomplete),
        (false, false, false) => None,
    }
}

/// Time of each agreed sport in a week.
fn other(history: &History<'_>, week: Date) -> Vec<(String, u32)> {
    let time_s = |sport: &str| -> u32 {
        let of_week = history.other.iter().filter(|other| monday(other.date) == week && other.sport == sport);
        of_week.map(|other| other.duration_s).fold(0, u32::saturating_add)
    };
    let sports = history.plan.other.iter().map(|other| (other.sport.clone(), time_s(&other.sport)));
    sports.filter(|(_, time_s)| *time_s > 0).collect()
}

/// What the plan prescribes for a week, from the least to the most: as many sessions as it allows, each of its own stage,
/// those that were not done of the week's last stage, and of each of its kinds as many as it asks for. Where the plan names
/// no number of sessions: the sessions that were done.
fn planned(
    history: &History<'_>,
    runs: &[usize],
    of_stage: impl Fn(usize) -> Option<Range>,
    of_session: impl Fn(usize) -> Option<Range>,
) -> Option<Range> {
    let last = *runs.last()?;
    let stage_of = |i: usize| history.sessions[i].stage.stage();
    let known: Vec<usize> = runs.iter().copied().filter(|i| stage_of(*i).is_some()).collect();
    let place = history.plan.stages[history.stage_at(last)].place;
    let kinds = history.plan.kinds_at(place);
    let several = kinds.len() > 1;
    let week = history.bounds_at(last).sessions_per_week.filter(|_| !several);
    let taken = week.map_or(known.len(), |week| week.most as usize);
    let done: Option<Range> = known.iter().take(taken).map(|i| of_session(*i)).sum();
    let mut all = done?;
    if several {
        for kind in kinds {
            let so_often = known.iter().filter(|i| stage_of(**i) == Some(kind)).count() as u32;
            all += times(still_due(history.plan, kind, so_often), || of_stage(kind))?;
        }
    } else if let Some(week) = week {
        let open = week.map(|n| n.saturating_sub(known.len() as u32));
        all += times(open, || of_stage(history.stage_at(last)))?;
    }
    Some(all)
}

/// An amount so often; not asked for where it is never.
fn times(so_often: Range<u32>, amount: impl Fn() -> Option<Range>) -> Option<Range> {
    if so_often.most == 0 {
        return Some(Range::exactly(0.0));
    }
    let amount = amount()?;
    let least = amount.least * f64::from(so_often.least);
    Some(Range { least, most: amount.most * f64::from(so_often.most) })
}

/// Loading against the week as prescribed, at this week's own cadences.
fn ratio(history: &History<'_>, week: &Week, runs: &[usize]) -> Option<Range> {
    let walk_of = |stage: usize| -> Option<Range> {
        history.plan.stages[stage].session.dose().walk.map(|walk| walk.map(Seconds::get))
    };
    let walk_of_session = |index: usize| walk_of(history.sessions[index].stage.stage()?);
    let planned_walk_s = planned(history, runs, walk_of, walk_of_session)?;
    // Of the sessions alone: walks beside them are not prescribed.
    let sum = |of: fn(&super::Totals) -> Option<f64>| -> Option<f64> {
        runs.iter().map(|i| of(&history.sessions[*i].totals)).sum()
    };
    let (run_steps, walk_steps) = (sum(|t| t.run_steps)?, sum(|t| t.walk_steps)?);
    let (run_s, walk_s) = (sum(|t| Some(t.run_s))?, sum(|t| Some(t.walk_s))?);
    let rate = |steps: f64, s: f64| if s > 0.0 { steps / s } else { 0.0 };
    // Of what may be more or less, the middle.
    let planned_run_s = week.planned_run_s?.middle();
    let planned =
        (rate(run_steps, run_s) * planned_run_s, rate(walk_steps, walk_s) * planned_walk_s.middle());
    loading_ratio((run_steps, walk_steps), planned)
}

/// Load of the week's days; not known when a day with a session has no effort in the diary.
fn effort(history: &History<'_>, week: Date, indices: &[usize]) -> WeekEffort {
    let mut loads = [0.0; 7];
    for index in indices {
        let session = &history.sessions[*index];
        let Some(effort) = history.diary.on(session.date).and_then(|entry| entry.effort) else {
            // A walk beside the sessions is not asked for in the diary.
            if session.is_run(history.config) {
                return WeekEffort::default();
            }
            continue;
        };
        let day = usize::try_from(days_between(week, session.date)).unwrap_or(0);
        if let Some(load) = loads.get_mut(day) {
            *load += session_load(effort, session.totals.session_s);
        }
    }
    week_effort(&loads)
}

/// Mean running of the up to four weeks before, since the first session. Weeks without any count as 0.
fn mean_before(bases: &[Base], week: Date, first_run: Option<Date>, of: fn(&Base) -> f64) -> Option<f64> {
    let first = monday(first_run?);
    let weeks = (days_between(first, week) / 7).clamp(0, WEEKS_BEFORE);
    let from = plus(week, -7 * weeks);
    let sum: f64 = bases.iter().rev().take_while(|base| base.monday >= from).map(of).sum();
    (weeks > 0).then(|| sum / weeks as f64)
}

fn rises(week: &mut Week, bases: &[Base], first_run: Option<Date>) {
    let rise = |base: Option<f64>| base.filter(|base| *base > 0.0).map(|base| week.run_s / base - 1.0);
    let last = bases.last().filter(|base| base.monday == plus(week.monday, -7)).map(|base| base.run_s);
    let (over_last, over_mean) =
        (rise(last), rise(mean_before(bases, week.monday, first_run, |base| base.run_s)));
    week.rise_over_last = over_last;
    week.rise_over_mean = over_mean;
}

/// Whether the running of a week rose too much. The week is held against the greatest of: the running of the week
/// before, the mean of the up to four weeks before, and what the plan prescribed for the last of these weeks with a
/// session in it; so a week cut short or left out is no reason for a finding when the plan is taken up again (a break has
/// its own rules). What was overdone
/// counts in none of these.
fn jump(history: &History<'_>, week: &Week, indices: &[usize], bases: &[Base]) -> Option<WeeklyFinding> {
    let runs: Vec<usize> =
        indices.iter().copied().filter(|i| history.sessions[*i].is_run(history.config)).collect();
    let last = *runs.last()?;
    let before = bases.last().filter(|base| base.monday == plus(week.monday, -7));
    let last_planned = bases.iter().rev().find(|base| base.run_s > 0.0);
    let is_near = |base: &&Base| base.monday >= plus(week.monday, -7 * WEEKS_BEFORE);
    let planned_before = last_planned.filter(is_near).and_then(|base| base.planned_s);
    if before.is_some_and(|base| base.is_first_part) && planned_before.is_none() {
        return None;
    }
    let first_run = history.runs.first().map(|i| history.sessions[*i].date);
    let mean = mean_before(bases, week.monday, first_run, |base| base.proper_s);
    let candidates = [before.map(|base| base.proper_s), mean, planned_before];
    let base_s = candidates.into_iter().flatten().reduce(f64::max).filter(|base| *base > 0.0)?;
    let (against, rise) = match history.bounds_at(last).weekly_increase {
        Some(limit) => (Against::Plan, limit),
        None => (Against::Usual, history.config.week_jump),
    };
    let bound_s = base_s * (1.0 + rise);
    let margin = 1.0 + history.config.week_margin;
    // Without a limit of its own the plan answers for what it prescribes.
    let as_planned = against == Against::Usual
        && week.planned_run_s.is_some_and(|planned| {
            week.run_s <= planned.most.max(0.0) * margin + tolerance_s(history, &runs)
        });
    if week.run_s <= bound_s * margin || as_planned {
        return None;
    }
    let mut sum = 0.0;
    let beyond = indices.iter().find(|i| {
        sum += history.sessions[**i].totals.run_s;
        sum > bound_s * margin
    })?;
    let session = &history.sessions[*beyond];
    let certainty = runs.iter().map(|i| history.sessions[*i].totals.sure_run_s).sum::<f64>() / week.run_s;
    let stage = session.stage.stage();
    Some(running_time_jump(session.date, stage, bound_s, week.run_s, against, certainty.min(1.0)))
}

/// What the tolerance for one run lets pass, for each session of the week.
fn tolerance_s(history: &History<'_>, runs: &[usize]) -> f64 {
    history.plan.tolerance.run.get() * runs.len() as f64
}
