//! The page: one person's case, or a table of patients, for people who do not use a terminal. A pure function from a request to a
//! page; a host carries the requests and keeps the cases: the server of `jogaudit-server`, or the browser itself (`web/`).
//!
//! | module | holds |
//! |---|---|
//! | `http`, `store` | what a host gives and gets |
//! | `routes`, `forms`, `plan_routes`, `visit`, `browser_cases` | addresses and what answers them |
//! | `memory_store` | cases in memory: what the page stands on in a browser |
//! | `needs` | what a request needs of its host before it is handled |
//! | `found` | what was found in a case, from its files as they were read |
//! | `waiting` | files that were taken in and not yet kept |
//! | `plan_rows`, `plan_words` | the plan as a form: what was sent, what becomes of the text, what its fields are called |
//! | `case_names` | what cases are called, told apart where two look alike |
//! | `attention` | what needs attention in a case, for the table of patients |
//! | [`annotate`] | marking one recording by eye: a page of its own, without a case |
//! | `layout`, `view_*`, `report`, `refusal` | what is shown |
//!
//! **In:** a [`Request`] and a [`CaseStore`]. **Out:** a [`Response`]: a page without anything from elsewhere, and what was written
//! to the case. **Errors:** a request that cannot be answered gets a page that says what to do. Every bound of size and number here
//! is our choice.

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

pub mod annotate;
mod attention;
mod browser_cases;
mod case_names;
mod day_form;
mod desk;
mod forms;
mod found;
mod layout;
mod memory_store;
pub mod needs;
mod plan_faults;
mod plan_routes;
mod plan_rows;
mod plan_words;
mod refusal;
mod report;
mod request;
mod response;
mod routes;
mod settings;
mod store;
mod view_case;
mod view_caseload;
mod view_diary;
mod view_plan;
mod view_plan_form;
mod visit;
pub mod waiting;

pub use case_names::{CaseName, names};
pub use found::{Day, FileRead, Snapshot, stamps};
pub use memory_store::{Change, MemoryStore, Sent};
pub use needs::{Needs, needs};
pub use refusal::Refusal;
pub use request::{Content, Method, Request};
pub use response::Response;
pub use routes::handle;
pub use settings::{Keeper, Settings};
pub use store::{CaseState, CaseStore, HostedCase};
