//! The accuracy table: ours and its rivals on the same simulated recordings, by condition.
//!
//! `cargo bench --bench accuracy -- [--seeds N] [--first SEED] [--only TEXT] [--rivals PYTHON] [--tune-median] [--dump]`
//!
//! Rivals: a fixed speed threshold (2.0 m/s after a median filter), a fixed cadence threshold (140 steps/min) and, with
//! `--rivals`, `hmmlearn` and `ruptures` by `benches/rivals.py`. Seeds below 1,000,000 are for tuning.

#![allow(
    missing_docs,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::struct_excessive_bools,
    clippy::zombie_processes
)]

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};

use jogaudit::clean::{CleanConfig, Series, clean};
use jogaudit::gait::agreement::{Span, matched, shared_time_s};
use jogaudit::gait::{Gait, GaitConfig, segment};
use jogaudit::prescription::{Extent, Move, Step};
use jogaudit::simulate::{
    Channels, Fault, FaultKind, Gps, Profile, Sampling, Settings, Simulated, Stretch, simulate,
};
use jogaudit::units::Seconds;

/// Median filter widths tried for the speed threshold, samples; the best on the tuning seeds is [`MEDIAN_WIDTH`].
const MEDIAN_WIDTHS: [usize; 7] = [1, 5, 9, 15, 21, 31, 41];
const MEDIAN_WIDTH: usize = 15;

#[derive(Clone, Copy)]
struct Condition {
    sensors: &'static str,
    channels: Channels,
    sampling: Sampling,
    gps: Gps,
    profile: Profile,
}

impl Condition {
    fn all() -> Vec<Self> {
        let mut out = Vec::new();
        for (sensors, channels) in [
            ("cadence", Channels::ALL),
            ("speed only", Channels::NO_CADENCE),
            ("positions only", Channels { altitude: true, ..Channels::POSITIONS_ONLY }),
        ] {
            for sampling in [Sampling::EverySecond, Sampling::Smart] {
                for gps in [Gps::Clean, Gps::Typical, Gps::Bad] {
                    for profile in [Profile::Steady, Profile::Overlapping, Profile::Indistinct] {
                        out.push(Self { sensors, channels, sampling, gps, profile });
                    }
                }
            }
        }
        out
    }

    fn name(&self) -> String {
        let sampling = if self.sampling == Sampling::EverySecond { "1 s" } else { "smart" };
        format!("{}, {sampling}, {:?}, {:?}", self.sensors, self.gps, self.profile).to_lowercase()
    }
}

/// A generator of small choices that differ by seed and do not come from the simulator's streams.
fn choice(seed: u64, salt: u64, of: u64) -> u64 {
    let mut x = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ salt.wrapping_mul(0xD1B5_4A32_D192_ED03);
    x ^= x >> 31;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^= x >> 29;
    x % of
}

fn session(seed: u64) -> Vec<Step> {
    let step = |motion, seconds: u64| Step {
        motion,
        extent: Extent::Time(Seconds::new(seconds as f64)),
        ceiling: None,
    };
    let run_s = 60 + 30 * choice(seed, 1, 7);
    let walk_s = 60 + 30 * choice(seed, 2, 4);
    let reps = 3 + choice(seed, 3, 5);
    let mut steps = vec![step(Move::Walk, 180 + 60 * choice(seed, 4, 3))];
    for _ in 0..reps {
        steps.push(step(Move::Run, run_s));
        steps.push(step(Move::Walk, walk_s));
    }
    steps.push(step(Move::Walk, 180));
    steps
}

fn make(condition: &Condition, seed: u64) -> Simulated {
    let missing = match condition.gps {
        Gps::Clean => 0.0,
        Gps::Typical => 0.02,
        Gps::Bad => 0.10,
    };
    let stretch = |salt| Stretch { at_s: None, length_s: 20.0 + choice(seed, salt, 40) as f64 };
    let mut settings = Settings {
        seed,
        profile: condition.profile,
        gps: condition.gps,
        sampling: condition.sampling,
        channels: condition.channels,
        missing,
        ..Settings::default()
    };
    if choice(seed, 6, 4) == 0 {
        settings.faults.push(Fault {
            kind: FaultKind::Stop,
            value: 12.0 + choice(seed, 7, 20) as f64,
            rep: None,
        });
    }
    if choice(seed, 8, 4) == 0 {
        settings.pauses.push(stretch(9));
    }
    simulate(&session(seed), &settings).expect("the session can be made up")
}

