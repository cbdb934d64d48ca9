//! A case that is read in the background, file by file, and kept until one of its files changes.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use jiff::civil::Date;
use tokio::sync::Notify;
use tokio::task::JoinSet;
use tokio::time::{Instant, timeout_at};

use jogaudit_case::{CaseFiles, Stamp as FileStamp};
use jogaudit_page::waiting::WaitingFile;
use jogaudit_page::{CaseName, CaseState, Day, FileRead, Snapshot, stamps};

use super::newest::Newest;
use super::reading::{Progress, Readers};
use super::recording_cache::RecordingCache;

/// Time for which an answer waits for the case to be read, before it shows how far that has come.
pub(super) const READ_WAIT: Duration = Duration::from_millis(400);
/// The day is looked up anew this often, s.
const DAY_STEP_S: i64 = 900;

/// A case.
pub(super) struct CachedCase {
    /// What it is called.
    pub(super) name: CaseName,
    pub(super) files: Arc<dyn CaseFiles + Send>,
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
    latest: Option<(Stamp, Arc<Snapshot>)>,
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
    files: Vec<(String, FileStamp)>,
    waiting: Vec<String>,
}

impl CachedCase {
    pub(super) fn new(
        files: Arc<dyn CaseFiles + Send>,
        name: CaseName,
        as_of: Option<Date>,
        recordings: Arc<RecordingCache>,
        readers: Readers,
    ) -> Self {
        Self {
            name,
            files,
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
                return CaseState::Reading { done: progress.done(), total: progress.total };
            }
        }
    }

    async fn stamp_in_background(self: &Arc<Self>) -> Stamp {
        let cached = Arc::clone(self);
        tokio::task::spawn_blocking(move || cached.stamp()).await.unwrap_or_default()
    }

    fn stamp(&self) -> Stamp {
        Stamp {
            now: Timestamp::now().as_second() / DAY_STEP_S,
            files: stamps(&*self.files),
            waiting: self.waiting().iter().map(|waiting| waiting.sha256.clone()).collect(),
        }
    }

    /// The latest snapshot if it holds, none if the reading was stopped; else how far its reading has come, which is started
    /// when nobody reads.
    fn latest_or_start(self: &Arc<Self>, stamp: Stamp) -> Result<Option<Arc<Snapshot>>, Arc<Progress>> {
        let mut state = self.state();
        if let Some((_, latest)) = state.latest.as_ref().filter(|(known, _)| *known == stamp) {
            return Ok(Some(Arc::clone(latest)));
        }
        if state.is_stopped {
            return Ok(None);
        }
        if let Some(progress) = &state.progress {
            return Err(Arc::clone(progress));
        }
        let is_recording = |(name, _): &&(String, FileStamp)| name.contains('/');
        let total = stamp.files.iter().filter(is_recording).count() + stamp.waiting.len();
        let progress = Arc::new(self.readers.begin(total));
        state.progress = Some(Arc::clone(&progress));
        let (cached, mine) = (Arc::clone(self), Arc::clone(&progress));
        tokio::spawn(async move {
            let snapshot = cached.read(&mine).await;
            let mut state = cached.state();
            if let Some(snapshot) = snapshot {
                state.latest = Some((stamp, Arc::new(snapshot)));
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
    async fn read(self: &Arc<Self>, progress: &Arc<Progress>) -> Option<Snapshot> {
        let cached = Arc::clone(self);
        let listed =
            self.readers.in_turn(move || cached.files.recordings(&mut Vec::new()).unwrap_or_default());
        let (mut tasks, mut read) = (JoinSet::new(), BTreeMap::new());
        for name in listed.await.unwrap_or_default() {
            if tasks.len() >= self.readers.width {
                read.extend(tasks.join_next().await.and_then(Result::ok).flatten());
            }
            if !progress.is_wanted() {
                return None;
            }
            let (cached, progress) = (Arc::clone(self), Arc::clone(progress));
            tasks.spawn(async move {
                let reader = Arc::clone(&cached);
                let one = cached.readers.in_turn(move || {
                    let one = reader.recordings.read(&*reader.files, &name);
                    (name, one)
                });
                let one = one.await;
                progress.one_more();
                one
            });
        }
        while let Some(one) = tasks.join_next().await {
            read.extend(one.ok().flatten());
        }
        let cached = Arc::clone(self);
        let reviewed = self.readers.in_turn(move || cached.review(&read)).await;
        Some(reviewed.unwrap_or_else(Snapshot::bug))
    }

    /// Reviews the case with the files that were read.
    fn review(&self, read: &BTreeMap<String, Arc<FileRead>>) -> Snapshot {
        let day = Day { now: Timestamp::now(), as_of: self.as_of };
        Snapshot::of(&*self.files, read, &self.waiting(), day)
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
    use std::path::Path;

    use jogaudit_files::FolderCase;

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
        let files = Arc::new(FolderCase::new(folder));
        Arc::new(CachedCase::new(files, name, None, Arc::default(), readers.clone()))
    }

    fn progress(cached: &CachedCase) -> Option<Arc<Progress>> {
        cached.state().progress.clone()
    }

    /// Begins a reading that is long.
    async fn begun(cached: &Arc<CachedCase>) -> Arc<Progress> {
        assert!(matches!(cached.read_within(Duration::ZERO).await, CaseState::Reading { .. }));
        progress(cached).expect("it is long")
    }

    fn left_out(state: &CaseState) -> usize {
        let CaseState::Ready(snapshot) = state else { panic!("it is read") };
        snapshot.left_out().len()
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn many_files_of_one_patient_do_not_keep_another_waiting() {
        let root = tempfile::tempdir().unwrap();
        // One turn for all, which is less than a page ever has: who waits longest is next.
        let readers = Readers::of(1, 1, HANG);
        let many = case(&root.path().join("many"), 400, &readers);
        let few = case(&root.path().join("few"), 2, &readers);
        let reading = begun(&many).await;
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
        let reading = begun(&cached).await;
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
        let reading = begun(&cached).await;
        while progress(&cached).is_some() {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        assert_eq!(reading.done(), 0);
    }
}
