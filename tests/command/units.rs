//! One plan says whether people read kilometres or miles, and all that they read follows; documents for programs stay in SI.

use crate::folder::Folder;

const PLAN: &str = "
title = 'Back to the canal'
units = 'mi'
[limits]
pace_ceiling = '12:00 /mi'
sessions_per_week = 3
rest_days_between = 1
[[stage]]
name = 'canal'
session = 'walk 3:40, 3 x (run 0.5 mi, walk 1:40)'
sessions = 3
[[stage]]
name = 'meadow'
session = 'walk 3:40, 3 x (run 1100 m @ 7:20 /km, walk 1:40)'
";

/// A case with a plan in miles and one recording, faster than its ceiling.
fn case() -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    std::fs::create_dir(folder.file("recordings")).unwrap();
    let made = [
        "simulate",
        "--plan",
        "plan.toml",
        "--stage",
        "canal",
        "--seed",
        "5",
        "--fault",
        "run-faster",
        "--out",
        "recordings/a.fit",
        "--truth",
        "truth.json",
    ];
    let (code, _, err) = folder.run(&made, b"");
    assert_eq!(code, 0, "{err}");
    folder
}

/// Whether a text has a distance in metres or kilometres, or a pace for a kilometre.
fn is_metric(text: &str) -> bool {
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || matches!(c, '.' | ',' | ';' | ')' | '(')).collect();
    words.iter().any(|word| matches!(*word, "km" | "/km" | "s/km"))
        || words.windows(2).any(|pair| pair[1] == "m" && pair[0].ends_with(|c: char| c.is_ascii_digit()))
}

#[test]
fn everything_a_person_reads_is_in_miles_when_the_plan_is() {
    let folder = case();
    let check = ["check", "recordings/a.fit", "--plan", "plan.toml", "--stage", "canal"];
    for (args, expected) in [
        ([&check[..], &[]].concat(), "12:00 /mi is the ceiling"),
        ([&check[..], &["--format", "html"]].concat(), "Pace, minutes per mile"),
        (vec!["review", "."], "0.5 mi"),
        (vec!["review", ".", "--format", "html"], "12:00 /mi"),
        (vec!["plan", "show", "plan.toml", "--stage", "canal"], "no faster than 12:00 /mi"),
    ] {
        let (code, out, err) = folder.run(&args, b"");
        assert_eq!(code, 0, "{err}");
        let read = out.split("<style>").map(|part| part.split("</style>").last().unwrap_or_default());
        // The second stage is written in metres, and stays so.
        let read: String = read.collect::<String>().replace("run 1.1 km @ 7:20 /km", "");
        assert!(read.contains(expected), "{args:?}: {read}");
        assert!(!is_metric(&read), "{args:?}: {read}");
    }
}

#[test]
fn the_option_stands_before_the_plan_and_machines_read_si() {
    let folder = case();
    let check = ["check", "recordings/a.fit", "--plan", "plan.toml", "--stage", "canal"];
    let run = |more: &[&str]| folder.run(&[&check[..], more].concat(), b"").1;
    let metric = run(&["--units", "km"]).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(metric.contains("pace up to 12:00 /mi"), "a ceiling stays as it was written: {metric}");
    assert!(metric.contains(", 7:27 /km, is the ceiling") && metric.contains("805 m"), "{metric}");
    // All but the sentences are the same.
    let json = |units| {
        let mut document: serde_json::Value =
            serde_json::from_str(&run(&["--format", "json", "--units", units])).unwrap();
        for finding in document["findings"].as_array_mut().unwrap() {
            assert_eq!(finding["text"].take().as_str().unwrap().contains("/km"), units == "km");
        }
        document
    };
    assert_eq!(json("km"), json("mi"));
    let bouts = |units| folder.run(&["bouts", "recordings/a.fit", "--units", units], b"").1;
    assert!(bouts("mi").contains("per mi") && !is_metric(&bouts("mi")), "{}", bouts("mi"));
    assert!(bouts("km").contains("per km"));
    let (code, _, err) = folder.run(&["bouts", "recordings/a.fit", "--units", "miles"], b"");
    assert_eq!(code, 2);
    assert!(err.contains("[possible values: km, mi]"), "{err}");
}
