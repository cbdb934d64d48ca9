//! Reads what the user named: a recording, a plan. `-` is standard input.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use jogaudit_case::{
    Failure, Input, MAX_PLAN_BYTES, MAX_RECORDING_BYTES, code_of, input_in, named, plan_in, readings_in,
    sha256, too_large,
};
use jogaudit_core::pipeline::{Config, Readings};
use jogaudit_core::prescription::Plan;
use jogaudit_recording::notice::Notice;

/// Reads the chosen activity of a recording (one-based; by default the first on foot) and works out its bouts.
pub fn input(path: &Path, number: Option<usize>, config: &Config) -> Result<Input, Failure> {
    input_in(&bytes(path, MAX_RECORDING_BYTES)?, path, number, config)
}

/// The same with the readings alone: no bouts are worked out. Before them the SHA-256 of the input's bytes.
pub fn readings(path: &Path, number: Option<usize>, config: &Config) -> Result<(String, Readings), Failure> {
    readings_in(&bytes(path, MAX_RECORDING_BYTES)?, path, number, config)
}

/// Reads a plan.
pub fn plan(path: &Path, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    Ok(plan_and_hash(path, notices)?.0)
}

/// The same, and the SHA-256 of its bytes.
pub fn plan_and_hash(path: &Path, notices: &mut Vec<Notice>) -> Result<(Plan, String), Failure> {
    let bytes = bytes(path, MAX_PLAN_BYTES)?;
    let sha256 = sha256(&bytes);
    Ok((plan_in(bytes, path, notices)?, sha256))
}

/// Reads a whole input of at most `limit` bytes.
pub fn bytes(path: &Path, limit: u64) -> Result<Vec<u8>, Failure> {
    at_most(path, limit).map_err(|error| match error.kind() {
        io::ErrorKind::FileTooLarge => {
            Failure::refused(format!("{} {error}", named(path))).coded(code_of(&error), path)
        }
        _ => Failure::input(path, &error),
    })
}

/// Reads a whole input, or fails with [`io::ErrorKind::FileTooLarge`] when it has more than `limit` bytes.
pub fn at_most(path: &Path, limit: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    if path.as_os_str() == "-" {
        io::stdin().lock().take(limit + 1).read_to_end(&mut bytes)?;
    } else {
        File::open(path)?.take(limit + 1).read_to_end(&mut bytes)?;
    }
    if bytes.len() as u64 > limit {
        return Err(too_large(limit));
    }
    Ok(bytes)
}
