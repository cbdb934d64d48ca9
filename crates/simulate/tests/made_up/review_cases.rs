//! Made-up returns of 6 to 14 weeks with one fault each, and as many without: what the review finds in them.
//!
//! Cases are made of simulated recordings: a pool of sessions is simulated, cleaned and segmented once, and each case
//! draws from it, its recordings moved to the case's days. The runner does what a careful one would: repeats a stage until
//! the check says that its sessions are kept. The diary is made up.

#![allow(clippy::print_stdout)] // its tables are meant to be read

use std::collections::BTreeMap;

use allocation_counter::measure;
use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp, ToSpan};
use jogaudit_core::audit::Outcome;
use jogaudit_core::pipeline::{Config, Reviewed, audit_recording, review_case, segment_recording};
use jogaudit_core::prescription::{Extent, Move, Plan, Stage, Step};
use jogaudit_core::review::{Diary, Entry, Recommendation, Recorded, Written};
use jogaudit_recording::units::Seconds;
use jogaudit_simulate::{Channels, Fault, FaultKind, Kept, Sampling, Settings, simulate};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Title, limits, sessions. Neighbouring stages differ by at least 60 s of running.
const PLANS: [(&str, &str, [&str; 6]); 3] = [
    (
        "steady",
        "weekly_running_increase = '25 %'\npace_ceiling = '6:30 /km'",
        [
            "walk 5:00, 6 x (run 1:00, walk 2:00)",
            "walk 5:00, 6 x (run 1:15, walk 2:00)",
            "walk 5:00, 6 x (run 1:30, walk 2:00)",
            "walk 5:00, 6 x (run 1:45, walk 2:00)",
            "walk 5:00, 6 x (run 2:00, walk 2:00)",
            "walk 5:00, 6 x (run 2:20, walk 2:00)",
        ],
    ),
    (
        "fewer and longer",
        "weekly_running_increase = '25 %'\npain_limit = 2",
        [
            "walk 5:00, 8 x (run 1:00, walk 1:30), walk 3:00",
            "walk 5:00, 8 x (run 1:12, walk 1:30), walk 3:00",
            "walk 5:00, 5 x (run 2:20, walk 1:30), walk 3:00",
            "walk 5:00, 5 x (run 2:50, walk 1:30), walk 3:00",
            "walk 5:00, 4 x (run 4:15, walk 1:30), walk 3:00",
            "walk 5:00, 3 x (run 6:40, walk 1:30), walk 3:00",
        ],
    ),
    (
        "great steps, no weekly limit",
        "pain_limit = 3",
        [
            "walk 5:00, 6 x (run 1:00, walk 2:00), walk 3:00",
            "walk 5:00, 6 x (run 2:00, walk 2:00), walk 3:00",
            "walk 5:00, 5 x (run 3:00, walk 2:00), walk 3:00",
            "walk 5:00, 4 x (run 4:00, walk 2:00), walk 3:00",
            "walk 5:00, 3 x (run 6:00, walk 2:00), walk 3:00",
            "walk 5:00, 2 x (run 10:00, walk 2:00), walk 3:00",
        ],
    ),
];
const RUNNERS: usize = 6;
const TAKES: usize = 2;

fn plan(index: usize) -> Plan {
    let (title, limits, sessions) = PLANS[index];
    let stages: Vec<String> = sessions
        .iter()
        .enumerate()
        .map(|(at, session)| format!("[[stage]]\nname = '{}'\nsession = '{session}'\nsessions = 3\n", at + 1))
        .collect();
    let text = format!(
        "title = '{title}'\ntimezone = 'Europe/Oslo'\n[limits]\nsessions_per_week = 3\nrest_days_between = 1\n{limits}\n{}",
        stages.concat()
    );
    Plan::parse(&text).unwrap().value
}

/// A simulated session with what the check says of it.
struct Take {
    recorded: Recorded,
    outcome: Outcome,
}

