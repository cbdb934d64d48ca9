//! A run that is killed and taken up again gives the bytes of an undisturbed one.

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

mod batch_support;

use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};

use batch_support::{batch, bytes, folder_of, run, works};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const RUN: &str = "recordings --roster roster.csv --chunk 2 --jobs 2 --out t.parquet --bouts b.csv --reps r.ndjson \
                   --provenance p.json";
const NAMES: [&str; 4] = ["t.parquet", "b.csv", "r.ndjson", "p.json"];

fn outputs(folder: &Path) -> Vec<Vec<u8>> {
    NAMES.iter().map(|name| bytes(folder, name)).collect()
}

#[test]
fn killed_at_twenty_random_moments_and_resumed_the_bytes_are_the_same() {
    const SEED: u64 = 20_261_125;
    let folder = folder_of(40);
    let root = folder.path();
    let begun = Instant::now();
    works(root, RUN);
    let whole_s = begun.elapsed().as_secs_f64();
    let whole = outputs(root);

    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let (mut tries, mut killed, mut resumed) = (0, 0, 0);
    while killed < 20 {
        tries += 1;
        assert!(tries <= 60, "{killed} of {tries} runs were killed before their end");
        NAMES.iter().for_each(|name| std::fs::remove_file(root.join(name)).unwrap());
        let mut child = batch(root, RUN).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_secs_f64(random.random_range(0.0..0.9 * whole_s)));
        child.kill().unwrap(); // SIGKILL
        if child.wait().unwrap().success() {
            assert!(outputs(root) == whole);
            continue;
        }
        killed += 1;
        let (code, _, err) = run(root, &format!("{RUN} --resume"));
        assert_eq!(code, 0, "{err}");
        resumed += u32::from(err.contains("from an earlier run"));
        assert!(outputs(root) == whole, "other bytes after a kill");
        assert!(!root.join("t.parquet.parts").exists());
    }
    println!("20 runs killed, {resumed} of them left finished chunks that were taken up");
    assert!(resumed >= 8, "{resumed}");
}

#[test]
fn a_part_is_taken_up_only_while_its_files_are_the_same() {
    let folder = folder_of(12);
    let root = folder.path();
    let command = format!("{RUN} --resume");
    works(root, RUN);
    let before = outputs(root);
    // A run that is stopped by an output that cannot be put in place leaves all its parts.
    std::fs::remove_file(root.join("t.parquet")).unwrap();
    let stop = |root: &Path| {
        let command = format!(
            "trap '' XFSZ; ulimit -f 24; exec {} batch {RUN} --resume",
            batch_support::jogaudit().display()
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
    let (code, _, err) = run(root, &command);
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("from an earlier run"), "the other chunks are taken up: {err}");
    assert!(outputs(root) != before, "the changed file has another row");
    let changed = outputs(root);
    works(root, RUN);
    assert!(outputs(root) == changed, "as if it had always been so");
    std::fs::write(&first, &old).unwrap();
    works(root, RUN);
    assert!(outputs(root) == before);
}
