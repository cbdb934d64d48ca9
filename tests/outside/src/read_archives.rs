//! Real recorded files, from the published archives of the crates `fitparser` 0.11, `gpx` 0.10 and `tcx` 0.9.3, and made-up
//! files with every option of the simulator: every value must be the one that the crate itself reads, exactly.

#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::io::BufReader;

use crate::archive::{ArchiveFile, files};
use fitparser::profile::MesgNum;
use fitparser::{FitDataRecord, Value};
use jogaudit_recording::read::{Format, GuessedGait, ReadConfig, ReadErrorKind, Recording, Sport, read};

/// A sample as every reader gives it: microseconds from 1970 and plain SI numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Row {
    at_us: i64,
    lat_deg: Option<f64>,
    lon_deg: Option<f64>,
    altitude_m: Option<f64>,
    distance_m: Option<f64>,
    speed_mps: Option<f64>,
    cadence_spm: Option<f64>,
    heart_rate_bpm: Option<f64>,
}

pub(crate) fn rows(recordings: &[Recording]) -> Vec<Row> {
    let mut rows = Vec::new();
    for recording in recordings {
        rows.extend(recording.samples().iter().map(|sample| Row {
            at_us: recording.start().as_microsecond() + (sample.time_s * 1e6).round() as i64,
            lat_deg: sample.position.map(jogaudit_recording::geodesy::LatLon::lat_deg),
            lon_deg: sample.position.map(jogaudit_recording::geodesy::LatLon::lon_deg),
            altitude_m: sample.altitude.map(jogaudit_recording::units::Metres::get),
            distance_m: sample.distance.map(jogaudit_recording::units::Metres::get),
            speed_mps: sample.speed.map(jogaudit_recording::units::MetresPerSecond::get),
            cadence_spm: sample.cadence.map(jogaudit_recording::units::StepsPerMinute::get),
            heart_rate_bpm: sample.heart_rate.map(jogaudit_recording::units::BeatsPerMinute::get),
        }));
    }
    rows
}

/// Start in microseconds from 1970 and length in seconds of every lap.
pub(crate) fn laps(recordings: &[Recording]) -> Vec<(i64, Option<f64>)> {
    let of = |recording: &Recording| {
        let start_us = recording.start().as_microsecond();
        let laps = recording.laps().iter();
        laps.map(|lap| {
            (
                start_us + (lap.start_s * 1e6).round() as i64,
                lap.end_s.map(|end_s| millis(end_s - lap.start_s)),
            )
        })
        .collect::<Vec<_>>()
    };
    recordings.iter().flat_map(of).collect()
}

fn millis(seconds: f64) -> f64 {
    (seconds * 1000.0).round() / 1000.0
}

pub(crate) fn our(name: &str, bytes: &[u8]) -> Vec<Recording> {
    read(bytes, &ReadConfig::default()).unwrap_or_else(|error| panic!("{name}: {error}")).value
}

fn name(file: &ArchiveFile) -> String {
    file.path.display().to_string()
}

fn our_error(file: &ArchiveFile) -> ReadErrorKind {
    read(&file.bytes, &ReadConfig::default()).expect_err("nothing to read").kind
}

pub(crate) fn check_rows(name: &str, ours: &[Row], theirs: &[Row]) {
    assert_eq!(ours.len(), theirs.len(), "{name}");
    for (index, (our, their)) in ours.iter().zip(theirs).enumerate() {
        assert_eq!(our, their, "sample {index} of {name}");
    }
}

fn number(record: &FitDataRecord, names: &[&str]) -> Option<f64> {
    let value = names.iter().find_map(|name| record.fields().iter().find(|field| field.name() == *name));
    match value?.value() {
        Value::UInt8(value) => Some(f64::from(*value)),
        Value::UInt16(value) => Some(f64::from(*value)),
        Value::UInt32(value) => Some(f64::from(*value)),
        Value::SInt32(value) => Some(f64::from(*value)),
        Value::Float32(value) => Some(f64::from(*value)),
        Value::Float64(value) => Some(*value),
        other => panic!("{names:?} is {other:?}"),
    }
}

