//! `jogaudit simulate` and `jogaudit demo` as a user meets them.

use std::fs;
use std::path::Path;

use crate::program::jogaudit;

const PLAN: &str = "
title = 'Back on the path'
[limits]
pace_ceiling = '6:45 /km'
[[stage]]
name = '1'
session = 'walk 2:00, 3 x (run 1:00, walk 1:00), walk 1:00'
[[stage]]
name = 'far'
session = 'walk 200 m, for 1 mi (run 1:00, walk 1:00)'
";

fn run(dir: &Path, arguments: &str) -> std::process::Output {
    let mut command = std::process::Command::new(jogaudit());
    command.current_dir(dir).args(arguments.split_whitespace()).output().unwrap()
}

fn with_plan() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("plan.toml"), PLAN).unwrap();
    dir
}

#[test]
fn a_seed_gives_the_same_file_and_its_truth() {
    let dir = with_plan();
    for (name, more) in [("a.fit", ""), ("a.gpx.gz", ""), ("a.tcx", ""), ("far.fit", "--stage far")] {
        let stage = if more.is_empty() { "--stage 1" } else { more };
        let arguments = format!("simulate --plan plan.toml {stage} --seed 9 --out {name} --truth t.json");
        let bytes = || {
            let output = run(dir.path(), &arguments);
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            fs::read(dir.path().join(name)).unwrap()
        };
        assert_eq!(bytes(), bytes());
        let truth: serde_json::Value =
            serde_json::from_slice(&fs::read(dir.path().join("t.json")).unwrap()).unwrap();
        assert_eq!(truth["schema"], "jogaudit.truth/1");
        assert_eq!(truth["bouts"][1]["gait"], "run");
    }
    assert_eq!(fs::read(dir.path().join("a.fit")).unwrap()[8..12], *b".FIT");
    assert_eq!(fs::read(dir.path().join("a.gpx.gz")).unwrap()[..2], [0x1f, 0x8b]);
    assert!(fs::read(dir.path().join("a.tcx")).unwrap().starts_with(b"<?xml"));
}

#[test]
fn a_realistic_session_has_the_true_bouts_of_the_ideal_one_in_another_recording() {
    let dir = with_plan();
    let made = |more: &str| {
        let arguments =
            format!("simulate --plan plan.toml --stage 1 --seed 9 --out a.fit --truth t.json {more}");
        let output = run(dir.path(), &arguments);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        ["a.fit", "t.json"].map(|name| fs::read(dir.path().join(name)).unwrap())
    };
    let ideal = made("");
    assert_eq!(made("--realism ideal --sampling 1s"), ideal);
    let realistic = made("--realism realistic");
    assert_eq!(realistic[1], ideal[1]);
    assert_ne!(realistic[0], ideal[0]);
    assert_eq!(made("--realism realistic --sampling drawn"), realistic);
    assert_ne!(made("--gps coarse --sampling slow")[0], ideal[0]);
}

#[test]
fn what_cannot_be_made_up_is_said_with_code_2() {
    let dir = with_plan();
    for (arguments, said) in [
        ("--stage 9 --out a.fit", "has no stage `9`"),
        ("--stage 1 --out a.gpx --treadmill", "GPX cannot hold"),
        ("--stage 1 --out a.fit --fault jump", "no fault is called `jump`"),
        ("--stage 1 --out a.fit --fault stop:30:9", "no rep for the fault"),
        ("--stage 1 --out a.fit --pause 30@9999", "does not fit the recording"),
        ("--stage 1 --out nowhere/a.fit", "could not write `nowhere/a.fit`"),
    ] {
        let output = run(dir.path(), &format!("simulate --plan plan.toml {arguments}"));
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments}: {error}");
        assert!(error.contains(said), "{arguments}: {error}");
    }
}

#[test]
fn every_argument_has_bounds() {
    let dir = with_plan();
    let many = "--hole 1 ".repeat(101);
    for arguments in [
        "--cadence-fault half:1e300",
        "--cadence-fault half:10@1e18",
        "--pause 1e18",
        "--pause 10@1e300",
        "--hole 1e9",
        "--fault rep-extra:1e9",
        "--fault stop:1e300",
        "--fault run-faster:1e9",
        "--fault heart-rate-high:1e9",
        "--fault run-longer:inf",
        "--fault run-longer:nan",
        "--lag 1e300",
        "--missing 100",
        &many,
    ] {
        let output = run(dir.path(), &format!("simulate --plan plan.toml --stage 1 --out a.fit {arguments}"));
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments}: {error}");
        assert!(!dir.path().join("a.fit").exists());
    }
    // The greatest values that are taken end in a file or an error, in no crash.
    for arguments in [
        "--fault rep-extra:1000",
        "--fault stop:86400",
        "--hole 86400",
        "--pause 86400@86400",
        "--lag 60",
        "--start 9999-12-30T21:59:59Z",
        "--start=-009999-01-03T02:00:00Z",
    ] {
        for name in ["b.fit", "b.gpx", "b.tcx"] {
            let output =
                run(dir.path(), &format!("simulate --plan plan.toml --stage 1 --out {name} {arguments}"));
            assert!(matches!(output.status.code(), Some(0 | 2)), "{arguments} {name}: {output:?}");
        }
    }
}

#[test]
fn the_demo_leaves_a_folder_of_the_user_alone() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("thesis.txt"), "mine").unwrap();
    let output = run(dir.path(), "demo .");
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8(output.stderr).unwrap().contains("is not empty"));
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
}

#[test]
fn a_demo_is_written_again_only_while_nobody_wrote_in_it() {
    let dir = tempfile::tempdir().unwrap();
    let first = run(dir.path(), "demo case");
    assert_eq!(first.status.code(), Some(0));
    let again = run(dir.path(), "demo case");
    assert_eq!((again.status.code(), again.stdout), (Some(0), first.stdout));

    let diary = dir.path().join("case/diary.csv");
    let line = "2026-05-11,0,,0,2,walked to work\n";
    fs::write(&diary, fs::read_to_string(&diary).unwrap() + line).unwrap();
    let before = crate::page::tree(dir.path());
    let refused = run(dir.path(), "demo case");
    assert_eq!((refused.status.code(), refused.stdout.len()), (Some(2), 0));
    let error = String::from_utf8(refused.stderr).unwrap();
    assert!(error.contains("nothing was changed") && error.contains("  diary.csv: changed since"), "{error}");
    assert_eq!(crate::page::tree(dir.path()), before);
    assert!(fs::read_to_string(&diary).unwrap().ends_with(line));
}

#[test]
fn a_plan_of_more_than_a_mebibyte_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let plan = "[[stage]]\nname = '1'\nsession = 'walk 5:00, run 1:00'\n";
    for (padding, code) in [((1 << 20) - plan.len(), 0), ((1 << 20) - plan.len() + 1, 2)] {
        fs::write(dir.path().join("plan.toml"), format!("{plan}{}", "\n".repeat(padding))).unwrap();
        let output = run(dir.path(), "simulate --plan plan.toml --stage 1 --out a.fit");
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(code), "{error}");
        assert_eq!(error.contains("is larger than 1 MiB"), code == 2, "{error}");
    }
}
