//! Finds the moving states of one recording: bounded expectation–maximisation on the chain, for one, two and more states, and
//! the choice among them.

use super::chain::{Chain, Posterior, Workspace, forward_backward};
use super::config::fit::{
    CONVERGENCE_TOLERANCE, FIRST_ROUNDS, LATE_ROUNDS, LEAST_READINGS, LONG_S, PART_S, PARTS_S, ROUNDS,
    SAME_LOG_SD, SAME_MPS, SAME_SPM, STATE_COST,
};
use super::emission::Emitter;
use super::fit::{Fit, chain};
use super::initial;
use super::m_step::m_step;
use super::moving::{MovingState, Weights};
use super::observe::{Observed, Segment};
use super::state::{Rows, split_row};
use super::weights::{from_residuals, usual};

/// Looks for the states of a recording: on all of it or, when it is long, on parts spread evenly over it and then once where
/// the states of the parts explain the whole worst, so that a state which shows only outside of the parts is found.
pub(super) fn search(observed: &Observed, most: usize) -> Option<Vec<MovingState>> {
    let parts = parts(observed);
    let looked_at = parts.as_ref().unwrap_or(observed);
    let usual = usual(looked_at);
    let memory = &mut Memory::default();
    let first = [2, 1].into_iter().find_map(|count| initial::from_quantiles(looked_at, count))?;
    let first = em(looked_at, first, usual, FIRST_ROUNDS, memory);
    let weights = from_residuals(looked_at, &first, usual);
    let found = best(looked_at, most, weights, first, memory)?;
    if parts.is_none() || found.states.len() == most {
        return Some(found.states);
    }
    let whole = em(observed, found.states, weights, 1, memory);
    let more = initial::split(observed, &whole)
        .map(|states| em(observed, states, weights, LATE_ROUNDS, memory))
        .filter(|more| more.bic_score > whole.bic_score);
    Some(more.unwrap_or(whole).states)
}

/// Fits one state, then one more, where the fit so far explains worst, as long as the score grows, to the most. Two are also
/// looked for from the states of the `first` fit, if those are two.
fn best(observed: &Observed, most: usize, weights: Weights, first: Fit, memory: &mut Memory) -> Option<Fit> {
    // Each has a state more than the one before it; a second state may explain nothing better, and a third after it does.
    let mut fits = vec![em(observed, initial::from_quantiles(observed, 1)?, weights, ROUNDS, memory)];
    let mut best = 0;
    let pair = Some(first.states).filter(|two| two.len() == 2);
    let mut pair = pair.map(|two| em(observed, two, weights, ROUNDS, memory));
    for count in 2..=most {
        let pair = pair.take_if(|fit| fit.states.len() == count);
        let known = |states: &[MovingState]| pair.as_ref().is_some_and(|pair| are_same(states, &pair.states));
        let more = initial::split(observed, fits.last()?)
            .and_then(|states| em_unless(observed, states, weights, ROUNDS, memory, known));
        let found = pair.into_iter().chain(more);
        let Some(next) = found.max_by(|a, b| a.bic_score.total_cmp(&b.bic_score)) else { break };
        if next.bic_score > fits[best].bic_score {
            best = fits.len();
        } else if count > 2 {
            break;
        }
        fits.push(next);
    }
    let mut best = fits.swap_remove(best);
    // Where everything is explained middlingly nothing stands out: the widest state may be two.
    while best.states.len() < most {
        let halved = em(observed, initial::halved(observed, &best)?, weights, ROUNDS, memory);
        if halved.bic_score <= best.bic_score {
            break;
        }
        best = halved;
    }
    Some(best)
}

/// Takes states found on a coarser grid over to this one: weights from its own residuals, and one step of the states.
pub(super) fn refine(observed: &Observed, states: Vec<MovingState>) -> Fit {
    let parts = parts(observed);
    let looked_at = parts.as_ref().unwrap_or(observed);
    let usual = usual(looked_at);
    let memory = &mut Memory::default();
    let first = em(looked_at, states, usual, 0, memory);
    let weights = from_residuals(looked_at, &first, usual);
    // One step is enough: more would follow the readings' wandering error.
    let refined = em(looked_at, m_step(looked_at, &first.posteriors, &first.states), weights, 0, memory);
    if parts.is_some() { em(observed, refined.states, weights, 0, memory) } else { refined }
}

