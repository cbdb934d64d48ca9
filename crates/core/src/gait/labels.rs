//! Which gait each moving state is: published ranges of walking and running, and how the states of one person differ.

use super::config::prior::{
    CADENCE_STEP_SPM, GRADUAL, INVERSE_TEMPERATURE, LEAST_SPEED_LOG, LEAST_STEP_LOG, RUN_CADENCE_SPM,
    RUN_SPEED_MPS, SAME_GAIT_STEP_MPS, SAME_GAIT_STEP_SPM, SHARP, SPEED_STEP_MPS, SWITCH_ODDS,
    WALK_CADENCE_SPM, WALK_LINE_SD_MPS, WALK_LINE_SPM, WALK_MPS_PER_SPM, WALK_REFERENCE_MPS,
    WALK_REFERENCE_SPM, WALK_SPEED_MPS,
};
use super::emission::{Gaussian, MovingState};
use super::runner::{GaitLaws, Law, RunnerPrior};
use super::sharpness::Sharpness;

/// Which readings a recording has.
#[derive(Clone, Copy, Debug)]
pub(super) struct Channels {
    pub(super) speed: bool,
    pub(super) cadence: bool,
}

/// How someone walks and runs: people in general, or one runner.
struct Laws {
    walk: GaitLaws,
    run: GaitLaws,
    /// By how much the run is faster than the walk, m/s.
    speed_step_mps: Law,
    /// The same of the cadence, steps/min.
    cadence_step_spm: Law,
}

impl Laws {
    const PEOPLE: Self = Self {
        walk: GaitLaws::gaussian(WALK_SPEED_MPS, WALK_CADENCE_SPM),
        run: GaitLaws::gaussian(RUN_SPEED_MPS, RUN_CADENCE_SPM),
        speed_step_mps: Law::gaussian(SPEED_STEP_MPS),
        cadence_step_spm: Law::gaussian(CADENCE_STEP_SPM),
    };

    fn of_runner(runner: &RunnerPrior) -> Self {
        let step = |walk: Law, run: Law| Law {
            mean: run.mean - walk.mean,
            scale: run.scale.hypot(walk.scale),
            freedom: run.freedom.min(walk.freedom),
        };
        let (walk, run) = (runner.walk, runner.run);
        Self {
            walk,
            run,
            speed_step_mps: step(walk.speed_mps, run.speed_mps),
            cadence_step_spm: step(walk.cadence_spm, run.cadence_spm),
        }
    }
}

/// Log density of a state's means for a walk (`false`) or run (`true`).
fn log_gait(state: &MovingState, channels: Channels, laws: &Laws, run: bool) -> f64 {
    let speed = state.speed_mps.mean;
    let cadence = state.cadence_spm.mean;
    let gait = if run { laws.run } else { laws.walk };
    // Beyond its mean on the far side from the switch a value is no less that gait's.
    let towards_switch =
        |value: f64, law: Law| law.log_density(if run { value.min(law.mean) } else { value.max(law.mean) });
    if channels.cadence {
        let by_cadence = towards_switch(cadence, gait.cadence_spm);
        let given_cadence = if run { RUN_SPEED_MPS } else { walking_speed(cadence) };
        let by_speed =
            if channels.speed { given_cadence.log_density(speed).max(LEAST_SPEED_LOG) } else { 0.0 };
        by_cadence + by_speed
    } else if channels.speed {
        towards_switch(speed, gait.speed_mps)
    } else {
        0.0
    }
}

/// Speed of a walk at a cadence, m/s.
fn walking_speed(cadence_spm: f64) -> Gaussian {
    let (least, most) = WALK_LINE_SPM;
    let above = cadence_spm.clamp(least, most) - WALK_REFERENCE_SPM;
    Gaussian { mean: WALK_REFERENCE_MPS + WALK_MPS_PER_SPM * above, sd: WALK_LINE_SD_MPS }
}

