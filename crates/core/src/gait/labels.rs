//! Which gait each moving state is: published ranges of walking and running, and how the states of one person differ.
//!
//! A person walks at a usual speed and cadence and runs at others; each state of a gait lies around that gait's usual values, the
//! more widely the more this recording's bouts differ. So every way to call the states walks and runs is weighed as a whole: the
//! usual values are not known beforehand but narrowed by each state in turn (a Gaussian of two, walk and run, updated as by Kalman
//! 1960), and a state is told by what was read in it: by its cadence where it has one, else by its speed, beside the states whose
//! cadence told.

use super::config::fit::LEAST_READINGS;
use super::config::pieces::TRANSITION_MPS;
use super::config::prior::{
    BOUT_SHARES, CADENCE_FAULT, CADENCE_STEP_SD_SPM, CADENCE_TAU_SPM, GRADUAL, INVERSE_TEMPERATURE,
    LEAST_SPEED_LOG, RUN_CADENCE_SPM, RUN_SPEED_MPS, RUN_TAU, SHARP, SPEED_ODD, SPEED_STEP_SD_MPS,
    SWITCH_ODDS, UNSEEN_CADENCE_DENSITY, UNSEEN_SPEED_DENSITY, WALK_CADENCE_SPM, WALK_LINE_SD_MPS,
    WALK_LINE_SPM, WALK_MPS_PER_SPM, WALK_REFERENCE_MPS, WALK_REFERENCE_SPM, WALK_SPEED_MPS, WALK_TAU,
};
use super::gaussian::Gaussian;
use super::moving::{MovingState, Weights};
use super::runner::{Law, RunnerPrior};
use super::sharpness::Sharpness;

/// What is known of the usual value of a walk and of a run: a Gaussian of the two.
#[derive(Clone, Copy, Debug)]
struct Usual {
    /// Walk, run.
    mean: [f64; 2],
    covariance: [[f64; 2]; 2],
}

impl Usual {
    /// Of a walk, a run, and the standard deviation of the step between one person's two.
    fn of(walk: Gaussian, run: Gaussian, step_sd: f64) -> Self {
        let (walk_square, run_square) = (walk.sd * walk.sd, run.sd * run.sd);
        let most = 0.95 * walk.sd * run.sd;
        let shared = (0.5 * (walk_square + run_square - step_sd * step_sd)).clamp(-most, most);
        Self { mean: [walk.mean, run.mean], covariance: [[walk_square, shared], [shared, run_square]] }
    }

    /// Of one runner, whose laws' tails are left to those of people.
    fn of_runner(walk: Law, run: Law) -> Self {
        let variance = |law: Law| {
            law.scale
                * law.scale
                * if law.freedom > 2.0 && law.freedom.is_finite() {
                    law.freedom / (law.freedom - 2.0)
                } else {
                    1.0
                }
        };
        Self { mean: [walk.mean, run.mean], covariance: [[variance(walk), 0.0], [0.0, variance(run)]] }
    }

    /// The usual value of a gait.
    fn gait(&self, run: bool) -> Gaussian {
        let k = usize::from(run);
        Gaussian { mean: self.mean[k], sd: self.covariance[k][k].sqrt() }
    }

    /// Log density of a value of a gait, whose variance around the usual one is `variance`. Beyond the usual value, on the far
    /// side from the other gait, a value is no less that gait's.
    fn log_density(&self, run: bool, value: f64, variance: f64) -> f64 {
        let Gaussian { mean, sd } = self.gait(run);
        let value = if run { value.min(mean) } else { value.max(mean) };
        Gaussian { mean, sd: sd.hypot(variance.sqrt()) }.log_density(value)
    }

    /// Narrowed by a value of a gait. A stroll or a sprint, far on the side away from the other gait, tells little of the usual.
    fn seen(&mut self, run: bool, value: f64, variance: f64) {
        let k = usize::from(run);
        let beyond = if run { value - self.mean[k] } else { self.mean[k] - value };
        let variance = variance + beyond.max(0.0).powi(2);
        let column = [self.covariance[0][k], self.covariance[1][k]];
        let all = column[k] + variance;
        let off = value - self.mean[k];
        for i in 0..2 {
            self.mean[i] += column[i] / all * off;
            for j in 0..2 {
                self.covariance[i][j] -= column[i] * column[j] / all;
            }
        }
    }
}

