//! Writes results so that they appear under their names only when they are whole.

use std::ffi::{OsStr, OsString};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::{Builder, NamedTempFile};

use super::identity::folder_of;
use jogaudit_case::{Failure, named_output};

/// How the name of an unfinished file ends. It begins with a dot and the name of its target.
const UNFINISHED: &str = ".jogaudit-part";
/// Random letters and digits in the name of an unfinished file, our choice: tempfile tries again when a name is taken.
const RANDOM_LETTERS: usize = 8;

/// What is written beside its target and gets its name when it is whole; or a device, which is written straight to.
/// Dropped before it is published, an unfinished file is removed and the target stays as it was.
#[derive(Debug)]
pub struct Staged {
    target: PathBuf,
    /// As the user named it.
    named: PathBuf,
    writing: Writing,
}

#[derive(Debug)]
enum Writing {
    Beside(NamedTempFile),
    Straight(File),
}

impl Staged {
    /// Opens a new hidden file beside `path`, under a name that nobody else has. `path` itself may be no link.
    pub fn unique(path: &Path) -> Result<Self, Failure> {
        Self::beside(path, path)
    }

    /// The same for a target that the user named in another way.
    pub(crate) fn beside(target: &Path, named: &Path) -> Result<Self, Failure> {
        let mut prefix = OsString::from(".");
        prefix.push(target.file_name().unwrap_or_default());
        prefix.push(".");
        // A new file, never one that is there: no link is followed.
        let open = |path: &Path| OpenOptions::new().write(true).create_new(true).open(path);
        let mut builder = Builder::new();
        let builder = builder.prefix(&prefix).suffix(UNFINISHED).rand_bytes(RANDOM_LETTERS);
        let file = builder
            .make_in(folder_of(target), open)
            .and_then(|file| keep_permissions(target, file.as_file()).map(|()| file))
            .map_err(|error| could_not_write(named, &error))?;
        let writing = Writing::Beside(file);
        Ok(Self { target: target.to_owned(), named: named.to_owned(), writing })
    }

    /// Opens a device or a pipe.
    pub(crate) fn straight(path: &Path) -> Result<Self, Failure> {
        let device =
            OpenOptions::new().write(true).open(path).map_err(|error| could_not_write(path, &error))?;
        Ok(Self { target: path.to_owned(), named: path.to_owned(), writing: Writing::Straight(device) })
    }

    /// The file that is to be replaced.
    pub fn target(&self) -> &Path {
        &self.target
    }

    /// Where the content stands until it is published; `None` of a device.
    pub fn path(&self) -> Option<&Path> {
        match &self.writing {
            Writing::Beside(file) => Some(file.path()),
            Writing::Straight(_) => None,
        }
    }

    /// A handle to write by.
    pub fn file(&self) -> Result<File, Failure> {
        let file = match &self.writing {
            Writing::Beside(file) => file.as_file(),
            Writing::Straight(device) => device,
        };
        file.try_clone().map_err(|error| self.failed(&error))
    }

    /// Writes bytes behind what is written already.
    pub(crate) fn fill(&self, bytes: &[u8]) -> Result<(), Failure> {
        self.file()?.write_all(bytes).map_err(|error| self.failed(&error))
    }

    /// Gives the file its name. A target that is there is replaced.
    pub fn publish(self) -> Result<(), Failure> {
        let Self { target, named, writing } = self;
        let Writing::Beside(file) = writing else { return Ok(()) };
        file.persist(&target).map(|_| ()).map_err(|error| could_not_write(&named, &error.error))
    }

    /// Gives the file its name once its content is on the disk, and waits until the name is there too.
    pub fn publish_durably(self) -> Result<(), Failure> {
        let Writing::Beside(file) = &self.writing else { return Ok(()) };
        file.as_file().sync_all().map_err(|error| self.failed(&error))?;
        let folder = folder_of(&self.target);
        self.publish()?;
        sync_names(&folder);
        Ok(())
    }

    fn failed(&self, error: &io::Error) -> Failure {
        could_not_write(&self.named, error)
    }
}

/// Waits until the names in a folder are on the disk. Not every system opens folders; then that is left to it.
fn sync_names(folder: &Path) {
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// Makes a folder beside what is there already, so that a crash of the machine does not take it away with what is put into it.
pub fn make_folder(folder: &Path) -> io::Result<()> {
    match fs::create_dir(folder) {
        Ok(()) => sync_names(&folder_of(folder)),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists && folder.is_dir() => {}
        Err(error) => return Err(error),
    }
    Ok(())
}

/// Writes `bytes` to `path`, so that a reader never sees half of them and a crash of the machine leaves the old file or the
/// new one. For files of our own folders, whose writers take turns; what the user names goes through [`super::output`].
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    refuse_all_but_files(path)?;
    let staged = Staged::unique(path)?;
    staged.fill(bytes)?;
    staged.publish_durably()
}

/// A link is replaced by nobody and followed by nobody; a folder, a device and a pipe are no files of a case.
fn refuse_all_but_files(path: &Path) -> Result<(), Failure> {
    let what = match fs::symlink_metadata(path).map(|known| known.file_type()) {
        Ok(kind) if kind.is_dir() => "it is a folder",
        Ok(kind) if kind.is_symlink() => "it is a link",
        Ok(kind) if !kind.is_file() => "it is no plain file",
        _ if path.file_name().is_none() => "it names no file",
        _ => return Ok(()),
    };
    let failure = Failure::refused(format!("could not write {}: {what}", named_output(path)));
    Err(failure.hint("put a plain file in its place"))
}

