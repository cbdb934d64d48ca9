//! Audit, bouts and review → text, JSON, CSV.
//!
//! All rounding and all wording happen once, in [`view`]; the exporters only lay out. Each returns the whole text and
//! touches no file.

pub mod csv;
pub mod json;
pub mod review_text;
pub mod review_view;
mod review_wording;
mod strip;
pub mod text;
pub mod view;
mod wording;

pub use review_view::{ReviewParts, ReviewView};
pub use view::{BoutsView, CheckView, RecordingFacts};
