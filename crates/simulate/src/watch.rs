//! What real recorders do and ideal ones do not: laws drawn for each watch, which stays with its runner.
//!
//! "Measured" and the laws are to each other as in [`super::ways`].

use std::ops::Range;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::lag::Lag;
use super::motion::Motion;
use super::motion::gait_at;
use super::random::{Smooth, Stream, normal, rng, uniform};
use super::ways::{Spread, runner_seed};
use super::{Gps, Realism, Sampling, Settings};
use jogaudit_core::gait::Gait;

/// Whole lag of a recorder's speed, s: mean, standard deviation, least, most. Measured: 6.5 s [5–9], 71 % above 5 s.
const SPEED_LAG_S: (f64, f64, f64, f64) = (6.7, 1.4, 4.0, 9.0);
/// Share of that which a causal average makes, evenly; none where it would be negative. Our choice: a longer average would make the measured ramps too long.
const AVERAGED: (f64, f64) = (-0.6, 0.5);
/// Whole lag of a recorder's cadence, s. Our choice: measured is only that the speed is later.
const CADENCE_LAG_S: (f64, f64) = (1.0, 4.0);
/// A recorder's own error of speed over that of an ideal one: of its size and of its correlation time. Measured with lag and
/// the error of positions: 0.35 m/s, 7.9 s.
const SPEED_ERROR: (Spread, f64) = (Spread { median: 0.7, factor: 1.6 }, 5.0);
/// Gentle drift of positions beside the errors of an ideal recording: speed of it on each axis, m/s, and its time constant, s.
/// Measured as part of the same.
const DRIFT: (Spread, f64) = (Spread { median: 0.28, factor: 1.5 }, 20.0);
/// By how much a watch reads distance, speed and the way of its positions alike too high, as a share: evenly from this for the watch; and the standard
/// deviation of what the place and the day add. The ends of what eight watches did: systematic errors of 3.7 ± 195.6 to -101.0 ± 231.3 m
/// over 404 to 4,297 m, off by 3.2 to 6.1 % in the mean, mostly too low (Gilgen-Ammann et al. 2020, JMIR mHealth 8(6):e17118). One without a
/// bias is off by 3.2 % with a standard deviation of √(π/2) × 3.2 = 4.0 %, and then one with -5.6 % by 6.0.
const SCALE: (Range<f64>, f64) = (-0.056..0.0, 0.04);
/// After a restart of the timer speed lacks this share, fading with this time, s, until it is as usual. Measured: 0.53, 0.76 and
/// 0.95 of the speed from positions after 0–5, 5–10 and 10–20 s.
const RESTART: (f64, f64) = (0.68, 6.5);
/// Standard deviation of that share between restarts. Our choice.
const RESTART_SD: f64 = 0.15;
/// How long after a restart the recorder is on its way back to its usual lag, s. Our choice.
const RESTART_S: (usize, usize) = (10, 20);
/// Share of recorders whose cadence drops out now and then, and how often an hour in the mean. Measured: 13 times an hour,
/// of 2 s each, in the 90th percentile of files.
const DROP_OUTS: (f64, f64) = (0.35, 9.0);
/// Share of recorders whose cadence drops out a lot, and how often an hour. Measured: 10 % in the worst of 87 files.
const MANY_DROP_OUTS: (f64, f64) = (0.015, 150.0);
/// Longest drop-out, s: 1 to this, evenly.
const DROP_OUT_S: usize = 3;
/// Share of recorders that hold one value of cadence for a while, times an hour, and for how long, s. Our choice: seen in a
/// few.
const HELD: (f64, f64, Range<usize>) = (0.03, 2.0, 20..120);
/// Share of recorders that count one leg of a walk. Our choice: seen in a few.
const HALF_WALKS: f64 = 0.03;
/// Share of recorders that hold a position and then jump, times an hour, and for how long, s. Our choice: seen in a few.
const FROZEN: (f64, f64, Range<usize>) = (0.10, 6.0, 3..11);
/// Share of recorders that write every second. Measured: 71 %.
const EVERY_SECOND: f64 = 0.71;
/// Seconds between the samples of a slow recorder: one of these, always the same. Our choice.
const SLOW_S: Range<usize> = 2..6;

/// The quirks of a watch.
#[derive(Clone, Debug)]
#[allow(clippy::struct_excessive_bools)] // quirks of which any set can come together
pub(super) struct Watch {
    pub(super) speed_lag: Lag,
    pub(super) cadence_lag: Lag,
    /// What it shows of a speed or of a way, over what is true.
    pub(super) scale: f64,
    /// Size of its own error of speed over the usual.
    pub(super) speed_error: f64,
    /// Correlation time of that over the usual.
    pub(super) speed_error_time: f64,
    /// Size of the gentle drift of positions on each axis, m.
    drift_m: f64,
    drop_outs_an_hour: f64,
    /// Whether a drop-out is written as 0; else it is missing.
    drop_outs_are_zero: bool,
    holds_cadence: bool,
    halves_walks: bool,
    freezes: bool,
    seed: u64,
}