/// Simulated sessions of one plan.
struct Pool {
    plan: Plan,
    /// By stage and runner: sessions as prescribed.
    clean: Vec<Vec<Vec<Take>>>,
    /// By stage and runner: one run much too long.
    long: Vec<Vec<Recorded>>,
    /// By runner: half an hour of running without a walk.
    free: Vec<Recorded>,
}

fn settings(stage: &Stage, runner: usize, seed: u64) -> Settings {
    Settings {
        seed,
        runner_seed: Some(runner as u64),
        kept: Kept::from(&stage.limits),
        channels: if runner % 4 == 3 { Channels::NO_CADENCE } else { Channels::ALL },
        sampling: if runner % 4 == 2 { Sampling::Smart } else { Sampling::EverySecond },
        ..Settings::default()
    }
}

fn record(steps: &[Step], settings: &Settings) -> Recorded {
    let simulated = simulate(steps, settings).unwrap();
    let segmented = segment_recording(&simulated.recording, &Config::default());
    Recorded {
        name: String::new(),
        content: format!("{}", settings.seed),
        channels: 4,
        series: segmented.series,
        segmentation: segmented.segmentation,
        notices: segmented.notices,
    }
}

impl Pool {
    fn new(index: usize) -> Self {
        let plan = plan(index);
        let seed = |stage: usize, runner: usize, take: usize| {
            (index * 100_000 + stage * 1000 + runner * 10 + take) as u64
        };
        let (mut clean, mut long) = (Vec::new(), Vec::new());
        for (at, stage) in plan.stages.iter().enumerate() {
            let steps = stage.session.expand().fixed_steps().unwrap();
            let take = |runner: usize, take: usize| {
                let recorded = record(&steps, &settings(stage, runner, seed(at, runner, take)));
                Take { outcome: outcome(&recorded, &plan, stage), recorded }
            };
            clean.push((0..RUNNERS).map(|runner| (0..TAKES).map(|t| take(runner, t)).collect()).collect());
            let run_s = steps.iter().find(|s| s.motion == Move::Run).map_or(60.0, |s| match s.extent.least {
                Extent::Time(s) => s.get(),
                Extent::Distance(_) => 60.0,
            });
            let too_long = |runner: usize| Settings {
                // Half again as long, and at least 40 s: above the longest of the month before whatever its noise.
                faults: vec![Fault::new(FaultKind::RunLonger, (0.5 * run_s).max(40.0))],
                ..settings(stage, runner, seed(at, runner, 9))
            };
            long.push((0..RUNNERS).map(|runner| record(&steps, &too_long(runner))).collect());
        }
        let timed = |motion, s| Step { motion, extent: Extent::Time(Seconds::new(s)).into(), ceiling: None };
        let steps = [timed(Move::Walk, 120.0), timed(Move::Run, 1800.0), timed(Move::Walk, 120.0)];
        let free =
            (0..RUNNERS).map(|r| record(&steps, &settings(&plan.stages[0], r, seed(9, r, 0)))).collect();
        Self { plan, clean, long, free }
    }
}

fn outcome(recorded: &Recorded, plan: &Plan, stage: &Stage) -> Outcome {
    let mut segmented = jogaudit_core::pipeline::Segmented {
        series: recorded.series.clone(),
        segmentation: recorded.segmentation.clone(),
        notices: vec![],
    };
    audit_recording(&mut segmented, plan, stage, &Config::default()).outcome
}

/// What goes wrong in a case, once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Wrong {
    ExtraSession,
    NoRestDay,
    StageSkipped,
    StageRushed,
    LongerRun,
    LongerWeek,
    FreeRun,
    PainInSession,
    PainNextMorning,
    Break,
}

impl Wrong {
    const ALL: [Self; 10] = [
        Self::ExtraSession,
        Self::NoRestDay,
        Self::StageSkipped,
        Self::StageRushed,
        Self::LongerRun,
        Self::LongerWeek,
        Self::FreeRun,
        Self::PainInSession,
        Self::PainNextMorning,
        Self::Break,
    ];

