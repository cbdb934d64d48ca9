//! A recording while it is being read: absolute times, so that the earliest sample need not come first.

use jiff::Timestamp;

use crate::geodesy::LatLon;
use crate::notice::{Notice, NoticeCode, Place};
use crate::units::{BeatsPerMinute, Metres, MetresPerSecond};

use super::time::{MICROS_PER_S, Micros};
use super::{
    Format, Guess, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, Recording, Sample, Sport,
    TimerEvent,
};

/// A lap with absolute times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DraftLap {
    pub(super) start: Micros,
    pub(super) end: Option<Micros>,
    pub(super) trigger: LapTrigger,
    pub(super) intensity: LapIntensity,
}

/// A recorder's guess with absolute times; it ends after it starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DraftGuess {
    pub(super) start: Micros,
    pub(super) end: Micros,
    pub(super) gait: GuessedGait,
    pub(super) source: GuessSource,
}

/// A recording with absolute times. `samples[i].time_s` is not set before [`Draft::finish`]; `times[i]` is.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Draft {
    pub(super) sport: Sport,
    pub(super) utc_offset_s: Option<i32>,
    pub(super) times: Vec<Micros>,
    pub(super) samples: Vec<Sample>,
    pub(super) laps: Vec<DraftLap>,
    pub(super) timer: Vec<(Micros, bool)>,
    pub(super) guesses: Vec<DraftGuess>,
}

impl Draft {
    pub(super) fn new(sport: Sport) -> Self {
        Self {
            sport,
            utc_offset_s: None,
            times: vec![],
            samples: vec![],
            laps: vec![],
            timer: vec![],
            guesses: vec![],
        }
    }

    pub(super) fn push(&mut self, time: Micros, sample: Sample) {
        push(&mut self.times, time);
        push(&mut self.samples, sample);
    }

    /// First and last moment, whatever the order.
    pub(super) fn span(&self) -> Option<(Micros, Micros)> {
        Some((*self.times.iter().min()?, *self.times.iter().max()?))
    }

    /// Notes a pause from the last sample before a break to the first behind it.
    pub(super) fn pause(&mut self, from: Micros, to: Micros) {
        self.timer.extend([(from, false), (to, true)]);
    }

    /// Counts every time from the earliest sample. `None` without samples.
    ///
    /// Of a sport that is not on foot the cadence is left out: it counts other things than steps.
    pub(super) fn finish(mut self, format: Format) -> Option<Recording> {
        let (start, _) = self.span()?;
        let seconds = |time: Micros| time.saturating_sub(start) as f64 / MICROS_PER_S as f64;
        let on_foot = self.sport.on_foot();
        for (sample, time) in self.samples.iter_mut().zip(&self.times) {
            sample.time_s = seconds(*time);
            sample.cadence = sample.cadence.filter(|_| on_foot);
        }
        let laps = self.laps.iter().map(|lap| Lap {
            start_s: seconds(lap.start),
            end_s: lap.end.map(seconds),
            trigger: lap.trigger,
            intensity: lap.intensity,
        });
        let guesses = self.guesses.iter().map(|guess| Guess {
            start_s: seconds(guess.start),
            end_s: seconds(guess.end),
            gait: guess.gait,
            source: guess.source,
        });
        Some(Recording {
            format,
            sport: self.sport,
            start: Timestamp::from_microsecond(start).ok()?,
            utc_offset_s: self.utc_offset_s,
            laps: laps.collect(),
            timer: self
                .timer
                .iter()
                .map(|(time, running)| TimerEvent { time_s: seconds(*time), running: *running })
                .collect(),
            guesses: guesses.collect(),
            samples: self.samples,
        })
    }
}

/// Pushes onto a long list that grows by half rather than twice, so that reading a file never holds more than 2.5 times
/// what it gives.
pub(super) fn push<T>(list: &mut Vec<T>, item: T) {
    if list.len() == list.capacity() {
        list.reserve_exact((list.len() / 2).max(64));
    }
    list.push(item);
}

/// Drafts in the order of the file. One without samples is let go as soon as the next begins, and counted.
#[derive(Debug, Default)]
pub(super) struct Drafts {
    pub(super) list: Vec<Draft>,
    let_go: usize,
}

impl Drafts {
    pub(super) fn begin(&mut self, draft: Draft) {
        if self.list.last().is_some_and(|last| last.samples.is_empty()) {
            self.list.pop();
            self.let_go += 1;
        }
        self.list.push(draft);
    }

    /// Finishes all; those without samples among others become a notice.
    pub(super) fn finish(self, format: Format, notices: &mut Vec<Notice>) -> Vec<Recording> {
        finish_all(self.list, self.let_go, format, notices)
    }
}

/// Finishes drafts; those without samples, with the `let_go` before them, are counted in a notice.
pub(super) fn finish_all(
    drafts: Vec<Draft>,
    let_go: usize,
    format: Format,
    notices: &mut Vec<Notice>,
) -> Vec<Recording> {
    let all = drafts.len() + let_go;
    let recordings: Vec<Recording> = drafts.into_iter().filter_map(|draft| draft.finish(format)).collect();
    let without_samples = all - recordings.len();
    if without_samples > 0 && !recordings.is_empty() {
        let text = format!("activities of the file without samples, left out: {without_samples}");
        notices.push(Notice::new(NoticeCode::ActivityWithoutSamples, text));
    }
    recordings
}

/// How often something happened, and where first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    pub(super) count: u64,
    first_byte: usize,
}

impl Tally {
    pub(super) fn add(&mut self, at_byte: usize) {
        if self.count == 0 {
            self.first_byte = at_byte;
        }
        self.count += 1;
    }

    /// Makes a notice with the place of the first case, if there was one.
    pub(super) fn notice(
        self,
        code: NoticeCode,
        place: impl Fn(usize) -> Place,
        text: impl Fn(u64) -> String,
    ) -> Option<Notice> {
        (self.count > 0).then(|| Notice::new(code, text(self.count)).at(place(self.first_byte)))
    }
}

// Written numbers → typed values. Outside these limits it is no measurement of a person on foot, whatever the file says.

/// Largest magnitude of any written number that is kept.
const MOST: f64 = 1e9;
/// Highest written cadence that is kept, a minute: four times what legs do.
const MOST_CADENCE: f64 = 1000.0;

pub(super) fn position(lat_deg: f64, lon_deg: f64) -> Option<LatLon> {
    LatLon::new(lat_deg, lon_deg)
}

pub(super) fn metres(value: f64) -> Option<Metres> {
    (value.abs() <= MOST).then(|| Metres::new(value))
}

pub(super) fn speed(value: f64) -> Option<MetresPerSecond> {
    (0.0..=MOST).contains(&value).then(|| MetresPerSecond::new(value))
}

/// Cadence as written, of one leg or both: callers say which.
pub(super) fn cadence(value: f64) -> Option<f64> {
    (0.0..=MOST_CADENCE).contains(&value).then_some(value)
}

/// Length of a lap, s.
pub(super) fn length(value: f64) -> Option<f64> {
    (0.0..=MOST).contains(&value).then_some(value)
}

/// A heart rate of 0 means that the sensor found none.
pub(super) fn heart_rate(value: f64) -> Option<BeatsPerMinute> {
    (value > 0.0 && value <= MOST).then(|| BeatsPerMinute::new(value))
}