fn time_us(record: &FitDataRecord, name: &str) -> Option<i64> {
    let field = record.fields().iter().find(|field| field.name() == name)?;
    match field.value() {
        Value::Timestamp(time) => Some(time.timestamp_micros()),
        other => panic!("{name} is {other:?}"),
    }
}

fn fit_row(record: &FitDataRecord) -> Option<Row> {
    let degrees = |name| number(record, &[name]).map(|semicircles| semicircles * 180.0 / 2_147_483_648.0);
    let cadence = number(record, &["cadence"]);
    let fraction = number(record, &["fractional_cadence"]).unwrap_or(0.0);
    Some(Row {
        at_us: time_us(record, "timestamp")?,
        lat_deg: degrees("position_lat"),
        lon_deg: degrees("position_long"),
        altitude_m: number(record, &["enhanced_altitude", "altitude"]),
        distance_m: number(record, &["distance"]),
        speed_mps: number(record, &["enhanced_speed", "speed"]),
        cadence_spm: cadence.map(|cadence| 2.0 * (cadence + fraction)),
        heart_rate_bpm: number(record, &["heart_rate"]).filter(|heart_rate| *heart_rate > 0.0),
    })
}

/// Samples, and start and length of every lap.
pub(crate) fn fitparser(bytes: &[u8]) -> (Vec<Row>, Vec<(i64, Option<f64>)>) {
    let records = fitparser::from_bytes(bytes).expect("readable");
    let of = |kind: MesgNum| records.iter().filter(move |record| record.kind() == kind);
    let lap = |lap: &FitDataRecord| {
        (time_us(lap, "start_time").unwrap(), number(lap, &["total_elapsed_time"]).map(millis))
    };
    (of(MesgNum::Record).filter_map(fit_row).collect(), of(MesgNum::Lap).map(lap).collect())
}

/// Start and end in microseconds from 1970 and gait of every guess of ours.
fn guesses(recordings: &[Recording]) -> Vec<(i64, i64, GuessedGait)> {
    let of = |recording: &Recording| {
        let at_us = |at_s: f64| recording.start().as_microsecond() + (at_s * 1e6).round() as i64;
        let guesses = recording.guesses().iter();
        guesses.map(|g| (at_us(g.start_s), at_us(g.end_s), g.gait)).collect::<Vec<_>>()
    };
    recordings.iter().flat_map(of).collect()
}

/// The same of `split` messages whose type `fitparser` names after run-walk detection.
fn splits(bytes: &[u8]) -> Vec<(i64, i64, GuessedGait)> {
    let split = |record: &FitDataRecord| {
        let kind = record.fields().iter().find(|field| field.name() == "split_type")?;
        let gait = match kind.value() {
            Value::String(name) if name == "rwd_run" => GuessedGait::Run,
            Value::String(name) if name == "rwd_walk" => GuessedGait::Walk,
            Value::String(name) if name == "rwd_stand" => GuessedGait::Stand,
            _ => return None,
        };
        Some((time_us(record, "start_time")?, time_us(record, "end_time")?, gait))
    };
    let records = fitparser::from_bytes(bytes).expect("readable");
    records.iter().filter(|record| record.kind() == MesgNum::Split).filter_map(split).collect()
}

