//! A case as a zip: to send, to open elsewhere.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Read, Write};
use std::path::Path;

use jogaudit_recording::read::lists_more_than;
use zip::result::ZipError;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::failure::{Failure, named};
use super::input::MAX_RECORDING_BYTES;
use super::memory::MemoryCase;
use super::store::{self, CaseFiles, RECORDINGS, TABLES, recording_name};

/// Largest zip that is opened, our choice: years of recordings stay below.
pub const MAX_ZIP_BYTES: u64 = 512 << 20;
/// Bytes that a zip may unfold to, in all, our choice.
const MOST_UNFOLDED: u64 = 1 << 30;
/// Files that a zip may list, our choice: one recording a day for a lifetime stays below.
const MOST_FILES: usize = 1 << 16;

/// Files by their names.
type Files = Vec<(String, Vec<u8>)>;
/// A case: its name, and its files by their names in it.
pub type NamedFiles = (String, Files);

/// Writes a case as a zip: plan, diary, stages, visits, recordings with their bytes as they are. The same case gives the same bytes.
pub fn to_zip(files: &dyn CaseFiles) -> Result<Vec<u8>, Failure> {
    let mut names: Vec<String> =
        TABLES.iter().filter(|name| files.has(name)).map(|name| (*name).to_owned()).collect();
    names.extend(files.recordings(&mut Vec::new())?.iter().map(|name| recording_name(name)));
    let contents = names.into_iter().map(|name| Ok((store::bytes(files, &name, MAX_RECORDING_BYTES)?, name)));
    zip_of(contents)
}

/// Writes files as a zip, one after another.
pub(crate) fn zip_of(
    files: impl Iterator<Item = Result<(Vec<u8>, String), Failure>>,
) -> Result<Vec<u8>, Failure> {
    let could_not =
        |error: &dyn std::error::Error| Failure::refused("could not write the zip").caused_by(error);
    // The times of the files are left out: they would say when somebody worked on the case.
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for file in files {
        let (bytes, name) = file?;
        zip.start_file(name, options).map_err(|error| could_not(&error))?;
        zip.write_all(&bytes).map_err(|error| could_not(&error))?;
    }
    Ok(zip.finish().map_err(|error| could_not(&error))?.into_inner())
}

/// Opens a case that was sent as a zip, at its top or in one folder of it. `path` only names it. It is read into memory within bounds;
/// names that lead out of the case are refused.
pub fn from_zip(bytes: &[u8], path: &Path) -> Result<MemoryCase, Failure> {
    let refused = |what: &str| Failure::refused(format!("{} {what}", named(path)));
    let damaged = |error: &ZipError| {
        refused("could not be opened as a zip")
            .caused_by(error)
            .hint("ask for the file again: it may have been cut on its way")
    };
    // The directory is read as a whole, so its size is bounded first.
    if lists_more_than(bytes, MOST_FILES) {
        return Err(refused(&format!("lists more than {MOST_FILES} files"))
            .hint("a case has a plan, a diary and recordings: send that alone"));
    }
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|error| damaged(&error))?;
    if zip.has_duplicate_names() {
        return Err(refused("holds several files of one name")
            .hint("make the zip anew: which of them counts cannot be told"));
    }
    let mut names = Vec::new();
    for index in 0..zip.len() {
        let entry = zip.by_index_data(index).map_err(|error| damaged(&error))?;
        names.push((index, name_of(entry.name_raw()), entry.encrypted()));
    }
    let top = top_of(&names, &refused)?;
    let (mut files, mut left) = (Vec::new(), MOST_UNFOLDED);
    for (index, name, is_encrypted) in names {
        let Some(inside) = name.strip_prefix(top.as_str()).filter(|inside| is_of_a_case(inside)) else {
            continue;
        };
        if !is_plain(inside) {
            let shown = named(Path::new(inside));
            return Err(refused(&format!("holds a file whose name leads out of the case: {shown}"))
                .hint("do not use this zip; ask whoever sent it for another"));
        }
        if is_encrypted {
            return Err(refused("is encrypted")
                .hint("unpack it with its password into a folder and open that folder"));
        }
        let file = zip.by_index(index).map_err(|error| damaged(&error))?;
        let mut content = Vec::new();
        let most = left.min(MAX_RECORDING_BYTES);
        let read = file.take(most + 1).read_to_end(&mut content);
        read.map_err(|error| {
            refused(&format!("could not be read at {}", named(Path::new(inside))))
                .caused_by(&error)
                .hint("ask for the file again: it may have been cut on its way")
        })?;
        if content.len() as u64 > most {
            return Err(refused(&format!(
                "unfolds to more than a case may have at {}",
                named(Path::new(inside))
            ))
            .hint("do not use this zip; ask whoever sent it for another"));
        }
        left -= content.len() as u64;
        files.push((inside.to_owned(), content));
    }
    Ok(MemoryCase::new(path, files).read_only("this case is a zip, which is opened to look at only"))
}