/// Removes the unfinished files that processes left in a folder when they were killed. Nobody may be writing there by
/// [`write_whole`] or [`Staged::unique`] meanwhile. What cannot be removed stays.
pub fn remove_unfinished(folder: &Path) {
    remove(folder, &is_unfinished);
}

/// Removes what killed processes left of a target that is locked.
pub(crate) fn sweep_target(target: &Path) {
    let name = target.file_name().unwrap_or_default().to_string_lossy().into_owned();
    remove(&folder_of(target), &|found| unfinished_of(found) == Some(name.as_str()));
}

fn remove(folder: &Path, is_it: &dyn Fn(&str) -> bool) {
    let entries = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    for entry in entries.filter(|entry| is_it(&entry.file_name().to_string_lossy())) {
        // A folder or a link of that name is somebody else's.
        if entry.file_type().is_ok_and(|kind| kind.is_file()) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Whether this is the name of an unfinished file that a process leaves when it is killed.
pub fn is_unfinished(name: &str) -> bool {
    unfinished_of(name).is_some()
}

/// The target's name, if this is the name of an unfinished file.
fn unfinished_of(name: &str) -> Option<&str> {
    let (target, random) = name.strip_prefix('.')?.strip_suffix(UNFINISHED)?.rsplit_once('.')?;
    let is_ours = random.len() == RANDOM_LETTERS && random.bytes().all(|byte| byte.is_ascii_alphanumeric());
    is_ours.then_some(target)
}

/// A result could not be written.
pub fn could_not_write(path: &Path, error: &io::Error) -> Failure {
    let failure = Failure::refused(format!("could not write {}", named_output(path))).caused_by(error);
    if error.kind() == io::ErrorKind::StorageFull {
        failure.hint("make room on that disk, then try again")
    } else {
        failure
    }
}

/// The path with something after its name.
pub fn with_suffix(path: &Path, suffix: impl AsRef<OsStr>) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

/// Gives the new file the permissions of the one that it replaces: who made that one unreadable for others meant it.
fn keep_permissions(target: &Path, file: &File) -> io::Result<()> {
    let Ok(old) = fs::metadata(target).map(|known| known.permissions()) else { return Ok(()) };
    if file.metadata()?.permissions() == old { Ok(()) } else { file.set_permissions(old) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::names;

    #[test]
    fn replaces_whole_files_and_leaves_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("report.txt");
        write_whole(&path, b"first, longer").unwrap();
        write_whole(&path, b"second").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"second");
        assert_eq!(names(folder.path()), ["report.txt"]);
    }

    #[test]
    fn folders_and_missing_folders_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        assert!(write_whole(folder.path(), b"").unwrap_err().to_string().contains("it is a folder"));
        let nowhere = folder.path().join("no/such/report.txt");
        assert_eq!(write_whole(&nowhere, b"").unwrap_err().exit_code(), 2);
        assert!(write_whole(Path::new("/"), b"").is_err() && write_whole(Path::new(""), b"").is_err());
    }

    #[test]
    fn what_is_given_up_leaves_the_old_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.csv");
        fs::write(&path, "old").unwrap();
        let staged = Staged::unique(&path).unwrap();
        staged.file().unwrap().write_all(b"new").unwrap();
        assert_eq!(fs::read(staged.path().unwrap()).unwrap(), b"new");
        drop(staged);
        assert_eq!((fs::read(&path).unwrap(), names(folder.path()).len()), (b"old".to_vec(), 1));
    }

    #[test]
    fn what_a_killed_run_left_is_removed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.csv");
        // A process that is killed does not run its destructors.
        let staged = Staged::unique(&path).unwrap();
        staged.file().unwrap().write_all(b"a long beginning").unwrap();
        std::mem::forget(staged);
        let left = names(folder.path());
        assert!(unfinished_of(&left[0]) == Some("t.csv"), "{left:?}");
        for name in [".mine", ".mine.part", "t.jogaudit-part", ".t.jogaudit-part", ".t.x.jogaudit-part"] {
            fs::write(folder.path().join(name), "").unwrap();
        }
        remove_unfinished(folder.path());
        let mine = [".mine", ".mine.part", ".t.jogaudit-part", ".t.x.jogaudit-part", "t.jogaudit-part"];
        assert_eq!(names(folder.path()), mine);
    }

    #[cfg(unix)]
    #[test]
    fn permissions_are_kept_and_a_link_is_not_written_through() {
        use std::os::unix::fs::{PermissionsExt, symlink};

        let folder = tempfile::tempdir().unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        let (file, link, plain) =
            (folder.path().join("diary.csv"), folder.path().join("link.csv"), folder.path().join("plain"));
        write_whole(&file, b"old").unwrap();
        fs::write(&plain, "").unwrap();
        assert_eq!(mode(&file), mode(&plain), "a new file is as any program makes it");
        fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
        assert_eq!(mode(Staged::unique(&file).unwrap().path().unwrap()), 0o600, "from the first byte on");
        write_whole(&file, b"new").unwrap();
        assert_eq!((fs::read(&file).unwrap(), mode(&file)), (b"new".to_vec(), 0o600));
        symlink(&file, &link).unwrap();
        assert!(write_whole(&link, b"through").unwrap_err().to_string().contains("it is a link"));
        assert_eq!(fs::read(&file).unwrap(), b"new");
    }
}
