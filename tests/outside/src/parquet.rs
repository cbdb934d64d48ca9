//! Tables against independent readers: `pyarrow`, `polars` and `frictionless` from `PyPI`, run by the interpreter that
//! `JOGAUDIT_PYTHON` names. `tests/full` sets that up.

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::path::Path;
use std::process::Command;

use crate::batch_folder::{folder_of, works};

use crate::program::top;

#[test]
#[ignore = "needs Python, see tests/full"]
fn other_readers_find_the_documented_schema_and_the_same_cells() {
    let folder = folder_of(30);
    for form in ["parquet", "ndjson"] {
        let outputs = format!("--out t.{form} --bouts b.{form} --reps r.{form}");
        works(folder.path(), &format!("recordings --roster roster.csv {outputs}"));
    }
    let said = python("batch_check.py", &[&top().join("docs/columns.md"), folder.path()]);
    assert_eq!(said.lines().count(), 3);
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn the_package_of_a_run_is_valid() {
    let folder = folder_of(30);
    for form in ["csv", "ndjson", "parquet"] {
        let run = folder.path().join(form);
        std::fs::create_dir(&run).unwrap();
        let outputs = format!("--out {form}/t.{form} --bouts {form}/b.{form} --reps {form}/r.{form}");
        works(
            folder.path(),
            &format!("recordings --roster roster.csv {outputs} --summary={form}/s.{form} --sha256"),
        );
        let said = python("package_check.py", &[&run]);
        assert!(said.contains("valid"), "{said}");
    }
}

/// Runs a script of `tests/reference`; gives what it prints.
fn python(script: &str, arguments: &[&Path]) -> String {
    let python = std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter");
    let script = top().join("tests/reference").join(script);
    let output = Command::new(python).arg(script).args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    print!("{said}");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    said
}
