//! `batch`: many recordings → tables.

use std::num::NonZero;
use std::path::PathBuf;
use std::thread;

use arrow_array::cast::AsArray;
use arrow_array::{Array, ArrayRef, RecordBatch};
use arrow_cast::cast;
use arrow_schema::DataType;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyCapsule};
use pyo3_arrow::input::AnyRecordBatch;

use jogaudit_case::Failure;
use jogaudit_cohort::{Columns, Content, Job, Report, Take, Wanted, gather, gather_contents};

use super::errors::{work, wrong_argument, wrong_table};
use super::given::{path, some_path, some_text, some_whole};
use super::table::{Table, chunk};

/// What came of many recordings. It is taken as a table itself: that of the recordings.
#[pyclass(frozen, module = "jogaudit")]
pub(crate) struct Batch {
    /// One line a recording.
    #[pyo3(get)]
    recordings: Py<Table>,
    /// One line a bout; None unless asked for.
    #[pyo3(get)]
    bouts: Option<Py<Table>>,
    /// One line a prescribed run or walk; None unless asked for.
    #[pyo3(get)]
    reps: Option<Py<Table>>,
    /// How many recordings have no result: their `error_code` says why.
    #[pyo3(get)]
    failed: u64,
    /// What was noticed on the way, as pairs of code and text.
    #[pyo3(get)]
    notices: Vec<(String, String)>,
}

#[pymethods]
impl Batch {
    fn __len__(&self) -> usize {
        self.recordings.get().__len__()
    }

    fn __repr__(&self) -> String {
        format!("<jogaudit.Batch: {} recordings, {} without a result>", self.__len__(), self.failed)
    }

    /// The stream of the Arrow C data interface: that of the recordings.
    #[pyo3(signature = (requested_schema=None))]
    fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyCapsule>>,
    ) -> PyResult<Bound<'py, PyCapsule>> {
        self.recordings.get().__arrow_c_stream__(py, requested_schema)
    }
}

/// Checks many recordings: one line each, as `jogaudit batch` has them.
///
/// `recordings`: path of a recording or of a folder of them, a list of such paths, or an Arrow table with the columns `path` (text)
/// and `content` (bytes), as Spark's `binaryFile` gives it. Where `content` is null the recording could not be had: a column
/// `error_code`, if there is one, says why.
/// Without `plan` and `roster` each path is a case, or a folder of cases.
/// `plan`: path of the plan (TOML) of all, or of the roster's lines without one.
/// `stage`: name of the stage of all; may be left out when the plan has only one.
/// `roster`: path of a table that says who did what: path,participant,stage,plan.
/// `jobs`: how many recordings at a time; one a core if left out.
/// `bouts`, `reps`: whether tables of one line a bout, and a prescribed run or walk, are wanted besides.
///
/// Gives a Batch. A recording that cannot be read is a line with an `error_code`, no exception. The columns with their units stand in
/// docs/columns.md and in the metadata of the fields. All lines are held in memory, some 1 kB a recording without bouts and reps:
/// for more than fits, take the command, or call this for one part after another.
///
/// Raises `FileError`, `PlanError`, `TableError`, `ArgumentError`, `JogauditError`.
#[pyfunction]
#[pyo3(signature = (recordings, *, plan=None, stage=None, roster=None, jobs=None, bouts=false, reps=false))]
#[expect(clippy::too_many_arguments, reason = "keyword arguments of Python")]
pub(crate) fn batch(
    py: Python<'_>,
    recordings: &Bound<'_, PyAny>,
    plan: Option<&Bound<'_, PyAny>>,
    stage: Option<&Bound<'_, PyAny>>,
    roster: Option<&Bound<'_, PyAny>>,
    jobs: Option<&Bound<'_, PyAny>>,
    bouts: bool,
    reps: bool,
) -> PyResult<Batch> {
    let jobs = some_whole::<usize>("jobs", 1, jobs)?.and_then(NonZero::new);
    let mut job = Job {
        plan: some_path("plan", plan)?,
        stage: some_text("stage", stage)?,
        roster: some_path("roster", roster)?,
        jobs: jobs.or(thread::available_parallelism().ok()).unwrap_or(NonZero::<usize>::MIN),
        ..Job::default()
    };
    if job.roster.is_some() && job.stage.is_some() {
        let said = wrong_argument(
            py,
            "stage",
            "none beside a roster, which names the stages",
            &stage.into_pyobject(py)?,
        );
        return Err(said);
    }
    let wanted = Wanted { bouts, reps };
    match Recordings::of(recordings)? {
        Recordings::Paths(paths) => {
            job.paths = paths;
            gathered(py, wanted, |take| gather(&job, wanted, take))
        }
        Recordings::Table(table) => {
            let contents = contents(py, &table)?;
            let contents: Vec<Content<'_>> = contents.iter().flat_map(Part::contents).collect();
            gathered(py, wanted, |take| gather_contents(&job, &contents, wanted, take))
        }
    }
}

/// Where the recordings are.
enum Recordings {
    Paths(Vec<PathBuf>),
    Table(Vec<RecordBatch>),
}

