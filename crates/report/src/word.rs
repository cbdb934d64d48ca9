//! Enums of the core as their stable words in the documents.

use serde::Serializer;

use jogaudit_core::audit::{Code, Outcome};
use jogaudit_core::gait::Gait;
use jogaudit_core::prescription::lint::{LintCode, RemarkUnit};
use jogaudit_core::prescription::{Move, PaceBasis};
use jogaudit_core::review::{
    LeftOutCode, Pattern, Recommendation, RiseBand, RuleCode, SessionKind, StageSource, WeekOutcome,
    WeeklyCode,
};
use jogaudit_recording::notice::NoticeCode;
use jogaudit_recording::units::Unit;

/// A value that the documents write as one word, which programs rely on.
pub(super) trait StableWord: Copy {
    /// The word.
    fn stable_word(self) -> &'static str;
}

macro_rules! stable_words {
    ($($name:ty),*) => {
        $(impl StableWord for $name {
            fn stable_word(self) -> &'static str {
                self.word()
            }
        })*
    };
}

stable_words!(
    Code,
    Gait,
    LeftOutCode,
    LintCode,
    Move,
    NoticeCode,
    Outcome,
    PaceBasis,
    Pattern,
    Recommendation,
    RemarkUnit,
    RiseBand,
    RuleCode,
    WeekOutcome,
    SessionKind,
    StageSource,
    Unit,
    WeeklyCode
);

/// Writes the word.
pub(super) fn as_word<W: StableWord, S: Serializer>(value: &W, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(value.stable_word())
}

/// Writes the word, or null.
#[expect(clippy::ref_option, reason = "serde gives references")]
pub(super) fn as_word_or_null<W: StableWord, S: Serializer>(
    value: &Option<W>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    match value {
        Some(value) => serializer.serialize_some(value.stable_word()),
        None => serializer.serialize_none(),
    }
}
