//! Inference in a Markov chain whose states have a minimum duration. Knows nothing of gait: emissions come in as a table of log
//! densities, so that it can be tested with made-up ones.
//!
//! A state with a minimum duration of m frames may be left only once m frames have been spent in it, except where the recording
//! begins (the state may have begun before it) or ends. Entering a state at frame u therefore means that it is "held" (may go on
//! or be left) at u + m − 1 at the earliest, and the emissions of these m frames enter as one product. So a frame costs a few
//! multiplications a state, whatever m; time and memory are linear in the number of frames. Rabiner 1989 (Proc IEEE 77:257-86)
//! gives the recursions, Yu & Kobayashi 2003 (IEEE Signal Process Lett 10:11-14) the state probabilities as a running balance
//! of what enters and what leaves (cited from memory).
//!
//! Kernels are compiled for 2, 3, 4, 5 and [`MOST_STATES`] states, so that a row is an array of known length; columns beyond the
//! chain's own states have probability 0.

mod forward_backward;
mod viterbi;

pub(super) use forward_backward::{Posterior, Workspace, forward_backward};
pub(super) use viterbi::viterbi;

use super::config::chain::MOST_LEAVE;

/// Most states of a chain.
pub(super) const MOST_STATES: usize = 8;

/// The chain: how long states last and where they lead.
#[derive(Clone, Debug)]
pub(super) struct Chain {
    /// Probability of each state at the first frame.
    pub(super) initial: Vec<f64>,
    /// Minimum duration in frames, at least 1.
    pub(super) min_frames: Vec<usize>,
    /// Probability of staying one frame more, once the minimum duration is over.
    pub(super) stay: Vec<f64>,
    /// Where a state leads when it is left: rows sum to 1, the diagonal is 0.
    pub(super) next: Vec<Vec<f64>>,
}

impl Chain {
    /// Number of states, at most [`MOST_STATES`].
    pub(super) fn states(&self) -> usize {
        self.initial.len()
    }

    /// Probabilities of staying in a state and of leaving it, where leaving is `odds` times as probable as usual, but no more
    /// probable than [`MOST_LEAVE`] for it.
    fn stay_or_leave(&self, state: usize, odds: f64) -> (f64, f64) {
        let (stay, leave) = (self.stay[state], 1.0 - self.stay[state]);
        if odds == 1.0 {
            return (stay, leave);
        }
        let leave = (leave * odds).min(leave.max(MOST_LEAVE));
        (1.0 - leave, leave)
    }

    fn min_frames(&self, state: usize) -> usize {
        self.min_frames[state].max(1)
    }
}

/// Probabilities of what a state may do from one frame to the next, for each of `N` states; states that the chain lacks do
/// nothing.
#[derive(Clone, Copy)]
struct Transitions<const N: usize> {
    stay: [f64; N],
    /// From each state (row) to each other one.
    leave: [[f64; N]; N],
    /// The same with rows for where to.
    enter: [[f64; N]; N],
}

impl<const N: usize> Transitions<N> {
    fn new(chain: &Chain, odds: f64) -> Self {
        let mut transitions = Self { stay: [0.0; N], leave: [[0.0; N]; N], enter: [[0.0; N]; N] };
        for k in 0..chain.states() {
            let (stay, leave) = chain.stay_or_leave(k, odds);
            transitions.stay[k] = stay;
            for l in (0..chain.states()).filter(|&l| l != k) {
                transitions.leave[k][l] = leave * chain.next[k][l];
                transitions.enter[l][k] = transitions.leave[k][l];
            }
        }
        transitions
    }

    /// With logs of staying and leaving.
    fn log(mut self) -> Self {
        self.stay = self.stay.map(f64::ln);
        self.leave = self.leave.map(|row| row.map(f64::ln));
        self
    }
}

/// Transitions at each frame: leaving a state just before frame t is `leave_odds[t]` times as probable as usual; as usual where
/// there are no odds.
struct TransitionsByFrame<'a, const N: usize> {
    chain: &'a Chain,
    leave_odds: &'a [f64],
    usual: Transitions<N>,
}

impl<'a, const N: usize> TransitionsByFrame<'a, N> {
    fn new(chain: &'a Chain, leave_odds: &'a [f64]) -> Self {
        Self { chain, leave_odds, usual: Transitions::new(chain, 1.0) }
    }

    /// Those at a frame where they are not the usual ones.
    fn unusual(&self, frame: usize) -> Option<Transitions<N>> {
        let odds = self.leave_odds.get(frame).filter(|odds| **odds != 1.0)?;
        Some(Transitions::new(self.chain, *odds))
    }
}

#[cfg(test)]
mod tests;
