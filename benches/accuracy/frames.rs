//! Frames of made-up recordings and the gait at each, as little-endian 32-bit floats: `benches/frames.py` fits the scorer of frames on
//! them.

use std::io::Write;

use jogaudit_core::clean::{CleanConfig, SpeedSource, clean};
use jogaudit_core::gait::{Gait, GaitConfig, read_frames};
use jogaudit_core::prescription::{Move, Step};
use jogaudit_recording::read::Recording;
use jogaudit_simulate::{
    CadenceDamage, CadenceFault, CadenceFaultKind, CadenceLeft, Channels, Fault, FaultKind, Form, Gps,
    Profile, Realism, Sampling, Settings, Simulated, Window, simulate,
};
use rayon::prelude::*;

use crate::Options;
use crate::sessions::{self, choice, interrupt, session, short_runs, step, truth, with_rests};

/// One of so many, by an own draw for each choice.
fn draw(seed: u64, salt: u64, of: u64) -> u64 {
    choice(seed, 1000 + salt, of)
}

fn length_s(seed: u64, salt: u64, range_s: (f64, f64)) -> f64 {
    sessions::length_s(seed, 1000 + salt, range_s)
}

/// Kinds of sessions (see [`steps`]), …
const KINDS: u64 = 20;
/// … the first of those whose lengths follow no plan, …
const UNEVEN: u64 = 9;
/// … and of those of one gait.
const OF_ONE_GAIT: u64 = 16;

/// A session of one kind or another; of five two have rests anywhere.
fn steps(seed: u64, kind: u64) -> Vec<Step> {
    let steps = steps_of_kind(seed, kind);
    if draw(seed, 98, 5) < 2 { with_rests(seed, &steps) } else { steps }
}

fn steps_of_kind(seed: u64, kind: u64) -> Vec<Step> {
    let draw = |salt, of| draw(seed, salt, of);
    let length_s = |salt, range_s| length_s(seed, salt, range_s);
    let in_turn = |most: u64, walk_s: (f64, f64), run_s: (f64, f64)| {
        let steps = 0..most / 2 + draw(1, most / 2);
        let rests = draw(3, 4) == 0;
        let lengths = steps.map(|k| match (k + draw(2, 2)) % 2 {
            0 if rests && draw(100 + k, 2) == 0 => step(Move::Rest, length_s(20 + k, (10.0, 300.0))),
            0 => step(Move::Walk, length_s(20 + k, walk_s)),
            _ => step(Move::Run, length_s(20 + k, run_s)),
        });
        lengths.collect()
    };
    match kind {
        0..=4 => session(seed),
        5..=8 => short_runs(seed),
        9..=11 => in_turn(18, (20.0, 600.0), (20.0, 600.0)),
        12..=13 => in_turn(10, (20.0, 240.0), (180.0, 1500.0)),
        14..=15 => in_turn(12, (120.0, 900.0), (10.0, 150.0)),
        16..=17 if draw(94, 3) == 0 => vec![
            step(Move::Walk, length_s(95, (20.0, 900.0))),
            step(Move::Rest, length_s(96, (5.0, 400.0))),
            step(Move::Walk, length_s(97, (60.0, 900.0))),
        ],
        16..=17 => vec![step(Move::Walk, 900.0 + 300.0 * draw(3, 5) as f64)],
        _ => vec![step(Move::Run, 900.0 + 300.0 * draw(3, 5) as f64)],
    }
}

/// Who runs, and how that is recorded.
fn settings(seed: u64) -> Settings {
    let draw = |salt, of| draw(seed, salt, of);
    let realistic = draw(4, 4) > 0;
    let positions = Channels { altitude: true, ..Channels::POSITIONS_ONLY };
    let coarse = realistic && draw(5, 6) == 0;
    let gps = [Gps::Typical, Gps::Typical, Gps::Bad, Gps::Clean][draw(6, 4) as usize];
    let mut settings = Settings {
        seed,
        realism: if realistic { Realism::Realistic } else { Realism::Ideal },
        sampling: match (coarse, realistic) {
            (true, _) => Sampling::Slow,
            (false, true) => Sampling::Drawn,
            (false, false) => [Sampling::EverySecond, Sampling::Smart][draw(7, 2) as usize],
        },
        gps: if coarse { Gps::Coarse } else { gps },
        channels: match draw(8, 20) {
            0..=7 => Channels::ALL,
            8 => Channels::TREADMILL,
            9 => Channels { cadence: true, ..positions },
            _ if coarse => Channels::POSITIONS_ONLY,
            10..=14 => Channels::NO_CADENCE,
            15..=17 => positions,
            _ => Channels::POSITIONS_ONLY,
        },
        hills: draw(9, 2) == 0,
        profile: [
            Profile::Steady,
            Profile::Overlapping,
            Profile::Overlapping,
            Profile::Steady,
            Profile::Indistinct,
        ][draw(10, 5) as usize],
        missing: [0.0, 0.0, 0.02, 0.1][draw(11, 4) as usize],
        ..Settings::default()
    };
    if draw(12, 4) == 0 {
        let between = |salt, low: f64, high: f64| low + (high - low) * draw(salt, 1000) as f64 / 1000.0;
        settings.form = Form { walk: between(13, 0.85, 1.25), jog: between(14, 0.8, 1.2) };
    }
    settings
}

