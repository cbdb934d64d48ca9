//! The rule table row by row, and what must hold whatever the case. The cases are made of outcomes, without recordings.

mod kinds;
mod pace;
mod seen;

use std::fmt::Write as _;

use jiff::civil::Date;
use proptest::prelude::*;

use super::*;
use crate::audit::Outcome;

const PLAN: &str = "
timezone = 'UTC'
[limits]
sessions_per_week = 3
rest_days_between = 1
[[stage]]
name = '1'
session = 'walk 5:00, 6 x (run 1:00, walk 2:00)'
sessions = 2
[[stage]]
name = '2'
session = 'walk 5:00, 6 x (run 1:30, walk 2:00)'
sessions = 2
[[stage]]
name = '3'
session = 'walk 5:00, 6 x (run 2:00, walk 2:00)'
sessions = 2
";

/// The `day`th day after 28 February 2026, so 1 to 31 are days of March.
fn day(day: i64) -> Date {
    calendar::plus("2026-02-28".parse().unwrap(), day)
}

fn session(plan: &Plan, date: Date, stage: StageChoice, outcome: Outcome) -> PerformedSession {
    let run_s =
        stage.stage().and_then(|s| plan.stages[s].session.dose().run).map_or(600.0, |run| run.most.get());
    let walk_s = 1000.0;
    let totals = Totals {
        run_s,
        sure_run_s: run_s,
        walk_s,
        session_s: run_s + walk_s,
        run_steps: Some(run_s * 160.0 / 60.0),
        walk_steps: Some(walk_s * 110.0 / 60.0),
        run_distance_m: Some(run_s * 2.5),
        longest_run_s: run_s / 6.0,
        longest_run_m: Some(run_s / 6.0 * 2.5),
    };
    let start = format!("{date}T07:00:00Z").parse().unwrap();
    let recordings = vec![format!("{date}.fit")];
    PerformedSession {
        recordings,
        start,
        date,
        totals,
        stage,
        due: None,
        outcome,
        audit: None,
        notices: vec![],
        bouts: vec![],
    }
}

/// Reads `"2:1k 4:2o"`: on 2 March stage 1, kept; on the 4th stage 2, overdone. `u` underdone, `?` undecided. Stage `x`
/// is running outside the plan, `~` one that can't be told.
fn sessions_of(plan: &Plan, text: &str) -> Vec<PerformedSession> {
    text.split_whitespace()
        .map(|word| {
            let (date, rest) = word.split_once(':').unwrap();
            let (stage, outcome) = rest.split_at(1);
            let outcome = match outcome {
                "k" => Outcome::Kept,
                "o" => Outcome::Overdone,
                "u" => Outcome::Underdone,
                _ => Outcome::Undecided,
            };
            let stage = match stage {
                "x" => StageChoice::NoSession,
                "~" => StageChoice::Ambiguous(vec![(0, 0.5), (1, 0.5)]),
                number => {
                    StageChoice::Recognised { stage: number.parse::<usize>().unwrap() - 1, certainty: 0.99 }
                }
            };
            session(plan, day(date.parse().unwrap()), stage, outcome)
        })
        .collect()
}

/// Reads `"2:0,0 4:3,,night"`: on 2 March no pain during or on the next morning; on the 4th pain 3, at night.
fn diary_of(text: &str) -> Diary {
    let mut lines = String::from("date,pain_during,pain_next_morning,pain_pattern,effort\n");
    for word in text.split_whitespace() {
        let (date, rest) = word.split_once(':').unwrap();
        let _ = writeln!(lines, "{},{rest}", day(date.parse().unwrap()));
    }
    let diary = Diary::parse(&lines, Date::MAX);
    assert!(diary.notices.is_empty(), "{:?}", diary.notices);
    diary.value
}

fn reviewed(plan: &str, sessions: &str, diary: &str, as_of: i64) -> Review {
    let plan = Plan::parse(plan).unwrap().value;
    let sessions = sessions_of(&plan, sessions);
    let written = Written { diary: diary_of(diary), ..Written::default() };
    review(&plan, &written, &sessions, &[], day(as_of), &ReviewConfig::default()).value
}

