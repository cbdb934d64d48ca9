//! The only place where what was done meets what was prescribed: [`Segmentation`] and [`Stage`] → [`Audit`].

mod align;
mod amounts;
mod assess;
mod ceilings;
mod certainty;
mod config;
mod findings;
mod gradient;
mod layouts;
mod matched;
mod measure;
mod others;
mod pace;
#[cfg(test)]
mod testing;
#[cfg(test)]
mod tests;
mod trace;
mod verdict;
mod workout;

use crate::clean::Series;
use crate::codes::codes;
use crate::gait::Segmentation;
use crate::prescription::{Limits, Move, Plan, Runner, Session, Stage, Tolerance};
use crate::range::Range;
use jogaudit_recording::units::Unit;

pub use align::Costs;
pub use certainty::DECIDES;
pub use config::AuditConfig;
pub use gradient::cost_ratio;
pub use matched::Matched;
pub use others::{Judged, holds_with_others, note_others, others_may_help};
pub use pace::PacePoint;
pub use trace::{CeilingSpan, Trace};

codes! {
    /// The verdict on a session.
    pub enum Outcome {
        /// At least one overdoing finding with a certainty of 0.9 or more.
        Overdone = "overdone",
        /// As prescribed.
        Kept = "kept",
        /// Less than prescribed, nothing overdone.
        Underdone = "underdone",
        /// The data can't tell; the notices say why.
        Undecided = "undecided",
    }
}

codes! {
    /// What a finding is about; see the outer surface for the meaning of each.
    pub enum Code {
        /// A run longer than prescribed.
        RunTooLong = "run_too_long",
        /// Time faster than the pace ceiling.
        RunTooFast = "run_too_fast",
        /// Time above the heart-rate ceiling.
        HeartRateTooHigh = "heart_rate_too_high",
        /// A walk break shorter than prescribed.
        WalkCutShort = "walk_cut_short",
        /// Two prescribed runs joined into one.
        WalkMissing = "walk_missing",
        /// Running after the prescribed session was complete.
        RepExtra = "rep_extra",
        /// Running time in all above the prescribed.
        RunningTimeOver = "running_time_over",
        /// The whole session longer than the stage's limit.
        SessionTooLong = "session_too_long",
        /// Running where none is prescribed.
        UnplannedRun = "unplanned_run",
        /// A run shorter than prescribed.
        RunTooShort = "run_too_short",
        /// A prescribed run that was not done.
        RepMissing = "rep_missing",
        /// A walk below the cadence floor.
        WalkTooSlow = "walk_too_slow",
    }
}

impl Code {
    /// Whether it means that too much was done.
    pub const fn is_overdoing(self) -> bool {
        !matches!(self, Self::RunTooShort | Self::RepMissing | Self::WalkTooSlow)
    }

    /// Whether it means that less was run than prescribed.
    pub const fn is_underdoing(self) -> bool {
        matches!(self, Self::RunTooShort | Self::RepMissing)
    }
}

/// One prescribed step with what was done for it. `rep` counts the steps of its kind from 1: run 1, walk 1, run 2, …
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rep {
    /// 1-based count among the steps of the same kind: runs; walks and rests.
    pub rep: u32,
    /// Run, walk or rest.
    pub motion: Move,
    /// Prescribed length, s; for a distance step `None`.
    pub prescribed_s: Option<Range>,
    /// Prescribed length, m; for a timed step `None`.
    pub prescribed_m: Option<Range>,
    /// Achieved, s: moving time of that gait, of a rest walking and standing. 0 when the step is missing.
    pub achieved_s: f64,
    /// Achieved, m.
    pub achieved_m: Option<f64>,
    /// Standard error of `achieved_s`.
    pub error_s: f64,
    /// Start on the recording, `None` when missing.
    pub start_s: Option<f64>,
    /// End on the recording, `None` when missing.
    pub end_s: Option<f64>,
    /// Standing inside the step, or the recorder's timer stopped, s.
    pub stand_s: f64,
    /// Mean pace over the ground, s/km.
    pub mean_pace_s_per_km: Option<f64>,
    /// Mean level-ground pace of the same cost, s/km.
    pub level_pace_s_per_km: Option<f64>,
    /// Time faster than the ceiling, beyond tolerance and error.
    pub over_ceiling_s: Option<f64>,
    /// Mean cadence, steps a minute.
    pub mean_cadence_spm: Option<f64>,
    /// Greatest heart rate.
    pub max_heart_rate_bpm: Option<f64>,
}

