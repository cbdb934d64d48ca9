//! A case as a folder on the disk.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::{Duration, SystemTime};

use jogaudit_case::{CaseFiles, CaseWriter, Failure, RECORDINGS, Stamp, named};
use jogaudit_recording::notice::Notice;

use super::claim::open_lock;
use super::inside::{inside, plain_bytes};
use super::output::{make_folder, remove_unfinished, write_whole};
use super::tree::{Links, files_below};

/// Hidden file that a writer holds locked.
const LOCK: &str = ".jogaudit-lock";
/// How often and how long another writer is waited for.
const TRIES: u32 = 30;
const BETWEEN: Duration = Duration::from_millis(100);

/// A case folder.
#[derive(Clone, Debug)]
pub struct FolderCase(PathBuf);

impl FolderCase {
    /// The case in a folder, which is not looked into yet.
    pub fn new(folder: &Path) -> Self {
        Self(folder.to_owned())
    }

    /// Takes away what a process that was killed while writing left behind, unless somebody writes.
    pub fn sweep(&self) {
        let path = self.0.join(LOCK);
        // Without a lock file nobody has ever written here.
        if fs::symlink_metadata(&path).is_err() {
            return;
        }
        let Ok(lock) = open_lock(&path) else { return };
        if lock.try_lock().is_err() {
            return;
        }
        remove_unfinished(&self.0);
        if let Ok(recordings) = inside(&self.0, &self.0.join(RECORDINGS)) {
            remove_unfinished(&recordings);
        }
    }

    /// Lists the files of `recordings/`, at any depth, in order of name: each name below it and its path.
    pub(crate) fn recording_files(
        &self,
        notices: &mut Vec<Notice>,
    ) -> Result<Vec<(String, PathBuf)>, Failure> {
        let folder = self.0.join(RECORDINGS);
        let paths = match fs::symlink_metadata(&folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
            _ => match inside(&self.0, &folder) {
                Ok(whole) if !whole.is_dir() => {
                    return Err(Failure::refused(format!("{} is no folder", named(&folder))));
                }
                Ok(_) => files_below(&folder, Links::Inside(&self.0), notices)?,
                Err(error) => return Err(Failure::input(&folder, &error)),
            },
        };
        Ok(paths.into_iter().map(|path| (name_in(&folder, &path), path)).collect())
    }

    /// The path of a file. A name that is no text on this system is found among the recordings.
    fn found(&self, name: &str) -> PathBuf {
        let path = self.0.join(name);
        let Some(recording) = name.strip_prefix(RECORDINGS).and_then(|rest| rest.strip_prefix('/')) else {
            return path;
        };
        if !recording.contains('\u{fffd}') || fs::symlink_metadata(&path).is_ok() {
            return path;
        }
        let listed = self.recording_files(&mut Vec::new()).unwrap_or_default();
        listed.into_iter().find(|(known, _)| known == recording).map_or(path, |(_, path)| path)
    }
}

/// Path inside the folder, with `/` on every system.
fn name_in(folder: &Path, path: &Path) -> String {
    let inside = path.strip_prefix(folder).unwrap_or(path);
    let parts: Vec<_> = inside.components().map(|part| part.as_os_str().to_string_lossy()).collect();
    parts.join("/")
}

impl CaseFiles for FolderCase {
    fn path(&self, name: &str) -> PathBuf {
        if name.is_empty() { self.0.clone() } else { self.0.join(name) }
    }

    fn top(&self) -> Result<Vec<String>, Failure> {
        let entries = fs::read_dir(&self.0).map_err(|error| {
            let failure =
                Failure::refused(format!("could not look into {}", self.0.display())).caused_by(&error);
            failure.hint("CASE is a folder with plan.toml, diary.csv and recordings/")
        })?;
        let is_file = |entry: &fs::DirEntry| entry.file_type().is_ok_and(|kind| kind.is_file());
        let files = entries.filter_map(Result::ok).filter(is_file);
        let mut names: Vec<String> =
            files.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        Ok(names)
    }

    fn recordings(&self, notices: &mut Vec<Notice>) -> Result<Vec<String>, Failure> {
        Ok(self.recording_files(notices)?.into_iter().map(|(name, _)| name).collect())
    }

    fn has(&self, name: &str) -> bool {
        !fs::symlink_metadata(self.0.join(name)).is_err_and(|error| error.kind() == io::ErrorKind::NotFound)
    }

    fn read(&self, name: &str, limit: u64) -> io::Result<Vec<u8>> {
        inside(&self.0, &self.found(name)).and_then(|path| plain_bytes(&path, limit))
    }

