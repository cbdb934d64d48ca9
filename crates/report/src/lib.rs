//! Audit, bouts, plans and review → text, JSON, CSV, TOML.
//!
//! All rounding and all wording happen once, in [`view`]; the exporters only lay out. Each returns the whole text and
//! touches no file.

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

pub mod agree_plot;
pub mod agree_text;
pub mod agree_view;
pub mod card;
pub mod chart;
pub mod csv;
pub mod html;
pub mod json;
pub mod mark;
pub mod plan_draft;
pub mod plan_lint;
pub mod plan_show;
pub mod review_text;
pub mod review_view;
mod review_wording;
mod strip;
pub mod text;
pub mod view;
mod word;
mod wording;

pub use chart::Charts;
pub use review_view::{ReviewParts, ReviewView};
pub use view::{BoutsView, CheckView, RecordingFacts};
