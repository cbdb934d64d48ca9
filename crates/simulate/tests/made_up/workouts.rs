//! Recordings that were run from a workout: what they carry, and how much nearer its beeps bring the boundaries.

#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use jogaudit_core::audit::Prescription;
use jogaudit_core::gait::Gait;
use jogaudit_core::pipeline::{Config, Segmented, activity, segment_recording};
use jogaudit_core::prescription::{Plan, Session};
use jogaudit_recording::notice::NoticeCode;
use jogaudit_recording::read::{Format, LapTrigger, ReadConfig, Recording, read};
use jogaudit_recording::workout::{Workout, WorkoutStep};
use jogaudit_simulate::{
    InRange, Laps, Realism, Sampling, Settings, Simulated, TrueBout, simulate, steps_of, write,
};

const SESSION: &str = "walk 5:00, 6 x (run 1:10, walk 2:00), walk 4:00";

fn workout(session: &Session) -> Workout {
    let step = |step: &jogaudit_core::prescription::WatchStep| WorkoutStep {
        name: String::new(),
        notes: String::new(),
        intensity: step.intensity,
        end: step.end,
        targets: [None; 2],
    };
    Workout { name: "of a test".to_owned(), steps: session.watch_steps().iter().map(step).collect() }
}

fn made(session: &str, settings: Settings) -> Simulated {
    let session = Session::parse(session).unwrap();
    let settings = Settings { in_range: InRange::Least, workout: Some(workout(&session)), ..settings };
    let without = matches!(settings.laps, Laps::Whole);
    let settings = Settings { workout: settings.workout.filter(|_| !without), ..settings };
    simulate(&steps_of(&session, &settings), &settings).unwrap()
}

fn from_file(simulated: &Simulated) -> Recording {
    let bytes = write(simulated, Format::Fit).unwrap();
    read(&bytes, &ReadConfig::default()).unwrap().value.remove(0)
}

#[test]
fn the_file_holds_the_workout_and_a_lap_a_step() {
    let simulated = made(SESSION, Settings { seed: 3, laps: Laps::Workout, ..Settings::default() });
    let recording = from_file(&simulated);
    assert_eq!(recording.laps(), simulated.recording.laps());
    assert_eq!(recording.workout(), simulated.recording.workout());
    let steps: Vec<Option<u16>> = recording.laps().iter().map(|lap| lap.step).collect();
    let order = recording.workout().unwrap().unrolled().unwrap();
    assert_eq!(steps, order.iter().map(|step| Some(*step as u16)).collect::<Vec<_>>());
    assert_eq!(order.len(), 14);
    assert!(recording.laps()[..13].iter().all(|lap| lap.trigger == LapTrigger::Step));
    let tcx = simulated.recording_in(Format::Tcx).unwrap();
    assert!(tcx.workout().is_none() && tcx.laps().iter().all(|lap| lap.step.is_none()));
}

/// Distance of each true change between running and walking to the nearest found one of its kind, s; 30 where there is none.
fn errors_s(simulated: &Simulated) -> Vec<f64> {
    let segmented = segment_recording(&from_file(simulated), &Config::default());
    let is_change = |before: Gait, after: Gait| {
        matches!((before, after), (Gait::Run, Gait::Walk) | (Gait::Walk, Gait::Run))
    };
    let found: Vec<(f64, Gait)> = segmented
        .segmentation
        .bouts()
        .windows(2)
        .filter(|pair| is_change(pair[0].gait, pair[1].gait))
        .map(|pair| (pair[1].start_s, pair[1].gait))
        .collect();
    let changes =
        simulated.truth.windows(2).filter(|pair: &&[TrueBout]| is_change(pair[0].gait, pair[1].gait));
    changes
        .map(|pair| {
            let near = found.iter().filter(|(_, gait)| *gait == pair[1].gait);
            near.map(|(at_s, _)| (at_s - pair[1].start_s).abs()).fold(30.0, f64::min)
        })
        .collect()
}

fn mean_error_s(laps: Laps, seeds: std::ops::Range<u64>) -> f64 {
    let of = |seed: u64| {
        let settings = Settings {
            seed: 1_270_000 + seed,
            realism: Realism::Realistic,
            sampling: Sampling::Drawn,
            laps,
            ..Settings::default()
        };
        errors_s(&made(SESSION, settings))
    };
    let errors: Vec<f64> = seeds.flat_map(of).collect();
    errors.iter().sum::<f64>() / errors.len() as f64
}

/// Realistic runners answer a beep within 1.8 s: see `LATEST_REACTION_S`. What this shows holds on the simulator alone.
#[test]
fn the_beeps_of_a_workout_halve_the_errors_of_boundaries() {
    let (without, with) = (mean_error_s(Laps::Whole, 0..40), mean_error_s(Laps::Workout, 0..40));
    println!("mean error of a boundary: {without:.2} s without, {with:.2} s run from a workout");
    assert!(with <= 0.5 * without, "{with} s for {without} s");
}

#[test]
fn another_workout_than_the_plans_is_said() {
    let plan =
        |session: &str| Plan::parse(&format!("[[stage]]\nname = '1'\nsession = '{session}'")).unwrap().value;
    let simulated = made(SESSION, Settings { seed: 4, laps: Laps::Workout, ..Settings::default() });
    let bytes = write(&simulated, Format::Fit).unwrap();
    let config = Config::default();
    let activity = activity(&bytes, None, &config).unwrap();
    let said = |session: &str| {
        let plan = plan(session);
        let checked = activity.check(Prescription::of(&plan, &plan.stages[0]), &config, false);
        let mut differs =
            checked.notices.into_iter().filter(|notice| notice.code == NoticeCode::WorkoutDiffers);
        differs.next().map(|notice| notice.text)
    };
    assert_eq!(said(SESSION), None);
    assert_eq!(said("walk 5:00, 5 to 6 x (run 1:00 to 1:30, walk 2:00), walk 4:00"), None);
    let other = said("walk 5:00, 6 x (run 1:00, walk 2:00), walk 4:00").unwrap();
    assert!(other.ends_with("its step 2 is 1:10, not run 1:00."), "{other}");
}

/// A runner who lets a beep pass is found where the readings say, not where the watch did.
#[test]
fn a_beep_that_nobody_answers_moves_no_boundary() {
    let fault = "run-longer:25:3".parse().unwrap();
    let settings = Settings { seed: 9, faults: vec![fault], laps: Laps::Workout, ..Settings::default() };
    let mut simulated = made(SESSION, settings);
    // The watch beeps when the plan says, whatever the runner does: the third run ends 25 s after its beep.
    let mut parts = from_file(&simulated).into_parts();
    let late = parts.laps.iter().position(|lap| lap.step == Some(1)).unwrap() + 5;
    parts.laps[late].start_s -= 25.0;
    parts.laps[late - 1].end_s = Some(parts.laps[late].start_s);
    simulated.recording = Recording::new(parts).unwrap();
    let Segmented { segmentation, .. } = segment_recording(&simulated.recording, &Config::default());
    let runs: Vec<f64> = segmentation
        .bouts()
        .iter()
        .filter(|bout| bout.gait == Gait::Run)
        .map(|bout| bout.end_s - bout.start_s)
        .collect();
    assert_eq!(runs.len(), 6);
    assert!((runs[2] - 95.0).abs() < 4.0, "{runs:?}");
}
