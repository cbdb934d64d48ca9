//! Where a case lies: a folder on a disk, the memory of a browser, a zip.

use std::io;
use std::path::PathBuf;

use jogaudit_recording::notice::Notice;

use super::failure::Failure;

/// The folder of a case that holds its recordings.
pub const RECORDINGS: &str = "recordings";

/// The tables of a case: what it holds besides its recordings.
pub const TABLES: [&str; 4] = ["plan.toml", "diary.csv", "stages.csv", "seen.csv"];

/// The files of a case by their names in it, `plan.toml` or `recordings/april/1.fit`, with `/` on every system.
pub trait CaseFiles: Sync {
    /// The path by which a file of the case is called in a sentence; the case itself where the name is empty.
    fn path(&self, name: &str) -> PathBuf;

    /// Names of the plain files at the top of the case, in order.
    fn top(&self) -> Result<Vec<String>, Failure>;

    /// Names of the recordings below `recordings/`, at any depth, in order.
    fn recordings(&self, notices: &mut Vec<Notice>) -> Result<Vec<String>, Failure>;

    /// Whether anything has that name, readable or not.
    fn has(&self, name: &str) -> bool;

    /// Reads a plain file of at most `limit` bytes. Fails with [`io::ErrorKind::FileTooLarge`] when it has more.
    fn read(&self, name: &str, limit: u64) -> io::Result<Vec<u8>>;

    /// By what it is told whether a file has changed.
    fn stamp(&self, name: &str) -> Stamp;

    /// Begins to write, when nobody else does.
    fn writer(&self) -> Result<Box<dyn CaseWriter + '_>, Failure>;
}

/// The right to write to a case: nobody else has it until this is dropped.
pub trait CaseWriter {
    /// Writes a file whole or not at all.
    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure>;
}

/// A file's length in bytes and a number that changes with it; zeros when it cannot be looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stamp {
    /// Bytes.
    pub len: u64,
    /// Time of the last change or count of changes, by the kind of case.
    pub changed: u128,
}

/// Reads a file of the case; the failure says which.
pub fn bytes(files: &dyn CaseFiles, name: &str, limit: u64) -> Result<Vec<u8>, Failure> {
    files.read(name, limit).map_err(|error| Failure::input(&files.path(name), &error))
}

/// What is said of a file that is larger than it may be.
pub fn too_large(limit: u64) -> io::Error {
    io::Error::new(io::ErrorKind::FileTooLarge, format!("is larger than {} MiB", limit >> 20))
}

/// The name in the case of a recording by its name below `recordings/`.
pub fn recording_name(recording: &str) -> String {
    format!("{RECORDINGS}/{recording}")
}
