//! How sharply two states change into each other: gaits change in one step, hills and fatigue change the speed slowly.

use super::config::fit::LEAST_READINGS as LEAST_SEEN;
use super::config::sharpness::{FAR_S, LEAST_READINGS, NEAR_S};
use super::fit::Fit;
use super::observe::Observed;
use super::state::State;
use crate::statistics::{mean_of_known, median};

/// Share of the step between two states that is made within a few seconds, and its standard error.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sharpness {
    pub(super) share: f64,
    pub(super) error: f64,
}

/// Of the changes between each two states, the lower number first, where they do not share a cadence: the middle share over all
/// of them, by speed. `None` where there are no changes with enough data on both sides.
pub(super) fn sharpness(observed: &Observed, paths: &[Vec<State>], fit: &Fit) -> Vec<Vec<Option<Sharpness>>> {
    let moving = fit.states.len();
    let near = (NEAR_S / observed.frame_s) as usize;
    let far = (FAR_S / observed.frame_s).ceil() as usize;
    let mut steps: Vec<Vec<Vec<f64>>> = vec![vec![Vec::new(); moving]; moving];
    for (segment, path) in observed.segments.iter().zip(paths) {
        for at in 1..path.len() {
            let (State::Moving(from), State::Moving(to)) = (path[at - 1], path[at]) else { continue };
            if from == to {
                continue;
            }
            let before = &segment.speed_mps[at.saturating_sub(far)..at.saturating_sub(near)];
            let after = &segment.speed_mps[(at + near).min(path.len())..(at + far).min(path.len())];
            let means = mean_of_known(before, LEAST_READINGS).zip(mean_of_known(after, LEAST_READINGS));
            let sign = if from < to { 1.0 } else { -1.0 };
            steps[from.min(to)][from.max(to)].extend(means.map(|(before, after)| sign * (after - before)));
        }
    }
    let has_cadence = |k: usize| fit.states[k].seen.cadences >= LEAST_SEEN;
    let of = |low: usize, high: usize, steps: &mut Vec<f64>| {
        let step = fit.states[high].speed_mps.mean - fit.states[low].speed_mps.mean;
        let mut shares: Vec<f64> = steps.iter().map(|made| made / step).collect();
        let share = median(&mut shares).filter(|_| !(has_cadence(low) && has_cadence(high)))?;
        let sd = fit.states[low].speed_mps.sd.max(fit.states[high].speed_mps.sd);
        // Two means over the readings from near to far, of which each counts by its weight.
        let independent = 0.5 * fit.weights.speed * (far - near) as f64 * shares.len() as f64;
        Some(Sharpness { share, error: sd / step.abs() / independent.sqrt() })
    };
    let rows = steps.iter_mut().enumerate();
    rows.map(|(k, row)| row.iter_mut().enumerate().map(|(l, steps)| of(k, l, steps)).collect()).collect()
}
