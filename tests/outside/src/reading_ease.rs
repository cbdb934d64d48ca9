//! What patients read is easy to read: Flesch reading ease (Flesch 1948, J Appl Psychol 32:221-233), as `textstat` counts it.

use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::program::{jogaudit, top};

/// The document that the program writes in a folder.
fn document(folder: &Path, arguments: &[&str]) -> Value {
    let output =
        Command::new(jogaudit()).args(arguments).current_dir(folder).output().expect("the program starts");
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// The sentences that a review and a card have for the patient.
fn sentences(folder: &Path) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut take = |value: &Value| {
        let text = value.as_str().unwrap_or_default().trim();
        if !text.is_empty() {
            found.insert(format!("{}.", text.trim_end_matches('.')));
        }
    };
    let days = [
        "2026-03-01",
        "2026-03-03",
        "2026-03-10",
        "2026-03-26",
        "2026-04-05",
        "2026-04-30",
        "2026-05-10",
        "2026-09-01",
    ];
    for day in days {
        let review = document(folder, &["review", "demo-case", "--as-of", day, "--format", "json"]);
        take(&review["ruling"]["text"]);
        take(&review["ruling"]["ends"]);
        take(&review["cautions"]);
        review["ruling"]["rules"].as_array().into_iter().flatten().for_each(|rule| take(&rule["because"]));
        review["findings"].as_array().into_iter().flatten().for_each(|finding| take(&finding["text"]));
    }
    for stage in ["1", "4"] {
        let arguments = ["plan", "show", "demo-case/plan.toml", "--stage", stage, "--format", "json"];
        document(folder, &arguments)["text"].as_array().into_iter().flatten().for_each(&mut take);
    }
    found
}

#[test]
#[ignore = "needs Python, see tests/full"]
#[allow(clippy::print_stdout)] // the figures, shown with --show-output
fn what_patients_read_is_easy_to_read() {
    let folder = tempfile::tempdir().expect("a folder");
    let made = Command::new(jogaudit()).args(["demo", "demo-case"]).current_dir(folder.path()).output();
    assert!(made.expect("the program starts").status.success());
    let mut texts = sentences(folder.path());
    // The words of the gravest ruling.
    let diary = folder.path().join("demo-case/diary.csv");
    let noted = fs::read_to_string(&diary).expect("a diary") + "2026-05-10,2,night,,,\n";
    fs::write(&diary, noted).expect("written");
    texts.extend(sentences(folder.path()));
    assert!(
        texts.iter().any(|text| text.starts_with("See a health professional before")) && texts.len() > 20,
        "{texts:?}"
    );

    let interpreter = std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter");
    let mut child = Command::new(interpreter)
        .arg(top().join("tests/reference/reading_ease.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the interpreter starts");
    let lines: Vec<String> = texts.iter().map(|text| Value::from(text.as_str()).to_string()).collect();
    child.stdin.take().expect("piped").write_all(lines.join("\n").as_bytes()).expect("the script reads all");
    let output = child.wait_with_output().expect("the script ends");
    let answers = String::from_utf8(output.stdout).expect("UTF-8");
    let scores: Vec<f64> = answers.lines().map(|line| line.parse().expect("a number")).collect();
    assert_eq!(scores.len(), texts.len());
    let mean = scores.iter().sum::<f64>() / scores.len() as f64;
    let mut ordered: Vec<(f64, &String)> = scores.into_iter().zip(&texts).collect();
    ordered.sort_by(|a, b| a.0.total_cmp(&b.0));
    println!("mean reading ease of {} texts: {mean:.1}; the hardest:", texts.len());
    ordered.iter().take(5).for_each(|(score, text)| println!("{score:6.1}  {text}"));
    assert!(mean >= 60.0, "{mean:.1}: {ordered:?}");
}
