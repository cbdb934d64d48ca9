//! Limits that hold: the plan's, but never looser than the rules without a clinician's reason.

pub use crate::prescription::LEAST_REST_DAYS;
use crate::prescription::Limits;
use crate::range::Range;

/// Greatest pain that a plan may allow: above it the pain-monitoring model (Thomeé 1997, Phys Ther 77:1690; Silbernagel
/// et al. 2007, Am J Sports Med 35:897-906; band edges from memory) calls it too much.
pub const MOST_PAIN_LIMIT: f64 = 5.0;
/// Greatest pain on the next morning that a plan may allow. The same model wants pain to have subsided by then; its
/// lowest band, 0 to 2, is read as that.
pub const MOST_MORNING_PAIN: f64 = 2.0;
/// Days from one session to the next from which on the stage is repeated. Common practice, no source.
pub const BREAK_REPEAT_DAYS: u32 = 7;
/// The same for one stage back. Common practice, no source.
pub const BREAK_STEP_BACK_DAYS: u32 = 14;
/// The same for the beginning of the plan: about three months. Common practice, no source.
pub const BREAK_BEGINNING_DAYS: i64 = 90;

/// Limits as they hold in a review.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Bounds {
    pub(super) sessions_per_week: Option<Range<u32>>,
    /// Days of rest that are checked; not checked when the plan does not say.
    pub(super) rest_days: Option<u32>,
    /// Days of rest before the next session.
    pub(super) rest_before_next: u32,
    pub(super) weekly_increase: Option<f64>,
    /// The prescriber's limit of pain; without it any pain counts.
    pub(super) pain_limit: Option<f64>,
    pub(super) morning_limit: Option<f64>,
    /// Greatest effort of a session; not checked when the plan does not say.
    pub(super) effort_ceiling: Option<f64>,
    pub(super) break_repeat_days: i64,
    pub(super) break_step_back_days: i64,
    /// Keys of the plan that are looser than the rules.
    pub(super) looser: Vec<&'static str>,
}

impl Bounds {
    pub(super) fn of(limits: &Limits) -> Self {
        let is_free = limits.clinician_override.is_some();
        let mut looser = Vec::new();
        let mut note = |key: &'static str, is_looser: bool| {
            if is_looser {
                looser.push(key);
            }
            is_looser && !is_free
        };
        let cut_pain = note("pain_limit", limits.pain_limit.is_some_and(|limit| limit > MOST_PAIN_LIMIT));
        let cut_rest =
            note("rest_days_between", limits.rest_days_between.is_some_and(|n| n < LEAST_REST_DAYS));
        let repeat = limits.break_repeat_days.unwrap_or(BREAK_REPEAT_DAYS);
        let cut_repeat = note("break_repeat_days", repeat > BREAK_REPEAT_DAYS);
        let back = limits.break_step_back_days.unwrap_or(BREAK_STEP_BACK_DAYS);
        let cut_back = note("break_step_back_days", back > BREAK_STEP_BACK_DAYS);
        let pain_limit = limits.pain_limit.map(|limit| if cut_pain { MOST_PAIN_LIMIT } else { limit });
        let most_morning = if is_free { f64::INFINITY } else { MOST_MORNING_PAIN };
        let rest_days = limits.rest_days_between.map(|days| if cut_rest { LEAST_REST_DAYS } else { days });
        Self {
            sessions_per_week: limits.sessions_per_week,
            rest_days,
            rest_before_next: limits.rest_days_held(),
            weekly_increase: limits.weekly_running_increase,
            pain_limit,
            morning_limit: pain_limit.map(|limit| limit.min(most_morning)),
            effort_ceiling: limits.effort_ceiling,
            break_repeat_days: i64::from(if cut_repeat { BREAK_REPEAT_DAYS } else { repeat }),
            break_step_back_days: i64::from(if cut_back { BREAK_STEP_BACK_DAYS } else { back }),
            looser,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_may_be_stricter_but_looser_only_with_a_reason() {
        let strict = Limits {
            pain_limit: Some(0.0),
            rest_days_between: Some(2),
            break_repeat_days: Some(5),
            break_step_back_days: Some(9),
            ..Limits::default()
        };
        let bounds = Bounds::of(&strict);
        assert_eq!(
            (bounds.pain_limit, bounds.morning_limit, bounds.rest_days),
            (Some(0.0), Some(0.0), Some(2))
        );
        assert_eq!((bounds.break_repeat_days, bounds.break_step_back_days), (5, 9));
        assert!(bounds.looser.is_empty());
        let loose = Limits {
            pain_limit: Some(7.0),
            rest_days_between: Some(0),
            break_repeat_days: Some(20),
            break_step_back_days: Some(40),
            ..Limits::default()
        };
        let held = Bounds::of(&loose);
        assert_eq!((held.pain_limit, held.morning_limit, held.rest_days), (Some(5.0), Some(2.0), Some(1)));
        assert_eq!((held.break_repeat_days, held.break_step_back_days), (7, 14));
        assert_eq!(held.looser.len(), 4);
        let free = Bounds::of(&Limits { clinician_override: Some("agreed".into()), ..loose });
        assert_eq!((free.pain_limit, free.morning_limit, free.rest_days), (Some(7.0), Some(7.0), Some(0)));
        assert_eq!((free.break_repeat_days, free.break_step_back_days, free.rest_before_next), (20, 40, 0));
        assert_eq!(free.looser.len(), 4);
    }

    #[test]
    fn what_a_plan_does_not_say_is_not_checked_but_a_day_of_rest_is_still_advised() {
        let bounds = Bounds::of(&Limits::default());
        assert_eq!((bounds.rest_days, bounds.rest_before_next, bounds.pain_limit), (None, 1, None));
    }
}
