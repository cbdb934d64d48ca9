//! How probable each gait is at each frame: a small convolutional network over the figures of the frames around it, fitted on
//! made-up recordings by `benches/frames.py`, which writes [`learnt`](super::learnt).
//!
//! Eight blocks look at ever wider surroundings, to six minutes either way; two of them also see the mean of all frames. Sums go in a
//! fixed order in single precision, without fused steps, so that every machine gives the same.

use super::figures::{OF_FRAME, OF_WHOLE, Whole};
use super::learnt::{BLOCKS, INPUT, INPUT_BIAS, OUTPUT, OUTPUT_BIAS, WHOLE};
use super::observe::Segment;

/// Values that a frame has between blocks.
pub(super) const CHANNELS: usize = 32;
/// Frames that a block looks at, its own in the middle.
pub(super) const TAPS: usize = 5;
/// Frames that the first step looks at.
pub(super) const INPUT_TAPS: usize = 3;

/// Values of a frame.
pub(super) type Values = [f32; CHANNELS];

/// What a block has learnt.
pub(super) struct Block {
    /// Frames from one that it looks at to the next.
    pub(super) apart: usize,
    /// Weights of each frame that it looks at, and what is added.
    pub(super) taps: [Values; TAPS],
    pub(super) tap_bias: Values,
    /// Weights of each value.
    pub(super) mix: [Values; CHANNELS],
    pub(super) mix_bias: Values,
    /// Weights of the mean of all frames, if it sees that.
    pub(super) whole: Option<[Values; CHANNELS]>,
}

/// Probabilities of run, walk and stand, in the order of [`Gait`](super::Gait).
pub(super) type Probabilities = [f64; 3];

/// Adds `value` times some weights to sums.
fn add<const N: usize>(sums: &mut [f32; N], value: f32, weights: &[f32; N]) {
    for (sum, weight) in sums.iter_mut().zip(weights) {
        *sum += value * weight;
    }
}

/// Probabilities at each frame of a segment.
pub(super) fn score(segment: &Segment, whole: &Whole) -> Vec<Probabilities> {
    let mut values = input(segment, whole);
    let mut next = values.clone();
    for block in &BLOCKS {
        block.apply(&values, &mut next);
        std::mem::swap(&mut values, &mut next);
    }
    values.iter().map(probabilities).collect()
}

/// The values before the first block.
fn input(segment: &Segment, whole: &Whole) -> Vec<Values> {
    let frames = segment.frames();
    let figures: Vec<[f32; OF_FRAME]> = (0..frames).map(|frame| whole.of_frame(segment, frame)).collect();
    // What holds of the whole is the same at each frame, but beyond the ends there is none.
    let of_whole: [f32; OF_WHOLE] = whole.figures();
    let held: [Values; INPUT_TAPS] = std::array::from_fn(|tap| {
        let mut sums = [0.0; CHANNELS];
        of_whole.iter().zip(&WHOLE[tap]).for_each(|(value, weights)| add(&mut sums, *value, weights));
        sums
    });
    let of_frame = |frame: usize| {
        let mut sums = INPUT_BIAS;
        for (tap, (weights, held)) in INPUT.iter().zip(&held).enumerate() {
            let Some(seen) = (frame + tap).checked_sub(INPUT_TAPS / 2).and_then(|at| figures.get(at)) else {
                continue;
            };
            add(&mut sums, 1.0, held);
            seen.iter().zip(weights).for_each(|(value, weights)| add(&mut sums, *value, weights));
        }
        sums.map(|sum| sum.max(0.0))
    };
    (0..frames).map(of_frame).collect()
}

impl Block {
    fn apply(&self, values: &[Values], next: &mut [Values]) {
        let bias = self.bias(values);
        for (frame, out) in next.iter_mut().enumerate() {
            let mut seen = self.tap_bias;
            for (tap, weights) in self.taps.iter().enumerate() {
                let at = (frame + tap * self.apart).checked_sub(TAPS / 2 * self.apart);
                let Some(at) = at.and_then(|at| values.get(at)) else { continue };
                for ((sum, value), weight) in seen.iter_mut().zip(at).zip(weights) {
                    *sum += value * weight;
                }
            }
            let mut sums = bias;
            seen.iter().zip(&self.mix).for_each(|(value, weights)| add(&mut sums, *value, weights));
            for ((out, value), sum) in out.iter_mut().zip(&values[frame]).zip(&sums) {
                *out = value + sum.max(0.0);
            }
        }
    }

