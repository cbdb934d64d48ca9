//! A case that the user named: a folder, or a zip of one.

use std::fs;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use jogaudit_case::{
    self as case, Activities, Case, CaseFiles, Failure, MAX_ZIP_BYTES, SharedCase, TABLES, from_zip, named,
    read_recording,
};
use jogaudit_core::pipeline::Config;
use jogaudit_recording::read::Envelope;

use super::folder::FolderCase;
use super::input::bytes;

/// Opens a case: a folder, or a zip of one, which is read into memory.
pub fn open_case(path: &Path) -> Result<Box<dyn CaseFiles + Send>, Failure> {
    if !fs::metadata(path).is_ok_and(|known| known.is_file()) {
        return Ok(Box::new(FolderCase::new(path)));
    }
    let bytes = bytes(path, MAX_ZIP_BYTES)?;
    if Envelope::of(&bytes) == Envelope::Zip {
        return Ok(Box::new(from_zip(&bytes, path)?));
    }
    Err(Failure::refused(format!("{} is no case", named(path)))
        .hint("name a folder with plan.toml, diary.csv and recordings/, or a zip of one"))
}

/// Reads a case folder or a zip of one, its recordings on all cores.
pub fn read_case(path: &Path, config: &Config) -> Result<Case, Failure> {
    let files = open_case(path)?;
    case::read_case(&*files, &|names| read_all(&*files, names, config))
}

/// Reads recordings of a case on all cores. The answers stand in the order of the names.
pub fn read_all(files: &dyn CaseFiles, names: &[String], config: &Config) -> Vec<Activities> {
    names.par_iter().map(|name| read_recording(files, name, config)).collect()
}

/// Makes a case that can be sent, on all cores: without places, or with all as it is.
pub fn share_case(files: &dyn CaseFiles, keeps_places: bool, config: &Config) -> Result<SharedCase, Failure> {
    if keeps_places {
        return case::share_with_places(files);
    }
    case::share(files, &|names| {
        names.par_iter().map(|name| case::share_recording(files, name, config)).collect()
    })
}

/// The files of a case that the user named that are read: a zip, or the tables and recordings of a folder.
pub fn case_inputs(path: &Path) -> Result<Vec<PathBuf>, Failure> {
    if fs::metadata(path).is_ok_and(|known| known.is_file()) {
        return Ok(vec![path.to_owned()]);
    }
    let listed = FolderCase::new(path).recording_files(&mut Vec::new())?;
    let tables = TABLES.map(|name| path.join(name));
    Ok(tables.into_iter().chain(listed.into_iter().map(|(_, path)| path)).collect())
}
