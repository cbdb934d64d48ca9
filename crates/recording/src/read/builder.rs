//! A recording under construction: absolute times, so that the earliest sample need not come first, and cadence in the
//! file's own unit.

use jiff::Timestamp;

use crate::geodesy::LatLon;
use crate::notice::{Notice, NoticeCode};
use crate::units::{BeatsPerMinute, Metres, MetresPerSecond, StepsPerMinute};
use crate::workout::Workout;

use super::time::{MICROS_PER_S, Micros};
use super::{
    Format, Guess, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, MOST_ACTIVITIES, Recording,
    RecordingParts, Sample, Sport, TimerEvent,
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
    pub(super) speed_by_positions: Option<MetresPerSecond>,
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
    pub(super) step: Option<u16>,
}

/// A [`Guess`] with absolute times; it ends after it starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RawGuess {
    pub(super) start: Micros,
    pub(super) end: Micros,
    pub(super) gait: GuessedGait,
    pub(super) source: GuessSource,
}

/// Samples farther than this from all others are strays. Our choice: no session pauses for a day.
const STRAY_AWAY: Micros = 86_400 * MICROS_PER_S;
/// Strays are one in so many at most, …
const STRAY_IN: usize = 100;
/// … or a single one of at least so many. More are no strays but what was recorded on another day. Our choice.
const STRAY_ONE_IN: usize = 10;

/// What finishing leaves out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct LeftOut {
    /// Samples with a time far away from all others.
    strays: usize,
    /// Heart rates of 0.
    no_pulse: usize,
}

impl LeftOut {
    fn notices(self) -> impl Iterator<Item = Notice> {
        let strays = (self.strays > 0).then(|| {
            let text =
                format!("samples more than a day away from all others in time, left out: {}", self.strays);
            Notice::new(NoticeCode::StrayTimes, text)
        });
        let no_pulse = (self.no_pulse > 0).then(|| {
            let text = format!("heart rates of 0, which are no reading, left out: {}", self.no_pulse);
            Notice::new(NoticeCode::NoPulse, text)
        });
        strays.into_iter().chain(no_pulse)
    }
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
    pub(super) workout: Option<Workout>,
}

impl<C> RecordingBuilder<C> {
    pub(super) fn new(sport: Sport) -> Self {
        Self {
            sport,
            utc_offset_s: None,
            samples: vec![],
            laps: vec![],
            timer: vec![],
            guesses: vec![],
            workout: None,
        }
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

    /// Leaves out the few samples that lie more than a day away from all others, and counts them: a damaged time would make a
    /// session of decades.
    fn drop_strays(&mut self) -> usize {
        let Some((first, last)) = self.span() else { return 0 };
        if last.saturating_sub(first) <= STRAY_AWAY {
            return 0;
        }
        let mut times: Vec<Micros> = self.samples.iter().map(|sample| sample.time).collect();
        times.sort_unstable();
        let groups = times.chunk_by(|before, after| after.saturating_sub(*before) <= STRAY_AWAY);
        let Some(main) = groups.max_by_key(|group| group.len()) else { return 0 };
        let (Some(&from), Some(&to)) = (main.first(), main.last()) else { return 0 };
        let strays = times.len() - main.len();
        let most = (times.len() / STRAY_IN).max(usize::from(times.len() >= STRAY_ONE_IN));
        if strays > most {
            return 0;
        }
        self.samples.retain(|sample| (from..=to).contains(&sample.time));
        strays
    }

    /// Counts every time from the earliest sample. `None` without samples. What is left out on the way is added to `left_out`.
    ///
    /// Of a sport that is not on foot the cadence is left out: it counts other things than steps.
    pub(super) fn finish(
        mut self,
        format: Format,
        to_steps: impl Fn(C) -> StepsPerMinute,
        left_out: &mut LeftOut,
    ) -> Option<Recording> {
        left_out.strays += self.drop_strays();
        let (start, _) = self.span()?;
        let seconds = |time: Micros| time.saturating_sub(start) as f64 / MICROS_PER_S as f64;
        let on_foot = self.sport.on_foot();
        let mut sample = |RawSample { time, values }: RawSample<C>| Sample {
            time_s: seconds(time),
            position: values.position,
            altitude: values.altitude,
            distance: values.distance,
            speed: values.speed,
            cadence: values.cadence.filter(|_| on_foot).map(&to_steps),
            heart_rate: values.heart_rate.filter(|heart_rate| {
                let is_read = heart_rate.get() > 0.0;
                left_out.no_pulse += usize::from(!is_read);
                is_read
            }),
            speed_by_positions: values.speed_by_positions,
        };
        let lap = |raw: RawLap| Lap {
            start_s: seconds(raw.start),
            end_s: raw.end.map(seconds),
            trigger: raw.trigger,
            intensity: raw.intensity,
            step: raw.step,
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
            samples: self.samples.into_iter().map(&mut sample).collect(),
            laps: self.laps.into_iter().map(lap).collect(),
            timer: self
                .timer
                .into_iter()
                .map(|(time, running)| TimerEvent { time_s: seconds(time), running })
                .collect(),
            guesses: self.guesses.into_iter().map(guess).collect(),
            workout: self.workout,
        }))
    }
}

