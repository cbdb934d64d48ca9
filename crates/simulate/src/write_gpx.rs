//! Writes a recording as GPX 1.1 with heart rate, cadence and speed in `TrackPointExtension` v2.

use super::xml::{instant, paused_between};
use jogaudit_recording::read::{Recording, Sample};
use jogaudit_recording::write::Document;

const GPX: &str = "http://www.topografix.com/GPX/1/1";
/// Name of the open extension schema; the element order in it is hr, cad, speed.
const EXTENSION: &str = "http://www.garmin.com/xmlschemas/TrackPointExtension/v2";

/// Writes the file: one track, one segment between two pauses of the recorder.
pub(super) fn write(recording: &Recording, pauses_s: &[(f64, f64)]) -> Vec<u8> {
    let mut xml = Document::new(1);
    xml.open(
        "gpx",
        &[("version", "1.1"), ("creator", "jogaudit"), ("xmlns", GPX), ("xmlns:gpxtpx", EXTENSION)],
    );
    xml.open("metadata", &[]);
    xml.text("time", instant(recording.start(), 0.0));
    xml.close();
    xml.open("trk", &[]);
    xml.text("type", "running");
    xml.open("trkseg", &[]);
    let mut before: Option<f64> = None;
    for sample in recording.samples() {
        if before.is_some_and(|b| paused_between(pauses_s, b, sample.time_s)) {
            xml.close();
            xml.open("trkseg", &[]);
        }
        point(&mut xml, recording, sample);
        before = Some(sample.time_s);
    }
    xml.finish()
}

fn point(xml: &mut Document, recording: &Recording, sample: &Sample) {
    let Some(position) = sample.position else { return };
    let (lat, lon) = (format!("{:.7}", position.lat_deg()), format!("{:.7}", position.lon_deg()));
    xml.open("trkpt", &[("lat", &lat), ("lon", &lon)]);
    if let Some(altitude) = sample.altitude {
        xml.text("ele", format!("{:.1}", altitude.get()));
    }
    xml.text("time", instant(recording.start(), sample.time_s));
    if sample.heart_rate.is_some() || sample.cadence.is_some() || sample.speed.is_some() {
        xml.open("extensions", &[]);
        xml.open("gpxtpx:TrackPointExtension", &[]);
        if let Some(heart_rate) = sample.heart_rate {
            xml.text("gpxtpx:hr", format!("{:.0}", heart_rate.get()));
        }
        if let Some(cadence) = sample.cadence {
            // Strides of one leg, as exporters write it.
            xml.text("gpxtpx:cad", format!("{:.0}", cadence.get() / 2.0));
        }
        if let Some(speed) = sample.speed {
            xml.text("gpxtpx:speed", format!("{:.3}", speed.get()));
        }
        xml.close();
        xml.close();
    }
    xml.close();
}
