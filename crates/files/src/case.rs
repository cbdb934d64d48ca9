//! A case folder: prescription, diary, recordings → review.

use std::error::Error;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::civil::Date;
use rayon::prelude::*;

use jogaudit_core::clean::Series;
use jogaudit_core::gait::RunnerEvidence;
use jogaudit_core::on_foot::OffFoot;
use jogaudit_core::pipeline::{Config, due_at, review_case, segment_recording};
use jogaudit_core::prescription::{DueSession, Plan};
use jogaudit_core::review::{
    Diary, Given, LeftOut, LeftOutCode, OtherRecording, Recorded, Seen, Written, Zone, agreed,
};
use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::read::read;
use jogaudit_report::{ReviewParts, ReviewView};

use super::failure::{Failure, named};
use super::hash::sha256;
use super::input;
use super::inside::{case_bytes, inside, plain_bytes, refuse_unless_plain};
use super::tree::{Links, files_below};

/// Larger diaries are refused: a line a day for a lifetime stays below.
const MAX_TABLE_BYTES: u64 = 8 << 20;

/// What a case folder holds, its recordings read and segmented.
pub struct Case {
    /// The prescription.
    pub plan: Plan,
    /// Activities on foot.
    pub recorded: Vec<Recorded>,
    /// What could not be read or is not on foot.
    unread: Vec<LeftOut>,
    /// diary.csv.
    diary: Table,
    /// stages.csv.
    stages: Table,
    /// seen.csv.
    seen: Table,
    /// What was noticed while reading.
    notices: Vec<Notice>,
}

/// A table of a case.
enum Table {
    Absent,
    /// It is there, and nothing is known of what stands in it.
    Unreadable,
    Text(String),
}

/// Reads a case folder.
pub fn read_case(folder: &Path, config: &Config) -> Result<Case, Failure> {
    read_case_with(folder, &|path, name| {
        let bytes = plain_bytes(path, input::MAX_RECORDING_BYTES).map_err(|error| error.to_string())?;
        activities(&bytes, name, config)
    })
}

/// Reads a case folder, its recordings by `read_file`, which gets a file's path and its name in the case: a plain file that
/// lies inside. A table that cannot be read is a notice, and the ruling is to rest until it is mended.
pub fn read_case_with(folder: &Path, read_file: &ReadFile<'_>) -> Result<Case, Failure> {
    let mut notices = Vec::new();
    let plan = plan(folder, &mut notices)?;
    let (recorded, unread) = recordings(folder, read_file, &mut notices);
    let diary = table_or_notice(folder, "diary.csv", &mut notices);
    let stages = table_or_notice(folder, "stages.csv", &mut notices);
    let seen = table_or_notice(folder, "seen.csv", &mut notices);
    Ok(Case { plan, recorded, unread, diary, stages, seen, notices })
}

impl Case {
    /// The date of an instant where the case's days are counted.
    pub fn today(&self, now: Timestamp) -> Date {
        let latest = self.recorded.iter().max_by_key(|r| r.start());
        Zone::of(&self.plan).date(now, latest.and_then(|r| r.series.utc_offset_s()))
    }

    /// What the recordings up to a day tell of the runner.
    pub fn runner_evidence(&self, as_of: Date) -> Vec<RunnerEvidence> {
        let zone = Zone::of(&self.plan);
        let until = self.recorded.iter().filter(|r| zone.date(r.start(), r.series.utc_offset_s()) <= as_of);
        until.filter_map(|r| RunnerEvidence::of(&r.series, &r.segmentation)).collect()
    }

    /// Reviews the case as it stood on a day.
    pub fn review(self, as_of: Date, config: &Config) -> ReviewView {
        let Self { plan, recorded, unread, diary, stages, seen, mut notices } = self;
        let diary = match diary {
            Table::Text(text) => Diary::parse(&text, as_of).take(&mut notices),
            Table::Unreadable => Diary::unreadable(),
            Table::Absent => {
                let text = "There is no diary.csv: nothing is known of pain and effort, so the ruling cannot be to advance.";
                notices.push(Notice::new(NoticeCode::NoDiary, text));
                Diary::default()
            }
        };
        let (given, seen) = given_and_seen((stages, seen), &plan, as_of, &mut notices);
        let written = Written { diary, given, seen };
        let (other, unread) = agreed(&plan, unread, as_of);
        let mut reviewed = review_case(&plan, &written, recorded, other, as_of, config);
        notices.append(&mut reviewed.notices);
        reviewed.sessions.left_out.extend(unread);
        reviewed.sessions.left_out.sort_by(|a, b| a.name.cmp(&b.name));
        ReviewView::new(&ReviewParts {
            plan: &plan,
            written: &written,
            sessions: &reviewed.sessions,
            other: &reviewed.other,
            review: &reviewed.review,
            config: &config.review,
            notices: &notices,
        })
    }
}

