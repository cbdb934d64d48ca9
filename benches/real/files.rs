//! The recordings: those that crates carry in their archives, and those in folders.

use std::path::{Path, PathBuf};

use jogaudit_recording::read::{ReadConfig, Recording, read};

use crate::archive;

/// A recording on foot, or whose sport is not said.
pub(crate) struct RealFile {
    /// The crate, or the folder that the file lies in.
    pub(crate) library: String,
    /// Counts from 1 in each library; stands for the file's name, which is not printed.
    pub(crate) number: usize,
    /// Whether a crate's archive carries it.
    pub(crate) archived: bool,
    pub(crate) recording: Recording,
}

impl RealFile {
    pub(crate) fn name(&self) -> String {
        format!("{} {}", self.library, self.number)
    }
}

const EXTENSIONS: [&str; 3] = ["fit", "gpx", "tcx"];

/// Every recording in the archives of the crates that the tests of the readers read.
pub(crate) fn of_archives() -> Vec<RealFile> {
    let mut all = Vec::new();
    for (name, extension) in [("fitparser", "fit"), ("gpx", "gpx"), ("tcx", "tcx")] {
        let mut number = 0;
        for file in archive::files(name, extension) {
            number += 1;
            all.extend(on_foot(&file.bytes, name, number, true));
        }
    }
    all
}

/// Every recording in the folders inside `folder`, each named by its folder.
pub(crate) fn of_folder(folder: &Path) -> Vec<RealFile> {
    let mut all = Vec::new();
    for dir in sorted(folder).into_iter().filter(|path| path.is_dir()) {
        let library = dir.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        for (index, path) in recordings_in(&dir).into_iter().enumerate() {
            let bytes = std::fs::read(&path).expect("a readable file");
            all.extend(on_foot(&bytes, &library, index + 1, false));
        }
    }
    all
}

fn on_foot(bytes: &[u8], library: &str, number: usize, archived: bool) -> Vec<RealFile> {
    let Ok(read) = read(bytes, &ReadConfig::default()) else { return Vec::new() };
    let named = |recording| RealFile { library: library.to_owned(), number, archived, recording };
    read.value.into_iter().filter(|recording| recording.sport().on_foot()).map(named).collect()
}

fn recordings_in(dir: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for path in sorted(dir) {
        if path.is_dir() {
            found.extend(recordings_in(&path));
        } else if path
            .extension()
            .is_some_and(|e| EXTENSIONS.iter().any(|known| e.eq_ignore_ascii_case(known)))
        {
            found.push(path);
        }
    }
    found
}

fn sorted(dir: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(dir).unwrap_or_else(|error| panic!("{}: {error}", dir.display()));
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("listed").path()).collect();
    paths.sort();
    paths
}
