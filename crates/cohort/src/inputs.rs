//! Which recordings: files, folders of any depth, lists; each path once, in a stable order.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read as _};
use std::iter;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use jogaudit_case::Failure;
use jogaudit_files::{self as files, Claims};
use jogaudit_recording::notice::Notice;

use super::prescribed::{Prescribed, Prescription};
use super::pseudonymise::Pseudonymiser;

/// A recording to try.
pub(super) struct Input {
    pub(super) path: PathBuf,
    /// `None` when the roster does not name it.
    pub(super) prescribed: Option<Prescribed>,
}

/// What a run writes and what it reads besides recordings.
pub(super) struct Own<'a> {
    pub(super) claims: &'a Claims,
    pub(super) others: &'a [PathBuf],
}

/// Bytes of a line of a list, our choice: longer than any path that a system opens.
const MOST_LINE_BYTES: u64 = 64 << 10;
/// Lines of a list, our choice: as many as files of a folder.
const MOST_LINES: usize = 10_000_000;

/// Endings of what we write: such a file in a folder of recordings is an output of an earlier run, and no recording.
const RESULTS: [&str; 4] = ["csv", "ndjson", "parquet", "json"];

impl Own<'_> {
    /// Whether what was found in a folder is none of its recordings but a file of ours. Fails when it is a recording that
    /// an output would overwrite.
    fn has(&self, found: &Path, whole: &Path, others: &[PathBuf]) -> Result<bool, Failure> {
        if others.iter().any(|other| whole.starts_with(other)) {
            return Ok(true);
        }
        let Some(output) = self.claims.same_as(found) else { return Ok(false) };
        let is_result = |path: &Path| {
            let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
            RESULTS.contains(&ending.as_str())
        };
        if is_result(output) && is_result(found) {
            Ok(true)
        } else {
            self.claims.refuse_input(found).map(|()| true)
        }
    }
}

/// The recordings of a run, one after another. A list is read line by line, so that it may be longer than memory.
pub(super) struct Inputs<'a> {
    paths: Box<dyn Iterator<Item = io::Result<PathBuf>> + 'a>,
    list: Option<&'a Path>,
    claims: &'a Claims,
    prescription: &'a Prescription,
    seen: HashSet<[u8; 16]>,
    /// How many paths there are (each counted as often as it is named); `None` for a list
    /// that comes through a pipe.
    pub(super) total: Option<u64>,
}

impl<'a> Inputs<'a> {
    /// With an `order`, recordings come in that of their pseudonyms, for which the whole list is held in memory.
    ///
    /// Looks through what the user named, and refuses a recording that is an output of the run. The lines of a list that
    /// comes through a pipe are not known yet.
    pub(super) fn new(
        named: &[PathBuf],
        list: Option<&'a Path>,
        own: &Own<'a>,
        prescription: &'a Prescription,
        order: Option<&Pseudonymiser>,
        notices: &mut Vec<Notice>,
    ) -> Result<Self, Failure> {
        let others: Vec<PathBuf> = own.others.iter().filter_map(|path| absolute(path)).collect();
        let mut paths = Vec::new();
        for path in named {
            match fs::metadata(path) {
                Ok(known) if known.is_dir() => {
                    let folder = fs::canonicalize(path).map_err(|error| Failure::input(path, &error))?;
                    for found in files::files_below(path, files::Links::All, notices)? {
                        let whole = folder.join(found.strip_prefix(path).unwrap_or(&found));
                        if !own.has(&found, &whole, &others)? {
                            paths.push(found);
                        }
                    }
                }
                Ok(_) => {
                    own.claims.refuse_input(path)?;
                    paths.push(path.clone());
                }
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
                let mut count = 0;
                for path in lines(File::open(list).map_err(failed)?) {
                    own.claims.refuse_input(&path.map_err(failed)?)?;
                    count += 1;
                }
                total.map(|total| total + count)
            } else {
                None
            };
            all = Box::new(all.chain(lines(opened)));
        }
        if let Some(pseudonymiser) = order {
            // The order of names would tell who is who.
            let failed = |error| Failure::input(list.unwrap_or(Path::new("-")), &error);
            let listed: Vec<PathBuf> = all.collect::<io::Result<_>>().map_err(failed)?;
            if total.is_none() {
                listed.iter().try_for_each(|path| own.claims.refuse_input(path))?;
            }
            let mut listed: Vec<(String, PathBuf)> =
                listed.into_iter().map(|path| (pseudonymiser.path(&path.to_string_lossy()), path)).collect();
            listed.sort();
            total = Some(listed.len() as u64);
            all = Box::new(listed.into_iter().map(|(_, path)| Ok(path)));
        }
        Ok(Self { paths: all, list, claims: own.claims, prescription, seen: HashSet::new(), total })
    }

