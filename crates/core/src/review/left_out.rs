//! A recording that is not reviewed, and why.

use jiff::Timestamp;

use crate::codes::codes;
use jogaudit_recording::read::{Recording, Sport};

codes! {
    /// Why a recording is not reviewed.
    pub enum LeftOutCode {
        /// The file holds nothing that can be read.
        Unreadable = "unreadable",
        /// Its sport is neither running nor walking.
        NotOnFoot = "not_on_foot",
        /// Another recording of the same time is kept.
        Duplicate = "duplicate",
        /// Its day lies after that of the review.
        AfterAsOf = "after_as_of",
    }
}

/// A recording that is not reviewed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Its name.
    pub name: String,
    /// What kind of reason.
    pub code: LeftOutCode,
    /// Why, in one sentence.
    pub text: String,
    /// What was recorded, when it is another sport.
    pub other: Option<OtherRecording>,
}

impl LeftOut {
    /// A recording that is left out for a reason in one sentence.
    pub const fn new(name: String, code: LeftOutCode, text: String) -> Self {
        Self { name, code, text, other: None }
    }
}

/// A recording of another sport.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OtherRecording {
    /// The sport in the file's own word.
    pub sport: String,
    /// Its first sample.
    pub start: Timestamp,
    /// The recorder's offset from UTC, s.
    pub utc_offset_s: Option<i32>,
    /// From its first to its last sample, in whole seconds.
    pub elapsed_s: u32,
}

impl OtherRecording {
    /// What a recording holds of another sport; `None` when it does not say that it is one.
    pub fn of(recording: &Recording) -> Option<Self> {
        let Sport::Other(sport) = recording.sport() else { return None };
        let (first, last) = (recording.samples().first()?, recording.samples().last()?);
        Some(Self {
            sport: sport.clone(),
            start: recording.start(),
            utc_offset_s: recording.utc_offset_s(),
            elapsed_s: (last.time_s - first.time_s).max(0.0).round() as u32,
        })
    }
}
