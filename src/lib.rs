//! Checks run-walk recordings of a graded return to running against what was prescribed.

pub mod cli;

pub use jogaudit_case as case;
pub use jogaudit_cohort as batch;
pub use jogaudit_core::{agree, audit, clean, gait, pipeline, prescription, review};
pub use jogaudit_page as page;
pub use jogaudit_recording::{geodesy, notice, read, units};
pub use jogaudit_report as report;
pub use jogaudit_server as server;
pub use jogaudit_simulate as simulate;
