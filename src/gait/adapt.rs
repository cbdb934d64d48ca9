//! Finds the levels of one recording: bounded expectation–maximisation on the chain, for one, two or three levels, and the
//! choice among them.

use super::decode::{Chain, Posterior, forward_backward};
use super::emission::{Bell, Hill, Level, Weights, standing};
use super::observe::{Observed, Stretch};

/// Spread within a level before anything is seen, and how many readings that belief weighs.
const SPEED_SD_MPS: f64 = 0.16;
const CADENCE_SD_SPM: f64 = 4.0;
const PRIOR_READINGS: f64 = 15.0;
const SPEED_SD_RANGE_MPS: (f64, f64) = (0.08, 0.5);
const CADENCE_SD_RANGE_SPM: (f64, f64) = (2.0, 12.0);
/// What a slope does to the speed before anything is seen: between keeping the speed and keeping the cost of the level
/// (Minetti et al. 2002: 5 % uphill costs 1.30 times as much, so 4.6 would keep the cost), and how many square slopes that
/// belief weighs. Our choice.
const USUAL_HILL: Hill = Hill { up: 2.5, down: 0.8 };
const HILL_PRIOR: f64 = 0.02;
/// Slower than this, and without steps, is taken for standing when levels are first guessed.
const MOVING_MPS: f64 = 0.7;
const STEPPING_SPM: f64 = 60.0;
/// Rounds of expectation–maximisation: the levels move less than 0.01 m/s after these.
const ROUNDS: usize = 6;
/// Mean stay in seconds once the least stay is over, and the least stay.
const MEAN_STAY_S: f64 = 120.0;
const LEAST_STAY_S: f64 = 6.0;
const LEAST_STAND_S: f64 = 3.0;

/// Levels that fit a recording. The level after the last is standing.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub(super) levels: Vec<Level>,
    pub(super) weights: Weights,
    pub(super) still_mps: f64,
    pub(super) tick_s: f64,
    /// Level probabilities, a posterior a stretch.
    pub(super) posteriors: Vec<Posterior>,
    /// Log evidence: likelihood less the cost of the levels' freedom.
    pub(super) evidence: f64,
}

impl Fit {
    /// The chain over the levels and standing.
    pub(super) fn chain(&self) -> Chain {
        chain(self.levels.len(), self.tick_s)
    }

    /// Emission table of one stretch.
    pub(super) fn emission(&self, stretch: &Stretch) -> Vec<f64> {
        emission(&self.levels, stretch, self.still_mps, self.weights)
    }
}

fn chain(levels: usize, tick_s: f64) -> Chain {
    let n = levels + 1;
    let ticks = |seconds: f64| ((seconds / tick_s).ceil() as usize).max(1);
    let mut min_ticks = vec![ticks(LEAST_STAY_S); levels];
    min_ticks.push(ticks(LEAST_STAND_S));
    let mut to = vec![vec![1.0 / (n - 1) as f64; n]; n];
    for (k, row) in to.iter_mut().enumerate() {
        row[k] = 0.0;
    }
    // A recording starts on the move: what looks like standing at first is the recorder's speed coming up.
    let mut start = vec![1.0 / n as f64; n];
    start[levels] = 0.01;
    Chain { start, min_ticks, stay: vec![(-tick_s / MEAN_STAY_S).exp(); n], to }
}

fn emission(levels: &[Level], stretch: &Stretch, still_mps: f64, weights: Weights) -> Vec<f64> {
    let mut table = Vec::with_capacity(stretch.ticks() * (levels.len() + 1));
    for ((&v, &c), &slope) in stretch.speed_mps.iter().zip(&stretch.cadence_spm).zip(&stretch.slope) {
        table.extend(levels.iter().map(|level| level.log_density(v, c, slope, weights)));
        table.push(standing(v, c, still_mps, weights));
    }
    table
}

