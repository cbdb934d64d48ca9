//! Which gait each level is: published ranges of walking and running, and how levels of one person differ.

use super::emission::{Bell, Level};

/// What is known of walkers and runners before a recording is seen. Sources in `docs/method.md`, "What is known beforehand".
struct Known {
    /// Cadence of the gait over people: the published switch lies at 135 to 140 steps/min.
    walk_cadence_spm: Bell,
    run_cadence_spm: Bell,
    /// Speed over people where there is no cadence: the published switch lies at 1.9 to 2.0 m/s.
    walk_speed_mps: Bell,
    run_speed_mps: Bell,
    /// Walking speed at a given cadence: 102 steps/min at 1.17 m/s (3 METs), 129 at 1.9 m/s (6 METs).
    walk_speed_slope: f64,
    walk_speed_spread_mps: f64,
    /// By how much one person's jog and walk differ.
    speed_step_mps: Bell,
    cadence_step_spm: Bell,
    /// By how much two levels of one gait differ.
    same_speed_step_mps: f64,
    same_cadence_step_spm: f64,
    /// Share of the change between two levels that is made within a few seconds: nearly all when the gait changes (in one
    /// step: Segers et al. 2007), about half when a hill or fatigue changes the speed.
    sharp: Bell,
    gradual: Bell,
    /// Odds that neighbouring levels are walk and run rather than one gait: this tool reads run-walk sessions.
    switch_odds: f64,
}

const KNOWN: Known = Known {
    walk_cadence_spm: Bell { mean: 114.0, sd: 9.5 },
    run_cadence_spm: Bell { mean: 161.0, sd: 9.5 },
    walk_speed_mps: Bell { mean: 1.55, sd: 0.25 },
    run_speed_mps: Bell { mean: 2.5, sd: 0.42 },
    walk_speed_slope: 0.027,
    walk_speed_spread_mps: 0.25,
    speed_step_mps: Bell { mean: 0.8, sd: 0.4 },
    cadence_step_spm: Bell { mean: 42.0, sd: 13.0 },
    same_speed_step_mps: 0.25,
    same_cadence_step_spm: 6.0,
    sharp: Bell { mean: 0.9, sd: 0.25 },
    gradual: Bell { mean: 0.45, sd: 0.25 },
    switch_odds: 6.0,
};

/// What is known is put widely, so that it says less than it could: its log odds count this much more, for what is said to be
/// 0.8 certain to be right in 0.8 (temperature scaling, Guo et al. 2017, from memory; set on seeds 5000 to 5059).
const SURENESS: f64 = 1.3;

/// What is seen of a level, for its label.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) level: Level,
    /// Whether readings of that kind are there.
    pub(super) has_speed: bool,
    pub(super) has_cadence: bool,
}

/// Log density of a level's means for a walk (`false`) or run (`true`).
fn log_gait(seen: &Seen, run: bool) -> f64 {
    let speed = seen.level.speed_mps.mean;
    let cadence = seen.level.cadence_spm.mean;
    match (seen.has_cadence, seen.has_speed) {
        (true, has_speed) => {
            let bell = if run { KNOWN.run_cadence_spm } else { KNOWN.walk_cadence_spm };
            // Beyond its mean on the far side from the switch a cadence is no less that gait's.
            let towards = if run { cadence.min(bell.mean) } else { cadence.max(bell.mean) };
            let given = if run {
                KNOWN.run_speed_mps
            } else {
                Bell {
                    mean: 1.17 + KNOWN.walk_speed_slope * (cadence.clamp(80.0, 150.0) - 102.0),
                    sd: KNOWN.walk_speed_spread_mps,
                }
            };
            bell.log(towards) + if has_speed { bounded(given.log(speed)) } else { 0.0 }
        }
        (false, true) => {
            let bell = if run { KNOWN.run_speed_mps } else { KNOWN.walk_speed_mps };
            bell.log(if run { speed.min(bell.mean) } else { speed.max(bell.mean) })
        }
        (false, false) => 0.0,
    }
}

