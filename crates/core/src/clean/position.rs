//! Position jumps, and the velocity that positions tell.

use std::ops::Range;

use jogaudit_recording::geodesy::{LatLon, Plane};

use super::config::jumps::{
    BLOCK, COMES_BACK_S, HELD_INTERVALS, HELD_SAMPLES, HELD_SPEEDS, LONGEST_HELD_S, REACH_M, REACH_SCATTERS,
    REACH_SPEEDS,
};
use super::config::position::{
    FARTHEST_S, LEAST_HALF_WINDOW_S, LEAST_INTERVALS, LEAST_NOISE_MPS, MOST_HALF_WINDOW_S, NOISE_POWER,
    STEPS_A_MPS,
};
use super::gaps::usual_interval_s;
use super::order::Row;
use super::{Change, ChangeKind, CleanConfig, Gap};
use crate::statistics::{LeastSquares, SD_PER_MAD, median};

/// Positions that hang together.
pub(super) struct Path {
    /// Position by row; those that jumped out and back are left out.
    pub(super) positions: Vec<Option<LatLon>>,
    /// Where the path jumped and stayed: the times of the positions on both sides.
    jumps_s: Vec<(f64, f64)>,
}

/// Leaves out positions that jump and come back (reflected signals do that for some seconds), and marks where the path jumps
/// and stays (then the recorder had been wrong before, and goes on from there).
pub(super) fn without_spikes(
    rows: &[Row],
    time_s: &[f64],
    config: &CleanConfig,
    ledger: &mut Vec<Change>,
) -> Path {
    let mut positions = without_held(rows, time_s);
    let mut jumps_s = Vec::new();
    let known: Vec<(usize, LatLon)> =
        positions.iter().enumerate().filter_map(|(i, p)| p.map(|p| (i, p))).collect();
    let usual = usual_steps(&known, time_s);
    let mut last: Option<(usize, LatLon)> = None;
    for (k, &(at, here)) in known.iter().enumerate() {
        let Some((from, good)) = last else {
            last = Some((at, here));
            continue;
        };
        let (speed_mps, scatter_m) = usual[k / BLOCK];
        let in_reach = |to: usize, there: LatLon| {
            let seconds = time_s[to] - time_s[from];
            let usual_m = REACH_M.max(REACH_SCATTERS * scatter_m) + REACH_SPEEDS * speed_mps * seconds;
            good.step_m(there) <= usual_m.min(2.0 * REACH_M + config.max_speed_mps * seconds)
        };
        if !in_reach(at, here) {
            let soon = known[k + 1..].iter().take_while(|(to, _)| time_s[*to] - time_s[from] <= COMES_BACK_S);
            if soon.into_iter().any(|&(to, there)| in_reach(to, there)) {
                positions[at] = None;
                ledger.push(Change { sample: rows[at].index, kind: ChangeKind::Spike });
                continue;
            }
            jumps_s.push((time_s[from], time_s[at]));
        }
        last = Some((at, here));
    }
    Path { positions, jumps_s }
}

/// The positions by row, without those that a recorder repeats while it waits for a new one: they say nothing of where the
/// person is. The ledger does not name them, since nothing that was measured is lost. Who stands at one position is not meant.
fn without_held(rows: &[Row], time_s: &[f64]) -> Vec<Option<LatLon>> {
    let mut positions: Vec<Option<LatLon>> = rows.iter().map(|r| r.sample.position).collect();
    let known = || positions.iter().enumerate().filter_map(|(i, p)| p.map(|p| (i, p)));
    let mut renewed: Vec<New> = Vec::new();
    for (at, position) in known() {
        match renewed.last_mut() {
            Some(last) if last.position == position => last.held = at,
            _ => renewed.push(New { at, held: at, position }),
        }
    }
    let known_s: Vec<f64> = known().map(|(at, _)| time_s[at]).collect();
    let sampled_s = usual_interval_s(&known_s);
    let usual: Vec<Renewal> = renewed.chunks(BLOCK).map(|block| Renewal::of(block, time_s)).collect();
    for (k, new) in renewed.iter().enumerate().filter(|(_, new)| new.held > new.at) {
        let usual = &usual[k / BLOCK];
        let is_held = match renewed.get(k + 1) {
            Some(next) => usual.is_held(new, next, time_s, sampled_s),
            None => usual.waits(time_s[new.held] - time_s[new.at], sampled_s),
        };
        if is_held {
            positions[new.at + 1..=new.held].fill(None);
        }
    }
    positions
}

