//! The maximising half of a round of expectation–maximisation: states from the readings, each weighted by the probability that it
//! belongs to them.

use super::chain::Posterior;
use super::config::fit::{
    CADENCE_SD_RANGE_SPM, CADENCE_SD_SPM, CUT_MPS, CUT_SDS, CUT_SPM, LEAST_MEAN_MPS, LEAST_READINGS,
    LEAST_SEEN_SHARE, MOST_DOWN, MOST_UP, PRIOR_READINGS, SLOPE_PRIOR, SPEED_SD_MPS, SPEED_SD_RANGE_MPS,
    UNSEEN_CADENCE_SPM, UNSEEN_SPEED_MPS,
};
use super::gaussian::Gaussian;
use super::moving::{MovingState, Seen, SlopeEffect};
use super::observe::Observed;

/// The states that fit the posteriors best, from the states that gave those.
pub(super) fn m_step(
    observed: &Observed,
    posteriors: &[Posterior],
    states: &[MovingState],
) -> Vec<MovingState> {
    let mut sums: Vec<Sums> = states.iter().map(Sums::of).collect();
    for (segment, posterior) in observed.segments.iter().zip(posteriors) {
        let readings = segment.speed_mps.iter().zip(&segment.cadence_spm).zip(&segment.slope);
        for (row, ((speed, cadence), &slope)) in posterior.states.iter().zip(readings) {
            if speed.is_none() && cadence.is_none() {
                continue;
            }
            // The row's last value is that of standing, which has no sums.
            for (p, sums) in row.iter().zip(&mut sums) {
                sums.frames += p;
                if let Some(speed) = *speed {
                    sums.speed.add(sums.old, *p, speed, slope);
                }
                if let Some(cadence) = *cadence {
                    sums.cadence.add(sums.old, *p, cadence);
                }
            }
        }
    }
    // A channel that is lost in one state alone: the few readings there are its neighbours'.
    let least = |n: fn(&Sums) -> f64| {
        let most = sums.iter().map(|s| n(s) / s.frames.max(1.0)).fold(0.0, f64::max);
        LEAST_SEEN_SHARE * most
    };
    let least = Seen { speeds: least(|s| s.speed.a[0][0]), cadences: least(|s| s.cadence.n) };
    sums.iter().map(|sums| sums.fitted(least)).collect()
}

/// What a state's readings sum up to.
struct Sums<'a> {
    old: &'a MovingState,
    /// Frames with a reading of any kind.
    frames: f64,
    speed: SpeedSums,
    cadence: CadenceSums,
}

impl<'a> Sums<'a> {
    fn of(old: &'a MovingState) -> Self {
        Self { old, frames: 0.0, speed: SpeedSums::default(), cadence: CadenceSums::default() }
    }

    /// The state that fits; `least` is the share of its frames that must have a reading of a kind for that kind to be known.
    fn fitted(&self, least: Seen) -> MovingState {
        let mut new = *self.old;
        let seen = |n: f64, least: f64| n >= LEAST_READINGS && n >= least * self.frames;
        // With hardly a frame of the state here, what was seen in other parts of the recording stays.
        let is_elsewhere = self.frames < LEAST_READINGS;
        let (speeds, cadences) = (self.speed.a[0][0], self.cadence.n);
        if seen(speeds, least.speeds) {
            (new.speed_mps, new.slope_effect) = self.speed.fitted(self.old);
            new.seen.speeds = speeds;
        } else if !is_elsewhere {
            (new.speed_mps, new.seen.speeds) = (UNSEEN_SPEED_MPS, 0.0);
        }
        if seen(cadences, least.cadences) {
            new.cadence_spm = self.cadence.fitted();
            new.seen.cadences = cadences;
        } else if !is_elsewhere {
            (new.cadence_spm, new.seen.cadences) = (UNSEEN_CADENCE_SPM, 0.0);
        }
        new
    }
}

/// What a state's cadences sum up to.
#[derive(Default)]
struct CadenceSums {
    n: f64,
    sum: f64,
    square: f64,
}

impl CadenceSums {
    fn add(&mut self, old: &MovingState, p: f64, value: f64) {
        if (value - old.cadence_spm.mean).abs() <= CUT_SPM.max(CUT_SDS * old.cadence_spm.sd) {
            self.n += p;
            self.sum += p * value;
            self.square += p * value * value;
        }
    }

    fn fitted(&self) -> Gaussian {
        let mean = self.sum / self.n;
        let variance = (self.square / self.n - mean * mean).max(0.0);
        Gaussian { mean, sd: blended_sd(variance, self.n, CADENCE_SD_SPM, CADENCE_SD_RANGE_SPM) }
    }
}

/// A standard deviation drawn to the one `sd` that is believed before anything is seen.
fn blended_sd(variance: f64, n: f64, sd: f64, range: (f64, f64)) -> f64 {
    ((n * variance + PRIOR_READINGS * sd * sd) / (n + PRIOR_READINGS)).sqrt().clamp(range.0, range.1)
}

/// What a state's speeds sum up to: weighted least squares on 1, uphill and downhill slope.
#[derive(Default)]
struct SpeedSums {
    a: [[f64; 3]; 3],
    b: [f64; 3],
    square: f64,
}

