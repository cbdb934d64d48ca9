//! The accuracy table: ours and its rivals on the same simulated recordings, by condition.
//!
//! `cargo bench -p jogaudit-outside --bench accuracy -- [--seeds N] [--first SEED] [--only TEXT] [--skip TEXT] [--rivals PYTHON] …`
//!
//! Rivals: a fixed speed threshold (2.0 m/s) and a fixed cadence threshold (140 steps/min), each after a median filter, and
//! with `--rivals` `hmmlearn` and `ruptures` by `rivals.py`. Then a second table says in which column ours is at least as good
//! as the best of them. Seeds below 1,000,000 are for tuning. Other switches: `--tune` (the rivals' own settings), `--pure`
//! (sessions of one gait), `--time`, `--dump` (what went wrong), `--digest` (a number that any change of our bouts changes).
//!
//! `--realistic` prints another table, of realistic sessions, and `--patterns` one of realistic sessions whose cadence is damaged in
//! one gait; both take `--seeds`, `--first`, `--only`, `--skip` and `--dump`. With `--lengths` the first says how many of the true bouts
//! of each length are found.
//!
//! `--frames` writes what `benches/frames.py` fits the scorer on, with `--only` of those conditions alone and with `--uneven` of
//! sessions whose lengths follow no plan; `--bouts` what `benches/bouts.py` fits the certainty on.

#![allow(
    missing_docs,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::struct_excessive_bools,
    clippy::zombie_processes
)]

mod bouts;
mod frames;
#[path = "../judged.rs"]
mod judged;
mod patterns;
mod pure;
mod realistic;
mod rivals;
mod score;
mod sessions;
mod speed;
mod verdict;

use std::hash::{DefaultHasher, Hasher};
use std::io::Write;

use jogaudit_core::clean::{CleanConfig, Series, clean};
use jogaudit_core::gait::Gait;
use jogaudit_core::gait::agreement::GaitSpan;
use jogaudit_simulate::Sampling;

use rivals::{Found, Rivals, cadence_threshold, ours, speed_threshold};
use score::Score;
use sessions::{Condition, make, truth};
use verdict::{Scores, Tally};

/// Settings of the rivals that `--tune` tries: widths of the median in samples, penalties of a change point.
const MEDIANS: [usize; 7] = [1, 5, 9, 15, 21, 31, 41];
const PENALTIES: [u32; 7] = [1, 2, 5, 10, 20, 40, 80];

/// The best settings on tuning seeds, by sampling.
struct Tuned {
    speed_median: usize,
    cadence_median: usize,
    penalty: u32,
}

const EVERY_SECOND: Tuned = Tuned { speed_median: 41, cadence_median: 21, penalty: 40 };
const SMART: Tuned = Tuned { speed_median: 9, cadence_median: 5, penalty: 5 };

struct Options {
    seeds: u64,
    first: u64,
    only: String,
    skip: String,
    rivals: Option<String>,
    tune: bool,
    pure: bool,
    realistic: bool,
    frames: bool,
    uneven: bool,
    bouts: bool,
    patterns: bool,
    time: bool,
    dump: bool,
    digest: bool,
    lengths: bool,
}

impl Options {
    fn read() -> Self {
        let mut options = Self {
            seeds: 40,
            first: 1_000_000,
            only: String::new(),
            skip: "nothing".to_owned(),
            rivals: None,
            tune: false,
            pure: false,
            realistic: false,
            frames: false,
            uneven: false,
            bouts: false,
            patterns: false,
            time: false,
            dump: false,
            digest: false,
            lengths: false,
        };
        let mut args = std::env::args().skip(1);
        while let Some(arg) = args.next() {
            let mut value = || args.next().unwrap_or_else(|| panic!("{arg} needs a value"));
            match arg.as_str() {
                "--seeds" => options.seeds = value().parse().expect("a number"),
                "--first" => options.first = value().parse().expect("a number"),
                "--only" => options.only = value(),
                "--skip" => options.skip = value(),
                "--rivals" => options.rivals = Some(value()),
                "--tune" => options.tune = true,
                "--pure" => options.pure = true,
                "--realistic" => options.realistic = true,
                "--frames" => options.frames = true,
                "--uneven" => options.uneven = true,
                "--bouts" => options.bouts = true,
                "--patterns" => options.patterns = true,
                "--time" => options.time = true,
                "--dump" => options.dump = true,
                "--digest" => options.digest = true,
                "--lengths" => options.lengths = true,
                _ => {}
            }
        }
        options
    }