/// What is said of stages and visits.
fn given_and_seen(
    (stages, seen): (Table, Table),
    plan: &Plan,
    as_of: Date,
    notices: &mut Vec<Notice>,
) -> (Given, Seen) {
    let given = match stages {
        Table::Text(text) => Given::parse(&text, plan).take(notices),
        Table::Unreadable => Given::unreadable(),
        Table::Absent => Given::default(),
    };
    let seen = match seen {
        Table::Text(text) => Seen::parse(&text, plan, as_of).take(notices),
        Table::Unreadable => Seen::unreadable(),
        Table::Absent => Seen::default(),
    };
    (given, seen)
}

/// The recordings of a case folder that are on foot. It needs neither plan nor diary; what cannot be read is left out.
pub fn case_recordings(folder: &Path, config: &Config) -> Result<Vec<Recorded>, Failure> {
    let files = recording_files(folder, &mut Vec::new())?;
    if files.is_empty() {
        return Err(Failure::refused(format!("{} has no recordings/", named(folder)))
            .hint("DIR is a case folder: the runner's other recordings lie in its recordings/"));
    }
    let on_foot = |path: &Path, name: &str| -> Vec<Recorded> {
        let bytes = case_bytes(folder, path, input::MAX_RECORDING_BYTES).ok();
        bytes.and_then(|bytes| activities(&bytes, name, config).ok()).unwrap_or_default().0
    };
    Ok(files.par_iter().flat_map_iter(|(name, path)| on_foot(path, name)).collect())
}

/// What a stage of a plan asked for when a recording began, where a count rises from session to session, by the recordings of a case
/// folder and what its tables say of stages and visits.
pub fn due_in_case(
    folder: &Path,
    plan: &Plan,
    stage: &str,
    recorded: Vec<Recorded>,
    series: &Series,
    config: &Config,
    notices: &mut Vec<Notice>,
) -> Option<DueSession> {
    let index = plan.stages.iter().position(|known| known.name == stage)?;
    plan.stages.get(index)?.session.rise()?;
    let tables = ["stages.csv", "seen.csv"].map(|name| table_or_notice(folder, name, notices));
    let day = Zone::of(plan).date(series.start(), series.utc_offset_s());
    let (given, seen) = given_and_seen(tables.into(), plan, day, notices);
    let written = Written { given, seen, ..Written::default() };
    due_at(plan, index, &written, recorded, series, config)
}

/// Reads the case's prescription, and says when other files look like one.
fn plan(case: &Path, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    let entries = fs::read_dir(case).map_err(|error| {
        let failure = Failure::refused(format!("could not look into {}", case.display())).caused_by(&error);
        failure.hint("CASE is a folder with plan.toml, diary.csv and recordings/")
    })?;
    let mut others: Vec<String> = entries
        .filter_map(|entry| entry.ok().map(|entry| entry.file_name().to_string_lossy().into_owned()))
        .filter(|name| name.to_lowercase().ends_with(".toml") && name != "plan.toml")
        .collect();
    others.sort();
    let path = case.join("plan.toml");
    if fs::symlink_metadata(&path).is_err_and(|error| error.kind() == io::ErrorKind::NotFound) {
        let failure = Failure::refused(format!("{} has no plan.toml", named(case)));
        return Err(match others.as_slice() {
            [] => failure.hint("write the prescription to plan.toml in that folder"),
            [only] => failure.hint(format!("rename {only} to plan.toml if it is the prescription")),
            several => {
                failure.hint(format!("rename the one that holds to plan.toml: {}", several.join(", ")))
            }
        });
    }
    if !others.is_empty() {
        let text = format!(
            "The case holds other plans besides plan.toml, which are not used: {}.",
            others.join(", ")
        );
        notices.push(Notice::new(NoticeCode::SeveralPlans, text));
    }
    input::case_plan(case, notices)
}

