//! Looks a plan over: jumps between stages and weeks, missing rest, limits that cannot be.
//!
//! What comes out are remarks to think about, never errors: the prescriber may have reasons that a plan file does not
//! hold. Codes and thresholds are listed in `docs/plan-file.md`.

mod increments;
mod limits;
mod progress;
mod together;

pub(super) use increments::exceeds;
pub use increments::{Increments, Unit};
pub use limits::{
    BRISK_WALK_MPS, LEAST_BRISK_SPM, LEAST_RUN_SPM, LEAST_RUNNING_HEART_SHARE, MOST_PAIN, MOSTLY_WALKING_MPS,
    SLOWEST_RUN_SPM,
};
pub use progress::{
    BEGINNING_LONGEST_RUN_S, EARLY_LONGEST_RUN_S, EARLY_SESSIONS_PER_WEEK, LONG_ABSENCE_WEEKS,
};

pub use together::LEAST_APART_S;

use super::Plan;
use super::figures::Figures;
use crate::codes::codes;
use crate::range::Range;

/// What is known beside the plan.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LintConfig {
    /// Weeks since the runner last ran; unknown is taken for long.
    pub weeks_away: Option<u32>,
}

codes! {
    /// Kinds of remark, in the order of `docs/plan-file.md`, which explains each.
    pub enum LintCode {
        StartNotAtBeginning = "start_not_at_beginning",
        SessionRunningJump = "session_running_jump",
        LongestRunJump = "stage_longest_run_jump",
        RunWalkJump = "run_walk_jump",
        WeeklyRunningJump = "weekly_running_jump",
        RunningFalls = "running_falls",
        LongestRunFalls = "longest_run_falls",
        SessionsPerWeekMissing = "sessions_per_week_missing",
        ManySessionsEarly = "many_sessions_early",
        RestDaysMissing = "rest_days_missing",
        RestDaysDoNotFit = "rest_days_do_not_fit",
        StageSessionsMissing = "stage_sessions_missing",
        SessionOverItsCeiling = "session_over_its_ceiling",
        PaceCeilingIsWalking = "pace_ceiling_is_walking",
        PaceCeilingIsSlow = "pace_ceiling_is_slow",
        HeartRateCeilingAboveMax = "heart_rate_ceiling_above_max",
        HeartRateCeilingTooLow = "heart_rate_ceiling_too_low",
        RunCadenceIsWalking = "run_cadence_is_walking",
        WalkCadenceFloorIsRunning = "walk_cadence_floor_is_running",
        WalkCadenceFloorNotBrisk = "walk_cadence_floor_not_brisk",
        PainLimitAbovePublished = "pain_limit_above_published",
        FirstStageWithoutCeiling = "first_stage_without_ceiling",
        WeekdaysBreakRest = "weekdays_break_rest",
        RangesOutOfOrder = "ranges_out_of_order",
        TwoChangesAtOnce = "two_changes_at_once",
        RisingNeverEnds = "rising_never_ends",
        KindsAlike = "kinds_alike",
    }
}

codes! {
    /// What the figures of a remark are counted in.
    pub enum RemarkUnit {
        Seconds = "s",
        Metres = "m",
        /// Length of the mean run over that of the mean walk.
        Ratio = "ratio",
        MetresPerSecond = "m/s",
        BeatsPerMinute = "bpm",
        StepsPerMinute = "spm",
        Days = "days",
        Sessions = "sessions",
        Weeks = "weeks",
        /// Points of 10.
        Pain = "pain",
    }
}

