//! One case as the page has it: read in the background, kept until one of its files changes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use jiff::civil::Date;
use tokio::sync::Notify;
use tokio::task::JoinSet;
use tokio::time::{Instant, timeout_at};

use jogaudit_core::gait::RunnerEvidence;
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Plan;
use jogaudit_files::{self as files, Failure};
use jogaudit_report::ReviewView;

use super::case_names::CaseName;
use super::newest::Newest;
use super::reading::{Progress, Readers};
use super::recording_cache::{self, FileRead, RecordingCache};
use super::refusal::Refusal;
use super::uploads::WaitingFile;

/// Time for which an answer waits for the case to be read, before it shows how far that has come.
pub(super) const READ_WAIT: Duration = Duration::from_millis(400);
/// Files of a case besides its recordings.
const TABLES: [&str; 4] = ["plan.toml", "diary.csv", "stages.csv", "seen.csv"];
/// The day is looked up anew this often, s.
const DAY_STEP_S: i64 = 900;

/// A case.
pub(super) struct CachedCase {
    /// What it is called.
    pub(super) name: CaseName,
    pub(super) folder: PathBuf,
    as_of: Option<Date>,
    recordings: Arc<RecordingCache>,
    readers: Readers,
    state: Mutex<State>,
    changed: Notify,
    /// Plans of the case that are looked over.
    pub(super) linting: Newest,
}

#[derive(Default)]
struct State {
    latest: Option<Arc<Snapshot>>,
    /// How far the reading that goes on has come.
    progress: Option<Arc<Progress>>,
    /// Whether somebody stopped it.
    is_stopped: bool,
    waiting: Vec<Arc<WaitingFile>>,
}

/// By what it is told whether a case has changed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Stamp {
    /// Quarter of an hour: the day of the review may change with it.
    now: i64,
    files: Vec<(String, recording_cache::Stamp)>,
    waiting: Vec<String>,
}

/// A case as it was when it was read.
pub(super) struct Snapshot {
    stamp: Stamp,
    /// Files of recordings: name in the case and path.
    pub(super) files: Vec<(String, PathBuf)>,
    /// Names by the hash of the bytes.
    pub(super) hashes: BTreeMap<String, String>,
    pub(super) found: Result<Arc<Found>, Refusal>,
}

/// What was found in a case.
pub(super) struct Found {
    pub(super) plan: Plan,
    pub(super) today: Date,
    /// What the recordings of the case tell of the runner.
    pub(super) runner: Arc<[RunnerEvidence]>,
    pub(super) review: ReviewView,
    /// The review as it would be with the files that wait; their stages are taken from it.
    pub(super) with_waiting: Option<ReviewView>,
}

/// A case, or how far its reading has come.
pub(super) enum CaseState {
    Ready(Arc<Snapshot>),
    Reading(Arc<Progress>),
    /// Somebody stopped the reading.
    Stopped,
}

impl CachedCase {
    pub(super) fn new(
        folder: PathBuf,
        name: CaseName,
        as_of: Option<Date>,
        recordings: Arc<RecordingCache>,
        readers: Readers,
    ) -> Self {
        Self {
            name,
            folder,
            as_of,
            recordings,
            readers,
            state: Mutex::default(),
            changed: Notify::new(),
            linting: Newest::new(),
        }
    }

    /// Gives the case as it now is; when that takes longer than `wait`, how far it has come.
    pub(super) async fn read_within(self: &Arc<Self>, wait: Duration) -> CaseState {
        let deadline = Instant::now() + wait;
        loop {
            let mut changed = std::pin::pin!(self.changed.notified());
            changed.as_mut().enable();
            let stamp = self.stamp_in_background().await;
            let progress = match self.latest_or_start(stamp) {
                Ok(Some(snapshot)) => return CaseState::Ready(snapshot),
                Ok(None) => return CaseState::Stopped,
                Err(progress) => progress,
            };
            progress.is_asked_for();
            if timeout_at(deadline, changed).await.is_err() {
                return CaseState::Reading(progress);
            }
        }
    }

    async fn stamp_in_background(self: &Arc<Self>) -> Stamp {
        let cached = Arc::clone(self);
        tokio::task::spawn_blocking(move || cached.stamp()).await.unwrap_or_default()
    }

    fn stamp(&self) -> Stamp {
        let tables = TABLES.map(|name| (name.to_owned(), self.folder.join(name)));
        let recordings = files::recording_files(&self.folder, &mut Vec::new()).unwrap_or_default();
        let all = tables.into_iter().chain(recordings);
        Stamp {
            now: Timestamp::now().as_second() / DAY_STEP_S,
            files: all.map(|(name, path)| (name, recording_cache::stamp(&path))).collect(),
            waiting: self.waiting().iter().map(|waiting| waiting.sha256.clone()).collect(),
        }
    }

