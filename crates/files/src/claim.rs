//! The outputs of a run: named before the work begins, held against every input and against each other, and locked against
//! a second run.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::identity::{FileId, Place, folder_of};
use super::output::{Staged, could_not_write, sweep_target};
use jogaudit_case::{Failure, named, named_output};

/// How the name of the file ends that a run holds locked for an output. It begins with a dot.
const LOCK: &str = ".jogaudit-lock";
/// A lock file that somebody takes away meanwhile is made anew this often, our choice.
const TRIES: u32 = 10;

/// The outputs of a run, not yet locked. No two of them are the same file.
#[derive(Debug, Default)]
pub struct Claims(Vec<Claim>);

#[derive(Debug)]
struct Claim {
    /// As the user named it.
    named: PathBuf,
    goes: Goes,
    /// The file that is there already.
    id: Option<FileId>,
    place: Option<Place>,
}

/// Where an output goes.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Goes {
    StandardOutput,
    /// A device, a pipe or a socket is written straight to, never replaced.
    Straight,
    /// A file that is written beside this one and then takes its name. Links are resolved.
    Whole(PathBuf),
}

impl Claims {
    /// Looks at the outputs as the user named them; `-` is standard output.
    pub fn of(outputs: &[&Path]) -> Result<Self, Failure> {
        let mut claims = Self::default();
        for output in outputs {
            let claim = Claim::of(output)?;
            if let Some(other) = claims.0.iter().find(|other| other.is(&claim)) {
                let (one, two) = (named_output(&other.named), named_output(output));
                let what = if one == two {
                    format!("two results would go to {one}")
                } else {
                    format!("two results would go to one file, {one} and {two}")
                };
                return Err(Failure::refused(what).hint("name another file"));
            }
            claims.0.push(claim);
        }
        Ok(claims)
    }

    /// Fails when an output would overwrite this input, whatever the two are called. What is not there is no input.
    pub fn refuse_input(&self, input: &Path) -> Result<(), Failure> {
        let Some(output) = self.same_as(input) else { return Ok(()) };
        let what = if named(input) == named_output(output) {
            format!("the result would overwrite its own input {}", named(input))
        } else {
            format!("the result {} would overwrite its own input {}", named_output(output), named(input))
        };
        Err(Failure::refused(what).hint("name another file"))
    }

    /// The output, as the user named it, that is the same file as this one.
    pub fn same_as(&self, path: &Path) -> Option<&Path> {
        let mut whole = self.0.iter().filter(|claim| matches!(claim.goes, Goes::Whole(_))).peekable();
        whole.peek()?;
        if path.as_os_str() == "-" {
            return None;
        }
        let (id, place) = (FileId::of(path).ok()?, Place::of(path));
        let is_same = |claim: &&Claim| {
            claim.id.as_ref() == Some(&id) || (place.is_some() && claim.place.as_ref() == place.as_ref())
        };
        whole.find(is_same).map(|claim| claim.named.as_path())
    }

    /// Locks every output against other runs. The outputs stand in the order in which they were named.
    pub fn lock(&self) -> Result<Vec<Output>, Failure> {
        self.0.iter().map(Output::open).collect()
    }
}

/// Looks at the outputs of a run, holds them against its inputs, and locks them: what most commands need.
pub fn outputs(outputs: &[&Path], inputs: &[&Path]) -> Result<Vec<Output>, Failure> {
    let claims = Claims::of(outputs)?;
    inputs.iter().try_for_each(|input| claims.refuse_input(input))?;
    claims.lock()
}

/// The same for a run with one output or none.
pub fn output(output: Option<&Path>, inputs: &[&Path]) -> Result<Option<Output>, Failure> {
    Ok(outputs(output.as_slice(), inputs)?.pop())
}

