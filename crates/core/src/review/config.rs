//! Parameters of the review.

/// Parameters of the review, each with its reason in `docs/review.md`.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct ReviewConfig {
    /// Two recordings that share more time than this, s, are of the same session.
    pub overlap_s: f64,
    /// Two recordings with running and no more than this between them, s, are parts of one session.
    pub part_gap_s: f64,
    /// A recording with less running than this, s (certainty taken into account), is a walk.
    pub least_run_s: f64,
    /// A stage is recognised from this certainty on.
    pub stage_certainty: f64,
    /// Mismatch, s, that makes a stage e times less likely than another, for a recording that fits perfectly.
    pub cost_scale_s: f64,
    /// What is added to that for each second of mismatch of the best stage.
    pub cost_share: f64,
    /// How much less likely a stage is that is due but not the next in turn.
    pub due_weight: f64,
    /// How much less likely a stage is that is not due.
    pub not_due_weight: f64,
    /// One unbroken run is no session of the plan when it is longer than this many times all the running of the stage
    /// that fits best …
    pub free_run_total: f64,
    /// … and than this many times that stage's longest run.
    pub free_run_longest: f64,
    /// A walk is no session of a stage of walking when it is shorter than this share of it.
    pub least_walk_share: f64,
    /// Running of a week may exceed its bound by this share: the error of measuring.
    pub week_margin: f64,
    /// Rise of a week's running that counts as a jump where the plan sets no limit, as a fraction.
    pub week_jump: f64,
    /// Share by which the longest run may exceed the longest of the days before.
    pub longest_jump: f64,
    /// The days before, for the longest run.
    pub longest_days: i64,
}

impl Default for ReviewConfig {
    fn default() -> Self {
        Self {
            overlap_s: 60.0,
            part_gap_s: 1200.0,
            least_run_s: 30.0,
            stage_certainty: 0.9,
            cost_scale_s: 12.0,
            cost_share: 0.1,
            due_weight: 0.5,
            not_due_weight: 0.1,
            free_run_total: 1.25,
            free_run_longest: 2.0,
            least_walk_share: 0.5,
            week_margin: 0.02,
            week_jump: 0.3,
            longest_jump: 0.1,
            longest_days: 30,
        }
    }
}
