//! What every reader gives: one activity in neutral form, behind a checked constructor.

use jiff::Timestamp;

use crate::geodesy::LatLon;
use crate::units::{BeatsPerMinute, Metres, MetresPerSecond, StepsPerMinute};
use crate::workout::Workout;

use super::format::Format;
use super::lap::Lap;
use super::sport::Sport;

/// One moment of a recording. A value that the file does not have is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sample {
    /// Seconds from [`Recording::start`], pauses included.
    pub time_s: f64,
    /// Position.
    pub position: Option<LatLon>,
    /// Altitude.
    pub altitude: Option<Metres>,
    /// Distance covered since the start, as the recorder counted it.
    pub distance: Option<Metres>,
    /// Speed as the recorder gave it.
    pub speed: Option<MetresPerSecond>,
    /// Cadence, both feet.
    pub cadence: Option<StepsPerMinute>,
    /// Heart rate.
    pub heart_rate: Option<BeatsPerMinute>,
    /// Speed that the positions told, in a recording from which they were taken out so that it could be sent.
    pub speed_by_positions: Option<MetresPerSecond>,
}

/// What a recorder can take its wearer to be doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuessedGait {
    /// Running.
    Run,
    /// Walking.
    Walk,
    /// Standing or sitting.
    Stand,
}

/// What in the file holds a guess.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuessSource {
    /// A message about the stretch as a whole.
    Split,
    /// The samples, one by one.
    Samples,
}

/// A stretch that the recorder itself took for running, walking or standing: evidence, not truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// Seconds from [`Recording::start`].
    pub start_s: f64,
    /// Seconds from [`Recording::start`]; later than `start_s`.
    pub end_s: f64,
    /// What it took it for.
    pub gait: GuessedGait,
    /// What in the file says so.
    pub source: GuessSource,
}

/// A stop or start of the recorder's timer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimerEvent {
    /// Seconds from [`Recording::start`].
    pub time_s: f64,
    /// `true` when the timer started or resumed, `false` when it stopped or paused.
    pub running: bool,
}

/// Times at which the timer stood, s: from each stop to the next start, in the order of the events.
pub fn pauses_s<'e>(timer: impl IntoIterator<Item = &'e TimerEvent>) -> Vec<(f64, f64)> {
    let (mut pauses_s, mut stopped_s) = (Vec::new(), None);
    for event in timer {
        match (event.running, stopped_s) {
            (false, None) => stopped_s = Some(event.time_s),
            (true, Some(from_s)) => {
                pauses_s.push((from_s, event.time_s));
                stopped_s = None;
            }
            _ => {}
        }
    }
    pauses_s
}

/// What a [`Recording`] is made of, before it is checked. All times are seconds from `start`.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordingParts {
    /// Format of the file.
    pub format: Format,
    /// Sport, as the file says.
    pub sport: Sport,
    /// Zero of every time: that of the earliest sample.
    pub start: Timestamp,
    /// Offset of the recorder's local time from UTC in seconds, when the file tells.
    pub utc_offset_s: Option<i32>,
    /// Samples in the order of the file.
    pub samples: Vec<Sample>,
    /// Laps in the order of the file.
    pub laps: Vec<Lap>,
    /// Timer stops and starts in the order of the file.
    pub timer: Vec<TimerEvent>,
    /// The recorder's own guesses in the order of the file.
    pub guesses: Vec<Guess>,
    /// The workout that it was run from, when the file holds it.
    pub workout: Option<Workout>,
}

/// One activity as recorded, in neutral form.
///
/// Always true, whoever made it:
/// - there is at least one sample, and the earliest is at exactly 0 s, which is [`Recording::start`];
/// - every time is a finite number, and a guess ends later than it starts.
///
/// Not promised, since files break it and nothing may be lost: samples may be out of order or share a time, laps and guesses
/// may overlap, and values may be wild. Cleaning deals with all of that.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    parts: RecordingParts,
}

/// Why parts are no recording.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum RecordingError {
    /// There is nothing in it.
    #[error("a recording needs at least one sample")]
    NoSamples,
    /// A time is NaN or infinite.
    #[error("a time of the {what} is not a finite number: leave that entry out")]
    TimeNotFinite {
        /// Which list.
        what: &'static str,
    },
    /// Times do not count from the earliest sample.
    #[error("the earliest sample is at {earliest_s} s, not at 0: count all times, and `start`, from it")]
    StartNotEarliest {
        /// Time of the earliest sample, s.
        earliest_s: f64,
    },
    /// A guess ends no later than it starts.
    #[error("guess {index} ends at {end_s} s, no later than it starts: leave it out")]
    EmptyGuess {
        /// Which one, from 0.
        index: usize,
        /// Its end, s.
        end_s: f64,
    },
}