/// What is known of walking and running before a recording is seen: of people in general, or of one runner.
#[derive(Clone, Copy, Debug)]
struct Known {
    speed_mps: Usual,
    cadence_spm: Usual,
}

impl Known {
    fn of_people() -> Self {
        Self {
            speed_mps: Usual::of(WALK_SPEED_MPS, RUN_SPEED_MPS, SPEED_STEP_SD_MPS),
            cadence_spm: Usual::of(WALK_CADENCE_SPM, RUN_CADENCE_SPM, CADENCE_STEP_SD_SPM),
        }
    }

    fn of_runner(runner: &RunnerPrior) -> Self {
        Self {
            speed_mps: Usual::of_runner(runner.walk.speed_mps, runner.run.speed_mps),
            cadence_spm: Usual::of_runner(runner.walk.cadence_spm, runner.run.cadence_spm),
        }
    }
}

/// What the labels stand on.
pub(super) struct Evidence<'a> {
    pub(super) states: &'a [MovingState],
    pub(super) weights: Weights,
    /// How sharply states change into each other: of the states k < l at k, l.
    pub(super) sharpness: &'a [Vec<Option<Sharpness>>],
    /// What marks and guesses add to the log odds of each state being a run.
    pub(super) side_log_odds: &'a [f64],
}

/// The states' labels.
#[derive(Clone, Debug)]
pub(super) struct Labels {
    /// For each state the probability that it is a run.
    pub(super) run: Vec<f64>,
    /// Where the mean speeds of this person's walks and runs lie on level ground.
    pub(super) walk_mps: Gaussian,
    pub(super) run_mps: Gaussian,
    /// The same of their cadences.
    pub(super) walk_spm: Gaussian,
    /// See [`walk_spm`](Self::walk_spm).
    pub(super) run_spm: Gaussian,
    /// The speed between walks and runs before this recording is seen: that of people, drawn to this runner's own by how much is
    /// known.
    pub(super) transition_mps: f64,
}

/// One way to call the states walks and runs, with one share of the usual differences from bout to bout.
struct Labelling {
    /// Bit k says that state k is a run.
    runs: usize,
    log: f64,
    known: Known,
    share: f64,
}

impl Labelling {
    fn is_run(&self, state: usize) -> bool {
        self.runs >> state & 1 == 1
    }
}

/// Labels the states. What is known of the `runner` holds for the recording as a whole, or it does not and what is known of people
/// does: the two are weighed by how well each tells the states.
pub(super) fn label(evidence: &Evidence, runner: Option<&RunnerPrior>) -> Labels {
    let mut labellings = evidence.labellings(&Known::of_people());
    let mut transition_mps = TRANSITION_MPS;
    if let Some(runner) = runner {
        let own = evidence.labellings(&Known::of_runner(runner));
        let ways = labellings.len();
        labellings = mixed(labellings, own, runner.known);
        if labellings.len() > ways {
            let between_mps = f64::midpoint(runner.walk.speed_mps.mean, runner.run.speed_mps.mean);
            transition_mps += runner.known * (between_mps - TRANSITION_MPS);
        }
    }
    let top = labellings.iter().map(|l| l.log).fold(f64::NEG_INFINITY, f64::max);
    let (mut total, mut run) = (0.0, vec![0.0; evidence.states.len()]);
    for labelling in &labellings {
        let p = (labelling.log - top).exp();
        total += p;
        run.iter_mut().enumerate().filter(|(k, _)| labelling.is_run(*k)).for_each(|(_, sum)| *sum += p);
    }
    run.iter_mut().for_each(|sum| *sum /= total);
    let best = labellings.iter().find(|l| l.log == top);
    let (known, share) = best.map_or((Known::of_people(), 1.0), |l| (l.known, l.share));
    let wider = |usual: Gaussian, tau: f64| Gaussian { sd: usual.sd.hypot(tau), ..usual };
    let of_speed = |run: bool| {
        let usual = known.speed_mps.gait(run);
        wider(usual, tau_mps(run, usual.mean, share))
    };
    let of_cadence = |run: bool| wider(known.cadence_spm.gait(run), CADENCE_TAU_SPM);
    Labels {
        run,
        walk_mps: of_speed(false),
        run_mps: of_speed(true),
        walk_spm: of_cadence(false),
        run_spm: of_cadence(true),
        transition_mps,
    }
}

