//! Made-up recordings of run-walk sessions, with what is true of them.
//!
//! A runner is drawn, does what was prescribed or a fault that was ordered, and a recorder writes it down late and
//! with errors. No person and no place is real.
//!
//! | goes in | |
//! |---|---|
//! | [`Step`]s | the prescribed runs and walks, each a time or a distance |
//! | [`Settings`] | seed, runner, faults, hills, reception, what the recorder writes and loses |
//!
//! | comes out | |
//! |---|---|
//! | [`Simulated::recording`] | what a reader of the file would give: the rounding of its format included |
//! | [`Simulated::truth`] | the true bouts, seconds from the first sample |
//! | [`Simulated::faults`], [`Simulated::person`] | what was drawn |
//! | [`write`](fn@write) | the bytes of a FIT, GPX or TCX file |
//!
//! Units are those of the names: `_s` seconds, `_m` metres, `_mps` metres a second, `_spm` steps a minute (both feet),
//! `_bpm` beats a minute, `_deg` degrees.
//!
//! **Promised**: a seed with its settings always gives the same bytes; the true bouts tile the time from 0 to the last
//! sample, and neighbours differ in gait; each feature draws from random numbers of its own, so that switching one on
//! leaves the others as they were; the reader of `jogaudit-recording` gives back the recording that was written.
//! Nothing here knows the gait model: it shares no constant with it, and none was chosen by what the model gets right.
//! Every law and its source, or that it is our choice, stands in `docs/simulator.md` and beside the constant.
//!
//! # Example
//!
//! A session whose second run is 30 s too long:
//!
//! ```
//! use jogaudit_core::gait::Gait;
//! use jogaudit_core::prescription::Session;
//! use jogaudit_recording::read::{Format, ReadConfig, read};
//! use jogaudit_simulate::{Fault, FaultKind, Settings, simulate, write};
//!
//! let session = Session::parse("walk 5:00, 4 x (run 1:00, walk 2:00)")?;
//! let steps = session.expand().fixed_steps().unwrap_or_default();
//! let too_long = Fault::new(FaultKind::RunLonger, 30.0).at_rep(2);
//! let simulated = simulate(&steps, &Settings { seed: 7, faults: vec![too_long], ..Settings::default() })?;
//!
//! // A runner reacts to a beep within 1.8 s.
//! let runs: Vec<_> = simulated.truth.iter().filter(|bout| bout.gait == Gait::Run).collect();
//! assert_eq!(runs.len(), 4);
//! assert!((runs[1].duration_s() - 90.0).abs() < 1.8);
//!
//! let bytes = write(&simulated, Format::Fit)?;
//! let recordings = read(&bytes, &ReadConfig::default())?.value;
//! assert_eq!(recordings, [simulated.recording]);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

mod cadence_faults;
mod faults;
mod guesses;
mod heart;
mod lag;
mod motion;
mod person;
mod quantise;
mod random;
mod rate;
mod recorder;
mod timeline;
mod truth;
mod watch;
mod ways;
mod write_fit;
mod write_gpx;
mod write_tcx;
mod xml;

use std::io::Write as _;

use jiff::Timestamp;
use rand::RngExt;

pub use faults::{Fault, FaultKind};
pub use person::Person;
pub use truth::TrueBout;

use jogaudit_core::gait::Gait;
use jogaudit_core::prescription::{Extent, Limits, Session, Step, WholeByTime};
use jogaudit_core::range::Range;
use jogaudit_recording::read::{Format, Guess, Lap, LapIntensity, Recording};
use jogaudit_recording::units::{MetresPerSecond, Seconds};
use jogaudit_recording::workout::Workout;

/// How clearly a runner's gaits differ in speed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Profile {
    /// Jogs clearly faster than they walk.
    #[default]
    Steady,
    /// Jogs slowly and walks fast: over people the speeds overlap, one person's differ by 0.3 m/s or more.
    Overlapping,
    /// Jogs hardly faster than they walk: by 0.2 m/s or more.
    Indistinct,
}

/// How much of what real recordings do is made up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Realism {
    /// An even runner and a quick recorder.
    #[default]
    Ideal,
    /// Runners and recorders that differ, wander, lag and drop out as those that we measured: see `docs/simulator.md`. A
    /// session still keeps what was prescribed.
    Realistic,
}