fn codes(review: &Review) -> Vec<&'static str> {
    review.ruling.applied.iter().map(|applied| applied.row().code.word()).collect()
}

fn deciding(review: &Review) -> (&'static str, Recommendation, Option<usize>, Option<Date>) {
    let ruling = &review.ruling;
    (
        ruling.applied[0].row().code.word(),
        ruling.recommendation,
        ruling.stage.map(|stage| stage + 1),
        ruling.not_before,
    )
}

/// Two sessions of stage 1 and two of stage 2, all kept, without pain.
const GOOD: &str = "2:1k 4:1k 6:2k 9:2k";
const NO_PAIN: &str = "2:0,0 4:0,0 6:0,0 9:0,0";

/// Sessions, diary and day of the review.
type CaseOf = (&'static str, &'static str, i64);

/// A row: the rule, a case in which it applies, what it asks for, and a case in which it does not.
struct Row {
    rule: &'static str,
    plan: &'static str,
    case: CaseOf,
    asks: Recommendation,
    not: CaseOf,
}

#[expect(clippy::too_many_lines, reason = "a table: the rows of the rule table")]
fn rows() -> Vec<Row> {
    let row = |rule, case, asks, not| Row { rule, plan: PLAN, case, asks, not };
    let limited = |rule, case, asks, not| Row { rule, plan: LIMITED, case, asks, not };
    let good = (GOOD, NO_PAIN, 10);
    vec![
        row("night_pain", (GOOD, "9:0,0,night", 10), Recommendation::SeeClinician, good),
        // No session without pain answers it, only a visit: `seen`.
        row("night_pain", ("2:1k 6:2k 10:2k", "6:1,0,night 10:0,0", 10), Recommendation::SeeClinician, good),
        row("pain_twice", (GOOD, "6:1,0 9:1,0", 10), Recommendation::SeeClinician, (GOOD, "2:1,0 9:1,0", 10)),
        row("pain_above_five", (GOOD, "9:6,0", 10), Recommendation::Rest, (GOOD, "9:5,0", 10)),
        row("pain_above_five", (GOOD, "9:6,0", 13), Recommendation::StepBack, good),
        row(
            "pain_stays",
            (GOOD, "9:2,0,warm_up_stays", 10),
            Recommendation::Rest,
            (GOOD, "9:2,0,warm_up_only", 10),
        ),
        row("pain_stays", (GOOD, "9:2,0,warm_up_stays", 13), Recommendation::StepBack, good),
        row("pain_returns", (GOOD, "9:2,0,returns", 12), Recommendation::Rest, (GOOD, "9:2,0,after", 12)),
        row("pain_returns", (GOOD, "9:2,0,returns", 13), Recommendation::StepBack, good),
        row("pain_next_morning", (GOOD, "9:0,1", 10), Recommendation::Rest, (GOOD, "9:0,0", 10)),
        row("pain_next_morning", (GOOD, "9:0,1", 13), Recommendation::Repeat, good),
        row("pain_after", (GOOD, "9:1,0,after", 10), Recommendation::Rest, (GOOD, "9:1,0", 10)),
        row("pain_after", (GOOD, "9:,,after", 13), Recommendation::Repeat, good),
        row("pain_during", (GOOD, "9:1,0", 10), Recommendation::Rest, good),
        row("pain_during", (GOOD, "9:1,0", 13), Recommendation::Repeat, (GOOD, "6:0,0 9:0,0", 13)),
        limited("pain_during", (GOOD, "9:3,0", 10), Recommendation::Rest, (GOOD, "9:2,0", 10)),
        limited("pain_next_morning", (GOOD, "9:1,3", 10), Recommendation::Rest, (GOOD, "9:1,2", 10)),
        row(
            "spacing_twice",
            ("2:1k 4:1k 5:1k 6:1k", NO_PAIN, 7),
            Recommendation::Rest,
            ("2:1k 4:1k 5:1k", NO_PAIN, 7),
        ),
        row(
            "spacing_twice",
            ("2:1k 4:1k 5:1k 6:1k", NO_PAIN, 10),
            Recommendation::Repeat,
            (GOOD, NO_PAIN, 10),
        ),
        row("away_months", (GOOD, NO_PAIN, 99), Recommendation::StepBack, (GOOD, NO_PAIN, 98)),
        row("break_step_back", (GOOD, NO_PAIN, 23), Recommendation::StepBack, (GOOD, NO_PAIN, 22)),
        row(
            "moved_on_early",
            ("2:1k 4:2k", "4:0,0", 5),
            Recommendation::StepBack,
            ("2:1k 4:1k 6:2k", "6:0,0", 7),
        ),
        row(
            "moved_on_early",
            ("2:1k 4:1k 6:3k", "6:0,0", 7),
            Recommendation::StepBack,
            ("2:1k 4:1k 6:3k 9:3k", "9:0,0", 10),
        ),
        row(
            "overdone_twice",
            ("2:1k 4:1k 6:2o 9:2o", "9:0,0", 10),
            Recommendation::StepBack,
            ("2:1k 4:1k 6:2o 9:2k", "9:0,0", 10),
        ),
        row("break_repeat", (GOOD, NO_PAIN, 16), Recommendation::Repeat, (GOOD, NO_PAIN, 15)),
        row("overdone", ("2:1k 4:1k 6:2k 9:2o", "9:0,0", 10), Recommendation::Repeat, good),
        row("overdone", ("2:1k 4:1k 6:2k 9:xk", "9:0,0", 10), Recommendation::Repeat, good),
        row("overdone_this_week", ("2:1k 4:1k 6:2k 9:2k 10:2k", "10:0,0", 12), Recommendation::Repeat, good),
        // Within the ceiling of 4, and once it is seven days ago, nothing is said.
        limited("effort_too_high", (GOOD, "9:0,0,,4.5", 10), Recommendation::Repeat, (GOOD, "9:0,0,,4", 10)),
        limited(
            "effort_too_high",
            (GOOD, "4:0,0,,6 9:0,0,,3", 10),
            Recommendation::Repeat,
            (GOOD, "4:0,0,,6 9:0,0,,3", 11),
        ),
        row(
            "overdone_this_week",
            ("2:1k 4:1k 6:2k 9:2k 10:2k", "10:0,0", 12),
            Recommendation::Repeat,
            (GOOD, "9:0,0,,9", 10),
        ),
        limited(
            "pain_lasting",
            (GOOD, "9:1,0,returns", 10),
            Recommendation::Repeat,
            (GOOD, "9:1,0,warm_up_only", 10),
        ),
        limited(
            "pain_rising",
            (GOOD, "2:1,0 4:1,0 9:2,0", 10),
            Recommendation::Repeat,
            (GOOD, "2:2,0 9:2,0", 10),
        ),
        row("undecided", ("2:1k 4:1k 6:2k 9:2?", "9:0,0", 10), Recommendation::Repeat, good),
        row("stage_not_known", ("2:1k 4:1k 6:2k 9:~?", "9:0,0", 10), Recommendation::Repeat, good),
        row("underdone", ("2:1k 4:1k 6:2k 9:2u", "9:0,0", 10), Recommendation::Repeat, good),
        row("too_few_kept", ("2:1k 4:1k 6:2k", "6:0,0", 7), Recommendation::Repeat, good),
        row("pain_not_known", (GOOD, "2:0,0 4:0,0 6:0,0", 10), Recommendation::Repeat, good),
        row("nothing_done", ("", "", 10), Recommendation::Repeat, good),
        row("plan_complete", ("2:1k 4:1k 6:2k 9:2k 11:3k 13:3k", "13:0,0", 14), Recommendation::Repeat, good),
        row("as_planned", good, Recommendation::Advance, ("", "", 10)),
    ]
}

