//! Recordings that no simulator made: ours beside the bare threshold, held against what each recording's own cadence says.
//!
//! `cargo bench -p jogaudit-outside --bench real -- [--each] [--columns] [--only TEXT] [--walks FOLDER]… [FOLDER]…`
//!
//! It reads the files that the crates `fitparser`, `gpx` and `tcx` carry in their archives, and every recording in the folders
//! inside each FOLDER, which name the library that a file is from. `--walks` names a folder of folders of recordings in which
//! people only walked. A file serves when its own cadence tells running from walking (`truth.rs`); then the cadence is hidden.
//! Printed: running and walking told by speed and by positions, each with and without the heart rate; how often what is said with which certainty is right;
//! what remains when the cadence of one gait alone is lost; walks that are called runs. `--each` adds a line a file, `--only`
//! takes libraries with TEXT in their name, `--columns` prints what is read of each file instead (`benches/ways.py` measures it).

#![allow(missing_docs, clippy::print_stdout)]

#[expect(dead_code, reason = "a file's name is not printed")]
#[path = "../../tests/outside/src/archive.rs"]
mod archive;
mod columns;
mod files;
mod hidden;
#[expect(dead_code, reason = "which gait a bout is counts in made-up walks")]
#[path = "../judged.rs"]
mod judged;
#[path = "../../tests/support/program.rs"]
mod program;
mod score;
mod truth;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::agreement::GaitSpan;
use jogaudit_core::gait::{Bout, Gait};
use jogaudit_recording::read::{Recording, Sport};

use files::RealFile;
use hidden::{Left, Seen, lost_in};
use judged::{Judged, calibration_error, in_band};
use score::{Both, Score, judge};
use truth::Truth;

/// A file of both gaits has this much of each, s; a walk is one with no more running than this share.
const BOTH_S: f64 = 60.0;
const WALKED: f64 = 0.98;
/// Fewer seconds right than this share are a collapse.
const COLLAPSED: f64 = 0.7;
/// A wrong bout counts from this length, s, and this certainty on.
const LONG_S: f64 = 30.0;
const SURE: f64 = 0.9;
/// In walks alone a run said with this certainty counts.
const VERY_SURE: f64 = 0.95;
const BANDS: [(f64, f64, &str); 4] = [
    (0.0, 0.9, "below 0.90"),
    (0.9, 0.95, "0.90–0.95"),
    (0.95, 0.99, "0.95–0.99"),
    (0.99, 2.0, "0.99 or more"),
];

#[derive(Default)]
struct Options {
    folders: Vec<PathBuf>,
    walks: Vec<PathBuf>,
    each: bool,
    columns: bool,
    only: String,
}

impl Options {
    fn read() -> Self {
        let mut options = Self::default();
        let mut args = std::env::args().skip(1);
        while let Some(arg) = args.next() {
            let mut value = || args.next().unwrap_or_else(|| panic!("{arg} needs a value"));
            match arg.as_str() {
                "--walks" => options.walks.push(value().into()),
                "--each" => options.each = true,
                "--columns" => options.columns = true,
                "--only" => options.only = value(),
                "--bench" => {}
                _ => options.folders.push(arg.into()),
            }
        }
        options
    }
}

/// A file whose own cadence tells.
struct Told {
    file: RealFile,
    truth: Truth,
}

fn main() {
    let options = Options::read();
    let mut files = files::of_archives();
    files.extend(options.folders.iter().flat_map(|folder| files::of_folder(folder)));
    // Libraries share files, some of them converted: what began at the same moment is the same session, and counts once.
    let mut begun = BTreeSet::new();
    files.retain(|file| file.library.contains(&options.only) && begun.insert(file.recording.start()));
    let all = files.len();
    let tell = |file: RealFile| {
        let truth = Truth::of(&clean(&file.recording, &CleanConfig::default()).value)?;
        Some(Told { file, truth })
    };
    let told: Vec<Told> = files.into_iter().filter_map(tell).collect();
    if options.columns {
        return columns::print(&told);
    }
    println!("{} of {all} recordings on foot are told run from walk by their own cadence.", told.len());
    for by_positions in [false, true] {
        for heart_rate in [false, true] {
            hidden_table(Seen { by_positions, heart_rate }, &told, options.each);
        }
    }
    lost_table(&told, options.each);
    walks_table(&options, &told);
}

