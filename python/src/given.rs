//! What was passed: recordings and plans by path or as bytes, words, numbers.

use std::path::{Path, PathBuf};

use pyo3::buffer::PyBuffer;
use pyo3::prelude::*;
use pyo3::pybacked::PyBackedBytes;
use pyo3::types::PyBytes;

use jogaudit_case::{Failure, Input, MAX_PLAN_BYTES, input_in, plan_in};
use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Plan;
use jogaudit_files as files;
use jogaudit_recording::notice::Notice;

use super::errors::wrong_argument;

/// A file that was named, or its content.
pub(crate) enum Given {
    Path(PathBuf),
    Bytes(PyBackedBytes),
    /// Of something that may change while we work: copied.
    Copied(Vec<u8>),
}

/// How content that has no path is called in errors.
const NAMELESS: &str = "<bytes>";

impl Given {
    pub(crate) fn of(name: &str, value: &Bound<'_, PyAny>) -> PyResult<Self> {
        if value.is_instance_of::<PyBytes>() {
            return Ok(Self::Bytes(value.extract()?));
        }
        if let Ok(path) = path(name, value) {
            return Ok(Self::Path(path));
        }
        match PyBuffer::<u8>::get(value) {
            Ok(buffer) => Ok(Self::Copied(buffer.to_vec(value.py())?)),
            Err(_) => Err(wrong_argument(value.py(), name, "a path or bytes", value)),
        }
    }

    /// Reads it as a recording; `activity` as with `jogaudit bouts --activity`.
    pub(crate) fn recording(&self, activity: Option<usize>, config: &Config) -> Result<Input, Failure> {
        match self.content() {
            Ok(bytes) => input_in(bytes, Path::new(NAMELESS), activity, config),
            Err(path) => files::input(path, activity, config),
        }
    }

    /// Reads it as a plan.
    pub(crate) fn plan(&self, notices: &mut Vec<Notice>) -> Result<Plan, Failure> {
        match self.content() {
            Ok(bytes) if bytes.len() as u64 > MAX_PLAN_BYTES => {
                Err(Failure::refused(format!("the plan is larger than {} MiB", MAX_PLAN_BYTES >> 20)))
            }
            Ok(bytes) => plan_in(bytes.to_vec(), Path::new(NAMELESS), notices),
            Err(path) => files::plan(path, notices),
        }
    }

    /// The content, or where it is.
    fn content(&self) -> Result<&[u8], &Path> {
        match self {
            Self::Path(path) => Err(path),
            Self::Bytes(bytes) => Ok(bytes),
            Self::Copied(bytes) => Ok(bytes),
        }
    }
}

/// A path. One called `-` is a file, never standard input.
pub(crate) fn path(name: &str, value: &Bound<'_, PyAny>) -> PyResult<PathBuf> {
    match value.extract::<PathBuf>() {
        Ok(path) if path.as_os_str() == "-" => Ok(Path::new(".").join(path)),
        Ok(path) => Ok(path),
        Err(_) => Err(wrong_argument(value.py(), name, "a path", value)),
    }
}

/// A path, unless it was left out.
pub(crate) fn some_path(name: &str, value: Option<&Bound<'_, PyAny>>) -> PyResult<Option<PathBuf>> {
    value.map(|value| path(name, value)).transpose()
}

/// A text.
pub(crate) fn text(name: &str, value: &Bound<'_, PyAny>) -> PyResult<String> {
    value.extract().map_err(|_| wrong_argument(value.py(), name, "a text", value))
}

/// A text, unless it was left out.
pub(crate) fn some_text(name: &str, value: Option<&Bound<'_, PyAny>>) -> PyResult<Option<String>> {
    value.map(|value| text(name, value)).transpose()
}

/// Several texts.
pub(crate) fn texts(name: &str, value: &Bound<'_, PyAny>) -> PyResult<Vec<String>> {
    value.extract().map_err(|_| wrong_argument(value.py(), name, "a list of texts", value))
}

/// A whole number, unless it was left out.
pub(crate) fn some_whole<T>(name: &str, least: u64, value: Option<&Bound<'_, PyAny>>) -> PyResult<Option<T>>
where
    T: TryFrom<u64>,
{
    let whole = |value: &Bound<'_, PyAny>| {
        let number = value.extract::<u64>().ok().filter(|number| *number >= least);
        number.and_then(|number| T::try_from(number).ok()).ok_or_else(|| {
            wrong_argument(value.py(), name, &format!("a whole number from {least} on"), value)
        })
    };
    value.map(whole).transpose()
}
