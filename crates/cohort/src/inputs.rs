//! Which recordings: files, folders of any depth, lists; each path once, in a stable order.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use jogaudit_files::{self as files, Failure};
use jogaudit_recording::notice::Notice;

use super::prescribed::{Prescribed, Prescription};

/// A recording to try.
pub(super) struct Input {
    pub(super) path: PathBuf,
    /// `None` when the roster does not name it.
    pub(super) prescribed: Option<Prescribed>,
}

/// The recordings of a run, one after another. A list is read line by line, so that it may be longer than memory.
pub(super) struct Inputs<'a> {
    paths: Box<dyn Iterator<Item = io::Result<PathBuf>> + 'a>,
    prescription: &'a Prescription,
    seen: HashSet<[u8; 16]>,
    /// How many paths there are (each counted as often as it is named); `None` for a list
    /// that comes through a pipe.
    pub(super) total: Option<u64>,
}

impl<'a> Inputs<'a> {
    /// Looks through what the user named. `left_out` are files of ours that may lie in a folder of recordings.
    pub(super) fn new(
        named: &[PathBuf],
        list: Option<&'a Path>,
        left_out: &[PathBuf],
        prescription: &'a Prescription,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, Failure> {
        let left_out: Vec<PathBuf> = left_out.iter().filter_map(|path| absolute(path)).collect();
        let mut paths = Vec::new();
        for path in named {
            match fs::metadata(path) {
                Ok(known) if known.is_dir() => {
                    let folder = fs::canonicalize(path).map_err(|error| Failure::input(path, &error))?;
                    paths.extend(files::files_below(path, notices)?.into_iter().filter(|found| {
                        let inside = found.strip_prefix(path).unwrap_or(found);
                        let whole = folder.join(inside);
                        !left_out.iter().any(|ours| whole.starts_with(ours))
                    }));
                }
                Ok(_) => paths.push(path.clone()),
                Err(error) => return Err(Failure::input(path, &error)),
            }
        }
        let mut total = Some(paths.len() as u64);
        let mut all: Box<dyn Iterator<Item = io::Result<PathBuf>> + 'a> = Box::new(paths.into_iter().map(Ok));
        if let Some(list) = list {
            let failed = |error| Failure::input(list, &error);
            let opened: Box<dyn io::Read + 'a> = if list.as_os_str() == "-" {
                Box::new(io::stdin())
            } else {
                Box::new(File::open(list).map_err(failed)?)
            };
            // What is no plain file can be read only once.
            total = if list.as_os_str() != "-" && list.is_file() {
                let count = lines(File::open(list).map_err(failed)?).count() as u64;
                total.map(|total| total + count)
            } else {
                None
            };
            all = Box::new(all.chain(lines(opened)));
        }
        Ok(Self { paths: all, prescription, seen: HashSet::new(), total })
    }

    /// The next `count` recordings, fewer at the end.
    pub(super) fn chunk(&mut self, count: usize) -> io::Result<Vec<Input>> {
        let mut chunk = Vec::new();
        while chunk.len() < count {
            let Some(path) = self.paths.next().transpose()? else { break };
            let digest = Sha256::digest(path.as_os_str().as_encoded_bytes());
            let mut key = [0; 16];
            key.copy_from_slice(&digest[..16]);
            if self.seen.insert(key) {
                let prescribed = self.prescription.of(&path).cloned();
                chunk.push(Input { path, prescribed });
            }
        }
        Ok(chunk)
    }
}

/// The paths of a list: one a line, empty lines left out.
fn lines<'a>(source: impl io::Read + 'a) -> impl Iterator<Item = io::Result<PathBuf>> + 'a {
    let lines = BufReader::new(source).split(b'\n');
    let trimmed = lines.map(|line| {
        line.map(|mut line| {
            while line.last().is_some_and(|byte| *byte == b'\r') {
                line.pop();
            }
            line
        })
    });
    let full = trimmed.filter(|line| !line.as_ref().is_ok_and(Vec::is_empty));
    full.map(|line| line.and_then(path_of))
}

#[cfg(unix)]
#[allow(clippy::unnecessary_wraps)] // elsewhere it fails
fn path_of(bytes: Vec<u8>) -> io::Result<PathBuf> {
    use std::os::unix::ffi::OsStringExt;
    Ok(PathBuf::from(std::ffi::OsString::from_vec(bytes)))
}

#[cfg(not(unix))]
fn path_of(bytes: Vec<u8>) -> io::Result<PathBuf> {
    String::from_utf8(bytes)
        .map(PathBuf::from)
        .map_err(|error| io::Error::new(io::ErrorKind::InvalidData, error))
}

/// The path with its folder resolved, also of a file that is not there yet.
fn absolute(path: &Path) -> Option<PathBuf> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    Some(fs::canonicalize(folder).ok()?.join(path.file_name()?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prescribed::Plans;

    fn paths(text: &[u8]) -> Vec<PathBuf> {
        lines(text).map(Result::unwrap).collect()
    }

    #[test]
    fn a_list_has_a_path_a_line() {
        assert_eq!(paths(b"a.fit\r\n\nb c.fit"), [PathBuf::from("a.fit"), PathBuf::from("b c.fit")]);
        assert!(paths(b"").is_empty());
    }

    #[test]
    fn each_path_comes_once_in_order_of_name_and_ours_are_left_out() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        fs::create_dir_all(root.join("b/deep")).unwrap();
        fs::create_dir_all(root.join("out.csv.parts")).unwrap();
        for name in
            ["b/deep/2.fit", "b/10.fit", "a.fit", ".hidden", "out.csv", "out.csv.parts/x", "plan.toml"]
        {
            fs::write(root.join(name), "").unwrap();
        }
        let plan = root.join("plan.toml");
        fs::write(&plan, "title = 'x'\n[[stage]]\nname = '1'\nsession = 'run 1:00'").unwrap();
        let prescription = Prescription::one(&plan, None, &mut Plans::default(), &mut Vec::new()).unwrap();
        let ours = [root.join("out.csv"), root.join("out.csv.parts"), plan];
        let named = [root.join("b/10.fit"), root.to_owned()];
        let mut inputs = Inputs::new(&named, None, &ours, &prescription, &mut Vec::new()).unwrap();
        let chunk = inputs.chunk(10).unwrap();
        let names: Vec<_> =
            chunk.iter().map(|input| input.path.strip_prefix(root).unwrap().to_str().unwrap()).collect();
        assert_eq!(names, ["b/10.fit", "a.fit", "b/deep/2.fit"]);
        assert!(inputs.chunk(10).unwrap().is_empty());
    }
}
