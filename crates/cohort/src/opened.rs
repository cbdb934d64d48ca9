//! An output that can be written to.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use jogaudit_case::Failure;
use jogaudit_files::{Output, Staged, could_not_write};

/// Taken by the one output that goes there.
pub(super) type StandardOutput<'w> = Option<&'w mut (dyn Write + Send)>;

/// An output that can be written to.
pub(super) struct Opened<'w> {
    pub(super) path: PathBuf,
    /// `None` for standard output.
    pub(super) staged: Option<Staged>,
    pub(super) to: Box<dyn Write + Send + 'w>,
}

impl<'w> Opened<'w> {
    pub(super) fn new(output: &Output, stdout: &mut StandardOutput<'w>) -> Result<Self, Failure> {
        let path = output.named().to_owned();
        if output.is_standard_output() {
            let stdout = stdout.take().ok_or_else(|| Failure::internal("standard output is taken twice"))?;
            return Ok(Self { path, staged: None, to: Box::new(stdout) });
        }
        let staged = output.stage()?;
        let to = Box::new(staged.file()?);
        Ok(Self { path, staged: Some(staged), to })
    }
}

/// Says that an output could not be written.
pub(super) fn failed(path: &Path, error: io::Error) -> Failure {
    if path.as_os_str() == "-" { Failure::output(error) } else { could_not_write(path, &error) }
}
