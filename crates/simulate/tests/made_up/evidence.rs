//! Marks by hand and the recorder's own guesses as evidence, on simulated sessions whose truth is known: they help where they
//! are right and do no harm where they are wrong.
//!
//! Every figure is printed: `cargo test -p jogaudit-simulate evidence -- --nocapture`. Seeds from 1,000,000 on, which are not used for
//! tuning (`JOGAUDIT_FIRST_SEED` for others).

#![allow(clippy::print_stdout)]

use jogaudit_core::clean::{CleanConfig, clean};
use jogaudit_core::gait::agreement::{GaitSpan, event_f1, matched};
use jogaudit_core::gait::{Gait, GaitConfig, Segmentation, segment};
use jogaudit_core::prescription::{Session, Step};
use jogaudit_simulate::{Channels, Guesses, Laps, Profile, Settings, simulate};

const SEEDS: u64 = 100;

fn seeds() -> std::ops::Range<u64> {
    let first = std::env::var("JOGAUDIT_FIRST_SEED").map_or(1_000_000, |seed| seed.parse().expect("a seed"));
    first..first + SEEDS
}

fn steps(session: &str) -> Vec<Step> {
    Session::parse(session).expect("a session").expand().fixed_steps().expect("of fixed steps")
}

fn found(session: &str, settings: &Settings) -> (Vec<GaitSpan>, Segmentation) {
    let simulated = simulate(&steps(session), settings).expect("a session that can be made up");
    let span =
        |b: &jogaudit_simulate::TrueBout| GaitSpan { gait: b.gait, start_s: b.start_s, end_s: b.end_s };
    let series = clean(&simulated.recording, &CleanConfig::default()).value;
    (simulated.truth.iter().map(span).collect(), segment(&series, &GaitConfig::default(), None).value)
}

/// What comes out of one way of recording the same sessions.
struct Outcome {
    /// Of each recording: F1 of its bouts at an overlap share of at least one half.
    f1: Vec<f64>,
    /// |error| of the start of each bout that is found, s, in order of size.
    boundary_s: Vec<f64>,
}

impl Outcome {
    fn mean_f1(&self) -> f64 {
        mean(&self.f1)
    }

    fn median_s(&self) -> f64 {
        self.boundary_s[self.boundary_s.len() / 2]
    }

    /// Mean gain of F1 over another way on the same sessions, and its standard error.
    fn gain_over(&self, other: &Self) -> (f64, f64) {
        let gains: Vec<f64> = self.f1.iter().zip(&other.f1).map(|(a, b)| a - b).collect();
        let (gain, n) = (mean(&gains), gains.len() as f64);
        let variance = gains.iter().map(|g| (g - gain).powi(2)).sum::<f64>() / (n - 1.0);
        (gain, (variance / n).sqrt())
    }
}

/// Nothing but positions; the heart of an even runner would tell the gaits by itself.
const POSITIONS_ALONE: Channels = Channels { heart_rate: false, ..Channels::POSITIONS_ONLY };

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The same sessions recorded in one way, on two threads; prints the outcome.
fn outcome(what: &str, settings: &Settings) -> Outcome {
    let one = |seed: u64| {
        let reps = 3 + seed % 4;
        let (run_s, walk_s) = (60 + 30 * (seed % 5), 60 + 30 * (seed % 3));
        let session = format!("walk 4:00, {reps} x (run {run_s} s, walk {walk_s} s), walk 3:00");
        let (truth, found) = found(&session, &Settings { seed, ..settings.clone() });
        let found: Vec<GaitSpan> = found.bouts().iter().map(GaitSpan::from).collect();
        let pairs = matched(&truth, &found, 0.5);
        let starts = pairs.iter().filter(|(i, _)| *i > 0);
        let errors: Vec<f64> = starts.map(|&(i, j)| (truth[i].start_s - found[j].start_s).abs()).collect();
        (event_f1(&truth, &found, 0.5).expect("bouts"), errors)
    };
    let (first, second): (Vec<u64>, Vec<u64>) = seeds().partition(|seed| seed % 2 == 0);
    let all: Vec<(f64, Vec<f64>)> = std::thread::scope(|scope| {
        let other = scope.spawn(|| second.iter().map(|&seed| one(seed)).collect::<Vec<_>>());
        let mut all: Vec<_> = first.iter().map(|&seed| one(seed)).collect();
        all.extend(other.join().expect("no panic"));
        all
    });
    let mut boundary_s: Vec<f64> = all.iter().flat_map(|(_, errors)| errors).copied().collect();
    boundary_s.sort_by(f64::total_cmp);
    let outcome = Outcome { f1: all.iter().map(|(f1, _)| *f1).collect(), boundary_s };
    println!(
        "{what:45} F1 {:.4}, boundary error: median {:.2} s, mean {:.2} s, 95th percentile {:.2} s",
        outcome.mean_f1(),
        outcome.median_s(),
        mean(&outcome.boundary_s),
        outcome.boundary_s[outcome.boundary_s.len() * 95 / 100]
    );
    outcome
}

