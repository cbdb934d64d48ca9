//! The same recording with less in it.

use jogaudit_core::gait::Gait;
use jogaudit_recording::read::{Recording, RecordingParts, Sample};
use jogaudit_recording::units::StepsPerMinute;

use crate::truth::Truth;

/// Without cadence, and without the recorder's own guesses, which it made with it.
pub(crate) fn without_cadence(recording: &Recording) -> Recording {
    changed(recording, |sample| Sample { cadence: None, ..sample })
}

/// Positions and times alone.
pub(crate) fn positions_only(recording: &Recording) -> Recording {
    changed(recording, |sample| Sample {
        time_s: sample.time_s,
        position: sample.position,
        altitude: sample.altitude,
        ..Sample::default()
    })
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
