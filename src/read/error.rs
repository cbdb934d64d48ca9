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
    /// Only places to go, nothing recorded.
    #[error("only waypoints or a route to follow, nothing recorded: export the recorded activity instead")]
    OnlyRoute,
    /// A FIT file that is meant for something else.
    #[error("a FIT file that holds {content}, not a recorded activity: export the activity itself")]
    NotARecording {
        /// What it holds, as a noun with its article.
        content: &'static str,
    },
    /// An activity without a single sample.
    #[error("the activity has no samples (an entry made by hand, or only totals): export it with its track")]
    NoSamples,
}
