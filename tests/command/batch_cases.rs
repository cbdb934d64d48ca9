//! `batch` on cases and folders of cases: what `review` says of every session, and what is none.

#![cfg(unix)]
#![allow(clippy::print_stdout)] // what agreed is meant to be read

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::Path;

use jiff::{SignedDuration, Timestamp, ToSpan};
use jogaudit_core::prescription::Session;
use jogaudit_recording::read::Format;
use jogaudit_simulate::{Channels, Fault, Settings, simulate, write};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use crate::batch_folder::{rows, run, works};
use crate::folder::run_in;
use crate::hand_made::{AS_PRESCRIBED, session, tcx, tcx_activity};

const PLAN: &str = "
title = 'Back on the path'
timezone = 'Europe/Oslo'
[limits]
pace_ceiling = '6:00 /km'
[[stage]]
name = 'first'
session = 'walk 2:00, 4 x (run 1:00, walk 1:00)'
sessions = 2
[[stage]]
name = 'second'
session = 'walk 2:00, 3 rising to 5 x (run 1:40, walk 1:00)'
sessions = 2
[[stage]]
name = 'third'
session = 'walk 2:00, 2 x (run 4:00, walk 1:00)'
[[other]]
sport = 'cycling'
";
const STAGES: [&str; 3] = [
    "walk 2:00, 4 x (run 1:00, walk 1:00)",
    "walk 2:00, 4 x (run 1:40, walk 1:00)",
    "walk 2:00, 2 x (run 4:00, walk 1:00)",
];

fn put(folder: &Path, name: &str, bytes: impl AsRef<[u8]>) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, bytes).unwrap();
}