/// Parts of a long recording; `None` of one that is not.
fn parts(observed: &Observed) -> Option<Observed> {
    (observed.seconds() > LONG_S).then(|| observed.parts(PARTS_S, PART_S))
}

/// Expectation–maximisation from one start, until the likelihood stands still.
fn em(
    observed: &Observed,
    states: Vec<MovingState>,
    weights: Weights,
    rounds: usize,
    memory: &mut Memory,
) -> Fit {
    let mut run = Em::start(observed, states, weights, memory);
    for _ in 0..rounds {
        run.maximise();
        if run.expect().abs() < CONVERGENCE_TOLERANCE {
            break;
        }
    }
    run.into_fit()
}

/// [`em`] that is given up, with `None`, when the states of a round are `known`.
fn em_unless(
    observed: &Observed,
    states: Vec<MovingState>,
    weights: Weights,
    rounds: usize,
    memory: &mut Memory,
    known: impl Fn(&[MovingState]) -> bool,
) -> Option<Fit> {
    let mut run = Em::start(observed, states, weights, memory);
    for _ in 0..rounds {
        run.maximise();
        if known(&run.states) {
            return None;
        }
        if run.expect().abs() < CONVERGENCE_TOLERANCE {
            break;
        }
    }
    Some(run.into_fit())
}

/// Memory to work in, kept from one run to the next.
#[derive(Default)]
struct Memory {
    workspace: Workspace,
    table: Rows,
}

/// Expectation–maximisation under way.
struct Em<'a> {
    observed: &'a Observed,
    weights: Weights,
    chain: Chain,
    states: Vec<MovingState>,
    posteriors: Vec<Posterior>,
    memory: &'a mut Memory,
}

impl<'a> Em<'a> {
    fn start(
        observed: &'a Observed,
        states: Vec<MovingState>,
        weights: Weights,
        memory: &'a mut Memory,
    ) -> Self {
        let mut run = Self {
            observed,
            weights,
            chain: chain(states.len(), observed),
            posteriors: vec![Posterior::default(); observed.segments.len()],
            memory,
            states,
        };
        run.expect();
        run
    }

    /// The expecting half of a round: posteriors from the states. Gives what the log likelihood gained.
    fn expect(&mut self) -> f64 {
        let before = self.log_likelihood();
        let emitter = Emitter::new(&self.states, self.observed.standing_sd_mps, self.weights);
        let Memory { workspace, table } = &mut *self.memory;
        for (segment, posterior) in self.observed.segments.iter().zip(&mut self.posteriors) {
            emitter.fill(segment, table);
            forward_backward(&self.chain, &[], table, workspace, posterior);
        }
        self.log_likelihood() - before
    }

    /// The maximising half: states from the posteriors.
    fn maximise(&mut self) {
        self.states = m_step(self.observed, &self.posteriors, &self.states);
    }

    fn log_likelihood(&self) -> f64 {
        self.posteriors.iter().map(|p| p.log_likelihood).sum()
    }

    /// What the states' free parameters cost: half the log of the independent readings for each (Schwarz 1978), here a mean and
    /// a spread of each kind. The readings are those that the state itself accounts for, since only they tell its parameters.
    fn cost(&self) -> f64 {
        let held = |l: usize, pick: fn(&Segment) -> &Vec<Option<f64>>| -> f64 {
            let of = |(segment, posterior): (&Segment, &Posterior)| -> f64 {
                let rows = posterior.states.iter().map(|row| split_row(row).0);
                pick(segment)
                    .iter()
                    .zip(rows)
                    .filter(|(value, _)| value.is_some())
                    .map(|(_, row)| row[l])
                    .sum()
            };
            self.observed.segments.iter().zip(&self.posteriors).map(of).sum()
        };
        let cost = |readings: f64, weight: f64| (readings * weight).max(1.0).ln();
        (0..self.states.len())
            .map(|l| {
                STATE_COST
                    + cost(held(l, |s| &s.speed_mps), self.weights.speed)
                    + cost(held(l, |s| &s.cadence_spm), self.weights.cadence)
            })
            .sum()
    }

