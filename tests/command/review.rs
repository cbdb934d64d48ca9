//! `jogaudit review` as a user meets it: the made-up return of `demo`, and case folders with something amiss.

use std::fs;
use std::path::Path;

use crate::folder::run_in;
use crate::hand_made::{AS_PRESCRIBED, SECOND_RUN_LONG, Stretch, session, tcx, tcx_activity};
use serde_json::Value;

const PLAN: &str = "
title = 'Back on the path'
timezone = 'Europe/Oslo'
[limits]
sessions_per_week = 3
rest_days_between = 1
[[stage]]
name = 'first'
session = 'walk 5:00, 2 x (run 1:00, walk 2:00), walk 5:00'
sessions = 1
[[stage]]
name = 'second'
session = 'walk 5:00, 2 x (run 3:00, walk 2:00), walk 5:00'
sessions = 2
";
const DIARY: &str = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n2026-03-02,0,,0,3,\n";

/// A case folder that is gone when the test is over.
struct CaseFolder(tempfile::TempDir);

impl CaseFolder {
    fn new(files: &[(&str, &str)]) -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        for (name, content) in files {
            folder.write(name, content);
        }
        folder
    }

    fn write(&self, name: &str, content: &str) {
        let path = self.0.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content).unwrap();
    }

    fn run(&self, args: &[&str]) -> (i32, String, String) {
        run(self.0.path(), &[&["review", "."], args].concat())
    }

    /// The JSON document on 3 March 2026.
    fn document(&self) -> Value {
        let (code, out, err) = self.run(&["--format", "json", "--as-of", "2026-03-03"]);
        assert_eq!((code, err.as_str()), (0, ""), "the notices are in the document");
        serde_json::from_str(&out).unwrap()
    }
}

fn run(folder: &Path, args: &[&str]) -> (i32, String, String) {
    run_in(folder, args, b"")
}

fn codes(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|row| row["code"].as_str().unwrap()).collect()
}

fn with_one(recording: &str) -> CaseFolder {
    CaseFolder::new(&[("plan.toml", PLAN), ("diary.csv", DIARY), ("recordings/run.tcx", recording)])
}

/// A session of the day before the support's own: 2026-03-02T07:10Z becomes the given day.
fn on(day: &str, stretches: &[Stretch]) -> String {
    session(stretches).replace("2026-03-02T", &format!("{day}T"))
}

