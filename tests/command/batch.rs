//! `batch` on the command line: what stands in the rows, and what goes wrong.

#![cfg(unix)]

use std::io::Write;
use std::path::Path;
use std::process::Stdio;

use crate::batch_folder::{batch, bytes, folder_of, rows, run, works};
use crate::program::jogaudit;
use serde_json::Value;

const ONE: &str = "recordings --plan plan.toml --stage 1";

fn ndjson(folder: &Path, arguments: &str) -> Vec<Value> {
    rows(&works(folder, &format!("{arguments} --out -")))
}

#[test]
fn a_row_says_what_the_check_says() {
    let folder = folder_of(12);
    let root = folder.path();
    let rows = ndjson(root, &format!("{ONE} --sha256"));
    assert_eq!(rows.len(), 12, "one row a file");
    let mut compared = 0;
    for row in rows.iter().filter(|row| row["error_code"].is_null()) {
        let check = std::process::Command::new(jogaudit())
            .current_dir(root)
            .args([
                "check",
                row["path"].as_str().unwrap(),
                "--plan",
                "plan.toml",
                "--stage",
                "1",
                "--format",
                "json",
            ])
            .output()
            .unwrap();
        let check: Value = serde_json::from_slice(&check.stdout).unwrap();
        let recording = &check["recording"];
        for key in ["format", "sha256", "start", "elapsed_s", "samples"] {
            assert_eq!(row[key], recording[key], "{key}");
        }
        assert_eq!(
            (&row["outcome"], &row["plan"], &row["stage"]),
            (&check["outcome"], &check["plan"], &check["stage"])
        );
        for part in ["run", "walk", "session"] {
            for side in ["prescribed", "achieved"] {
                assert_eq!(
                    row[format!("{part}_{side}_s")],
                    check["dose"][format!("{part}_s")][side],
                    "{part} {side}"
                );
            }
        }
        assert_eq!(row["run_steps"], check["dose"]["run_steps"]);
        let findings = check["findings"].as_array().unwrap();
        let long: Vec<&Value> = findings.iter().filter(|f| f["code"] == "run_too_long").collect();
        assert_eq!(row["run_too_long_count"], long.len());
        let greatest = long.iter().filter_map(|f| f["excess"].as_f64()).reduce(f64::max);
        assert_eq!(row["run_too_long_excess_s"].as_f64(), greatest);
        let bouts = check["bouts"].as_array().unwrap();
        let lengths_s: Vec<f64> = bouts
            .iter()
            .filter(|b| b["gait"] == "run")
            .map(|b| b["end_s"].as_f64().unwrap() - b["start_s"].as_f64().unwrap())
            .collect();
        // The row's sum is rounded once, to 0.05 s; here both ends of every bout are.
        let (run_s, rounding_s) = (lengths_s.iter().sum::<f64>(), 0.051 + 0.1 * lengths_s.len() as f64);
        assert!((row["run_s"].as_f64().unwrap() - run_s).abs() < rounding_s, "{} {run_s}", row["run_s"]);
        compared += 1;
    }
    assert_eq!(compared, 11, "one is empty");
    assert!(rows.iter().any(|row| row["run_too_long_count"] == 1), "a run was made longer on purpose");
    let failed: Vec<&Value> = rows.iter().filter(|row| !row["error_code"].is_null()).collect();
    assert_eq!((&failed[0]["error_code"], &failed[0]["outcome"]), (&"empty".into(), &Value::Null));
    assert!(!failed[0]["sha256"].is_null());
}

#[test]
fn the_published_hash_is_made_where_it_is_asked_for() {
    let folder = folder_of(3);
    let rows = ndjson(folder.path(), ONE);
    assert!(rows.iter().all(|row| row["sha256"].is_null() && row["blake3"].as_str().unwrap().len() == 64));
}

