//! Hostile runs, drawn from a seed: damaged and made-up recordings, containers, plans, diaries, lists, rosters, arguments,
//! links, pipes and devices. None may crash, hang, take much, or touch what it was not told to write.
//!
//! The runs are those of an ordinary user: when the test is root's, they are given to nobody. One of them again, its folder
//! kept: `JOGAUDIT_HOSTILE=NUMBER cargo test --test hostile a_few -- --nocapture`. `JOGAUDIT_HOSTILE_RUNS` changes how
//! many there are of the many.
//!
//! A test of its own, since the memory that a child had begins with that of the process it came from, which here is small.
#![cfg(unix)]
#![allow(clippy::print_stdout)] // what was measured

mod damage;
mod measured;
mod recordings;
mod runs;

#[path = "../support/program.rs"]
mod program;

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use measured::{Measured, Place};
use recordings::Seeds;

const SEED: u64 = 20_261_126;
/// Bounds of a run, our choice. Time is the processor's, so that what else the machine does plays no part; what waits for
/// ever is ended by the clock.
const MOST_TIME: Duration = Duration::from_secs(5);
const MOST_MIB: u64 = 512;

#[test]
fn a_few_hostile_runs_end_in_order() {
    if let Some(number) = std::env::var("JOGAUDIT_HOSTILE").ok().and_then(|number| number.parse().ok()) {
        return again(number);
    }
    rounds(0..200);
}

#[test]
#[ignore = "minutes: bash tests/full runs it"]
fn thousands_of_hostile_runs_end_in_order() {
    let number = |name| std::env::var(name).ok().and_then(|number| number.parse().ok());
    rounds(1_000..1_000 + number("JOGAUDIT_HOSTILE_RUNS").unwrap_or(5_000));
}

fn again(number: u64) {
    let (place, seeds) = (Place::new(), Seeds::new());
    let (run, measured) = one(number, &place, &seeds);
    println!(
        "{}: jogaudit {}\ncode {:?}, {:?}, {} MiB\n{}\n{:?}",
        place.folder().display(),
        run.args.join(" "),
        measured.code,
        measured.time,
        measured.mib,
        measured.err,
        fault_of(&run, &measured, &place)
    );
    std::mem::forget(place);
}

fn one(number: u64, place: &Place, seeds: &Seeds) -> (runs::Run, Measured) {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    random.set_stream(number);
    let run = runs::drawn(&mut random, seeds);
    place.make(&run);
    let measured = place.measure(&run);
    (run, measured)
}

/// What is wrong with how a run ended.
fn fault_of(run: &runs::Run, measured: &Measured, place: &Place) -> Option<String> {
    let Measured { code, err, out, .. } = measured;
    let is_json = run.args.windows(2).any(|pair| pair == ["--format", "json"])
        && !run.args.contains(&"--out".to_owned());
    let writes_rows = run.args.windows(2).any(|pair| pair == ["--out", "-"]);
    if *code != Some(0) && *code != Some(2) {
        return Some(format!("exit code {code:?}"));
    }
    if err.contains("panicked") || err.contains("RUST_BACKTRACE") {
        return Some("it panicked".to_owned());
    }
    if measured.time > MOST_TIME || measured.mib > MOST_MIB {
        return Some(format!("{:.1} s, {} MiB", measured.time.as_secs_f64(), measured.mib));
    }
    if *code == Some(2) && (!err.contains("error: ") || !(out.is_empty() || writes_rows)) {
        return Some("an error without a word, or beside a result".to_owned());
    }
    if *code == Some(0) && is_json && serde_json::from_slice::<serde_json::Value>(out).is_err() {
        return Some("no JSON".to_owned());
    }
    place.touched(run, *code == Some(0))
}

/// Faults, how many runs were refused and done, and of each run its time, its memory and its name.
type Seen = (Vec<String>, [usize; 2], Vec<(Duration, u64, String)>);

/// Makes these runs on all cores, and names the slowest and the largest.
fn rounds(numbers: std::ops::Range<u64>) {
    let (seeds, next) = (Seeds::new(), AtomicU64::new(numbers.start));
    let seen: Mutex<Seen> = Mutex::default();
    let begun = std::time::Instant::now();
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                let place = Place::new();
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= numbers.end {
                        break;
                    }
                    let (run, measured) = one(number, &place, &seeds);
                    let name = format!("run {number}: jogaudit {}", run.args.join(" "));
                    let fault = fault_of(&run, &measured, &place);
                    let mut seen = seen.lock().unwrap();
                    seen.1[usize::from(measured.code == Some(0))] += 1;
                    let last =
                        measured.err.lines().find(|line| line.contains("error") || line.contains("panic"));
                    seen.0.extend(
                        fault.map(|what| format!("{what} in {name}\n    {}", last.unwrap_or_default())),
                    );
                    seen.2.push((measured.time, measured.mib, name));
                }
            });
        }
    });
    let (faults, [refused, done], mut runs) = seen.into_inner().unwrap();
    println!(
        "{} hostile runs in {:.0} s: {done} gave a result, {refused} an error",
        runs.len(),
        begun.elapsed().as_secs_f64()
    );
    runs.sort_by_key(|(time, ..)| std::cmp::Reverse(*time));
    for (time, mib, name) in runs.iter().take(3) {
        println!("slowest: {:.2} s of the processor, {mib} MiB, {name}", time.as_secs_f64());
    }
    runs.sort_by_key(|(_, mib, _)| std::cmp::Reverse(*mib));
    let least = runs.last().map_or(0, |(_, mib, _)| *mib);
    println!("the smallest: {least} MiB; what the test itself has is in it");
    for (time, mib, name) in runs.iter().take(3) {
        println!("largest: {mib} MiB, {:.2} s of the processor, {name}", time.as_secs_f64());
    }
    assert!(5 * done >= runs.len(), "too few hostile runs give a result to say anything of results");
    assert!(faults.is_empty(), "{} of the runs:\n{}", faults.len(), faults.join("\n"));
}
