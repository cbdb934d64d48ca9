//! From a recording to what was done, and from there to how it stands to what was prescribed.
//!
//! | stage | takes | gives |
//! |---|---|---|
//! | [`clean`] | [`Recording`](jogaudit_recording::read::Recording): samples as a recorder wrote them | [`Series`](clean::Series): time strictly rising from 0, columns of one length, each change in a ledger |
//! | [`gait`] | `Series` | [`Segmentation`](gait::Segmentation): bouts of run, walk, stand or unknown that tile the recording, with standard errors of their ends and a certainty |
//! | [`prescription`] | the text of a plan | [`Plan`](prescription::Plan), its [`Stage`](prescription::Stage)s, and each session as [`Step`](prescription::Step)s |
//! | [`audit`] | `Segmentation`, `Series` and a [`Prescription`](audit::Prescription) | [`Matched`](audit::Matched), what was done with what was prescribed; from it [`Audit`](audit::Audit): reps, dose, findings and an [`Outcome`](audit::Outcome) |
//! | [`review`] | a plan, a diary and the recordings of weeks | [`Review`](review::Review): weeks, findings, what is recommended for the next session |
//! | [`agree`] | two sets of bouts or of scores | how far they agree |
//!
//! [`pipeline`] is the chain from bytes to an audit, and from a case to its review.
//!
//! Units are those of the names: `_s` seconds from the first sample on the wall clock, pauses included; `_m` metres,
//! `_mps` metres a second, `_s_per_km` seconds a kilometre, `_spm` steps a minute (both feet), `_bpm` beats a minute.
//! Certainties are probabilities, 0 to 1; errors are standard errors.
//!
//! **Promised**: pure functions, without files, clock, environment, printing or threads, so that the same input always
//! gives the same result; no panic, whatever was recorded or written; only text that is no plan is an error, all other
//! trouble is a [`Notice`](jogaudit_recording::notice::Notice) beside the result; what is not known is `None`, never 0;
//! what the data cannot tell is [`Undecided`](audit::Outcome::Undecided) and never taken for kept. `Kept` says that the
//! recording shows what was prescribed, not that it was safe.
//!
//! # Example
//!
//! A session whose second run went on for 30 s too long, its bouts made by hand:
//!
//! ```
//! use jogaudit_core::audit::{AuditConfig, Code, Matched, Outcome, Prescription};
//! use jogaudit_core::clean::{Columns, Series, SpeedSource};
//! use jogaudit_core::gait::{Bout, Gait, Segmentation};
//! use jogaudit_core::prescription::Plan;
//!
//! let plan = Plan::parse("
//!     [[stage]]
//!     name = 'first'
//!     session = 'walk 5:00, 3 x (run 1:00, walk 2:00)'
//! ")?.value;
//!
//! let (run, walk) = (Gait::Run, Gait::Walk);
//! let done = [(walk, 300.0), (run, 60.0), (walk, 120.0), (run, 90.0), (walk, 120.0), (run, 60.0), (walk, 120.0)];
//! let mut end_s = 0.0;
//! let bouts = done.map(|(gait, length_s)| {
//!     let start_s = end_s;
//!     end_s += length_s;
//!     let speed_mps = if gait == run { 2.5 } else { 1.5 };
//!     Bout {
//!         gait,
//!         start_s,
//!         end_s,
//!         start_error_s: 1.0,
//!         end_error_s: 1.0,
//!         certainty: 0.99,
//!         distance_m: Some(speed_mps * length_s),
//!         mean_speed_mps: Some(speed_mps),
//!         mean_cadence_spm: None,
//!         mean_heart_rate_bpm: None,
//!     }
//! });
//! let time_s: Vec<f64> = (0..=end_s as u32).map(f64::from).collect();
//! let at = |t: &f64| bouts.iter().find(|bout| *t < bout.end_s).or(bouts.last());
//! let speed_mps = time_s.iter().map(|t| at(t).and_then(|bout| bout.mean_speed_mps)).collect();
//! let start = "2026-03-02T07:00:00Z".parse()?;
//! let columns = Columns {
//!     speed_mps,
//!     speed_source: SpeedSource::Recorder,
//!     ..Columns::without_readings(start, time_s)
//! };
//! let series = Series::new(columns)?;
//! let segmentation = Segmentation::new(bouts.to_vec()).ok_or("no tiling")?;
//!
//! let config = AuditConfig::default();
//! let prescription = Prescription::of(&plan, &plan.stages[0]);
//! let audit = Matched::new(&segmentation, &series, prescription, &config).audit().value;
//! assert_eq!(audit.outcome, Outcome::Overdone);
//! let finding = audit.findings.iter().find(|f| f.code == Code::RunTooLong).ok_or("no finding")?;
//! // The second run: 1:30 where 1:00 is prescribed.
//! assert_eq!((finding.rep, finding.prescribed, finding.achieved), (Some(2), Some(60.0), Some(90.0)));
//! assert!(finding.certainty > 0.9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

pub mod agree;
pub mod audit;
pub mod clean;
mod codes;
pub mod gait;
pub mod on_foot;
pub mod pipeline;
pub mod prescription;
pub mod range;
pub mod review;
pub mod separator;
pub mod statistics;