/// A position that differs from the one before.
struct New {
    /// The row in which it is new, and the last one that repeats it.
    at: usize,
    held: usize,
    position: LatLon,
}

/// How a recorder usually renews its position, and how fast it goes.
struct Renewal {
    /// Median time between new positions, s.
    interval_s: f64,
    /// Median speed from one new position to the next, m/s.
    speed_mps: f64,
}

impl Renewal {
    fn of(renewed: &[New], time_s: &[f64]) -> Self {
        let mut intervals_s: Vec<f64> =
            renewed.windows(2).map(|w| time_s[w[1].at] - time_s[w[0].at]).collect();
        let lengths = renewed.windows(2).map(|w| w[0].position.step_m(w[1].position));
        let mut speeds: Vec<f64> = lengths.zip(&intervals_s).map(|(length, s)| length / s).collect();
        Self {
            interval_s: median(&mut intervals_s).unwrap_or(0.0),
            speed_mps: median(&mut speeds).unwrap_or(0.0),
        }
    }

    /// Whether a repetition for so long is this recorder's way.
    fn waits(&self, held_s: f64, sampled_s: f64) -> bool {
        self.interval_s >= HELD_SAMPLES * sampled_s && held_s <= HELD_INTERVALS * self.interval_s
    }

    /// Whether a position was held until the next new one: such is the recorder's way, or the step to that, longer than one
    /// makes in the last moment, is what going on at the usual speed makes.
    fn is_held(&self, new: &New, next: &New, time_s: &[f64], sampled_s: f64) -> bool {
        let (held_s, moment_s) = (time_s[next.at] - time_s[new.at], time_s[next.at] - time_s[new.held]);
        let step_m = new.position.step_m(next.position);
        let went_on = step_m > REACH_SPEEDS * self.speed_mps * moment_s
            && (HELD_SPEEDS.start * self.speed_mps..HELD_SPEEDS.end * self.speed_mps)
                .contains(&(step_m / held_s));
        self.waits(held_s, sampled_s) || went_on && held_s <= LONGEST_HELD_S
    }
}

/// Median speed of the steps in each block, m/s, and their scatter, m, by the median absolute deviation. Who stands at one
/// position for most of a block goes at the speed of the steps that are made.
fn usual_steps(known: &[(usize, LatLon)], time_s: &[f64]) -> Vec<(f64, f64)> {
    known
        .chunks(BLOCK)
        .map(|block| {
            let steps = block.windows(2).map(|w| (w[0].1.step_m(w[1].1), time_s[w[1].0] - time_s[w[0].0]));
            let (mut lengths, mut speeds): (Vec<f64>, Vec<f64>) =
                steps.map(|(length, seconds)| (length, length / seconds)).unzip();
            let (Some(middle), Some(speed)) = (median(&mut lengths), median(&mut speeds)) else {
                return (0.0, 0.0);
            };
            if speed == 0.0 {
                speeds.retain(|speed| *speed > 0.0);
            }
            let speed = median(&mut speeds).unwrap_or(0.0);
            lengths.iter_mut().for_each(|l| *l = (*l - middle).abs());
            (speed, SD_PER_MAD * median(&mut lengths).unwrap_or(0.0))
        })
        .collect()
}

