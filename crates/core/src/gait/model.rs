//! A recording's fitted and labelled model.

use crate::clean::{Series, SpeedSource};

use super::chain::{MOST_STATES, Workspace, forward_backward, viterbi};
use super::config::GaitConfig;
use super::config::grid::SEARCH_FRAMES;
use super::fit::Fit;
use super::labels::{Evidence, Labels};
use super::observe::Observed;
use super::piece::JudgedPieces;
use super::runner::RunnerPrior;
use super::segmentation::Gait;
use super::side_information::SideInformation;
use super::slope::slopes_are_unseen;
use super::state::{Rows, State};
use super::{apart, em, labels, pieces, sharpness, side_information};

/// A fitted and labelled recording.
pub(super) struct Model {
    pub(super) fit: Fit,
    /// Which gait each moving state is.
    pub(super) labels: Labels,
    /// The most probable state at each frame, a path a segment.
    pub(super) paths: Vec<Vec<State>>,
    /// The pieces of each path, with what each is.
    pub(super) pieces: JudgedPieces,
}

impl Model {
    /// Fits one state, two, and so on, takes the number with the best score, and labels the states. `None` of too few readings.
    pub(super) fn fit(
        series: &Series,
        observed: &Observed,
        config: &GaitConfig,
        runner: Option<&RunnerPrior>,
    ) -> Option<Self> {
        // The search goes over a coarser grid, where a step costs a third; the result is refined on the fine one.
        let coarse = observed.coarser(SEARCH_FRAMES);
        let most = config.most_moving_states.min(MOST_STATES - 1);
        let mut fit = em::refine(observed, em::search(&coarse, most)?);
        let (chain, moving) = (fit.chain(observed), fit.states.len());
        let path = |leave_odds: &[f64], table: &Rows| -> Vec<State> {
            let columns = viterbi(&chain, leave_odds, table);
            columns.into_iter().map(|column| State::of_column(column, moving)).collect()
        };
        let mut paths: Vec<Vec<State>> =
            observed.segments.iter().map(|segment| path(&[], &fit.emission(segment))).collect();
        let sharpness = sharpness::sharpness(observed, &paths, &fit);
        let said = SideInformation::of(series, observed);
        let confusion = said.confusion(&fit.posteriors, moving);
        let side_log_odds = side_information::run_log_odds(&confusion);
        let evidence = Evidence {
            states: &fit.states,
            weights: fit.weights,
            sharpness: &sharpness,
            side_log_odds: &side_log_odds,
        };
        let labels = labels::label(&evidence, runner);
        // The states are the readings' own; only which of them holds when is open to what was said.
        if !said.is_silent() {
            let mut workspace = Workspace::default();
            for (k, segment) in observed.segments.iter().enumerate() {
                let mut table = fit.emission(segment);
                said.add_guesses(k, &confusion, &mut table);
                let odds = said.leave_odds(k);
                paths[k] = path(odds, &table);
                forward_backward(&chain, odds, &table, &mut workspace, &mut fit.posteriors[k]);
            }
        }
        apart::set_apart(observed, &mut fit, &mut paths);
        let by_positions = series.speed_source() == SpeedSource::Positions;
        let pieces = pieces::judged(observed, &fit, &labels, &paths, by_positions, slopes_are_unseen(series));
        Some(Self { fit, labels, paths, pieces })
    }

    /// The gait of a state: standing, or by its label.
    pub(super) fn gait_of(&self, state: State) -> Gait {
        match state {
            State::Standing => Gait::Stand,
            State::Moving(k) if self.labels.run[k] >= 0.5 => Gait::Run,
            State::Moving(_) => Gait::Walk,
        }
    }
}