    /// The code that has to be found.
    const fn code(self) -> &'static str {
        match self {
            Self::ExtraSession => "too_many_sessions",
            Self::NoRestDay => "no_rest_day",
            Self::StageSkipped => "stage_skipped",
            Self::StageRushed => "stage_rushed",
            Self::LongerRun => "longest_run_jump",
            Self::LongerWeek => "running_time_jump",
            Self::FreeRun => "unplanned_run",
            Self::PainInSession => "ran_in_pain",
            Self::PainNextMorning => "pain_next_morning",
            Self::Break => "break_step_back",
        }
    }
}

/// A case: recordings with their true stage, diary, and where the fault shows.
struct Case<'p> {
    pool: &'p Pool,
    runner: usize,
    recorded: Vec<Recorded>,
    /// Day and true stage of the sessions of the plan.
    truth: Vec<(Date, usize)>,
    entries: Vec<Entry>,
    shows: Option<(Date, Date)>,
    end: Date,
}

fn plus(date: Date, days: i64) -> Date {
    date.checked_add(days.days()).unwrap()
}

/// Days of a week's sessions, from Monday as 0: a day of rest between any two, also to the next week's.
const DAYS: [[i64; 3]; 4] = [[0, 2, 4], [1, 3, 5], [0, 2, 5], [0, 3, 5]];

impl<'p> Case<'p> {
    fn new(pool: &'p Pool, rng: &mut ChaCha8Rng, wrong: Option<Wrong>) -> Self {
        let runner = rng.random_range(0..RUNNERS);
        let first: Date = plus("2026-01-05".parse().unwrap(), 7 * rng.random_range(0..12));
        let weeks = rng.random_range(6..=14_i64);
        let days = DAYS[rng.random_range(0..DAYS.len())];
        let mut case =
            Self { pool, runner, recorded: vec![], truth: vec![], entries: vec![], shows: None, end: first };
        // From the third week, so that there is a past, and early enough for a stage to come.
        let at_week = rng.random_range(2..weeks - 1);
        let at_session = rng.random_range(1..3_usize);
        let (mut stage, mut kept, mut skip_days) = (0_usize, 0, 0);
        let mut wanted = wrong;
        for week in 0..weeks {
            for (number, day) in days.iter().enumerate() {
                let mut date = plus(first, 7 * week + day + skip_days);
                let is_here = week >= at_week && number == at_session;
                let stages = pool.plan.stages.len();
                match wanted {
                    Some(Wrong::NoRestDay) if is_here => {
                        date = plus(case.truth.last().unwrap().0, 1);
                        case.shown(&mut wanted, date);
                    }
                    Some(Wrong::Break) if is_here => {
                        skip_days = 7 * rng.random_range(2..4);
                        let last = case.truth.last().unwrap().0;
                        date = plus(date, skip_days);
                        case.shows = Some((plus(last, 14), plus(date, -1)));
                        wanted = None;
                    }
                    // A stage that has to be kept once more is left, or one is left out.
                    Some(Wrong::StageRushed)
                        if stage >= at_session && kept > 0 && kept < 3 && stage + 1 < stages =>
                    {
                        (stage, kept) = (stage + 1, 0);
                        case.shown(&mut wanted, date);
                    }
                    Some(Wrong::StageSkipped) if kept == 0 && stage >= at_session && stage + 1 < stages => {
                        stage += 1;
                        case.shown(&mut wanted, date);
                    }
                    _ => {}
                }
                let is_long = wanted == Some(Wrong::LongerRun) && is_here;
                let outcome = case.session(date, stage, is_long, rng);
                if is_long {
                    case.shown(&mut wanted, date);
                }
                kept += u32::from(outcome == Outcome::Kept);
                if is_here {
                    case.mishap(&mut wanted, date, &days, stage, rng);
                }
                if kept >= 3 && stage + 1 < stages {
                    (stage, kept) = (stage + 1, 0);
                }
            }
        }
        case.end = plus(first, 7 * weeks + skip_days - 1);
        case
    }

