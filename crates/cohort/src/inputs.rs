//! Which recordings: files, folders of any depth, cases, lists; each path once, in a stable order.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read as _};
use std::iter;
use std::path::{Path, PathBuf};

use jogaudit_case::{Failure, RECORDINGS, TABLES};
use jogaudit_files::{self as files, Claims};
use jogaudit_recording::notice::Notice;
use jogaudit_recording::read::Envelope;

use super::file_input::{FileInput, is_named_as_none};
use super::prescribed::Prescription;
use super::pseudonymise::Pseudonymiser;

/// What is to be tried.
pub(super) enum Input {
    File(FileInput),
    Case(CaseInput),
}

impl Input {
    pub(super) fn path(&self) -> &Path {
        match self {
            Self::File(file) => &file.path,
            Self::Case(case) => &case.path,
        }
    }

    /// Files of recordings in it, as far as that is known.
    pub(super) fn files(&self) -> usize {
        match self {
            Self::File(_) => 1,
            Self::Case(case) => case.recordings.len().max(1),
        }
    }
}

/// A folder with a plan, a diary and recordings, or a zip of one.
pub(super) struct CaseInput {
    pub(super) path: PathBuf,
    pub(super) participant: String,
    /// Its recordings; none are known of a zip.
    pub(super) recordings: Vec<PathBuf>,
}

/// What was named or found, before it is known what it is held against.
enum Listed {
    Named(PathBuf),
    Found(PathBuf),
    Case(CaseInput),
}

impl Listed {
    fn path(&self) -> &Path {
        match self {
            Self::Named(path) | Self::Found(path) => path,
            Self::Case(case) => &case.path,
        }
    }

    fn files(&self) -> u64 {
        if let Self::Case(case) = self { case.recordings.len().max(1) as u64 } else { 1 }
    }
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
    listed: Box<dyn Iterator<Item = io::Result<Listed>> + 'a>,
    list: Option<&'a Path>,
    claims: &'a Claims,
    prescription: &'a Prescription,
    seen: HashSet<[u8; 32]>,
    /// How many files there are (each counted as often as it is named); `None` for a list
    /// that comes through a pipe.
    pub(super) total: Option<u64>,
    /// Files in folders that are no recordings, as far as they were come to.
    pub(super) passed_over: Vec<PathBuf>,
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
        let (found, passed_over) = found(named, own, prescription, notices)?;
        let mut total = Some(found.iter().map(Listed::files).sum::<u64>());
        let mut all: Box<dyn Iterator<Item = io::Result<Listed>> + 'a> = Box::new(found.into_iter().map(Ok));
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
            all = Box::new(all.chain(lines(opened).map(|path| path.map(Listed::Named))));
        }
        if let Some(pseudonymiser) = order {
            // The order of names would tell who is who.
            let failed = |error| Failure::input(list.unwrap_or(Path::new("-")), &error);
            let mut listed: Vec<Listed> = all.collect::<io::Result<_>>().map_err(failed)?;
            if total.is_none() {
                listed.iter().try_for_each(|one| own.claims.refuse_input(one.path()))?;
            }
            listed.sort_by_cached_key(|one| {
                (pseudonymiser.path(&one.path().to_string_lossy()), one.path().to_owned())
            });
            total = Some(listed.iter().map(Listed::files).sum());
            all = Box::new(listed.into_iter().map(Ok));
        }
        Ok(Self {
            listed: all,
            list,
            claims: own.claims,
            prescription,
            seen: HashSet::new(),
            total,
            passed_over,
        })
    }

    /// The next `count` recordings, fewer at the end; a case is not divided.
    pub(super) fn chunk(&mut self, count: usize) -> Result<Vec<Input>, Failure> {
        let failed = |error| Failure::input(self.list.unwrap_or(Path::new("-")), &error);
        let (mut chunk, mut files) = (Vec::new(), 0);
        while files < count {
            let Some(listed) = self.listed.next().transpose().map_err(failed)? else { break };
            // The lines of a list that comes through a pipe are looked at when they come.
            if self.total.is_none() {
                self.claims.refuse_input(listed.path())?;
            }
            let hash = blake3::hash(listed.path().as_os_str().as_encoded_bytes());
            if !self.seen.insert(hash.into()) {
                continue;
            }
            let is_found = matches!(listed, Listed::Found(_));
            let input = match listed {
                Listed::Case(case) => Input::Case(case),
                Listed::Named(path) | Listed::Found(path) => {
                    let prescribed = self.prescription.of(&path);
                    if is_found && prescribed.is_err() && is_named_as_none(&path) {
                        self.passed_over.push(path);
                        continue;
                    }
                    Input::File(FileInput { prescribed: prescribed.cloned(), path, is_found })
                }
            };
            files += input.files();
            chunk.push(input);
        }
        Ok(chunk)
    }
}