/// Standard deviation from bout to bout of one gait.
fn tau_mps(run: bool, usual_mps: f64, share: f64) -> f64 {
    share * usual_mps * if run { RUN_TAU } else { WALK_TAU }
}

impl Evidence<'_> {
    fn labellings(&self, known: &Known) -> Vec<Labelling> {
        let ways = 1_usize << self.states.len();
        let shares = BOUT_SHARES.iter();
        shares.flat_map(|&share| (0..ways).map(move |runs| self.labelling(known, runs, share))).collect()
    }

    /// Log weight of a way to call the states.
    fn labelling(&self, known: &Known, runs: usize, share: f64) -> Labelling {
        let mut way = Labelling { runs, log: 0.0, known: *known, share };
        let has_cadence = |state: &MovingState| state.seen.cadences >= LEAST_READINGS;
        for (k, state) in self.states.iter().enumerate().filter(|(_, state)| has_cadence(state)) {
            way.log += self.by_cadence(state, way.is_run(k), &mut way.known.cadence_spm);
            way.log += self.by_speed_beside_cadence(state, way.is_run(k), share, &mut way.known.speed_mps);
        }
        for (k, state) in self.states.iter().enumerate().filter(|(_, state)| !has_cadence(state)) {
            way.log += self.by_speed(state, way.is_run(k), share, &mut way.known.speed_mps);
        }
        if runs != 0 && runs + 1 != 1 << self.states.len() {
            way.log += SWITCH_ODDS.ln();
        }
        way.log += self.by_sharpness(&way);
        way.log *= INVERSE_TEMPERATURE;
        way.log +=
            (0..self.states.len()).filter(|k| way.is_run(*k)).map(|k| self.side_log_odds[k]).sum::<f64>();
        way
    }

    /// What a state's cadence says. A recorder may hold or invent one, the sooner the fewer readings there are.
    fn by_cadence(&self, state: &MovingState, run: bool, usual: &mut Usual) -> f64 {
        let n = state.seen.cadences * self.weights.cadence;
        let Gaussian { mean, sd } = state.cadence_spm;
        let variance = CADENCE_TAU_SPM * CADENCE_TAU_SPM + sd * sd / n;
        let fault = (CADENCE_FAULT + 1.0 / (1.0 + n).powi(2)).min(0.5);
        let told = (1.0 - fault).ln() + usual.log_density(run, mean, variance);
        let invented = fault.ln() + UNSEEN_CADENCE_DENSITY.ln();
        if told > invented {
            usual.seen(run, mean, variance);
        }
        log_sum(told, invented)
    }

    /// What a state's speed adds where its cadence is known: a walk's speed goes with its cadence.
    fn by_speed_beside_cadence(&self, state: &MovingState, run: bool, share: f64, usual: &mut Usual) -> f64 {
        if state.seen.speeds < LEAST_READINGS {
            return 0.0;
        }
        let mean = state.speed_mps.mean;
        let law = if run { RUN_SPEED_MPS } else { walking_speed(state.cadence_spm.mean) };
        usual.seen(run, mean, self.variance(state, run, share, usual));
        law.log_density(mean).max(LEAST_SPEED_LOG)
    }

    /// What a state's speed says where nothing else does. Odd things happen: a stroll between brisk walks, a sprint between jogs.
    fn by_speed(&self, state: &MovingState, run: bool, share: f64, usual: &mut Usual) -> f64 {
        if state.seen.speeds < LEAST_READINGS {
            return 0.0;
        }
        let mean = state.speed_mps.mean;
        let variance = self.variance(state, run, share, usual);
        let told = (1.0 - SPEED_ODD).ln() + usual.log_density(run, mean, variance);
        let odd = SPEED_ODD.ln() + UNSEEN_SPEED_DENSITY.ln();
        if told > odd {
            usual.seen(run, mean, variance);
        }
        log_sum(told, odd)
    }

    /// Variance of a state's mean speed around its gait's usual one.
    fn variance(&self, state: &MovingState, run: bool, share: f64, usual: &Usual) -> f64 {
        let n = state.seen.speeds * self.weights.speed;
        tau_mps(run, usual.gait(run).mean, share).powi(2) + state.speed_mps.sd * state.speed_mps.sd / n
    }

    /// What the changes between states say, where they do not share a cadence: gaits change in one step.
    fn by_sharpness(&self, way: &Labelling) -> f64 {
        let log = |k: usize, l: usize, seen: Sharpness| {
            let usual = if way.is_run(k) == way.is_run(l) { GRADUAL } else { SHARP };
            // A share of a small step is lost in the readings' noise, and then it is the same for both.
            let usual = Gaussian { mean: usual.mean, sd: usual.sd.hypot(seen.error) };
            usual.log_density(seen.share.clamp(GRADUAL.mean, SHARP.mean))
        };
        let pairs = self.sharpness.iter().enumerate();
        pairs
            .flat_map(|(k, row)| row.iter().enumerate().map(move |(l, seen)| (k, l, seen)))
            .filter_map(|(k, l, seen)| seen.map(|seen| log(k, l, seen)))
            .sum()
    }
}