impl Recording {
    /// Checks the parts and makes a recording of them.
    ///
    /// # Errors
    /// When there is no sample, a time is not finite, the earliest sample is not at 0 s or a guess has no length.
    pub fn new(parts: RecordingParts) -> Result<Self, RecordingError> {
        let is_finite = |what, mut times: &mut dyn Iterator<Item = f64>| {
            let all = Iterator::all(&mut times, f64::is_finite);
            if all { Ok(()) } else { Err(RecordingError::TimeNotFinite { what }) }
        };
        is_finite("samples", &mut parts.samples.iter().map(|sample| sample.time_s))?;
        is_finite("laps", &mut parts.laps.iter().flat_map(|lap| [Some(lap.start_s), lap.end_s]).flatten())?;
        is_finite("timer events", &mut parts.timer.iter().map(|event| event.time_s))?;
        is_finite("guesses", &mut parts.guesses.iter().flat_map(|guess| [guess.start_s, guess.end_s]))?;
        let earliest_s = parts.samples.iter().map(|sample| sample.time_s).reduce(f64::min);
        let earliest_s = earliest_s.ok_or(RecordingError::NoSamples)?;
        if earliest_s != 0.0 {
            return Err(RecordingError::StartNotEarliest { earliest_s });
        }
        match parts.guesses.iter().enumerate().find(|(_, guess)| guess.end_s <= guess.start_s) {
            Some((index, guess)) => Err(RecordingError::EmptyGuess { index, end_s: guess.end_s }),
            None => Ok(Self { parts }),
        }
    }

    /// Wraps parts that hold what [`Recording`] promises by the way they were made: readers count every time from the
    /// earliest, so that nothing needs to be gone through again.
    pub(super) fn of_earliest(parts: RecordingParts) -> Self {
        Self { parts }
    }

    /// Gives the parts back, to be changed and checked again.
    pub fn into_parts(self) -> RecordingParts {
        self.parts
    }

    /// Format of the file.
    pub const fn format(&self) -> Format {
        self.parts.format
    }

    /// Sport, as the file says.
    pub const fn sport(&self) -> &Sport {
        &self.parts.sport
    }

    /// Zero of every `*_s` in this recording: the time of the earliest sample.
    pub const fn start(&self) -> Timestamp {
        self.parts.start
    }

    /// Offset of the recorder's local time from UTC in seconds, when the file tells.
    pub const fn utc_offset_s(&self) -> Option<i32> {
        self.parts.utc_offset_s
    }

    /// Samples in the order of the file, at least one; times may be out of order or repeated.
    pub fn samples(&self) -> &[Sample] {
        &self.parts.samples
    }

    /// Laps in the order of the file.
    pub fn laps(&self) -> &[Lap] {
        &self.parts.laps
    }

    /// Timer stops and starts in the order of the file.
    pub fn timer(&self) -> &[TimerEvent] {
        &self.parts.timer
    }

    /// The recorder's own guesses in the order of the file; they may overlap and contradict each other.
    pub fn guesses(&self) -> &[Guess] {
        &self.parts.guesses
    }

    /// The workout that it was run from, when the file holds it: what was meant, not what was done.
    pub const fn workout(&self) -> Option<&Workout> {
        self.parts.workout.as_ref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::{LapIntensity, LapTrigger};

    fn parts(times_s: &[f64]) -> RecordingParts {
        RecordingParts {
            format: Format::Gpx,
            sport: Sport::Running,
            start: Timestamp::UNIX_EPOCH,
            utc_offset_s: None,
            samples: times_s.iter().map(|&time_s| Sample { time_s, ..Sample::default() }).collect(),
            laps: vec![],
            timer: vec![],
            guesses: vec![],
            workout: None,
        }
    }

    #[test]
    fn what_is_promised_is_checked() {
        let fault = |parts| Recording::new(parts).unwrap_err();
        assert!(Recording::new(parts(&[2.0, 0.0, 2.0])).is_ok(), "order is not promised");
        assert_eq!(fault(parts(&[])), RecordingError::NoSamples);
        assert_eq!(fault(parts(&[1.0, 3.0])), RecordingError::StartNotEarliest { earliest_s: 1.0 });
        assert_eq!(fault(parts(&[0.0, -3.0])), RecordingError::StartNotEarliest { earliest_s: -3.0 });
        let not_finite = |what| RecordingError::TimeNotFinite { what };
        assert_eq!(fault(parts(&[0.0, f64::NAN])), not_finite("samples"));
        let lap = Lap {
            start_s: 0.0,
            end_s: Some(f64::INFINITY),
            trigger: LapTrigger::Other,
            intensity: LapIntensity::Unknown,
            step: None,
        };
        assert_eq!(fault(RecordingParts { laps: vec![lap], ..parts(&[0.0]) }), not_finite("laps"));
        let stop = TimerEvent { time_s: f64::NAN, running: false };
        assert_eq!(fault(RecordingParts { timer: vec![stop], ..parts(&[0.0]) }), not_finite("timer events"));
        let guess = Guess { start_s: 5.0, end_s: 5.0, gait: GuessedGait::Run, source: GuessSource::Split };
        assert_eq!(
            fault(RecordingParts { guesses: vec![guess], ..parts(&[0.0]) }),
            RecordingError::EmptyGuess { index: 0, end_s: 5.0 }
        );
    }
}