    fn wants(&self, condition: &str) -> bool {
        self.only.split('+').all(|part| condition.contains(part)) && !condition.contains(&self.skip)
    }
}

fn main() {
    let options = Options::read();
    if options.pure {
        pure::table(&options);
    } else if options.bouts {
        bouts::print(&options);
    } else if options.frames {
        frames::print(&options);
    } else if options.realistic {
        realistic::table(&options);
    } else if options.patterns {
        patterns::table(&options);
    } else if options.time {
        speed::table();
    } else {
        accuracy_table(&options);
    }
}

fn accuracy_table(options: &Options) {
    let mut rivals = options.rivals.as_deref().map(Rivals::start);
    println!("{} recordings a condition, seeds from {}.\n\n{}", options.seeds, options.first, Score::HEAD);
    let (mut tally, mut verdicts, mut digest) = (Tally::default(), Vec::new(), DefaultHasher::new());
    for condition in Condition::all() {
        let name = condition.name();
        if !options.wants(&name) {
            continue;
        }
        let tuned = if condition.sampling == Sampling::EverySecond { EVERY_SECOND } else { SMART };
        let mut scores = Scores::new();
        for seed in options.first..options.first + options.seeds {
            let made = make(&condition, seed);
            let series = clean(&made.recording, &CleanConfig::default()).value;
            let truth = truth(&made);
            let mut add = |order: usize, who: String, found: &Found| {
                scores.entry((order, who)).or_default().push(Score::of(&truth, found));
            };
            if !options.tune {
                let own = ours(&series);
                if options.dump {
                    dump(seed, &made, &truth, &own);
                }
                own.hash_into(&mut digest);
                add(0, "ours".to_owned(), &own);
            }
            for (order, who, found) in thresholds(&series, (!options.tune).then_some(&tuned)) {
                add(order, who, &found);
            }
            let penalties: &[u32] = if options.tune { &PENALTIES } else { &[tuned.penalty] };
            if let Some(rivals) = &mut rivals {
                for (who, found) in rivals.ask(&series, penalties) {
                    add(100, who, &found);
                }
            }
        }
        for ((_, who), list) in &scores {
            println!("{}", Score::sum(list).row(&name, who));
        }
        let _ = std::io::stdout().flush();
        if !options.tune {
            verdicts.push(verdict::row(&name, &scores, &mut tally));
        }
    }
    if !options.tune {
        println!(
            "\nOurs less the best rival, positive when ours is better.\n\n{}\n{}",
            verdict::head(),
            verdicts.join("\n")
        );
        println!("\n{}", tally.text());
    }
    if options.digest {
        println!("\nDigest of our bouts: {:016x}", digest.finish());
    }
}

/// The rivals that are a bare threshold, with their place in the table: as they were tuned, or in every width when they are yet
/// to be tuned.
fn thresholds(series: &Series, tuned: Option<&Tuned>) -> Vec<(usize, String, Found)> {
    let mut all = Vec::new();
    if let Some(tuned) = tuned {
        let speed = speed_threshold(series, tuned.speed_median);
        all.extend(speed.map(|found| (1, "speed ≥ 2.0 m/s".to_owned(), found)));
        let cadence = cadence_threshold(series, tuned.cadence_median);
        all.extend(cadence.map(|found| (2, "cadence ≥ 140".to_owned(), found)));
        return all;
    }
    for width in MEDIANS {
        let speed = speed_threshold(series, width);
        all.extend(speed.map(|found| (10 + width, format!("speed, median of {width}"), found)));
        let cadence = cadence_threshold(series, width);
        all.extend(cadence.map(|found| (60 + width, format!("cadence, median of {width}"), found)));
    }
    all
}

/// Prints a recording whose bouts are not as many as the true ones.
fn dump(seed: u64, made: &jogaudit_simulate::Simulated, truth: &[GaitSpan], found: &Found) {
    let known = |spans: &[GaitSpan]| spans.iter().filter(|s| s.gait != Gait::Unknown).count();
    if known(&found.spans) == known(truth) {
        return;
    }
    println!("seed {seed}: walk {:.2} jog {:.2}", made.person.walk_speed_mps, made.person.jog_speed_mps);
    println!("  truth {}", show(truth));
    println!("  found {}", show(&found.spans));
    println!("  sure  {:.2?}", found.certainty);
}

fn show(spans: &[GaitSpan]) -> String {
    spans
        .iter()
        .map(|s| format!("{}{:.0}-{:.0}", &s.gait.word()[..1], s.start_s, s.end_s))
        .collect::<Vec<_>>()
        .join(" ")
}
