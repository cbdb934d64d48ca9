//! Places a change of gait between samples: a ramp between the means on both sides is slid over the readings around it.

use crate::clean::Series;

use super::config::boundary::{
    DENSE_READINGS, DENSE_S, LEAST_BOUT_S, LEAST_STEP_SD, MOMENT_SD_S, OWN_MEAN_END_S, OWN_MEAN_FAR_S,
    OWN_MEAN_NEAR_S, OWN_MEAN_READINGS, RAMPS_S, SEARCH_S, SHARE_RANGE, STATE_READINGS, STEP_S, STOP_S,
    WINDOW_S,
};
use super::delay::Delays;
use super::gaussian::Gaussian;
use super::levels::{Level, Weights};
use super::side_information::{beep_odds, mark_odds};

/// One side of a boundary.
#[derive(Clone, Copy, Debug)]
pub(super) struct Side {
    /// How far the bout reaches away from the boundary, s.
    pub(super) reach_s: f64,
    /// Speed and cadence of the bout; mean 0 for standing.
    pub(super) level: Level,
}

/// A placed boundary.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Placed {
    pub(super) at_s: f64,
    /// Standard error, s.
    pub(super) error_s: f64,
}

/// By what a boundary is placed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ToldBy {
    /// Cadence where it tells, else speed; and marks and beeps.
    All,
    /// Cadence where it tells, else speed.
    Readings,
    /// Speed alone.
    Speed,
}

/// A column with what it needs to be compared: values, means on both sides, spread, delay and weight of a reading.
struct Signal<'a> {
    column: &'a [Option<f64>],
    before: f64,
    after: f64,
    sd: f64,
    delay_s: f64,
    weight: f64,
}

/// Slides ramps of several lengths and gives mean and spread of the boundary's place over all of them.
pub(super) fn place(
    series: &Series,
    guess_s: f64,
    sides: (Side, Side),
    weights: Weights,
    delays: Delays,
    told_by: ToldBy,
) -> Placed {
    let (left, right) = sides;
    let from_s = guess_s - WINDOW_S.min(left.reach_s);
    let to_s = guess_s + WINDOW_S.min(right.reach_s);
    let reaches_s = (left.reach_s, right.reach_s);
    let speeds = (left.level.speed_mps, right.level.speed_mps);
    let cadences = (left.level.cadence_spm, right.level.cadence_spm);
    let change =
        |signal: Signal| Change::of(series, &signal.with_own_means(series, guess_s, reaches_s), from_s, to_s);
    let by_cadence = || change(Signal::of(series.cadence_spm(), cadences, delays.cadence_s, weights.cadence));
    let by_speed = || change(Signal::of(series.speed_mps(), speeds, delays.speed_s, weights.speed));
    // Speed changes before or after the gait does, and slowly: where cadence changes, it alone tells.
    let changes: Vec<Change> = match told_by {
        ToldBy::Speed => by_speed().into_iter().collect(),
        ToldBy::All | ToldBy::Readings => match by_cadence() {
            Some(change) if change.is_dense() => vec![change],
            change => by_speed().into_iter().chain(change).collect(),
        },
    };
    if changes.is_empty() {
        return Placed { at_s: guess_s, error_s: 0.5 * SEARCH_S };
    }
    let low_s = (guess_s - SEARCH_S).max(guess_s - left.reach_s + LEAST_BOUT_S).min(guess_s);
    let high_s = (guess_s + SEARCH_S).min(guess_s + right.reach_s - LEAST_BOUT_S).max(guess_s);
    let steps = (((high_s - low_s) / STEP_S) as usize).max(1);
    let places: Vec<f64> = (0..=steps).map(|k| low_s + (high_s - low_s) * k as f64 / steps as f64).collect();
    let heard = |at_s: f64| mark_odds(series.marks_s(), at_s) * beep_odds(series.beeps_s(), at_s);
    let marked = places.iter().map(|&at_s| if told_by == ToldBy::All { heard(at_s).ln() } else { 0.0 });
    // Of all lengths at a place, one length behind the other.
    let mut scores: Vec<(f64, f64)> = places.iter().copied().zip(marked).collect();
    scores = scores.repeat(RAMPS_S.len());
    let stops = right.level.speed_mps.mean == 0.0;
    for (ramp_s, scores) in RAMPS_S.iter().zip(scores.chunks_exact_mut(places.len())) {
        for change in &changes {
            change.take_off(*ramp_s, scores);
        }
        if stops {
            scores.iter_mut().for_each(|(at_s, _)| *at_s -= 0.5 * (ramp_s - STOP_S).max(0.0));
        }
    }
    mean_place(guess_s, &scores)
}

/// Mean and spread of places by their scores, which are logs of what each weighs.
fn mean_place(guess_s: f64, scores: &[(f64, f64)]) -> Placed {
    let top = scores.iter().map(|s| s.1).fold(f64::NEG_INFINITY, f64::max);
    let (mut total, mut mean, mut square) = (0.0, 0.0, 0.0);
    for (at_s, score) in scores {
        let p = (score - top).exp();
        total += p;
        mean += p * (at_s - guess_s);
        square += p * (at_s - guess_s).powi(2);
    }
    let mean = mean / total;
    let variance = (square / total - mean * mean).max(0.0);
    Placed { at_s: guess_s + mean, error_s: variance.sqrt().hypot(MOMENT_SD_S) }
}

impl<'a> Signal<'a> {
    /// A change of a column between two levels.
    fn of(column: &'a [Option<f64>], levels: (Gaussian, Gaussian), delay_s: f64, weight: f64) -> Self {
        let (before, after) = levels;
        let sd = before.sd.max(after.sd);
        Self { column, before: before.mean, after: after.mean, sd, delay_s, weight }
    }

