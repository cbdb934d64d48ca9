//! Words and quantities: what a session and the values of a plan are written in.

use std::fmt::Write as _;

use jogaudit_recording::units::{
    self, LengthUnit, METRES_PER_MILE, Metres, MetresPerSecond, Seconds, StepsPerMinute, StridesPerMinute,
};

use super::Extent;
use super::bounds::{self, Bound};
use super::error::LanguageError;
use crate::range::Range;

const EXTENT: &str = "a duration such as `1:00`, `90 s`, `2 min` or `400 m`";
const DURATION: &str = "a duration such as `45:00`, `90 s` or `2 min`";
const PACE: &str = "a pace such as `6:45 /km` or `10:50 /mi`";

/// A piece of a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Token<'a> {
    /// Anything between spaces and marks.
    Word(&'a str),
    /// `,`
    Comma,
    /// `(`
    Open,
    /// `)`
    Close,
    /// `@`
    At,
    /// Nothing is left.
    End,
}

/// Walks over the tokens of a text.
#[derive(Clone, Debug)]
pub(super) struct Scanner<'a> {
    text: &'a str,
    at: usize,
}

type Span = std::ops::Range<usize>;
type Spanned<T> = (T, Span);

impl<'a> Scanner<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        Self { text, at: 0 }
    }

    /// All of it.
    pub(super) fn text(&self) -> &'a str {
        self.text
    }

    /// Where the last token that was taken ends.
    pub(super) fn at(&self) -> usize {
        self.at
    }

    /// Gives the next token and its place without taking it.
    pub(super) fn peek(&self) -> Spanned<Token<'a>> {
        let rest = &self.text[self.at..];
        let rest = rest.trim_start();
        let start = self.text.len() - rest.len();
        let Some(first) = rest.chars().next() else { return (Token::End, start..start) };
        let token = match first {
            ',' => Token::Comma,
            '(' => Token::Open,
            ')' => Token::Close,
            '@' => Token::At,
            _ => {
                let end = rest
                    .find(|c: char| c.is_whitespace() || matches!(c, ',' | '(' | ')' | '@'))
                    .unwrap_or(rest.len());
                return (Token::Word(&rest[..end]), start..start + end);
            }
        };
        (token, start..start + 1)
    }

    /// Takes the next token.
    pub(super) fn next(&mut self) -> Spanned<Token<'a>> {
        let (token, span) = self.peek();
        self.at = span.end;
        (token, span)
    }

    /// Takes the next token if it is `wanted`.
    pub(super) fn take(&mut self, wanted: Token<'_>) -> bool {
        let (token, span) = self.peek();
        let fits = token == wanted;
        if fits {
            self.at = span.end;
        }
        fits
    }

    /// Makes an error for a part of the text.
    pub(super) fn error(&self, span: Span, expected: impl Into<String>) -> LanguageError {
        LanguageError::new(self.text, span, expected)
    }

    /// Checks a value against its bound.
    pub(super) fn within(&self, bound: &Bound, value: f64, span: Span) -> Result<f64, LanguageError> {
        bound.check(value).map_err(|expected| self.error(span, expected))
    }

    /// Takes a word, or fails with what was expected there.
    fn word(&mut self, expected: &str) -> Result<Spanned<&'a str>, LanguageError> {
        match self.next() {
            (Token::Word(word), span) => Ok((word, span)),
            (_, span) => Err(self.error(span, expected)),
        }
    }

    /// Takes a number and its unit, together or apart: `400 m`, `400m`. The unit is empty when none follows.
    fn number_and_unit(&mut self, expected: &str) -> Result<Spanned<(f64, &'a str)>, LanguageError> {
        let (word, span) = self.word(expected)?;
        if word.starts_with(['-', '−']) && word.chars().nth(1).is_some_and(|c| c.is_ascii_digit()) {
            return Err(self.error(span, format!("{expected}, never negative")));
        }
        let digits = word.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(word.len());
        let (number, unit) = word.split_at(digits);
        let number = decimal(number).ok_or_else(|| self.error(span.clone(), expected))?;
        if !unit.is_empty() {
            return Ok(((number, unit), span));
        }
        match self.peek() {
            (Token::Word(unit), unit_span) => {
                self.at = unit_span.end;
                Ok(((number, unit), span.start..unit_span.end))
            }
            _ => Ok(((number, ""), span)),
        }
    }

    /// Takes how long or how far an item is: an amount, or a range of them.
    pub(super) fn extent(&mut self) -> Result<Range<Extent>, LanguageError> {
        let (first, span) = self.end_of_extent()?;
        let Token::Word(word) = self.peek().0 else { return Ok(first.into()) };
        if word.eq_ignore_ascii_case("to") {
            self.next();
            let (last, last_span) = self.end_of_extent()?;
            return self.between((first, span), (last, last_span)).map(|(range, _)| range);
        }
        if !word.eq_ignore_ascii_case("or") {
            return Ok(first.into());
        }
        self.next();
        match self.next() {
            (Token::Word(word), _) if word.eq_ignore_ascii_case("more") => {
                Ok(Range { least: first, most: first.with_amount(f64::INFINITY) })
            }
            (Token::Word(word), _) if word.eq_ignore_ascii_case("less") => {
                Ok(Range { least: first.with_amount(0.0), most: first })
            }
            (_, span) => Err(self.error(span, "`more` or `less` after `or`, as in `5:00 or more`")),
        }
    }

    /// Takes one end of an extent. A number without a unit before `to` has the unit of the other end.
    fn end_of_extent(&mut self) -> Result<Spanned<Extent>, LanguageError> {
        let (extent, span) = match self.unit_of_other_end() {
            None => self.any_extent(EXTENT)?,
            Some(unit) => {
                let (word, span) = self.word(EXTENT)?;
                let number = decimal(word).ok_or_else(|| self.error(span.clone(), EXTENT))?;
                (of_unit(number, unit).ok_or_else(|| self.error(span.clone(), EXTENT))?, span)
            }
        };
        match extent {
            Extent::Time(time) => self.within(&bounds::BOUT_TIME, time.get(), span.clone())?,
            Extent::Distance(distance) => {
                self.within(&bounds::BOUT_DISTANCE, distance.get(), span.clone())?
            }
        };
        Ok((extent, span))
    }

    /// The `min` of `22 to 28 min`, where the text goes on like that.
    fn unit_of_other_end(&self) -> Option<&'a str> {
        let mut ahead = self.clone();
        let number = |token: Token<'a>| match token {
            Token::Word(word) => Some(word).filter(|word| word.starts_with(|c: char| c.is_ascii_digit())),
            _ => None,
        };
        decimal(number(ahead.next().0)?)?;
        let (Token::Word(to), _) = ahead.next() else { return None };
        let other = number(ahead.next().0).filter(|_| to.eq_ignore_ascii_case("to"))?;
        let digits = other.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(other.len());
        let unit = match ahead.next().0 {
            Token::Word(unit) if digits == other.len() => unit,
            _ => &other[digits..],
        };
        of_unit(1.0, unit).map(|_| unit)
    }

    /// Makes a range of two ends: of one kind, the least first.
    fn between(
        &self,
        (least, least_span): Spanned<Extent>,
        (most, most_span): Spanned<Extent>,
    ) -> Result<Spanned<Range<Extent>>, LanguageError> {
        let span = least_span.start..most_span.end;
        if least.is_time() != most.is_time() {
            let expected = "two times, or two distances: a range does not mix them";
            return Err(self.error(span, expected));
        }
        if least.amount() > most.amount() {
            return Err(self.error(span, format!("the least first: `{most} to {least}`")));
        }
        Ok((Range { least, most }, span))
    }

    /// Takes a duration in time.
    pub(super) fn duration(&mut self, bound: &Bound) -> Result<Seconds, LanguageError> {
        match self.any_extent(DURATION)? {
            (Extent::Time(time), span) => self.within(bound, time.get(), span).map(Seconds::new),
            (Extent::Distance(_), span) => Err(self.error(span, DURATION)),
        }
    }

    fn any_extent(&mut self, expected: &str) -> Result<Spanned<Extent>, LanguageError> {
        if let (Token::Word(word), span) = self.peek()
            && word.contains(':')
        {
            self.at = span.end;
            if word.starts_with(['-', '−']) {
                return Err(self.error(span, format!("{expected}, never negative")));
            }
            let seconds = clock(word).ok_or_else(|| self.error(span.clone(), expected))?;
            return Ok((Extent::Time(Seconds::new(seconds)), span));
        }
        let ((number, unit), span) = self.number_and_unit(expected)?;
        match of_unit(number, unit) {
            Some(extent) => Ok((extent, span)),
            None if unit.is_empty() => Err(self.error(span, format!("a unit after the number: {expected}"))),
            None => Err(self.error(span, expected)),
        }
    }

    /// Takes a pace, as the speed that it means.
    pub(super) fn pace(&mut self) -> Result<MetresPerSecond, LanguageError> {
        let (word, mut span) = self.word(PACE)?;
        let (time, unit) = match word.split_once('/') {
            Some((time, unit)) => (time, Some(unit)),
            None => (word, None),
        };
        let unit = match (unit, self.peek()) {
            (Some(unit), _) => Some(unit),
            (None, (Token::Word(next), next_span)) => {
                self.at = next_span.end;
                span.end = next_span.end;
                next.strip_prefix('/')
            }
            _ => None,
        };
        let pace_s = pace_clock(time).ok_or_else(|| self.error(span.clone(), PACE))?;
        let metres = match unit {
            Some("km") => 1000.0,
            Some("mi") => METRES_PER_MILE,
            _ => return Err(self.error(span, PACE)),
        };
        let pace_s_per_km = pace_s * (1000.0 / metres);
        self.within(&bounds::PACE, pace_s_per_km, span)?;
        Ok(MetresPerSecond::new(metres / pace_s))
    }

    /// Takes a number with the one unit that fits, such as `168 spm`.
    pub(super) fn number(&mut self, unit: &str, example: &str, bound: &Bound) -> Result<f64, LanguageError> {
        let expected = format!("a number with its unit, such as `{example}`");
        let ((number, found), span) = self.number_and_unit(&expected)?;
        if found != unit {
            return Err(self.error(span, expected));
        }
        self.within(bound, number, span)
    }

    /// Takes a cadence: `168 spm`, steps of both feet, or `84 rpm`, strides of one leg.
    pub(super) fn cadence(&mut self, example: &str, bound: &Bound) -> Result<StepsPerMinute, LanguageError> {
        let expected = format!("a cadence with its unit, such as `{example}`");
        let ((number, unit), span) = self.number_and_unit(&expected)?;
        let steps = match unit {
            "spm" => StepsPerMinute::new(number),
            "rpm" => StridesPerMinute::new(number).to_steps(),
            _ => return Err(self.error(span, expected)),
        };
        self.within(bound, steps.get(), span).map(|_| steps)
    }

    /// Fails unless nothing is left.
    pub(super) fn end(&mut self) -> Result<(), LanguageError> {
        match self.next() {
            (Token::End, _) => Ok(()),
            (_, span) => Err(self.error(span.start..self.text.trim_end().len(), "nothing more here")),
        }
    }
}

