//! Recordings that have been read, kept while there is room: a case is read again often, its files change seldom.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use jogaudit_case::{CaseFiles, Stamp, recording_name};
use jogaudit_core::pipeline::Config;
use jogaudit_page::FileRead;

/// Samples that are kept in all: about 220 hours at one a second, some 100 MiB.
const MOST_SAMPLES: usize = 800_000;

#[derive(Default)]
pub(super) struct RecordingCache {
    contents: Mutex<Contents>,
}

#[derive(Default)]
struct Contents {
    files: BTreeMap<PathBuf, CachedFile>,
    samples: usize,
    /// Counts up with each use.
    clock: u64,
}

struct CachedFile {
    stamp: Stamp,
    read: Arc<FileRead>,
    used: u64,
}

impl RecordingCache {
    /// Reads a recording of a case, or takes it from the cache if it has not changed since.
    pub(super) fn read(&self, files: &dyn CaseFiles, recording: &str) -> Arc<FileRead> {
        let name = recording_name(recording);
        let (path, stamp) = (files.path(&name), files.stamp(&name));
        if let Some(read) = self.contents().find(&path, stamp) {
            return read;
        }
        let read = Arc::new(FileRead::of(files, recording, &Config::default()));
        self.contents().put(&path, stamp, &read);
        read
    }

    fn contents(&self) -> std::sync::MutexGuard<'_, Contents> {
        self.contents.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Contents {
    fn find(&mut self, path: &Path, stamp: Stamp) -> Option<Arc<FileRead>> {
        self.clock += 1;
        let clock = self.clock;
        let kept = self.files.get_mut(path).filter(|kept| kept.stamp == stamp)?;
        kept.used = clock;
        Some(Arc::clone(&kept.read))
    }

    fn put(&mut self, path: &Path, stamp: Stamp, read: &Arc<FileRead>) {
        self.remove(path);
        self.samples += read.samples();
        let kept = CachedFile { stamp, read: Arc::clone(read), used: self.clock };
        self.files.insert(path.to_owned(), kept);
        while self.samples > MOST_SAMPLES {
            let oldest = self.files.iter().min_by_key(|(_, kept)| kept.used).map(|(path, _)| path.clone());
            let Some(oldest) = oldest else { break };
            self.remove(&oldest);
        }
    }

    fn remove(&mut self, path: &Path) {
        if let Some(old) = self.files.remove(path) {
            self.samples -= old.read.samples();
        }
    }
}