    /// Adds a session of a stage, with one run too long if so wanted, and its day in the diary; gives its outcome.
    fn session(&mut self, date: Date, stage: usize, is_long: bool, rng: &mut ChaCha8Rng) -> Outcome {
        let (recorded, outcome) = if is_long {
            (&self.pool.long[stage][self.runner], Outcome::Overdone)
        } else {
            let take = &self.pool.clean[stage][self.runner][rng.random_range(0..TAKES)];
            (&take.recorded, take.outcome)
        };
        self.add(recorded.clone(), date, rng);
        self.truth.push((date, stage));
        self.note(date, rng);
        outcome
    }

    /// Notes that the fault shows on this day.
    fn shown(&mut self, wanted: &mut Option<Wrong>, date: Date) {
        self.shows = Some((date, date));
        *wanted = None;
    }

    /// A fault beside the session of this day.
    fn mishap(
        &mut self,
        wanted: &mut Option<Wrong>,
        date: Date,
        days: &[i64; 3],
        stage: usize,
        rng: &mut ChaCha8Rng,
    ) {
        let monday = plus(date, -i64::from(date.weekday().to_monday_zero_offset()));
        let rest_days: Vec<i64> = (0..7).filter(|day| !days.contains(day)).collect();
        let sunday = plus(monday, 6);
        let extra = |case: &mut Self, day: i64, rng: &mut ChaCha8Rng| {
            let date = plus(monday, day);
            let take = case.pool.clean[stage][case.runner][0].recorded.clone();
            case.add(take, date, rng);
            case.note(date, rng);
        };
        match wanted {
            Some(Wrong::ExtraSession) => {
                let day = rest_days[rng.random_range(0..rest_days.len())];
                extra(self, day, rng);
                // The fourth session of the week is the one too many.
                let fourth = plus(monday, day.max(days[2]));
                self.shows = Some((fourth, fourth));
            }
            Some(Wrong::LongerWeek) => {
                for day in rest_days.iter().take(3) {
                    extra(self, *day, rng);
                }
                self.shows = Some((monday, sunday));
            }
            Some(Wrong::FreeRun) => {
                let date = plus(monday, rest_days[rng.random_range(0..rest_days.len())]);
                self.add(self.pool.free[self.runner].clone(), date, rng);
                self.shows = Some((date, date));
            }
            Some(wrong @ (Wrong::PainInSession | Wrong::PainNextMorning)) => {
                let limit = self.pool.plan.stages[0].limits.pain_limit.unwrap_or(0.0);
                let entry = self.entries.last_mut().unwrap();
                let pain = limit + f64::from(rng.random_range(1..=3_u8));
                if *wrong == Wrong::PainInSession {
                    entry.pain_during = Some(pain);
                } else {
                    entry.pain_next_morning = Some(pain);
                }
                self.shows = Some((date, date));
            }
            _ => return,
        }
        *wanted = None;
    }

    fn add(&mut self, recorded: Recorded, date: Date, rng: &mut ChaCha8Rng) {
        // From early morning to late evening in Oslo, also across midnight of UTC.
        let zone = jiff::tz::TimeZoneDatabase::bundled().get("Europe/Oslo").unwrap();
        let hour = i8::try_from(rng.random_range(0..23)).unwrap();
        let start = zone.to_timestamp(date.at(hour, 30, 0, 0)).unwrap();
        let mut recorded = recorded;
        recorded.name = format!("{:03}.fit", self.recorded.len());
        recorded.series = recorded.series.starting_at(start);
        self.recorded.push(recorded);
    }

