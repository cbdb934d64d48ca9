//! Turns to read: every case reads a file when it is its turn, so that no case keeps the others waiting; and a reading that
//! somebody stops, or that nobody waits for any more, ends with the file that is being read.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::available_parallelism;
use std::time::Duration;

use tokio::sync::Semaphore;
use tokio::time::Instant;

/// Files that are read at a time, of all cases: each may need the memory of a large one.
const TURNS: (usize, usize) = (2, 4);
/// A reading that nobody has asked for in this time is dropped. A page that waits asks every second.
const IDLE: Duration = Duration::from_secs(60);

/// How cases are read.
#[derive(Clone)]
pub(super) struct Readers {
    turns: Arc<Semaphore>,
    /// Files of one case that are read at a time.
    pub(super) width: usize,
    idle: Duration,
}

impl Readers {
    /// For one case alone, or for each of a caseload: one patient's files never take all turns.
    pub(super) fn new(is_caseload: bool) -> Self {
        let cores = available_parallelism().map_or(TURNS.0, usize::from).clamp(TURNS.0, TURNS.1);
        Self::of(cores, if is_caseload { 1 } else { cores }, IDLE)
    }

    pub(super) fn of(turns: usize, width: usize, idle: Duration) -> Self {
        Self { turns: Arc::new(Semaphore::new(turns)), width, idle }
    }

    /// Does work on a thread of its own when it is its turn; who has waited longest is next. `None` when it panicked.
    pub(super) async fn in_turn<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Option<T> {
        let permit = Arc::clone(&self.turns).acquire_owned().await.ok()?;
        let done = tokio::task::spawn_blocking(move || {
            let value = work();
            drop(permit);
            value
        });
        done.await.ok()
    }

    /// A reading of so many files that begins.
    pub(super) fn begin(&self, total: usize) -> Progress {
        Progress {
            done: AtomicUsize::new(0),
            total,
            is_stopped: AtomicBool::new(false),
            idle: self.idle,
            asked: Mutex::new(Instant::now()),
        }
    }
}

/// How far a reading has come: files read, of all.
#[derive(Debug)]
pub(super) struct Progress {
    done: AtomicUsize,
    pub(super) total: usize,
    is_stopped: AtomicBool,
    idle: Duration,
    /// When somebody asked for it last.
    asked: Mutex<Instant>,
}

impl Progress {
    pub(super) fn done(&self) -> usize {
        self.done.load(Ordering::Relaxed).min(self.total)
    }

    pub(super) fn one_more(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }

    /// Somebody waits for it.
    pub(super) fn is_asked_for(&self) {
        *self.asked.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
    }

    /// Nothing more is to be read.
    pub(super) fn stop(&self) {
        self.is_stopped.store(true, Ordering::Relaxed);
    }

    /// Whether it is to go on: nobody stopped it, and somebody waits.
    pub(super) fn is_wanted(&self) -> bool {
        let asked = *self.asked.lock().unwrap_or_else(PoisonError::into_inner);
        !self.is_stopped.load(Ordering::Relaxed) && asked.elapsed() < self.idle
    }
}