/// So many of a unit.
fn of_unit(number: f64, unit: &str) -> Option<Extent> {
    Some(match unit {
        "s" => Extent::Time(Seconds::new(number)),
        "min" => Extent::Time(Seconds::new(number * 60.0)),
        "m" => Extent::Distance(Metres::new(number)),
        "km" => Extent::Distance(Metres::new(number * 1000.0)),
        "mi" => Extent::Distance(Metres::new(number * METRES_PER_MILE)),
        _ => return None,
    })
}

/// Reads a duration that stands alone, 0 s to 24 h: `1:00`, `90 s`, `2 min`.
///
/// # Errors
/// When it is none: says what was expected.
pub fn parse_duration(text: &str) -> Result<Seconds, LanguageError> {
    let mut scanner = Scanner::new(text);
    let time = scanner.duration(&bounds::TIME)?;
    scanner.end()?;
    Ok(time)
}

/// Reads a share that stands alone, 0 to 500 %, as a fraction: `25 %`.
///
/// # Errors
/// When it is none: says what was expected.
pub fn parse_percent(text: &str) -> Result<f64, LanguageError> {
    let mut scanner = Scanner::new(text);
    let percent = scanner.number("%", "25 %", &bounds::WEEKLY_INCREASE)?;
    scanner.end()?;
    Ok(percent / 100.0)
}

