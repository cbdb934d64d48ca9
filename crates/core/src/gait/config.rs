//! Every setting of the gait model, by topic.
//!
//! [`GaitConfig`] has what a caller may choose; all others are constants, since they were tuned together. `docs/method.md` has
//! the equations that they stand in, the sources in full, and what was tuned on which simulated recordings. "Our choice" marks
//! a number without a source.

/// Settings that a caller may choose.
#[derive(Clone, Debug, serde::Serialize)]
pub struct GaitConfig {
    /// A time without any speed or cadence for longer than this, s, is unknown. Our choice.
    pub silent_s: f64,
}

impl Default for GaitConfig {
    fn default() -> Self {
        Self { silent_s: 15.0 }
    }
}

/// The even time grid that readings are laid on. Our choice.
pub(super) mod grid {
    /// Seconds between frames.
    pub(crate) const FRAME_S: f64 = 2.0;
    /// Of fewer frames with a reading nothing is known.
    pub(crate) const LEAST_FRAMES: usize = 5;
    /// Where samples usually come farther apart than this, s, a frame is a share of their interval.
    pub(crate) const SPARSE_S: f64 = 10.0;
    /// That share, as frames an interval.
    pub(crate) const FRAMES_AN_INTERVAL: f64 = 5.0;
    /// A recorder's smoothed readings come up from 0 within this, s, after a start.
    pub(crate) const WAKE_UP_S: f64 = 4.0;
    /// One of them, when the other has come up, within this, s.
    pub(crate) const SLOW_WAKE_UP_S: f64 = 12.0;
    /// Slower than this, m/s, and with fewer steps a minute, it may still be waking up.
    pub(crate) const ASLEEP_MPS: f64 = 0.6;
    /// See [`ASLEEP_MPS`].
    pub(crate) const ASLEEP_SPM: f64 = 60.0;
    /// Standard deviation of the speed while standing, m/s, by where the speed comes from.
    pub(crate) const STANDING_SD_POSITIONS_MPS: f64 = 0.45;
    /// See [`STANDING_SD_POSITIONS_MPS`].
    pub(crate) const STANDING_SD_DISTANCE_MPS: f64 = 0.3;
    /// See [`STANDING_SD_POSITIONS_MPS`].
    pub(crate) const STANDING_SD_RECORDER_MPS: f64 = 0.25;
}

/// Slope of the ground. Our choice.
pub(super) mod slope {
    /// Altitude is fitted over the way of this many seconds before and after a frame: over these 25 to 80 m an altitude error of
    /// 0.25 m makes a slope error of about 0.5 %.
    pub(crate) const HALF_WINDOW_S: f64 = 15.0;
    /// Steeper slopes count as this, rise over run.
    pub(crate) const STEEPEST: f64 = 0.2;
    /// A shorter way, m, tells no slope.
    pub(crate) const SHORTEST_M: f64 = 12.0;
    /// Fewer samples tell no slope.
    pub(crate) const LEAST_SAMPLES: f64 = 4.0;
    /// So far, m, from where running sums count, they lose no digit that matters.
    pub(crate) const FARTHEST_M: f64 = 2000.0;
}

/// By how much one column tells later than another. Our choice.
pub(super) mod delay {
    /// Most samples that columns are shifted against each other, either way.
    pub(crate) const MOST_SHIFT: isize = 10;
    /// Only where samples usually come so far apart, s.
    pub(crate) const INTERVALS_S: std::ops::RangeInclusive<f64> = 0.5..=1.5;
    /// Fewer samples tell no delay.
    pub(crate) const LEAST_SAMPLES: usize = 120;
    /// Fewer pairs of known values tell no correlation.
    pub(crate) const LEAST_PAIRS: f64 = 100.0;
    /// A lesser correlation at the best shift tells no delay.
    pub(crate) const LEAST_CORRELATION: f64 = 0.6;
    /// Lower cadences, steps/min, are standing or drop-outs, which say little of the delay.
    pub(crate) const STEPPING_SPM: f64 = 40.0;
    /// Delay of a cadence that tells none, s. In sample files speed comes 6.5 s after positions and 4 s after cadence where runs begin
    /// (measured by us); recorders that hardly smooth have less. Our choice.
    pub(crate) const UNTOLD_CADENCE_DELAY_S: f64 = 2.0;
    /// Delay of a speed that tells none, s: between that 6.5 s and the 0 to 3 s of recorders that hardly smooth. Our choice.
    pub(crate) const UNTOLD_SPEED_DELAY_S: f64 = 3.5;
}

