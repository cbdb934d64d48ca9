//! Intervals of confidence of the agreement of bouts: recordings are drawn anew, with what is in them. Bouts and seconds of
//! one recording are not independent, whole recordings are.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::statistics::quantile_of;

use super::Undefined;
use super::bouts::{BOUNDARY_QUANTILES, BoundaryError, OVERLAP_SHARES, Tally, boundary_error_of};
use super::scores::{CONFIDENCE, ConfidenceInterval};

/// How often recordings are drawn, unless said otherwise: our choice, twice the thousand that Efron & Tibshirani (1993, An
/// Introduction to the Bootstrap, chapter 13, from memory) ask for.
pub const RESAMPLES: u32 = 2000;
/// Where the draws begin, unless said otherwise.
pub const SEED: u64 = 1;
/// Fewer recordings than these give no interval: their draws hardly differ. Our choice; intervals of fewer than some 24 clusters
/// are too narrow as well (Flynn & Peters 2004, BMC Health Services Research 4:33).
pub const LEAST_RECORDINGS: usize = 5;

/// How recordings are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Resampling {
    /// How often.
    pub resamples: u32,
    /// Where the draws begin: the same seed gives the same intervals.
    pub seed: u64,
}

impl Default for Resampling {
    fn default() -> Self {
        Self { resamples: RESAMPLES, seed: SEED }
    }
}

/// The interval of each figure, or why there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intervals {
    /// Of the share of time.
    pub accuracy: Result<ConfidenceInterval, Undefined>,
    /// Of kappa.
    pub kappa: Result<ConfidenceInterval, Undefined>,
    /// Of the F1 of all events at each of [`OVERLAP_SHARES`].
    pub f1: [Result<ConfidenceInterval, Undefined>; OVERLAP_SHARES.len()],
    /// Of the boundaries' bias, s.
    pub bias_s: Result<ConfidenceInterval, Undefined>,
    /// Of their median distance, s.
    pub median_s: Result<ConfidenceInterval, Undefined>,
    /// Of the 95th percentile of their distance, s.
    pub p95_s: Result<ConfidenceInterval, Undefined>,
}

/// Figures of one draw: share of time, kappa, F1s, bias, median, 95th percentile.
const FIGURES: usize = 5 + OVERLAP_SHARES.len();

/// Percentile intervals (Efron & Tibshirani 1993, chapter 13) by drawing as many recordings as there are, each with all that is in
/// it (the cluster bootstrap: Field & Welsh 2007, Journal of the Royal Statistical Society B 69:369–390). A figure that a draw
/// leaves undefined has no interval.
pub fn intervals(each: &[&Tally], how: Resampling) -> Intervals {
    let ends = if each.len() < LEAST_RECORDINGS {
        [Err(Undefined::FewRecordings); FIGURES]
    } else {
        let drawn = drawn(each, how);
        std::array::from_fn(|figure| percentiles(drawn.iter().map(|draw| draw[figure])))
    };
    let [accuracy, kappa, bias_s, median_s, p95_s, f1 @ ..] = ends;
    Intervals { accuracy, kappa, f1, bias_s, median_s, p95_s }
}

/// The figures of every draw.
fn drawn(each: &[&Tally], how: Resampling) -> Vec<[Result<f64, Undefined>; FIGURES]> {
    let mut draws = ChaCha8Rng::seed_from_u64(how.seed);
    let boundaries = Boundaries::of(each);
    let mut times = vec![0_u32; each.len()];
    let mut one = || {
        times.fill(0);
        (0..each.len()).for_each(|_| times[draws.random_range(0..each.len())] += 1);
        let mut sum = Tally::default();
        for (tally, times) in each.iter().zip(&times) {
            (0..*times).for_each(|_| sum.add_amounts(tally));
        }
        let error = boundaries.error(&times);
        let of_error = |pick: fn(BoundaryError) -> f64| error.map(pick);
        let f1 = sum.all_events().f1();
        let mut figures = [Err(Undefined::Nothing); FIGURES];
        figures[..5].copy_from_slice(&[
            sum.accuracy(),
            sum.kappa(),
            of_error(|e| e.bias_s),
            of_error(|e| e.median_s),
            of_error(|e| e.p95_s),
        ]);
        figures[5..].copy_from_slice(&f1);
        figures
    };
    (0..how.resamples).map(|_| one()).collect()
}

/// All boundaries' errors, in order of their distance once and for all draws.
struct Boundaries {
    /// Distance, s, and the place of the recording.
    sorted: Vec<(f64, usize)>,
    /// Number and sum of a recording's errors.
    of_each: Vec<(usize, f64)>,
}

