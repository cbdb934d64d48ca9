//! Moving states that fit a recording, and the chain over them.

use super::chain::{Chain, Posterior};
use super::config::chain::{INITIALLY_STANDING, MIN_MOVING_S, MIN_STANDING_S, TO_STANDING};
use super::emission::Emitter;
use super::moving::{MovingState, Weights};
use super::observe::{Observed, Segment};
use super::state::{Rows, columns};

/// Moving states that fit a recording.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub(super) states: Vec<MovingState>,
    pub(super) weights: Weights,
    /// Standard deviation of the speed while standing.
    pub(super) standing_sd_mps: f64,
    /// Probabilities of all states, a posterior a segment.
    pub(super) posteriors: Vec<Posterior>,
    /// Log likelihood less the cost of the states' free parameters (Schwarz 1978): half the negative of what is usually called
    /// BIC, so that the greatest is the best.
    pub(super) bic_score: f64,
}

impl Fit {
    /// The chain over the moving states and standing.
    pub(super) fn chain(&self, observed: &Observed) -> Chain {
        chain(self.states.len(), observed)
    }

    /// Emission table of one segment.
    pub(super) fn emission(&self, segment: &Segment) -> Rows {
        let mut table = Rows::default();
        Emitter::new(&self.states, self.standing_sd_mps, self.weights).fill(segment, &mut table);
        table
    }
}

/// The chain over so many moving states and standing.
pub(super) fn chain(moving: usize, observed: &Observed) -> Chain {
    let (frame_s, remaining_s) = (observed.frame_s, observed.remaining_s);
    let n = columns(moving);
    let frames = |seconds: f64| ((seconds / frame_s).ceil() as usize).max(1);
    let mut min_frames = vec![frames(MIN_MOVING_S); moving];
    min_frames.push(frames(MIN_STANDING_S));
    // From a way of moving to another, seldom to standing; from standing to any.
    let mut next = vec![vec![1.0 / moving as f64; n]; n];
    for (k, row) in next.iter_mut().enumerate().take(moving) {
        let others = moving - 1;
        row.fill(if others > 0 { (1.0 - TO_STANDING) / others as f64 } else { 0.0 });
        row[moving] = if others > 0 { TO_STANDING } else { 1.0 };
        row[k] = 0.0;
    }
    next[moving][moving] = 0.0;
    let mut initial = vec![1.0 / n as f64; n];
    initial[moving] = INITIALLY_STANDING;
    Chain { initial, min_frames, stay: vec![(-frame_s / remaining_s).exp(); n], next }
}
