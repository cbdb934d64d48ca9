//! Checks run-walk recordings of a graded return to running against what was prescribed.

pub mod agree;
pub mod audit;
pub mod batch;
pub mod clean;
pub mod cli;
mod files;
pub mod gait;
pub mod geodesy;
pub mod notice;
pub mod page;
pub mod pipeline;
pub mod prescription;
pub mod read;
pub mod report;
pub mod review;
pub mod simulate;
pub mod units;