/// Fits `count` moving levels.
pub(super) fn fit(observed: &Observed, count: usize, weights: Weights) -> Option<Fit> {
    let mut levels = first_guess(observed, count)?;
    let chain = chain(count, observed.tick_s);
    let posteriors_of = |levels: &[Level]| -> Vec<Posterior> {
        observed
            .stretches
            .iter()
            .map(|s| forward_backward(&chain, &emission(levels, s, observed.still_mps, weights)))
            .collect()
    };
    let mut posteriors = posteriors_of(&levels);
    for _ in 0..ROUNDS {
        levels = (0..count).map(|l| level_from(observed, &posteriors, l, count, &levels[l])).collect();
        posteriors = posteriors_of(&levels);
    }
    let log_likelihood: f64 = posteriors.iter().map(|p| p.log_likelihood).sum();
    let seen = |pick: fn(&Stretch) -> &Vec<Option<f64>>| {
        observed.stretches.iter().map(|s| pick(s).iter().flatten().count()).sum::<usize>() as f64
    };
    let (speeds, cadences) = (seen(|s| &s.speed_mps), seen(|s| &s.cadence_spm));
    let cost = |n: f64, weight: f64| if n > 0.0 { (n * weight).max(1.0).ln() } else { 0.0 };
    // Schwarz 1978: half the log of the independent readings for each free number, here a mean and a spread a level.
    let evidence =
        log_likelihood - count as f64 * (cost(speeds, weights.speed) + cost(cadences, weights.cadence));
    let mut order: Vec<usize> = (0..count).collect();
    let key = |l: usize| {
        let level: &Level = &levels[l];
        if cadences > 0.0 { level.cadence_spm.mean } else { level.speed_mps.mean }
    };
    order.sort_by(|&a, &b| key(a).total_cmp(&key(b)));
    let mut fit = Fit {
        levels: order.iter().map(|&l| levels[l]).collect(),
        weights,
        still_mps: observed.still_mps,
        tick_s: observed.tick_s,
        posteriors,
        evidence,
    };
    if order.windows(2).any(|w| w[0] > w[1]) {
        fit.posteriors = posteriors_of(&fit.levels);
    }
    Some(fit)
}

/// Readings of a moving person, each averaged with its neighbours within 3 ticks: speed and cadence where there are any.
fn moving_readings(observed: &Observed) -> Vec<(Option<f64>, Option<f64>)> {
    const REACH: usize = 3;
    let mean = |column: &[Option<f64>], at: usize| {
        let (sum, n) = column[at.saturating_sub(REACH)..(at + REACH + 1).min(column.len())]
            .iter()
            .flatten()
            .fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
        (n > 0.0).then(|| sum / n)
    };
    let mut out = Vec::new();
    for stretch in &observed.stretches {
        for at in 0..stretch.ticks() {
            if stretch.speed_mps[at].is_none() && stretch.cadence_spm[at].is_none() {
                continue;
            }
            let (v, c) = (mean(&stretch.speed_mps, at), mean(&stretch.cadence_spm, at));
            let moving = match (v, c) {
                (Some(v), Some(c)) => v > MOVING_MPS || c > STEPPING_SPM && v > 0.5 * MOVING_MPS,
                (Some(v), None) => v > MOVING_MPS,
                (None, Some(c)) => c > STEPPING_SPM,
                (None, None) => false,
            };
            if moving {
                out.push((v, c));
            }
        }
    }
    out
}

