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
mod transitions;
mod viterbi;

pub(super) use forward_backward::{Posterior, Workspace, forward_backward};
pub(super) use transitions::{Chain, MOST_STATES};
pub(super) use viterbi::viterbi;

#[cfg(test)]
mod tests;
