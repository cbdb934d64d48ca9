//! A case is one patient's: no link leads out of it, no pipe or folder that cannot be read keeps it waiting or ends its review,
//! and two patients never look alike.
#![cfg(unix)]

use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use crate::folder::Folder;
use crate::page::{Page, case_with, tree};
use crate::program::jogaudit;

fn pipe(path: &Path) {
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

fn review(case: &Path) -> (i32, String) {
    let output = Command::new(jogaudit())
        .args(["review", "--as-of", "2026-05-10"])
        .arg(case)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let said = text(&output.stdout) + &text(&output.stderr);
    // Wrapped lines are one sentence.
    (output.status.code().unwrap(), said.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[test]
fn pipes_and_links_in_a_case_are_lines_and_end_nothing() {
    let (folder, other) = (case_with(&["2026-03-02.fit"]), case_with(&["2026-03-04.gpx.gz"]));
    let case = folder.path().join("case");
    let theirs = other.path().join("case");
    pipe(&case.join("recordings/pipe.fit"));
    symlink(theirs.join("recordings"), case.join("recordings/theirs")).unwrap();
    symlink(theirs.join("recordings/2026-03-04.gpx.gz"), case.join("recordings/theirs.gpx.gz")).unwrap();
    symlink(case.join("recordings"), case.join("recordings/circle")).unwrap();
    let (code, said) = review(&case);
    assert_eq!(code, 0, "{said}");
    for line in [
        "pipe.fit: Not readable: it is a pipe",
        "theirs: Not readable: a link leads out",
        "theirs.gpx.gz: Not readable: a link leads out",
    ] {
        assert!(said.contains(line), "{line}: {said}");
    }
    assert!(!said.contains("circle") && !said.contains("2026-03-04.gpx.gz"), "{said}");

    for name in ["diary.csv", "stages.csv"] {
        let _ = fs::remove_file(case.join(name));
        pipe(&case.join(name));
    }
    let (code, said) = review(&case);
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("diary.csv could not be used: it is a pipe"), "{said}");
    assert!(said.contains("stages.csv could not be used: it is a pipe"), "{said}");
    fs::remove_file(case.join("diary.csv")).unwrap();
    symlink(theirs.join("diary.csv"), case.join("diary.csv")).unwrap();
    let (code, said) = review(&case);
    assert!(code == 0 && said.contains("diary.csv could not be used: a link leads out"), "{said}");
    fs::remove_file(case.join("plan.toml")).unwrap();
    symlink(theirs.join("plan.toml"), case.join("plan.toml")).unwrap();
    let (code, said) = review(&case);
    assert!(code == 2 && said.contains("a link leads out"), "{said}");
}

#[test]
fn the_page_writes_nothing_through_a_link() {
    let (folder, other) = (case_with(&[]), case_with(&[]));
    let (case, theirs) = (folder.path().join("case"), other.path().join("case"));
    fs::write(theirs.join("secret.csv"), "date,note\n2026-03-09,theirs\n").unwrap();
    fs::remove_file(case.join("diary.csv")).unwrap();
    symlink(theirs.join("secret.csv"), case.join("diary.csv")).unwrap();
    symlink(theirs.join("recordings"), case.join("stages.csv")).unwrap();
    symlink(theirs.join("new.bak"), case.join("plan.toml.bak")).unwrap();
    fs::remove_dir(case.join("recordings")).unwrap();
    symlink(theirs.join("recordings"), case.join("recordings")).unwrap();
    let before = tree(other.path());
    let page = Page::on(&case);
    let body = page.page("/case/case/");
    assert!(body.contains("leads out of the folder"), "{body}");
    let fields = [("note", "x"), ("was_note", "theirs")];
    let answer = page.post("/case/case/diary/2026-03-09", &fields);
    assert!(answer.status == 422 && !answer.body.contains("theirs"), "{answer:?}");
    let waiting = page.upload("case", &[("a.gpx", &crate::page::gpx(1, ""))]).location().to_owned();
    assert_eq!(page.post(&format!("{waiting}/keep"), &[]).status, 422);
    assert_eq!(page.post("/case/case/stage", &[("recording", "a.fit"), ("stage", "1")]).status, 404);
    let plan = fs::read_to_string(case.join("plan.toml")).unwrap();
    let of = page.page("/case/case/plan").split("name=\"of\" value=\"").nth(1).unwrap()[..64].to_owned();
    let answer = page.post("/case/case/plan/text", &[("text", &plan), ("of", &of), ("action", "save")]);
    assert_eq!(answer.status, 422, "the backup would go through a link");
    assert!(answer.body.contains("plan.toml.bak"), "{}", answer.body);
    assert_eq!(tree(other.path()), before);
}

/// Runs the command as somebody who is not root.
fn as_nobody(folder: &Path, args: &[&str]) -> Output {
    let mut command = Command::new(jogaudit());
    command.current_dir(folder).args(args).stdin(Stdio::null());
    let is_root =
        fs::metadata("/proc/self").is_ok_and(|known| std::os::unix::fs::MetadataExt::uid(&known) == 0);
    if is_root {
        command.uid(65534).gid(65534);
    }
    command.output().unwrap()
}

/// Lets everybody read a folder and what is in it.
fn open_to_all(path: &Path) {
    let mode = if path.is_dir() { 0o755 } else { 0o644 };
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    if path.is_dir() {
        fs::read_dir(path).unwrap().for_each(|entry| open_to_all(&entry.unwrap().path()));
    }
}

#[test]
fn a_folder_that_may_not_be_read_is_one_line_of_the_review_and_one_row_of_the_table() {
    let folder = case_with(&["2026-03-02.fit"]);
    let closed = folder.path().join("case/recordings/closed");
    fs::create_dir(&closed).unwrap();
    fs::write(closed.join("x.fit"), "").unwrap();
    open_to_all(folder.path());
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o777)).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o000)).unwrap();
    let reviewed = as_nobody(folder.path(), &["review", "case", "--as-of", "2026-05-10"]);
    let said = String::from_utf8_lossy(&reviewed.stdout).split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(reviewed.status.code(), Some(0), "{}", String::from_utf8_lossy(&reviewed.stderr));
    assert!(said.contains("closed: Not readable: Permission denied"), "{said}");
    let args = ["batch", "case/recordings", "--plan", "case/plan.toml", "--stage", "1", "--out", "o.csv"];
    let batch = as_nobody(folder.path(), &args);
    assert_eq!(batch.status.code(), Some(0), "{}", String::from_utf8_lossy(&batch.stderr));
    let table = fs::read_to_string(folder.path().join("o.csv")).unwrap();
    assert!(table.lines().count() == 3 && table.contains("case/recordings/closed,"), "{table}");
    assert!(table.contains("no_permission"), "{table}");
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn a_pipe_among_recordings_is_a_row() {
    let folder = Folder::new();
    folder.write("plan.toml", crate::hand_made::PLAN);
    fs::create_dir(folder.file("rec")).unwrap();
    pipe(&folder.file("rec/pipe.fit"));
    symlink("/dev/zero", folder.file("rec/zero.fit")).unwrap();
    let args = "batch rec --plan plan.toml --stage first --out o.ndjson";
    let (code, _, err) = folder.run(&args.split(' ').collect::<Vec<_>>(), b"");
    assert_eq!(code, 0, "{err}");
    let table = String::from_utf8(folder.read("o.ndjson")).unwrap();
    assert!(table.contains("it is a pipe, not a plain file") && table.contains("it is a device"), "{table}");
}

