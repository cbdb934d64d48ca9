//! The same recording with less in it.

use jogaudit_core::gait::Gait;
use jogaudit_recording::read::{Recording, RecordingParts, Sample};
use jogaudit_recording::units::StepsPerMinute;

use crate::truth::Truth;

/// What is left where the cadence is hidden, and with it the recorder's own guesses, which it made with it.
#[derive(Clone, Copy)]
pub(crate) struct Seen {
    /// Positions and altitudes, and nothing of speed or distance.
    pub(crate) by_positions: bool,
    pub(crate) heart_rate: bool,
}

impl Seen {
    pub(crate) fn of(self, recording: &Recording) -> Recording {
        changed(recording, |sample| {
            let sample =
                Sample { cadence: None, heart_rate: sample.heart_rate.filter(|_| self.heart_rate), ..sample };
            if !self.by_positions {
                return sample;
            }
            Sample {
                time_s: sample.time_s,
                position: sample.position,
                altitude: sample.altitude,
                heart_rate: sample.heart_rate,
                ..Sample::default()
            }
        })
    }

    /// Whether most samples of a recording have what is left.
    pub(crate) fn is_in(self, recording: &Recording) -> bool {
        let has = |sample: &Sample| {
            let moves = sample.position.is_some()
                || !self.by_positions && (sample.speed.is_some() || sample.distance.is_some());
            moves && (!self.heart_rate || sample.heart_rate.is_some())
        };
        recording.samples().iter().filter(|sample| has(sample)).count() * 2 > recording.samples().len()
    }

    pub(crate) fn words(self) -> &'static str {
        match (self.by_positions, self.heart_rate) {
            (false, false) => "speed alone, as the recorder gives it",
            (false, true) => "speed and heart rate",
            (true, false) => "positions alone",
            (true, true) => "positions and heart rate",
        }
    }
}

fn changed(recording: &Recording, change: impl FnMut(Sample) -> Sample) -> Recording {
    let parts = recording.clone().into_parts();
    let samples = parts.samples.into_iter().map(change).collect();
    Recording::new(RecordingParts { samples, guesses: Vec::new(), ..parts }).expect("times are as they were")
}

/// What is left of the cadence of one gait.
#[derive(Clone, Copy)]
pub(crate) enum Left {
    /// So many readings, evenly over its time.
    Readings(usize),
    /// One reading in so many.
    OneIn(usize),
    /// A 0 in place of each.
    Zeros,
}

impl Left {
    pub(crate) const ALL: [Self; 5] =
        [Self::Readings(0), Self::Readings(5), Self::Readings(30), Self::OneIn(10), Self::Zeros];

    pub(crate) fn words(self) -> String {
        match self {
            Self::Readings(0) => "nothing".to_owned(),
            Self::Readings(n) => format!("{n} readings"),
            Self::OneIn(n) => format!("1 reading in {n}"),
            Self::Zeros => "0 instead".to_owned(),
        }
    }
}

/// With the cadence of one gait lost but for what is left, where the truth says so; the other's is whole.
pub(crate) fn lost_in(recording: &Recording, truth: &Truth, gait: Gait, left: Left) -> Recording {
    let lost = |sample: &Sample| sample.cadence.is_some() && truth.is(gait, sample.time_s);
    let all = recording.samples().iter().filter(|sample| lost(sample)).count();
    let mut seen = 0;
    changed(recording, |sample| {
        if !lost(&sample) {
            return sample;
        }
        seen += 1;
        let kept = match left {
            Left::Readings(n) => seen * n / all > (seen - 1) * n / all,
            Left::OneIn(n) => seen % n == 0,
            Left::Zeros => return Sample { cadence: Some(StepsPerMinute::new(0.0)), ..sample },
        };
        if kept { sample } else { Sample { cadence: None, ..sample } }
    })
}
