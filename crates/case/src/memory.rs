//! A case in memory: in a browser, or of a zip.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use jogaudit_recording::notice::Notice;

use super::failure::Failure;
use super::store::{CaseFiles, CaseWriter, RECORDINGS, Stamp, too_large};

/// A case whose files are held in memory. What is written is noted, so that it can be stored elsewhere.
#[derive(Debug, Default)]
pub struct MemoryCase {
    /// How the case is called in a sentence.
    name: PathBuf,
    /// Why nothing may be written, if so.
    read_only: Option<&'static str>,
    contents: Mutex<Contents>,
}

#[derive(Debug, Default)]
struct Contents {
    files: BTreeMap<String, (Arc<[u8]>, u128)>,
    /// Counts up with each change.
    changes: u128,
    written: Vec<String>,
}

impl MemoryCase {
    /// A case with files by their names in it. `name` is how it is called in a sentence.
    pub fn new(name: &Path, files: Vec<(String, Vec<u8>)>) -> Self {
        let files = files.into_iter().map(|(name, bytes)| (name, (bytes.into(), 0))).collect();
        let contents = Contents { files, ..Contents::default() };
        Self { name: name.to_owned(), read_only: None, contents: Mutex::new(contents) }
    }

    /// The same case to look at only; `why` says why nothing is written, in a clause.
    #[must_use]
    pub fn read_only(self, why: &'static str) -> Self {
        Self { read_only: Some(why), ..self }
    }

    /// Names of the files that were written since this was asked last, in order.
    pub fn take_written(&self) -> Vec<String> {
        let mut written = std::mem::take(&mut self.contents().written);
        written.sort();
        written.dedup();
        written
    }

    /// Bytes of all files.
    pub fn bytes_in_all(&self) -> u64 {
        self.contents().files.values().map(|(bytes, _)| bytes.len() as u64).sum()
    }

    /// The bytes of a file, not copied.
    pub fn content(&self, name: &str) -> Option<Arc<[u8]>> {
        self.contents().files.get(name).map(|(bytes, _)| Arc::clone(bytes))
    }

    fn contents(&self) -> MutexGuard<'_, Contents> {
        self.contents.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl CaseFiles for MemoryCase {
    fn path(&self, name: &str) -> PathBuf {
        if name.is_empty() { self.name.clone() } else { self.name.join(name) }
    }

    fn top(&self) -> Result<Vec<String>, Failure> {
        Ok(self.contents().files.keys().filter(|name| !name.contains('/')).cloned().collect())
    }

    fn recordings(&self, _: &mut Vec<Notice>) -> Result<Vec<String>, Failure> {
        let contents = self.contents();
        let below = contents.files.keys().filter_map(|name| name.strip_prefix(RECORDINGS)?.strip_prefix('/'));
        let is_seen = |name: &&str| !name.split('/').any(|part| part.starts_with('.'));
        let mut names: Vec<&str> = below.filter(is_seen).collect();
        // As the files of a folder stand: part by part.
        names.sort_by(|a, b| Path::new(a).cmp(Path::new(b)));
        Ok(names.into_iter().map(str::to_owned).collect())
    }

    fn has(&self, name: &str) -> bool {
        self.contents().files.contains_key(name)
    }

    fn read(&self, name: &str, limit: u64) -> io::Result<Vec<u8>> {
        let bytes = self.content(name).ok_or(io::ErrorKind::NotFound)?;
        if bytes.len() as u64 > limit { Err(too_large(limit)) } else { Ok(bytes.to_vec()) }
    }

    fn stamp(&self, name: &str) -> Stamp {
        let contents = self.contents();
        let known = contents.files.get(name);
        known.map_or_else(Stamp::default, |(bytes, changed)| Stamp {
            len: bytes.len() as u64,
            changed: *changed,
        })
    }

    fn writer(&self) -> Result<Box<dyn CaseWriter + '_>, Failure> {
        match self.read_only {
            Some(why) => Err(Failure::refused(why)
                .hint("unpack the zip into a folder and open that folder, then it can be changed")),
            None => Ok(Box::new(MemoryWriter(self))),
        }
    }
}

struct MemoryWriter<'a>(&'a MemoryCase);

impl CaseWriter for MemoryWriter<'_> {
    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let mut contents = self.0.contents();
        contents.changes += 1;
        let changed = contents.changes;
        contents.files.insert(name.to_owned(), (bytes.into(), changed));
        contents.written.push(name.to_owned());
        Ok(())
    }
}
