//! How much more one stage may ask than those before it: the linter's thresholds, which the drafter keeps too.
//!
//! What is published on the rise of running is about distances of healthy or novice runners, not about a return from
//! an injury. Published graded programmes themselves are not even (a published five-week hospital plan goes from 21 to
//! 16 and from 20 to 12 minutes of running). So these are remarks to think about, never verdicts.

use super::RemarkUnit;
use crate::prescription::figures::ASSUMED_RUN_MPS;

/// Largest increments from stage to stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Increments {
    /// Rise of a session's running over the most of the 30 days before, as a fraction.
    ///
    /// Default 0.1: in 5205 runners a session's distance up to 10 % over the longest of the 30 days before was the
    /// reference; more went with more injuries (Frandsen et al. 2025, BJSM 59:1203-10).
    pub session_share: f64,
    /// Rise of a session's running time that is always let pass, s.
    ///
    /// Default 120 s, our choice: 10 % of a few minutes of running is less than one repetition.
    pub session_s: f64,
    /// Rise of the longest run without a walk, as a fraction. Default 0.5, our choice, no source.
    pub longest_share: f64,
    /// Rise of the longest run that is always let pass, s. Default 120 s, our choice, no source.
    pub longest_s: f64,
    /// Rise of run to walk, as a factor. Default 2, our choice, no source: from 1:2 to 1:1, from 1:1 to 2:1.
    pub run_to_walk: f64,
    /// Rise of a week's running over the week before where the plan has no limit of its own, as a fraction.
    ///
    /// Default 0.3, on weak evidence: novices above 30 % a week had more distance-related injuries than those below
    /// 10 %, not significantly (Nielsen et al. 2014, JOSPT 44:739-47); a trial of the 10 % rule found no effect
    /// (Buist et al. 2008, Am J Sports Med 36:33-9).
    pub week_share: f64,
}

impl Default for Increments {
    fn default() -> Self {
        Self {
            session_share: 0.1,
            session_s: 120.0,
            longest_share: 0.5,
            longest_s: 120.0,
            run_to_walk: 2.0,
            week_share: 0.3,
        }
    }
}

/// In what a running amount is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Seconds.
    Seconds,
    /// Metres, where all that is compared is by distance.
    Metres,
}

impl From<Unit> for RemarkUnit {
    fn from(unit: Unit) -> Self {
        match unit {
            Unit::Seconds => Self::Seconds,
            Unit::Metres => Self::Metres,
        }
    }
}

impl Unit {
    /// `seconds` in this unit.
    fn of_seconds(self, seconds: f64) -> f64 {
        match self {
            Self::Seconds => seconds,
            Self::Metres => seconds * ASSUMED_RUN_MPS,
        }
    }
}

impl Increments {
    /// Most running of a session after `base` in the same unit.
    pub fn most_session(&self, base: f64, unit: Unit) -> f64 {
        (base * (1.0 + self.session_share)).max(base + unit.of_seconds(self.session_s))
    }

    /// Longest run after `base` in the same unit.
    pub fn most_longest(&self, base: f64, unit: Unit) -> f64 {
        (base * (1.0 + self.longest_share)).max(base + unit.of_seconds(self.longest_s))
    }

    /// Most running of a week of `sessions` sessions after one of `base_s`, when the plan has no limit of its own.
    pub fn most_week_s(&self, base_s: f64, sessions: usize) -> f64 {
        (base_s * (1.0 + self.week_share)).max(base_s + self.session_s * sessions as f64)
    }
}

/// Whether `value` lies above `limit` by more than rounding.
pub(in crate::prescription) fn exceeds(value: f64, limit: f64) -> bool {
    value > limit + 1e-6 * limit.abs().max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_edge_is_still_within() {
        // Category edges of the cohort: 1.10 belongs to the reference, 1.1001 does not.
        let increments = Increments::default();
        let base_s = 3600.0;
        assert!(!exceeds(base_s * 1.10, increments.most_session(base_s, Unit::Seconds)));
        assert!(exceeds(base_s * 1.1001, increments.most_session(base_s, Unit::Seconds)));
    }

    #[test]
    fn short_sessions_may_grow_by_a_repetition() {
        let increments = Increments::default();
        assert_eq!(increments.most_session(360.0, Unit::Seconds), 480.0);
        assert_eq!(increments.most_session(1000.0, Unit::Metres), 1312.0);
        assert_eq!(increments.most_longest(60.0, Unit::Seconds), 180.0);
        assert_eq!(increments.most_longest(600.0, Unit::Seconds), 900.0);
        assert_eq!(increments.most_week_s(1080.0, 3), 1440.0);
    }
}
