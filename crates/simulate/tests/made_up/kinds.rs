//! Several kinds of session in a week, on simulated sessions with cadence: each is recognised, and a week done as prescribed is kept.
//! The figures are printed: `cargo test -p jogaudit-simulate kinds -- --nocapture`. `JOGAUDIT_CASES=260` takes more than 2,000 sessions.

#![allow(clippy::print_stdout)]

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, ToSpan};
use jogaudit_core::audit::Outcome;
use jogaudit_core::pipeline::{Config, Reviewed, review_case, segment_recording};
use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{Diary, Recommendation, Recorded, Written};
use jogaudit_simulate::{Settings, simulate, steps_of};
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const FIRST_SEED: u64 = 1_300_000;
const WEEKS: i64 = 3;
const CASES: u64 = 12;

const PLAN: &str = "
timezone = 'UTC'
[limits]
sessions_per_week = 3
rest_days_between = 1
[[stage]]
name = '5'
weeks = 3
[[stage.session]]
name = 'run-walk'
do = 'walk 5:10, 5 to 6 x (run 4:40, walk 1:15)'
[[stage.session]]
name = 'steady'
do = 'walk 5:10, run 18:20 to 22:10, walk 3:00'
[[stage.session]]
name = 'short'
do = 'walk 5:10, for 20:30 to 26:40 (run 1:50, walk 1:20)'
a_week = '0 to 1'
[[stage]]
name = '6'
session = 'walk 5:00, run 26:00'
";

fn recorded(plan: &Plan, kind: usize, seed: u64, date: Date) -> Recorded {
    let start = TimeZone::UTC.to_timestamp(date.at(7, 10, 0, 0)).unwrap();
    let settings = Settings { seed, runner_seed: Some(seed / 100), start, ..Settings::default() };
    let steps = steps_of(&plan.stages[kind].session, &settings);
    let simulated = simulate(&steps, &settings).unwrap();
    let segmented = segment_recording(&simulated.recording, &Config::default());
    Recorded {
        name: format!("{seed}"),
        content: format!("{seed}"),
        channels: 5,
        series: segmented.series,
        segmentation: segmented.segmentation,
        notices: segmented.notices,
    }
}

/// The kinds of a case in the order in which they are done, each week in an order of its own, and the case's review.
fn case(plan: &Plan, case: u64) -> (Vec<usize>, Reviewed) {
    let mut draws = ChaCha8Rng::seed_from_u64(FIRST_SEED + case);
    let (mut kinds, mut sessions) = (Vec::new(), Vec::new());
    let monday = Date::constant(2026, 3, 2);
    for week in 0..WEEKS {
        let mut order = vec![0, 1];
        if draws.random_bool(0.7) {
            order.push(2); // the optional one
        }
        order.shuffle(&mut draws);
        for (at, kind) in (0i64..).zip(order) {
            let date = monday.checked_add((7 * week + 2 * at).days()).unwrap();
            let seed = (FIRST_SEED + case) * 100 + kinds.len() as u64;
            sessions.push(recorded(plan, kind, seed, date));
            kinds.push(kind);
        }
    }
    let as_of = monday.checked_add(SignedDuration::from_hours(24 * 7 * WEEKS)).unwrap();
    let lines: Vec<String> =
        sessions.iter().map(|s| TimeZone::UTC.to_datetime(s.start()).date().to_string()).collect();
    let text = format!("date,pain_during,pain_next_morning\n{}", lines.join(",0,0\n") + ",0,0\n");
    let diary = Diary::parse(&text, Date::MAX).value;
    let config = Config::default();
    let written = Written { diary, ..Written::default() };
    (kinds, review_case(plan, &written, sessions, Vec::new(), as_of, &config))
}

#[test]
fn each_kind_is_recognised_and_weeks_are_kept() {
    let plan = Plan::parse(PLAN).unwrap_or_else(|error| panic!("{error}")).value;
    let cases: u64 = std::env::var("JOGAUDIT_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(CASES);
    let (mut all, mut right, mut wrong, mut kept, mut moved_on) = (0, 0, 0, 0, 0);
    for number in 0..cases {
        let (kinds, reviewed) = case(&plan, number);
        for (kind, session) in kinds.iter().zip(&reviewed.sessions.sessions) {
            all += 1;
            match session.stage.stage() {
                Some(stage) if stage == *kind => right += 1,
                Some(_) => wrong += 1,
                None => {}
            }
            kept += u32::from(session.outcome == Outcome::Kept);
        }
        let ruling = &reviewed.review.ruling;
        moved_on += u64::from(ruling.recommendation == Recommendation::Advance && ruling.stage == Some(3));
        assert!(reviewed.review.findings.is_empty(), "case {number}: {:?}", reviewed.review.findings);
    }
    println!(
        "{right} of {all} kinds recognised, {wrong} wrong; {kept} kept; {moved_on} of {cases} cases move on"
    );
    assert!(f64::from(right) >= 0.99 * f64::from(all) && wrong == 0);
    assert!(f64::from(kept) >= 0.97 * f64::from(all));
}
