//! The two sides of `agree`: files, folders of files, tables; what they have in common.

use std::fs;
use std::path::{Path, PathBuf};

use jogaudit_case::{Failure, named};
use jogaudit_core::agree::input::{self, BoutSets, Side};
use jogaudit_core::agree::{ComparedBouts, ComparedScores, compare_bouts, compare_scores};
use jogaudit_recording::notice::Notice;

use super::input::bytes;

/// Larger sides are refused rather than read into memory.
const MOST_BYTES: u64 = input::MOST_CHARACTERS as u64;
/// What a file of a folder ends with.
const ENDINGS: [&str; 2] = ["json", "csv"];
/// What may stand before the ending and tells the side, not the recording.
const SIDES: [&str; 2] = [".truth", ".bouts"];

/// What two sides of one kind have in common.
pub enum Compared {
    /// Bouts of the recordings that both name.
    Bouts(Box<ComparedBouts>),
    /// Scores of the rows that both name.
    Scores(ComparedScores),
}

/// Compares two sides. `key` and `columns`: of tables, those that name a row and those of scores; empty for the usual ones.
///
/// # Errors
///
/// The sides are of two kinds, name nothing alike, or a table lacks a column.
pub fn compare_sides(
    reference: &Side,
    other: &Side,
    key: &[String],
    columns: &[String],
    notices: &mut Vec<Notice>,
) -> Result<Compared, Failure> {
    match (reference, other) {
        (Side::Bouts(reference), Side::Bouts(other)) => {
            let compared = compare_bouts(reference, other).take(notices);
            if compared.each.is_empty() {
                return Err(no_partner("recording", &compared.unmatched));
            }
            Ok(Compared::Bouts(Box::new(compared)))
        }
        (Side::Scores(reference), Side::Scores(other)) => {
            let joined = input::join(reference, other, key, columns)
                .map_err(|error| Failure::refused("the two tables cannot be compared").caused_by(&error))?;
            if joined.matched == 0 {
                return Err(no_partner("row", &joined.unmatched));
            }
            Ok(Compared::Scores(compare_scores(joined).take(notices)))
        }
        _ => Err(Failure::refused("one side has bouts and the other has scores")
            .hint("a table of bouts has the columns `gait`, `start_s` and `end_s`")),
    }
}

fn no_partner(what: &str, unmatched: &[Vec<String>; 2]) -> Failure {
    let example =
        |names: &[String]| names.first().map_or_else(|| "nothing".to_owned(), |name| format!("`{name}`"));
    Failure::refused(format!("no {what} stands on both sides")).hint(format!(
        "the reference names {} first, the other side {}; name them alike, or name the columns with --key",
        example(&unmatched[0]),
        example(&unmatched[1])
    ))
}

/// Two sides of one recording each are compared whatever they are called.
pub fn give_one_name(reference: &mut Side, other: &mut Side) {
    if let (Side::Bouts(reference), Side::Bouts(other)) = (reference, other)
        && reference.len() == 1
        && other.len() == 1
    {
        let name =
            reference.keys().chain(other.keys()).find(|name| !name.is_empty()).cloned().unwrap_or_default();
        for sets in [reference, other] {
            *sets = std::mem::take(sets).into_values().map(|set| (name.clone(), set)).collect();
        }
    }
}

/// Reads a side: a file, or a folder of files of bouts. `key`: the columns that name a row of a table; empty for the usual ones.
///
/// # Errors
///
/// A file cannot be read, or is none of a side.
pub fn side(path: &Path, key: &[String]) -> Result<Side, Failure> {
    if path.is_dir() { folder(path).map(Side::Bouts) } else { file(path, key) }
}

fn file(path: &Path, key: &[String]) -> Result<Side, Failure> {
    const HINT: &str = "a side is CSV or JSON; `batch` writes CSV and NDJSON, `bouts` CSV and JSON";
    let refused = || Failure::refused(format!("could not read {}", named(path)));
    let bytes = bytes(path, MOST_BYTES)?;
    let text = std::str::from_utf8(&bytes).map_err(|error| refused().caused_by(&error).hint(HINT))?;
    input::parse(text, key).map_err(|error| refused().caused_by(&error).hint(HINT))
}

/// The JSON and CSV files of a folder, in order of name.
pub fn side_files(path: &Path) -> Result<Vec<PathBuf>, Failure> {
    let entries = fs::read_dir(path).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    let mut files: Vec<PathBuf> = entries
        .map_err(|error| Failure::input(path, &error))?
        .into_iter()
        .map(|entry| entry.path())
        .collect();
    files.retain(|file| file.extension().is_some_and(|ending| ENDINGS.iter().any(|known| ending == *known)));
    files.sort();
    Ok(files)
}

/// The bouts of every JSON and CSV file of a folder, by the file's name without what it ends with.
fn folder(path: &Path) -> Result<BoutSets, Failure> {
    let mut sets = BoutSets::new();
    for path in side_files(path)? {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let name = SIDES.iter().find_map(|side| stem.strip_suffix(side)).unwrap_or(&stem).to_owned();
        let Side::Bouts(bouts) = file(&path, &[])? else {
            return Err(Failure::refused(format!("{} holds no bouts", named(&path)))
                .hint("a folder holds one file of bouts a recording"));
        };
        let mut bouts = bouts.into_values();
        let (Some(set), None) = (bouts.next(), bouts.next()) else {
            return Err(Failure::refused(format!("{} holds the bouts of several recordings", named(&path)))
                .hint("name the table itself instead of its folder"));
        };
        if sets.insert(name.clone(), set).is_some() {
            return Err(Failure::refused(format!("{} is a second file of bouts of `{name}`", named(&path))));
        }
    }
    if sets.is_empty() {
        return Err(Failure::refused(format!("{} holds no file of bouts", named(path)))
            .hint("files of bouts end in .json or .csv"));
    }
    Ok(sets)
}
