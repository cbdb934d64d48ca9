//! What the gait model reads of the recordings, and what their own cadence says: one line a frame.

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::{Gait, GaitConfig, read_frames};

use crate::Told;

/// `file,second,gait,speed_mps,slope,cadence_spm,heart_rate_bpm`; slopes of recordings that tell none are 0.
pub(crate) fn print(told: &[Told]) {
    for Told { file, truth } in told {
        let series = clean(&file.recording, &CleanConfig::default()).value;
        for segment in read_frames(&series, &GaitConfig::default()) {
            for (frame, slope) in segment.slope.iter().enumerate() {
                let at_s = segment.start_s + frame as f64 * segment.frame_s;
                let gait = [Gait::Run, Gait::Walk].into_iter().find(|gait| truth.is(*gait, at_s));
                let show = |value: f64| if value.is_nan() { String::new() } else { format!("{value:.2}") };
                println!(
                    "{},{at_s:.0},{},{},{slope:.3},{},{}",
                    file.name(),
                    gait.map_or("unknown", Gait::word),
                    show(segment.speed_mps[frame]),
                    show(segment.cadence_spm[frame]),
                    show(segment.heart_rate_bpm[frame])
                );
            }
        }
    }
}
