//! Realistic sessions: ours beside the bare threshold of 1.9 m/s after a median over 9 s, by condition.

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::Gait;
use jogaudit_core::gait::agreement::{GaitSpan, shared_time_s};
use jogaudit_core::prescription::{Extent, Move, Step};
use jogaudit_recording::units::Seconds;
use jogaudit_simulate::{Channels, Gps, Profile, Realism, Sampling, Settings, Simulated, simulate};
use rayon::prelude::*;

use crate::judged::{HIDDEN_S, Judged, calibration_error, in_band};
use crate::rivals::{Found, bare, ours};
use crate::score::Score;
use crate::sessions::{choice, interrupt, session, truth};
use crate::{Options, show};

const BANDS: [(f64, f64, &str); 3] =
    [(0.90, 0.95, "0.90–0.95"), (0.95, 0.99, "0.95–0.99"), (0.99, 2.0, "≥ 0.99")];
/// In a walk, a run said with this certainty counts.
const VERY_SURE: f64 = 0.95;

/// Holds each bout of running or walking against the truth; where that is unknown for more than half of one, it is left out.
pub(crate) fn judge(truth: &[GaitSpan], found: &Found) -> Vec<Judged> {
    let judged = |(span, &certainty): (&GaitSpan, &f64)| {
        let of = |which: &dyn Fn(Gait) -> bool| {
            let shared = |t: &GaitSpan| (t.end_s.min(span.end_s) - t.start_s.max(span.start_s)).max(0.0);
            truth.iter().filter(|t| which(t.gait)).map(shared).sum::<f64>()
        };
        let length_s = span.end_s - span.start_s;
        let hidden = of(&|gait| gait == Gait::Unknown) > 0.5 * length_s;
        if !matches!(span.gait, Gait::Run | Gait::Walk) || hidden {
            return None;
        }
        let own_s = of(&|gait| gait == span.gait);
        let other_s = of(&|gait| gait != span.gait && gait != Gait::Unknown);
        Some(Judged::new(span.gait, certainty, length_s, own_s, other_s))
    };
    found.spans.iter().zip(&found.certainty).filter_map(judged).collect()
}

/// Seconds right and seconds of running and walking.
pub(crate) fn moving_right_s(truth: &[GaitSpan], spans: &[GaitSpan]) -> (f64, f64) {
    let moving: Vec<GaitSpan> =
        truth.iter().filter(|s| matches!(s.gait, Gait::Run | Gait::Walk)).copied().collect();
    shared_time_s(&moving, spans)
}

pub(crate) struct Condition {
    pub(crate) name: String,
    walks_alone: bool,
    runs_alone: bool,
    pub(crate) settings: Settings,
}

pub(crate) fn conditions() -> Vec<Condition> {
    let real = Settings { realism: Realism::Realistic, sampling: Sampling::Drawn, ..Settings::default() };
    let positions = Channels { altitude: true, ..Channels::POSITIONS_ONLY };
    let coarse = Settings {
        gps: Gps::Coarse,
        sampling: Sampling::Slow,
        channels: Channels::POSITIONS_ONLY,
        ..real.clone()
    };
    let of = |sensors, channels| (sensors, Settings { channels, ..real.clone() });
    let mut all = Vec::new();
    for (sensors, settings) in [
        of("cadence", Channels::ALL),
        of("speed only", Channels::NO_CADENCE),
        of("positions only", positions),
        ("slow coarse positions", coarse),
    ] {
        for walks_alone in [false, true] {
            for hills in [false, true] {
                // The ground is of no account where not even the altitude is known.
                if hills && sensors.starts_with("slow") {
                    continue;
                }
                for profile in [Profile::Steady, Profile::Overlapping] {
                    let what = if walks_alone { "walks alone" } else { "run-walk" };
                    let ground = if hills { "hills" } else { "level" };
                    all.push(Condition {
                        name: format!("{what}, {sensors}, {ground}, {profile:?}").to_lowercase(),
                        walks_alone,
                        runs_alone: false,
                        settings: Settings { hills, profile, ..settings.clone() },
                    });
                }
            }
        }
    }
    all.sort_by_key(|condition| condition.walks_alone);
    all
}

/// The same recorders in sessions that are one run.
pub(crate) fn runs_alone() -> Vec<Condition> {
    let mut all = conditions();
    all.retain(|condition| condition.walks_alone);
    for condition in &mut all {
        condition.name = condition.name.replace("walks alone", "runs alone");
        (condition.walks_alone, condition.runs_alone) = (false, true);
    }
    all
}

/// What one recording gives.
struct Outcome {
    own: Score,
    bare: Option<Score>,
    judged: Vec<Judged>,
    run_s: [f64; 2],
    all_s: f64,
    wrong: Option<String>,
}

