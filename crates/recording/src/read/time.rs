//! Points in time as files write them → microseconds from 1970-01-01T00:00:00Z.

use jiff::civil::DateTime;
use jiff::fmt::temporal::Pieces;

/// Microseconds from 1970-01-01T00:00:00Z.
pub(super) type Micros = i64;

pub(super) const MICROS_PER_S: Micros = 1_000_000;
const S_PER_DAY: i64 = 86_400;

/// What a written time says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct WrittenTime {
    /// The moment; read as UTC when there is no zone.
    pub(super) at: Micros,
    /// How its zone is written.
    pub(super) zone: Zone,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Zone {
    Utc,
    /// Seconds east of UTC; never 0.
    Offset(i32),
    Missing,
}

/// Reads an ISO 8601 time: quickly in its commonest form, `2025-01-31T23:59:59.5Z`, and by `jiff` in all others.
pub(super) fn parse(text: &str) -> Option<WrittenTime> {
    match parse_plain_utc(text.as_bytes()) {
        Some(at) => Some(WrittenTime { at, zone: Zone::Utc }),
        None => parse_any(text),
    }
}

fn parse_plain_utc(text: &[u8]) -> Option<Micros> {
    let (fixed, rest) = text.split_first_chunk::<19>()?;
    let [y0, y1, y2, y3, b'-', m0, m1, b'-', d0, d1, b'T', h0, h1, b':', i0, i1, b':', s0, s1] = *fixed
    else {
        return None;
    };
    let year = two(y0, y1)? * 100 + two(y2, y3)?;
    let (month, day) = (two(m0, m1)?, two(d0, d1)?);
    let (hour, minute, second) = (two(h0, h1)?, two(i0, i1)?, two(s0, s1)?);
    let micros = match rest {
        b"Z" => 0,
        [b'.', digits @ .., b'Z'] => fraction(digits)?,
        _ => return None,
    };
    if !(1..=days_in(year, month)?).contains(&day) || hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let seconds = days_from_epoch(year, month, day) * S_PER_DAY + hour * 3600 + minute * 60 + second;
    Some(seconds * MICROS_PER_S + micros)
}

fn two(tens: u8, ones: u8) -> Option<i64> {
    (tens.is_ascii_digit() && ones.is_ascii_digit())
        .then(|| i64::from(tens - b'0') * 10 + i64::from(ones - b'0'))
}

/// Digits behind the point as microseconds; what is finer is cut off.
fn fraction(digits: &[u8]) -> Option<Micros> {
    /// As `jiff` takes them: nanoseconds.
    const MOST_DECIMALS: usize = 9;
    if digits.is_empty() || digits.len() > MOST_DECIMALS || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let digit = |index| digits.get(index).map_or(0, |d| i64::from(d - b'0'));
    Some((0..6).fold(0, |micros, index| micros * 10 + digit(index)))
}

fn days_in(year: i64, month: i64) -> Option<i64> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => Some(31),
        4 | 6 | 9 | 11 => Some(30),
        2 => Some(28 + i64::from(leap)),
        _ => None,
    }
}

/// Days from 1970-01-01 in the proleptic Gregorian calendar, years counted from March so that leap days come last: five months
/// from March on have 153 days.
fn days_from_epoch(year: i64, month: i64, day: i64) -> i64 {
    /// From the first of March of the year 0 to 1970-01-01.
    const DAYS_TO_1970: i64 = 719_468;
    let year = if month > 2 { year } else { year - 1 };
    let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    year * 365 + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400) + day_of_year - DAYS_TO_1970
}

fn parse_any(text: &str) -> Option<WrittenTime> {
    let pieces = Pieces::parse(text).ok()?;
    let civil = DateTime::from_parts(pieces.date(), pieces.time()?);
    let offset = pieces.to_numeric_offset();
    let at = offset.unwrap_or(jiff::tz::Offset::UTC).to_timestamp(civil).ok()?.as_microsecond();
    let zone = match offset.map(jiff::tz::Offset::seconds) {
        None => Zone::Missing,
        Some(0) => Zone::Utc,
        Some(seconds) => Zone::Offset(seconds),
    };
    Some(WrittenTime { at, zone })
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use proptest::prelude::*;

    use super::*;

    fn utc(text: &str) -> Option<Micros> {
        parse(text).map(|time| time.at)
    }

    #[test]
    fn common_forms() {
        // 2025-01-01T00:00:00Z = 1735689600 (date -u -d 2025-01-01 +%s).
        let new_year = 1_735_689_600 * MICROS_PER_S;
        assert_eq!(parse("2025-01-01T00:00:00Z"), Some(WrittenTime { at: new_year, zone: Zone::Utc }));
        assert_eq!(utc("2025-01-01T00:00:00.5Z"), Some(new_year + 500_000));
        assert_eq!(utc("2025-01-01T00:00:00.1234567Z"), Some(new_year + 123_456));
        let offset = WrittenTime { at: new_year, zone: Zone::Offset(7200) };
        assert_eq!(parse("2025-01-01T02:00:00+02:00"), Some(offset));
        assert_eq!(parse("2025-01-01T00:00:00+00:00"), Some(WrittenTime { at: new_year, zone: Zone::Utc }));
        assert_eq!(parse("2025-01-01T00:00:00"), Some(WrittenTime { at: new_year, zone: Zone::Missing }));
        assert_eq!(utc("2025-01-01 00:00:00Z"), Some(new_year));
        assert_eq!(utc("2016-12-31T23:59:60Z"), utc("2016-12-31T23:59:59Z"));
    }

    #[test]
    fn what_is_no_time() {
        for text in [
            "",
            "x",
            "2025-02-29T00:00:00Z",
            "2025-13-01T00:00:00Z",
            "2025-01-01T24:00:01Z",
            "2025-01-01",
            "12:00",
        ] {
            assert_eq!(parse(text), None, "{text}");
        }
    }

    proptest! {
        /// The quick way and jiff's own parser agree wherever the quick way gives an answer.
        #[test]
        fn the_quick_way_agrees_with_jiff(micros in -62_135_596_800_000_000_i64..253_402_200_000_000_000) {
            let text = Timestamp::from_microsecond(micros).unwrap().to_string();
            prop_assert_eq!(parse_plain_utc(text.as_bytes()), Some(micros));
            prop_assert_eq!(parse_any(&text).unwrap().at, micros);
        }

        /// Nearly-times: the quick way never accepts what jiff refuses.
        #[test]
        fn the_quick_way_is_no_laxer(text in "20[0-2][0-9]-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-6][0-9]:[0-6][0-9](\\.[0-9]{1,9})?Z") {
            if let Some(at) = parse_plain_utc(text.as_bytes()) {
                prop_assert_eq!(parse_any(&text).map(|time| time.at), Some(at));
            }
        }
    }
}
