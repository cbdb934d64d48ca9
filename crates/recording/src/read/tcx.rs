//! TCX version 2 → recordings: one for each `Activity`.
//!
//! From each `Trackpoint` inside an activity: time, position, altitude, distance, heart rate, cadence (`RunCadence` of the
//! activity extension before `Cadence`) and speed of the extension. A second `Track` within a lap comes behind a pause.
//! A `Course` is a plan, not a recording.
//!
//! From a file whose places were taken out (`jogaudit-share` writes it) besides, by elements of a namespace of its own: the
//! speed that positions told and the steps a minute of a point; the sport in words and the timer's stops and starts of an
//! activity. They go before what TCX's own elements say.

use std::borrow::Cow;

use quick_xml::escape::unescape;

use crate::geodesy::LatLon;
use crate::notice::Noted;

use super::bounds;
use super::builder::{Builders, RawLap, RawValues, RecordingBuilder};
use super::cadence::{WrittenCadence, settle};
use super::points::PointFaults;
use super::time::{MICROS_PER_S, Micros};
use super::xml::{self, Handler, Tag};
use super::{Format, LapIntensity, LapTrigger, ReadError, ReadErrorKind, Recording, Sport, sport};

pub(super) fn read(text: &str) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut reader = TcxReader::default();
    let faults = xml::parse(text, &mut reader);
    reader.point = None; // still open: not whole
    reader.finish_lap();
    let mut notices = faults.notices(text, reader.faults.points);
    notices.extend(reader.faults.notices(text));
    let mut activities = reader.activities;
    for activity in &mut activities.list {
        activity.utc_offset_s = reader.faults.utc_offset_s;
    }
    let to_steps = settle(&activities.list, &mut notices);
    let recordings = activities.finish(Format::Tcx, to_steps, &mut notices);
    if !recordings.is_empty() {
        return Ok(Noted { value: recordings, notices });
    }
    let kind = match reader.faults.without_time.count {
        0 if faults.cut.is_some() => ReadErrorKind::CutBeforeFirstSample,
        0 if reader.has_course => ReadErrorKind::OnlyRoute,
        0 if reader.has_workout => ReadErrorKind::NotARecording { content: "a planned workout" },
        0 => ReadErrorKind::NoSamples,
        points => ReadErrorKind::NoTimes { points },
    };
    Err(ReadError::new(Format::Tcx, kind))
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Element {
    Activity,
    Course,
    Workout,
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
    SpeedByPositions,
    StepsPerMinute,
    SportInWords,
    TimerStopped,
    TimerStarted,
    Unknown,
}

/// A `Trackpoint` that is still open.
#[derive(Default)]
struct OpenPoint {
    time: Option<Micros>,
    lat_deg: Option<f64>,
    lon_deg: Option<f64>,
    run_cadence: Option<WrittenCadence>,
    steps: Option<WrittenCadence>,
    values: RawValues<WrittenCadence>,
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
    activities: Builders<WrittenCadence>,
    in_activity: bool,
    lap: Option<OpenLap>,
    point: Option<OpenPoint>,
    /// Last time before the track that has just begun, where that is not the lap's first.
    break_after: Option<Micros>,
    /// How many of its timer's stops and starts the activity has told one by one.
    timer_events: u64,
    has_course: bool,
    has_workout: bool,
    faults: PointFaults,
}

impl TcxReader {
    fn begin_activity(&mut self, tag: &Tag<'_>) {
        self.finish_lap();
        self.in_activity = true;
        self.timer_events = 0;
        self.break_after = None;
        // A reference that is none of XML's own stays as it is written.
        let word = |written| unescape(written).unwrap_or(Cow::Borrowed(written));
        let sport = tag.attribute("Sport").map_or(Sport::Unspecified, |text| sport::from_word(&word(text)));
        self.activities.begin(RecordingBuilder::new(sport));
    }

    fn begin_lap(&mut self, tag: &Tag<'_>) {
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
        let last = self.activities.list.last_mut().and_then(|activity| activity.laps.last_mut());
        if let Some(last) = last.filter(|last| last.start <= next_start) {
            last.end = last.end.map(|end| end.min(next_start));
        }
    }