#[test]
fn the_forms_hold_the_same_cells() {
    let folder = folder_of(31);
    let root = folder.path();
    let all = "--bouts b.ndjson --reps r.ndjson --summary=s.ndjson";
    works(root, &format!("recordings --roster roster.csv --out t.ndjson {all}"));
    works(root, "recordings --roster roster.csv --out t.csv --bouts b.csv --reps r.csv --summary=s.csv");
    for table in ["t", "b", "r", "s"] {
        let json = rows(&String::from_utf8(bytes(root, &format!("{table}.ndjson"))).unwrap());
        let csv = bytes(root, &format!("{table}.csv"));
        let mut reader = csv::Reader::from_reader(csv.as_slice());
        let header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        assert_eq!(header, json[0].as_object().unwrap().keys().cloned().collect::<Vec<_>>());
        let mut count = 0;
        for (record, row) in reader.records().zip(&json) {
            for (cell, (key, value)) in record.unwrap().iter().zip(row.as_object().unwrap()) {
                let same = match value {
                    Value::Null => cell.is_empty(),
                    Value::Number(number) => cell.parse::<f64>().ok() == number.as_f64(),
                    Value::Bool(flag) => cell == flag.to_string(),
                    other => Some(cell) == other.as_str(),
                };
                assert!(same && cell != "-0", "{table} {key}: {cell} {value}");
            }
            count += 1;
        }
        assert_eq!(count, json.len());
    }
    let table = rows(&String::from_utf8(bytes(root, "t.ndjson")).unwrap());
    assert_eq!(
        table.iter().filter(|row| !row["error_code"].is_null()).count(),
        3,
        "30 of which three broken, and one"
    );
    let bouts = rows(&String::from_utf8(bytes(root, "b.ndjson")).unwrap());
    for row in &table {
        let own: Vec<&Value> = bouts.iter().filter(|bout| bout["path"] == row["path"]).collect();
        let counted: i64 = ["run", "walk", "stand", "unknown"]
            .iter()
            .map(|gait| row[format!("{gait}_bouts")].as_i64().unwrap_or(0))
            .sum();
        assert_eq!(i64::try_from(own.len()).unwrap(), counted);
    }
    let of = |person: &str| table.iter().find(|row| row["participant"] == person).unwrap()["stage"].clone();
    assert_eq!((of("anna"), of("bo")), ("1".into(), "2".into()));
    let left = std::fs::read_dir(root).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap());
    assert!(left.into_iter().all(|name| !name.contains("part")), "nothing is left over");
}

#[test]
fn the_number_of_jobs_and_the_chunks_change_nothing() {
    let folder = folder_of(30);
    let root = folder.path();
    let names = ["t.parquet", "b.parquet", "r.ndjson", "p.json", "s.parquet"];
    let [table, bouts, reps, provenance, summary] = names;
    let command = format!(
        "recordings --roster roster.csv --out {table} --bouts {bouts} --reps {reps} --provenance {provenance} --summary={summary}"
    );
    let mut runs = Vec::new();
    for more in ["--jobs 1", "--jobs 2", "--jobs 5 --chunk 7"] {
        let out = works(root, &format!("{command} {more}"));
        runs.push((out, names.map(|name| bytes(root, name))));
    }
    assert!(runs[0] == runs[1] && runs[0] == runs[2]);
    assert!(runs[0].1.iter().all(|bytes| !bytes.is_empty()));
    assert!(runs[0].0.contains("anna") && runs[0].0.contains("bo"), "{}", runs[0].0);
}

#[test]
fn provenance_holds_the_hashes() {
    let folder = folder_of(10);
    let root = folder.path();
    works(root, &format!("{ONE} --out t.csv --provenance p.json"));
    let document: Value = serde_json::from_slice(&bytes(root, "p.json")).unwrap();
    let sha256 = |path: &Path| {
        let output = std::process::Command::new("sha256sum").arg(path).output().unwrap();
        String::from_utf8(output.stdout).unwrap()[..64].to_owned()
    };
    assert_eq!(document["program_sha256"], sha256(&jogaudit()));
    assert_eq!(document["plans"][0]["sha256"], sha256(&root.join("plan.toml")));
    assert_eq!(document["outputs"][0]["sha256"], sha256(&root.join("t.csv")));
    let inputs = document["inputs"].as_array().unwrap();
    assert_eq!(inputs.len(), 10);
    for input in inputs {
        assert_eq!(input["sha256"], sha256(&root.join(input["path"].as_str().unwrap())));
    }
}

