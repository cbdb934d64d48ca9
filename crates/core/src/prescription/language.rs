//! The session language: `walk 5:00, 6 x (run 1:00, walk 2:00), walk 5:00` ↔ [`Session`].

use std::fmt;
use std::str::FromStr;

use super::bounds;
use super::error::LanguageError;
use super::expand::{self, TooMuch};
use super::scan::{Scanner, Token, write_distance, write_time, written_pace};
use super::suggest::closest;
use super::{Extent, Item, Move, Session};

const ITEM: &str = "an item such as `run 1:00`, `walk 2:00`, `6 x (…)` or `for 30:00 (…)`";

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
        let mut parser = Parser { scanner: Scanner::new(text), depth: 0, inside_until: 0 };
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

impl FromStr for Session {
    type Err = LanguageError;

    fn from_str(text: &str) -> Result<Self, LanguageError> {
        Self::parse(text)
    }
}

struct Parser<'a> {
    scanner: Scanner<'a>,
    /// Brackets that are open.
    depth: u32,
    /// How many of them belong to a `for`.
    inside_until: u32,
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
        let (token, span) = self.scanner.next();
        let Token::Word(word) = token else { return Err(self.scanner.error(span, ITEM)) };
        match word.to_ascii_lowercase().as_str() {
            "run" => self.bout(Move::Run),
            "walk" => self.bout(Move::Walk),
            "for" => self.until(span),
            number if number.starts_with(|c: char| c.is_ascii_digit()) => self.repeat(number, span),
            other => {
                let meant =
                    closest(other, ["run", "walk", "for"]).map(|word| format!("; did you mean `{word}`?"));
                Err(self.scanner.error(span, format!("{ITEM}{}", meant.unwrap_or_default())))
            }
        }
    }

    fn bout(&mut self, motion: Move) -> Result<Item, LanguageError> {
        let extent = self.scanner.extent()?;
        let ceiling = if self.scanner.take(Token::At) { Some(self.scanner.pace()?) } else { None };
        Ok(Item::Interval { motion, extent, ceiling })
    }

    /// `number` is `6` or `6x`.
    fn repeat(&mut self, number: &str, span: std::ops::Range<usize>) -> Result<Item, LanguageError> {
        let digits = number.trim_end_matches(['x', '×']);
        let times = match digits.parse::<u64>() {
            Ok(times) => {
                self.scanner.within(&bounds::REPEATS, times as f64, span.start..span.start + digits.len())?
            }
            Err(_) => return Err(self.scanner.error(span, ITEM)),
        };
        let has_sign = digits.len() < number.len()
            || ["x", "X", "×"].into_iter().any(|sign| self.scanner.take(Token::Word(sign)));
        if !has_sign {
            let (_, span) = self.scanner.peek();
            return Err(self
                .scanner
                .error(span, "`x` and brackets after a count, as in `6 x (run 1:00, walk 2:00)`"));
        }
        let items = self.bracketed()?;
        Ok(Item::Repeat { times: times as u32, items })
    }

    fn until(&mut self, span: std::ops::Range<usize>) -> Result<Item, LanguageError> {
        let extent = self.scanner.extent()?;
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
mod tests {
    use proptest::prelude::*;

    use super::*;
    use jogaudit_recording::units::{METRES_PER_MILE, Metres, MetresPerSecond, Seconds};

    /// The error as `(text at fault, what was expected)`.
    fn fault(text: &str) -> (&str, String) {
        let error = Session::parse(text).expect_err(text);
        (&text[error.span.clone()], error.expected)
    }

    #[test]
    fn reads_every_form() {
        let text =
            "WALK 5:00, 2x(run 90 s @ 7:00/km, walk 2min), for 1.5 mi (run 400 m, walk 1:00), run 1:00:00";
        let session = Session::parse(text).unwrap();
        assert_eq!(
            session.to_string(),
            "walk 5:00, 2 x (run 1:30 @ 7:00 /km, walk 2:00), for 1.5 mi (run 400 m, walk 1:00), run 1:00:00"
        );
        assert_eq!(Session::parse(&session.to_string()).unwrap(), session);
    }

    #[test]
    fn a_slip_is_shown_where_it_stands() {
        let (at, expected) = fault("walk 5:00, 6 x (run 1:0x, walk 2:00), walk 5:00");
        assert_eq!(at, "1:0x");
        assert_eq!(expected, "a duration such as `1:00`, `90 s`, `2 min` or `400 m`");
    }

    #[test]
    fn each_mistake_says_what_was_expected() {
        for (text, at, part) in [
            ("", "", "an item"),
            ("run", "", "a duration"),
            ("run 5", "5", "a unit"),
            ("run 5 h", "5 h", "a duration"),
            ("run -1:00", "-1:00", "never negative"),
            ("run -90 s", "-90", "never negative"),
            ("run 0:00", "0:00", "from 1 s"),
            ("run 25:00:00", "25:00:00", "24 h"),
            ("run 3 m", "3 m", "minutes are `min`"),
            ("run 1:00 walk 2:00", "walk", "`,`"),
            ("run 1:00,", "", "an item"),
            ("wlak 1:00", "wlak", "did you mean `walk`"),
            ("6 (run 1:00)", "(", "`x`"),
            ("6 x run 1:00", "run", "`(`"),
            ("6 x (run 1:00", "", "`)`"),
            ("6 x (run 1:00))", ")", "the end"),
            ("0 x (run 1:00)", "0", "from 1 to 1000"),
            ("1000000 x (run 1:00)", "1000000", "from 1 to 1000"),
            (
                "1000 x (1000 x (1000 x (run 1:00)))",
                "1000 x (1000 x (1000 x (run 1:00)))",
                "10000 runs and walks",
            ),
            ("for 24:00:00 (run 1 s, walk 1 s)", "for 24:00:00 (run 1 s, walk 1 s)", "10000 runs and walks"),
            ("20 x (walk 2:00:00)", "20 x (walk 2:00:00)", "24 h"),
            ("run 1:00 @", "", "a pace"),
            ("run 1:00 @ 7:00", "7:00", "a pace"),
            ("run 1:00 @ 1:00 /km", "1:00 /km", "from 2:00 /km"),
            ("for 1 km (for 10:00 (run 200 m, walk 1:00))", "for", "no `for` inside"),
        ] {
            let (found, expected) = fault(text);
            assert_eq!(found, at, "{text}");
            assert!(expected.contains(part), "{text}: {expected}");
        }
    }

    #[test]
    fn deep_brackets_are_refused_without_overflow() {
        let text = "1 x (".repeat(100_000);
        assert!(fault(&text).1.contains("nested"));
    }

    #[test]
    fn nested_repeats_and_cuts_cost_no_more_than_what_they_give() {
        // Unrolling each repeat anew would take 1000⁴ rounds.
        let text = format!("{}run 1 s, walk 1 s{}", "1000 x (for 2 s (".repeat(4), "))".repeat(4));
        assert_eq!(Session::parse(&text).unwrap().expand().fixed_steps().unwrap().len(), 2000);
    }

    fn extents() -> impl Strategy<Value = Extent> {
        prop_oneof![
            (1u32..7200).prop_map(|s| Extent::Time(Seconds::new(f64::from(s)))),
            (10u32..600).prop_map(|tenths| Extent::Time(Seconds::new(f64::from(tenths) / 10.0))),
            (50u32..5000).prop_map(|m| Extent::Distance(Metres::new(f64::from(m)))),
            (1u32..30)
                .prop_map(|tenths| Extent::Distance(Metres::new(f64::from(tenths) / 10.0 * METRES_PER_MILE))),
        ]
    }

    fn ceilings() -> impl Strategy<Value = Option<MetresPerSecond>> {
        prop_oneof![
            Just(None),
            (120u32..1800).prop_map(|pace| Some(MetresPerSecond::new(1000.0 / f64::from(pace)))),
            (200u32..2800).prop_map(|pace| Some(MetresPerSecond::new(METRES_PER_MILE / f64::from(pace)))),
        ]
    }

    fn items() -> impl Strategy<Value = Item> {
        let motions = prop_oneof![Just(Move::Run), Just(Move::Walk)];
        let bouts = (motions, extents(), ceilings()).prop_map(|(motion, extent, ceiling)| Item::Interval {
            motion,
            extent,
            ceiling,
        });
        bouts.prop_recursive(3, 12, 3, |inner| {
            let several = prop::collection::vec(inner, 1..3);
            prop_oneof![
                (1u32..5, several.clone()).prop_map(|(times, items)| Item::Repeat { times, items }),
                (extents(), several).prop_map(|(extent, items)| Item::Until { extent, items }),
            ]
        })
    }

    proptest! {
        #[test]
        fn what_is_printed_reads_back(items in prop::collection::vec(items(), 1..4)) {
            let session = Session { items };
            let text = session.to_string();
            // A random session may break a bound; it must then be a bound that stops it, not the grammar.
            match Session::parse(&text) {
                Ok(back) => prop_assert_eq!(back, session),
                Err(error) => prop_assert!(
                    error.expected.contains("at most") || error.expected.contains("no `for` inside"),
                    "{}: {}", text, error
                ),
            }
        }

        #[test]
        fn no_text_panics(text in ".{0,60}") {
            let _ = Session::parse(&text);
        }

        #[test]
        fn no_near_miss_panics(text in "(run|walk|for|[0-9]{1,4}|x|:|,|\\(|\\)|@|/km|m|s| |é){0,20}") {
            if let Err(error) = Session::parse(&text) {
                prop_assert!(text.get(error.span).is_some());
            }
        }
    }
}
