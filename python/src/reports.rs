//! `bouts`, `check`, `review`: one recording or one case → the JSON document of the command, as a dictionary.

use jiff::Timestamp;
use jiff::civil::Date;
use pyo3::prelude::*;
use pyo3_arrow::error::PyArrowError;

use jogaudit_case as case;
use jogaudit_core::audit::Prescription;
use jogaudit_core::pipeline::Config;
use jogaudit_files as files;
use jogaudit_recording::units::LengthUnit;
use jogaudit_report::{BoutsView, CheckReport, Source, json};

use super::errors::{dictionary, work, wrong_argument};
use super::given::{Given, path, some_text, some_whole};
use super::table::Table;

/// Works out when a recording runs, walks and stands.
///
/// `recording`: path, or the bytes, of a FIT, GPX or TCX file, plain, gzipped or in a zip archive.
/// `activity`: which one of a file that holds several, from 1; the first on foot if left out.
/// `as_table`: give the bouts alone, as an Arrow table with one line a bout.
///
/// Gives the document `jogaudit.bouts/1` of `jogaudit bouts --format json` as a dictionary. Seconds (`_s`) count from the first
/// sample, pauses included; `_m` metres, `_mps` metres a second, `_spm` steps a minute of both feet, `_bpm` beats a minute;
/// certainty is a probability. What is not known is None.
///
/// Raises `FileError`, `RecordingError`, `ArgumentError`.
#[pyfunction]
#[pyo3(signature = (recording, *, activity=None, as_table=false))]
pub(crate) fn bouts<'py>(
    py: Python<'py>,
    recording: &Bound<'py, PyAny>,
    activity: Option<&Bound<'py, PyAny>>,
    as_table: bool,
) -> PyResult<Bound<'py, PyAny>> {
    let (recording, activity) = (Given::of("recording", recording)?, some_whole("activity", 1, activity)?);
    let view = work(py, || {
        let input = recording.recording(activity, &Config::default())?;
        let activity = &input.activity;
        let source = Source { facts: &activity.facts, sha256: &input.sha256 };
        Ok(BoutsView::new(source, &activity.segmentation, &activity.notices, LengthUnit::default()))
    })?;
    if as_table {
        let table = Table::of_bouts(&view).map_err(PyArrowError::from)?;
        Ok(Bound::new(py, table)?.into_any())
    } else {
        Ok(dictionary(py, &json::bouts(&view))?.into_any())
    }
}

/// Checks one recording against a prescribed stage.
///
/// `recording`: as with `bouts`.
/// `plan`: path, or the bytes, of a plan (TOML).
/// `stage`: name of the stage; may be left out when the plan has only one.
/// `activity`: as with `bouts`.
///
/// Gives the document `jogaudit.check/1` of `jogaudit check --format json` as a dictionary: `outcome` is `overdone`, `kept`,
/// `underdone` or `undecided` (the data cannot tell); `reps`, `dose` and `findings` say why. Units are in the names, as with `bouts`;
/// `_s_per_km` seconds a kilometre.
///
/// Judges a recording, not a body: pain, swelling, a limp or pain at night mean stop and see a health professional.
///
/// Raises `FileError`, `RecordingError`, `PlanError`, `ArgumentError`.
#[pyfunction]
#[pyo3(signature = (recording, plan, stage=None, *, activity=None))]
pub(crate) fn check<'py>(
    py: Python<'py>,
    recording: &Bound<'py, PyAny>,
    plan: &Bound<'py, PyAny>,
    stage: Option<&Bound<'py, PyAny>>,
    activity: Option<&Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyAny>> {
    let (recording, plan) = (Given::of("recording", recording)?, Given::of("plan", plan)?);
    let (stage, activity) = (some_text("stage", stage)?, some_whole("activity", 1, activity)?);
    let document = work(py, || {
        let config = Config::default();
        let mut notices = Vec::new();
        let plan = plan.plan(&mut notices)?;
        let stage = case::stage(&plan, stage.as_deref())?;
        let mut input = recording.recording(activity, &config)?;
        input.activity.notices.splice(0..0, notices);
        let checked = input.activity.check(Prescription::of(&plan, stage), &config, false);
        let report = CheckReport::new(&input.activity, &input.sha256, &plan, stage, &checked);
        Ok(json::check(&report.view))
    })?;
    Ok(dictionary(py, &document)?.into_any())
}

/// Audits a whole return: every recording of a case, week by week, and rules on the next session.
///
/// `case`: path of a folder with plan.toml, diary.csv and recordings/, or of a zip of one.
/// `as_of`: day on which the case is looked at, a date or "2026-03-02"; today in the plan's time zone if left out.
///
/// Gives the document `jogaudit.review/1` of `jogaudit review --format json` as a dictionary. Units are in the names.
///
/// Judges recordings and diary, not a body; the clinician's word stands above it.
///
/// Raises `FileError`, `PlanError`, `JogauditError`, `ArgumentError`.
#[pyfunction]
#[pyo3(signature = (case, *, as_of=None))]
pub(crate) fn review<'py>(
    py: Python<'py>,
    case: &Bound<'py, PyAny>,
    as_of: Option<&Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyAny>> {
    let case = path("case", case)?;
    let as_of = as_of.map(day).transpose()?;
    let document = work(py, || {
        let config = Config::default();
        let case = files::read_case(&case, &config)?;
        let as_of = as_of.unwrap_or_else(|| case.today(Timestamp::now()));
        Ok(json::review(&case.review(as_of, &config)))
    })?;
    Ok(dictionary(py, &document)?.into_any())
}

/// A day, from a date or its text.
fn day(value: &Bound<'_, PyAny>) -> PyResult<Date> {
    let text = value.str()?.to_string();
    text.parse().map_err(|_| wrong_argument(value.py(), "as_of", "a date as 2026-03-02", value))
}