/// Limits that the made-up runner keeps, unless a fault is ordered.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Kept {
    /// Never run faster, m/s, where a step has no ceiling of its own.
    pub pace_ceiling_mps: Option<f64>,
    /// Never above, beats a minute.
    pub heart_rate_ceiling_bpm: Option<f64>,
    /// Never walk at a lower cadence, steps a minute.
    pub walk_cadence_floor_spm: Option<f64>,
    /// Longest session, s: only what [`FaultKind::SessionLonger`] has to exceed.
    pub session_ceiling_s: Option<f64>,
}

impl From<&Limits> for Kept {
    /// The limits of a stage. A pace ceiling for level-ground pace is kept on the ground as well.
    fn from(limits: &Limits) -> Self {
        Self {
            pace_ceiling_mps: limits.pace_ceiling.map(jogaudit_recording::units::MetresPerSecond::get),
            heart_rate_ceiling_bpm: limits
                .heart_rate_ceiling
                .map(jogaudit_recording::units::BeatsPerMinute::get),
            walk_cadence_floor_spm: limits
                .walk_cadence_floor
                .map(jogaudit_recording::units::StepsPerMinute::get),
            session_ceiling_s: limits.session_ceiling.map(jogaudit_recording::units::Seconds::get),
        }
    }
}

/// By what the runner's speeds of the day differ from the usual ones, as factors: 1 for none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Form {
    /// Of walking.
    pub walk: f64,
    /// Of jogging.
    pub jog: f64,
}

impl Default for Form {
    /// As usual.
    fn default() -> Self {
        Self { walk: 1.0, jog: 1.0 }
    }
}

/// How much is done of what may be more or less.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum InRange {
    /// The least.
    Least,
    /// Something between a tenth and nine tenths of the way from the least to the most, drawn.
    #[default]
    Inside,
    /// The most; of a range without an upper end a little above the least.
    Most,
}

/// Strength of reception.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Gps {
    /// Open sky.
    Clean,
    /// As usual.
    #[default]
    Typical,
    /// Between houses or under trees, with multipath.
    Bad,
    /// Errors of 3 to 6 m that change within 5 to 40 s, both drawn with the runner.
    Coarse,
}

/// When a recorder writes a sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Sampling {
    /// Every second.
    #[default]
    EverySecond,
    /// Every 3 to 8 s, irregularly.
    Smart,
    /// Every 2, 3, 4 or 5 s, drawn with the runner.
    Slow,
    /// Every second with 71 of 100 runners, else every 3 to 8 s.
    Drawn,
}

/// Finest cadence that a recorder writes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CadenceStep {
    /// One stride a minute: 2 steps.
    #[default]
    Stride,
    /// Half a stride: 1 step. Only FIT has a place for it.
    HalfStride,
}

/// Which laps a recorder writes. GPX has none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Laps {
    /// One for the whole session.
    #[default]
    Whole,
    /// One a step, at the beep, with the step's intensity.
    Steps,
    /// One a kilometre.
    Kilometres,
    /// One a change of gait, by a press of the button.
    Changes,
    /// As many presses of the button, at moments that have nothing to do with the changes.
    Anywhere,
    /// One a step of [`Settings::workout`], at the beep. Only FIT has a place for the workout.
    Workout,
}

/// What a recorder guesses that its wearer is doing. Only FIT has a place for it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Guesses {
    /// Nothing.
    #[default]
    None,
    /// What is true, noticed 2 to 8 s late.
    Right,
    /// Running or walking by chance, for 20 to 120 s each.
    Chance,
    /// Running from beginning to end.
    AlwaysRun,
}

/// What a recorder writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools)] // a set of channels: any combination is meant
pub struct Channels {
    /// Position. Without it (a treadmill) there is no GPX.
    pub position: bool,
    /// Altitude.
    pub altitude: bool,
    /// Distance covered.
    pub distance: bool,
    /// Speed.
    pub speed: bool,
    /// Cadence.
    pub cadence: bool,
    /// Heart rate.
    pub heart_rate: bool,
}

impl Channels {
    /// Everything.
    pub const ALL: Self =
        Self { position: true, altitude: true, distance: true, speed: true, cadence: true, heart_rate: true };
    /// Everything but cadence.
    pub const NO_CADENCE: Self = Self { cadence: false, ..Self::ALL };
    /// Position and heart rate.
    pub const POSITIONS_ONLY: Self =
        Self { altitude: false, distance: false, speed: false, cadence: false, ..Self::ALL };
    /// Everything but cadence and heart rate.
    pub const SPEED_ALONE: Self = Self { heart_rate: false, ..Self::NO_CADENCE };
    /// Positions and the altitude of each.
    pub const POSITIONS_AND_ALTITUDE: Self =
        Self { altitude: true, heart_rate: false, ..Self::POSITIONS_ONLY };
    /// Everything but position and altitude.
    pub const TREADMILL: Self = Self { position: false, altitude: false, ..Self::ALL };
}

