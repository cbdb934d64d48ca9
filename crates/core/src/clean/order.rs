//! Puts samples in order of time and merges those of one time.

use jogaudit_recording::read::Sample;

use super::{Change, ChangeKind};

/// A sample with its index in the recording.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub(super) index: usize,
    pub(super) sample: Sample,
}

/// Sorts by time (stable), drops times that are no number, merges equal times: the first value of each kind stays.
pub(super) fn in_time(samples: &[Sample], ledger: &mut Vec<Change>) -> Vec<Row> {
    let mut rows: Vec<Row> = samples
        .iter()
        .enumerate()
        .filter(|(_, s)| s.time_s.is_finite())
        .map(|(index, &sample)| Row { index, sample })
        .collect();
    let mut latest_s = f64::NEG_INFINITY;
    for row in &rows {
        if row.sample.time_s < latest_s {
            ledger.push(Change { sample: row.index, kind: ChangeKind::Reordered });
        }
        latest_s = latest_s.max(row.sample.time_s);
    }
    rows.sort_by(|a, b| a.sample.time_s.total_cmp(&b.sample.time_s));
    rows.dedup_by(|later, kept| {
        let same = later.sample.time_s == kept.sample.time_s;
        if same {
            fill(&mut kept.sample, &later.sample);
            ledger.push(Change { sample: later.index, kind: ChangeKind::Merged });
        }
        same
    });
    rows
}

fn fill(kept: &mut Sample, other: &Sample) {
    kept.position = kept.position.or(other.position);
    kept.altitude = kept.altitude.or(other.altitude);
    kept.distance = kept.distance.or(other.distance);
    kept.speed = kept.speed.or(other.speed);
    kept.cadence = kept.cadence.or(other.cadence);
    kept.heart_rate = kept.heart_rate.or(other.heart_rate);
}
