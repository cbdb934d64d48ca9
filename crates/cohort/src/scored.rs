//! One recording → everything that its rows say.

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use jiff::Timestamp;
use jiff::civil::Date;

use jogaudit_case::{MAX_RECORDING_BYTES, blake3, code_of, sha256};
use jogaudit_core::audit::{Audit, Dose, Finding, Outcome, Prescription, Rep};
use jogaudit_core::gait::{Bout, Segmentation};
use jogaudit_core::pipeline::{Activity, Config, activities};
use jogaudit_core::prescription::PrescribedDose;
use jogaudit_core::review::{LeftOutCode, Pattern, SessionKind, StageSource};
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;
use jogaudit_recording::read::{Facts, ReadError};

use super::file_input::{FileInput, is_named_as_none};
use super::plans::{Plans, Prescribed};

/// An activity of a file that was tried, or the file itself where it gives none, with what came of it.
#[derive(Default)]
pub(super) struct Scored {
    pub(super) path: String,
    /// Its number in the file, from 1.
    pub(super) activity: Option<usize>,
    pub(super) participant: Option<String>,
    pub(super) plan: Option<String>,
    pub(super) stage: Option<String>,
    /// Of the bytes as given; `None` when they could not be read.
    pub(super) blake3: Option<String>,
    /// The same; `None` also when it is not wanted.
    pub(super) sha256: Option<String>,
    pub(super) facts: Option<Facts>,
    /// `None` also where shifting it for privacy leaves the calendar.
    pub(super) start: Option<Timestamp>,
    pub(super) elapsed_s: Option<f64>,
    /// What it is to the case that it lies in.
    pub(super) session: Option<InCase>,
    /// `None` when nothing is scored.
    pub(super) done: Option<Done>,
    pub(super) notices: Vec<Notice>,
    pub(super) left_out: Option<LeftOutAs>,
    pub(super) error: Option<RowError>,
}

/// What was found in an activity.
pub(super) struct Done {
    pub(super) segmentation: Segmentation,
    /// `None` when it is held against no stage.
    pub(super) audit: Option<Audit>,
    /// `None` when it is no session of the plan.
    pub(super) outcome: Option<Outcome>,
    /// What the stage prescribes in all.
    pub(super) prescribed: Option<PrescribedDose>,
}

impl Done {
    pub(super) fn bouts(&self) -> &[Bout] {
        self.segmentation.bouts()
    }

    pub(super) fn reps(&self) -> &[Rep] {
        self.audit.as_ref().map_or(&[], |audit| &audit.reps)
    }

    pub(super) fn findings(&self) -> &[Finding] {
        self.audit.as_ref().map_or(&[], |audit| &audit.findings)
    }

    /// What was done of the prescription; `None` when it is held against no stage.
    pub(super) fn dose(&self) -> Option<&Dose> {
        self.audit.as_ref().map(|audit| &audit.dose)
    }
}

/// What a recording is to the case that it lies in, and what the diary has of its day.
pub(super) struct InCase {
    /// Number of its session, from 1; the parts of one share it.
    pub(super) number: usize,
    /// `None` only where shifting it for privacy leaves the calendar.
    pub(super) date: Option<Date>,
    pub(super) kind: SessionKind,
    pub(super) stage_from: Option<StageSource>,
    /// `None` unless the stage was recognised.
    pub(super) stage_certainty: Option<f64>,
    /// Repetitions that were due, where their number rises from session to session.
    pub(super) repetitions: Option<u32>,
    pub(super) pain_during: Option<f64>,
    pub(super) pain_pattern: Option<Pattern>,
    pub(super) pain_next_morning: Option<f64>,
    pub(super) effort: Option<f64>,
}

/// Why a recording is no session: a code and a sentence.
pub(super) struct LeftOutAs {
    pub(super) code: &'static str,
    pub(super) text: String,
}

impl LeftOutAs {
    /// The code of training besides running that the plan names.
    pub(super) const AGREED: &str = "agreed_training";
}

/// Why a recording has no result: a stable code of [`ERROR_CODES`] and a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct RowError {
    pub(super) code: &'static str,
    pub(super) text: String,
}

