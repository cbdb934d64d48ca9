//! A recording, a plan, one of its stages: from bytes.

use std::path::Path;

use jogaudit_core::pipeline::{Activity, Config, Readings, activity, readings};
use jogaudit_core::prescription::{Plan, Stage};
use jogaudit_recording::notice::Notice;
use jogaudit_recording::read::ReadConfig;

use super::failure::{Failure, named};
use super::hash::sha256;
use super::store::{self, CaseFiles};

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

/// Reads the chosen activity of a recording (one-based; by default the first on foot) and works out its bouts. `path` only names
/// it in errors.
pub fn input_in(bytes: &[u8], path: &Path, number: Option<usize>, config: &Config) -> Result<Input, Failure> {
    let activity = activity(bytes, number, config).map_err(|error| Failure::activity(path, &error))?;
    Ok(Input { sha256: sha256(bytes), activity })
}

/// The same with the readings alone: no bouts are worked out.
pub fn readings_in(
    bytes: &[u8],
    path: &Path,
    number: Option<usize>,
    config: &Config,
) -> Result<(String, Readings), Failure> {
    let readings = readings(bytes, number, config).map_err(|error| Failure::activity(path, &error))?;
    Ok((sha256(bytes), readings))
}

/// The settings where zipped input may unfold to that many MiB.
pub fn config_unzipping(max_unzipped_mib: u64) -> Config {
    Config { read: ReadConfig { max_unzipped_bytes: max_unzipped_mib << 20 }, ..Config::default() }
}

/// Reads the plan of a case.
pub fn case_plan(files: &dyn CaseFiles, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    let bytes = store::bytes(files, "plan.toml", MAX_PLAN_BYTES)?;
    plan_in(bytes, &files.path("plan.toml"), notices)
}

/// Reads a plan from its bytes; `path` only names it in errors.
pub fn plan_in(bytes: Vec<u8>, path: &Path, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
    let text = String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let line = error.as_bytes().iter().take(good).filter(|byte| **byte == b'\n').count() + 1;
        Failure::refused(format!("could not read {}: line {line} is not UTF-8 text", named(path)))
            .hint("PLAN is a TOML file, saved as UTF-8; the recording is named without an option")
    })?;
    Ok(Plan::parse(&text).map_err(|error| Failure::plan(path, &error))?.take(notices))
}
/// Finds the stage that was asked for; a plan's only stage need not be named.
pub fn stage<'plan>(plan: &'plan Plan, wanted: Option<&str>) -> Result<&'plan Stage, Failure> {
    let names = plan.stage_names().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    match (wanted, plan.stages.as_slice()) {
        (None, [only]) => Ok(only),
        (None, _) => Err(Failure::refused("the plan has several stages")
            .coded("no_such_stage", None)
            .hint(format!("add --stage with one of {names}"))),
        (Some(wanted), _) => plan.stage(wanted).ok_or_else(|| {
            let failure = Failure::refused(format!("the plan has no stage `{wanted}`"));
            let failure = failure.coded("no_such_stage", None);
            match plan.closest_stage(wanted) {
                Some(near) => failure.hint(format!("did you mean `{}`? The stages are {names}", near.name)),
                None => failure.hint(format!("the stages are {names}")),
            }
        }),
    }
}
