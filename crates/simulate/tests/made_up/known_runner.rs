//! A runner's recordings of some weeks: what the others tell where one leaves its verdict open.

use jiff::Timestamp;
use jogaudit_core::audit::Outcome;
use jogaudit_core::gait::{Gait, GaitConfig, RunnerEvidence, RunnerPrior, segment};
use jogaudit_core::pipeline::{Config, review_case, segment_recording};
use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{Given, PerformedSession, Recorded, Written};
use jogaudit_recording::notice::NoticeCode;
use jogaudit_simulate::{Channels, Form, Profile, Settings, simulate};

const PLAN: &str = "timezone = 'Africa/Accra'
[[stage]]
name = '1'
session = 'walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00'
";
const START_S: i64 = 1_772_435_400;
const DAY_S: i64 = 86_400;

/// Seven recordings of one runner who jogs as slowly as others walk, two of them with cadence; each day is some percent off.
fn recordings(runner: u64) -> Vec<Recorded> {
    let plan = Plan::parse(PLAN).unwrap().value;
    let steps = plan.stages[0].session.expand().fixed_steps().unwrap();
    (0..7_u32)
        .map(|day| {
            let off = |by: u32| 0.96 + 0.01 * f64::from((day * by + runner as u32) % 9);
            let settings = Settings {
                seed: 1000 * runner + u64::from(day),
                runner_seed: Some(runner),
                form: Form { walk: 0.85 * off(5), jog: 0.72 * off(7) },
                profile: Profile::Steady,
                channels: if day % 4 == 1 { Channels::ALL } else { Channels::NO_CADENCE },
                start: Timestamp::from_second(START_S + 2 * DAY_S * i64::from(day)).unwrap(),
                ..Settings::default()
            };
            let recording = simulate(&steps, &settings).unwrap().recording;
            let segmented = segment_recording(&recording, &Config::default());
            Recorded {
                name: format!("{day}.fit"),
                content: format!("{day}"),
                channels: recording.facts().channels.len(),
                series: segmented.series,
                segmentation: segmented.segmentation,
                notices: segmented.notices,
            }
        })
        .collect()
}

fn sessions(recorded: Vec<Recorded>, config: &Config) -> Vec<PerformedSession> {
    let plan = Plan::parse(PLAN).unwrap().value;
    let given = Given::parse(
        "recording,stage\n0.fit,1\n1.fit,1\n2.fit,1\n3.fit,1\n4.fit,1\n5.fit,1\n6.fit,1\n",
        &plan,
    );
    let as_of = jiff::civil::date(2026, 4, 1);
    let written = Written { given: given.value, ..Written::default() };
    review_case(&plan, &written, recorded, Vec::new(), as_of, config).sessions.sessions
}

fn is_said(session: &PerformedSession) -> bool {
    session.notices.iter().any(|notice| notice.code == NoticeCode::RunnerKnown)
}

#[test]
fn what_the_others_decide_is_said_and_never_makes_good_what_was_too_much() {
    let by_itself = Config { alone: true, ..Config::default() };
    let mut open = 0;
    for runner in 1..=16 {
        let recorded = recordings(runner);
        let alone = sessions(recorded.clone(), &by_itself);
        let with_others = sessions(recorded, &Config::default());
        assert_eq!(alone.len(), 7);
        for (alone, with_others) in alone.iter().zip(&with_others) {
            assert!(!is_said(alone));
            // A change is said, and nothing else changes.
            assert_eq!(is_said(with_others), alone.outcome != with_others.outcome);
            if !is_said(with_others) {
                assert_eq!(alone, with_others);
            }
            assert!(alone.outcome != Outcome::Overdone || with_others.outcome == Outcome::Overdone);
            open += u32::from(alone.outcome == Outcome::Undecided);
        }
    }
    assert!(open >= 6, "{open}");
}

#[test]
fn the_others_tell_the_runs_of_a_slow_jogger_from_walks() {
    let config = GaitConfig::default();
    let (mut alone_s, mut with_others_s) = (0.0, 0.0);
    for runner in 1..=16 {
        let recorded = recordings(runner);
        let evidence: Vec<RunnerEvidence> =
            recorded.iter().filter_map(|r| RunnerEvidence::of(&r.series, &r.segmentation)).collect();
        // The first has no cadence: five runs of 2:00.
        let series = &recorded[0].series;
        let known = RunnerPrior::of(&evidence, series.start(), series.end()).expect("two teach it");
        let off_s = |known: Option<&RunnerPrior>| {
            let bouts = segment(series, &config, known).value;
            let runs = bouts.bouts().iter().filter(|b| b.gait == Gait::Run);
            (runs.map(|b| b.end_s - b.start_s).sum::<f64>() - 600.0).abs()
        };
        alone_s += off_s(None);
        with_others_s += off_s(Some(&known));
    }
    assert!(with_others_s <= 0.8 * alone_s, "{with_others_s} s for {alone_s} s");
}

#[test]
fn recordings_in_any_order_give_the_same_sessions() {
    let recorded = recordings(3);
    let expected = sessions(recorded.clone(), &Config::default());
    let mut turned = recorded;
    for _ in 0..4 {
        turned.rotate_left(3);
        turned.swap(0, 5);
        assert_eq!(sessions(turned.clone(), &Config::default()), expected);
    }
}
