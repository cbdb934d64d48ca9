//! Reads what the user named: a recording, a plan, one of its stages. `-` is standard input.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use jogaudit_core::pipeline::{Activity, Config, activity};
use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_recording::notice::Notice;
use jogaudit_recording::read::ReadConfig;

use super::failure::{Failure, named};
use super::hash::sha256;
use super::inside::{case_bytes, too_large};

/// Larger recordings are refused rather than read into memory: days of samples many times a second stay below.
pub const MAX_RECORDING_BYTES: u64 = 256 << 20;
/// Larger plans are refused: the longest plan that makes sense has a few hundred stages.
pub const MAX_PLAN_BYTES: u64 = 1 << 20;

/// What zipped input may unfold to, MiB, unless the user says otherwise.
pub const MAX_UNZIPPED_MIB: u64 = 256;

/// An input with the activity that was taken from it.
#[derive(Debug)]
pub struct Input {
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
    /// The activity with its bouts.
    pub activity: Activity,
}

/// Reads the chosen activity of a recording (one-based; by default the first on foot) and works out its bouts.
pub fn input(path: &Path, number: Option<usize>, config: &Config) -> Result<Input, Failure> {
    input_in(&bytes(path, MAX_RECORDING_BYTES)?, path, number, config)
}

/// The same from the bytes of a recording; `path` only names it in errors.
pub fn input_in(bytes: &[u8], path: &Path, number: Option<usize>, config: &Config) -> Result<Input, Failure> {
    let activity = activity(bytes, number, config).map_err(|error| Failure::activity(path, &error))?;
    Ok(Input { sha256: sha256(bytes), activity })
}

/// The settings where zipped input may unfold to that many MiB.
pub fn config_unzipping(max_unzipped_mib: u64) -> Config {
    Config { read: ReadConfig { max_unzipped_bytes: max_unzipped_mib << 20 }, ..Config::default() }
}

/// Reads a plan.
pub fn plan(path: &Path, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    Ok(plan_and_hash(path, notices)?.0)
}

/// The same, and the SHA-256 of its bytes.
pub fn plan_and_hash(path: &Path, notices: &mut Vec<Notice>) -> Result<(Plan, String), Failure> {
    plan_in(bytes(path, MAX_PLAN_BYTES)?, path, notices)
}

/// Reads the plan of a case.
pub fn case_plan(case: &Path, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    let path = case.join("plan.toml");
    Ok(plan_in(case_bytes(case, &path, MAX_PLAN_BYTES)?, &path, notices)?.0)
}

fn plan_in(bytes: Vec<u8>, path: &Path, notices: &mut Vec<Notice>) -> Result<(Plan, String), Failure> {
    let sha256 = sha256(&bytes);
    let text = String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let line = error.as_bytes().iter().take(good).filter(|byte| **byte == b'\n').count() + 1;
        Failure::refused(format!("could not read {}: line {line} is not UTF-8 text", named(path)))
            .hint("PLAN is a TOML file, saved as UTF-8; the recording is named without an option")
    })?;
    Ok((Plan::parse(&text).map_err(|error| Failure::plan(path, &error))?.take(notices), sha256))
}

/// Finds the stage that was asked for; a plan's only stage need not be named.
pub fn stage<'plan>(plan: &'plan Plan, wanted: Option<&str>) -> Result<&'plan Stage, Failure> {
    let names = plan.stage_names().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    match (wanted, plan.stages.as_slice()) {
        (None, [only]) => Ok(only),
        (None, _) => {
            Err(Failure::refused("the plan has several stages")
                .hint(format!("add --stage with one of {names}")))
        }
        (Some(wanted), _) => plan.stage(wanted).ok_or_else(|| {
            let failure = Failure::refused(format!("the plan has no stage `{wanted}`"));
            match plan.closest_stage(wanted) {
                Some(near) => failure.hint(format!("did you mean `{}`? The stages are {names}", near.name)),
                None => failure.hint(format!("the stages are {names}")),
            }
        }),
    }
}

/// Reads a whole input of at most `limit` bytes.
pub fn bytes(path: &Path, limit: u64) -> Result<Vec<u8>, Failure> {
    at_most(path, limit).map_err(|error| match error.kind() {
        io::ErrorKind::FileTooLarge => Failure::refused(format!("{} {error}", named(path))),
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
