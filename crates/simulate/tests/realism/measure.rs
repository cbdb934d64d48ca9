//! What a recording shows, measured as on real ones: from its own columns, with no look at what is true.

use jogaudit_recording::geodesy::Plane;
use jogaudit_recording::read::Recording;
use jogaudit_recording::units::{BeatsPerMinute, MetresPerSecond, StepsPerMinute};

/// Speed from positions is from so long before to so long after, s.
const HALF_S: usize = 4;
/// A gait that the cadence alone tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Told {
    Run,
    Walk,
}

/// Columns on a grid of whole seconds; values between samples on a straight line.
pub(crate) struct Columns {
    pub(crate) speed_mps: Vec<f64>,
    /// From the positions around.
    pub(crate) moved_mps: Vec<f64>,
    pub(crate) cadence_spm: Vec<f64>,
    pub(crate) heart_rate_bpm: Vec<f64>,
    pub(crate) told: Vec<Option<Told>>,
    /// Whether the timer ran, and 20 s after it was started again have passed.
    pub(crate) usual: Vec<bool>,
    pub(crate) restarts_s: Vec<usize>,
}

/// A stretch of seconds of one gait.
pub(crate) struct Stretch {
    pub(crate) told: Told,
    pub(crate) from: usize,
    pub(crate) to: usize,
}

fn on_seconds(recording: &Recording, value: impl Fn(usize) -> Option<f64>, seconds: usize) -> Vec<f64> {
    let samples = recording.samples();
    let known: Vec<(f64, f64)> =
        (0..samples.len()).filter_map(|i| Some((samples[i].time_s, value(i)?))).collect();
    let mut next = 0;
    (0..seconds)
        .map(|second| {
            let at = second as f64;
            while next < known.len() && known[next].0 < at {
                next += 1;
            }
            match (next.checked_sub(1).map(|i| known[i]), known.get(next)) {
                (_, Some(&(time, value))) if time == at => value,
                (Some((a, u)), Some(&(b, v))) => u + (v - u) * (at - a) / (b - a),
                (Some((_, u)), None) => u,
                (None, Some(&(_, v))) => v,
                (None, None) => f64::NAN,
            }
        })
        .collect()
}

impl Columns {
    pub(crate) fn of(recording: &Recording) -> Self {
        let samples = recording.samples();
        let seconds = samples.last().map_or(0.0, |s| s.time_s) as usize + 1;
        let column = |value: &dyn Fn(usize) -> Option<f64>| on_seconds(recording, value, seconds);
        let origin = samples.iter().find_map(|s| s.position).expect("there are positions");
        let plane = Plane::new(origin);
        let at = |i: usize| samples[i].position.map(|p| plane.offset_m(p));
        let east = column(&|i| at(i).map(|p| p.0));
        let north = column(&|i| at(i).map(|p| p.1));
        let moved = |s: usize| {
            let (a, b) = (s.saturating_sub(HALF_S), (s + HALF_S).min(seconds - 1));
            (east[b] - east[a]).hypot(north[b] - north[a]) / (b - a) as f64
        };
        let cadence_spm = column(&|i| samples[i].cadence.map(StepsPerMinute::get).filter(|c| *c > 0.0));
        let told = median(&cadence_spm, 9).into_iter().map(tell).collect();
        let mut usual = vec![true; seconds];
        let mut restarts_s = Vec::new();
        for pair in recording.timer().windows(2) {
            if !pair[0].running && pair[1].running {
                let (stop, start) = (pair[0].time_s as usize, pair[1].time_s as usize);
                restarts_s.push(start);
                usual[stop.saturating_sub(5)..(start + 20).min(seconds)].fill(false);
            }
        }
        Self {
            speed_mps: column(&|i| samples[i].speed.map(MetresPerSecond::get)),
            moved_mps: (0..seconds).map(moved).collect(),
            cadence_spm,
            heart_rate_bpm: column(&|i| samples[i].heart_rate.map(BeatsPerMinute::get)),
            told,
            usual,
            restarts_s,
        }
    }

    /// Stretches of one gait of a least length with `edge_s` cut off at both ends, in usual recording.
    pub(crate) fn stretches(&self, least_s: usize, edge_s: usize) -> Vec<Stretch> {
        let mut out = Vec::new();
        let state = |s: usize| self.told[s].filter(|_| self.usual[s]);
        let mut from = 0;
        for s in 1..=self.told.len() {
            if s == self.told.len() || state(s) != state(from) {
                if let Some(told) = state(from).filter(|_| s - from >= least_s.max(2 * edge_s + 2)) {
                    out.push(Stretch { told, from: from + edge_s, to: s - edge_s });
                }
                from = s;
            }
        }
        out
    }

