//! What is sent, held against what was recorded: made-up sessions of many kinds.

mod hidden;
mod kept;
mod search;
mod sessions;
