//! Bytes of FIT, GPX and TCX files → [`Recording`](read::Recording)s.

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

pub mod geodesy;
pub mod notice;
pub mod physiology;
pub mod read;
pub mod units;
