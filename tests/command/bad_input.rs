//! Every kind of bad input through the real command: the exit code and what the user reads.

use std::path::Path;

use crate::folder::Folder;
use serde_json::Value;

/// A plan with every limit, so that each has the chance to be judged wrongly.
const PLAN: &str = r#"
[limits]
pace_ceiling = "6:45 /km"
heart_rate_ceiling = "154 bpm"
walk_cadence_floor = "105 spm"
session_ceiling = "45:00"
[[stage]]
name = "1"
session = "walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00"
"#;

/// What holds of the hand-made files beside their one fault: they are a few seconds long, GPX without speed.
const BESIDE_THE_FAULT: [&str; 5] =
    ["speed_from_positions", "no_cadence", "cadence_doubled", "gait_unknown", "gait_doubtful"];

fn bytes(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata").join(name);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// A folder with the plan and one file, under its own name.
fn folder(name: &str) -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    folder.write(name, bytes(&format!("malformed/{name}")));
    folder
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error} in\n{text}"))
}

fn codes(document: &Value) -> Vec<&str> {
    let notices = document["notices"].as_array().expect("notices");
    notices.iter().map(|notice| notice["code"].as_str().expect("a code")).collect()
}

#[test]
fn what_cannot_be_read_is_2_and_says_what_to_do() {
    for (name, message) in [
        (
            "empty.fit",
            "error: could not read `empty.fit`\n  caused by: the input is empty: export the recording again\n",
        ),
        (
            "text.txt",
            "error: could not read `text.txt`\n  caused by: not a FIT, GPX or TCX recording but text that starts with \
             `Tuesday: 6 x 1 min, felt`: export the activity in one of these formats\n",
        ),
        (
            "picture.png",
            "error: could not read `picture.png`\n  caused by: not a FIT, GPX or TCX recording but a PNG picture: \
             export the activity in one of these formats\n",
        ),
        (
            "web_page.gpx",
            "error: could not read `web_page.gpx`\n  caused by: not a FIT, GPX or TCX recording but a web page (often \
             a log-in page saved by mistake): export the activity in one of these formats\n",
        ),
        (
            "nothing_unfolds.gpx.gz",
            "error: could not read `nothing_unfolds.gpx.gz`\n  caused by: the gzip data cannot be unfolded: download \
             or export the file again\n",
        ),
        (
            "cut_before_first_sample.fit",
            "error: could not read `cut_before_first_sample.fit` as FIT\n  caused by: the file is cut before its \
             first whole sample: export or copy it again (byte 29)\n",
        ),
        (
            "no_times.gpx",
            "error: could not read `no_times.gpx` as GPX\n  caused by: none of the 4 points has a time that can be \
             read: export the recorded activity, not a drawn course\n",
        ),
        (
            "no_samples.tcx",
            "error: could not read `no_samples.tcx` as TCX\n  caused by: the activity has no samples (an entry made \
             by hand, or only totals): export it with its track\n",
        ),
        (
            "only_waypoints.gpx",
            "error: could not read `only_waypoints.gpx` as GPX\n  caused by: only waypoints or a route to follow, \
             nothing recorded: export the recorded activity instead\n",
        ),
    ] {
        let folder = folder(name);
        let expected = (2, String::new(), message.to_owned());
        assert_eq!(folder.run(&["bouts", name], b""), expected);
        assert_eq!(folder.run(&["check", name, "--plan", "plan.toml"], b""), expected);
    }
}

/// Files that are read: samples, the notice that the fault gives, and a part of its text.
#[allow(clippy::type_complexity)]
const READ: [(&str, u64, Option<(&str, &str)>); 20] = [
    ("bad_checksum.fit", 3, Some(("checksum_wrong", "some values may be damaged"))),
    ("bom.gpx", 4, None),
    ("chained.fit", 3, Some(("several_activities", "--activity N"))),
    ("cut.fit", 1, Some(("recording_cut", "record 1, byte 71"))),
    ("cut.gpx.gz", 17, Some(("gzip_cut", "line 21, record 17"))),
    ("cycling.tcx", 4, Some(("not_on_foot", "“Biking”"))),
    ("entity_bomb.gpx", 4, Some(("entity_not_expanded", "never expanded"))),
    ("latin1.gpx", 4, None),
    ("longitude_180.gpx", 4, None),
    ("mismatched_tags.gpx", 4, Some(("xml_damaged", "line 8"))),
    ("month_long_hole.gpx", 8, Some(("holes", "unknown"))),
    ("no_namespace.gpx", 4, None),
    ("no_zone.gpx", 4, Some(("time_without_zone", "read as UTC"))),
    ("one_of_two_without_samples.tcx", 2, Some(("activity_without_samples", "left out: 1"))),
    ("prefixed_root.gpx", 4, None),
    ("spaces_before_declaration.tcx", 4, None),
    ("swimming.gpx", 4, Some(("not_on_foot", "“open_water_swimming”"))),
    ("two_activities.tcx", 2, Some(("several_activities", "--activity N"))),
    ("undeclared_prefix.gpx", 4, None),
    ("utf16.gpx", 4, None),
];

