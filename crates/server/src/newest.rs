//! Work of which only the newest counts: a plan that is looked over as somebody types.

use std::sync::atomic::{AtomicUsize, Ordering};

use tokio::sync::{Semaphore, SemaphorePermit};

/// One piece of work at a time; of those that wait and may be superseded only the newest is done.
#[derive(Debug)]
pub(super) struct Newest {
    turn: Semaphore,
    /// Counts those that may be superseded.
    asked: AtomicUsize,
}

impl Newest {
    pub(super) fn new() -> Self {
        Self { turn: Semaphore::new(1), asked: AtomicUsize::new(0) }
    }

    /// Waits for a turn. `None` when the work panicked before.
    pub(super) async fn turn(&self) -> Option<SemaphorePermit<'_>> {
        self.turn.acquire().await.ok()
    }

    /// Waits for a turn; `None` when something newer was asked for meanwhile.
    pub(super) async fn turn_unless_superseded(&self) -> Option<SemaphorePermit<'_>> {
        let mine = self.asked.fetch_add(1, Ordering::Relaxed) + 1;
        let turn = self.turn.acquire().await.ok()?;
        (self.asked.load(Ordering::Relaxed) == mine).then_some(turn)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::time::Duration;

    use tokio::time::timeout;

    use super::*;

    #[tokio::test]
    async fn one_at_a_time_and_of_those_that_wait_only_the_newest() {
        let newest = Arc::new(Newest::new());
        let first = newest.turn_unless_superseded().await.expect("nobody else asked");
        let waiting: Vec<_> = (0..5)
            .map(|_| {
                let newest = Arc::clone(&newest);
                tokio::spawn(async move { newest.turn_unless_superseded().await.is_some() })
            })
            .collect();
        // Not even the one whose text is saved goes before its turn.
        assert!(timeout(Duration::from_millis(20), newest.turn()).await.is_err());
        drop(first);
        let mut done = Vec::new();
        for one in waiting {
            done.push(one.await.expect("no panic"));
        }
        assert_eq!(done, [false, false, false, false, true]);
        assert!(newest.turn().await.is_some());
    }
}