/// Log density of the step between neighbouring states: a change of gait (`switch`) or not.
fn log_step(
    low: &MovingState,
    high: &MovingState,
    channels: Channels,
    laws: &Laws,
    sharpness: Option<Sharpness>,
    switch: bool,
) -> f64 {
    // Steps within a gait go up: half a Gaussian, of twice the density.
    let within = |sd: f64, step: f64| Gaussian { mean: 0.0, sd }.log_density(step) + std::f64::consts::LN_2;
    let log = |step: f64, between: Law, sd: f64| {
        if switch { between.log_density(step) } else { within(sd, step) }.max(LEAST_STEP_LOG)
    };
    let mut sum = if switch { SWITCH_ODDS.ln() } else { 0.0 };
    if channels.cadence {
        sum += log(high.cadence_spm.mean - low.cadence_spm.mean, laws.cadence_step_spm, SAME_GAIT_STEP_SPM);
    } else if channels.speed {
        sum += log(high.speed_mps.mean - low.speed_mps.mean, laws.speed_step_mps, SAME_GAIT_STEP_MPS);
    }
    if let (Some(Sharpness { share, error }), false) = (sharpness, channels.cadence) {
        let usual = if switch { SHARP } else { GRADUAL };
        // A share of a small step is lost in the readings' noise, and then it is the same for both.
        let usual = Gaussian { mean: usual.mean, sd: usual.sd.hypot(error) };
        sum += usual.log_density(share.clamp(GRADUAL.mean, SHARP.mean));
    }
    sum
}

/// For each state (in order of cadence or else speed) the probability that it is a run. Labels never fall along that order: the
/// ways to cut the list into walks and then runs are weighed against each other. `sharpness[k]` is of the changes between states
/// k and k + 1. `side_log_odds[k]` is what marks and guesses add to the log odds of state k being a run. What is known of the
/// `runner` holds for the recording as a whole, or it does not and people's laws do: the two are weighed by how well each tells
/// the states.
pub(super) fn run_probabilities(
    states: &[MovingState],
    channels: Channels,
    sharpness: &[Option<Sharpness>],
    side_log_odds: &[f64],
    runner: Option<&RunnerPrior>,
) -> Vec<f64> {
    let n = states.len();
    let mut cuts = log_cuts(states, channels, sharpness, &Laws::PEOPLE);
    if let Some(runner) = runner {
        let own = log_cuts(states, channels, sharpness, &Laws::of_runner(runner));
        cuts = mixed(&cuts, &own, runner.known);
    }
    for (walks, cut) in cuts.iter_mut().enumerate() {
        *cut += side_log_odds[walks..].iter().sum::<f64>();
    }
    let top = cuts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let odds: Vec<f64> = cuts.iter().map(|log| (log - top).exp()).collect();
    let total: f64 = odds.iter().sum();
    (0..n).map(|k| odds[..=k].iter().sum::<f64>() / total).collect()
}

/// Log weight of each cut, from no state a walk to all.
fn log_cuts(
    states: &[MovingState],
    channels: Channels,
    sharpness: &[Option<Sharpness>],
    laws: &Laws,
) -> Vec<f64> {
    let log_cut = |walks: usize| {
        let states_alone = states.iter().enumerate();
        let own: f64 = states_alone.map(|(k, state)| log_gait(state, channels, laws, k >= walks)).sum();
        let pairs = states.windows(2).zip(sharpness).enumerate();
        let steps = pairs.map(|(k, (pair, &sharpness))| {
            log_step(&pair[0], &pair[1], channels, laws, sharpness, k + 1 == walks)
        });
        INVERSE_TEMPERATURE * (own + steps.sum::<f64>())
    };
    (0..=states.len()).map(log_cut).collect()
}

/// Log weights of the cuts where the runner's own laws hold with the probability `known`, else people's. Where people's tell the
/// states clearly better, this is not how this runner moves, and the others' recordings say nothing.
fn mixed(people: &[f64], own: &[f64], known: f64) -> Vec<f64> {
    let all = |cuts: &[f64]| cuts.iter().copied().fold(f64::NEG_INFINITY, log_sum);
    if known.ln() + all(own) < (1.0 - known).ln() + all(people) {
        return people.to_vec();
    }
    let both = people.iter().zip(own);
    both.map(|(people, own)| log_sum((1.0 - known).ln() + people, known.ln() + own)).collect()
}

