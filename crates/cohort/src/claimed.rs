//! The outputs of a job, locked.

use jogaudit_case::Failure;
use jogaudit_files::{Claims, Output};

use super::job::Job;

/// The outputs of a job, locked.
pub(super) struct Claimed {
    pub(super) tables: Vec<Output>,
    pub(super) summary: Option<Output>,
    pub(super) provenance: Option<Output>,
    /// `None` where the main table is no file.
    pub(super) package: Option<Output>,
}

impl Claimed {
    pub(super) fn lock(job: &Job, claims: &Claims) -> Result<Self, Failure> {
        let mut outputs = claims.lock()?.into_iter();
        let mut next = |is_wanted: bool| if is_wanted { outputs.next() } else { None };
        let tables =
            [true, job.bouts.is_some(), job.reps.is_some()].into_iter().filter_map(&mut next).collect();
        let summary = next(job.summary.is_some());
        let provenance = next(job.provenance.is_some());
        Ok(Self { tables, summary, provenance, package: next(true) })
    }

    /// Whether the main table is a file, beside which finished chunks can be kept.
    pub(super) fn can_resume(&self) -> bool {
        self.tables.first().is_some_and(Output::is_file)
    }
}
