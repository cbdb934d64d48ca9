//! [`Series`] → what is seen at each tick of an even time grid, in stretches between holes.
//!
//! The grid makes sampling a matter of time: a tick without a sample says nothing, two samples in one tick are averaged.

use crate::clean::{Series, SpeedSource, interval_s, longest_silence_s, or_nan, sums_over_pairs};

/// A stretch with data; outside of all stretches the gait is unknown.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    /// Seconds from the start of the series.
    pub(super) start_s: f64,
    /// Seconds from the start of the series.
    pub(super) end_s: f64,
    /// Time of the first tick's middle is `start_s`; the others follow at `tick_s`.
    pub(super) speed_mps: Vec<Option<f64>>,
    /// Steps a minute, both feet.
    pub(super) cadence_spm: Vec<Option<f64>>,
    /// Rise over run of the ground; 0 where altitude or distance is not there.
    pub(super) slope: Vec<f64>,
}

impl Stretch {
    /// Number of ticks.
    pub(super) fn ticks(&self) -> usize {
        self.speed_mps.len()
    }

    fn part(&self, ticks: std::ops::Range<usize>, tick_s: f64) -> Self {
        Self {
            start_s: self.start_s + ticks.start as f64 * tick_s,
            end_s: self.start_s + ticks.end as f64 * tick_s,
            speed_mps: self.speed_mps[ticks.clone()].to_vec(),
            cadence_spm: self.cadence_spm[ticks.clone()].to_vec(),
            slope: self.slope[ticks].to_vec(),
        }
    }
}

/// All that is seen.
#[derive(Clone, Debug)]
pub(super) struct Observed {
    /// Seconds between ticks.
    pub(super) tick_s: f64,
    /// Stretches in order of time.
    pub(super) stretches: Vec<Stretch>,
    /// How much later the speed column tells than the truth, s.
    pub(super) speed_delay_s: f64,
    /// How much later the cadence column tells than the truth, s.
    pub(super) cadence_delay_s: f64,
    /// Standard deviation of what is read while standing, m/s.
    pub(super) still_mps: f64,
    /// Whether the delays could be told from the recording.
    pub(super) delay_known: bool,
}

impl Observed {
    /// The same on a grid of `factor` times the tick, readings averaged.
    pub(super) fn coarser(&self, factor: usize) -> Self {
        let mean = |column: &[Option<f64>]| -> Vec<Option<f64>> {
            column
                .chunks(factor)
                .map(|cells| {
                    let (sum, n) = cells.iter().flatten().fold((0.0, 0_u32), |(sum, n), v| (sum + v, n + 1));
                    (n > 0).then(|| sum / f64::from(n))
                })
                .collect()
        };
        let stretches = self.stretches.iter().map(|s| Stretch {
            speed_mps: mean(&s.speed_mps),
            cadence_spm: mean(&s.cadence_spm),
            slope: s.slope.chunks(factor).map(|c| c.iter().sum::<f64>() / c.len() as f64).collect(),
            ..*s
        });
        Self { tick_s: self.tick_s * factor as f64, stretches: stretches.collect(), ..*self }
    }

    /// Seconds in all stretches.
    pub(super) fn seconds(&self) -> f64 {
        self.tick_s * self.ticks() as f64
    }

    fn ticks(&self) -> usize {
        self.stretches.iter().map(Stretch::ticks).sum()
    }

    /// Parts of `part_s` spread evenly over all stretches, `all_s` together.
    pub(super) fn parts(&self, all_s: f64, part_s: f64) -> Self {
        let (part, count) = ((part_s / self.tick_s).ceil() as usize, (all_s / part_s) as usize);
        let total = self.ticks();
        let mut stretches = Vec::new();
        let mut before = 0;
        for stretch in &self.stretches {
            for from in (0..stretch.ticks()).step_by(part) {
                let to = (from + part).min(stretch.ticks());
                // Those in which another of `count` equal shares of the whole ends.
                if (before + from) * count / total < (before + to) * count / total {
                    stretches.push(stretch.part(from..to, self.tick_s));
                }
            }
            before += stretch.ticks();
        }
        Self { stretches, ..*self }
    }
}

/// Lays the series on the grid.
pub(super) fn observe(series: &Series, silent_s: f64) -> Observed {
    let usual_s = interval_s(series.time_s(), 0.5);
    let tick_s = if usual_s <= 10.0 { 1.0 } else { usual_s / 5.0 };
    let (speed_delay_s, cadence_delay_s, delay_known) = delays(series, usual_s);
    let still_mps = match series.speed_source() {
        SpeedSource::Positions => 0.45,
        SpeedSource::Distance => 0.3,
        SpeedSource::Recorder | SpeedSource::Absent => 0.25,
    };
    let stretches = spans(series, longest_silence_s(series.time_s(), silent_s))
        .into_iter()
        .map(|(start_s, end_s)| {
            let ticks = ((end_s - start_s) / tick_s).round() as usize + 1;
            let mut stretch = Stretch {
                start_s,
                end_s,
                speed_mps: on_grid(series, series.speed_mps(), speed_delay_s, start_s, end_s, tick_s, ticks),
                cadence_spm: on_grid(
                    series,
                    series.cadence_spm(),
                    cadence_delay_s,
                    start_s,
                    end_s,
                    tick_s,
                    ticks,
                ),
                slope: slope(series, start_s, tick_s, ticks),
            };
            without_wake_up(&mut stretch, tick_s);
            stretch
        })
        .collect();
    Observed { tick_s, stretches, speed_delay_s, cadence_delay_s, still_mps, delay_known }
}

