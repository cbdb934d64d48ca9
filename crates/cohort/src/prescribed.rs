//! What is prescribed for which recording: one stage for all, or a roster.

use std::path::{Path, PathBuf};

use jogaudit_case::{self as case, Failure};
use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;

use super::roster::Roster;

/// The plans of a run, each read once.
#[derive(Default)]
pub(super) struct Plans(Vec<LoadedPlan>);

struct LoadedPlan {
    path: PathBuf,
    sha256: String,
    plan: Plan,
}

/// A stage of a plan for a participant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Prescribed {
    pub(super) participant: Option<String>,
    plan: usize,
    stage: usize,
}

impl Plans {
    pub(super) fn plan(&self, prescribed: &Prescribed) -> &Plan {
        &self.0[prescribed.plan].plan
    }

    pub(super) fn stage(&self, prescribed: &Prescribed) -> &Stage {
        &self.plan(prescribed).stages[prescribed.stage]
    }

    /// SHA-256 of the plan's file.
    pub(super) fn sha256(&self, prescribed: &Prescribed) -> &str {
        &self.0[prescribed.plan].sha256
    }

    /// The file of each plan.
    pub(super) fn paths(&self) -> impl Iterator<Item = &Path> {
        self.0.iter().map(|loaded| loaded.path.as_path())
    }

    /// Title and SHA-256 of each plan.
    pub(super) fn listed(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|loaded| (loaded.plan.title.as_str(), loaded.sha256.as_str()))
    }

    /// Reads a plan unless it is there, and finds a stage of it.
    pub(super) fn prescribe(
        &mut self,
        path: &Path,
        stage: Option<&str>,
        notices: &mut Vec<Notice>,
    ) -> Result<Prescribed, Failure> {
        let known = self.0.iter().position(|loaded| loaded.path == path);
        let index = if let Some(index) = known {
            index
        } else {
            let (plan, sha256) = files::plan_and_hash(path, notices)?;
            self.0.push(LoadedPlan { path: path.to_owned(), sha256, plan });
            self.0.len() - 1
        };
        let plan = &self.0[index].plan;
        let name = case::stage(plan, stage)?.name.clone();
        let stage = plan.stage_names().position(|known| known == name).unwrap_or(0);
        Ok(Prescribed { participant: None, plan: index, stage })
    }
}

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
