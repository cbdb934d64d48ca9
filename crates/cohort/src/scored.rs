//! One recording → everything that its rows say.

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};

use jiff::Timestamp;

use jogaudit_case::{MAX_RECORDING_BYTES, code_of, sha256};
use jogaudit_core::audit::{Audit, Dose, Finding, Outcome, Prescription, Rep};
use jogaudit_core::gait::{Bout, Segmentation};
use jogaudit_core::pipeline::{ActivityError, Config, activity};
use jogaudit_core::prescription::PrescribedDose;
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;
use jogaudit_recording::read::Facts;

use super::inputs::Input;
use super::prescribed::Plans;

/// A recording that was tried, with what came of it.
pub(super) struct Scored {
    pub(super) path: String,
    pub(super) participant: Option<String>,
    pub(super) plan: Option<String>,
    pub(super) stage: Option<String>,
    /// Of the bytes as given; `None` when they could not be read.
    pub(super) sha256: Option<String>,
    pub(super) done: Result<Done, RowError>,
}

/// What was found in a recording.
pub(super) struct Done {
    pub(super) facts: Facts,
    pub(super) segmentation: Segmentation,
    /// `None` when nothing is scored.
    pub(super) audit: Option<Audit>,
    /// What the stage prescribes in all.
    pub(super) prescribed: PrescribedDose,
    pub(super) notices: Vec<Notice>,
    /// `None` only where shifting it for privacy leaves the calendar.
    pub(super) start: Option<Timestamp>,
}

impl Done {
    pub(super) fn outcome(&self) -> Outcome {
        self.audit.as_ref().map_or(Outcome::Undecided, |audit| audit.outcome)
    }

    pub(super) fn bouts(&self) -> &[Bout] {
        self.segmentation.bouts()
    }

    pub(super) fn reps(&self) -> &[Rep] {
        self.audit.as_ref().map_or(&[], |audit| &audit.reps)
    }

    pub(super) fn findings(&self) -> &[Finding] {
        self.audit.as_ref().map_or(&[], |audit| &audit.findings)
    }

    /// What was done; `None` when nothing is scored.
    pub(super) fn dose(&self) -> Option<&Dose> {
        self.audit.as_ref().map(|audit| &audit.dose)
    }
}

/// Why a recording has no result: a stable code of [`ERROR_CODES`] and a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct RowError {
    pub(super) code: &'static str,
    pub(super) text: String,
}

/// Every `error_code` and what it means.
pub(super) const ERROR_CODES: [(&str, &str); 24] = [
    ("not_found", "there is no file of that name"),
    ("no_permission", "the file may not be read"),
    ("is_folder", "the path is a folder"),
    ("file_too_large", "the file is larger than 256 MiB"),
    ("not_readable", "the system could not read the file"),
    ("not_in_roster", "no line of the roster is for this path; it was not read"),
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
    pub(super) fn not_in_roster() -> Self {
        Self::standard("not_in_roster")
    }

    /// The code's own sentence, which names nothing of the file.
    pub(super) fn standard(code: &'static str) -> Self {
        let text = ERROR_CODES.iter().find(|(known, _)| *known == code).map_or("", |(_, text)| text);
        Self { code, text: text.to_owned() }
    }

    fn io(error: &io::Error) -> Self {
        match code_of(error) {
            code @ "not_readable" => Self { code, text: error.to_string() },
            code => Self::standard(code),
        }
    }
}

/// Reads and checks one recording. Never fails: what goes wrong is in the result, also a bug of ours.
pub(super) fn score(input: &Input, plans: &Plans, config: &Config) -> Scored {
    score_bytes(input, bytes_of(input).as_deref(), plans, config)
}

/// The same of an input whose bytes, or why there are none, are known.
pub(super) fn score_bytes(
    input: &Input,
    bytes: Result<&[u8], &RowError>,
    plans: &Plans,
    config: &Config,
) -> Scored {
    let mut scored = blank(input, plans);
    match bytes {
        Err(error) => scored.done = Err(error.clone()),
        Ok(bytes) => {
            let check = AssertUnwindSafe(|| check(bytes, input, plans, config));
            scored.done = catch_unwind(check).unwrap_or_else(|_| Err(RowError::standard("internal")));
            scored.sha256 = Some(sha256(bytes));
        }
    }
    scored
}

/// What stands for the content of an input: the hash of its bytes, or why they cannot be read.
pub(super) fn fingerprint(input: &Input) -> String {
    bytes_of(input).map_or_else(|error| error.code.to_owned(), |bytes| sha256(&bytes))
}

impl Scored {
    /// The same for what was tried.
    pub(super) fn fingerprint(&self) -> String {
        match (&self.sha256, &self.done) {
            (Some(sha256), _) => sha256.clone(),
            (None, Err(error)) => error.code.to_owned(),
            (None, Ok(_)) => String::new(),
        }
    }
}

fn blank(input: &Input, plans: &Plans) -> Scored {
    let prescribed = input.prescribed.as_ref();
    Scored {
        path: input.path.to_string_lossy().into_owned(),
        participant: prescribed.and_then(|p| p.participant.clone()),
        plan: prescribed.map(|p| plans.plan(p).title.clone()),
        stage: prescribed.map(|p| plans.stage(p).name.clone()),
        sha256: None,
        done: Err(RowError::not_in_roster()),
    }
}

fn bytes_of(input: &Input) -> Result<Vec<u8>, RowError> {
    if input.prescribed.is_none() {
        return Err(RowError::not_in_roster());
    }
    files::plain_bytes(&input.path, MAX_RECORDING_BYTES).map_err(|error| RowError::io(&error))
}

fn check(bytes: &[u8], input: &Input, plans: &Plans, config: &Config) -> Result<Done, RowError> {
    let prescribed = input.prescribed.as_ref().ok_or_else(RowError::not_in_roster)?;
    let activity = activity(bytes, None, config).map_err(|error| match error {
        ActivityError::Read(error) => RowError { code: error.kind.code(), text: error.to_string() },
        ActivityError::NoSuchActivity { .. } => RowError::standard("internal"),
    })?;
    let (plan, stage) = (plans.plan(prescribed), plans.stage(prescribed));
    let checked = activity.check(Prescription::of(plan, stage), config, false);
    Ok(Done {
        prescribed: stage.session.dose(),
        audit: checked.audit,
        notices: checked.notices,
        start: Some(activity.facts.start),
        segmentation: activity.segmentation,
        facts: activity.facts,
    })
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
        assert_eq!(listed.len(), kinds.len() + 7);
    }
}