    /// The fit, its states in order of cadence where each has one, else of speed.
    fn into_fit(mut self) -> Fit {
        let bic_score = self.log_likelihood() - self.cost();
        let has_cadence = self.states.iter().all(|state| state.seen.cadences >= LEAST_READINGS);
        let key = |state: &MovingState| {
            if has_cadence { state.cadence_spm.mean } else { state.speed_mps.mean }
        };
        // The chain is the same for all moving states, so their order is only that of the columns.
        let mut order: Vec<usize> = (0..self.states.len()).collect();
        order.sort_by(|&a, &b| key(&self.states[a]).total_cmp(&key(&self.states[b])));
        if !order.is_sorted() {
            self.states = order.iter().map(|&l| self.states[l]).collect();
            self.posteriors.iter_mut().for_each(|posterior| posterior.states.reorder(&order));
        }
        Fit {
            states: self.states,
            weights: self.weights,
            standing_sd_mps: self.observed.standing_sd_mps,
            posteriors: self.posteriors,
            bic_score,
        }
    }
}

/// Whether two sets of states differ by no more than a step of expectation–maximisation moves them, in whatever order.
fn are_same(some: &[MovingState], others: &[MovingState]) -> bool {
    let near = |a: &MovingState, b: &MovingState| {
        (a.speed_mps.mean - b.speed_mps.mean).abs() < SAME_MPS
            && (a.cadence_spm.mean - b.cadence_spm.mean).abs() < SAME_SPM
            && (a.speed_mps.sd / b.speed_mps.sd).ln().abs() < SAME_LOG_SD
            && (a.cadence_spm.sd / b.cadence_spm.sd).ln().abs() < SAME_LOG_SD
    };
    some.len() == others.len() && some.iter().all(|a| others.iter().any(|b| near(a, b)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gait::config::chain::MEAN_REMAINING_BY_SPEED_S;
    use crate::gait::config::grid::SEARCH_FRAMES;
    use crate::gait::delay::Delays;

    /// Hours of walking at a reading a second, with a run of two minutes that starts at `run_at`.
    fn walk_with_a_run(hours: usize, run_at: usize) -> Observed {
        let running = |t: usize| (run_at..run_at + 120).contains(&t);
        // A wandering error of 0.1 m/s.
        let wander = |t: usize| 0.14 * (t as f64 / 7.0).sin();
        let frames = 3600 * hours;
        let segment = Segment {
            start_s: 0.0,
            end_s: frames as f64 - 1.0,
            speed_mps: (0..frames).map(|t| Some(if running(t) { 2.5 } else { 1.5 } + wander(t))).collect(),
            cadence_spm: vec![None; frames],
            slope: vec![0.0; frames],
        };
        Observed {
            frame_s: 1.0,
            segments: vec![segment],
            delays: Delays { speed_s: 0.0, cadence_s: 0.0, known: true },
            standing_sd_mps: 0.25,
            remaining_s: MEAN_REMAINING_BY_SPEED_S,
        }
    }

    #[test]
    fn a_long_recording_is_searched_on_an_hour_of_parts() {
        assert!(parts(&walk_with_a_run(1, 0)).is_none());
        for hours in [2, 5, 24] {
            let parts = parts(&walk_with_a_run(hours, 0)).unwrap();
            assert_eq!(parts.seconds(), PARTS_S, "{hours} h");
            assert!(parts.segments.windows(2).all(|w| w[0].end_s <= w[1].start_s));
        }
    }

    #[test]
    fn a_short_run_outside_of_the_parts_is_found() {
        let observed = walk_with_a_run(6, 4000);
        let parts = parts(&observed).unwrap();
        assert!(
            parts.segments.iter().all(|s| s.end_s < 4000.0 || s.start_s > 4120.0),
            "the run is in a part"
        );
        let states = search(&observed.coarser(SEARCH_FRAMES), 4).unwrap();
        assert!(states.iter().any(|l| (l.speed_mps.mean - 2.5).abs() < 0.1), "{states:?}");
        let states = refine(&observed, states).states;
        assert!(states.iter().any(|l| (l.speed_mps.mean - 2.5).abs() < 0.1), "{states:?}");
    }
}