/// The same plan with a limit of pain.
const LIMITED: &str = "
timezone = 'UTC'
[limits]
sessions_per_week = 3
rest_days_between = 1
pain_limit = 2
effort_ceiling = 4
[[stage]]
name = '1'
session = 'walk 5:00, 6 x (run 1:00, walk 2:00)'
sessions = 2
[[stage]]
name = '2'
session = 'walk 5:00, 6 x (run 1:30, walk 2:00)'
sessions = 2
";

#[test]
fn every_row_of_the_table_applies_where_it_should_and_nowhere_else() {
    for row in rows() {
        let (sessions, diary, as_of) = row.case;
        let review = reviewed(row.plan, sessions, diary, as_of);
        let applied = review.ruling.applied.iter().find(|a| a.row().code.word() == row.rule);
        assert_eq!(applied.map(|a| a.recommendation), Some(row.asks), "{}: {:?}", row.rule, codes(&review));
        assert!(review.ruling.recommendation >= row.asks, "{}: {:?}", row.rule, review.ruling.recommendation);
        let (sessions, diary, as_of) = row.not;
        let other = reviewed(row.plan, sessions, diary, as_of);
        assert!(!codes(&other).contains(&row.rule), "{}: {:?}", row.rule, codes(&other));
    }
    let mut tested: Vec<&str> = rows().iter().map(|row| row.rule).collect();
    tested.extend(UNREAD);
    tested.extend(["seen", "seen_not_readable", "seen_line_not_readable"]); // tests/seen.rs
    for rule in RULES {
        assert!(tested.contains(&rule.code.word()), "{} has no test", rule.code);
    }
}