#[test]
fn a_list_by_pipe_gives_rows_by_pipe() {
    let folder = folder_of(6);
    let root = folder.path();
    let mut child = batch(root, "--files-from - --plan plan.toml --stage 1 --out -")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let list = "recordings/anna/004.rec\r\n\nrecordings/none.fit\nrecordings/anna/000.rec\nrecordings/anna/004.rec\n";
    child.stdin.take().unwrap().write_all(list.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let rows = rows(&String::from_utf8(output.stdout).unwrap());
    let told: Vec<_> =
        rows.iter().map(|row| (row["path"].as_str().unwrap(), row["error_code"].as_str())).collect();
    assert_eq!(
        told,
        [
            ("recordings/anna/004.rec", None),
            ("recordings/none.fit", Some("not_found")),
            ("recordings/anna/000.rec", None)
        ]
    );

    let command = format!("{} batch {ONE} --out - --chunk 1 | head -n 1", jogaudit().display());
    let shell = std::process::Command::new("bash")
        .args(["-c", &format!("set -o pipefail; {command}")])
        .current_dir(root)
        .output()
        .unwrap();
    assert_eq!(shell.status.code(), Some(0), "a closed pipe is no error");
}

#[test]
fn an_empty_list_gives_an_empty_table() {
    let folder = folder_of(0);
    std::fs::write(folder.path().join("list"), "").unwrap();
    for name in ["t.csv", "t.parquet", "t.ndjson"] {
        works(folder.path(), &format!("--files-from list --plan plan.toml --stage 1 --out {name} --summary"));
        assert!(folder.path().join(name).exists());
    }
}

#[test]
fn what_the_roster_does_not_name_is_said() {
    let folder = folder_of(4);
    let root = folder.path();
    std::fs::write(
        root.join("r.csv"),
        "path,participant,stage,plan\n000.rec,a,1,plan.toml\n999.rec,a,1,plan.toml\n",
    )
    .unwrap();
    let (code, out, err) = run(root, "recordings --roster r.csv --out -");
    assert_eq!(code, 0);
    let rows = rows(&out);
    let codes: Vec<_> = rows.iter().filter_map(|row| row["error_code"].as_str()).collect();
    assert_eq!(codes, ["not_in_roster"; 3]);
    let said = err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("1 line of the roster") && said.contains("first is line 3. [roster_lines_unused]"),
        "{err}"
    );

    std::fs::write(root.join("bad.csv"), "path,participant,stage,plan\nx.fit,a,7,plan.toml\n").unwrap();
    let (code, _, err) = run(root, "recordings --roster bad.csv --out -");
    assert_eq!(code, 2);
    assert!(err.contains("line 2: the plan has no stage `7`"), "{err}");
}

