//! Every setting of cleaning, by topic.
//!
//! [`CleanConfig`] has the limits that a caller may choose; all others are constants. `docs/method.md` has the rules that they
//! stand in. "Our choice" marks a number without a source.

/// Limits that a caller may choose.
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub struct CleanConfig {
    /// Two samples further apart than this, s, have a hole between them, unless sampling is that sparse throughout. Our choice.
    pub hole_s: f64,
    /// No one on foot is faster, m/s: the 100 m world record averages 10.4 and peaks at 12.3 m/s.
    pub max_speed_mps: f64,
    /// Cadences above this, steps a minute, are out of range. Our choice.
    pub max_cadence_spm: f64,
    /// Heart rates outside are out of range, beats a minute. Our choice.
    pub heart_rate_range_bpm: (f64, f64),
}

impl Default for CleanConfig {
    fn default() -> Self {
        Self {
            hole_s: 15.0,
            max_speed_mps: 12.5,
            max_cadence_spm: 260.0,
            heart_rate_range_bpm: (25.0, 240.0),
        }
    }
}

/// Order in time. Our choice.
pub(super) mod order {
    /// Time may fall back from one sample to the next in this share of them; beyond, the order tells nothing.
    pub(crate) const MOST_FALLS: f64 = 0.1;
}

/// Pauses and holes. Our choice.
pub(super) mod gaps {
    /// A silence is explained by sampling up to so many …
    pub(crate) const INTERVALS: f64 = 2.5;
    /// … of the intervals that this share of all does not exceed, …
    pub(crate) const INTERVAL_SHARE: f64 = 0.95;
    /// … and up to this, s, at most.
    pub(crate) const LONGEST_SILENCE_S: f64 = 120.0;
    /// A shorter stop of the timer is no pause, s …
    pub(crate) const SHORTEST_PAUSE_S: f64 = 1.5;
    /// … nor one shorter than this share of the usual interval.
    pub(crate) const SHORTEST_PAUSE_INTERVALS: f64 = 0.5;
    /// A pause is a gap only where the samples around it are farther apart than so many usual intervals.
    pub(crate) const PAUSE_GAP_INTERVALS: f64 = 2.0;
}

/// Positions that jump. Our choice.
pub(super) mod jumps {
    /// How fast the person usually goes, and how much steps from one known position to the next scatter, is taken from so many
    /// steps at a time.
    pub(crate) const BLOCK: usize = 60;
    /// A position out of reach of the last good one is left out when another within this time, s, is in reach again.
    pub(crate) const COMES_BACK_S: f64 = 10.0;
    /// Reach beyond the usual way, m.
    pub(crate) const REACH_M: f64 = 4.0;
    /// Reach as multiple of the usual speed.
    pub(crate) const REACH_SPEEDS: f64 = 1.6;
    /// Reach as multiple of the usual scatter.
    pub(crate) const REACH_SCATTERS: f64 = 6.0;
    /// A recorder holds positions where the usual time between new ones is so many samples or more: it then does for up to …
    pub(crate) const HELD_SAMPLES: f64 = 1.5;
    /// … so many of the usual times between new ones.
    pub(crate) const HELD_INTERVALS: f64 = 3.0;
    /// Any recorder holds one where the next new one is as far as these shares of the usual speed bring one, …
    pub(crate) const HELD_SPEEDS: std::ops::Range<f64> = 0.6..1.5;
    /// … for up to this time, s.
    pub(crate) const LONGEST_HELD_S: f64 = 15.0;
}

/// Speed from positions. Our choice.
pub(super) mod position {
    /// The line is fitted to the positions within this time on either side, s, for the least noisy ones …
    pub(crate) const LEAST_HALF_WINDOW_S: f64 = 2.5;
    /// … whose error changes by this on each axis in a second, m/s, …
    pub(crate) const LEAST_NOISE_MPS: f64 = 0.35;
    /// … and within more for noisier ones, growing with this power of the noise …
    pub(crate) const NOISE_POWER: f64 = 2.0 / 3.0;
    /// … up to this, s, …
    pub(crate) const MOST_HALF_WINDOW_S: f64 = 6.0;
    /// … but always within so many usual intervals.
    pub(crate) const LEAST_INTERVALS: f64 = 1.2;
    /// Steps in which it is counted to a metre a second, as recorders write their own.
    pub(crate) const STEPS_A_MPS: f64 = 1000.0;
    /// So far, s, from where the times of running sums count, they lose no digit that matters.
    pub(crate) const FARTHEST_S: f64 = 60.0;
}

