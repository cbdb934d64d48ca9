//! The files of a folder, at any depth.

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use jogaudit_recording::notice::{Notice, NoticeCode};
use walkdir::{DirEntry, WalkDir};

use super::identity::FileId;
use jogaudit_case::{Failure, named};

/// Folders in folders deeper than this are not looked into, our choice: no tree of recordings is that deep.
const MOST_DEPTH: usize = 32;
/// More files of one folder are refused, our choice: their names alone would take gigabytes.
const MOST_FILES: usize = 10_000_000;

/// Which links are followed.
#[derive(Clone, Copy, Debug)]
pub enum Links<'a> {
    /// All: of a folder that the user named.
    All,
    /// Those that stay inside this folder; the others are listed, to be refused when they are read.
    Inside(&'a Path),
}

/// Lists the files of a folder and of those in it, in order of name. Hidden ones are left out. A folder is looked into once,
/// however many links lead to it. What cannot be looked at, such as a link that leads nowhere or a folder that may not be
/// read, is listed like a file, so that whoever reads it meets the reason.
pub fn files_below(
    folder: &Path,
    links: Links<'_>,
    notices: &mut Vec<Notice>,
) -> Result<Vec<PathBuf>, Failure> {
    let (mut paths, mut visited) = (Vec::new(), BTreeSet::new());
    let root = match links {
        Links::All => None,
        Links::Inside(root) => Some(fs::canonicalize(root).map_err(|error| Failure::input(root, &error))?),
    };
    let leads_out = |entry: &DirEntry| {
        let root = root.as_ref().filter(|_| entry.path_is_symlink());
        root.is_some_and(|root| !fs::canonicalize(entry.path()).is_ok_and(|whole| whole.starts_with(root)))
    };
    let mut not_followed = Vec::new();
    let walk = WalkDir::new(folder).follow_links(true).max_depth(MOST_DEPTH).sort_by_file_name();
    let walk = walk.into_iter().filter_entry(|entry| {
        if entry.depth() > 0 && is_hidden(entry.path()) {
            return false;
        }
        if entry.depth() > 0 && leads_out(entry) {
            not_followed.push(entry.path().to_owned());
            return false;
        }
        !entry.file_type().is_dir() || FileId::of(entry.path()).is_ok_and(|id| visited.insert(id))
    });
    for entry in walk {
        match entry {
            Ok(entry) if !entry.file_type().is_dir() => paths.push(entry.into_path()),
            Ok(entry) if entry.depth() == MOST_DEPTH => {
                let name = named(entry.path().strip_prefix(folder).unwrap_or(entry.path()));
                let text = format!("The folder {name} lies too deep: it is not looked into.");
                notices.push(Notice::new(NoticeCode::FolderTooDeep, text));
            }
            Ok(_) => {}
            Err(error) => paths.extend(listed_all_the_same(folder, error)?),
        }
        if paths.len() > MOST_FILES {
            let what = format!("{} holds more than {MOST_FILES} files", named(folder));
            return Err(Failure::refused(what)
                .hint("name folders of it one after another, or a list with --files-from"));
        }
    }
    paths.append(&mut not_followed);
    paths.sort();
    Ok(paths)
}

/// What cannot be looked at is tried like a file, so that it is listed with its reason. The folder itself must be readable. A
/// link back to a folder that is being walked adds nothing.
fn listed_all_the_same(folder: &Path, error: walkdir::Error) -> Result<Option<PathBuf>, Failure> {
    if error.loop_ancestor().is_some() {
        return Ok(None);
    }
    let path = error.path().unwrap_or(folder).to_owned();
    if error.depth() == 0 {
        let cause = error.into_io_error().unwrap_or_else(|| io::ErrorKind::Other.into());
        return Err(Failure::input(&path, &cause));
    }
    Ok(Some(path).filter(|path| !is_hidden(path)))
}