    fn stamp(&self, name: &str) -> Stamp {
        let Ok(known) = fs::metadata(self.found(name)) else { return Stamp::default() };
        let changed = known.modified().ok().and_then(|time| time.duration_since(SystemTime::UNIX_EPOCH).ok());
        Stamp { len: known.len(), changed: changed.map_or(0, |since| since.as_nanos()) }
    }

    fn writer(&self) -> Result<Box<dyn CaseWriter + '_>, Failure> {
        Ok(Box::new(FolderWriter { case: &self.0, _lock: lock(&self.0)? }))
    }
}

/// Locks a case; the lock ends when the file is dropped, or the process is.
fn lock(case: &Path) -> Result<File, Failure> {
    let path = case.join(LOCK);
    let could_not = |error: io::Error| {
        Failure::refused(format!("could not write to {}", case.display()))
            .caused_by(&error)
            .hint("see that the folder may be written to, and that the disk is not full")
    };
    let file = open_lock(&path).map_err(could_not)?;
    for _ in 0..TRIES {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) => sleep(BETWEEN),
            Err(TryLockError::Error(error)) => return Err(could_not(error)),
        }
    }
    Err(Failure::refused("another jogaudit is writing to this case")
        .hint("wait until it is done, then try again"))
}

struct FolderWriter<'a> {
    case: &'a Path,
    _lock: File,
}

impl CaseWriter for FolderWriter<'_> {
    /// Writes a file; a link inside the case is written to its end, one that leads out is refused.
    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let path = self.case.join(name);
        if let Some(folder) = path.parent().filter(|folder| *folder != self.case) {
            make_folder(folder).and_then(|()| inside(self.case, folder)).map_err(|error| {
                Failure::refused(format!("could not make the folder {}", folder.display())).caused_by(&error)
            })?;
        }
        let path = inside(self.case, &path)
            .map_err(|error| Failure::refused(format!("could not write {name}")).caused_by(&error))?;
        write_whole(&path, bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_case_without_a_plan_is_called_by_its_own_name_or_the_case() {
        let folder = tempfile::tempdir().unwrap();
        let whole = folder.path().display().to_string();
        let case = FolderCase::new(folder.path());
        let failure = || jogaudit_case::read_case(&case, &|_| Vec::new()).err().unwrap();
        assert_eq!(failure().in_a_clause(), format!("`{whole}` has no plan.toml"));
        assert_eq!(failure().within(folder.path()).in_a_clause(), "the case has no plan.toml");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed_inside_the_case_alone() {
        use std::os::unix::fs::symlink;

        let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let case = FolderCase::new(folder.path());
        fs::write(case.path("a.csv"), "ours").unwrap();
        fs::write(other.path().join("a.csv"), "theirs").unwrap();
        symlink(case.path("a.csv"), case.path("in.csv")).unwrap();
        symlink(other.path().join("a.csv"), case.path("out.csv")).unwrap();
        assert_eq!(case.read("in.csv", 9).unwrap(), b"ours");
        let said = case.read("out.csv", 9).unwrap_err().to_string();
        assert!(said.contains("leads out of the folder"), "{said}");
    }

    #[test]
    fn two_writers_take_turns() {
        let folder = tempfile::tempdir().unwrap();
        let case = FolderCase::new(folder.path());
        let first = case.writer().unwrap();
        assert!(case.writer().is_err_and(|failure| failure.to_string().contains("another")));
        drop(first);
        assert!(case.writer().is_ok());
    }

    #[test]
    fn what_a_killed_writer_left_is_swept_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let case = FolderCase::new(folder.path());
        drop(case.writer().unwrap());
        let names = ["a.fit", "recordings/.a.fit.X7bc12Qz.jogaudit-part", ".mine.part", "b.jogaudit-part"];
        fs::create_dir(folder.path().join("recordings")).unwrap();
        names.iter().for_each(|name| fs::write(folder.path().join(name), "x").unwrap());
        let writing = case.writer().unwrap();
        case.sweep();
        assert!(folder.path().join(names[1]).exists(), "somebody is writing it");
        drop(writing);
        case.sweep();
        let left: Vec<bool> = names.iter().map(|name| folder.path().join(name).exists()).collect();
        assert_eq!(left, [true, false, true, true]);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_recording_whose_name_is_no_text_is_read() {
        use std::ffi::OsStr;
        use std::os::unix::ffi::OsStrExt;

        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("recordings")).unwrap();
        fs::write(folder.path().join("recordings").join(OsStr::from_bytes(b"\xff.fit")), "x").unwrap();
        let case = FolderCase::new(folder.path());
        assert_eq!(case.recordings(&mut Vec::new()).unwrap(), ["\u{fffd}.fit"]);
        assert_eq!(case.read("recordings/\u{fffd}.fit", 9).unwrap(), b"x");
        assert_eq!(case.stamp("recordings/\u{fffd}.fit").len, 1);
    }
}