/// Damages the cadence of a third of the recordings in one gait, and of another now and then.
fn damage(settings: &mut Settings) {
    let seed = settings.seed;
    let draw = |salt, of| draw(seed, salt, of);
    match draw(15, 3) {
        0 => {
            let n = 5 + draw(16, 40) as usize;
            let left = [
                CadenceLeft::Readings(0),
                CadenceLeft::Readings(n),
                CadenceLeft::OneIn(n),
                CadenceLeft::Zeros,
                CadenceLeft::Stuck,
                CadenceLeft::Stuck,
                CadenceLeft::Half,
                CadenceLeft::Double,
            ][draw(17, 8) as usize];
            let gait = if draw(18, 2) == 0 { Gait::Run } else { Gait::Walk };
            settings.cadence_damage = Some(CadenceDamage { gait, left });
        }
        1 => {
            let kinds = [
                CadenceFaultKind::Half,
                CadenceFaultKind::Double,
                CadenceFaultKind::DropOut,
                CadenceFaultKind::Held,
            ];
            let fault = |k| {
                let length_s = (5.0 * 20_f64.powf(draw(70 + k, 100) as f64 / 100.0)).round();
                CadenceFault {
                    kind: kinds[draw(60 + k, 4) as usize],
                    window: Window { at_s: None, length_s },
                }
            };
            settings.cadence_faults = (0..=draw(19, 3)).map(fault).collect();
        }
        _ => {}
    }
}

fn made(seed: u64) -> (Simulated, u64) {
    let kind = draw(seed, 0, KINDS);
    let mut settings = settings(seed);
    damage(&mut settings);
    if kind < OF_ONE_GAIT {
        interrupt(&mut settings);
    } else if kind >= 18 && draw(seed, 92, 3) == 0 {
        let value = length_s(seed, 93, (5.0, 400.0));
        settings.faults.push(Fault { kind: FaultKind::Stop, value, rep: None });
    }
    let mut made = simulate(&steps(seed, kind), &settings).expect("the session can be made up");
    if draw(seed, 90, 16) == 0 {
        made.recording = thinned(made.recording, 6.0 + draw(seed, 91, 30) as f64);
    }
    (made, kind)
}

/// A session whose runs and walks are as long as chance has it, or of one gait.
fn uneven(recorder: &Settings, seed: u64) -> Simulated {
    let kind = UNEVEN + draw(seed, 0, KINDS - UNEVEN);
    let mut settings = Settings { seed, ..recorder.clone() };
    if kind < OF_ONE_GAIT {
        interrupt(&mut settings);
    }
    simulate(&steps(seed, kind), &settings).expect("the session can be made up")
}

/// With one sample in so many seconds.
fn thinned(recording: Recording, interval_s: f64) -> Recording {
    let mut parts = recording.into_parts();
    let mut next_s = f64::NEG_INFINITY;
    parts.samples.retain(|sample| {
        let kept = sample.time_s >= next_s;
        if kept {
            next_s = sample.time_s + interval_s;
        }
        kept
    });
    Recording::new(parts).expect("times are as they were")
}

fn bytes(seed: u64, (made, kind): (Simulated, u64)) -> Vec<u8> {
    let series = clean(&made.recording, &CleanConfig::default()).value;
    let truth = truth(&made);
    let segments = read_frames(&series, &GaitConfig::default());
    let slopes_unseen = 2 * series.altitude_m().iter().flatten().count() < series.len();
    let mut out: Vec<f32> = Vec::new();
    for segment in &segments {
        let by_positions = f32::from(u8::from(series.speed_source() == SpeedSource::Positions));
        out.extend([
            -12345.0,
            (seed % 1_000_000) as f32,
            kind as f32,
            by_positions,
            f32::from(u8::from(slopes_unseen)),
            segment.frame_s as f32,
            segment.start_s as f32,
            made.person.walk_speed_mps as f32,
            made.person.jog_speed_mps as f32,
            segment.speed_mps.len() as f32,
        ]);
        let mut next = 0;
        let columns = segment
            .speed_mps
            .iter()
            .zip(&segment.slope)
            .zip(&segment.cadence_spm)
            .zip(&segment.heart_rate_bpm);
        for (k, (((speed, slope), cadence), heart_rate)) in columns.enumerate() {
            let at_s = segment.start_s + k as f64 * segment.frame_s;
            while truth.get(next + 1).is_some_and(|span| span.start_s <= at_s) {
                next += 1;
            }
            let gait = match truth.get(next).map(|span| span.gait) {
                Some(Gait::Run) => 0.0,
                Some(Gait::Walk) => 1.0,
                Some(Gait::Stand) => 2.0,
                _ => -1.0,
            };
            out.extend([*speed as f32, *slope as f32, gait, *cadence as f32, *heart_rate as f32]);
        }
    }
    out.iter().flat_map(|value| value.to_le_bytes()).collect()
}

pub(crate) fn print(options: &Options) {
    let seeds: Vec<u64> = (options.first..options.first + options.seeds).collect();
    let mut out = std::io::stdout().lock();
    if !options.only.is_empty() {
        for condition in crate::realistic::conditions().iter().filter(|c| options.wants(&c.name)) {
            let made = |seed| {
                let recorder = &condition.settings;
                if options.uneven { uneven(recorder, seed) } else { crate::realistic::make(condition, seed) }
            };
            let all: Vec<Vec<u8>> = seeds.par_iter().map(|seed| bytes(*seed, (made(*seed), 99))).collect();
            out.write_all(&all.concat()).expect("the output takes it");
        }
        for condition in crate::sessions::Condition::all()
            .iter()
            .filter(|c| options.wants(&format!("ideal, {}", c.name())))
        {
            let all: Vec<Vec<u8>> = seeds
                .par_iter()
                .map(|seed| bytes(*seed, (crate::sessions::make(condition, *seed), 98)))
                .collect();
            out.write_all(&all.concat()).expect("the output takes it");
        }
        return;
    }
    for some in seeds.chunks(200) {
        let all: Vec<Vec<u8>> = some.par_iter().map(|seed| bytes(*seed, made(*seed))).collect();
        out.write_all(&all.concat()).expect("the output takes it");
    }
}
