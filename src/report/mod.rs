//! Audit and bouts → text, JSON, CSV.
//!
//! All rounding and all wording happen once, in [`view`]; the exporters only lay out. Each returns the whole text and
//! touches no file.

pub mod csv;
pub mod json;
mod strip;
pub mod text;
pub mod view;
mod wording;

pub use view::{BoutsView, CheckView, RecordingFacts};
