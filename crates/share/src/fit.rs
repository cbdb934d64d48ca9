//! Writes a recording as a FIT file (protocol 2.0, little-endian) of nothing but the fields below.
//!
//! Numbers, scales and base types are those of the public FIT profile 21.202, as in the crate `fitparser` 0.11
//! (`src/profile/`); the tests read the files with it and with `fitdecode`. What positions told is a developer field.

use jogaudit_recording::read::{
    APPLICATION_ID, Guess, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, Recording, Sample,
    TimerEvent, pauses_s,
};
use jogaudit_recording::workout::{Workout, WorkoutStep};
use jogaudit_recording::write::{
    Base, EPOCH_UNIX_S, Field, FitMessages, NO_MANUFACTURER, shape, workout_messages,
};

use Base::{Enum, Text, U8, U16, U32};

/// What a `record` may hold beside its time: number, base type, value of a sample.
type Column = (u8, Base, fn(&Sample) -> Option<i64>);

/// Altitude (fifths of a metre from 500 m below zero), distance (centimetres), speed (millimetres a second), heart rate, cadence of
/// one leg and its fraction (of 128).
const COLUMNS: [Column; 6] = [
    (78, U32, |sample| Some(scaled(sample.altitude?.get() + 500.0, 5.0))),
    (5, U32, |sample| Some(scaled(sample.distance?.get(), 100.0))),
    (73, U32, |sample| Some(scaled(sample.speed?.get(), 1000.0))),
    (3, U8, |sample| Some(scaled(sample.heart_rate?.get(), 1.0))),
    (4, U8, |sample| Some(cadence_parts(sample)? / CADENCE_PARTS)),
    (53, U8, |sample| Some(cadence_parts(sample)? % CADENCE_PARTS)),
];

/// `fractional_cadence` counts so many to a stride a minute.
const CADENCE_PARTS: i64 = 128;
/// Highest cadence that has a place, strides a minute; what is above is far out of range for the reader, and so is this.
const MOST_STRIDES: f64 = 254.0;

/// Cadence of one leg in parts.
fn cadence_parts(sample: &Sample) -> Option<i64> {
    let strides = (sample.cadence?.get() / 2.0).clamp(0.0, MOST_STRIDES);
    Some(scaled(strides, CADENCE_PARTS as f64))
}

fn scaled(value: f64, scale: f64) -> i64 {
    (value * scale).round() as i64
}

/// Speed that positions told, mm/s: our developer field.
fn told_by_positions(sample: &Sample) -> Option<i64> {
    Some(scaled(sample.speed_by_positions?.get(), 1000.0))
}

/// Local numbers of the messages.
mod local {
    pub(super) const ONCE: u8 = 0;
    pub(super) const RECORD: u8 = 1;
    pub(super) const EVENT: u8 = 2;
    pub(super) const LAP: u8 = 3;
    pub(super) const SPLIT: u8 = 4;
}

/// Global numbers of the messages.
mod global {
    pub(super) const FILE_ID: u16 = 0;
    pub(super) const SESSION: u16 = 18;
    pub(super) const LAP: u16 = 19;
    pub(super) const RECORD: u16 = 20;
    pub(super) const EVENT: u16 = 21;
    pub(super) const ACTIVITY: u16 = 34;
    pub(super) const FIELD_DESCRIPTION: u16 = 206;
    pub(super) const DEVELOPER_DATA_ID: u16 = 207;
    pub(super) const SPLIT: u16 = 312;
}

/// Every message's time.
const TIMESTAMP: u8 = 253;
const MESSAGE_INDEX: u8 = 254;

/// Values of `event` and `event_type`.
mod event {
    pub(super) const TIMER: i64 = 0;
    pub(super) const SESSION: i64 = 8;
    pub(super) const LAP: i64 = 9;
    pub(super) const ACTIVITY: i64 = 26;
    pub(super) const START: i64 = 0;
    pub(super) const STOP: i64 = 1;
}

/// `file_id`: an activity.
const ACTIVITY_FILE: i64 = 4;

/// `sport` of one without a number, as in a damaged file: training, so that it stays one that is not on foot.
const NOT_ON_FOOT: u8 = 10;

/// Writes the file with header, messages and both checksums.
pub(crate) fn write(recording: &Recording) -> Vec<u8> {
    let mut file = File { recording, messages: FitMessages::default() };
    file.all();
    file.messages.file()
}

struct File<'a> {
    recording: &'a Recording,
    messages: FitMessages,
}

