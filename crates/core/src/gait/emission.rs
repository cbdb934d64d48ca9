//! How likely a speed and a cadence are in each state.

use super::config::emission::{
    BESIDE_CADENCE, CADENCE_RANGE_SPM, OUTLIER, SPEED_RANGE_MPS, STANDING_SPM, STILL_BOTH, STILL_BOTH_MPS,
};
use super::gaussian::Gaussian;
use super::moving::{MovingState, SlopeEffect, Weights};
use super::observe::Segment;
use super::state::{Rows, columns};

/// Whether speed and cadence agree that nobody moves.
fn still(speed_mps: Option<f64>, cadence_spm: Option<f64>) -> bool {
    speed_mps.is_some_and(|v| v < STILL_BOTH_MPS) && cadence_spm.is_some_and(|c| c < STANDING_SPM)
}

/// A Gaussian with a floor for outliers, its constants worked out once.
#[derive(Clone, Copy, Debug)]
struct Floored {
    mean: f64,
    per_sd: f64,
    log_peak: f64,
    log_floor: f64,
}

impl Floored {
    /// `range` is that over which outliers spread evenly.
    fn new(gaussian: Gaussian, range: f64) -> Self {
        Self {
            mean: gaussian.mean,
            per_sd: 1.0 / gaussian.sd,
            log_peak: gaussian.log_density(gaussian.mean) + (1.0 - OUTLIER).ln(),
            log_floor: (OUTLIER / range).ln(),
        }
    }

    /// Log density for a mean multiplied by `factor`, nowhere below the outliers' floor. The greater of the two stands for their
    /// sum: that is less by ln 2 at most, where they cross, and spares a logarithm and an exponential a reading.
    fn log_density(&self, value: f64, factor: f64) -> f64 {
        let z = (value - self.mean * factor) * self.per_sd;
        (self.log_peak - 0.5 * z * z).max(self.log_floor)
    }
}

/// A moving state's densities, ready to be asked often.
struct Densities {
    speed: Floored,
    slope_effect: SlopeEffect,
    cadence: Floored,
}

/// Log densities of a set of states, ready to be asked frame by frame.
pub(super) struct Emitter {
    moving: Vec<Densities>,
    standing_speed: Floored,
    /// Log densities of a cadence while standing: without steps, and with some.
    standing_cadence: (f64, f64),
    weights: Weights,
}

impl Emitter {
    /// `standing_sd_mps` is the standard deviation of the speed while standing.
    pub(super) fn new(states: &[MovingState], standing_sd_mps: f64, weights: Weights) -> Self {
        let densities = |state: &MovingState| Densities {
            speed: Floored::new(state.speed_mps, SPEED_RANGE_MPS),
            slope_effect: state.slope_effect,
            cadence: Floored::new(state.cadence_spm, CADENCE_RANGE_SPM),
        };
        // Speeds are never negative: half a Gaussian, of twice the density. What is stray is as stray as in any state.
        let mut standing_speed = Floored::new(Gaussian { mean: 0.0, sd: standing_sd_mps }, SPEED_RANGE_MPS);
        standing_speed.log_peak += std::f64::consts::LN_2;
        let stray = OUTLIER / CADENCE_RANGE_SPM;
        Self {
            moving: states.iter().map(densities).collect(),
            standing_speed,
            standing_cadence: (((1.0 - OUTLIER) / STANDING_SPM + stray).ln(), stray.ln()),
            weights,
        }
    }

    /// Fills the table with the weighted log density of what is read at each frame in each state; what is missing says nothing.
    pub(super) fn fill(&self, segment: &Segment, table: &mut Rows) {
        table.reshape(segment.frames(), columns(self.moving.len()));
        let readings = segment.speed_mps.iter().zip(&segment.cadence_spm).zip(&segment.slope);
        for (row, ((speed, cadence), &slope)) in table.iter_mut().zip(readings) {
            let Some((standing, moving)) = row.split_last_mut() else { continue };
            let still = still(*speed, *cadence);
            let beside = if cadence.is_some() { BESIDE_CADENCE } else { 1.0 };
            // What is missing has no weight.
            let (v, v_weight) = match *speed {
                Some(v) => (v, if still { STILL_BOTH } else { beside * self.weights.of_speed(v) }),
                None => (0.0, 0.0),
            };
            let (c, c_weight) = match *cadence {
                Some(c) => (c, if still { STILL_BOTH } else { self.weights.cadence }),
                None => (0.0, 0.0),
            };
            for (out, state) in moving.iter_mut().zip(&self.moving) {
                *out = v_weight * state.speed.log_density(v, state.slope_effect.factor(slope))
                    + c_weight * state.cadence.log_density(c, 1.0);
            }
            let (none, some) = self.standing_cadence;
            *standing = v_weight * self.standing_speed.log_density(v, 1.0)
                + c_weight * if c < STANDING_SPM { none } else { some };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::moving::Seen;
    use super::*;

    #[test]
    fn the_density_is_the_greater_part_of_the_mixture() {
        let gaussian = Gaussian { mean: 1.6, sd: 0.15 };
        for value in [0.0, 1.0, 1.5, 1.6, 1.9, 2.2, 5.0] {
            let z: f64 = (value - 1.6) / 0.15;
            let plain = (-0.5 * z * z).exp() / (0.15 * (2.0 * std::f64::consts::PI).sqrt());
            let mixture = ((1.0 - OUTLIER) * plain + OUTLIER / 6.0).ln();
            let below = mixture - Floored::new(gaussian, 6.0).log_density(value, 1.0);
            assert!((-1e-12..=std::f64::consts::LN_2).contains(&below), "{value}: {below}");
        }
    }

    #[test]
    fn two_sensors_that_say_still_outweigh_the_usual_weights() {
        let walk = MovingState {
            speed_mps: Gaussian { mean: 1.5, sd: 0.16 },
            slope_effect: SlopeEffect { up: 2.5, down: 0.8 },
            cadence_spm: Gaussian { mean: 115.0, sd: 4.0 },
            seen: Seen::default(),
        };
        let emitter = Emitter::new(&[walk], 0.25, Weights { speed: 0.2, cadence: 0.25 });
        let for_standing = |speed_mps: f64, cadence_spm: f64| {
            let segment = Segment {
                start_s: 0.0,
                end_s: 0.0,
                speed_mps: vec![Some(speed_mps)],
                cadence_spm: vec![Some(cadence_spm)],
                slope: vec![0.0],
            };
            let mut table = Rows::default();
            emitter.fill(&segment, &mut table);
            table.row(0)[1] - table.row(0)[0]
        };
        // A cadence that drops out while someone moves, and a stand.
        assert!(for_standing(1.5, 0.0) < 1.0, "{}", for_standing(1.5, 0.0));
        assert!(for_standing(0.3, 0.0) > 8.0, "{}", for_standing(0.3, 0.0));
    }
}