/// What is found, with a certainty where there is one.
struct Found {
    spans: Vec<Span>,
    certainty: Vec<f64>,
    /// Standard error of each start, s.
    error_s: Vec<f64>,
}

impl Found {
    fn plain(spans: Vec<Span>) -> Self {
        Self { certainty: vec![f64::NAN; spans.len()], error_s: vec![f64::NAN; spans.len()], spans }
    }
}

fn ours(series: &Series) -> Found {
    let found = segment(series, &GaitConfig::default()).value;
    Found {
        spans: found.bouts().iter().map(Span::from).collect(),
        certainty: found.bouts().iter().map(|b| b.certainty).collect(),
        error_s: found.bouts().iter().map(|b| b.start_error_s).collect(),
    }
}

fn filled(column: &[Option<f64>]) -> Option<Vec<f64>> {
    let known: Vec<(usize, f64)> = column.iter().enumerate().filter_map(|(i, v)| v.map(|v| (i, v))).collect();
    if known.len() * 3 < column.len() || known.len() < 10 {
        return None;
    }
    let mut out = vec![0.0; column.len()];
    let mut next = 0;
    for (i, value) in out.iter_mut().enumerate() {
        while next < known.len() && known[next].0 < i {
            next += 1;
        }
        *value = match (next.checked_sub(1).map(|k| known[k]), known.get(next)) {
            (Some((a, u)), Some(&(b, v))) => u + (v - u) * (i - a) as f64 / (b - a) as f64,
            (Some((_, u)), None) => u,
            (None, Some(&(_, v))) => v,
            (None, None) => 0.0,
        };
    }
    Some(out)
}

fn median(values: &[f64], width: usize) -> Vec<f64> {
    (0..values.len())
        .map(|i| {
            let mut window =
                values[i.saturating_sub(width / 2)..(i + width / 2 + 1).min(values.len())].to_vec();
            window.sort_by(f64::total_cmp);
            window[window.len() / 2]
        })
        .collect()
}

fn spans_of(series: &Series, gaits: &[Gait]) -> Vec<Span> {
    let mut out: Vec<Span> = Vec::new();
    let mut start_s = 0.0;
    for i in 1..=gaits.len() {
        if i == gaits.len() || gaits[i] != gaits[i - 1] {
            let end_s = if i == gaits.len() {
                series.elapsed_s()
            } else {
                f64::midpoint(series.time_s[i - 1], series.time_s[i])
            };
            out.push(Span { gait: gaits[i - 1], start_s, end_s });
            start_s = end_s;
        }
    }
    out
}

fn speed_threshold(series: &Series, width: usize) -> Option<Found> {
    let speed = median(&filled(&series.speed_mps)?, width);
    let gaits: Vec<Gait> = speed
        .iter()
        .map(|&v| {
            if v >= 2.0 {
                Gait::Run
            } else if v < 0.5 {
                Gait::Stand
            } else {
                Gait::Walk
            }
        })
        .collect();
    Some(Found::plain(spans_of(series, &gaits)))
}

fn cadence_threshold(series: &Series) -> Option<Found> {
    let cadence = filled(&series.cadence_spm)?;
    let gaits: Vec<Gait> = cadence
        .iter()
        .map(|&c| {
            if c >= 140.0 {
                Gait::Run
            } else if c < 40.0 {
                Gait::Stand
            } else {
                Gait::Walk
            }
        })
        .collect();
    Some(Found::plain(spans_of(series, &gaits)))
}

/// Sums over the recordings of one condition.
#[derive(Default)]
struct Score {
    recordings: usize,
    same_s: f64,
    all_s: f64,
    matched: usize,
    events: usize,
    exact: usize,
    count_errors: usize,
    boundary_s: Vec<f64>,
    bouts: Vec<(f64, bool)>,
    /// Boundary errors over their stated standard errors.
    scaled: Vec<f64>,
}

