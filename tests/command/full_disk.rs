//! A full disk: whatever is written, old files stay whole, the error says so, and the exit code is 2.
//!
//! It needs a small disk of its own, a few MiB, in the folder that `JOGAUDIT_SMALL_DISK` names; `bash tests/full` makes one.

#![allow(clippy::print_stdout)] // what was measured

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::batch_folder::folder_of;
use crate::page::{Page, case_with, demo_file, gpx};
use crate::program::jogaudit;

const OLD: &[u8] = b"an old result";
/// So much more room is left from one try to the next: a page of memory, which such a disk gives out.
const STEP: u64 = 4096;

/// The small disk, emptied; `None` where there is none.
struct SmallDisk(PathBuf);

impl SmallDisk {
    fn new() -> Option<Self> {
        let disk = PathBuf::from(std::env::var_os("JOGAUDIT_SMALL_DISK")?);
        for entry in fs::read_dir(&disk).unwrap().map(Result::unwrap) {
            let is_folder = entry.file_type().unwrap().is_dir();
            if is_folder { fs::remove_dir_all(entry.path()) } else { fs::remove_file(entry.path()) }.unwrap();
        }
        Some(Self(disk))
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// Fills the disk but for so many bytes.
    fn leave(&self, bytes: u64) {
        let filler = self.file("filler");
        let _ = fs::remove_file(&filler);
        let mut file = File::create(&filler).unwrap();
        while file.write_all(&[1; STEP as usize]).is_ok() {
            assert!(file.metadata().unwrap().len() < 64 << 20, "this is no small disk");
        }
        let length = file.metadata().unwrap().len();
        file.set_len(length.saturating_sub(bytes)).unwrap();
    }

    /// Every file but the filler, and what may stay of a run that is to be resumed.
    fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let mut all = BTreeMap::new();
        let mut folders = vec![self.0.clone()];
        while let Some(folder) = folders.pop() {
            for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
                let name = path.strip_prefix(&self.0).unwrap().to_string_lossy().into_owned();
                if path.is_dir() {
                    folders.extend((path.extension().is_none_or(|end| end != "parts")).then_some(path));
                } else if name != "filler" && !name.ends_with(".jogaudit-lock") {
                    all.insert(name, fs::read(path).unwrap());
                }
            }
        }
        all
    }
}

/// Runs a command, `DISK` in it being the small disk; gives the exit code and standard error.
fn run(folder: &Path, disk: &SmallDisk, command: &str, out: Stdio) -> (i32, String) {
    let args = command.split(' ').map(|word| word.replace("DISK", disk.0.to_str().unwrap()));
    let output = Command::new(jogaudit()).current_dir(folder).args(args).stdout(out).output().unwrap();
    (output.status.code().unwrap(), String::from_utf8(output.stderr).unwrap())
}

/// Recordings, plan and roster, and a case with the first of them.
fn inputs() -> tempfile::TempDir {
    let folder = folder_of(6);
    let root = folder.path();
    fs::write(root.join("one.csv"), "start_s,end_s,gait\n0,60,walk\n60,120,run\n120,180,walk\n").unwrap();
    fs::write(root.join("two.csv"), "start_s,end_s,gait\n0,62,walk\n62,118,run\n118,180,walk\n").unwrap();
    let case = case_with(&["2026-03-02.fit"]);
    fs::rename(case.path().join("case"), root.join("case")).unwrap();
    folder
}

#[test]
#[ignore = "needs a small disk: bash tests/full makes one"]
fn a_full_disk_leaves_old_files_whole() {
    let Some(disk) = SmallDisk::new() else {
        return println!("did not run: JOGAUDIT_SMALL_DISK names no disk");
    };
    let folder = inputs();
    let batch = "batch recordings --roster roster.csv --chunk 2 --resume --bouts DISK/b.csv --reps DISK/r.ndjson \
                 --provenance DISK/p.json";
    let commands = [
        format!("{batch} --out DISK/t.parquet"),
        format!("{batch} --out DISK/t.csv --summary=DISK/s.csv"),
        format!("{batch} --out DISK/t.ndjson"),
        "check recordings/anna/000.rec --plan plan.toml --stage 1 --format html --out DISK/report.html"
            .to_owned(),
        "check recordings/anna/000.rec --plan plan.toml --stage 1 --format json --out DISK/report.json"
            .to_owned(),
        "plan draft --run 0:50 --walk 1:40 --minutes 30 --goal-run 20:00 --out DISK/plan.toml".to_owned(),
        "simulate --plan plan.toml --stage 1 --out DISK/new.tcx --truth DISK/truth.json".to_owned(),
        "agree one.csv two.csv --plot DISK/plot.svg".to_owned(),
        "share case --out DISK/sent.zip".to_owned(),
    ];
    for command in commands {
        let disk_words = command.split([' ', '=']).filter_map(|word| word.strip_prefix("DISK/"));
        let outputs: Vec<String> = disk_words.map(str::to_owned).collect();
        fs::remove_file(disk.file("filler")).ok();
        outputs.iter().for_each(|name| fs::write(disk.file(name), OLD).unwrap());
        let before = disk.files();
        let mut refusals = 0;
        loop {
            disk.leave(refusals * STEP);
            let (code, err) = run(folder.path(), &disk, &command, Stdio::null());
            if code == 0 {
                break;
            }
            refusals += 1;
            assert_eq!(code, 2, "{command}: {err}");
            assert!(
                err.contains("error: could not write") && err.contains("No space left"),
                "{command}: {err}"
            );
            assert!(err.contains("make room"), "{command}: {err}");
            assert!(disk.files() == before, "{command}: an old file was touched, or something was left");
            assert!(refusals < 1_000, "{command} never had room");
        }
        assert!(refusals > 0, "{command} had room on a full disk");
        let after = disk.files();
        assert!(outputs.iter().all(|name| after[name] != OLD), "{command}");
        println!("{refusals} refusals, then done: {command}");
    }
}