#[test]
fn the_demo_is_a_whole_return_in_which_something_is_caught() {
    let folder = tempfile::tempdir().unwrap();
    let (code, out, err) = run(folder.path(), &["demo", "case"]);
    assert_eq!(code, 0, "{err}");
    let (review, check) = out.split_once("────\n\n").unwrap();
    assert!(check.starts_with("Overdone:"), "{check}");
    assert!(
        review.starts_with("No session for now: rest. Then stage “4”, from Wednesday 13 May."),
        "{review}"
    );
    for line in out.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    assert!(!out.contains("u{1b}"), "styles are no text: {out}");
    let args = ["review", "case", "--format", "json", "--as-of", "2026-05-10"];
    let (code, out, _) = run(folder.path(), &args);
    assert_eq!(code, 0);
    let document: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(document["ruling"]["rules"][0]["rule"], "pain_next_morning");
    let found: Vec<(&str, &str)> = document["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| (f["date"].as_str().unwrap(), f["code"].as_str().unwrap()))
        .collect();
    let expected = [
        ("2026-03-09", "longest_run_jump"),
        ("2026-03-09", "pain_next_morning"),
        ("2026-04-02", "no_rest_day"),
        ("2026-04-02", "running_time_jump"),
        ("2026-04-02", "longest_run_jump"),
        ("2026-04-02", "ran_in_pain"),
        ("2026-04-02", "pain_next_morning"),
        ("2026-04-02", "unplanned_run"),
        ("2026-05-09", "pain_next_morning"),
    ];
    assert_eq!(found, expected);
    let outcomes: Vec<&str> =
        document["sessions"].as_array().unwrap().iter().filter_map(|s| s["outcome"].as_str()).collect();
    assert_eq!(outcomes.iter().filter(|o| **o == "overdone").count(), 2);
    assert!(outcomes.iter().all(|o| *o == "kept" || *o == "overdone"), "{outcomes:?}");
    assert_eq!(codes(&document["left_out"]), ["not_on_foot", "duplicate"]);
    // The same bytes again.
    assert_eq!(run(folder.path(), &args).1, out);
    // What each day's ruling would have been.
    let word = |day: &str| {
        let (_, out, _) = run(folder.path(), &["review", "case", "--as-of", day]);
        out.lines().next().unwrap().to_owned()
    };
    assert_eq!(word("2026-03-08"), "By the plan, stage “2” comes next, from Monday 9 March.");
    assert_eq!(word("2026-03-10"), "No session for now: rest. Then stage “2”, from Friday 13 March.");
    assert_eq!(word("2026-04-05"), "No session for now: rest. Then stage “3”, from Monday 6 April.");
    assert_eq!(word("2026-04-06"), "Repeat stage “3”, from Wednesday 8 April.");
    assert_eq!(word("2026-05-03"), "Repeat stage “5”, from Sunday 3 May.");
    assert_eq!(word("2026-05-04"), "Go on with stage “4”, from Wednesday 6 May.");
}

#[test]
fn an_empty_case_is_told_to_begin() {
    let folder = CaseFolder::new(&[("plan.toml", PLAN)]);
    let document = folder.document();
    assert_eq!(document["ruling"]["ruling"], "repeat");
    assert_eq!(document["ruling"]["stage"], "first");
    assert_eq!(document["ruling"]["rules"][0]["rule"], "nothing_done");
    assert_eq!(codes(&document["notices"]), ["no_recordings", "no_diary"]);
    let (code, out, err) = folder.run(&["--as-of", "2026-03-03"]);
    assert_eq!(code, 0);
    assert!(out.starts_with("First session: stage “first”, from Tuesday 3 March."), "{out}");
    assert!(err.contains("[no_recordings]") && err.contains("[no_diary]"), "{err}");
}

#[test]
fn without_an_as_of_the_review_is_of_today() {
    // Whatever the machine's clock says, that is long ago.
    let (code, out, _) = with_one(&on("2001-03-02", AS_PRESCRIBED)).run(&["--format", "json"]);
    let document: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &document["ruling"]["ruling"]), (0, &Value::from("step_back")));
}

#[test]
fn a_plan_is_needed_and_two_are_said() {
    let none = CaseFolder::new(&[("my plan.toml", PLAN)]);
    let (code, _, err) = none.run(&[]);
    assert_eq!(code, 2);
    assert!(err.contains("has no plan.toml") && err.contains("rename my plan.toml"), "{err}");
    let two = CaseFolder::new(&[("plan.toml", PLAN), ("plan-old.toml", "no plan at all")]);
    assert!(codes(&two.document()["notices"]).contains(&"several_plans"));
    let broken = CaseFolder::new(&[("plan.toml", &PLAN.replace("sessions_per_week", "sesions_per_week"))]);
    let (code, _, err) = broken.run(&[]);
    assert_eq!(code, 2);
    assert!(err.contains("plan.toml:5:1") && err.contains("did you mean `sessions_per_week`?"), "{err}");
    let (code, _, err) = run(none.0.path(), &["review", "nowhere"]);
    assert_eq!(code, 2);
    assert!(err.contains("could not look into nowhere") && err.contains("hint:"), "{err}");
}