#[test]
fn pseudonyms_hide_names_and_paths_and_keep_intervals() {
    let folder = folder_of(24);
    let root = folder.path();
    std::fs::write(root.join("key"), [7; 32]).unwrap();
    std::fs::write(root.join("other"), [8; 32]).unwrap();
    let outputs = ["t.ndjson", "b.csv", "r.csv", "p.json", "s.csv"];
    let command = "recordings --roster roster.csv --out t.ndjson --bouts b.csv --reps r.csv --provenance p.json --summary=s.csv";
    works(root, command);
    let plain = rows(&String::from_utf8(bytes(root, "t.ndjson")).unwrap());
    let text = works(root, &format!("{command} --pseudonymise key"));
    let mut all = text.into_bytes();
    outputs.iter().for_each(|name| all.extend(bytes(root, name)));
    let all = String::from_utf8(all).unwrap();
    for word in ["anna", "\"bo\"", ",bo,", "recordings/", ".rec", "2026-03"] {
        assert!(!all.contains(word), "{word}");
    }
    for row in &plain {
        for hash in ["blake3", "sha256"] {
            assert!(!all.contains(row[hash].as_str().unwrap()), "the hash of a file leads to the file");
        }
    }
    let hidden = rows(&String::from_utf8(bytes(root, "t.ndjson")).unwrap());
    let start =
        |row: &Value| row["start"].as_str().map(|at| at.parse::<jiff::Timestamp>().unwrap().as_second());
    let mut shifts = std::collections::BTreeMap::<String, std::collections::BTreeSet<i64>>::new();
    assert!(hidden.is_sorted_by_key(|row| row["path"].as_str().unwrap()), "in the order of the pseudonyms");
    // Which row is whose is found with the key, one recording at a time.
    let pseudonym_of = |row: &Value| {
        let path = row["path"].as_str().unwrap();
        works(root, &format!("{path} --roster roster.csv --out one.ndjson --pseudonymise key"));
        rows(&String::from_utf8(bytes(root, "one.ndjson")).unwrap())[0]["path"].clone()
    };
    for before in &plain {
        let pseudonym = pseudonym_of(before);
        let after = hidden.iter().find(|row| row["path"] == pseudonym).expect("its row");
        if let (Some(before_s), Some(after_s)) = (start(before), start(after)) {
            let person = before["participant"].as_str().unwrap().to_owned();
            shifts.entry(person).or_default().insert(before_s - after_s);
        }
        for key in ["elapsed_s", "outcome", "run_s", "error_code", "stage"] {
            assert_eq!(before[key], after[key], "{key}");
        }
    }
    let each: Vec<i64> = shifts.values().flatten().copied().collect();
    assert_eq!(each.len(), 2, "one shift for each of two people: {shifts:?}");
    assert!(each.iter().all(|s| s % 86_400 == 0 && *s > 0) && each[0] != each[1]);

    works(root, &format!("{command} --pseudonymise key"));
    let again = rows(&String::from_utf8(bytes(root, "t.ndjson")).unwrap());
    assert_eq!(again, hidden);
    works(root, &format!("{command} --pseudonymise other"));
    let other = rows(&String::from_utf8(bytes(root, "t.ndjson")).unwrap());
    assert_ne!(other[0]["path"], hidden[0]["path"]);
}

#[test]
fn no_table_has_coordinates() {
    let folder = folder_of(6);
    works(folder.path(), &format!("{ONE} --out t.csv --bouts b.csv --reps r.csv --provenance p.json"));
    for name in ["t.csv", "b.csv", "r.csv", "p.json"] {
        let text = String::from_utf8(bytes(folder.path(), name)).unwrap().to_lowercase();
        let head = text.lines().next().unwrap();
        for word in ["latitude", "longitude", "_lat", "_lon,", "coordinate"] {
            assert!(!head.contains(word), "{name}: {word}");
        }
    }
}

#[test]
fn file_names_are_no_formulas_in_csv() {
    let folder = folder_of(1);
    let root = folder.path();
    std::fs::write(root.join("=cmd|'x'!A1.fit"), "").unwrap();
    std::fs::write(root.join("list"), "=cmd|'x'!A1.fit\n").unwrap();
    works(root, "--files-from list --plan plan.toml --stage 1 --out t.csv");
    let text = String::from_utf8(bytes(root, "t.csv")).unwrap();
    assert!(text.lines().nth(1).unwrap().starts_with("'=cmd|'x'!A1.fit,"), "{text}");
}

#[test]
fn a_full_disk_leaves_the_old_table_and_what_is_finished() {
    let folder = folder_of(24);
    let root = folder.path();
    works(root, &format!("{ONE} --out whole.ndjson"));
    std::fs::write(root.join("t.ndjson"), "old").unwrap();
    // No file may grow beyond 32 blocks of 512 bytes: the parts of two recordings stay below, the table does not.
    let command = format!(
        "trap '' XFSZ; ulimit -f 32; exec {} batch {ONE} --out t.ndjson --chunk 2",
        jogaudit().display()
    );
    let output = std::process::Command::new("sh").args(["-c", &command]).current_dir(root).output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("could not write `t.ndjson`") || err.contains("/t.ndjson`"), "{err}");
    assert!(err.contains("--resume"), "{err}");
    assert_eq!(bytes(root, "t.ndjson"), b"old");
    assert!(!root.join("t.ndjson.partial").exists());

    let (code, _, err) = run(root, &format!("{ONE} --out t.ndjson --chunk 2"));
    assert_eq!(code, 2, "finished work is not thrown away unasked");
    assert!(err.contains("--resume"), "{err}");
    let (code, _, err) = run(root, &format!("{ONE} --out t.ndjson --chunk 2 --resume"));
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("from an earlier run"), "{err}");
    assert_eq!(bytes(root, "t.ndjson"), bytes(root, "whole.ndjson"));
    assert!(!root.join("t.ndjson.parts").exists());
}