impl Claim {
    fn of(output: &Path) -> Result<Self, Failure> {
        let claim = |goes, id, place| Self { named: output.to_owned(), goes, id, place };
        if output.as_os_str() == "-" {
            return Ok(claim(Goes::StandardOutput, None, None));
        }
        if output.file_name().is_none() {
            let failure =
                Failure::refused(format!("could not write {}: it names no file", named_output(output)));
            return Err(failure.hint("name a file"));
        }
        let known = match fs::metadata(output) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Self::of_new(output),
            known => known.map_err(|error| could_not_write(output, &error))?,
        };
        if known.is_dir() {
            let failure =
                Failure::refused(format!("could not write {}: it is a folder", named_output(output)));
            return Err(failure.hint("name a file"));
        }
        let failed = |error: io::Error| could_not_write(output, &error);
        let id = Some(FileId::of(output).map_err(failed)?);
        if !known.is_file() {
            return Ok(claim(Goes::Straight, id, None));
        }
        let target = fs::canonicalize(output).map_err(failed)?;
        let place = Place::of(&target);
        Ok(claim(Goes::Whole(target), id, place))
    }

    /// There is no such file yet. Its folder must be there.
    fn of_new(output: &Path) -> Result<Self, Failure> {
        if fs::symlink_metadata(output).is_ok() {
            let what = format!("could not write {}: it is a link that leads nowhere", named_output(output));
            return Err(Failure::refused(what).hint("name the file itself, or take the link away"));
        }
        let folder = fs::canonicalize(folder_of(output)).map_err(|error| could_not_write(output, &error))?;
        let target = folder.join(output.file_name().unwrap_or_default());
        let place = Place::of(&target);
        Ok(Self { named: output.to_owned(), goes: Goes::Whole(target), id: None, place })
    }

    fn is(&self, other: &Self) -> bool {
        let are_standard = self.goes == Goes::StandardOutput && other.goes == Goes::StandardOutput;
        let are_one = self.id.is_some() && self.id == other.id;
        let stand_in_one_place = self.place.is_some() && self.place == other.place;
        are_standard || are_one || stand_in_one_place
    }
}

/// An output that is no input and no other output of the run, and that no other run is writing.
#[derive(Debug)]
pub struct Output {
    named: PathBuf,
    goes: Goes,
    /// Held until the output is dropped.
    _lock: Option<OutputLock>,
}

impl Output {
    fn open(claim: &Claim) -> Result<Self, Failure> {
        let (named, goes) = (claim.named.clone(), claim.goes.clone());
        let lock = if let Goes::Whole(target) = &goes {
            let lock = OutputLock::take(target, &named)?;
            sweep_target(target);
            Some(lock)
        } else {
            None
        };
        Ok(Self { named, goes, _lock: lock })
    }

    /// As the user named it.
    pub fn named(&self) -> &Path {
        &self.named
    }

    /// Whether it goes to standard output.
    pub fn is_standard_output(&self) -> bool {
        self.goes == Goes::StandardOutput
    }

    /// Whether it is a file that appears when it is whole; else it is a device, a pipe or standard output.
    pub fn is_file(&self) -> bool {
        matches!(self.goes, Goes::Whole(_))
    }

    /// Opens the place to write to: a new file beside the target, or the device itself. Standard output is the caller's.
    pub fn stage(&self) -> Result<Staged, Failure> {
        match &self.goes {
            Goes::Whole(target) => Staged::beside(target, &self.named),
            Goes::Straight => Staged::straight(&self.named),
            Goes::StandardOutput => Err(Failure::internal("standard output cannot be staged")),
        }
    }

    /// Writes it whole, or not at all.
    pub fn write(&self, bytes: &[u8]) -> Result<(), Failure> {
        if self.is_standard_output() {
            let mut out = io::stdout().lock();
            return out.write_all(bytes).and_then(|()| out.flush()).map_err(Failure::output);
        }
        let staged = self.stage()?;
        staged.fill(bytes)?;
        staged.publish_durably()
    }
}

/// Writes outputs that belong together: none of them has its name before all of them are whole. `contents` stand in the
/// order of the outputs; what there is no output for is not written.
pub fn write_together(outputs: &[Output], contents: &[&[u8]]) -> Result<(), Failure> {
    let mut staged = Vec::new();
    for (output, bytes) in outputs.iter().zip(contents).filter(|(output, _)| !output.is_standard_output()) {
        let unfinished = output.stage()?;
        unfinished.fill(bytes)?;
        staged.push(unfinished);
    }
    for (output, bytes) in outputs.iter().zip(contents).filter(|(output, _)| output.is_standard_output()) {
        output.write(bytes)?;
    }
    // The first one comes last: once it is there, everything is.
    staged.into_iter().rev().try_for_each(Staged::publish_durably)
}