/// The cases in a folder whose files are given by their paths in it: the name of each and its files.
pub fn cases_in(files: Vec<(String, Vec<u8>)>) -> Result<Vec<NamedFiles>, Failure> {
    let tops: BTreeSet<String> =
        files.iter().filter_map(|(name, _)| case_folder(name)).map(str::to_owned).collect();
    if tops.is_empty() {
        return Err(Failure::refused("this folder holds no case")
            .hint("a case is a folder with plan.toml, diary.csv and recordings/"));
    }
    let mut cases: BTreeMap<&str, Files> = tops.iter().map(|top| (top.as_str(), Vec::new())).collect();
    for (name, bytes) in files {
        let Some((top, inside)) = tops
            .iter()
            .filter_map(|top| Some((top, name.strip_prefix(top.as_str())?)))
            .find(|(_, inside)| is_of_a_case(inside) && is_plain(inside))
        else {
            continue;
        };
        let inside = inside.to_owned();
        cases.entry(top.as_str()).or_default().push((inside, bytes));
    }
    let named = |top: &str| top.trim_end_matches('/').rsplit('/').next().unwrap_or_default().to_owned();
    Ok(cases.into_iter().map(|(top, files)| (named(top), files)).collect())
}

/// The name of an entry; letters that cannot be told become U+FFFD.
fn name_of(raw: &[u8]) -> String {
    String::from_utf8_lossy(raw).replace('\\', "/")
}

/// The folder of the zip in which the case lies, with a slash at its end; empty for the top.
fn top_of(names: &[(usize, String, bool)], refused: &dyn Fn(&str) -> Failure) -> Result<String, Failure> {
    let mut tops = names.iter().filter_map(|(_, name, _)| case_folder(name));
    match (tops.next(), tops.next()) {
        (Some(top), None) => Ok(top.to_owned()),
        (Some(_), Some(_)) => {
            Err(refused("holds more than one plan.toml").hint("send each case as a zip of its own"))
        }
        (None, _) => {
            if names.iter().any(|(_, name, _)| name == "diary.csv" || is_of_recordings(name)) {
                return Ok(String::new());
            }
            Err(refused("holds no case").hint("a case is plan.toml, diary.csv and recordings/; a recording in a zip is taken by `check` and `bouts`"))
        }
    }
}

/// The folder, with a slash at its end, whose plan this file is; `None` when it is no plan of a case. What is in `recordings/` is
/// none; some systems put a shadow of each file into a folder of its own.
fn case_folder(name: &str) -> Option<&str> {
    let folder =
        name.strip_suffix("plan.toml").filter(|folder| folder.is_empty() || folder.ends_with('/'))?;
    (!folder.split('/').any(|part| part == RECORDINGS || part == "__MACOSX")).then_some(folder)
}

/// Whether a name is one of a file that a case has; others are left in the zip.
fn is_of_a_case(name: &str) -> bool {
    let is_top = !name.contains('/') && !name.is_empty() && !name.starts_with('.');
    is_top || is_of_recordings(name)
}

/// Whether a name is one of a file in `recordings/` that is not hidden. A name that leads out of the case counts: it is to be refused.
fn is_of_recordings(name: &str) -> bool {
    let inside = name.strip_prefix(RECORDINGS).and_then(|rest| rest.strip_prefix('/'));
    let is_hidden = |part: &str| part.starts_with('.') && !matches!(part, "." | "..");
    inside.is_some_and(|inside| {
        !inside.is_empty() && !inside.ends_with('/') && !inside.split('/').any(is_hidden)
    })
}

