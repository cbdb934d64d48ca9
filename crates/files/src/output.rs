//! Writes results so that they appear under their names only when they are whole.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::{Builder, NamedTempFile};

use super::failure::{Failure, named};

/// How the name of an unfinished file of [`write_whole`] ends. It begins with a dot.
const UNFINISHED: &str = ".jogaudit-part";
/// How the name of an unfinished file of [`Staged::partial`] ends.
const PARTIAL: &str = ".partial";
/// Random letters and digits in the name of an unfinished file, our choice: tempfile tries again when a name is taken.
const RANDOM_LETTERS: usize = 8;

/// A file that is written beside its target and gets its name when it is whole. Dropped before that, it is removed and
/// the target stays as it was.
pub struct Staged {
    target: PathBuf,
    file: NamedTempFile,
}

impl Staged {
    /// Opens a new hidden file beside `path`, under a name that no other writer has. A link is followed.
    pub fn unique(path: &Path) -> Result<Self, Failure> {
        Self::create(path, |target| {
            let mut prefix = OsString::from(".");
            prefix.push(target.file_name().unwrap_or_default());
            prefix.push(".");
            let open = |path: &Path| OpenOptions::new().write(true).create_new(true).open(path);
            let mut builder = Builder::new();
            let builder = builder.prefix(&prefix).suffix(UNFINISHED).rand_bytes(RANDOM_LETTERS);
            builder.make_in(folder_of(target), open)
        })
    }

    /// Opens the file beside `path` that has the same name with `.partial` after it, and replaces what an earlier run left
    /// there. A link is followed. Only for targets that no other process writes at the same time.
    pub fn partial(path: &Path) -> Result<Self, Failure> {
        Self::create(path, |target| {
            let name = with_suffix(Path::new(target.file_name().unwrap_or_default()), PARTIAL);
            Builder::new().prefix(&name).rand_bytes(0).make_in(folder_of(target), |path| File::create(path))
        })
    }

    /// The name that [`Self::partial`] uses for a target.
    pub fn partial_name(path: &Path) -> PathBuf {
        with_suffix(path, PARTIAL)
    }

    fn create(path: &Path, make: impl FnOnce(&Path) -> io::Result<NamedTempFile>) -> Result<Self, Failure> {
        refuse_folder(path)?;
        let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let file = make(&target).map_err(|error| could_not_write(path, &error))?;
        Ok(Self { target, file })
    }

    /// The file that is to be replaced; of a link, the one that it points to.
    pub fn target(&self) -> &Path {
        &self.target
    }

    /// Where the content stands until it is published.
    pub fn path(&self) -> &Path {
        self.file.path()
    }

    /// A handle to write by.
    pub fn file(&self) -> Result<File, Failure> {
        self.file.as_file().try_clone().map_err(|error| self.failed(&error))
    }

    /// Gives the file its name. A target that is there is replaced, and its permissions are kept.
    pub fn publish(self) -> Result<(), Failure> {
        let Self { target, file } = self;
        keep_permissions(&target, file.as_file())
            .and_then(|()| file.persist(&target).map_err(|error| error.error))
            .map(|_| ())
            .map_err(|error| could_not_write(&target, &error))
    }

    /// Gives the file its name once its content is on the disk, and waits until the name is there too.
    pub fn publish_durably(self) -> Result<(), Failure> {
        self.file.as_file().sync_all().map_err(|error| self.failed(&error))?;
        let folder = folder_of(&self.target).to_owned();
        self.publish()?;
        // Not every system opens folders; then the name is left to it.
        if let Ok(folder) = File::open(folder) {
            let _ = folder.sync_all();
        }
        Ok(())
    }

    fn failed(&self, error: &io::Error) -> Failure {
        could_not_write(&self.target, error)
    }
}

