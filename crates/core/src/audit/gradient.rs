//! Slope from altitude and distance, and what it costs (Minetti et al. 2002).

use crate::clean::Series;
use crate::gait::Gait;
use jogaudit_recording::physiology::{running_cost_ratio, walking_cost_ratio};

/// Altitude is averaged over this length of the way before the slope is taken, m. Our choice.
const BIN_M: f64 = 10.0;
/// Altitude in steps coarser than this is of no use for a slope, m. Our choice.
const COARSE_STEP_M: f64 = 3.0;
/// Residuals of neighbouring bins hang together; the standard error is taken this much larger. Our choice.
const CORRELATION_FACTOR: f64 = 2.0;
/// A line needs so many bins, over at least this share of the window. Our choice.
const LEAST_BINS: usize = 4;
/// See [`LEAST_BINS`].
const LEAST_OF_WINDOW: f64 = 0.4;
/// Share of samples that must have an altitude. Our choice.
const LEAST_COVERED: f64 = 0.5;

/// Gives how many times as much a slope costs as level ground. Standing and unknown count as level.
pub fn cost_ratio(gait: Gait, slope: f64) -> f64 {
    match gait {
        Gait::Run => running_cost_ratio(slope),
        Gait::Walk => walking_cost_ratio(slope),
        Gait::Stand | Gait::Unknown => 1.0,
    }
}

/// What can be said of the slope along a recording.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Slopes {
    /// No altitude, no distance, or too little of them.
    Absent,
    /// One slope a sample.
    Known {
        slope: Vec<Option<f64>>,
        /// Typical standard error of a slope.
        error: f64,
        /// Whether that is small enough to judge by.
        good: bool,
    },
}

impl Slopes {
    pub(super) fn at(&self, sample: usize) -> Option<f64> {
        match self {
            Self::Absent => None,
            Self::Known { slope, .. } => slope.get(sample).copied().flatten(),
        }
    }

    pub(super) const fn error(&self) -> f64 {
        match self {
            Self::Absent => 0.0,
            Self::Known { error, .. } => *error,
        }
    }

    pub(super) const fn is_good(&self) -> bool {
        matches!(self, Self::Known { good: true, .. })
    }
}

/// Mean altitude of one length of [`BIN_M`].
#[derive(Clone, Copy, Debug)]
struct Bin {
    distance_m: f64,
    altitude_m: f64,
    samples: f64,
}

/// Works out the slope at every sample: altitude averaged over 10 m of the way, then a straight line through
/// `window_m` around.
pub(super) fn slopes(series: &Series, window_m: f64, error_limit: f64) -> Slopes {
    let points: Vec<(usize, f64, f64)> = (0..series.time_s().len())
        .filter_map(|i| Some((i, (*series.distance_m().get(i)?)?, (*series.altitude_m().get(i)?)?)))
        .collect();
    if (points.len() as f64) < LEAST_COVERED * series.time_s().len() as f64 || points.is_empty() {
        return Slopes::Absent;
    }
    let bins = bins(&points);
    let fits: Vec<Option<Fit>> = fit_all(&bins, window_m);
    let mut errors: Vec<f64> = fits.iter().flatten().map(|f| f.error).collect();
    if errors.is_empty() {
        return Slopes::Absent;
    }
    errors.sort_by(f64::total_cmp);
    let error = errors[errors.len() / 2];
    let mut slope = vec![None; series.time_s().len()];
    let mut bin = 0;
    for &(sample, distance_m, _) in &points {
        while bins.get(bin + 1).is_some_and(|b| b.distance_m <= distance_m + 0.5 * BIN_M) {
            bin += 1;
        }
        slope[sample] = fits[bin].map(|f| f.slope);
    }
    let good = error <= error_limit && altitude_step(&points) <= COARSE_STEP_M;
    Slopes::Known { slope, error, good }
}

fn bins(points: &[(usize, f64, f64)]) -> Vec<Bin> {
    let mut bins: Vec<(f64, Bin)> = Vec::new();
    for &(_, distance_m, altitude_m) in points {
        let key = (distance_m / BIN_M).floor();
        match bins.last_mut() {
            Some((last, bin)) if *last == key => {
                bin.samples += 1.0;
                bin.distance_m += (distance_m - bin.distance_m) / bin.samples;
                bin.altitude_m += (altitude_m - bin.altitude_m) / bin.samples;
            }
            _ => bins.push((key, Bin { distance_m, altitude_m, samples: 1.0 })),
        }
    }
    bins.into_iter().map(|(_, bin)| bin).collect()
}