/// Rules about what cannot be read, which have a test of their own.
const UNREAD: [&str; 4] =
    ["diary_not_readable", "stages_not_readable", "diary_line_not_readable", "stages_line_not_readable"];

/// The ruling on the good sessions on a day, with `diary.csv` and `stages.csv` as they stand.
fn with_tables(diary: &str, stages: &str, as_of: i64) -> Review {
    let plan = Plan::parse(PLAN).unwrap().value;
    let (given, diary) = (Given::parse(stages, &plan).value, Diary::parse(diary, day(as_of)).value);
    let written = Written { diary, given, ..Written::default() };
    review(&plan, &written, &sessions_of(&plan, GOOD), &[], day(as_of), &ReviewConfig::default()).value
}

#[test]
fn what_cannot_be_read_of_a_table_is_not_taken_for_nothing() {
    use Recommendation::{Advance, Repeat, Rest};

    let head = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n";
    let good = format!("{head}2026-03-02,0\n2026-03-04,0,,0,3,\n2026-03-06,0,,0,3,x\n2026-03-09,0,,0,3,\n");
    let ruled = |diary: &str, stages: &str| {
        let review = with_tables(diary, stages, 10);
        let unread: Vec<&str> = codes(&review).into_iter().filter(|code| UNREAD.contains(code)).collect();
        (review.ruling.recommendation, unread)
    };
    assert_eq!(ruled(&good, ""), (Advance, vec![]));
    let line = |text: &str| good.clone() + text;
    let in_place = |text: &str| good.replace("2026-03-09,0,,0,3,", text);
    // Lines and cells that may hold pain.
    for diary in [
        line("09.03.2026,0,,4,3,\n"),
        line("2026-03-09;5;night;4;3\n"),
        in_place("2026-03-09,0,,4/10,3,"),
        in_place("2026-03-09,0,nights,0,3,"),
        in_place("2026-03-09,0,,0,5,4,decimal commas"),
        in_place("2026-03-09,0,\",4,3,"),
        in_place("2026-03-09,0,,0,3,\"open"),
        good.replace("2026-03-06,0,,0", "2026-03-06,0,,four"),
        good.replace("pain_next_morning", "pain_in_the_morning").replace("03-09,0,,0", "03-09,0,,4"),
        good.replace("effort", "pain_next_morning").replace(",3,", ",0,").replace("03-09,0,,0", "03-09,0,,4"),
    ] {
        assert_eq!(ruled(&diary, ""), (Repeat, vec!["diary_line_not_readable"]), "{diary}");
    }
    // What holds no pain, or was answered by the sessions since.
    for diary in [
        line(",,,,,\n\n"),
        in_place("2026-03-09,0,,0,3,\"two\nlines\""),
        in_place("2026-03-09,0,,0,hard,"),
        good.replace("2026-03-02,0", "2026-03-02,four"),
        good.replace("note", "sleep").replace(",3,x", ",3,7.5"),
        good.replace("pain_next_morning", "pain_in_the_morning"),
    ] {
        assert_eq!(ruled(&diary, ""), (Advance, vec![]), "{diary}");
    }
    // Nothing of it can be used.
    for diary in [good.replace("2026-03-", "3/"), good.replace("date", "day"), "\u{fffd}\0d\0a".to_owned()] {
        assert_eq!(ruled(&diary, "").0, Rest, "{diary}");
        let review = with_tables(&diary, "", 10);
        assert_eq!(deciding(&review), ("diary_not_readable", Rest, None, None));
        assert_eq!(with_tables(&diary, "", 60).ruling.recommendation, Rest, "it has no end of its own");
    }
    assert_eq!(ruled(&good, "2026-03-09,9\n2026-03-02,1\n"), (Repeat, vec!["stages_line_not_readable"]));
    assert_eq!(ruled(&good, "2026-03-09,9\n"), (Rest, vec!["stages_not_readable"]));
    assert_eq!(ruled(&good, "recording,stage\n2026-03-09,2\n,\n"), (Advance, vec![]));
}

