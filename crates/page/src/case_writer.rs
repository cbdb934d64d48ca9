//! Writes to a case: recordings, diary, stages, plan. One writer at a time, each file whole or not at all.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::Path;
use std::thread::sleep;
use std::time::Duration;

use jiff::civil::Date;

use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{DayCells, day_cells, diary_with, seen_with, stages_with};
use jogaudit_files::{self as files, Failure};

use super::uploads::{WaitingFile, activity_mark};

/// Hidden file that a writer holds locked.
const LOCK: &str = ".jogaudit-lock";
/// How often and how long another writer is waited for.
const TRIES: u32 = 30;
const BETWEEN: Duration = Duration::from_millis(100);

/// The right to write to a case; it ends when this is dropped, or the process is.
struct WriteLock(#[allow(dead_code)] File);

impl WriteLock {
    fn begin(case: &Path) -> Result<Self, Failure> {
        let path = case.join(LOCK);
        let could_not = |error: io::Error| {
            Failure::refused(format!("could not write to {}", case.display()))
                .caused_by(&error)
                .hint("see that the folder may be written to, and that the disk is not full")
        };
        let file = files::open_lock(&path).map_err(could_not)?;
        for _ in 0..TRIES {
            match file.try_lock() {
                Ok(()) => return Ok(Self(file)),
                Err(TryLockError::WouldBlock) => sleep(BETWEEN),
                Err(TryLockError::Error(error)) => return Err(could_not(error)),
            }
        }
        Err(Failure::refused("another jogaudit is writing to this case")
            .hint("wait until it is done, then try again"))
    }
}

/// What became of a file that was to be kept.
pub(super) struct Kept {
    /// Its name inside `recordings/`, with the mark of its activity.
    pub(super) name: String,
    /// Whether the case had the same bytes already; then nothing was written.
    pub(super) was_there: bool,
}

/// Keeps a file in the case, with its stage if one was said: a stage's name, or `-` for no session of the plan.
pub(super) fn recording(case: &Path, file: &WaitingFile, stage: Option<&str>) -> Result<Kept, Failure> {
    let read = file.read(&Config::default());
    if let Err(why) = read {
        return Err(Failure::refused(format!("“{}” can’t be read, so it was not saved: {why}", file.shown))
            .hint("export the session again as FIT, GPX or TCX and choose that file"));
    }
    let mark = activity_mark(read);
    if let Some(stage) = stage {
        refuse_unknown_stage(case, stage)?;
    }
    let _writing = WriteLock::begin(case)?;
    let mut kept = match same_bytes(case, file)? {
        Some(name) => Kept { name, was_there: true },
        None => Kept { name: store(case, file)?, was_there: false },
    };
    kept.name += mark;
    if let Some(stage) = stage {
        set_stage(case, &kept.name, stage)?;
    }
    Ok(kept)
}

/// Name of the recording that has the same bytes.
fn same_bytes(case: &Path, file: &WaitingFile) -> Result<Option<String>, Failure> {
    for (name, path) in files::recording_files(case, &mut Vec::new())? {
        let is_as_long = fs::metadata(&path).is_ok_and(|known| known.len() == file.bytes.len() as u64);
        let most = file.bytes.len() as u64;
        if is_as_long && files::case_bytes(case, &path, most).is_ok_and(|bytes| bytes == file.bytes) {
            return Ok(Some(name));
        }
    }
    Ok(None)
}

fn store(case: &Path, file: &WaitingFile) -> Result<String, Failure> {
    let folder = case.join("recordings");
    files::make_folder(&folder).and_then(|()| files::inside(case, &folder)).map_err(|error| {
        Failure::refused(format!("could not make the folder {}", folder.display())).caused_by(&error)
    })?;
    // Another file of that name can only be one that somebody changed.
    let mut names =
        (1..).map(|n| if n == 1 { file.file_name.clone() } else { format!("{n}-{}", file.file_name) });
    let name = names.find(|name| fs::symlink_metadata(folder.join(name)).is_err()).unwrap_or_default();
    files::write_whole(&folder.join(&name), &file.bytes)?;
    Ok(name)
}

/// Says in `stages.csv` which stage a recording was.
pub(super) fn stage(case: &Path, recording: &str, stage: &str) -> Result<(), Failure> {
    refuse_unknown_stage(case, stage)?;
    let _writing = WriteLock::begin(case)?;
    set_stage(case, recording, stage)
}

/// Fails unless the case's plan has the stage; `-` is for no session of the plan.
fn refuse_unknown_stage(case: &Path, stage: &str) -> Result<(), Failure> {
    if stage == "-" {
        return Ok(());
    }
    files::stage(&files::case_plan(case, &mut Vec::new())?, Some(stage)).map(|_| ())
}

fn set_stage(case: &Path, recording: &str, stage: &str) -> Result<(), Failure> {
    let before = table(case, "stages.csv")?;
    let after = stages_with(&before, recording, stage).map_err(|error| unchanged("stages.csv", &error))?;
    write(case, "stages.csv", after.as_bytes())
}

/// Notes a visit to a clinician in `seen.csv`: day, by whom, stage or nothing, note.
pub(super) fn visit(case: &Path, visit: &[String; 4]) -> Result<(), Failure> {
    let stage = &visit[2];
    let plan = files::case_plan(case, &mut Vec::new())?;
    if !stage.is_empty() && !plan.stages.iter().any(|known| known.stage_name() == stage) {
        return Err(Failure::refused("the plan has no such stage")
            .hint("open the form again and choose one of the list"));
    }
    let _writing = WriteLock::begin(case)?;
    let before = table(case, "seen.csv")?;
    let after = seen_with(&before, visit).map_err(|error| unchanged("seen.csv", &error))?;
    write(case, "seen.csv", after.as_bytes())
}

/// The cells of a day as they stand in `diary.csv`.
pub(super) fn day(case: &Path, date: Date) -> Result<DayCells, Failure> {
    day_cells(&table(case, "diary.csv")?, date).map_err(|error| unchanged("diary.csv", &error))
}

/// What became of a day that was to be written.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum DayWritten {
    /// The cells that were changed are written.
    Written,
    /// Nothing was to be changed, so nothing was written.
    Unchanged,
    /// The line is no more what it was: it now has these cells, and nothing was written.
    Conflict(DayCells),
}

