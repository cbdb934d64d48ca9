//! Parquet tables against independent readers: `pyarrow` and `polars` from `PyPI`, run by the interpreter that
//! `JOGAUDIT_PYTHON` names. `tests/full` sets that up.

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

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
    let top = top();
    let python = std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter");
    let output = Command::new(python)
        .arg(top.join("tests/reference/batch_check.py"))
        .arg(top.join("docs/columns.md"))
        .arg(folder.path())
        .output()
        .unwrap();
    print!("{}", String::from_utf8_lossy(&output.stdout));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(String::from_utf8_lossy(&output.stdout).lines().count(), 3);
}
