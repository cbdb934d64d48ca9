//! What the pages stand on: cases, how far each is read, and the files that wait. Each host has one.

use std::sync::Arc;

use jogaudit_case::CaseFiles;

use super::case_names::CaseName;
use super::found::Snapshot;
use super::settings::Settings;
use super::waiting::WaitingFile;

/// A case as a host has it.
#[derive(Clone)]
pub struct HostedCase {
    /// What it is called.
    pub name: CaseName,
    /// Its files.
    pub files: Arc<dyn CaseFiles + Send>,
}

/// A case as it was read, or how far its reading has come.
#[derive(Clone)]
pub enum CaseState {
    /// It is read.
    Ready(Arc<Snapshot>),
    /// So many of so many recordings are read.
    Reading {
        /// Read so far.
        done: usize,
        /// Of all.
        total: usize,
    },
    /// Somebody stopped the reading.
    Stopped,
}

/// What the pages stand on. Cases are named by their keys, as they stand in addresses: keys are compared, never made into paths.
pub trait CaseStore {
    /// What holds for all pages.
    fn settings(&self) -> &Settings;

    /// The cases, in the order of their names.
    fn cases(&self) -> Vec<HostedCase>;

    /// A case as it now is.
    fn state(&mut self, key: &str) -> CaseState;

    /// Says that something was written to a case: it is to be read again.
    fn forget(&mut self, key: &str);

    /// Stops the reading of a case until somebody asks to read on.
    fn stop(&mut self, key: &str);

    /// Lets a case be read again.
    fn read_on(&mut self, key: &str);

    /// Files that were taken in and not yet kept, in order.
    fn waiting(&self, key: &str) -> Vec<Arc<WaitingFile>>;

    /// Takes a file in; one with the same bytes that already waits stays.
    fn put(&mut self, key: &str, file: WaitingFile);

    /// Lets a waiting file go.
    fn let_go(&mut self, key: &str, sha256: &str);

    /// Adds a case of that name with these files, where cases are kept by the browser; gives its key. `None` elsewhere.
    fn add(&mut self, name: &str, files: Vec<(String, Vec<u8>)>) -> Option<String>;

    /// Takes a case away, where cases are kept by the browser.
    fn remove(&mut self, key: &str);
}