/// Whether a name stays inside the case and can stand on a screen.
fn is_plain(name: &str) -> bool {
    let is_part = |part: &str| {
        !matches!(part, "" | "." | "..") && !part.contains(':') && !part.chars().any(char::is_control)
    };
    name.split('/').all(is_part)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "[[stage]]\nname = '1'\nsession = 'run 5:00'\n";

    fn zipped(files: &[(&str, &str)]) -> Vec<u8> {
        zip_of(files.iter().map(|(name, text)| Ok((text.as_bytes().to_vec(), (*name).to_owned())))).unwrap()
    }

    fn opened(files: &[(&str, &str)]) -> Result<MemoryCase, String> {
        from_zip(&zipped(files), Path::new("a.zip")).map_err(|failure| failure.to_string())
    }

    #[test]
    fn a_case_comes_back_as_it_was() {
        let files = [
            ("plan.toml", PLAN),
            ("diary.csv", "date\n"),
            ("recordings/b/1.fit", "x"),
            ("recordings/a.fit", ""),
        ];
        let case = opened(&files).unwrap();
        for (name, text) in files {
            assert_eq!(case.read(name, 99).unwrap(), text.as_bytes(), "{name}");
        }
        assert_eq!(case.recordings(&mut Vec::new()).unwrap(), ["a.fit", "b/1.fit"]);
        let again = to_zip(&case).unwrap();
        assert_eq!(again, to_zip(&from_zip(&again, Path::new("b.zip")).unwrap()).unwrap());
        assert!(case.writer().is_err_and(|failure| failure.to_string().contains("look at only")));
    }

    #[test]
    fn a_case_in_one_folder_of_a_zip_is_found_and_what_is_none_of_it_is_left() {
        let case = opened(&[
            ("anna/plan.toml", PLAN),
            ("anna/recordings/a.fit", "x"),
            ("__MACOSX/anna/plan.toml", "y"),
            ("other/x.fit", "z"),
        ])
        .unwrap();
        assert_eq!(case.top().unwrap(), ["plan.toml"]);
        assert_eq!(case.recordings(&mut Vec::new()).unwrap(), ["a.fit"]);
    }

    #[test]
    fn only_a_folder_called_recordings_holds_no_plan_of_a_case() {
        for (name, folder) in [
            ("plan.toml", Some("")),
            ("my recordings/anna/plan.toml", Some("my recordings/anna/")),
            ("anna/recordings/plan.toml", None),
            ("recordings/b/plan.toml", None),
            ("__MACOSX/anna/plan.toml", None),
            ("anna/old-plan.toml", None),
        ] {
            assert_eq!(case_folder(name), folder, "{name}");
        }
    }

    #[test]
    fn what_is_no_case_says_what_to_do() {
        for (files, said) in [
            (vec![("a/plan.toml", PLAN), ("b/plan.toml", PLAN)], "holds more than one plan.toml"),
            (vec![("photo.jpg", "x")], "holds no case"),
            (vec![("plan.txt", PLAN), ("recordings/.a.fit", "x")], "holds no case"),
            (vec![("plan.toml", PLAN), ("recordings/../../x.fit", "x")], "leads out of the case"),
            (vec![("plan.toml", PLAN), ("recordings//x.fit", "x")], "leads out of the case"),
            (vec![("plan.toml", PLAN), ("recordings\\..\\..\\x.fit", "x")], "leads out of the case"),
            (vec![("plan.toml", PLAN), ("recordings/C:/x.fit", "x")], "leads out of the case"),
        ] {
            let failure = opened(&files).map(|_| ()).unwrap_err();
            assert!(failure.contains(said) && failure.contains("hint: "), "{failure}");
        }
        // Without a plan it is a case whose plan is still to be written.
        assert!(opened(&[("recordings/a.fit", "x")]).is_ok());
        let cut = zipped(&[("plan.toml", PLAN)]);
        let failure =
            from_zip(&cut[..cut.len() - 30], Path::new("a.zip")).map(|_| ()).unwrap_err().to_string();
        assert!(failure.contains("could not be opened as a zip"), "{failure}");
    }

    #[test]
    fn a_bomb_is_refused_before_it_unfolds() {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
        zip.start_file("plan.toml", options).unwrap();
        zip.write_all(PLAN.as_bytes()).unwrap();
        zip.start_file("recordings/a.gpx", options).unwrap();
        let block = vec![0; 1 << 20];
        for _ in 0..=MAX_RECORDING_BYTES >> 20 {
            zip.write_all(&block).unwrap();
        }
        let bytes = zip.finish().unwrap().into_inner();
        assert!(bytes.len() < 1 << 20);
        let failure = from_zip(&bytes, Path::new("a.zip")).map(|_| ()).unwrap_err().to_string();
        assert!(failure.contains("unfolds to more than a case may have at `recordings/a.gpx`"), "{failure}");
    }
}