/// Every `error_code` and what it means.
pub(super) const ERROR_CODES: [(&str, &str); 26] = [
    ("not_found", "there is no file of that name"),
    ("no_permission", "the file may not be read"),
    ("is_folder", "the path is a folder"),
    ("file_too_large", "the file is larger than 256 MiB"),
    ("not_readable", "the system could not read the file"),
    ("not_in_roster", "no line of the roster is for this path; it was not read"),
    ("no_plan", "the recording lies in no case: nothing says what was prescribed; it was not read"),
    ("case_not_readable", "the case that it lies in could not be read"),
    ("internal", "a bug of ours; please report it"),
    ("empty", "the file has no bytes"),
    ("unknown_format", "the content is none of FIT, GPX and TCX"),
    ("gzip_unreadable", "nothing could be unfolded from the gzip data"),
    ("unzipped_too_large", "zipped content unfolds to more than is allowed"),
    ("unfolds_too_far", "zipped content unfolds as no recording does"),
    ("zip_unreadable", "nothing could be unfolded from the zip archive"),
    ("zip_too_many_files", "the zip archive lists too many files"),
    ("too_many_activities", "the file holds more activities than are read"),
    ("too_many_samples", "the file holds more samples than are read"),
    ("zip_locked", "the zip archive is locked with a password"),
    ("zip_method", "the zip archive is packed by a method that is not known here"),
    ("no_recording_in_zip", "the zip archive holds no recording"),
    ("cut_before_first_sample", "the file is cut before its first whole sample"),
    ("no_times", "no point has a time"),
    ("only_route", "a route to follow, nothing recorded"),
    ("not_a_recording", "a FIT file that is not a recorded activity"),
    ("no_samples", "an activity without samples"),
];

impl RowError {
    /// The code's own sentence, which names nothing of the file.
    pub(super) fn standard(code: &'static str) -> Self {
        let text = ERROR_CODES.iter().find(|(known, _)| *known == code).map_or("", |(_, text)| text);
        Self { code, text: text.to_owned() }
    }

    /// A file whose bytes are no recording.
    pub(super) fn read(error: &ReadError) -> Self {
        Self { code: error.kind.code(), text: error.to_string() }
    }

    pub(super) fn io(error: &io::Error) -> Self {
        match code_of(error) {
            code @ "not_readable" => Self { code, text: error.to_string() },
            code => Self::standard(code),
        }
    }
}

/// Whether what lies in a folder and could not be read is none of its recordings.
pub(super) fn is_none(path: &Path, error: &RowError) -> bool {
    match error.code {
        "unknown_format" | "empty" => is_named_as_none(path),
        // A workout for a watch, a course, settings.
        "not_a_recording" => true,
        _ => false,
    }
}

/// Reads and checks the recordings of a file. Never fails: what goes wrong is in the result, also a bug of ours. Nothing for
/// what was found in a folder and is no recording.
pub(super) fn score(input: &FileInput, plans: &Plans, config: &Config, with_sha256: bool) -> Vec<Scored> {
    let bytes = || bytes_of(&input.path);
    score_bytes(input, bytes, plans, config, with_sha256)
}

/// The same of a file whose bytes come from elsewhere. They are not asked for where nothing says what was prescribed.
pub(super) fn score_bytes<B: AsRef<[u8]>>(
    input: &FileInput,
    bytes: impl FnOnce() -> Result<B, RowError>,
    plans: &Plans,
    config: &Config,
    with_sha256: bool,
) -> Vec<Scored> {
    let of_file = || blank(input, plans);
    let read = input.prescribed.as_ref().map_err(|code| RowError::standard(code));
    let read = read.and_then(|prescribed| Ok((prescribed, bytes()?)));
    let (prescribed, bytes) = match &read {
        Err(error) => return vec![Scored { error: Some(error.clone()), ..of_file() }],
        Ok((prescribed, bytes)) => (prescribed, bytes.as_ref()),
    };
    let check = AssertUnwindSafe(|| checked(bytes, prescribed, plans, config));
    let checked = catch_unwind(check).unwrap_or_else(|_| Err(RowError::standard("internal")));
    let mut rows = match checked {
        Err(error) if input.is_found && is_none(&input.path, &error) => return Vec::new(),
        Err(error) => vec![Scored { error: Some(error), ..of_file() }],
        Ok(activities) => activities,
    };
    let (blake3, sha256) = (blake3(bytes), with_sha256.then(|| sha256(bytes)));
    for row in &mut rows {
        let Scored { path, participant, plan, stage, .. } = of_file();
        *row = Scored {
            path,
            participant,
            plan,
            stage,
            blake3: Some(blake3.clone()),
            sha256: sha256.clone(),
            ..std::mem::take(row)
        };
    }
    rows
}

