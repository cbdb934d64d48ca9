//! Failures → exceptions of `jogaudit.errors`; work without the interpreter's lock.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};

use pyo3::prelude::*;
use pyo3::types::{IntoPyDict, PyDict};

use jogaudit_case::Failure;

/// What an exception says.
pub(crate) struct Raised<'a> {
    /// The name of its class.
    pub(crate) class: &'static str,
    pub(crate) code: &'a str,
    pub(crate) message: String,
    pub(crate) place: Option<String>,
    pub(crate) hint: Option<String>,
}

impl Raised<'_> {
    pub(crate) fn into_error(self, py: Python<'_>) -> PyErr {
        let made = || {
            let details = [("place", self.place), ("hint", self.hint)].into_py_dict(py)?;
            details.set_item("code", self.code)?;
            let class = py.import("jogaudit.errors")?.getattr(self.class)?;
            class.call((self.message,), Some(&details))
        };
        made().map_or_else(|error| error, PyErr::from_value)
    }
}

/// An argument is of the wrong type or out of range.
pub(crate) fn wrong_argument(py: Python<'_>, name: &str, expected: &str, given: &Bound<'_, PyAny>) -> PyErr {
    let given = given.repr().map_or_else(|_| given.get_type().to_string(), |repr| repr.to_string());
    let shown: String = given.chars().take(SHOWN).collect();
    let cut = if shown.len() < given.len() { " …" } else { "" };
    let message = format!("{name}: {expected} is expected, not {shown}{cut}");
    Raised {
        class: "ArgumentError",
        code: "wrong_argument",
        message,
        place: Some(name.to_owned()),
        hint: None,
    }
    .into_error(py)
}

/// Characters of a wrong argument that are shown, our choice.
const SHOWN: usize = 60;

/// A table cannot be used.
pub(crate) fn wrong_table(py: Python<'_>, code: &str, message: String, hint: &str) -> PyErr {
    Raised { class: "TableError", code, message, place: None, hint: Some(hint.to_owned()) }.into_error(py)
}

/// Works without the interpreter's lock. A failure, and also a bug of ours, comes back as an exception.
pub(crate) fn work<T: Send>(py: Python<'_>, work: impl FnOnce() -> Result<T, Failure> + Send) -> PyResult<T> {
    let done = py.detach(|| catch_unwind(AssertUnwindSafe(work)));
    done.unwrap_or_else(|panic| Err(Failure::internal(said(&*panic)))).map_err(|failure| raised(py, &failure))
}

/// What a panic said.
fn said(panic: &(dyn Any + Send)) -> &str {
    let text = panic.downcast_ref::<&str>().copied();
    text.or_else(|| panic.downcast_ref::<String>().map(String::as_str)).unwrap_or("no message")
}

/// The exception of a failure.
pub(crate) fn raised(py: Python<'_>, failure: &Failure) -> PyErr {
    let class = match failure.code() {
        "internal" => "InternalError",
        "refused" => "JogauditError",
        "plan_mistake" | "no_such_stage" => "PlanError",
        "not_found" | "no_permission" | "is_folder" | "not_readable" | "file_too_large" => "FileError",
        _ => "RecordingError",
    };
    raised_as(py, failure, class, failure.code())
}

/// The same, of that class and code.
pub(crate) fn raised_as(py: Python<'_>, failure: &Failure, class: &'static str, code: &str) -> PyErr {
    let first = failure.plan_error().and_then(|error| error.faults().first());
    let place = failure.about().map(|file| match first {
        Some(fault) => format!("{}:{}:{}", file.display(), fault.line, fault.column),
        None => file.display().to_string(),
    });
    let detail = failure.detail().trim_end();
    let gap = if detail.is_empty() { "" } else { "\n" };
    let message = format!("{}{gap}{detail}", failure.in_a_clause());
    let hint = failure.todo().map(as_argument);
    Raised { class, code, message, place, hint }.into_error(py)
}

/// A hint for the command line as one for Python: `--plan` is `plan=`, and there is no standard input.
fn as_argument(hint: &str) -> String {
    let hint = hint.replace("; `-` reads standard input", "");
    let word = |word: &str| match word.strip_prefix("--") {
        Some(option) => format!("`{}=`", option.replace('-', "_")),
        None => word.to_owned(),
    };
    hint.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// A JSON document as a dictionary.
pub(crate) fn dictionary<'py>(py: Python<'py>, document: &str) -> PyResult<Bound<'py, PyDict>> {
    Ok(py.import("json")?.call_method1("loads", (document,))?.cast_into()?)
}
