//! A case over time: plan, diary and sessions → [`Review`].
//!
//! [`sessions`] holds each recording against its stage; [`review`] looks at the sessions and the diary together and
//! rules on the next session. Both are pure: files and the clock are the caller's. The rules, their thresholds and
//! sources stand in `docs/review.md`.

mod bounds;
mod calendar;
mod coming;
mod config;
mod csv;
mod diary;
mod edit;
mod effort;
mod findings;
mod given;
mod history;
mod left_out;
mod load;
mod longest_prescribed;
mod other;
mod pace;
mod pain;
mod performed;
mod progress;
mod recorded;
mod remarks;
mod ruling;
mod seen;
mod sessions;
mod situation;
mod spacing;
mod stages;
#[cfg(test)]
mod tests;
mod unread;
mod weeks;
mod written;

use jiff::civil::Date;

use crate::audit::Outcome;
use crate::prescription::{DueSession, MOST_FAULTS, Plan};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

pub use bounds::{
    BREAK_BEGINNING_DAYS, BREAK_REPEAT_DAYS, BREAK_STEP_BACK_DAYS, LEAST_REST_DAYS, MOST_MORNING_PAIN,
    MOST_PAIN_LIMIT,
};
pub use calendar::Zone;
pub use coming::Coming;
pub use config::ReviewConfig;
pub use diary::{Diary, Entry, Pattern, score};
pub use edit::{DayCells, EditError, day_cells, diary_with, seen_with, stages_renamed, stages_with};
pub use effort::{WeekEffort, session_load, week_effort};
pub use findings::{Against, LongestRun, RiseBand, WeeklyCode, WeeklyFinding};
pub use given::Given;
pub use left_out::{LeftOut, LeftOutCode, OtherRecording};
pub use load::{RUN_STEP_BW, WALK_STEP_BW, loading_bw, loading_ratio};
pub use other::{OtherSession, agreed};
pub use performed::{PerformedSession, SessionKind, StageChoice, StageSource};
pub use recorded::{Recorded, Totals};
pub use ruling::{Applied, COMMON_PRACTICE, RULES, Recommendation, Rule, RuleCode, Ruling};
pub use seen::{Seen, Visit};
pub use sessions::{PerformedSessions, SessionConfig, sessions, sessions_with_recordings};
pub use unread::Unread;
pub use weeks::{Week, WeekOutcome};
pub use written::Written;

use bounds::Bounds;
use history::History;
use progress::Progress;
use situation::Situation;

/// What was done at one stage.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StageTally {
    /// Sessions.
    pub attempts: u32,
    /// Sessions kept.
    pub kept: u32,
    /// Sessions overdone.
    pub overdone: u32,
    /// Sessions underdone.
    pub underdone: u32,
    /// Sessions that can't be judged.
    pub undecided: u32,
}

/// A whole return on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Review {
    /// The day.
    pub as_of: Date,
    /// What the next session should be, and why.
    pub ruling: Ruling,
    /// Which sessions come next and when; `None` where the plan has no dates, or a professional is to be asked first.
    pub coming: Option<Coming>,
    /// Weeks with a recording or an entry, in order.
    pub weeks: Vec<Week>,
    /// What was done at each stage of the plan, in its order.
    pub stages: Vec<StageTally>,
    /// What went beyond the prescription over days and weeks, in order of time.
    pub findings: Vec<WeeklyFinding>,
    /// For each session, its longest run against that of the days before.
    pub longest_runs: Vec<Option<LongestRun>>,
    /// For each session, effort times minutes, where the diary has the effort.
    pub loads: Vec<Option<f64>>,
    /// Visits to a clinician, in order.
    pub visits: Vec<Visit>,
    /// Reasons of clinicians in the plan, each once.
    pub overrides: Vec<String>,
}

/// Reviews the sessions of a case, as [`sessions`] makes them, on the day `as_of`. Sessions after that day must have
/// been left out; `written` is what they were made with, `other` the training besides that is agreed, in order of time. Linear in
/// the sessions.
pub fn review(
    plan: &Plan,
    written: &Written,
    sessions: &[PerformedSession],
    other: &[OtherSession],
    as_of: Date,
    config: &ReviewConfig,
) -> Noted<Review> {
    let mut history = History::new(plan, written, sessions, as_of, config);
    history.other = other;
    let mut notices = Vec::new();
    let longest_runs = findings::longest_runs(&history);
    let (mut found, is_improper) = findings::spacing(&history);
    let progress = Progress::of(plan, &written.seen, sessions, as_of, config);
    let (weeks, jumps) = weeks::weeks(&history, &is_improper);
    found.extend(jumps);
    found.extend(findings::stages(&history, &is_improper, &mut notices));
    found.extend(findings::longest_jumps(&history, &longest_runs));
    found.extend(findings::unplanned(&history));
    found.extend(findings::pain(&history));
    found.extend(findings::effort(&history));
    found.sort_by(|a, b| a.date.cmp(&b.date).then(a.code.cmp(&b.code)));
    let situation = Situation::new(&history, &found, &is_improper, &progress);
    let ruling = ruling::rule(&situation);
    let coming = coming::coming(&situation, &ruling);
    note_ambiguous(&history, &mut notices);
    note_diary(&history, &mut notices);
    let overrides = note_looser(plan, &mut notices);
    let value = Review {
        as_of,
        ruling,
        coming,
        weeks,
        stages: tallies(plan, sessions),
        findings: found,
        loads: sessions.iter().map(|session| load_of(session, &written.diary)).collect(),
        longest_runs,
        visits: written.seen.visits().to_vec(),
        overrides,
    };
    Noted { value, notices }
}

