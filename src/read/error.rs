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

fn place_suffix(at: &Place) -> String {
    if *at == Place::default() { String::new() } else { format!(" ({at})") }
}

/// What went wrong.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadErrorKind {
    /// The input has no bytes.
    #[error("the input is empty")]
    Empty,
}
