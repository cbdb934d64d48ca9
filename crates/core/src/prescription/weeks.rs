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

impl Stage {
    /// Sessions a week at most, assumed where the plan does not say.
    pub fn weekly_sessions(&self) -> u32 {
        self.limits.sessions_per_week.map_or(ASSUMED_SESSIONS_PER_WEEK, |week| week.most).max(1)
    }

    /// Sessions that the stage takes, of all kinds and at most; a week of them where the plan does not say.
    pub fn planned_sessions(&self) -> u32 {
        self.sessions.unwrap_or_else(|| self.weeks.unwrap_or(1) * self.weekly_sessions()).max(1)
    }
}

impl Plan {
    /// Lays the sessions of all stages into weeks, each stage at its sessions a week. A week that two stages share has
    /// as many sessions as the stage that it begins with allows.
    pub fn weeks(&self) -> Vec<PlannedWeek> {
        let mut weeks: Vec<PlannedWeek> = Vec::new();
        let mut room = 0;
        for place in 0..self.places() {
            let kinds = self.kinds_at(place);
            let Some(stage) = self.stages.get(kinds.start) else { continue };
            // What is counted by weeks, or has several kinds in one, begins with a week.
            if stage.weeks.is_some() || kinds.len() > 1 {
                room = 0;
            }
            let mut turn = self.in_turn(kinds).into_iter().cycle();
            for _ in 0..stage.planned_sessions() {
                if room == 0 {
                    weeks.push(PlannedWeek { number: weeks.len() + 1, sessions: Vec::new() });
                    room = stage.weekly_sessions();
                }
                if let (Some(week), Some(index)) = (weeks.last_mut(), turn.next()) {
                    week.sessions.push(index);
                }
                room -= 1;
            }
        }
        weeks
    }

    /// The sessions of one week of a stage, each kind as often as it may be, in turn.
    pub(super) fn in_turn(&self, kinds: std::ops::Range<usize>) -> Vec<usize> {
        if kinds.len() <= 1 {
            return kinds.collect();
        }
        let most = |index: &usize| self.stages[*index].a_week().map_or(1, |week| week.most);
        let rounds = kinds.clone().map(|index| most(&index)).max().unwrap_or(0);
        (0..rounds).flat_map(|round| kinds.clone().filter(move |index| most(index) > round)).collect()
    }

    /// The days of each stage's first and last session, counted from 0, sessions spread evenly over their weeks.
    pub(super) fn days(&self) -> Vec<(f64, f64)> {
        const DAYS_OF_A_WEEK: f64 = 7.0;
        let mut next = 0.0;
        let mut days = Vec::with_capacity(self.stages.len());
        for place in 0..self.places() {
            let kinds = self.kinds_at(place);
            let Some(stage) = self.stages.get(kinds.start) else { continue };
            let apart = DAYS_OF_A_WEEK / f64::from(stage.weekly_sessions());
            let first = next;
            next += apart * f64::from(stage.planned_sessions());
            days.extend(kinds.map(|_| (first, next - apart)));
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