#[test]
fn what_cannot_be_is_said_before_anything_is_read() {
    let folder = folder_of(2);
    let root = folder.path();
    for (arguments, said) in [
        (format!("{ONE} --out t.xlsx"), "end its name in .parquet, .csv or .ndjson"),
        (format!("{ONE} --out none/t.csv"), "could not write `none/t.csv"),
        (format!("{ONE} --out -  --resume"), "cannot be resumed"),
        (format!("{ONE} --out -  --summary"), "cannot both go to standard output"),
        (format!("{ONE} --out t.csv --bouts t.csv"), "two results would go to `t.csv`"),
        ("none --plan plan.toml --stage 1 --out t.csv".into(), "could not read `none`"),
        ("recordings --plan plan.toml --out t.csv".into(), "the plan has several stages"),
        ("recordings --plan plan.toml --stage 9 --out t.csv".into(), "no stage `9`"),
        (
            "recordings/anna/000.rec --plan plan.toml --stage 1 --out plan.toml.csv --pseudonymise plan.tom"
                .into(),
            "could not read `plan.tom`",
        ),
    ] {
        let (code, out, err) = run(root, &arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments}\n{err}");
        assert!(err.contains(said), "{arguments}\n{err}");
    }
    let mut left: Vec<_> = std::fs::read_dir(root).unwrap().map(|e| e.unwrap().file_name()).collect();
    left.sort();
    assert_eq!(left, ["plan.toml", "recordings", "roster.csv"]);
}

#[test]
fn tables_are_explained_beside_them_and_somebody_elses_package_is_kept() {
    let folder = folder_of(6);
    let root = folder.path();
    std::fs::create_dir(root.join("run")).unwrap();
    let command =
        format!("{ONE} --out run/t.csv --bouts run/b.parquet --reps elsewhere.csv --provenance run/p.json");
    let (code, _, err) = run(root, &command);
    assert!(code == 0 && err.contains("table_not_in_package") && err.contains("elsewhere.csv"), "{err}");
    let package: Value = serde_json::from_slice(&bytes(root, "run/datapackage.json")).unwrap();
    let resources = package["resources"].as_array().unwrap();
    let told: Vec<&Value> = resources.iter().map(|resource| &resource["path"]).collect();
    assert_eq!(told, ["t.csv", "b.parquet"]);
    let provenance: Value = serde_json::from_slice(&bytes(root, "run/p.json")).unwrap();
    let hash = provenance["outputs"][0]["sha256"].as_str().unwrap();
    assert_eq!(resources[0]["hash"], format!("sha256:{hash}"));
    assert_eq!(provenance["configuration"]["audit"]["session_s"], 30.0);
    let fields = resources[0]["schema"]["fields"].as_array().unwrap();
    let head = String::from_utf8(bytes(root, "run/t.csv")).unwrap();
    let names: Vec<&str> = fields.iter().map(|field| field["name"].as_str().unwrap()).collect();
    assert_eq!(names, head.lines().next().unwrap().split(',').collect::<Vec<_>>());
    let run_s = fields.iter().find(|field| field["name"] == "run_s").unwrap();
    assert_eq!((&run_s["type"], &run_s["unit"]), (&"number".into(), &"s".into()));
    works(root, &command);

    for theirs in ["{\"name\": \"thesis\"}", "not JSON", ""] {
        std::fs::write(root.join("datapackage.json"), theirs).unwrap();
        let (code, _, err) = run(root, &format!("{ONE} --out t.csv"));
        assert!(code == 2 && err.contains("datapackage.json` is in the way"), "{err}");
        assert_eq!(bytes(root, "datapackage.json"), theirs.as_bytes());
        assert!(!root.join("t.csv").exists());
    }
}
