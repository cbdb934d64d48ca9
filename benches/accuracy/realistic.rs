//! Realistic sessions: ours beside the bare threshold of 1.9 m/s after a median over 9 s, by condition.

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::Gait;
use jogaudit_core::gait::agreement::{GaitSpan, shared_time_s};
use jogaudit_core::prescription::Move;
use jogaudit_simulate::{Channels, Gps, Profile, Realism, Sampling, Settings, Simulated, simulate};
use rayon::prelude::*;

use crate::judged::{HIDDEN_S, Judged, calibration_error, in_band};
use crate::rivals::{Found, bare, ours};
use crate::score::Score;
use crate::sessions::{choice, interrupt, session, short_runs, step, truth, with_rests};
use crate::{Options, show};

const BANDS: [(f64, f64, &str); 3] =
    [(0.90, 0.95, "0.90–0.95"), (0.95, 0.99, "0.95–0.99"), (0.99, 2.0, "≥ 0.99")];
/// Lengths of true bouts, s, whose shares found `--lengths` prints.
const LENGTHS_S: [f64; 5] = [0.0, 10.0, 20.0, 30.0, f64::INFINITY];
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

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum What {
    RunWalk,
    ShortRuns,
    WithRests,
    WalksAlone,
    RunsAlone,
}

impl What {
    fn name(self) -> &'static str {
        match self {
            Self::RunWalk => "run-walk",
            Self::ShortRuns => "short runs",
            Self::WithRests => "with rests",
            Self::WalksAlone => "walks alone",
            Self::RunsAlone => "runs alone",
        }
    }

    fn is_alone(self) -> bool {
        matches!(self, Self::WalksAlone | Self::RunsAlone)
    }

    /// What a session of one gait has not.
    fn other_gait(self) -> Gait {
        if self == Self::RunsAlone { Gait::Walk } else { Gait::Run }
    }
}

pub(crate) struct Condition {
    pub(crate) name: String,
    what: What,
    pub(crate) settings: Settings,
}

pub(crate) fn conditions() -> Vec<Condition> {
    let real = Settings { realism: Realism::Realistic, sampling: Sampling::Drawn, ..Settings::default() };
    let coarse = Settings {
        gps: Gps::Coarse,
        sampling: Sampling::Slow,
        channels: Channels { heart_rate: false, ..Channels::POSITIONS_ONLY },
        ..real.clone()
    };
    let of = |sensors, channels| (sensors, Settings { channels, ..real.clone() });
    let mut all = Vec::new();
    for (sensors, settings) in [
        of("cadence", Channels::ALL),
        of("speed only", Channels::SPEED_ALONE),
        of("speed and heart rate", Channels::NO_CADENCE),
        of("positions only", Channels::POSITIONS_AND_ALTITUDE),
        of("positions and heart rate", Channels { heart_rate: true, ..Channels::POSITIONS_AND_ALTITUDE }),
        ("slow coarse positions", coarse),
    ] {
        for what in [What::RunWalk, What::ShortRuns, What::WithRests, What::WalksAlone, What::RunsAlone] {
            for hills in [false, true] {
                // The ground is of no account where not even the altitude is known.
                if hills && sensors.starts_with("slow") {
                    continue;
                }
                for profile in [Profile::Steady, Profile::Overlapping] {
                    let ground = if hills { "hills" } else { "level" };
                    all.push(Condition {
                        name: format!("{}, {sensors}, {ground}, {profile:?}", what.name()).to_lowercase(),
                        what,
                        settings: Settings { hills, profile, ..settings.clone() },
                    });
                }
            }
        }
    }
    all.sort_by_key(|condition| condition.what as u8);
    all
}

/// What one recording gives.
struct Outcome {
    own: Score,
    bare: Option<Score>,
    judged: Vec<Judged>,
    /// Of ours and of the bare rival's, what is called the gait that a session of one gait has not.
    other_s: [f64; 2],
    all_s: f64,
    wrong: Option<String>,
}

impl Outcome {
    fn of(condition: &Condition, seed: u64) -> Self {
        let made = make(condition, seed);
        let series = clean(&made.recording, &CleanConfig::default()).value;
        let (truth, found, rival) = (truth(&made), ours(&series), bare(&series));
        let judged = judge(&truth, &found);
        let other_gait = condition.what.other_gait();
        let other_s = |spans: &[GaitSpan]| {
            spans.iter().filter(|s| s.gait == other_gait).fold(0.0, |sum, s| sum + (s.end_s - s.start_s))
        };
        let is_wrong = |b: &Judged| !b.right && b.certainty >= BANDS[0].0;
        Self {
            own: Score::of(&truth, &found),
            bare: rival.as_ref().map(|rival| Score::of(&truth, rival)),
            other_s: [other_s(&found.spans), rival.as_ref().map_or(f64::NAN, |rival| other_s(&rival.spans))],
            all_s: truth.last().map_or(0.0, |t| t.end_s),
            wrong: judged.iter().any(is_wrong).then(|| told(seed, &made, &truth, &found)),
            judged,
        }
    }
}