/// Writes the cells of a day that were changed into `diary.csv`, if its line still is as it was.
pub(super) fn diary(
    case: &Path,
    date: Date,
    was: &DayCells,
    changes: &[Option<String>; 5],
) -> Result<DayWritten, Failure> {
    let _writing = WriteLock::begin(case)?;
    let before = table(case, "diary.csv")?;
    let wrong = |error| unchanged("diary.csv", &error);
    let stands = day_cells(&before, date).map_err(wrong)?;
    if stands != *was {
        return Ok(DayWritten::Conflict(stands));
    }
    if changes.iter().all(Option::is_none) {
        return Ok(DayWritten::Unchanged);
    }
    let after = diary_with(&before, date, changes).map_err(wrong)?;
    // The diary is read back before it is written: what a person noted must not be lost to a table that is odd.
    let wanted: DayCells =
        std::array::from_fn(|index| changes[index].clone().unwrap_or_else(|| stands[index].clone()));
    if day_cells(&after, date).as_ref() != Ok(&wanted) {
        return Err(Failure::refused("diary.csv would not be read back as written, so it was left as it is")
            .hint("write this day into diary.csv by hand"));
    }
    write(case, "diary.csv", after.as_bytes())?;
    Ok(DayWritten::Written)
}

/// The text of a table of the case; empty when there is none.
fn table(case: &Path, name: &str) -> Result<String, Failure> {
    let mut notices = Vec::new();
    let text = files::table(case, name, &mut notices)?.unwrap_or_default();
    if notices.is_empty() {
        return Ok(text);
    }
    Err(Failure::refused(format!("{name} is not UTF-8 text, so it was left as it is"))
        .hint("save it as UTF-8 with a text editor, then try again"))
}

fn unchanged(name: &str, error: &dyn std::error::Error) -> Failure {
    Failure::refused(format!("{name} was left as it is")).caused_by(error)
}

/// Saves the plan, if it is one, and if the file still is the one with the hash `of`. The plan before is kept beside it as
/// `plan.toml.bak`.
pub(super) fn plan(case: &Path, text: &str, of: &str) -> Result<(), Failure> {
    if text.len() as u64 > files::MAX_PLAN_BYTES {
        let most = files::MAX_PLAN_BYTES >> 20;
        return Err(Failure::refused(format!("the plan is larger than {most} MiB, so it was not saved"))
            .hint("shorten it: a larger one would not be read again"));
    }
    Plan::parse(text).map_err(|error| Failure::plan(Path::new("plan.toml"), &error))?;
    let _writing = WriteLock::begin(case)?;
    let before = plan_bytes(case)?;
    if files::sha256(&before) != of {
        return Err(Failure::refused("plan.toml was changed by somebody else since you opened it")
            .hint("note what you changed, open the plan again and change it there"));
    }
    if !before.is_empty() {
        write(case, "plan.toml.bak", &before)?;
    }
    write(case, "plan.toml", text.as_bytes())
}

/// The bytes of the plan; none when there is no plan.
pub(super) fn plan_bytes(case: &Path) -> Result<Vec<u8>, Failure> {
    let path = case.join("plan.toml");
    let is_none = fs::symlink_metadata(&path).is_err_and(|error| error.kind() == io::ErrorKind::NotFound);
    if is_none { Ok(Vec::new()) } else { files::case_bytes(case, &path, files::MAX_PLAN_BYTES) }
}