#[test]
fn broken_lines_of_the_diary_are_said_and_the_rest_is_used() {
    let folder = with_one(&session(AS_PRESCRIBED));
    let text = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n\
        2026-03-02,1,,much,3,\"a, b\"\nlast friday,1,,,,\n2026-04-01,9,night,,,\n";
    folder.write("diary.csv", text);
    let document = folder.document();
    assert_eq!(codes(&document["notices"]), ["diary_cell", "diary_line", "diary_future"]);
    let texts = document["notices"].to_string();
    assert!(texts.contains("line 2, column 15") && texts.contains("line 3, column 1"), "{texts}");
    assert_eq!(document["sessions"][0]["pain_during"], 1.0);
    assert_eq!(document["sessions"][0]["note"], "a, b");
    assert_eq!(document["sessions"][0]["pain_next_morning"], Value::Null);
    assert_eq!(codes(&document["findings"]), ["ran_in_pain"]);
    // What lies in the future plays no part.
    assert_eq!(document["ruling"]["ruling"], "rest");
}

#[test]
fn a_diary_in_another_encoding_is_still_read() {
    let folder = with_one(&session(AS_PRESCRIBED));
    fs::write(folder.0.path().join("diary.csv"), b"date;pain_during;note\n2026-03-02;0;m\xfcde\n").unwrap();
    let document = folder.document();
    assert_eq!(codes(&document["notices"]), ["table_not_utf8"]);
    assert_eq!(document["sessions"][0]["pain_during"], 0.0);
}

#[test]
fn unreadable_recordings_are_listed_and_the_rest_is_reviewed() {
    let folder = with_one(&session(AS_PRESCRIBED));
    folder.write("recordings/notes/what I did.txt", "ran a bit");
    folder.write("recordings/empty.fit", "");
    folder.write("recordings/.hidden", "left alone");
    folder.write("recordings/ride.tcx", &tcx(&[tcx_activity("Biking", AS_PRESCRIBED)]));
    let document = folder.document();
    let left_out: Vec<(&str, &str)> = document["left_out"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (row["recording"].as_str().unwrap(), row["code"].as_str().unwrap()))
        .collect();
    let expected =
        [("empty.fit", "unreadable"), ("notes/what I did.txt", "unreadable"), ("ride.tcx", "not_on_foot")];
    assert_eq!(left_out, expected);
    assert_eq!(document["sessions"].as_array().unwrap().len(), 1);
    assert_eq!(document["sessions"][0]["outcome"], "kept");
    assert_eq!(document["ruling"]["ruling"], "advance");
    assert_eq!(document["ruling"]["not_before"], "2026-03-04");
}

#[test]
fn recordings_of_the_future_and_twice_recorded_sessions_are_left_out_and_said() {
    let folder = with_one(&session(AS_PRESCRIBED));
    folder.write("recordings/copy/run again.tcx", &session(AS_PRESCRIBED));
    folder.write("recordings/tomorrow.tcx", &on("2026-03-04", AS_PRESCRIBED));
    let document = folder.document();
    assert_eq!(codes(&document["left_out"]), ["duplicate", "after_as_of"]);
    assert_eq!(document["sessions"].as_array().unwrap().len(), 1);
}

#[test]
fn every_activity_of_a_file_is_a_session_of_its_own() {
    let activities = [
        tcx_activity("Running", AS_PRESCRIBED).replace("2026-03-02T", "2026-02-27T"),
        tcx_activity("Running", SECOND_RUN_LONG),
    ];
    let document = with_one(&tcx(&activities)).document();
    let sessions = document["sessions"].as_array().unwrap();
    let found: Vec<(&str, &str)> = sessions
        .iter()
        .map(|s| (s["recordings"][0].as_str().unwrap(), s["outcome"].as_str().unwrap()))
        .collect();
    assert_eq!(found, [("run.tcx#1", "kept"), ("run.tcx#2", "overdone")]);
}

#[test]
fn stages_csv_stands_before_what_is_recognised() {
    let folder = with_one(&session(AS_PRESCRIBED));
    assert_eq!(folder.document()["sessions"][0]["stage_from"], "recognised");
    folder.write("stages.csv", "recording,stage\nrun.tcx,second\n2026-03-01,third\nelse.fit,first\n");
    let document = folder.document();
    assert_eq!(document["sessions"][0]["stage"], "second");
    assert_eq!(document["sessions"][0]["stage_from"], "given");
    assert_eq!(document["sessions"][0]["outcome"], "underdone");
    let notices = codes(&document["notices"]);
    assert!(notices.contains(&"stages_line") && notices.contains(&"stages_unused"), "{notices:?}");
}

