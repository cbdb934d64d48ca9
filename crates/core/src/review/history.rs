//! What the parts of a review look at together.

use jiff::civil::Date;

use crate::prescription::Plan;
use crate::range::Range;
use jogaudit_recording::units::Seconds;

use super::bounds::Bounds;
use super::calendar::{monday, plus};
use super::config::ReviewConfig;
use super::diary::Diary;
use super::given::Given;
use super::other::OtherSession;
use super::pain::Pain;
use super::performed::PerformedSession;
use super::seen::Seen;
use super::written::Written;

/// A case, and what is worked out once for all parts.
pub(super) struct History<'a> {
    pub(super) plan: &'a Plan,
    /// Stages that somebody named.
    pub(super) given: &'a Given,
    pub(super) diary: &'a Diary,
    /// Visits to a clinician.
    pub(super) seen: &'a Seen,
    /// In order of time.
    pub(super) sessions: &'a [PerformedSession],
    /// Agreed training besides, in order of time.
    pub(super) other: &'a [OtherSession],
    pub(super) as_of: Date,
    pub(super) config: &'a ReviewConfig,
    /// Indices of the sessions with running, in order.
    pub(super) runs: Vec<usize>,
    /// For each session the stage the runner was at on that day: its own, else the last known one, else the first.
    at_stage: Vec<usize>,
}

impl<'a> History<'a> {
    pub(super) fn new(
        plan: &'a Plan,
        written: &'a Written,
        sessions: &'a [PerformedSession],
        as_of: Date,
        config: &'a ReviewConfig,
    ) -> Self {
        let runs = (0..sessions.len()).filter(|i| sessions[*i].is_run(config)).collect();
        let mut stage = 0;
        let mut at = |session: &PerformedSession| {
            stage = session.stage.stage().unwrap_or(stage);
            stage
        };
        let at_stage = sessions.iter().map(&mut at).collect();
        let Written { diary, given, seen } = written;
        Self { plan, given, diary, seen, sessions, other: &[], as_of, config, runs, at_stage }
    }

    /// The stage the runner was at when this session was done.
    pub(super) fn stage_at(&self, session: usize) -> usize {
        self.at_stage[session]
    }

    /// The limits that held when this session was done.
    pub(super) fn bounds_at(&self, session: usize) -> Bounds {
        Bounds::of(&self.plan.stages[self.at_stage[session]].limits)
    }

    /// The limits that hold on a day: those of the last session up to it, else of the first stage.
    pub(super) fn bounds_on(&self, date: Date) -> Bounds {
        let before = self.sessions.partition_point(|session| session.date <= date);
        let stage = before.checked_sub(1).map_or(0, |last| self.at_stage[last]);
        Bounds::of(&self.plan.stages[stage].limits)
    }

    /// Pain of each entry of the diary, judged by the limits of its day.
    pub(super) fn pains(&self) -> impl Iterator<Item = (Date, Pain)> + '_ {
        let entries = self.diary.entries().iter().filter(|entry| entry.date <= self.as_of);
        entries.map(|entry| (entry.date, Pain::of(entry, &self.bounds_on(entry.date))))
    }

    /// Running that a session's stage prescribes, s, from the least to the most; `None` where it is open or the stage is not
    /// known.
    pub(super) fn prescribed_run_s(&self, session: usize) -> Option<Range> {
        let session = &self.sessions[session];
        let by_audit = session.audit.as_ref().and_then(|audit| audit.dose.run_s.prescribed);
        by_audit.or_else(|| self.stage_run_s(session.stage.stage()?))
    }

    /// Running that a stage prescribes, s, from the least to the most; `None` where its words leave it open.
    pub(super) fn stage_run_s(&self, stage: usize) -> Option<Range> {
        self.plan.stages[stage].session.dose().run.map(|run| run.map(Seconds::get))
    }

    /// Whether a day lies in the week of the review.
    pub(super) fn in_this_week(&self, date: Date) -> bool {
        monday(date) == monday(self.as_of)
    }

    /// Whether what was done or noted on a day no longer rules, because a clinician saw the runner after it. On the day of the
    /// visit itself nobody knows whether a run came before or after, so it rules.
    pub(super) fn is_settled(&self, date: Date) -> bool {
        self.seen.last().is_some_and(|visit| date < visit.date || (date == visit.date && !self.ran_on(date)))
    }

    /// Whether there was a session on a day: a recording with running or, without one, an effort in the diary.
    fn ran_on(&self, date: Date) -> bool {
        let is_noted =
            || self.diary.on(date).and_then(|entry| entry.effort).is_some_and(|effort| effort > 0.0);
        self.runs.binary_search_by_key(&date, |index| self.sessions[*index].date).is_ok() || is_noted()
    }

    /// The sessions with running in the week of a day.
    pub(super) fn runs_in_week(&self, day: Date) -> impl Iterator<Item = &'a PerformedSession> + '_ {
        let runs = self.runs.iter().map(|i| &self.sessions[*i]);
        runs.filter(move |session| monday(session.date) == monday(day))
    }

    /// Whether a day is one of the last seven.
    pub(super) fn is_recent(&self, date: Date) -> bool {
        date > plus(self.as_of, -7)
    }
}
