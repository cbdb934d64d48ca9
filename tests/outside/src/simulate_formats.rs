//! The FIT and GPX files that the simulator writes, read back by the `fitparser` and `gpx` crates, and by plain `quick-xml`
//! events for the extensions that the `gpx` crate leaves out.

use fitparser::profile::MesgNum;
use fitparser::{FitDataRecord, Value};
use jogaudit_recording::geodesy::LatLon;
use jogaudit_recording::read::{Format, Recording};
use jogaudit_recording::units::{BeatsPerMinute, Metres, MetresPerSecond, StepsPerMinute};
use jogaudit_simulate::{Channels, Settings, write};

use crate::short_session::{busy, elements, instant, made, parsed};

fn number(record: &FitDataRecord, name: &str) -> Option<f64> {
    let field = record.fields().iter().find(|f| f.name() == name)?;
    Some(match field.value() {
        Value::Timestamp(t) => t.timestamp() as f64,
        Value::SInt32(v) => f64::from(*v),
        Value::UInt8(v) | Value::Enum(v) | Value::Byte(v) => f64::from(*v),
        Value::UInt16(v) => f64::from(*v),
        Value::UInt32(v) => f64::from(*v),
        Value::Float64(v) => *v,
        other => panic!("{name}: {other:?}"),
    })
}

fn word(record: &FitDataRecord, name: &str) -> Option<String> {
    record.fields().iter().find(|f| f.name() == name).map(|f| f.value().to_string())
}

fn messages(bytes: &[u8], kind: MesgNum) -> Vec<FitDataRecord> {
    // `fitparser` checks both checksums.
    fitparser::from_bytes(bytes).unwrap().into_iter().filter(|r| r.kind() == kind).collect()
}

fn assert_near(got: Option<f64>, expected: Option<f64>, tolerance: f64, what: &str) {
    match (got, expected) {
        (Some(got), Some(expected)) => {
            assert!((got - expected).abs() <= tolerance, "{what}: {got} for {expected}");
        }
        (got, expected) => assert_eq!(got, expected, "{what}"),
    }
}

fn assert_fit_holds(recording: &Recording, bytes: &[u8]) {
    let records = messages(bytes, MesgNum::Record);
    assert_eq!(records.len(), recording.samples().len());
    let start = recording.start().as_second() as f64;
    for (record, sample) in records.iter().zip(recording.samples()) {
        let value = |name| number(record, name);
        let degrees = |name| value(name).map(|s: f64| s * 180.0 / 2f64.powi(31));
        assert_eq!(value("timestamp"), Some(start + sample.time_s));
        assert_near(degrees("position_lat"), sample.position.map(LatLon::lat_deg), 1e-12, "lat");
        assert_near(degrees("position_long"), sample.position.map(LatLon::lon_deg), 1e-12, "long");
        assert_near(value("enhanced_altitude"), sample.altitude.map(Metres::get), 1e-9, "altitude");
        assert_near(value("distance"), sample.distance.map(Metres::get), 1e-9, "distance");
        assert_near(value("enhanced_speed"), sample.speed.map(MetresPerSecond::get), 1e-9, "speed");
        assert_near(value("heart_rate"), sample.heart_rate.map(BeatsPerMinute::get), 0.0, "heart rate");
        let strides = value("cadence").map(|c| c + value("fractional_cadence").unwrap_or(0.0));
        assert_near(strides.map(|s| 2.0 * s), sample.cadence.map(StepsPerMinute::get), 0.0, "cadence");
    }
}