/// No worse than chance explains: within two standard errors of the same sessions without.
fn assert_no_worse(what: &str, with: &Outcome, without: &Outcome) {
    let (gain, error) = with.gain_over(without);
    println!("{what:45} F1 {gain:+.4} ± {error:.4}");
    assert!(gain >= -2.0 * error, "{what}: {gain} ± {error}");
}

#[test]
fn marks_at_the_changes_sharpen_boundaries_and_others_do_no_harm() {
    for (sensors, channels) in [("speed only", Channels::SPEED_ALONE), ("positions only", POSITIONS_ALONE)] {
        let of = |what: &str, laps, lap_late_s| {
            let profile = Profile::Overlapping;
            let settings = Settings { profile, channels, laps, lap_late_s, ..Settings::default() };
            outcome(&format!("{sensors}, {what}"), &settings)
        };
        let without = of("no marks", Laps::Whole, 0.0);
        let at_changes = of("marks at the changes", Laps::Changes, 0.0);
        let at_beeps = of("marks at the beeps", Laps::Steps, 0.0);
        let late = of("marks 4 s late", Laps::Changes, 4.0);
        let anywhere = of("marks anywhere", Laps::Anywhere, 0.0);
        for (what, with) in [("at the changes", &at_changes), ("at the beeps", &at_beeps)] {
            assert!(with.median_s() < without.median_s(), "{sensors}, marks {what}");
            assert!(mean(&with.boundary_s) < mean(&without.boundary_s), "{sensors}, marks {what}");
            assert_no_worse(what, with, &without);
        }
        for (what, with) in [("4 s late", &late), ("anywhere", &anywhere)] {
            assert_no_worse(what, with, &without);
        }
        // A boundary is never drawn further than the mark is off.
        assert!(late.median_s() <= 4.0_f64.max(without.median_s()), "{sensors}, marks 4 s late");
    }
}

#[test]
fn right_guesses_help_and_wrong_ones_do_no_harm() {
    for (sensors, profile, channels) in [
        ("speed only", Profile::Indistinct, Channels::SPEED_ALONE),
        ("positions only", Profile::Indistinct, POSITIONS_ALONE),
        ("with cadence", Profile::Overlapping, Channels::ALL),
    ] {
        let of = |what: &str, guesses| {
            let settings = Settings { profile, channels, guesses, ..Settings::default() };
            outcome(&format!("{sensors}, {what}"), &settings)
        };
        let without = of("no guesses", Guesses::None);
        let right = of("right guesses", Guesses::Right);
        let by_chance = of("guesses by chance", Guesses::Chance);
        let always = of("always running", Guesses::AlwaysRun);
        if profile == Profile::Indistinct {
            assert!(right.mean_f1() > without.mean_f1(), "{sensors}");
        }
        for (what, with) in [("right", &right), ("by chance", &by_chance), ("always running", &always)] {
            assert_no_worse(what, with, &without);
        }
    }
}

#[test]
fn a_walk_that_the_recorder_calls_a_run_stays_a_walk() {
    for (what, channels, least) in
        [("with cadence", Channels::ALL, SEEDS), ("speed only", Channels::SPEED_ALONE, SEEDS * 95 / 100)]
    {
        let walks = |guesses| {
            let is_walk = |seed: &u64| {
                let settings = Settings { seed: *seed, channels, guesses, ..Settings::default() };
                found("walk 15:00", &settings).1.bouts().iter().all(|bout| bout.gait == Gait::Walk)
            };
            seeds().filter(is_walk).count() as u64
        };
        let (without, with) = (walks(Guesses::None), walks(Guesses::AlwaysRun));
        println!(
            "walks of {SEEDS} that stay walks, {what}: {without} without a guess, {with} always guessed a run"
        );
        assert!(with >= least.min(without), "{what}: {with}");
    }
}

#[test]
fn laps_that_nobody_pressed_change_nothing() {
    for seed in seeds().take(10) {
        let of = |laps| {
            found(
                "walk 4:00, 6 x (run 2:00, walk 1:00), walk 3:00",
                &Settings { seed, laps, ..Settings::default() },
            )
            .1
        };
        assert_eq!(of(Laps::Whole), of(Laps::Kilometres));
    }
}
