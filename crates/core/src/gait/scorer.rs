//! How probable each gait is at each frame: a small convolutional network over the figures of the frames around it, fitted on
//! made-up recordings by `benches/frames.py`, which writes [`learnt`](super::learnt).
//!
//! Eight blocks look at ever wider surroundings, to six minutes either way; two of them also see the mean of all frames. Registers are
//! as wide as the machine has them, but sums go in a fixed order in single precision, without fused steps, so that every machine gives
//! the same.

#![allow(clippy::inline_always)] // what is compiled once for each width has to be one piece

use fearless_simd::{Level, dispatch, f32x16, prelude::*};

use super::figures::{OF_FRAME, OF_WHOLE, Whole};
use super::learnt::{BLOCKS, INPUT, INPUT_BIAS, OUTPUT, OUTPUT_BIAS, WHOLE};
use super::network::{Block, CHANNELS, INPUT_TAPS, TAPS, Values};
use super::observe::Segment;

/// Probabilities of run, walk and stand, in the order of [`Gait`](super::Gait).
pub(super) type Probabilities = [f64; 3];

/// Makes each gait so many times as probable.
pub(super) fn weigh(row: &mut Probabilities, odds: [f64; 3]) {
    row.iter_mut().zip(odds).for_each(|(p, odds)| *p *= odds);
    let all: f64 = row.iter().sum();
    row.iter_mut().for_each(|p| *p /= all);
}

/// The values of a frame in registers. No two of them are ever added, whatever the width.
#[derive(Clone, Copy)]
struct Wide<S: Simd>([f32x16<S>; CHANNELS / 16]);

impl<S: Simd> Wide<S> {
    #[inline(always)]
    fn of(simd: S, values: &Values) -> Self {
        Self(std::array::from_fn(
            #[inline(always)]
            |part| f32x16::from_slice(simd, &values.0[16 * part..16 * part + 16]),
        ))
    }

    #[inline(always)]
    fn plus(&mut self, values: Self) {
        for (sum, value) in self.0.iter_mut().zip(values.0) {
            *sum += value;
        }
    }

    /// Adds some values, each times its weight.
    #[inline(always)]
    fn add_each(&mut self, values: Self, weights: Self) {
        for ((sum, value), weight) in self.0.iter_mut().zip(values.0).zip(weights.0) {
            *sum += value * weight;
        }
    }

    /// Adds some weights, each times the one value.
    #[inline(always)]
    fn add(&mut self, simd: S, value: f32, weights: &Values) {
        self.add_each(Self([f32x16::splat(simd, value); CHANNELS / 16]), Self::of(simd, weights));
    }

    /// What is above nothing.
    #[inline(always)]
    fn above(self, simd: S) -> Self {
        let mut values = self;
        for value in &mut values.0 {
            *value = value.max(f32x16::splat(simd, 0.0));
        }
        values
    }

    #[inline(always)]
    fn store(self, values: &mut Values) {
        for (part, values_of_part) in self.0.iter().zip(values.0.chunks_exact_mut(16)) {
            part.store_slice(values_of_part);
        }
    }
}

/// Probabilities at each frame of a segment.
pub(super) fn score(segment: &Segment, whole: &Whole) -> Vec<Probabilities> {
    let figures: Vec<_> = (0..segment.frames()).map(|frame| whole.of_frame(segment, frame)).collect();
    last_on(Level::new(), &figures, &whole.figures()).iter().map(probabilities).collect()
}

fn last_on(level: Level, figures: &[[f32; OF_FRAME]], of_whole: &[f32; OF_WHOLE]) -> Vec<Values> {
    dispatch!(level, simd => last(simd, figures, of_whole))
}

/// The values after the last block.
#[inline(always)]
fn last<S: Simd>(simd: S, figures: &[[f32; OF_FRAME]], of_whole: &[f32; OF_WHOLE]) -> Vec<Values> {
    let mut values = first(simd, figures, of_whole);
    let mut next = values.clone();
    for block in &BLOCKS {
        block.apply(simd, &values, &mut next);
        std::mem::swap(&mut values, &mut next);
    }
    values
}

