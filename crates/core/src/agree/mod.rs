//! Agreement of a reference with what is held against it: bouts with bouts, scores with scores. Pure statistics, and the
//! forms in which the two sides come.

pub mod bootstrap;
pub mod bouts;
mod compare;
pub mod input;
pub mod kappa;
pub mod scores;

pub use compare::{ComparedBouts, ComparedColumn, ComparedScores, compare_bouts, compare_scores};

/// Why a figure cannot be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Undefined {
    /// Nothing is left to compare.
    #[error("there is nothing to compare")]
    Nothing,
    /// Fewer pairs than an estimate and its spread need.
    #[error("fewer than 3 pairs")]
    TooFew,
    /// One value throughout.
    #[error("the values of one side do not vary")]
    NoSpread,
    /// Both sides equal, value by value.
    #[error("both sides are the same, value by value")]
    NoDifference,
    /// Both sides know one category only: agreement by chance is certain.
    #[error("both sides name one gait throughout")]
    OneCategory,
    /// Fewer recordings than an interval needs.
    #[error("fewer than {} recordings", bootstrap::LEAST_RECORDINGS)]
    FewRecordings,
    /// A draw of recordings leaves the figure undefined.
    #[error("some draws of recordings leave nothing to compare")]
    InSomeDraws,
    /// The arithmetic has no finite result.
    #[error("the values have no finite result")]
    NotFinite,
}