#[test]
fn fit_reads_back_equal_with_fitparser() {
    let simulated = made(&busy());
    let bytes = write(&simulated, Format::Fit).unwrap();
    let recording = &simulated.recording;
    assert_fit_holds(recording, &bytes);

    let events: Vec<(f64, String)> = messages(&bytes, MesgNum::Event)
        .iter()
        .map(|e| (number(e, "timestamp").unwrap(), word(e, "event_type").unwrap()))
        .collect();
    let start = recording.start().as_second() as f64;
    let end = recording.samples().last().unwrap().time_s;
    let expected = [(0.0, "start"), (150.0, "stop"), (180.0, "start"), (end, "stop_all")];
    assert_eq!(events, expected.map(|(t, word)| (start + t, word.to_owned())));

    let laps = messages(&bytes, MesgNum::Lap);
    assert_eq!(laps.len(), recording.laps().len());
    for (lap, expected) in laps.iter().zip(recording.laps()) {
        assert_eq!(number(lap, "start_time"), Some(start + expected.start_s));
        assert_eq!(number(lap, "total_elapsed_time"), expected.end_s.map(|e| e - expected.start_s));
    }
    let words = |name| laps.iter().map(|l| word(l, name).unwrap()).collect::<Vec<_>>();
    assert_eq!(words("intensity"), ["warmup", "active", "cooldown"]);
    assert_eq!(words("lap_trigger"), ["time", "time", "session_end"]);
    let paused =
        number(&laps[1], "total_elapsed_time").unwrap() - number(&laps[1], "total_timer_time").unwrap();
    assert_eq!(paused, 30.0);

    let session = &messages(&bytes, MesgNum::Session)[0];
    assert_eq!(word(session, "sport").unwrap(), "running");
    assert_eq!(number(session, "total_elapsed_time"), Some(end));
    assert_eq!(number(session, "num_laps"), Some(3.0));
    let covered = recording.samples().last().unwrap().distance.map(Metres::get);
    assert_near(number(session, "total_distance"), covered, 0.011, "distance");
    assert_eq!(word(&messages(&bytes, MesgNum::FileId)[0], "type").unwrap(), "activity");
    assert_eq!(messages(&bytes, MesgNum::Activity).len(), 1);
}

#[test]
fn fit_without_a_channel_has_no_value_for_it() {
    for channels in [Channels::NO_CADENCE, Channels::POSITIONS_ONLY, Channels::TREADMILL] {
        let simulated = made(&Settings { channels, ..busy() });
        assert_fit_holds(&simulated.recording, &write(&simulated, Format::Fit).unwrap());
    }
    let treadmill = made(&Settings { channels: Channels::TREADMILL, ..busy() });
    let session = &messages(&write(&treadmill, Format::Fit).unwrap(), MesgNum::Session)[0];
    assert_eq!(word(session, "sub_sport").unwrap(), "treadmill");
}

#[test]
fn gpx_reads_back_equal_with_the_gpx_crate() {
    let simulated = made(&Settings { format: Format::Gpx, ..busy() });
    let bytes = write(&simulated, Format::Gpx).unwrap();
    let recording = &simulated.recording;
    let gpx = gpx::read(bytes.as_slice()).unwrap();
    assert_eq!(gpx.version, gpx::GpxVersion::Gpx11);
    // A pause ends a segment.
    let segments: Vec<usize> = gpx.tracks[0].segments.iter().map(|s| s.points.len()).collect();
    assert_eq!(segments.len(), 2);
    let points: Vec<&gpx::Waypoint> = gpx.tracks[0].segments.iter().flat_map(|s| &s.points).collect();
    assert_eq!(points.len(), recording.samples().len());
    assert_eq!(recording.samples()[segments[0] - 1].time_s, 150.0);
    let extended = elements(&bytes, "trkpt");
    for ((point, more), sample) in points.iter().zip(&extended).zip(recording.samples()) {
        let position = sample.position.unwrap();
        assert_eq!((point.point().y(), point.point().x()), (position.lat_deg(), position.lon_deg()));
        assert_eq!(point.elevation, sample.altitude.map(Metres::get));
        let time: jiff::Timestamp = point.time.unwrap().format().unwrap().parse().unwrap();
        assert_eq!(time.to_string(), instant(recording, sample));
        let value = |name: &str| parsed(more, &format!("extensions/TrackPointExtension/{name}"));
        assert_eq!(value("speed"), sample.speed.map(MetresPerSecond::get));
        assert_eq!(value("hr"), sample.heart_rate.map(BeatsPerMinute::get));
        assert_eq!(value("cad").map(|strides| 2.0 * strides), sample.cadence.map(StepsPerMinute::get));
    }
}
