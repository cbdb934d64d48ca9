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
    /// Most ways of moving that are told apart in one recording, standing not counted: 1 to 7. Our choice.
    pub most_moving_states: usize,
}

impl Default for GaitConfig {
    fn default() -> Self {
        Self { silent_s: 15.0, most_moving_states: 4 }
    }
}

/// How long states last and where they lead: the hidden Markov chain. Our choice, tuned on the simulator.
pub(super) mod chain {
    /// Minimum duration of a walk or run, s.
    pub(crate) const MIN_MOVING_S: f64 = 6.0;
    /// Minimum duration of standing, s.
    pub(crate) const MIN_STANDING_S: f64 = 3.0;
    /// Mean time in a state once its minimum duration is over, s, where there is cadence …
    pub(crate) const MEAN_REMAINING_S: f64 = 50.0;
    /// … and where there is none: speeds wander for longer.
    pub(crate) const MEAN_REMAINING_BY_SPEED_S: f64 = 70.0;
    /// Share of changes of state that lead to standing.
    pub(crate) const TO_STANDING: f64 = 0.1;
    /// Probability of standing at the first frame: what looks like it there is the recorder's speed coming up.
    pub(crate) const INITIALLY_STANDING: f64 = 0.01;
    /// However probable marks make a change, the probability of leaving a state is at most this, so that a mark alone makes none.
    pub(crate) const MOST_LEAVE: f64 = 0.5;
}

/// The even time grid that readings are laid on. Our choice.
pub(super) mod grid {
    /// Seconds between frames.
    pub(crate) const FRAME_S: f64 = 1.0;
    /// Where samples usually come farther apart than this, s, a frame is a share of their interval.
    pub(crate) const SPARSE_S: f64 = 10.0;
    /// That share, as frames an interval.
    pub(crate) const FRAMES_AN_INTERVAL: f64 = 5.0;
    /// Frames that make one of the coarser grid on which states are searched, where a step costs a third.
    pub(crate) const SEARCH_FRAMES: usize = 3;
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
}

/// Densities of readings. Our choice.
pub(super) mod emission {
    /// Share of readings that are wrong in no known way.
    pub(crate) const OUTLIER: f64 = 0.02;
    /// Range over which wrong speeds spread, m/s.
    pub(crate) const SPEED_RANGE_MPS: f64 = 6.0;
    /// Range over which wrong cadences spread, steps/min.
    pub(crate) const CADENCE_RANGE_SPM: f64 = 250.0;
    /// While standing a recorder gives no steps; now and then one is counted: fewer steps a minute than this count as none.
    pub(crate) const STANDING_SPM: f64 = 15.0;
    /// A speed below this, m/s, says that the recorder stands still, which is no part of its wandering error …
    pub(crate) const STILL_MPS: f64 = 0.4;
    /// … so it counts for at least this much.
    pub(crate) const STILL_WEIGHT: f64 = 0.4;
    /// Slower than this, m/s, and without steps: two sensors say that nobody moves, …
    pub(crate) const STILL_BOTH_MPS: f64 = 0.7;
    /// … so that each counts for this much.
    pub(crate) const STILL_BOTH: f64 = 0.8;
    /// A speed counts this much beside a cadence, which tells the gaits apart better: one runner's bouts differ in speed by 13 %, in
    /// cadence by 3 % (measured by us).
    pub(crate) const BESIDE_CADENCE: f64 = 0.7;
    /// However steep the ground, the speed of a state falls to no smaller share of that on the level.
    pub(crate) const LEAST_SLOPE_FACTOR: f64 = 0.3;
}

/// Fitting the moving states by expectation–maximisation.
pub(super) mod fit {
    use crate::gait::gaussian::Gaussian;

