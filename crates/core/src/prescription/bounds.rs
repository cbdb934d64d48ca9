//! What values a plan may hold: each quantity once, with its name, least, most and how a limit is written.
//!
//! The limits catch slips (a cadence counted on one leg, metres for minutes), not bad prescriptions.

use std::ops::RangeInclusive;

/// A quantity's name and limits, in the unit that its values are compared in.
pub(super) struct Bound {
    /// What it is called in an error.
    pub(super) name: &'static str,
    /// Least value, allowed itself.
    pub(super) least: f64,
    /// Greatest value, allowed itself.
    pub(super) most: f64,
    /// The limits in the units of the plan file.
    pub(super) range: &'static str,
    /// What may have gone wrong when a value is outside.
    pub(super) hint: Option<&'static str>,
}

impl Bound {
    /// Gives the value back when it lies within the limits, else what was expected.
    pub(super) fn check(&self, value: f64) -> Result<f64, String> {
        if (self.least..=self.most).contains(&value) {
            return Ok(value);
        }
        let hint = self.hint.map(|hint| format!(" ({hint})")).unwrap_or_default();
        Err(format!("{} {}{hint}", self.name, self.range))
    }

    /// The limits for whole numbers.
    pub(super) fn whole(&self) -> RangeInclusive<u32> {
        self.least as u32..=self.most as u32
    }
}

