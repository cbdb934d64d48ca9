//! Puts samples in order of time and merges those of one time.

use jogaudit_recording::read::{Recording, Sample};

use super::{Change, ChangeKind};

/// A sample with its index in the recording.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub(super) index: usize,
    pub(super) sample: Sample,
}

/// Sorts by time (stable) and merges equal times: the first value of each kind stays. The first row is at 0 s, as the
/// earliest sample of every recording is, and times rise strictly.
pub(super) fn in_time(recording: &Recording, ledger: &mut Vec<Change>) -> Vec<Row> {
    let mut rows: Vec<Row> =
        recording.samples().iter().enumerate().map(|(index, &sample)| Row { index, sample }).collect();
    let falls = rows.windows(2).filter(|pair| pair[1].sample.time_s < pair[0].sample.time_s);
    ledger.extend(falls.map(|pair| Change { sample: pair[1].index, kind: ChangeKind::Reordered }));
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
    kept.speed_by_positions = kept.speed_by_positions.or(other.speed_by_positions);
}