impl Boundaries {
    fn of(each: &[&Tally]) -> Self {
        let distances =
            |(at, tally): (usize, &&Tally)| tally.boundaries_s.iter().map(move |s| (s.abs(), at)).collect();
        let mut sorted: Vec<(f64, usize)> =
            each.iter().enumerate().flat_map::<Vec<_>, _>(distances).collect();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let of_each = each.iter().map(|t| (t.boundaries_s.len(), t.boundaries_s.iter().sum())).collect();
        Self { sorted, of_each }
    }

    /// The error where each recording counts so many times.
    fn error(&self, times: &[u32]) -> Result<BoundaryError, Undefined> {
        let of_each = || self.of_each.iter().zip(times);
        let count: usize = of_each().map(|((count, _), times)| count * *times as usize).sum();
        let sum_s: f64 = of_each().map(|((_, sum_s), times)| sum_s * f64::from(*times)).sum();
        let quantiles = BOUNDARY_QUANTILES.map(|share| {
            let mut sorted = self.sorted.iter();
            let (mut distance_s, mut passed) = (0.0, 0);
            quantile_of(count, share, |place| {
                while passed <= place {
                    let Some((s, recording)) = sorted.next() else { break };
                    (distance_s, passed) = (*s, passed + times[*recording] as usize);
                }
                distance_s
            })
        });
        boundary_error_of(count, sum_s, quantiles)
    }
}

/// The ends between which the middle of all values lies.
fn percentiles(
    values: impl Iterator<Item = Result<f64, Undefined>>,
) -> Result<ConfidenceInterval, Undefined> {
    let mut values = values.collect::<Result<Vec<f64>, _>>().map_err(|_| Undefined::InSomeDraws)?;
    values.sort_by(f64::total_cmp);
    let end = |share| crate::statistics::quantile(&values, share).ok_or(Undefined::Nothing);
    Ok(ConfidenceInterval { low: end(0.5 * (1.0 - CONFIDENCE))?, high: end(0.5 * (1.0 + CONFIDENCE))? })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::quantile;

    fn of_errors(errors_s: &[f64]) -> Tally {
        Tally { boundaries_s: errors_s.to_vec(), ..Tally::default() }
    }

    fn intervals_of(all: &[Tally], resamples: u32) -> Intervals {
        intervals(&all.iter().collect::<Vec<_>>(), Resampling { resamples, seed: 3 })
    }

    #[test]
    fn ends_as_all_possible_draws_give_them() {
        // Five recordings of one boundary each: 3125 draws, equally likely, can be listed.
        const ERRORS_S: [f64; 5] = [0.0, 1.0, 2.0, 4.0, 8.0];
        let draw = |n: usize| (0..5).map(move |k| ERRORS_S[n / 5_usize.pow(k) % 5]);
        let mut means: Vec<f64> = (0..3125).map(|n| draw(n).sum::<f64>() / 5.0).collect();
        means.sort_by(f64::total_cmp);
        let expected = [0.025, 0.975].map(|share| quantile(&means, share).unwrap());
        let found = intervals_of(&ERRORS_S.map(|s| of_errors(&[s])), 50_000).bias_s.unwrap();
        assert_eq!([found.low, found.high], expected);
    }

    #[test]
    fn recordings_are_drawn_whole() {
        // Six recordings of a hundred boundaries, all the same within each: the width is that of six values, not of 600.
        let few: Vec<Tally> = (0..6).map(|s| of_errors(&[f64::from(s)])).collect();
        let many: Vec<Tally> = (0..6).map(|s| of_errors(&[f64::from(s); 100])).collect();
        assert_eq!(intervals_of(&few, 500).bias_s, intervals_of(&many, 500).bias_s);
    }

    #[test]
    fn a_draw_is_summed_up_as_its_recordings_would_be() {
        let all = [of_errors(&[0.5, -2.0, 7.0]), of_errors(&[]), of_errors(&[-1.0, 3.5]), of_errors(&[4.0])];
        for times in [[1, 1, 1, 1], [2, 0, 1, 3], [0, 4, 0, 0], [0, 3, 1, 0], [0, 3, 0, 1]] {
            let mut sum = Tally::default();
            for (tally, times) in all.iter().zip(times) {
                (0..times).for_each(|_| sum.add(tally));
            }
            let found = Boundaries::of(&all.iter().collect::<Vec<_>>()).error(&times);
            assert_eq!(found, sum.boundary_error(), "{times:?}");
        }
    }

    #[test]
    fn the_seed_decides_and_few_recordings_have_no_interval() {
        let all: Vec<Tally> = (0..9).map(|s| of_errors(&[f64::from(s * s)])).collect();
        let with = |seed| intervals(&all.iter().collect::<Vec<_>>(), Resampling { resamples: 200, seed });
        assert_eq!(with(1), with(1));
        assert_ne!(with(1).bias_s, with(2).bias_s);
        assert_eq!(with(1).kappa, Err(Undefined::InSomeDraws), "no time is compared");
        assert_eq!(intervals_of(&all[..4], 200).bias_s, Err(Undefined::FewRecordings));
    }
}