#[test]
fn fit_files_as_fitparser_reads_them() {
    let (mut read_files, mut samples) = (0, 0);
    for file in files("fitparser", "fit") {
        let (mut theirs, their_laps) = fitparser(&file.bytes);
        if theirs.is_empty() {
            let error = our_error(&file);
            let is_told = matches!(
                error,
                ReadErrorKind::NotARecording { .. } | ReadErrorKind::RecordsWithoutTimes { .. }
            );
            assert!(is_told, "{}: {error}", file.path.display());
            continue;
        }
        let recordings = our(&name(&file), &file.bytes);
        // Crank turns are left out, so theirs are not compared.
        let sports: Vec<&Sport> =
            recordings.iter().flat_map(|r| std::iter::repeat_n(r.sport(), r.samples().len())).collect();
        for (row, sport) in theirs.iter_mut().zip(sports) {
            row.cadence_spm = row.cadence_spm.filter(|_| sport.on_foot());
        }
        check_rows(&name(&file), &rows(&recordings), &theirs);
        assert_eq!(laps(&recordings), their_laps, "{}", file.path.display());
        read_files += 1;
        samples += theirs.len();
    }
    println!("{read_files} FIT files, {samples} samples");
    assert_eq!((read_files, samples), (4, 2878));
}

#[test]
fn a_triathlon_is_five_recordings() {
    let file = files("fitparser", "fit")
        .into_iter()
        .find(|file| file.id == "910454f2718036f2")
        .expect("in the archive");
    let recordings = our(&name(&file), &file.bytes);
    let told: Vec<(&Sport, usize)> = recordings.iter().map(|r| (r.sport(), r.samples().len())).collect();
    let other = |word: &str| Sport::Other(word.to_owned());
    assert_eq!(
        told,
        [
            (&other("swimming"), 349),
            (&other("transition"), 38),
            (&other("cycling"), 854),
            (&other("transition"), 14),
            (&Sport::Running, 518),
        ]
    );
}

/// Every point that has a time. The crate drops every extension: heart rate, cadence and speed are compared with gpxpy's
/// in `read_python.rs`.
fn gpx_rows(document: &gpx::Gpx) -> Vec<Row> {
    let points = document.tracks.iter().flat_map(|track| &track.segments).flat_map(|segment| &segment.points);
    let row = |point: &gpx::Waypoint| {
        let time: jiff::Timestamp = point.time?.format().ok()?.parse().ok()?;
        Some(Row {
            at_us: time.as_microsecond(),
            lat_deg: Some(point.point().y()),
            lon_deg: Some(point.point().x()),
            altitude_m: point.elevation,
            ..Row::default()
        })
    };
    points.filter_map(row).collect()
}

fn without_extensions(mut rows: Vec<Row>) -> Vec<Row> {
    for row in &mut rows {
        (row.cadence_spm, row.heart_rate_bpm, row.speed_mps) = (None, None, None);
    }
    rows
}

#[test]
fn gpx_files_as_the_gpx_crate_reads_them() {
    let (mut read_files, mut samples, mut refused_by_gpx) = (0, 0, 0);
    for file in files("gpx", "gpx") {
        let Ok(document) = gpx::read(file.bytes.as_slice()) else {
            refused_by_gpx += 1;
            continue;
        };
        let theirs = gpx_rows(&document);
        if theirs.is_empty() {
            let segments = document.tracks.iter().flat_map(|track| &track.segments);
            let expected = match segments.map(|segment| segment.points.len() as u64).sum() {
                0 if document.routes.is_empty() && document.waypoints.is_empty() => ReadErrorKind::NoSamples,
                0 => ReadErrorKind::OnlyRoute,
                points => ReadErrorKind::NoTimes { points },
            };
            assert_eq!(our_error(&file), expected, "{}", file.path.display());
            continue;
        }
        let ours = rows(&our(&name(&file), &file.bytes));
        check_rows(&name(&file), &without_extensions(ours), &theirs);
        read_files += 1;
        samples += theirs.len();
    }
    println!("{read_files} GPX files, {samples} samples, {refused_by_gpx} refused by the gpx crate");
    assert_eq!((read_files, samples, refused_by_gpx), (7, 4584, 0));
}