/// What stands for the content of a file: the hash of its bytes, or why they cannot be read.
pub(super) fn fingerprint(input: &FileInput) -> String {
    let read = input.prescribed.as_ref().map_err(|code| RowError::standard(code));
    let bytes = read.and_then(|_| bytes_of(&input.path));
    bytes.map_or_else(|error| error.code.to_owned(), |bytes| blake3(&bytes))
}

impl Scored {
    /// What stands for the content of its file: the hash of the bytes, or why they cannot be read.
    pub(super) fn fingerprint(&self) -> String {
        match (&self.blake3, &self.error) {
            (Some(blake3), _) => blake3.clone(),
            (None, Some(error)) => error.code.to_owned(),
            (None, None) => String::new(),
        }
    }
}

fn blank(input: &FileInput, plans: &Plans) -> Scored {
    let prescribed = input.prescribed.as_ref().ok();
    Scored {
        path: input.path.to_string_lossy().into_owned(),
        participant: prescribed.and_then(|p| p.participant.clone()),
        plan: prescribed.map(|p| plans.plan(p).title.clone()),
        stage: prescribed.map(|p| plans.stage(p).name.clone()),
        ..Scored::default()
    }
}

fn bytes_of(path: &Path) -> Result<Vec<u8>, RowError> {
    files::plain_bytes(path, MAX_RECORDING_BYTES).map_err(|error| RowError::io(&error))
}

/// Every activity of a file, held against a stage.
fn checked(
    bytes: &[u8],
    prescribed: &Prescribed,
    plans: &Plans,
    config: &Config,
) -> Result<Vec<Scored>, RowError> {
    let activities = activities(bytes, config).map_err(|error| RowError::read(&error))?;
    let (plan, stage) = (plans.plan(prescribed), plans.stage(prescribed));
    let dose = stage.session.dose();
    let check = |(index, activity): (usize, Activity)| {
        let checked = activity.check(Prescription::of(plan, stage), config, false);
        let off_foot = activity.series.is_none().then(|| LeftOutAs {
            code: LeftOutCode::NotOnFoot.word(),
            text: checked.notices.last().map(|notice| notice.text.clone()).unwrap_or_default(),
        });
        let done = off_foot.is_none().then_some(checked.audit).map(|audit| Done {
            outcome: Some(audit.as_ref().map_or(Outcome::Undecided, |audit| audit.outcome)),
            audit,
            prescribed: Some(dose),
            segmentation: activity.segmentation.clone(),
        });
        Scored {
            activity: Some(index + 1),
            start: Some(activity.facts.start),
            elapsed_s: Some(activity.segmentation.elapsed_s()),
            facts: Some(activity.facts),
            done,
            notices: checked.notices,
            left_out: off_foot,
            ..Scored::default()
        }
    };
    Ok(activities.into_iter().enumerate().map(check).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use jogaudit_recording::read::ReadErrorKind;

    #[test]
    fn every_code_is_listed_once() {
        let kinds = [
            ReadErrorKind::Empty,
            ReadErrorKind::UnknownFormat { looks_like: String::new() },
            ReadErrorKind::GzipUnreadable,
            ReadErrorKind::TooLarge { limit_bytes: 1 },
            ReadErrorKind::UnfoldsTooFar { limit_times: 1 },
            ReadErrorKind::ZipUnreadable,
            ReadErrorKind::ZipTooManyFiles { limit: 1 },
            ReadErrorKind::TooManyActivities { limit: 1 },
            ReadErrorKind::TooManySamples { limit: 1 },
            ReadErrorKind::ZipLocked,
            ReadErrorKind::ZipMethod { method: String::new() },
            ReadErrorKind::NoRecordingInZip { files: 1, first: String::new() },
            ReadErrorKind::CutBeforeFirstSample,
            ReadErrorKind::NoTimes { points: 1 },
            ReadErrorKind::OnlyRoute,
            ReadErrorKind::NotARecording { content: "" },
            ReadErrorKind::NoSamples,
        ];
        let mut listed: Vec<&str> = ERROR_CODES.iter().map(|(code, _)| *code).collect();
        assert!(kinds.iter().all(|kind| listed.contains(&kind.code())));
        listed.sort_unstable();
        listed.dedup();
        assert_eq!(listed.len(), ERROR_CODES.len());
        assert_eq!(listed.len(), kinds.len() + 9);
    }
}
