//! What the two XML writers share.

use jiff::Timestamp;

/// A moment of the recording as text, in UTC.
pub(super) fn instant(start: Timestamp, time_s: f64) -> String {
    let second = start.as_second() + time_s.round() as i64;
    Timestamp::from_second(second).unwrap_or(start).to_string()
}

/// Whether the recorder was paused between two samples that follow one another.
pub(super) fn paused_between(pauses_s: &[(f64, f64)], before_s: f64, after_s: f64) -> bool {
    pauses_s.iter().any(|p| before_s <= p.0 && p.1 <= after_s)
}