/// Takes out what a recorder says in its first seconds after a start, before its smoothed speed and cadence have come up from
/// 0: readings of standing that end within 4 s.
fn without_wake_up(stretch: &mut Stretch, tick_s: f64) {
    const WAKES_S: f64 = 4.0;
    let asleep = |k: usize| match (stretch.speed_mps[k], stretch.cadence_spm[k]) {
        (None, None) => true,
        (speed, cadence) => speed.is_none_or(|v| v < 0.6) && cadence.is_none_or(|c| c < 60.0),
    };
    let Some(awake) = (0..stretch.ticks()).find(|&k| !asleep(k)) else { return };
    let said = |k: &usize| stretch.speed_mps[*k].is_some() || stretch.cadence_spm[*k].is_some();
    if (0..awake).rfind(said).is_some_and(|last| last as f64 * tick_s <= WAKES_S) {
        stretch.speed_mps[..awake].fill(None);
        stretch.cadence_spm[..awake].fill(None);
    }
}

/// Where there is data: between gaps, and nowhere silent (no speed, no cadence) for longer than `silent_s`.
fn spans(series: &Series, silent_s: f64) -> Vec<(f64, f64)> {
    let mut spans: Vec<(f64, f64)> = Vec::new();
    let mut next_gap = 0;
    for (i, &at_s) in series.time_s().iter().enumerate() {
        if series.speed_mps()[i].is_none() && series.cadence_spm()[i].is_none() {
            continue;
        }
        let mut parted = None;
        while let Some(gap) = series.gaps().get(next_gap).filter(|g| g.end_s <= at_s) {
            // A recorder pause begins at the stop, not at the last sample before it.
            parted = Some((parted.map_or(gap.start_s, |(from, _)| from), gap.end_s));
            next_gap += 1;
        }
        match (spans.last_mut(), parted) {
            (Some(last), Some((gap_start_s, gap_end_s))) => {
                if gap_start_s - last.1 <= silent_s {
                    last.1 = gap_start_s;
                }
                spans.push((if at_s - gap_end_s <= silent_s { gap_end_s } else { at_s }, at_s));
            }
            (Some(last), None) if at_s - last.1 <= silent_s => last.1 = at_s,
            (None, _) if at_s <= silent_s => spans.push((0.0, at_s)),
            _ => spans.push((at_s, at_s)),
        }
    }
    if let Some(last) = spans.last_mut()
        && series.elapsed_s() - last.1 <= silent_s
        && series.gaps().last().is_none_or(|g| g.end_s <= last.1)
    {
        last.1 = series.elapsed_s();
    }
    spans.retain(|s| s.1 > s.0);
    spans
}

fn on_grid(
    series: &Series,
    column: &[Option<f64>],
    delay_s: f64,
    start_s: f64,
    end_s: f64,
    tick_s: f64,
    ticks: usize,
) -> Vec<Option<f64>> {
    let mut sums = vec![(0.0, 0_u32); ticks];
    for i in series.range(start_s, end_s + delay_s + 1e-9) {
        let Some(value) = column[i] else { continue };
        let tick = ((series.time_s()[i] - delay_s - start_s) / tick_s).round();
        if tick >= 0.0 && (tick as usize) < ticks {
            let cell = &mut sums[tick as usize];
            cell.0 += value;
            cell.1 += 1;
        }
    }
    sums.into_iter().map(|(sum, n)| (n > 0).then(|| sum / f64::from(n))).collect()
}

