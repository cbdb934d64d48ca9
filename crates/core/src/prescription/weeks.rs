//! The weeks that a plan takes when every session is kept.

use super::{Plan, Stage};

/// Sessions of a week where the plan does not say: three, the most in the early stages by common practice, no source.
pub const ASSUMED_SESSIONS_PER_WEEK: u32 = 3;

/// One week of a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedWeek {
    /// Counted from 1.
    pub number: usize,
    /// For each session in order the index of its stage; as many as a week may have, fewer in the last one.
    pub sessions: Vec<usize>,
}

/// What a week holds so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Filling {
    /// Sessions, of whichever kinds.
    count: u32,
    /// The sessions of which it is known which kind they were, by index.
    known: Vec<usize>,
    /// The most that the stage allows with which it begins.
    most: Option<u32>,
}

impl Filling {
    /// A week with so many sessions, and those of them whose kind is known.
    pub(super) fn of_week(count: u32, known: Vec<usize>) -> Self {
        Self { count, known, most: None }
    }

    /// Sessions of one kind.
    fn of(&self, kind: usize) -> u32 {
        self.known.iter().filter(|known| **known == kind).count() as u32
    }

    pub(super) fn add(&mut self, plan: &Plan, kind: usize) {
        self.most = self.most.or(plan.stages.get(kind).map(Stage::weekly_sessions));
        self.count += 1;
        self.known.push(kind);
    }
}

impl Stage {
    /// Sessions a week at most, assumed where the plan does not say.
    pub fn weekly_sessions(&self) -> u32 {
        self.limits.sessions_per_week.map_or(ASSUMED_SESSIONS_PER_WEEK, |week| week.most).max(1)
    }

    /// How often a week this kind of session may be at most, assumed where the plan does not say.
    pub fn most_a_week(&self) -> u32 {
        let week = self.weekly_sessions();
        self.kind.as_ref().map_or(week, |kind| kind.a_week.most.min(week))
    }

    /// How often a week asks for this kind of session at least: once where the plan does not say.
    pub fn least_a_week(&self) -> u32 {
        self.a_week().map_or(1, |week| week.least)
    }
}

impl Plan {
    /// Lays the sessions of all stages into weeks, each stage at its sessions a week. A week that two stages share has no
    /// more sessions than the stage that it begins with allows.
    pub fn weeks(&self) -> Vec<PlannedWeek> {
        let mut weeks: Vec<PlannedWeek> = Vec::new();
        let mut week = Filling::default();
        let mut finish = |week: &mut Filling| {
            let sessions = std::mem::take(week).known;
            if !sessions.is_empty() {
                weeks.push(PlannedWeek { number: weeks.len() + 1, sessions });
            }
        };
        for place in 0..self.places() {
            if self.begins_with_week(place) {
                finish(&mut week);
            }
            let by_weeks = self.first_at(place).and_then(|stage| stage.weeks);
            for _ in 0..by_weeks.unwrap_or(0) {
                while let Some(kind) = self.next_in_week(place, &week, u32::MAX) {
                    week.add(self, kind);
                }
                finish(&mut week);
            }
            for _ in 0..by_weeks.map_or_else(|| self.planned_sessions(place), |_| 0) {
                if self.next_in_week(place, &week, u32::MAX).is_none() {
                    finish(&mut week);
                }
                let Some(kind) = self.next_in_week(place, &week, u32::MAX) else { break };
                week.add(self, kind);
            }
        }
        finish(&mut week);
        weeks
    }

    /// Whether a stage begins with a week: it, or the one before, is counted by weeks, or it has several kinds of session in one.
    pub(crate) fn begins_with_week(&self, place: usize) -> bool {
        let by_weeks = |place: usize| self.first_at(place).is_some_and(|stage| stage.weeks.is_some());
        place > 0 && (by_weeks(place) || by_weeks(place - 1) || self.kinds_at(place).len() > 1)
    }

    /// The kind of session of a place that comes next in a week: each as often as it may be, in turn, but none that is optional
    /// while no more than `room` is left for those that the week asks for. `None` when the week is full.
    pub(super) fn next_in_week(&self, place: usize, week: &Filling, room: u32) -> Option<usize> {
        let kinds = self.kinds_at(place);
        let least = |kind: usize| {
            let kind = self.stages.get(kind).and_then(|stage| stage.kind.as_ref());
            kind.map_or(0, |kind| kind.a_week.least)
        };
        let lacks = |kind: usize| least(kind).saturating_sub(week.of(kind));
        let lacking: u32 = kinds.clone().map(lacks).sum();
        let fits = |kind: &usize| {
            let room = room.min(self.most_in(week, *kind).saturating_sub(week.count));
            self.has_room(*kind, week) && (lacks(*kind) > 0 || room > lacking)
        };
        kinds.filter(fits).min_by_key(|kind| (week.of(*kind), *kind))
    }

    /// Sessions that a week may have when one of that kind is among them.
    fn most_in(&self, week: &Filling, kind: usize) -> u32 {
        let own = self.stages.get(kind).map_or(0, Stage::weekly_sessions);
        own.min(week.most.unwrap_or(own))
    }

    /// Whether a week has room for one more session of that kind.
    pub(super) fn has_room(&self, kind: usize, week: &Filling) -> bool {
        let is_open = |stage: &Stage| stage.kind.is_none() || week.of(kind) < stage.most_a_week();
        week.count < self.most_in(week, kind) && self.stages.get(kind).is_some_and(is_open)
    }

