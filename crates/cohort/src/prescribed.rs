//! What is prescribed for which recording: one stage for all, or a roster.

use std::path::Path;

use jogaudit_case::Failure;
use jogaudit_recording::notice::Notice;

use super::plans::{Plans, Prescribed};
use super::roster::Roster;

/// What says which stage a recording is held against.
pub(super) enum Prescription {
    /// The same for all.
    One(Prescribed),
    /// By path.
    Roster(Roster),
    /// By the case that a recording lies in.
    Cases,
}

impl Prescription {
    pub(super) fn one(
        plan: &Path,
        stage: Option<&str>,
        plans: &mut Plans,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, Failure> {
        plans.prescribe(plan, stage, notices).map(Self::One)
    }

    /// What is prescribed for a recording that lies in no case, or the code of why nothing is.
    pub(super) fn of(&self, path: &Path) -> Result<&Prescribed, &'static str> {
        match self {
            Self::One(prescribed) => Ok(prescribed),
            Self::Roster(roster) => roster.of(path).ok_or("not_in_roster"),
            Self::Cases => Err("no_plan"),
        }
    }

    /// Lines of the roster that no recording needed.
    pub(super) fn unused_lines(&self) -> Vec<u64> {
        if let Self::Roster(roster) = self { roster.unused_lines() } else { Vec::new() }
    }
}