macro_rules! bounds {
    ($($(#[$doc:meta])* $id:ident: $name:literal, $least:expr, $most:expr, $range:literal, $hint:expr;)*) => {
        $($(#[$doc])* pub(super) const $id: Bound =
            Bound { name: $name, least: $least, most: $most, range: $range, hint: $hint };)*
        /// Every bound, for tests.
        #[cfg(test)]
        pub(super) const ALL: &[&Bound] = &[$(&$id),*];
    };
}

const DAY_S: f64 = 86_400.0;

bounds! {
    /// Time of one item, s.
    BOUT_TIME: "a duration", 1.0, DAY_S, "from 1 s to 24 h", None;
    /// Distance of one item, m.
    BOUT_DISTANCE: "a distance", 50.0, 200_000.0, "from 50 m to 200 km", Some("`m` is metres; minutes are `min`");
    /// Time of a whole session, s.
    SESSION_TIME: "a session", 0.0, DAY_S, "of 24 h at most", None;
    /// Distance of a whole session, m.
    SESSION_DISTANCE: "a session", 0.0, 200_000.0, "of 200 km at most", None;
    /// Times in `N x ( … )`.
    REPEATS: "a count", 1.0, 1000.0, "from 1 to 1000", None;
    /// Ways to do a session that has ranges of counts or of a whole.
    WAYS: "a session", 1.0, 200.0, "of 200 ways to do it at most: narrower ranges of counts and of `for`", None;
    /// Steps of an unrolled session.
    STEPS: "a session", 1.0, 10_000.0, "of 10000 runs and walks at most", None;
    /// Depth of brackets.
    DEPTH: "brackets", 0.0, 8.0, "nested at most 8 deep", None;
    /// Pace ceilings, s/km.
    PACE: "a pace", 120.0, 1800.0, "from 2:00 /km to 30:00 /km", None;
    /// Usual running cadence, steps a minute.
    RUN_CADENCE: "a running cadence", 120.0, 240.0, "from 120 spm to 240 spm",
        Some("steps of both feet; strides of one leg are `rpm`");
    /// Least walking cadence, steps a minute.
    WALK_CADENCE: "a walking cadence", 60.0, 180.0, "from 60 spm to 180 spm",
        Some("steps of both feet; strides of one leg are `rpm`");
    /// How far a walk's cadence may lie below the usual running cadence, steps a minute.
    CADENCE_WITHIN: "a difference of cadence", 10.0, 120.0, "from 10 spm to 120 spm",
        Some("steps of both feet; strides of one leg are `rpm`");
    /// Heart-rate ceiling, beats a minute.
    HEART_RATE: "a heart rate", 60.0, 230.0, "from 60 bpm to 230 bpm", None;
    /// Greatest heart rate of the runner, beats a minute.
    MAX_HEART_RATE: "a greatest heart rate", 100.0, 230.0, "from 100 bpm to 230 bpm", None;
    /// Any time on its own, s.
    TIME: "a duration", 0.0, DAY_S, "from 0 s to 24 h", None;
    /// Ceiling of the session's length, s.
    SESSION_CEILING: "a session ceiling", 60.0, DAY_S, "from 1 min to 24 h", None;
    /// Tolerances of length, s.
    TIME_TOLERANCE: "a tolerance", 0.0, 600.0, "from 0 s to 10 min", None;
    /// Tolerance of pace, %.
    PACE_TOLERANCE: "a tolerance", 0.0, 50.0, "from 0 % to 50 %", None;
    /// Weekly rise, %.
    WEEKLY_INCREASE: "a weekly increase", 0.0, 500.0, "from 0 % to 500 %", None;
    /// Sessions of a week.
    SESSIONS_PER_WEEK: "a whole number", 1.0, 14.0, "from 1 to 14", None;
    /// Rest days between sessions.
    REST_DAYS: "a whole number", 0.0, 13.0, "from 0 to 13", None;
    /// Days of a break.
    BREAK_DAYS: "a whole number", 1.0, 365.0, "from 1 to 365", None;
    /// Characters of a reason.
    REASON_LENGTH: "a reason", 1.0, 200.0, "of 1 to 200 characters", None;
    /// Weeks of a stage.
    STAGE_WEEKS: "a whole number", 1.0, 52.0, "from 1 to 52", None;
    /// Sessions of a kind in a week; 0 where it is optional.
    KIND_A_WEEK: "a whole number", 0.0, 14.0, "from 0 to 14", None;
    /// Sessions of a stage.
    STAGE_SESSIONS: "a whole number", 1.0, 100.0, "from 1 to 100", None;
    /// Pain that is allowed.
    PAIN: "a pain limit", 0.0, 10.0, "from 0 to 10", None;
    /// Effort of a session.
    EFFORT: "an effort", 0.0, 10.0, "from 0 to 10", None;
    /// Characters of a note: two lines of a card.
    NOTE_LENGTH: "a note", 1.0, 150.0, "of 1 to 150 characters", None;
    /// Characters of how to reach somebody.
    CONTACT_LENGTH: "a contact", 1.0, 100.0, "of 1 to 100 characters", None;
    /// Characters of a sport.
    SPORT_LENGTH: "a sport", 1.0, 40.0, "of 1 to 40 characters", None;
    /// Characters of a stage's name.
    NAME_LENGTH: "a name", 1.0, 60.0, "of 1 to 60 characters", None;
    /// Characters of the title.
    TITLE_LENGTH: "a title", 1.0, 200.0, "of 1 to 200 characters", None;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The numbers of an error's wording, in the unit that values are compared in.
    fn written(range: &str) -> Vec<f64> {
        let words: Vec<&str> = range.split_whitespace().collect();
        let number = |word: &str| match word.split_once(':') {
            Some((minutes, seconds)) => {
                Some(60.0 * minutes.parse::<f64>().ok()? + seconds.parse::<f64>().ok()?)
            }
            None => word.parse().ok(),
        };
        let factor = |unit: Option<&&str>| match unit.copied() {
            Some("min") => 60.0,
            Some("h") => 3600.0,
            Some("km") => 1000.0,
            _ => 1.0,
        };
        let numbers = words.iter().enumerate();
        numbers.filter_map(|(at, word)| Some(number(word)? * factor(words.get(at + 1)))).collect()
    }

    #[test]
    fn what_an_error_says_is_what_is_checked() {
        for bound in ALL {
            match written(bound.range).as_slice() {
                [least, most] => assert_eq!((*least, *most), (bound.least, bound.most), "{}", bound.range),
                [most] => assert_eq!(*most, bound.most, "{}", bound.range),
                other => panic!("{}: {other:?}", bound.range),
            }
        }
    }

    #[test]
    fn both_ends_are_allowed_and_nothing_beyond() {
        let allowed = |value: f64| REST_DAYS.check(value).is_ok();
        assert_eq!([0.0, 13.0].map(allowed), [true, true]);
        assert_eq!([-0.1, 13.1, f64::NAN, f64::INFINITY].map(allowed), [false; 4]);
    }
}