/// Reads `12` or `1.5`: digits, at most one point, a digit on either side of it.
fn decimal(text: &str) -> Option<f64> {
    // As many as it takes to write any distance or time within the bounds so that it reads back the same.
    const LONGEST: usize = 24;
    let fits = text.len() <= LONGEST && !text.starts_with('.') && !text.ends_with('.');
    fits.then(|| text.parse().ok()).flatten()
}

fn digits(text: &str, lengths: std::ops::RangeInclusive<usize>) -> Option<u32> {
    let fits = lengths.contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
    fits.then(|| text.parse().ok()).flatten()
}

fn sixtieths(text: &str) -> Option<u32> {
    digits(text, 2..=2).filter(|&n| n < 60)
}

/// Reads `m:ss` (minutes as many as wanted) or `h:mm:ss` as seconds.
fn clock(text: &str) -> Option<f64> {
    let parts: Vec<&str> = text.split(':').collect();
    match parts[..] {
        [m, s] => Some(f64::from(digits(m, 1..=4)? * 60 + sixtieths(s)?)),
        [h, m, s] => Some(f64::from(digits(h, 1..=3)? * 3600 + sixtieths(m)? * 60 + sixtieths(s)?)),
        _ => None,
    }
}

/// Reads `m:ss`, the seconds with a fraction if wanted, as seconds.
fn pace_clock(text: &str) -> Option<f64> {
    let (m, s) = text.split_once(':')?;
    let whole = s.split('.').next()?;
    sixtieths(whole)?;
    // Rounded to what is written: thousandths of a second.
    Some(f64::from(digits(m, 1..=3)? * 60) + (decimal(s)? * 1000.0).round() / 1000.0)
}

