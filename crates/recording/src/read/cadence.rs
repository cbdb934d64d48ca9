//! Decides whether the cadence in a GPX or TCX file counts one leg or both.
//!
//! Neither format says it. One-leg counts are 40 to 65 walking and 75 to 100 running, two-leg counts twice that, so the
//! ranges overlap at 80 to 110: a run counted on one leg, or a walk counted on both. The rule, per file:
//!
//! 1. The 90th percentile of the non-zero values is above [`MOST_PER_LEG`]: both legs. Twice as much would be over 220
//!    steps a minute.
//! 2. Else the mean step length decides, taking the values as steps: above [`LONGEST_WALKING_STEP_M`] they are one
//!    leg's. Steps are 0.5 to 1.0 m long in walking and slow running; a miscount doubles or halves them, and in this
//!    range of cadences a true two-leg count can only be a walk.
//! 3. Without any speed: one leg up to [`MOST_PER_LEG_WITHOUT_SPEED`], since 100 to 110 on one leg (200 to 220 steps a
//!    minute) is rare, while 100 to 110 steps a minute is an everyday walk.
//!
//! Where it fails: a very slow walk (below about 0.7 m/s) counted on one leg passes for two legs; a walk at 80 to 100
//! steps a minute counted on both legs without any speed or position passes for one leg and so for a run. Both limits
//! are our choice from arithmetic on published cadences and speeds; the notice says what was decided.

use crate::notice::{Notice, NoticeCode};
use crate::units::{StepsPerMinute, StridesPerMinute};

use super::bounds;
use super::builder::RecordingBuilder;
use super::time::MICROS_PER_S;

/// A cadence as a GPX or TCX file writes it, a minute: of one leg or of both, which the formats do not say. It is neither
/// steps nor strides until [`settle`] has seen all of the file's.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct WrittenCadence {
    per_minute: f64,
    /// Whether the file says that it counts steps of both feet.
    is_steps: bool,
}

impl WrittenCadence {
    /// Takes a written number, unless no legs could have it.
    pub(super) fn new(per_minute: f64) -> Option<Self> {
        bounds::cadence(per_minute).map(|per_minute| Self { per_minute, is_steps: false })
    }

    /// Takes a number that is said to be of both feet: nothing about it has to be settled.
    pub(super) fn of_steps(per_minute: f64) -> Option<Self> {
        bounds::cadence(per_minute / 2.0).map(|_| Self { per_minute, is_steps: true })
    }

    /// The number, where the file leaves open what it counts.
    fn unsettled(self) -> Option<f64> {
        (!self.is_steps).then_some(self.per_minute)
    }
}

/// Highest 90th percentile that can be one leg's count, a minute.
const MOST_PER_LEG: f64 = 110.0;
/// The same where no speed can confirm it.
const MOST_PER_LEG_WITHOUT_SPEED: f64 = 100.0;
/// Longest step of a walk at up to 110 steps a minute, m (that is 1.83 m/s).
const LONGEST_WALKING_STEP_M: f64 = 1.0;
/// Lowest written cadence that counts as moving on foot, a minute.
const LEAST_MOVING: f64 = 30.0;
/// Longest step in time between two samples that may count for the step length, s.
const LONGEST_INTERVAL_S: f64 = 30.0;
/// Speeds outside this are standing or a spike, m/s.
const MOVING_SPEEDS_MPS: std::ops::RangeInclusive<f64> = 0.3..=8.0;

/// Decides for all activities of a file together and says what was decided. Gives the one way from a written cadence to
/// steps.
pub(super) fn settle(
    activities: &[RecordingBuilder<WrittenCadence>],
    notices: &mut Vec<Notice>,
) -> impl Fn(WrittenCadence) -> StepsPerMinute + use<> {
    let is_per_leg = is_file_per_leg(activities, notices);
    move |written| {
        if is_per_leg && !written.is_steps {
            StridesPerMinute::new(written.per_minute).to_steps()
        } else {
            StepsPerMinute::new(written.per_minute)
        }
    }
}

fn is_file_per_leg(activities: &[RecordingBuilder<WrittenCadence>], notices: &mut Vec<Notice>) -> bool {
    let Some(written) = ninetieth_percentile(activities) else { return false };
    let step_m = mean_step_length_m(activities);
    let evidence = step_m.map_or("no speed to check it with".to_owned(), |step_m| {
        format!("mean step {step_m:.2} m if taken as steps")
    });
    let is_per_leg = is_per_leg(written, step_m);
    let (code, taken_as) = if is_per_leg {
        (NoticeCode::CadenceDoubled, "one leg's and doubled to steps")
    } else {
        (NoticeCode::CadenceAsWritten, "steps of both feet")
    };
    let text = format!("cadence (90th percentile {written:.0} a minute, {evidence}) is read as {taken_as}");
    notices.push(Notice::new(code, text));
    is_per_leg
}

fn is_per_leg(ninetieth_percentile: f64, step_length_m: Option<f64>) -> bool {
    match step_length_m {
        _ if ninetieth_percentile > MOST_PER_LEG => false,
        Some(step_m) => step_m > LONGEST_WALKING_STEP_M,
        None => ninetieth_percentile <= MOST_PER_LEG_WITHOUT_SPEED,
    }
}