/// A window of time in the recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// From, s on the recording's clock, rounded to whole seconds; drawn inside a bout when not given.
    pub at_s: Option<f64>,
    /// For how long, s, rounded to whole seconds.
    pub length_s: f64,
}

/// How a wrist's cadence goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CadenceFaultKind {
    /// Locked at half the rhythm.
    Half,
    /// Locked at double the rhythm.
    Double,
    /// 0 while moving.
    DropOut,
    /// Stuck at one value.
    Held,
    /// The last value goes on after each stop; where it begins is not used.
    HeldAfterStop,
}

/// A fault of cadence to order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CadenceFault {
    /// How.
    pub kind: CadenceFaultKind,
    /// When.
    pub window: Window,
}

/// What is left of the cadence of one gait.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CadenceLeft {
    /// So many readings, evenly over all of that gait.
    Readings(usize),
    /// One reading in so many.
    OneIn(usize),
    /// A 0 in place of each.
    Zeros,
    /// What was last counted before the gait began.
    Stuck,
    /// Half of each.
    Half,
    /// Double of each.
    Double,
}

/// Damage to the cadence of one gait throughout a recording; the other gait's is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CadenceDamage {
    /// Whose.
    pub gait: Gait,
    /// What is left.
    pub left: CadenceLeft,
}

/// What to make up.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The same seed and settings give the same bytes.
    pub seed: u64,
    /// Seed of the runner alone, for several sessions of one person; `seed` when not given.
    pub runner_seed: Option<u64>,
    /// How the day differs from the runner's others.
    pub form: Form,
    /// Format whose rounding the recording has.
    pub format: Format,
    /// Time of the first sample; whole seconds.
    pub start: Timestamp,
    /// Offset of local time from UTC, s. Only FIT has a place for it.
    pub utc_offset_s: Option<i32>,
    /// How much of what real recordings do is made up.
    pub realism: Realism,
    /// How clearly walking and jogging differ.
    pub profile: Profile,
    /// Limits that are kept.
    pub kept: Kept,
    /// How much is done of a step that may be more or less.
    pub in_range: InRange,
    /// Hills; the ground is level without.
    pub hills: bool,
    /// What the runner does wrong, in this order.
    pub faults: Vec<Fault>,
    /// Strength of reception.
    pub gps: Gps,
    /// When samples are written.
    pub sampling: Sampling,
    /// Share of samples that are missing at random, 0 to 1.
    pub missing: f64,
    /// What is written.
    pub channels: Channels,
    /// Finest cadence.
    pub cadence_step: CadenceStep,
    /// Longest lag of an ideal recorder's smoothed speed and cadence, s; the lag is drawn between 0 and this.
    pub longest_lag_s: f64,
    /// Which laps are written.
    pub laps: Laps,
    /// The workout on the watch, for [`Laps::Workout`].
    pub workout: Option<Workout>,
    /// How much later than they should the laps of [`Laps::Steps`] and [`Laps::Changes`] begin, s.
    pub lap_late_s: f64,
    /// What the recorder guesses.
    pub guesses: Guesses,
    /// Pauses of the recorder, in which the runner stands and the session waits.
    pub pauses: Vec<Window>,
    /// Stretches whose samples are lost while the session goes on.
    pub holes: Vec<Window>,
    /// Faults of the cadence.
    pub cadence_faults: Vec<CadenceFault>,
    /// Damage to the cadence of one gait; readings are counted in whole seconds.
    pub cadence_damage: Option<CadenceDamage>,
}

/// 2026-03-02T07:10:00Z: our choice.
const USUAL_START_S: i64 = 1_772_435_400;

