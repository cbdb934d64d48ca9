//! Position spikes, and the velocity that positions tell.

use crate::geodesy::LatLon;

use super::gaps::usual_interval_s;
use super::order::Row;
use super::{Change, ChangeKind, CleanConfig, Gap};

/// Positions by row; those that jump are left out. A jump is a position that cannot be reached on foot from the last good
/// one, unless the following ones stay with it (then the recorder had been wrong before, and goes on from there).
pub(super) fn without_spikes(
    rows: &[Row],
    time_s: &[f64],
    config: &CleanConfig,
    ledger: &mut Vec<Change>,
) -> Vec<Option<LatLon>> {
    const STAYS: usize = 3;
    let mut positions: Vec<Option<LatLon>> = rows.iter().map(|r| r.sample.position).collect();
    let known: Vec<usize> = (0..rows.len()).filter(|&i| positions[i].is_some()).collect();
    // Positions carry metres of error: over one second that is not a speed. 5 m are let pass.
    let reachable =
        |from: usize, to: usize, positions: &[Option<LatLon>]| match (positions[from], positions[to]) {
            (Some(a), Some(b)) => a.distance_m(b) <= 5.0 + config.max_speed_mps * (time_s[to] - time_s[from]),
            _ => false,
        };
    let mut last_good: Option<usize> = None;
    for (k, &at) in known.iter().enumerate() {
        let good = last_good.is_none_or(|last| reachable(last, at, &positions)) || {
            let following = &known[k..(k + 1 + STAYS).min(known.len())];
            following.len() > STAYS && following.windows(2).all(|w| reachable(w[0], w[1], &positions))
        };
        if good {
            last_good = Some(at);
        } else {
            positions[at] = None;
            ledger.push(Change { sample: rows[at].index, kind: ChangeKind::Spike });
        }
    }
    positions
}

/// Speed over ground at each row from the positions around it: the length of the velocity vector of a straight line fitted
/// to the positions within `half_window_s` (Savitzky & Golay 1964, first derivative of a first-order fit). Averaging the
/// vector before taking its length keeps the positions' error from adding speed (Ranacher et al. 2016).
pub(super) fn speeds(
    time_s: &[f64],
    positions: &[Option<LatLon>],
    gaps: &[Gap],
    config: &CleanConfig,
) -> Vec<Option<f64>> {
    let half_window_s = 2.5_f64.max(1.2 * usual_interval_s(time_s));
    let n = time_s.len();
    let mut out = vec![None; n];
    let (mut from, mut to, mut next_gap) = (0, 0, 0);
    let (mut open_s, mut close_s) = (f64::NEG_INFINITY, gaps.first().map_or(f64::INFINITY, |g| g.start_s));
    for i in 0..n {
        while time_s[i] > close_s {
            open_s = gaps[next_gap].end_s;
            next_gap += 1;
            close_s = gaps.get(next_gap).map_or(f64::INFINITY, |g| g.start_s);
        }
        while time_s[from] < (time_s[i] - half_window_s).max(open_s) {
            from += 1;
        }
        while to < n && time_s[to] <= (time_s[i] + half_window_s).min(close_s) {
            to += 1;
        }
        let Some(origin) = (from..to).find_map(|j| positions[j]) else { continue };
        let points =
            (from..to).filter_map(|j| positions[j].map(|p| (time_s[j] - time_s[i], p.offset_m(origin))));
        out[i] = slope(points).map(|(east, north)| east.hypot(north)).filter(|&v| v <= config.max_speed_mps);
    }
    out
}

/// Slopes of the least-squares lines through (t, (x, y)); `None` with fewer than two times.
fn slope(points: impl Iterator<Item = (f64, (f64, f64))>) -> Option<(f64, f64)> {
    let (mut n, mut t, mut tt, mut x, mut tx, mut y, mut ty) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (time, (east, north)) in points {
        n += 1.0;
        t += time;
        tt += time * time;
        x += east;
        tx += time * east;
        y += north;
        ty += time * north;
    }
    let spread = n * tt - t * t;
    (n >= 2.0 && spread > 1e-9).then(|| ((n * tx - t * x) / spread, (n * ty - t * y) / spread))
}
