//! Finds the levels of one recording: bounded expectation–maximisation on the chain, for one, two or three levels, and the
//! choice among them.

use super::decode::{Chain, Posterior, Room, forward_backward};
use super::emission::{Bell, Emitter, Hill, Level, Weights};
use super::observe::{Observed, Stretch};
use super::start;
use crate::clean::sums_over_pairs;

/// Spread within a level before anything is seen, and how many readings that belief weighs.
pub(super) const SPEED_SD_MPS: f64 = 0.16;
pub(super) const CADENCE_SD_SPM: f64 = 4.0;
const PRIOR_READINGS: f64 = 15.0;
const SPEED_SD_RANGE_MPS: (f64, f64) = (0.08, 0.5);
const CADENCE_SD_RANGE_SPM: (f64, f64) = (2.0, 8.0);
/// What a slope does to the speed before anything is seen: between keeping the speed and keeping the cost of the level
/// (Minetti et al. 2002: 5 % uphill costs 1.30 times as much, so 4.6 would keep the cost), and how many square slopes that
/// belief weighs. Our choice.
pub(super) const USUAL_HILL: Hill = Hill { up: 2.5, down: 0.8 };
const HILL_PRIOR: f64 = 0.02;
/// A recording longer than this is long: of it, parts of `PART_S` spread evenly over it and `PARTS_S` together are looked at
/// when its levels are searched and settled. More tells little more of what the levels are. Our choice.
const LONG_S: f64 = 5400.0;
const PARTS_S: f64 = 3600.0;
const PART_S: f64 = 600.0;
/// Most rounds over all of a long recording.
const LATE_ROUNDS: usize = 3;
/// Most rounds of expectation–maximisation, and the gain in log likelihood that is no more worth one.
const ROUNDS: usize = 3;
/// Rounds of the fit that only tells how much readings count.
const FIRST_ROUNDS: usize = 2;
/// What one more level costs beside its numbers. Our choice.
const LEVEL_COST: f64 = 2.0;
const STANDS_STILL: f64 = 1.0;
/// Mean stay in seconds once the least stay is over, and the least stay.
const MEAN_STAY_S: f64 = 80.0;
/// Share of changes that lead to standing.
const TO_STAND: f64 = 0.1;
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
        let mut table = Vec::new();
        Emitter::new(&self.levels, self.still_mps, self.weights).fill(stretch, &mut table);
        table
    }
}

fn chain(levels: usize, tick_s: f64) -> Chain {
    let n = levels + 1;
    let ticks = |seconds: f64| ((seconds / tick_s).ceil() as usize).max(1);
    let mut min_ticks = vec![ticks(LEAST_STAY_S); levels];
    min_ticks.push(ticks(LEAST_STAND_S));
    // From a way of moving to another, seldom to standing; from standing to any.
    let mut to = vec![vec![1.0 / levels as f64; n]; n];
    for (k, row) in to.iter_mut().enumerate().take(levels) {
        let others = levels - 1;
        row.fill(if others > 0 { (1.0 - TO_STAND) / others as f64 } else { 0.0 });
        row[levels] = if others > 0 { TO_STAND } else { 1.0 };
        row[k] = 0.0;
    }
    to[levels][levels] = 0.0;
    // A recording starts on the move: what looks like standing at first is the recorder's speed coming up.
    let mut start = vec![1.0 / n as f64; n];
    start[levels] = 0.01;
    Chain { start, min_ticks, stay: vec![(-tick_s / MEAN_STAY_S).exp(); n], to }
}