impl SpeedSums {
    fn add(&mut self, old: &MovingState, p: f64, value: f64, slope: f64) {
        let cut_mps = CUT_MPS.max(CUT_SDS * old.speed_mps.sd);
        if (value - old.speed_mps.mean * old.slope_effect.factor(slope)).abs() > cut_mps {
            return;
        }
        // A slope goes up or down: the product of the two is always 0.
        let (up, down) = (-slope.max(0.0), (-slope).max(0.0));
        let (p_up, p_down) = (p * up, p * down);
        let (a, b) = (&mut self.a, &mut self.b);
        a[0][0] += p;
        a[0][1] += p_up;
        a[0][2] += p_down;
        a[1][1] += p_up * up;
        a[2][2] += p_down * down;
        b[0] += p * value;
        b[1] += p_up * value;
        b[2] += p_down * value;
        self.square += p * value * value;
    }

    /// The slope's effect is held near the usual one as if [`SLOPE_PRIOR`] square slopes had been seen.
    fn fitted(&self, old: &MovingState) -> (Gaussian, SlopeEffect) {
        let Self { mut a, b, square } = *self;
        (a[1][0], a[2][0]) = (a[0][1], a[0][2]);
        let n = a[0][0];
        let usual =
            [0.0, old.speed_mps.mean * SlopeEffect::USUAL.up, old.speed_mps.mean * SlopeEffect::USUAL.down];
        let mut held = a;
        let mut target = b;
        for i in 1..3 {
            held[i][i] += SLOPE_PRIOR;
            target[i] += SLOPE_PRIOR * usual[i];
        }
        let Some(x) = solve(held, target) else { return (old.speed_mps, old.slope_effect) };
        let mean = x[0].max(LEAST_MEAN_MPS);
        let effect =
            SlopeEffect { up: (x[1] / mean).clamp(0.0, MOST_UP), down: (x[2] / mean).clamp(0.0, MOST_DOWN) };
        let x = [mean, effect.up * mean, effect.down * mean];
        let fitted: f64 =
            (0..3).map(|i| x[i] * (2.0 * b[i] - (0..3).map(|j| a[i][j] * x[j]).sum::<f64>())).sum();
        let variance = ((square - fitted) / n).max(0.0);
        (Gaussian { mean, sd: blended_sd(variance, n, SPEED_SD_MPS, SPEED_SD_RANGE_MPS) }, effect)
    }
}

/// Below this a pivot is taken for 0.
const LEAST_PIVOT: f64 = 1e-12;

/// Solves three linear equations by elimination with pivots; `None` when they do not determine the answer.
fn solve(mut a: [[f64; 3]; 3], mut b: [f64; 3]) -> Option<[f64; 3]> {
    for i in 0..3 {
        let pivot = (i..3).max_by(|&p, &q| a[p][i].abs().total_cmp(&a[q][i].abs()))?;
        if a[pivot][i].abs() < LEAST_PIVOT {
            return None;
        }
        a.swap(i, pivot);
        b.swap(i, pivot);
        for row in i + 1..3 {
            let factor = a[row][i] / a[i][i];
            for column in i..3 {
                a[row][column] -= factor * a[i][column];
            }
            b[row] -= factor * b[i];
        }
    }
    let mut x = [0.0; 3];
    for i in (0..3).rev() {
        x[i] = (b[i] - (i + 1..3).map(|j| a[i][j] * x[j]).sum::<f64>()) / a[i][i];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_equations_are_solved_and_two_are_not() {
        // 2x + y − z = 8, −3x − y + 2z = −11, −2x + y + 2z = −3: x = 2, y = 3, z = −1.
        let a = [[2.0, 1.0, -1.0], [-3.0, -1.0, 2.0], [-2.0, 1.0, 2.0]];
        let x = solve(a, [8.0, -11.0, -3.0]).unwrap();
        for (got, expected) in x.into_iter().zip([2.0, 3.0, -1.0]) {
            assert!((got - expected).abs() < 1e-12, "{x:?}");
        }
        assert_eq!(solve([a[0], a[1], a[0]], [1.0; 3]), None);
    }

    #[test]
    fn a_state_follows_its_speeds_on_the_level_and_on_slopes() {
        let state = MovingState {
            speed_mps: Gaussian { mean: 2.4, sd: 0.16 },
            slope_effect: SlopeEffect::USUAL,
            cadence_spm: Gaussian { mean: 160.0, sd: 4.0 },
            seen: Seen::default(),
        };
        let mut sums = SpeedSums::default();
        // A runner of 2.5 m/s who loses 4 times the slope uphill and gains once the slope downhill.
        for slope in [0.0, 0.05, -0.05, 0.1, -0.1].repeat(400) {
            let factor = 1.0 - 4.0 * f64::max(slope, 0.0) + f64::max(-slope, 0.0);
            sums.add(&state, 1.0, 2.5 * factor, slope);
        }
        // A fault does not count.
        sums.add(&state, 1.0, 9.0, 0.0);
        let (speed_mps, effect) = sums.fitted(&state);
        assert!((speed_mps.mean - 2.5).abs() < 0.01, "{speed_mps:?}");
        assert!((effect.up - 4.0).abs() < 0.05 && (effect.down - 1.0).abs() < 0.05, "{effect:?}");
        assert_eq!(speed_mps.sd, SPEED_SD_RANGE_MPS.0);
    }
}