    /// Standard deviation of the speed within a state before anything is seen, m/s. Our choice, as all here without a source.
    pub(crate) const SPEED_SD_MPS: f64 = 0.16;
    /// The same of the cadence, steps/min.
    pub(crate) const CADENCE_SD_SPM: f64 = 4.0;
    /// How many readings that belief weighs.
    pub(crate) const PRIOR_READINGS: f64 = 15.0;
    /// Standard deviations stay within, m/s.
    pub(crate) const SPEED_SD_RANGE_MPS: (f64, f64) = (0.08, 0.22);
    /// Standard deviations stay within, steps/min.
    pub(crate) const CADENCE_SD_RANGE_SPM: (f64, f64) = (2.0, 6.0);
    /// A mean speed does not fall below this, m/s.
    pub(crate) const LEAST_MEAN_MPS: f64 = 0.3;
    /// With fewer readings of a kind nothing is known of it in a state …
    pub(crate) const LEAST_READINGS: f64 = 3.0;
    /// … nor where a smaller share of its frames has one, measured by the state with most: those few are its neighbours'.
    pub(crate) const LEAST_SEEN_SHARE: f64 = 0.35;
    /// What is not known is as spread as over all walks and runs: speeds, m/s, …
    pub(crate) const UNSEEN_SPEED_MPS: Gaussian = Gaussian { mean: 2.0, sd: 0.6 };
    /// … and cadences, steps/min.
    pub(crate) const UNSEEN_CADENCE_SPM: Gaussian = Gaussian { mean: 137.5, sd: 25.0 };
    /// Readings farther from a state's mean, m/s, are faults of the recorder and do not move the state.
    pub(crate) const CUT_MPS: f64 = 0.9;
    /// The same, steps/min.
    pub(crate) const CUT_SPM: f64 = 22.0;
    /// Of a state whose spread is not known yet, so many of its standard deviations.
    pub(crate) const CUT_SDS: f64 = 2.5;
    /// What a slope does to the speed before anything is seen: between keeping the speed and keeping the cost of the level
    /// (Minetti et al. 2002: 5 % uphill costs 1.30 times as much, so 4.6 would keep the cost).
    pub(crate) const USUAL_UP: f64 = 2.5;
    /// The same downhill.
    pub(crate) const USUAL_DOWN: f64 = 0.8;
    /// How many square slopes that belief weighs.
    pub(crate) const SLOPE_PRIOR: f64 = 0.02;
    /// Most that the speed falls uphill, as share of it for each unit of slope.
    pub(crate) const MOST_UP: f64 = 6.0;
    /// Most that it rises downhill.
    pub(crate) const MOST_DOWN: f64 = 4.0;

    /// Most rounds of expectation–maximisation.
    pub(crate) const ROUNDS: usize = 3;
    /// Rounds of the fit that only tells how much readings count.
    pub(crate) const FIRST_ROUNDS: usize = 2;
    /// Most rounds over all of a long recording.
    pub(crate) const LATE_ROUNDS: usize = 3;
    /// Rounds end when one gains less log likelihood than this.
    pub(crate) const CONVERGENCE_TOLERANCE: f64 = 1.0;
    /// What one more state costs in the BIC score beside its free parameters.
    pub(crate) const STATE_COST: f64 = 0.0;
    /// Two states are the same when they differ by less than a round moves them: mean speed, m/s …
    pub(crate) const SAME_MPS: f64 = 0.02;
    /// … mean cadence, steps/min …
    pub(crate) const SAME_SPM: f64 = 0.7;
    /// … and the log of the ratio of their standard deviations.
    pub(crate) const SAME_LOG_SD: f64 = 0.15;

    /// A recording longer than this, s, is long: its states are searched and refined on parts spread evenly over it, since more
    /// tells little more of what they are.
    pub(crate) const LONG_S: f64 = 5400.0;
    /// Length of all parts together, s.
    pub(crate) const PARTS_S: f64 = 3600.0;
    /// Length of one part, s.
    pub(crate) const PART_S: f64 = 600.0;
}

/// Where the search for states begins. Our choice.
pub(super) mod initial {
    /// Slower than this, m/s, and without steps, is taken for standing.
    pub(crate) const MOVING_MPS: f64 = 0.7;
    /// With more steps a minute than this someone moves …
    pub(crate) const STEPPING_SPM: f64 = 60.0;
    /// … if the speed, where there is one, is above this share of [`MOVING_MPS`].
    pub(crate) const STEPPING_SHARE: f64 = 0.5;
    /// Readings are averaged over so many frames on either side where the cadence leads …
    pub(crate) const CADENCE_REACH: usize = 3;
    /// … and where the speed does, which wanders more.
    pub(crate) const SPEED_REACH: usize = 8;
    /// Fewer readings for each state tell none.
    pub(crate) const LEAST_READINGS: usize = 5;
    /// Most rounds of k-means.
    pub(crate) const ROUNDS: usize = 12;
    /// A state is split off where the readings of so many seconds on either side are explained worst.
    pub(crate) const SPLIT_REACH_S: f64 = 6.0;
}

