//! A workout as FIT messages, and as a file that a watch takes.
//!
//! Numbers, scales and base types are those of the public FIT profile 21.202, as in the crate `fitparser` 0.11 (`src/profile/`); the
//! tests read the files with it and with `fitdecode`.

use jiff::Timestamp;

use crate::read::LapIntensity;
use crate::units::StepsPerMinute;
use crate::workout::{StepEnd, StepTarget, Workout, WorkoutStep};

use super::fit::{Base, EPOCH_UNIX_S, FitMessages, NO_MANUFACTURER, cut};
use Base::{Enum, Text, U16, U32};

/// Most bytes of a name or a note: a field's size is one byte, and the zero behind the text counts.
pub const MOST_TEXT_BYTES: usize = 254;
/// `file_id` type: a workout.
const WORKOUT_FILE: i64 = 5;
/// `sport`: running.
const RUNNING: i64 = 1;
/// Heart rates count from here; below are percent of the greatest.
const BPM_OFFSET: f64 = 100.0;
/// The lower end of a heart-rate range that has none, beats a minute: no reading is lower. Our choice.
const NO_LEAST_BPM: f64 = 30.0;
/// The upper end of a cadence range that has none, strides a minute: the greatest that a sample holds.
const NO_MOST_RPM: f64 = 254.0;

/// More steps than the field for their number holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the workout has {steps} steps; a FIT file holds at most {MOST_STEPS}")]
pub struct TooManySteps {
    /// How many there are.
    pub steps: usize,
}

/// The field for the number of steps is a uint16, and its greatest value says "none".
const MOST_STEPS: usize = 0xFFFE;

/// Makes a workout file. `created` is the time that it says it was made.
///
/// # Errors
/// When there are more steps than the format has numbers for.
pub fn workout_file(workout: &Workout, created: Timestamp) -> Result<Vec<u8>, TooManySteps> {
    let mut messages = FitMessages::default();
    let created = created.as_second() - EPOCH_UNIX_S;
    messages.once(
        0,
        0,
        &[
            (0, Enum, Some(WORKOUT_FILE)),
            (1, U16, Some(NO_MANUFACTURER)),
            (2, U16, Some(0)),
            (4, U32, Some(created)),
        ],
    );
    workout_messages(workout, &mut messages)?;
    Ok(messages.file())
}

/// Adds the messages `workout` and `workout_step`, both under the local number 0. A text that is longer than [`MOST_TEXT_BYTES`] is
/// cut at a whole character.
///
/// # Errors
/// When there are more steps than the format has numbers for.
pub fn workout_messages(workout: &Workout, messages: &mut FitMessages) -> Result<(), TooManySteps> {
    let steps = workout.steps.len();
    if steps > MOST_STEPS {
        return Err(TooManySteps { steps });
    }
    // `workout`: sport, num_valid_steps, wkt_name.
    let room = room([workout.name.as_str()]);
    messages.define(0, 26, &[(4, Enum), (6, U16), (8, Text(room))]);
    messages.begin(0);
    messages.value(Enum, Some(RUNNING));
    messages.value(U16, i64::try_from(steps).ok());
    messages.text(room, &workout.name);
    let names = self::room(workout.steps.iter().map(|step| step.name.as_str()));
    let notes = self::room(workout.steps.iter().map(|step| step.notes.as_str()));
    messages.define(0, 27, &[&NUMBERS[..], &[(0, Text(names)), (8, Text(notes))]].concat());
    for (index, step) in workout.steps.iter().enumerate() {
        messages.begin(0);
        for ((_, base), value) in NUMBERS.into_iter().zip(numbers_of(index, step)) {
            messages.value(base, value);
        }
        messages.text(names, &step.name);
        messages.text(notes, &step.notes);
    }
    Ok(())
}

/// Bytes of a field that holds each of these texts.
fn room<'t>(texts: impl IntoIterator<Item = &'t str>) -> u8 {
    texts.into_iter().map(|text| cut(text, u8::MAX).len() as u8 + 1).max().unwrap_or(1)
}

/// `workout_step`: index, intensity, duration and its value; of the first and of the second target the type, the zone (0: a custom
/// range) and both ends.
const NUMBERS: [(u8, Base); 12] = [
    (254, U16),
    (7, Enum),
    (1, Enum),
    (2, U32),
    (3, Enum),
    (4, U32),
    (5, U32),
    (6, U32),
    (19, Enum),
    (20, U32),
    (21, U32),
    (22, U32),
];

fn numbers_of(index: usize, step: &WorkoutStep) -> [Option<i64>; 12] {
    let intensity = match step.intensity {
        LapIntensity::Active => Some(0),
        LapIntensity::Rest => Some(1),
        LapIntensity::WarmUp => Some(2),
        LapIntensity::CoolDown => Some(3),
        LapIntensity::Unknown => None,
    };
    let (duration, value, again) = end(step.end);
    let [[kind, zone, low, high], second] = step.targets.map(target);
    // What a repeat counts stands where a zone stands.
    let zone = again.or(zone);
    let none = step.targets[0].is_none();
    let kind = if none { Some(OPEN_TARGET) } else { kind };
    let index = i64::try_from(index).ok();
    [
        index,
        intensity,
        Some(duration),
        value,
        kind,
        zone,
        low,
        high,
        second[0],
        second[1],
        second[2],
        second[3],
    ]
}

/// `wkt_step_target`: open.
const OPEN_TARGET: i64 = 2;

/// `wkt_step_duration`, its value, and what a repeat counts.
fn end(end: StepEnd) -> (i64, Option<i64>, Option<i64>) {
    let scaled = |value: f64, scale: f64| Some((value * scale).round() as i64);
    let step = |first: usize| i64::try_from(first).ok();
    match end {
        StepEnd::Time(time) => (0, scaled(time.get(), 1000.0), None),
        StepEnd::Distance(distance) => (1, scaled(distance.get(), 100.0), None),
        StepEnd::Open | StepEnd::Other => (5, None, None),
        StepEnd::Repeat { first, times } => (6, step(first), Some(i64::from(times))),
        StepEnd::RepeatForTime { first, time } => (7, step(first), scaled(time.get(), 1000.0)),
        StepEnd::RepeatForDistance { first, distance } => (8, step(first), scaled(distance.get(), 100.0)),
    }
}

/// `wkt_step_target`, no zone, the lower and the upper end. A ceiling is rounded down, a floor up, so that neither asks for more than
/// is meant.
fn target(target: Option<StepTarget>) -> [Option<i64>; 4] {
    let rpm = |cadence: StepsPerMinute| cadence.get() / 2.0;
    let (kind, low, high) = match target {
        None => return [None; 4],
        Some(StepTarget::SpeedAtMost(most)) => (0, 0.0, (most.get() * 1000.0 + SLACK).floor()),
        Some(StepTarget::HeartRateAtMost(most)) => {
            (1, BPM_OFFSET + NO_LEAST_BPM, BPM_OFFSET + most.get().floor())
        }
        Some(StepTarget::Cadence { least, most }) => {
            (3, rpm(least).ceil(), most.map_or(NO_MOST_RPM, |most| rpm(most).floor().max(rpm(least).ceil())))
        }
    };
    [Some(kind), Some(0), Some(low as i64), Some(high as i64)]
}

/// Millimetres a second that a product of decimals may lack by its rounding.
const SLACK: f64 = 1e-6;