impl Default for Settings {
    /// A steady runner on level ground who does as prescribed, recorded every second with everything in FIT under
    /// typical reception.
    fn default() -> Self {
        Self {
            seed: 0,
            runner_seed: None,
            form: Form::default(),
            format: Format::Fit,
            start: Timestamp::from_second(USUAL_START_S).unwrap_or_default(),
            utc_offset_s: None,
            realism: Realism::default(),
            profile: Profile::default(),
            kept: Kept::default(),
            in_range: InRange::default(),
            hills: false,
            faults: Vec::new(),
            gps: Gps::default(),
            sampling: Sampling::default(),
            missing: 0.0,
            channels: Channels::ALL,
            cadence_step: CadenceStep::default(),
            longest_lag_s: 3.0,
            laps: Laps::default(),
            workout: None,
            lap_late_s: 0.0,
            guesses: Guesses::default(),
            pauses: Vec::new(),
            holes: Vec::new(),
            cadence_faults: Vec::new(),
            cadence_damage: None,
        }
    }
}

/// A made-up recording with what is true of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Simulated {
    /// As a reader of [`Settings::format`] gives it.
    pub recording: Recording,
    /// True bouts: they tile from 0 to the last sample, neighbours differ in gait.
    pub truth: Vec<TrueBout>,
    /// The faults with the reps that were drawn.
    pub faults: Vec<Fault>,
    /// The runner that was drawn.
    pub person: Person,
    settings: Settings,
    track: recorder::Track,
    laps: Vec<Lap>,
    guesses: Vec<Guess>,
}

impl Simulated {
    /// The same recording as a reader of another format gives it.
    ///
    /// # Errors
    /// [`SimulateError::NoPositions`] for GPX.
    pub fn recording_in(&self, format: Format) -> Result<Recording, SimulateError> {
        quantise::recording(&self.track, &self.laps, &self.guesses, &self.settings, format)
    }

    /// The truth file, JSON of schema `jogaudit.truth/1`.
    pub fn truth_json(&self) -> String {
        truth::to_json(self.settings.seed, &self.truth, &self.faults)
    }
}

/// Why a session could not be made up.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SimulateError {
    /// There is nothing to do.
    #[error("the session has no steps")]
    NoSteps,
    /// A step is not a time or distance above 0.
    #[error("step {step} has no length above 0")]
    EmptyStep {
        /// 1-based number of the step.
        step: usize,
    },
    /// More than two days.
    #[error("the session is longer than 48 hours")]
    TooLong,
    /// The watch was started after the end.
    #[error("the watch would be started after the session's end: nothing is recorded")]
    NothingRecorded,
    /// GPX cannot hold samples without a position.
    #[error("GPX cannot hold samples without a position: use FIT or TCX")]
    NoPositions,
    /// The fault does not fit the session.
    #[error("the session has no rep for the fault `{fault}`")]
    NoSuchRep {
        /// Which fault.
        fault: Fault,
    },
    /// The fault takes more than there is.
    #[error("the fault `{fault}` leaves less than 5 s of its step")]
    NothingLeft {
        /// Which fault.
        fault: Fault,
    },
    /// A pause, hole or cadence fault does not fit the session.
    #[error("a stretch of {} s{} does not fit the recording", .window.length_s, at_text(.window))]
    WindowOutside {
        /// Which window.
        window: Window,
    },
    /// A held value after a stop was ordered, and the session has none.
    #[error("the session has no stop after which cadence could hold on")]
    NoStop,
}

fn at_text(window: &Window) -> String {
    window.at_s.map(|at| format!(" at {at} s")).unwrap_or_default()
}

/// Makes up a recording of a session done as prescribed, or with the faults of the settings.
///
/// # Errors
/// When there is nothing to do, or a fault or window does not fit the session: see [`SimulateError`].
pub fn simulate(steps: &[Step], settings: &Settings) -> Result<Simulated, SimulateError> {
    check(steps)?;
    let (person, scenario, motion) = move_through(steps, &settings.faults, settings)?;
    let track = recorder::record(&motion, scenario.unrecorded_s, settings)?;
    let truth = truth::bouts(&motion.timeline, &track);
    let laps =
        quantise::laps(&lap_starts(&motion, &scenario, settings.workout.as_ref()), &truth, &track, settings);
    let guesses = guesses::made(&truth, settings);
    Ok(Simulated {
        recording: quantise::recording(&track, &laps, &guesses, settings, settings.format)?,
        truth,
        faults: scenario.faults,
        person,
        settings: settings.clone(),
        track,
        laps,
        guesses,
    })
}

