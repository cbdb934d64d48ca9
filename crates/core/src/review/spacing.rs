//! Sessions too many in a week, or too close to the one before.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::prescription::Plan;

use super::ReviewConfig;
use super::bounds::Bounds;
use super::calendar::{days_between, monday};
use super::performed::PerformedSession;

/// What was done against what is allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Excess {
    pub(super) allowed: u32,
    pub(super) done: u32,
}

/// Where a session stands in its week.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Spaced {
    /// More sessions in the week than it allows, of whichever kind.
    pub(super) of_week: Option<Excess>,
    /// More sessions of one kind, by index, than the week allows.
    pub(super) of_kind: Option<(usize, Excess)>,
    /// Fewer days of rest before it than prescribed.
    pub(super) rest: Option<Excess>,
}

impl Spaced {
    /// Whether it was too many or too close.
    pub(super) const fn is_improper(&self) -> bool {
        self.of_week.is_some() || self.of_kind.is_some() || self.rest.is_some()
    }
}

/// Counts the sessions of each week, taken in in order of time.
#[derive(Clone, Debug)]
pub(super) struct Spacing<'p> {
    plan: &'p Plan,
    /// The stage the runner is at: the last known one, else the first.
    at_stage: usize,
    pub(super) week: Date,
    in_week: u32,
    of_kind: BTreeMap<usize, u32>,
    before: Option<Date>,
}

impl<'p> Spacing<'p> {
    pub(super) fn new(plan: &'p Plan) -> Self {
        Self { plan, at_stage: 0, week: Date::MIN, in_week: 0, of_kind: BTreeMap::new(), before: None }
    }

    pub(super) fn take(&mut self, session: &PerformedSession, config: &ReviewConfig) -> Spaced {
        let stage = session.stage.stage();
        self.at_stage = stage.unwrap_or(self.at_stage);
        if !session.is_run(config) {
            return Spaced::default();
        }
        if monday(session.date) != self.week {
            (self.week, self.in_week) = (monday(session.date), 0);
            self.of_kind.clear();
        }
        self.in_week += 1;
        let beyond = |allowed: u32, done: u32| (done > allowed).then_some(Excess { allowed, done });
        let bounds = Bounds::of(&self.plan.stages[self.at_stage].limits);
        let of_kind = stage.and_then(|stage| {
            let most = self.plan.stages[stage].kind.as_ref()?.a_week.most;
            let done = self.of_kind.entry(stage).or_default();
            *done += 1;
            Some((stage, beyond(most, *done)?))
        });
        let rest = self.before.and_then(|before| {
            let (days, least) = (days_between(before, session.date) - 1, bounds.rest_days?);
            let done = u32::try_from(days).unwrap_or(0);
            (days < i64::from(least)).then_some(Excess { allowed: least, done })
        });
        self.before = Some(session.date);
        let of_week = bounds.sessions_per_week.and_then(|week| beyond(week.most, self.in_week));
        Spaced { of_week, of_kind, rest }
    }
}
