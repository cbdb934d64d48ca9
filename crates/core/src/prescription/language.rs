//! The session language: `walk 5:00, 6 x (run 1:00, walk 2:00), walk 5:00` ↔ [`Session`].

use std::fmt;
use std::str::FromStr;

use super::bounds;
use super::error::LanguageError;
use super::expand::{self, TooMuch};
use super::scan::{Scanner, Token, write_distance, write_time, written_pace};
use super::suggest::closest;
use super::{Count, Extent, Item, Move, Session};
use crate::range::Range;

type Span = std::ops::Range<usize>;

const ITEM: &str = "an item such as `run 1:00`, `walk 2:00`, `6 x (…)` or `for 30:00 (…)`";
const REPEAT: &str = "`x` and brackets after a count, as in `6 x (run 1:00, walk 2:00)`";

impl Session {
    /// Reads a session.
    ///
    /// # Errors
    /// When the text does not follow the language or goes beyond its bounds: says where and what was expected.
    ///
    /// # Example
    /// ```
    /// use jogaudit_core::prescription::Session;
    /// let session = Session::parse("walk 5:00, 6 x (run 1:00, walk 2:00)")?;
    /// assert_eq!(session.expand().fixed_steps().map(|steps| steps.len()), Some(13));
    /// # Ok::<(), jogaudit_core::prescription::LanguageError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Self, LanguageError> {
        let mut parser =
            Parser { scanner: Scanner::new(text), items: 0, depth: 0, inside_until: 0, inside_rising: false };
        let items = parser.items()?;
        let (token, span) = parser.scanner.peek();
        if token != Token::End {
            return Err(parser.scanner.error(span, "`,` and a further item, or the end"));
        }
        let session = Self { items };
        let whole = |expected| LanguageError::new(text, 0..text.trim_end().len(), expected);
        expand::check(&session).map_err(|TooMuch(expected)| whole(expected))?;
        Ok(session)
    }
}

impl Count {
    /// Reads `3` or `2 to 3`, each within a bound.
    pub(super) fn parse_range(text: &str, bound: &bounds::Bound) -> Result<Range<u32>, LanguageError> {
        let mut scanner = Scanner::new(text);
        let expected = format!("{} {}, or two of them as in `2 to 3`", bound.name, bound.range);
        let number = |scanner: &mut Scanner<'_>| {
            let (token, span) = scanner.next();
            let Token::Word(word) = token else { return Err(scanner.error(span, expected.clone())) };
            let number = word.parse::<u32>().ok().filter(|number| bound.whole().contains(number));
            number.map(|number| (number, span.clone())).ok_or_else(|| scanner.error(span, expected.clone()))
        };
        let (least, span) = number(&mut scanner)?;
        if scanner.peek().0 == Token::End {
            return Ok(Range::exactly(least));
        }
        let (token, to) = scanner.next();
        if !matches!(token, Token::Word(word) if word.eq_ignore_ascii_case("to")) {
            return Err(scanner.error(to, "`to` and a further number, or the end"));
        }
        let (most, last) = number(&mut scanner)?;
        scanner.end()?;
        if least > most {
            return Err(scanner.error(span.start..last.end, format!("the least first: `{most} to {least}`")));
        }
        Ok(Range { least, most })
    }
}

impl FromStr for Session {
    type Err = LanguageError;

    fn from_str(text: &str) -> Result<Self, LanguageError> {
        Self::parse(text)
    }
}

struct Parser<'a> {
    scanner: Scanner<'a>,
    /// Items so far.
    items: u32,
    /// Brackets that are open.
    depth: u32,
    /// How many of them belong to a `for`.
    inside_until: u32,
    /// Whether a count around this rises.
    inside_rising: bool,
}

/// A figure to write instead of a range.
fn single(extent: Range<Extent>) -> Extent {
    if extent.most.amount().is_finite() { extent.most } else { extent.least }
}

