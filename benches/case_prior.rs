//! What a runner's other recordings add: made-up cases of seven recordings of one runner, two with cadence and five without, each of
//! the five judged by itself and with what the other six tell.
//!
//! `cargo bench -p jogaudit-simulate --bench case_prior -- [--cases N] [--first SEED] [--only TEXT]`
//!
//! The seven sessions lie two or three days apart, at stages that rise; every second has a fault. Right is the outcome that the true
//! bouts give. Seeds below 1,000,000 are for tuning.

#![allow(missing_docs, clippy::print_stdout)]

use jiff::Timestamp;
use jogaudit_core::audit::{AuditConfig, Matched, Outcome, Prescription};
use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::{Bout, Gait, GaitConfig, RunnerEvidence, RunnerPrior, Segmentation, segment};
use jogaudit_core::pipeline::{Activity, Config};
use jogaudit_core::prescription::Plan;
use jogaudit_simulate::{
    Channels, Fault, FaultKind, Form, Profile, Realism, Settings, Simulated, TrueBout, simulate,
};

const PLAN: &str = "
[[stage]]
name = '1'
session = 'walk 5:00, 6 x (run 1:00, walk 2:00), walk 3:00'
[[stage]]
name = '2'
session = 'walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00'
[[stage]]
name = '3'
session = 'walk 5:00, 5 x (run 3:00, walk 2:00), walk 3:00'
[[stage]]
name = '4'
session = 'walk 5:00, 4 x (run 5:00, walk 1:30), walk 3:00'
";

const SESSIONS: u64 = 7;
const WITH_CADENCE: u64 = 2;
const AS_DRAWN: Form = Form { walk: 1.0, jog: 1.0 };
/// The simulator's profiles whose gaits are near each other, and two runners whose gaits are well apart, but not where people's are:
/// one walks as fast as others jog, one jogs as slowly as others walk.
const RUNNERS: [(&str, Profile, Form); 4] = [
    ("overlapping", Profile::Overlapping, AS_DRAWN),
    ("indistinct", Profile::Indistinct, AS_DRAWN),
    ("fast walker", Profile::Steady, Form { walk: 1.3, jog: 1.1 }),
    ("slow jogger", Profile::Steady, Form { walk: 0.85, jog: 0.72 }),
];
/// Standard deviation of a day's speeds around the runner's usual ones, as a share; a realistic session has its own beside it.
const DAY_SD: f64 = 0.03;
/// A bout is sure from this certainty on.
const SURE: f64 = 0.9;

#[derive(Clone, Copy)]
struct Condition {
    realism: Realism,
    profile: Profile,
    /// Factors of the usual speeds of the profile.
    usual: Form,
    channels: Channels,
}

struct Session {
    made: Simulated,
    activity: Activity,
    stage: usize,
}

/// Counts over the recordings without cadence.
#[derive(Default)]
struct Tally {
    sessions: u32,
    right_alone: u32,
    decided_alone: u32,
    /// Undecided alone; decided with the others; rightly so.
    open: u32,
    decided: u32,
    right: u32,
    /// Decided alone and another verdict with the others; overdone alone and kept with the others.
    changed: u32,
    made_good: u32,
    /// Recordings in which one gait was nowhere sure, and their mean shares of time in the wrong gait, alone and with the others.
    unsure: u32,
    wrong_alone: f64,
    wrong_with: f64,
}

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let option = |name: &str, usual: u64| {
        let at = args.iter().position(|arg| arg == name);
        at.and_then(|at| args.get(at + 1)).map_or(usual, |value| value.parse().expect("a number"))
    };
    let only = args
        .iter()
        .position(|arg| arg == "--only")
        .and_then(|at| args.get(at + 1))
        .cloned()
        .unwrap_or_default();
    let (first, cases) = (option("--first", 1_000_000), option("--cases", 300));
    println!(
        "{cases} cases a row, seeds from {first}: {SESSIONS} recordings each, {WITH_CADENCE} with cadence.\n"
    );
    println!(
        "| runner and recorder | sessions without cadence | decided alone, right | undecided alone | of these decided with the others | of these right | another verdict than alone | overdone made kept | one gait nowhere sure alone | time in the wrong gait there, alone | with the others |
|---|---|---|---|---|---|---|---|---|---|---|"
    );
    for realism in [Realism::Ideal, Realism::Realistic] {
        for (who, profile, usual) in RUNNERS {
            for (sensors, channels) in [
                ("speed only", Channels::SPEED_ALONE),
                ("speed and heart rate", Channels::NO_CADENCE),
                ("positions only", Channels::POSITIONS_AND_ALTITUDE),
                (
                    "positions and heart rate",
                    Channels { heart_rate: true, ..Channels::POSITIONS_AND_ALTITUDE },
                ),
            ] {
                let name = format!("{realism:?}, {who}, {sensors}").to_lowercase();
                if name.contains(&only) {
                    let tally = tally(Condition { realism, profile, usual, channels }, first..first + cases);
                    println!("| {name} | {tally} |");
                }
            }
        }
    }
}

