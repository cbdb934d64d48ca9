//! The folder of the made-up case: written into only while all that lies in it is what `demo` wrote.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::Path;

use jogaudit_case::{Failure, named, sha256};
use jogaudit_files::{at_most, is_unfinished, sha256_of_file, write_whole};
use jogaudit_report::escaped;

/// Lists what `demo` wrote: a line of text, then a line a file, its SHA-256 and its name.
const MARK: &str = ".jogaudit-demo";
const MARK_TEXT: &str = "Written by `jogaudit demo`. Made up: no real person, no real place.\n";
/// A longer list is none of ours.
const MARK_BYTES: u64 = 1 << 20;
/// Names of what is in the way that are shown.
const MOST_SHOWN: usize = 5;

/// Bytes by the name in the folder, parts set apart by `/`.
pub(super) type Files = BTreeMap<String, Vec<u8>>;

/// Writes the files into a folder that is new or empty, or that holds nothing but what was written here before. Otherwise
/// nothing is changed, and the failure names what is in the way.
pub(super) fn write(dir: &Path, files: &Files) -> Result<(), Failure> {
    let hashes: BTreeMap<&str, String> =
        files.iter().map(|(name, bytes)| (name.as_str(), sha256(bytes))).collect();
    let mut known = Known { written: written(dir), hashes: &hashes, in_the_way: Vec::new() };
    known.look(dir, "")?;
    let in_the_way = known.in_the_way;
    if !in_the_way.is_empty() {
        return Err(refusal(dir, &in_the_way));
    }
    make_folder(dir)?;
    let list: Vec<String> = hashes.iter().map(|(name, hash)| format!("{hash}  {name}\n")).collect();
    write_unless_there(&dir.join(MARK), format!("{MARK_TEXT}{}", list.concat()).as_bytes())?;
    for (name, bytes) in files {
        let path = dir.join(name);
        make_folder(path.parent().unwrap_or(dir))?;
        write_unless_there(&path, bytes)?;
    }
    Ok(())
}

fn make_folder(dir: &Path) -> Result<(), Failure> {
    fs::create_dir_all(dir).map_err(|error| {
        Failure::refused(format!("could not make the folder {}", named(dir))).caused_by(&error)
    })
}

fn write_unless_there(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let is_there = fs::read(path).is_ok_and(|there| there == bytes);
    if is_there { Ok(()) } else { write_whole(path, bytes) }
}

/// The names and hashes that the folder's mark lists; `None` without a mark that is ours.
fn written(dir: &Path) -> Option<BTreeMap<String, String>> {
    let text = String::from_utf8(at_most(&dir.join(MARK), MARK_BYTES).ok()?).ok()?;
    let lines = text.strip_prefix(MARK_TEXT)?.lines();
    lines.map(|line| line.split_once("  ").map(|(hash, name)| (name.to_owned(), hash.to_owned()))).collect()
}

/// What may lie in the folder, and what lies there besides.
struct Known<'a> {
    written: Option<BTreeMap<String, String>>,
    hashes: &'a BTreeMap<&'a str, String>,
    in_the_way: Vec<String>,
}

impl Known<'_> {
    /// Looks through the folder `inside`, and from there through those that hold files of ours.
    fn look(&mut self, dir: &Path, inside: &str) -> Result<(), Failure> {
        let folder = dir.join(inside);
        let could_not = |error: &io::Error| {
            Failure::refused(format!("could not look into {}", named(&folder))).caused_by(error)
        };
        let entries = match fs::read_dir(&folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            entries => entries.map_err(|error| could_not(&error))?,
        };
        let mut found = entries.collect::<io::Result<Vec<_>>>().map_err(|error| could_not(&error))?;
        found.sort_by_key(fs::DirEntry::file_name);
        for entry in found {
            let file = entry.file_name().to_string_lossy().into_owned();
            let name = if inside.is_empty() { file.clone() } else { format!("{inside}/{file}") };
            let kind = entry.file_type().map_err(|error| could_not(&error))?;
            if kind.is_dir() && self.holds_ours(&name) {
                self.look(dir, &name)?;
            } else if kind.is_file() && (self.is_as_written(&name, &entry.path()) || is_unfinished(&file)) {
                // Ours: whole, or left by a `demo` that was killed.
            } else {
                let what = if kind.is_file() && self.is_ours(&name) {
                    "changed since `demo` wrote it"
                } else {
                    "not written by `demo`"
                };
                self.in_the_way.push(format!("{}: {what}", escaped(&name)));
            }
        }
        Ok(())
    }

    fn names(&self) -> impl Iterator<Item = &str> {
        let written = self.written.iter().flatten().map(|(name, _)| name.as_str());
        self.hashes.keys().copied().chain(written)
    }

    fn holds_ours(&self, folder: &str) -> bool {
        self.names().any(|name| name.strip_prefix(folder).is_some_and(|rest| rest.starts_with('/')))
    }

    /// Whether it is the mark or bears the name of a file of ours.
    fn is_ours(&self, name: &str) -> bool {
        name == MARK || (self.written.is_some() && self.names().any(|known| known == name))
    }

    fn is_as_written(&self, name: &str, path: &Path) -> bool {
        match (name, &self.written) {
            (MARK, written) => written.is_some(),
            (_, None) => false,
            (_, Some(written)) => {
                let hashes = [written.get(name), self.hashes.get(name)];
                let is = sha256_of_file(path).ok();
                is.is_some() && hashes.into_iter().any(|hash| hash.is_some() && hash == is.as_ref())
            }
        }
    }
}