/// The values before the first block.
#[inline(always)]
fn first<S: Simd>(simd: S, figures: &[[f32; OF_FRAME]], of_whole: &[f32; OF_WHOLE]) -> Vec<Values> {
    // What holds of the whole is the same at each frame, but beyond the ends there is none.
    let mut held = [Values::ZERO; INPUT_TAPS];
    for (held, weights) in held.iter_mut().zip(&WHOLE) {
        let mut sums = Wide::of(simd, held);
        for (value, weights) in of_whole.iter().zip(weights) {
            sums.add(simd, *value, weights);
        }
        sums.store(held);
    }
    let mut values = vec![INPUT_BIAS; figures.len()];
    for (frame, out) in values.iter_mut().enumerate() {
        let mut sums = Wide::of(simd, out);
        for (tap, (weights, held)) in INPUT.iter().zip(&held).enumerate() {
            let Some(seen) = (frame + tap).checked_sub(INPUT_TAPS / 2).and_then(|at| figures.get(at)) else {
                continue;
            };
            sums.plus(Wide::of(simd, held));
            for (value, weights) in seen.iter().zip(weights) {
                sums.add(simd, *value, weights);
            }
        }
        sums.above(simd).store(out);
    }
    values
}

impl Block {
    #[inline(always)]
    fn apply<S: Simd>(&self, simd: S, values: &[Values], next: &mut [Values]) {
        let bias = Wide::of(simd, &self.bias(simd, values));
        let tap_bias = Wide::of(simd, &self.tap_bias);
        let mut seen = Values::ZERO;
        for (frame, out) in next.iter_mut().enumerate() {
            let mut sums = tap_bias;
            for (tap, weights) in self.taps.iter().enumerate() {
                let at = (frame + tap * self.apart).checked_sub(TAPS / 2 * self.apart);
                let Some(at) = at.and_then(|at| values.get(at)) else { continue };
                sums.add_each(Wide::of(simd, at), Wide::of(simd, weights));
            }
            sums.store(&mut seen);
            let mut sums = bias;
            for (value, weights) in seen.0.iter().zip(&self.mix) {
                sums.add(simd, *value, weights);
            }
            let mut values = Wide::of(simd, &values[frame]);
            values.plus(sums.above(simd));
            values.store(out);
        }
    }

    /// What is added at each frame.
    #[inline(always)]
    fn bias<S: Simd>(&self, simd: S, values: &[Values]) -> Values {
        let mut bias = self.mix_bias;
        if let Some(whole) = &self.whole {
            let mut sums = Wide::of(simd, &Values::ZERO);
            for value in values {
                sums.plus(Wide::of(simd, value));
            }
            let mut mean = Values::ZERO;
            sums.store(&mut mean);
            let frames = values.len().max(1) as f32;
            let mut sums = Wide::of(simd, &bias);
            for (sum, weights) in mean.0.iter().zip(whole) {
                sums.add(simd, sum / frames, weights);
            }
            sums.store(&mut bias);
        }
        bias
    }
}

fn probabilities(values: &Values) -> Probabilities {
    let mut scores = OUTPUT_BIAS;
    for (value, weights) in values.0.iter().zip(&OUTPUT) {
        for (score, weight) in scores.iter_mut().zip(weights) {
            *score += value * weight;
        }
    }
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
        let heart_rate =
            |frame: usize| (frame % 17 != 3).then(|| 118.0 + 20.0 * runs(frame) + (frame % 9) as f64);
        Observed::made_up(Segment {
            start_s: 0.0,
            end_s: 198.0,
            speed_mps: (0..100).map(speed).collect(),
            cadence_spm: (0..100).map(cadence).collect(),
            heart_rate_bpm: (0..100).map(heart_rate).collect(),
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
    fn the_widest_registers_and_the_narrowest_give_the_same() {
        let observed = example();
        let whole = Whole::of(&observed, None);
        let segment = &observed.segments[0];
        let figures: Vec<_> = (0..segment.frames()).map(|frame| whole.of_frame(segment, frame)).collect();
        let on = |level| last_on(level, &figures, &whole.figures());
        assert_eq!(on(Level::new()), on(Level::baseline()));
    }

    #[test]
    fn what_lies_beyond_sight_changes_only_what_the_whole_tells() {
        // 6.4 min on either side are seen; here the recording's quantiles and means are as good as the same.
        let mut observed = example();
        let segment = &mut observed.segments[0];
        segment.speed_mps = segment.speed_mps.repeat(20);
        segment.cadence_spm = segment.cadence_spm.repeat(20);
        segment.heart_rate_bpm = segment.heart_rate_bpm.repeat(20);
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
        let empty = Segment {
            start_s: 0.0,
            end_s: 0.0,
            speed_mps: vec![],
            cadence_spm: vec![],
            heart_rate_bpm: vec![],
            slope: vec![],
        };
        assert!(score(&empty, &Whole::of(&observed, None)).is_empty());
        let segment = &mut observed.segments[0];
        segment.speed_mps.truncate(1);
        segment.cadence_spm.truncate(1);
        segment.heart_rate_bpm.truncate(1);
        let said = score(&observed.segments[0], &Whole::of(&observed, None));
        assert!((said[0].iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
