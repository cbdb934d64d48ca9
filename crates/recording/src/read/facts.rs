//! What a recording says of itself, without its samples.

use jiff::Timestamp;

use super::{Format, Recording, Sample, Sport};

/// A quantity that a recorder may give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    /// Speed.
    Speed,
    /// Cadence.
    Cadence,
    /// Heart rate.
    HeartRate,
    /// Position.
    Position,
    /// Altitude.
    Altitude,
}

impl Channel {
    /// All, in the order of the JSON outputs.
    pub const ALL: [Self; 5] = [Self::Speed, Self::Cadence, Self::HeartRate, Self::Position, Self::Altitude];

    /// The word as in the JSON outputs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Speed => "speed",
            Self::Cadence => "cadence",
            Self::HeartRate => "heart_rate",
            Self::Position => "position",
            Self::Altitude => "altitude",
        }
    }

    const fn is_in(self, sample: &Sample) -> bool {
        match self {
            Self::Speed => sample.speed.is_some(),
            Self::Cadence => sample.cadence.is_some(),
            Self::HeartRate => sample.heart_rate.is_some(),
            Self::Position => sample.position.is_some(),
            Self::Altitude => sample.altitude.is_some(),
        }
    }
}

/// What a recording says of itself, without its samples.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Facts {
    /// Format of the file.
    pub format: Format,
    /// Sport, as the file says.
    pub sport: Sport,
    /// Time of 0 s.
    pub start: Timestamp,
    /// The recorder's offset from UTC, s, where the file tells it.
    pub utc_offset_s: Option<i32>,
    /// Samples that were read.
    pub samples: usize,
    /// What the recorder gave in any sample, in the order of [`Channel::ALL`].
    pub channels: Vec<Channel>,
}

impl Recording {
    /// Gathers what it says of itself.
    pub fn facts(&self) -> Facts {
        let is_given = |channel: &Channel| self.samples().iter().any(|sample| channel.is_in(sample));
        Facts {
            format: self.format(),
            sport: self.sport().clone(),
            start: self.start(),
            utc_offset_s: self.utc_offset_s(),
            samples: self.samples().len(),
            channels: Channel::ALL.into_iter().filter(is_given).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::RecordingParts;
    use crate::units::{BeatsPerMinute, MetresPerSecond};

    #[test]
    fn a_channel_is_given_where_any_sample_has_it() {
        let heart = Sample { heart_rate: Some(BeatsPerMinute::new(140.0)), ..Sample::default() };
        let speed = Sample { time_s: 1.0, speed: Some(MetresPerSecond::new(2.5)), ..Sample::default() };
        let recording = Recording::new(RecordingParts {
            format: Format::Tcx,
            sport: Sport::Running,
            start: Timestamp::UNIX_EPOCH,
            utc_offset_s: None,
            samples: vec![heart, speed],
            laps: vec![],
            timer: vec![],
            guesses: vec![],
            workout: None,
        })
        .unwrap();
        let facts = recording.facts();
        assert_eq!((facts.samples, facts.channels), (2, vec![Channel::Speed, Channel::HeartRate]));
    }
}
