//! What all requests share.

use std::sync::Arc;

use tokio::sync::Semaphore;

use jogaudit_page::Settings;

use super::cached_case::CachedCase;
use super::guard::AccessCheck;
use super::uploads::Uploads;

/// What all requests share.
pub(super) struct App {
    pub(super) access: Arc<AccessCheck>,
    pub(super) settings: Settings,
    pub(super) cases: Vec<Arc<CachedCase>>,
    pub(super) uploads: Arc<Uploads>,
    /// One report is made, or file kept, at a time: each may need the memory of a large recording.
    pub(super) one_at_a_time: Semaphore,
}

impl App {
    /// The case of that name. Names come from the address, so they are compared and never used as a path.
    pub(super) fn case(&self, name: &str) -> Option<&Arc<CachedCase>> {
        self.cases.iter().find(|cached| cached.name.key == name)
    }
}
