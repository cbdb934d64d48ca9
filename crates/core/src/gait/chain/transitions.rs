//! The chain, and what it may do from one frame to the next.

use crate::gait::config::chain::MOST_LEAVE;

/// Most states of a chain.
pub(in crate::gait) const MOST_STATES: usize = 8;

/// The chain: how long states last and where they lead.
#[derive(Clone, Debug)]
pub(in crate::gait) struct Chain {
    /// Probability of each state at the first frame.
    pub(in crate::gait) initial: Vec<f64>,
    /// Minimum duration in frames, at least 1.
    pub(in crate::gait) min_frames: Vec<usize>,
    /// Probability of staying one frame more, once the minimum duration is over.
    pub(in crate::gait) stay: Vec<f64>,
    /// Where a state leads when it is left: rows sum to 1, the diagonal is 0.
    pub(in crate::gait) next: Vec<Vec<f64>>,
}

impl Chain {
    /// Number of states, at most [`MOST_STATES`].
    pub(in crate::gait) fn states(&self) -> usize {
        self.initial.len()
    }

    /// Probabilities of staying in a state and of leaving it, where leaving is `odds` times as probable as usual, but no more
    /// probable than [`MOST_LEAVE`] for it.
    pub(super) fn stay_or_leave(&self, state: usize, odds: f64) -> (f64, f64) {
        let (stay, leave) = (self.stay[state], 1.0 - self.stay[state]);
        if odds == 1.0 {
            return (stay, leave);
        }
        let leave = (leave * odds).min(leave.max(MOST_LEAVE));
        (1.0 - leave, leave)
    }

    pub(super) fn min_frames(&self, state: usize) -> usize {
        self.min_frames[state].max(1)
    }
}

/// Probabilities of what a state may do from one frame to the next, for each of `N` states; states that the chain lacks do
/// nothing.
#[derive(Clone, Copy)]
pub(super) struct Transitions<const N: usize> {
    pub(super) stay: [f64; N],
    /// From each state (row) to each other one.
    pub(super) leave: [[f64; N]; N],
    /// The same with rows for where to.
    pub(super) enter: [[f64; N]; N],
}

impl<const N: usize> Transitions<N> {
    pub(super) fn new(chain: &Chain, odds: f64) -> Self {
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
    pub(super) fn log(mut self) -> Self {
        self.stay = self.stay.map(f64::ln);
        self.leave = self.leave.map(|row| row.map(f64::ln));
        self
    }
}

/// Transitions at each frame: leaving a state just before frame t is `leave_odds[t]` times as probable as usual; as usual where
/// there are no odds.
pub(super) struct TransitionsByFrame<'a, const N: usize> {
    pub(super) chain: &'a Chain,
    pub(super) leave_odds: &'a [f64],
    pub(super) usual: Transitions<N>,
}

impl<'a, const N: usize> TransitionsByFrame<'a, N> {
    pub(super) fn new(chain: &'a Chain, leave_odds: &'a [f64]) -> Self {
        Self { chain, leave_odds, usual: Transitions::new(chain, 1.0) }
    }

    /// Those at a frame where they are not the usual ones.
    pub(super) fn unusual(&self, frame: usize) -> Option<Transitions<N>> {
        let odds = self.leave_odds.get(frame).filter(|odds| **odds != 1.0)?;
        Some(Transitions::new(self.chain, *odds))
    }
}
