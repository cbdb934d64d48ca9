//! [`Recording`](crate::read::Recording) → [`Series`]: order, duplicates, pauses and holes, spikes, speed where the
//! recorder gives none, and a ledger of what was changed.

use jiff::Timestamp;

use crate::notice::Noted;
use crate::read::{Lap, Recording};

/// Where the speed of a series comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpeedSource {
    /// The recorder's own speed.
    Recorder,
    /// Differences of the recorder's distance.
    Distance,
    /// Differences of positions.
    Positions,
    /// There is none.
    Absent,
}

/// Why there is no data between two samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GapKind {
    /// The recorder's timer was stopped.
    Pause,
    /// Nothing was recorded and the file does not say why.
    Hole,
}

/// A stretch without data, longer than sampling explains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Seconds from the start.
    pub start_s: f64,
    /// Seconds from the start.
    pub end_s: f64,
    /// Why.
    pub kind: GapKind,
}

/// Clean columns over time. All columns have the same length; `time_s` starts at 0 and rises strictly.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Wall-clock time of 0 s.
    pub start: Timestamp,
    /// Offset of local time from UTC, seconds, when the file tells.
    pub utc_offset_s: Option<i32>,
    /// Seconds since the start, wall clock, pauses included.
    pub time_s: Vec<f64>,
    /// Speed over ground, m/s.
    pub speed_mps: Vec<Option<f64>>,
    /// Where the speed comes from.
    pub speed_source: SpeedSource,
    /// Cadence, steps a minute, both feet.
    pub cadence_spm: Vec<Option<f64>>,
    /// Heart rate, beats a minute.
    pub heart_rate_bpm: Vec<Option<f64>>,
    /// Altitude, m, as recorded.
    pub altitude_m: Vec<Option<f64>>,
    /// Distance since the start, m, never falling: the recorder's own, else summed from positions, else from speed.
    pub distance_m: Vec<Option<f64>>,
    /// Stretches without data, in order, never overlapping.
    pub gaps: Vec<Gap>,
    /// Laps that lie within the series.
    pub laps: Vec<Lap>,
    /// Whether any sample had a position.
    pub has_position: bool,
    /// What was changed on the way, by index into the recording.
    pub ledger: Vec<Change>,
}

impl Series {
    /// Seconds from the first to the last sample.
    pub fn elapsed_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or(0.0)
    }
}

/// One change that cleaning made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Index into [`Recording::samples`].
    pub sample: usize,
    /// What was done.
    pub kind: ChangeKind,
}

/// What was done to a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeKind {
    /// Moved to its place in time.
    Reordered,
    /// Merged into an earlier sample of the same time.
    Merged,
    /// Position and speed from it left out: it jumped.
    Spike,
    /// Speed left out: not possible on foot.
    SpeedRefused,
    /// Cadence left out: zero or stuck while moving, or out of range.
    CadenceRefused,
    /// Heart rate left out: out of range.
    HeartRateRefused,
}

/// Limits of cleaning, each with its reason in `docs/method.md`.
#[derive(Clone, Copy, Debug)]
pub struct CleanConfig {
    /// Two samples further apart than this have a hole between them, unless sampling is that sparse throughout.
    pub hole_s: f64,
}

impl Default for CleanConfig {
    fn default() -> Self {
        Self { hole_s: 15.0 }
    }
}

/// Cleans one recording.
pub fn clean(recording: &Recording, config: &CleanConfig) -> Noted<Series> {
    let _ = (recording, config);
    unimplemented!()
}