/// Reads a table; when that fails, says so. A file with nearly its name, such as a workbook, is a table that cannot be read.
fn table_or_notice(case: &Path, name: &str, notices: &mut Vec<Notice>) -> Table {
    let text = match table(case, name, notices) {
        Ok(Some(text)) => return Table::Text(text),
        Ok(None) => match misnamed(case, name) {
            None => return Table::Absent,
            Some(other) => format!(
                "There is no {name}, but there is {other}, which is not read. Save what holds as {name}, or take it away."
            ),
        },
        Err(failure) => {
            let why = failure.causes_in_a_clause();
            format!(
                "The file {name} could not be used: {why}. Mend it first: nothing is known of what stands in it."
            )
        }
    };
    notices.push(Notice::new(NoticeCode::TableNotReadable, text));
    Table::Unreadable
}

/// A file of the case that is named like a table but for its ending and capitals: `diary.xlsx`, `Diary.csv.txt`.
fn misnamed(case: &Path, name: &str) -> Option<String> {
    let stem = name.split('.').next().unwrap_or(name);
    let is_file = |entry: &fs::DirEntry| entry.file_type().is_ok_and(|kind| kind.is_file());
    let entries = fs::read_dir(case).ok()?.filter_map(Result::ok).filter(is_file);
    let mut names: Vec<String> =
        entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names.into_iter().find(|other| other.to_lowercase().split('.').next() == Some(stem))
}

/// Reads a table of the case; `None` when there is none.
pub fn table(case: &Path, name: &str, notices: &mut Vec<Notice>) -> Result<Option<String>, Failure> {
    let path = case.join(name);
    if fs::symlink_metadata(&path).is_err_and(|error| error.kind() == io::ErrorKind::NotFound) {
        return Ok(None);
    }
    let bytes = case_bytes(case, &path, MAX_TABLE_BYTES)?;
    Ok(Some(String::from_utf8(bytes).unwrap_or_else(|error| {
        let text = format!("{name} is not UTF-8 text: letters that can't be told are shown as \u{fffd}.");
        notices.push(Notice::new(NoticeCode::TableNotUtf8, text));
        String::from_utf8_lossy(error.as_bytes()).into_owned()
    })))
}

/// Lists the files of a case's `recordings/`, at any depth, in order of name: each name in the case and its path.
pub fn recording_files(case: &Path, notices: &mut Vec<Notice>) -> Result<Vec<(String, PathBuf)>, Failure> {
    let folder = case.join("recordings");
    let paths = match fs::symlink_metadata(&folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
        _ => match inside(case, &folder) {
            Ok(whole) if !whole.is_dir() => {
                return Err(Failure::refused(format!("{} is no folder", named(&folder))));
            }
            Ok(_) => files_below(&folder, Links::Inside(case), notices)?,
            Err(error) => return Err(Failure::input(&folder, &error)),
        },
    };
    Ok(paths.into_iter().map(|path| (name_in(&folder, &path), path)).collect())
}

/// Reads every recording of a case in order of name. What can't be read or is not on foot is given besides.
fn recordings(
    case: &Path,
    read_file: &ReadFile<'_>,
    notices: &mut Vec<Notice>,
) -> (Vec<Recorded>, Vec<LeftOut>) {
    let files = match recording_files(case, notices) {
        Ok(files) => files,
        Err(failure) => {
            let text = format!("Not readable: {}.", failure.causes_in_a_clause());
            let code = LeftOutCode::Unreadable;
            return (Vec::new(), vec![LeftOut::new("recordings/".to_owned(), code, text)]);
        }
    };
    if files.is_empty() {
        notices.push(Notice::new(
            NoticeCode::NoRecordings,
            "There are no files in recordings/: there is nothing to review.",
        ));
    }
    let (mut recorded, mut left_out) = (Vec::new(), Vec::new());
    for ((name, _), read) in files.iter().zip(read_all(case, &files, read_file)) {
        match read {
            Ok((mut on_foot, mut others)) => {
                recorded.append(&mut on_foot);
                left_out.append(&mut others);
            }
            Err(why) => {
                let text = format!("Not readable: {why}.");
                left_out.push(LeftOut::new(name.clone(), LeftOutCode::Unreadable, text));
            }
        }
    }
    (recorded, left_out)
}