#[test]
fn patients_are_told_apart_and_links_between_them_are_not_followed() {
    let (caseload, elsewhere) = (case_with(&[]), case_with(&[]));
    let root = caseload.path();
    fs::rename(root.join("case"), root.join("Anna")).unwrap();
    // The second one is written with a Cyrillic letter.
    for name in ["Ann\u{430}", "Berit"] {
        fs::create_dir(root.join(name)).unwrap();
        fs::copy(root.join("Anna/plan.toml"), root.join(name).join("plan.toml")).unwrap();
    }
    fs::write(root.join("Ann\u{430}/diary.csv"), "date,pain_during,pain_pattern\n2026-05-09,6,night\n")
        .unwrap();
    symlink(elsewhere.path().join("case"), root.join("Cato")).unwrap();
    symlink(root.join("Anna"), root.join("Dag")).unwrap();
    let page = Page::on(root);
    let body = page.page("/");
    for label in ["Anna (1 of 2 folders that look alike)", "Ann\u{430} (2 of 2 folders that look alike)"] {
        assert!(body.contains(label), "{label}: {body}");
    }
    assert!(body.contains("Links, which are not followed: <bdi>Cato</bdi>, <bdi>Dag</bdi>"), "{body}");
    assert_eq!(page.get("/case/Cato/").status, 404);
    assert!(page.page("/case/Ann%D0%B0/diary").contains("2026-05-09"));
    assert!(!page.page("/case/Anna/diary/2026-05-09").contains("value=\"6\""));
}

#[test]
#[cfg(target_os = "linux")]
fn a_review_ends_at_once_when_it_is_interrupted() {
    use std::os::unix::process::ExitStatusExt;

    let folder = case_with(&["2026-03-02.fit"]);
    let case = folder.path().join("case");
    for number in 0..1_000 {
        let copy = case.join(format!("recordings/{number}.fit"));
        fs::hard_link(case.join("recordings/2026-03-02.fit"), copy).unwrap();
    }
    // Whoever runs the tests in the background may ignore the signal for all.
    let mut review = Command::new("env")
        .arg("--default-signal=INT")
        .arg(jogaudit())
        .args(["review", "--as-of", "2026-05-10"])
        .arg(&case)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    // While it reads, it has threads besides its first one.
    let threads = format!("/proc/{}/task", review.id());
    let is_alone = || fs::read_dir(&threads).is_ok_and(|tasks| tasks.count() < 2);
    while review.try_wait().unwrap().is_none() && is_alone() {
        std::thread::sleep(std::time::Duration::from_millis(1));
    }
    assert!(Command::new("kill").args(["-INT", &review.id().to_string()]).status().unwrap().success());
    let output = review.wait_with_output().unwrap();
    assert_eq!(output.status.signal(), Some(2), "Ctrl-C");
    assert!(output.stdout.is_empty(), "nothing half-way is shown");
}