/// Writes `bytes` to `path`, so that a reader never sees half of them and a crash of the machine leaves the old file or the
/// new one. A device is written straight.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let failed = |error: io::Error| could_not_write(path, &error);
    if fs::metadata(path).is_ok_and(|known| !known.is_file() && !known.is_dir()) {
        let device = OpenOptions::new().write(true).open(path);
        return device.and_then(|mut device| device.write_all(bytes)).map_err(failed);
    }
    let staged = Staged::unique(path)?;
    staged.file()?.write_all(bytes).map_err(failed)?;
    staged.publish_durably()
}

/// Removes the unfinished files that processes left in a folder when they were killed. Nobody may be writing there by
/// [`write_whole`] or [`Staged::unique`] meanwhile. What cannot be removed stays.
pub fn remove_unfinished(folder: &Path) {
    let entries = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    for entry in entries.filter(|entry| is_unfinished(&entry.file_name().to_string_lossy())) {
        let _ = fs::remove_file(entry.path());
    }
}

fn is_unfinished(name: &str) -> bool {
    name.starts_with('.') && name.ends_with(UNFINISHED)
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

fn refuse_folder(path: &Path) -> Result<(), Failure> {
    if !path.is_dir() {
        return Ok(());
    }
    let failure = Failure::refused(format!("could not write {}: it is a folder", named(path)));
    Err(failure.hint("name a file"))
}

/// A result could not be written.
pub fn could_not_write(path: &Path, error: &io::Error) -> Failure {
    Failure::refused(format!("could not write {}", named(path))).caused_by(error)
}

/// The path with something after its name.
pub fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Gives the new file the permissions of the one that it replaces: who made that one unreadable for others meant it.
fn keep_permissions(target: &Path, file: &File) -> io::Result<()> {
    let Ok(old) = fs::metadata(target).map(|known| known.permissions()) else { return Ok(()) };
    if file.metadata()?.permissions() == old { Ok(()) } else { file.set_permissions(old) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
        let mut names: Vec<String> = entries.map(|name| name.into_string().unwrap()).collect();
        names.sort();
        names
    }

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
        for stage in [Staged::unique, Staged::partial] {
            let staged = stage(&path).unwrap();
            staged.file().unwrap().write_all(b"new").unwrap();
            assert_eq!(fs::read(staged.path()).unwrap(), b"new");
            drop(staged);
            assert_eq!((fs::read(&path).unwrap(), names(folder.path()).len()), (b"old".to_vec(), 1));
        }
    }

    #[test]
    fn what_a_killed_run_left_is_replaced_or_removed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.csv");
        // A process that is killed does not run its destructors.
        for stage in [Staged::unique, Staged::partial] {
            let staged = stage(&path).unwrap();
            staged.file().unwrap().write_all(b"a long beginning").unwrap();
            std::mem::forget(staged);
        }
        let left = names(folder.path());
        assert!(is_unfinished(&left[0]) && left[1] == "t.csv.partial", "{left:?}");
        let staged = Staged::partial(&path).unwrap();
        staged.file().unwrap().write_all(b"new").unwrap();
        staged.publish_durably().unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        for name in [".mine", ".mine.part", "t.jogaudit-part"] {
            fs::write(folder.path().join(name), "").unwrap();
        }
        remove_unfinished(folder.path());
        assert_eq!(names(folder.path()), [".mine", ".mine.part", "t.csv", "t.jogaudit-part"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed_and_permissions_are_kept() {
        use std::os::unix::fs::{PermissionsExt, symlink};

        let folder = tempfile::tempdir().unwrap();
        let mode = |name: &str| fs::metadata(folder.path().join(name)).unwrap().permissions().mode() & 0o777;
        let (file, link) = (folder.path().join("diary.csv"), folder.path().join("link.csv"));
        write_whole(&file, b"old").unwrap();
        fs::write(folder.path().join("plain"), "").unwrap();
        assert_eq!(mode("diary.csv"), mode("plain"), "a new file is as any program makes it");
        fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
        symlink(&file, &link).unwrap();
        write_whole(&link, b"new").unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!((fs::read(&file).unwrap(), mode("diary.csv")), (b"new".to_vec(), 0o600));
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