impl LintCode {
    /// Where the threshold comes from.
    #[expect(clippy::too_many_lines, reason = "a table: one source a code")]
    pub const fn basis(self) -> &'static str {
        match self {
            Self::StartNotAtBeginning => {
                "starting from the beginning after three months or more: common practice, no source; 3:00 is the \
                 longest first run of the published programmes in docs/plans (Trials 2023, doi \
                 10.1186/s13063-023-07502-x)"
            }
            Self::SessionRunningJump => {
                "a session's distance more than 10 % over the longest of the 30 days before went with more injuries \
                 in 5205 runners (Frandsen et al. 2025, doi 10.1136/bjsports-2024-109380); that 2:00 are always let \
                 pass is our choice"
            }
            Self::LongestRunJump | Self::RunWalkJump => "our choice, no source",
            Self::WeeklyRunningJump => {
                "weak: a trial of the 10 % rule found no effect (Buist et al. 2008), novices above 30 % a week were \
                 not significantly worse (Nielsen et al. 2014); the plan's own limit stands before the default of 30 %"
            }
            Self::RunningFalls | Self::LongestRunFalls => {
                "our choice; a published hospital plan falls too, so an easier stage may be meant"
            }
            Self::SessionsPerWeekMissing | Self::StageSessionsMissing => {
                "our choice: without it the weeks are open"
            }
            Self::ManySessionsEarly => {
                "at most three sessions a week in the early stages: common practice, no source"
            }
            Self::RestDaysMissing => {
                "a rest day between runs stands in both published programmes in docs/plans (doi \
                 10.21037/aoj.2018.04.11; doi 10.1186/s13063-023-07502-x)"
            }
            Self::RestDaysDoNotFit | Self::WeekdaysBreakRest => "arithmetic: a week has 7 days",
            Self::PaceCeilingIsWalking => {
                "brisk walking is up to 3.5 miles an hour (Compendium of Physical Activities 2011)"
            }
            Self::PaceCeilingIsSlow => {
                "over ground, a mean speed of 1.9 m/s was reached mostly by walking (Baker, Long, Srinivasan, arXiv \
                 2501.00720)"
            }
            Self::SessionOverItsCeiling
            | Self::HeartRateCeilingAboveMax
            | Self::RangesOutOfOrder
            | Self::RisingNeverEnds => "arithmetic",
            Self::HeartRateCeilingTooLow => {
                "moderate effort begins at 64 % of the greatest heart rate (Garber et al. 2011, Med Sci Sports Exerc \
                 43:1334-59); that running is at least moderate is our choice"
            }
            Self::RunCadenceIsWalking => {
                "adults change from walking to running at about 140 steps a minute (doi \
                 10.1080/02640414.2020.1855869; band 135 to 140, doi 10.1016/j.humov.2023.103117)"
            }
            Self::WalkCadenceFloorIsRunning => {
                "adults change from walking to running at 135 to 140 steps a minute (doi 10.1016/j.humov.2023.103117)"
            }
            Self::WalkCadenceFloorNotBrisk => {
                "100 steps a minute is the heuristic for moderate walking (Tudor-Locke et al. 2019, doi \
                 10.1186/s12966-019-0769-6)"
            }
            Self::FirstStageWithoutCeiling => {
                "that the first running is held down by pace, heart rate, effort or words: common practice, no source"
            }
            Self::TwoChangesAtOnce => "one thing at a time: common practice, no source",
            Self::KindsAlike => {
                "the review recognises a kind by its runs and the walks between; how near is too near follows from how sure \
                 it wants to be (docs/review.md)"
            }
            Self::PainLimitAbovePublished => {
                "5 of 10 is the most that the published pain-monitoring model lets pass (Silbernagel et al. 2007, \
                 AJSM 35:897-906; the band from memory); limits differ by condition"
            }
        }
    }
}

/// One thing to think about.
#[derive(Clone, Debug, PartialEq)]
pub struct Remark {
    /// What kind.
    pub code: LintCode,
    /// Names of the stages that it concerns, in order; never empty.
    pub stages: Vec<String>,
    /// The earlier stage that they are compared with.
    pub after: Option<String>,
    /// The week, counted from 1, for weekly sums.
    pub week: Option<usize>,
    /// The figure, in `unit`.
    pub value: Option<f64>,
    /// What it is held against, in `unit`.
    pub limit: Option<f64>,
    /// What it is compared with, in `unit`.
    pub base: Option<f64>,
    /// What the figures are counted in.
    pub unit: RemarkUnit,
    /// Amounts that stages between would have, in `unit`.
    pub between: Vec<f64>,
    /// What it is about, in words.
    pub named: Vec<String>,
    /// Whether a figure is estimated because a stage is by distance.
    pub is_estimated: bool,
}

impl Remark {
    fn new(code: LintCode, stage: &str, unit: RemarkUnit) -> Self {
        Self {
            code,
            stages: vec![stage.to_owned()],
            after: None,
            week: None,
            value: None,
            limit: None,
            base: None,
            unit,
            between: Vec::new(),
            named: Vec::new(),
            is_estimated: false,
        }
    }

    fn held(self, value: f64, limit: f64) -> Self {
        Self { value: Some(value), limit: Some(limit), ..self }
    }
}

/// The weeks of a plan whose running rises by more than their limit.
pub(super) fn weeks_over(plan: &Plan) -> Vec<progress::WeekOver> {
    let most: Vec<Figures> = plan.stages.iter().map(|stage| stage.session.figures().most).collect();
    progress::weeks_over(plan, &most)
}

/// Looks a plan over. The remarks stand in the order of the stages; one that several stages share is made once.
pub fn lint(plan: &Plan, config: LintConfig) -> Vec<Remark> {
    let figures: Vec<Range<Figures>> = plan.stages.iter().map(|stage| stage.session.figures()).collect();
    let most: Vec<Figures> = figures.iter().map(|figures| figures.most).collect();
    let mut found = progress::remarks(plan, &most, config);
    found.extend(together::remarks(plan, &figures));
    found.extend(limits::remarks(plan, &most));
    let place = |remark: &Remark| plan.stages.iter().position(|stage| stage.name == remark.stages[0]);
    found.sort_by_key(|remark| (place(remark), remark.code));
    shared(found)
}

/// Makes one remark of those that differ only in their stage.
fn shared(found: Vec<Remark>) -> Vec<Remark> {
    let mut remarks: Vec<(Remark, Vec<String>)> = Vec::new();
    for mut remark in found {
        let stages = std::mem::take(&mut remark.stages);
        match remarks.iter_mut().find(|(earlier, _)| *earlier == remark) {
            Some((_, earlier)) => earlier.extend(stages),
            None => remarks.push((remark, stages)),
        }
    }
    remarks.into_iter().map(|(remark, stages)| Remark { stages, ..remark }).collect()
}

#[cfg(test)]
mod tests;