/// What is found when the cadence is hidden.
fn hidden_table(seen: Seen, told: &[Told], each: bool) {
    let mut by_library: BTreeMap<&str, [Score; 2]> = BTreeMap::new();
    let (mut judged, mut rights): (Vec<Judged>, Vec<[f64; 2]>) = Default::default();
    println!("\n## Cadence hidden: {}", seen.words());
    for Told { file, truth } in told {
        let hidden = seen.of(&file.recording);
        if !seen.is_in(&hidden) {
            continue;
        }
        let Both { ours, bare } = Both::of(&hidden);
        let spans: Vec<GaitSpan> = ours.iter().map(GaitSpan::from).collect();
        let scores = [Score::of(truth, &spans), Score::of(truth, &bare)];
        let own = judge(truth, &ours);
        rights.push(scores.map(|score| score.right()));
        if each {
            println!("{}", each_line(file, truth, &scores, &own));
        }
        for (sum, score) in by_library.entry(&file.library).or_default().iter_mut().zip(&scores) {
            sum.add(score);
        }
        judged.extend(own);
    }
    println!(
        "\n| library | recordings | told hours | seconds right, ours | bare threshold | event F1, ours | bare | exact count, ours | bare |\n|---|---|---|---|---|---|---|---|---|"
    );
    let mut all = [Score::default(); 2];
    for (library, scores) in &by_library {
        println!("{}", row(library, scores));
        all.iter_mut().zip(scores).for_each(|(sum, score)| sum.add(score));
    }
    println!("{}", row("**all**", &all));
    println!("{}", mean_row(&rights));
    println!("\n| certainty said | bouts | of them right |\n|---|---|---|");
    for (from, to, band) in BANDS {
        let (bouts, right) = in_band(&judged, from, to);
        println!("| {band} | {bouts} | {} |", share(right as f64, bouts as f64));
    }
    println!("\nExpected calibration error {:.3} over {} bouts.", calibration_error(&judged), judged.len());
}

fn row(library: &str, [ours, bare]: &[Score; 2]) -> String {
    format!(
        "| {library} | {} | {:.2} | {:.2} % | {:.2} % | {:.3} | {:.3} | {} | {} |",
        ours.recordings,
        ours.told_s / 3600.0,
        100.0 * ours.right(),
        100.0 * bare.right(),
        ours.event_f1(),
        bare.event_f1(),
        ours.exact(),
        bare.exact()
    )
}

/// Every recording counts the same here, however long: one of ten hours does not decide.
fn mean_row(rights: &[[f64; 2]]) -> String {
    let n = rights.len() as f64;
    let mean = |which: usize| rights.iter().map(|right| right[which]).sum::<f64>();
    format!("| **mean of recordings** | | | {} | {} | | | | |", share(mean(0), n), share(mean(1), n))
}

fn each_line(file: &RealFile, truth: &Truth, [ours, bare]: &[Score; 2], own: &[Judged]) -> String {
    let wrong: Vec<String> = own
        .iter()
        .filter(|b| !b.right && b.certainty >= SURE)
        .map(|b| format!("{:.0} s said {:.3}", b.length_s, b.certainty))
        .collect();
    format!(
        "{}: run {:.0} s, walk {:.0} s; right {:.1} %, bare {:.1} %; F1 {:.2}, bare {:.2}; sure and wrong: {}",
        file.name(),
        truth.run_s,
        truth.walk_s,
        100.0 * ours.right(),
        100.0 * bare.right(),
        ours.event_f1(),
        bare.event_f1(),
        if wrong.is_empty() { "none".to_owned() } else { wrong.join(", ") }
    )
}

fn share(part: f64, all: f64) -> String {
    if all > 0.0 { format!("{:.1} %", 100.0 * part / all) } else { "–".to_owned() }
}

/// The cadence of one gait is lost.
fn lost_table(told: &[Told], each: bool) {
    let both: Vec<&Told> =
        told.iter().filter(|t| t.truth.run_s >= BOTH_S && t.truth.walk_s >= BOTH_S).collect();
    let archived = both.iter().filter(|t| t.file.archived).count();
    println!(
        "\n## Cadence lost in one gait: {} recordings of both gaits, {archived} of them from crates' archives\n",
        both.len()
    );
    println!(
        "| lost in | what is left there | seconds right | worst recording | collapsed | wrong bouts of {LONG_S:.0} s or more said ≥ {SURE} |\n|---|---|---|---|---|---|"
    );
    println!("{}", lost_row(&both, "nothing is lost", "all", each, |t| t.file.recording.clone()));
    println!(
        "{}",
        lost_row(&both, "both", "nothing", each, |t| {
            Seen { by_positions: false, heart_rate: false }.of(&t.file.recording)
        })
    );
    for gait in [Gait::Run, Gait::Walk] {
        for left in Left::ALL {
            let lose = |t: &Told| lost_in(&t.file.recording, &t.truth, gait, left);
            println!("{}", lost_row(&both, gait.word(), &left.words(), each, lose));
        }
    }
}