    /// The latest snapshot if it holds, none if the reading was stopped; else how far its reading has come, which is started
    /// when nobody reads.
    fn latest_or_start(self: &Arc<Self>, stamp: Stamp) -> Result<Option<Arc<Snapshot>>, Arc<Progress>> {
        let mut state = self.state();
        if let Some(latest) = state.latest.as_ref().filter(|latest| latest.stamp == stamp) {
            return Ok(Some(Arc::clone(latest)));
        }
        if state.is_stopped {
            return Ok(None);
        }
        if let Some(progress) = &state.progress {
            return Err(Arc::clone(progress));
        }
        let total = stamp.files.len().saturating_sub(TABLES.len()) + stamp.waiting.len();
        let progress = Arc::new(self.readers.begin(total));
        state.progress = Some(Arc::clone(&progress));
        let (cached, mine) = (Arc::clone(self), Arc::clone(&progress));
        tokio::spawn(async move {
            let snapshot = cached.read(stamp.clone(), &mine).await;
            let mut state = cached.state();
            if let Some(snapshot) = snapshot {
                state.latest = Some(Arc::new(snapshot));
            }
            // Another reading may have begun since this one was stopped.
            if state.progress.as_ref().is_some_and(|now| Arc::ptr_eq(now, &mine)) {
                state.progress = None;
            }
            drop(state);
            cached.changed.notify_waiters();
        });
        Err(progress)
    }

    /// Reads and reviews the case, file by file, each in its turn. `None` when the reading was stopped.
    async fn read(self: &Arc<Self>, stamp: Stamp, progress: &Arc<Progress>) -> Option<Snapshot> {
        let cached = Arc::clone(self);
        let listed = self
            .readers
            .in_turn(move || files::recording_files(&cached.folder, &mut Vec::new()).unwrap_or_default());
        let (mut tasks, mut read) = (JoinSet::new(), BTreeMap::new());
        for (name, path) in listed.await.unwrap_or_default() {
            if tasks.len() >= self.readers.width {
                read.extend(tasks.join_next().await.and_then(Result::ok).flatten());
            }
            if !progress.is_wanted() {
                return None;
            }
            let (cached, progress) = (Arc::clone(self), Arc::clone(progress));
            tasks.spawn(async move {
                let reader = Arc::clone(&cached);
                let one =
                    cached.readers.in_turn(move || reader.read_file(&path, &name).map(|one| (name, one)));
                let one = one.await.flatten();
                progress.one_more();
                one
            });
        }
        while let Some(one) = tasks.join_next().await {
            read.extend(one.ok().flatten());
        }
        let (cached, progress, given) = (Arc::clone(self), Arc::clone(progress), stamp.clone());
        let reviewed = self.readers.in_turn(move || cached.review(given, &read, &progress)).await;
        Some(reviewed.unwrap_or_else(|| Snapshot {
            stamp,
            files: Vec::new(),
            hashes: BTreeMap::new(),
            found: Err(Refusal::bug()),
        }))
    }

    /// Reads a file of the case; `None` when it leads out of it, which the review will say.
    fn read_file(&self, path: &Path, name: &str) -> Option<Arc<FileRead>> {
        let path = files::inside(&self.folder, path).ok()?;
        Some(self.recordings.read(&path, name, &Config::default()))
    }

    /// Reviews the case with the files that were read.
    fn review(&self, stamp: Stamp, read: &BTreeMap<String, Arc<FileRead>>, progress: &Progress) -> Snapshot {
        let config = Config::default();
        let read_file = |path: &Path, name: &str| {
            let read = read.get(name).cloned();
            read.unwrap_or_else(|| self.recordings.read(path, name, &config)).activities.clone()
        };
        let hashes =
            read.iter().filter_map(|(name, read)| Some((read.sha256.clone()?, name.clone()))).collect();
        let waiting = self.waiting();
        let found = files::read_case_with(&self.folder, &read_file)
            .map_err(|failure| self.refusal(failure))
            .and_then(|case| {
                let today = self.as_of.unwrap_or_else(|| case.today(Timestamp::now()));
                let plan = case.plan.clone();
                let runner = case.runner_evidence(today).into();
                let review = case.review(today, &config);
                let with_waiting = if waiting.is_empty() {
                    None
                } else {
                    let case = files::read_case_with(&self.folder, &read_file);
                    let mut case = case.map_err(|failure| self.refusal(failure))?;
                    for file in &waiting {
                        let activities = file.read(&config);
                        case.recorded.extend(activities.iter().flat_map(|(recorded, _)| recorded).cloned());
                        progress.one_more();
                    }
                    Some(case.review(today, &config))
                };
                Ok(Arc::new(Found { plan, today, runner, review, with_waiting }))
            });
        let files = files::recording_files(&self.folder, &mut Vec::new()).unwrap_or_default();
        Snapshot { stamp, files, hashes, found }
    }

