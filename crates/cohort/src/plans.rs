//! The plans of a run, and a stage of one of them for somebody.

use std::path::{Path, PathBuf};

use jogaudit_case::{self as case, Failure};
use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;

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