/// The right to write a file; it ends when this is dropped, or the process is.
#[derive(Debug)]
struct OutputLock {
    path: PathBuf,
    file: File,
}

impl OutputLock {
    fn take(target: &Path, named: &Path) -> Result<Self, Failure> {
        let failed = |error: io::Error| could_not_write(named, &error);
        let mut name = std::ffi::OsString::from(".");
        name.push(target.file_name().unwrap_or_default());
        name.push(LOCK);
        let path = folder_of(target).join(name);
        for _ in 0..TRIES {
            let file = open_lock(&path).map_err(failed)?;
            match file.try_lock() {
                Ok(()) if is_still_there(&path, &file) => return Ok(Self { path, file }),
                // Whoever held it took it away between our opening and our locking it.
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => break,
                Err(TryLockError::Error(error)) => return Err(failed(error)),
            }
        }
        let what = format!("another run is writing {}", named_output(named));
        Err(Failure::refused(what).hint("wait until it is over, or name another file"))
    }
}

impl Drop for OutputLock {
    fn drop(&mut self) {
        // Taken away while it is still held, so that nobody else's is.
        let _ = fs::remove_file(&self.path);
        let _ = self.file.unlock();
    }
}

/// Opens a file to lock, a new one or an old one; never a link, and never what is no plain file.
pub fn open_lock(path: &Path) -> io::Result<File> {
    match OpenOptions::new().write(true).create_new(true).open(path) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
        opened => return opened,
    }
    match fs::symlink_metadata(path) {
        Ok(known) if !known.is_file() => {
            let text = format!("`{}` is in the way: it is no plain file", path.display());
            Err(io::Error::new(io::ErrorKind::AlreadyExists, text))
        }
        // It may have been taken away just now: then it is made.
        _ => OpenOptions::new().write(true).create(true).truncate(false).open(path),
    }
}

