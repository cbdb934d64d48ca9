//! Recordings that have been read, kept while there is room: a case is read again often, its files change seldom.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;

use jogaudit_core::pipeline::Config;
use jogaudit_files::{self as files, Activities, MAX_RECORDING_BYTES};

/// Samples that are kept in all: about 220 hours at one a second, some 100 MiB.
const MOST_SAMPLES: usize = 800_000;

/// A file as it was read.
pub(super) struct FileRead {
    /// Of the file's bytes; `None` when they could not be read.
    pub(super) sha256: Option<String>,
    pub(super) activities: Activities,
}

impl FileRead {
    fn samples(&self) -> usize {
        let recorded = self.activities.iter().flat_map(|(recorded, _)| recorded);
        recorded.map(|r| r.series.time_s().len()).sum::<usize>() + 1
    }
}

/// When a file was changed last, and its length.
pub(super) type Stamp = (u64, Option<SystemTime>);

/// The stamp of a file; zero when it cannot be looked at.
pub(super) fn stamp(path: &Path) -> Stamp {
    fs::metadata(path).map_or((0, None), |known| (known.len(), known.modified().ok()))
}

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
    /// Reads a file, or takes it from the cache if it has not changed since.
    pub(super) fn read(&self, path: &Path, name: &str, config: &Config) -> Arc<FileRead> {
        let stamp = stamp(path);
        if let Some(read) = self.contents().find(path, stamp) {
            return read;
        }
        let read = Arc::new(match files::plain_bytes(path, MAX_RECORDING_BYTES) {
            Ok(bytes) => FileRead {
                sha256: Some(files::sha256(&bytes)),
                activities: files::activities(&bytes, name, config),
            },
            Err(error) => FileRead { sha256: None, activities: Err(error.to_string()) },
        });
        self.contents().put(path, stamp, &read);
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