    /// The next `count` recordings, fewer at the end.
    pub(super) fn chunk(&mut self, count: usize) -> Result<Vec<Input>, Failure> {
        let failed = |error| Failure::input(self.list.unwrap_or(Path::new("-")), &error);
        let mut chunk = Vec::new();
        while chunk.len() < count {
            let Some(path) = self.paths.next().transpose().map_err(failed)? else { break };
            // The lines of a list that comes through a pipe are looked at when they come.
            if self.total.is_none() {
                self.claims.refuse_input(&path)?;
            }
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

/// The paths of a list: one a line, empty lines left out. A line that can be no path ends it, so that what never ends, as a
/// device does, is not read for ever.
fn lines<'a>(source: impl io::Read + 'a) -> impl Iterator<Item = io::Result<PathBuf>> + 'a {
    let mut source = BufReader::new(source);
    let mut number = 0;
    iter::from_fn(move || {
        loop {
            number += 1;
            let mut line = Vec::new();
            match source.by_ref().take(MOST_LINE_BYTES + 1).read_until(b'\n', &mut line) {
                Ok(0) => return None,
                Ok(_) => {}
                Err(error) => return Some(Err(error)),
            }
            let refused = |what: &str| {
                let text = format!("line {number} {what}: a list has one path a line");
                Some(Err(io::Error::new(io::ErrorKind::InvalidData, text)))
            };
            if line.len() as u64 > MOST_LINE_BYTES || line.contains(&0) {
                return refused("can be no path");
            }
            if number > MOST_LINES {
                return refused("is one too many");
            }
            while line.last().is_some_and(|byte| b"\r\n".contains(byte)) {
                line.pop();
            }
            if !line.is_empty() {
                return Some(path_of(line));
            }
        }
    })
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
    fn what_is_no_list_is_not_read_to_its_end() {
        let said = |source: &mut dyn io::Read| {
            let mut lines = lines(source).skip_while(Result::is_ok);
            lines.next().unwrap().unwrap_err().to_string()
        };
        assert!(said(&mut io::repeat(0)).contains("line 1 can be no path"));
        assert!(said(&mut io::repeat(b'a')).contains("line 1 can be no path"));
        assert!(said(&mut io::repeat(b'\n')).contains("line 10000001 is one too many"));
        assert!(said(&mut &b"a.fit\nb\0\n"[..]).contains("line 2 can be no path"));
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
        let ours = [root.join("out.csv.parts"), plan];
        let named = [root.join("b/10.fit"), root.to_owned()];
        let claims = Claims::of(&[&root.join("out.csv")]).unwrap();
        let own = Own { claims: &claims, others: &ours };
        let mut inputs = Inputs::new(&named, None, &own, &prescription, None, &mut Vec::new()).unwrap();
        let chunk = inputs.chunk(10).unwrap();
        let names: Vec<_> =
            chunk.iter().map(|input| input.path.strip_prefix(root).unwrap().to_str().unwrap()).collect();
        assert_eq!(names, ["b/10.fit", "a.fit", "b/deep/2.fit"]);
        assert!(inputs.chunk(10).unwrap().is_empty());
    }
}
