//! A folder to run the command in.
#![allow(dead_code)] // each package uses its part

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::program::jogaudit;

/// A folder that is gone when the test is over.
pub(crate) struct Folder(tempfile::TempDir);

impl Folder {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    pub(crate) fn file(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.0.path().join(name), content).unwrap();
    }

    pub(crate) fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.0.path().join(name)).unwrap()
    }

    pub(crate) fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.0.path()).unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    /// Runs the command here and gives `(exit code, stdout, stderr)`.
    pub(crate) fn run(&self, args: &[&str], stdin: &[u8]) -> (i32, String, String) {
        run_in(self.path(), args, stdin)
    }
}

/// Runs the command in a folder and gives `(exit code, stdout, stderr)`.
pub(crate) fn run_in(folder: &Path, args: &[&str], stdin: &[u8]) -> (i32, String, String) {
    let mut child = Command::new(jogaudit())
        .current_dir(folder)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = child.stdin.take().unwrap();
    let output = std::thread::scope(|scope| {
        // A command that reads none of it, or not all, closes the pipe.
        scope.spawn(move || {
            let written = pipe.write_all(stdin);
            let is_closed = |error: &std::io::Error| error.kind() == std::io::ErrorKind::BrokenPipe;
            assert!(written.as_ref().err().is_none_or(is_closed), "{written:?}");
        });
        child.wait_with_output().unwrap()
    });
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}
