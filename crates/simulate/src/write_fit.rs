//! Writes a recording as a FIT file (protocol 2.0, little-endian).
//!
//! Field numbers, scales and base types follow the public FIT profile; [`jogaudit_recording::read`] and an independent decoder
//! read them back in the tests.

use super::quantise::SEMICIRCLE_DEG;
use jogaudit_recording::read::{
    Guess, GuessedGait, Lap, LapIntensity, LapTrigger, Recording, Sample, TimerEvent, pauses_s,
};
use jogaudit_recording::write::{Base, EPOCH_UNIX_S, FitMessages, NO_MANUFACTURER, workout_messages};

/// Definition of a message: its local and global number and its fields, each with number and base type.
struct Definition {
    local: u8,
    global: u16,
    fields: &'static [(u8, Base)],
}

use Base::{Enum, S32, U8, U16, U32};

/// `file_id`: type, manufacturer, product, `time_created`.
const FILE_ID: Definition =
    Definition { local: 0, global: 0, fields: &[(0, Enum), (1, U16), (2, U16), (4, U32)] };
/// `event`: timestamp, event, `event_type`.
const EVENT: Definition = Definition { local: 1, global: 21, fields: &[(253, U32), (0, Enum), (1, Enum)] };
/// `record`: timestamp, lat, long, `enhanced_altitude`, distance, `enhanced_speed`, heart rate, cadence, fraction.
const RECORD: Definition = Definition {
    local: 2,
    global: 20,
    fields: &[(253, U32), (0, S32), (1, S32), (78, U32), (5, U32), (73, U32), (3, U8), (4, U8), (53, U8)],
};
/// `lap`: timestamp, index, `start_time`, elapsed, timer, distance, event, `event_type`, intensity, trigger, sport,
/// `wkt_step_index`.
const LAP_OF_WORKOUT: Definition = Definition {
    local: 3,
    global: 19,
    fields: &[
        (253, U32),
        (254, U16),
        (2, U32),
        (7, U32),
        (8, U32),
        (9, U32),
        (0, Enum),
        (1, Enum),
        (23, Enum),
        (24, Enum),
        (25, Enum),
        (71, U16),
    ],
};
/// The same without its last field.
const LAP: Definition = Definition { fields: LAP_OF_WORKOUT.fields.split_at(11).0, ..LAP_OF_WORKOUT };
/// `session`: timestamp, index, `start_time`, elapsed, timer, distance, event, `event_type`, sport, `sub_sport`,
/// first lap, laps.
const SESSION: Definition = Definition {
    local: 4,
    global: 18,
    fields: &[
        (253, U32),
        (254, U16),
        (2, U32),
        (7, U32),
        (8, U32),
        (9, U32),
        (0, Enum),
        (1, Enum),
        (5, Enum),
        (6, Enum),
        (25, U16),
        (26, U16),
    ],
};
/// `activity`: timestamp, timer, sessions, type, event, `event_type`, `local_timestamp`.
const ACTIVITY: Definition = Definition {
    local: 5,
    global: 34,
    fields: &[(253, U32), (0, U32), (1, U16), (2, Enum), (3, Enum), (4, Enum), (5, U32)],
};

/// `split`: type, `start_time`, `end_time`. Only defined where there is one.
const SPLIT: Definition = Definition { local: 6, global: 312, fields: &[(0, Enum), (9, U32), (27, U32)] };

const TIMER: i64 = 0;
const LAP_EVENT: i64 = 9;
const SESSION_EVENT: i64 = 8;
const ACTIVITY_EVENT: i64 = 26;
const START: i64 = 0;
const STOP: i64 = 1;
const STOP_ALL: i64 = 4;
const RUNNING: i64 = 1;
/// `sub_sport`: generic, treadmill.
const SUB_SPORT: [i64; 2] = [0, 1];

