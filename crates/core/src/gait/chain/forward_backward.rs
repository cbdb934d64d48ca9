//! Probability of each state at each frame, by the forward–backward recursions in the scaled probability domain.

use wide::f64x4;

use super::super::state::Rows;
use super::transitions::{Chain, MOST_STATES, TransitionsByFrame};

/// What forward–backward gives.
#[derive(Clone, Debug, Default)]
pub(in crate::gait) struct Posterior {
    /// Probability of each state, a row a frame.
    pub(in crate::gait) states: Rows,
    /// Log of the probability of all observations.
    pub(in crate::gait) log_likelihood: f64,
}

/// Memory to work in, kept from one call to the next: asking the system for it anew costs more than the work on long recordings.
#[derive(Debug, Default)]
pub(in crate::gait) struct Workspace {
    emission: Vec<f64>,
    window: Vec<f64>,
    held: Vec<f64>,
    entered: Vec<f64>,
    completed: Vec<f64>,
}

/// The workspace for one call, a row a frame.
struct Tables<'a, const N: usize> {
    /// Frames of each state's minimum duration less one.
    lag: [usize; N],
    /// The greatest of them.
    most_lag: usize,
    /// Emission of each frame over the greatest of them.
    emission: &'a mut [[f64; N]],
    /// Product of the emissions of a state's minimum duration, up to each frame.
    window: &'a mut [[f64; N]],
    /// Probability of each state where its minimum duration is over.
    held: &'a mut [[f64; N]],
    /// Probability of entering each state, before its emission. `most_lag` rows of none come before the first frame.
    entered: &'a mut [[f64; N]],
    /// Probability of having completed the minimum duration at a frame, given that the state was entered, and of all that follows;
    /// in `most_lag` rows behind the last frame, of the part of that duration that is there.
    completed: &'a mut [[f64; N]],
}

#[cfg(test)]
impl Workspace {
    /// Memory in which every table has so many cells of a value.
    pub(super) fn full_of(value: f64, cells: usize) -> Self {
        let [emission, window, held, entered, completed] = std::array::from_fn(|_| vec![value; cells]);
        Self { emission, window, held, entered, completed }
    }
}

impl Workspace {
    fn tables<const N: usize>(&mut self, chain: &Chain, frames: usize) -> Tables<'_, N> {
        let mut lag = [0; N];
        (0..chain.states()).for_each(|l| lag[l] = chain.min_frames(l) - 1);
        let most_lag = lag.iter().copied().max().unwrap_or(0);
        let sizes = [
            (&mut self.emission, frames),
            (&mut self.window, frames),
            (&mut self.held, frames),
            (&mut self.entered, most_lag + frames),
            (&mut self.completed, frames + most_lag),
        ];
        // What was there before is written over; the memory only grows, since what is added to it is set to nothing first.
        let [emission, window, held, entered, completed] = sizes.map(|(rows, size)| {
            if rows.len() < size * N {
                rows.resize(size * N, 0.0);
            }
            rows[..size * N].as_chunks_mut::<N>().0
        });
        Tables { lag, most_lag, emission, window, held, entered, completed }
    }
}

/// Forward–backward. `log_emission` has a row of `chain.states()` values a frame. Leaving a state just before frame t is
/// `leave_odds[t]` times as probable as usual; as usual where there are none. The posterior is made anew in the memory that it has.
pub(in crate::gait) fn forward_backward(
    chain: &Chain,
    leave_odds: &[f64],
    log_emission: &Rows,
    workspace: &mut Workspace,
    posterior: &mut Posterior,
) {
    let kernel = match chain.states() {
        0..=2 => forward_backward_of::<2>,
        3 => forward_backward_of::<3>,
        4 => forward_backward_of::<4>,
        5 => forward_backward_of::<5>,
        _ => forward_backward_of::<MOST_STATES>,
    };
    posterior.states.reshape(log_emission.len(), chain.states());
    posterior.log_likelihood = kernel(chain, leave_odds, log_emission, workspace, &mut posterior.states);
}

fn forward_backward_of<const N: usize>(
    chain: &Chain,
    leave_odds: &[f64],
    log_emission: &Rows,
    workspace: &mut Workspace,
    states: &mut Rows,
) -> f64 {
    let frames = log_emission.len();
    if frames == 0 {
        return 0.0;
    }
    let mut tables = workspace.tables::<N>(chain, frames);
    let transitions = TransitionsByFrame::<N>::new(chain, leave_odds);
    let mut log_likelihood = scaled_emission(log_emission, tables.emission);
    windows(&tables.lag, tables.emission, tables.window);
    forward(&transitions, &mut tables, &mut log_likelihood);
    let unfinished = pending(&tables.lag, tables.emission, tables.entered);
    let mut last: [f64; N] = std::array::from_fn(|l| tables.held[frames - 1][l] + unfinished[l]);
    let total = last.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    log_likelihood += total.ln();
    last.iter_mut().for_each(|p| *p /= total);
    backward(&transitions, &mut tables, last, total, states);
    log_likelihood
}

/// When less than this is left of all probability it is scaled up again. Far from where a double loses digits.
const FAINT: f64 = 1e-80;