/// Speed over ground at each row from the positions around it: the length of the velocity vector of a straight line fitted
/// to the positions around it (Savitzky & Golay 1964, first derivative of a first-order fit). Averaging the vector before taking
/// its length keeps the positions' error from adding speed (Ranacher et al. 2016). The noisier the positions, the longer the
/// time: 2.5 s on either side for errors that change by 0.35 m a second or less, up to 6 s.
///
/// It counts whole steps of [`STEPS_A_MPS`], so that it is the same once it has been written to a file without positions.
pub(super) fn speeds(time_s: &[f64], path: &Path, gaps: &[Gap], config: &CleanConfig) -> Vec<Option<f64>> {
    let n = time_s.len();
    let mut out = vec![None; n];
    let Some(first) = path.positions.iter().flatten().next() else { return out };
    let whole = Plane::new(*first);
    let plane: Vec<Option<(f64, f64)>> =
        path.positions.iter().map(|p| p.map(|p| whole.offset_m(p))).collect();
    let known: Vec<usize> = (0..n).filter(|&i| path.positions[i].is_some()).collect();
    let known_s: Vec<f64> = known.iter().map(|&i| time_s[i]).collect();
    let noise_mps = wander_mps(time_s, &plane);
    let half_window_s = (LEAST_HALF_WINDOW_S * (noise_mps / LEAST_NOISE_MPS).powf(NOISE_POWER))
        .clamp(LEAST_HALF_WINDOW_S, MOST_HALF_WINDOW_S)
        .max(LEAST_INTERVALS * usual_interval_s(&known_s));
    let mut breaks: Vec<(f64, f64)> =
        gaps.iter().map(|g| (g.start_s, g.end_s)).chain(path.jumps_s.iter().copied()).collect();
    breaks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut line = MovingLines::new(whole, 0.0);
    let (mut from, mut to, mut next, mut next_known) = (0, 0, 0, 0);
    let (mut open_s, mut close_s) = (f64::NEG_INFINITY, breaks.first().map_or(f64::INFINITY, |b| b.0));
    for i in 0..n {
        while time_s[i] > close_s {
            open_s = open_s.max(breaks[next].1);
            next += 1;
            close_s = breaks.get(next).map_or(f64::INFINITY, |b| b.0);
        }
        while time_s[from] < (time_s[i] - half_window_s).max(open_s) && from < i {
            from += 1;
        }
        while to < n && time_s[to] <= (time_s[i] + half_window_s).min(close_s) {
            to += 1;
        }
        // Sparse samples: the neighbours on both sides, however far, unless the path is broken between. Sparse positions: the
        // nearest known ones, within reach of a hole.
        while next_known < known.len() && known[next_known] <= i {
            next_known += 1;
        }
        let last_known = known[..next_known].iter().rev().find(|&&j| j < i);
        let is_near = |&&j: &&usize| j.abs_diff(i) == 1 || (time_s[j] - time_s[i]).abs() <= config.hole_s;
        let before = last_known.filter(is_near).copied().unwrap_or(i);
        let after = known.get(next_known).filter(is_near).copied().unwrap_or(i);
        let low = from.min(if time_s[before] >= open_s { before } else { i });
        let high = to.max(if time_s[after] <= close_s { after + 1 } else { i + 1 });
        let Some(origin) = (low..high).find_map(|j| path.positions[j]) else { continue };
        if low >= line.rows.end || !line.plane.holds_at(origin) || time_s[i] - line.zero_s > FARTHEST_S {
            line = MovingLines { rows: low..low, ..MovingLines::new(Plane::new(origin), time_s[i]) };
        }
        line.move_to(low..high, time_s, &path.positions);
        out[i] = line
            .velocity()
            .map(|(east, north)| (east * east + north * north).sqrt())
            .map(|speed_mps| (speed_mps * STEPS_A_MPS).round() / STEPS_A_MPS)
            .filter(|&v| v <= config.max_speed_mps);
    }
    out
}

