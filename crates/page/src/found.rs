//! What was found in a case, from its files as they were read.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;

use jogaudit_case::{
    self as case, Activities, CaseFiles, Failure, MAX_RECORDING_BYTES, Stamp, TABLES, activities,
    recording_name, sha256,
};
use jogaudit_core::gait::RunnerEvidence;
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Plan;
use jogaudit_report::ReviewView;

use super::refusal::Refusal;
use super::waiting::WaitingFile;

/// A recording of a case as it was read.
pub struct FileRead {
    /// Of the file's bytes; `None` when they could not be read.
    pub sha256: Option<String>,
    /// What it holds.
    pub activities: Activities,
}

impl FileRead {
    /// Reads a recording by its name below `recordings/`.
    pub fn of(files: &dyn CaseFiles, recording: &str, config: &Config) -> Self {
        match files.read(&recording_name(recording), MAX_RECORDING_BYTES) {
            Ok(bytes) => {
                Self { sha256: Some(sha256(&bytes)), activities: activities(&bytes, recording, config) }
            }
            Err(error) => Self { sha256: None, activities: Err(error.to_string()) },
        }
    }

    /// Samples that it holds in memory, and one for itself.
    pub fn samples(&self) -> usize {
        let recorded = self.activities.iter().flat_map(|(recorded, _)| recorded);
        recorded.map(|r| r.series.time_s().len()).sum::<usize>() + 1
    }
}

/// By what it is told whether the files of a case have changed: its tables and recordings.
pub fn stamps(files: &dyn CaseFiles) -> Vec<(String, Stamp)> {
    let recordings = files.recordings(&mut Vec::new()).unwrap_or_default();
    let names =
        TABLES.map(str::to_owned).into_iter().chain(recordings.iter().map(|name| recording_name(name)));
    names.map(|name| (name.clone(), files.stamp(&name))).collect()
}

/// The day of a review.
#[derive(Clone, Copy, Debug)]
pub struct Day {
    /// Now.
    pub now: Timestamp,
    /// The day that was asked for; without it the one of now, where the case's days are counted.
    pub as_of: Option<Date>,
}

/// A case as it was when it was read.
pub struct Snapshot {
    /// Names of the recordings.
    pub(crate) recordings: Vec<String>,
    /// Names by the hash of the bytes.
    pub(crate) hashes: BTreeMap<String, String>,
    pub(crate) found: Result<Arc<Found>, Refusal>,
}

/// What was found in a case.
pub(crate) struct Found {
    pub(crate) plan: Plan,
    pub(crate) today: Date,
    /// What the recordings of the case tell of the runner.
    pub(crate) runner: Arc<[RunnerEvidence]>,
    pub(crate) review: ReviewView,
    /// The review as it would be with the files that wait; their stages are taken from it.
    pub(crate) with_waiting: Option<ReviewView>,
}

impl Snapshot {
    /// Reviews a case with its recordings as they were read, by their names, and once more with the files that wait.
    pub fn of(
        files: &dyn CaseFiles,
        read: &BTreeMap<String, Arc<FileRead>>,
        waiting: &[Arc<WaitingFile>],
        day: Day,
    ) -> Self {
        let config = Config::default();
        let one = |name: &String| match read.get(name) {
            Some(read) => read.activities.clone(),
            None => FileRead::of(files, name, &config).activities,
        };
        let read_all = |names: &[String]| names.iter().map(one).collect();
        let refusal = |failure: Failure| Refusal::from(failure.within(&files.path("")));
        let found = case::read_case(files, &read_all).map_err(refusal).and_then(|case| {
            let today = day.as_of.unwrap_or_else(|| case.today(day.now));
            let plan = case.plan.clone();
            let runner = case.runner_evidence(today).into();
            let review = case.review(today, &config);
            let with_waiting = if waiting.is_empty() {
                None
            } else {
                let mut case = case::read_case(files, &read_all).map_err(refusal)?;
                for file in waiting {
                    let activities = file.read(&config);
                    case.recorded.extend(activities.iter().flat_map(|(recorded, _)| recorded).cloned());
                }
                Some(case.review(today, &config))
            };
            Ok(Arc::new(Found { plan, today, runner, review, with_waiting }))
        });
        let hashes =
            read.iter().filter_map(|(name, read)| Some((read.sha256.clone()?, name.clone()))).collect();
        Self { recordings: files.recordings(&mut Vec::new()).unwrap_or_default(), hashes, found }
    }

    /// What is said where something of ours panicked.
    pub fn bug() -> Self {
        Self { recordings: Vec::new(), hashes: BTreeMap::new(), found: Err(Refusal::bug()) }
    }

    /// Names of recordings that were left out of the review.
    pub fn left_out(&self) -> Vec<&str> {
        let found = self.found.iter().flat_map(|found| &found.review.left_out);
        found.map(|left| left.recording.as_str()).collect()
    }
}
