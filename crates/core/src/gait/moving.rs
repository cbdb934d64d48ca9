//! A way of moving that a recording shows (its brisk walk, its jog): what its readings are like, and what one reading counts.
//! Which gait it is comes later, in `labels`.

use super::config::emission::{LEAST_SLOPE_FACTOR, STILL_MPS, STILL_WEIGHT};
use super::config::fit::{USUAL_DOWN, USUAL_UP};
use super::gaussian::Gaussian;

/// What readings are like in one way of moving.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MovingState {
    /// Speed on level ground.
    pub(super) speed_mps: Gaussian,
    /// By how much the speed falls uphill and rises downhill.
    pub(super) slope_effect: SlopeEffect,
    pub(super) cadence_spm: Gaussian,
    /// Readings that tell it.
    pub(super) seen: Seen,
}

/// How many readings tell what a state is like, each counted by the probability that it is of the state. With fewer than
/// [`LEAST_READINGS`](super::config::fit::LEAST_READINGS) of a kind nothing is known of that kind.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Seen {
    pub(super) speeds: f64,
    pub(super) cadences: f64,
}

/// What slopes do to a state's speed: share lost for each unit of slope uphill, share gained for each downhill.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SlopeEffect {
    pub(super) up: f64,
    pub(super) down: f64,
}

impl SlopeEffect {
    /// What is believed before anything is seen.
    pub(super) const USUAL: Self = Self { up: USUAL_UP, down: USUAL_DOWN };

    /// Speed on a slope over speed on the level.
    pub(super) fn factor(self, slope: f64) -> f64 {
        (1.0 - self.up * slope.max(0.0) + self.down * (-slope).max(0.0)).max(LEAST_SLOPE_FACTOR)
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
    pub(super) fn of_speed(self, speed_mps: f64) -> f64 {
        if speed_mps < STILL_MPS { self.speed.max(STILL_WEIGHT) } else { self.speed }
    }
}
