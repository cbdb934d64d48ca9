//! Writes to a case: recordings, diary, stages, visits, plan. One writer at a time, each file whole or not at all.

use std::path::Path;

use jiff::civil::Date;

use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{DayCells, day_cells, diary_with, seen_with, stages_with};

use super::case::{self, Activities};
use super::failure::Failure;
use super::hash::sha256;
use super::input::{MAX_PLAN_BYTES, case_plan, stage as stage_of};
use super::store::{self, CaseFiles, CaseWriter, recording_name};

/// A recording that is to be kept.
pub struct NewRecording<'a> {
    /// What it is called in a sentence.
    pub shown: &'a str,
    /// The name it is kept under.
    pub file_name: &'a str,
    /// Its bytes.
    pub bytes: &'a [u8],
    /// What it holds.
    pub activities: &'a Activities,
}

/// What became of a file that was to be kept.
pub struct Kept {
    /// Its name inside `recordings/`, with the mark of its activity.
    pub name: String,
    /// Whether the case had the same bytes already; then nothing was written.
    pub was_there: bool,
}

/// Keeps a file in the case, with its stage if one was said: a stage's name, or `-` for no session of the plan.
pub fn recording(
    files: &dyn CaseFiles,
    new: &NewRecording<'_>,
    stage: Option<&str>,
) -> Result<Kept, Failure> {
    if let Err(why) = new.activities {
        return Err(Failure::refused(format!("“{}” can’t be read, so it was not saved: {why}", new.shown))
            .hint("export the session again as FIT, GPX or TCX and choose that file"));
    }
    if let Some(stage) = stage {
        refuse_unknown_stage(files, stage)?;
    }
    let mut writer = files.writer()?;
    let mut kept = match same_bytes(files, new.bytes)? {
        Some(name) => Kept { name, was_there: true },
        None => Kept { name: store(files, &mut *writer, new)?, was_there: false },
    };
    kept.name += activity_mark(new.activities);
    if let Some(stage) = stage {
        set_stage(files, &mut *writer, &kept.name, stage)?;
    }
    Ok(kept)
}

/// The mark of the first activity on foot where a file holds several, `#2` for the second; else nothing.
fn activity_mark(activities: &Activities) -> &str {
    let first = activities.as_ref().ok().and_then(|(recorded, _)| recorded.first());
    first
        .and_then(|recorded| recorded.name.find('#').and_then(|at| recorded.name.get(at..)))
        .unwrap_or_default()
}

/// Name of the recording that has the same bytes.
fn same_bytes(files: &dyn CaseFiles, bytes: &[u8]) -> Result<Option<String>, Failure> {
    let most = bytes.len() as u64;
    let is_same = |name: &String| {
        let name = recording_name(name);
        files.stamp(&name).len == most && files.read(&name, most).is_ok_and(|known| known == bytes)
    };
    Ok(files.recordings(&mut Vec::new())?.into_iter().find(is_same))
}

fn store(
    files: &dyn CaseFiles,
    writer: &mut dyn CaseWriter,
    new: &NewRecording<'_>,
) -> Result<String, Failure> {
    // Another file of that name can only be one that somebody changed.
    let mut names =
        (1..).map(|n| if n == 1 { new.file_name.to_owned() } else { format!("{n}-{}", new.file_name) });
    let name = names.find(|name| !files.has(&recording_name(name))).unwrap_or_default();
    writer.write(&recording_name(&name), new.bytes)?;
    Ok(name)
}

/// Says in `stages.csv` which stage a recording was.
pub fn stage(files: &dyn CaseFiles, recording: &str, stage: &str) -> Result<(), Failure> {
    refuse_unknown_stage(files, stage)?;
    let mut writer = files.writer()?;
    set_stage(files, &mut *writer, recording, stage)
}

/// Fails unless the case's plan has the stage; `-` is for no session of the plan.
fn refuse_unknown_stage(files: &dyn CaseFiles, stage: &str) -> Result<(), Failure> {
    if stage == "-" {
        return Ok(());
    }
    stage_of(&case_plan(files, &mut Vec::new())?, Some(stage)).map(|_| ())
}

fn set_stage(
    files: &dyn CaseFiles,
    writer: &mut dyn CaseWriter,
    recording: &str,
    stage: &str,
) -> Result<(), Failure> {
    let before = table(files, "stages.csv")?;
    let after = stages_with(&before, recording, stage).map_err(|error| unchanged("stages.csv", &error))?;
    writer.write("stages.csv", after.as_bytes())
}

/// Notes a visit to a clinician in `seen.csv`: day, by whom, stage or nothing, note.
pub fn visit(files: &dyn CaseFiles, visit: &[String; 4]) -> Result<(), Failure> {
    let stage = &visit[2];
    let plan = case_plan(files, &mut Vec::new())?;
    if !stage.is_empty() && !plan.stages.iter().any(|known| known.stage_name() == stage) {
        return Err(Failure::refused("the plan has no such stage")
            .hint("open the form again and choose one of the list"));
    }
    let mut writer = files.writer()?;
    let before = table(files, "seen.csv")?;
    let after = seen_with(&before, visit).map_err(|error| unchanged("seen.csv", &error))?;
    writer.write("seen.csv", after.as_bytes())
}

