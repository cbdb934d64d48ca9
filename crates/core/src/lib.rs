//! [`Recording`](jogaudit_recording::read::Recording) → bouts → audit; a case over time.

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

pub mod agree;
pub mod audit;
pub mod clean;
mod codes;
pub mod gait;
pub mod pipeline;
pub mod prescription;
pub mod review;
pub mod statistics;