/// Fills `held` and `entered`, and adds the logs of the scales that are taken out on the way.
fn forward<const N: usize>(
    transitions: &TransitionsByFrame<N>,
    tables: &mut Tables<N>,
    log_likelihood: &mut f64,
) {
    let (lag, most_lag, frames) = (tables.lag, tables.most_lag, tables.emission.len());
    let (emission, window) = (&mut *tables.emission, &mut *tables.window);
    let (held, entered) = (&mut *tables.held, &mut *tables.entered);
    let initial = &transitions.chain.initial;
    held[0] = std::array::from_fn(|l| initial.get(l).map_or(0.0, |p| p * emission[0][l]));
    entered[..=most_lag].fill([0.0; N]);
    for t in 1..frames {
        let unusual = transitions.unusual(t);
        let now = unusual.as_ref().unwrap_or(&transitions.usual);
        let before = held[t - 1];
        entered[most_lag + t] = times(&now.leave, &before);
        let recent = &entered[t..=t + most_lag];
        let arrives: [f64; N] = std::array::from_fn(|l| recent[most_lag - lag[l]][l]);
        let holding: [f64; N] =
            std::array::from_fn(|l| before[l] * (now.stay[l] * emission[t][l]) + arrives[l] * window[t][l]);
        held[t] = holding;
        let total: f64 = holding.iter().sum();
        if total < FAINT {
            let pending = pending(&lag, &emission[..=t], &entered[..=most_lag + t]);
            let scale = (total + pending.iter().sum::<f64>()).max(f64::MIN_POSITIVE);
            *log_likelihood += scale.ln();
            // As if the emission had been so much larger at this frame.
            for row in [&mut held[t], &mut emission[t]] {
                row.iter_mut().for_each(|p| *p /= scale);
            }
            for (later, row) in window[t..].iter_mut().take(most_lag + 1).enumerate() {
                (0..N).filter(|&l| later <= lag[l]).for_each(|l| row[l] /= scale);
            }
        }
    }
}

/// Fills in the probabilities of the states at all frames from those at the `last` one, where `total` was the probability of all.
fn backward<const N: usize>(
    transitions: &TransitionsByFrame<N>,
    tables: &mut Tables<N>,
    last: [f64; N],
    total: f64,
    states: &mut Rows,
) {
    let (lag, most_lag, frames) = (tables.lag, tables.most_lag, tables.emission.len());
    let (emission, window) = (&*tables.emission, &*tables.window);
    let (held, entered, completed) = (&*tables.held, &*tables.entered, &mut *tables.completed);
    for l in 0..N {
        // A duration that the end cuts short counts for what there is of it.
        let mut part = 1.0 / total;
        for back in 1..=lag[l].min(frames) {
            part *= emission[frames - back][l];
            completed[frames + lag[l] - back][l] = part;
        }
    }
    let mut probability = last;
    let mut after = [1.0 / total; N];
    for (t, out) in states.iter_mut().enumerate().rev() {
        for (out, p) in out.iter_mut().zip(&probability) {
            *out = p.clamp(0.0, 1.0);
        }
        if t == 0 {
            break;
        }
        let unusual = transitions.unusual(t);
        let now = unusual.as_ref().unwrap_or(&transitions.usual);
        let (row, before) = (window[t], held[t - 1]);
        completed[t] = std::array::from_fn(|l| row[l] * after[l]);
        let ahead = &completed[t..=t + most_lag];
        let entering: [f64; N] = std::array::from_fn(|l| ahead[lag[l]][l]);
        let leaves = times(&now.enter, &entering);
        let entered = entered[most_lag + t];
        for l in 0..N {
            probability[l] += before[l] * leaves[l] - entered[l] * entering[l];
            after[l] = now.stay[l] * emission[t][l] * after[l] + leaves[l];
        }
    }
}

/// Emissions of each frame over the greatest of them; gives the sum of the logs of the greatest.
fn scaled_emission<const N: usize>(log_emission: &Rows, emission: &mut [[f64; N]]) -> f64 {
    let mut sum = 0.0;
    for (out, row) in emission.iter_mut().zip(log_emission.iter()) {
        let top = row.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        sum += top;
        out[log_emission.width()..].fill(f64::NEG_INFINITY);
        for (e, log) in out.iter_mut().zip(row) {
            *e = log - top;
        }
    }
    // Four at a time. The system's exponential takes as long (197 and 199 ms for 60 recordings of an hour), but has other last
    // digits.
    let (fours, rest) = emission.as_flattened_mut().as_chunks_mut::<4>();
    for four in fours {
        *four = f64x4::new(*four).exp().to_array();
    }
    rest.iter_mut().for_each(|e| *e = e.exp());
    sum
}

/// Product of each state's emissions over its minimum duration, or from the first frame on, up to each frame.
fn windows<const N: usize>(lag: &[usize; N], emission: &[[f64; N]], window: &mut [[f64; N]]) {
    let most_lag = lag.iter().copied().max().unwrap_or(0);
    for (t, out) in window.iter_mut().enumerate() {
        let rows = &emission[t.saturating_sub(most_lag)..=t];
        let mut product = [1.0; N];
        for row in rows {
            (0..N).for_each(|l| product[l] *= row[l]);
        }
        // Most have the longest; the others are done by themselves.
        for l in (0..N).filter(|&l| lag[l] < most_lag) {
            product[l] = rows.iter().rev().take(lag[l] + 1).map(|row| row[l]).product();
        }
        *out = product;
    }
}

/// A matrix (rows first) times a vector from the left: each row by its own factor, summed.
fn times<const N: usize>(matrix: &[[f64; N]; N], factors: &[f64; N]) -> [f64; N] {
    let mut out = [0.0; N];
    for (row, factor) in matrix.iter().zip(factors) {
        (0..N).for_each(|l| out[l] += factor * row[l]);
    }
    out
}

/// Probability of having entered each state but not yet completed its minimum duration at the last frame that is given.
fn pending<const N: usize>(lag: &[usize; N], emission: &[[f64; N]], entered: &[[f64; N]]) -> [f64; N] {
    std::array::from_fn(|l| {
        let mut product = 1.0;
        let since = emission.iter().rev().zip(entered.iter().rev()).take(lag[l]);
        since
            .map(|(emission, entered)| {
                product *= emission[l];
                entered[l] * product
            })
            .sum()
    })
}
