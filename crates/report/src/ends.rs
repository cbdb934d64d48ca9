//! What is prescribed, as one figure or as the two ends of a range, in documents and in words.

use jogaudit_core::range::Range;
use jogaudit_recording::units::clock;
use serde::Serialize;

use super::numbers::{known, tenths};

/// The most of a range: `null` in a document where there is none.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Most(pub Option<f64>);

/// The figure, where there is one.
pub(super) fn one(range: Option<Range>) -> Option<f64> {
    known(range.and_then(|range| range.exact()), tenths)
}

/// The least of a real range; a document leaves it out where there is one figure.
pub(super) fn least(range: Option<Range>) -> Option<f64> {
    known(real(range).map(|range| range.least), tenths)
}

/// The most of a real range, unknown where it has none; a document leaves it out where there is one figure.
pub(super) fn most(range: Option<Range>) -> Option<Most> {
    real(range).map(|range| Most(known(Some(range.most), tenths)))
}

fn real(range: Option<Range>) -> Option<Range> {
    range.filter(|range| !range.is_exact())
}

/// `22:00 to 28:00`, `5:00 or more`, `20:00 or less`, or one figure, each as `shown`.
pub fn between(range: Range, shown: impl Fn(f64) -> String) -> String {
    match range.exact() {
        Some(value) => shown(value),
        None if range.most.is_infinite() => format!("{} or more", shown(range.least)),
        None if range.least <= 0.0 => format!("{} or less", shown(range.most)),
        None => format!("{} to {}", shown(range.least), shown(range.most)),
    }
}

/// Times on a clock.
pub(super) fn times(range: Range) -> String {
    between(range, clock)
}