/// Looks for the levels of a recording: on all of it or, when it is long, on parts spread evenly over it and then once where
/// the levels of the parts explain the whole worst, so that a level which shows only outside of the parts is found.
pub(super) fn search(observed: &Observed, most: usize) -> Option<Vec<Level>> {
    let parts = parts(observed);
    let looked_at = parts.as_ref().unwrap_or(observed);
    let usual = usual_weights(looked_at);
    let first = [2, 1].into_iter().find_map(|count| start::spaced(looked_at, count))?;
    let first = climb(looked_at, first, usual, FIRST_ROUNDS);
    let weights = weights_from(looked_at, &first, usual);
    let found = best(looked_at, most, weights, first)?;
    if parts.is_none() || found.levels.len() == most {
        return Some(found.levels);
    }
    let whole = climb(observed, found.levels, weights, 1);
    let grown = start::grown(observed, &whole)
        .map(|levels| climb(observed, levels, weights, LATE_ROUNDS))
        .filter(|grown| grown.evidence > whole.evidence);
    Some(grown.unwrap_or(whole).levels)
}

/// Fits one level, then one more, where the fit so far explains worst, as long as the evidence grows, to the most. Two are
/// also looked for from the levels of the `first` fit, if those are two.
fn best(observed: &Observed, most: usize, weights: Weights, first: Fit) -> Option<Fit> {
    let mut last = climb(observed, start::spaced(observed, 1)?, weights, ROUNDS);
    let mut best = last.clone();
    let mut usual =
        Some(first.levels).filter(|two| two.len() == 2).map(|two| climb(observed, two, weights, ROUNDS));
    for count in 2..=most {
        let usual = usual.take_if(|fit| fit.levels.len() == count);
        let known = |levels: &[Level]| usual.as_ref().is_some_and(|usual| are_same(levels, &usual.levels));
        let grown = start::grown(observed, &last)
            .and_then(|levels| climb_unless(observed, levels, weights, ROUNDS, known));
        let fits = usual.into_iter().chain(grown);
        let Some(next) = fits.max_by(|a, b| a.evidence.total_cmp(&b.evidence)) else { break };
        if next.evidence > best.evidence {
            best = next.clone();
        } else if count > 2 {
            break;
        }
        last = next;
    }
    Some(best)
}

/// Takes levels found on a coarser grid over to this one: weights from its own residuals, and a few more rounds.
pub(super) fn settle(observed: &Observed, levels: Vec<Level>) -> Fit {
    let parts = parts(observed);
    let looked_at = parts.as_ref().unwrap_or(observed);
    let usual = usual_weights(looked_at);
    let first = climb(looked_at, levels, usual, 0);
    let weights = weights_from(looked_at, &first, usual);
    // One step of the levels is enough: more would follow the readings' wandering error.
    let settled = climb(looked_at, stepped(looked_at, &first.posteriors, &first.levels), weights, 0);
    if parts.is_some() { climb(observed, settled.levels, weights, 0) } else { settled }
}

/// Parts of a long recording; `None` of one that is not.
fn parts(observed: &Observed) -> Option<Observed> {
    (observed.seconds() > LONG_S).then(|| observed.parts(PARTS_S, PART_S))
}

/// Expectation–maximisation from one start, until the likelihood stands still.
fn climb(observed: &Observed, levels: Vec<Level>, weights: Weights, rounds: usize) -> Fit {
    climb_unless(observed, levels, weights, rounds, |_| false).expect("goes on to the end")
}