/// Levels by k-means on the cadence where most readings have one, else on the speed, started from evenly spaced quantiles:
/// hills and fatigue move the speed, hardly the cadence.
fn first_guess(observed: &Observed, count: usize) -> Option<Vec<Level>> {
    let readings = moving_readings(observed);
    if readings.len() < 5 * count {
        return None;
    }
    let with_cadence = readings.iter().filter(|r| r.1.is_some()).count();
    let speed_scale = if 2 * with_cadence > readings.len() { 0.05 } else { 1.0 };
    let scaled: Vec<[Option<f64>; 2]> = readings
        .iter()
        .map(|(v, c)| [v.map(|v| v * speed_scale), c.map(|c| c / (2.5 * CADENCE_SD_SPM))])
        .collect();
    let quantile = |axis: usize, q: f64| {
        let mut values: Vec<f64> = scaled.iter().filter_map(|r| r[axis]).collect();
        values.sort_by(f64::total_cmp);
        values.get(((values.len() as f64 - 1.0).max(0.0) * q) as usize).copied().unwrap_or(0.0)
    };
    let mut centres: Vec<[f64; 2]> = (0..count)
        .map(|l| {
            let q = (l as f64 + 0.5) / count as f64;
            [quantile(0, q), quantile(1, q)]
        })
        .collect();
    let distance = |reading: &[Option<f64>; 2], centre: &[f64; 2]| -> f64 {
        reading.iter().zip(centre).filter_map(|(r, c)| r.map(|r| (r - c).powi(2))).sum()
    };
    for _ in 0..12 {
        let mut sums = vec![[(0.0, 0.0); 2]; count];
        for reading in &scaled {
            let nearest = (0..count)
                .min_by(|&a, &b| distance(reading, &centres[a]).total_cmp(&distance(reading, &centres[b])))
                .unwrap_or(0);
            for axis in 0..2 {
                if let Some(value) = reading[axis] {
                    sums[nearest][axis].0 += value;
                    sums[nearest][axis].1 += 1.0;
                }
            }
        }
        for (centre, sum) in centres.iter_mut().zip(&sums) {
            for axis in 0..2 {
                if sum[axis].1 > 0.0 {
                    centre[axis] = sum[axis].0 / sum[axis].1;
                }
            }
        }
    }
    Some(
        centres
            .iter()
            .map(|c| Level {
                speed_mps: Bell { mean: c[0] / speed_scale, sd: SPEED_SD_MPS },
                hill: USUAL_HILL,
                cadence_spm: Bell { mean: c[1] * 2.5 * CADENCE_SD_SPM, sd: CADENCE_SD_SPM },
            })
            .collect(),
    )
}

/// A level's mean and spread from the readings, each weighted by the probability that it belongs to the level.
fn level_from(observed: &Observed, posteriors: &[Posterior], l: usize, count: usize, old: &Level) -> Level {
    let (speed_mps, hill) = speed_from(observed, posteriors, l, count, old);
    Level { speed_mps, hill, cadence_spm: cadence_from(observed, posteriors, l, count, old.cadence_spm) }
}

fn cadence_from(observed: &Observed, posteriors: &[Posterior], l: usize, count: usize, old: Bell) -> Bell {
    /// Readings farther off are faults of the recorder and do not move the level.
    const CUT_SPM: f64 = 22.0;
    let (mut n, mut sum, mut square) = (0.0, 0.0, 0.0);
    for (stretch, posterior) in observed.stretches.iter().zip(posteriors) {
        for (t, value) in stretch.cadence_spm.iter().enumerate() {
            let Some(value) = value.filter(|v| (v - old.mean).abs() <= CUT_SPM) else { continue };
            let p = posterior.level[t * (count + 1) + l];
            n += p;
            sum += p * value;
            square += p * value * value;
        }
    }
    if n < 5.0 {
        return old;
    }
    let mean = sum / n;
    let variance = (square / n - mean * mean).max(0.0);
    Bell { mean, sd: blended_sd(variance, n, CADENCE_SD_SPM, CADENCE_SD_RANGE_SPM) }
}

fn blended_sd(variance: f64, n: f64, sd: f64, range: (f64, f64)) -> f64 {
    ((n * variance + PRIOR_READINGS * sd * sd) / (n + PRIOR_READINGS)).sqrt().clamp(range.0, range.1)
}

