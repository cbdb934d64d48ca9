//! A recording as a whole: what its pieces are judged against.

use super::config::pieces::{CONTRAST_FAR_S, CONTRAST_NEAR_S, HIGH_SHARE, LOW_SHARE};
use super::labels::Labels;
use super::observe::Observed;
use super::state::State;
use crate::statistics::mean_of_known;

/// What the pieces of a recording are judged against.
pub(super) struct Whole<'a> {
    pub(super) observed: &'a Observed,
    pub(super) labels: &'a Labels,
    pub(super) cadences: Cadences,
    pub(super) median_mps: f64,
    pub(super) spread_mps: f64,
    /// Speeds of moving frames, in order.
    pub(super) sorted_mps: Vec<f64>,
    pub(super) likeness: f64,
    pub(super) by_positions: bool,
    pub(super) slopes_unseen: bool,
}

impl Whole<'_> {
    /// By how much a column of a segment is higher shortly after a frame than shortly before.
    pub(super) fn step(&self, column: &[Option<f64>], at: usize) -> f64 {
        let frames = |seconds: f64| (seconds / self.observed.frame_s).round() as usize;
        let (near, far, n) = (frames(CONTRAST_NEAR_S), frames(CONTRAST_FAR_S), column.len());
        let before = mean_of_known(&column[at.saturating_sub(far)..at.saturating_sub(near)], 1);
        let after = mean_of_known(&column[(at + near).min(n)..(at + far).min(n)], 1);
        after.zip(before).map_or(0.0, |(after, before)| after - before)
    }
}

/// Cadences that few and that most of a recording's moving frames are below, steps/min; 0 without cadence.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cadences {
    pub(super) low_spm: f64,
    pub(super) high_spm: f64,
}

impl Cadences {
    pub(super) fn of(observed: &Observed, paths: &[Vec<State>]) -> Self {
        let segments = observed.segments.iter().zip(paths);
        let frames = segments.flat_map(|(segment, path)| segment.cadence_spm.iter().zip(path));
        let moving = frames.filter(|(_, state)| **state != State::Standing);
        let mut cadences: Vec<f64> = moving.filter_map(|(cadence, _)| *cadence).collect();
        let last = cadences.len().saturating_sub(1) as f64;
        let mut at = |share: f64| match (last * share) as usize {
            k if k < cadences.len() => *cadences.select_nth_unstable_by(k, f64::total_cmp).1,
            _ => 0.0,
        };
        Self { low_spm: at(LOW_SHARE), high_spm: at(HIGH_SHARE) }
    }
}
