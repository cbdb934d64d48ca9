//! The files that the simulator writes: TCX read back by plain `quick-xml` events, the formats beside each other, gzip.

use jogaudit_recording::geodesy::LatLon;
use jogaudit_recording::read::Format;
use jogaudit_recording::units::{BeatsPerMinute, Metres, MetresPerSecond, StepsPerMinute};
use jogaudit_simulate::{Channels, Sampling, Settings, gzip, write};

use crate::short_session::{busy, elements, instant, made, parsed};

#[test]
fn positions_only_gpx_has_nothing_else_but_heart_rate() {
    let simulated =
        made(&Settings { format: Format::Gpx, channels: Channels::POSITIONS_ONLY, ..Settings::default() });
    let text = String::from_utf8(write(&simulated, Format::Gpx).unwrap()).unwrap();
    assert!(text.contains(":hr>"));
    for absent in [":speed>", ":cad>", "<ele>"] {
        assert!(!text.contains(absent), "{absent}");
    }
}

#[test]
fn tcx_reads_back_equal() {
    let simulated = made(&Settings { format: Format::Tcx, ..busy() });
    let bytes = write(&simulated, Format::Tcx).unwrap();
    let recording = &simulated.recording;
    let points = elements(&bytes, "Trackpoint");
    assert_eq!(points.len(), recording.samples().len());
    for (point, sample) in points.iter().zip(recording.samples()) {
        let value = |path| parsed(point, path);
        assert_eq!(point["Time"], instant(recording, sample));
        assert_eq!(value("Position/LatitudeDegrees"), sample.position.map(LatLon::lat_deg));
        assert_eq!(value("Position/LongitudeDegrees"), sample.position.map(LatLon::lon_deg));
        assert_eq!(value("AltitudeMeters"), sample.altitude.map(Metres::get));
        assert_eq!(value("DistanceMeters"), sample.distance.map(Metres::get));
        assert_eq!(value("HeartRateBpm/Value"), sample.heart_rate.map(BeatsPerMinute::get));
        assert_eq!(value("Extensions/TPX/Speed"), sample.speed.map(MetresPerSecond::get));
        assert_eq!(
            value("Extensions/TPX/RunCadence").map(|s| 2.0 * s),
            sample.cadence.map(StepsPerMinute::get)
        );
    }
    let laps = elements(&bytes, "Lap");
    assert_eq!(laps.len(), 3);
    assert_eq!(laps[0]["TriggerMethod"], "Time");
    assert_eq!(laps[2]["TriggerMethod"], "Manual");
    assert_eq!(parsed(&laps[1], "TotalTimeSeconds"), Some(90.0));
    assert_eq!(elements(&bytes, "Track").len(), 4);
    assert_eq!(elements(&bytes, "Activity")[0]["Sport"], "Running");
}

#[test]
fn the_formats_tell_of_the_same_session() {
    let simulated = made(&Settings { sampling: Sampling::Smart, ..Settings::default() });
    let fit = simulated.recording_in(Format::Fit).unwrap();
    for format in [Format::Gpx, Format::Tcx] {
        let other = simulated.recording_in(format).unwrap();
        assert_eq!(other.format(), format);
        assert_eq!(other.samples().len(), fit.samples().len());
        for (a, b) in other.samples().iter().zip(fit.samples()) {
            assert_eq!(
                (a.time_s, a.speed, a.cadence, a.heart_rate),
                (b.time_s, b.speed, b.cadence, b.heart_rate)
            );
            assert!(a.position.unwrap().distance_m(b.position.unwrap()) < 0.02);
        }
    }
}

#[test]
fn gzip_unpacks_to_the_same_bytes() {
    use std::io::Read;
    let bytes = write(&made(&Settings::default()), Format::Fit).unwrap();
    let packed = gzip(&bytes);
    assert!(packed.len() < bytes.len());
    let mut unpacked = Vec::new();
    flate2::read::GzDecoder::new(packed.as_slice()).read_to_end(&mut unpacked).unwrap();
    assert_eq!(unpacked, bytes);
}