#[test]
fn a_diary_or_list_of_stages_that_cannot_be_read_asks_to_rest_until_it_is_mended() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(run(folder.path(), &["demo", "case"]).0, 0);
    let case = folder.path().join("case");
    let ruled = |day: &str| {
        let (code, out, err) = run(folder.path(), &["review", "case", "--as-of", day]);
        assert_eq!(code, 0, "{err}");
        out
    };
    let days = ["2026-03-02", "2026-03-26", "2026-05-10"];
    let before = days.map(ruled);
    let begins = ["Go on with stage “1”", "By the plan, stage “4” comes next", "No session for now: rest."];
    assert!(before.iter().zip(begins).all(|(out, begin)| out.starts_with(begin)), "{before:?}");
    let workbook = |name: &str| format!("{}.xlsx", name.trim_end_matches(".csv"));
    for (name, headline, what) in [
        ("diary.csv", "the diary", "The diary is there and can't be read, so there may be pain in it."),
        ("stages.csv", "the list of stages", "The list of stages is there and can't be read."),
        (
            "seen.csv",
            "the list of visits",
            "The list of visits is there and can't be read, so it may say to go back.",
        ),
    ] {
        let (path, kept) = (case.join(name), fs::read(case.join(name)).ok());
        let break_it: [&dyn Fn(); 4] = [
            &|| fs::create_dir(&path).unwrap(),
            &|| fs::write(&path, "a\u{fffd};b\n".repeat(9)).unwrap(),
            &|| fs::write(&path, vec![b' '; (8 << 20) + 1]).unwrap(),
            &|| fs::write(case.join(workbook(name)), "PK").unwrap(),
        ];
        for spoil in break_it {
            let _ = fs::remove_file(&path);
            spoil();
            for day in days {
                let out = ruled(day);
                let words = out.split_whitespace().collect::<Vec<_>>().join(" ");
                let begin = format!("Rest: no session until {headline} can be read again.");
                assert!(words.starts_with(&begin), "{out}");
                assert!(words.contains(what), "{out}");
            }
            let _ = fs::remove_dir(&path);
            let _ = fs::remove_file(case.join(workbook(name)));
        }
        // Mended, or never there: as before.
        let _ = fs::remove_file(&path);
        kept.inspect(|bytes| fs::write(&path, bytes).unwrap());
        assert_eq!(days.map(ruled), before, "{name}");
    }
    fs::remove_file(case.join("diary.csv")).unwrap();
    assert!(ruled("2026-03-26").starts_with("Repeat stage"), "a case may have no diary");
}

#[test]
fn a_clinicians_reason_is_shown_in_every_report() {
    let folder = with_one(&session(AS_PRESCRIBED));
    folder.write("plan.toml", &PLAN.replace("[limits]", "[limits]\npain_limit = 7"));
    assert!(codes(&folder.document()["notices"]).contains(&"plan_looser_than_rules"));
    let with = PLAN.replace("[limits]", "[limits]\npain_limit = 7\nclinician_override = 'tendon, agreed'");
    folder.write("plan.toml", &with);
    let document = folder.document();
    assert_eq!(document["clinician_overrides"][0], "tendon, agreed");
    assert!(!codes(&document["notices"]).contains(&"plan_looser_than_rules"));
    let (_, out, _) = folder.run(&["--as-of", "2026-03-03"]);
    assert!(out.contains("clinician's word: “tendon, agreed”"), "{out}");
}

#[test]
fn the_report_never_says_that_running_is_safe() {
    let (_, out, _) = with_one(&session(AS_PRESCRIBED)).run(&["--as-of", "2026-03-03"]);
    let text = out.to_lowercase();
    assert!(!text.contains("safe"), "{out}");
    assert!(text.contains("what your clinician says takes precedence over this report"));
    assert!(!out.contains('\u{1b}'), "no colour in a pipe");
}
