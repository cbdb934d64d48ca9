//! A time in one state, and what it is judged by.

use super::config::pieces::{CADENCE_FEATURES, CADENCE_WEIGHTS, FEATURES, WEIGHTS};
use super::logistic::probability;
use super::segmentation::Gait;
use super::state::State;

/// What a piece is judged by.
#[derive(Clone, Copy, Debug)]
pub(super) enum Looks {
    /// Where cadence tells.
    WithCadence([f64; CADENCE_FEATURES]),
    /// Where it does not.
    WithoutCadence([f64; FEATURES]),
}

impl Looks {
    /// Probability of a run.
    pub(super) fn run(&self) -> f64 {
        match self {
            Self::WithCadence(figures) => probability(figures, &CADENCE_WEIGHTS),
            Self::WithoutCadence(figures) => probability(figures, &WEIGHTS),
        }
    }
}

/// A time in one state.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub(super) state: State,
    /// Frames from, to.
    pub(super) frames: std::ops::Range<usize>,
    /// Mean speed as it would be on level ground; `None` of what stands or is not known.
    pub(super) level_mps: Option<f64>,
    /// Mean cadence, where it tells the gait of what moves.
    pub(super) cadence_spm: Option<f64>,
    /// What it is judged by; `None` where nothing but its state tells.
    pub(super) looks: Option<Looks>,
    /// Probability of a run, of what moves.
    pub(super) run: f64,
}

impl Piece {
    pub(super) fn gait(&self) -> Gait {
        match self.state {
            State::Standing => Gait::Stand,
            State::Moving(_) if self.run >= 0.5 => Gait::Run,
            State::Moving(_) => Gait::Walk,
        }
    }
}

/// From the first frame of some pieces in a row to behind their last.
pub(super) fn frames_of(pieces: &[Piece]) -> std::ops::Range<usize> {
    let start = pieces.first().map_or(0, |piece| piece.frames.start);
    start..pieces.last().map_or(start, |piece| piece.frames.end)
}

/// The pieces of all segments.
#[derive(Clone, Debug)]
pub(super) struct JudgedPieces {
    /// Those of each segment's path.
    pub(super) segments: Vec<Vec<Piece>>,
    /// How alike the pieces of one state are, 0 to 1.
    pub(super) likeness: f64,
    /// Whether the speed is that of the positions.
    pub(super) by_positions: bool,
    /// Whether nothing tells how steep the ground was.
    pub(super) slopes_unseen: bool,
}
