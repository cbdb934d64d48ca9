//! A recording under construction: absolute times, so that the earliest sample need not come first, and cadence in the
//! file's own unit.

use jiff::Timestamp;

use crate::geodesy::LatLon;
use crate::notice::{Notice, NoticeCode};
use crate::units::{BeatsPerMinute, Metres, MetresPerSecond, StepsPerMinute};

use super::time::{MICROS_PER_S, Micros};
use super::{
    Format, Guess, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, Recording, RecordingParts,
    Sample, Sport, TimerEvent,
};

/// What a file says of one moment. `C` is the unit of its cadence as written: strides a minute in FIT, unknown in GPX and TCX.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct RawValues<C> {
    pub(super) position: Option<LatLon>,
    pub(super) altitude: Option<Metres>,
    pub(super) distance: Option<Metres>,
    pub(super) speed: Option<MetresPerSecond>,
    pub(super) cadence: Option<C>,
    pub(super) heart_rate: Option<BeatsPerMinute>,
}

/// A [`Sample`] before its recording's start is known. It is as large as one, so that a list of these becomes a list of those
/// in place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RawSample<C> {
    pub(super) time: Micros,
    pub(super) values: RawValues<C>,
}

/// A [`Lap`] with absolute times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RawLap {
    pub(super) start: Micros,
    pub(super) end: Option<Micros>,
    pub(super) trigger: LapTrigger,
    pub(super) intensity: LapIntensity,
}

/// A [`Guess`] with absolute times; it ends after it starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RawGuess {
    pub(super) start: Micros,
    pub(super) end: Micros,
    pub(super) gait: GuessedGait,
    pub(super) source: GuessSource,
}

/// A recording under construction, its lists in the order of the file.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RecordingBuilder<C> {
    pub(super) sport: Sport,
    pub(super) utc_offset_s: Option<i32>,
    pub(super) samples: Vec<RawSample<C>>,
    pub(super) laps: Vec<RawLap>,
    pub(super) timer: Vec<(Micros, bool)>,
    pub(super) guesses: Vec<RawGuess>,
}

impl<C> RecordingBuilder<C> {
    pub(super) fn new(sport: Sport) -> Self {
        Self { sport, utc_offset_s: None, samples: vec![], laps: vec![], timer: vec![], guesses: vec![] }
    }

    pub(super) fn push(&mut self, time: Micros, values: RawValues<C>) {
        push(&mut self.samples, RawSample { time, values });
    }

    /// First and last moment, whatever the order.
    pub(super) fn span(&self) -> Option<(Micros, Micros)> {
        let times = || self.samples.iter().map(|sample| sample.time);
        Some((times().min()?, times().max()?))
    }

    /// Adds a pause from the last sample before a break to the first behind it.
    pub(super) fn pause(&mut self, from: Micros, to: Micros) {
        self.timer.extend([(from, false), (to, true)]);
    }

    /// Counts every time from the earliest sample. `None` without samples.
    ///
    /// Of a sport that is not on foot the cadence is left out: it counts other things than steps.
    pub(super) fn finish(self, format: Format, to_steps: impl Fn(C) -> StepsPerMinute) -> Option<Recording> {
        let (start, _) = self.span()?;
        let seconds = |time: Micros| time.saturating_sub(start) as f64 / MICROS_PER_S as f64;
        let on_foot = self.sport.on_foot();
        let sample = |RawSample { time, values }: RawSample<C>| Sample {
            time_s: seconds(time),
            position: values.position,
            altitude: values.altitude,
            distance: values.distance,
            speed: values.speed,
            cadence: values.cadence.filter(|_| on_foot).map(&to_steps),
            heart_rate: values.heart_rate,
        };
        let lap = |raw: RawLap| Lap {
            start_s: seconds(raw.start),
            end_s: raw.end.map(seconds),
            trigger: raw.trigger,
            intensity: raw.intensity,
        };
        let guess = |raw: RawGuess| Guess {
            start_s: seconds(raw.start),
            end_s: seconds(raw.end),
            gait: raw.gait,
            source: raw.source,
        };
        Some(Recording::of_earliest(RecordingParts {
            format,
            sport: self.sport,
            start: Timestamp::from_microsecond(start).ok()?,
            utc_offset_s: self.utc_offset_s,
            samples: self.samples.into_iter().map(sample).collect(),
            laps: self.laps.into_iter().map(lap).collect(),
            timer: self
                .timer
                .into_iter()
                .map(|(time, running)| TimerEvent { time_s: seconds(time), running })
                .collect(),
            guesses: self.guesses.into_iter().map(guess).collect(),
        }))
    }
}

/// Pushes onto a long list that grows by half rather than twice, so that reading a file never holds more than 2.5 times
/// what it gives.
pub(super) fn push<T>(list: &mut Vec<T>, item: T) {
    /// Room for so many at first. Our choice.
    const AT_FIRST: usize = 64;
    if list.len() == list.capacity() {
        list.reserve_exact((list.len() / 2).max(AT_FIRST));
    }
    list.push(item);
}

/// Builders in the order of the file. One without samples is dropped as soon as the next begins, and counted.
#[derive(Debug)]
pub(super) struct Builders<C> {
    pub(super) list: Vec<RecordingBuilder<C>>,
    dropped: usize,
}

impl<C> Default for Builders<C> {
    fn default() -> Self {
        Vec::new().into()
    }
}

impl<C> From<Vec<RecordingBuilder<C>>> for Builders<C> {
    fn from(list: Vec<RecordingBuilder<C>>) -> Self {
        Self { list, dropped: 0 }
    }
}

impl<C> Builders<C> {
    pub(super) fn begin(&mut self, builder: RecordingBuilder<C>) {
        if self.list.last().is_some_and(|last| last.samples.is_empty()) {
            self.list.pop();
            self.dropped += 1;
        }
        self.list.push(builder);
    }

    /// Finishes all; those without samples among others become a notice.
    pub(super) fn finish(
        self,
        format: Format,
        to_steps: impl Fn(C) -> StepsPerMinute,
        notices: &mut Vec<Notice>,
    ) -> Vec<Recording> {
        let all = self.list.len() + self.dropped;
        let finished = self.list.into_iter().filter_map(|builder| builder.finish(format, &to_steps));
        let recordings: Vec<Recording> = finished.collect();
        let without_samples = all - recordings.len();
        if without_samples > 0 && !recordings.is_empty() {
            let text = format!("activities of the file without samples, left out: {without_samples}");
            notices.push(Notice::new(NoticeCode::ActivityWithoutSamples, text));
        }
        recordings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_count_from_the_earliest_sample_and_the_list_is_used_again() {
        let mut builder = RecordingBuilder::<StepsPerMinute>::new(Sport::Running);
        for second in [7, 5, 9] {
            builder.push(second * MICROS_PER_S, RawValues::default());
        }
        let memory = builder.samples.as_ptr().addr();
        let recording = builder.finish(Format::Fit, |steps| steps).unwrap();
        assert_eq!(recording.start().as_second(), 5);
        let times: Vec<f64> = recording.samples().iter().map(|sample| sample.time_s).collect();
        assert_eq!(times, [2.0, 0.0, 4.0]);
        assert_eq!(recording.samples().as_ptr().addr(), memory, "samples are finished in place");
    }
}