fn tally(condition: Condition, cases: std::ops::Range<u64>) -> Tally {
    let plan = Plan::parse(PLAN).expect("a plan").value;
    let mut tally = Tally::default();
    for case in cases {
        let sessions: Vec<Session> = (0..SESSIONS).map(|day| session(&plan, case, day, condition)).collect();
        let evidence: Vec<RunnerEvidence> = sessions
            .iter()
            .filter_map(|s| RunnerEvidence::of(s.activity.series.as_ref()?, &s.activity.segmentation))
            .collect();
        for (day, session) in (0..SESSIONS).zip(sessions) {
            if !has_cadence(case, day) {
                tally.add(&plan, session, &evidence);
            }
        }
    }
    tally
}

impl Tally {
    fn add(&mut self, plan: &Plan, session: Session, evidence: &[RunnerEvidence]) {
        let Session { made, activity, stage } = session;
        let Some(series) = activity.series.clone() else { return };
        let prescription = Prescription::of(plan, &plan.stages[stage]);
        let config = Config::default();
        let outcome = |bouts: &Segmentation| {
            Matched::new(bouts, &series, prescription, &AuditConfig::default()).audit().value.outcome
        };
        let (truth, alone) = (outcome(&true_bouts(&made.truth)), outcome(&activity.segmentation));
        let own = activity.segmentation.clone();
        let known = activity.with_others(evidence, prescription, &config);
        let with_others = outcome(&known.segmentation);
        let is_open = alone == Outcome::Undecided;
        self.sessions += 1;
        self.decided_alone += u32::from(!is_open);
        self.right_alone += u32::from(!is_open && alone == truth);
        self.open += u32::from(is_open);
        self.decided += u32::from(is_open && with_others != alone);
        self.right += u32::from(is_open && with_others != alone && with_others == truth);
        self.changed += u32::from(!is_open && with_others != alone);
        self.made_good += u32::from(alone == Outcome::Overdone && with_others == Outcome::Kept);
        let best = |gait| {
            let of_gait = own.bouts().iter().filter(|b| b.gait == gait);
            of_gait.map(|b| b.certainty).fold(0.0, f64::max)
        };
        if best(Gait::Walk) < SURE || best(Gait::Run) < SURE {
            let runner = RunnerPrior::of(evidence, series.start(), series.end());
            let told = segment(&series, &GaitConfig::default(), runner.as_ref()).value;
            self.unsure += 1;
            self.wrong_alone += wrong(&own, &made.truth);
            self.wrong_with += wrong(&told, &made.truth);
        }
    }
}

impl std::fmt::Display for Tally {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let share =
            |part: u32, of: u32| format!("{part} ({:.1} %)", 100.0 * f64::from(part) / f64::from(of.max(1)));
        let mean = |sum: f64| format!("{:.1} %", 100.0 * sum / f64::from(self.unsure.max(1)));
        let cells = [
            self.sessions.to_string(),
            share(self.right_alone, self.decided_alone),
            share(self.open, self.sessions),
            share(self.decided, self.open),
            share(self.right, self.decided),
            self.changed.to_string(),
            self.made_good.to_string(),
            self.unsure.to_string(),
            mean(self.wrong_alone),
            mean(self.wrong_with),
        ];
        f.write_str(&cells.join(" | "))
    }
}

