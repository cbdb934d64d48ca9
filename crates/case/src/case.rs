//! A case: prescription, diary, recordings → review.

use std::error::Error;
use std::io;

use jiff::Timestamp;
use jiff::civil::Date;

use jogaudit_core::clean::Series;
use jogaudit_core::gait::RunnerEvidence;
use jogaudit_core::on_foot::OffFoot;
use jogaudit_core::pipeline::{Config, case_sessions, due_at, review_case, segment_recording};
use jogaudit_core::prescription::{DueSession, Plan};
use jogaudit_core::review::{
    Diary, Given, LeftOut, LeftOutCode, OtherRecording, OtherSession, PerformedSession, Recorded, Review,
    Seen, Written, Zone, agreed,
};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};
use jogaudit_recording::read::{Recording, read};
use jogaudit_report::{ReviewParts, ReviewView};

use super::failure::{Failure, named};
use super::hash::blake3;
use super::input::{MAX_RECORDING_BYTES, case_plan};
use super::store::{self, CaseFiles, recording_name};

/// Larger tables are refused, bytes, our choice: a line a day, a note in each, for 25 years stays below.
pub const MAX_TABLE_BYTES: u64 = 1 << 20;
/// Longer tables are refused, our choice: a line a day for 50 years stays below.
const MAX_TABLE_LINES: usize = 20_000;

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

/// Reads a case, its recordings by `read_all`, which gets their names and gives what each holds in that order. A table that
/// cannot be read is a notice, and the ruling is to rest until it is mended.
pub fn read_case(files: &dyn CaseFiles, read_all: &ReadAll<'_>) -> Result<Case, Failure> {
    let mut notices = Vec::new();
    let plan = plan(files, &mut notices)?;
    let (recorded, unread) = recordings(files, read_all, &mut notices);
    let diary = table_or_notice(files, "diary.csv", &mut notices);
    let stages = table_or_notice(files, "stages.csv", &mut notices);
    let seen = table_or_notice(files, "seen.csv", &mut notices);
    Ok(Case { plan, recorded, unread, diary, stages, seen, notices })
}

/// Reads one recording of a case by its name below `recordings/`.
pub fn read_recording(files: &dyn CaseFiles, recording: &str, config: &Config) -> Activities {
    let bytes = files.read(&recording_name(recording), MAX_RECORDING_BYTES);
    activities(&bytes.map_err(|error| error.to_string())?, recording, config)
}

/// Reads recordings of a case one after another.
pub fn read_in_turn(files: &dyn CaseFiles, names: &[String], config: &Config) -> Vec<Activities> {
    names.iter().map(|name| read_recording(files, name, config)).collect()
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

    /// The day of its last recording; `None` without any.
    pub fn last_day(&self) -> Option<Date> {
        let zone = Zone::of(&self.plan);
        let on_foot = self.recorded.iter().map(|r| zone.date(r.start(), r.series.utc_offset_s()));
        let others = self.unread.iter().filter_map(|file| file.other.as_ref());
        on_foot.chain(others.map(|other| zone.date(other.start, other.utc_offset_s))).max()
    }

    /// Makes the sessions of the case as it stood on a day, as its review has them; each is given to `each` with its recordings, which
    /// have the bouts that it is judged by.
    pub fn sessions(
        self,
        as_of: Date,
        config: &Config,
        each: &mut dyn FnMut(&PerformedSession, Vec<Recorded>),
    ) -> CaseSessions {
        let Opened { plan, recorded, written, other, unread, mut notices } = self.opened(as_of);
        let sessions = case_sessions(&plan, &written, recorded, as_of, config, each).take(&mut notices);
        let left_out = sessions.with_unread(unread).left_out;
        CaseSessions { diary: written.diary, left_out, other, notices }
    }

    /// Reviews the case as it stood on a day.
    pub fn review(self, as_of: Date, config: &Config) -> ReviewView {
        let Opened { plan, recorded, written, other, unread, mut notices } = self.opened(as_of);
        let mut reviewed = review_case(&plan, &written, recorded, other, as_of, config);
        notices.append(&mut reviewed.notices);
        let sessions = reviewed.sessions.with_unread(unread);
        ReviewView::new(&ReviewParts {
            plan: &plan,
            written: &written,
            sessions: &sessions,
            other: &reviewed.other,
            review: &reviewed.review,
            config: &config.review,
            notices: &notices,
        })
    }

    /// The plan, and what the review of the case on a day finds: for what is not its report.
    pub fn ruled(self, as_of: Date, config: &Config) -> (Plan, Review) {
        let Opened { plan, recorded, written, other, .. } = self.opened(as_of);
        let reviewed = review_case(&plan, &written, recorded, other, as_of, config);
        (plan, reviewed.review)
    }

    /// The case with what people wrote of it until a day.
    fn opened(self, as_of: Date) -> Opened {
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
        Opened { plan, recorded, written, other, unread, notices }
    }
}