/// A line that cannot be read against the same line without what cannot be read, also where later lines hold pain.
#[test]
fn a_line_that_cannot_be_read_never_makes_the_ruling_milder_than_the_same_line_empty() {
    let head = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n";
    let lines =
        ["2026-03-06,0,,0,3,", "2026-03-09,0,,0,3,", "2026-03-09,4,night,4,3,", "2026-03-09,1,,3,3,\"a\""];
    let broken = [
        "2026-03-06,0,,0,3,\"open",
        "\"2026-03-06,0,,0,3,",
        "2026-03-06,\"0,,0,3,",
        "2026-03-06,x,y,z,",
        "6 March,0,,0,3,",
        "2026-03-09,0,,four,3,",
        "2026-03-06;0;;0",
        "\"",
        "\"\"\"",
        "2026-03-06,0,,0,3,\"\"open",
        "2026-03-06,0,,0,3,a,\"b",
    ];
    let word =
        |lines: &[&str]| with_tables(&(head.to_owned() + &lines.join("\n")), "", 10).ruling.recommendation;
    for kept in lines {
        for other in lines {
            for line in broken {
                for pair in [[line, kept, other], [kept, line, other], [kept, other, line]] {
                    let without = pair.map(|text| if text == line { "" } else { text });
                    assert!(word(&pair) >= word(&without), "{pair:?}");
                    // These two hold nothing but a quote and a note.
                    let is_read = ["\"", "2026-03-06,0,,0,3,\"\"open"].contains(&line);
                    assert!(is_read || word(&pair) != Recommendation::Advance, "{pair:?}");
                }
            }
        }
    }
}

#[test]
fn the_ruling_names_the_stage_and_the_first_day() {
    let cases = [
        // Wed 11 March: a day of rest after Monday.
        (GOOD, NO_PAIN, 10, ("as_planned", Recommendation::Advance, Some(3), Some(day(11)))),
        (GOOD, NO_PAIN, 13, ("as_planned", Recommendation::Advance, Some(3), Some(day(13)))),
        // The week's three sessions are done on Friday: Monday.
        ("2:1k 4:1k 6:2k", "6:0,0", 7, ("too_few_kept", Recommendation::Repeat, Some(2), Some(day(9)))),
        // Skipping the next run-walk day, Wednesday, leads to Friday.
        (GOOD, "9:1,0", 10, ("pain_during", Recommendation::Rest, Some(2), Some(day(13)))),
        (GOOD, "9:1,0,returns", 13, ("pain_returns", Recommendation::StepBack, Some(1), Some(day(13)))),
        (GOOD, "6:1,0 9:1,0", 10, ("pain_twice", Recommendation::SeeClinician, None, None)),
        (GOOD, NO_PAIN, 23, ("break_step_back", Recommendation::StepBack, Some(1), Some(day(23)))),
        (
            "2:1k 4:1k 6:2k 9:2k 11:3k 13:3k",
            NO_PAIN,
            110,
            ("away_months", Recommendation::StepBack, Some(1), Some(day(110))),
        ),
        ("2:1k 4:1k 6:3k", "6:0,0", 9, ("moved_on_early", Recommendation::StepBack, Some(2), Some(day(9)))),
        ("", "", 10, ("nothing_done", Recommendation::Repeat, Some(1), Some(day(10)))),
        (
            "2:1k 4:1k 6:2k 9:2k 11:3k 13:3k",
            "13:0,0",
            15,
            ("plan_complete", Recommendation::Repeat, Some(3), Some(day(16))),
        ),
    ];
    for (sessions, diary, as_of, expected) in cases {
        assert_eq!(
            deciding(&reviewed(PLAN, sessions, diary, as_of)),
            (expected.0, expected.1, expected.2, expected.3)
        );
    }
}