impl Outcome {
    fn of(condition: &Condition, seed: u64) -> Self {
        let made = make(condition, seed);
        let series = clean(&made.recording, &CleanConfig::default()).value;
        let (truth, found, rival) = (truth(&made), ours(&series), bare(&series));
        let judged = judge(&truth, &found);
        let run_s = |spans: &[GaitSpan]| {
            spans.iter().filter(|s| s.gait == Gait::Run).fold(0.0, |sum, s| sum + (s.end_s - s.start_s))
        };
        let is_wrong = |b: &Judged| !b.right && b.certainty >= BANDS[0].0;
        Self {
            own: Score::of(&truth, &found),
            bare: rival.as_ref().map(|rival| Score::of(&truth, rival)),
            run_s: [run_s(&found.spans), rival.as_ref().map_or(f64::NAN, |rival| run_s(&rival.spans))],
            all_s: truth.last().map_or(0.0, |t| t.end_s),
            wrong: judged.iter().any(is_wrong).then(|| told(seed, &made, &truth, &found)),
            judged,
        }
    }
}

pub(crate) fn make(condition: &Condition, seed: u64) -> Simulated {
    let mut settings = Settings { seed, ..condition.settings.clone() };
    let steps = if condition.walks_alone || condition.runs_alone {
        let length = Seconds::new((1200 + 300 * choice(seed, 10, 5)) as f64);
        let motion = if condition.runs_alone { Move::Run } else { Move::Walk };
        vec![Step { motion, extent: Extent::Time(length), ceiling: None }]
    } else {
        interrupt(&mut settings);
        session(seed)
    };
    simulate(&steps, &settings).expect("the session can be made up")
}

fn told(seed: u64, made: &Simulated, truth: &[GaitSpan], found: &Found) -> String {
    format!(
        "seed {seed}: walk {:.2} jog {:.2}\n  truth {}\n  found {}\n  sure  {:.2?}",
        made.person.walk_speed_mps,
        made.person.jog_speed_mps,
        show(truth),
        show(&found.spans),
        found.certainty
    )
}

fn band(judged: &[Judged], from: f64, to: f64) -> String {
    match in_band(judged, from, to) {
        (0, _) => "–".to_owned(),
        (all, right) => format!("{:.1} % of {all}", 100.0 * right as f64 / all as f64),
    }
}

fn run_walk_row(outcomes: &[Outcome]) -> String {
    let own = Score::sum(outcomes.iter().map(|o| &o.own));
    let judged: Vec<Judged> = outcomes.iter().flat_map(|o| &o.judged).copied().collect();
    let bands: Vec<String> = BANDS.iter().map(|&(from, to, _)| band(&judged, from, to)).collect();
    let rival = Score::sum(outcomes.iter().filter_map(|o| o.bare.as_ref()));
    format!(
        "{:.2} % | {:.4} | {:.2} | {:.2} | {:.0} % | {:.3} | {} | {:.2} % | {:.4} | {:.0} %",
        100.0 * own.time_right(),
        own.event_f1(),
        own.boundary_s(0.5),
        own.boundary_s(0.95),
        100.0 * own.exact_count(),
        calibration_error(&judged),
        bands.join(" | "),
        100.0 * rival.time_right(),
        rival.event_f1(),
        100.0 * rival.exact_count(),
    )
}

fn walk_row(outcomes: &[Outcome]) -> String {
    let all_s: f64 = outcomes.iter().map(|o| o.all_s).sum();
    let run = |k: usize| 100.0 * outcomes.iter().fold(0.0, |sum, o| sum + o.run_s[k]) / all_s;
    let false_runs = outcomes.iter().flat_map(|o| &o.judged).filter(|b| b.gait == Gait::Run);
    let surely = false_runs.clone().filter(|b| b.certainty >= VERY_SURE).count();
    format!("{:.2} % | {} | {surely} | {:.2} %", run(0), false_runs.count(), run(1))
}

pub(crate) fn table(options: &Options) {
    println!(
        "Realistic sessions, {} a condition, seeds from {}. Right of those said so sure: no bout that hides {HIDDEN_S:.0} s or more of \
         another gait, or more of it than of its own; the calibration error is of the same. Bare: 1.9 m/s after a median over 9 s.\n",
        options.seeds, options.first
    );
    let bands: Vec<String> = BANDS.iter().map(|(_, _, name)| format!("right of {name}")).collect();
    println!(
        "| condition | time right | event F1 | boundary median, s | 95th, s | exact count | calibration error | {} | bare: time right | F1 | exact count |\n|{}",
        bands.join(" | "),
        "---|".repeat(7 + BANDS.len() + 3)
    );
    let mut walks_begun = false;
    for condition in conditions() {
        if !options.wants(&condition.name) {
            continue;
        }
        if condition.walks_alone && !walks_begun {
            walks_begun = true;
            println!(
                "\n| condition | time called run | runs said | of these with ≥ {VERY_SURE} | bare: time called run |\n|---|---|---|---|---|"
            );
        }
        let seeds = options.first..options.first + options.seeds;
        let outcomes: Vec<Outcome> =
            seeds.into_par_iter().map(|seed| Outcome::of(&condition, seed)).collect();
        let row = if condition.walks_alone { walk_row(&outcomes) } else { run_walk_row(&outcomes) };
        println!("| {} | {row} |", condition.name);
        if options.dump {
            outcomes.iter().filter_map(|o| o.wrong.as_ref()).for_each(|wrong| println!("{wrong}"));
        }
    }
}
