//! A case → its rows: the sessions that its review has, and what it leaves out.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use jiff::Timestamp;
use rayon::prelude::*;

use jogaudit_case::{
    Activities, CaseFiles, CaseSessions, Failure, MAX_RECORDING_BYTES, MAX_TABLE_BYTES, TABLES,
    activities_of, activity_name, blake3, read_case, recording_name, sha256,
};
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{PerformedSession, Recorded, SessionKind, StageChoice};
use jogaudit_files as files;
use jogaudit_recording::read::{Facts, read};

use super::inputs::CaseInput;
use super::scored::{Done, InCase, LeftOutAs, RowError, Scored, is_none};

/// What a case gives.
pub(super) struct CaseScored {
    pub(super) fingerprint: String,
    /// In order of path and number.
    pub(super) rows: Vec<Scored>,
    /// Its tables with their SHA-256, where that is wanted.
    pub(super) tables: Vec<(String, String)>,
    /// Files among its recordings that are none.
    pub(super) passed_over: Vec<String>,
}

/// Reads and checks a case. Never fails: what goes wrong is in its rows, also a bug of ours.
pub(super) fn score_case(input: &CaseInput, config: &Config, with_sha256: bool) -> CaseScored {
    let scored = catch_unwind(AssertUnwindSafe(|| read_and_score(input, config, with_sha256)));
    let error = match scored {
        Ok(Ok(scored)) => return scored,
        Ok(Err(failure)) => RowError { code: "case_not_readable", text: failure.in_a_clause() },
        Err(_) => RowError::standard("internal"),
    };
    let row = |path: &Path| Scored {
        path: path.to_string_lossy().into_owned(),
        participant: Some(input.participant.clone()),
        error: Some(error.clone()),
        ..Scored::default()
    };
    let mut rows: Vec<Scored> = input.recordings.iter().map(|path| row(path)).collect();
    if rows.is_empty() {
        rows.push(row(&input.path));
    }
    CaseScored { fingerprint: fingerprint(input), rows, tables: Vec::new(), passed_over: Vec::new() }
}

/// What stands for the content of a case: the hash of the hashes of its files, or why they cannot be read.
pub(super) fn fingerprint(input: &CaseInput) -> String {
    let Ok(case) = files::open_case(&input.path) else { return "case_not_readable".to_owned() };
    let names = case.recordings(&mut Vec::new()).unwrap_or_default();
    let hash =
        |name: &String| case.read(&recording_name(name), MAX_RECORDING_BYTES).map(|bytes| blake3(&bytes));
    let hashes: Vec<_> =
        names.par_iter().map(|name| hash(name).map_err(|error| RowError::io(&error).code)).collect();
    let listed = names
        .iter()
        .zip(&hashes)
        .map(|(name, hash)| (name.as_str(), hash.as_deref().unwrap_or_else(|code| code)));
    combined(&*case, listed)
}

/// The hash of the names and hashes of the tables and of what is listed.
fn combined<'a>(case: &dyn CaseFiles, listed: impl Iterator<Item = (&'a str, &'a str)>) -> String {
    let mut hash = ::blake3::Hasher::new();
    for name in TABLES {
        let bytes = case.read(name, MAX_TABLE_BYTES);
        let content = bytes.map_or_else(|error| RowError::io(&error).code.to_owned(), |bytes| blake3(&bytes));
        hash.update(format!("{name}\0{content}\0").as_bytes());
    }
    for (name, content) in listed {
        hash.update(format!("{name}\0{content}\0").as_bytes());
    }
    hash.finalize().to_string()
}

/// A file of the recordings as it was read.
struct FileRead {
    /// Below `recordings/`.
    name: String,
    blake3: Option<String>,
    sha256: Option<String>,
    /// What it says of each of its activities, with its length in seconds.
    activities: Vec<(Facts, f64)>,
    error: Option<RowError>,
}

