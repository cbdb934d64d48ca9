//! What the session language takes, what it refuses and in which words, and that what is printed reads back.

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
    let text = "WALK 5:00, 2x(run 90 s @ 7:00/km, walk 2min), for 1.5 mi (run 400 m, walk 1:00), run 1:00:00";
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
        ("for 20:50 or more (run 0:50, walk 1:40)", "for 20:50 or more (run 0:50, walk 1:40)"),
        ("for 2 km or less (run 0:50, walk 1:40)", "for 2 km or less (run 0:50, walk 1:40)"),
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
    ] {
        let (found, expected) = fault(text);
        assert_eq!(found, at, "{text}");
        assert!(expected.contains(part), "{text}: {expected}");
    }
}

#[test]
fn each_slip_in_a_range_says_what_was_expected() {
    for (text, at, part) in [
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
        ("for 20:00 (run 1:00 to 2:00, walk 1:00)", "1:00 to 2:00", "a count of them instead"),
        ("for 20:00 or (run 1:00, walk 1:00)", "(", "`more` or `less`"),
        (
            "for 9:00:00 or more (run 1:00, walk 1:00)",
            "for 9:00:00 or more (run 1:00, walk 1:00)",
            "200 ways",
        ),
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
fn a_session_of_very_many_items_is_refused_without_reading_them_all() {
    // What follows is no session: it is not looked at.
    let text = format!("{}run 1 s, !", "run 1 s, ".repeat(10_000));
    let (at, expected) = fault(&text);
    assert_eq!(at.len(), text.len());
    assert!(expected.contains("10000 runs and walks"), "{expected}");
    assert!(Session::parse(&vec!["run 1 s"; 10_000].join(", ")).is_ok());
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
            let b = a.with_amount(if a.is_time() == b.is_time() { b.amount() } else { a.amount() + 50.0 });
            if a.amount() <= b.amount() { Range { least: a, most: b } } else { Range { least: b, most: a } }
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
                ["at most", "no `for` inside", "a single"]
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