impl File<'_> {
    fn all(&mut self) {
        let recording = self.recording;
        let has_told = recording.samples().iter().any(|sample| sample.speed_by_positions.is_some());
        self.once(
            global::FILE_ID,
            &[
                (0, Enum, Some(ACTIVITY_FILE)),
                (1, U16, Some(NO_MANUFACTURER)),
                (2, U16, Some(0)),
                (4, U32, Some(self.time(0.0))),
            ],
        );
        if let Some(workout) = recording.workout() {
            // What was read fits.
            let _ = workout_messages(&without_words(workout), &mut self.messages);
        }
        if has_told {
            self.describe_developer_field();
        }
        self.samples(has_told);
        for (index, lap) in recording.laps().iter().enumerate() {
            self.lap(index, lap);
        }
        let splits = recording.guesses().iter().filter(|guess| guess.source == GuessSource::Split);
        for (index, guess) in splits.enumerate() {
            self.split(index, guess);
        }
        self.ending();
    }

    /// Defines a message and writes it.
    fn once(&mut self, global: u16, fields: &[Field]) {
        self.messages.once(local::ONCE, global, fields);
    }

    /// Says whose the developer field is and what it means, so that any decoder can name it.
    fn describe_developer_field(&mut self) {
        /// Base type byte.
        const BYTE: u8 = 0x0D;
        const NAME: &str = "speed_by_positions";
        const UNITS: &str = "mm/s";
        let id = APPLICATION_ID;
        let data = &mut self.messages;
        data.raw(&[0x40 | local::ONCE, 0, 0]);
        data.raw(&global::DEVELOPER_DATA_ID.to_le_bytes());
        data.raw(&[2, 1, id.len() as u8, BYTE, 3, U8.size(), U8.code()]);
        data.raw(&[local::ONCE]);
        data.raw(&id);
        data.raw(&[0]);
        let (name, units) = (Text(NAME.len() as u8 + 1), Text(UNITS.len() as u8 + 1));
        data.define(
            local::ONCE,
            global::FIELD_DESCRIPTION,
            &[(0, U8), (1, U8), (2, U8), (3, name), (8, units)],
        );
        data.raw(&[local::ONCE, 0, 0, U16.code()]);
        data.text(name.size(), NAME);
        data.text(units.size(), UNITS);
    }

    /// FIT time of a moment of the recording.
    fn time(&self, time_s: f64) -> i64 {
        (self.recording.start().as_second() - EPOCH_UNIX_S).saturating_add(time_s.round() as i64)
    }

    /// Samples and timer events: both in the order of the recording.
    fn samples(&mut self, has_told: bool) {
        let recording = self.recording;
        let columns: Vec<Column> = COLUMNS
            .into_iter()
            .filter(|(_, _, value)| recording.samples().iter().any(|sample| value(sample).is_some()))
            .collect();
        let guesses = sample_guesses(recording);
        let mut shape = vec![(TIMESTAMP, U32)];
        shape.extend(columns.iter().map(|(number, base, _)| (*number, *base)));
        if !guesses.is_empty() {
            shape.push((42, Enum));
        }
        // One developer field: number 0, of two bytes, of the developer 0.
        let told = [[0, U16.size(), 0]];
        self.messages.define_with(local::RECORD, global::RECORD, &shape, &told[..usize::from(has_told)]);
        self.messages.define(local::EVENT, global::EVENT, &[(TIMESTAMP, U32), (0, Enum), (1, Enum)]);
        let mut events = recording.timer().iter().peekable();
        for sample in recording.samples() {
            // The timer starts before its first sample and stops after its last.
            while let Some(event) = events.next_if(|event| event.running && event.time_s <= sample.time_s) {
                self.timer(event);
            }
            self.messages.begin(local::RECORD);
            self.messages.value(U32, Some(self.time(sample.time_s)));
            for (_, base, value) in &columns {
                self.messages.value(*base, value(sample));
            }
            if !guesses.is_empty() {
                self.messages.value(Enum, guessed_at(&guesses, sample.time_s));
            }
            if has_told {
                self.messages.value(U16, told_by_positions(sample));
            }
            while let Some(event) = events.next_if(|event| !event.running && event.time_s <= sample.time_s) {
                self.timer(event);
            }
        }
        for event in events {
            self.timer(event);
        }
    }

    fn timer(&mut self, event: &TimerEvent) {
        let kind = if event.running { event::START } else { event::STOP };
        let time = self.time(event.time_s);
        self.messages.message(
            local::EVENT,
            &[(TIMESTAMP, U32, Some(time)), (0, Enum, Some(event::TIMER)), (1, Enum, Some(kind))],
        );
    }

    fn lap(&mut self, index: usize, lap: &Lap) {
        let trigger = match lap.trigger {
            LapTrigger::Manual => Some(0),
            LapTrigger::Time => Some(1),
            LapTrigger::Distance => Some(2),
            LapTrigger::Other => Some(7),
            LapTrigger::Step => None,
        };
        let intensity = match lap.intensity {
            LapIntensity::Active => Some(0),
            LapIntensity::Rest => Some(1),
            LapIntensity::WarmUp => Some(2),
            LapIntensity::CoolDown => Some(3),
            LapIntensity::Unknown => None,
        };
        let fields = [
            (TIMESTAMP, U32, Some(self.time(lap.end_s.unwrap_or(lap.start_s)))),
            (MESSAGE_INDEX, U16, i64::try_from(index).ok()),
            (2, U32, Some(self.time(lap.start_s))),
            (7, U32, lap.end_s.map(|end_s| scaled(end_s - lap.start_s, 1000.0))),
            (0, Enum, Some(event::LAP)),
            (1, Enum, Some(event::STOP)),
            (23, Enum, intensity),
            (24, Enum, trigger),
            (71, U16, lap.step.map(i64::from)),
        ];
        if index == 0 {
            self.messages.define(local::LAP, global::LAP, &shape(&fields));
        }
        self.messages.message(local::LAP, &fields);
    }

    fn split(&mut self, index: usize, guess: &Guess) {
        let kind = match guess.gait {
            GuessedGait::Run => 17,
            GuessedGait::Walk => 18,
            GuessedGait::Stand => 22,
        };
        let fields = [
            (0, Enum, Some(kind)),
            (9, U32, Some(self.time(guess.start_s))),
            (1, U32, Some(scaled(guess.end_s - guess.start_s, 1000.0))),
        ];
        if index == 0 {
            self.messages.define(local::SPLIT, global::SPLIT, &shape(&fields));
        }
        self.messages.message(local::SPLIT, &fields);
    }

    fn ending(&mut self) {
        let recording = self.recording;
        let end_s = recording.samples().iter().map(|sample| sample.time_s).fold(0.0, f64::max);
        let (end, start) = (self.time(end_s), self.time(0.0));
        let elapsed = Some(scaled(end_s, 1000.0));
        let timer = Some(scaled((end_s - stopped_s(recording, end_s)).max(0.0), 1000.0));
        let sport = i64::from(recording.sport().fit_number().unwrap_or(NOT_ON_FOOT));
        self.once(
            global::SESSION,
            &[
                (TIMESTAMP, U32, Some(end)),
                (MESSAGE_INDEX, U16, Some(0)),
                (2, U32, Some(start)),
                (7, U32, elapsed),
                (8, U32, timer),
                (0, Enum, Some(event::SESSION)),
                (1, Enum, Some(event::STOP)),
                (5, Enum, Some(sport)),
                (6, Enum, Some(0)),
                (25, U16, Some(0)),
                (26, U16, i64::try_from(recording.laps().len()).ok()),
            ],
        );
        let local = recording.utc_offset_s().map(|offset_s| end + i64::from(offset_s));
        self.once(
            global::ACTIVITY,
            &[
                (TIMESTAMP, U32, Some(end)),
                (0, U32, timer),
                (1, U16, Some(1)),
                (2, Enum, Some(0)),
                (3, Enum, Some(event::ACTIVITY)),
                (4, Enum, Some(event::STOP)),
                (5, U32, local),
            ],
        );
    }
}

