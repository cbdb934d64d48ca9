//! `agree`: how well two sets of bouts or scores agree.

use std::path::PathBuf;

use arrow_array::RecordBatch;
use arrow_cast::display::{ArrayFormatter, FormatOptions};
use pyo3::prelude::*;
use pyo3::types::PyDict;
use pyo3_arrow::input::AnyRecordBatch;

use jogaudit_case::Failure;
use jogaudit_core::agree::bootstrap::Resampling;
use jogaudit_core::agree::input::{self, Side};
use jogaudit_files::{Compared, compare_sides, give_one_name, side};
use jogaudit_report::agree_view::{AgreedBoutsView, AgreedScoresView, bouts_json, scores_json};

use super::errors::{dictionary, raised, raised_as, work, wrong_argument, wrong_table};
use super::given::{path, texts};

/// Says how well two sets of bouts or scores agree.
///
/// `reference`, `other`: each the path of a file or folder as `jogaudit agree` takes it, a dictionary with `bouts` (that of `bouts` or
/// of the truth of `simulate`), or an Arrow table: of bouts (`gait`, `start_s`, `end_s`) or of scores.
/// `key`: names of the columns that name a row of a table; `path`, else the first of the reference, if left out.
/// `columns`: names of the columns of scores to compare; all that hold numbers on both sides if left out.
///
/// Gives the document `jogaudit.agree/1` of `jogaudit agree --format json` as a dictionary. Units are in the names.
///
/// Raises `FileError`, `TableError`, `ArgumentError`.
#[pyfunction]
#[pyo3(signature = (reference, other, *, key=None, columns=None))]
pub(crate) fn agree<'py>(
    py: Python<'py>,
    reference: &Bound<'py, PyAny>,
    other: &Bound<'py, PyAny>,
    key: Option<&Bound<'py, PyAny>>,
    columns: Option<&Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyDict>> {
    let key = key.map(|key| texts("key", key)).transpose()?.unwrap_or_default();
    let columns = columns.map(|columns| texts("columns", columns)).transpose()?.unwrap_or_default();
    let (reference, other) = (Given::of("reference", reference)?, Given::of("other", other)?);
    // Only its words tell why two sides cannot be compared.
    let of_tables = |failure: &Failure| match failure.code() {
        "refused" => raised_as(py, failure, "TableError", "not_comparable"),
        _ => raised(py, failure),
    };
    let done = work(py, || {
        let compared = || -> Result<String, Failure> {
            let have_one_name = reference.is_one_file() && other.is_one_file();
            let (mut reference, mut other) = (reference.read(&key)?, other.read(&key)?);
            if have_one_name {
                give_one_name(&mut reference, &mut other);
            }
            let mut notices = Vec::new();
            Ok(match compare_sides(&reference, &other, &key, &columns, &mut notices)? {
                Compared::Bouts(compared) => {
                    bouts_json(&AgreedBoutsView::new(&compared, Resampling::default(), &notices))
                }
                Compared::Scores(compared) => scores_json(&AgreedScoresView::new(&compared, &notices)),
            })
        };
        Ok(compared())
    })?;
    dictionary(py, &done.map_err(|failure| of_tables(&failure))?)
}

/// A side as it was passed.
enum Given {
    Path(PathBuf),
    /// JSON of a document, or CSV of a table.
    Text(String),
}

impl Given {
    fn of(name: &str, value: &Bound<'_, PyAny>) -> PyResult<Self> {
        let py = value.py();
        if value.is_instance_of::<PyDict>() {
            let written = py.import("json")?.call_method1("dumps", (value,));
            let wrong = |_| wrong_argument(py, name, "a dictionary as `bouts` gives it", value);
            return written.and_then(|text| text.extract()).map(Self::Text).map_err(wrong);
        }
        if value.hasattr("__arrow_c_stream__")? || value.hasattr("__arrow_c_array__")? {
            let unusable = |error: PyErr| wrong_table(py, "not_a_table", error.value(py).to_string(), HINT);
            let table = value.extract::<AnyRecordBatch>().and_then(|table| Ok(table.into_table()?));
            return Ok(Self::Text(
                csv(table.map_err(unusable)?.batches())
                    .map_err(|error| wrong_table(py, "not_a_table", error, HINT))?,
            ));
        }
        let wrong =
            |_| wrong_argument(py, name, "a path, a dictionary with `bouts` or an Arrow table", value);
        path(name, value).map(Self::Path).map_err(wrong)
    }

    /// Two of these that hold one recording each are compared whatever it is called.
    fn is_one_file(&self) -> bool {
        if let Self::Path(path) = self { !path.is_dir() } else { true }
    }

    fn read(&self, key: &[String]) -> Result<Side, Failure> {
        match self {
            Self::Path(path) => side(path, key),
            Self::Text(text) => input::parse(text, key).map_err(|error| {
                Failure::refused("could not use what was passed").caused_by(&error).hint(HINT)
            }),
        }
    }
}

const HINT: &str = "a side has bouts (`gait`, `start_s`, `end_s`) or a line of scores for each name";

/// A table as CSV, which `agree` reads; what is missing is empty.
fn csv(table: &[RecordBatch]) -> Result<String, String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    for (at, batch) in table.iter().enumerate() {
        let schema = batch.schema();
        if at == 0 {
            csv.write_record(schema.fields().iter().map(|field| field.name()))
                .map_err(|error| error.to_string())?;
        }
        let options = FormatOptions::default();
        let columns = batch.columns().iter().map(|column| ArrayFormatter::try_new(column, &options));
        let columns: Vec<ArrayFormatter<'_>> =
            columns.collect::<Result<_, _>>().map_err(|error| error.to_string())?;
        for row in 0..batch.num_rows() {
            let cells = columns.iter().map(|column| column.value(row).to_string());
            csv.write_record(cells).map_err(|error| error.to_string())?;
        }
    }
    let bytes = csv.into_inner().map_err(|error| error.to_string())?;
    String::from_utf8(bytes).map_err(|error| error.to_string())
}
