//! Workouts and calendars against independent open libraries in Python: `fitdecode`, `icalendar`, the standard library's `zoneinfo`,
//! run by the interpreter that `JOGAUDIT_PYTHON` names. `tests/install` sets that up.

#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::path::PathBuf;
use std::process::Command;

use serde_json::Value;

use crate::export::{Fields, compared, expected, files, normal, number};
use crate::folder::Folder;
use crate::program::top;
use jogaudit_export::workout_of;

/// Runs a script of `tests/reference` on files and gives the document of each.
fn python(script: &str, paths: &[PathBuf]) -> Vec<Value> {
    let interpreter = std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter");
    let script = top().join("tests/reference").join(script);
    let output = Command::new(interpreter).arg(script).args(paths).output().expect("the interpreter starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

fn fields_of(message: &Value) -> Fields {
    let shown = |value: &Value| match value {
        Value::String(text) => text.clone(),
        other => number(other.as_f64().expect("text or a number")),
    };
    let fields = message[1].as_object().expect("fields").iter();
    let fields = fields.map(|(name, value)| (name.clone(), normal(name, shown(value))));
    compared(fields.filter(|(_, value)| !value.is_empty()).collect())
}

#[test]
#[ignore = "needs Python, see tests/install"]
fn workouts_as_fitdecode_reads_them() {
    let folder = Folder::new();
    let files = files();
    let mut paths = Vec::new();
    for (index, (_, _, file)) in files.iter().enumerate() {
        let name = format!("{index}.fit");
        folder.write(&name, file);
        paths.push(folder.file(&name));
    }
    let found = python("workout_check.py", &paths);
    assert_eq!(found.len(), files.len());
    let mut steps = 0;
    for ((plan, stage, _), messages) in files.iter().zip(found) {
        let messages = messages.as_array().expect("messages");
        assert_eq!((&messages[0][0], &messages[0][1]["type"]), (&"file_id".into(), &"workout".into()));
        let found: Vec<Fields> = messages[1..].iter().map(fields_of).collect();
        assert_eq!(found, expected(&workout_of(plan, stage, None)), "{}: {}", plan.title, stage.session);
        steps += found.len() - 1;
    }
    println!("{} workout files, {steps} steps", files.len());
    assert!(files.len() > 1000);
}

const PLAN: &str = "title = 'Back; over a change, of the clock'\ntimezone = 'Europe/Oslo'\nstart = 2026-03-24\n\
    weekdays = ['tue', 'fri', 'sun']\nnote = 'Talk in whole sentences, “slowly”.'\ncontact = 'Ring 555 0101'\n[limits]\n\
    sessions_per_week = 3\nrest_days_between = 1\n[[stage]]\nname = '1'\nsession = 'walk 5:00, 6 x (run 1:00, walk 2:00)'\n\
    sessions = 3\n[[stage]]\nname = '2'\nsession = 'walk 5:00, 5 x (run 1:30, walk 2:00)'\nsessions = 3\n";

fn events(folder: &Folder, args: &[&str]) -> Vec<Value> {
    let all = [&["plan", "export"][..], args, &["--out", "plan.ics"]].concat();
    let (code, _, err) = folder.run(&all, b"");
    assert_eq!(code, 0, "{err}");
    let documents = python("calendar_check.py", &[folder.file("plan.ics")]);
    documents[0].as_array().expect("events").clone()
}

fn texts<'e>(events: &'e [Value], name: &str) -> Vec<&'e str> {
    events.iter().map(|event| event[name].as_str().unwrap_or("")).collect()
}

#[test]
#[ignore = "needs Python, see tests/install"]
fn calendars_as_icalendar_and_zoneinfo_read_them() {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    let found = events(&folder, &["plan.toml", "--at", "07:30"]);
    // Europe/Oslo goes from +01:00 to +02:00 on Sunday 2026-03-29 (IANA data base, rule EU): by hand.
    let days = ["03-24", "03-27", "03-29", "03-31", "04-03", "04-05"];
    assert_eq!(texts(&found, "start"), days.map(|day| format!("2026-{day}T07:30:00")));
    let hours = ["06:30", "06:30", "05:30", "05:30", "05:30", "05:30"];
    let instants: Vec<String> =
        days.iter().zip(hours).map(|(day, hour)| format!("2026-{day}T{hour}:00+00:00")).collect();
    assert_eq!(texts(&found, "utc"), instants, "by the file's own definition of the zone");
    assert_eq!(texts(&found, "zoneinfo"), instants, "by the system's");
    assert_eq!(found[0]["end"], "2026-03-24T07:53:00");
    assert_eq!(found[0]["summary"], "Stage 1: walk 5:00, 6 x (run 1:00, walk 2:00)");
    let said = found[0]["description"].as_str().expect("text");
    for part in ["6 times:\n  Run 1:00", "Talk in whole sentences, “slowly”.", "Ring 555 0101"] {
        assert!(said.contains(part), "{part} in {said}");
    }
    let days_alone = events(&folder, &["plan.toml"]);
    assert_eq!(texts(&days_alone, "start")[0], "2026-03-24");
    assert_eq!(texts(&days_alone, "uid"), texts(&found, "uid"));
    println!("{} events", found.len());
}