#[test]
fn what_can_be_read_is_0_with_the_notice_of_its_fault() {
    for (name, samples, fault) in READ {
        let folder = folder(name);
        let (code, out, err) = folder.run(&["bouts", name, "--format", "json"], b"");
        assert_eq!((code, err.as_str()), (0, ""), "{name}");
        let document = json(&out);
        assert_eq!(document["recording"]["samples"], samples, "{name}");
        let of_the_fault: Vec<&str> =
            codes(&document).into_iter().filter(|code| !BESIDE_THE_FAULT.contains(code)).collect();
        assert_eq!(of_the_fault, fault.map(|(code, _)| code).as_slice(), "{name}");

        let (code, _, err) = folder.run(&["bouts", name], b"");
        assert_eq!(code, 0, "{name}");
        let unfolded = err.replace("\n  ", " ");
        for word in fault.iter().flat_map(|(code, text)| [format!("[{code}]"), (*text).to_owned()]) {
            assert!(unfolded.contains(&word), "{name}: no `{word}` in\n{err}");
        }
    }
}

#[test]
fn seconds_of_a_damaged_file_reach_no_verdict() {
    for (name, _, _) in READ {
        let folder = folder(name);
        let (code, out, err) = folder.run(&["check", name, "--plan", "plan.toml", "--strict"], b"");
        assert!(out.starts_with("Undecided:"), "{name}:\n{out}{err}");
        assert_eq!(code, 0, "{name}");
    }
}

#[test]
fn every_malformed_file_is_in_these_tests() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/malformed");
    let count = std::fs::read_dir(folder).expect("the folder").count();
    assert_eq!(count, READ.len() + 9);
}

#[test]
fn a_fit_file_cut_at_any_byte_is_read_to_the_cut() {
    let (whole, folder) = (bytes("tiny.fit"), Folder::new());
    let mut before = 0;
    for length in 1..whole.len() {
        let (code, out, err) = folder.run(&["bouts", "-", "--format", "json"], &whole[..length]);
        if code == 2 {
            assert_eq!((before, out.as_str()), (0, ""), "cut at {length}");
            assert!(err.starts_with("error: could not read standard input"), "cut at {length}: {err}");
            continue;
        }
        let document = json(&out);
        let samples = document["recording"]["samples"].as_u64().expect("a count");
        assert_eq!((code, err.as_str()), (0, ""), "cut at {length}");
        assert!(codes(&document).contains(&"recording_cut"), "cut at {length}: {out}");
        assert!(samples >= before && samples >= 1, "cut at {length}: {samples} samples after {before}");
        before = samples;
    }
    assert_eq!(before, 3, "a file that misses only its checksum has all samples");
}

/// A whole session of 28 minutes as FIT.
fn session() -> Vec<u8> {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    let args = ["simulate", "--plan", "plan.toml", "--stage", "1", "--seed", "3", "--out", "a.fit"];
    assert_eq!(folder.run(&args, b"").0, 0);
    folder.read("a.fit")
}

#[test]
fn a_session_cut_on_the_way_is_never_kept_or_overdone() {
    let (whole, folder) = (session(), Folder::new());
    folder.write("plan.toml", PLAN);
    let mut outcomes = Vec::new();
    for tenths in 1..10 {
        let cut = &whole[..whole.len() * tenths / 10];
        let (code, out, err) = folder.run(&["check", "-", "--plan", "plan.toml", "--format", "json"], cut);
        assert_eq!(code, 0, "{err}");
        let document = json(&out);
        assert!(codes(&document).contains(&"recording_cut"), "{tenths} tenths: {out}");
        outcomes.push(document["outcome"].as_str().expect("a word").to_owned());
    }
    // The last run ends before nine tenths: from there on only walking is missing.
    let short = outcomes.iter().take(8);
    assert!(short.clone().all(|outcome| outcome == "underdone" || outcome == "undecided"), "{outcomes:?}");
    let (_, out, _) = folder.run(&["check", "-", "--plan", "plan.toml"], &whole);
    assert!(out.starts_with("As prescribed:"), "the whole: {out}");
}

#[test]
fn a_session_of_which_any_part_is_damaged_ends_without_a_crash() {
    let (whole, folder) = (session(), Folder::new());
    folder.write("plan.toml", PLAN);
    for at in (0..whole.len()).step_by(whole.len() / 40) {
        let mut damaged = whole.clone();
        damaged[at..whole.len().min(at + 64)].fill(0xA5);
        let (code, out, err) = folder.run(&["check", "-", "--plan", "plan.toml"], &damaged);
        assert!(
            code == 0 || (code == 2 && out.is_empty() && err.starts_with("error: ")),
            "{at}: {code} {err}"
        );
        assert!(
            code == 2 || err.contains("[checksum_wrong]") || err.contains("[fit_damaged]"),
            "{at}: {err}"
        );
    }
}
