//! Outputs never meet inputs: through every command that writes, by every name that a file can have.

use std::fs;
use std::path::Path;

use crate::folder::Folder;
use crate::hand_made::{AS_PRESCRIBED, PLAN, session};

/// A recording, a plan, a roster, a key and bouts of two sides, in a folder.
fn folder() -> Folder {
    let folder = Folder::new();
    folder.write("plan.toml", PLAN);
    fs::create_dir(folder.file("rec")).unwrap();
    folder.write("rec/a.tcx", session(AS_PRESCRIBED));
    folder.write("roster.csv", "path,participant,stage,plan\nrec/*,p1,first,plan.toml\n");
    folder.write("key", [7; 32]);
    folder.write("list.txt", "rec/a.tcx\n");
    folder.write("a.bouts.csv", "start_s,end_s,gait\n0,60,walk\n60,120,run\n");
    folder.write("b.bouts.csv", "start_s,end_s,gait\n0,61,walk\n61,120,run\n");
    folder
}

/// Everything below a folder: names and bytes.
fn everything(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.file_type().unwrap().is_dir() {
            all.extend(
                everything(&entry.path())
                    .into_iter()
                    .map(|(inner, bytes)| (format!("{name}/{inner}"), bytes)),
            );
        } else if entry.file_type().unwrap().is_symlink() {
            all.push((name, b"a link".to_vec()));
        } else {
            all.push((name, fs::read(entry.path()).unwrap()));
        }
    }
    all.sort();
    all
}

/// Runs a command that must be refused with this word and leave every byte of the folder as it was.
fn refused(folder: &Folder, command: &str, word: &str) {
    let before = everything(folder.path());
    let (code, out, err) = folder.run(&command.split_whitespace().collect::<Vec<_>>(), b"");
    assert_eq!((code, out.as_str()), (2, ""), "{command}: {err}");
    assert!(err.contains(word), "{command}: {err}");
    assert!(before == everything(folder.path()), "{command} changed a file");
}

#[test]
fn no_output_is_an_input() {
    let folder = folder();
    let batch = "batch rec --plan plan.toml --stage first --out out.csv";
    for (command, word) in [
        ("check rec/a.tcx --plan plan.toml --stage first --out ./rec/../rec/a.tcx", "its own input"),
        ("check rec/a.tcx --plan plan.toml --stage first --out PLAN.TOML", "its own input"),
        ("agree a.bouts.csv b.bouts.csv --plot b.bouts.csv", "its own input"),
        ("agree a.bouts.csv b.bouts.csv --plot -", "cannot both go to standard output"),
        ("simulate --plan plan.toml --stage first --out plan.toml", "its own input"),
        ("simulate --plan plan.toml --stage first --out a.fit --truth A.fit", "two results would go to"),
        (
            "simulate --plan plan.toml --stage first --out - --truth -",
            "two results would go to standard output",
        ),
        (&format!("{batch} --provenance rec/a.tcx"), "its own input"),
        (&format!("{batch} --provenance plan.toml"), "its own input"),
        (&format!("{batch} --provenance OUT.csv"), "two results would go to"),
        (&format!("{batch} --pseudonymise key --provenance key"), "its own input"),
        (&format!("{batch} --bouts ./out.csv"), "two results would go to"),
        (
            "batch --files-from list.txt --plan plan.toml --stage first --out o.csv --provenance list.txt",
            "its own input",
        ),
        (
            "batch --files-from list.txt --plan plan.toml --stage first --out o.csv --provenance rec/a.tcx",
            "its own input",
        ),
        ("batch rec --roster roster.csv --out roster.csv", "its own input"),
        ("batch rec --roster roster.csv --out o.csv --provenance plan.toml", "its own input"),
    ] {
        refused(&folder, command, word);
    }
    let (code, _, err) = folder.run(
        &"batch --files-from - --plan plan.toml --stage first --out o.csv --provenance rec/a.tcx"
            .split(' ')
            .collect::<Vec<_>>(),
        b"rec/a.tcx\n",
    );
    assert!(code == 2 && err.contains("its own input"), "{err}");
    assert_eq!(folder.read("rec/a.tcx"), session(AS_PRESCRIBED).into_bytes());
    assert!(!folder.names().contains(&"o.csv".to_owned()));
}

#[cfg(unix)]
#[test]
fn no_output_is_an_input_behind_links() {
    use std::os::unix::fs::symlink;

    let folder = folder();
    symlink(folder.file("rec/a.tcx"), folder.file("soft.json")).unwrap();
    fs::hard_link(folder.file("rec/a.tcx"), folder.file("hard.json")).unwrap();
    symlink(folder.file("rec"), folder.file("same")).unwrap();
    let batch = "batch rec --plan plan.toml --stage first --out out.csv";
    for output in ["soft.json", "hard.json", "same/a.tcx", "same/A.tcx"] {
        refused(&folder, &format!("{batch} --provenance {output}"), "its own input");
        let check = "check rec/a.tcx --plan plan.toml --stage first --format json --out";
        refused(&folder, &format!("{check} {output}"), "its own input");
    }
    refused(&folder, &format!("{batch} --provenance same/new.json --bouts rec/NEW.json"), "how to write");
    refused(&folder, &format!("{batch} --bouts same/new.csv --reps rec/NEW.csv"), "two results would go to");
}

