//! A folder to run the command in.
#![allow(dead_code, unused_imports)] // each test file uses its part

#[path = "../support/hand_made.rs"]
mod hand_made;

use std::path::{Path, PathBuf};

pub(crate) use hand_made::*;

/// The command under test.
pub(crate) fn jogaudit() -> PathBuf {
    Path::new(env!("CARGO_BIN_EXE_jogaudit")).to_owned()
}

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
        let output = assert_cmd::Command::new(jogaudit())
            .current_dir(self.0.path())
            .args(args)
            .write_stdin(stdin)
            .output()
            .unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
    }
}