/// What nobody walks, and what nobody runs.
pub(super) mod nobody {
    /// Fastest walk, m/s: people begin to run at a Froude number of 0.5, v²/(g·L), 2.1 m/s for legs of 0.90 m (Alexander 1989; Kram,
    /// Domingo, Ferris 1997).
    pub(crate) const FASTEST_WALK_MPS: f64 = 2.1;
    /// Standard deviation of that between people and by what a recorder errs, m/s. Our choice.
    pub(crate) const FASTEST_WALK_SD_MPS: f64 = 0.15;
    /// The speed has to last so long, s. Our choice.
    pub(crate) const WINDOW_S: f64 = 20.0;
    /// However fast a walk or few the steps of a run, neither is less probable than by this factor. Our choice.
    pub(crate) const LEAST_ODDS: f64 = 1e-4;
    /// Fewest steps a minute of a run: people switch at 141 ± 6.4 (Hansen et al. 2017: 70.6 ± 3.2 strides/min), less two and a half of
    /// its standard deviations.
    pub(crate) const FEWEST_RUN_SPM: f64 = 125.0;
    /// Standard deviation of that between people, steps/min (same study).
    pub(crate) const FEWEST_RUN_SD_SPM: f64 = 6.4;
    /// Fewer steps a minute than this may be half of a run's. Our choice.
    pub(crate) const MAY_BE_HALF_SPM: f64 = 100.0;
}

/// What the scorer sees; it is fitted with these, so that a change asks for another fit (`benches/frames.py`). Our choice.
pub(super) mod figures {
    /// Speed between walks and runs of people, m/s: published 1.9 to 2.0 (Hum Mov Sci 2023;90:103117).
    pub(crate) const TRANSITION_MPS: f64 = 1.95;
    /// Cadence between walks and runs of people, steps/min: published 135 to 140 (same study).
    pub(crate) const TRANSITION_SPM: f64 = 137.5;
    /// Differences of speed count in units of this, m/s, …
    pub(crate) const SPEED_SCALE_MPS: f64 = 0.4;
    /// … those of cadence of this, steps/min, …
    pub(crate) const STEPS_SCALE_SPM: f64 = 12.0;
    /// … those of heart rate of this, beats/min, …
    pub(crate) const HEART_SCALE_BPM: f64 = 15.0;
    /// … and no more than so many.
    pub(crate) const MOST: f64 = 5.0;
    /// Slopes count in units of this, rise over run, …
    pub(crate) const STEEP: f64 = 0.1;
    /// … and no more than so many.
    pub(crate) const STEEPEST: f64 = 2.0;
    /// Slower than this, m/s, is no moving.
    pub(crate) const MOVING_MPS: f64 = 0.7;
    /// Fewer steps a minute are no moving.
    pub(crate) const STEPPING_SPM: f64 = 60.0;
    /// So few steps a minute are none.
    pub(crate) const STILL_SPM: f64 = 15.0;
    /// Fewer readings tell nothing of a whole recording.
    pub(crate) const LEAST_READINGS: usize = 5;
    /// Where a smaller share of the frames has steps, no cadence is seen: a minute of them in hours tells nothing of the rest.
    pub(crate) const LEAST_CADENCE_SHARE: f64 = 0.1;
    /// Where a smaller share of the frames has a heart rate, none is seen: there is too little to set one against another.
    pub(crate) const LEAST_HEART_SHARE: f64 = 0.5;
    /// A frame is said to be no longer than this, s.
    pub(crate) const WIDEST_FRAME_S: f64 = 6.0;
}

/// The most probable sequence of gaits. Our choice, tuned on the simulator.
pub(super) mod path {
    /// What a change of gait costs, in the log.
    pub(crate) const CHANGE_COST: f64 = 3.0;
    /// However probable marks make a change, it costs this, so that a mark alone makes none.
    pub(crate) const LEAST_CHANGE_COST: f64 = 0.7;
    /// A gait is no less probable than this at a frame.
    pub(crate) const LEAST_PROBABILITY: f64 = 1e-6;
}

