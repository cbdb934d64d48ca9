//! Writes a recording as TCX v2 with speed and cadence in `ActivityExtension` v2.

use super::xml::{instant, paused_between};
use jogaudit_recording::read::{Lap, LapIntensity, LapTrigger, Recording, Sample};
use jogaudit_recording::units::Metres;
use jogaudit_recording::write::Document;

/// Names of the open schemas.
const DATABASE: &str = "http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2";
const EXTENSION: &str = "http://www.garmin.com/xmlschemas/ActivityExtension/v2";
const INSTANCE: &str = "http://www.w3.org/2001/XMLSchema-instance";

/// Writes the file: one activity; in each lap one track between two pauses of the recorder.
pub(super) fn write(recording: &Recording, pauses_s: &[(f64, f64)]) -> Vec<u8> {
    let mut xml = Document::new(1);
    xml.open(
        "TrainingCenterDatabase",
        &[("xmlns", DATABASE), ("xmlns:ns3", EXTENSION), ("xmlns:xsi", INSTANCE)],
    );
    xml.open("Activities", &[]);
    xml.open("Activity", &[("Sport", "Running")]);
    xml.text("Id", instant(recording.start(), 0.0));
    let last_s = recording.samples().last().map_or(0.0, |s| s.time_s);
    for (i, written) in recording.laps().iter().enumerate() {
        // A lap reaches to the next one; the last one holds the last sample.
        let next_s = recording.laps().get(i + 1).map(|next| next.start_s);
        let within = |s: &&Sample| s.time_s >= written.start_s && next_s.is_none_or(|n| s.time_s < n);
        let samples: Vec<&Sample> = recording.samples().iter().filter(within).collect();
        lap(&mut xml, recording, written, next_s.unwrap_or(last_s), &samples, pauses_s);
    }
    xml.finish()
}

/// Writes one lap that reaches to `end_s` with its samples.
fn lap(
    xml: &mut Document,
    recording: &Recording,
    lap: &Lap,
    end_s: f64,
    samples: &[&Sample],
    pauses_s: &[(f64, f64)],
) {
    let paused_s: f64 = pauses_s.iter().map(|p| (p.1.min(end_s) - p.0.max(lap.start_s)).max(0.0)).sum();
    let distance = |s: Option<&&Sample>| s.and_then(|s| s.distance).map_or(0.0, Metres::get);
    xml.open("Lap", &[("StartTime", &instant(recording.start(), lap.start_s))]);
    xml.text("TotalTimeSeconds", format!("{:.1}", end_s - lap.start_s - paused_s));
    xml.text("DistanceMeters", format!("{:.2}", distance(samples.last()) - distance(samples.first())));
    xml.text("Calories", "0");
    xml.text("Intensity", if lap.intensity == LapIntensity::Rest { "Resting" } else { "Active" });
    let trigger = match lap.trigger {
        LapTrigger::Time | LapTrigger::Step => "Time",
        LapTrigger::Distance => "Distance",
        LapTrigger::Manual | LapTrigger::Other => "Manual",
    };
    xml.text("TriggerMethod", trigger);
    xml.open("Track", &[]);
    for pair in samples.windows(2) {
        let (sample, next) = (pair[0], pair[1]);
        point(xml, recording, sample);
        if paused_between(pauses_s, sample.time_s, next.time_s) {
            xml.close();
            xml.open("Track", &[]);
        }
    }
    if let Some(sample) = samples.last() {
        point(xml, recording, sample);
    }
    xml.close();
    xml.close();
}

fn point(xml: &mut Document, recording: &Recording, sample: &Sample) {
    xml.open("Trackpoint", &[]);
    xml.text("Time", instant(recording.start(), sample.time_s));
    if let Some(position) = sample.position {
        xml.open("Position", &[]);
        xml.text("LatitudeDegrees", format!("{:.7}", position.lat_deg()));
        xml.text("LongitudeDegrees", format!("{:.7}", position.lon_deg()));
        xml.close();
    }
    if let Some(altitude) = sample.altitude {
        xml.text("AltitudeMeters", format!("{:.1}", altitude.get()));
    }
    if let Some(distance) = sample.distance {
        xml.text("DistanceMeters", format!("{:.2}", distance.get()));
    }
    if let Some(heart_rate) = sample.heart_rate {
        xml.open("HeartRateBpm", &[]);
        xml.text("Value", format!("{:.0}", heart_rate.get()));
        xml.close();
    }
    if sample.speed.is_some() || sample.cadence.is_some() {
        xml.open("Extensions", &[]);
        xml.open("ns3:TPX", &[]);
        if let Some(speed) = sample.speed {
            xml.text("ns3:Speed", format!("{:.3}", speed.get()));
        }
        if let Some(cadence) = sample.cadence {
            // Strides of one leg.
            xml.text("ns3:RunCadence", format!("{:.0}", cadence.get() / 2.0));
        }
        xml.close();
        xml.close();
    }
    xml.close();
}