impl Score {
    /// Adds one recording. Where the truth is unknown (a pause), nothing is counted.
    fn add(&mut self, truth: &[Span], found: &Found) {
        let known: Vec<Span> = truth.iter().filter(|s| s.gait != Gait::Unknown).copied().collect();
        let (mut spans, mut certainty, mut error_s) = (Vec::new(), Vec::new(), Vec::new());
        for ((span, c), e) in found.spans.iter().zip(&found.certainty).zip(&found.error_s) {
            let hidden = truth.iter().any(|t| {
                t.gait == Gait::Unknown
                    && t.end_s.min(span.end_s) - t.start_s.max(span.start_s)
                        > 0.5 * (span.end_s - span.start_s)
            });
            if span.gait != Gait::Unknown && !hidden {
                spans.push(*span);
                certainty.push(*c);
                error_s.push(*e);
            }
        }
        let (same, all) = shared_time_s(&known, &found.spans);
        self.recordings += 1;
        self.same_s += same;
        self.all_s += all;
        let pairs = matched(&known, &spans, 0.5);
        self.matched += pairs.len();
        self.events += known.len() + spans.len();
        self.exact += usize::from(known.len() == spans.len() && pairs.len() == known.len());
        self.count_errors += known.len().abs_diff(spans.len());
        let last_s = truth.last().map_or(0.0, |t| t.end_s);
        let edge = |at_s: f64| {
            at_s < 1.0
                || at_s > last_s - 1.0
                || truth.iter().any(|t| {
                    t.gait == Gait::Unknown && (at_s - t.start_s).abs().min((at_s - t.end_s).abs()) < 1.0
                })
        };
        for &(i, j) in &pairs {
            // The start of each matched bout, and its end where the next one is not matched, so that none counts twice.
            if !edge(known[i].start_s) {
                self.boundary_s.push((known[i].start_s - spans[j].start_s).abs());
                if error_s[j] > 0.0 {
                    self.scaled.push((known[i].start_s - spans[j].start_s).abs() / error_s[j]);
                }
            }
            if !edge(known[i].end_s) && !pairs.iter().any(|&(k, _)| known[k].start_s == known[i].end_s) {
                self.boundary_s.push((known[i].end_s - spans[j].end_s).abs());
            }
        }
        for (j, c) in certainty.iter().enumerate() {
            self.bouts.push((*c, pairs.iter().any(|p| p.1 == j)));
        }
    }

    fn quantile(&self, q: f64) -> f64 {
        let mut sorted = self.boundary_s.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(((sorted.len() as f64 - 1.0) * q).round() as usize).copied().unwrap_or(f64::NAN)
    }

    /// Expected calibration error over ten bins, and the share of right ones among those said to be 0.9 certain.
    fn calibration(&self) -> (f64, f64) {
        let mut bins = [(0.0, 0.0, 0.0); 10];
        for &(c, right) in &self.bouts {
            let bin = &mut bins[((c * 10.0) as usize).min(9)];
            bin.0 += 1.0;
            bin.1 += c;
            bin.2 += f64::from(u8::from(right));
        }
        let n = self.bouts.len() as f64;
        let error = bins.iter().filter(|b| b.0 > 0.0).map(|b| (b.1 - b.2).abs() / n).sum();
        let sure: Vec<bool> = self.bouts.iter().filter(|b| b.0 >= 0.9).map(|b| b.1).collect();
        (error, sure.iter().filter(|r| **r).count() as f64 / sure.len().max(1) as f64)
    }

    fn row(&self, who: &str) -> String {
        let own = self.bouts.first().is_some_and(|b| b.0.is_finite());
        let (error, sure) = self.calibration();
        let within =
            self.scaled.iter().filter(|z| **z <= 2.0).count() as f64 / self.scaled.len().max(1) as f64;
        let calibration = if own {
            format!("{error:.3} | {:.1} % | {:.0} %", 100.0 * sure, 100.0 * within)
        } else {
            "– | – | –".to_owned()
        };
        format!(
            "| {who} | {:.2} % | {:.4} | {:.2} | {:.2} | {:.0} % | {:.2} | {calibration} |",
            100.0 * self.same_s / self.all_s,
            2.0 * self.matched as f64 / self.events as f64,
            self.quantile(0.5),
            self.quantile(0.95),
            100.0 * self.exact as f64 / self.recordings as f64,
            self.count_errors as f64 / self.recordings as f64,
        )
    }
}

/// The Python rivals, one process for all recordings.
struct Rivals {
    input: std::process::ChildStdin,
    output: BufReader<std::process::ChildStdout>,
}

impl Rivals {
    fn start(python: &str) -> Self {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/rivals.py");
        let mut child = Command::new(python)
            .arg(script)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the rivals' Python starts");
        Self {
            input: child.stdin.take().expect("piped"),
            output: BufReader::new(child.stdout.take().expect("piped")),
        }
    }

