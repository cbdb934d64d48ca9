//! A run that is killed and taken up again gives the bytes of an undisturbed one.

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::path::Path;
use std::process::{Child, Stdio};
use std::time::Duration;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::batch_folder::{batch, bytes, folder_of, run, works};

const COMMAND: &str = "recordings --roster roster.csv --chunk 2 --jobs 2 --out t.parquet --bouts b.csv --reps r.ndjson \
                       --provenance p.json";

fn names() -> [String; 4] {
    ["t.parquet", "b.csv", "r.ndjson", "p.json"].map(str::to_owned)
}

fn outputs(folder: &Path) -> Vec<Vec<u8>> {
    names().iter().map(|name| bytes(folder, name)).collect()
}

/// Chunks of a run that are finished, as they stand on disk.
fn finished(folder: &Path) -> usize {
    let entries = std::fs::read_dir(folder.join("t.parquet.parts")).into_iter().flatten();
    entries.flatten().filter(|entry| entry.path().extension().is_some_and(|end| end == "part")).count()
}

/// Kills a run as soon as so many of its chunks are finished; `false` when it was over before that.
fn killed_after(chunks: usize, run: &mut Child, folder: &Path) -> bool {
    while finished(folder) < chunks && run.try_wait().unwrap().is_none() {
        std::thread::sleep(Duration::from_millis(1));
    }
    run.kill().unwrap(); // SIGKILL
    !run.wait().unwrap().success()
}

#[test]
fn killed_and_resumed_the_bytes_are_the_same() {
    killed_and_resumed(10, 5);
}

#[test]
#[ignore = "minutes: bash tests/full runs it"]
fn killed_fifty_times_and_resumed_the_bytes_are_the_same() {
    killed_and_resumed(50, 25);
}

/// Kills runs until so many were killed, and so many of them left finished chunks, and takes each up again.
fn killed_and_resumed(kills: usize, take_ups: usize) {
    const SEED: u64 = 20_261_125;
    const CHUNKS: usize = 20;
    let folder = folder_of(2 * CHUNKS);
    let root = folder.path();
    works(root, COMMAND);
    let whole = outputs(root);

    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let (mut runs, mut killed, mut taken_up) = (0, 0, 0);
    while killed < kills || taken_up < take_ups {
        runs += 1;
        assert!(
            runs <= 20 * kills,
            "of {runs} runs only {killed} were there to be killed, {taken_up} with finished chunks"
        );
        names().iter().for_each(|name| drop(std::fs::remove_file(root.join(name))));
        let mut child = batch(root, COMMAND).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        if !killed_after(random.random_range(0..CHUNKS + 4).saturating_sub(4), &mut child, root) {
            assert!(outputs(root) == whole);
            continue;
        }
        killed += 1;
        let left = finished(root);
        let (code, _, err) = run(root, &format!("{COMMAND} --resume"));
        assert_eq!(code, 0, "{err}");
        assert_eq!(err.contains("from an earlier run"), left > 0, "{left} finished chunks\n{err}");
        taken_up += usize::from(left > 0);
        assert!(outputs(root) == whole, "other bytes after a kill");
        assert_eq!(finished(root), 0);
    }
    println!(
        "{killed} of {runs} runs were killed, {taken_up} of them left finished chunks that were taken up"
    );
}

#[test]
fn a_part_is_taken_up_only_while_its_files_are_the_same() {
    let folder = folder_of(24);
    let root = folder.path();
    let resumed = format!("{COMMAND} --resume");
    works(root, COMMAND);
    let before = outputs(root);
    // A run that is stopped by an output that cannot be put in place leaves all its parts.
    std::fs::remove_file(root.join("t.parquet")).unwrap();
    let stop = |root: &Path| {
        let command = format!(
            "trap '' XFSZ; ulimit -f 24; exec {} batch {resumed}",
            crate::program::jogaudit().display()
        );
        let output =
            std::process::Command::new("sh").args(["-c", &command]).current_dir(root).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
    };
    stop(root);
    let first = root.join("recordings/anna/000.rec");
    let (old, other) =
        (std::fs::read(&first).unwrap(), std::fs::read(root.join("recordings/anna/002.rec")).unwrap());
    std::fs::write(&first, &other).unwrap();
    let (code, _, err) = run(root, &resumed);
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("from an earlier run"), "the other chunks are taken up: {err}");
    assert!(outputs(root) != before, "the changed file has another row");
    let changed = outputs(root);
    works(root, COMMAND);
    assert!(outputs(root) == changed, "as if it had always been so");
    std::fs::write(&first, &old).unwrap();
    works(root, COMMAND);
    assert!(outputs(root) == before);
}