/// Names and notes may say who it is for.
fn without_words(workout: &Workout) -> Workout {
    let step = |step: &WorkoutStep| WorkoutStep { name: String::new(), notes: String::new(), ..step.clone() };
    Workout { name: String::new(), steps: workout.steps.iter().map(step).collect() }
}

/// Time during which the timer stood until the end, s.
fn stopped_s(recording: &Recording, end_s: f64) -> f64 {
    let stood_s = |(from_s, to_s): (f64, f64)| f64::max(to_s.min(end_s) - from_s, 0.0);
    pauses_s(recording.timer()).into_iter().map(stood_s).fold(0.0, |sum_s, s| sum_s + s)
}

/// The recorder's guesses from sample to sample, by time.
fn sample_guesses(recording: &Recording) -> Vec<Guess> {
    let by_samples = recording.guesses().iter().filter(|guess| guess.source == GuessSource::Samples);
    let mut guesses: Vec<Guess> = by_samples.copied().collect();
    guesses.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    guesses
}

/// `activity_type` of a sample.
fn guessed_at(guesses: &[Guess], time_s: f64) -> Option<i64> {
    let behind = guesses.partition_point(|guess| guess.start_s <= time_s);
    let guess = guesses.get(behind.checked_sub(1)?).filter(|guess| time_s <= guess.end_s)?;
    Some(match guess.gait {
        GuessedGait::Run => 1,
        GuessedGait::Walk => 6,
        GuessedGait::Stand => 8,
    })
}