    fn ask(&mut self, series: &Series) -> BTreeMap<String, Found> {
        let asked = serde_json::json!({
            "time_s": series.time_s, "speed_mps": series.speed_mps, "cadence_spm": series.cadence_spm,
            "elapsed_s": series.elapsed_s(),
        });
        writeln!(self.input, "{asked}").expect("the rivals listen");
        let mut line = String::new();
        self.output.read_line(&mut line).expect("the rivals answer");
        let answer: BTreeMap<String, Vec<(String, f64, f64)>> = serde_json::from_str(&line).expect("JSON");
        answer
            .into_iter()
            .map(|(name, spans)| {
                let spans = spans
                    .into_iter()
                    .map(|(gait, start_s, end_s)| Span {
                        gait: match gait.as_str() {
                            "run" => Gait::Run,
                            "walk" => Gait::Walk,
                            _ => Gait::Stand,
                        },
                        start_s,
                        end_s,
                    })
                    .collect();
                (name, Found::plain(spans))
            })
            .collect()
    }
}

struct Options {
    seeds: u64,
    first: u64,
    only: String,
    rivals: Option<String>,
    tune_median: bool,
    pure: bool,
    time: bool,
    dump: bool,
}

fn options() -> Options {
    let mut options = Options {
        seeds: 40,
        first: 1_000_000,
        only: String::new(),
        rivals: None,
        tune_median: false,
        pure: false,
        time: false,
        dump: false,
    };
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        let mut value = || args.next().unwrap_or_else(|| panic!("{arg} needs a value"));
        match arg.as_str() {
            "--seeds" => options.seeds = value().parse().expect("a number"),
            "--first" => options.first = value().parse().expect("a number"),
            "--only" => options.only = value(),
            "--rivals" => options.rivals = Some(value()),
            "--tune-median" => options.tune_median = true,
            "--pure" => options.pure = true,
            "--time" => options.time = true,
            "--dump" => options.dump = true,
            _ => {}
        }
    }
    options
}

fn main() {
    let options = options();
    if options.pure {
        return pure(&options);
    }
    if options.time {
        return time();
    }
    let mut rivals = options.rivals.as_deref().map(Rivals::start);
    println!(
        "{} recordings a condition, seeds from {}; event F1 at an overlap share of 0.5, matched one to one in order.\n",
        options.seeds, options.first
    );
    for condition in Condition::all() {
        let name = condition.name();
        if !options.only.split('+').all(|part| name.contains(part)) {
            continue;
        }
        let mut scores: BTreeMap<(usize, String), Score> = BTreeMap::new();
        for seed in options.first..options.first + options.seeds {
            let made = make(&condition, seed);
            let series = clean(&made.recording, &CleanConfig::default()).value;
            let truth: Vec<Span> = made
                .truth
                .iter()
                .map(|t| Span { gait: t.gait, start_s: t.start_s, end_s: t.end_s })
                .collect();
            let mut add = |order: usize, who: &str, found: &Found| {
                scores.entry((order, who.to_owned())).or_default().add(&truth, found);
            };
            let own = ours(&series);
            if options.dump
                && own.spans.iter().filter(|s| s.gait != Gait::Unknown).count()
                    != truth.iter().filter(|s| s.gait != Gait::Unknown).count()
            {
                println!(
                    "seed {seed}: walk {:.2} jog {:.2}",
                    made.person.walk_speed_mps, made.person.jog_speed_mps
                );
                println!("  truth {}", show(&truth));
                println!("  found {}", show(&own.spans));
                println!("  sure  {:.2?}", own.certainty);
            }
            add(0, "ours", &own);
            if options.tune_median {
                for width in MEDIAN_WIDTHS {
                    if let Some(found) = speed_threshold(&series, width) {
                        add(10 + width, &format!("speed, median of {width}"), &found);
                    }
                }
                continue;
            }
            if let Some(found) = speed_threshold(&series, MEDIAN_WIDTH) {
                add(1, "speed ≥ 2.0 m/s", &found);
            }
            if let Some(found) = cadence_threshold(&series) {
                add(2, "cadence ≥ 140", &found);
            }
            if let Some(rivals) = &mut rivals {
                for (who, found) in rivals.ask(&series) {
                    add(3, &who, &found);
                }
            }
        }
        println!("### {name}\n");
        println!(
            "| who | time right | event F1 | boundary median, s | 95th, s | exact count | count error | calibration error | right of those ≥ 0.9 |"
        );
        println!("|---|---|---|---|---|---|---|---|---|---|");
        for ((_, who), score) in &scores {
            println!("{}", score.row(who));
        }
        println!();
        let _ = std::io::stdout().flush();
    }
}

