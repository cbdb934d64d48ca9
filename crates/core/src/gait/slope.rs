//! Slope of the ground at each of some times.

use super::config::people::{LEAST_SLOPE_FACTOR, UPHILL};
use super::config::slope::{FARTHEST_M, HALF_WINDOW_S, LEAST_SAMPLES, SHORTEST_M, STEEPEST};
use crate::clean::Series;
use crate::statistics::LeastSquares;

/// n² times the variance of the way, m², below which it tells no slope.
const LEAST_SPREAD: f64 = 1e-6;

/// Slope of the least-squares line of altitude over distance around each of some times, which do not go back; 0 where it cannot
/// be told.
pub(super) fn slopes(series: &Series, times_s: impl Iterator<Item = f64>) -> Vec<f64> {
    let (time_s, distance_m, altitude_m) = (series.time_s(), series.distance_m(), series.altitude_m());
    // Sums over the samples around a time, kept while it moves on. Distances count from a sample that is never far.
    let mut sums = LeastSquares::<1>::default();
    let mut origin_m = 0.0;
    let known = |i: usize| distance_m[i].zip(altitude_m[i]);
    let (mut from, mut to) = (0, 0);
    times_s
        .map(|at_s| {
            let range = from_to(time_s, at_s - HALF_WINDOW_S, at_s + HALF_WINDOW_S, (from, to));
            let first = range.clone().find_map(known);
            let last = range.clone().rev().find_map(known);
            let (Some((first_m, _)), Some((last_m, _))) = (first, last) else {
                (from, to) = (range.end, range.end);
                sums = LeastSquares::default();
                return 0.0;
            };
            if first_m - origin_m > FARTHEST_M || range.start >= to {
                (from, to) = (range.start, range.start);
                sums = LeastSquares::default();
                origin_m = first_m;
            }
            for (distance_m, altitude_m) in (from..range.start).filter_map(known) {
                sums.add(-1.0, distance_m - origin_m, [altitude_m]);
            }
            for (distance_m, altitude_m) in (to..range.end).filter_map(known) {
                sums.add(1.0, distance_m - origin_m, [altitude_m]);
            }
            (from, to) = (range.start, range.end);
            if sums.n() < LEAST_SAMPLES || last_m - first_m < SHORTEST_M {
                return 0.0;
            }
            sums.slopes(LEAST_SPREAD).map_or(0.0, |[slope]| slope.clamp(-STEEPEST, STEEPEST))
        })
        .collect()
}

/// Speed on a slope over speed on the level.
pub(super) fn slope_factor(slope: f64) -> f64 {
    (1.0 - UPHILL * slope.max(0.0)).max(LEAST_SLOPE_FACTOR)
}

/// Whether the person moved over ground of which nothing tells how steep it was.
pub(super) fn slopes_are_unseen(series: &Series) -> bool {
    series.has_position() && 2 * series.altitude_m().iter().flatten().count() < series.len()
}

/// Samples from one time to another, both at or behind those of the range before.
fn from_to(time_s: &[f64], start_s: f64, end_s: f64, before: (usize, usize)) -> std::ops::Range<usize> {
    let on = |index: usize, at_s: f64| index + time_s[index..].iter().take_while(|&&t| t < at_s).count();
    let from = on(before.0, start_s);
    from..on(before.1.max(from), end_s)
}
