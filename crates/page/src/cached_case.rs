//! One case as the page has it: read in the background, kept until one of its files changes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use jiff::civil::Date;
use tokio::sync::{Notify, Semaphore};
use tokio::time::{Instant, timeout_at};

use jogaudit_core::gait::RunnerEvidence;
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Plan;
use jogaudit_files as files;
use jogaudit_report::ReviewView;

use super::case_names::CaseName;
use super::recording_cache::{self, RecordingCache};
use super::refusal::Refusal;
use super::uploads::WaitingFile;

/// Time for which an answer waits for the case to be read, before it shows how far that has come.
pub(super) const READ_WAIT: Duration = Duration::from_millis(400);
/// The day is looked up anew this often, s.
const DAY_STEP_S: i64 = 900;

/// A case.
pub(super) struct CachedCase {
    /// What it is called.
    pub(super) name: CaseName,
    pub(super) folder: PathBuf,
    as_of: Option<Date>,
    recordings: Arc<RecordingCache>,
    /// One case is read at a time.
    one_at_a_time: Arc<Semaphore>,
    state: Mutex<State>,
    changed: Notify,
    /// One plan of the case is looked over at a time.
    pub(super) lint_turn: Semaphore,
    /// Counts the texts that were sent as somebody types.
    pub(super) lint_asked: AtomicUsize,
}

#[derive(Default)]
struct State {
    latest: Option<Arc<Snapshot>>,
    /// How far the reading that goes on has come.
    progress: Option<Arc<Progress>>,
    waiting: Vec<Arc<WaitingFile>>,
}

/// Files read, of all.
#[derive(Debug)]
pub(super) struct Progress {
    done: AtomicUsize,
    pub(super) total: usize,
}

impl Progress {
    pub(super) fn done(&self) -> usize {
        self.done.load(Ordering::Relaxed).min(self.total)
    }
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
}

impl CachedCase {
    pub(super) fn new(
        folder: PathBuf,
        name: CaseName,
        as_of: Option<Date>,
        recordings: Arc<RecordingCache>,
        one_at_a_time: Arc<Semaphore>,
    ) -> Self {
        Self {
            name,
            folder,
            as_of,
            recordings,
            one_at_a_time,
            state: Mutex::default(),
            changed: Notify::new(),
            lint_turn: Semaphore::new(1),
            lint_asked: AtomicUsize::new(0),
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
                Ok(snapshot) => return CaseState::Ready(snapshot),
                Err(progress) => progress,
            };
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
        let tables =
            ["plan.toml", "diary.csv", "stages.csv"].map(|name| (name.to_owned(), self.folder.join(name)));
        let recordings = files::recording_files(&self.folder, &mut Vec::new()).unwrap_or_default();
        let all = tables.into_iter().chain(recordings);
        Stamp {
            now: Timestamp::now().as_second() / DAY_STEP_S,
            files: all.map(|(name, path)| (name, recording_cache::stamp(&path))).collect(),
            waiting: self.waiting().iter().map(|waiting| waiting.sha256.clone()).collect(),
        }
    }

    /// The latest snapshot if it holds; else how far its reading has come, which is started when nobody reads.
    fn latest_or_start(self: &Arc<Self>, stamp: Stamp) -> Result<Arc<Snapshot>, Arc<Progress>> {
        let mut state = self.state();
        if let Some(latest) = state.latest.as_ref().filter(|latest| latest.stamp == stamp) {
            return Ok(Arc::clone(latest));
        }
        if let Some(progress) = &state.progress {
            return Err(Arc::clone(progress));
        }
        let total = stamp.files.len().saturating_sub(3) + stamp.waiting.len();
        let progress = Arc::new(Progress { done: AtomicUsize::new(0), total });
        state.progress = Some(Arc::clone(&progress));
        let (cached, mine) = (Arc::clone(self), Arc::clone(&progress));
        tokio::spawn(async move {
            let permit = cached.one_at_a_time.acquire().await;
            let reader = Arc::clone(&cached);
            let given = stamp.clone();
            let read = tokio::task::spawn_blocking(move || reader.read(given, &mine)).await;
            drop(permit);
            let snapshot = read.unwrap_or_else(|_| Snapshot {
                stamp,
                files: Vec::new(),
                hashes: BTreeMap::new(),
                found: Err(Refusal::bug()),
            });
            let mut state = cached.state();
            state.latest = Some(Arc::new(snapshot));
            state.progress = None;
            drop(state);
            cached.changed.notify_waiters();
        });
        Err(progress)
    }

    /// Reads and reviews the case.
    fn read(&self, stamp: Stamp, progress: &Progress) -> Snapshot {
        let config = Config::default();
        let hashes = Mutex::new(BTreeMap::new());
        let read_file = |path: &Path, name: &str| {
            let read = self.recordings.read(path, name, &config);
            if let Some(sha256) = &read.sha256 {
                let mut hashes = hashes.lock().unwrap_or_else(PoisonError::into_inner);
                hashes.insert(sha256.clone(), name.to_owned());
            }
            progress.done.fetch_add(1, Ordering::Relaxed);
            read.activities.clone()
        };
        let waiting = self.waiting();
        let found = files::read_case_with(&self.folder, &read_file).map_err(Refusal::from).and_then(|case| {
            let today = self.as_of.unwrap_or_else(|| case.today(Timestamp::now()));
            let plan = case.plan.clone();
            let runner = case.runner_evidence(today).into();
            let review = case.review(today, &config);
            let with_waiting = if waiting.is_empty() {
                None
            } else {
                let mut case = files::read_case_with(&self.folder, &read_file)?;
                for file in &waiting {
                    let activities = file.read(&config);
                    case.recorded.extend(activities.iter().flat_map(|(recorded, _)| recorded).cloned());
                    progress.done.fetch_add(1, Ordering::Relaxed);
                }
                Some(case.review(today, &config))
            };
            Ok(Arc::new(Found { plan, today, runner, review, with_waiting }))
        });
        let files = files::recording_files(&self.folder, &mut Vec::new()).unwrap_or_default();
        Snapshot { stamp, files, hashes: hashes.into_inner().unwrap_or_else(PoisonError::into_inner), found }
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
