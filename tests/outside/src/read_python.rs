//! Readers and geodesy against independent open libraries in another language: `fitdecode`, `gpxpy`, `geographiclib`
//! from `PyPI`, run by the interpreter that `JOGAUDIT_PYTHON` names. `tests/full` sets that up.

#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use jogaudit_core::pipeline::Config;
use jogaudit_recording::geodesy::LatLon;
use jogaudit_recording::notice::Noted;
use jogaudit_recording::read::{Format, ReadConfig, Recording, read};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::program::top;

/// Runs `tests/reference/read_check.py` and gives the numbers of its lines.
fn python(arguments: &[&str], input: &str) -> Vec<Vec<Option<f64>>> {
    let interpreter = std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter");
    let script = top().join("tests/reference/read_check.py");
    let mut child = Command::new(interpreter)
        .arg(script)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the interpreter starts");
    let mut stdin = child.stdin.take().expect("piped");
    let input = input.to_owned();
    let writer = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
    let output = child.wait_with_output().expect("the script ends");
    assert!(output.status.success(), "{arguments:?}");
    writer.join().expect("no panic").expect("the script reads all");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    let lines = text.lines().map(|line| serde_json::from_str::<Vec<Option<String>>>(line).expect("JSON"));
    let number = |text: String| text.parse().expect("a number");
    lines.map(|line| line.into_iter().map(|value| value.map(number)).collect()).collect()
}

/// What the script says of each file.
fn python_reads(format: &str, paths: &[PathBuf]) -> Vec<Vec<Vec<Option<f64>>>> {
    let paths = paths.iter().map(|path| path.to_str().expect("a plain path"));
    let arguments: Vec<&str> = std::iter::once(format).chain(paths).collect();
    let lines = python(&arguments, "");
    lines.split(Vec::is_empty).take(arguments.len() - 1).map(<[_]>::to_vec).collect()
}

/// Microseconds from 1970, latitude, longitude, altitude, distance, speed, cadence as written and heart rate.
type Row = (i64, [Option<f64>; 7]);

fn their_row(line: &Vec<Option<f64>>) -> Row {
    let [at_us, values @ ..] = line.as_slice() else { panic!("an empty line") };
    (at_us.expect("a time") as i64, values.try_into().expect("seven values"))
}

fn our_rows(recordings: &[Recording], steps_per_written: f64) -> Vec<Row> {
    let mut rows = Vec::new();
    for recording in recordings {
        rows.extend(recording.samples().iter().map(|sample| {
            let at_us = recording.start().as_microsecond() + (sample.time_s * 1e6).round() as i64;
            (
                at_us,
                [
                    sample.position.map(LatLon::lat_deg),
                    sample.position.map(LatLon::lon_deg),
                    sample.altitude.map(jogaudit_recording::units::Metres::get),
                    sample.distance.map(jogaudit_recording::units::Metres::get),
                    sample.speed.map(jogaudit_recording::units::MetresPerSecond::get),
                    sample.cadence.map(|cadence| cadence.get() / steps_per_written),
                    sample.heart_rate.map(jogaudit_recording::units::BeatsPerMinute::get),
                ],
            )
        }));
    }
    rows
}

/// Compares every sample of the files exactly; gives their number.
fn check_all(format: &str, paths: &[PathBuf]) -> usize {
    let theirs = python_reads(format, paths);
    assert_eq!(theirs.len(), paths.len());
    paths.iter().zip(theirs).map(|(path, lines)| check(format, path, &lines)).sum()
}

const STEPS: &[u8] = b"<j:StepsPerMinute>";

/// Compares every sample of a file exactly; gives their number, 0 for a file without samples.
fn check(format: &str, path: &Path, lines: &[Vec<Option<f64>>]) -> usize {
    let name = path.display();
    let bytes = std::fs::read(path).expect("readable");
    let mut theirs: Vec<Row> = lines.iter().map(their_row).collect();
    let Ok(Noted { value: recordings, notices }) = read(&bytes, &ReadConfig::default()) else {
        assert_eq!(theirs, [], "{name}");
        return 0;
    };
    // What is sent has steps of both feet in an element of its own, which no other reader knows, beside one leg's.
    let is_settled = bytes.windows(STEPS.len()).any(|window| window == STEPS);
    let is_doubled =
        format == "fit" || is_settled || notices.iter().any(|notice| notice.code.word() == "cadence_doubled");
    let ours = our_rows(&recordings, if is_doubled { 2.0 } else { 1.0 });
    // Crank turns are left out of our side.
    let on_foot = recordings.iter().flat_map(|r| std::iter::repeat_n(r.sport().on_foot(), r.samples().len()));
    for (row, on_foot) in theirs.iter_mut().zip(on_foot) {
        row.1[5] = row.1[5].filter(|_| on_foot);
    }
    assert_eq!(ours.len(), theirs.len(), "{name}");
    for (index, (our, their)) in ours.iter().zip(&theirs).enumerate() {
        assert_eq!(our, their, "sample {index} of {name}");
    }
    ours.len()
}

