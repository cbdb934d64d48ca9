//! Which speed to use, and the distance.

use jogaudit_recording::units::MetresPerSecond;

use super::config::speed::{
    DENSE_S, LEAST_PAIRS, LEAST_SAMPLES, MOST_DELAY_S, MOST_SQUARE, ROWS_A_VALUE, ROWS_TO_DIFFER, SHIFTS,
};
use super::order::Row;
use super::{Change, ChangeKind, CleanConfig, Gap, SpeedSource, position};
use crate::statistics::{or_nan, sums_over_pairs, vertex};

/// The chosen speed.
pub(super) struct Speed {
    pub(super) column_mps: Vec<Option<f64>>,
    pub(super) source: SpeedSource,
    pub(super) delay_s: Option<f64>,
}

/// Takes the recorder's own speed where it has one that moves, else the slope of its distance, else of its positions.
pub(super) fn choose(
    rows: &[Row],
    time_s: &[f64],
    path: &position::Path,
    gaps: &[Gap],
    config: &CleanConfig,
    ledger: &mut Vec<Change>,
) -> Speed {
    let own: Vec<Option<f64>> = rows
        .iter()
        .map(|row| {
            let speed = row.sample.speed?.get();
            if (0.0..=config.max_speed_mps).contains(&speed) {
                return Some(speed);
            }
            ledger.push(Change { sample: row.index, kind: ChangeKind::SpeedRefused });
            None
        })
        .collect();
    let from_positions = if path.positions.iter().any(Option::is_some) {
        position::speeds(time_s, path, gaps, config)
    } else {
        told_by_positions(rows, config)
    };
    if usable(&own, rows.len()) {
        let delay_s = delay_s(time_s, &own, &from_positions);
        return Speed { column_mps: own, source: SpeedSource::Recorder, delay_s };
    }
    let from_distance = distance_slope(rows, time_s, gaps, config);
    if usable(&from_distance, rows.len()) {
        return Speed { column_mps: from_distance, source: SpeedSource::Distance, delay_s: None };
    }
    let source =
        if from_positions.iter().any(Option::is_some) { SpeedSource::Positions } else { SpeedSource::Absent };
    let delay_s = (source == SpeedSource::Positions).then_some(0.0);
    Speed { column_mps: from_positions, source, delay_s }
}

/// What positions told before they were taken out of the recording.
fn told_by_positions(rows: &[Row], config: &CleanConfig) -> Vec<Option<f64>> {
    let told = |row: &Row| row.sample.speed_by_positions.map(MetresPerSecond::get);
    rows.iter().map(|row| told(row).filter(|speed| (0.0..=config.max_speed_mps).contains(speed))).collect()
}

/// A column serves when at least a third of the rows have it and it is not the same value throughout.
fn usable(column: &[Option<f64>], rows: usize) -> bool {
    let mut values = column.iter().flatten();
    let Some(first) = values.next() else { return false };
    let known = 1 + values.clone().count();
    known * ROWS_A_VALUE >= rows && (rows < ROWS_TO_DIFFER || values.any(|v| v != first))
}

/// Slope of the recorder's distance over about 3 s, m/s.
fn distance_slope(rows: &[Row], time_s: &[f64], gaps: &[Gap], config: &CleanConfig) -> Vec<Option<f64>> {
    let known: Vec<(usize, f64)> =
        rows.iter().enumerate().filter_map(|(i, r)| r.sample.distance.map(|d| (i, d.get()))).collect();
    let mut out = vec![None; rows.len()];
    for k in 0..known.len() {
        let (i, _) = known[k];
        let (a, from_m) = known[k.saturating_sub(1)];
        let (b, to_m) = known[(k + 1).min(known.len() - 1)];
        let within =
            |from: usize, to: usize| !gaps.iter().any(|g| g.start_s < time_s[to] && g.end_s > time_s[from]);
        let (a, from_m) = if within(a, i) { (a, from_m) } else { known[k] };
        let (b, to_m) = if within(i, b) { (b, to_m) } else { known[k] };
        let speed = (to_m - from_m) / (time_s[b] - time_s[a]);
        out[i] = (0.0..=config.max_speed_mps).contains(&speed).then_some(speed);
    }
    out
}