/// By how much the positions' error changes from second to second on one axis, m/s: from second differences, in which a steady
/// movement cancels; robust against the few that turn or jump.
fn wander_mps(time_s: &[f64], plane: &[Option<(f64, f64)>]) -> f64 {
    let mut changes: Vec<f64> = Vec::new();
    for i in 2..plane.len() {
        if let (Some(a), Some(b), Some(c)) = (plane[i - 2], plane[i - 1], plane[i]) {
            let (before_s, after_s) = (time_s[i - 1] - time_s[i - 2], time_s[i] - time_s[i - 1]);
            let scale = (1.0 / before_s + 1.0 / after_s).sqrt();
            changes.push(((c.0 - b.0) / after_s - (b.0 - a.0) / before_s).abs() / scale);
            changes.push(((c.1 - b.1) / after_s - (b.1 - a.1) / before_s).abs() / scale);
        }
    }
    SD_PER_MAD * median(&mut changes).unwrap_or(0.0)
}

/// Least-squares lines of east and north over time through a run of rows that moves on.
struct MovingLines {
    plane: Plane,
    /// Times count from here.
    zero_s: f64,
    rows: Range<usize>,
    sums: LeastSquares<2>,
}

/// n² times the variance of the times, s², below which they tell no speed.
const LEAST_SPREAD: f64 = 1e-9;

impl MovingLines {
    fn new(plane: Plane, zero_s: f64) -> Self {
        Self { plane, zero_s, rows: 0..0, sums: LeastSquares::default() }
    }

    /// Takes out the rows before the new ones and takes in those behind the old ones.
    fn move_to(&mut self, rows: Range<usize>, time_s: &[f64], positions: &[Option<LatLon>]) {
        for j in self.rows.start..rows.start {
            self.add(-1.0, time_s[j], positions[j]);
        }
        for j in self.rows.end..rows.end {
            self.add(1.0, time_s[j], positions[j]);
        }
        self.rows = rows;
    }

    fn add(&mut self, weight: f64, at_s: f64, position: Option<LatLon>) {
        let Some(position) = position else { return };
        let (east, north) = self.plane.offset_m(position);
        self.sums.add(weight, at_s - self.zero_s, [east, north]);
    }

    /// East and north in m/s; `None` with fewer than two times.
    fn velocity(&self) -> Option<(f64, f64)> {
        if self.sums.n() < 2.0 {
            return None;
        }
        self.sums.slopes(LEAST_SPREAD).map(|[east, north]| (east, north))
    }
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::*;

    #[test]
    fn sums_that_moved_on_are_those_of_the_rows_alone() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        for _ in 0..200 {
            let mut time_s = vec![0.0];
            let mut positions = Vec::new();
            for i in 0..60_i32 {
                // Some are missing, some jump by kilometres.
                let jump_deg = if rng.random_bool(0.05) { rng.random_range(-0.1..0.1) } else { 0.0 };
                let north_deg = 2e-5 * f64::from(i) + rng.random_range(0.0..1e-5) + jump_deg;
                let position = LatLon::new(52.0 + north_deg, 179.9999 + rng.random_range(0.0..1e-4));
                positions.push(position.filter(|_| rng.random_bool(0.9)));
                time_s.push(time_s[time_s.len() - 1] + rng.random_range(0.2..2.0));
            }
            let plane = Plane::new(LatLon::new(52.0, 179.9999).unwrap());
            let mut line = MovingLines::new(plane, 0.0);
            let mut rows = 0..0;
            while rows.end < positions.len() {
                rows.end += rng.random_range(0..3).min(positions.len() - rows.end);
                rows.start += rng.random_range(0..3).min(rows.len());
                line.move_to(rows.clone(), &time_s, &positions);
                let mut alone = MovingLines { rows: rows.start..rows.start, ..MovingLines::new(plane, 0.0) };
                alone.move_to(rows.clone(), &time_s, &positions);
                match (line.velocity(), alone.velocity()) {
                    (Some(moved), Some(alone)) => {
                        let off = (moved.0 - alone.0).hypot(moved.1 - alone.1);
                        assert!(off < 1e-6 * (1.0 + alone.0.hypot(alone.1)), "{moved:?} {alone:?}");
                    }
                    (moved, alone) => assert_eq!(moved, alone),
                }
            }
        }
    }
}