/// Smallest change of altitude that occurs; 0 when none does.
fn altitude_step(points: &[(usize, f64, f64)]) -> f64 {
    let changes = points.windows(2).map(|w| (w[1].2 - w[0].2).abs()).filter(|change| *change > 0.0);
    let least = changes.fold(f64::INFINITY, f64::min);
    if least.is_finite() { least } else { 0.0 }
}

#[derive(Clone, Copy, Debug)]
struct Fit {
    slope: f64,
    error: f64,
}

fn fit_all(bins: &[Bin], window_m: f64) -> Vec<Option<Fit>> {
    let (mut from, mut to) = (0, 0);
    bins.iter()
        .map(|centre| {
            while bins[from].distance_m < centre.distance_m - 0.5 * window_m {
                from += 1;
            }
            while to < bins.len() && bins[to].distance_m <= centre.distance_m + 0.5 * window_m {
                to += 1;
            }
            fit(&bins[from..to], window_m)
        })
        .collect()
}

/// Straight line by least squares. `None` where there is too little of the window: see [`LEAST_BINS`].
fn fit(bins: &[Bin], window_m: f64) -> Option<Fit> {
    let length_m = bins.last()?.distance_m - bins.first()?.distance_m;
    if bins.len() < LEAST_BINS || length_m < LEAST_OF_WINDOW * window_m {
        return None;
    }
    let n = bins.len() as f64;
    let x_mean = bins.iter().map(|b| b.distance_m).sum::<f64>() / n;
    let y_mean = bins.iter().map(|b| b.altitude_m).sum::<f64>() / n;
    let sum = |f: fn(f64, f64) -> f64| {
        bins.iter().map(|b| f(b.distance_m - x_mean, b.altitude_m - y_mean)).sum::<f64>()
    };
    let (xx, xy, yy) = (sum(|x, _| x * x), sum(|x, y| x * y), sum(|_, y| y * y));
    let residual = (yy - xy * xy / xx).max(0.0);
    Some(Fit { slope: xy / xx, error: CORRELATION_FACTOR * (residual / (n - 2.0) / xx).sqrt() })
}

#[cfg(test)]
mod tests {
    use super::super::testing::Track;
    use super::*;

    #[test]
    fn level_pace_agrees_with_the_worked_examples() {
        // Worked from Minetti et al. 2002 by ratio: 450 s/km at +5, −5 and −10 %.
        for (slope, pace) in [(0.05, 345.77), (-0.05, 589.97), (-0.10, 752.89)] {
            assert!((450.0 / cost_ratio(Gait::Run, slope) - pace).abs() < 0.005);
        }
    }

    #[test]
    fn a_steady_slope_is_found() {
        let series = Track::new(600.0).speed(|_| 2.5).altitude(|_, d| 100.0 + 0.05 * d).build();
        let slopes = slopes(&series, 100.0, 0.02);
        assert!(slopes.is_good());
        assert!((slopes.at(300).unwrap() - 0.05).abs() < 1e-6);
    }

    #[test]
    fn altitude_noise_of_a_metre_is_smoothed_and_coarse_steps_are_said() {
        let noisy =
            Track::new(600.0).speed(|_| 2.5).altitude(|t, _| 50.0 + if t % 2.0 < 1.0 { 1.0 } else { -1.0 });
        let found = slopes(&noisy.build(), 100.0, 0.02);
        assert!(found.is_good());
        assert!(found.at(300).unwrap().abs() < 0.01, "{:?}", found.at(300));
        let coarse = Track::new(600.0).speed(|_| 2.5).altitude(|_, d| (0.05 * d / 5.0).floor() * 5.0).build();
        assert!(matches!(slopes(&coarse, 100.0, 0.02), Slopes::Known { good: false, .. }));
    }

    #[test]
    fn without_altitude_there_is_no_slope() {
        let series = Track::new(60.0).speed(|_| 2.5).build();
        assert_eq!(slopes(&series, 100.0, 0.02), Slopes::Absent);
    }
}