    /// What is added at each frame.
    fn bias(&self, values: &[Values]) -> Values {
        let mut bias = self.mix_bias;
        if let Some(whole) = &self.whole {
            let mut mean = [0.0; CHANNELS];
            values.iter().for_each(|value| add(&mut mean, 1.0, value));
            let frames = values.len().max(1) as f32;
            mean.iter().zip(whole).for_each(|(sum, weights)| add(&mut bias, sum / frames, weights));
        }
        bias
    }
}

fn probabilities(values: &Values) -> Probabilities {
    let mut scores = OUTPUT_BIAS;
    values.iter().zip(&OUTPUT).for_each(|(value, weights)| add(&mut scores, *value, weights));
    let top = scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let odds = scores.map(|score| f64::from(score - top).exp());
    let all: f64 = odds.iter().sum();
    odds.map(|odds| odds / all)
}

#[cfg(test)]
mod tests {
    use super::super::figures::UsualSpeeds;
    use super::super::learnt::EXAMPLE;
    use super::super::observe::Observed;
    use super::*;

    /// 200 s that `benches/frames.py` makes up by the same rule.
    fn example() -> Observed {
        let runs = |frame: usize| (frame / 20 % 2) as f64;
        let speed =
            |frame: usize| (frame % 11 != 5).then(|| 1.5 + 0.9 * runs(frame) + 0.01 * (frame % 7) as f64);
        let cadence = |frame: usize| match frame {
            ..30 => None,
            _ if frame % 13 == 4 => Some(0.0),
            _ => Some(112.0 + 48.0 * runs(frame) + (frame % 5) as f64),
        };
        Observed::made_up(Segment {
            start_s: 0.0,
            end_s: 198.0,
            speed_mps: (0..100).map(speed).collect(),
            cadence_spm: (0..100).map(cadence).collect(),
            slope: (0..100).map(|frame| 0.005 * (f64::from(frame % 9) - 4.0)).collect(),
        })
    }

    #[test]
    fn probabilities_are_those_of_jax() {
        let observed = example();
        let usual = UsualSpeeds { walk_mps: 1.5, run_mps: 2.4 };
        let said = score(&observed.segments[0], &Whole::of(&observed, Some(usual)));
        for (frame, expected) in &EXAMPLE {
            for (p, expected) in said[*frame].iter().zip(expected) {
                assert!((p - expected).abs() < 2e-3, "{frame}: {:?} {expected:?}", said[*frame]);
            }
        }
    }

    #[test]
    fn what_lies_beyond_sight_changes_only_what_the_whole_tells() {
        // 6.4 min on either side are seen; here the recording's quantiles and means are as good as the same.
        let mut observed = example();
        let segment = &mut observed.segments[0];
        segment.speed_mps = segment.speed_mps.repeat(20);
        segment.cadence_spm = segment.cadence_spm.repeat(20);
        segment.slope = segment.slope.repeat(20);
        let whole = Whole::of(&observed, None);
        let long = score(&observed.segments[0], &whole);
        observed.segments[0].speed_mps[1500..].iter_mut().for_each(|speed| *speed = speed.map(|v| v + 0.001));
        let changed = score(&observed.segments[0], &whole);
        for (a, b) in long[..1000].iter().flatten().zip(changed[..1000].iter().flatten()) {
            assert!((a - b).abs() < 0.01, "{a} {b}");
        }
    }

    #[test]
    fn no_frames_and_one_are_scored() {
        let mut observed = example();
        let empty =
            Segment { start_s: 0.0, end_s: 0.0, speed_mps: vec![], cadence_spm: vec![], slope: vec![] };
        assert!(score(&empty, &Whole::of(&observed, None)).is_empty());
        let segment = &mut observed.segments[0];
        segment.speed_mps.truncate(1);
        segment.cadence_spm.truncate(1);
        let said = score(&observed.segments[0], &Whole::of(&observed, None));
        assert!((said[0].iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
