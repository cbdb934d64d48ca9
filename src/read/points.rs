//! What GPX and TCX points have in common: values that cannot be read, times without a zone, points without a time.

use crate::notice::{Notice, Place};

use super::draft::Tally;
use super::text::line_of;
use super::time::{self, Micros, Zone};

/// Counts what was wrong with points; each kind becomes one notice with its first line.
#[derive(Debug, Default)]
pub(super) struct PointFaults {
    /// Points with a time: the ones that became samples.
    pub(super) points: u64,
    pub(super) without_time: Tally,
    /// Offset of the first written time that has one.
    pub(super) utc_offset_s: Option<i32>,
    without_zone: Tally,
    unreadable: Tally,
}

impl PointFaults {
    /// Reads a time and keeps account of its zone.
    pub(super) fn time(&mut self, text: &str, at_byte: usize) -> Option<Micros> {
        let Some(written) = time::parse(text) else {
            self.unreadable.add(at_byte);
            return None;
        };
        match written.zone {
            Zone::Utc => {}
            Zone::Offset(seconds) => {
                self.utc_offset_s.get_or_insert(seconds);
            }
            Zone::Missing => self.without_zone.add(at_byte),
        }
        Some(written.at)
    }

    /// Reads a finite number.
    pub(super) fn number(&mut self, text: &str, at_byte: usize) -> Option<f64> {
        let number = text.parse().ok().filter(|value: &f64| value.is_finite());
        self.kept(number, at_byte)
    }

    /// Counts a value that had to be left out.
    pub(super) fn kept<T>(&mut self, value: Option<T>, at_byte: usize) -> Option<T> {
        if value.is_none() {
            self.unreadable.add(at_byte);
        }
        value
    }

    pub(super) fn notices(&self, text: &str) -> Vec<Notice> {
        let line = |byte| Place { line: Some(line_of(text, byte)), ..Place::default() };
        [
            self.without_time.notice("points_without_time", line, |n| {
                format!("points without a time that can be read, skipped: {n}")
            }),
            self.without_zone.notice("time_without_zone", line, |n| {
                format!("times without a zone, read as UTC: {n}; the date may be off by a day")
            }),
            self.unreadable.notice("values_unreadable", line, |n| {
                format!("values that are no number or out of range, left out: {n}")
            }),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}