impl FileRead {
    /// Reads a recording of a case, whatever it holds.
    fn of(case: &dyn CaseFiles, name: &str, config: &Config, with_sha256: bool) -> (Self, Activities) {
        let mut file =
            Self { name: name.to_owned(), blake3: None, sha256: None, activities: Vec::new(), error: None };
        let bytes = match case.read(&recording_name(name), MAX_RECORDING_BYTES) {
            Ok(bytes) => bytes,
            Err(error) => {
                file.error = Some(RowError::io(&error));
                return (file, Err(error.to_string()));
            }
        };
        let content = blake3(&bytes);
        file.sha256 = with_sha256.then(|| sha256(&bytes));
        file.blake3 = Some(content.clone());
        let tried = catch_unwind(AssertUnwindSafe(|| {
            let read = read(&bytes, &config.read).map_err(|error| RowError::read(&error))?;
            let end_s = |samples: &[jogaudit_recording::read::Sample]| {
                samples.iter().map(|sample| sample.time_s).fold(0.0, f64::max)
            };
            let said = read.value.iter().map(|recording| (recording.facts(), end_s(recording.samples())));
            Ok((said.collect(), activities_of(&read, &content, name, config)))
        }));
        match tried.unwrap_or_else(|_| Err(RowError::standard("internal"))) {
            Ok((said, activities)) => {
                file.activities = said;
                (file, Ok(activities))
            }
            Err(error) => {
                let why = error.text.clone();
                file.error = Some(error);
                (file, Err(why))
            }
        }
    }
}

/// A recording of a session with what it is judged to be.
struct Judged {
    stage: Option<usize>,
    start: Timestamp,
    session: InCase,
    done: Done,
    notices: Vec<jogaudit_recording::notice::Notice>,
}

fn read_and_score(input: &CaseInput, config: &Config, with_sha256: bool) -> Result<CaseScored, Failure> {
    let case = files::open_case(&input.path)?;
    let files_read = RefCell::new(Vec::new());
    let read_all = |names: &[String]| {
        let of = |name: &String| FileRead::of(&*case, name, config, with_sha256);
        let (files, activities): (Vec<FileRead>, Vec<Activities>) = names.par_iter().map(of).unzip();
        *files_read.borrow_mut() = files;
        activities
    };
    let known = read_case(&*case, &read_all)?;
    let plan = known.plan.clone();
    let as_of = known.last_day().unwrap_or_default();
    let (mut judged, mut number) = (BTreeMap::new(), 0);
    let told = known.sessions(as_of, config, &mut |session, recordings| {
        number += 1;
        for recording in recordings {
            let (name, recording) = self::judged(number, session, recording, &plan, config);
            judged.insert(name, recording);
        }
    });
    let files_read = files_read.into_inner();
    let listed = files_read.iter().map(|file| {
        let code = file.error.as_ref().map_or("", |error| error.code);
        (file.name.as_str(), file.blake3.as_deref().unwrap_or(code))
    });
    let fingerprint = combined(&*case, listed);
    let table = |name: &&str| Some((case.path(name), case.read(name, MAX_TABLE_BYTES).ok()?));
    let hashed = TABLES.iter().filter(|_| with_sha256).filter_map(table);
    let tables = hashed.map(|(path, bytes)| (path.to_string_lossy().into_owned(), sha256(&bytes))).collect();
    let mut rows = CaseRows {
        input,
        case: &*case,
        plan: &plan,
        told,
        judged,
        rows: Vec::new(),
        passed_over: Vec::new(),
    };
    files_read.into_iter().for_each(|file| rows.add(file));
    Ok(CaseScored { fingerprint, rows: rows.rows, tables, passed_over: rows.passed_over })
}