/// Levels of a recording's gaits. Our choice.
pub(super) mod levels {
    use crate::gait::gaussian::Gaussian;

    /// Weight of a speed for each second between readings, and its range: an error that lasts some 5 s makes a reading a second count a
    /// fifth, and one every 5 s nearly whole.
    pub(crate) const SPEED_A_SECOND: f64 = 0.2;
    /// See [`SPEED_A_SECOND`].
    pub(crate) const SPEED_WEIGHT_RANGE: (f64, f64) = (0.2, 0.8);
    /// The same of a cadence.
    pub(crate) const CADENCE_A_SECOND: f64 = 0.4;
    /// See [`CADENCE_A_SECOND`].
    pub(crate) const CADENCE_WEIGHT_RANGE: (f64, f64) = (0.4, 0.6);
    /// Standard deviations stay within, m/s.
    pub(crate) const SPEED_SD_RANGE_MPS: (f64, f64) = (0.08, 0.22);
    /// Standard deviations stay within, steps/min.
    pub(crate) const CADENCE_SD_RANGE_SPM: (f64, f64) = (2.0, 6.0);
    /// Fewer readings tell no mean.
    pub(crate) const LEAST_READINGS: f64 = 3.0;
    /// What is not known is as spread as over all walks and runs: speeds, m/s, …
    pub(crate) const UNSEEN_SPEED_MPS: Gaussian = Gaussian { mean: 2.0, sd: 0.6 };
    /// … and cadences, steps/min.
    pub(crate) const UNSEEN_CADENCE_SPM: Gaussian = Gaussian { mean: 137.5, sd: 25.0 };
    /// Cadence tells the gaits apart where runs have more steps a minute than walks by more than this.
    pub(crate) const LEAST_CADENCE_STEP_SPM: f64 = 5.0;
    /// Standard deviation of the cadence while standing, steps/min.
    pub(crate) const STANDING_CADENCE_SD_SPM: f64 = 10.0;
}

/// How certain a bout is. The weights are made by `benches/bouts.py`; the rest is our choice.
pub(super) mod certainty {
    /// How many figures the certainty of a bout is reckoned from.
    pub(crate) const FEATURES: usize = 11;
    /// Log odds count no more than this.
    pub(crate) const MOST_LOG_ODDS: f64 = 6.0;
    /// A length counts by the log of its minutes, no more than this.
    pub(crate) const MOST_LOG_MINUTES: f64 = 2.5;
    /// With cadence a bout of which some time is less probable of its gait than this is no surer than this.
    pub(crate) const DOUBTED: f64 = 0.85;
    /// Real runners and recorders differ from made-up ones in ways that nobody has drawn: where cadence does not tell, log odds that hold
    /// for these are multiplied by this (temperature scaling, Guo et al. 2017, from memory).
    pub(crate) const TEMPER: f64 = 0.65;
    /// … and by this where the speed is that of positions: there the bouts of made-up and of sample recordings alike were more often
    /// right than they were said to be.
    pub(crate) const TEMPER_BY_POSITIONS: f64 = 0.8;
    /// Weights of the figures, in their order.
    pub(crate) const WEIGHTS: [f64; FEATURES] =
        [-0.103, 6.169, 1.840, 0.210, -0.671, -0.771, 2.493, 0.946, 0.486, -0.128, 0.260];
}

/// How people walk and run. Sources in `docs/method.md`.
pub(super) mod people {
    use crate::gait::gaussian::Gaussian;

    /// Speed of walkers, m/s: with that of runners it puts the switch at 1.97, published 1.9 to 2.0.
    pub(crate) const WALK_SPEED_MPS: Gaussian = Gaussian { mean: 1.55, sd: 0.25 };
    /// Speed of runners, m/s.
    pub(crate) const RUN_SPEED_MPS: Gaussian = Gaussian { mean: 2.5, sd: 0.42 };
    /// What a slope does to the speed: share lost for each unit of slope uphill, between keeping the speed and keeping the cost of the
    /// level (Minetti et al. 2002: 5 % uphill costs 1.30 times as much, so 4.6 would keep the cost). In sample files runs lose 3.2 and
    /// walks 2.2, and downhill nothing is gained in the median (`docs/simulator.md`).
    pub(crate) const UPHILL: f64 = 2.5;
    /// However steep the ground, the speed falls to no smaller share of that on the level. Our choice.
    pub(crate) const LEAST_SLOPE_FACTOR: f64 = 0.3;
}