/// The choice of a speed, and its delay. Our choice.
pub(super) mod speed {
    /// A column serves when at least one row in so many has it.
    pub(crate) const ROWS_A_VALUE: usize = 3;
    /// From so many rows on, a column that is the same throughout does not serve.
    pub(crate) const ROWS_TO_DIFFER: usize = 10;
    /// Shifts that are tried for the delay, samples from 0 on.
    pub(crate) const SHIFTS: usize = 14;
    /// Longest delay, s.
    pub(crate) const MOST_DELAY_S: f64 = 12.0;
    /// A delay is looked for where at least half of the samples are no farther apart than this, s …
    pub(crate) const DENSE_S: f64 = 1.5;
    /// … and there are at least so many of them.
    pub(crate) const LEAST_SAMPLES: usize = 120;
    /// Fewer pairs of known values tell no cost of a shift.
    pub(crate) const LEAST_PAIRS: f64 = 60.0;
    /// A squared difference counts as no more than this, m²/s², so that the positions' spikes do not decide.
    pub(crate) const MOST_SQUARE: f64 = 1.0;
}

/// Faults of cadence.
pub(super) mod cadence {
    /// Steps that are longer than this, m, at a cadence below [`HALF_BELOW_SPM`] are two steps counted as one: an adult walks with
    /// steps of 0.5 to 0.9 m and jogs with 0.7 to 1.2 m (van Oeveren et al. 2017: 0.94 to 1.09 m at 154 to 160 steps/min).
    pub(crate) const HALF_STEP_M: f64 = 1.30;
    /// See [`HALF_STEP_M`].
    pub(crate) const HALF_BELOW_SPM: f64 = 105.0;
    /// Steps shorter than this, m, at a cadence above [`DOUBLE_ABOVE_SPM`] are one step counted twice.
    pub(crate) const DOUBLE_STEP_M: f64 = 0.60;
    /// See [`DOUBLE_STEP_M`].
    pub(crate) const DOUBLE_ABOVE_SPM: f64 = 195.0;
    /// Beside such steps those are two counted as one that are longer than this, m, for each step/min …
    pub(crate) const STILL_HALF_RATIO_M: f64 = 0.0105;
    /// … at a cadence below this: of a walk they are 0.0065 (the walk ratio; Sekiya, Nagasaki 1998, from memory).
    pub(crate) const STILL_HALF_BELOW_SPM: f64 = 90.0;
    /// … and those one counted twice that are shorter than this, m, …
    pub(crate) const STILL_DOUBLE_STEP_M: f64 = 0.50;
    /// … at a cadence above this: by themselves such steps may be a slow jog's. Our choice.
    pub(crate) const STILL_DOUBLE_ABOVE_SPM: f64 = 150.0;
    /// A cadence out of range is kept, to be halved, up to this, steps/min: double that of a fast runner. Our choice.
    pub(crate) const MOST_DOUBLED_SPM: f64 = 400.0;
    /// A lock on half or double lasts for this, s; shorter ones are noise. Our choice.
    pub(crate) const LOCK_S: f64 = 4.0;
    /// Speed beside a cadence is the mean within this time on either side, s. Our choice.
    pub(crate) const SPEED_WITHIN_S: f64 = 2.5;
    /// A person who moves at this speed, m/s, takes steps. Our choice.
    pub(crate) const MOVING_MPS: f64 = 0.9;
    /// Fewer steps a minute than this while moving are a drop-out. Our choice.
    pub(crate) const DROPPED_SPM: f64 = 20.0;
    /// A cadence that stays the same for this long, s, is held if the speed changes by more than [`HELD_CHANGE_MPS`] meanwhile:
    /// cadence wanders by 1 to 3 % from stride to stride (from memory), so even whole strides a minute seldom repeat for 20 s.
    pub(crate) const HELD_S: f64 = 15.0;
    /// See [`HELD_S`]. Our choice.
    pub(crate) const HELD_CHANGE_MPS: f64 = 0.35;
    /// A cadence that stays the same for this long, s, is held at any speed that is known: 44 sample files with a cadence (duplicates
    /// counted) have 75 such stretches in 83 hours, 14 of them any. Measured by us; our choice.
    pub(crate) const HELD_AT_ANY_SPEED_S: f64 = 45.0;
    /// Where more of the readings than this share stand in stretches so long the recorder averages or rounds, and none is held. Our choice.
    pub(crate) const MOST_HELD: f64 = 0.75;
    /// The ends of what looks held, s, may belong to a change of gait and do not count. Our choice.
    pub(crate) const HELD_ENDS_S: f64 = 4.0;
    /// A person who is slower than this, m/s, does not step at a steady rate. Our choice.
    pub(crate) const STILL_MPS: f64 = 0.35;
    /// A cadence above this, steps/min, at such a speed was held from before the stop. Our choice.
    pub(crate) const HELD_WHILE_STILL_SPM: f64 = 60.0;
    /// Fewer equal values than this while still tell nothing. Our choice.
    pub(crate) const HELD_WHILE_STILL_SAMPLES: usize = 3;
    /// Cadences that differ by less, steps/min, are equal. Far below any recorder's resolution.
    pub(crate) const EQUAL_SPM: f64 = 1e-6;
}

/// Marks of the runner and guesses of the recorder.
pub(super) mod side_information {
    /// Two marks closer than this, s, cancel each other: two changes of gait are further apart, and a button pressed again
    /// and again marks nothing. Our choice.
    pub(crate) const CLOSEST_S: f64 = 10.0;
}
