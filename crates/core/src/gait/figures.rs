//! What the scorer sees of a recording: the readings of each frame as they are and beside the rest of the recording, and what holds
//! of all of it.

use super::config::figures::{
    HEART_SCALE_BPM, LEAST_CADENCE_SHARE, LEAST_HEART_SHARE, LEAST_READINGS, MOST, MOVING_MPS,
    SPEED_SCALE_MPS, STEEP, STEEPEST, STEPPING_SPM, STEPS_SCALE_SPM, STILL_SPM, TRANSITION_MPS,
    TRANSITION_SPM, WIDEST_FRAME_S,
};
use super::observe::{Observed, Segment};
use crate::statistics::quantile;

/// Figures of each frame.
pub(super) const OF_FRAME: usize = 13;
/// Figures of the recording.
pub(super) const OF_WHOLE: usize = 17;

/// What is known of a runner's usual speeds on the level from other recordings, m/s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct UsualSpeeds {
    pub(super) walk_mps: f64,
    pub(super) run_mps: f64,
}

/// What frames are seen beside.
pub(super) struct Whole {
    /// Speeds of what moves that a tenth, a quarter, half, three quarters and nine tenths are below.
    speeds_mps: [f64; 5],
    /// Cadences that a tenth, half and nine tenths are below.
    cadences_spm: [f64; 3],
    /// Share of the frames with readings that have a cadence; 0 where that is too little to be seen.
    cadence_share: f64,
    /// Heart rates that a tenth, half and nine tenths are below, beats/min; none where there are too few.
    heart_rates_bpm: Option<[f64; 3]>,
    usual: Option<UsualSpeeds>,
    by_positions: bool,
    slopes_unseen: bool,
    frame_s: f64,
}

/// Values above a bound, in order.
fn sorted(observed: &Observed, column: fn(&Segment) -> &Vec<Option<f64>>, above: f64) -> Vec<f64> {
    let all = observed.segments.iter().flat_map(|segment| column(segment).iter().flatten());
    let mut values: Vec<f64> = all.copied().filter(|value| *value > above).collect();
    values.sort_unstable_by(f64::total_cmp);
    values
}

/// Quantiles of enough values, else `usual` for each.
fn quantiles<const N: usize>(sorted: &[f64], shares: [f64; N], usual: f64) -> [f64; N] {
    let enough = if sorted.len() < LEAST_READINGS { &[] } else { sorted };
    shares.map(|share| quantile(enough, share).unwrap_or(usual))
}

/// A difference in units of `scale`, bounded.
fn scaled(difference: f64, scale: f64) -> f32 {
    (difference / scale).clamp(-MOST, MOST) as f32
}

fn flag(is: bool) -> f32 {
    f32::from(u8::from(is))
}

impl Whole {
    pub(super) fn of(observed: &Observed, usual: Option<UsualSpeeds>) -> Self {
        let speeds_mps = sorted(observed, |segment| &segment.speed_mps, MOVING_MPS);
        let cadences_spm = sorted(observed, |segment| &segment.cadence_spm, STEPPING_SPM);
        let heart_rates_bpm = sorted(observed, |segment| &segment.heart_rate_bpm, 0.0);
        let (mut read, mut with_cadence, mut with_steps) = (0_u32, 0_u32, 0_u32);
        for segment in &observed.segments {
            for (speed, cadence) in segment.speed_mps.iter().zip(&segment.cadence_spm) {
                read += u32::from(speed.is_some() || cadence.is_some());
                with_cadence += u32::from(cadence.is_some());
                with_steps += u32::from(cadence.is_some_and(|spm| spm > STILL_SPM));
            }
        }
        let share = |frames: u32| f64::from(frames) / f64::from(read.max(1));
        let cadence_share = if share(with_steps) < LEAST_CADENCE_SHARE { 0.0 } else { share(with_cadence) };
        let cadences_spm = if cadence_share > 0.0 { cadences_spm } else { Vec::new() };
        let heart_is_read = heart_rates_bpm.len() as f64 >= LEAST_HEART_SHARE * f64::from(read.max(1));
        Self {
            speeds_mps: quantiles(&speeds_mps, [0.1, 0.25, 0.5, 0.75, 0.9], TRANSITION_MPS),
            cadences_spm: quantiles(&cadences_spm, [0.1, 0.5, 0.9], TRANSITION_SPM),
            cadence_share,
            heart_rates_bpm: heart_is_read.then(|| quantiles(&heart_rates_bpm, [0.1, 0.5, 0.9], 0.0)),
            usual,
            by_positions: observed.by_positions,
            slopes_unseen: observed.slopes_unseen,
            frame_s: observed.frame_s,
        }
    }

