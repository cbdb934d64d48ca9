//! Bouts that tile a recording.

/// How a person moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Gait {
    /// Running or jogging, however slow.
    Run,
    /// Walking, however fast.
    Walk,
    /// Standing.
    Stand,
    /// No usable data.
    Unknown,
}

impl Gait {
    /// Lower-case word as in the JSON outputs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Walk => "walk",
            Self::Stand => "stand",
            Self::Unknown => "unknown",
        }
    }
}

/// A time of one gait.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bout {
    /// Which gait.
    pub gait: Gait,
    /// Seconds from the start of the series.
    pub start_s: f64,
    /// Seconds from the start of the series.
    pub end_s: f64,
    /// Standard error of `start_s`, s. 0 at the ends of the recording.
    pub start_error_s: f64,
    /// Standard error of `end_s`, s.
    pub end_error_s: f64,
    /// Probability that this time is of this gait, 0 to 1. For `unknown`: 1.
    pub certainty: f64,
    /// Distance covered, m.
    pub distance_m: Option<f64>,
    /// Mean speed, m/s.
    pub mean_speed_mps: Option<f64>,
    /// Mean cadence, steps a minute, both feet.
    pub mean_cadence_spm: Option<f64>,
    /// Mean heart rate, beats a minute.
    pub mean_heart_rate_bpm: Option<f64>,
}

impl Bout {
    /// A bout of which nothing is known but its gait and its ends, s from the start of the series: without error and means, certainty 1.
    pub fn blank(gait: Gait, start_s: f64, end_s: f64) -> Self {
        Self {
            gait,
            start_s,
            end_s,
            start_error_s: 0.0,
            end_error_s: 0.0,
            certainty: 1.0,
            distance_m: None,
            mean_speed_mps: None,
            mean_cadence_spm: None,
            mean_heart_rate_bpm: None,
        }
    }

    /// Length in seconds.
    pub fn duration_s(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// Bouts that tile a recording from 0 to its end: no gap, no overlap, neighbours differ in gait.
#[derive(Clone, Debug, PartialEq)]
pub struct Segmentation {
    /// In order of time; `bouts` makes them tile.
    pub(super) bouts: Vec<Bout>,
}

impl Segmentation {
    /// Checks that the bouts tile from 0 and wraps them. `None` when they do not.
    pub fn new(bouts: Vec<Bout>) -> Option<Self> {
        let starts_at_zero = bouts.first().is_none_or(|b| b.start_s == 0.0);
        let tiles = bouts.windows(2).all(|w| w[0].end_s == w[1].start_s && w[0].gait != w[1].gait);
        let ordered = bouts.iter().all(|b| b.end_s >= b.start_s);
        (starts_at_zero && tiles && ordered).then_some(Self { bouts })
    }

    /// One bout of which nothing is known, from 0 to `elapsed_s`.
    pub fn unknown(elapsed_s: f64) -> Self {
        Self { bouts: vec![Bout::blank(Gait::Unknown, 0.0, elapsed_s)] }
    }

    /// The bouts in order of time.
    pub fn bouts(&self) -> &[Bout] {
        &self.bouts
    }

    /// Seconds from the first bout's start to the last one's end.
    pub fn elapsed_s(&self) -> f64 {
        self.bouts.last().map_or(0.0, |b| b.end_s)
    }
}