/// Prescribed and achieved.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Amount {
    /// Prescribed, from the least to the most; `None` where the stage leaves it open.
    pub prescribed: Option<Range>,
    /// Achieved; `None` where nothing is known of what was done.
    pub achieved: Option<f64>,
}

/// Doses of the session.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Dose {
    /// Running time, s.
    pub run_s: Amount,
    /// Walking time, s.
    pub walk_s: Amount,
    /// Whole session, s.
    pub session_s: Amount,
    /// Steps while running, both feet.
    pub run_steps: Option<f64>,
    /// Distance while running, m.
    pub run_distance_m: Option<f64>,
}

/// One thing that differs from the prescription.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What.
    pub code: Code,
    /// Which rep of its kind, when it is about one.
    pub rep: Option<u32>,
    /// From, s.
    pub start_s: Option<f64>,
    /// To, s.
    pub end_s: Option<f64>,
    /// Prescribed value in `unit`: of a range the end that it is held against.
    pub prescribed: Option<f64>,
    /// The prescribed range in `unit`, where it is one.
    pub range: Option<Range>,
    /// Achieved value in `unit`.
    pub achieved: Option<f64>,
    /// Unit of the three values.
    pub unit: Unit,
    /// By how much it differs in the bad direction, in `unit`, positive.
    pub excess: Option<f64>,
    /// Probability that it is so, 0 to 1.
    pub certainty: f64,
}

impl Finding {
    /// Whether it means that too much was done and is certain enough to decide the outcome.
    pub fn is_overdoing_for_sure(&self) -> bool {
        self.code.is_overdoing() && self.certainty >= DECIDES
    }
}

/// A session held against its prescription.
#[derive(Clone, Debug, PartialEq)]
pub struct Audit {
    /// The verdict.
    pub outcome: Outcome,
    /// The steps in order of the prescription; empty where nothing is known of what was done.
    pub reps: Vec<Rep>,
    /// The doses.
    pub dose: Dose,
    /// What differs, in order of time.
    pub findings: Vec<Finding>,
    /// Whether the pace ceilings were held against pace on level ground of the same cost.
    pub is_level: bool,
}

/// The prescription of one session.
#[derive(Clone, Copy, Debug)]
pub struct Prescription<'p> {
    /// What to run and walk.
    pub session: &'p Session,
    /// What never to go beyond.
    pub limits: &'p Limits,
    /// The runner.
    pub runner: &'p Runner,
    /// How much more than prescribed is let pass.
    pub tolerance: &'p Tolerance,
}

impl<'p> Prescription<'p> {
    /// That of one stage of a plan.
    pub const fn of(plan: &'p Plan, stage: &'p Stage) -> Self {
        Self {
            session: &stage.session,
            limits: &stage.limits,
            runner: &plan.runner,
            tolerance: &plan.tolerance,
        }
    }
}

/// Measures how badly a recording fits each of some sessions, without judging it: the cost of the best matching of its bouts
/// with the session's steps, in seconds of mismatch (see [`Costs`]), 0 for a perfect fit. Linear in bouts × steps of all; `None`
/// when that is too much to match (4,000,000).
pub fn alignment_costs_s<'s>(
    segmentation: &Segmentation,
    series: &Series,
    sessions: impl Iterator<Item = &'s Session>,
    config: &AuditConfig,
) -> Option<Vec<f64>> {
    matched::alignment_costs_s(segmentation, series, sessions, config)
}