/// By how many seconds `own` lags behind `reference`, from 0 to 12: the shift of the least mean squared difference, to a
/// fraction by a parabola through the three best. `None` when they share too little, or agree best at the greatest shift.
fn delay_s(time_s: &[f64], own: &[Option<f64>], reference: &[Option<f64>]) -> Option<f64> {
    let dense = time_s.windows(2).filter(|w| w[1] - w[0] <= DENSE_S).count();
    if time_s.len() < LEAST_SAMPLES || dense * 2 < time_s.len() {
        return None;
    }
    // One sample is about a second here: shifts count samples, and are scaled by the usual interval.
    let interval_s = super::gaps::usual_interval_s(time_s);
    let (own, reference) = (or_nan(own, |_| true), or_nan(reference, |_| true));
    let cost: Vec<f64> = (0..SHIFTS)
        .map(|shift| {
            let [sum, n] = sums_over_pairs(&own[shift..], &reference, |a, b| {
                let square = (a - b) * (a - b);
                let bounded = if square > MOST_SQUARE { MOST_SQUARE } else { square };
                if square.is_nan() { [0.0, 0.0] } else { [bounded, 1.0] }
            });
            if n < LEAST_PAIRS { f64::INFINITY } else { sum / n }
        })
        .collect();
    let best = (0..SHIFTS).min_by(|&a, &b| cost[a].total_cmp(&cost[b]))?;
    match *cost.get(best.saturating_sub(1)..best + 2)? {
        ref around if around.iter().any(|cost| !cost.is_finite()) => None,
        [left, middle, right] => {
            Some(((best as f64 + vertex(left, middle, right)) * interval_s).clamp(0.0, MOST_DELAY_S))
        }
        // Best where nothing is shifted.
        _ => Some(0.0),
    }
}

/// Distance since the start, never falling: the recorder's own, else the integral of the speed outside gaps.
pub(super) fn distance(
    rows: &[Row],
    time_s: &[f64],
    speed_mps: &[Option<f64>],
    gaps: &[Gap],
) -> Vec<Option<f64>> {
    let recorded = rows.iter().filter(|r| r.sample.distance.is_some()).count();
    if recorded * ROWS_A_VALUE >= rows.len() && recorded > 1 {
        let mut far_m = f64::NEG_INFINITY;
        return rows
            .iter()
            .map(|row| {
                let here_m = row.sample.distance?.get();
                if here_m.is_finite() {
                    far_m = far_m.max(here_m);
                }
                far_m.is_finite().then_some(far_m)
            })
            .collect();
    }
    if speed_mps.iter().all(Option::is_none) {
        return vec![None; rows.len()];
    }
    let mut total_m = 0.0;
    let mut last: Option<(f64, f64)> = None;
    let mut next_gap = 0;
    rows.iter()
        .enumerate()
        .map(|(i, _)| {
            let speed = speed_mps[i]?;
            if let Some((at_s, before)) = last {
                while gaps.get(next_gap).is_some_and(|g| g.end_s <= at_s) {
                    next_gap += 1;
                }
                if gaps.get(next_gap).is_none_or(|g| g.start_s >= time_s[i]) {
                    total_m += f64::midpoint(before, speed) * (time_s[i] - at_s);
                }
            }
            last = Some((time_s[i], speed));
            Some(total_m)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_delay_is_told_none_is_told_as_none_and_what_cannot_tell_says_so() {
        let wave = |t: f64| Some(2.0 + 0.6 * (t / 11.0).sin() + 0.3 * (t / 5.0).cos());
        let columns = |apart_s: f64, late_s: f64| {
            let time_s: Vec<f64> = (0..600).map(|i| f64::from(i) * apart_s).collect();
            let of = |late_s: f64| time_s.iter().map(|t| wave(t - late_s)).collect::<Vec<_>>();
            delay_s(&time_s, &of(late_s), &of(0.0))
        };
        let late_s = columns(1.0, 6.5).unwrap();
        assert!((late_s - 6.5).abs() < 0.1, "{late_s}");
        assert_eq!(columns(1.0, 0.0), Some(0.0));
        assert_eq!(columns(5.0, 6.5), None, "samples too far apart");
        let time_s: Vec<f64> = (0..600).map(f64::from).collect();
        let own: Vec<_> = time_s.iter().map(|t| wave(*t)).collect();
        assert_eq!(delay_s(&time_s, &own, &vec![None; 600]), None, "no positions");
    }

    #[test]
    fn a_shift_beside_one_that_shares_nothing_tells_no_delay() {
        let time_s: Vec<f64> = (0..4200).map(f64::from).collect();
        let known = |which: &[usize], late_s: f64| -> Vec<Option<f64>> {
            let value = |i: usize| 2.0 + ((i as f64 - late_s) / 11.0).sin();
            (0..4200).map(|i| which.contains(&(i % 14)).then(|| value(i))).collect()
        };
        // Only shifts of 6 and 7 share readings; at 6 they agree.
        assert_eq!(delay_s(&time_s, &known(&[6, 7], 6.0), &known(&[0], 0.0)), None);
    }
}
