//! A plan for other programs, in open formats.
//!
//! | goes in | comes out |
//! |---|---|
//! | a stage, with the session that is due | [`workout`]: a FIT workout file that a watch runs |
//! | a plan with dates, and the review of a case if there is one | [`calendar`]: its sessions as iCalendar (RFC 5545) |
//!
//! **Promised**: each returns the whole file with what was noticed, and touches no file, clock or environment; the same input gives
//! the same bytes. `docs/export.md` says what has which place in the formats.
//!
//! ```
//! use jogaudit_core::prescription::Plan;
//! use jogaudit_export::workout;
//! use jogaudit_recording::read::read_workout;
//!
//! let plan = Plan::parse("[[stage]]\nname = '1'\nsession = 'walk 5:00, 6 x (run 1:00, walk 2:00)'")?.value;
//! let file = workout(&plan, &plan.stages[0], None)?.value;
//! // A walk, a run, a walk, and the way back to the run.
//! assert_eq!(read_workout(&file).map(|workout| workout.steps.len()), Some(4));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

mod calendar;
mod ical;
mod workout;
mod zone;

pub use calendar::{CalendarRequest, NoDates, calendar};
pub use workout::{workout, workout_of};