fn refusal(dir: &Path, in_the_way: &[String]) -> Failure {
    let mut lines: Vec<String> = in_the_way.iter().take(MOST_SHOWN).cloned().collect();
    if let Some(more) = in_the_way.len().checked_sub(MOST_SHOWN).filter(|more| *more > 0) {
        lines.push(format!("… and {more} more"));
    }
    let what = "is not empty, and not all in it is what `demo` wrote";
    Failure::refused(format!("{} {what}: nothing was changed", named(dir)))
        .lines(&lines)
        .hint("name a folder that is new or empty")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(diary: &str) -> Files {
        [("diary.csv", diary), ("recordings/a.fit", "a"), ("recordings/may/b.fit", "b")]
            .map(|(name, bytes)| (name.to_owned(), bytes.as_bytes().to_vec()))
            .into()
    }

    #[test]
    fn what_was_written_here_is_written_again_and_all_else_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("case");
        let refused = |names: &[&str]| {
            let refusal = write(&dir, &files("old")).unwrap_err();
            assert_eq!(refusal.exit_code(), 2);
            assert_eq!(refusal.detail().lines().map(str::trim).collect::<Vec<_>>(), names);
        };
        write(&dir, &files("old")).unwrap();
        write(&dir, &files("old")).unwrap();
        // What is missing comes back; what a killed `demo` leaves is in nobody's way.
        fs::remove_file(dir.join("recordings/may/b.fit")).unwrap();
        fs::write(dir.join("recordings/.a.fit.AbCdEfGh.jogaudit-part"), "").unwrap();
        write(&dir, &files("old")).unwrap();
        assert_eq!(fs::read(dir.join("recordings/may/b.fit")).unwrap(), b"b");

        fs::write(dir.join("diary.csv"), "old, and a line").unwrap();
        fs::write(dir.join("recordings/may/mine.fit"), "mine").unwrap();
        fs::create_dir(dir.join("empty")).unwrap();
        let changed = "diary.csv: changed since `demo` wrote it";
        refused(&[changed, "empty: not written by `demo`", "recordings/may/mine.fit: not written by `demo`"]);
        assert_eq!(fs::read(dir.join("diary.csv")).unwrap(), b"old, and a line");
        fs::remove_dir(dir.join("empty")).unwrap();
        fs::remove_file(dir.join("recordings/may/mine.fit")).unwrap();
        refused(&[changed]);
        fs::write(dir.join("diary.csv"), "old").unwrap();
        // A later version that writes something else knows what this one wrote.
        write(&dir, &files("new")).unwrap();
        assert_eq!(fs::read(dir.join("diary.csv")).unwrap(), b"new");
        fs::write(dir.join("diary.csv"), "newer").unwrap();
        refused(&[changed]);
    }

    #[test]
    fn without_a_mark_nothing_is_ours_and_a_mark_that_was_written_on_is_changed() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path();
        fs::write(dir.join("diary.csv"), "old").unwrap();
        let refusal = write(dir, &files("old")).unwrap_err().to_string();
        assert!(refusal.contains("is not empty") && refusal.contains("diary.csv: not written"), "{refusal}");
        assert!(!dir.join("recordings").exists());
        fs::write(dir.join(MARK), "mine").unwrap();
        let refusal = write(dir, &files("old")).unwrap_err();
        assert!(refusal.detail().contains(".jogaudit-demo: changed since"), "{refusal}");
        // The mark of earlier versions lists nothing: only what would be written again is let pass.
        fs::write(dir.join(MARK), MARK_TEXT).unwrap();
        write(dir, &files("old")).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_nothing_that_was_written_here() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("case");
        write(&dir, &files("old")).unwrap();
        fs::rename(dir.join("recordings"), folder.path().join("elsewhere")).unwrap();
        std::os::unix::fs::symlink(folder.path().join("elsewhere"), dir.join("recordings")).unwrap();
        assert!(write(&dir, &files("old")).unwrap_err().detail().contains("recordings: not written"));
    }
}
