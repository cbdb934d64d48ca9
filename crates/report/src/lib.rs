//! What was found, in words, tables and pictures.
//!
//! | goes in, of `jogaudit-core` | view | comes out |
//! |---|---|---|
//! | bouts | [`BoutsView`] | [`text`], [`json`], [`csv`] |
//! | the audit of a session | [`CheckView`], its curves [`Charts`] | [`text`], [`json`], [`html`] |
//! | the review of a case | [`ReviewView`] | [`review_text`], [`json`], [`html`] |
//! | a stage of a plan | [`card::CardView`] | [`card`] |
//! | a plan for the patient | [`HandoutView`] | [`html`] |
//! | a plan | [`plan_show`], [`plan_lint`], [`plan_draft`] | text, JSON, TOML |
//! | agreement of two measurements | [`agree_view`] | [`agree_text`], [`agree_plot`], JSON |
//!
//! A view holds what is shown, already rounded and worded; the exporters only lay it out, so that all forms say the
//! same. Units are those of the names: `_s` seconds, `_m` metres, `_mps` metres a second, `_spm` steps a minute (both
//! feet), `_bpm` beats a minute, `_s_per_km` seconds a kilometre.
//!
//! **Promised**: each exporter returns the whole document and touches no file, clock, terminal or environment; the same
//! view gives the same bytes; a certainty never gains by rounding; what is not known is `null`, empty or `–`, never 0;
//! no report carries a coordinate; no check, review or card is without its cautions. Text is at most 80 columns wide
//! and has its styles as ANSI codes, which a caller strips for a file; no meaning hangs on them. HTML is one file
//! without script that loads nothing.
//!
//! # Example
//!
//! ```
//! use jogaudit_core::gait::{Bout, Gait, Segmentation};
//! use jogaudit_recording::read::{Channel, Facts, Format, Sport};
//! use jogaudit_recording::units::LengthUnit;
//! use jogaudit_report::{BoutsView, Source, csv, text};
//!
//! let walk = Bout {
//!     gait: Gait::Walk,
//!     start_s: 0.0,
//!     end_s: 300.0,
//!     start_error_s: 0.0,
//!     end_error_s: 1.2,
//!     certainty: 0.998,
//!     distance_m: Some(431.68),
//!     mean_speed_mps: Some(1.4389),
//!     mean_cadence_spm: Some(112.62),
//!     mean_heart_rate_bpm: None,
//! };
//! let facts = Facts {
//!     format: Format::Gpx,
//!     sport: Sport::Walking,
//!     start: "2026-03-02T07:10:00Z".parse()?,
//!     utc_offset_s: None,
//!     samples: 301,
//!     channels: vec![Channel::Cadence, Channel::Position],
//! };
//! let bouts = Segmentation::new(vec![walk]).ok_or("the bouts do not tile")?;
//! let source = Source { facts: &facts, sha256: &"0".repeat(64) };
//! let view = BoutsView::new(source, &bouts, &[], LengthUnit::Kilometre);
//!
//! assert_eq!(csv::bouts(&view).lines().nth(1), Some("walk,0,300,0.998,431.7,1.44,112.6,"));
//! assert!(text::bouts(&view, true).contains("In all: walk 5:00."));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

pub mod agree_plot;
pub mod agree_text;
pub mod agree_view;
pub mod card;
pub mod chart;
pub mod csv;
pub mod days;
mod document;
pub mod ends;
mod handout;
pub mod html;
pub mod json;
mod lengths;
pub mod mark;
mod numbers;
mod outside;
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
pub use handout::{HandoutView, pattern_words, session_lines};
pub use outside::{escaped, escaped_lines, escaped_prose, is_unseen, isolated};
pub use review_view::{ReviewParts, ReviewView};
pub use view::{BoutsView, CheckReport, CheckView, Source};
pub use wording::{capitalised, how_many};
