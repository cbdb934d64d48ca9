//! The tables in R, as `docs/r` reads them. Needs `Rscript` (Debian's r-base-core).

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::process::Command;

use crate::batch_folder::{folder_of, rows, works};
use crate::program::top;

#[test]
#[ignore = "needs R, see tests/full"]
fn r_makes_the_input_of_a_mixed_model() {
    let folder = folder_of(30);
    let root = folder.path();
    works(root, "recordings --roster roster.csv --out sessions.csv");
    let all = rows(&works(root, "recordings --roster roster.csv --out -"));
    let script = top().join("docs/r/mixed_model.R");
    let output = Command::new("Rscript")
        .current_dir(root)
        .arg(script)
        .args(["sessions.csv", "input.csv"])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let mut reader = csv::Reader::from_path(root.join("input.csv")).unwrap();
    let head = reader.headers().unwrap().clone();
    let cell = |record: &csv::StringRecord, name: &str| {
        record[head.iter().position(|known| known == name).unwrap()].to_owned()
    };
    let mut made: Vec<(String, String, f64)> = reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            (cell(&record, "participant"), cell(&record, "stage"), cell(&record, "excess_s").parse().unwrap())
        })
        .collect();
    let mut expected: Vec<(String, String, f64)> = all
        .iter()
        .filter(|row| row["outcome"].as_str().is_some_and(|outcome| outcome != "undecided"))
        .map(|row| {
            let text = |key: &str| row[key].as_str().unwrap().to_owned();
            let number = |key: &str| row[key].as_f64().unwrap();
            (text("participant"), text("stage"), number("run_achieved_s") - number("run_prescribed_s"))
        })
        .collect();
    for list in [&mut made, &mut expected] {
        list.sort_by(|a, b| a.partial_cmp(b).unwrap());
    }
    assert_eq!(made.len(), expected.len());
    for (is, meant) in made.iter().zip(&expected) {
        assert!((&is.0, &is.1) == (&meant.0, &meant.1) && (is.2 - meant.2).abs() < 1e-9, "{is:?} {meant:?}");
    }
    println!("{} judged sessions in R; {}", made.len(), said.lines().next().unwrap_or_default());
}
