//! Whether two paths lead to the same file.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// What a file is on this machine, however it is named; links are followed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct FileId(IdParts);

#[cfg(unix)]
type IdParts = (u64, u64);
#[cfg(not(unix))]
type IdParts = PathBuf;

impl FileId {
    /// Looks a file or folder up. It is not opened: that could wait for the other end of a pipe.
    pub(crate) fn of(path: &Path) -> io::Result<Self> {
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            let known = fs::metadata(path)?;
            Ok(Self((known.dev(), known.ino())))
        }
        #[cfg(not(unix))]
        fs::canonicalize(path).map(Self)
    }

    /// Of an open file; `None` where the system does not tell.
    #[cfg_attr(not(unix), allow(clippy::unnecessary_wraps))]
    pub(crate) fn of_open(file: &fs::File) -> Option<Self> {
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            let known = file.metadata().ok()?;
            Some(Self((known.dev(), known.ino())))
        }
        #[cfg(not(unix))]
        {
            let _ = file;
            None
        }
    }
}

/// A place in a folder, where names that differ in capitals only are one: some file systems have it so.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Place {
    folder: FileId,
    name: String,
}

impl Place {
    /// The place of a path, also of one where there is no file yet; `None` when its folder cannot be looked at.
    pub(crate) fn of(path: &Path) -> Option<Self> {
        let folder = FileId::of(&folder_of(path)).ok()?;
        Some(Self { folder, name: path.file_name()?.to_string_lossy().to_lowercase() })
    }
}

/// The folder that a path lies in.
pub(crate) fn folder_of(path: &Path) -> PathBuf {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    folder.unwrap_or(Path::new(".")).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_known_by_any_name_and_a_place_by_any_capitals() {
        let folder = tempfile::tempdir().unwrap();
        let file = |name: &str| folder.path().join(name);
        fs::write(file("a.fit"), "").unwrap();
        fs::write(file("b.fit"), "").unwrap();
        fs::hard_link(file("a.fit"), file("c.fit")).unwrap();
        assert_eq!(FileId::of(&file("a.fit")).unwrap(), FileId::of(&file("./a.fit")).unwrap());
        assert_ne!(FileId::of(&file("a.fit")).unwrap(), FileId::of(&file("b.fit")).unwrap());
        #[cfg(unix)]
        assert_eq!(FileId::of(&file("a.fit")).unwrap(), FileId::of(&file("c.fit")).unwrap());
        assert_eq!(Place::of(&file("New.csv")), Place::of(&file("./new.CSV")));
        assert_ne!(Place::of(&file("new.csv")), Place::of(&file("newer.csv")));
        assert_eq!(Place::of(&file("none/new.csv")), None);
    }
}
