//! A case to send: the zip tells the same as the folder, and not where the runner runs.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use crate::page::{Page, demo};
use crate::program::jogaudit;

fn run(args: &[&Path]) -> Output {
    Command::new(jogaudit()).args(args).output().unwrap()
}

fn ok(output: Output) -> (String, String) {
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let (out, err) = (text(output.stdout), text(output.stderr));
    assert!(output.status.success(), "{err}");
    (out, err)
}

fn review(case: &Path, format: &str) -> String {
    let args = ["--as-of", "2026-05-10", "--format", format].map(Path::new);
    ok(run(&[&[Path::new("review"), case], &args[..]].concat())).0
}

fn share(case: &Path, out: &Path, more: &[&Path]) -> (String, String) {
    ok(run(&[&[Path::new("share"), case, Path::new("--out"), out], more].concat()))
}

#[test]
fn a_zip_with_places_is_reviewed_and_checked_as_the_folder() {
    let folder = tempfile::tempdir().unwrap();
    let (case, zip) = (demo().join("demo"), folder.path().join("case.zip"));
    let (_, said) = share(&case, &zip, &[Path::new("--keep-places")]);
    assert!(said.contains("they show where the runner runs"), "{said}");
    for format in ["json", "text", "html"] {
        assert_eq!(review(&zip, format), review(&case, format), "{format}");
    }
    let check = |case: &Path| {
        let recording = demo().join("demo/recordings/2026-03-09.fit");
        let (plan, stage) = (demo().join("demo/plan.toml"), Path::new("2"));
        let args = [Path::new("check"), &recording, Path::new("--plan"), &plan, Path::new("--stage"), stage];
        ok(run(&[&args[..], &[Path::new("--case"), case]].concat())).0
    };
    assert_eq!(check(&zip), check(&case));
    // The same case gives the same bytes, also from its own zip.
    let again = folder.path().join("again.zip");
    share(&zip, &again, &[Path::new("--keep-places")]);
    assert!(fs::read(&zip).unwrap() == fs::read(&again).unwrap());
}

#[test]
fn a_zip_without_places_gives_the_same_ruling_and_findings() {
    let folder = tempfile::tempdir().unwrap();
    let (case, zip) = (demo().join("demo"), folder.path().join("case.zip"));
    let (out, said) = share(&case, &zip, &[]);
    assert!(out.is_empty() && said.contains("Places were taken out of"), "{said}");
    assert!(said.contains("Not hidden in the copy to send: days and times of day, lengths"), "{said}");
    let parsed = |case: &Path| -> serde_json::Value { serde_json::from_str(&review(case, "json")).unwrap() };
    let (before, after) = (parsed(&case), parsed(&zip));
    assert_eq!(before["ruling"], after["ruling"]);
    let sessions = |review: &serde_json::Value| -> Vec<[serde_json::Value; 3]> {
        let sessions = review["sessions"].as_array().unwrap().iter();
        sessions.map(|s| [s["date"].clone(), s["stage"].clone(), s["outcome"].clone()]).collect()
    };
    assert_eq!(sessions(&before), sessions(&after));
    let codes = |review: &serde_json::Value| -> Vec<serde_json::Value> {
        review["findings"].as_array().unwrap().iter().map(|finding| finding["code"].clone()).collect()
    };
    assert_eq!(codes(&before), codes(&after));
}

#[test]
fn a_zip_is_looked_at_on_the_page_and_not_changed() {
    let folder = tempfile::tempdir().unwrap();
    let (case, zip) = (demo().join("demo"), folder.path().join("anna.zip"));
    share(&case, &zip, &[Path::new("--keep-places")]);
    let before = fs::read(&zip).unwrap();
    let (of_zip, of_folder) = (Page::on(&zip), Page::on(&case));
    let now = of_zip.page("/case/anna/");
    assert_eq!(
        now.replace("/case/anna/", "/case/demo/"),
        of_folder.page("/case/demo/").replace("– demo<", "– anna<")
    );
    let day = "/case/anna/diary/2026-03-09";
    let refused = of_zip.write_day(day, &[("note", "x")]);
    assert_eq!(refused.status, 422, "{refused:?}");
    assert!(
        refused.body.contains("This case is a zip, which is opened to look at only."),
        "{}",
        refused.body
    );
    assert!(refused.body.contains("unpack the zip into a folder"), "{}", refused.body);
    assert!(fs::read(&zip).unwrap() == before);
}

/// Kills `share` at moments that are drawn, over a zip that is there: it stays whole, old or new, and nothing else is left but what the
/// next run takes away.
#[test]
fn a_share_that_is_killed_leaves_the_old_zip_or_the_new_one() {
    let folder = tempfile::tempdir().unwrap();
    let (case, zip) = (demo().join("demo"), folder.path().join("case.zip"));
    share(&case, &zip, &[]);
    let new = fs::read(&zip).unwrap();
    let old = b"the zip of last week".to_vec();
    let begin = std::time::Instant::now();
    share(&case, &zip, &[]);
    let takes = begin.elapsed();
    let (mut killed, mut finished) = (0, 0);
    for round in 0..60_u32 {
        if killed == 20 {
            break;
        }
        fs::write(&zip, &old).unwrap();
        let mut child = Command::new(jogaudit());
        let mut child = child
            .arg("share")
            .arg(&case)
            .arg("--out")
            .arg(&zip)
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(takes * (round % 20 + 1) / 20);
        let _ = child.kill();
        if child.wait().unwrap().success() {
            finished += 1;
        } else {
            killed += 1;
        }
        let stands = fs::read(&zip).unwrap();
        assert!(stands == old || stands == new, "round {round}: torn");
    }
    assert_eq!(killed, 20, "{finished} had finished");
    share(&case, &zip, &[]);
    assert!(fs::read(&zip).unwrap() == new);
    let left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    let is_ours = |name: &std::ffi::OsString| {
        let name = name.to_string_lossy();
        name == "case.zip" || name.ends_with(".jogaudit-lock")
    };
    assert!(left.iter().all(is_ours), "{left:?}");
}

#[test]
fn what_is_no_case_is_refused_and_nothing_is_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let refused = |args: &[&Path]| {
        let output = run(args);
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        String::from_utf8(output.stderr).unwrap()
    };
    let (share, out, zip) = (Path::new("share"), Path::new("--out"), folder.path().join("case.zip"));
    assert!(refused(&[share, folder.path(), out, &zip]).contains("holds no case"));
    assert!(!zip.exists());
    let case = folder.path().join("case");
    fs::create_dir(&case).unwrap();
    fs::write(case.join("plan.toml"), "title = 'x'").unwrap();
    let said = refused(&[share, &case, out, &case.join("plan.toml")]);
    assert!(said.contains("would overwrite its own input"), "{said}");
    let text = folder.path().join("a.txt");
    fs::write(&text, "x").unwrap();
    assert!(refused(&[Path::new("review"), &text]).contains("is no case"));
    fs::write(&text, b"PK\x03\x04 broken").unwrap();
    assert!(refused(&[Path::new("review"), &text]).contains("could not be opened as a zip"));
}
