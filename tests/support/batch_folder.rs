//! A folder of made-up recordings, some of them broken, with a plan and a roster.
#![allow(dead_code)] // each package uses its part

use std::path::Path;
use std::process::Command;

use jogaudit_core::prescription::Session;
use jogaudit_recording::read::Format;
use jogaudit_simulate::{Fault, Settings, gzip, simulate, write};

use crate::program::jogaudit;

pub(crate) const PLAN: &str = r#"title = "Back on the path"

[limits]
pace_ceiling = "6:30 /km"

[[stage]]
name = "1"
session = "walk 2:00, 3 x (run 1:00, walk 1:00), walk 1:00"

[[stage]]
name = "2"
session = "walk 2:00, 3 x (run 1:30, walk 1:00), walk 1:00"
"#;

pub(crate) const ROSTER: &str = "path,participant,stage,plan\n\
    anna/*,anna,1,plan.toml\n\
    bo/**,bo,2,plan.toml\n";

/// Recordings in `recordings/anna` and `recordings/bo`, every tenth of them broken.
pub(crate) fn folder_of(count: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    std::fs::write(root.join("plan.toml"), PLAN).unwrap();
    std::fs::write(root.join("roster.csv"), ROSTER).unwrap();
    for inside in ["recordings/anna", "recordings/bo/deep"] {
        std::fs::create_dir_all(root.join(inside)).unwrap();
    }
    for n in 0..count {
        let person = if n % 2 == 0 { "anna" } else { "bo/deep" };
        std::fs::write(root.join(format!("recordings/{person}/{n:03}.rec")), recording(n)).unwrap();
    }
    folder
}

fn recording(n: usize) -> Vec<u8> {
    match n % 30 {
        9 => return Vec::new(),
        19 => return b"not a recording".to_vec(),
        29 => return vec![0x1f, 0x8b, 8, 0],
        _ => {}
    }
    let session = Session::parse("walk 2:00, 3 x (run 1:00, walk 1:00), walk 1:00").unwrap();
    let faults: Vec<Fault> =
        if n.is_multiple_of(4) { vec!["run-longer:40:2".parse().unwrap()] } else { vec![] };
    let start = "2026-03-02T07:10:00Z".parse::<jiff::Timestamp>().unwrap();
    let start = start + jiff::SignedDuration::from_hours(48 * i64::try_from(n).unwrap());
    let settings = Settings { seed: 2_000_000 + n as u64, start, faults, ..Settings::default() };
    let simulated = simulate(&session.expand().fixed_steps().unwrap(), &settings).unwrap();
    let format = [Format::Fit, Format::Gpx, Format::Tcx][n % 3];
    let bytes = write(&simulated, format).unwrap();
    if n.is_multiple_of(5) { gzip(&bytes) } else { bytes }
}

/// `batch` with these arguments, separated by spaces, in a folder.
pub(crate) fn batch(folder: &Path, arguments: &str) -> Command {
    let mut command = Command::new(jogaudit());
    command.current_dir(folder).arg("batch").args(arguments.split_whitespace());
    command
}

/// Runs it; gives exit code, standard output and standard error.
pub(crate) fn run(folder: &Path, arguments: &str) -> (i32, String, String) {
    let output = batch(folder, arguments).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

/// Runs it and expects that it works.
pub(crate) fn works(folder: &Path, arguments: &str) -> String {
    let (code, out, err) = run(folder, arguments);
    assert_eq!(code, 0, "{arguments}\n{err}");
    out
}

pub(crate) fn bytes(folder: &Path, name: &str) -> Vec<u8> {
    std::fs::read(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The rows of NDJSON.
pub(crate) fn rows(text: &str) -> Vec<serde_json::Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}