impl Watch {
    /// None for ideal recordings.
    pub(super) fn draw(settings: &Settings) -> Option<Self> {
        if settings.realism == Realism::Ideal {
            return None;
        }
        let mut draws = rng(runner_seed(settings), Stream::Watch);
        let (mean, sd, least, most) = SPEED_LAG_S;
        let speed_lag_s = (mean + sd * normal(&mut draws)).clamp(least, most);
        let cadence_lag_s = uniform(&mut draws, CADENCE_LAG_S.0, CADENCE_LAG_S.1);
        let averaged = uniform(&mut draws, AVERAGED.0, AVERAGED.1).max(0.0);
        let speed_error = SPEED_ERROR.0.at(normal(&mut draws));
        let drift_mps = DRIFT.0.at(normal(&mut draws));
        let kind = draws.random::<f64>();
        let often = -DROP_OUTS.1 * (1.0 - draws.random::<f64>()).ln();
        let drop_outs_an_hour = match kind {
            k if k < MANY_DROP_OUTS.0 => MANY_DROP_OUTS.1,
            k if k < MANY_DROP_OUTS.0 + DROP_OUTS.0 => often,
            _ => 0.0,
        };
        let bias = uniform(&mut rng(runner_seed(settings), Stream::WatchScale), SCALE.0.start, SCALE.0.end);
        let scale = 1.0 + bias + SCALE.1 * normal(&mut rng(settings.seed, Stream::DistanceScale));
        let mut one_in = |share: f64| draws.random::<f64>() < share;
        Some(Self {
            speed_lag: Lag::of(speed_lag_s, averaged),
            cadence_lag: Lag::of(cadence_lag_s, averaged),
            scale,
            speed_error,
            speed_error_time: SPEED_ERROR.1,
            // The speed of such a process is its size over its time constant. Coarse positions say their errors themselves.
            drift_m: if settings.gps == Gps::Coarse { 0.0 } else { drift_mps * DRIFT.1 },
            drop_outs_an_hour,
            drop_outs_are_zero: one_in(0.5),
            holds_cadence: one_in(HELD.0),
            halves_walks: one_in(HALF_WALKS),
            freezes: one_in(FROZEN.0),
            seed: settings.seed,
        })
    }

    /// Makes the speed after each restart of the timer begin too slow.
    pub(super) fn restart(&self, speed_mps: &mut [f64], motion: &Motion) {
        let mut draws = rng(self.seed, Stream::Restarts);
        let (whole_until, until) = RESTART_S;
        for &(_, to) in &motion.timeline.pauses {
            let lacks = (RESTART.0 + RESTART_SD * normal(&mut draws)).clamp(0.2, 0.95);
            for after in 0..until {
                let second = to as usize + after;
                let Some(shown) = speed_mps.get_mut(second) else { break };
                let fresh =
                    motion.at_second(second).speed_mps * (1.0 - lacks * (-(after as f64) / RESTART.1).exp());
                let usual = (after.saturating_sub(whole_until)) as f64 / (until - whole_until) as f64;
                *shown = fresh * (1.0 - usual) + *shown * usual;
            }
        }
    }

    /// What the watch does to its cadence, beside lag and noise.
    pub(super) fn spoil_cadence(&self, cadence_spm: &mut [Option<f64>], motion: &Motion) {
        if self.halves_walks {
            for (second, value) in cadence_spm.iter_mut().enumerate() {
                if gait_at(motion, second) == Gait::Walk {
                    *value = value.map(|spm| 0.5 * spm);
                }
            }
        }
        let mut draws = rng(self.seed, Stream::CadenceQuirks);
        if self.holds_cadence {
            for stretch in now_and_then(HELD.1, &HELD.2, cadence_spm.len(), &mut draws) {
                let held = cadence_spm[stretch.start];
                cadence_spm[stretch].fill(held);
            }
        }
        let missing = self.drop_outs_are_zero.then_some(0.0);
        for stretch in
            now_and_then(self.drop_outs_an_hour, &(1..DROP_OUT_S + 1), cadence_spm.len(), &mut draws)
        {
            cadence_spm[stretch].fill(missing);
        }
    }

    /// Lets positions drift.
    pub(super) fn drift(&self, east_m: &mut [f64], north_m: &mut [f64]) {
        for (axis_m, stream) in [(east_m, Stream::DriftEast), (north_m, Stream::DriftNorth)] {
            let mut drift = Smooth::new(DRIFT.1, 1.0, rng(self.seed, stream));
            axis_m.iter_mut().for_each(|m| *m += self.drift_m * drift.step());
        }
    }

    /// Holds positions now and then.
    pub(super) fn freeze(&self, east_m: &mut [f64], north_m: &mut [f64]) {
        if self.freezes {
            let mut draws = rng(self.seed, Stream::Frozen);
            for stretch in now_and_then(FROZEN.1, &FROZEN.2, east_m.len(), &mut draws) {
                let (east, north) = (east_m[stretch.start], north_m[stretch.start]);
                east_m[stretch.clone()].fill(east);
                north_m[stretch].fill(north);
            }
        }
    }
}

/// Stretches of seconds that begin at moments which know nothing of each other.
fn now_and_then(
    an_hour: f64,
    lengths: &Range<usize>,
    seconds: usize,
    draws: &mut ChaCha8Rng,
) -> Vec<Range<usize>> {
    let mut stretches = Vec::new();
    let mut at = 0.0;
    loop {
        // Times between rare events that know nothing of each other are exponential; without any, for ever.
        at -= 3600.0 / an_hour * (1.0 - draws.random::<f64>()).ln();
        let length = draws.random_range(lengths.clone());
        if at.is_nan() || at >= seconds as f64 {
            return stretches;
        }
        let from = at as usize;
        stretches.push(from..(from + length).min(seconds));
    }
}

/// Seconds from one sample to the next, least and most.
pub(super) fn intervals_s(settings: &Settings) -> (usize, usize) {
    /// Intervals of smart sampling, s. Our choice.
    const SMART_S: (usize, usize) = (3, 8);
    let mut draws = rng(runner_seed(settings), Stream::Intervals);
    match settings.sampling {
        Sampling::Slow => {
            let period = draws.random_range(SLOW_S);
            (period, period)
        }
        Sampling::Drawn if draws.random::<f64>() >= EVERY_SECOND => SMART_S,
        Sampling::EverySecond | Sampling::Drawn => (1, 1),
        Sampling::Smart => SMART_S,
    }
}