    /// A line of the diary without anything amiss.
    fn note(&mut self, date: Date, rng: &mut ChaCha8Rng) {
        let limit = self.pool.plan.stages[0].limits.pain_limit;
        let pain = |rng: &mut ChaCha8Rng, most: f64| {
            if rng.random_range(0..4) == 0 { (f64::from(rng.random_range(0..=3_u8))).min(most) } else { 0.0 }
        };
        self.entries.push(Entry {
            pain_during: Some(pain(rng, limit.unwrap_or(0.0))),
            pain_next_morning: Some(pain(rng, limit.map_or(0.0, |limit| limit.min(2.0)))),
            effort: Some(f64::from(rng.random_range(2..6_u8))),
            ..Entry::empty(date)
        });
    }

    fn reviewed(&self, as_of: Date) -> Reviewed {
        let diary = Diary::new(self.entries.iter().filter(|e| e.date <= as_of).cloned().collect());
        let written = Written { diary, ..Written::default() };
        review_case(&self.pool.plan, &written, self.recorded.clone(), Vec::new(), as_of, &Config::default())
    }

    /// Whether the fault is found with its code where it shows.
    fn is_found(&self, wrong: Wrong, whole: &Reviewed) -> bool {
        let (from, to) = self.shows.unwrap();
        if wrong == Wrong::Break {
            // The ruling on the day before the next session.
            let ruling = self.reviewed(to).review.ruling;
            return ruling.recommendation >= Recommendation::StepBack
                && ruling.applied.iter().any(|a| a.row().code.word() == wrong.code());
        }
        whole.review.findings.iter().any(|f| f.code.word() == wrong.code() && f.date >= from && f.date <= to)
    }
}

/// Rows of the printed table.
#[derive(Default)]
struct Row {
    cases: usize,
    found: usize,
    besides: BTreeMap<&'static str, usize>,
}

/// Sessions whose stage was recognised: right, ambiguous, wrong.
#[derive(Clone, Copy, Default)]
struct Recognised {
    right: usize,
    ambiguous: usize,
    wrong: usize,
}

impl Recognised {
    fn add(&mut self, case: &Case<'_>, reviewed: &Reviewed) {
        for (date, stage) in &case.truth {
            let session = reviewed.sessions.sessions.iter().find(|s| s.date == *date).unwrap();
            match session.stage.stage() {
                Some(found) if found == *stage => self.right += 1,
                Some(_) => self.wrong += 1,
                None => self.ambiguous += 1,
            }
        }
    }
}

#[test]
fn each_fault_is_found_on_its_day_and_clean_cases_have_no_finding() {
    const PER_FAULT: u64 = 30;
    const CLEAN: u64 = 300;
    let pools: Vec<Pool> = (0..PLANS.len()).map(Pool::new).collect();
    let mut rows: BTreeMap<Wrong, Row> = BTreeMap::new();
    for (kind, wrong) in Wrong::ALL.into_iter().enumerate() {
        for number in 0..PER_FAULT {
            let mut rng = ChaCha8Rng::seed_from_u64(1000 * kind as u64 + number);
            let case = Case::new(&pools[number as usize % pools.len()], &mut rng, Some(wrong));
            let whole = case.reviewed(case.end);
            let row = rows.entry(wrong).or_default();
            // A fault that found no place is no case.
            if case.shows.is_none() {
                continue;
            }
            row.cases += 1;
            row.found += usize::from(case.is_found(wrong, &whole));
            if !case.is_found(wrong, &whole) {
                println!("not found: {wrong:?} case {number}, {:?}: {:?}", case.shows, codes(&whole));
            }
            for finding in &whole.review.findings {
                if finding.code.word() != wrong.code() {
                    *row.besides.entry(finding.code.word()).or_default() += 1;
                }
            }
        }
    }
    let (mut with_finding, mut recognised, mut sessions) = (0, Recognised::default(), 0);
    for number in 0..CLEAN {
        let mut rng = ChaCha8Rng::seed_from_u64(900_000 + number);
        let case = Case::new(&pools[number as usize % pools.len()], &mut rng, None);
        let whole = case.reviewed(case.end);
        sessions += case.truth.len();
        recognised.add(&case, &whole);
        if !whole.review.findings.is_empty() {
            with_finding += 1;
            println!("clean case {number}: {:?}", codes(&whole));
        }
    }
    println!("fault             code                 cases  found  findings besides");
    for (wrong, row) in &rows {
        let besides: Vec<String> = row.besides.iter().map(|(code, n)| format!("{code} {n}")).collect();
        println!(
            "{:<17} {:<20} {:>5} {:>6}  {}",
            format!("{wrong:?}"),
            wrong.code(),
            row.cases,
            row.found,
            besides.join(", ")
        );
    }
    println!("clean cases: {CLEAN} with {sessions} sessions; with a finding: {with_finding}");
    let Recognised { right, ambiguous, wrong } = recognised;
    println!("stages in clean cases: {right} right, {ambiguous} ambiguous, {wrong} wrong");
    for (wrong, row) in &rows {
        assert!(row.cases >= 25, "{wrong:?} has {} cases only", row.cases);
        assert_eq!(row.found, row.cases, "{wrong:?}");
    }
    assert!(with_finding * 100 <= CLEAN, "{with_finding} of {CLEAN} clean cases have a finding");
    assert!(right as f64 >= 0.98 * sessions as f64);
}