/// A case whose tables are read.
struct Opened {
    plan: Plan,
    recorded: Vec<Recorded>,
    written: Written,
    other: Vec<OtherSession>,
    unread: Vec<LeftOut>,
    notices: Vec<Notice>,
}

/// What is told of a case besides its sessions.
pub struct CaseSessions {
    /// Pain and effort by day.
    pub diary: Diary,
    /// Recordings that are no session, by name.
    pub left_out: Vec<LeftOut>,
    /// Agreed training besides, in order of time.
    pub other: Vec<OtherSession>,
    /// What was noticed of the case as a whole.
    pub notices: Vec<Notice>,
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

/// The recordings of a case that are on foot. It needs neither plan nor diary; what cannot be read is left out.
pub fn case_recordings(files: &dyn CaseFiles, read_all: &ReadAll<'_>) -> Result<Vec<Recorded>, Failure> {
    let names = files.recordings(&mut Vec::new())?;
    if names.is_empty() {
        return Err(Failure::refused(format!("{} has no recordings/", named(&files.path(""))))
            .hint("DIR is a case folder: the runner's other recordings lie in its recordings/"));
    }
    Ok(read_all(&names).into_iter().flat_map(|read| read.unwrap_or_default().0).collect())
}

/// What a stage of a plan asked for when a recording began, where a count rises from session to session, by the recordings of a case
/// and what its tables say of stages and visits.
pub fn due_in_case(
    files: &dyn CaseFiles,
    plan: &Plan,
    stage: &str,
    recorded: Vec<Recorded>,
    series: &Series,
    config: &Config,
    notices: &mut Vec<Notice>,
) -> Option<DueSession> {
    let index = plan.stages.iter().position(|known| known.name == stage)?;
    plan.stages.get(index)?.session.rise()?;
    let tables = ["stages.csv", "seen.csv"].map(|name| table_or_notice(files, name, notices));
    let day = Zone::of(plan).date(series.start(), series.utc_offset_s());
    let (given, seen) = given_and_seen(tables.into(), plan, day, notices);
    let written = Written { given, seen, ..Written::default() };
    due_at(plan, index, &written, recorded, series, config)
}

/// Reads the case's prescription, and says when other files look like one.
fn plan(files: &dyn CaseFiles, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    let mut others = files.top()?;
    others.retain(|name| name.to_lowercase().ends_with(".toml") && name != "plan.toml");
    if !files.has("plan.toml") {
        let failure = Failure::refused(format!("{} has no plan.toml", named(&files.path(""))));
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
    case_plan(files, notices)
}

/// Reads a table; when that fails, says so. A file with nearly its name, such as a workbook, is a table that cannot be read.
fn table_or_notice(files: &dyn CaseFiles, name: &str, notices: &mut Vec<Notice>) -> Table {
    let text = match table(files, name, notices) {
        Ok(Some(text)) => return Table::Text(text),
        Ok(None) => match misnamed(files, name) {
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
fn misnamed(files: &dyn CaseFiles, name: &str) -> Option<String> {
    let stem = name.split('.').next().unwrap_or(name);
    files.top().ok()?.into_iter().find(|other| other.to_lowercase().split('.').next() == Some(stem))
}

/// Reads a table of the case; `None` when there is none.
pub fn table(
    files: &dyn CaseFiles,
    name: &str,
    notices: &mut Vec<Notice>,
) -> Result<Option<String>, Failure> {
    if !files.has(name) {
        return Ok(None);
    }
    let bytes = store::bytes(files, name, MAX_TABLE_BYTES)?;
    if bytes.split(|byte| *byte == b'\n').nth(MAX_TABLE_LINES + 1).is_some() {
        let too_long = format!("has more than {MAX_TABLE_LINES} lines");
        return Err(Failure::input(
            &files.path(name),
            &io::Error::new(io::ErrorKind::FileTooLarge, too_long),
        ));
    }
    Ok(Some(String::from_utf8(bytes).unwrap_or_else(|error| {
        let text = format!("{name} is not UTF-8 text: letters that can't be told are shown as \u{fffd}.");
        notices.push(Notice::new(NoticeCode::TableNotUtf8, text));
        String::from_utf8_lossy(error.as_bytes()).into_owned()
    })))
}

/// Reads every recording of a case in order of name. What can't be read or is not on foot is given besides.
fn recordings(
    files: &dyn CaseFiles,
    read_all: &ReadAll<'_>,
    notices: &mut Vec<Notice>,
) -> (Vec<Recorded>, Vec<LeftOut>) {
    let names = match files.recordings(notices) {
        Ok(names) => names,
        Err(failure) => {
            let text = format!("Not readable: {}.", failure.causes_in_a_clause());
            let code = LeftOutCode::Unreadable;
            return (Vec::new(), vec![LeftOut::new("recordings/".to_owned(), code, text)]);
        }
    };
    if names.is_empty() {
        notices.push(Notice::new(
            NoticeCode::NoRecordings,
            "There are no files in recordings/: there is nothing to review.",
        ));
    }
    let (mut recorded, mut left_out) = (Vec::new(), Vec::new());
    for (name, read) in names.iter().zip(read_all(&names)) {
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

/// What recordings hold, by their names below `recordings/`, in their order.
pub type ReadAll<'r> = dyn Fn(&[String]) -> Vec<Activities> + 'r;

/// Reads the bytes of one file: its activities on foot with their bouts, and the others with the reason why not.
pub fn activities(bytes: &[u8], name: &str, config: &Config) -> Activities {
    let read = read(bytes, &config.read).map_err(|error| chain(&error))?;
    Ok(activities_of(&read, &blake3(bytes), name, config))
}

/// The same of the recordings of a file that is read already; `content` stands for its bytes.
pub fn activities_of(
    read: &Noted<Vec<Recording>>,
    content: &str,
    name: &str,
    config: &Config,
) -> (Vec<Recorded>, Vec<LeftOut>) {
    let several = read.value.len() > 1;
    let (mut on_foot, mut others) = (Vec::new(), Vec::new());
    for (index, recording) in read.value.iter().enumerate() {
        let name = activity_name(name, index, several);
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
            content: content.to_owned(),
            channels: recording.facts().channels.len(),
            series: segmented.series,
            segmentation: segmented.segmentation,
            notices,
        });
    }
    (on_foot, others)
}

/// How an activity is called in a review: as its file or, of several, with its number in it.
pub fn activity_name(file: &str, index: usize, several: bool) -> String {
    if several { format!("{file}#{}", index + 1) } else { file.to_owned() }
}

/// An error and its sources in one clause.
pub(crate) fn chain(error: &dyn Error) -> String {
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
    use std::path::Path;

    use super::super::hash::tests::HASHED;
    use super::super::memory::MemoryCase;
    use super::*;

    #[test]
    fn a_table_of_too_many_lines_is_refused_and_says_so() {
        let read = |lines: usize| {
            let text = "2026-03-02,1\n".repeat(lines);
            let case = MemoryCase::new(Path::new("a"), vec![("diary.csv".to_owned(), text.into_bytes())]);
            table(&case, "diary.csv", &mut Vec::new())
        };
        assert!(read(MAX_TABLE_LINES).is_ok());
        let failure = read(MAX_TABLE_LINES + 1).unwrap_err().to_string();
        assert!(failure.contains("diary.csv") && failure.contains("more than 20000 lines"), "{failure}");
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
        assert!(on_foot.iter().all(|recorded| recorded.content == on_foot[0].content));
        assert_eq!(HASHED.get() - before, 1);
    }
}
