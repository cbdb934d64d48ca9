//! Puts samples in order of time and merges those of one time.

use jogaudit_recording::read::Sample;

use super::{Change, ChangeKind};

/// A sample with its index in the recording.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    /// Seconds after the first sample in time.
    pub(super) time_s: f64,
    pub(super) index: usize,
    pub(super) sample: Sample,
}

/// Rows whose times start at 0 and rise strictly.
pub(super) struct InTime {
    /// Time of the first of them in the recording, s.
    pub(super) start_shift_s: f64,
    pub(super) rows: Vec<Row>,
}

/// Sorts by time (stable), drops times that are no number, merges equal times: the first value of each kind stays.
pub(super) fn in_time(samples: &[Sample], ledger: &mut Vec<Change>) -> InTime {
    let mut rows: Vec<Row> = samples
        .iter()
        .enumerate()
        .filter(|(_, s)| s.time_s.is_finite())
        .map(|(index, &sample)| Row { time_s: sample.time_s, index, sample })
        .collect();
    let mut latest_s = f64::NEG_INFINITY;
    for row in &rows {
        if row.sample.time_s < latest_s {
            ledger.push(Change { sample: row.index, kind: ChangeKind::Reordered });
        }
        latest_s = latest_s.max(row.sample.time_s);
    }
    rows.sort_by(|a, b| a.sample.time_s.total_cmp(&b.sample.time_s));
    let start_shift_s = rows.first().map_or(0.0, |row| row.sample.time_s);
    rows.iter_mut().for_each(|row| row.time_s -= start_shift_s);
    rows.retain(|row| row.time_s.is_finite());
    // Times that differ by less than a double resolves at their distance from the start are one time.
    rows.dedup_by(|later, kept| {
        let same = later.time_s == kept.time_s;
        if same {
            fill(&mut kept.sample, &later.sample);
            ledger.push(Change { sample: later.index, kind: ChangeKind::Merged });
        }
        same
    });
    InTime { start_shift_s, rows }
}

fn fill(kept: &mut Sample, other: &Sample) {
    kept.position = kept.position.or(other.position);
    kept.altitude = kept.altitude.or(other.altitude);
    kept.distance = kept.distance.or(other.distance);
    kept.speed = kept.speed.or(other.speed);
    kept.cadence = kept.cadence.or(other.cadence);
    kept.heart_rate = kept.heart_rate.or(other.heart_rate);
}
