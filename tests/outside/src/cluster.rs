//! The rows that Apache Spark makes on two workers are those of one machine: `docs/cluster/spark_batch.py` on a real
//! `local-cluster` master.

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::path::PathBuf;
use std::process::Command;

use crate::folder::Folder;
use crate::hand_made::PLAN;
use crate::program::jogaudit;

use crate::program::top;

const WHOLE: u32 = 37;
const BROKEN: [&str; 3] = ["empty.fit", "cut.gpx", "not there.tcx"];

/// Runs a program to its end and gives what it printed.
fn run(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let said: Vec<String> =
        text(&output.stderr).lines().filter(|l| !l.contains(" INFO ")).map(str::to_owned).collect();
    assert!(output.status.success(), "{command:?}\n{}{}", text(&output.stdout), said.join("\n"));
    text(&output.stdout)
}

/// Forty recordings, three of which cannot be read, and a list of them.
fn recordings(folder: &Folder) {
    folder.write("plan.toml", PLAN);
    let mut list = Vec::new();
    for n in 0..WHOLE {
        let name = format!("{n}.{}", ["fit", "gpx", "tcx"][n as usize % 3]);
        let (seed, truth) = (n.to_string(), format!("{n}.json"));
        let args = [
            "simulate",
            "--plan",
            "plan.toml",
            "--stage",
            "first",
            "--seed",
            &seed,
            "--out",
            &name,
            "--truth",
            &truth,
        ];
        assert_eq!(folder.run(&args, b"").0, 0);
        list.push(name);
    }
    folder.write(BROKEN[0], "");
    folder.write(BROKEN[1], "<gpx version=\"1.1\"><trk><trkseg><trkpt lat=\"59.9\" lo");
    list.extend(BROKEN.map(str::to_owned));
    // One of them twice: it is one row all the same.
    list.push("0.fit".to_owned());
    let lines: Vec<String> = list.iter().map(|name| folder.file(name).display().to_string()).collect();
    folder.write("list.txt", lines.join("\n"));
}

fn python() -> PathBuf {
    PathBuf::from(std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter"))
}

#[test]
#[ignore = "needs Python and Java, see tests/full"]
fn two_workers_make_the_rows_of_one_machine() {
    let folder = Folder::new();
    recordings(&folder);
    let batch = [
        "batch",
        "--files-from",
        "list.txt",
        "--plan",
        "plan.toml",
        "--stage",
        "first",
        "--out",
        "one.parquet",
    ];
    let (code, _, err) = folder.run(&batch, b"");
    assert_eq!(code, 0, "{err}");

    let root = top();
    std::fs::create_dir(folder.file("events")).unwrap();
    let begun = std::time::Instant::now();
    let said = run(Command::new(python().with_file_name("spark-submit"))
        .args([
            "--master",
            "local-cluster[2,1,1024]",
            "--conf",
            "spark.ui.enabled=false",
            "--conf",
            "spark.log.level=WARN",
        ])
        .args(["--conf", "spark.eventLog.enabled=true", "--conf", "spark.eventLog.compress=false"])
        .args(["--conf", "spark.eventLog.rolling.enabled=false"])
        // Little work: the second compiler of Java's machine would cost more than it gains.
        .args(["--conf", "spark.driver.extraJavaOptions=-XX:TieredStopAtLevel=1"])
        .args(["--conf", "spark.executor.extraJavaOptions=-XX:TieredStopAtLevel=1"])
        .arg(format!("--conf=spark.eventLog.dir=file://{}", folder.file("events").display()))
        .arg(root.join("docs/cluster/spark_batch.py"))
        .args(["--paths", folder.file("list.txt").to_str().unwrap()])
        .args(["--plan", folder.file("plan.toml").to_str().unwrap(), "--stage", "first"])
        .args(["--jogaudit", jogaudit().to_str().unwrap(), "--partitions", "6"])
        .args(["--out", folder.file("many.parquet").to_str().unwrap()])
        .env("PYSPARK_PYTHON", python())
        .env("PYSPARK_DRIVER_PYTHON", python())
        .env("SPARK_LOCAL_IP", "127.0.0.1"));
    assert!(said.contains("40 recordings, each a row") && said.contains("3 without a result"), "{said}");

    let check = run(Command::new(python()).arg(root.join("tests/reference/cluster_check.py")).args([
        folder.file("one.parquet"),
        folder.file("many.parquet"),
        folder.file("events"),
    ]));
    println!("{}{check}{:.0} s in all", said, begun.elapsed().as_secs_f64());
    assert!(check.contains("40 equal rows"), "{check}");
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn a_worker_that_fails_fails_the_job() {
    let folder = Folder::new();
    folder.write("list.txt", "/a.fit\n/b.fit\n");
    folder.write("plan.toml", PLAN);
    let root = top();
    let check = run(Command::new(python())
        .arg(root.join("tests/reference/cluster_check.py"))
        .arg("failures")
        .arg(root.join("docs/cluster/spark_batch.py"))
        .arg(jogaudit())
        .current_dir(folder.file(".")));
    assert!(check.contains("3 kinds of failure are seen"), "{check}");
}