/// Slope of the least-squares line of altitude over distance within 15 s of each tick: over these 25 to 80 m an altitude error
/// of 0.25 m makes a slope error of about 0.5 %.
fn slope(series: &Series, start_s: f64, tick_s: f64, ticks: usize) -> Vec<f64> {
    const HALF_S: f64 = 15.0;
    const STEEPEST: f64 = 0.2;
    const SHORTEST_M: f64 = 12.0;
    /// So far from where the sums count from no digit that matters is lost.
    const FAR_M: f64 = 2000.0;
    // Sums over the samples around a tick, kept while it moves on. Distances count from a sample that is never far.
    let mut sums = Line::default();
    let mut origin_m = 0.0;
    let known = |i: usize| series.distance_m()[i].zip(series.altitude_m()[i]);
    let (mut from, mut to) = (0, 0);
    (0..ticks)
        .map(|k| {
            let at_s = start_s + k as f64 * tick_s;
            let range = from_to(series.time_s(), at_s - HALF_S, at_s + HALF_S, (from, to));
            let first = range.clone().find_map(known);
            let last = range.clone().rev().find_map(known);
            let (Some((first_m, _)), Some((last_m, _))) = (first, last) else {
                (from, to) = (range.end, range.end);
                sums = Line::default();
                return 0.0;
            };
            if k == 0 || first_m - origin_m > FAR_M || from == to {
                (from, to) = (range.start, range.start);
                sums = Line::default();
                origin_m = first_m;
            }
            for (distance_m, altitude_m) in (from..range.start).filter_map(known) {
                sums.add(-1.0, distance_m - origin_m, altitude_m);
            }
            for (distance_m, altitude_m) in (to..range.end).filter_map(known) {
                sums.add(1.0, distance_m - origin_m, altitude_m);
            }
            (from, to) = (range.start, range.end);
            if sums.n < 4.0 || last_m - first_m < SHORTEST_M {
                return 0.0;
            }
            sums.slope().map_or(0.0, |slope| slope.clamp(-STEEPEST, STEEPEST))
        })
        .collect()
}

/// Sums for a least-squares line.
#[derive(Default)]
struct Line {
    n: f64,
    x: f64,
    xx: f64,
    y: f64,
    xy: f64,
}

impl Line {
    fn add(&mut self, weight: f64, x: f64, y: f64) {
        self.n += weight;
        self.x += weight * x;
        self.xx += weight * x * x;
        self.y += weight * y;
        self.xy += weight * x * y;
    }

    fn slope(&self) -> Option<f64> {
        let spread = self.n * self.xx - self.x * self.x;
        (spread > 1e-6).then(|| (self.n * self.xy - self.x * self.y) / spread)
    }
}

/// Samples from one time to another, both at or behind those of the range before.
fn from_to(time_s: &[f64], start_s: f64, end_s: f64, before: (usize, usize)) -> std::ops::Range<usize> {
    let on = |index: usize, at_s: f64| index + time_s[index..].iter().take_while(|&&t| t < at_s).count();
    let from = on(before.0, start_s);
    from..on(before.1.max(from), end_s)
}

/// Recorders smooth, each in its way, so their columns tell late. The speed's delay behind the positions is known from
/// cleaning; the cadence's delay behind the speed is found by sliding one over the other. Both move to the earlier one.
fn delays(series: &Series, usual_s: f64) -> (f64, f64, bool) {
    let known = series.speed_delay_s() > 0.0 || series.speed_source() == SpeedSource::Positions;
    match lag_s(series.speed_mps(), series.cadence_spm(), usual_s) {
        None => (series.speed_delay_s(), 0.0, known),
        Some(lag_s) if known => (series.speed_delay_s(), (series.speed_delay_s() + lag_s).max(0.0), true),
        Some(lag_s) => ((-lag_s).max(0.0), lag_s.max(0.0), false),
    }
}

/// By how many seconds changes of `second` come after those of `first`, −4 to 4, by the greatest correlation of the two;
/// `None` when they share too little or do not move together.
fn lag_s(first: &[Option<f64>], second: &[Option<f64>], usual_s: f64) -> Option<f64> {
    const MOST: isize = 5;
    if !(0.5..=1.5).contains(&usual_s) || first.len() < 120 {
        return None;
    }
    // Standing says little of the delay, and drop-outs to 0 would mislead.
    let (first, second) = (or_nan(first, |_| true), or_nan(second, |spm| spm > 40.0));
    let correlation = |shift: isize| -> Option<f64> {
        let (skip_first, skip_second) = ((-shift).max(0).cast_unsigned(), shift.max(0).cast_unsigned());
        let [n, x, y, xx, yy, xy] = sums_over_pairs(&first[skip_first..], &second[skip_second..], |a, b| {
            let is_known = !(a + b).is_nan();
            let (n, a, b) = if is_known { (1.0, a, b) } else { (0.0, 0.0, 0.0) };
            [n, a, b, a * a, b * b, a * b]
        });
        let spread = (n * xx - x * x) * (n * yy - y * y);
        (n > 100.0 && spread > 0.0).then(|| (n * xy - x * y) / spread.sqrt())
    };
    let scores: Option<Vec<f64>> = (-MOST..=MOST).map(correlation).collect();
    let scores = scores?;
    let best = (1..scores.len() - 1).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
    let (left, middle, right) = (scores[best - 1], scores[best], scores[best + 1]);
    if middle < 0.6 || left > middle || right > middle {
        return None;
    }
    let bend = left - 2.0 * middle + right;
    let vertex = if bend < 0.0 { 0.5 * (left - right) / bend } else { 0.0 };
    Some(((best.cast_signed() - MOST) as f64 + vertex) * usual_s)
}
