//! The files of a folder, at any depth.

use std::io;
use std::path::{Path, PathBuf};

use jogaudit_recording::notice::{Notice, NoticeCode};
use walkdir::WalkDir;

use super::failure::Failure;

/// Folders in folders deeper than this are not looked into, our choice: no tree of recordings is that deep.
const MOST_DEPTH: usize = 32;

/// Lists the files of a folder and of those in it, in order of name. Hidden ones are left out.
pub fn files_below(folder: &Path, notices: &mut Vec<Notice>) -> Result<Vec<PathBuf>, Failure> {
    let mut paths = Vec::new();
    let walk = WalkDir::new(folder).follow_links(true).max_depth(MOST_DEPTH).sort_by_file_name();
    for entry in walk.into_iter().filter_entry(|entry| entry.depth() == 0 || !is_hidden(entry.path())) {
        match entry {
            Ok(entry) if !entry.file_type().is_dir() => paths.push(entry.into_path()),
            Ok(entry) if entry.depth() == MOST_DEPTH => {
                let text = format!("{} lies too deep: it is not looked into.", entry.path().display());
                notices.push(Notice::new(NoticeCode::FolderTooDeep, text));
            }
            Ok(_) => {}
            Err(error) => paths.extend(listed_all_the_same(folder, error)?),
        }
    }
    paths.sort();
    Ok(paths)
}

/// What cannot be looked at, such as a link that leads nowhere, is tried like a file, so that it is listed with its reason.
/// A folder that cannot be read is a failure. A link back to a folder that is being walked adds nothing.
fn listed_all_the_same(folder: &Path, error: walkdir::Error) -> Result<Option<PathBuf>, Failure> {
    if error.loop_ancestor().is_some() {
        return Ok(None);
    }
    let path = error.path().unwrap_or(folder).to_owned();
    if error.depth() == 0 || path.is_dir() {
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
    use std::fs;

    use super::*;

    fn below(folder: &Path) -> (Vec<String>, Vec<String>) {
        let mut notices = Vec::new();
        let paths = files_below(folder, &mut notices).unwrap();
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
            [format!("{} lies too deep: it is not looked into.", deep(MOST_DEPTH).display())]
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

    #[test]
    fn a_folder_that_is_none_is_a_failure() {
        let folder = tempfile::tempdir().unwrap();
        let said = files_below(&folder.path().join("none"), &mut Vec::new()).unwrap_err().to_string();
        assert!(said.contains("could not read `") && said.contains("none`"), "{said}");
    }
}