    /// Stops the reading that goes on; nothing is read until somebody asks to read on.
    pub(super) fn stop(&self) {
        let mut state = self.state();
        if let Some(progress) = state.progress.take() {
            progress.stop();
            state.is_stopped = true;
        }
        drop(state);
        self.changed.notify_waiters();
    }

    /// Lets the case be read again.
    pub(super) fn read_on(&self) {
        self.state().is_stopped = false;
    }

    /// A failure in the case's folder as the page tells it.
    pub(super) fn refusal(&self, failure: Failure) -> Refusal {
        Refusal::from(failure.within(&self.folder))
    }

    /// Files that were taken in and not yet kept.
    pub(super) fn waiting(&self) -> Vec<Arc<WaitingFile>> {
        self.state().waiting.clone()
    }

    /// Takes a file in; one with the same bytes that already waits stays.
    pub(super) fn put(&self, file: WaitingFile) {
        let mut state = self.state();
        if !state.waiting.iter().any(|waiting| waiting.sha256 == file.sha256) {
            state.waiting.push(Arc::new(file));
        }
    }

    /// Lets a waiting file go.
    pub(super) fn let_go(&self, sha256: &str) {
        self.state().waiting.retain(|waiting| waiting.sha256 != sha256);
    }

    /// Makes sure that the case is read again: something was written to it.
    pub(super) fn forget(&self) {
        self.state().latest = None;
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    /// After this a test that waits has hung.
    const HANG: Duration = Duration::from_secs(600);
    const PLAN: &str = "[[stage]]\nname = '1'\nsession = 'run 5:00'\n";

    fn case(folder: &Path, files: usize, readers: &Readers) -> Arc<CachedCase> {
        fs::create_dir_all(folder.join("recordings")).unwrap();
        fs::write(folder.join("plan.toml"), PLAN).unwrap();
        for number in 0..files {
            fs::write(folder.join(format!("recordings/{number:03}.gpx")), "<gpx/>").unwrap();
        }
        let name = CaseName { key: "x".into(), label: "x".into() };
        Arc::new(CachedCase::new(folder.to_owned(), name, None, Arc::default(), readers.clone()))
    }

    fn progress(cached: &CachedCase) -> Option<Arc<Progress>> {
        cached.state().progress.clone()
    }

    fn left_out(state: &CaseState) -> usize {
        let CaseState::Ready(snapshot) = state else { panic!("it is read") };
        snapshot.found.as_ref().unwrap().review.left_out.len()
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn many_files_of_one_patient_do_not_keep_another_waiting() {
        let root = tempfile::tempdir().unwrap();
        // One turn for all, which is less than a page ever has: who waits longest is next.
        let readers = Readers::of(1, 1, HANG);
        let many = case(&root.path().join("many"), 400, &readers);
        let few = case(&root.path().join("few"), 2, &readers);
        let CaseState::Reading(reading) = many.read_within(Duration::ZERO).await else {
            panic!("it is long")
        };
        let before = reading.done();
        assert_eq!(left_out(&few.read_within(HANG).await), 2);
        // The list, two files and the review: four turns, and some files while the request itself was on its way.
        assert!(reading.done() < 400, "{before} to {}", reading.done());
        assert!(progress(&many).is_some(), "the long one goes on");
        assert_eq!(left_out(&many.read_within(HANG).await), 400);
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_reading_can_be_stopped_and_taken_up_again() {
        let root = tempfile::tempdir().unwrap();
        let cached = case(root.path(), 400, &Readers::of(1, 1, HANG));
        let CaseState::Reading(reading) = cached.read_within(Duration::ZERO).await else {
            panic!("it is long")
        };
        cached.stop();
        assert!(!reading.is_wanted());
        assert!(matches!(cached.read_within(HANG).await, CaseState::Stopped));
        assert!(reading.done() < 400 && progress(&cached).is_none());
        cached.read_on();
        assert_eq!(left_out(&cached.read_within(HANG).await), 400);
        cached.stop();
        assert!(matches!(cached.read_within(HANG).await, CaseState::Ready(_)), "there was nothing to stop");
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_reading_that_nobody_waits_for_is_dropped() {
        let root = tempfile::tempdir().unwrap();
        let cached = case(root.path(), 400, &Readers::of(1, 1, Duration::ZERO));
        let CaseState::Reading(reading) = cached.read_within(Duration::ZERO).await else {
            panic!("it is long")
        };
        while progress(&cached).is_some() {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        assert_eq!(reading.done(), 0);
    }
}
