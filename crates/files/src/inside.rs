//! The files of a case, reached without leaving it: no link that leads out of its folder is followed, and only plain files
//! are read, since a pipe or a device may keep its reader waiting for ever.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use jogaudit_case::too_large;

/// The path of a file of the case, with the links inside it resolved; of a file that is not there yet, its path. Fails when
/// it lies outside or is a link that leads nowhere.
pub fn inside(case: &Path, path: &Path) -> io::Result<PathBuf> {
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let (folder, name) = (path.parent().unwrap_or(case), path.file_name().unwrap_or_default());
            return Ok(whole_inside(case, folder)?.join(name));
        }
        Err(error) => return Err(error),
        Ok(_) => {}
    }
    whole_inside(case, path)
}

fn whole_inside(case: &Path, path: &Path) -> io::Result<PathBuf> {
    let whole = fs::canonicalize(path)?;
    if whole.starts_with(fs::canonicalize(case)?) { Ok(whole) } else { Err(leads_out()) }
}

/// What is said of a link that leads out of the case.
pub(crate) fn leads_out() -> io::Error {
    io::Error::new(io::ErrorKind::InvalidInput, "a link leads out of the folder and is not followed")
}

/// Fails, and says what it is, when a path is no plain file. A link is followed.
pub(crate) fn refuse_unless_plain(path: &Path) -> io::Result<()> {
    let kind = fs::metadata(path)?.file_type();
    if kind.is_file() {
        return Ok(());
    }
    // A folder that can be looked into is no input; of one that cannot, the reason is the better answer.
    if kind.is_dir() {
        fs::read_dir(path)?;
        return Err(io::ErrorKind::IsADirectory.into());
    }
    Err(io::Error::new(io::ErrorKind::InvalidInput, format!("it is {}, not a plain file", name_of(kind))))
}

#[cfg(unix)]
fn name_of(kind: fs::FileType) -> &'static str {
    use std::os::unix::fs::FileTypeExt;

    if kind.is_fifo() {
        "a pipe"
    } else if kind.is_socket() {
        "a socket"
    } else {
        "a device"
    }
}

#[cfg(not(unix))]
fn name_of(_: fs::FileType) -> &'static str {
    "something else"
}

/// Reads a plain file of at most `limit` bytes.
pub fn plain_bytes(path: &Path, limit: u64) -> io::Result<Vec<u8>> {
    refuse_unless_plain(path)?;
    let mut bytes = Vec::new();
    File::open(path)?.take(limit + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > limit { Err(too_large(limit)) } else { Ok(bytes) }
}

#[cfg(all(test, unix))]
mod tests {
    use std::os::unix::fs::symlink;
    use std::os::unix::net::UnixListener;

    use super::*;

    #[test]
    fn nothing_outside_is_reached() {
        let (case, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let file = |name: &str| case.path().join(name);
        fs::write(other.path().join("diary.csv"), "theirs").unwrap();
        fs::write(file("a.csv"), "ours").unwrap();
        symlink(other.path().join("diary.csv"), file("out.csv")).unwrap();
        symlink(other.path(), file("folder")).unwrap();
        symlink(file("a.csv"), file("in.csv")).unwrap();
        symlink(file("none"), file("gone.csv")).unwrap();
        symlink(file("self.csv"), file("self.csv")).unwrap();
        for name in ["out.csv", "folder/diary.csv", "folder/new.csv", "gone.csv", "self.csv", "../x.csv"] {
            assert!(inside(case.path(), &file(name)).is_err(), "{name}");
        }
        assert_eq!(inside(case.path(), &file("in.csv")).unwrap(), fs::canonicalize(file("a.csv")).unwrap());
        assert!(inside(case.path(), &file("new.csv")).unwrap().ends_with("new.csv"));
    }

    #[test]
    fn what_may_keep_its_reader_waiting_is_not_opened() {
        let folder = tempfile::tempdir().unwrap();
        let (pipe, socket) = (folder.path().join("pipe"), folder.path().join("socket"));
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let _listener = UnixListener::bind(&socket).unwrap();
        for (path, word) in [(&*pipe, "a pipe"), (&*socket, "a socket"), (Path::new("/dev/zero"), "a device")]
        {
            let said = plain_bytes(path, 9).unwrap_err().to_string();
            assert!(said.contains(word), "{said}");
        }
        assert_eq!(plain_bytes(folder.path(), 9).unwrap_err().kind(), io::ErrorKind::IsADirectory);
        fs::write(folder.path().join("a"), "0123456789").unwrap();
        assert_eq!(plain_bytes(&folder.path().join("a"), 9).unwrap_err().kind(), io::ErrorKind::FileTooLarge);
    }
}