#[test]
fn a_ruling_names_the_findings_that_led_to_it() {
    let review = reviewed(PLAN, GOOD, "9:3,2", 10);
    let named = |rule: &str| -> Vec<&'static str> {
        let applied = review.ruling.applied.iter().find(|a| a.row().code.word() == rule).unwrap();
        applied.findings.iter().map(|i| review.findings[*i].code.word()).collect()
    };
    assert_eq!(named("pain_during"), ["ran_in_pain", "pain_next_morning"]);
}

#[test]
fn only_a_clinicians_reason_lets_a_looser_limit_hold() {
    let plan = |more: &str| LIMITED.replace("pain_limit = 2", &format!("pain_limit = 8\n{more}"));
    let held = reviewed(&plan(""), GOOD, "9:6,0", 10);
    assert_eq!(held.ruling.recommendation, Recommendation::Rest);
    assert!(held.overrides.is_empty());
    let free = reviewed(&plan("clinician_override = 'tendon, agreed on 1 March'"), GOOD, "9:6,2", 10);
    assert_eq!(free.overrides, ["tendon, agreed on 1 March"]);
    assert!(!codes(&free).contains(&"pain_during"));
    // What no limit touches stays.
    assert!(codes(&free).contains(&"pain_above_five"));
}

#[test]
fn findings_stand_on_their_days() {
    let found = |sessions: &str, diary: &str| -> Vec<(&'static str, String)> {
        let review = reviewed(PLAN, sessions, diary, 30);
        review.findings.iter().map(|f| (f.code.word(), f.date.to_string()[8..].to_owned())).collect()
    };
    let one = |code: &'static str, day: &str| vec![(code, day.to_owned())];
    assert_eq!(found(GOOD, NO_PAIN), []);
    assert_eq!(found("2:1k 4:1k 5:2k 9:2k", NO_PAIN), one("no_rest_day", "05"));
    // A session too close to the one before does not count as kept.
    let close = [("no_rest_day", "03".to_owned()), ("stage_rushed", "05".to_owned())];
    assert_eq!(found("2:1k 3:1k 5:2k 9:2k", NO_PAIN), close);
    assert_eq!(found("2:1k 4:1k 6:2k 8:2k", NO_PAIN), one("too_many_sessions", "08"));
    // Runs of 2:00 where 1:30 was due, after runs of 1:00.
    let skipped = ["stage_skipped", "longest_run_jump"].map(|code| (code, "06".to_owned()));
    assert_eq!(found("2:1k 4:1k 6:3k", NO_PAIN), skipped);
    assert_eq!(found("2:1k 4:2k", NO_PAIN), one("stage_rushed", "04"));
    assert_eq!(found("2:1k 4:1o 6:2k", NO_PAIN), one("stage_rushed", "06"));
    let unplanned = ["longest_run_jump", "unplanned_run"].map(|code| (code, "06".to_owned()));
    assert_eq!(found("2:1k 4:1k 6:xk", NO_PAIN), unplanned);
    assert_eq!(found(GOOD, "4:1,0"), one("ran_in_pain", "04"));
    assert_eq!(found(GOOD, "4:0,1"), one("pain_next_morning", "04"));
    // Undecided sessions are given the benefit of the doubt: a rush is only found where it is sure.
    assert_eq!(found("2:1k 4:1? 6:2k", NO_PAIN), []);
    assert_eq!(found("2:1k 4:~? 6:2k", NO_PAIN), []);
}

