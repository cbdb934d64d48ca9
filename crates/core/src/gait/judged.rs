//! A recording read: how probable each gait is at each frame, and which of them holds.

use crate::clean::Series;

use super::figures::Whole;
use super::levels::{Levels, Weights};
use super::nobody;
use super::observe::Observed;
use super::path::best_path;
use super::runner::RunnerPrior;
use super::scorer::{Probabilities, score};
use super::segmentation::Gait;
use super::side_information::SideInformation;

/// What was found at each frame of a recording.
pub(super) struct Judged {
    /// Of each segment.
    pub(super) probabilities: Vec<Vec<Probabilities>>,
    /// The gait at each frame of each segment.
    pub(super) paths: Vec<Vec<Gait>>,
    pub(super) levels: Levels,
    pub(super) weights: Weights,
}

impl Judged {
    pub(super) fn of(series: &Series, observed: &Observed, runner: Option<&RunnerPrior>) -> Self {
        let usual = runner.map(RunnerPrior::usual);
        let whole = Whole::of(observed, usual);
        let mut probabilities: Vec<Vec<Probabilities>> =
            observed.segments.iter().map(|segment| score(segment, &whole)).collect();
        nobody::weigh(observed, &mut probabilities);
        let said = SideInformation::of(series, observed);
        said.weigh(&mut probabilities);
        let segments = probabilities.iter().enumerate();
        let paths: Vec<Vec<Gait>> = segments.map(|(k, rows)| best_path(rows, said.change_odds(k))).collect();
        let levels = Levels::of(observed, &paths);
        Self { probabilities, paths, levels, weights: Weights::of(observed) }
    }
}