/// The runner who does these steps with these faults, what is done, and how it truly goes.
fn move_through(
    steps: &[Step],
    faults: &[Fault],
    settings: &Settings,
) -> Result<(Person, faults::Scenario, motion::Motion), SimulateError> {
    let person = person(steps, settings);
    let legs = faults::as_prescribed(steps, &settings.kept, settings.in_range, settings.seed);
    let scenario = faults::apply(legs, faults, &person, &settings.kept, settings.seed)?;
    let motion = motion::simulate(&scenario, &person, settings)?;
    Ok((person, scenario, motion))
}

/// Draws the runner who would do these steps: who can keep their ceilings and the settings' limits.
///
/// For a session whose number of steps depends on the runner's speeds.
pub fn person(steps: &[Step], settings: &Settings) -> Person {
    let legs = faults::as_prescribed(steps, &settings.kept, settings.in_range, settings.seed);
    let slowest = legs.iter().filter_map(|l| l.ceiling_mps).min_by(f64::total_cmp);
    let seed = settings.runner_seed.unwrap_or(settings.seed);
    Person::draw(seed, settings.profile, &settings.kept, slowest).on_a_day(settings.form)
}

/// Writes a made-up recording as a file.
///
/// # Errors
/// [`SimulateError::NoPositions`] for GPX.
pub fn write(simulated: &Simulated, format: Format) -> Result<Vec<u8>, SimulateError> {
    let recording = simulated.recording_in(format)?;
    Ok(match format {
        Format::Fit => write_fit::write(&recording),
        Format::Gpx => write_gpx::write(&recording, &simulated.pauses_s()),
        Format::Tcx => write_tcx::write(&recording, &simulated.pauses_s()),
    })
}

/// Packs a file with gzip; no name and no time, so that the same input gives the same bytes.
pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    // Writing to memory does not fail.
    packer.write_all(bytes).and_then(|()| packer.finish()).unwrap_or_default()
}

impl Simulated {
    /// Pauses of the recorder from, to, s.
    fn pauses_s(&self) -> Vec<(f64, f64)> {
        self.track.pauses.iter().map(|p| (p.0 as f64, p.1 as f64)).collect()
    }
}

/// The steps of a session for the runner who is drawn with these settings: of a session that may end in one of several steps
/// the one that [`Settings::in_range`] says. Where speeds say how many there are, a realistic runner's are those of the day.
pub fn steps_of(session: &Session, settings: &Settings) -> Vec<Step> {
    // So often the steps are laid out anew at the speeds with which they were done. Our choice.
    const ROUNDS: usize = 4;
    // Speeds of anyone, m/s, to see the ceilings. Our choice.
    const RUN: MetresPerSecond = MetresPerSecond::new(2.5);
    const WALK: MetresPerSecond = MetresPerSecond::new(1.5);
    let expansion = session.expand();
    let pick = |mut ways: Vec<Vec<Step>>| {
        let last = ways.len().saturating_sub(1);
        let at = match settings.in_range {
            InRange::Least => 0,
            InRange::Most => last,
            InRange::Inside => random::rng(settings.seed, random::Stream::Ways).random_range(0..=last),
        };
        ways.swap_remove(at)
    };
    let anyone = pick(expansion.ways_at(RUN, WALK));
    if expansion.is_settled_by_words() {
        return anyone;
    }
    let runner = person(&anyone, settings);
    let at = |run, walk| pick(expansion.ways_at(MetresPerSecond::new(run), MetresPerSecond::new(walk)));
    let mut steps = at(runner.jog_speed_mps, runner.walk_speed_mps);
    if settings.realism == Realism::Realistic {
        for _ in 0..ROUNDS {
            let Some((run, walk)) = speeds_of_the_day(&steps, settings) else { break };
            steps = at(run, walk);
        }
    }
    match expansion.whole_by_time().filter(|whole| whole.time_s.is_exact()) {
        Some(whole) => ended_by_the_clock(steps, whole, settings),
        None => steps,
    }
}