#[test]
fn the_weeks_running_is_held_against_what_was_prescribed_and_done_before() {
    let plan = PLAN.replace("[limits]", "[limits]\nweekly_running_increase = '25 %'");
    let jumps = |sessions: &str| -> Vec<(String, Option<f64>)> {
        let review = reviewed(&plan, sessions, "", 30);
        let jumps = review.findings.iter().filter(|f| f.code == WeeklyCode::RunningTimeJump);
        jumps.map(|f| (f.date.to_string(), f.prescribed)).collect()
    };
    // By hand: 3 × 360 s, then 3 × 540 s: the bound is 1350 s, exceeded by the third session.
    assert_eq!(jumps("2:1k 4:1k 6:1k 9:2k 11:2k 13:2k"), [("2026-03-13".to_owned(), Some(1350.0))]);
    // 2 × 360 + 540 = 1260 s.
    assert_eq!(jumps("2:1k 4:1k 6:1k 9:1k 11:1k 13:2k"), []);
    // A week of one session does not make the next one a jump.
    assert_eq!(jumps("6:1k 9:1k 11:1k 13:1k"), []);
}

#[test]
fn a_week_without_a_limit_may_do_what_is_prescribed() {
    let jumps = |sessions: &str| {
        let review = reviewed(PLAN, sessions, "", 30);
        review.findings.iter().filter(|f| f.code == WeeklyCode::RunningTimeJump).count()
    };
    assert_eq!(jumps("2:1k 4:1k 6:1k 9:2k 11:2k 13:2k"), 0);
    // Two sessions more than the plan's three, each as prescribed.
    assert_eq!(jumps("2:1k 4:1k 6:1k 9:1k 10:1k 11:1k 12:1k 13:1k"), 1);
}

#[test]
fn undecided_sessions_never_lead_to_advance() {
    let review = reviewed(PLAN, "2:1k 4:1k 6:2? 9:2?", NO_PAIN, 10);
    assert_eq!(review.ruling.recommendation, Recommendation::Repeat);
    let review = reviewed(PLAN, "2:1k 4:1k 6:2? 9:2k", NO_PAIN, 10);
    assert_eq!(deciding(&review).0, "too_few_kept");
}

/// Day, pain during, pain on the next morning, pattern.
type Line = (i64, Option<u8>, Option<u8>, Option<Pattern>);

/// A case that the properties change: sessions on days with a stage and an outcome, pain by day.
#[derive(Clone, Debug)]
struct Made {
    sessions: Vec<(i64, usize, Outcome)>,
    pain: Vec<Line>,
    pain_limit: Option<u8>,
    as_of: i64,
}

impl Made {
    fn word(&self) -> Recommendation {
        self.ruled().0
    }

    /// Recommendation and deciding rule.
    fn ruled(&self) -> (Recommendation, &'static str) {
        let limit = self.pain_limit.map(|limit| format!("pain_limit = {limit}\n")).unwrap_or_default();
        let plan = Plan::parse(&PLAN.replace("[limits]\n", &format!("[limits]\n{limit}"))).unwrap().value;
        let certainty = 0.99;
        let sessions: Vec<PerformedSession> = self
            .sessions
            .iter()
            .map(|&(at, stage, outcome)| {
                session(&plan, day(at), StageChoice::Recognised { stage, certainty }, outcome)
            })
            .collect();
        let entries = self.pain.iter().map(|&(at, during, morning, pattern)| Entry {
            pain_during: during.map(f64::from),
            pain_next_morning: morning.map(f64::from),
            patterns: pattern.into_iter().collect(),
            ..Entry::empty(day(at))
        });
        let diary = Diary::new(entries.collect());
        let written = Written { diary, ..Written::default() };
        let review = review(&plan, &written, &sessions, &[], day(self.as_of), &ReviewConfig::default()).value;
        (review.ruling.recommendation, review.ruling.applied[0].row().code.word())
    }
}

fn outcome() -> impl Strategy<Value = Outcome> {
    prop_oneof![
        6 => Just(Outcome::Kept),
        1 => Just(Outcome::Overdone),
        1 => Just(Outcome::Underdone),
        1 => Just(Outcome::Undecided),
    ]
}

fn pattern() -> impl Strategy<Value = Option<Pattern>> {
    prop_oneof![
        6 => Just(None),
        1 => Just(Some(Pattern::WarmUpOnly)),
        1 => Just(Some(Pattern::After)),
        1 => Just(Some(Pattern::Returns)),
        1 => Just(Some(Pattern::WarmUpStays)),
        1 => Just(Some(Pattern::Night)),
    ]
}