impl Recordings {
    fn of(value: &Bound<'_, PyAny>) -> PyResult<Self> {
        const NAME: &str = "recordings";
        let py = value.py();
        if value.hasattr("__arrow_c_stream__")? || value.hasattr("__arrow_c_array__")? {
            let read = value.extract::<AnyRecordBatch>().and_then(|table| Ok(table.into_table()?));
            let unusable = |error: PyErr| {
                wrong_table(
                    py,
                    "not_a_table",
                    error.value(py).to_string(),
                    "columns `path` and `content` are expected",
                )
            };
            return Ok(Self::Table(read.map_err(unusable)?.into_inner().0));
        }
        if let Ok(one) = path(NAME, value) {
            return Ok(Self::Paths(vec![one]));
        }
        let wrong =
            || wrong_argument(py, NAME, "a path, a list of paths, or an Arrow table of contents", value);
        if value.is_instance_of::<PyBytes>() {
            return Err(wrong());
        }
        let listed = value.try_iter().map_err(|_| wrong())?;
        Ok(Self::Paths(listed.map(|item| path(NAME, &item?)).collect::<PyResult<_>>()?))
    }
}

/// Runs `run`, and makes tables of what it gives. Ctrl-C ends it between two chunks.
fn gathered(
    py: Python<'_>,
    wanted: Wanted,
    run: impl FnOnce(&mut Take<'_>) -> Result<Report, Failure> + Send,
) -> PyResult<Batch> {
    let mut tables: Vec<Vec<RecordBatch>> = Vec::new();
    let mut interrupted = None;
    let report = work(py, || {
        run(&mut |columns: Vec<Columns>| {
            tables.resize_with(columns.len(), Vec::new);
            for (chunks, columns) in tables.iter_mut().zip(columns) {
                let chunk = chunk(columns).map_err(|error| Failure::internal(&error.to_string()))?;
                chunks.push(chunk);
            }
            #[expect(
                clippy::redundant_closure_for_method_calls,
                reason = "the method itself is not general enough"
            )]
            Python::attach(|py| py.check_signals()).map_err(|signal| {
                interrupted = Some(signal);
                Failure::refused("interrupted")
            })
        })
    });
    if let Some(signal) = interrupted {
        return Err(signal);
    }
    let report = report?;
    let mut tables = tables.into_iter().map(|chunks| Py::new(py, Table::new(chunks)));
    let mut next = |is_wanted: bool| if is_wanted { tables.next().transpose() } else { Ok(None) };
    let recordings = next(true)?.map_or_else(|| Py::new(py, Table::new(Vec::new())), Ok)?;
    let notice =
        |notice: &jogaudit_recording::notice::Notice| (notice.code.word().to_owned(), notice.text.clone());
    Ok(Batch {
        recordings,
        bouts: next(wanted.bouts)?,
        reps: next(wanted.reps)?,
        failed: report.failed,
        notices: report.notices.iter().map(notice).collect(),
    })
}

/// The columns of a piece of a table of contents.
struct Part {
    paths: ArrayRef,
    contents: ArrayRef,
    codes: Option<ArrayRef>,
}

impl Part {
    fn contents(&self) -> impl Iterator<Item = Content<'_>> {
        let (paths, contents) = (self.paths.as_string_view(), self.contents.as_binary_view());
        let codes = self.codes.as_ref().map(AsArray::as_string_view);
        (0..paths.len()).map(move |at| Content {
            path: if paths.is_valid(at) { paths.value(at) } else { "" },
            bytes: if contents.is_valid(at) {
                Ok(contents.value(at))
            } else {
                Err(codes.filter(|codes| codes.is_valid(at)).map_or("", |codes| codes.value(at)))
            },
        })
    }
}

/// The columns that are looked at, without a copy of what they hold.
fn contents(py: Python<'_>, table: &[RecordBatch]) -> PyResult<Vec<Part>> {
    const HINT: &str = "a table of recordings has the columns `path` (text) and `content` (bytes)";
    let column = |batch: &RecordBatch, name: &str, is_text: bool| {
        let schema = batch.schema();
        let listed =
            || schema.fields().iter().map(|f| format!("`{}`", f.name())).collect::<Vec<_>>().join(", ");
        let missing = || {
            wrong_table(
                py,
                "no_such_column",
                format!("the table has no column `{name}`, only {}", listed()),
                HINT,
            )
        };
        let column = batch.column_by_name(name).ok_or_else(missing)?;
        let kind = column.data_type();
        let is_right = if is_text { kind.is_string() || is_text_dictionary(kind) } else { kind.is_binary() };
        let right = if is_text { ("texts", DataType::Utf8View) } else { ("bytes", DataType::BinaryView) };
        let wrong = || {
            let message = format!("column `{name}` holds {kind}; {} are expected", right.0);
            wrong_table(py, "wrong_column_type", message, HINT)
        };
        if is_right { cast(column, &right.1).map_err(|_| wrong()) } else { Err(wrong()) }
    };
    let part = |batch: &RecordBatch| {
        let codes =
            batch.column_by_name("error_code").map(|_| column(batch, "error_code", true)).transpose()?;
        Ok(Part { paths: column(batch, "path", true)?, contents: column(batch, "content", false)?, codes })
    };
    table.iter().map(part).collect()
}

fn is_text_dictionary(kind: &DataType) -> bool {
    matches!(kind, DataType::Dictionary(_, values) if values.is_string())
}
