//! Writes recordings as one TCX document (version 2) without positions, which that format does not ask for.
//!
//! Speed and cadence stand in `ActivityExtension` version 2, so that other programs find them. What TCX has no place for stands in
//! elements of a namespace of our own, where its schema lets any stand: see `docs/formats.md`.

use jiff::Timestamp;
use jiff::tz::Offset;
use jogaudit_recording::read::{Lap, LapIntensity, LapTrigger, Recording, Sample, Sport, pauses_s};
use jogaudit_recording::units::Metres;
use jogaudit_recording::write::Document;

use super::sport;

/// Names of the open schemas.
const DATABASE: &str = "http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2";
const EXTENSION: &str = "http://www.garmin.com/xmlschemas/ActivityExtension/v2";
/// Our own namespace.
const OURS: &str = "urn:jogaudit:recording:1";

/// Writes the document.
pub(crate) fn write(recordings: &[Recording]) -> Vec<u8> {
    // One element a line, without indentation: it would be a third of the file.
    let mut xml = Document::new(0);
    let namespaces = [("xmlns", DATABASE), ("xmlns:x", EXTENSION), ("xmlns:j", OURS)];
    xml.open("TrainingCenterDatabase", &namespaces);
    xml.open("Activities", &[]);
    recordings.iter().for_each(|recording| activity(&mut xml, recording));
    xml.finish()
}

/// The schema's word for a sport.
fn schema_word(sport: &Sport) -> &'static str {
    match (sport, sport::word(sport)) {
        (Sport::Running, _) => "Running",
        (Sport::Other(_), Some("cycling")) => "Biking",
        _ => "Other",
    }
}

fn activity(xml: &mut Document, recording: &Recording) {
    xml.open("Activity", &[("Sport", schema_word(recording.sport()))]);
    xml.text("Id", instant(recording, 0.0));
    // The format asks for a lap. One alone marks nothing.
    let whole = Lap {
        start_s: 0.0,
        end_s: None,
        trigger: LapTrigger::Manual,
        intensity: LapIntensity::Active,
        step: None,
    };
    let laps = if recording.laps().is_empty() { &[whole][..] } else { recording.laps() };
    let pauses = Pauses::of(recording);
    let mut samples = recording.samples();
    for (number, lap) in (1..).zip(laps) {
        // A lap reaches to the start of the next: both lists keep their order.
        let next = laps.get(number);
        let own = next.map_or(samples.len(), |next| {
            samples.iter().take_while(|sample| sample.time_s < next.start_s).count()
        });
        let (own, rest) = samples.split_at(own);
        samples = rest;
        self::lap(xml, recording, &pauses, lap, own);
    }
    let word = sport::word(recording.sport());
    if word.is_some() || !recording.timer().is_empty() {
        xml.open("Extensions", &[]);
        if let Some(word) = word {
            xml.text("j:SportInWords", word);
        }
        for event in recording.timer() {
            let name = if event.running { "j:TimerStarted" } else { "j:TimerStopped" };
            xml.text(name, instant(recording, event.time_s));
        }
        xml.close();
    }
    xml.close();
}

fn lap(xml: &mut Document, recording: &Recording, pauses: &Pauses, lap: &Lap, samples: &[Sample]) {
    let last_s = samples.iter().map(|sample| sample.time_s).fold(lap.start_s, f64::max);
    let mut distances = samples.iter().filter_map(|sample| sample.distance.map(Metres::get));
    let first_m = distances.next().unwrap_or(0.0);
    let distance_m = distances.next_back().unwrap_or(first_m) - first_m;
    xml.open("Lap", &[("StartTime", &instant(recording, lap.start_s))]);
    xml.text("TotalTimeSeconds", format!("{:.3}", (lap.end_s.unwrap_or(last_s) - lap.start_s).max(0.0)));
    xml.text("DistanceMeters", format!("{:.2}", distance_m.max(0.0)));
    xml.text("Calories", 0);
    // What the old file left out is left out: two laps of known and different intensity would be a mark.
    match lap.intensity {
        LapIntensity::Active | LapIntensity::WarmUp | LapIntensity::CoolDown => {
            xml.text("Intensity", "Active");
        }
        LapIntensity::Rest => xml.text("Intensity", "Resting"),
        LapIntensity::Unknown => {}
    }
    match lap.trigger {
        LapTrigger::Manual | LapTrigger::Step => xml.text("TriggerMethod", "Manual"),
        LapTrigger::Time => xml.text("TriggerMethod", "Time"),
        LapTrigger::Distance => xml.text("TriggerMethod", "Distance"),
        LapTrigger::Other => {}
    }
    if let Some((first, rest)) = samples.split_first() {
        xml.open("Track", &[]);
        point(xml, recording, first);
        for (before, sample) in samples.iter().zip(rest) {
            if pauses.any_between(before.time_s, sample.time_s) {
                xml.close();
                xml.open("Track", &[]);
            }
            point(xml, recording, sample);
        }
        xml.close();
    }
    xml.close();
}

