//! What GPX and TCX points have in common: values that cannot be read, times without a zone, points without a time.
//!
//! Plain decimals are read by hand: three quarters of the time of the standard library (docs/formats.md, "Speed").

use crate::notice::{Notice, NoticeCode, Place};

use super::tally::Tally;
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
        let number = plain_decimal(text.as_bytes())
            .or_else(|| text.parse().ok().filter(|value: &f64| value.is_finite()));
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
            self.without_time.notice(NoticeCode::PointsWithoutTime, line, |n| {
                format!("points without a time that can be read, skipped: {n}")
            }),
            self.without_zone.notice(NoticeCode::TimeWithoutZone, line, |n| {
                format!("times without a zone, read as UTC: {n}; the date may be off by a day")
            }),
            self.unreadable.notice(NoticeCode::ValuesUnreadable, line, |n| {
                format!("values that are no number or out of range, left out: {n}")
            }),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// A number written with up to 15 digits and a point among or before them, as nearly all are. The digits are a whole number that
/// a double holds exactly, and so is the power of ten: one division rounds rightly (Clinger 1990, from memory).
fn plain_decimal(text: &[u8]) -> Option<f64> {
    /// Every whole number of so many decimal digits is below 2⁵³.
    const MOST_DIGITS: usize = 15;
    const POWERS: [f64; MOST_DIGITS + 1] =
        [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];
    let digits = text.strip_prefix(b"-").unwrap_or(text);
    if digits.is_empty() || digits.len() > MOST_DIGITS + 1 {
        return None;
    }
    let (mut whole, mut count, mut behind_point) = (0_u64, 0, None);
    for byte in digits {
        match byte {
            b'0'..=b'9' => {
                whole = whole * 10 + u64::from(byte - b'0');
                count += 1;
            }
            b'.' if behind_point.is_none() && count > 0 => behind_point = Some(count),
            _ => return None,
        }
    }
    let decimals = count - behind_point.unwrap_or(count);
    if count > MOST_DIGITS || behind_point == Some(count) {
        return None;
    }
    let number = whole as f64 / POWERS.get(decimals)?;
    Some(if digits.len() < text.len() { -number } else { number })
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::*;

    #[test]
    fn plain_decimals_are_read_as_by_the_standard_library() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        let mut plain = 0;
        for _ in 0..200_000 {
            let length = rng.random_range(0..19);
            let text: String = (0..length)
                .map(|_| {
                    let pick = rng.random_range(0..100);
                    if pick < 6 { '.' } else { char::from(b'0' + rng.random_range(0..10_u8)) }
                })
                .collect();
            let text = if rng.random_bool(0.3) { format!("-{text}") } else { text };
            if let Some(number) = plain_decimal(text.as_bytes()) {
                let expected: f64 = text.parse().unwrap();
                assert_eq!(number.to_bits(), expected.to_bits(), "{text}");
                plain += 1;
            }
        }
        assert!(plain > 100_000, "too few were plain: {plain}");
        for odd in ["", "-", ".", "+1", "1e3", "1.", ".5", "1.2.3", "NaN", "inf", "1_0", " 1", "0x1", "--1"] {
            assert_eq!(plain_decimal(odd.as_bytes()), None, "{odd}");
        }
    }
}
