//! Who is recorded how, and the simulated sessions.

use jogaudit_core::gait::agreement::GaitSpan;
use jogaudit_core::prescription::{Extent, Move, Step};
use jogaudit_recording::units::Seconds;
use jogaudit_simulate::{
    Channels, Fault, FaultKind, Gps, Profile, Sampling, Settings, Simulated, Window, simulate,
};

#[derive(Clone, Copy)]
pub(crate) struct Condition {
    sensors: &'static str,
    channels: Channels,
    pub(crate) sampling: Sampling,
    gps: Gps,
    profile: Profile,
}

impl Condition {
    pub(crate) fn all() -> Vec<Self> {
        let mut out = Vec::new();
        for (sensors, channels) in [
            ("cadence", Channels::ALL),
            ("speed only", Channels::SPEED_ALONE),
            ("positions only", Channels::POSITIONS_AND_ALTITUDE),
        ] {
            for sampling in [Sampling::EverySecond, Sampling::Smart] {
                for gps in [Gps::Clean, Gps::Typical, Gps::Bad] {
                    for profile in [Profile::Steady, Profile::Overlapping, Profile::Indistinct] {
                        out.push(Self { sensors, channels, sampling, gps, profile });
                    }
                }
            }
        }
        out
    }

    pub(crate) fn name(&self) -> String {
        let sampling = if self.sampling == Sampling::EverySecond { "1 s" } else { "smart" };
        format!("{}, {sampling}, {:?}, {:?}", self.sensors, self.gps, self.profile).to_lowercase()
    }
}

/// A generator of small choices that differ by seed and do not come from the simulator's streams.
pub(crate) fn choice(seed: u64, salt: u64, of: u64) -> u64 {
    let mut x = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ salt.wrapping_mul(0xD1B5_4A32_D192_ED03);
    x ^= x >> 31;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x ^= x >> 29;
    x % of
}

pub(crate) fn session(seed: u64) -> Vec<Step> {
    repeated(seed, 3 + choice(seed, 3, 5), 60 + 30 * choice(seed, 1, 7), 60 + 30 * choice(seed, 2, 4))
}

/// A session of the first weeks: many runs of half a minute to a minute.
pub(crate) fn short_runs(seed: u64) -> Vec<Step> {
    repeated(seed, 6 + choice(seed, 3, 7), 25 + 5 * choice(seed, 1, 6), 45 + 15 * choice(seed, 2, 4))
}

/// A step that lasts so long.
pub(crate) fn step(motion: Move, length_s: f64) -> Step {
    Step { motion, extent: Extent::Time(Seconds::new(length_s)).into(), ceiling: None }
}

/// From one length to another, s, evenly in the log.
pub(crate) fn length_s(seed: u64, salt: u64, (least_s, most_s): (f64, f64)) -> f64 {
    (least_s * (most_s / least_s).powf(choice(seed, salt, 1000) as f64 / 1000.0)).round()
}

fn repeated(seed: u64, reps: u64, run_s: u64, walk_s: u64) -> Vec<Step> {
    let step = |motion, seconds: u64| step(motion, seconds as f64);
    let mut steps = vec![step(Move::Walk, 180 + 60 * choice(seed, 4, 3))];
    for _ in 0..reps {
        steps.push(step(Move::Run, run_s));
        steps.push(step(Move::Walk, walk_s));
    }
    steps.push(step(Move::Walk, 180));
    steps
}

/// The session with rests, of 5 s to two minutes, before its steps or in their midst: at lights, to tie a lace, to get one's breath back.
pub(crate) fn with_rests(seed: u64, steps: &[Step]) -> Vec<Step> {
    let one_step_in = 1 + choice(seed, 20, 5);
    let mut out: Vec<Step> = Vec::new();
    for (k, own) in (0..).zip(steps) {
        let Extent::Time(length) = own.extent.least else { unreachable!("sessions by time") };
        let rest = step(Move::Rest, length_s(seed, 200 + k, (5.0, 120.0)));
        let before_s = length.get() * [0.0, 0.2, 0.5, 0.8][choice(seed, 300 + k, 4) as usize];
        let follows_rest = before_s == 0.0 && out.last().is_some_and(|step| step.motion == Move::Rest);
        if own.motion == Move::Rest || follows_rest || choice(seed, 400 + k, one_step_in) > 0 {
            out.push(*own);
            continue;
        }
        if before_s > 0.0 {
            out.push(step(own.motion, before_s.round()));
        }
        out.extend([rest, step(own.motion, (length.get() - before_s).round())]);
    }
    if choice(seed, 21, 4) == 0 && out.last().is_some_and(|step| step.motion != Move::Rest) {
        out.push(step(Move::Rest, 10.0 + 10.0 * choice(seed, 22, 12) as f64));
    }
    out
}

pub(crate) fn make(condition: &Condition, seed: u64) -> Simulated {
    let missing = match condition.gps {
        Gps::Clean | Gps::Coarse => 0.0,
        Gps::Typical => 0.02,
        Gps::Bad => 0.10,
    };
    let mut settings = Settings {
        seed,
        profile: condition.profile,
        gps: condition.gps,
        sampling: condition.sampling,
        channels: condition.channels,
        missing,
        ..Settings::default()
    };
    interrupt(&mut settings);
    simulate(&session(seed), &settings).expect("the session can be made up")
}

/// Adds a stop to a quarter of the sessions, and a pause of the recorder to another.
pub(crate) fn interrupt(settings: &mut Settings) {
    let seed = settings.seed;
    if choice(seed, 6, 4) == 0 {
        settings.faults.push(Fault {
            kind: FaultKind::Stop,
            value: 12.0 + choice(seed, 7, 20) as f64,
            rep: None,
        });
    }
    if choice(seed, 8, 4) == 0 {
        settings.pauses.push(Window { at_s: None, length_s: 20.0 + choice(seed, 9, 40) as f64 });
    }
}

pub(crate) fn truth(made: &Simulated) -> Vec<GaitSpan> {
    made.truth.iter().map(|t| GaitSpan { gait: t.gait, start_s: t.start_s, end_s: t.end_s }).collect()
}