/// The activities of a file on foot, and the others; or why it could not be read.
pub type Activities = Result<(Vec<Recorded>, Vec<LeftOut>), String>;

/// Makes activities of the file with a path and a name in the case.
pub(crate) type ReadFile<'r> = dyn Fn(&Path, &str) -> Activities + Sync + 'r;

/// Reads the files on all cores. The answers stand in the order of the files.
fn read_all(case: &Path, files: &[(String, PathBuf)], read_file: &ReadFile<'_>) -> Vec<Activities> {
    let read = |(name, path): &(String, PathBuf)| {
        let found = inside(case, path).and_then(|path| refuse_unless_plain(&path));
        found.map_err(|error| error.to_string()).and_then(|()| read_file(path, name))
    };
    files.par_iter().map(read).collect()
}

/// Path inside the folder, with `/` on every system.
fn name_in(folder: &Path, path: &Path) -> String {
    let inside = path.strip_prefix(folder).unwrap_or(path);
    let parts: Vec<_> = inside.components().map(|part| part.as_os_str().to_string_lossy()).collect();
    parts.join("/")
}

/// Reads the bytes of one file: its activities on foot with their bouts, and the others with the reason why not.
pub fn activities(bytes: &[u8], name: &str, config: &Config) -> Activities {
    let read = read(bytes, &config.read).map_err(|error| chain(&error))?;
    let several = read.value.len() > 1;
    let sha256 = sha256(bytes);
    let (mut on_foot, mut others) = (Vec::new(), Vec::new());
    for (index, recording) in read.value.iter().enumerate() {
        let name = if several { format!("{name}#{}", index + 1) } else { name.to_owned() };
        if let Some(off_foot) = OffFoot::of(recording, &config.clean) {
            let text = off_foot.sentence();
            let file = LeftOut::new(name, LeftOutCode::NotOnFoot, text);
            others.push(LeftOut { other: OtherRecording::of(recording), ..file });
            continue;
        }
        let mut segmented = segment_recording(recording, config);
        let mut notices = read.notices.clone();
        notices.append(&mut segmented.notices);
        on_foot.push(Recorded {
            name,
            sha256: sha256.clone(),
            channels: recording.facts().channels.len(),
            series: segmented.series,
            segmentation: segmented.segmentation,
            notices,
        });
    }
    Ok((on_foot, others))
}

/// An error and its sources in one clause.
fn chain(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text = format!("{text}: {cause}");
        source = cause.source();
    }
    text
}

#[cfg(test)]
mod tests {
    use super::super::hash::tests::HASHED;
    use super::*;

    #[test]
    fn a_case_without_a_plan_is_called_by_its_own_name_or_the_case() {
        let folder = tempfile::tempdir().unwrap();
        let whole = folder.path().display().to_string();
        let failure = || read_case(folder.path(), &Config::default()).err().unwrap();
        assert_eq!(failure().in_a_clause(), format!("`{whole}` has no plan.toml"));
        assert_eq!(failure().within(folder.path()).in_a_clause(), "the case has no plan.toml");
    }

    #[test]
    fn a_file_is_hashed_once_however_many_activities_it_has() {
        let track = |n: u32| {
            let point =
                |s: u32| format!("<trkpt lat='0' lon='0'><time>2026-03-{n:02}T07:10:{s:02}Z</time></trkpt>");
            format!("<trk><type>running</type><trkseg>{}{}</trkseg></trk>", point(0), point(9))
        };
        let tracks: String = (1..=20).map(track).collect();
        let file = format!(
            "<gpx xmlns='http://www.topografix.com/GPX/1/1' version='1.1' creator='x'>{tracks}</gpx>"
        );
        let before = HASHED.get();
        let (on_foot, others) = activities(file.as_bytes(), "a.gpx", &Config::default()).unwrap();
        assert_eq!((on_foot.len(), others.len()), (20, 0));
        assert!(on_foot.iter().all(|recorded| recorded.sha256 == on_foot[0].sha256));
        assert_eq!(HASHED.get() - before, 1);
    }
}