fn made() -> impl Strategy<Value = Made> {
    let steps = prop::collection::vec((1..5_i64, 0..2_usize, outcome()), 1..9);
    let note = (
        prop::option::weighted(0.9, 0..4_u8),
        prop::option::weighted(0.7, 0..3_u8),
        pattern(),
        any::<bool>(),
    );
    let notes = prop::collection::vec(note, 8);
    let limit = prop::option::of(0..6_u8);
    (steps, notes, limit, 0..7_i64).prop_map(|(steps, notes, pain_limit, after)| {
        let (mut at, mut stage) = (0, 0);
        let mut made = Made { sessions: vec![], pain: vec![], pain_limit, as_of: 0 };
        for ((gap, up, outcome), (during, morning, pattern, calm)) in steps.into_iter().zip(notes) {
            at += gap;
            stage = (stage + up).min(2);
            made.sessions.push((at, stage, outcome));
            let (during, morning, pattern) =
                if calm { (during.map(|_| 0), morning.map(|_| 0), None) } else { (during, morning, pattern) };
            made.pain.push((at, during, morning, pattern));
        }
        made.as_of = at + after;
        made
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn more_pain_never_leads_to_a_bolder_ruling(case in made(), which in 0..8_usize, more in 1..7_u8, what in 0..3_u8) {
        let mut worse = case.clone();
        let which = which % worse.pain.len();
        let note = &mut worse.pain[which];
        // Where pain was not asked, or a pattern says that there was some, a size is news and not more pain.
        let is_news = note.1.is_none() || (note.3.is_some() && note.1 == Some(0));
        if what == 0 && is_news {
            return Ok(());
        }
        // More pain in an earlier week may make this week's no rise: the published rule compares the two.
        if case.ruled().1 == "pain_rising" && note.0 <= case.as_of - 7 {
            return Ok(());
        }
        match what {
            0 => note.1 = Some(note.1.unwrap_or(0) + more),
            1 => note.2 = Some(note.2.unwrap_or(0) + more),
            _ => note.3 = note.3.max(Some(Pattern::Night)),
        }
        prop_assert!(worse.word() >= case.word(), "{:?} became {:?} with {worse:?}", case.word(), worse.word());
    }

    #[test]
    fn a_session_overdone_never_leads_to_a_bolder_ruling(case in made(), which in 0..9_usize) {
        let mut worse = case.clone();
        let which = which % worse.sessions.len();
        worse.sessions[which].2 = Outcome::Overdone;
        prop_assert!(worse.word() >= case.word(), "{:?} became {:?} with {worse:?}", case.word(), worse.word());
    }

    /// An extra session on the day after one, as prescribed or overdone.
    #[test]
    fn an_extra_session_without_rest_never_leads_to_a_bolder_ruling(
        case in made(), which in 0..9_usize, outcome in outcome(), noted in any::<bool>(),
    ) {
        let mut worse = case.clone();
        let which = which % worse.sessions.len();
        let (at, stage, _) = worse.sessions[which];
        if at + 1 > case.as_of || case.sessions.get(which + 1).is_some_and(|next| next.0 <= at + 1) {
            return Ok(());
        }
        worse.sessions.insert(which + 1, (at + 1, stage, outcome));
        if noted {
            worse.pain.push((at + 1, Some(0), Some(0), None));
        }
        prop_assert!(worse.word() >= case.word(), "{:?} became {:?} with {worse:?}", case.word(), worse.word());
    }

    #[test]
    fn a_day_later_makes_no_other_sessions(case in made()) {
        let sums = |as_of: i64| {
            let plan = Plan::parse(PLAN).unwrap().value;
            let sessions: Vec<PerformedSession> = case.sessions.iter().map(|&(at, stage, outcome)| {
                session(&plan, day(at), StageChoice::Recognised { stage, certainty: 0.99 }, outcome)
            }).collect();
            let review = review(&plan, &Written::default(), &sessions, &[], day(as_of), &ReviewConfig::default()).value;
            (review.weeks.iter().map(|w| w.sessions).sum::<u32>(), review.findings)
        };
        let today = sums(case.as_of);
        prop_assert_eq!(today.0 as usize, case.sessions.len());
        prop_assert_eq!(today, sums(case.as_of + 1));
    }
}