pub(crate) fn make(condition: &Condition, seed: u64) -> Simulated {
    let mut settings = Settings { seed, ..condition.settings.clone() };
    let alone = |motion| vec![step(motion, (1200 + 300 * choice(seed, 10, 5)) as f64)];
    if matches!(condition.what, What::RunWalk | What::ShortRuns) {
        interrupt(&mut settings);
    }
    let steps = match condition.what {
        What::RunWalk => session(seed),
        What::ShortRuns => short_runs(seed),
        What::WithRests if choice(seed, 5, 2) == 0 => with_rests(seed, &session(seed)),
        What::WithRests => with_rests(seed, &short_runs(seed)),
        What::WalksAlone => alone(Move::Walk),
        What::RunsAlone => alone(Move::Run),
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
        "{:.2} % | {:.4} | {:.2} | {:.2} | {:.0} % | {:.0} % | {:.3} | {} | {:.2} % | {:.4} | {:.0} %",
        100.0 * own.time_right(),
        own.event_f1(),
        own.boundary_s(0.5),
        own.boundary_s(0.95),
        100.0 * own.within_errors(2.0),
        100.0 * own.exact_count(),
        calibration_error(&judged),
        bands.join(" | "),
        100.0 * rival.time_right(),
        rival.event_f1(),
        100.0 * rival.exact_count(),
    )
}

/// How many of the true bouts were found, by their length.
fn lengths_row(outcomes: &[Outcome]) -> String {
    let own = Score::sum(outcomes.iter().map(|o| &o.own));
    let shares = LENGTHS_S.windows(2).map(|of| match own.found_of_length(of[0], of[1]) {
        (_, 0) => "–".to_owned(),
        (found, all) => format!("{:.1} % of {all}", 100.0 * found as f64 / all as f64),
    });
    shares.collect::<Vec<String>>().join(" | ")
}

fn alone_row(outcomes: &[Outcome], other_gait: Gait) -> String {
    let all_s: f64 = outcomes.iter().map(|o| o.all_s).sum();
    let other = |k: usize| 100.0 * outcomes.iter().fold(0.0, |sum, o| sum + o.other_s[k]) / all_s;
    let wrong = outcomes.iter().flat_map(|o| &o.judged).filter(|b| b.gait == other_gait);
    let surely = wrong.clone().filter(|b| b.certainty >= VERY_SURE).count();
    let spoilt = outcomes.iter().filter(|o| o.other_s[0] > 0.0).count();
    let spoilt = 100.0 * spoilt as f64 / outcomes.len() as f64;
    format!("{:.2} % | {spoilt:.0} % | {} | {surely} | {:.2} %", other(0), wrong.count(), other(1))
}

pub(crate) fn table(options: &Options) {
    println!(
        "Realistic sessions, {} a condition, seeds from {}. Right of those said so sure: no bout that hides {HIDDEN_S:.0} s or more of \
         another gait, or more of it than of its own; the calibration error is of the same. Bare: 1.9 m/s after a median over 9 s.\n",
        options.seeds, options.first
    );
    head(options.lengths);
    let mut alone_begun = false;
    for condition in conditions() {
        let what = condition.what;
        if !options.wants(&condition.name) || options.lengths && what.is_alone() {
            continue;
        }
        if what.is_alone() && !alone_begun {
            alone_begun = true;
            println!(
                "\n| condition | time in the other gait | recordings with some | bouts of it | of these with ≥ {VERY_SURE} | bare: time in the other gait |\n|---|---|---|---|---|---|"
            );
        }
        let seeds = options.first..options.first + options.seeds;
        let outcomes: Vec<Outcome> =
            seeds.into_par_iter().map(|seed| Outcome::of(&condition, seed)).collect();
        let row = match what {
            _ if options.lengths => lengths_row(&outcomes),
            _ if what.is_alone() => alone_row(&outcomes, what.other_gait()),
            _ => run_walk_row(&outcomes),
        };
        println!("| {} | {row} |", condition.name);
        if options.dump {
            outcomes.iter().filter_map(|o| o.wrong.as_ref()).for_each(|wrong| println!("{wrong}"));
        }
    }
}

fn head(lengths: bool) {
    if lengths {
        let names = LENGTHS_S.windows(2).map(|of| match of[1] {
            f64::INFINITY => format!("{} s and more", of[0]),
            to_s => format!("{} to {to_s} s", of[0]),
        });
        let names: Vec<String> = names.collect();
        println!(
            "| condition | true bouts found: {} |\n|{}",
            names.join(" | "),
            "---|".repeat(1 + names.len())
        );
        return;
    }
    let bands: Vec<String> = BANDS.iter().map(|(_, _, name)| format!("right of {name}")).collect();
    println!(
        "| condition | time right | event F1 | boundary median, s | 95th, s | within 2 SE | exact count | calibration error | {} | bare: time right | F1 | exact count |\n|{}",
        bands.join(" | "),
        "---|".repeat(8 + BANDS.len() + 3)
    );
}
