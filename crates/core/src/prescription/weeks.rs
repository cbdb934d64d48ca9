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
    /// Sessions a week, assumed where the plan does not say.
    pub fn weekly_sessions(&self) -> u32 {
        self.limits.sessions_per_week.unwrap_or(ASSUMED_SESSIONS_PER_WEEK).max(1)
    }

    /// Sessions that the stage takes; a week of them where the plan does not say.
    pub fn planned_sessions(&self) -> u32 {
        self.sessions.unwrap_or_else(|| self.weekly_sessions()).max(1)
    }
}

impl Plan {
    /// Lays the sessions of all stages into weeks, each stage at its sessions a week. A week that two stages share has
    /// as many sessions as the stage that it begins with allows.
    pub fn weeks(&self) -> Vec<PlannedWeek> {
        let mut weeks: Vec<PlannedWeek> = Vec::new();
        let mut room = 0;
        for (index, stage) in self.stages.iter().enumerate() {
            for _ in 0..stage.planned_sessions() {
                if room == 0 {
                    weeks.push(PlannedWeek { number: weeks.len() + 1, sessions: Vec::new() });
                    room = stage.weekly_sessions();
                }
                if let Some(week) = weeks.last_mut() {
                    week.sessions.push(index);
                }
                room -= 1;
            }
        }
        weeks
    }

    /// The days of each stage's first and last session, counted from 0, sessions spread evenly over their weeks.
    pub(super) fn days(&self) -> Vec<(f64, f64)> {
        const DAYS_OF_A_WEEK: f64 = 7.0;
        let mut next = 0.0;
        let stages = self.stages.iter().map(|stage| {
            let apart = DAYS_OF_A_WEEK / f64::from(stage.weekly_sessions());
            let first = next;
            next += apart * f64::from(stage.planned_sessions());
            (first, next - apart)
        });
        stages.collect()
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