/// Sessions of one gait only, on hills, for speeds that overlap: how many show a false bout of more than 10 s.
fn pure(options: &Options) {
    println!(
        "| what | recordings | with a false bout over 10 s | right gait said with ≥ 0.9 |\n|---|---|---|---|"
    );
    for (sensors, channels) in [("cadence", Channels::ALL), ("speed only", Channels::NO_CADENCE)] {
        for (what, motion, gait) in [("runs", Move::Run, Gait::Run), ("walks", Move::Walk, Gait::Walk)] {
            for hills in [false, true] {
                let (mut wrong, mut sure) = (0, 0);
                for seed in options.first..options.first + options.seeds {
                    let step = Step { motion, extent: Extent::Time(Seconds::new(1800.0)), ceiling: None };
                    let settings = Settings {
                        seed,
                        profile: Profile::Overlapping,
                        hills,
                        channels,
                        ..Settings::default()
                    };
                    let made = simulate(&[step], &settings).expect("can be made up");
                    let series = clean(&made.recording, &CleanConfig::default()).value;
                    let found = segment(&series, &GaitConfig::default()).value;
                    let is_wrong = found.bouts().iter().any(|b| b.gait != gait && b.duration_s() > 10.0);
                    if is_wrong && options.dump {
                        let spans: Vec<Span> = found.bouts().iter().map(Span::from).collect();
                        let person = &made.person;
                        println!(
                            "{what} {seed} {:.2} {:.2}: {}",
                            person.walk_speed_mps,
                            person.jog_speed_mps,
                            show(&spans)
                        );
                    }
                    wrong += u32::from(is_wrong);
                    sure += u32::from(found.bouts().iter().all(|b| b.gait == gait && b.certainty >= 0.9));
                }
                let ground = if hills { "hills" } else { "level" };
                println!(
                    "| {what}, {sensors}, {ground} | {} | {:.1} % | {:.1} % |",
                    options.seeds,
                    100.0 * f64::from(wrong) / options.seeds as f64,
                    100.0 * f64::from(sure) / options.seeds as f64
                );
            }
        }
    }
}

/// Time to segment beside the time to read the same file, by length.
fn time() {
    use jogaudit::read::{ReadConfig, read};
    use std::time::Instant;
    let best = |mut work: Box<dyn FnMut()>| {
        (0..7)
            .map(|_| {
                let start = Instant::now();
                work();
                start.elapsed().as_secs_f64() * 1000.0
            })
            .fold(f64::INFINITY, f64::min)
    };
    println!(
        "| hours | samples | read FIT, ms | fitparser, ms | clean, ms | segment, ms |\n|---|---|---|---|---|---|"
    );
    for hours in [1_u64, 3, 6, 12, 24] {
        let pair = [(Move::Run, 120.0), (Move::Walk, 120.0)];
        let steps: Vec<Step> = (0..15 * hours)
            .flat_map(|_| {
                pair.map(|(motion, s)| Step { motion, extent: Extent::Time(Seconds::new(s)), ceiling: None })
            })
            .collect();
        let made = simulate(&steps, &Settings { seed: 1, ..Settings::default() }).expect("can be made up");
        let bytes = jogaudit::simulate::write(&made, jogaudit::read::Format::Fit);
        let series = clean(&made.recording, &CleanConfig::default()).value;
        let (b1, b2, r, s) = (bytes.clone(), bytes, made.recording.clone(), series.clone());
        let reading = best(Box::new(move || drop(read(&b1, &ReadConfig::default()))));
        let other = best(Box::new(move || drop(fitparser::from_bytes(&b2))));
        let cleaning = best(Box::new(move || drop(clean(&r, &CleanConfig::default()))));
        let segmenting = best(Box::new(move || drop(segment(&s, &GaitConfig::default()))));
        println!(
            "| {hours} | {} | {reading:.2} | {other:.1} | {cleaning:.2} | {segmenting:.2} |",
            made.recording.samples.len()
        );
    }
}

fn show(spans: &[Span]) -> String {
    spans
        .iter()
        .map(|s| format!("{}{:.0}-{:.0}", &s.gait.word()[..1], s.start_s, s.end_s))
        .collect::<Vec<_>>()
        .join(" ")
}
