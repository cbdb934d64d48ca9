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
            Parser { scanner: Scanner::new(text), depth: 0, inside_until: 0, inside_rising: false };
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

fn double(extent: Range<Extent>) -> Extent {
    extent.least.with_amount(2.0 * extent.least.amount())
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
        let inside = if self.inside_rising { "`rising`" } else { "`for`" };
        let expected = format!("a single length inside a {inside}, such as `{}`", single(extent));
        Err(self.scanner.error(start..self.scanner.at(), expected))
    }

    fn until(&mut self, span: Span) -> Result<Item, LanguageError> {
        let start = self.scanner.peek().1.start;
        let extent = self.extent()?;
        if extent.most.amount().is_infinite() {
            let expected =
                format!("the most of the whole too, such as `{} to {}`", extent.least, double(extent));
            return Err(self.scanner.error(start..self.scanner.at(), expected));
        }
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
    fn reads_ranges_rests_and_counts() {
        for (text, printed) in [
            ("jog 22 to 28 min", "run 22:00 to 28:00"),
            ("run 90 s to 2 min", "run 1:30 to 2:00"),
            ("RUN 400 to 600m, Rest 1:10 Or More", "run 400 m to 600 m, rest 1:10 or more"),
            ("walk 4:00 or less", "walk 4:00 or less"),
            ("5 to 6x(run 0:50, walk 1:40)", "5 to 6 x (run 0:50, walk 1:40)"),
            ("4 rising to 7 x (run 0:50, walk 1:40)", "4 rising to 7 x (run 0:50, walk 1:40)"),
            ("for 22 to 28 min (run 0:50, walk 1:40)", "for 22:00 to 28:00 (run 0:50, walk 1:40)"),
            ("run 5:00 to 5:00", "run 5:00"),
        ] {
            let session = Session::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"));
            assert_eq!(session.to_string(), printed);
            assert_eq!(Session::parse(printed).unwrap(), session);
        }
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
            ("run 5:00 to 4:00", "5:00 to 4:00", "`4:00 to 5:00`"),
            ("run 5:00 to 400 m", "5:00 to 400 m", "does not mix"),
            ("run 5:00 to", "", "a duration"),
            ("run 5:00 or", "", "`more` or `less`"),
            ("run 5:00 or so", "so", "`more` or `less`"),
            ("run 5 to 6", "5 to", "a duration"),
            ("6 to 5 x (run 1:00)", "6 to 5", "`5 to 6 x`"),
            ("6 rising to 5 x (run 1:00)", "6 rising to 5", "`5 rising to 6 x`"),
            ("5 rising to 5 x (run 1:00)", "5 rising to 5", "rising"),
            ("5 to 6 rising to 7 x (run 1:00)", "rising", "`x`"),
            ("4 rising to 5 to 6 x (run 1:00)", "to", "`x`"),
            ("4 rising to 7 x (run 1:00 to 2:00)", "1:00 to 2:00", "inside a `rising`"),
            ("4 rising to 7 x (5 to 6 x (run 1:00))", "5", "inside a `rising`"),
            ("for 20:00 (run 1:00 to 2:00, walk 1:00)", "1:00 to 2:00", "inside a `for`"),
            ("for 20:00 (2 to 3 x (run 1:00), walk 1:00)", "2", "inside a `for`"),
            ("for 20:00 or more (run 1:00, walk 1:00)", "20:00 or more", "`20:00 to 40:00`"),
            ("1 to 1000 x (run 1 s)", "1 to 1000 x (run 1 s)", "200 ways"),
            (
                "for 1:00 to 23:00:00 (run 1:00, walk 1:00)",
                "for 1:00 to 23:00:00 (run 1:00, walk 1:00)",
                "200 ways",
            ),
            ("3 x (1 to 9 x (run 1 s))", "3 x (1 to 9 x (run 1 s))", "200 ways"),
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

    /// Exact figures as often as each kind of range, which is refused inside a `for`.
    fn ranges() -> impl Strategy<Value = Range<Extent>> {
        prop_oneof![
            extents().prop_map(Range::exactly),
            extents().prop_map(|least| Range { least, most: least.with_amount(f64::INFINITY) }),
            extents().prop_map(|most| Range { least: most.with_amount(0.0), most }),
            (extents(), extents()).prop_map(|(a, b)| {
                let b =
                    a.with_amount(if a.is_time() == b.is_time() { b.amount() } else { a.amount() + 50.0 });
                if a.amount() <= b.amount() {
                    Range { least: a, most: b }
                } else {
                    Range { least: b, most: a }
                }
            }),
        ]
    }

    fn counts() -> impl Strategy<Value = Count> {
        prop_oneof![
            (1u32..5).prop_map(Count::from),
            (1u32..5, 0u32..3).prop_map(|(n, more)| Count::Times(Range { least: n, most: n + more })),
            (1u32..5, 1u32..4).prop_map(|(n, more)| Count::Rising { first: n, last: n + more }),
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
        let motions = prop_oneof![Just(Move::Run), Just(Move::Walk), Just(Move::Rest)];
        let bouts = (motions, ranges(), ceilings()).prop_map(|(motion, extent, ceiling)| Item::Interval {
            motion,
            extent,
            ceiling,
        });
        bouts.prop_recursive(3, 12, 3, |inner| {
            let several = prop::collection::vec(inner, 1..3);
            prop_oneof![
                (counts(), several.clone()).prop_map(|(times, items)| Item::Repeat { times, items }),
                (ranges(), several).prop_map(|(extent, items)| Item::Until { extent, items }),
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
                    ["at most", "no `for` inside", "a single", "the most of the whole"]
                        .iter().any(|bound| error.expected.contains(bound)),
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