/// The cells of a day as they stand in `diary.csv`.
pub fn day(files: &dyn CaseFiles, date: Date) -> Result<DayCells, Failure> {
    day_cells(&table(files, "diary.csv")?, date).map_err(|error| unchanged("diary.csv", &error))
}

/// What became of a day that was to be written.
#[derive(Debug, PartialEq, Eq)]
pub enum DayWritten {
    /// The cells that were changed are written.
    Written,
    /// Nothing was to be changed, so nothing was written.
    Unchanged,
    /// The line is no more what it was: it now has these cells, and nothing was written.
    Conflict(DayCells),
}

/// Writes the cells of a day that were changed into `diary.csv`, if its line still is as it was.
pub fn diary(
    files: &dyn CaseFiles,
    date: Date,
    was: &DayCells,
    changes: &[Option<String>; 5],
) -> Result<DayWritten, Failure> {
    let mut writer = files.writer()?;
    let before = table(files, "diary.csv")?;
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
    writer.write("diary.csv", after.as_bytes())?;
    Ok(DayWritten::Written)
}

/// The text of a table of the case; empty when there is none.
fn table(files: &dyn CaseFiles, name: &str) -> Result<String, Failure> {
    let mut notices = Vec::new();
    let text = case::table(files, name, &mut notices)?.unwrap_or_default();
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
/// `plan.toml.bak`; gives whether there was one.
pub fn plan(files: &dyn CaseFiles, text: &str, of: &str) -> Result<bool, Failure> {
    if text.len() as u64 > MAX_PLAN_BYTES {
        let most = MAX_PLAN_BYTES >> 20;
        return Err(Failure::refused(format!("the plan is larger than {most} MiB, so it was not saved"))
            .hint("shorten it: a larger one would not be read again"));
    }
    Plan::parse(text).map_err(|error| Failure::plan(Path::new("plan.toml"), &error))?;
    let mut writer = files.writer()?;
    let before = plan_bytes(files)?;
    if sha256(&before) != of {
        return Err(Failure::refused("plan.toml was changed by somebody else since you opened it")
            .hint("note what you changed, open the plan again and change it there"));
    }
    if !before.is_empty() {
        writer.write("plan.toml.bak", &before)?;
    }
    writer.write("plan.toml", text.as_bytes())?;
    Ok(!before.is_empty())
}

/// The bytes of the plan; none when there is no plan.
pub fn plan_bytes(files: &dyn CaseFiles) -> Result<Vec<u8>, Failure> {
    if files.has("plan.toml") { store::bytes(files, "plan.toml", MAX_PLAN_BYTES) } else { Ok(Vec::new()) }
}

#[cfg(test)]
mod tests {
    use super::super::memory::MemoryCase;
    use super::*;

    fn text_of(case: &MemoryCase, name: &str) -> String {
        String::from_utf8(case.read(name, u64::MAX).unwrap_or_default()).unwrap()
    }

    #[test]
    fn a_day_is_written_only_where_it_was_changed_and_nobody_was_faster() {
        let case = MemoryCase::default();
        let text = "date,pain_during,pain_next_morning,note\n2026-03-02,about 3,,x\n";
        case.writer().unwrap().write("diary.csv", text.as_bytes()).unwrap();
        let date = jiff::civil::date(2026, 3, 2);
        let was = day(&case, date).unwrap();
        let set = |cells: &[Option<&str>; 5]| diary(&case, date, &was, &cells.map(|c| c.map(str::to_owned)));
        assert_eq!(set(&[None; 5]).unwrap(), DayWritten::Unchanged);
        assert_eq!(set(&[None, None, Some("4"), None, None]).unwrap(), DayWritten::Written);
        let written = "date,pain_during,pain_next_morning,note\n2026-03-02,about 3,4,x\n";
        assert_eq!(text_of(&case, "diary.csv"), written);
        // A form that was opened before must not take the 4 away.
        let stale = set(&[None, None, None, None, Some("y")]).unwrap();
        assert_eq!(stale, DayWritten::Conflict(["about 3", "", "4", "", "x"].map(str::to_owned)));
        assert_eq!(text_of(&case, "diary.csv"), written);
    }

    #[test]
    fn a_plan_is_saved_only_when_it_is_one_and_nobody_was_faster() {
        let case = MemoryCase::default();
        let text = |n: u32| format!("[[stage]]\nname = '{n}'\nsession = 'run {n}:00'\n");
        plan(&case, &text(1), &sha256(b"")).unwrap();
        assert!(plan(&case, "title = <b>", &sha256(text(1).as_bytes())).is_err());
        assert!(plan(&case, &text(2), &sha256(b"")).is_err());
        let large = format!("{}# {}\n", text(2), "x".repeat(1 << 20));
        assert!(plan(&case, &large, &sha256(text(1).as_bytes())).is_err());
        assert_eq!(text_of(&case, "plan.toml"), text(1));
        plan(&case, &text(2), &sha256(text(1).as_bytes())).unwrap();
        assert_eq!((text_of(&case, "plan.toml"), text_of(&case, "plan.toml.bak")), (text(2), text(1)));
    }
}