/// Stretches of a piece whose cadence lies apart from the rest. Our choice.
pub(super) mod apart {
    /// So far from the piece's median cadence, steps/min.
    pub(crate) const APART_SPM: f64 = 12.0;
    /// Fewer steps a minute than this are standing or a drop-out.
    pub(crate) const DROP_OUT_SPM: f64 = 60.0;
    /// For so long, s, …
    pub(crate) const LEAST_S: f64 = 12.0;
    /// … and over so many readings.
    pub(crate) const LEAST_READINGS: usize = 3;
    /// Probability of the state that it is given to.
    pub(crate) const POSTERIOR: f64 = 0.97;
}

/// How much one reading counts, since neighbouring ones share their error.
pub(super) mod weights {
    /// Weight of a speed for each second between speeds, and its range, before residuals are known: an error that lasts some 5 s
    /// makes a reading a second count a fifth, and one every 5 s nearly whole. Our choice, as all here.
    pub(crate) const SPEED_A_SECOND: f64 = 0.2;
    /// See [`SPEED_A_SECOND`].
    pub(crate) const SPEED_USUAL_RANGE: (f64, f64) = (0.2, 0.8);
    /// The same of a cadence.
    pub(crate) const CADENCE_A_SECOND: f64 = 0.4;
    /// See [`CADENCE_A_SECOND`].
    pub(crate) const CADENCE_USUAL_RANGE: (f64, f64) = (0.4, 0.6);
    /// Weights found from residuals stay within.
    pub(crate) const SPEED_RANGE: (f64, f64) = (0.15, 0.9);
    /// Weights found from residuals stay within.
    pub(crate) const CADENCE_RANGE: (f64, f64) = (0.25, 0.6);
    /// Greatest lag of the autocorrelation, frames.
    pub(crate) const LAGS: usize = 12;
    /// A lesser autocorrelation is lost in noise, and the sum ends.
    pub(crate) const LOST: f64 = 0.1;
    /// A reading belongs to a state that is at least this probable.
    pub(crate) const BELONGS: f64 = 0.9;
    /// Fewer residuals tell no weight.
    pub(crate) const LEAST_RESIDUALS: f64 = 40.0;
    /// A lag with fewer pairs is passed over.
    pub(crate) const LEAST_PAIRS: f64 = 15.0;
}

/// What is known of walkers and runners before a recording is seen. Sources in `docs/method.md`, "What is known beforehand".
pub(super) mod prior {
    use crate::gait::gaussian::Gaussian;