/// Two recordings of each case have cadence; which, differs by case.
fn has_cadence(case: u64, day: u64) -> bool {
    (day + case) % SESSIONS < WITH_CADENCE
}

/// The session of one day: stages rise, days differ, every second session has a fault of 30 s and more.
fn session(plan: &Plan, case: u64, day: u64, condition: Condition) -> Session {
    let seed = case * 100 + day;
    let stage = (u64::midpoint(day, choice(case, 77, 2)) as usize).min(plan.stages.len() - 1);
    let both = normal(seed, 1);
    let form = |own: f64| 1.0 + DAY_SD * (both + own) / std::f64::consts::SQRT_2;
    let fault = |kind, value| vec![Fault { kind, value, rep: None }];
    let amount_s = 30.0 + 40.0 * uniform(seed, 5);
    let settings = Settings {
        seed,
        runner_seed: Some(case),
        form: Form {
            walk: condition.usual.walk * form(normal(seed, 2)),
            jog: condition.usual.jog * form(normal(seed, 3)),
        },
        realism: condition.realism,
        profile: condition.profile,
        channels: if has_cadence(case, day) { Channels::ALL } else { condition.channels },
        start: Timestamp::from_second(1_772_435_400 + (day * 5 / 2).cast_signed() * 86_400).expect("a time"),
        missing: 0.02,
        faults: match choice(seed, 4, 8) {
            0 => fault(FaultKind::RunLonger, amount_s),
            1 => fault(FaultKind::WalkCut, amount_s.min(55.0)),
            2 => fault(FaultKind::RepExtra, 1.0),
            3 => fault(FaultKind::RepMissing, 1.0),
            _ => Vec::new(),
        },
        ..Settings::default()
    };
    let steps = plan.stages[stage].session.expand().fixed_steps().expect("a fixed session");
    let made = simulate(&steps, &settings).expect("the session can be made up");
    let series = clean(&made.recording, &CleanConfig::default()).value;
    let segmentation = segment(&series, &GaitConfig::default(), None).value;
    let facts = made.recording.facts();
    let activity = Activity { facts, series: Some(series), segmentation, notices: Vec::new() };
    Session { made, activity, stage }
}

fn true_bouts(truth: &[TrueBout]) -> Segmentation {
    let bout = |t: &TrueBout| Bout::blank(t.gait, t.start_s, t.end_s);
    Segmentation::new(truth.iter().map(bout).collect()).expect("true bouts tile")
}

/// Share of the time of running and walking in which another gait is said.
fn wrong(found: &Segmentation, truth: &[TrueBout]) -> f64 {
    let (mut wrong_s, mut all_s) = (0.0, 0.0);
    for t in truth.iter().filter(|t| matches!(t.gait, Gait::Run | Gait::Walk)) {
        for b in found.bouts() {
            let shared_s = (b.end_s.min(t.end_s) - b.start_s.max(t.start_s)).max(0.0);
            all_s += shared_s;
            wrong_s += if b.gait == t.gait { 0.0 } else { shared_s };
        }
    }
    wrong_s / all_s
}

/// A generator of small choices that differ by seed and do not come from the simulator's streams.
fn choice(seed: u64, salt: u64, of: u64) -> u64 {
    let mut x = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ salt.wrapping_mul(0xD1B5_4A32_D192_ED03);
    x ^= x >> 31;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^= x >> 29;
    x % of
}

fn uniform(seed: u64, salt: u64) -> f64 {
    choice(seed, salt, 1 << 20) as f64 / f64::from(1 << 20)
}

/// Nearly normal: the sum of twelve uniform values.
fn normal(seed: u64, salt: u64) -> f64 {
    (0..12).map(|k| uniform(seed, salt * 100 + k)).sum::<f64>() - 6.0
}