fn codes(reviewed: &Reviewed) -> Vec<String> {
    let findings = reviewed.review.findings.iter();
    findings.map(|f| format!("{} {} {:?} {:?}", f.code.word(), f.date, f.prescribed, f.achieved)).collect()
}

#[test]
fn a_stage_is_recognised_without_any_history() {
    let mut counts = Recognised::default();
    for index in 0..PLANS.len() {
        let pool = Pool::new(index);
        for (stage, takes) in pool.clean.iter().enumerate() {
            for take in takes.iter().flatten() {
                let as_of = "2026-03-31".parse().unwrap();
                let recorded = vec![Recorded { name: "a".into(), ..take.recorded.clone() }];
                let reviewed = review_case(
                    &pool.plan,
                    &Written::default(),
                    recorded,
                    Vec::new(),
                    as_of,
                    &Config::default(),
                );
                match reviewed.sessions.sessions[0].stage.stage() {
                    Some(found) if found == stage => counts.right += 1,
                    Some(_) => counts.wrong += 1,
                    None => {
                        counts.ambiguous += 1;
                        assert!(reviewed.notices.iter().any(|n| n.code.word() == "stage_ambiguous"));
                    }
                }
            }
        }
    }
    let Recognised { right, ambiguous, wrong } = counts;
    let all = right + ambiguous + wrong;
    println!(
        "stages without history, first stage expected: {right} of {all} right, {ambiguous} ambiguous, {wrong} wrong"
    );
    assert!(right as f64 >= 0.98 * all as f64, "{right} of {all}");
}

#[test]
fn the_work_grows_with_the_recordings_and_no_faster() {
    // Allocations stand for the work, since a count is the same on every machine; a step that allocated for each pair
    // of recordings would do so a hundred times as often for ten times as many.
    let pool = Pool::new(0);
    let take = &pool.clean[0][0][0].recorded;
    let allocations = |count: i64| {
        let recorded: Vec<Recorded> = (0..count)
            .map(|at| {
                let mut recorded = Recorded { name: format!("{at:05}"), ..take.clone() };
                let start =
                    Timestamp::from_second(1_600_000_000).unwrap() + SignedDuration::from_hours(48 * at);
                recorded.series = recorded.series.starting_at(start);
                recorded
            })
            .collect();
        let as_of = "2040-01-01".parse().unwrap();
        let written = Written::default();
        let mut sessions = 0;
        let info = measure(|| {
            let reviewed = review_case(&pool.plan, &written, recorded, Vec::new(), as_of, &Config::default());
            sessions = reviewed.sessions.sessions.len();
        });
        assert_eq!(i64::try_from(sessions), Ok(count), "none is left out");
        info.count_total
    };
    let (few, many) = (allocations(60), allocations(600));
    println!("recognising, auditing and reviewing: {few} allocations for 60 recordings, {many} for 600");
    assert!(many < 11 * few);
}