    /// Whether every kind of session at a place is as often in a week as it asks for at least.
    pub(crate) fn is_week_complete(&self, place: usize, so_often: impl Fn(usize) -> u32) -> bool {
        self.kinds_at(place).all(|kind| so_often(kind) >= self.stages[kind].least_a_week())
    }

    /// A stage's first kind of session, which has what holds for all of them.
    pub(super) fn first_at(&self, place: usize) -> Option<&Stage> {
        self.stages.get(self.kinds_at(place).start)
    }

    /// Sessions a week of a stage, of all kinds and at most.
    fn sessions_a_week(&self, place: usize) -> u32 {
        let kinds = self.stages.get(self.kinds_at(place)).unwrap_or_default();
        let most = kinds.iter().map(Stage::weekly_sessions).max().unwrap_or(0);
        most.min(kinds.iter().map(Stage::most_a_week).sum())
    }

    /// Sessions that a stage takes, of all kinds and at most; a week of them where the plan does not say.
    pub(crate) fn planned_sessions(&self, place: usize) -> u32 {
        let stage = self.first_at(place);
        let sessions = stage.and_then(|stage| stage.sessions);
        let weeks = stage.and_then(|stage| stage.weeks).unwrap_or(1);
        sessions.unwrap_or_else(|| weeks * self.sessions_a_week(place))
    }

    /// The days of each stage's first and last session, counted from 0, sessions spread evenly over their weeks.
    pub(super) fn days(&self) -> Vec<(f64, f64)> {
        const DAYS_OF_A_WEEK: f64 = 7.0;
        let mut next = 0.0;
        let mut days = Vec::with_capacity(self.stages.len());
        for place in 0..self.places() {
            let apart = DAYS_OF_A_WEEK / f64::from(self.sessions_a_week(place).max(1));
            let first = next;
            next += apart * f64::from(self.planned_sessions(place).max(1));
            days.extend(self.kinds_at(place).map(|_| (first, next - apart)));
        }
        days
    }
}

#[cfg(test)]
mod tests {
    use std::fmt::Write as _;

    use super::*;

    fn plan(stages: &[(Option<u32>, Option<u32>)]) -> Plan {
        let mut text = String::new();
        for (n, (sessions, per_week)) in stages.iter().enumerate() {
            let _ = writeln!(text, "[[stage]]\nname = '{n}'\nsession = 'run 10:00'");
            for (key, value) in [("sessions", sessions), ("sessions_per_week", per_week)] {
                let _ = value.map(|value| writeln!(text, "{key} = {value}"));
            }
        }
        Plan::parse(&text).unwrap().value
    }

    #[test]
    fn stages_share_weeks() {
        let weeks = plan(&[(Some(2), Some(3)), (Some(2), Some(3)), (Some(3), Some(4))]).weeks();
        let sessions: Vec<_> = weeks.iter().map(|w| w.sessions.as_slice()).collect();
        assert_eq!(sessions, [&[0, 0, 1][..], &[1, 2, 2], &[2]]);
        assert_eq!(weeks[2].number, 3);
    }

    #[test]
    fn a_shared_week_has_no_more_sessions_than_either_stage_allows() {
        let weeks = plan(&[(Some(1), Some(4)), (Some(3), Some(2))]).weeks();
        let sessions: Vec<_> = weeks.iter().map(|w| w.sessions.as_slice()).collect();
        assert_eq!(sessions, [&[0, 1][..], &[1, 1]]);
    }

    #[test]
    fn a_week_of_kinds_has_each_as_often_as_it_may_be_and_no_more_than_the_week() {
        let kind = |name: &str, week: &str| {
            format!("[[stage.session]]\nname = '{name}'\ndo = 'run 9:10'\na_week = {week}\n")
        };
        let weeks = |most: u32, last: &str| {
            let head = format!("[limits]\nsessions_per_week = {most}\n[[stage]]\nname = '1'\nweeks = 2\n");
            let kinds = kind("a", "'0 to 2'") + &kind("b", last);
            let weeks = Plan::parse(&(head + &kinds)).unwrap().value.weeks();
            weeks.into_iter().map(|week| week.sessions).collect::<Vec<_>>()
        };
        // The week allows more than the kinds add up to.
        assert_eq!(weeks(5, "1"), [[0, 1, 0], [0, 1, 0]]);
        // It allows less: what it asks for comes before what is optional.
        assert_eq!(weeks(3, "2"), [[0, 1, 1], [0, 1, 1]]);
        assert_eq!(weeks(2, "2"), [[1, 1], [1, 1]]);
        assert_eq!(weeks(3, "0"), [[0, 0], [0, 0]]);
    }

    #[test]
    fn what_is_not_said_is_a_week_of_three() {
        let weeks = plan(&[(None, None), (None, Some(2))]).weeks();
        assert_eq!(weeks.iter().map(|w| w.sessions.len()).collect::<Vec<_>>(), [3, 2]);
    }

    #[test]
    fn days_are_even() {
        // Three sessions a week are 7/3 days apart.
        let days = plan(&[(Some(3), Some(3)), (Some(1), Some(1))]).days();
        assert!((days[0].1 - 14.0 / 3.0).abs() < 1e-9);
        assert_eq!(days[1].0, 7.0);
    }
}