    /// What holds of all of the recording.
    pub(super) fn figures(&self) -> [f32; OF_WHOLE] {
        let [v10, v25, v50, v75, v90] =
            self.speeds_mps.map(|speed| scaled(speed - TRANSITION_MPS, SPEED_SCALE_MPS));
        let [c10, c50, c90] =
            self.cadences_spm.map(|cadence| scaled(cadence - TRANSITION_SPM, STEPS_SCALE_SPM));
        let [h10, h90] = self.heart_rates_bpm.map_or([0.0; 2], |[low, middle, high]| {
            [low, high].map(|bpm| scaled(bpm - middle, HEART_SCALE_BPM))
        });
        let apart =
            self.usual.map_or(0.0, |usual| ((usual.run_mps - usual.walk_mps) / SPEED_SCALE_MPS) as f32);
        [
            v10,
            v25,
            v50,
            v75,
            v90,
            c10,
            c50,
            c90,
            flag(self.by_positions),
            flag(self.slopes_unseen),
            (0.5 * self.frame_s.min(WIDEST_FRAME_S) - 1.0) as f32,
            self.cadence_share as f32,
            flag(self.usual.is_some()),
            apart,
            flag(self.heart_rates_bpm.is_some()),
            h10,
            h90,
        ]
    }

    /// What is seen at a frame; 0 stands for what is not known.
    pub(super) fn of_frame(&self, segment: &Segment, frame: usize) -> [f32; OF_FRAME] {
        let speed = segment.speed_mps[frame];
        let cadence = segment.cadence_spm[frame].filter(|_| self.cadence_share > 0.0);
        let stepping = cadence.filter(|spm| *spm > STILL_SPM);
        let beside = |at_mps: f64| speed.map_or(0.0, |speed| scaled(speed - at_mps, SPEED_SCALE_MPS));
        let steps = |at_spm: f64| stepping.map_or(0.0, |spm| scaled(spm - at_spm, STEPS_SCALE_SPM));
        let heart = segment.heart_rate_bpm[frame].zip(self.heart_rates_bpm);
        let (walk, run) =
            self.usual.map_or((0.0, 0.0), |usual| (beside(usual.walk_mps), beside(usual.run_mps)));
        [
            beside(TRANSITION_MPS),
            flag(speed.is_some()),
            (segment.slope[frame] / STEEP).clamp(-STEEPEST, STEEPEST) as f32,
            beside(self.speeds_mps[2]),
            steps(TRANSITION_SPM),
            flag(cadence.is_some()),
            flag(cadence.is_some() && stepping.is_none()),
            steps(self.cadences_spm[2]),
            steps(self.cadences_spm[0]),
            walk,
            run,
            flag(heart.is_some()),
            heart.map_or(0.0, |(bpm, [_, middle, _])| scaled(bpm - middle, HEART_SCALE_BPM)),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The figure of the heart rate at each frame of two minutes, and whether there is one at all.
    fn heart(heart_rate_bpm: Vec<Option<f64>>) -> (Vec<f32>, f32) {
        let frames = heart_rate_bpm.len();
        let observed = Observed::made_up(Segment {
            start_s: 0.0,
            end_s: 2.0 * frames as f64,
            speed_mps: vec![Some(1.6); frames],
            cadence_spm: vec![None; frames],
            heart_rate_bpm,
            slope: vec![0.0; frames],
        });
        let whole = Whole::of(&observed, None);
        let seen = |frame| whole.of_frame(&observed.segments[0], frame)[OF_FRAME - 1];
        ((0..frames).map(seen).collect(), whole.figures()[OF_WHOLE - 3])
    }

    #[test]
    fn a_heart_rate_is_seen_beside_the_rest_of_the_recording() {
        let (seen, is_there) = heart([[Some(100.0); 30], [Some(130.0); 30]].concat());
        assert_eq!((seen[0], seen[59], is_there), (-1.0, 1.0, 1.0));
        let higher = heart([[Some(130.0); 30], [Some(160.0); 30]].concat());
        assert_eq!(higher.0, seen, "nobody's usual rate is known");
    }

    #[test]
    fn too_little_of_a_heart_rate_is_not_seen() {
        let (seen, is_there) = heart([vec![Some(100.0); 15], vec![Some(130.0); 14], vec![None; 31]].concat());
        assert!(seen.iter().all(|figure| *figure == 0.0) && is_there == 0.0);
        let (seen, is_there) = heart([vec![Some(100.0); 15], vec![Some(130.0); 15], vec![None; 30]].concat());
        assert!(seen[0] < 0.0 && seen[29] > 0.0 && seen[30] == 0.0 && is_there == 1.0);
    }
}