/// Speed of a walk at a cadence, m/s.
pub(super) fn walking_speed(cadence_spm: f64) -> Gaussian {
    let (least, most) = WALK_LINE_SPM;
    let above = cadence_spm.clamp(least, most) - WALK_REFERENCE_SPM;
    Gaussian { mean: WALK_REFERENCE_MPS + WALK_MPS_PER_SPM * above, sd: WALK_LINE_SD_MPS }
}

/// The ways to call the states where the runner's own laws hold with the probability `known`, else people's. Where people's tell
/// the states clearly better, this is not how this runner moves, and the others' recordings say nothing.
fn mixed(mut people: Vec<Labelling>, mut own: Vec<Labelling>, known: f64) -> Vec<Labelling> {
    let all = |ways: &[Labelling]| ways.iter().map(|way| way.log).fold(f64::NEG_INFINITY, log_sum);
    if known.ln() + all(&own) < (1.0 - known).ln() + all(&people) {
        return people;
    }
    people.iter_mut().for_each(|way| way.log += (1.0 - known).ln());
    own.iter_mut().for_each(|way| way.log += known.ln());
    people.extend(own);
    people
}

/// ln(eᵃ + eᵇ).
fn log_sum(a: f64, b: f64) -> f64 {
    let top = a.max(b);
    if top == f64::NEG_INFINITY { top } else { top + ((a - top).exp() + (b - top).exp()).ln() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gait::moving::{Seen, SlopeEffect};
    use crate::gait::runner::RunnerEvidence;

    fn state(speed_mps: f64, cadence_spm: Option<f64>) -> MovingState {
        MovingState {
            speed_mps: Gaussian { mean: speed_mps, sd: 0.16 },
            slope_effect: SlopeEffect { up: 2.5, down: 0.8 },
            cadence_spm: Gaussian { mean: cadence_spm.unwrap_or(137.5), sd: 4.0 },
            seen: Seen { speeds: 300.0, cadences: if cadence_spm.is_some() { 300.0 } else { 0.0 } },
        }
    }

    fn labelled(states: &[MovingState], sharpness: &[Vec<Option<Sharpness>>]) -> Vec<f64> {
        known(states, sharpness, None)
    }

    fn known(
        states: &[MovingState],
        sharpness: &[Vec<Option<Sharpness>>],
        runner: Option<&RunnerPrior>,
    ) -> Vec<f64> {
        let weights = Weights { speed: 0.2, cadence: 0.4 };
        label(&Evidence { states, weights, sharpness, side_log_odds: &vec![0.0; states.len()] }, runner).run
    }

    /// What `n` recordings tell of a runner.
    fn runner(n: i64, walk_mps: f64, run_mps: f64) -> RunnerPrior {
        let evidence: Vec<RunnerEvidence> =
            (1..=n).map(|day| RunnerEvidence::made_up(day, (walk_mps, 126.0), (run_mps, 150.0))).collect();
        let asked = RunnerEvidence::made_up(0, (walk_mps, 126.0), (run_mps, 150.0));
        RunnerPrior::of(&evidence, asked.start, asked.end).unwrap()
    }

    #[test]
    fn a_runner_who_is_known_is_told_where_people_are_not() {
        // A fast walker who jogs slowly: people's laws call both states runs, or do not know.
        let states = [state(1.95, None), state(2.25, None)];
        let run = |prior: Option<&RunnerPrior>| known(&states, &[], prior);
        let alone = run(None);
        assert!(alone[0] > 0.2, "{alone:?}");
        let (two, ten) = (runner(2, 1.93, 2.28), runner(10, 1.93, 2.28));
        let (by_two, by_ten) = (run(Some(&two)), run(Some(&ten)));
        assert!(by_two[0] < alone[0] && by_two[1] > 0.9, "{by_two:?}");
        assert!(by_ten[0] < by_two[0] && by_ten[1] > 0.95, "{by_two:?} {by_ten:?}");
    }

    #[test]
    fn what_the_recording_contradicts_changes_nothing() {
        // The others tell of someone who walks at 1.4 and jogs at 2.9 m/s; here is someone else, or quite another day.
        let states = [state(1.95, None), state(2.25, None)];
        let other = runner(10, 1.4, 2.9);
        assert_eq!(known(&states, &[], Some(&other)), known(&states, &[], None));
    }

    #[test]
    fn clear_cadence_is_not_overruled() {
        // The speeds of this runner's walk with the cadence of a run.
        let states = [state(1.6, Some(118.0)), state(1.95, Some(158.0))];
        let run = known(&states, &[], Some(&runner(10, 1.93, 2.28)));
        assert!(run[0] < 0.05 && run[1] > 0.95, "{run:?}");
    }

    #[test]
    fn a_sharp_change_speaks_for_a_change_of_gait_unless_noise_hides_it() {
        let states = [state(1.75, None), state(2.1, None)];
        // Walk and run: the faster one is a run, the slower one is not.
        let switch = |sharpness: Option<Sharpness>| {
            let run = labelled(&states, &[vec![None, sharpness], vec![None, None]]);
            run[1] - run[0]
        };
        let unseen = switch(None);
        let clear = |share: f64| switch(Some(Sharpness { share, error: 0.05 }));
        assert!(clear(0.9) > unseen + 0.03 && clear(0.45) < unseen - 0.03, "{unseen} {}", clear(0.9));
        for share in [-3.0, 0.45, 0.9, 5.0] {
            assert!((switch(Some(Sharpness { share, error: 20.0 })) - unseen).abs() < 1e-3);
        }
    }

    #[test]
    fn a_state_without_cadence_is_told_beside_those_with_one() {
        for (states, runs) in [
            ([state(1.55, Some(114.0)), state(2.4, None)], [false, true]),
            ([state(1.55, None), state(2.4, Some(160.0))], [false, true]),
            // Slow and fast: a jog at a walk's speed, a walk at a jog's.
            ([state(1.75, Some(155.0)), state(1.2, None)], [true, false]),
            ([state(2.1, Some(125.0)), state(2.9, None)], [false, true]),
        ] {
            let run = labelled(&states, &[]);
            assert!(
                run.iter().zip(runs).all(|(p, run)| (*p > 0.8) == run && (*p < 0.2) != run),
                "{run:?} {runs:?}"
            );
        }
    }

    #[test]
    fn a_speed_that_contradicts_the_cadence_leaves_doubt() {
        let run = labelled(&[state(1.5, Some(114.0)), state(2.4, Some(114.0))], &[]);
        assert!(run[0] < 0.05 && run[1] > 0.1, "{run:?}");
    }

    #[test]
    fn usual_values_are_narrowed_as_by_hand() {
        // Independent prior N(0, 1) and N(10, 1), a run of 8 with variance 1: mean 9, variance 1/2; the walk stays.
        let mut usual = Usual { mean: [0.0, 10.0], covariance: [[1.0, 0.0], [0.0, 1.0]] };
        usual.seen(true, 8.0, 1.0);
        assert_eq!((usual.mean, usual.covariance), ([0.0, 9.0], [[1.0, 0.0], [0.0, 0.5]]));
        // A step of 10 that is known exactly: the walk follows.
        let mut tied = Usual { mean: [0.0, 10.0], covariance: [[1.0, 1.0], [1.0, 1.0]] };
        tied.seen(true, 8.0, 1.0);
        assert_eq!(tied.mean, [-1.0, 9.0]);
        // As far beyond as 3: a variance of 1 + 9 beside that of 1.
        let mut beyond = Usual { mean: [0.0, 10.0], covariance: [[1.0, 0.0], [0.0, 1.0]] };
        beyond.seen(true, 13.0, 1.0);
        assert_eq!(beyond.mean, [0.0, 10.0 + 3.0 / 11.0]);
    }
}