    /// Cadence of walkers, steps/min; with that of runners it puts the switch at 137.5, published 135 to 140.
    pub(crate) const WALK_CADENCE_SPM: Gaussian = Gaussian { mean: 114.0, sd: 9.5 };
    /// Cadence of runners, steps/min.
    pub(crate) const RUN_CADENCE_SPM: Gaussian = Gaussian { mean: 161.0, sd: 9.5 };
    /// Speed of walkers where there is no cadence, m/s: with that of runners it puts the switch at 1.97, published 1.9 to 2.0.
    pub(crate) const WALK_SPEED_MPS: Gaussian = Gaussian { mean: 1.55, sd: 0.25 };
    /// Speed of runners, m/s.
    pub(crate) const RUN_SPEED_MPS: Gaussian = Gaussian { mean: 2.5, sd: 0.42 };
    /// Walking speed at this cadence, steps/min, is …
    pub(crate) const WALK_REFERENCE_SPM: f64 = 102.0;
    /// … this, m/s (3 METs), …
    pub(crate) const WALK_REFERENCE_MPS: f64 = 1.17;
    /// … and rises by this for each step a minute: 129 steps/min at 1.9 m/s (6 METs).
    pub(crate) const WALK_MPS_PER_SPM: f64 = 0.027;
    /// That line holds between these cadences, steps/min. Our choice.
    pub(crate) const WALK_LINE_SPM: (f64, f64) = (80.0, 150.0);
    /// Standard deviation around that line, m/s.
    pub(crate) const WALK_LINE_SD_MPS: f64 = 0.25;
    /// Speed counts no more than this in the log where there is cadence: alone it tells the gaits apart in little more than half
    /// of the cases.
    pub(crate) const LEAST_SPEED_LOG: f64 = -7.0;
    /// Standard deviation of the step from one person's usual walk to the usual run, m/s.
    pub(crate) const SPEED_STEP_SD_MPS: f64 = 0.4;
    /// The same of the cadence, steps/min.
    pub(crate) const CADENCE_STEP_SD_SPM: f64 = 13.0;
    /// Standard deviation of the speed from bout to bout of one person's walks, as a share of it (measured by us, 9 recordings).
    pub(crate) const WALK_TAU: f64 = 0.093;
    /// The same of runs (15 recordings).
    pub(crate) const RUN_TAU: f64 = 0.127;
    /// People differ in how alike their bouts are: shares of [`WALK_TAU`] and [`RUN_TAU`] that are tried. Our choice.
    pub(crate) const BOUT_SHARES: [f64; 3] = [0.2, 0.6, 1.2];
    /// Standard deviation of the cadence from bout to bout, steps/min (3 to 4 %, measured by us).
    pub(crate) const CADENCE_TAU_SPM: f64 = 4.5;
    /// Share of states whose cadence is held or invented by the recorder. Our choice.
    pub(crate) const CADENCE_FAULT: f64 = 0.003;
    /// Density of an invented cadence, a step/min.
    pub(crate) const UNSEEN_CADENCE_DENSITY: f64 = 0.01;
    /// Share of states whose speed is odd for either gait. Our choice.
    pub(crate) const SPEED_ODD: f64 = 0.01;
    /// Density of an odd speed, a m/s.
    pub(crate) const UNSEEN_SPEED_DENSITY: f64 = 0.3;
    /// Share of the change between two states that is made within a few seconds when the gait changes: nearly all, in one step
    /// (Segers et al. 2007).
    pub(crate) const SHARP: Gaussian = Gaussian { mean: 0.9, sd: 0.4 };
    /// The same when a hill or fatigue changes the speed: about half.
    pub(crate) const GRADUAL: Gaussian = Gaussian { mean: 0.45, sd: 0.4 };
    /// Odds that neighbouring states are walk and run rather than one gait: this tool reads run-walk sessions.
    pub(crate) const SWITCH_ODDS: f64 = 3.0;
    /// What is known is put widely, so that it says less than it could: its log odds are divided by the temperature, and this is
    /// one over it (temperature scaling, Guo et al. 2017, from memory; set on seeds 5000 to 5059).
    pub(crate) const INVERSE_TEMPERATURE: f64 = 1.0;
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
    /// The same of the cadence, steps/min.
    pub(crate) const DAY_SD_SPM: f64 = 3.0;
    /// How many recordings that belief weighs, which is also the least of degrees of freedom.
    pub(crate) const DAY_SD_READINGS: f64 = 3.0;
    /// Degrees of freedom by which one value among others may be wrong.
    pub(crate) const TAIL: f64 = 2.0;
    /// Rounds of fitting the mean and the spread.
    pub(crate) const ROUNDS: usize = 8;
    /// The runner's own laws hold with this probability at most: another may have worn the recorder, or the day be unusual.
    pub(crate) const MOST_KNOWN: f64 = 0.95;
    /// With so many recordings they hold with half of that.
    pub(crate) const UNKNOWN: f64 = 0.3;
}

/// How sharply states change into each other. Our choice.
pub(super) mod sharpness {
    /// Readings nearer to a change than this, s, are the change itself.
    pub(crate) const NEAR_S: f64 = 3.0;
    /// Readings farther away, s, are not looked at.
    pub(crate) const FAR_S: f64 = 10.0;
    /// Fewer readings on a side tell no share.
    pub(crate) const LEAST_READINGS: u32 = 2;
}

