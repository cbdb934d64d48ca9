//! Written numbers → typed values. A number outside these bounds is no measurement of a person on foot, whatever the file says.

use crate::units::{BeatsPerMinute, Metres, MetresPerSecond};

/// Largest magnitude of any written number that is kept. Our choice: far beyond a person, far within what is exact.
const MOST: f64 = 1e9;
/// Highest written cadence that is kept, a minute: four times what legs do. Our choice.
const MOST_CADENCE: f64 = 1000.0;

/// An altitude or a distance.
pub(super) fn metres(value_m: f64) -> Option<Metres> {
    (value_m.abs() <= MOST).then(|| Metres::new(value_m))
}

/// A speed; none is negative.
pub(super) fn speed(value_mps: f64) -> Option<MetresPerSecond> {
    (0.0..=MOST).contains(&value_mps).then(|| MetresPerSecond::new(value_mps))
}

/// A cadence a minute, of one leg or both: callers give it its type.
pub(super) fn cadence(per_minute: f64) -> Option<f64> {
    (0.0..=MOST_CADENCE).contains(&per_minute).then_some(per_minute)
}

/// A length of time, s.
pub(super) fn duration_s(value_s: f64) -> Option<f64> {
    (0.0..=MOST).contains(&value_s).then_some(value_s)
}

/// A heart rate. 0 is written where the sensor found none: it is left out, and counted, when the recording is finished.
pub(super) fn heart_rate(value_bpm: f64) -> Option<BeatsPerMinute> {
    (0.0..=MOST).contains(&value_bpm).then(|| BeatsPerMinute::new(value_bpm))
}