fn ninetieth_percentile(activities: &[RecordingBuilder<WrittenCadence>]) -> Option<f64> {
    let on_foot = activities.iter().filter(|activity| activity.sport.on_foot());
    let samples = on_foot.flat_map(|activity| &activity.samples);
    let mut values: Vec<f64> = samples
        .filter_map(|sample| sample.values.cadence?.unsettled())
        .filter(|value| *value > 0.0)
        .collect();
    let rank = (values.len() * 9).div_ceil(10).checked_sub(1)?;
    let (_, value, _) = values.select_nth_unstable_by(rank, f64::total_cmp);
    Some(*value)
}

/// Distance by steps, with the written cadence taken as steps.
fn mean_step_length_m(activities: &[RecordingBuilder<WrittenCadence>]) -> Option<f64> {
    let (mut metres, mut steps) = (0.0, 0.0);
    for activity in activities.iter().filter(|activity| activity.sport.on_foot()) {
        for pair in activity.samples.windows(2) {
            let [before, after] = pair else { continue };
            let interval_s = after.time.saturating_sub(before.time) as f64 / MICROS_PER_S as f64;
            let (before, after) = (before.values, after.values);
            let cadence = after.cadence.and_then(WrittenCadence::unsettled).unwrap_or(0.0);
            if !(interval_s > 0.0 && interval_s <= LONGEST_INTERVAL_S && cadence >= LEAST_MOVING) {
                continue;
            }
            let by_recorder = after.speed.map(|speed| speed.get() * interval_s);
            let by_distance = || Some(after.distance?.get() - before.distance?.get());
            let by_position = || Some(before.position?.rough_step_m(after.position?));
            let Some(moved_m) = by_recorder.or_else(by_distance).or_else(by_position) else { continue };
            if MOVING_SPEEDS_MPS.contains(&(moved_m / interval_s)) {
                metres += moved_m;
                steps += cadence / 60.0 * interval_s;
            }
        }
    }
    (steps > 0.0).then(|| metres / steps)
}

#[cfg(test)]
mod tests {
    use crate::read::Sport;
    use crate::read::builder::RawValues;
    use crate::units::MetresPerSecond;

    use super::*;

    /// Settles a file of these (written cadence, speed) pairs, one a second; gives the notice and the first cadence.
    fn settled(pairs: &[(f64, Option<f64>)]) -> (NoticeCode, f64) {
        let mut activity = RecordingBuilder::new(Sport::Running);
        for (second, (cadence, speed_mps)) in (0..).zip(pairs) {
            let cadence = WrittenCadence::new(*cadence);
            let speed = speed_mps.map(MetresPerSecond::new);
            activity.push(second * MICROS_PER_S, RawValues { speed, cadence, ..RawValues::default() });
        }
        let mut notices = Vec::new();
        let first = activity.samples[0].values.cadence.unwrap();
        let to_steps = settle(&[activity], &mut notices);
        (notices[0].code, to_steps(first).get())
    }

    fn steady(cadence: f64, speed_mps: Option<f64>) -> (NoticeCode, f64) {
        settled(&[(cadence, speed_mps); 60])
    }

    #[test]
    fn gaits_counted_either_way() {
        let one = |cadence: f64| (NoticeCode::CadenceDoubled, 2.0 * cadence);
        let both = |cadence: f64| (NoticeCode::CadenceAsWritten, cadence);
        // A jog, self-chosen by inexperienced runners: 77 strides/min at 2.4 m/s (van Oeveren et al. 2017).
        assert_eq!(steady(77.0, Some(2.4)), one(77.0));
        assert_eq!(steady(154.0, Some(2.4)), both(154.0));
        // A slow jog at 155 steps/min and 1.8 m/s, on one leg.
        assert_eq!(steady(77.5, Some(1.8)), one(77.5));
        // Walks: 100 and 110 steps/min are moderate (Tudor-Locke et al. 2019), at 1.2 and 1.4 m/s.
        for (cadence, speed_mps) in [(88.0, 0.9), (100.0, 1.2), (105.0, 1.3), (110.0, 1.4), (115.0, 1.5)] {
            assert_eq!(steady(cadence, Some(speed_mps)), both(cadence));
            assert_eq!(steady(cadence / 2.0, Some(speed_mps)), one(cadence / 2.0));
        }
    }

    #[test]
    fn without_speed_the_count_alone_decides() {
        assert_eq!(steady(85.0, None).0, NoticeCode::CadenceDoubled);
        assert_eq!(steady(105.0, None).0, NoticeCode::CadenceAsWritten);
        // The documented failure: a slow walk counted on both feet with nothing to check it.
        assert_eq!(steady(95.0, None).0, NoticeCode::CadenceDoubled);
    }

    #[test]
    fn a_little_running_in_a_long_walk() {
        let mut pairs = vec![(106.0, Some(1.3)); 95];
        pairs.extend([(160.0, Some(2.4)); 5]);
        assert_eq!(settled(&pairs), (NoticeCode::CadenceAsWritten, 106.0));
        let mut pairs = vec![(53.0, Some(1.3)); 95];
        pairs.extend([(80.0, Some(2.4)); 5]);
        assert_eq!(settled(&pairs), (NoticeCode::CadenceDoubled, 106.0));
    }

    #[test]
    fn zeros_do_not_count() {
        let mut pairs = vec![(0.0, Some(0.0)); 600];
        pairs.extend([(160.0, Some(2.4)); 60]);
        assert_eq!(settled(&pairs).0, NoticeCode::CadenceAsWritten);
    }
}
