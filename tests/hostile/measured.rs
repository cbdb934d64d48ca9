//! One run as an ordinary user: its folder, what it took, and what it touched.

use std::collections::BTreeMap;
use std::fs::{self, File, Permissions};
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown, symlink};
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use wait4::Wait4;

use super::runs::{Entry, Run};

/// The user to whom runs are given when the test is root's: nobody, as on most systems.
const NOBODY: u32 = 65_534;
/// What ends a run that hangs: seconds of the clock, and KiB of address space, far above what it may take.
const HANG_S: &str = "120";
const MOST_KIB: u64 = 4 << 20;

/// How a run ended and what it took.
#[derive(Debug)]
pub(super) struct Measured {
    /// `None` when a signal ended it.
    pub(super) code: Option<i32>,
    pub(super) out: Vec<u8>,
    pub(super) err: String,
    /// Of the processor.
    pub(super) time: Duration,
    /// Greatest memory that it had.
    pub(super) mib: u64,
}

/// Where runs are made, one after another.
pub(super) struct Place {
    root: tempfile::TempDir,
    program: PathBuf,
    is_root: bool,
}

impl Place {
    pub(super) fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        let is_root = fs::metadata(root.path()).unwrap().uid() == 0;
        fs::set_permissions(root.path(), Permissions::from_mode(0o755)).unwrap();
        // Nobody may not be let into the folder that it was built in.
        let program = root.path().join("jogaudit");
        if fs::hard_link(crate::program::jogaudit(), &program).is_err() {
            fs::copy(crate::program::jogaudit(), &program).unwrap();
        }
        Self { root, program, is_root }
    }

    pub(super) fn folder(&self) -> PathBuf {
        self.root.path().join("run")
    }

    fn beside(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    /// Makes the folder of a run anew.
    pub(super) fn make(&self, run: &Run) {
        let _ = fs::remove_dir_all(self.folder());
        fs::create_dir(self.folder()).unwrap();
        self.give(&self.folder());
        for (name, entry) in &run.entries {
            let path = self.folder().join(name);
            match entry {
                Entry::File(bytes) => fs::write(&path, bytes).unwrap(),
                Entry::Closed(bytes) => {
                    fs::write(&path, bytes).unwrap();
                    fs::set_permissions(&path, Permissions::from_mode(0o000)).unwrap();
                }
                Entry::Folder => {
                    fs::create_dir(&path).unwrap();
                    self.give(&path);
                }
                Entry::Link(to) => symlink(to, &path).unwrap(),
                Entry::Pipe => assert!(Command::new("mkfifo").arg(&path).status().unwrap().success()),
                Entry::Socket => drop(std::os::unix::net::UnixListener::bind(&path).unwrap()),
            }
        }
        fs::write(self.beside("stdin"), &run.stdin).unwrap();
    }

    fn give(&self, folder: &Path) {
        if self.is_root {
            chown(folder, Some(NOBODY), Some(NOBODY)).unwrap();
        }
    }

    /// Runs the command. A shell sets the bound of memory, `timeout` that of the clock.
    pub(super) fn measure(&self, run: &Run) -> Measured {
        let script =
            format!("ulimit -v {MOST_KIB}; ulimit -c 0; exec timeout -s KILL {HANG_S} \"$0\" \"$@\"");
        let mut command = Command::new("sh");
        // No argument of a program can hold a NUL.
        let args = run.args.iter().map(|arg| arg.replace('\0', ""));
        command.args(["-c", &script]).arg(&self.program).args(args).current_dir(self.folder());
        command.stdin(File::open(self.beside("stdin")).unwrap());
        command.stdout(File::create(self.beside("stdout")).unwrap());
        command.stderr(File::create(self.beside("stderr")).unwrap());
        if self.is_root {
            command.uid(NOBODY).gid(NOBODY);
        }
        let ended = command.spawn().unwrap().wait4().unwrap();
        let out = fs::read(self.beside("stdout")).unwrap();
        let err = String::from_utf8_lossy(&fs::read(self.beside("stderr")).unwrap()).into_owned();
        Measured {
            code: ended.status.code().filter(|_| ended.status.signal().is_none()),
            out,
            err,
            time: ended.rusage.utime + ended.rusage.stime,
            mib: ended.rusage.maxrss >> 20,
        }
    }

    /// What the run changed, took away or left that it was not told to write. After an error outputs stand as they stood.
    pub(super) fn touched(&self, run: &Run, is_done: bool) -> Option<String> {
        let mut there = BTreeMap::new();
        all_below(&self.folder(), "", &mut there);
        for (name, entry) in &run.entries {
            let found = there.remove(name);
            let (Entry::File(bytes) | Entry::Closed(bytes)) = entry else {
                if found.is_none() {
                    return Some(format!("{name} is gone"));
                }
                continue;
            };
            let may_change = is_done && run.outputs.contains(&name.as_str());
            if found.is_none() || (!may_change && found.flatten().as_ref() != Some(bytes)) {
                return Some(format!("{name} was touched"));
            }
        }
        let is_ours = |name: &str| run.outputs.contains(&name) && is_done;
        // Finished chunks wait for a run that resumes.
        let is_part = |name: &str| !is_done && name.contains(".parts");
        there.into_keys().find(|name| !is_ours(name) && !is_part(name)).map(|name| format!("{name} was left"))
    }
}

/// Every entry below a folder, links not followed, with the bytes of plain files.
fn all_below(folder: &Path, before: &str, all: &mut BTreeMap<String, Option<Vec<u8>>>) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = format!("{before}{}", entry.file_name().to_string_lossy());
        let kind = entry.file_type().unwrap();
        if kind.is_file() {
            let permissions = fs::metadata(entry.path()).unwrap().permissions().mode() & 0o777;
            if permissions == 0 {
                fs::set_permissions(entry.path(), Permissions::from_mode(0o600)).unwrap();
            }
            all.insert(name, fs::read(entry.path()).ok());
        } else {
            all.insert(name.clone(), None);
            if kind.is_dir() {
                all_below(&entry.path(), &format!("{name}/"), all);
            }
        }
    }
}