    /// A lap ends with its timer time or its last point, whichever is later: the timer time leaves pauses out.
    fn finish_lap(&mut self) {
        self.finish_point();
        let Some(lap) = self.lap.take() else { return };
        let (Some(start), Some(activity)) = (lap.start, self.activities.list.last_mut()) else { return };
        let by_timer = lap.total.map(|total| start.saturating_add(total));
        activity.laps.push(RawLap {
            start,
            end: by_timer.max(lap.last_point),
            trigger: lap.trigger,
            intensity: lap.intensity,
            step: None,
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
        let (Some(time), Some(activity)) = (point.time, self.activities.list.last_mut()) else {
            self.faults.without_time.add(point.at_byte);
            return;
        };
        if let (Some(lat_deg), Some(lon_deg)) = (point.lat_deg, point.lon_deg) {
            point.values.position = self.faults.kept(LatLon::new(lat_deg, lon_deg), point.at_byte);
        }
        point.values.cadence = point.steps.or(point.run_cadence).or(point.values.cadence);
        self.faults.points += 1;
        if let Some(end) = self.break_after.take().filter(|end| *end < time) {
            activity.pause(end, time);
        }
        if let Some(lap) = &mut self.lap {
            lap.last_point = lap.last_point.max(Some(time));
        }
        activity.push(time, point.values);
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
        let values = &mut point.values;
        match (parent, element) {
            (Element::Position, Element::Latitude) => point.lat_deg = Some(number),
            (Element::Position, Element::Longitude) => point.lon_deg = Some(number),
            (Element::Point, Element::Altitude) => {
                values.altitude = faults.kept(bounds::metres(number), at_byte);
            }
            (Element::Point, Element::Distance) => {
                values.distance = faults.kept(bounds::metres(number), at_byte);
            }
            (Element::HeartRate, Element::Value) => values.heart_rate = bounds::heart_rate(number),
            (Element::Point, Element::Cadence) => values.cadence = WrittenCadence::new(number),
            (_, Element::RunCadence) => point.run_cadence = WrittenCadence::new(number),
            (_, Element::Speed) => values.speed = faults.kept(bounds::speed(number), at_byte),
            (_, Element::SpeedByPositions) => {
                values.speed_by_positions = faults.kept(bounds::speed(number), at_byte);
            }
            (_, Element::StepsPerMinute) => point.steps = WrittenCadence::of_steps(number),
            _ => {}
        }
    }

    fn sport_in_words(&mut self, text: &str) {
        if let Some(activity) = self.activities.list.last_mut().filter(|_| self.in_activity) {
            activity.sport = sport::from_word(text);
        }
    }

    /// Stops and starts that are told one by one take the place of those that tracks tell.
    fn timer_event(&mut self, running: bool, text: &str, at_byte: usize) {
        let Some(activity) = self.activities.list.last_mut().filter(|_| self.in_activity) else { return };
        let Some(time) = self.faults.time(text, at_byte) else { return };
        if self.timer_events == 0 {
            activity.timer.clear();
        }
        self.timer_events += 1;
        activity.timer.push((time, running));
    }

    fn lap_value(&mut self, element: Element, text: &str, at_byte: usize) {
        let Some(lap) = &mut self.lap else { return };
        match (element, text) {
            (Element::TotalTime, _) => {
                let total_s = self.faults.number(text, at_byte).and_then(bounds::duration_s);
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

impl Handler for TcxReader {
    type Element = Element;
    const UNKNOWN: Element = Element::Unknown;
    const POINT: Element = Element::Point;

    fn element(local_name: &[u8]) -> Element {
        match local_name {
            b"Activity" => Element::Activity,
            b"Course" => Element::Course,
            b"Workout" => Element::Workout,
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
            b"SpeedByPositions" => Element::SpeedByPositions,
            b"StepsPerMinute" => Element::StepsPerMinute,
            b"SportInWords" => Element::SportInWords,
            b"TimerStopped" => Element::TimerStopped,
            b"TimerStarted" => Element::TimerStarted,
            _ => Element::Unknown,
        }
    }

    fn open(&mut self, path: &[Element], tag: &Tag<'_>) {
        match path.last() {
            Some(Element::Activity) => self.begin_activity(tag),
            Some(Element::Course) => self.has_course = true,
            Some(Element::Workout) => self.has_workout = true,
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
            (_, Element::SportInWords) => self.sport_in_words(text),
            (_, Element::TimerStopped) => self.timer_event(false, text, at_byte),
            (_, Element::TimerStarted) => self.timer_event(true, text, at_byte),
            (Element::Lap, _) => self.lap_value(*element, text, at_byte),
            _ => self.point_value(*parent, *element, text, at_byte),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notice::NoticeCode;
    use crate::read::Sample;
    use crate::units::StepsPerMinute;

    fn point(second: u32, inside: &str) -> String {
        let (hour, minute, second) = (second / 3600, second / 60 % 60, second % 60);
        format!("<Trackpoint><Time>2025-01-01T{hour:02}:{minute:02}:{second:02}Z</Time>{inside}</Trackpoint>")
    }

    fn lap(start: u32, inside: &str, tracks: &[String]) -> String {
        let (minute, second) = (start / 60, start % 60);
        let tracks = tracks.join("</Track><Track>");
        format!(
            r#"<Lap StartTime="2025-01-01T00:{minute:02}:{second:02}Z">{inside}<Track>{tracks}</Track></Lap>"#
        )
    }

    fn activity(sport: &str, laps: &[String]) -> String {
        format!(r#"<Activity Sport="{sport}"><Id>x</Id>{}</Activity>"#, laps.concat())
    }

    fn tcx(activities: &[String]) -> String {
        let inside = activities.concat();
        format!("<TrainingCenterDatabase><Activities>{inside}</Activities></TrainingCenterDatabase>")
    }

    fn noted(text: &str) -> Noted<Vec<Recording>> {
        read(text).unwrap()
    }

    fn clean(text: &str) -> Recording {
        let mut noted = noted(text);
        assert_eq!(noted.notices, []);
        assert_eq!(noted.value.len(), 1);
        noted.value.remove(0)
    }

    #[test]
    fn every_value_of_a_point() {
        let inside = "<Position><LatitudeDegrees>59.9</LatitudeDegrees><LongitudeDegrees>180</LongitudeDegrees></Position>\
                      <AltitudeMeters>12.5</AltitudeMeters><DistanceMeters>3</DistanceMeters>\
                      <HeartRateBpm><Value>140</Value></HeartRateBpm><Cadence>70</Cadence><Extensions>\
                      <ns3:TPX><ns3:Speed>2.4</ns3:Speed><ns3:RunCadence>80</ns3:RunCadence></ns3:TPX></Extensions>";
        let noted = noted(&tcx(&[activity("Running", &[lap(0, "", &[point(0, "") + &point(1, inside)])])]));
        assert_eq!(noted.notices.iter().map(|n| n.code).collect::<Vec<_>>(), [NoticeCode::CadenceDoubled]);
        let recording = &noted.value[0];
        assert_eq!(*recording.sport(), Sport::Running);
        let expected = Sample {
            time_s: 1.0,
            position: LatLon::new(59.9, 180.0),
            altitude: bounds::metres(12.5),
            distance: bounds::metres(3.0),
            speed: bounds::speed(2.4),
            cadence: Some(StepsPerMinute::new(160.0)),
            heart_rate: bounds::heart_rate(140.0),
            speed_by_positions: None,
        };
        assert_eq!(recording.samples(), [Sample::default(), expected]);
    }

    #[test]
    fn what_is_told_where_places_were_taken_out() {
        let told = "<Extensions><x:TPX><x:RunCadence>80</x:RunCadence></x:TPX><j:StepsPerMinute>161.5</j:StepsPerMinute>\
                    <j:SpeedByPositions>1.234</j:SpeedByPositions></Extensions>";
        let at = |second: u32| format!("2025-01-01T00:00:{second:02}Z");
        let beside = format!(
            "<Extensions><j:SportInWords>hiking</j:SportInWords><j:TimerStopped>{}</j:TimerStopped>\
             <j:TimerStarted>{}</j:TimerStarted></Extensions></Activity>",
            at(2),
            at(7)
        );
        let tracks = [point(0, told), point(9, "<Cadence>80</Cadence>")];
        let activity = activity("Other", &[lap(0, "", &tracks)]).replace("</Activity>", &beside);
        let noted = noted(&tcx(&[activity]));
        let recording = &noted.value[0];
        assert_eq!(*recording.sport(), Sport::Walking);
        let timer: Vec<(f64, bool)> =
            recording.timer().iter().map(|event| (event.time_s, event.running)).collect();
        assert_eq!(timer, [(2.0, false), (7.0, true)], "not from 0 to 9 s, as the tracks have it");
        let [first, second] = recording.samples() else { panic!("{recording:?}") };
        assert_eq!((first.speed, first.speed_by_positions), (None, bounds::speed(1.234)));
        // Only the second leaves open what it counts, and without a speed 80 is one leg's.
        assert_eq!(noted.notices.iter().map(|n| n.code).collect::<Vec<_>>(), [NoticeCode::CadenceDoubled]);
        let cadence = |sample: &Sample| sample.cadence.map(StepsPerMinute::get);
        assert_eq!((cadence(first), cadence(second)), (Some(161.5), Some(160.0)));
    }

    fn sport(word: &str) -> Sport {
        clean(&tcx(&[activity(word, &[lap(0, "", &[point(0, "")])])])).sport().clone()
    }

    #[test]
    fn sports() {
        assert_eq!(sport("Running"), Sport::Running);
        assert_eq!(sport("Other"), Sport::Unspecified);
        assert_eq!(sport("Biking"), Sport::Other("Biking".to_owned()));
    }

    #[test]
    fn references_in_a_sport() {
        let other = |word: &str| Sport::Other(word.to_owned());
        assert_eq!(sport("Cross &amp; fit"), other("Cross & fit"));
        assert_eq!(sport("Ski&#x202e;&#9;x"), other("Ski\u{202e}\tx"));
        assert_eq!(sport("&#82;unning"), Sport::Running);
        // What is no reference of XML's own stays as it is written.
        for word in ["Cross & fit", "&sport;", "&#0;x", "&#x110000;x"] {
            assert_eq!(sport(word), other(word));
        }
    }

    #[test]
    fn laps_with_their_ends() {
        let kind = |intensity: &str, trigger: &str, total_s: &str| {
            format!(
                "<TotalTimeSeconds>{total_s}</TotalTimeSeconds><DistanceMeters>9</DistanceMeters>\
                 <Intensity>{intensity}</Intensity><TriggerMethod>{trigger}</TriggerMethod>"
            )
        };
        let laps = [
            // Its timer ran 40 s, with a pause of 20 s: it ends with its last point.
            lap(
                0,
                &kind("Active", "Manual", "40"),
                &[point(0, "") + &point(30, ""), point(50, "") + &point(59, "")],
            ),
            // 30.5 s would reach behind the start of the next.
            lap(60, &kind("Resting", "Time", "30.5"), &[point(60, "") + &point(89, "")]),
            lap(90, &kind("Active", "Distance", "30.25"), &[point(90, "") + &point(119, "")]),
        ];
        let recording = clean(&tcx(&[activity("Running", &laps)]));
        let (manual, time, distance) = (LapTrigger::Manual, LapTrigger::Time, LapTrigger::Distance);
        let laps: Vec<_> =
            recording.laps().iter().map(|l| (l.start_s, l.end_s, l.intensity, l.trigger)).collect();
        assert_eq!(
            laps,
            [
                (0.0, Some(59.0), LapIntensity::Active, manual),
                (60.0, Some(90.0), LapIntensity::Rest, time),
                (90.0, Some(120.25), LapIntensity::Active, distance),
            ]
        );
        let timer: Vec<_> = recording.timer().iter().map(|event| (event.time_s, event.running)).collect();
        assert_eq!(timer, [(30.0, false), (50.0, true)], "a second track in a lap comes behind a pause");
    }

    #[test]
    fn two_activities_are_two_recordings() {
        let one = |sport, second| activity(sport, &[lap(second, "", &[point(second, "")])]);
        let noted = noted(&tcx(&[one("Biking", 0), one("Running", 50), activity("Running", &[])]));
        assert_eq!(noted.value.len(), 2);
        assert_eq!(*noted.value[1].sport(), Sport::Running);
        assert_eq!(noted.value[1].start().to_string(), "2025-01-01T00:00:50Z");
        assert_eq!(
            noted.notices.iter().map(|n| n.code).collect::<Vec<_>>(),
            [NoticeCode::ActivityWithoutSamples]
        );
    }

    #[test]
    fn a_course_is_no_recording() {
        let text = format!(
            "<TrainingCenterDatabase><Courses><Course><Track>{}</Track></Course></Courses></TrainingCenterDatabase>",
            point(0, "")
        );
        assert_eq!(read(&text).unwrap_err().kind, ReadErrorKind::OnlyRoute);
    }

    #[test]
    fn a_planned_workout_is_no_recording() {
        let text = "<TrainingCenterDatabase><Workouts><Workout Sport='Running'><Name>Intervals</Name><Step><StepId>1</StepId>\
                    <Duration><Seconds>60</Seconds></Duration></Step></Workout></Workouts></TrainingCenterDatabase>";
        let error = read(text).unwrap_err();
        assert_eq!(error.kind, ReadErrorKind::NotARecording { content: "a planned workout" });
        assert_eq!(
            error.to_string(),
            "the file holds a planned workout, not a recorded activity: export the activity itself"
        );
    }
}
