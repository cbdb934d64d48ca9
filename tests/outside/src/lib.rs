//! jogaudit against what others have made: readers of the formats, a judge of JSON schemas, statistics and tables in Python,
//! a browser, a cluster. A package of its own, so that what these need stays out of `cargo run` and `cargo test`. Tests that
//! need a program beside Rust are ignored unless asked for; `bash tests/full` installs it and asks.

#![cfg(test)]

mod agree;
mod archive;
mod browser;
mod browser_annotate;
mod browser_firefox;
mod browser_page;
mod browser_plan;
mod browser_print;
mod browser_report;
mod browser_situations;
mod browser_times;
mod browser_way;
mod browser_web;
mod browser_web_hostile;
mod browser_web_screens;
mod browser_web_store;
mod cluster;
mod documents;
mod export;
mod export_python;
mod made_up;
mod parquet;
mod plan_schemas;
mod plans_made_up;
mod r_tables;
mod read_archives;
mod read_python;
mod reading_ease;
mod schema;
mod schemas;
mod share;
mod simulate_formats;
mod web;
mod wheel;

// Shared with the tests of the simulator and of the command.
#[path = "../../support/batch_folder.rs"]
mod batch_folder;
#[path = "../../support/documents_made_up.rs"]
mod documents_made_up;
#[path = "../../support/folder.rs"]
mod folder;
#[path = "../../support/hand_made.rs"]
mod hand_made;
#[path = "../../support/page.rs"]
mod page;
#[path = "../../support/program.rs"]
mod program;
#[path = "../../../crates/simulate/tests/made_up/short_session.rs"]
mod short_session;