#[test]
fn files_of_the_user_beside_an_output_are_left_alone() {
    let folder = folder();
    let mine = ["out.csv.partial", "prov.json.partial", ".out.csv.mine.jogaudit-part", "a.fit.partial"];
    mine.iter().for_each(|name| folder.write(name, "mine"));
    let done = |command: &str| {
        let (code, _, err) = folder.run(&command.split_whitespace().collect::<Vec<_>>(), b"");
        assert_eq!(code, 0, "{command}: {err}");
    };
    // Twice: an earlier run's results in the folder of recordings are no recordings.
    for _ in 0..2 {
        done("batch . --plan plan.toml --stage first --out out.csv --provenance prov.json");
        done("simulate --plan plan.toml --stage first --out a.fit --truth a.truth.json");
    }
    assert!(mine.iter().all(|name| folder.read(name) == b"mine"));
    assert!(
        !folder.names().iter().any(|name| name.contains("-lock") || name.contains(".parts")),
        "{:?}",
        folder.names()
    );
}

#[test]
fn a_dash_is_standard_output_wherever_a_file_may_be_named() {
    let folder = folder();
    let run = |command: &str| {
        let output = std::process::Command::new(crate::program::jogaudit())
            .current_dir(folder.path())
            .args(command.split_whitespace())
            .output()
            .unwrap();
        assert!(output.status.success(), "{command}: {}", String::from_utf8_lossy(&output.stderr));
        (output.stdout, String::from_utf8(output.stderr).unwrap())
    };
    let (fit, said) = run("simulate --plan plan.toml --stage first --out -");
    assert_eq!(fit.get(8..12), Some(&b".FIT"[..]));
    assert!(said.contains("standard output"), "{said}");
    let (truth, _) = run("simulate --plan plan.toml --stage first --out a.fit --truth -");
    assert!(truth.starts_with(b"{"));
    assert_eq!(folder.read("a.fit"), fit);
    let (report, _) = run("check rec/a.tcx --plan plan.toml --stage first --format json --out -");
    assert_eq!(report, run("check rec/a.tcx --plan plan.toml --stage first --format json").0);
    let batch = "batch rec --plan plan.toml --stage first --out";
    let (rows, _) = run(&format!("{batch} - --provenance p.json"));
    assert!(rows.starts_with(b"{\"path\""));
    let (provenance, _) = run(&format!("{batch} o.csv --provenance -"));
    assert!(provenance.starts_with(b"{\"schema\":\"jogaudit.provenance/1\""));
    let (bouts, _) = run(&format!("{batch} o.csv --bouts -"));
    assert!(bouts.starts_with(b"{"));
    assert!(
        run("plan draft --run 1:00 --walk 2:00 --minutes 30 --goal-run 10:00 --out -").0.starts_with(b"#")
    );
    assert!(!folder.names().contains(&"-".to_owned()), "no file of that name");
}

#[test]
fn pseudonyms_stand_in_their_own_order_and_no_plain_hash_is_left() {
    let folder = folder();
    for name in ["b.tcx", "c.tcx", "d.tcx", "e.tcx", "f.tcx"] {
        folder.write(&format!("rec/{name}"), session(AS_PRESCRIBED));
    }
    let batch = "batch rec --roster roster.csv --pseudonymise key --out o.csv --provenance p.json";
    let (code, _, err) = folder.run(&batch.split(' ').collect::<Vec<_>>(), b"");
    assert_eq!(code, 0, "{err}");
    let table = String::from_utf8(folder.read("o.csv")).unwrap();
    let paths: Vec<&str> = table.lines().skip(1).map(|line| line.split(',').next().unwrap()).collect();
    assert!(paths.len() == 6 && paths.is_sorted(), "{paths:?}");
    let (_, listed, _) = folder.run(
        &"batch --files-from - --roster roster.csv --pseudonymise key --out -".split(' ').collect::<Vec<_>>(),
        b"rec/f.tcx\nrec/a.tcx\nrec/b.tcx\n",
    );
    let first = |line: &str| line.split('"').nth(3).unwrap().to_owned();
    assert!(listed.lines().map(first).collect::<Vec<_>>().is_sorted(), "{listed}");
    let provenance = String::from_utf8(folder.read("p.json")).unwrap();
    for name in ["roster.csv", "plan.toml", "rec/a.tcx", "key"] {
        let plain = jogaudit_case::sha256(&folder.read(name));
        assert!(!provenance.contains(&plain), "{name}");
    }
    assert!(!provenance.contains("rec/") && !table.contains("rec/"));
}

#[cfg(unix)]
#[test]
fn names_do_not_steer_the_terminal() {
    let folder = folder();
    let (_, _, err) = folder.run(&["bouts", "a\u{1b}[2J\u{202e}.fit"], b"");
    assert!(err.contains("a\\u{1b}[2J\\u{202e}.fit") && !err.contains('\u{1b}'), "{err}");
}

#[cfg(unix)]
#[test]
fn a_device_is_written_straight_to_and_never_replaced() {
    use std::os::unix::fs::{FileTypeExt, MetadataExt};

    let folder = folder();
    let before = fs::metadata("/dev/null").unwrap();
    for command in [
        "simulate --plan plan.toml --stage first --out /dev/null --truth t.json",
        "check rec/a.tcx --plan plan.toml --stage first --out /dev/null",
        "agree a.bouts.csv b.bouts.csv --plot /dev/null",
        "batch rec --plan plan.toml --stage first --out o.csv --provenance /dev/null",
    ] {
        let (code, _, err) = folder.run(&command.split_whitespace().collect::<Vec<_>>(), b"");
        assert_eq!(code, 0, "{command}: {err}");
    }
    let after = fs::metadata("/dev/null").unwrap();
    assert_eq!((before.ino(), after.file_type().is_char_device()), (after.ino(), true));
}
