//! Writes a result to the file that the user named: whole or not at all.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::failure::{Failure, named};

/// Writes `bytes` to `path`, first beside it under another name, so that a reader never sees half of it. A file that
/// is there is replaced (the target of a link, not the link); a device is written straight.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let failed =
        |error: io::Error| Failure::refused(format!("could not write {}", named(path))).caused_by(&error);
    match fs::metadata(path) {
        Ok(known) if known.is_dir() => {
            Err(Failure::refused(format!("could not write {}: it is a folder", named(path)))
                .hint("name a file"))
        }
        Ok(known) if !known.is_file() => OpenOptions::new()
            .write(true)
            .open(path)
            .and_then(|mut device| device.write_all(bytes))
            .map_err(failed),
        Ok(_) => fs::canonicalize(path).and_then(|target| replace(&target, bytes)).map_err(failed),
        Err(_) => replace(path, bytes).map_err(failed),
    }
}

/// Fails when the result would overwrite one of the inputs.
pub fn refuse_inputs(path: &Path, inputs: &[&Path]) -> Result<(), Failure> {
    let Ok(target) = fs::canonicalize(path) else { return Ok(()) };
    match inputs.iter().find(|input| fs::canonicalize(input).is_ok_and(|input| input == target)) {
        Some(input) => {
            Err(Failure::refused(format!("the result would overwrite its own input {}", named(input)))
                .hint("name another file"))
        }
        None => Ok(()),
    }
}

fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let (beside, mut file) = create_beside(path)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    drop(file);
    let done = written.and_then(|()| fs::rename(&beside, path));
    if done.is_err() {
        let _ = fs::remove_file(&beside);
    }
    // The new name is on the disk only once the folder is. Not every system opens folders; then the name is left to it.
    if let Some(folder) = path.parent().and_then(|folder| File::open(folder).ok()) {
        let _ = folder.sync_all();
    }
    done
}

/// Makes a new file in the same folder, so that renaming it does not cross file systems.
fn create_beside(path: &Path) -> io::Result<(PathBuf, File)> {
    let name = path.file_name().ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "no file name"))?;
    let mut taken = io::Error::from(io::ErrorKind::AlreadyExists);
    for attempt in 0..100 {
        let mut beside_name = std::ffi::OsString::from(".");
        beside_name.push(name);
        beside_name.push(format!(".{}.{attempt}.part", std::process::id()));
        let beside = path.with_file_name(beside_name);
        match OpenOptions::new().write(true).create_new(true).open(&beside) {
            Ok(file) => return Ok((beside, file)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => taken = error,
            Err(error) => return Err(error),
        }
    }
    Err(taken)
}

/// Whether a file name is one that a write uses before it is done: `.NAME.PROCESS.ATTEMPT.part`.
pub fn is_part(name: &str) -> bool {
    let is_number =
        |part: Option<&str>| part.is_some_and(|p| !p.is_empty() && p.bytes().all(|b| b.is_ascii_digit()));
    let mut parts = name.rsplit('.');
    name.starts_with('.')
        && parts.next() == Some("part")
        && is_number(parts.next())
        && is_number(parts.next())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replaces_whole_files_and_leaves_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.txt");
        write_whole(&path, b"first, longer").unwrap();
        write_whole(&path, b"second").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"second");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn folders_and_missing_folders_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        assert!(write_whole(folder.path(), b"").unwrap_err().to_string().contains("it is a folder"));
        let nowhere = folder.path().join("no/such/report.txt");
        assert_eq!(write_whole(&nowhere, b"").unwrap_err().exit_code(), 2);
    }

    #[test]
    fn an_input_is_not_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.fit");
        fs::write(&path, b"x").unwrap();
        let same = folder.path().join(".").join("a.fit");
        assert!(refuse_inputs(&same, &[&path]).is_err());
        assert!(refuse_inputs(&folder.path().join("b.txt"), &[&path]).is_ok());
    }
}