/// What a recording of a session is judged to be, by its name in the case.
fn judged(
    number: usize,
    session: &PerformedSession,
    recording: Recorded,
    plan: &Plan,
    config: &Config,
) -> (String, Judged) {
    let stage = session.stage.stage();
    let kind = session.kind(&config.review);
    let prescribed = stage.map(|stage| match &session.due {
        Some(due) => due.session.dose(),
        None => plan.stages[stage].session.dose(),
    });
    let stage_certainty = match &session.stage {
        StageChoice::Recognised { certainty, .. } => Some(*certainty),
        _ => None,
    };
    let in_case = InCase {
        number,
        date: Some(session.date),
        kind,
        stage_from: session.stage.source(),
        stage_certainty,
        repetitions: session.due.as_ref().map(|due| due.repetitions),
        pain_during: None,
        pain_pattern: None,
        pain_next_morning: None,
        effort: None,
    };
    let is_one = session.recordings.len() == 1;
    let judged = Judged {
        stage,
        start: recording.start(),
        session: in_case,
        done: Done {
            segmentation: recording.segmentation,
            audit: session.audit.clone(),
            outcome: (kind == SessionKind::Session).then_some(session.outcome),
            prescribed,
        },
        // The parts of a session have their own; it has none.
        notices: if is_one { session.notices.clone() } else { recording.notices },
    };
    (recording.name, judged)
}

/// The rows of a case while they are made.
struct CaseRows<'a> {
    input: &'a CaseInput,
    case: &'a dyn CaseFiles,
    plan: &'a Plan,
    told: CaseSessions,
    judged: BTreeMap<String, Judged>,
    rows: Vec<Scored>,
    passed_over: Vec<String>,
}

impl CaseRows<'_> {
    /// Adds the rows of a file: one for each of its activities, or one that says why there is none.
    fn add(&mut self, file: FileRead) {
        let path = self.case.path(&recording_name(&file.name));
        let of_file = || Scored {
            path: path.to_string_lossy().into_owned(),
            participant: Some(self.input.participant.clone()),
            plan: Some(self.plan.title.clone()),
            blake3: file.blake3.clone(),
            sha256: file.sha256.clone(),
            ..Scored::default()
        };
        match file.error {
            Some(error) if is_none(&path, &error) => {
                self.passed_over.push(path.to_string_lossy().into_owned());
                return;
            }
            Some(error) => {
                let row = Scored { error: Some(error), ..of_file() };
                self.rows.push(row);
                return;
            }
            None => {}
        }
        let several = file.activities.len() > 1;
        let mut rows = Vec::new();
        for (index, (facts, elapsed_s)) in file.activities.into_iter().enumerate() {
            let name = activity_name(&file.name, index, several);
            let row = Scored {
                activity: Some(index + 1),
                start: Some(facts.start),
                elapsed_s: Some(elapsed_s),
                facts: Some(facts),
                ..of_file()
            };
            let judged = self.judged.remove(&name);
            rows.push(match judged {
                Some(judged) => self.of_session(row, judged),
                None => Scored { left_out: self.left_out(&name), ..row },
            });
        }
        self.rows.append(&mut rows);
    }

    fn of_session(&self, row: Scored, judged: Judged) -> Scored {
        let Judged { stage, start, mut session, done, notices } = judged;
        if let Some(entry) = session.date.and_then(|date| self.told.diary.on(date)) {
            session.pain_during = entry.pain_during;
            session.pain_pattern = entry.gravest_pattern();
            session.pain_next_morning = entry.pain_next_morning;
            session.effort = entry.effort;
        }
        Scored {
            stage: stage.map(|stage| self.plan.stages[stage].name.clone()),
            start: Some(start),
            elapsed_s: Some(done.segmentation.elapsed_s()),
            session: Some(session),
            done: Some(done),
            notices,
            ..row
        }
    }

    /// Why a recording is no session of the case.
    fn left_out(&self, name: &str) -> Option<LeftOutAs> {
        let left_out = self.told.left_out.iter().find(|file| file.name == name);
        let agreed = || {
            let other = self.told.other.iter().find(|other| other.recording == name)?;
            let text = format!("Training besides that the plan names: {}.", other.sport);
            Some(LeftOutAs { code: LeftOutAs::AGREED, text })
        };
        left_out.map(|file| LeftOutAs { code: file.code.word(), text: file.text.clone() }).or_else(agreed)
    }
}