/// Pushes onto a list that grows by half rather than twice once it is long, so that reading a file never holds more than 2.5
/// times what it gives. A short list is short, since a file may have very many.
pub(super) fn push<T>(list: &mut Vec<T>, item: T) {
    /// Room for so many at first, and from how many on a list is long. Our choice.
    const AT_FIRST: usize = 4;
    const LONG: usize = 64;
    if list.len() == list.capacity() {
        list.reserve_exact(if list.len() < LONG { list.len().max(AT_FIRST) } else { list.len() / 2 });
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
        // So many are refused once they are read: what follows only has to be counted as more.
        if self.list.len() <= MOST_ACTIVITIES {
            self.list.push(builder);
        }
    }

    /// Finishes all; those without samples among others become a notice.
    pub(super) fn finish(
        self,
        format: Format,
        to_steps: impl Fn(C) -> StepsPerMinute,
        notices: &mut Vec<Notice>,
    ) -> Vec<Recording> {
        let all = self.list.len() + self.dropped;
        let mut left_out = LeftOut::default();
        let finish = |builder: RecordingBuilder<C>| builder.finish(format, &to_steps, &mut left_out);
        let recordings: Vec<Recording> = self.list.into_iter().filter_map(finish).collect();
        notices.extend(left_out.notices());
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
        let recording = builder.finish(Format::Fit, |steps| steps, &mut LeftOut::default()).unwrap();
        assert_eq!(recording.start().as_second(), 5);
        let times: Vec<f64> = recording.samples().iter().map(|sample| sample.time_s).collect();
        assert_eq!(times, [2.0, 0.0, 4.0]);
        assert_eq!(recording.samples().as_ptr().addr(), memory, "samples are finished in place");
    }

    fn finished(samples: &[(i64, f64)]) -> (Vec<f64>, LeftOut) {
        let mut builder = RecordingBuilder::<StepsPerMinute>::new(Sport::Running);
        for &(second, heart_rate) in samples {
            let heart_rate = Some(BeatsPerMinute::new(heart_rate));
            builder.push(second * MICROS_PER_S, RawValues { heart_rate, ..RawValues::default() });
        }
        let mut left_out = LeftOut::default();
        let recording = builder.finish(Format::Fit, |steps| steps, &mut left_out).unwrap();
        (recording.samples().iter().map(|sample| sample.time_s).collect(), left_out)
    }

    #[test]
    fn a_stray_time_is_left_out_and_another_day_is_not() {
        const DECADES: i64 = 2_000_000_000;
        let with = |samples: i64, strays: &[i64]| {
            let rest = (0..samples).map(|second| (1_000_000_000 + second, 99.0));
            let all: Vec<(i64, f64)> = strays.iter().map(|&second| (second, 99.0)).chain(rest).collect();
            let (times, left_out) = finished(&all);
            (times.len(), times.iter().copied().fold(0.0, f64::max), left_out.strays)
        };
        assert_eq!(with(500, &[DECADES]), (500, 499.0, 1));
        assert_eq!(with(500, &[10]), (500, 499.0, 1));
        assert_eq!(with(20, &[DECADES]), (20, 19.0, 1));
        assert_eq!(with(500, &[10, DECADES, DECADES + 1]), (500, 499.0, 3));
        // Within a day it may be a pause; more than one in a hundred, or one of a few, may be another day.
        assert_eq!(with(500, &[1_000_000_500 + 3600]), (501, 4100.0, 0));
        assert_eq!(with(500, &[10, 11, 12, 13, 14, 15]).2, 0);
        assert_eq!(with(5, &[DECADES]).2, 0);
    }

    #[test]
    fn a_heart_rate_of_0_is_no_reading() {
        let (times, left_out) = finished(&[(0, 0.0), (1, 90.0), (2, 0.0)]);
        assert_eq!((times.len(), left_out.no_pulse), (3, 2));
        let said: Vec<NoticeCode> = left_out.notices().map(|notice| notice.code).collect();
        assert_eq!(said, [NoticeCode::NoPulse]);
    }
}