fn is_still_there(path: &Path, file: &File) -> bool {
    FileId::of_open(file).is_none_or(|ours| FileId::of(path).is_ok_and(|there| there == ours))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::names;

    #[test]
    fn an_input_is_not_overwritten_however_it_is_called() {
        let folder = tempfile::tempdir().unwrap();
        let file = |name: &str| folder.path().join(name);
        fs::write(file("a.fit"), "x").unwrap();
        fs::hard_link(file("a.fit"), file("hard.fit")).unwrap();
        for same in ["a.fit", "./a.fit", "A.FIT", "hard.fit"] {
            let refused = output(Some(&file(same)), &[&file("a.fit")]);
            assert!(refused.is_err_and(|failure| failure.exit_code() == 2), "{same}");
        }
        assert!(output(Some(&file("b.txt")), &[&file("a.fit"), Path::new("-"), &file("none")]).is_ok());
        assert!(
            output(Some(Path::new("-")), &[Path::new("-")]).is_ok(),
            "standard input and standard output"
        );
        assert_eq!(names(folder.path()), ["a.fit", "hard.fit"]);
    }

    #[test]
    fn two_outputs_are_two_files() {
        let folder = tempfile::tempdir().unwrap();
        let file = |name: &str| folder.path().join(name);
        for (one, two) in [("a.csv", "./a.csv"), ("a.csv", "A.csv")] {
            let said = outputs(&[&file(one), &file(two)], &[]).unwrap_err().to_string();
            assert!(said.contains("two results would go to"), "{said}");
        }
        let standard = Path::new("-");
        let said = outputs(&[standard, standard], &[]).unwrap_err().to_string();
        assert!(said.contains("two results would go to standard output"), "{said}");
        assert_eq!(outputs(&[&file("a.csv"), &file("b.csv"), standard], &[]).unwrap().len(), 3);
        assert!(names(folder.path()).is_empty(), "locks are taken away");
    }

    #[test]
    fn an_output_is_locked_until_it_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.csv");
        let first = output(Some(&path), &[]).unwrap().unwrap();
        let said = output(Some(&path), &[]).unwrap_err().to_string();
        assert!(said.contains("another run is writing"), "{said}");
        first.write(b"whole").unwrap();
        drop(first);
        assert!(output(Some(&path), &[]).is_ok());
        assert_eq!(
            (fs::read(&path).unwrap(), names(folder.path())),
            (b"whole".to_vec(), vec!["t.csv".to_owned()])
        );
        // A killed run leaves its lock file, which is taken again.
        fs::write(folder.path().join(".t.csv.jogaudit-lock"), "").unwrap();
        assert!(output(Some(&path), &[]).is_ok());
    }

    #[test]
    fn what_a_killed_run_left_of_this_output_is_swept_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let mine =
            ["t.csv.partial", ".t.csv.mine", ".u.csv.abcdefgh.jogaudit-part", ".t.csv.x.jogaudit-part"];
        mine.iter().for_each(|name| fs::write(folder.path().join(name), "mine").unwrap());
        fs::write(folder.path().join(".t.csv.Abcdefg1.jogaudit-part"), "a beginning").unwrap();
        output(Some(&folder.path().join("t.csv")), &[]).unwrap().unwrap().write(b"whole").unwrap();
        let mut expected = vec!["t.csv"];
        expected.extend(mine);
        expected.sort_unstable();
        assert_eq!(names(folder.path()), expected);
        assert_eq!(fs::read(folder.path().join("t.csv.partial")).unwrap(), b"mine");
    }

    #[test]
    fn what_cannot_be_written_is_refused_before_the_work() {
        let folder = tempfile::tempdir().unwrap();
        let said = |path: &Path| output(Some(path), &[]).unwrap_err().to_string();
        assert!(said(folder.path()).contains("it is a folder"));
        assert!(said(&folder.path().join("no/such/t.csv")).contains("could not write"));
        assert!(said(Path::new("")).contains("names no file"));
        assert!(said(Path::new("/")).contains("names no file"));
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_to_their_end_and_never_replaced() {
        use std::os::unix::fs::symlink;

        let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let file = |name: &str| folder.path().join(name);
        fs::write(other.path().join("a.fit"), "mine").unwrap();
        symlink(other.path().join("a.fit"), file("link.csv")).unwrap();
        symlink(other.path(), file("folder")).unwrap();
        symlink(file("none"), file("nowhere.csv")).unwrap();
        for same in ["link.csv", "folder/a.fit", "folder/A.fit"] {
            assert!(output(Some(&file(same)), &[&other.path().join("a.fit")]).is_err(), "{same}");
        }
        assert!(outputs(&[&file("folder/new.csv"), &other.path().join("NEW.csv")], &[]).is_err());
        assert!(output(Some(&file("nowhere.csv")), &[]).unwrap_err().to_string().contains("leads nowhere"));
        let out = output(Some(&file("link.csv")), &[]).unwrap().unwrap();
        assert_eq!(names(other.path()), [".a.fit.jogaudit-lock", "a.fit"], "locked where the file is");
        out.write(b"new").unwrap();
        assert!(fs::symlink_metadata(file("link.csv")).unwrap().is_symlink());
        assert_eq!(fs::read(other.path().join("a.fit")).unwrap(), b"new");
        // Somebody's link in the place of the lock is left alone.
        symlink(file("theirs"), file(".x.csv.jogaudit-lock")).unwrap();
        assert!(output(Some(&file("x.csv")), &[]).unwrap_err().to_string().contains("no plain file"));
        assert!(!file("theirs").exists());
    }

    #[cfg(unix)]
    #[test]
    fn devices_and_pipes_are_written_straight_to() {
        use std::os::unix::fs::FileTypeExt;

        let null = Path::new("/dev/null");
        let before = FileId::of(null).unwrap();
        let out = output(Some(null), &[null]).unwrap().unwrap();
        out.write(b"gone").unwrap();
        assert_eq!(FileId::of(null).unwrap(), before);
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe");
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let reader = std::thread::spawn({
            let pipe = pipe.clone();
            move || fs::read(pipe).unwrap()
        });
        output(Some(&pipe), &[]).unwrap().unwrap().write(b"through").unwrap();
        assert_eq!(reader.join().unwrap(), b"through");
        assert!(fs::symlink_metadata(&pipe).unwrap().file_type().is_fifo());
        assert_eq!(names(folder.path()), ["pipe"]);
    }
}