/// Marks of the runner and guesses of the recorder. Our choice.
pub(super) mod side_information {
    /// A guess is one statement, however long: its odds are spread over its time, and over no less than this, s.
    pub(crate) const STATEMENT_S: f64 = 20.0;
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
    pub(crate) const BEEP_ODDS: f64 = 1e4;
    /// How much later than the beep the middle of the change is, s: from counted down to a change of speed of 1 to 4 s. Our choice.
    pub(crate) const BEEP_LATE_S: f64 = 0.9;
    /// Standard deviation around that, s. Our choice.
    pub(crate) const BEEP_SD_S: f64 = 0.6;
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
    pub(crate) const MOST_CADENCE_DELAY_S: f64 = 8.0;
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
    /// How far around an end its doubt is summed, s.
    pub(crate) const END_DOUBT_S: f64 = 30.0;
    /// Standard deviation of the cadence while standing, steps/min.
    pub(crate) const STANDING_CADENCE_SD_SPM: f64 = 10.0;
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

/// Judging the pieces of a path. The weights are made by `benches/pieces.py`; the rest is our choice.
pub(super) mod pieces {
    /// How many figures a piece without cadence is judged by.
    pub(crate) const FEATURES: usize = 21;
    /// How many figures a piece with cadence is judged by.
    pub(crate) const CADENCE_FEATURES: usize = 14;
    /// How many figures the certainty of a bout is reckoned from.
    pub(crate) const BOUT_FEATURES: usize = 13;
    /// Speed between walks and runs of people, m/s: published 1.9 to 2.0 (Hum Mov Sci 2023;90:103117).
    pub(crate) const TRANSITION_MPS: f64 = 1.95;
    /// Cadence between walks and runs of people, steps/min: published 135 to 140 (same study).
    pub(crate) const TRANSITION_SPM: f64 = 137.5;
    /// Differences of cadence count in units of this, steps/min.
    pub(crate) const CADENCE_SCALE_SPM: f64 = 8.0;
    /// A recording's low cadence is that which this share of its moving time is below …
    pub(crate) const LOW_SHARE: f64 = 0.1;
    /// … and its high one this.
    pub(crate) const HIGH_SHARE: f64 = 0.9;
    /// Differences of speed count in units of this, m/s …
    pub(crate) const SPEED_SCALE_MPS: f64 = 0.4;
    /// … and no more than so many.
    pub(crate) const MOST_CONTRAST: f64 = 3.0;
    /// Log odds count no more than this.
    pub(crate) const MOST_LOG_ODDS: f64 = 6.0;
    /// A length counts by the log of its minutes, no more than this.
    pub(crate) const MOST_LOG_MINUTES: f64 = 2.5;
    /// A step at a piece's end is taken between means over the time from this, s, …
    pub(crate) const CONTRAST_NEAR_S: f64 = 5.0;
    /// … to this, s, away.
    pub(crate) const CONTRAST_FAR_S: f64 = 15.0;
    /// Pieces of one state that differ by this, m/s, are half alike.
    pub(crate) const ALIKE_MPS: f64 = 0.08;
    /// A piece counts there by its frames, up to so many.
    pub(crate) const ALIKE_FRAMES: f64 = 60.0;
    /// Weights of the figures of a piece with cadence, in their order.
    pub(crate) const CADENCE_WEIGHTS: [f64; CADENCE_FEATURES] = [
        -0.087, 3.545, 3.845, 2.733, -0.564, -0.153, 1.023, 0.585, 0.042, -2.118, -0.760, 0.518, -0.568,
        0.384,
    ];
    /// Weights of the figures of a piece without, in their order.
    pub(crate) const WEIGHTS: [f64; FEATURES] = [
        -0.448, 1.369, -1.254, -0.484, -0.080, -0.069, 0.071, 0.155, 0.002, 0.901, 0.167, 0.191, 0.131,
        -0.466, 0.176, 1.625, 1.023, -0.887, 0.228, 6.762, -0.428,
    ];
    /// Weights of the figures of a bout, in their order.
    pub(crate) const BOUT_WEIGHTS: [f64; BOUT_FEATURES] =
        [0.089, 0.223, 0.088, 0.135, 0.086, 0.002, 0.182, 0.074, -0.298, -0.366, 2.965, 0.563, 2.252];
}
