//! The rows that Apache Spark makes on two workers are those of one machine: `docs/cluster/spark_batch.py`, through a pipe, and
//! `spark_files.py`, with the wheel, on a real `local-cluster` master.

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::path::Path;
use std::process::Command;

use crate::folder::Folder;
use crate::hand_made::PLAN;
use crate::program::{jogaudit, top};
use crate::wheel::{self, reference, run};

const WHOLE: u32 = 37;
const BROKEN: [&str; 3] = ["recordings/empty.fit", "recordings/cut 100 %.gpx", "not there.tcx"];

/// Runs Spark with two workers of one core and gives what it printed.
fn spark(folder: &Folder, python: &Path, script: &str, arguments: &[&str]) -> String {
    std::fs::create_dir(folder.file("events")).unwrap();
    run(Command::new(reference().with_file_name("spark-submit"))
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
        .arg(top().join("docs/cluster").join(script))
        .args(arguments)
        .current_dir(folder.path())
        .env("PYSPARK_PYTHON", python)
        .env("PYSPARK_DRIVER_PYTHON", python)
        .env("SPARK_LOCAL_IP", "127.0.0.1"))
}

/// The rows of `many.parquet` are those of `one.parquet`, and both workers made some.
fn same_rows(folder: &Folder, rows: u32) {
    let check = run(Command::new(reference()).arg(top().join("tests/reference/cluster_check.py")).args([
        folder.file("one.parquet"),
        folder.file("many.parquet"),
        folder.file("events"),
    ]));
    print!("{check}");
    assert!(check.contains(&format!("{rows} equal rows")), "{check}");
}

/// Forty recordings, three of which cannot be read, a file of two, and a list of them.
fn recordings(folder: &Folder) {
    folder.write("plan.toml", PLAN);
    std::fs::create_dir(folder.file("recordings")).unwrap();
    let mut list = Vec::new();
    for n in 0..WHOLE {
        let name = format!("recordings/{n}.{}", ["fit", "gpx", "tcx"][n as usize % 3]);
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
    let two = [0, 3].map(|n| std::fs::read(folder.file(&format!("recordings/{n}.fit"))).unwrap());
    folder.write("recordings/two.fit", two.concat());
    list.push("recordings/two.fit".to_owned());
    // One of them twice: it is one row all the same.
    list.push("recordings/0.fit".to_owned());
    let lines: Vec<String> = list.iter().map(|name| folder.file(name).display().to_string()).collect();
    folder.write("list.txt", lines.join("\n"));
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

    let program = jogaudit();
    let given = ["--paths", "list.txt", "--plan", "plan.toml", "--stage", "first", "--partitions", "6"];
    let asked = [&given[..], &["--jogaudit", program.to_str().unwrap(), "--out", "many.parquet"]].concat();
    let said = spark(&folder, &reference(), "spark_batch.py", &asked);
    assert!(said.contains("42 recordings, each a row") && said.contains("3 without a result"), "{said}");
    same_rows(&folder, 42);
}

#[test]
#[ignore = "needs Python and Java, see tests/full"]
fn two_workers_with_the_wheel_make_the_rows_of_one_machine() {
    let folder = Folder::new();
    recordings(&folder);
    // Longer than what is read; it has no bytes on the disk.
    let long = std::fs::File::create(folder.file("recordings/long.gpx")).unwrap();
    long.set_len(257 << 20).unwrap();
    let all = folder.file("recordings").display().to_string();
    let batch = ["batch", &all, "--plan", "plan.toml", "--stage", "first", "--out", "one.parquet"];
    let (code, _, err) = folder.run(&batch, b"");
    assert_eq!(code, 0, "{err}");

    let url = format!("file://{all}");
    let given =
        ["--recordings", &url, "--plan", "plan.toml", "--stage", "first", "--partition-by", "outcome"];
    let asked = [&given[..], &["--partition-mib", "1", "--out", "many.parquet"]].concat();
    let said = spark(&folder, wheel::python(), "spark_files.py", &asked);
    assert!(said.contains("42 recordings, each a row") && said.contains("3 without a result"), "{said}");
    same_rows(&folder, 42);
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn a_worker_that_fails_fails_the_job() {
    let folder = Folder::new();
    folder.write("list.txt", "/a.fit\n/b.fit\n");
    folder.write("plan.toml", PLAN);
    let root = top();
    let check = run(Command::new(reference())
        .arg(root.join("tests/reference/cluster_check.py"))
        .arg("failures")
        .arg(root.join("docs/cluster/spark_batch.py"))
        .arg(jogaudit())
        .current_dir(folder.file(".")));
    assert!(check.contains("3 kinds of failure are seen"), "{check}");
}
