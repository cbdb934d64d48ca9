//! Bouts and findings of 200 made-up sessions before and after their places were taken out.
//!
//! The figures are printed: `cargo test -p jogaudit-share sessions -- --nocapture`.

#![allow(clippy::print_stdout)]

use jogaudit_core::audit::{Finding, Outcome, Prescription};
use jogaudit_core::pipeline::{Activity, Config, activity};
use jogaudit_core::prescription::{Plan, Session};
use jogaudit_recording::notice::NoticeCode;
use jogaudit_recording::read::{Channel, Format};
use jogaudit_simulate::{
    CadenceStep, Channels, Fault, FaultKind, Gps, Guesses, Laps, Profile, Realism, Sampling, Settings,
    Window, simulate, write,
};

const SESSIONS: u64 = 200;
/// Seeds that nothing was tuned on.
const FIRST_SEED: u64 = 3_000_000;
/// Bouts may move by so much, s.
const MOST_MOVED_S: f64 = 1.0;

const SESSION: &str = "walk 3:00, 4 x (run 1:30, walk 1:30), walk 2:00";

/// A plan of that session with ceilings.
fn plan() -> Plan {
    let limits = "[limits]\npace_ceiling = '6:30 /km'\nheart_rate_ceiling = '150 bpm'";
    Plan::parse(&format!("{limits}\n[[stage]]\nname = '1'\nsession = '{SESSION}'")).unwrap().value
}

/// One of 200 sessions: formats, channels, faults, runners and recorders each go round with a number of their own.
fn settings(number: u64) -> Settings {
    let pick = |of: u64| usize::try_from(number / of).unwrap();
    let format = [Format::Fit, Format::Tcx, Format::Gpx][pick(1) % 3];
    let positions_only = Channels::POSITIONS_ONLY;
    let channels = [
        Channels::ALL,
        positions_only,
        Channels::NO_CADENCE,
        Channels { cadence: true, ..positions_only },
        Channels { altitude: true, ..positions_only },
        Channels { speed: false, ..Channels::ALL },
    ][pick(3) % 6];
    let faults = [
        vec![],
        vec![Fault::new(FaultKind::RunLonger, 30.0).at_rep(2)],
        vec![Fault::new(FaultKind::WalkCut, 45.0).at_rep(3)],
        vec![Fault::new(FaultKind::RunFaster, 25.0).at_rep(1)],
        vec![],
    ];
    let window = |at_s, length_s| vec![Window { at_s: Some(at_s), length_s }];
    Settings {
        seed: FIRST_SEED + number,
        format,
        channels,
        faults: faults[pick(2) % 5].clone(),
        realism: [Realism::Ideal, Realism::Realistic][pick(1) % 2],
        profile: [Profile::Steady, Profile::Overlapping, Profile::Indistinct][pick(5) % 3],
        gps: [Gps::Typical, Gps::Bad, Gps::Coarse, Gps::Clean][pick(7) % 4],
        sampling: [Sampling::EverySecond, Sampling::Smart, Sampling::EverySecond, Sampling::Slow]
            [pick(11) % 4],
        missing: [0.0, 0.05][pick(13) % 2],
        hills: pick(17) % 3 == 0,
        laps: [Laps::Whole, Laps::Steps, Laps::Kilometres, Laps::Changes][pick(1) % 4],
        guesses: [Guesses::None, Guesses::Right, Guesses::Chance][pick(19) % 3],
        cadence_step: [CadenceStep::Stride, CadenceStep::HalfStride][pick(2) % 2],
        pauses: if pick(4) % 3 == 0 { window(400.0, 40.0) } else { vec![] },
        holes: if pick(4) % 4 == 1 { window(600.0, 30.0) } else { vec![] },
        utc_offset_s: (format == Format::Fit).then_some(7200),
        ..Settings::default()
    }
}

/// What is said of a session.
fn verdict(activity: &Activity, plan: &Plan, config: &Config) -> (Outcome, Vec<Finding>) {
    let prescription = Prescription::of(plan, &plan.stages[0]);
    let audit = activity.check(prescription, config, false).audit.expect("it is scored");
    (audit.outcome, audit.findings)
}

/// Codes of what is noticed, but for what is about positions and about the file that was read.
fn noticed(activity: &Activity) -> Vec<NoticeCode> {
    const OF_THE_FILE: [NoticeCode; 3] =
        [NoticeCode::PositionSpikes, NoticeCode::CadenceDoubled, NoticeCode::CadenceAsWritten];
    activity.notices.iter().map(|notice| notice.code).filter(|code| !OF_THE_FILE.contains(code)).collect()
}

fn channels(activity: &Activity) -> Vec<Channel> {
    activity.facts.channels.iter().copied().filter(|channel| *channel != Channel::Position).collect()
}

#[test]
fn bouts_and_findings_stay() {
    let config = Config::default();
    let plan = plan();
    let steps = Session::parse(SESSION).unwrap().expand().fixed_steps().unwrap();
    let (mut findings, mut bouts, mut most_moved_s, mut by_positions) = (0, 0, 0.0_f64, 0);
    let mut differ = Vec::new();
    for number in 0..SESSIONS {
        let settings = settings(number);
        let simulated = simulate(&steps, &settings).unwrap();
        let bytes = write(&simulated, settings.format).unwrap();
        let shared = jogaudit_share::without_places(&bytes, &config).unwrap();
        assert_eq!((shared.activities, shared.with_places, shared.sports_unnamed), (1, 1, 0));
        let before = activity(&bytes, None, &config).unwrap();
        let after = activity(&shared.bytes, None, &config).unwrap();
        assert_eq!(channels(&before), channels(&after));
        assert!(!after.facts.channels.contains(&Channel::Position));
        let key =
            |a: &Activity| (a.facts.sport.clone(), a.facts.start, a.facts.utc_offset_s, a.facts.samples);
        assert_eq!(key(&before), key(&after));
        assert_eq!(noticed(&before), noticed(&after));
        let (old, new) = (verdict(&before, &plan, &config), verdict(&after, &plan, &config));
        findings += old.1.len();
        by_positions += usize::from(before.notices.iter().any(|n| n.code == NoticeCode::SpeedFromPositions));
        let gaits = |a: &Activity| a.segmentation.bouts().iter().map(|b| b.gait).collect::<Vec<_>>();
        if old != new || gaits(&before) != gaits(&after) {
            differ.push(format!("{number}: {old:?} {new:?}"));
            continue;
        }
        for (a, b) in before.segmentation.bouts().iter().zip(after.segmentation.bouts()) {
            bouts += 1;
            most_moved_s = most_moved_s.max((a.start_s - b.start_s).abs()).max((a.end_s - b.end_s).abs());
        }
    }
    println!(
        "{SESSIONS} sessions, {by_positions} of them by positions alone, {findings} findings: {} differ; {bouts} bouts move by \
         {most_moved_s} s at most",
        differ.len()
    );
    assert!(findings > 100 && by_positions > 50, "{findings} {by_positions}");
    assert_eq!(differ, Vec::<String>::new());
    assert!(most_moved_s <= MOST_MOVED_S, "{most_moved_s}");
}