/// Writes the file with header, messages and both checksums.
pub(super) fn write(recording: &Recording) -> Vec<u8> {
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
        for definition in [&FILE_ID, &EVENT, &RECORD, self.lap_definition(), &SESSION, &ACTIVITY] {
            self.define(definition);
        }
        self.message(&FILE_ID, &[Some(4), Some(NO_MANUFACTURER), Some(0), Some(self.timestamp(0.0))]);
        if let Some(workout) = recording.workout() {
            // Its steps come from a workout that a file was made of, or are few.
            let _ = workout_messages(workout, &mut self.messages);
        }
        let (mut events, mut laps) =
            (recording.timer().iter().peekable(), recording.laps().iter().enumerate());
        let mut lap = laps.next();
        let last = recording.timer().len().saturating_sub(1);
        for sample in recording.samples() {
            // The timer starts before its first sample and stops after its last.
            while let Some(event) = events.next_if(|e| e.running && e.time_s <= sample.time_s) {
                self.event(event, false);
            }
            while let Some((index, ended)) = lap.filter(|(_, l)| l.end_s.is_some_and(|e| e < sample.time_s)) {
                self.lap(index, ended);
                lap = laps.next();
            }
            self.record(sample);
            while let Some(event) = events.next_if(|e| !e.running && e.time_s <= sample.time_s) {
                self.event(event, recording.timer().get(last) == Some(event));
            }
        }
        while let Some((index, ended)) = lap {
            self.lap(index, ended);
            lap = laps.next();
        }
        if !recording.guesses().is_empty() {
            self.define(&SPLIT);
            recording.guesses().iter().for_each(|guess| self.split(guess));
        }
        self.ending();
    }

    const fn lap_definition(&self) -> &'static Definition {
        if self.recording.workout().is_some() { &LAP_OF_WORKOUT } else { &LAP }
    }

    fn define(&mut self, definition: &Definition) {
        self.messages.define(definition.local, definition.global, definition.fields);
    }

    fn message(&mut self, definition: &Definition, values: &[Option<i64>]) {
        debug_assert_eq!(definition.fields.len(), values.len());
        self.messages.begin(definition.local);
        for ((_, base), value) in definition.fields.iter().zip(values) {
            self.messages.value(*base, *value);
        }
    }

    /// FIT time of a moment of the recording.
    fn timestamp(&self, time_s: f64) -> i64 {
        self.recording.start().as_second() - EPOCH_UNIX_S + time_s.round() as i64
    }

    fn event(&mut self, event: &TimerEvent, is_last: bool) {
        let kind = if event.running {
            START
        } else if is_last {
            STOP_ALL
        } else {
            STOP
        };
        self.message(&EVENT, &[Some(self.timestamp(event.time_s)), Some(TIMER), Some(kind)]);
    }

    fn record(&mut self, sample: &Sample) {
        let scaled = |value: f64, scale: f64, offset: f64| ((value + offset) * scale).round() as i64;
        let semicircles = |degrees: f64| (degrees / SEMICIRCLE_DEG).round() as i64;
        let half_strides = sample.cadence.map(|c| c.get().round() as i64);
        self.message(
            &RECORD,
            &[
                Some(self.timestamp(sample.time_s)),
                sample.position.map(|p| semicircles(p.lat_deg())),
                sample.position.map(|p| semicircles(p.lon_deg())),
                sample.altitude.map(|a| scaled(a.get(), 5.0, 500.0)),
                sample.distance.map(|d| scaled(d.get(), 100.0, 0.0)),
                sample.speed.map(|v| scaled(v.get(), 1000.0, 0.0)),
                sample.heart_rate.map(|h| h.get().round() as i64),
                half_strides.map(|c| c / 2),
                half_strides.map(|c| c % 2 * 64),
            ],
        );
    }

    fn lap(&mut self, index: usize, lap: &Lap) {
        let end_s = lap.end_s.unwrap_or(lap.start_s);
        let trigger = match lap.trigger {
            LapTrigger::Manual => 0,
            LapTrigger::Time | LapTrigger::Step => 1,
            LapTrigger::Distance => 2,
            LapTrigger::Other => 7,
        };
        let intensity = match lap.intensity {
            LapIntensity::Active => Some(0),
            LapIntensity::Rest => Some(1),
            LapIntensity::WarmUp => Some(2),
            LapIntensity::CoolDown => Some(3),
            LapIntensity::Unknown => None,
        };
        let values = [
            Some(self.timestamp(end_s)),
            i64::try_from(index).ok(),
            Some(self.timestamp(lap.start_s)),
            Some(((end_s - lap.start_s) * 1000.0).round() as i64),
            Some((self.timer_s(lap.start_s, end_s) * 1000.0).round() as i64),
            self.centimetres(lap.start_s, end_s),
            Some(LAP_EVENT),
            Some(STOP),
            intensity,
            Some(trigger),
            Some(RUNNING),
            lap.step.map(i64::from),
        ];
        let definition = self.lap_definition();
        self.message(definition, &values[..definition.fields.len()]);
    }

    fn split(&mut self, guess: &Guess) {
        let kind = match guess.gait {
            GuessedGait::Run => 17,
            GuessedGait::Walk => 18,
            GuessedGait::Stand => 22,
        };
        self.message(
            &SPLIT,
            &[Some(kind), Some(self.timestamp(guess.start_s)), Some(self.timestamp(guess.end_s))],
        );
    }

    fn ending(&mut self) {
        let recording = self.recording;
        let end_s = recording.samples().last().map_or(0.0, |s| s.time_s);
        let timer = (self.timer_s(0.0, end_s) * 1000.0).round() as i64;
        let indoors = recording.samples().iter().all(|s| s.position.is_none());
        self.message(
            &SESSION,
            &[
                Some(self.timestamp(end_s)),
                Some(0),
                Some(self.timestamp(0.0)),
                Some((end_s * 1000.0).round() as i64),
                Some(timer),
                self.centimetres(0.0, end_s),
                Some(SESSION_EVENT),
                Some(STOP),
                Some(RUNNING),
                Some(SUB_SPORT[usize::from(indoors)]),
                Some(0),
                i64::try_from(recording.laps().len()).ok(),
            ],
        );
        let local = recording.utc_offset_s().map(|offset| self.timestamp(end_s) + i64::from(offset));
        self.message(
            &ACTIVITY,
            &[
                Some(self.timestamp(end_s)),
                Some(timer),
                Some(1),
                Some(0),
                Some(ACTIVITY_EVENT),
                Some(STOP),
                local,
            ],
        );
    }

    /// Time that the timer ran between two moments, s.
    fn timer_s(&self, from_s: f64, to_s: f64) -> f64 {
        let mut stopped_s = 0.0;
        for (stop_s, start_s) in pauses_s(self.recording.timer()) {
            stopped_s += (start_s.min(to_s) - stop_s.max(from_s)).max(0.0);
        }
        to_s - from_s - stopped_s
    }

    /// Distance covered between two moments, 0.01 m.
    fn centimetres(&self, from_s: f64, to_s: f64) -> Option<i64> {
        let at = |time_s: f64| {
            let samples = self.recording.samples();
            let i = samples.partition_point(|s| s.time_s <= time_s);
            samples.get(i.checked_sub(1)?)?.distance
        };
        Some(((at(to_s)?.get() - at(from_s)?.get()) * 100.0).round() as i64)
    }
}
