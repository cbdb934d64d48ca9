//! How fast, and with how many steps, a recording's runs and walks go: what a change between them is placed by.

use super::config::figures::STEPPING_SPM;
use super::config::levels::{
    CADENCE_A_SECOND, CADENCE_SD_RANGE_SPM, CADENCE_WEIGHT_RANGE, LEAST_CADENCE_STEP_SPM, LEAST_READINGS,
    SPEED_A_SECOND, SPEED_SD_RANGE_MPS, SPEED_WEIGHT_RANGE, STANDING_CADENCE_SD_SPM, UNSEEN_CADENCE_SPM,
    UNSEEN_SPEED_MPS,
};
use super::gaussian::Gaussian;
use super::observe::{Observed, Segment};
use super::segmentation::Gait;

/// Speed and cadence of a time, with the spread of single readings.
#[derive(Clone, Copy, Debug)]
pub(super) struct Level {
    pub(super) speed_mps: Gaussian,
    pub(super) cadence_spm: Gaussian,
}

/// How much one reading counts, since neighbouring ones share their error: 1 when independent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weights {
    pub(super) speed: f64,
    pub(super) cadence: f64,
}

impl Weights {
    /// By how far readings lie apart.
    pub(super) fn of(observed: &Observed) -> Self {
        let weight =
            |a_second: f64, (least, most): (f64, f64)| (a_second * observed.interval_s).clamp(least, most);
        Self {
            speed: weight(SPEED_A_SECOND, SPEED_WEIGHT_RANGE),
            cadence: weight(CADENCE_A_SECOND, CADENCE_WEIGHT_RANGE),
        }
    }
}

/// The levels of a recording's gaits.
pub(super) struct Levels {
    run: Level,
    walk: Level,
    stand: Level,
}

impl Levels {
    /// Of all frames of each gait.
    pub(super) fn of(observed: &Observed, paths: &[Vec<Gait>]) -> Self {
        let of_gait = |gait: Gait| {
            let mut sums = [Sums::default(); 2];
            for (segment, path) in observed.segments.iter().zip(paths) {
                for (frame, _) in path.iter().enumerate().filter(|(_, own)| **own == gait) {
                    sums[0].add(segment.speed_mps[frame]);
                    sums[1].add(steps(segment.cadence_spm[frame]));
                }
            }
            Level {
                speed_mps: sums[0].gaussian(UNSEEN_SPEED_MPS, SPEED_SD_RANGE_MPS),
                cadence_spm: sums[1].gaussian(UNSEEN_CADENCE_SPM, CADENCE_SD_RANGE_SPM),
            }
        };
        let stand = Level {
            speed_mps: Gaussian { mean: 0.0, sd: observed.standing_sd_mps },
            cadence_spm: Gaussian { mean: 0.0, sd: STANDING_CADENCE_SD_SPM },
        };
        Self { run: of_gait(Gait::Run), walk: of_gait(Gait::Walk), stand }
    }

    /// Whether cadence tells the gaits apart: not where runs have hardly more steps than walks, as when a recorder goes on saying in
    /// one gait what it said in the other, or counts half of the steps.
    pub(super) fn are_told_by_cadence(&self) -> bool {
        self.run.cadence_spm.mean - self.walk.cadence_spm.mean > LEAST_CADENCE_STEP_SPM
    }

    /// The level of a gait.
    pub(super) fn of_gait(&self, gait: Gait) -> Level {
        match gait {
            Gait::Run => self.run,
            Gait::Walk => self.walk,
            Gait::Stand | Gait::Unknown => self.stand,
        }
    }

    /// The level of some frames of one gait: their own means where they have enough readings.
    pub(super) fn of_frames(&self, segment: &Segment, frames: std::ops::Range<usize>, gait: Gait) -> Level {
        let usual = self.of_gait(gait);
        if !matches!(gait, Gait::Run | Gait::Walk) {
            return usual;
        }
        let own = |column: &[Option<f64>], usual: Gaussian, counts: fn(Option<f64>) -> Option<f64>| {
            let mut sums = Sums::default();
            column[frames.clone()].iter().for_each(|value| sums.add(counts(*value)));
            Gaussian { mean: sums.mean().unwrap_or(usual.mean), ..usual }
        };
        Level {
            speed_mps: own(&segment.speed_mps, usual.speed_mps, |speed| speed),
            cadence_spm: own(&segment.cadence_spm, usual.cadence_spm, steps),
        }
    }
}

/// A cadence of someone who moves; what drops out is none.
fn steps(cadence_spm: Option<f64>) -> Option<f64> {
    cadence_spm.filter(|spm| *spm > STEPPING_SPM)
}

#[derive(Clone, Copy, Default)]
struct Sums {
    n: f64,
    sum: f64,
    square: f64,
}

impl Sums {
    fn add(&mut self, value: Option<f64>) {
        if let Some(value) = value {
            self.n += 1.0;
            self.sum += value;
            self.square += value * value;
        }
    }

    fn mean(&self) -> Option<f64> {
        (self.n >= LEAST_READINGS).then(|| self.sum / self.n)
    }

    fn gaussian(&self, unseen: Gaussian, (least, most): (f64, f64)) -> Gaussian {
        self.mean().map_or(unseen, |mean| {
            let sd = (self.square / self.n - mean * mean).max(0.0).sqrt();
            Gaussian { mean, sd: sd.clamp(least, most) }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether cadence tells where a minute is walked and a minute run with so many steps a minute.
    fn is_told(walk_spm: Option<f64>, run_spm: Option<f64>) -> bool {
        let column = |walk: Option<f64>, run: Option<f64>| [[walk; 30], [run; 30]].concat();
        let observed = Observed::made_up(Segment {
            start_s: 0.0,
            end_s: 120.0,
            speed_mps: column(Some(1.5), Some(2.4)),
            cadence_spm: column(walk_spm, run_spm),
            heart_rate_bpm: vec![None; 60],
            slope: vec![0.0; 60],
        });
        Levels::of(&observed, &[[[Gait::Walk; 30], [Gait::Run; 30]].concat()]).are_told_by_cadence()
    }

    #[test]
    fn a_cadence_that_is_the_same_in_both_gaits_tells_nothing() {
        assert!(is_told(Some(115.0), Some(160.0)));
        assert!(is_told(None, Some(160.0)) && is_told(Some(115.0), None));
        assert!(!is_told(Some(160.0), Some(160.0)) && !is_told(Some(115.0), Some(115.0)));
        assert!(!is_told(Some(115.0), Some(80.0)), "half of the steps");
        assert!(!is_told(None, None));
    }
}
