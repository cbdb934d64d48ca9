//! What a day's entry in the diary means under the limits that hold.

use super::bounds::Bounds;
use super::diary::{Entry, Pattern};

/// Pain of one day, judged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools)] // each is one question of the rules
pub(super) struct Pain {
    /// Pain during the session beyond what is allowed; pain of unknown size counts.
    pub(super) during: bool,
    /// Pain on the morning after beyond what is allowed.
    pub(super) next_morning: bool,
    /// At night.
    pub(super) night: bool,
    /// Above the model's upper band, during or after.
    pub(super) above_five: bool,
    /// Some pain was noted, within what is allowed, and it was not gone after warming up.
    pub(super) lasting_within_limit: bool,
    /// What was noted of pain cannot be read.
    pub(super) unread: bool,
}

impl Pain {
    pub(super) fn of(entry: &Entry, bounds: &Bounds) -> Self {
        let above = |pain: Option<f64>, limit: Option<f64>| pain.is_some_and(|p| p > limit.unwrap_or(0.0));
        let size_unknown = !entry.patterns.is_empty() && entry.pain_during.is_none_or(|pain| pain == 0.0);
        let during = above(entry.pain_during, bounds.pain_limit) || size_unknown;
        let lasting = entry.patterns.iter().any(|pattern| *pattern != Pattern::WarmUpOnly);
        Self {
            during,
            next_morning: above(entry.pain_next_morning, bounds.morning_limit),
            night: entry.patterns.contains(&Pattern::Night),
            above_five: entry.greatest_pain().is_some_and(|pain| pain > super::bounds::MOST_PAIN_LIMIT),
            lasting_within_limit: !during && lasting,
            unread: entry.pain_unread,
        }
    }

    /// Whether any of it calls for rest, or may: what cannot be read is not taken for none.
    pub(super) fn may_count(self) -> bool {
        self.counts() || self.unread
    }

    /// Whether any of it calls for rest.
    pub(super) fn counts(self) -> bool {
        self.during || self.next_morning || self.night || self.above_five
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prescription::Limits;

    fn pain(limit: Option<f64>, during: Option<f64>, morning: Option<f64>, pattern: Option<Pattern>) -> Pain {
        let bounds = Bounds::of(&Limits { pain_limit: limit, ..Limits::default() });
        let entry = Entry {
            pain_during: during,
            pain_next_morning: morning,
            patterns: pattern.into_iter().collect(),
            ..Entry::empty("2026-03-02".parse().unwrap())
        };
        Pain::of(&entry, &bounds)
    }

    #[test]
    fn without_a_limit_any_pain_counts() {
        assert!(pain(None, Some(0.5), None, None).during);
        assert!(pain(None, None, Some(1.0), None).next_morning);
        assert!(!pain(None, Some(0.0), Some(0.0), None).counts());
        assert!(!pain(None, None, None, None).counts());
    }

    #[test]
    fn with_a_limit_pain_above_it_counts_and_the_morning_has_its_own() {
        assert!(!pain(Some(4.0), Some(4.0), Some(2.0), None).counts());
        assert!(pain(Some(4.0), Some(4.5), None, None).during);
        assert!(pain(Some(4.0), Some(1.0), Some(3.0), None).next_morning);
        assert!(pain(Some(1.0), Some(1.0), Some(1.5), None).next_morning);
    }

    #[test]
    fn a_pattern_without_a_number_is_pain_of_unknown_size() {
        assert!(pain(Some(5.0), None, None, Some(Pattern::Returns)).during);
        assert!(pain(None, Some(0.0), None, Some(Pattern::After)).during);
        let within = pain(Some(2.0), Some(1.0), None, Some(Pattern::Returns));
        assert!(within.lasting_within_limit && !within.counts());
        assert!(!pain(Some(2.0), Some(1.0), None, Some(Pattern::WarmUpOnly)).lasting_within_limit);
    }

    #[test]
    fn night_and_more_than_five_count_whatever_the_limit() {
        assert!(pain(Some(5.0), Some(1.0), None, Some(Pattern::Night)).night);
        assert!(pain(Some(5.0), None, Some(6.0), None).above_five);
    }
}
