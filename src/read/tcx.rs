//! TCX version 2 → recordings: one for each `Activity`.
//!
//! From each `Trackpoint` inside an activity: time, position, altitude, distance, heart rate, cadence (`RunCadence` of the
//! activity extension before `Cadence`) and speed of the extension. A second `Track` within a lap comes behind a pause.
//! A `Course` is a plan, not a recording.

use crate::notice::Noted;
use crate::units::StepsPerMinute;

use super::draft::{self, Draft, DraftLap, finish_all};
use super::points::PointFaults;
use super::time::{MICROS_PER_S, Micros};
use super::xml::{self, Handler, Tag};
use super::{
    Format, LapIntensity, LapTrigger, ReadError, ReadErrorKind, Recording, Sample, Sport, cadence, sport,
};

pub(super) fn read(text: &str) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut reader = TcxReader::default();
    let outcome = xml::walk(text, &mut reader);
    reader.point = None; // still open: not whole
    reader.finish_lap();
    let mut notices = outcome.notices(text, reader.faults.points);
    notices.extend(reader.faults.notices(text));
    let mut drafts = reader.activities;
    cadence::settle(&mut drafts, &mut notices);
    for draft in &mut drafts {
        draft.utc_offset_s = reader.faults.utc_offset_s;
    }
    let recordings = finish_all(drafts, Format::Tcx, &mut notices);
    if !recordings.is_empty() {
        return Ok(Noted { value: recordings, notices });
    }
    let kind = match reader.faults.without_time.count {
        0 if outcome.cut_at.is_some() => ReadErrorKind::CutBeforeFirstSample,
        0 if reader.has_course => ReadErrorKind::OnlyRoute,
        0 => ReadErrorKind::NoSamples,
        points => ReadErrorKind::NoTimes { points },
    };
    Err(ReadError::new(Format::Tcx, kind))
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Element {
    Activity,
    Course,
    Lap,
    TotalTime,
    Intensity,
    Trigger,
    Track,
    Point,
    Time,
    Position,
    Latitude,
    Longitude,
    Altitude,
    Distance,
    HeartRate,
    Value,
    Cadence,
    RunCadence,
    Speed,
    Unknown,
}

/// A `Trackpoint` that is still open.
#[derive(Default)]
struct OpenPoint {
    time: Option<Micros>,
    lat_deg: Option<f64>,
    lon_deg: Option<f64>,
    run_cadence: Option<StepsPerMinute>,
    sample: Sample,
    at_byte: usize,
}

/// A `Lap` that is still open.
struct OpenLap {
    start: Option<Micros>,
    total: Option<Micros>,
    last_point: Option<Micros>,
    tracks: u32,
    intensity: LapIntensity,
    trigger: LapTrigger,
}

#[derive(Default)]
struct TcxReader {
    activities: Vec<Draft>,
    in_activity: bool,
    lap: Option<OpenLap>,
    point: Option<OpenPoint>,
    /// Last time before the track that has just begun, where that is not the lap's first.
    break_after: Option<Micros>,
    has_course: bool,
    faults: PointFaults,
}

impl TcxReader {
    fn begin_activity(&mut self, tag: &Tag<'_, '_>) {
        self.finish_lap();
        self.in_activity = true;
        self.break_after = None;
        self.activities.push(Draft::new(tag.attribute("Sport").map_or(Sport::Unspecified, sport::from_word)));
    }

    fn begin_lap(&mut self, tag: &Tag<'_, '_>) {
        self.finish_lap();
        let start = tag.attribute("StartTime").and_then(|text| self.faults.time(text, tag.at_byte));
        if let Some(start) = start {
            self.end_last_lap_by(start);
        }
        self.lap = Some(OpenLap {
            start,
            total: None,
            last_point: None,
            tracks: 0,
            intensity: LapIntensity::Unknown,
            trigger: LapTrigger::Other,
        });
    }

    /// A lap cannot end behind the start of the next.
    fn end_last_lap_by(&mut self, next_start: Micros) {
        let last = self.activities.last_mut().and_then(|activity| activity.laps.last_mut());
        if let Some(last) = last.filter(|last| last.start <= next_start) {
            last.end = last.end.map(|end| end.min(next_start));
        }
    }

    /// A lap ends with its timer time or its last point, whichever is later: the timer time leaves pauses out.
    fn finish_lap(&mut self) {
        self.finish_point();
        let Some(lap) = self.lap.take() else { return };
        let (Some(start), Some(activity)) = (lap.start, self.activities.last_mut()) else { return };
        let by_timer = lap.total.map(|total| start.saturating_add(total));
        activity.laps.push(DraftLap {
            start,
            end: by_timer.max(lap.last_point),
            trigger: lap.trigger,
            intensity: lap.intensity,
        });
    }

    fn begin_track(&mut self) {
        self.finish_point();
        self.break_after = None;
        if let Some(lap) = &mut self.lap {
            lap.tracks += 1;
            self.break_after = lap.last_point.filter(|_| lap.tracks > 1);
        }
    }

    fn begin_point(&mut self, at_byte: usize) {
        self.finish_point();
        if self.in_activity {
            self.point = Some(OpenPoint { at_byte, ..OpenPoint::default() });
        }
    }

