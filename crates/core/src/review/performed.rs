//! A session that was done: what, when, and which stage of the plan it was.

use jiff::Timestamp;
use jiff::civil::Date;

use crate::audit::{Audit, Outcome};
use crate::codes::codes;
use crate::gait::Bout;
use crate::prescription::DueSession;
use jogaudit_recording::notice::Notice;

use super::config::ReviewConfig;
use super::recorded::Totals;

codes! {
    /// How a session's stage is known.
    pub enum StageSource {
        /// Said in `stages.csv`.
        Given = "given",
        /// Recognised by alignment.
        Recognised = "recognised",
    }
}

/// Which stage of the plan a session was, by index.
#[derive(Clone, Debug, PartialEq)]
pub enum StageChoice {
    /// Said in `stages.csv`.
    Given(usize),
    /// Recognised, with the probability that it is right.
    Recognised {
        /// The stage.
        stage: usize,
        /// Probability, 0 to 1.
        certainty: f64,
    },
    /// Not to be told: the likeliest stages, likeliest first, with their probabilities; none when bouts and steps were too
    /// many to match.
    Ambiguous(Vec<(usize, f64)>),
    /// One session in several recordings: not held against a stage.
    InParts,
    /// No session of the plan: a walk, or running that fits no stage.
    NoSession,
}

impl StageChoice {
    /// The stage, when it is known.
    pub fn stage(&self) -> Option<usize> {
        match self {
            Self::Given(stage) | Self::Recognised { stage, .. } => Some(*stage),
            Self::Ambiguous(_) | Self::InParts | Self::NoSession => None,
        }
    }

    /// How the stage is known, when it is.
    pub fn source(&self) -> Option<StageSource> {
        match self {
            Self::Given(_) => Some(StageSource::Given),
            Self::Recognised { .. } => Some(StageSource::Recognised),
            Self::Ambiguous(_) | Self::InParts | Self::NoSession => None,
        }
    }
}

codes! {
    /// What a recorded session is to the plan.
    pub enum SessionKind {
        /// A session of the plan, or one whose stage cannot be told.
        Session = "session",
        /// A walk that is no session of the plan.
        Walk = "walk",
        /// Running that is no session of the plan.
        UnplannedRun = "unplanned_run",
    }
}

/// A session on foot, held against its stage.
#[derive(Clone, Debug, PartialEq)]
pub struct PerformedSession {
    /// Names of its recordings, in order of time; more than one when it was recorded in parts.
    pub recordings: Vec<String>,
    /// When it began.
    pub start: Timestamp,
    /// The day it began on, in the case's time zone.
    pub date: Date,
    /// What was done.
    pub totals: Totals,
    /// Which stage it was.
    pub stage: StageChoice,
    /// What was due, where a count rises from session to session and the stage is known.
    pub due: Option<DueSession>,
    /// The verdict. `Undecided` when the stage is not known, unless the session went beyond each of the candidates.
    pub outcome: Outcome,
    /// The audit against the stage; without a stage `None`.
    pub audit: Option<Audit>,
    /// What was noticed while reading and auditing it.
    pub notices: Vec<Notice>,
    /// Its bouts, where it was recorded in one and is held against no stage; else none.
    pub bouts: Vec<Bout>,
}

impl PerformedSession {
    /// Whether it has running: a walk is no run-walk session.
    pub fn is_run(&self, config: &ReviewConfig) -> bool {
        self.totals.sure_run_s >= config.least_run_s
    }

    /// What it is to the plan.
    pub fn kind(&self, config: &ReviewConfig) -> SessionKind {
        match self.stage {
            StageChoice::NoSession if self.is_run(config) => SessionKind::UnplannedRun,
            StageChoice::NoSession => SessionKind::Walk,
            _ => SessionKind::Session,
        }
    }

    /// Whether it has running that is no session of the plan.
    pub fn is_unplanned(&self, config: &ReviewConfig) -> bool {
        self.kind(config) == SessionKind::UnplannedRun
    }
}