/// Writes a file of the case whole; a link inside the case is written to its end, one that leads out is refused.
fn write(case: &Path, name: &str, bytes: &[u8]) -> Result<(), Failure> {
    let path = files::inside(case, &case.join(name))
        .map_err(|error| Failure::refused(format!("could not write {name}")).caused_by(&error))?;
    files::write_whole(&path, bytes)
}

/// Takes away what a process that was killed while writing left behind, unless somebody writes.
pub(super) fn sweep(case: &Path) {
    let path = case.join(LOCK);
    // Without a lock file nobody has ever written here.
    if fs::symlink_metadata(&path).is_err() {
        return;
    }
    let Ok(lock) = files::open_lock(&path) else { return };
    if lock.try_lock().is_err() {
        return;
    }
    files::remove_unfinished(case);
    if let Ok(recordings) = files::inside(case, &case.join("recordings")) {
        files::remove_unfinished(&recordings);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_writers_take_turns() {
        let case = tempfile::tempdir().unwrap();
        let first = WriteLock::begin(case.path()).unwrap();
        assert!(WriteLock::begin(case.path()).is_err_and(|failure| failure.to_string().contains("another")));
        drop(first);
        assert!(WriteLock::begin(case.path()).is_ok());
    }

    #[test]
    fn a_day_is_written_only_where_it_was_changed_and_nobody_was_faster() {
        let case = tempfile::tempdir().unwrap();
        let on_disk = || fs::read_to_string(case.path().join("diary.csv")).unwrap();
        let text = "date,pain_during,pain_next_morning,note\n2026-03-02,about 3,,x\n";
        fs::write(case.path().join("diary.csv"), text).unwrap();
        let date = jiff::civil::date(2026, 3, 2);
        let was = day(case.path(), date).unwrap();
        let set =
            |cells: &[Option<&str>; 5]| diary(case.path(), date, &was, &cells.map(|c| c.map(str::to_owned)));
        assert_eq!(set(&[None; 5]).unwrap(), DayWritten::Unchanged);
        assert_eq!(set(&[None, None, Some("4"), None, None]).unwrap(), DayWritten::Written);
        let written = "date,pain_during,pain_next_morning,note\n2026-03-02,about 3,4,x\n";
        assert_eq!(on_disk(), written);
        // A form that was opened before must not take the 4 away.
        let stale = set(&[None, None, None, None, Some("y")]).unwrap();
        assert_eq!(stale, DayWritten::Conflict(["about 3", "", "4", "", "x"].map(str::to_owned)));
        assert_eq!(on_disk(), written);
    }

    #[test]
    fn a_plan_is_saved_only_when_it_is_one_and_nobody_was_faster() {
        let case = tempfile::tempdir().unwrap();
        let text = |n: u32| format!("[[stage]]\nname = '{n}'\nsession = 'run {n}:00'\n");
        let on_disk = |name: &str| fs::read_to_string(case.path().join(name)).unwrap_or_default();
        plan(case.path(), &text(1), &files::sha256(b"")).unwrap();
        assert!(plan(case.path(), "title = <b>", &files::sha256(text(1).as_bytes())).is_err());
        assert!(plan(case.path(), &text(2), &files::sha256(b"")).is_err());
        let large = format!("{}# {}\n", text(2), "x".repeat(1 << 20));
        assert!(plan(case.path(), &large, &files::sha256(text(1).as_bytes())).is_err());
        assert_eq!(on_disk("plan.toml"), text(1));
        plan(case.path(), &text(2), &files::sha256(text(1).as_bytes())).unwrap();
        assert_eq!((on_disk("plan.toml"), on_disk("plan.toml.bak")), (text(2), text(1)));
    }

    #[test]
    fn what_a_killed_writer_left_is_swept_and_nothing_else() {
        let case = tempfile::tempdir().unwrap();
        drop(WriteLock::begin(case.path()).unwrap());
        let names = ["a.fit", "recordings/.a.fit.X7bc12Qz.jogaudit-part", ".mine.part", "b.jogaudit-part"];
        fs::create_dir(case.path().join("recordings")).unwrap();
        names.iter().for_each(|name| fs::write(case.path().join(name), "x").unwrap());
        let writing = WriteLock::begin(case.path()).unwrap();
        sweep(case.path());
        assert!(case.path().join(names[1]).exists(), "somebody is writing it");
        drop(writing);
        sweep(case.path());
        let left: Vec<bool> = names.iter().map(|name| case.path().join(name).exists()).collect();
        assert_eq!(left, [true, false, true, true]);
    }
}
