//! What a loss of power would leave, told from the order of system calls: the content is on the disk before a file gets its
//! name, and the name is on the disk before anybody is told.
//!
//! It needs `strace`, which `bash tests/full` installs. That a disk keeps what it was told to sync is the disk's promise.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::process::Command;

use crate::batch_folder::folder_of;
use crate::page::{Page, case_with, gpx};
use crate::program::jogaudit;

const CALLS: &str =
    "trace=fsync,fdatasync,rename,renameat,renameat2,mkdir,mkdirat,write,writev,pwrite64,sendto,sendmsg";

fn strace(trace: &Path) -> Command {
    let mut command = Command::new("strace");
    // -D: what is traced is our child, the tracer is not.
    command.args(["-D", "-f", "-q", "-y", "-s", "20", "-e", CALLS, "-o"]).arg(trace);
    command
}

/// What was called, in the order in which the calls came back.
fn calls(trace: &Path) -> Vec<String> {
    let text = String::from_utf8_lossy(&fs::read(trace).unwrap()).into_owned();
    let mut begun: BTreeMap<&str, &str> = BTreeMap::new();
    let mut calls = Vec::new();
    for line in text.lines() {
        let (pid, call) = line.split_once(' ').unwrap_or((line, ""));
        let call = call.trim_start();
        if let Some(beginning) = call.strip_suffix(" <unfinished ...>") {
            begun.insert(pid, beginning);
        } else if let Some((_, end)) = call.split_once(" resumed>") {
            calls.push(format!("{}{end}", begun.remove(pid).unwrap_or_default()));
        } else {
            calls.push(call.to_owned());
        }
    }
    calls.retain(|call| !call.contains(" = -1 "));
    calls
}

/// The `n`-th text in quotation marks.
fn quoted(call: &str, n: usize) -> &str {
    call.split('"').nth(2 * n + 1).unwrap_or_default()
}

/// Holds the calls against what is promised; gives how many files got their names. An answer of the page is an acknowledgement,
/// and so is the end. Finished chunks of a batch are not waited for: their hashes tell whether they are whole.
fn assert_durable(what: &str, calls: &[String]) -> usize {
    let of_file = |call: &String, path: &str| call.contains(&format!("<{path}>"));
    let is_sync = |call: &&String| call.starts_with("fsync(") || call.starts_with("fdatasync(");
    let told = |from: usize| {
        calls[from..].iter().position(|call| call.contains("HTTP/1.1 3")).map_or(calls.len(), |at| from + at)
    };
    let mut named = 0;
    for (at, call) in calls.iter().enumerate() {
        let folder = if call.starts_with("rename") {
            let (from, to) = (quoted(call, 0), quoted(call, 1));
            if to.contains(".parts/") {
                continue;
            }
            assert!(from.ends_with(".jogaudit-part"), "{what}: {call}");
            named += 1;
            let last = calls[..at].iter().rposition(|call| of_file(call, from));
            let last = last.unwrap_or_else(|| panic!("{what}: {from} was neither written nor synced"));
            assert!(is_sync(&&calls[last]), "{what}: {from} got its name before its content was on the disk");
            Path::new(to).parent().unwrap()
        } else if call.starts_with("mkdir") && !call.contains(".parts") {
            Path::new(quoted(call, 0)).parent().unwrap()
        } else {
            continue;
        };
        let synced =
            calls[at..told(at)].iter().filter(is_sync).any(|call| of_file(call, folder.to_str().unwrap()));
        assert!(synced, "{what}: the folder was not synced before it was told: {call}");
    }
    named
}

