#![no_main]

use std::io::Write;
use std::path::Path;
use std::sync::LazyLock;

use jogaudit_cohort::named_by_roster;
use libfuzzer_sys::fuzz_target;
use tempfile::NamedTempFile;

/// The plan of lines that name none.
static PLAN: LazyLock<NamedTempFile> = LazyLock::new(|| {
    let mut file = NamedTempFile::new().expect("a file");
    file.write_all(b"[[stage]]\nname = '1'\nsession = 'run 1:00'\n").expect("written");
    file
});

// The first line is a path, the rest the roster.
fuzz_target!(|input: &[u8]| {
    let Some(at) = input.iter().position(|byte| *byte == b'\n') else { return };
    let (path, roster) = (String::from_utf8_lossy(&input[..at]), &input[at + 1..]);
    let paths = ["a.fit", "anna/2026/b.gpx", &path].map(Path::new);
    match named_by_roster(roster, PLAN.path(), &paths) {
        Ok(named) => assert!(named <= paths.len()),
        Err(error) => assert!(!error.to_string().is_empty() && error.exit_code() == 2),
    }
});