/// The steps with as many of a whole by time as its time holds, the last cut when it is over; as they were where they cannot be done.
fn ended_by_the_clock(mut steps: Vec<Step>, whole: WholeByTime<'_>, settings: &Settings) -> Vec<Step> {
    // At most so many steps more or fewer than at mean speeds, and how near the time comes, s. Our choice.
    const ROUNDS: usize = 12;
    const NEAR_S: f64 = 2.0;
    let without_pauses = Settings { pauses: Vec::new(), ..settings.clone() };
    for _ in 0..ROUNDS {
        let Ok((.., motion)) = move_through(&steps, &[], &without_pauses) else { break };
        let beeps = &motion.timeline.beeps;
        let since_s = |beep: usize| beeps[beep] - beeps[whole.before];
        let last = steps.len() - 1 - whole.after;
        let Some(over) = (whole.before..=last).find(|step| since_s(step + 1) >= whole.time_s.most - NEAR_S)
        else {
            let in_cycle = |step: usize| whole.cycle[(step - whole.before) % whole.cycle.len()];
            steps[last] = in_cycle(last);
            steps.insert(last + 1, in_cycle(last + 1));
            continue;
        };
        let is_near = over == last && since_s(last + 1) <= whole.time_s.most + NEAR_S;
        if is_near {
            break;
        }
        steps.drain(over + 1..=last);
        steps[over].extent = Extent::Time(Seconds::new(whole.time_s.most - since_s(over))).into();
    }
    steps
}

/// Mean speeds of running and walking of these steps on the day, m/s; `None` where there is one gait or they cannot be done.
fn speeds_of_the_day(steps: &[Step], settings: &Settings) -> Option<(f64, f64)> {
    let (.., motion) = move_through(steps, &[], settings).ok()?;
    let mean = |gait| {
        let parts = motion.timeline.parts.iter().filter(|part| part.gait == gait);
        let (covered_m, took_s) = parts.fold((0.0, 0.0), |(covered_m, took_s), part| {
            (covered_m + motion.covered_m(part.start_s, part.end_s), took_s + part.end_s - part.start_s)
        });
        (covered_m > 0.0).then(|| covered_m / took_s)
    };
    mean(Gait::Run).zip(mean(Gait::Walk))
}

fn check(steps: &[Step]) -> Result<(), SimulateError> {
    if steps.is_empty() {
        return Err(SimulateError::NoSteps);
    }
    let is_some = |amount: f64| amount.is_finite() && amount > 0.0;
    let is_length = |ends: Range| is_some(ends.least) || (ends.least == 0.0 && is_some(ends.most));
    match steps.iter().position(|s| !is_length(s.extent.amounts())) {
        Some(i) => Err(SimulateError::EmptyStep { step: i + 1 }),
        None => Ok(()),
    }
}

/// When each leg's beep sounds on the recording's clock, with the intensity of its lap and its step of the workout.
fn lap_starts(
    motion: &motion::Motion,
    scenario: &faults::Scenario,
    workout: Option<&Workout>,
) -> Vec<(f64, LapIntensity, Option<u16>)> {
    let order = workout.and_then(Workout::unrolled).unwrap_or_default();
    let last = scenario.legs.len().saturating_sub(1);
    let beeps = motion.timeline.beeps.iter();
    // A stop inside a run is no lap: what it interrupts does not end on a beep.
    let begins = |i: usize| i.checked_sub(1).is_none_or(|before| scenario.legs[before].ends_on_beep);
    let lap = |(i, (leg, at)): (usize, (&faults::Leg, &f64))| {
        let intensity = match leg.gait {
            Gait::Run => LapIntensity::Active,
            _ if i == 0 => LapIntensity::WarmUp,
            _ if i == last => LapIntensity::CoolDown,
            _ => LapIntensity::Rest,
        };
        let step = order.get(i).and_then(|step| u16::try_from(*step).ok());
        ((at - scenario.unrecorded_s).round(), intensity, step)
    };
    scenario.legs.iter().zip(beeps).enumerate().filter(|(i, _)| begins(*i)).map(lap).collect()
}

#[cfg(test)]
pub(crate) mod testing {
    //! Sessions for tests.

    use jogaudit_core::prescription::{Extent, Move, Step};
    use jogaudit_recording::units::Seconds;

    /// One timed step.
    pub(crate) fn step(motion: Move, seconds: f64) -> Step {
        Step { motion, extent: Extent::Time(Seconds::new(seconds)).into(), ceiling: None }
    }

    /// `walk 5:00, N x (run R, walk W), walk 5:00`.
    pub(crate) fn run_walk(times: usize, run_s: f64, walk_s: f64) -> Vec<Step> {
        let pair = [step(Move::Run, run_s), step(Move::Walk, walk_s)];
        let mut steps = vec![step(Move::Walk, 300.0)];
        steps.extend(std::iter::repeat_n(pair, times).flatten());
        steps.push(step(Move::Walk, 300.0));
        steps
    }
}