pub(crate) fn tcx_row(point: &tcx::Trackpoint) -> Row {
    Row {
        at_us: point.time.timestamp_micros(),
        lat_deg: point.position.as_ref().map(|position| position.latitude),
        lon_deg: point.position.as_ref().map(|position| position.longitude),
        altitude_m: point.altitude_meters,
        distance_m: point.distance_meters,
        speed_mps: point.extensions.as_ref().and_then(|e| e.tpx.as_ref()?.speed),
        // The crate does not read RunCadence: see read_python.rs.
        cadence_spm: None,
        heart_rate_bpm: point.heart_rate.as_ref().map(|heart_rate| heart_rate.value),
    }
}

pub(crate) fn without_cadence(mut rows: Vec<Row>) -> Vec<Row> {
    for row in &mut rows {
        row.cadence_spm = None;
    }
    rows
}

pub(crate) fn tcx_activities(bytes: &[u8]) -> Vec<tcx::Activity> {
    tcx::read(&mut BufReader::new(bytes)).expect("readable").activities.expect("activities").activities
}

#[test]
fn tcx_files_as_the_tcx_crate_reads_them() {
    let mut samples = 0;
    for file in files("tcx", "tcx") {
        let activities = tcx_activities(&file.bytes);
        let recordings = our(&name(&file), &file.bytes);
        assert_eq!(recordings.len(), activities.len(), "{}", file.path.display());
        let their_laps = activities.iter().flat_map(|activity| &activity.laps);
        let theirs: Vec<Row> = their_laps
            .clone()
            .flat_map(|lap| &lap.tracks)
            .flat_map(|track| &track.trackpoints)
            .map(tcx_row)
            .collect();
        check_rows(&name(&file), &without_cadence(rows(&recordings)), &theirs);
        // The crate does not read a lap's start; its time is ours unless the last point came later.
        for (lap, (start_us, length_s)) in their_laps.zip(laps(&recordings)) {
            let points = lap.tracks.iter().flat_map(|track| &track.trackpoints);
            let last_us = points.map(|point| point.time.timestamp_micros()).max().unwrap_or(start_us);
            let expected_s = lap.total_time_seconds.max((last_us - start_us) as f64 / 1e6);
            assert_eq!(length_s, Some(millis(expected_s)), "{}", file.path.display());
        }
        samples += theirs.len();
    }
    println!("3 TCX files, {samples} samples");
    assert_eq!(samples, 3836);
}

#[test]
fn simulated_files_as_the_crates_read_them() {
    let (mut samples, mut guessed) = ([0; 3], 0);
    for file in crate::made_up::files(Format::Fit) {
        let recordings = our(&file.name, &file.bytes);
        let (theirs, their_laps) = fitparser(&file.bytes);
        check_rows(&file.name, &rows(&recordings), &theirs);
        assert_eq!(laps(&recordings), their_laps, "{}", file.name);
        let their_splits = splits(&file.bytes);
        assert_eq!(guesses(&recordings), their_splits, "{}", file.name);
        guessed += their_splits.len();
        samples[0] += theirs.len();
    }
    for file in crate::made_up::files(Format::Gpx) {
        let theirs = gpx_rows(&gpx::read(file.bytes.as_slice()).expect("readable"));
        check_rows(&file.name, &without_extensions(rows(&our(&file.name, &file.bytes))), &theirs);
        samples[1] += theirs.len();
    }
    for file in crate::made_up::files(Format::Tcx) {
        let activities = tcx_activities(&file.bytes);
        let laps = activities.iter().flat_map(|activity| &activity.laps);
        let points = laps.flat_map(|lap| &lap.tracks).flat_map(|track| &track.trackpoints);
        let theirs: Vec<Row> = points.map(tcx_row).collect();
        check_rows(&file.name, &without_cadence(rows(&our(&file.name, &file.bytes))), &theirs);
        samples[2] += theirs.len();
    }
    println!(
        "simulated samples: {} FIT, {} GPX, {} TCX; {guessed} splits",
        samples[0], samples[1], samples[2]
    );
    assert!(guessed > 10, "{guessed}");
    assert!(samples.iter().all(|count| *count > 15_000), "{samples:?}");
}
