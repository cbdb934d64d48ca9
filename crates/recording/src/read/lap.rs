//! Laps of a recording.

/// Why a lap ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LapTrigger {
    /// The runner pressed the button.
    Manual,
    /// A set time was over.
    Time,
    /// A set distance was covered.
    Distance,
    /// A step of a workout on the recorder ended.
    Step,
    /// The session ended, or another or unknown cause.
    Other,
}

/// What a lap was meant for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LapIntensity {
    /// Work.
    Active,
    /// Rest or recovery between work.
    Rest,
    /// Warm-up.
    WarmUp,
    /// Cool-down.
    CoolDown,
    /// Not said.
    Unknown,
}

/// A lap: evidence about the session's structure, not truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lap {
    /// Seconds from [`Recording::start`](super::Recording::start).
    pub start_s: f64,
    /// Seconds from [`Recording::start`](super::Recording::start), when known.
    pub end_s: Option<f64>,
    /// Why it ended.
    pub trigger: LapTrigger,
    /// What it was meant for.
    pub intensity: LapIntensity,
    /// Which step of [`Recording::workout`](super::Recording::workout) it was, from 0.
    pub step: Option<u16>,
}