/// Speed may not overrule cadence: alone it tells the gaits apart in little more than half of the cases.
fn bounded(log: f64) -> f64 {
    log.max(-3.0)
}

/// Odd steps happen: a stroll between brisk walks, a sprint between jogs. How far a step may count against a label.
const FURTHEST: f64 = -5.0;

/// Share of the step between two levels that is made within a few seconds, and its standard error.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sharpness {
    pub(super) share: f64,
    pub(super) error: f64,
}

/// Log density of the step between neighbouring levels.
fn log_step(low: &Seen, high: &Seen, sharpness: Option<Sharpness>, switch: bool) -> f64 {
    let half = |sd: f64, step: f64| Bell { mean: 0.0, sd }.log(step) + std::f64::consts::LN_2;
    let mut log = if switch { KNOWN.switch_odds.ln() } else { 0.0 };
    if low.has_cadence && high.has_cadence {
        let step = high.level.cadence_spm.mean - low.level.cadence_spm.mean;
        log +=
            if switch { KNOWN.cadence_step_spm.log(step) } else { half(KNOWN.same_cadence_step_spm, step) }
                .max(FURTHEST);
    } else if low.has_speed && high.has_speed {
        let step = high.level.speed_mps.mean - low.level.speed_mps.mean;
        log += if switch { KNOWN.speed_step_mps.log(step) } else { half(KNOWN.same_speed_step_mps, step) }
            .max(FURTHEST);
    }
    if let (Some(Sharpness { share, error }), false) = (sharpness, low.has_cadence) {
        let bell = if switch { KNOWN.sharp } else { KNOWN.gradual };
        // A share of a small step is lost in the readings' noise, and then it is the same for both.
        let bell = Bell { mean: bell.mean, sd: bell.sd.hypot(error) };
        log += bell.log(share.clamp(KNOWN.gradual.mean, KNOWN.sharp.mean));
    }
    log
}

/// For each level (in order of speed) the probability that it is a run. Labels never fall with speed: the ways to cut the
/// list into walks and runs are weighed against each other. `sharpness[i]` is of the changes between levels i and i + 1.
/// `told[l]` is the log odds that others give to level l being a run.
pub(super) fn run_probabilities(levels: &[Seen], sharpness: &[Option<Sharpness>], told: &[f64]) -> Vec<f64> {
    let n = levels.len();
    let cuts: Vec<f64> = (0..=n)
        .map(|walks| {
            let own: f64 = levels.iter().enumerate().map(|(l, seen)| log_gait(seen, l >= walks)).sum();
            let steps = levels.windows(2).zip(sharpness).enumerate();
            let steps =
                steps.map(|(l, (pair, &sharpness))| log_step(&pair[0], &pair[1], sharpness, l + 1 == walks));
            SURENESS * (own + steps.sum::<f64>()) + told[walks..].iter().sum::<f64>()
        })
        .collect();
    let top = cuts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let odds: Vec<f64> = cuts.iter().map(|log| (log - top).exp()).collect();
    let total: f64 = odds.iter().sum();
    (0..n).map(|l| odds[..=l].iter().sum::<f64>() / total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gait::emission::Hill;

    #[test]
    fn a_sharp_change_speaks_for_a_change_of_gait_unless_noise_hides_it() {
        let seen = |speed_mps: f64| Seen {
            level: Level {
                speed_mps: Bell { mean: speed_mps, sd: 0.16 },
                hill: Hill { up: 2.5, down: 0.8 },
                cadence_spm: Bell { mean: 0.0, sd: 4.0 },
            },
            has_speed: true,
            has_cadence: false,
        };
        let levels = [seen(1.85), seen(2.05)];
        // Walk and run: the faster one is a run, the slower one is not.
        let switch = |sharpness: Option<Sharpness>| {
            let run = run_probabilities(&levels, &[sharpness], &[0.0; 2]);
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
