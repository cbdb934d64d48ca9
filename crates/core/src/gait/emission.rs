//! How likely a speed and a cadence are in each level. A level is one way of moving that a recording shows (its brisk walk,
//! its jog); which gait it is comes later, in `labels`.

use super::observe::Stretch;

/// A bell curve with a floor for outliers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bell {
    pub(super) mean: f64,
    pub(super) sd: f64,
}

/// Share of readings that are wrong in no known way, and the range over which they spread.
const OUTLIER: f64 = 0.02;
const SPEED_RANGE_MPS: f64 = 6.0;
const CADENCE_RANGE_SPM: f64 = 250.0;
const STILL_MPS: f64 = 0.4;
/// While standing a recorder gives no steps; now and then one is counted.
const STILL_CADENCE_SPM: f64 = 15.0;

impl Bell {
    /// Log density without a floor.
    pub(super) fn log(self, value: f64) -> f64 {
        let z = (value - self.mean) / self.sd;
        -0.5 * z * z - self.sd.ln() - 0.918_938_533_204_672_7
    }
}

/// One way of moving.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Level {
    /// Speed on level ground.
    pub(super) speed_mps: Bell,
    /// By how much the speed falls uphill and rises downhill.
    pub(super) hill: Hill,
    pub(super) cadence_spm: Bell,
}

/// What slopes do to a level's speed: share lost for each unit of slope uphill, share gained for each downhill.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Hill {
    pub(super) up: f64,
    pub(super) down: f64,
}

impl Hill {
    /// Speed on a slope over speed on the level.
    pub(super) fn factor(self, slope: f64) -> f64 {
        (1.0 - self.up * slope.max(0.0) + self.down * (-slope).max(0.0)).max(0.3)
    }
}

/// How much one reading counts, since neighbouring ones share their error: 1 when independent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weights {
    pub(super) speed: f64,
    pub(super) cadence: f64,
}

impl Weights {
    /// Weight of one speed. A recorder that says "still" says it for a reason: that is no part of the wandering error.
    fn of_speed(self, speed_mps: f64) -> f64 {
        if speed_mps < STILL_MPS { self.speed.max(0.4) } else { self.speed }
    }
}

/// A bell with a floor, ready to be asked often: constants worked out once.
#[derive(Clone, Copy, Debug)]
struct Ready {
    mean: f64,
    per_sd: f64,
    log_peak: f64,
    log_floor: f64,
}

impl Ready {
    fn new(bell: Bell, range: f64) -> Self {
        Self {
            mean: bell.mean,
            per_sd: 1.0 / bell.sd,
            log_peak: bell.log(bell.mean) + (1.0 - OUTLIER).ln(),
            log_floor: (OUTLIER / range).ln(),
        }
    }

    /// Log density of the bell, nowhere below the outliers' floor, for a mean shifted by `factor`. The greater of the two stands
    /// for their sum: that is less by ln 2 at most, where they cross, and spares a logarithm and an exponential a reading.
    fn log_density(&self, value: f64, factor: f64) -> f64 {
        let z = (value - self.mean * factor) * self.per_sd;
        (self.log_peak - 0.5 * z * z).max(self.log_floor)
    }
}

/// Log densities of a set of levels and of standing, ready to be asked tick by tick.
pub(super) struct Emitter {
    levels: Vec<(Ready, Hill, Ready)>,
    still: Ready,
    still_cadence: (f64, f64),
    weights: Weights,
}

impl Emitter {
    /// `still_mps` is the spread of the speed while standing.
    pub(super) fn new(levels: &[Level], still_mps: f64, weights: Weights) -> Self {
        let ready = |level: &Level| {
            let speed = Ready::new(level.speed_mps, SPEED_RANGE_MPS);
            (speed, level.hill, Ready::new(level.cadence_spm, CADENCE_RANGE_SPM))
        };
        let stray = 0.1 / CADENCE_RANGE_SPM;
        Self {
            levels: levels.iter().map(ready).collect(),
            still: Ready::new(Bell { mean: 0.0, sd: still_mps }, SPEED_RANGE_MPS),
            still_cadence: ((0.9 / STILL_CADENCE_SPM + stray).ln(), stray.ln()),
            weights,
        }
    }

    /// Fills `table` with the weighted log density of what is seen at each tick in each level, then while standing; what is
    /// missing says nothing.
    pub(super) fn fill(&self, stretch: &Stretch, table: &mut Vec<f64>) {
        let width = self.levels.len() + 1;
        table.clear();
        table.resize(stretch.ticks() * width, 0.0);
        let readings = stretch.speed_mps.iter().zip(&stretch.cadence_spm).zip(&stretch.slope);
        for (row, ((speed, cadence), &slope)) in table.chunks_exact_mut(width).zip(readings) {
            let Some((still, moving)) = row.split_last_mut() else { continue };
            if let Some(v) = *speed {
                let weight = self.weights.of_speed(v);
                for (out, (bell, hill, _)) in moving.iter_mut().zip(&self.levels) {
                    *out = weight * bell.log_density(v, hill.factor(slope));
                }
                *still = weight * (self.still.log_density(v, 1.0) + std::f64::consts::LN_2);
            }
            if let Some(c) = *cadence {
                let weight = self.weights.cadence;
                for (out, (_, _, bell)) in moving.iter_mut().zip(&self.levels) {
                    *out += weight * bell.log_density(c, 1.0);
                }
                let (none, some) = self.still_cadence;
                *still += weight * if c < STILL_CADENCE_SPM { none } else { some };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_density_is_the_greater_part_of_the_mixture() {
        let bell = Bell { mean: 1.6, sd: 0.15 };
        for value in [0.0, 1.0, 1.5, 1.6, 1.9, 2.2, 5.0] {
            let z: f64 = (value - 1.6) / 0.15;
            let plain = (-0.5 * z * z).exp() / (0.15 * (2.0 * std::f64::consts::PI).sqrt());
            let mixture = ((1.0 - OUTLIER) * plain + OUTLIER / 6.0).ln();
            let below = mixture - Ready::new(bell, 6.0).log_density(value, 1.0);
            assert!((-1e-12..=std::f64::consts::LN_2).contains(&below), "{value}: {below}");
        }
    }
}
