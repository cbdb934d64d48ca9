//! The true bouts of a made-up recording.

use serde::Serialize;
use serde_json::json;

use super::faults::Fault;
use super::recorder::Track;
use super::timeline::{Timeline, milliseconds};
use jogaudit_core::gait::Gait;

/// A stretch of one true gait. At a change of speed the boundary is the middle of the change: there the gait changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueBout {
    /// Which gait; [`Gait::Unknown`] where the recorder was paused or lost its samples.
    pub gait: Gait,
    /// Seconds from the first sample.
    pub start_s: f64,
    /// Seconds from the first sample.
    pub end_s: f64,
}

impl TrueBout {
    /// Length in seconds.
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// True bouts from 0 to the last sample, on the recording's clock. They tile, and neighbours differ in gait.
pub(super) fn bouts(timeline: &Timeline, track: &Track) -> Vec<TrueBout> {
    let from_s = track.unrecorded_s as f64;
    let end_s = track.points.last().map_or(0.0, |p| p.second as f64);
    let clip = |time_s: f64| milliseconds((time_s - from_s).clamp(0.0, end_s));
    let mut bouts: Vec<TrueBout> = timeline
        .parts
        .iter()
        .map(|s| TrueBout { gait: s.gait, start_s: clip(s.start_s), end_s: clip(s.end_s) })
        .collect();
    for &(from, to) in &track.holes {
        bouts = cover(&bouts, from as f64, to as f64);
    }
    merge(bouts)
}

/// Makes a stretch unknown.
fn cover(bouts: &[TrueBout], from_s: f64, to_s: f64) -> Vec<TrueBout> {
    let before = bouts.iter().map(|b| TrueBout { end_s: b.end_s.min(from_s), ..*b });
    let after = bouts.iter().map(|b| TrueBout { start_s: b.start_s.max(to_s), ..*b });
    let hole = TrueBout { gait: Gait::Unknown, start_s: from_s, end_s: to_s };
    let real = |b: &TrueBout| b.end_s > b.start_s;
    before.filter(real).chain([hole]).chain(after.filter(real)).collect()
}

/// Joins neighbours of one gait and drops what has no length.
fn merge(bouts: Vec<TrueBout>) -> Vec<TrueBout> {
    let mut merged: Vec<TrueBout> = Vec::with_capacity(bouts.len());
    for bout in bouts.into_iter().filter(|b| b.end_s > b.start_s) {
        match merged.last_mut() {
            Some(last) if last.gait == bout.gait => last.end_s = bout.end_s,
            _ => merged.push(bout),
        }
    }
    merged
}

#[derive(Serialize)]
struct FaultRow {
    kind: &'static str,
    value: f64,
    unit: &'static str,
    rep: Option<u32>,
}

/// The truth file: schema `jogaudit.truth/1`, pretty JSON with a line break at its end.
pub(super) fn to_json(seed: u64, bouts: &[TrueBout], faults: &[Fault]) -> String {
    let bout = |b: &TrueBout| json!({"gait": b.gait.word(), "start_s": b.start_s, "end_s": b.end_s});
    let row = |f: &Fault| FaultRow { kind: f.kind.name(), value: f.value, unit: f.kind.unit(), rep: f.rep };
    let truth = json!({
        "schema": "jogaudit.truth/1",
        "seed": seed,
        "bouts": bouts.iter().map(bout).collect::<Vec<_>>(),
        "faults": faults.iter().map(row).collect::<Vec<_>>(),
    });
    format!("{truth:#}\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bout(gait: Gait, start_s: f64, end_s: f64) -> TrueBout {
        TrueBout { gait, start_s, end_s }
    }

    #[test]
    fn a_hole_covers_what_it_hides() {
        let bouts = [bout(Gait::Walk, 0.0, 50.0), bout(Gait::Run, 50.0, 60.0), bout(Gait::Walk, 60.0, 90.0)];
        assert_eq!(
            merge(cover(&bouts, 40.0, 70.0)),
            [bout(Gait::Walk, 0.0, 40.0), bout(Gait::Unknown, 40.0, 70.0), bout(Gait::Walk, 70.0, 90.0)]
        );
        assert_eq!(
            merge(cover(&bouts, 10.0, 20.0))[..3],
            [bout(Gait::Walk, 0.0, 10.0), bout(Gait::Unknown, 10.0, 20.0), bout(Gait::Walk, 20.0, 50.0)]
        );
    }

    #[test]
    fn equal_neighbours_are_joined() {
        let bouts = vec![bout(Gait::Walk, 0.0, 5.0), bout(Gait::Run, 5.0, 5.0), bout(Gait::Walk, 5.0, 9.0)];
        assert_eq!(merge(bouts), [bout(Gait::Walk, 0.0, 9.0)]);
    }
}