#[test]
#[ignore = "needs a small disk: bash tests/full makes one"]
fn a_full_disk_behind_standard_output_and_a_demo_are_errors() {
    let Some(disk) = SmallDisk::new() else {
        return println!("did not run: JOGAUDIT_SMALL_DISK names no disk");
    };
    let folder = inputs();
    for command in [
        "review case --format html",
        "bouts recordings/anna/000.rec --format json",
        "plan show plan.toml",
        "batch recordings --roster roster.csv --out -",
    ] {
        let result = File::create(disk.file("result")).unwrap();
        disk.leave(0);
        let (code, err) = run(folder.path(), &disk, command, result.into());
        assert_eq!(code, 2, "{command}: {err}");
        assert!(err.contains("error: could not write"), "{command}: {err}");
        fs::remove_file(disk.file("result")).unwrap();
    }
    for room in [0, 16 * STEP, 100 * STEP] {
        disk.leave(room);
        let (code, err) = run(folder.path(), &disk, "demo DISK/demo", Stdio::null());
        assert_eq!(code, 2, "{err}");
        assert!(err.contains("error: could not ") && err.contains("No space left"), "{err}");
        for (name, bytes) in disk.files() {
            assert!(bytes == demo_file(name.strip_prefix("demo/").unwrap()), "{name} is not whole");
        }
        let _ = fs::remove_dir_all(disk.file("demo"));
    }
}

#[test]
#[ignore = "needs a small disk: bash tests/full makes one"]
fn a_full_disk_behind_the_page_loses_nothing() {
    let Some(disk) = SmallDisk::new() else {
        return println!("did not run: JOGAUDIT_SMALL_DISK names no disk");
    };
    let source = case_with(&["2026-03-02.fit"]);
    fs::create_dir_all(disk.file("case/recordings")).unwrap();
    for name in ["plan.toml", "diary.csv", "recordings/2026-03-02.fit"] {
        fs::copy(source.path().join("case").join(name), disk.file("case").join(name)).unwrap();
    }
    let page = Page::on(&disk.file("case"));
    page.page("/case/case/");
    let day = "/case/case/diary/2026-03-03";
    let form = page.day_form(day);
    let place = page.upload("case", &[("a.gpx", &gpx(1, ""))]).location().to_owned();
    let visit = [("date", "2026-03-04"), ("by", "R. Lunde"), ("stage", ""), ("note", "")];
    disk.leave(0);
    let before = disk.files();
    for _ in 0..3 {
        let answer = page.send_day(day, &form, &[("note", "soft shoes")]);
        assert!(answer.status >= 400 && answer.body.contains("ould not write"), "{answer:?}");
        assert!(
            answer.body.contains("No space left") && answer.body.contains("make room"),
            "{}",
            answer.body
        );
        let answer = page.post(&format!("{place}/keep"), &[("stage", "1")]);
        assert!(answer.status >= 400 && answer.body.contains("ould not write"), "{answer:?}");
        let answer = page.post("/case/case/seen", &visit);
        assert!(answer.status >= 400 && answer.body.contains("ould not write"), "{answer:?}");
        assert!(disk.files() == before, "a file of the case was touched, or something was left");
    }
    // With room again, what waited is not lost.
    disk.leave(64 * STEP);
    assert!(page.send_day(day, &form, &[("note", "soft shoes")]).location().contains("done=diary"));
    assert!(page.post(&format!("{place}/keep"), &[("stage", "1")]).location().contains("done=kept"));
    assert!(page.post("/case/case/seen", &visit).location().contains("done=seen"));
    let after = disk.files();
    assert_eq!(after.len(), before.len() + 3, "the recording, stages.csv and seen.csv");
    assert!(String::from_utf8_lossy(&after["case/seen.csv"]).contains("2026-03-04,R. Lunde,,"));
    assert!(String::from_utf8_lossy(&after["case/diary.csv"]).contains("soft shoes"));
}