/// What a stage asks for on a day after these sessions and the visits to a clinician, where a count rises from session to session:
/// with the number that is due.
pub fn due_on(
    plan: &Plan,
    stage: usize,
    seen: &Seen,
    sessions: &[PerformedSession],
    day: Date,
    config: &ReviewConfig,
) -> Option<DueSession> {
    plan.stages.get(stage)?;
    Progress::of(plan, seen, sessions, day, config).due(stage)
}

fn load_of(session: &PerformedSession, diary: &Diary) -> Option<f64> {
    let effort = diary.on(session.date).and_then(|entry| entry.effort)?;
    Some(session_load(effort, session.totals.session_s))
}

fn tallies(plan: &Plan, sessions: &[PerformedSession]) -> Vec<StageTally> {
    let mut tallies = vec![StageTally::default(); plan.stages.len()];
    for session in sessions {
        let Some(tally) = session.stage.stage().and_then(|stage| tallies.get_mut(stage)) else { continue };
        tally.attempts += 1;
        let count = match session.outcome {
            Outcome::Kept => &mut tally.kept,
            Outcome::Overdone => &mut tally.overdone,
            Outcome::Underdone => &mut tally.underdone,
            Outcome::Undecided => &mut tally.undecided,
        };
        *count += 1;
    }
    tallies
}

fn note_ambiguous(history: &History<'_>, notices: &mut Vec<Notice>) {
    for session in history.sessions {
        let StageChoice::Ambiguous(candidates) = &session.stage else { continue };
        if candidates.is_empty() {
            let text = format!(
                "The session of {} has too many bouts, or the plan too many steps in all, to find out which stage it was: it \
                 is not guessed. Say which in stages.csv.",
                session.date
            );
            notices.push(Notice::new(NoticeCode::StageAmbiguous, text));
            continue;
        }
        let named: Vec<String> = candidates
            .iter()
            .map(|(stage, share)| {
                format!("“{}” ({:.0} %)", history.plan.stages[*stage].name, (100.0 * share).min(99.0))
            })
            .collect();
        let text = format!(
            "The session of {} may be of stage {}: it is not guessed. Say which in stages.csv.",
            session.date,
            named.join(" or ")
        );
        notices.push(Notice::new(NoticeCode::StageAmbiguous, text));
    }
}

/// Entries with an effort on days without a recording: sessions that are not reviewed.
fn note_diary(history: &History<'_>, notices: &mut Vec<Notice>) {
    let recorded = |date: Date| {
        history.sessions.binary_search_by(|s| s.date.cmp(&date)).is_ok()
            || history.other.iter().any(|other| other.date == date)
    };
    let missing: Vec<String> = history
        .diary
        .entries()
        .iter()
        .filter(|entry| entry.date <= history.as_of && entry.effort.is_some_and(|effort| effort > 0.0))
        .filter(|entry| !recorded(entry.date))
        .map(|entry| entry.date.to_string())
        .collect();
    if !missing.is_empty() {
        let shown = &missing[..missing.len().min(MOST_FAULTS)];
        let more = missing.len() - shown.len();
        let and = if more > 0 { format!(" and {more} more") } else { String::new() };
        let text = format!(
            "The diary has an effort on days without a recording ({}{and}): a session there is counted nowhere.",
            shown.join(", ")
        );
        notices.push(Notice::new(NoticeCode::SessionNotRecorded, text));
    }
}

/// Says which limits of the plan are looser than the rules, and gives the reasons that let them hold.
fn note_looser(plan: &Plan, notices: &mut Vec<Notice>) -> Vec<String> {
    let mut overrides: Vec<String> = Vec::new();
    let mut held: Vec<&'static str> = Vec::new();
    for stage in &plan.stages {
        if let Some(reason) = &stage.limits.clinician_override {
            if !overrides.contains(reason) {
                overrides.push(reason.clone());
            }
            continue;
        }
        held.extend(Bounds::of(&stage.limits).looser);
    }
    held.sort_unstable();
    held.dedup();
    for key in held {
        let text = format!(
            "`{key}` of the plan is looser than the rules of the review, so the rules hold. A clinician's reason in \
             `clinician_override` lets the plan's hold."
        );
        notices.push(Notice::new(NoticeCode::PlanLooserThanRules, text));
    }
    overrides
}