    fn finish_point(&mut self) {
        let Some(mut point) = self.point.take() else { return };
        let (Some(time), Some(activity)) = (point.time, self.activities.last_mut()) else {
            self.faults.without_time.add(point.at_byte);
            return;
        };
        if let (Some(lat_deg), Some(lon_deg)) = (point.lat_deg, point.lon_deg) {
            point.sample.position = self.faults.kept(draft::position(lat_deg, lon_deg), point.at_byte);
        }
        point.sample.cadence = point.run_cadence.or(point.sample.cadence);
        self.faults.points += 1;
        if let Some(end) = self.break_after.take().filter(|end| *end < time) {
            activity.pause(end, time);
        }
        if let Some(lap) = &mut self.lap {
            lap.last_point = lap.last_point.max(Some(time));
        }
        activity.push(time, point.sample);
    }

    fn point_value(&mut self, parent: Element, element: Element, text: &str, at_byte: usize) {
        let Some(point) = &mut self.point else { return };
        let faults = &mut self.faults;
        if element == Element::Time {
            if parent == Element::Point {
                point.time = faults.time(text, at_byte);
            }
            return;
        }
        let Some(number) = faults.number(text, at_byte) else { return };
        let sample = &mut point.sample;
        match (parent, element) {
            (Element::Position, Element::Latitude) => point.lat_deg = Some(number),
            (Element::Position, Element::Longitude) => point.lon_deg = Some(number),
            (Element::Point, Element::Altitude) => {
                sample.altitude = faults.kept(draft::metres(number), at_byte)
            }
            (Element::Point, Element::Distance) => {
                sample.distance = faults.kept(draft::metres(number), at_byte)
            }
            (Element::HeartRate, Element::Value) => sample.heart_rate = draft::heart_rate(number),
            (Element::Point, Element::Cadence) => sample.cadence = cadence_as_written(number),
            (_, Element::RunCadence) => point.run_cadence = cadence_as_written(number),
            (_, Element::Speed) => sample.speed = faults.kept(draft::speed(number), at_byte),
            _ => {}
        }
    }

    fn lap_value(&mut self, element: Element, text: &str, at_byte: usize) {
        let Some(lap) = &mut self.lap else { return };
        match (element, text) {
            (Element::TotalTime, _) => {
                let total_s =
                    self.faults.number(text, at_byte).filter(|total_s| (0.0..1e9).contains(total_s));
                lap.total = total_s.map(|total_s| (total_s * MICROS_PER_S as f64).round() as Micros);
            }
            (Element::Intensity, "Active") => lap.intensity = LapIntensity::Active,
            (Element::Intensity, "Resting") => lap.intensity = LapIntensity::Rest,
            (Element::Trigger, "Manual") => lap.trigger = LapTrigger::Manual,
            (Element::Trigger, "Time") => lap.trigger = LapTrigger::Time,
            (Element::Trigger, "Distance") => lap.trigger = LapTrigger::Distance,
            _ => {}
        }
    }
}

/// The number as it stands: whether it counts one leg is decided for the whole file.
fn cadence_as_written(number: f64) -> Option<StepsPerMinute> {
    (0.0..=1000.0).contains(&number).then(|| StepsPerMinute::new(number))
}

impl Handler for TcxReader {
    type Element = Element;
    const UNKNOWN: Element = Element::Unknown;

    fn element(local_name: &[u8]) -> Element {
        match local_name {
            b"Activity" => Element::Activity,
            b"Course" => Element::Course,
            b"Lap" => Element::Lap,
            b"TotalTimeSeconds" => Element::TotalTime,
            b"Intensity" => Element::Intensity,
            b"TriggerMethod" => Element::Trigger,
            b"Track" => Element::Track,
            b"Trackpoint" => Element::Point,
            b"Time" => Element::Time,
            b"Position" => Element::Position,
            b"LatitudeDegrees" => Element::Latitude,
            b"LongitudeDegrees" => Element::Longitude,
            b"AltitudeMeters" => Element::Altitude,
            b"DistanceMeters" => Element::Distance,
            b"HeartRateBpm" => Element::HeartRate,
            b"Value" => Element::Value,
            b"Cadence" => Element::Cadence,
            b"RunCadence" => Element::RunCadence,
            b"Speed" => Element::Speed,
            _ => Element::Unknown,
        }
    }

    fn open(&mut self, path: &[Element], tag: &Tag<'_, '_>) {
        match path.last() {
            Some(Element::Activity) => self.begin_activity(tag),
            Some(Element::Course) => self.has_course = true,
            Some(Element::Lap) if self.in_activity => self.begin_lap(tag),
            Some(Element::Track) => self.begin_track(),
            Some(Element::Point) => self.begin_point(tag.at_byte),
            _ => {}
        }
    }

    fn close(&mut self, path: &[Element], text: &str, at_byte: usize) {
        let [.., parent, element] = path else { return };
        match (parent, element) {
            (_, Element::Point) => self.finish_point(),
            (_, Element::Lap) => self.finish_lap(),
            (_, Element::Activity) => {
                self.finish_lap();
                self.in_activity = false;
            }
            (_, Element::Unknown) => {}
            _ if text.is_empty() => {}
            (Element::Lap, _) => self.lap_value(*element, text, at_byte),
            _ => self.point_value(*parent, *element, text, at_byte),
        }
    }
}