    /// Changes between two stretches of at least 30 s: the second around which the gait changes, and what it becomes.
    pub(crate) fn changes(&self) -> Vec<(usize, Told)> {
        let stretches = self.stretches(30, 0);
        let near = |pair: &&[Stretch]| pair[1].from - pair[0].to < 15 && pair[0].told != pair[1].told;
        stretches
            .windows(2)
            .filter(near)
            .map(|pair| (usize::midpoint(pair[0].to, pair[1].from), pair[1].told))
            .collect()
    }
}

fn tell(cadence_spm: f64) -> Option<Told> {
    match cadence_spm {
        c if c >= 145.0 => Some(Told::Run),
        c if c > 60.0 && c <= 135.0 => Some(Told::Walk),
        _ => None,
    }
}

pub(crate) fn median(values: &[f64], width: usize) -> Vec<f64> {
    let half = width / 2;
    (0..values.len())
        .map(|i| {
            let mut window = values[i.saturating_sub(half)..(i + half + 1).min(values.len())].to_vec();
            window.sort_by(f64::total_cmp);
            window[window.len() / 2]
        })
        .collect()
}

pub(crate) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

pub(crate) fn sd(values: &[f64]) -> f64 {
    let mean = mean(values);
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() as f64 - 1.0)).sqrt()
}

/// Standard deviation over mean.
pub(crate) fn variation(values: &[f64]) -> f64 {
    sd(values) / mean(values)
}

pub(crate) fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(((sorted.len() as f64 - 1.0) * share).round() as usize).copied().unwrap_or(f64::NAN)
}

/// What is left of a straight line by least squares.
fn detrended(values: &[f64]) -> Vec<f64> {
    let centre = (values.len() as f64 - 1.0) / 2.0;
    let mean = mean(values);
    let (mut along, mut all) = (0.0, 0.0);
    for (i, value) in values.iter().enumerate() {
        along += (i as f64 - centre) * (value - mean);
        all += (i as f64 - centre).powi(2);
    }
    values.iter().enumerate().map(|(i, v)| v - mean - along / all * (i as f64 - centre)).collect()
}

/// Lag at which the autocorrelation, over several stretches, of what a straight line leaves of each first falls below 1/e, s, after a
/// running mean over 7 s. So measured, ideal recordings give the 6 s that the table has for them.
pub(crate) fn correlation_time_s(stretches: &[&[f64]]) -> f64 {
    let left: Vec<Vec<f64>> =
        stretches.iter().map(|values| detrended(values).windows(7).map(mean).collect()).collect();
    let longest = left.iter().map(Vec::len).max().unwrap_or(0);
    let at = |lag: usize| {
        let products = left.iter().flat_map(|v| v.iter().zip(v.iter().skip(lag)));
        let (sum, count) = products.fold((0.0, 0), |(sum, count), (a, b)| (sum + a * b, count + 1));
        sum / f64::from(count)
    };
    let whole = at(0);
    let target = (-1.0_f64).exp();
    let mut before = 1.0;
    for lag in 1..longest / 2 {
        let now = at(lag) / whole;
        if now < target {
            return lag as f64 - 1.0 + (before - target) / (before - now);
        }
        before = now;
    }
    longest as f64 / 2.0
}

/// How much later `late` is than `early`, s: where the two, without their means, agree best.
pub(crate) fn delay_s(late: &[f64], early: &[f64]) -> f64 {
    const MOST_S: usize = 15;
    let n = late.len().min(early.len());
    let score = |lag: usize| {
        let (a, b) = (&late[lag..n], &early[..n - lag]);
        let (ma, mb) = (mean(a), mean(b));
        let product: f64 = a.iter().zip(b).map(|(x, y)| (x - ma) * (y - mb)).sum();
        product / (sd(a) * sd(b) * a.len() as f64)
    };
    let scores: Vec<f64> = (0..=MOST_S).map(score).collect();
    (0..=MOST_S).max_by(|&a, &b| scores[a].total_cmp(&scores[b])).unwrap_or(0) as f64
}

/// A change from one level to another on a straight line, by least squares: middle, s from the first value, and length, s.
pub(crate) fn ramp(values: &[f64]) -> Option<(f64, f64)> {
    let n = values.len();
    let mut best = (f64::INFINITY, 0.0, 0.0);
    for length in [0.5].into_iter().chain((1..=20).map(f64::from)) {
        for half_middles in 2 * 15..=2 * (n - 15) {
            let middle = half_middles as f64 / 2.0;
            // The levels follow from the shape by least squares.
            let (mut s, mut ss, mut v, mut sv, mut vv) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for (i, value) in values.iter().enumerate() {
                let share = ((i as f64 - middle) / length + 0.5).clamp(0.0, 1.0);
                s += share;
                ss += share * share;
                v += value;
                sv += share * value;
                vv += value * value;
            }
            let n = n as f64;
            let across = ss - s * s / n;
            let along = sv - s * v / n;
            let left = vv - v * v / n - along * along / across;
            if left < best.0 {
                best = (left, middle, length);
            }
        }
    }
    best.0.is_finite().then_some((best.1, best.2))
}
