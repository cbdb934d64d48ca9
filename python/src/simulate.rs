//! `simulate`: a made-up recording and its true bouts.

use jiff::Timestamp;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyDict};

use jogaudit_case::{self as case, Failure};
use jogaudit_recording::read::Format;
use jogaudit_simulate::{
    Channels, Fault, Gps, InRange, Kept, Laps, Profile, Realism, Sampling, Settings, SimulateError,
    simulate as make, steps_of, write,
};

use super::errors::{dictionary, work, wrong_argument};
use super::given::{Given, some_text, some_whole, texts};

/// Makes up a recording of a prescribed session, with its true bouts. No person and no place is real.
///
/// `plan`, `stage`: as with `check`.
/// `seed`: the same seed and options give the same bytes.
/// `runner_seed`: seed of the runner alone, for several sessions of one person.
/// `format`: "fit", "gpx" or "tcx".
/// `start`: time of the first sample, a text as "2026-03-02T07:10:00Z".
/// `realism`: "ideal", or "realistic" (wanders, lags and drops out as measured on real recordings).
/// `profile`: "steady", "overlapping" or "indistinct": how clearly walking and jogging differ in speed.
/// `in_range`: "least", "inside" or "most" of what may be more or less.
/// `gps`: "clean", "typical", "bad" or "coarse".
/// `sampling`: "1s", "smart" (every 3 to 8 s), "slow" or "drawn".
/// `laps`: "whole", "steps" or "km".
/// `hills`, `cadence`, `treadmill`: whether there are hills, a cadence, no positions.
/// `faults`: list of KIND, KIND:VALUE or KIND:VALUE:REP as with `jogaudit simulate --fault`, for example "run-longer:30:2" (seconds).
///
/// Gives the bytes of the recording and the dictionary of the truth (`_s` seconds, `_m` metres). The other options of the command
/// (pauses, holes, faults of the cadence) are the command's alone.
///
/// Raises `FileError`, `PlanError`, `JogauditError`, `ArgumentError`.
#[pyfunction]
#[pyo3(signature = (plan, stage=None, *, seed=None, runner_seed=None, format=None, start=None, realism=None, profile=None,
    in_range=None, gps=None, sampling=None, laps=None, hills=false, cadence=true, treadmill=false, faults=None))]
#[expect(clippy::too_many_arguments, reason = "keyword arguments of Python")]
pub(crate) fn simulate<'py>(
    py: Python<'py>,
    plan: &Bound<'py, PyAny>,
    stage: Option<&Bound<'py, PyAny>>,
    seed: Option<&Bound<'py, PyAny>>,
    runner_seed: Option<&Bound<'py, PyAny>>,
    format: Option<&Bound<'py, PyAny>>,
    start: Option<&Bound<'py, PyAny>>,
    realism: Option<&Bound<'py, PyAny>>,
    profile: Option<&Bound<'py, PyAny>>,
    in_range: Option<&Bound<'py, PyAny>>,
    gps: Option<&Bound<'py, PyAny>>,
    sampling: Option<&Bound<'py, PyAny>>,
    laps: Option<&Bound<'py, PyAny>>,
    hills: bool,
    cadence: bool,
    treadmill: bool,
    faults: Option<&Bound<'py, PyAny>>,
) -> PyResult<(Bound<'py, PyBytes>, Bound<'py, PyDict>)> {
    let (plan, stage) = (Given::of("plan", plan)?, some_text("stage", stage)?);
    let usual = Settings::default();
    let realism = choice("realism", realism, &REALISM)?.unwrap_or_default();
    let drawn = if realism == Realism::Realistic { Sampling::Drawn } else { Sampling::EverySecond };
    let channels = if treadmill { Channels::TREADMILL } else { Channels::ALL };
    let settings = Settings {
        seed: some_whole("seed", 0, seed)?.unwrap_or(1),
        runner_seed: some_whole("runner_seed", 0, runner_seed)?,
        format: choice("format", format, &FORMATS)?.unwrap_or(Format::Fit),
        start: start.map(instant).transpose()?.unwrap_or(usual.start),
        realism,
        profile: choice("profile", profile, &PROFILES)?.unwrap_or_default(),
        in_range: choice("in_range", in_range, &IN_RANGE)?.unwrap_or_default(),
        gps: choice("gps", gps, &RECEPTIONS)?.unwrap_or_default(),
        sampling: choice("sampling", sampling, &SAMPLINGS)?.unwrap_or(drawn),
        laps: choice("laps", laps, &LAPS)?.unwrap_or_default(),
        hills,
        channels: Channels { cadence, ..channels },
        faults: faults.map(ordered).transpose()?.unwrap_or_default(),
        ..usual
    };
    let (bytes, truth) = work(py, || {
        let plan = plan.plan(&mut Vec::new())?;
        let stage = case::stage(&plan, stage.as_deref())?;
        let settings = Settings { kept: Kept::from(&stage.limits), ..settings };
        let refused =
            |error: SimulateError| Failure::refused("could not make up the session").caused_by(&error);
        let made = make(&steps_of(&stage.session, &settings), &settings).map_err(refused)?;
        Ok((write(&made, settings.format).map_err(refused)?, made.truth_json()))
    })?;
    Ok((PyBytes::new(py, &bytes), dictionary(py, &truth)?))
}

