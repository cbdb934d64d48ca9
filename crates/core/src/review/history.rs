//! What the parts of a review look at together.

use jiff::civil::Date;

use crate::prescription::{Block, Extent, Plan, Session};
use crate::range::Range;
use jogaudit_recording::units::Seconds;

use super::bounds::Bounds;
use super::calendar::{monday, plus};
use super::diary::Diary;
use super::given::Given;
use super::other::OtherSession;
use super::pain::Pain;
use super::seen::Seen;
use super::sessions::PerformedSession;
use super::{ReviewConfig, Written};

/// Running speed with which a prescribed distance is turned into time when the recording has none: the slow end of
/// return to running is 8 km/h (Rambaud et al. 2018, secondary).
const ASSUMED_RUN_MPS: f64 = 2.2;

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

/// The longest run that a session prescribes, s, at the most.
/// A distance is turned into time with `run_mps` where it is known.
pub(super) fn longest_prescribed_run_s(session: &Session, run_mps: Option<f64>) -> f64 {
    let speed = run_mps.filter(|v| *v > 0.5).unwrap_or(ASSUMED_RUN_MPS);
    let seconds = |extent: Range<Extent>| extent.most.seconds_at(speed);
    let mut longest: f64 = 0.0;
    let mut now = 0.0;
    // Neighbouring runs are one run: nothing marks where one ends.
    let mut see = |step: &crate::prescription::Step, most: f64| {
        now = if step.motion == crate::prescription::Move::Run {
            now + seconds(step.extent).min(most)
        } else {
            0.0
        };
        longest = longest.max(now);
    };
    for block in session.expand().blocks {
        match block {
            Block::Steps(steps) => steps.iter().for_each(|step| see(step, f64::INFINITY)),
            Block::Until { extent, cycle } => cycle.iter().for_each(|step| see(step, seconds(extent))),
            Block::Times { times, once } => {
                // Twice shows a run that goes on into the next round.
                let steps = once.kinds_of_step();
                (0..times.most.min(2)).for_each(|_| steps.iter().for_each(|step| see(step, f64::INFINITY)));
            }
        }
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_prescribed_run() {
        let longest = |text: &str, speed| longest_prescribed_run_s(&Session::parse(text).unwrap(), speed);
        assert_eq!(longest("walk 5:00, 3 x (run 1:00, walk 2:00), run 4:00", None), 240.0);
        assert_eq!(longest("run 1:00, run 2:00 @ 7:00 /km, walk 1:00", None), 180.0);
        assert_eq!(longest("3 x (run 400 m, walk 1:00)", Some(2.5)), 160.0);
        assert_eq!(longest("for 2 km (run 5:00, walk 1:00)", Some(2.0)), 300.0);
        assert_eq!(longest("walk 20:00", None), 0.0);
    }
}
