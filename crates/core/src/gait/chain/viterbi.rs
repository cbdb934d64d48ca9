//! The single most probable sequence of states (Viterbi), in the log domain.

use super::super::state::Rows;
use super::transitions::{Chain, MOST_STATES, Transitions, TransitionsByFrame};

/// Less likely than this is the same as this: sums of infinities would not be numbers.
const LEAST_LOG: f64 = -1e6;

/// The most probable state at each frame. `log_emission` has a row of `chain.states()` values a frame. Leaving a state just
/// before frame t is `leave_odds[t]` times as probable as usual; as usual where there are none.
pub(in crate::gait) fn viterbi(chain: &Chain, leave_odds: &[f64], log_emission: &Rows) -> Vec<usize> {
    match chain.states() {
        0..=2 => Trellis::<2>::new(chain, leave_odds, log_emission).best_path(chain),
        3 => Trellis::<3>::new(chain, leave_odds, log_emission).best_path(chain),
        4 => Trellis::<4>::new(chain, leave_odds, log_emission).best_path(chain),
        5 => Trellis::<5>::new(chain, leave_odds, log_emission).best_path(chain),
        _ => Trellis::<MOST_STATES>::new(chain, leave_odds, log_emission).best_path(chain),
    }
}

/// Scores of the best sequences so far.
struct Trellis<const N: usize> {
    /// Sums of the log emissions before each frame, so that those of a minimum duration are one difference.
    sums: Vec<[f64; N]>,
    /// The best score of holding each state at the last frame.
    held: [f64; N],
    /// The best score on entering each state at a frame, before its emission, and from which state.
    entered: Vec<([f64; N], [u8; N])>,
    /// Whether what is held at a frame was held at the one before.
    stayed: Vec<[bool; N]>,
}

impl<const N: usize> Trellis<N> {
    fn new(chain: &Chain, leave_odds: &[f64], log_emission: &Rows) -> Self {
        let (states, frames) = (chain.states(), log_emission.len());
        let transitions = TransitionsByFrame::<N>::new(chain, leave_odds);
        let usual = transitions.usual.log();
        let mut sums = vec![[0.0; N]; frames + 1];
        for (t, row) in log_emission.iter().enumerate() {
            sums[t + 1] =
                std::array::from_fn(|l| sums[t][l] + row.get(l).map_or(0.0, |log| log.max(LEAST_LOG)));
        }
        let mut held = [f64::NEG_INFINITY; N];
        let mut entered = vec![([f64::NEG_INFINITY; N], [0_u8; N]); frames];
        let mut stayed = vec![[false; N]; frames];
        for t in 0..frames {
            if t == 0 {
                (0..states).for_each(|l| held[l] = chain.initial[l].ln() + sums[1][l]);
                continue;
            }
            let unusual = transitions.unusual(t).map(Transitions::log);
            let now = unusual.as_ref().unwrap_or(&usual);
            let (scores, from) = &mut entered[t];
            for k in 0..states {
                for l in 0..states {
                    let score = held[k] + now.leave[k][l];
                    if score > scores[l] {
                        (scores[l], from[l]) = (score, k as u8);
                    }
                }
            }
            for l in 0..states {
                let emitted = |u: usize| sums[t + 1][l] - sums[u][l];
                let stay = held[l] + now.stay[l] + emitted(t);
                let arrive = (t + 1)
                    .checked_sub(chain.min_frames(l))
                    .map_or(f64::NEG_INFINITY, |u| entered[u].0[l] + emitted(u));
                stayed[t][l] = stay >= arrive;
                held[l] = stay.max(arrive);
            }
        }
        Self { sums, held, entered, stayed }
    }

    /// Follows the best sequence back from its end.
    fn best_path(&self, chain: &Chain) -> Vec<usize> {
        let frames = self.stayed.len();
        let mut path = vec![0; frames];
        let (mut state, since) = self.last_state(chain);
        let mut end = frames;
        if since < frames {
            path[since..end].fill(state);
            state = usize::from(self.entered[since].1[state]);
            end = since;
        }
        while end > 0 {
            // The state is held at the frame before `end`.
            let mut held = end - 1;
            while held > 0 && self.stayed[held][state] {
                held -= 1;
            }
            let from = if held == 0 { 0 } else { held + 1 - chain.min_frames(state) };
            path[from..end].fill(state);
            state = usize::from(self.entered[from].1[state]);
            end = from;
        }
        path
    }

    /// The state at the last frame and the frame at which it was entered too late to be held; the number of frames where it is
    /// held.
    fn last_state(&self, chain: &Chain) -> (usize, usize) {
        let frames = self.stayed.len();
        let mut best = (f64::NEG_INFINITY, 0, frames);
        for l in 0..chain.states() {
            let late = (frames + 1).saturating_sub(chain.min_frames(l)).max(1)..frames;
            let unfinished =
                late.map(|u| (self.entered[u].0[l] + self.sums[frames][l] - self.sums[u][l], l, u));
            for option in std::iter::once((self.held[l], l, frames)).chain(unfinished) {
                if option.0 > best.0 {
                    best = option;
                }
            }
        }
        (best.1, best.2)
    }
}