fn point(xml: &mut Document, recording: &Recording, sample: &Sample) {
    xml.open("Trackpoint", &[]);
    xml.text("Time", instant(recording, sample.time_s));
    if let Some(altitude) = sample.altitude {
        xml.text("AltitudeMeters", format!("{:.3}", altitude.get()));
    }
    if let Some(distance) = sample.distance {
        xml.text("DistanceMeters", format!("{:.2}", distance.get()));
    }
    if let Some(heart_rate) = sample.heart_rate {
        /// The schema's least and most; the reader refuses what is near them.
        const RANGE: (f64, f64) = (1.0, 255.0);
        xml.open("HeartRateBpm", &[]);
        xml.text("Value", format!("{:.0}", heart_rate.get().clamp(RANGE.0, RANGE.1)));
        xml.close();
    }
    extensions(xml, sample);
    xml.close();
}

fn extensions(xml: &mut Document, sample: &Sample) {
    if sample.speed.is_none() && sample.cadence.is_none() && sample.speed_by_positions.is_none() {
        return;
    }
    xml.open("Extensions", &[]);
    if sample.speed.is_some() || sample.cadence.is_some() {
        xml.open("x:TPX", &[]);
        if let Some(speed) = sample.speed {
            xml.text("x:Speed", format!("{:.3}", speed.get()));
        }
        if let Some(cadence) = sample.cadence {
            /// The schema's most.
            const MOST: f64 = 254.0;
            // Strides of one leg, as exporters write it; ours below goes before it.
            xml.text("x:RunCadence", format!("{:.0}", (cadence.get() / 2.0).clamp(0.0, MOST)));
        }
        xml.close();
    }
    if let Some(cadence) = sample.cadence {
        xml.text("j:StepsPerMinute", format!("{:.2}", cadence.get()));
    }
    if let Some(told) = sample.speed_by_positions {
        xml.text("j:SpeedByPositions", format!("{:.3}", told.get()));
    }
    xml.close();
}

/// A moment of the recording, in local time with its offset from UTC where that is known.
fn instant(recording: &Recording, time_s: f64) -> String {
    const MICROS_PER_S: f64 = 1e6;
    let micros = recording.start().as_microsecond().saturating_add((time_s * MICROS_PER_S).round() as i64);
    let time = Timestamp::from_microsecond(micros).unwrap_or(recording.start());
    match recording.utc_offset_s().and_then(|offset_s| Offset::from_seconds(offset_s).ok()) {
        Some(offset) => time.display_with_offset(offset).to_string(),
        None => time.to_string(),
    }
}

/// Stops of the timer by when they began, s.
struct Pauses {
    spans_s: Vec<(f64, f64)>,
}

impl Pauses {
    fn of(recording: &Recording) -> Self {
        let mut spans_s = pauses_s(recording.timer());
        spans_s.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self { spans_s }
    }

    fn any_between(&self, before_s: f64, after_s: f64) -> bool {
        let first = self.spans_s.partition_point(|(from_s, _)| *from_s < before_s);
        self.spans_s.get(first).is_some_and(|(_, to_s)| *to_s <= after_s)
    }
}