fn is_hidden(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn below(folder: &Path) -> (Vec<String>, Vec<String>) {
        let mut notices = Vec::new();
        let paths = files_below(folder, Links::All, &mut notices).unwrap();
        let name = |path: &PathBuf| path.strip_prefix(folder).unwrap().to_str().unwrap().to_owned();
        (paths.iter().map(name).collect(), notices.into_iter().map(|notice| notice.text).collect())
    }

    #[test]
    fn files_of_any_depth_come_in_order_of_name_without_hidden_ones() {
        let folder = tempfile::tempdir().unwrap();
        // A folder that is itself hidden is looked into when it is named.
        let root = folder.path().join(".hidden");
        for path in ["b/2.fit", "b/10.fit", "b/c/1.fit", "a.fit", "b.fit", ".x.fit", ".y/1.fit", "b/.z/1.fit"]
        {
            fs::create_dir_all(root.join(path).parent().unwrap()).unwrap();
            fs::write(root.join(path), "").unwrap();
        }
        fs::create_dir(root.join("empty")).unwrap();
        let (paths, notices) = below(&root);
        assert_eq!(paths, ["a.fit", "b/10.fit", "b/2.fit", "b/c/1.fit", "b.fit"]);
        assert!(notices.is_empty());
    }

    #[test]
    fn what_lies_too_deep_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let deep = |depth: usize| folder.path().join(vec!["d"; depth].join("/"));
        fs::create_dir_all(deep(40)).unwrap();
        fs::write(deep(MOST_DEPTH - 1).join("1.fit"), "").unwrap();
        fs::write(deep(MOST_DEPTH).join("2.fit"), "").unwrap();
        let (paths, notices) = below(folder.path());
        assert_eq!(paths, [format!("{}1.fit", "d/".repeat(MOST_DEPTH - 1))]);
        assert_eq!(
            notices,
            [format!("The folder `{}d` lies too deep: it is not looked into.", "d/".repeat(MOST_DEPTH - 1))]
        );
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_and_those_that_lead_nowhere_are_listed() {
        use std::os::unix::fs::symlink;

        let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let root = folder.path();
        fs::write(other.path().join("1.fit"), "").unwrap();
        symlink(other.path(), root.join("folder")).unwrap();
        symlink(other.path().join("1.fit"), root.join("file.fit")).unwrap();
        symlink(root.join("none"), root.join("gone.fit")).unwrap();
        symlink(root.join("none"), root.join(".gone.fit")).unwrap();
        // A circle is walked once.
        symlink(root, root.join("circle")).unwrap();
        let (paths, notices) = below(root);
        assert_eq!(paths, ["file.fit", "folder/1.fit", "gone.fit"]);
        assert!(notices.is_empty());
    }

    #[cfg(unix)]
    #[test]
    fn a_folder_is_looked_into_once_however_many_links_lead_to_it() {
        use std::os::unix::fs::symlink;

        // Ten folders, each with two links to the next: a thousand ways to the last one.
        let folder = tempfile::tempdir().unwrap();
        for at in 0..10 {
            let dir = folder.path().join(format!("d{at}"));
            fs::create_dir(&dir).unwrap();
            fs::write(dir.join("1.fit"), "").unwrap();
            for name in ["a", "b"] {
                symlink(folder.path().join(format!("d{}", at + 1)), dir.join(name)).unwrap();
            }
        }
        let files: Vec<String> =
            below(folder.path()).0.into_iter().filter(|path| path.contains(".fit")).collect();
        assert_eq!(files.len(), 10, "{files:?}");
    }

    #[cfg(unix)]
    #[test]
    fn links_out_of_a_case_are_listed_and_not_followed() {
        use std::os::unix::fs::symlink;

        let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let root = folder.path();
        fs::create_dir(root.join("in")).unwrap();
        fs::write(root.join("in/1.fit"), "").unwrap();
        fs::write(other.path().join("2.fit"), "").unwrap();
        symlink(other.path(), root.join("out")).unwrap();
        symlink(other.path().join("2.fit"), root.join("out.fit")).unwrap();
        symlink(root.join("in/1.fit"), root.join("same.fit")).unwrap();
        let paths = files_below(root, Links::Inside(root), &mut Vec::new()).unwrap();
        let names: Vec<_> =
            paths.iter().map(|path| path.strip_prefix(root).unwrap().to_str().unwrap()).collect();
        assert_eq!(names, ["in/1.fit", "out", "out.fit", "same.fit"]);
    }

    #[test]
    fn a_folder_that_is_none_is_a_failure() {
        let folder = tempfile::tempdir().unwrap();
        let said =
            files_below(&folder.path().join("none"), Links::All, &mut Vec::new()).unwrap_err().to_string();
        assert!(said.contains("could not read `") && said.contains("none`"), "{said}");
    }
}