    /// With means from the bouts themselves where they are long enough, so that a drift does not shift the boundary.
    fn with_own_means(self, series: &Series, guess_s: f64, reaches_s: (f64, f64)) -> Self {
        let own = |from_s: f64, to_s: f64, state: f64| {
            let range = series.range(from_s + self.delay_s, to_s + self.delay_s);
            let known: Vec<f64> = self.column[range].iter().flatten().copied().collect();
            if known.len() < OWN_MEAN_READINGS || state == 0.0 {
                return state;
            }
            let mean = known.iter().sum::<f64>() / known.len() as f64;
            let n = known.len() as f64 * self.weight;
            (n * mean + STATE_READINGS * state) / (n + STATE_READINGS)
        };
        let far_s = |reach_s: f64| OWN_MEAN_FAR_S.min(reach_s - OWN_MEAN_END_S);
        let before = own(guess_s - far_s(reaches_s.0), guess_s - OWN_MEAN_NEAR_S, self.before);
        let after = own(guess_s + OWN_MEAN_NEAR_S, guess_s + far_s(reaches_s.1), self.after);
        Self { before, after, ..self }
    }
}

/// Readings of one signal around a boundary, as shares of the change from one mean to the other, in order of time.
struct Change {
    time_s: Vec<f64>,
    share: Vec<f64>,
    /// How much each counts.
    weight: f64,
    /// Squares of the shares before each reading, and behind the last.
    none_made: Vec<f64>,
    /// Squares of what is missing from each reading on, and behind the last.
    all_made: Vec<f64>,
}

impl Change {
    /// `None` where the means hardly differ or nothing is read.
    fn of(series: &Series, signal: &Signal, from_s: f64, to_s: f64) -> Option<Self> {
        let step = signal.after - signal.before;
        let scale = step.abs() / signal.sd;
        if scale < LEAST_STEP_SD {
            return None;
        }
        let readings = series.range(from_s + signal.delay_s, to_s + signal.delay_s).filter_map(|i| {
            let share = ((signal.column[i]? - signal.before) / step).clamp(SHARE_RANGE.0, SHARE_RANGE.1);
            Some((series.time_s()[i] - signal.delay_s, share))
        });
        let (time_s, share): (Vec<f64>, Vec<f64>) = readings.unzip();
        if share.is_empty() {
            return None;
        }
        Some(Self::new(time_s, share, scale * scale * signal.weight))
    }

    /// Whether readings come often enough, on both sides, to place the change by them alone.
    fn is_dense(&self) -> bool {
        let (Some(first_s), Some(last_s)) = (self.time_s.first(), self.time_s.last()) else { return false };
        self.time_s.len() as f64 >= DENSE_READINGS && last_s - first_s <= DENSE_S * self.time_s.len() as f64
    }

    fn new(time_s: Vec<f64>, share: Vec<f64>, weight: f64) -> Self {
        let none_made = sums(share.iter().map(|s| s * s));
        let mut all_made = sums(share.iter().rev().map(|s| (1.0 - s) * (1.0 - s)));
        all_made.reverse();
        Self { time_s, share, weight, none_made, all_made }
    }

    /// Takes off each score half the weighted squares of what a ramp leaves of the readings; with each score stands the middle
    /// of the ramp, in order of time.
    fn take_off(&self, ramp_s: f64, scores: &mut [(f64, f64)]) {
        let mut from = 0;
        for (at_s, score) in scores {
            while self.time_s.get(from).is_some_and(|&t| t <= *at_s - 0.5 * ramp_s) {
                from += 1;
            }
            let readings = self.time_s[from..].iter().zip(&self.share[from..]);
            let on_ramp = readings.take_while(|(time_s, _)| **time_s < *at_s + 0.5 * ramp_s);
            let (left, to) = on_ramp.fold((0.0, from), |(sum, next), (time_s, share)| {
                let left = share - ((time_s - *at_s) / ramp_s + 0.5);
                (sum + left * left, next + 1)
            });
            *score -= 0.5 * self.weight * (self.none_made[from] + left + self.all_made[to]);
        }
    }
}

/// Sums of what comes before each value, and of all.
fn sums(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let so_far = values.scan(0.0, |sum, value| {
        *sum += value;
        Some(*sum)
    });
    std::iter::once(0.0).chain(so_far).collect()
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::*;

    #[test]
    fn misfits_are_the_squares_of_what_the_ramp_leaves() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        for round in 0..200 {
            let mut time_s: Vec<f64> = (0..round % 30).map(|_| rng.random_range(-14.0..14.0)).collect();
            time_s.sort_by(f64::total_cmp);
            let share: Vec<f64> = time_s.iter().map(|_| rng.random_range(-1.0..2.0)).collect();
            let change = Change::new(time_s.clone(), share.clone(), 0.7);
            let places: Vec<f64> = (-16..=16).map(|k| 0.5 * f64::from(k)).collect();
            for ramp_s in RAMPS_S {
                let mut scores: Vec<(f64, f64)> = places.iter().map(|at_s| (*at_s, 1.0)).collect();
                change.take_off(ramp_s, &mut scores);
                for (at_s, score) in scores {
                    let misfit = |(time_s, share): (&f64, &f64)| {
                        let made = ((time_s - at_s) / ramp_s + 0.5).clamp(0.0, 1.0);
                        0.7 * (share - made).powi(2)
                    };
                    let expected = 1.0 - 0.5 * time_s.iter().zip(&share).map(misfit).sum::<f64>();
                    assert!((score - expected).abs() < 1e-9, "{score} {expected}");
                }
            }
        }
    }
}