// The words of `jogaudit simulate`.
const FORMATS: [(&str, Format); 3] = [("fit", Format::Fit), ("gpx", Format::Gpx), ("tcx", Format::Tcx)];
const REALISM: [(&str, Realism); 2] = [("ideal", Realism::Ideal), ("realistic", Realism::Realistic)];
const PROFILES: [(&str, Profile); 3] =
    [("steady", Profile::Steady), ("overlapping", Profile::Overlapping), ("indistinct", Profile::Indistinct)];
const IN_RANGE: [(&str, InRange); 3] =
    [("least", InRange::Least), ("inside", InRange::Inside), ("most", InRange::Most)];
const RECEPTIONS: [(&str, Gps); 4] =
    [("clean", Gps::Clean), ("typical", Gps::Typical), ("bad", Gps::Bad), ("coarse", Gps::Coarse)];
const SAMPLINGS: [(&str, Sampling); 4] = [
    ("1s", Sampling::EverySecond),
    ("smart", Sampling::Smart),
    ("slow", Sampling::Slow),
    ("drawn", Sampling::Drawn),
];
const LAPS: [(&str, Laps); 3] = [("whole", Laps::Whole), ("steps", Laps::Steps), ("km", Laps::Kilometres)];

/// What a word stands for, unless it was left out.
fn choice<T: Copy>(name: &str, value: Option<&Bound<'_, PyAny>>, words: &[(&str, T)]) -> PyResult<Option<T>> {
    let chosen = |value: &Bound<'_, PyAny>| {
        let word = value.extract::<String>().unwrap_or_default();
        let known = words.iter().find(|(known, _)| *known == word).map(|(_, meant)| *meant);
        known.ok_or_else(|| {
            let listed: Vec<String> = words.iter().map(|(word, _)| format!("\"{word}\"")).collect();
            wrong_argument(value.py(), name, &format!("one of {}", listed.join(", ")), value)
        })
    };
    value.map(chosen).transpose()
}

fn instant(value: &Bound<'_, PyAny>) -> PyResult<Timestamp> {
    let read = value.extract::<String>().ok().and_then(|text| text.parse().ok());
    read.ok_or_else(|| wrong_argument(value.py(), "start", "a time as 2026-03-02T07:10:00Z", value))
}

fn ordered(value: &Bound<'_, PyAny>) -> PyResult<Vec<Fault>> {
    let listed = texts("faults", value)?;
    let fault = |text: &String| text.parse::<Fault>().ok();
    listed.iter().map(fault).collect::<Option<_>>().ok_or_else(|| {
        wrong_argument(value.py(), "faults", "a list of KIND, KIND:VALUE or KIND:VALUE:REP", value)
    })
}
