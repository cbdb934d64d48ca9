//! What is sent, as others read it: the crates `fitparser` and `tcx`, and the order of elements that TCX's schema asks for. Made-up
//! files with every option of the simulator, and the real ones of three crates' archives, whose bouts must stay as well.
//! `read_python.rs` has `fitdecode`.

#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use fitparser::Value;
use fitparser::profile::MesgNum;
use jogaudit_core::on_foot::OffFoot;
use jogaudit_core::pipeline::{Config, segment_recording};
use jogaudit_recording::read::{Format, Recording, read};
use jogaudit_share::{Shared, without_places};
use quick_xml::events::Event;

use crate::archive::files;
use crate::made_up;
use crate::read_archives::{
    Row, check_rows, fitparser, laps, our, rows, tcx_activities, tcx_row, without_cadence,
};

fn shared(name: &str, bytes: &[u8]) -> Shared {
    without_places(bytes, &Config::default()).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Name and bytes of made-up and real files of a format that can be read.
fn all(format: Format) -> Vec<(String, Vec<u8>)> {
    let crate_name = match format {
        Format::Fit => "fitparser",
        Format::Gpx => "gpx",
        Format::Tcx => "tcx",
    };
    let real = files(crate_name, format.name())
        .into_iter()
        .map(|file| (file.path.display().to_string(), file.bytes));
    let made_up = made_up::files(format).into_iter().map(|file| (file.name, file.bytes));
    real.chain(made_up).filter(|(_, bytes)| read(bytes, &Config::default().read).is_ok()).collect()
}

/// Values of our developer field, mm/s, as `fitparser` names it.
fn told(bytes: &[u8]) -> Vec<f64> {
    let records = fitparser::from_bytes(bytes).expect("readable");
    let fields = records
        .iter()
        .filter(|record| record.kind() == MesgNum::Record)
        .flat_map(fitparser::FitDataRecord::fields);
    fields
        .filter(|field| field.name() == "speed_by_positions")
        .map(|field| {
            assert_eq!(field.units(), "mm/s");
            match field.value() {
                Value::UInt16(value) => f64::from(*value),
                other => panic!("{other:?}"),
            }
        })
        .collect()
}

#[test]
fn fit_is_read_alike_by_fitparser() {
    let mut samples = 0;
    for (name, bytes) in all(Format::Fit) {
        let sent = shared(&name, &bytes).bytes;
        // `fitparser` checks both checksums.
        let (theirs, their_laps) = fitparser(&sent);
        let recordings = our(&name, &sent);
        check_rows(&name, &rows(&recordings), &theirs);
        assert_eq!(laps(&recordings), their_laps, "{name}");
        let ours =
            recordings.iter().flat_map(Recording::samples).filter_map(|sample| sample.speed_by_positions);
        let ours: Vec<f64> = ours.map(|speed| (speed.get() * 1000.0).round()).collect();
        assert_eq!(ours, told(&sent), "{name}");
        samples += theirs.len();
    }
    println!("{samples} samples of FIT");
    assert!(samples > 15_000);
}

#[test]
fn gpx_and_tcx_become_tcx_that_others_read_alike() {
    let mut samples = 0;
    for (name, bytes) in all(Format::Gpx).into_iter().chain(all(Format::Tcx)) {
        let sent = shared(&name, &bytes).bytes;
        let activities = tcx_activities(&sent);
        let recordings = our(&name, &sent);
        assert_eq!(activities.len(), recordings.len(), "{name}");
        let laps = activities.iter().flat_map(|activity| &activity.laps);
        let points = laps.flat_map(|lap| &lap.tracks).flat_map(|track| &track.trackpoints);
        let theirs: Vec<Row> = points.map(tcx_row).collect();
        check_rows(&name, &without_cadence(rows(&recordings)), &theirs);
        assert_schema_order(&name, &sent);
        samples += theirs.len();
    }
    println!("{samples} samples of TCX");
    assert!(samples > 30_000);
}

/// Children in the order of the published schema `TrainingCenterDatabasev2.xsd` (from memory), of elements that are written.
const ORDERS: [(&str, &[&str]); 6] = [
    ("TrainingCenterDatabase", &["Activities"]),
    ("Activity", &["Id", "Lap", "Extensions"]),
    (
        "Lap",
        &[
            "TotalTimeSeconds",
            "DistanceMeters",
            "Calories",
            "Intensity",
            "TriggerMethod",
            "Track",
            "Extensions",
        ],
    ),
    ("Track", &["Trackpoint"]),
    ("Trackpoint", &["Time", "AltitudeMeters", "DistanceMeters", "HeartRateBpm", "Extensions"]),
    ("TPX", &["Speed", "RunCadence"]),
];

fn assert_schema_order(name: &str, bytes: &[u8]) {
    let mut reader = quick_xml::Reader::from_reader(bytes);
    // Each open element with the place of its last child.
    let mut open: Vec<(String, usize)> = Vec::new();
    loop {
        match reader.read_event().expect("XML") {
            Event::Start(start) => {
                let child = start.local_name().as_ref().to_owned();
                if let Some((parent, last)) = open.last_mut()
                    && let Some((_, order)) = ORDERS.iter().find(|(element, _)| element == parent)
                {
                    let place = order.iter().position(|known| *known == child);
                    let place = place.unwrap_or_else(|| panic!("{name}: {child} in {parent}"));
                    assert!(place >= *last, "{name}: {child} too late in {parent}");
                    *last = place;
                }
                open.push((child, 0));
            }
            Event::End(_) => drop(open.pop()),
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(open, []);
}

#[test]
fn bouts_of_real_recordings_stay() {
    let config = Config::default();
    let (mut on_foot, mut bouts, mut most_s, mut differ) = (0, 0, 0.0_f64, Vec::new());
    let real = |format| all(format).into_iter().filter(|(name, _)| name.contains('/'));
    for (name, bytes) in [Format::Fit, Format::Gpx, Format::Tcx].into_iter().flat_map(real) {
        let (before, after) = (our(&name, &bytes), our(&name, &shared(&name, &bytes).bytes));
        assert_eq!(before.len(), after.len(), "{name}");
        for (before, after) in before.iter().zip(&after) {
            let off = |recording| OffFoot::of(recording, &config.clean).map(|off| off.code());
            assert_eq!(off(before), off(after), "{name}");
            if off(before).is_some() {
                continue;
            }
            on_foot += 1;
            let (old, new) = (segment_recording(before, &config), segment_recording(after, &config));
            let (old, new) = (old.segmentation.bouts().to_vec(), new.segmentation.bouts().to_vec());
            let gaits =
                |bouts: &[jogaudit_core::gait::Bout]| bouts.iter().map(|bout| bout.gait).collect::<Vec<_>>();
            if gaits(&old) != gaits(&new) {
                differ.push(format!("{name}: {} and {} bouts", old.len(), new.len()));
                continue;
            }
            bouts += old.len();
            for (a, b) in old.iter().zip(&new) {
                most_s = most_s.max((a.start_s - b.start_s).abs()).max((a.end_s - b.end_s).abs());
            }
        }
    }
    println!(
        "{on_foot} real recordings on foot, {bouts} bouts move by {most_s} s at most; others: {differ:?}"
    );
    assert_eq!(differ, Vec::<String>::new());
    assert!(on_foot > 5 && bouts > 30 && most_s <= 1.0);
}