#[test]
#[ignore = "needs strace: bash tests/full installs it"]
fn what_a_command_wrote_is_on_the_disk_when_it_ends() {
    let folder = folder_of(4);
    let root = fs::canonicalize(folder.path()).unwrap();
    fs::write(root.join("one.csv"), "start_s,end_s,gait\n0,60,walk\n60,120,run\n").unwrap();
    let case = case_with(&["2026-03-02.fit"]);
    fs::rename(case.path().join("case"), root.join("case")).unwrap();
    for (command, files) in [
        (
            "batch recordings --roster roster.csv --chunk 2 --out t.parquet --bouts b.csv --reps r.ndjson --provenance p.json",
            5,
        ),
        ("batch recordings --roster roster.csv --out t.csv --summary=s.csv", 3),
        ("check recordings/anna/000.rec --plan plan.toml --stage 1 --out report", 1),
        ("plan draft --run 0:50 --walk 1:40 --minutes 30 --goal-run 20:00 --out draft.toml", 1),
        ("simulate --plan plan.toml --stage 1 --out new.fit --truth truth.json", 2),
        ("agree one.csv one.csv --plot plot.svg", 1),
        ("share case --out sent.zip", 1),
    ] {
        let trace = root.join("trace");
        let done =
            strace(&trace).arg(jogaudit()).args(command.split(' ')).current_dir(&root).output().unwrap();
        assert!(done.status.success(), "{command}: {}", String::from_utf8_lossy(&done.stderr));
        assert_eq!(assert_durable(command, &calls(&trace)), files, "{command}");
    }
}

#[test]
#[ignore = "needs strace: bash tests/full installs it"]
fn what_the_page_acknowledges_is_on_the_disk() {
    let folder = case_with(&[]);
    let case = fs::canonicalize(folder.path()).unwrap().join("case");
    fs::remove_dir(case.join("recordings")).unwrap();
    let trace = folder.path().join("trace");
    let mut command = strace(&trace);
    command.arg(jogaudit());
    let page = Page::started(command, &[case.as_os_str(), OsStr::new("--as-of"), OsStr::new("2026-05-10")]);
    assert!(
        page.write_day("/case/case/diary/2026-03-03", &[("note", "soft shoes")])
            .location()
            .contains("done=diary")
    );
    // The first recording comes with the folder of recordings, the second with its stage.
    for (number, stage) in [(1, ""), (2, "1")] {
        let place = page.upload("case", &[("a.gpx", &gpx(number, ""))]).location().to_owned();
        assert!(page.post(&format!("{place}/keep"), &[("stage", stage)]).location().contains("done=kept"));
    }
    let visit = [("date", "2026-03-04"), ("by", "R. Lunde"), ("stage", ""), ("note", "")];
    assert!(page.post("/case/case/seen", &visit).location().contains("done=seen"));
    page.end();
    let named = assert_durable("page", &calls(&trace));
    assert_eq!(named, 5, "the diary, two recordings, stages.csv and seen.csv");
}

#[test]
fn an_order_that_loses_something_is_seen() {
    let rename = "rename(\"/c/.a.Abcdefgh.jogaudit-part\", \"/c/a\") = 0";
    let (write, sync) = (
        "write(3</c/.a.Abcdefgh.jogaudit-part>, \"x\", 1) = 1",
        "fsync(3</c/.a.Abcdefgh.jogaudit-part>) = 0",
    );
    let (folder, answer) = ("fsync(4</c>) = 0", "sendto(5<socket:[1]>, \"HTTP/1.1 303\"...) = 9");
    let made = "mkdir(\"/c/recordings\", 0777) = 0";
    let is_seen = |calls: &[&str]| {
        let calls: Vec<String> = calls.iter().map(|call| (*call).to_owned()).collect();
        std::panic::catch_unwind(|| assert_durable("made up", &calls)).is_err()
    };
    assert!(!is_seen(&[made, write, sync, rename, folder, answer]));
    assert!(is_seen(&[write, rename, folder, answer]), "never synced");
    assert!(is_seen(&[write, rename, sync, folder, answer]), "synced too late");
    assert!(is_seen(&[sync, write, rename, folder, answer]), "written again");
    assert!(is_seen(&[write, sync, rename, answer, folder]), "answered too early");
    assert!(is_seen(&[write, sync, rename, answer]), "the folder is never synced");
    assert!(is_seen(&[made, answer, folder]), "the new folder is synced too late");
}