/// Writes a time as the language has it: `m:ss`, `h:mm:ss`, or `0.5 s` when it is not in whole seconds.
pub(super) fn write_time(time: Seconds) -> String {
    let seconds = time.get();
    if seconds.fract() != 0.0 || !(0.0..1e9).contains(&seconds) {
        return format!("{seconds} s");
    }
    units::clock(seconds)
}

/// Writes a distance as the language has it, in the unit that gives the shortest number that reads back the same.
pub(super) fn write_distance(distance: Metres) -> String {
    let metres = distance.get();
    let in_unit = |unit_m: f64| {
        let number = (metres / unit_m * 1e4).round() / 1e4;
        (number * unit_m == metres).then_some(number)
    };
    if metres.fract() == 0.0 && (metres < 1000.0 || metres % 100.0 != 0.0) {
        return format!("{metres} m");
    }
    if let Some(km) = in_unit(1000.0).filter(|_| metres >= 1000.0) {
        return format!("{km} km");
    }
    match in_unit(METRES_PER_MILE) {
        Some(mi) => format!("{mi} mi"),
        None => format!("{metres} m"),
    }
}

/// Smallest part of a second that a written pace is taken to have, as a count in a second.
const PACE_PARTS: [f64; 4] = [1.0, 10.0, 100.0, 1000.0];
/// How near to a whole number of parts a pace has to be; far above what arithmetic loses.
const PACE_SLACK: f64 = 1e-6;

/// Finds how a pace was written, seconds and for which length: the way that takes the fewest decimals. No pace of whole
/// seconds is whole both a kilometre and a mile: 25146 of the one would be 15625 of the other.
fn pace_as_written(speed: MetresPerSecond) -> Option<(f64, LengthUnit)> {
    let ways = PACE_PARTS.into_iter().flat_map(|parts| LengthUnit::ALL.map(|unit| (parts, unit)));
    ways.into_iter().find_map(|(parts, unit)| {
        let count = unit.metres() / speed.get() * parts;
        ((count - count.round()).abs() < PACE_SLACK).then_some((count.round() / parts, unit))
    })
}

/// Gives the length that a pace was written for; `None` where it was not written but worked out.
pub fn pace_unit(speed: MetresPerSecond) -> Option<LengthUnit> {
    pace_as_written(speed).map(|(_, unit)| unit)
}

