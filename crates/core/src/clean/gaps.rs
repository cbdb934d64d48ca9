//! Recorder pauses against holes.

use jogaudit_recording::read::{TimerEvent, pauses_s};

use super::config::gaps::{
    INTERVAL_SHARE, INTERVALS, LONGEST_SILENCE_S, PAUSE_GAP_INTERVALS, SHORTEST_PAUSE_INTERVALS,
    SHORTEST_PAUSE_S,
};
use super::{CleanConfig, Gap, GapKind};
use crate::statistics::nearest_quantile;

/// A gap is a time between two neighbouring samples longer than sampling explains. Where the timer was stopped in it,
/// the stopped part is a pause; a stop during which samples go on is no gap: the samples are the better evidence.
pub(super) fn find(time_s: &[f64], timer: &[TimerEvent], config: &CleanConfig) -> Vec<Gap> {
    let usual_s = usual_interval_s(time_s);
    let hole_s = longest_silence_s(time_s, config.hole_s);
    let pauses = pauses(timer);
    let mut gaps = Vec::new();
    let mut next_pause = 0;
    for pair in time_s.windows(2) {
        let (from_s, to_s) = (pair[0], pair[1]);
        while pauses.get(next_pause).is_some_and(|p| p.1 <= from_s) {
            next_pause += 1;
        }
        let pause = pauses
            .get(next_pause)
            .map(|&(stop_s, start_s)| (stop_s.max(from_s), start_s.min(to_s)))
            .filter(|&(stop_s, start_s)| {
                start_s - stop_s > SHORTEST_PAUSE_S.max(SHORTEST_PAUSE_INTERVALS * usual_s)
            });
        match pause {
            Some((start_s, end_s)) if to_s - from_s > PAUSE_GAP_INTERVALS * usual_s => {
                gaps.push(Gap { start_s, end_s, kind: GapKind::Pause });
            }
            _ if to_s - from_s > hole_s => {
                gaps.push(Gap { start_s: from_s, end_s: to_s, kind: GapKind::Hole });
            }
            _ => {}
        }
    }
    gaps
}

/// Times at which the timer stood, in order.
fn pauses(timer: &[TimerEvent]) -> Vec<(f64, f64)> {
    let mut events = timer.to_vec();
    events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    pauses_s(&events)
}

/// Median time between neighbouring samples, s; 1 when there are none.
pub(super) fn usual_interval_s(time_s: &[f64]) -> f64 {
    interval_s(time_s, 0.5)
}

/// Longest silence, s, that sampling explains: `hole_s`, or 2.5 of the intervals that 19 of 20 do not exceed, at most 120.
pub fn longest_silence_s(time_s: &[f64], hole_s: f64) -> f64 {
    hole_s.max(INTERVALS * interval_s(time_s, INTERVAL_SHARE)).min(hole_s.max(LONGEST_SILENCE_S))
}

/// Time between neighbouring samples that the given share does not exceed, s; 1 when there are none.
pub(crate) fn interval_s(time_s: &[f64], share: f64) -> f64 {
    let mut steps_s: Vec<f64> = time_s.windows(2).map(|w| w[1] - w[0]).collect();
    nearest_quantile(&mut steps_s, share).unwrap_or(1.0)
}