/// Weighted least squares of the speed on 1, uphill and downhill slope; the hill's effect is held near the usual one as if
/// [`HILL_PRIOR`] square slopes had been seen.
fn speed_from(
    observed: &Observed,
    posteriors: &[Posterior],
    l: usize,
    count: usize,
    old: &Level,
) -> (Bell, Hill) {
    const CUT_MPS: f64 = 0.9;
    let mut a = [[0.0; 3]; 3];
    let mut b = [0.0; 3];
    let mut square = 0.0;
    for (stretch, posterior) in observed.stretches.iter().zip(posteriors) {
        for (t, value) in stretch.speed_mps.iter().enumerate() {
            let slope = stretch.slope[t];
            let expected = old.speed_mps.mean * old.hill.factor(slope);
            let Some(value) = value.filter(|v| (v - expected).abs() <= CUT_MPS) else { continue };
            let p = posterior.level[t * (count + 1) + l];
            let x = [1.0, -slope.max(0.0), (-slope).max(0.0)];
            for i in 0..3 {
                b[i] += p * x[i] * value;
                for j in 0..3 {
                    a[i][j] += p * x[i] * x[j];
                }
            }
            square += p * value * value;
        }
    }
    let n = a[0][0];
    if n < 5.0 {
        return (old.speed_mps, old.hill);
    }
    let usual = [0.0, old.speed_mps.mean * USUAL_HILL.up, old.speed_mps.mean * USUAL_HILL.down];
    let mut held = a;
    let mut target = b;
    for i in 1..3 {
        held[i][i] += HILL_PRIOR;
        target[i] += HILL_PRIOR * usual[i];
    }
    let Some(x) = solve(held, target) else { return (old.speed_mps, old.hill) };
    let mean = x[0].max(0.3);
    let hill = Hill { up: (x[1] / mean).clamp(0.0, 6.0), down: (x[2] / mean).clamp(0.0, 4.0) };
    let x = [mean, hill.up * mean, hill.down * mean];
    let fitted: f64 = (0..3).map(|i| x[i] * (2.0 * b[i] - (0..3).map(|j| a[i][j] * x[j]).sum::<f64>())).sum();
    let variance = ((square - fitted) / n).max(0.0);
    (Bell { mean, sd: blended_sd(variance, n, SPEED_SD_MPS, SPEED_SD_RANGE_MPS) }, hill)
}

/// Solves three linear equations by elimination with pivots; `None` when they do not determine the answer.
fn solve(mut a: [[f64; 3]; 3], mut b: [f64; 3]) -> Option<[f64; 3]> {
    for i in 0..3 {
        let pivot = (i..3).max_by(|&p, &q| a[p][i].abs().total_cmp(&a[q][i].abs()))?;
        if a[pivot][i].abs() < 1e-12 {
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

/// How much a reading counts, from how alike neighbouring residuals are: (1 − ρ)/(1 + ρ) for a first-order autoregressive
/// error (Bayley & Hammersley 1946), within bounds.
pub(super) fn weights_from(observed: &Observed, fit: &Fit) -> Weights {
    let count = fit.levels.len();
    let weight = |pick: fn(&Stretch) -> &Vec<Option<f64>>,
                  mean: fn(&Level, f64) -> f64,
                  bounds: (f64, f64),
                  otherwise: f64| {
        let (mut n, mut now, mut lagged) = (0.0, 0.0, 0.0);
        for (stretch, posterior) in observed.stretches.iter().zip(&fit.posteriors) {
            let residual = |t: usize| {
                let row = &posterior.level[t * (count + 1)..(t + 1) * (count + 1)];
                let l = (0..count).find(|&l| row[l] > 0.95)?;
                Some((l, pick(stretch)[t]? - mean(&fit.levels[l], stretch.slope[t])))
            };
            for t in 1..stretch.ticks() {
                if let (Some((a, before)), Some((b, after))) = (residual(t - 1), residual(t))
                    && a == b
                {
                    n += 1.0;
                    now += 0.5 * (before * before + after * after);
                    lagged += before * after;
                }
            }
        }
        if n < 60.0 || now <= 0.0 {
            return otherwise;
        }
        let rho = (lagged / now).clamp(0.0, 0.99);
        ((1.0 - rho) / (1.0 + rho)).clamp(bounds.0, bounds.1)
    };
    Weights {
        speed: weight(
            |s| &s.speed_mps,
            |l, slope| l.speed_mps.mean * l.hill.factor(slope),
            (0.06, 0.5),
            0.25,
        ),
        cadence: weight(|s| &s.cadence_spm, |l, _| l.cadence_spm.mean, (0.25, 0.6), 0.4),
    }
}