#[test]
#[ignore = "needs Python, see tests/install"]
fn a_second_calendar_after_a_ruling_moves_the_same_events() {
    let folder = Folder::new();
    std::fs::create_dir_all(folder.file("case/recordings")).expect("a folder");
    folder.write("case/plan.toml", PLAN);
    let first = events(&folder, &["case/plan.toml", "--at", "07:30", "--as-of", "2026-03-20"]);
    // The first session on its day, with pain: the ruling moves what comes next.
    let recording = ["--out", "case/recordings/a.fit", "--start", "2026-03-24T06:30:00Z"];
    let made =
        [&["simulate", "--plan", "case/plan.toml", "--stage", "1", "--seed", "7"][..], &recording].concat();
    assert_eq!(folder.run(&made, b"").0, 0);
    folder.write("case/diary.csv", "date,pain_during,pain_next_morning,effort\n2026-03-24,3,2,3\n");
    let second = events(&folder, &["case", "--at", "07:30", "--as-of", "2026-03-26"]);
    let (code, ruled, _) = folder.run(&["review", "case", "--format", "json", "--as-of", "2026-03-26"], b"");
    assert_eq!(code, 0);
    let ruled: Value = serde_json::from_str(&ruled).expect("JSON");
    let known = texts(&first, "uid");
    let confirmed: Vec<Value> =
        second.iter().filter(|event| event["status"] == "CONFIRMED").cloned().collect();
    println!(
        "{}: {:?} → {:?}",
        ruled["ruling"]["ruling"],
        texts(&first, "start"),
        texts(&confirmed, "start")
    );
    assert!(confirmed.iter().all(|event| known.contains(&event["uid"].as_str().unwrap())), "no new event");
    let coming: Vec<String> = ruled["coming"]["sessions"]
        .as_array()
        .expect("coming sessions")
        .iter()
        .map(|session| format!("{}T07:30:00", session["date"].as_str().unwrap()))
        .collect();
    assert_eq!(texts(&confirmed, "start")[..coming.len()], coming);
    let day = |events: &[Value], uid: &Value| {
        events.iter().find(|event| event["uid"] == *uid).map(|event| event["start"].clone())
    };
    let moved =
        confirmed.iter().filter(|event| day(&first, &event["uid"]).as_ref() != Some(&event["start"])).count();
    assert!(moved > 0, "dates moved");
    let later = |event: &Value| event["sequence"].as_i64() > first[0]["sequence"].as_i64();
    assert!(second.iter().all(later), "a later version of each");
}

#[test]
#[ignore = "needs Python, see tests/install"]
fn where_a_professional_is_to_be_asked_first_all_that_is_left_is_cancelled() {
    let folder = Folder::new();
    std::fs::create_dir_all(folder.file("case/recordings")).expect("a folder");
    folder.write("case/plan.toml", PLAN);
    let first = events(&folder, &["case/plan.toml", "--as-of", "2026-03-20"]);
    let recording = ["--out", "case/recordings/a.fit", "--start", "2026-03-24T06:30:00Z"];
    let made =
        [&["simulate", "--plan", "case/plan.toml", "--stage", "1", "--seed", "7"][..], &recording].concat();
    assert_eq!(folder.run(&made, b"").0, 0);
    folder.write(
        "case/diary.csv",
        "date,pain_during,pain_pattern,pain_next_morning,effort\n2026-03-24,6,night,6,3\n",
    );
    let second = events(&folder, &["case", "--as-of", "2026-03-26"]);
    assert_eq!(texts(&second, "uid"), texts(&first, "uid")[1..], "but for the one that was done");
    assert!(second.iter().all(|event| event["status"] == "CANCELLED"), "{second:?}");
    assert!(texts(&second, "summary").iter().all(|summary| summary.starts_with("Cancelled: stage ")));
    let (code, _, err) =
        folder.run(&["plan", "export", "case", "--out", "x.fit", "--as-of", "2026-03-26"], b"");
    assert_eq!(code, 2);
    assert!(err.contains("`see_clinician`: there is no session"), "{err}");
}
