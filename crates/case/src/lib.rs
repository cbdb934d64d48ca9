//! A case, wherever it lies: plan, diary, stages, visits and recordings; its review; what is written to it; the case as a zip.
//!
//! | item | does |
//! |---|---|
//! | [`CaseFiles`], [`CaseWriter`] | what a case is to everything here: files by their names in it |
//! | [`MemoryCase`], [`from_zip`], [`to_zip`] | a case in memory, read from a zip, written to one |
//! | [`read_case`], [`Case::review`] | reads a case, reviews it as it stood on a day |
//! | [`share`] | a case to send, its recordings without places |
//! | [`activities`], [`input_in`], [`plan_in`], [`stage`] | recordings and plans from bytes |
//! | [`edit`] | writes to a case: a recording, a day of the diary, a stage, a visit, the plan |
//! | [`Failure`] | what could not be done, where, and what to do: the command prints it, the page shows it |
//!
//! **Errors:** every function that can fail gives a [`Failure`]; [`Failure::exit_code`] is what the command ends with.
//! A recording of a case that cannot be read is no failure: it is listed in the review with the reason.
//!
//! ```
//! use std::path::Path;
//!
//! use jogaudit_case::{MemoryCase, from_zip, read_case, read_in_turn, to_zip};
//! use jogaudit_core::pipeline::Config;
//!
//! let text = |name: &str, text: &str| (name.to_owned(), text.as_bytes().to_vec());
//! let case = MemoryCase::new(Path::new("case"), vec![
//!     text("plan.toml", "[[stage]]\nname = '1'\nsession = 'walk 5:00, 6 x (run 1:00, walk 2:00)'\n"),
//!     text("diary.csv", "date,pain_during,pain_next_morning,effort\n2026-03-02,0,0,3\n"),
//!     text("recordings/2026-03-02.gpx", "<gpx><trk><trkseg/></trk></gpx>"),
//! ]);
//!
//! // The same case, sent as a zip.
//! let case = from_zip(&to_zip(&case)?, Path::new("case.zip"))?;
//! let config = Config::default();
//! let read = read_case(&case, &|names| read_in_turn(&case, names, &config))?;
//! let review = read.review(jiff::civil::date(2026, 3, 3), &config);
//! assert!(review.sessions.is_empty());
//! let [left_out] = review.left_out.as_slice() else { panic!("one recording") };
//! assert_eq!(left_out.recording, "2026-03-02.gpx");
//! assert!(left_out.text.starts_with("Not readable: "), "{}", left_out.text);
//!
//! // What cannot be done says what to do.
//! let none = MemoryCase::new(Path::new("case"), Vec::new());
//! let failure = read_case(&none, &|_| Vec::new()).err().expect("no case");
//! assert_eq!(failure.exit_code(), 2);
//! assert!(failure.to_string().ends_with("hint: write the prescription to plan.toml in that folder\n"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

mod archive;
mod case;
pub mod edit;
mod failure;
mod hash;
mod input;
mod memory;
mod share;
mod store;

pub use archive::{MAX_ZIP_BYTES, NamedFiles, cases_in, from_zip, to_zip};
pub use case::{
    Activities, Case, CaseSessions, MAX_TABLE_BYTES, ReadAll, activities, activities_of, activity_name,
    case_recordings, due_in_case, read_case, read_in_turn, read_recording, table,
};
pub use failure::{Failure, code_of, named, named_output};
pub use hash::{blake3, hexadecimal, sha256};
pub use input::{
    Input, MAX_PLAN_BYTES, MAX_RECORDING_BYTES, MAX_UNZIPPED_MIB, case_plan, config_unzipping, input_in,
    plan_in, readings_in, stage,
};
pub use memory::MemoryCase;
pub use share::{
    NOT_HIDDEN, ShareAll, SharedCase, SharedRecording, share, share_recording, share_with_places,
};
pub use store::{CaseFiles, CaseWriter, RECORDINGS, Stamp, TABLES, bytes, recording_name, too_large};
