//! How sharply two states change into each other: gaits change in one step, hills and fatigue change the speed slowly.

use super::config::sharpness::{FAR_S, LEAST_CADENCES, LEAST_READINGS, NEAR_S};
use super::em::Fit;
use super::emission::Gaussian;
use super::observe::Observed;
use super::state::State;
use crate::statistics::{mean_of_known, median};

/// Share of the step between two states that is made within a few seconds, and its standard error.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sharpness {
    pub(super) share: f64,
    pub(super) error: f64,
}

impl Sharpness {
    /// Of the changes between a moving state and the next higher one: the middle share over all of them. `None` when there are
    /// none with enough data on both sides.
    pub(super) fn between(low: usize, observed: &Observed, paths: &[Vec<State>], fit: &Fit) -> Option<Self> {
        let (lower, higher) = (&fit.states[low], &fit.states[low + 1]);
        let by_cadence =
            observed.segments.iter().any(|s| s.cadence_spm.iter().flatten().count() > LEAST_CADENCES);
        let (of_low, of_high, weight) = if by_cadence {
            (lower.cadence_spm, higher.cadence_spm, fit.weights.cadence)
        } else {
            (lower.speed_mps, higher.speed_mps, fit.weights.speed)
        };
        let Gaussian { mean: from, sd } = of_low;
        let step = of_high.mean - from;
        let near = (NEAR_S / observed.frame_s) as usize;
        let far = (FAR_S / observed.frame_s).ceil() as usize;
        let (low, high) = (State::Moving(low), State::Moving(low + 1));
        let mut shares = Vec::new();
        for (segment, path) in observed.segments.iter().zip(paths) {
            let column = if by_cadence { &segment.cadence_spm } else { &segment.speed_mps };
            for at in 1..path.len() {
                let sign = match (path[at - 1], path[at]) {
                    change if change == (low, high) => 1.0,
                    change if change == (high, low) => -1.0,
                    _ => continue,
                };
                let before = &column[at.saturating_sub(far)..at.saturating_sub(near)];
                let after = &column[(at + near).min(path.len())..(at + far).min(path.len())];
                let means = mean_of_known(before, LEAST_READINGS).zip(mean_of_known(after, LEAST_READINGS));
                shares.extend(means.map(|(before, after)| sign * (after - before) / step));
            }
        }
        let share = median(&mut shares)?;
        // Two means over the readings from near to far, of which each counts by its weight.
        let independent = 0.5 * weight * (far - near) as f64 * shares.len() as f64;
        Some(Self { share, error: sd.max(of_high.sd) / step.abs() / independent.sqrt() })
    }
}
