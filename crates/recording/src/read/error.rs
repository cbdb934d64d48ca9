//! Why a recording could not be read.

use crate::notice::Place;

use super::Format;

/// Nothing usable could be made of an input.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{kind}{}", place_suffix(.at))]
pub struct ReadError {
    /// The format, once it was told.
    pub format: Option<Format>,
    /// Where, as far as known.
    pub at: Place,
    /// What.
    pub kind: ReadErrorKind,
}

impl ReadError {
    pub(super) fn new(format: impl Into<Option<Format>>, kind: ReadErrorKind) -> Self {
        Self { format: format.into(), at: Place::default(), kind }
    }

    pub(super) fn at(mut self, at: Place) -> Self {
        self.at = at;
        self
    }
}

fn place_suffix(at: &Place) -> String {
    if *at == Place::default() { String::new() } else { format!(" ({at})") }
}

/// What went wrong. Each message ends with what to do.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadErrorKind {
    /// The input has no bytes.
    #[error("the input is empty: export the recording again")]
    Empty,
    /// The content is none of FIT, GPX and TCX.
    #[error("not a FIT, GPX or TCX recording but {looks_like}: export the activity in one of these formats")]
    UnknownFormat {
        /// What the content looks like, as a noun with its article.
        looks_like: String,
    },
    /// A gzip envelope from which not one byte could be unfolded.
    #[error("the gzip data cannot be unfolded: download or export the file again")]
    GzipUnreadable,
    /// The zipped content is larger than the configured limit.
    #[error(
        "the zipped content unfolds to more than {limit_bytes} bytes: unzip it yourself if that is what you expect"
    )]
    TooLarge {
        /// The limit that was passed.
        limit_bytes: u64,
    },
    /// The zipped content is larger than any recording would be.
    #[error(
        "the zipped content unfolds to more than {limit_times} times its size, as no recording does: export it again, or \
         unzip it yourself if that is what you expect"
    )]
    UnfoldsTooFar {
        /// The limit that was passed.
        limit_times: u64,
    },
    /// A zip archive, or a file in it, from which not one byte could be unfolded.
    #[error("the zip archive holds no file that can be unfolded: download or export it again")]
    ZipUnreadable,
    /// The archive lists more files than are looked at.
    #[error("the zip archive lists more than {limit} files: unzip it yourself and pass the file inside")]
    ZipTooManyFiles {
        /// The limit that was passed.
        limit: u64,
    },
    /// More activities than one file is read for.
    #[error("more than {limit} activities in one file: export them one by one")]
    TooManyActivities {
        /// The limit that was passed.
        limit: usize,
    },
    /// More samples than one activity is read for.
    #[error("more than {limit} samples in one activity: export shorter activities")]
    TooManySamples {
        /// The limit that was passed.
        limit: usize,
    },
    /// A file in a zip archive is encrypted.
    #[error("the zip archive is locked with a password: unzip it yourself and pass the file inside")]
    ZipLocked,
    /// A file in a zip archive is packed by a method other than deflate.
    #[error(
        "the zip archive is packed with {method}, which is not known here: unzip it yourself and pass the file inside"
    )]
    ZipMethod {
        /// The method's name.
        method: String,
    },
    /// A zip archive of other things.
    #[error(
        "no FIT, GPX or TCX recording among the {files} files of the zip archive (the first is {first}): export the \
         activity in one of these formats"
    )]
    NoRecordingInZip {
        /// How many files were looked at.
        files: u64,
        /// Name of the first and what it looks like.
        first: String,
    },
    /// The file ends before the first whole sample.
    #[error("the file is cut before its first whole sample: export or copy it again")]
    CutBeforeFirstSample,
    /// There are points, but none says when it was taken.
    #[error(
        "none of the {points} points has a time that can be read: export the recorded activity, not a drawn course"
    )]
    NoTimes {
        /// How many points were found.
        points: u64,
    },
    /// There are records, but none says when it was made.
    #[error(
        "none of the {records} records says when it was made: a recorder writes that in each, so export the activity again \
         from the recorder itself"
    )]
    RecordsWithoutTimes {
        /// How many records were found.
        records: u64,
    },
    /// Only places to go, nothing recorded.
    #[error("only waypoints or a route to follow, nothing recorded: export the recorded activity instead")]
    OnlyRoute,
    /// A file of a recording's format that is meant for something else.
    #[error("the file holds {content}, not a recorded activity: export the activity itself")]
    NotARecording {
        /// What it holds, as a noun with its article.
        content: &'static str,
    },
    /// An activity without a single sample.
    #[error("the activity has no samples (an entry made by hand, or only totals): export it with its track")]
    NoSamples,
}

impl ReadErrorKind {
    /// Stable code in `snake_case` for tables; `docs/columns.md` lists them.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::UnknownFormat { .. } => "unknown_format",
            Self::GzipUnreadable => "gzip_unreadable",
            Self::TooLarge { .. } => "unzipped_too_large",
            Self::UnfoldsTooFar { .. } => "unfolds_too_far",
            Self::ZipUnreadable => "zip_unreadable",
            Self::ZipTooManyFiles { .. } => "zip_too_many_files",
            Self::TooManyActivities { .. } => "too_many_activities",
            Self::TooManySamples { .. } => "too_many_samples",
            Self::ZipLocked => "zip_locked",
            Self::ZipMethod { .. } => "zip_method",
            Self::NoRecordingInZip { .. } => "no_recording_in_zip",
            Self::CutBeforeFirstSample => "cut_before_first_sample",
            Self::NoTimes { .. } | Self::RecordsWithoutTimes { .. } => "no_times",
            Self::OnlyRoute => "only_route",
            Self::NotARecording { .. } => "not_a_recording",
            Self::NoSamples => "no_samples",
        }
    }
}