fn lost_row(both: &[&Told], lost: &str, left: &str, each: bool, lose: impl Fn(&Told) -> Recording) -> String {
    let (mut sum, mut worst, mut collapsed, mut wrong) = (Score::default(), f64::INFINITY, 0, 0);
    for one in both {
        let ours = Both::of(&lose(one)).ours;
        let spans: Vec<GaitSpan> = ours.iter().map(GaitSpan::from).collect();
        let score = Score::of(&one.truth, &spans);
        let surely_wrong = |b: &&Judged| !b.right && b.length_s >= LONG_S && b.certainty >= SURE;
        let wrong_here = judge(&one.truth, &ours).iter().filter(surely_wrong).count();
        if each && (score.right() < COLLAPSED || wrong_here > 0) {
            println!(
                "{lost} {left}: {}: right {:.1} %, wrong {wrong_here}",
                one.file.name(),
                100.0 * score.right()
            );
        }
        sum.add(&score);
        worst = worst.min(score.right());
        collapsed += usize::from(score.right() < COLLAPSED);
        wrong += wrong_here;
    }
    format!(
        "| {lost} | {left} | {} | {} | {collapsed} | {wrong} |",
        share(sum.right_s, sum.told_s),
        share(worst, 1.0)
    )
}

/// Positions of people who only walked.
fn walks_table(options: &Options, told: &[Told]) {
    let mut sets: BTreeMap<String, Vec<Recording>> = BTreeMap::new();
    for file in options.walks.iter().flat_map(|folder| files::of_folder(folder)) {
        sets.entry(file.library).or_default().push(file.recording);
    }
    let walked = |t: &&Told| {
        t.truth.walk_s >= WALKED * (t.truth.run_s + t.truth.walk_s)
            && *t.file.recording.sport() != Sport::Running
    };
    for one in told.iter().filter(walked) {
        sets.entry("walks by their own cadence".to_owned()).or_default().push(one.file.recording.clone());
    }
    println!(
        "\n## Walks alone, by positions\n\n| set | walks | hours run or walked | called run | bouts of running | said ≥ {VERY_SURE} | walks with one | longest so said, s | bare threshold calls run |\n|---|---|---|---|---|---|---|---|---|"
    );
    for (set, walks) in &sets {
        println!("{}", walks_row(set, walks, options.each));
    }
}

fn walks_row(set: &str, walks: &[Recording], each: bool) -> String {
    let seconds = |spans: &[GaitSpan], gait| {
        spans.iter().filter(|s| s.gait == gait).map(|s| s.end_s - s.start_s).sum::<f64>()
    };
    let (mut run_s, mut moved_s, mut bare_run_s, mut bare_moved_s) = (0.0, 0.0, 0.0, 0.0);
    let (mut runs, mut sure, mut with_one, mut longest_s) = (0, 0, 0, 0.0_f64);
    for (index, walk) in walks.iter().enumerate() {
        let Both { ours, bare } = Both::of(&Seen { by_positions: true, heart_rate: false }.of(walk));
        let spans: Vec<GaitSpan> = ours.iter().map(GaitSpan::from).collect();
        run_s += seconds(&spans, Gait::Run);
        moved_s += seconds(&spans, Gait::Run) + seconds(&spans, Gait::Walk);
        bare_run_s += seconds(&bare, Gait::Run);
        bare_moved_s += seconds(&bare, Gait::Run) + seconds(&bare, Gait::Walk);
        let is_sure = |bout: &&Bout| bout.gait == Gait::Run && bout.certainty >= VERY_SURE;
        let sure_here: Vec<&Bout> = ours.iter().filter(is_sure).collect();
        runs += ours.iter().filter(|bout| bout.gait == Gait::Run).count();
        sure += sure_here.len();
        with_one += usize::from(!sure_here.is_empty());
        for bout in sure_here {
            longest_s = longest_s.max(bout.duration_s());
            if each {
                println!("{set} {}: run {:.0} s said {:.3}", index + 1, bout.duration_s(), bout.certainty);
            }
        }
    }
    format!(
        "| {set} | {} | {:.2} | {} | {runs} | {sure} | {with_one} | {longest_s:.0} | {} |",
        walks.len(),
        moved_s / 3600.0,
        share(run_s, moved_s),
        share(bare_run_s, bare_moved_s)
    )
}