/// What a runner's other recordings tell. Our choice, tuned on the simulator.
pub(super) mod runner {
    /// A recording has cadence when more than this share of the time in which someone moves has one.
    pub(crate) const CADENCE_SHARE: f64 = 0.5;
    /// Bouts of recordings with cadence teach from this certainty on …
    pub(crate) const SURE: f64 = 0.9;
    /// … and without it only from this.
    pub(crate) const SURE_WITHOUT_CADENCE: f64 = 0.97;
    /// A recording without cadence counts as so many with it.
    pub(crate) const TRUST_WITHOUT_CADENCE: f64 = 0.25;
    /// Shorter bouts, s, do not teach.
    pub(crate) const LEAST_BOUT_S: f64 = 20.0;
    /// Of a bout this much at either end, s, does not teach.
    pub(crate) const END_S: f64 = 5.0;
    /// A gait of which less than this, s, was certain is not learnt from a recording.
    pub(crate) const LEAST_SECONDS: f64 = 60.0;
    /// So many days away a recording counts half: a runner gets faster over weeks.
    pub(crate) const FADES_DAYS: f64 = 28.0;
    /// Standard deviation of one runner's usual speed from day to day before anything is seen, m/s.
    pub(crate) const DAY_SD_MPS: f64 = 0.09;
    /// How many recordings that belief weighs.
    pub(crate) const DAY_SD_READINGS: f64 = 3.0;
    /// Degrees of freedom by which one value among others may be wrong.
    pub(crate) const TAIL: f64 = 2.0;
    /// Rounds of fitting the mean and the spread.
    pub(crate) const ROUNDS: usize = 8;
    /// Recordings that together count less than this teach nothing of another.
    pub(crate) const LEAST_TAUGHT: f64 = 0.3;
}

/// Marks of the runner and guesses of the recorder. Our choice.
pub(super) mod side_information {
    /// A guess is one statement, however long: its odds are spread over its time, and over no less than this, s.
    pub(crate) const STATEMENT_S: f64 = 20.0;
    /// What a recorder says in each gait is counted from so many statements on, which are spread as all of its statements are.
    pub(crate) const FIRST_STATEMENTS: f64 = 3.0;
    /// Least probability of any guess in any gait, so that no statement weighs more than 8 to 1.
    pub(crate) const LEAST_CONFUSION: f64 = 0.1;
    /// By how much a mark makes a change of gait more probable at its own moment: about that of a change that is marked in one
    /// case of two.
    pub(crate) const MARK_ODDS: f64 = 10.0;
    /// Standard deviation of a mark around the change, s.
    pub(crate) const MARK_SD_S: f64 = 2.0;
    /// Farther away than so many standard deviations a mark says nothing.
    pub(crate) const MARK_REACH_SD: f64 = 3.0;
    /// By how much the beep at which a step of the workout ends makes a change of gait more probable at the moment at which most answer
    /// it: a watch that counts down leaves less open than a button. It is no proof, so that readings that clearly say otherwise are
    /// believed. Our choice.
    pub(crate) const BEEP_ODDS: f64 = 1e10;
    /// How much later than the beep the middle of the change is, s: from counted down to a change of speed of 1 to 4 s. Our choice.
    pub(crate) const BEEP_LATE_S: f64 = 0.9;
    /// Standard deviation around that, s. Our choice.
    pub(crate) const BEEP_SD_S: f64 = 0.5;
    /// A change this near to the usual answer, s, may be one and tells the recorder's delay. Our choice.
    pub(crate) const BEEP_REACH_S: f64 = 6.0;
    /// The recorder's guesses are said to differ where they do for this long, s, …
    pub(crate) const DIFFERS_S: f64 = 60.0;
    /// … and for this share of their time.
    pub(crate) const DIFFERS_SHARE: f64 = 0.2;
}