/// What was named, and what lies in the folders that were, with the files of them that are passed over. Without anything that
/// says what was prescribed, the folders are cases or hold them.
fn found(
    named: &[PathBuf],
    own: &Own<'_>,
    prescription: &Prescription,
    notices: &mut Vec<Notice>,
) -> Result<(Vec<Listed>, Vec<PathBuf>), Failure> {
    let others: Vec<PathBuf> = own.others.iter().filter_map(|path| absolute(path)).collect();
    let of_cases = matches!(prescription, Prescription::Cases);
    let (mut listed, mut passed_over) = (Vec::new(), Vec::new());
    for path in named {
        match fs::metadata(path) {
            Ok(known) if known.is_dir() => {
                let folder = fs::canonicalize(path).map_err(|error| Failure::input(path, &error))?;
                let mut paths = Vec::new();
                for found in files::files_below(path, files::Links::All, notices)? {
                    let whole = folder.join(found.strip_prefix(path).unwrap_or(&found));
                    if !own.has(&found, &whole, &others)? {
                        paths.push(found);
                    }
                }
                if of_cases {
                    cases(path, &folder, paths, (&mut listed, &mut passed_over));
                } else {
                    listed.extend(paths.into_iter().map(Listed::Found));
                }
            }
            Ok(_) => {
                own.claims.refuse_input(path)?;
                listed.push(if of_cases { case_in_zip(path)? } else { Listed::Named(path.clone()) });
            }
            Err(error) => return Err(Failure::input(path, &error)),
        }
    }
    if of_cases && !listed.iter().any(|one| matches!(one, Listed::Case(_))) {
        return Err(nothing_prescribed());
    }
    tell_apart(&mut listed);
    Ok((listed, passed_over))
}

/// Said where neither a plan nor a roster nor a case is there.
fn nothing_prescribed() -> Failure {
    Failure::refused("nothing says what was prescribed")
        .hint("add --plan PLAN or --roster CSV, or name a case (a folder with plan.toml and recordings/) or a folder of cases")
}

/// Puts the files of a folder to the cases that they lie in: a case is a folder with a plan that lies in no other.
fn cases(
    named: &Path,
    folder: &Path,
    paths: Vec<PathBuf>,
    (listed, passed_over): (&mut Vec<Listed>, &mut Vec<PathBuf>),
) {
    let plans = paths.iter().filter(|path| path.ends_with(TABLES[0]));
    let folders: BTreeSet<PathBuf> = plans.filter_map(|plan| plan.parent()).map(Path::to_owned).collect();
    let mut cases: BTreeMap<PathBuf, Vec<PathBuf>> = BTreeMap::new();
    let mut outside = Vec::new();
    for path in paths {
        let above: Vec<&Path> =
            path.ancestors().skip(1).take_while(|above| above.starts_with(named)).collect();
        let Some(case) = above.into_iter().rev().find(|above| folders.contains(*above)) else {
            outside.push(Listed::Found(path));
            continue;
        };
        let recordings = cases.entry(case.to_owned()).or_default();
        let inside = path.strip_prefix(case).unwrap_or(&path);
        if inside.starts_with(RECORDINGS) {
            recordings.push(path);
        } else if !TABLES.iter().any(|table| inside == Path::new(table)) {
            passed_over.push(path);
        }
    }
    for (path, recordings) in cases {
        let inside = path.strip_prefix(named).unwrap_or(&path);
        let name =
            if inside.as_os_str().is_empty() { folder.file_name().map(Path::new) } else { Some(inside) };
        let participant = name.unwrap_or(&path).to_string_lossy().into_owned();
        listed.push(Listed::Case(CaseInput { path, participant, recordings }));
    }
    listed.append(&mut outside);
}

/// A zip, which may be one of a case; any other file needs a plan.
fn case_in_zip(path: &Path) -> Result<Listed, Failure> {
    let mut first = Vec::new();
    let opened = File::open(path).and_then(|file| file.take(4).read_to_end(&mut first));
    opened.map_err(|error| Failure::input(path, &error))?;
    if Envelope::of(&first) != Envelope::Zip {
        return Err(nothing_prescribed());
    }
    let participant = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    Ok(Listed::Case(CaseInput { path: path.to_owned(), participant, recordings: Vec::new() }))
}

/// Two cases of one name are two participants: they are called by their paths.
fn tell_apart(listed: &mut [Listed]) {
    let (mut once, mut twice) = (BTreeSet::new(), BTreeSet::new());
    for one in &*listed {
        if let Listed::Case(case) = one
            && !once.insert(case.participant.clone())
        {
            twice.insert(case.participant.clone());
        }
    }
    for one in listed {
        if let Listed::Case(case) = one
            && twice.contains(&case.participant)
        {
            case.participant = case.path.to_string_lossy().into_owned();
        }
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
    use crate::plans::Plans;

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
            chunk.iter().map(|input| input.path().strip_prefix(root).unwrap().to_str().unwrap()).collect();
        assert_eq!(names, ["b/10.fit", "a.fit", "b/deep/2.fit"]);
        assert!(inputs.chunk(10).unwrap().is_empty());
    }
}