fn paths(crate_name: &str, extension: &str) -> Vec<PathBuf> {
    let tiny = top().join("testdata").join(format!("tiny.{extension}"));
    let archive = crate::archive::files(crate_name, extension).into_iter().map(|file| {
        assert!(!file.id.is_empty() && !file.bytes.is_empty());
        file.path
    });
    std::iter::once(tiny).chain(archive).collect()
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn fit_files_as_fitdecode_reads_them() {
    let samples = check_all("fit", &paths("fitparser", "fit"));
    println!("{samples} FIT samples");
    assert_eq!(samples, 3 + 2878);
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn fit_laps_as_fitdecode_reads_them() {
    check_laps(&paths("fitparser", "fit"));
}

fn check_laps(paths: &[PathBuf]) {
    for (path, lines) in paths.iter().zip(python_reads("laps", paths)) {
        let bytes = std::fs::read(path).expect("readable");
        let Ok(noted) = read(&bytes, &ReadConfig::default()) else { continue };
        let mut ours = Vec::new();
        for recording in &noted.value {
            let start_us = recording.start().as_microsecond();
            ours.extend(recording.laps().iter().map(|lap| {
                let elapsed_ms = lap.end_s.map(|end_s| ((end_s - lap.start_s) * 1000.0).round() as i64);
                (start_us + (lap.start_s * 1e6).round() as i64, elapsed_ms)
            }));
        }
        let theirs: Vec<(i64, Option<i64>)> = lines
            .iter()
            .map(|line| {
                let elapsed_ms = line[1].map(|elapsed_s| (elapsed_s * 1000.0).round() as i64);
                (line[0].expect("a start") as i64, elapsed_ms)
            })
            .collect();
        assert_eq!(ours, theirs, "{}", path.display());
    }
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn gpx_files_as_gpxpy_reads_them() {
    let samples = check_all("gpx", &paths("gpx", "gpx"));
    println!("{samples} GPX samples");
    assert_eq!(samples, 4 + 4584);
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn tcx_files_as_an_xml_tree_reads_them() {
    let samples = check_all("tcx", &paths("tcx", "tcx"));
    println!("{samples} TCX samples");
    assert_eq!(samples, 5 + 3836);
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn simulated_files_as_all_of_them_read_them() {
    let dir = tempfile::tempdir().expect("a folder");
    for format in [Format::Fit, Format::Gpx, Format::Tcx] {
        let extension = format.name();
        let mut paths = Vec::new();
        for file in crate::made_up::files(format) {
            paths.push(dir.path().join(format!("{}.{extension}", file.name)));
            std::fs::write(paths.last().expect("just pushed"), &file.bytes).expect("writable");
        }
        let samples = check_all(extension, &paths);
        if format == Format::Fit {
            check_laps(&paths);
        }
        println!("{} simulated {extension} files, {samples} samples", paths.len());
        assert!(samples > 15_000, "{samples}");
    }
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn what_is_sent_as_all_of_them_read_it() {
    let dir = tempfile::tempdir().expect("a folder");
    for format in [Format::Fit, Format::Gpx, Format::Tcx] {
        let mut paths = Vec::new();
        for file in crate::made_up::files(format) {
            let sent = jogaudit_share::without_places(&file.bytes, &Config::default()).expect("readable");
            paths.push(dir.path().join(format!("{}{}", file.name, sent.name_ending)));
            std::fs::write(paths.last().expect("just pushed"), &sent.bytes).expect("writable");
        }
        let samples = check_all(if format == Format::Fit { "fit" } else { "tcx" }, &paths);
        if format == Format::Fit {
            check_laps(&paths);
        }
        println!("{} files from {}, {samples} samples", paths.len(), format.name());
        assert!(samples > 15_000, "{samples}");
    }
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn distances_as_geographiclib_computes_them() {
    let mut rng = ChaCha8Rng::seed_from_u64(20_250_101);
    let mut pairs = Vec::new();
    for index in 0..400 {
        let (lat, lon) = (rng.random_range(-89.0..89.0), rng.random_range(-180.0..180.0));
        // One half a step of a runner, one half anywhere.
        let (other_lat, other_lon) = if index % 2 == 0 {
            (
                lat + rng.random_range(-1e-4..1e-4),
                (lon + rng.random_range(-1e-4..1e-4_f64)).clamp(-180.0, 180.0),
            )
        } else {
            (rng.random_range(-90.0..90.0), rng.random_range(-180.0..180.0))
        };
        pairs.push([lat, lon, other_lat, other_lon]);
    }
    let input: String =
        pairs.iter().map(|pair| serde_json::to_string(pair).expect("numbers") + "\n").collect();
    let theirs = python(&["distances"], &input);
    assert_eq!(theirs.len(), pairs.len());
    for ([lat, lon, other_lat, other_lon], their) in pairs.into_iter().zip(theirs) {
        let at = |lat, lon| LatLon::new(lat, lon).expect("in range");
        let our_m = at(lat, lon).distance_m(at(other_lat, other_lon));
        let their_m = their[0].expect("a number");
        assert!(
            (our_m - their_m).abs() <= 1e-6,
            "{lat} {lon} {other_lat} {other_lon}: {our_m} m, {their_m} m"
        );
    }
}