/// Placing a change of gait between samples. Our choice but for the ramps.
pub(super) mod boundary {
    /// How far around the first guess the boundary is looked for, s.
    pub(crate) const SEARCH_S: f64 = 8.0;
    /// How far around it readings are used, s.
    pub(crate) const WINDOW_S: f64 = 14.0;
    /// Places are this far apart, s.
    pub(crate) const STEP_S: f64 = 0.5;
    /// A boundary keeps this far from a bout's other end, s.
    pub(crate) const LEAST_BOUT_S: f64 = 1.0;
    /// Lengths of the change that are tried, s: the gait changes in one step (Segers et al. 2007), speed takes 1 to 4 s, a
    /// recorder's smoothing more.
    pub(crate) const RAMPS_S: [f64; 5] = [1.0, 2.5, 5.0, 9.0, 14.0];
    /// People stop within this, s: what takes longer is a recorder that smooths, and the stop lies where its ramp begins.
    pub(crate) const STOP_S: f64 = 2.0;
    /// Even with perfect readings the moment of change is not defined better than this, s.
    pub(crate) const MOMENT_SD_S: f64 = 0.4;
    /// A step smaller than so many standard deviations tells no place.
    pub(crate) const LEAST_STEP_SD: f64 = 0.5;
    /// A reading counts as made no less and no more than this much of the step: a spike is no stronger than the state itself.
    pub(crate) const SHARE_RANGE: (f64, f64) = (-1.0, 2.0);
    /// The starts of runs tell the delay of the cadence where walk and run last so long, s.
    pub(crate) const LEAST_BESIDE_START_S: f64 = 20.0;
    /// A cadence is not later than this, s.
    pub(crate) const MOST_CADENCE_DELAY_S: f64 = 5.0;
    /// A boundary is placed by cadence alone where there are so many readings around it, …
    pub(crate) const DENSE_READINGS: f64 = 8.0;
    /// … one in this time, s.
    pub(crate) const DENSE_S: f64 = 2.5;
    /// The bout's own mean is taken from this far from the boundary, s, …
    pub(crate) const OWN_MEAN_NEAR_S: f64 = 5.0;
    /// … to this far, s, …
    pub(crate) const OWN_MEAN_FAR_S: f64 = 35.0;
    /// … which keeps this far from its other end, s.
    pub(crate) const OWN_MEAN_END_S: f64 = 2.0;
    /// Fewer readings tell no mean of their own.
    pub(crate) const OWN_MEAN_READINGS: usize = 5;
    /// The state's mean counts as so many independent readings beside the bout's own.
    pub(crate) const STATE_READINGS: f64 = 4.0;
    /// Recorders tell 0 to 3 s late. By how much is found by sliding noisy columns over each other, which is good to this, s; …
    pub(crate) const DELAY_SD_KNOWN_S: f64 = 0.4;
    /// … where it cannot be found, it is about this either way, s.
    pub(crate) const DELAY_SD_UNKNOWN_S: f64 = 0.9;
}

/// Putting bouts together.
pub(super) mod bouts {
    /// A piece of another gait that is shorter than this, s, makes no bout wrong.
    pub(crate) const HIDDEN_S: f64 = 20.0;
    /// Frames this near to a bout's ends, s, tell the error of the ends, not how certain the bout is. Our choice, as all here.
    pub(crate) const END_S: f64 = 4.0;
    /// A bout keeps at least a third of its frames for its certainty: no more than one in this many is left out at each end.
    pub(crate) const END_SHARE: usize = 3;
    /// Where cadence places an end, a doubt no greater than this is none farther away than …
    pub(crate) const LEAST_DOUBT: f64 = 0.02;
    /// … this, s; nearer than that doubts are summed, not squared.
    pub(crate) const PLACED_S: f64 = 6.0;
    /// An end is in doubt no farther than this, s.
    pub(crate) const END_DOUBT_S: f64 = 30.0;
    /// Spread of the speed by slopes that nobody recorded, as a share of it: slopes of 2.5 % where the effort is kept (Minetti et
    /// al. 2002: 4.6 times the slope).
    pub(crate) const UNSEEN_SLOPES: f64 = 0.12;
    /// A loss of certainty that is worth a notice.
    pub(crate) const WORTH_SAYING: f64 = 0.02;
    /// A bout that is less certain than this is called doubtful.
    pub(crate) const DOUBTFUL: f64 = 0.8;
    /// From this length on, s, the mean speed of a bout is its distance over its time.
    pub(crate) const SPEED_FROM_DISTANCE_S: f64 = 10.0;
}