/// ln(eᵃ + eᵇ).
fn log_sum(a: f64, b: f64) -> f64 {
    let top = a.max(b);
    if top == f64::NEG_INFINITY { top } else { top + ((a - top).exp() + (b - top).exp()).ln() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gait::emission::SlopeEffect;
    use crate::gait::runner::{GaitEvidence, RunnerEvidence};

    fn state(speed_mps: f64, cadence_spm: f64) -> MovingState {
        MovingState {
            speed_mps: Gaussian { mean: speed_mps, sd: 0.16 },
            slope_effect: SlopeEffect { up: 2.5, down: 0.8 },
            cadence_spm: Gaussian { mean: cadence_spm, sd: 4.0 },
        }
    }

    const SPEED_ONLY: Channels = Channels { speed: true, cadence: false };

    /// What `n` recordings tell of a runner.
    fn runner(n: i64, walk_mps: f64, run_mps: f64) -> RunnerPrior {
        let gait = |speed_mps, cadence_spm| GaitEvidence {
            seconds: 600.0,
            certainty: 0.99,
            speed_mps: Some(speed_mps),
            spread_mps: 0.05,
            cadence_spm: Some(cadence_spm),
        };
        let at = |day: i64| jiff::Timestamp::from_second(86_400 * day).unwrap();
        let evidence = |day| RunnerEvidence {
            start: at(day),
            end: at(day),
            has_cadence: true,
            walk: Some(gait(walk_mps, 126.0)),
            run: Some(gait(run_mps, 150.0)),
        };
        let evidence: Vec<RunnerEvidence> = (1..=n).map(evidence).collect();
        RunnerPrior::of(&evidence, at(0), at(0)).unwrap()
    }

    #[test]
    fn a_runner_who_is_known_is_told_where_people_are_not() {
        // A fast walker who jogs slowly: people's laws call both states runs, or do not know.
        let states = [state(1.95, 0.0), state(2.25, 0.0)];
        let run =
            |prior: Option<&RunnerPrior>| run_probabilities(&states, SPEED_ONLY, &[None], &[0.0; 2], prior);
        let alone = run(None);
        assert!(alone[0] > 0.2, "{alone:?}");
        let (two, ten) = (runner(2, 1.93, 2.28), runner(10, 1.93, 2.28));
        let (by_two, by_ten) = (run(Some(&two)), run(Some(&ten)));
        assert!(by_two[0] < 0.1 && by_two[1] > 0.95, "{by_two:?}");
        assert!(by_ten[0] < by_two[0] && by_ten[1] > 0.99, "{by_two:?} {by_ten:?}");
    }

    #[test]
    fn what_the_recording_contradicts_changes_nothing() {
        // The others tell of someone who walks at 1.4 and jogs at 2.9 m/s; here is someone else, or quite another day.
        let states = [state(1.95, 0.0), state(2.25, 0.0)];
        let other = runner(10, 1.4, 2.9);
        let run = |prior| run_probabilities(&states, SPEED_ONLY, &[None], &[0.0; 2], prior);
        assert_eq!(run(Some(&other)), run(None));
    }

    #[test]
    fn clear_cadence_is_not_overruled() {
        // The speeds of this runner's walk with the cadence of a run.
        let channels = Channels { speed: true, cadence: true };
        let states = [state(1.6, 118.0), state(1.95, 158.0)];
        let known = runner(10, 1.93, 2.28);
        let run = run_probabilities(&states, channels, &[None], &[0.0; 2], Some(&known));
        assert!(run[0] < 0.05 && run[1] > 0.95, "{run:?}");
    }

    #[test]
    fn a_sharp_change_speaks_for_a_change_of_gait_unless_noise_hides_it() {
        let states = [state(1.85, 0.0), state(2.05, 0.0)];
        // Walk and run: the faster one is a run, the slower one is not.
        let switch = |sharpness: Option<Sharpness>| {
            let run = run_probabilities(&states, SPEED_ONLY, &[sharpness], &[0.0; 2], None);
            run[1] - run[0]
        };
        let unseen = switch(None);
        let clear = |share: f64| switch(Some(Sharpness { share, error: 0.05 }));
        assert!(clear(0.9) > unseen + 0.05 && clear(0.45) < unseen - 0.05, "{unseen}");
        for share in [-3.0, 0.45, 0.9, 5.0] {
            assert!((switch(Some(Sharpness { share, error: 20.0 })) - unseen).abs() < 1e-3);
        }
    }
}
