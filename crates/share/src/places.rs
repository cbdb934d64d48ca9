//! [`Recording`] → [`Recording`] without positions, with the speed that they told.

use jogaudit_core::clean::{CleanConfig, speeds_by_positions};
use jogaudit_core::on_foot::{OffFoot, way_m};
use jogaudit_recording::read::{Recording, Sample};
use jogaudit_recording::units::{Metres, MetresPerSecond};

/// Whether any sample has a position.
pub(crate) fn has_any(recording: &Recording) -> bool {
    recording.samples().iter().any(|sample| sample.position.is_some())
}

/// Takes the positions out. Where there are none, all stays, also what positions told before they were taken out.
pub(crate) fn taken_out(recording: Recording, config: &CleanConfig) -> Recording {
    if !has_any(&recording) {
        return recording;
    }
    let told = speeds_by_positions(&recording, config);
    let is_too_fast = matches!(OffFoot::of(&recording, config), Some(OffFoot::TooFast { .. }));
    let way = is_too_fast.then(|| way_m(&recording, config));
    let mut parts = recording.into_parts();
    for (sample, told_mps) in parts.samples.iter_mut().zip(told) {
        sample.position = None;
        sample.speed_by_positions = told_mps.map(MetresPerSecond::new);
    }
    if let Some(way) = way {
        tell_way(&mut parts.samples, &way);
    }
    Recording::new(parts).expect("times and guesses are those of a recording")
}

/// Writes the way as the distance: who goes too fast to be on foot, in a recording that does not say its sport, is known by it.
/// It was taken from the distance already where that is there.
fn tell_way(samples: &mut [Sample], way: &[(f64, f64)]) {
    for sample in samples {
        let behind = way.partition_point(|(at_s, _)| *at_s <= sample.time_s);
        let Some(&(from_s, from_m)) = behind.checked_sub(1).and_then(|before| way.get(before)) else {
            continue;
        };
        let (to_s, to_m) = way.get(behind).copied().unwrap_or((from_s, from_m));
        let share = if to_s > from_s { (sample.time_s - from_s) / (to_s - from_s) } else { 0.0 };
        sample.distance = Some(Metres::new(from_m + share * (to_m - from_m)));
    }
}