fn zip(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn recording(what: &str, start: Timestamp, format: Format, draws: &mut ChaCha8Rng) -> Vec<u8> {
    let faults: Vec<Fault> = if what.contains(" x (") && draws.random_bool(0.25) {
        vec!["run-longer:40:2".parse().unwrap()]
    } else {
        vec![]
    };
    let channels = if draws.random_bool(0.25) { Channels::NO_CADENCE } else { Channels::ALL };
    let settings = Settings { seed: draws.random(), start, format, faults, channels, ..Settings::default() };
    let steps = Session::parse(what).unwrap().expand().fixed_steps().unwrap();
    write(&simulate(&steps, &settings).unwrap(), format).unwrap()
}

/// The recordings of a day, by chance with something besides or amiss.
fn put_day(folder: &Path, date: jiff::civil::Date, day: usize, draws: &mut ChaCha8Rng) {
    let start: Timestamp = format!("{date}T07:10:00Z").parse().unwrap();
    let start = start + SignedDuration::from_secs(draws.random_range(0..40_000));
    let stage = STAGES[(day / 2).min(2)];
    let format = [Format::Fit, Format::Gpx, Format::Tcx][draws.random_range(0..3)];
    let bytes = recording(stage, start, format, draws);
    match draws.random_range(0..9) {
        0 => {
            put(folder, &format!("recordings/{date}.a"), &bytes);
            put(folder, &format!("recordings/copy/{date}.b"), &bytes);
        }
        1 => {
            let poor = recording(stage, start + SignedDuration::from_secs(20), Format::Gpx, draws);
            put(folder, &format!("recordings/{date}.a"), &bytes);
            put(folder, &format!("recordings/{date}.poor"), poor);
        }
        2 => {
            let later = recording(STAGES[0], start + SignedDuration::from_secs(1500), Format::Fit, draws);
            put(folder, &format!("recordings/{date}.zip"), zip(&[("1.fit", &bytes), ("2.fit", &later)]));
        }
        3 => {
            let walk = recording("walk 12:00", start + SignedDuration::from_hours(5), Format::Tcx, draws);
            put(folder, &format!("recordings/{date}.a"), &bytes);
            put(folder, &format!("recordings/{date}.walk"), walk);
        }
        4 => {
            let ride = tcx(&[tcx_activity("Biking", &[(900, 6.0, 80.0)])]);
            put(folder, &format!("recordings/{date}.a"), &bytes);
            put(folder, &format!("recordings/{date}.ride"), ride.replace("2026-03-02T", &format!("{date}T")));
        }
        5 => put(folder, &format!("recordings/{date}.cut"), &bytes[..30]),
        6 => put(folder, &format!("recordings/{date}.free"), recording("run 25:00", start, format, draws)),
        _ => put(folder, &format!("recordings/{date}.a"), &bytes),
    }
}

/// A made-up case: a return by three stages with copies, rides, walks, sessions in parts, files of several recordings, notes,
/// and files that cannot be read; a diary with gaps.
fn case(folder: &Path, number: u64) {
    let mut draws = ChaCha8Rng::seed_from_u64(7_000_000 + number);
    put(folder, "plan.toml", PLAN);
    put(folder, "notes.txt", "ring on Friday");
    put(folder, "recordings/notes.md", "left shoe");
    let (mut diary, mut said) =
        ("date,pain_during,pain_pattern,pain_next_morning,effort\n".to_owned(), String::new());
    let first = "2026-03-02".parse::<jiff::civil::Date>().unwrap();
    for day in 0..6 {
        let date = first.checked_add((2 * day).days()).unwrap();
        put_day(folder, date, usize::try_from(day).unwrap(), &mut draws);
        if draws.random_bool(0.8) {
            let (pain, effort) = (draws.random_range(0..3), draws.random_range(2..6));
            let pattern = if pain > 0 { "after" } else { "" };
            writeln!(diary, "{date},{pain},{pattern},{pain},{effort}").unwrap();
        }
        if draws.random_bool(0.1) {
            writeln!(said, "{date},first").unwrap();
        }
    }
    put(folder, "diary.csv", diary);
    put(folder, "stages.csv", format!("recording,stage\n{said}"));
}

/// How a row is called in a review of its case.
fn name(row: &Value, several: &BTreeSet<&str>, recordings: &str) -> String {
    let path = row["path"].as_str().unwrap();
    let name = path.strip_prefix(recordings).unwrap_or_else(|| panic!("{path}"));
    if several.contains(path) { format!("{name}#{}", row["activity"]) } else { name.to_owned() }
}

/// Columns of a row and keys of a session that say the same.
const SAME: [(&str, &str); 11] = [
    ("session_date", "date"),
    ("session_kind", "kind"),
    ("stage", "stage"),
    ("stage_from", "stage_from"),
    ("stage_certainty", "stage_certainty"),
    ("repetitions_due", "repetitions"),
    ("outcome", "outcome"),
    ("pain_during", "pain_during"),
    ("pain_pattern", "pain_pattern"),
    ("pain_next_morning", "pain_next_morning"),
    ("effort", "effort"),
];

fn in_both(rows: &[&Value], review: &Value, recordings: &str) -> usize {
    let several: BTreeSet<&str> =
        rows.iter().filter(|row| row["activity"] == 2).map(|row| row["path"].as_str().unwrap()).collect();
    let mut by_name: BTreeMap<String, &Value> =
        rows.iter().map(|row| (name(row, &several, recordings), *row)).collect();
    assert_eq!(by_name.len(), rows.len());
    let sessions = review["sessions"].as_array().unwrap();
    for (index, session) in sessions.iter().enumerate() {
        let own: Vec<&Value> = session["recordings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|name| by_name.remove(name.as_str().unwrap()).unwrap_or_else(|| panic!("{name}")))
            .collect();
        assert_eq!(own[0]["start"], session["start"]);
        for row in &own {
            assert_eq!(row["session"], index + 1);
            for (column, key) in SAME {
                assert_eq!(row[column], session[key], "{column} of {}", row["path"]);
            }
        }
        let sum = |column: &str| own.iter().map(|row| row[column].as_f64().unwrap()).sum::<f64>();
        let is_near = |a: f64, b: &Value| (a - b.as_f64().unwrap()).abs() < 0.11 * own.len() as f64;
        assert!(is_near(sum("run_s"), &session["run_s"]["achieved"]), "{} {session}", sum("run_s"));
        assert!(is_near(sum("walk_s"), &session["walk_s"]), "{} {session}", sum("walk_s"));
        for code in [
            "run_too_long",
            "run_too_fast",
            "walk_cut_short",
            "rep_extra",
            "running_time_over",
            "rep_missing",
        ] {
            let found = session["findings"].as_array().unwrap().iter().filter(|f| f["code"] == code).count();
            assert!(own.iter().all(|row| row[format!("{code}_count")] == found), "{code}: {session}");
        }
    }
    for left_out in review["left_out"].as_array().unwrap() {
        let (name, code) = (left_out["recording"].as_str().unwrap(), &left_out["code"]);
        match by_name.remove(name) {
            Some(row) if code == "unreadable" => assert!(!row["error_code"].is_null(), "{row}"),
            Some(row) => assert_eq!((&row["left_out"], &row["left_out_text"]), (code, &left_out["text"])),
            None => assert_eq!(name, "notes.md"),
        }
    }
    for other in review["other"].as_array().unwrap() {
        let row = by_name.remove(other["recording"].as_str().unwrap()).unwrap();
        assert_eq!(row["left_out"], "agreed_training");
    }
    assert!(by_name.is_empty(), "rows that the review does not know: {by_name:?}");
    sessions.len()
}

fn agree(cases: u64) {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    (0..cases).for_each(|number| case(&root.join(format!("load/P{number:03}")), number));
    put(root, "load/readme.txt", "whose cases these are");
    let all = rows(&works(root, "load --out -"));
    let mut sessions = 0;
    for number in 0..cases {
        let participant = format!("P{number:03}");
        let own: Vec<&Value> = all.iter().filter(|row| row["participant"] == participant.as_str()).collect();
        let (code, out, err) = run_in(
            root,
            &["review", &format!("load/{participant}"), "--format", "json", "--as-of", "2026-06-01"],
            b"",
        );
        assert_eq!(code, 0, "{err}");
        let review: Value = serde_json::from_str(&out).unwrap();
        sessions += in_both(&own, &review, &format!("load/{participant}/recordings/"));
    }
    assert!(
        all.iter().all(|row| row["participant"].as_str().unwrap().starts_with('P')),
        "readme.txt has no row"
    );
    println!("{sessions} sessions of {cases} cases: the same in review and batch; {} rows", all.len());
}

#[test]
fn review_and_batch_agree_on_every_session() {
    agree(6);
}

#[test]
#[ignore = "minutes; tests/full"]
fn review_and_batch_agree_on_a_hundred_cases() {
    agree(100);
}

#[test]
fn cases_are_told_apart_killed_runs_resumed_and_what_is_none_is_said_once() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let file = session(AS_PRESCRIBED);
    for person in ["a/P1", "b/P1", "b/P2"] {
        put(root, &format!("load/{person}/plan.toml"), PLAN);
        put(root, &format!("load/{person}/recordings/1.tcx"), &file);
    }
    put(root, "load/b/P2/plan.toml", "title = [");
    put(root, "load/loose.tcx", &file);
    put(root, "load/old.csv", "x");
    let (code, out, err) = run(root, "load --out t.ndjson --provenance p.json --summary");
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("1 file in the folders") && err.contains("load/old.csv"), "{err}");
    assert!(out.contains("P1"), "{out}");
    let table = rows(&fs::read_to_string(root.join("t.ndjson")).unwrap());
    let told: Vec<[&str; 3]> = table
        .iter()
        .map(|row| ["path", "participant", "error_code"].map(|key| row[key].as_str().unwrap_or("")))
        .collect();
    assert_eq!(
        told,
        [
            ["load/a/P1/recordings/1.tcx", "a/P1", ""],
            ["load/b/P1/recordings/1.tcx", "b/P1", ""],
            ["load/b/P2/recordings/1.tcx", "b/P2", "case_not_readable"],
            ["load/loose.tcx", "", "no_plan"],
        ]
    );
    let provenance: Value = serde_json::from_slice(&fs::read(root.join("p.json")).unwrap()).unwrap();
    assert_eq!(provenance["passed_over"], serde_json::json!(["load/old.csv"]));
    let inputs: Vec<&str> = provenance["inputs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|input| input["path"].as_str().unwrap())
        .collect();
    assert!(inputs.contains(&"load/a/P1/plan.toml") && inputs.contains(&"load/loose.tcx"), "{inputs:?}");

    // Two named cases of one name are two people.
    let named = rows(&works(root, "load/a/P1 load/b/P1 --out -"));
    let people: Vec<&str> = named.iter().map(|row| row["participant"].as_str().unwrap()).collect();
    assert_eq!(people, ["load/a/P1", "load/b/P1"]);
    let one = rows(&works(root, "load/a/P1 --out -"));
    assert_eq!((one.len(), &one[0]["participant"]), (1, &"P1".into()));
    let (code, _, err) = run(root, "load/loose.tcx --out -");
    assert!(code == 2 && err.contains("nothing says what was prescribed"), "{err}");
}

#[test]
fn every_recording_of_a_file_has_a_row_and_a_ride_is_no_session() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    put(root, "plan.toml", crate::hand_made::PLAN);
    let second = tcx_activity("Running", AS_PRESCRIBED).replace("2026-03-02T", "2026-03-04T");
    let several =
        tcx(&[tcx_activity("Biking", &[(600, 6.0, 80.0)]), tcx_activity("Running", AS_PRESCRIBED), second]);
    put(root, "rec/several.tcx", several);
    put(root, "rec/notes.txt", "x");
    let table = rows(&works(root, "rec --plan plan.toml --stage first --out -"));
    let told: Vec<(Option<u64>, Option<&str>, bool)> = table
        .iter()
        .map(|row| (row["activity"].as_u64(), row["left_out"].as_str(), row["outcome"].is_string()))
        .collect();
    assert_eq!(told, [(Some(1), Some("not_on_foot"), false), (Some(2), None, true), (Some(3), None, true)]);
    // What is named has a row, whatever it is.
    let named = rows(&works(root, "rec/notes.txt --plan plan.toml --stage first --out -"));
    assert_eq!(named[0]["error_code"], "unknown_format");
}