impl Parser<'_> {
    fn items(&mut self) -> Result<Vec<Item>, LanguageError> {
        let mut items = vec![self.item()?];
        while self.scanner.take(Token::Comma) {
            items.push(self.item()?);
        }
        Ok(items)
    }

    fn item(&mut self) -> Result<Item, LanguageError> {
        // Each item is at least one run or walk: what follows need not be read.
        self.items += 1;
        if let Err(expected) = bounds::STEPS.check(f64::from(self.items)) {
            return Err(self.scanner.error(0..self.scanner.text().trim_end().len(), expected));
        }
        let (token, span) = self.scanner.next();
        let Token::Word(word) = token else { return Err(self.scanner.error(span, ITEM)) };
        match word.to_ascii_lowercase().as_str() {
            "run" | "jog" => self.bout(Move::Run),
            "walk" => self.bout(Move::Walk),
            "rest" => self.bout(Move::Rest),
            "for" => self.until(span),
            number if number.starts_with(|c: char| c.is_ascii_digit()) => self.repeat(number, span),
            other => {
                let meant = closest(other, ["run", "jog", "walk", "rest", "for"])
                    .map(|word| format!("; did you mean `{word}`?"));
                Err(self.scanner.error(span, format!("{ITEM}{}", meant.unwrap_or_default())))
            }
        }
    }

    fn bout(&mut self, motion: Move) -> Result<Item, LanguageError> {
        let extent = self.extent()?;
        let ceiling = if self.scanner.take(Token::At) { Some(self.scanner.pace()?) } else { None };
        Ok(Item::Interval { motion, extent, ceiling })
    }

    /// `number` is the first number: `6` of `6 x`, `5` of `5 to 6 x`, `4` of `4 rising to 7 x`, or `6x` in one word.
    fn repeat(&mut self, number: &str, span: Span) -> Result<Item, LanguageError> {
        let (first, mut has_sign) = self.count(number, span.clone(), ITEM)?;
        let mut times = Count::from(first);
        let is_rising = !has_sign && self.takes_word("rising");
        if !has_sign && (self.takes_word("to") || is_rising) {
            let (token, last_span) = self.scanner.next();
            let Token::Word(word) = token else { return Err(self.scanner.error(last_span, REPEAT)) };
            let (last, signed) = self.count(word, last_span.clone(), REPEAT)?;
            has_sign = signed;
            let whole = span.start..last_span.end;
            if first > last || (is_rising && first == last) {
                let than = if is_rising { "rising " } else { "" };
                let (least, most) = (first.min(last), first.max(last));
                return Err(self
                    .scanner
                    .error(whole, format!("the least first: `{least} {than}to {most} x`")));
            }
            times = if is_rising {
                Count::Rising { first, last }
            } else {
                Count::Times(Range { least: first, most: last })
            };
        }
        if !has_sign && !["x", "X", "×"].into_iter().any(|sign| self.scanner.take(Token::Word(sign))) {
            let (_, span) = self.scanner.peek();
            return Err(self.scanner.error(span, REPEAT));
        }
        self.keep_apart(times, span)?;
        let outer = self.inside_rising;
        self.inside_rising |= is_rising;
        let items = self.bracketed()?;
        self.inside_rising = outer;
        Ok(Item::Repeat { times, items })
    }

    /// Takes the number of a word such as `6` or `6x`, and whether the sign stands in it.
    fn count(&self, word: &str, span: Span, expected: &str) -> Result<(u32, bool), LanguageError> {
        let digits = word.trim_end_matches(['x', '×']);
        let Ok(times) = digits.parse::<u64>() else { return Err(self.scanner.error(span, expected)) };
        let digits_span = span.start..span.start + digits.len();
        let times = self.scanner.within(&bounds::REPEATS, times as f64, digits_span)?;
        Ok((times as u32, digits.len() < word.len()))
    }

    fn takes_word(&mut self, wanted: &str) -> bool {
        let is_it = matches!(self.scanner.peek().0, Token::Word(word) if word.eq_ignore_ascii_case(wanted));
        if is_it {
            self.scanner.next();
        }
        is_it
    }

    /// Refuses a range, or a rising count, where it would leave open what is meant.
    fn keep_apart(&self, times: Count, span: Span) -> Result<(), LanguageError> {
        let is_one = times.range().is_exact();
        if !is_one && self.inside_until > 0 {
            return Err(self.scanner.error(span, "a single count inside a `for`: the whole is the range"));
        }
        if !is_one && self.inside_rising {
            return Err(self
                .scanner
                .error(span, "a single count inside a `rising`: it would rise by a range"));
        }
        Ok(())
    }

    /// Takes an extent, which may be a range only where that leaves nothing else open.
    fn extent(&mut self) -> Result<Range<Extent>, LanguageError> {
        let start = self.scanner.peek().1.start;
        let extent = self.scanner.extent()?;
        if extent.is_exact() || (self.inside_until == 0 && !self.inside_rising) {
            return Ok(extent);
        }
        let single = single(extent);
        let expected = if self.inside_rising {
            format!("a single length inside a `rising`, such as `{single}`")
        } else {
            format!(
                "a single length inside a `for`, such as `{single}`, or a count of them instead of the `for`, such as \
                 `5 to 6 x (…)`"
            )
        };
        Err(self.scanner.error(start..self.scanner.at(), expected))
    }

    fn until(&mut self, span: Span) -> Result<Item, LanguageError> {
        let extent = self.extent()?;
        self.inside_until += 1;
        let items = self.bracketed()?;
        self.inside_until -= 1;
        let item = Item::Until { extent, items };
        if self.inside_until > 0 && expand::is_open(&item) {
            let expected =
                "no `for` inside a `for` unless both and their items are all by time, or all by distance";
            return Err(self.scanner.error(span, expected));
        }
        Ok(item)
    }

    fn bracketed(&mut self) -> Result<Vec<Item>, LanguageError> {
        let (token, span) = self.scanner.next();
        if token != Token::Open {
            return Err(self.scanner.error(span, "`(`"));
        }
        self.depth += 1;
        self.scanner.within(&bounds::DEPTH, f64::from(self.depth), span)?;
        let items = self.items()?;
        let (token, span) = self.scanner.next();
        if token != Token::Close {
            return Err(self.scanner.error(span, "`,` or `)`"));
        }
        self.depth -= 1;
        Ok(items)
    }
}

