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

use crate::geodesy::LatLon;
use crate::notice::{Notice, NoticeCode};
use crate::units::{StepsPerMinute, StridesPerMinute};

use super::draft::Draft;
use super::time::MICROS_PER_S;

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
/// Mean radius of the earth, m: enough for a step length to a few per cent.
const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// Brings the cadence of all drafts on foot to steps a minute and says what was decided. Before this call their
/// `cadence` holds the number as written.
pub(super) fn settle(drafts: &mut [Draft], notices: &mut Vec<Notice>) {
    let Some(written) = ninetieth_percentile(drafts) else { return };
    let step_m = mean_step_length_m(drafts);
    let evidence = step_m.map_or("no speed to check it with".to_owned(), |step_m| {
        format!("mean step {step_m:.2} m if taken as steps")
    });
    if is_per_leg(written, step_m) {
        double(drafts);
        let text = format!(
            "cadence (90th percentile {written:.0} a minute, {evidence}) is read as one leg's and doubled to steps"
        );
        notices.push(Notice::new(NoticeCode::CadenceDoubled, text));
    } else {
        let text = format!(
            "cadence (90th percentile {written:.0} a minute, {evidence}) is read as steps of both feet"
        );
        notices.push(Notice::new(NoticeCode::CadenceAsWritten, text));
    }
}

fn is_per_leg(ninetieth_percentile: f64, step_length_m: Option<f64>) -> bool {
    match step_length_m {
        _ if ninetieth_percentile > MOST_PER_LEG => false,
        Some(step_m) => step_m > LONGEST_WALKING_STEP_M,
        None => ninetieth_percentile <= MOST_PER_LEG_WITHOUT_SPEED,
    }
}

fn ninetieth_percentile(drafts: &[Draft]) -> Option<f64> {
    let on_foot = drafts.iter().filter(|draft| draft.sport.on_foot());
    let samples = on_foot.flat_map(|draft| &draft.samples);
    let mut values: Vec<f64> = samples
        .filter_map(|sample| sample.cadence)
        .map(StepsPerMinute::get)
        .filter(|value| *value > 0.0)
        .collect();
    let rank = (values.len() * 9).div_ceil(10).checked_sub(1)?;
    let (_, value, _) = values.select_nth_unstable_by(rank, f64::total_cmp);
    Some(*value)
}

/// Distance by steps, with the written cadence taken as steps.
fn mean_step_length_m(drafts: &[Draft]) -> Option<f64> {
    let (mut metres, mut steps) = (0.0, 0.0);
    for draft in drafts.iter().filter(|draft| draft.sport.on_foot()) {
        for (times, samples) in draft.times.windows(2).zip(draft.samples.windows(2)) {
            let ([from, to], [before, after]) = (times, samples) else { continue };
            let interval_s = to.saturating_sub(*from) as f64 / MICROS_PER_S as f64;
            let cadence = after.cadence.map_or(0.0, StepsPerMinute::get);
            if !(interval_s > 0.0 && interval_s <= LONGEST_INTERVAL_S && cadence >= LEAST_MOVING) {
                continue;
            }
            let by_recorder = after.speed.map(|speed| speed.get() * interval_s);
            let by_distance = || Some(after.distance?.get() - before.distance?.get());
            let by_position = || Some(roughly_m(before.position?, after.position?));
            let Some(moved_m) = by_recorder.or_else(by_distance).or_else(by_position) else { continue };
            if MOVING_SPEEDS_MPS.contains(&(moved_m / interval_s)) {
                metres += moved_m;
                steps += cadence / 60.0 * interval_s;
            }
        }
    }
    (steps > 0.0).then(|| metres / steps)
}

/// Distance on a sphere over a plane: for neighbouring points only.
fn roughly_m(from: LatLon, to: LatLon) -> f64 {
    let north = (to.lat_deg() - from.lat_deg()).to_radians();
    let east = (to.lon_deg() - from.lon_deg()).to_radians() * from.lat_deg().to_radians().cos();
    north.hypot(east) * EARTH_RADIUS_M
}

fn double(drafts: &mut [Draft]) {
    let samples =
        drafts.iter_mut().filter(|draft| draft.sport.on_foot()).flat_map(|draft| &mut draft.samples);
    for sample in samples {
        sample.cadence = sample.cadence.map(|written| StridesPerMinute::new(written.get()).to_steps());
    }
}

#[cfg(test)]
mod tests {
    use crate::read::{Sample, Sport};
    use crate::units::MetresPerSecond;

    use super::*;

    /// Settles a file of these (written cadence, speed) pairs, one a second; gives the notice and the first cadence.
    fn settled(pairs: &[(f64, Option<f64>)]) -> (NoticeCode, f64) {
        let mut draft = Draft::new(Sport::Running);
        for (second, (cadence, speed_mps)) in (0..).zip(pairs) {
            let cadence = Some(StepsPerMinute::new(*cadence));
            let speed = speed_mps.map(MetresPerSecond::new);
            draft.push(second * MICROS_PER_S, Sample { speed, cadence, ..Sample::default() });
        }
        let mut notices = Vec::new();
        let mut drafts = [draft];
        settle(&mut drafts, &mut notices);
        (notices[0].code, drafts[0].samples[0].cadence.unwrap().get())
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