/// [`climb`] that is given up, with `None`, when the levels of a round are `known`.
fn climb_unless(
    observed: &Observed,
    mut levels: Vec<Level>,
    weights: Weights,
    rounds: usize,
    known: impl Fn(&[Level]) -> bool,
) -> Option<Fit> {
    let count = levels.len();
    let chain = chain(count, observed.tick_s);
    let mut room = Room::default();
    let mut table = Vec::new();
    let mut posteriors_of = |levels: &[Level]| -> Vec<Posterior> {
        let emitter = Emitter::new(levels, observed.still_mps, weights);
        let mut one = |stretch: &Stretch| {
            emitter.fill(stretch, &mut table);
            forward_backward(&chain, &table, &mut room)
        };
        observed.stretches.iter().map(&mut one).collect()
    };
    let likelihood_of = |posteriors: &[Posterior]| posteriors.iter().map(|p| p.log_likelihood).sum::<f64>();
    let mut posteriors = posteriors_of(&levels);
    for _ in 0..rounds {
        let before = likelihood_of(&posteriors);
        levels = stepped(observed, &posteriors, &levels);
        if known(&levels) {
            return None;
        }
        posteriors = posteriors_of(&levels);
        if (likelihood_of(&posteriors) - before).abs() < STANDS_STILL {
            break;
        }
    }
    let log_likelihood = likelihood_of(&posteriors);
    // Readings of each kind that a level accounts for.
    let held = |l: usize, pick: fn(&Stretch) -> &Vec<Option<f64>>| -> f64 {
        let of = |(stretch, posterior): (&Stretch, &Posterior)| -> f64 {
            let rows = posterior.level.chunks_exact(count + 1);
            pick(stretch).iter().zip(rows).filter(|(value, _)| value.is_some()).map(|(_, row)| row[l]).sum()
        };
        observed.stretches.iter().zip(&posteriors).map(of).sum()
    };
    // Schwarz 1978: half the log of the independent readings for each free number, here a mean and a spread of each kind; the
    // readings are those of the level itself, since only they tell its numbers.
    let cost = |readings: f64, weight: f64| (readings * weight).max(1.0).ln();
    let freedom: f64 = (0..count)
        .map(|l| {
            LEVEL_COST
                + cost(held(l, |s| &s.speed_mps), weights.speed)
                + cost(held(l, |s| &s.cadence_spm), weights.cadence)
        })
        .sum();
    let evidence = log_likelihood - freedom;
    let cadences: usize = observed.stretches.iter().map(|s| s.cadence_spm.iter().flatten().count()).sum();
    let mut order: Vec<usize> = (0..count).collect();
    let key = |l: usize| {
        let level: &Level = &levels[l];
        if cadences > 0 { level.cadence_spm.mean } else { level.speed_mps.mean }
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

/// Whether two sets of levels differ by no more than a step of expectation–maximisation moves them, in whatever order. Our
/// choice.
fn are_same(some: &[Level], others: &[Level]) -> bool {
    let near = |a: &Level, b: &Level| {
        (a.speed_mps.mean - b.speed_mps.mean).abs() < 0.02
            && (a.cadence_spm.mean - b.cadence_spm.mean).abs() < 0.7
            && (a.speed_mps.sd / b.speed_mps.sd).ln().abs() < 0.15
            && (a.cadence_spm.sd / b.cadence_spm.sd).ln().abs() < 0.15
    };
    some.len() == others.len() && some.iter().all(|a| others.iter().any(|b| near(a, b)))
}

/// The maximising half of a round: levels from the readings, each weighted by the probability that it belongs to them.
fn stepped(observed: &Observed, posteriors: &[Posterior], levels: &[Level]) -> Vec<Level> {
    let mut sums: Vec<(&Level, SpeedSums, CadenceSums)> =
        levels.iter().map(|level| (level, SpeedSums::default(), CadenceSums::default())).collect();
    for (stretch, posterior) in observed.stretches.iter().zip(posteriors) {
        let readings = stretch.speed_mps.iter().zip(&stretch.cadence_spm).zip(&stretch.slope);
        for (row, ((speed, cadence), &slope)) in posterior.level.chunks_exact(levels.len() + 1).zip(readings)
        {
            for (p, (level, of_speed, of_cadence)) in row.iter().zip(&mut sums) {
                if let Some(speed) = *speed {
                    of_speed.add(level, *p, speed, slope);
                }
                if let Some(cadence) = *cadence {
                    of_cadence.add(level, *p, cadence);
                }
            }
        }
    }
    let level = |(old, speed, cadence): (&Level, SpeedSums, CadenceSums)| {
        let (speed_mps, hill) = speed.fitted(old);
        Level { speed_mps, hill, cadence_spm: cadence.fitted(old.cadence_spm) }
    };
    sums.into_iter().map(level).collect()
}

/// What a level's cadences sum up to.
#[derive(Default)]
struct CadenceSums {
    n: f64,
    sum: f64,
    square: f64,
}

impl CadenceSums {
    fn add(&mut self, old: &Level, p: f64, value: f64) {
        /// Readings farther off are faults of the recorder and do not move the level.
        const CUT_SPM: f64 = 22.0;
        if (value - old.cadence_spm.mean).abs() <= CUT_SPM {
            self.n += p;
            self.sum += p * value;
            self.square += p * value * value;
        }
    }

    fn fitted(&self, old: Bell) -> Bell {
        if self.n < 5.0 {
            return old;
        }
        let mean = self.sum / self.n;
        let variance = (self.square / self.n - mean * mean).max(0.0);
        Bell { mean, sd: blended_sd(variance, self.n, CADENCE_SD_SPM, CADENCE_SD_RANGE_SPM) }
    }
}

fn blended_sd(variance: f64, n: f64, sd: f64, range: (f64, f64)) -> f64 {
    ((n * variance + PRIOR_READINGS * sd * sd) / (n + PRIOR_READINGS)).sqrt().clamp(range.0, range.1)
}

/// What a level's speeds sum up to: weighted least squares on 1, uphill and downhill slope.
#[derive(Default)]
struct SpeedSums {
    a: [[f64; 3]; 3],
    b: [f64; 3],
    square: f64,
}

impl SpeedSums {
    fn add(&mut self, old: &Level, p: f64, value: f64, slope: f64) {
        const CUT_MPS: f64 = 0.9;
        if (value - old.speed_mps.mean * old.hill.factor(slope)).abs() > CUT_MPS {
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

    /// The hill's effect is held near the usual one as if [`HILL_PRIOR`] square slopes had been seen.
    fn fitted(&self, old: &Level) -> (Bell, Hill) {
        let Self { mut a, b, square } = *self;
        (a[1][0], a[2][0]) = (a[0][1], a[0][2]);
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
        let fitted: f64 =
            (0..3).map(|i| x[i] * (2.0 * b[i] - (0..3).map(|j| a[i][j] * x[j]).sum::<f64>())).sum();
        let variance = ((square - fitted) / n).max(0.0);
        (Bell { mean, sd: blended_sd(variance, n, SPEED_SD_MPS, SPEED_SD_RANGE_MPS) }, hill)
    }
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

/// Weights before residuals are known: an error that lasts some 5 s makes a reading a second count a fifth, and one every 5 s
/// nearly whole. Our choice.
fn usual_weights(observed: &Observed) -> Weights {
    let ticks: usize = observed.stretches.iter().map(Stretch::ticks).sum();
    let seen: usize = observed.stretches.iter().map(|s| s.speed_mps.iter().flatten().count()).sum();
    let interval_s = observed.tick_s * ticks as f64 / seen.max(1) as f64;
    Weights { speed: (0.2 * interval_s).clamp(0.2, 0.8), cadence: (0.4 * interval_s).clamp(0.4, 0.6) }
}

/// How much a reading counts: 1 / (1 + 2 Σ ρ(k)) with ρ(k) the autocorrelation of the residuals at a lag of k ticks, summed
/// until it is lost in noise (the integrated autocorrelation time, Sokal 1997). For a first-order autoregressive error that is
/// (1 − ρ)/(1 + ρ).
fn weights_from(observed: &Observed, fit: &Fit, usual: Weights) -> Weights {
    let speed =
        Residual { values: |s| &s.speed_mps, mean: |l, slope| l.speed_mps.mean * l.hill.factor(slope) };
    let cadence = Residual { values: |s| &s.cadence_spm, mean: |l, _| l.cadence_spm.mean };
    Weights {
        speed: speed.weight(observed, fit).map_or(usual.speed, |w| w.clamp(0.07, 0.9)),
        cadence: cadence.weight(observed, fit).map_or(usual.cadence, |w| w.clamp(0.25, 0.6)),
    }
}

/// What is left of a column when its level is taken away.
struct Residual {
    values: fn(&Stretch) -> &Vec<Option<f64>>,
    mean: fn(&Level, f64) -> f64,
}

impl Residual {
    fn weight(&self, observed: &Observed, fit: &Fit) -> Option<f64> {
        const LAGS: usize = 12;
        const LOST: f64 = 0.1;
        let width = fit.levels.len() + 1;
        // Sums of products at each lag, and how many.
        let mut products = [(0.0, 0.0); LAGS + 1];
        for (stretch, posterior) in observed.stretches.iter().zip(&fit.posteriors) {
            // Of what belongs to no level, the level is no number, and so never the same.
            let residuals: Vec<(f64, f64)> = (self.values)(stretch)
                .iter()
                .zip(posterior.level.chunks_exact(width))
                .zip(&stretch.slope)
                .map(|((value, row), &slope)| {
                    let level = row[..width - 1].iter().position(|p| *p > 0.9);
                    level.zip(*value).map_or((f64::NAN, 0.0), |(l, value)| {
                        (l as f64, value - (self.mean)(&fit.levels[l], slope))
                    })
                })
                .collect();
            for (lag, sum) in products.iter_mut().enumerate().take(residuals.len()) {
                let later = &residuals[lag..];
                let [product, n] = sums_over_pairs(&residuals, later, |(l, now), (later_l, later)| {
                    if l == later_l { [now * later, 1.0] } else { [0.0, 0.0] }
                });
                *sum = (sum.0 + product, sum.1 + n);
            }
        }
        let variance = products[0].0 / products[0].1;
        if products[0].1 < 40.0 || variance <= 0.0 {
            return None;
        }
        let mut total = 1.0;
        for &(sum, n) in &products[1..] {
            if n < 15.0 {
                continue;
            }
            let rho = sum / n / variance;
            if rho < LOST {
                break;
            }
            // Sparse sampling leaves few readings with a partner at this lag.
            total += 2.0 * rho * n / products[0].1;
        }
        Some(1.0 / total)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hours of walking at a reading a second, with a run of two minutes that starts at `run_at`.
    fn walk_with_a_run(hours: usize, run_at: usize) -> Observed {
        let running = |t: usize| (run_at..run_at + 120).contains(&t);
        // A wandering error of 0.1 m/s.
        let wander = |t: usize| 0.14 * (t as f64 / 7.0).sin();
        let ticks = 3600 * hours;
        let stretch = Stretch {
            start_s: 0.0,
            end_s: ticks as f64 - 1.0,
            speed_mps: (0..ticks).map(|t| Some(if running(t) { 2.5 } else { 1.5 } + wander(t))).collect(),
            cadence_spm: vec![None; ticks],
            slope: vec![0.0; ticks],
        };
        Observed {
            tick_s: 1.0,
            stretches: vec![stretch],
            speed_delay_s: 0.0,
            cadence_delay_s: 0.0,
            still_mps: 0.25,
            delay_known: true,
        }
    }

    #[test]
    fn a_long_recording_is_searched_on_an_hour_of_parts() {
        assert!(parts(&walk_with_a_run(1, 0)).is_none());
        for hours in [2, 5, 24] {
            let parts = parts(&walk_with_a_run(hours, 0)).unwrap();
            assert_eq!(parts.seconds(), PARTS_S, "{hours} h");
            assert!(parts.stretches.windows(2).all(|w| w[0].end_s <= w[1].start_s));
        }
    }

    #[test]
    fn a_short_run_outside_of_the_parts_is_found() {
        let observed = walk_with_a_run(6, 4000);
        let parts = parts(&observed).unwrap();
        assert!(
            parts.stretches.iter().all(|s| s.end_s < 4000.0 || s.start_s > 4120.0),
            "the run is in a part"
        );
        let levels = search(&observed.coarser(3), 4).unwrap();
        assert!(levels.iter().any(|l| (l.speed_mps.mean - 2.5).abs() < 0.1), "{levels:?}");
        let levels = settle(&observed, levels).levels;
        assert!(levels.iter().any(|l| (l.speed_mps.mean - 2.5).abs() < 0.1), "{levels:?}");
    }
}