impl Move {
    /// Lower-case word as in the session language.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Walk => "walk",
            Self::Rest => "rest",
        }
    }
}

/// As the session language writes it: `1:30`, `400 m`.
impl fmt::Display for Extent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&match self {
            Self::Time(time) => write_time(*time),
            Self::Distance(distance) => write_distance(*distance),
        })
    }
}

/// As the session language writes it: `22:00 to 28:00`, `5:00 or more`.
impl fmt::Display for Range<Extent> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.exact(), self.amounts()) {
            (Some(exact), _) => write!(f, "{exact}"),
            (_, Range { most: f64::INFINITY, .. }) => write!(f, "{} or more", self.least),
            (_, Range { least: 0.0, .. }) => write!(f, "{} or less", self.most),
            _ => write!(f, "{} to {}", self.least, self.most),
        }
    }
}

/// As the session language writes it: `6`, `5 to 6`, `4 rising to 7`.
impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Times(times) => write!(f, "{times}"),
            Self::Rising { first, last } => write!(f, "{first} rising to {last}"),
        }
    }
}

/// As the session language writes it.
impl fmt::Display for Item {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Interval { motion, extent, ceiling } => {
                write!(f, "{} {extent}", motion.word())?;
                ceiling.map_or(Ok(()), |ceiling| write!(f, " @ {}", written_pace(ceiling)))
            }
            Self::Repeat { times, items } => {
                write!(f, "{times} x (")?;
                write_items(items, f)?;
                f.write_str(")")
            }
            Self::Until { extent, items } => {
                write!(f, "for {extent} (")?;
                write_items(items, f)?;
                f.write_str(")")
            }
        }
    }
}

/// Canonical text of the session language; it parses back to the same session.
impl fmt::Display for Session {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_items(&self.items, f)
    }
}

fn write_items(items: &[Item], f: &mut fmt::Formatter<'_>) -> fmt::Result {
    for (n, item) in items.iter().enumerate() {
        let separator = if n > 0 { ", " } else { "" };
        write!(f, "{separator}{item}")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests;
