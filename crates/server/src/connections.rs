//! Connections: those whose browser is known, a bounded number at a time, and those that nobody knows yet, of which the oldest go
//! when there are too many. So connections that are opened and left keep nobody waiting.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Duration;

use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::task::AbortHandle;
use tokio::time::{Instant, sleep};

/// Connections of browsers with the token that are served at a time; more wait until one ends. A browser opens six.
const MOST_KNOWN: usize = 64;
/// Connections without the token that are held at a time.
const MOST_UNKNOWN: usize = 256;
/// Time that a connection has to show its token before it may have to go for another one.
const LEAST_AGE: Duration = Duration::from_millis(200);
/// Time between two looks for room.
const LOOK: Duration = Duration::from_millis(5);

/// All connections.
pub(super) struct Connections {
    known: Arc<Semaphore>,
    most_unknown: usize,
    /// The oldest first.
    unknown: Mutex<VecDeque<Unknown>>,
}

struct Unknown {
    /// Not the connection itself: its permit must go when it ends.
    has_token: Arc<AtomicBool>,
    task: AbortHandle,
    since: Instant,
}

/// One connection.
#[derive(Clone)]
pub(super) struct Connection {
    known: Arc<Semaphore>,
    has_token: Arc<AtomicBool>,
    /// Held from the first request with the token to the end of the connection.
    permit: Arc<OnceLock<OwnedSemaphorePermit>>,
}

impl Connection {
    /// Says that a request with the token came; waits for its turn.
    pub(super) async fn is_known(&self) {
        self.has_token.store(true, Ordering::Relaxed);
        if self.permit.get().is_none()
            && let Ok(permit) = Arc::clone(&self.known).acquire_owned().await
        {
            // Requests of one connection come one after another.
            let _ = self.permit.set(permit);
        }
    }
}

impl Connections {
    pub(super) fn new() -> Self {
        Self::of(MOST_KNOWN, MOST_UNKNOWN)
    }

    fn of(most_known: usize, most_unknown: usize) -> Self {
        Self { known: Arc::new(Semaphore::new(most_known)), most_unknown, unknown: Mutex::default() }
    }

    /// A new connection, of which nothing is known.
    pub(super) fn begin(&self) -> Connection {
        Connection { known: Arc::clone(&self.known), has_token: Arc::default(), permit: Arc::default() }
    }

    /// Watches over the task of a connection of which nothing is known yet.
    pub(super) fn watch(&self, connection: &Connection, task: AbortHandle) {
        let has_token = Arc::clone(&connection.has_token);
        self.unknown().push_back(Unknown { has_token, task, since: Instant::now() });
    }

    /// Waits until there is room for one more connection: when there are too many of which nothing is known, the oldest one
    /// goes, once it has had its time.
    pub(super) async fn room(&self) {
        while !self.has_room() {
            sleep(LOOK).await;
        }
    }

    fn has_room(&self) -> bool {
        let mut unknown = self.unknown();
        unknown.retain(|one| !one.has_token.load(Ordering::Relaxed) && !one.task.is_finished());
        if unknown.len() < self.most_unknown {
            return true;
        }
        match unknown.pop_front() {
            Some(oldest) if oldest.since.elapsed() >= LEAST_AGE => {
                oldest.task.abort();
                true
            }
            Some(oldest) => {
                unknown.push_front(oldest);
                false
            }
            None => true,
        }
    }

    fn unknown(&self) -> MutexGuard<'_, VecDeque<Unknown>> {
        self.unknown.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn the_oldest_unknown_ones_go_and_known_ones_stay() {
        let connections = Connections::of(2, 3);
        let mut tasks = Vec::new();
        for number in 0..6 {
            connections.room().await;
            let connection = connections.begin();
            if number == 0 {
                connection.is_known().await;
            }
            let task = tokio::spawn(std::future::pending::<()>());
            connections.watch(&connection, task.abort_handle());
            tasks.push(task);
        }
        // What is aborted ends; what stays is ended here.
        for (number, task) in tasks.into_iter().enumerate() {
            let stays = number == 0 || number >= 3;
            if stays {
                task.abort_handle().abort();
            }
            assert!(task.await.is_err_and(|error| error.is_cancelled()), "{number}");
        }
    }
}