/// Writes a speed as a pace in the unit in which it was written, else for a kilometre.
pub fn written_pace(speed: MetresPerSecond) -> String {
    let (pace_s, unit) = pace_as_written(speed).unwrap_or((1000.0 / speed.get(), LengthUnit::Kilometre));
    let minutes = (pace_s / 60.0).floor();
    // Three decimals are a thousandth of a second.
    let seconds = ((pace_s - minutes * 60.0) * 1000.0).round() / 1000.0;
    let zero = if seconds < 10.0 { "0" } else { "" };
    format!("{minutes}:{zero}{seconds} /{}", unit.word())
}

/// A text as a basic string of TOML.
pub(super) fn quoted(text: &str) -> String {
    let mut quoted = String::with_capacity(text.len() + 2);
    quoted.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if c.is_ascii_control() => {
                // Writing to a String cannot fail.
                let _ = write!(quoted, "\\u{:04X}", u32::from(c));
            }
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_need_two_digits_below_sixty() {
        assert_eq!(clock("1:00"), Some(60.0));
        assert_eq!(clock("90:00"), Some(5400.0));
        assert_eq!(clock("1:02:03"), Some(3723.0));
        for bad in ["1:0", "1:60", "1:000", ":30", "1:", "1:0x", "1:2:03", "+1:00", "1:00:00:00", "99999:00"]
        {
            assert_eq!(clock(bad), None, "{bad}");
        }
    }

    #[test]
    fn paces_are_speeds() {
        // By arithmetic: 6:45 /km is 1000 m in 405 s; 10:50 /mi is 1609.344 m in 650 s.
        assert_eq!(Scanner::new("6:45 /km").pace().unwrap().get(), 1000.0 / 405.0);
        assert_eq!(Scanner::new("10:50/mi").pace().unwrap().get(), 1609.344 / 650.0);
        assert_eq!(written_pace(Scanner::new("6:45.12549 /km").pace().unwrap()), "6:45.125 /km");
        for bad in ["6:45", "6:45 km", "6.45 /km", "6:45 /h", "0:30 /km", "45:00 /km", "/km", ""] {
            assert!(Scanner::new(bad).pace().is_err(), "{bad}");
        }
    }

    #[test]
    fn every_pace_is_written_as_it_was_read() {
        // All whole seconds within the bounds, for a kilometre and for a mile.
        let (km, mi) = ((120..=1800, "km"), (194..=2896, "mi"));
        for (range, unit) in [km, mi] {
            for pace_s in range {
                let text = format!("{}:{:02} /{unit}", pace_s / 60, pace_s % 60);
                let speed = Scanner::new(&text).pace().unwrap();
                assert_eq!(written_pace(speed), text);
                // Also when it went through seconds a kilometre.
                let again = MetresPerSecond::from_pace_s_per_km(1000.0 / speed.get());
                assert_eq!(written_pace(again), text);
            }
        }
        assert_eq!(written_pace(Scanner::new("10:50.5 /mi").pace().unwrap()), "10:50.5 /mi");
        assert_eq!(pace_unit(MetresPerSecond::new(2.5 + 1e-4)), None);
    }

    #[test]
    fn distances_pick_the_unit_that_reads_back() {
        let shown = |m: f64| write_distance(Metres::new(m));
        assert_eq!(shown(400.0), "400 m");
        assert_eq!(shown(1500.0), "1.5 km");
        assert_eq!(shown(1.5 * METRES_PER_MILE), "1.5 mi");
        assert_eq!(shown(0.1 * METRES_PER_MILE), "0.1 mi");
        assert_eq!(shown(1234.0), "1234 m");
    }

    #[test]
    fn the_longest_numbers_read_back() {
        // Found by fuzzing `session_prints_back`: 17 digits and a point.
        let long = Scanner::new("3.6666666666666 mi").extent().unwrap();
        let Some(Extent::Distance(distance)) = long.exact() else { panic!("{long:?}") };
        let written = write_distance(distance);
        assert_eq!(written, "5900.927999999893 m");
        assert_eq!(Scanner::new(&written).extent().unwrap(), long);
        assert!(Scanner::new("0.0000000000000000000000001 km").extent().is_err());
    }
}
