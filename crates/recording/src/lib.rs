//! Bytes of a FIT, GPX or TCX file → [`Recording`](read::Recording)s: what is readable is read, the rest is said.
//!
//! | module | holds |
//! |---|---|
//! | [`read`] | [`read::read`], the one way in, and what it gives |
//! | [`notice`] | trouble that is not fatal, as a stable code and a sentence |
//! | [`workout`] | a workout as a watch runs it |
//! | [`mod@write`] | what writers of the formats stand on |
//! | [`units`] | typed quantities: SI, the unit in the name |
//! | [`geodesy`] | checked positions and distances on WGS 84 |
//! | [`physiology`] | published equations of the cost of moving |
//!
//! **In:** the bytes of one file; plain, gzipped or any number of files in a zip archive. The format is told by the content.
//! **Out:** one recording an activity, in the order of the file, with notices about what was amiss.
//! **Units:** times in seconds from the earliest sample, pauses included; positions in degrees; metres, metres a second, beats
//! a minute; cadence always in steps a minute of both feet, whatever the file counts. A value that the file does not have is
//! `None`.
//! **Errors:** only when nothing usable can be made of the input; [`read::ReadErrorKind`] lists them, each message says what
//! to do. No input makes it panic, and none costs more time or memory than its size explains.
//!
//! It knows no files, clock or environment, and builds for WebAssembly.
//!
//! ```
//! use jogaudit_recording::notice::NoticeCode;
//! use jogaudit_recording::read::{Format, ReadConfig, Sport, read};
//!
//! let gpx = r#"<gpx version="1.1"><trk><type>running</type><trkseg>
//!   <trkpt lat="0.5000" lon="0.5"><time>2026-03-02T07:10:00Z</time></trkpt>
//!   <trkpt lat="0.5002" lon="0.5"><time>2026-03-02T07:10:10Z</time>
//!     <extensions><cad>80</cad><hr>131</hr></extensions></trkpt>
//! </trkseg></trk></gpx>"#;
//!
//! let noted = read(gpx.as_bytes(), &ReadConfig::default())?;
//! let [recording] = noted.value.as_slice() else { panic!("one activity") };
//! assert_eq!((recording.format(), recording.sport()), (Format::Gpx, &Sport::Running));
//! assert_eq!(recording.start().to_string(), "2026-03-02T07:10:00Z");
//!
//! let [first, second] = recording.samples() else { panic!("two samples") };
//! assert_eq!((first.time_s, first.heart_rate), (0.0, None));
//! assert_eq!((second.time_s, second.heart_rate.map(|rate| rate.get())), (10.0, Some(131.0)));
//!
//! // The file does not say whether 80 a minute counts one leg or both: 22 m in 10 s at 80 steps a minute would be steps of
//! // 1.67 m, so it is one leg's. That is said, too.
//! assert_eq!(second.cadence.map(|steps| steps.get()), Some(160.0));
//! assert_eq!(noted.notices[0].code, NoticeCode::CadenceDoubled);
//! assert!(noted.notices[0].text.contains("mean step 1.67 m"));
//! # Ok::<(), jogaudit_recording::read::ReadError>(())
//! ```

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

pub mod geodesy;
pub mod notice;
pub mod physiology;
pub mod read;
pub mod units;
pub mod workout;
pub mod write;
