//! GPX 1.0 and 1.1 → recordings.
//!
//! From each `trkpt`: `lat`, `lon`, `ele`, `time`, the `speed` of GPX 1.0, and cadence, heart rate and speed anywhere in
//! its extensions. Tracks less than two hours apart and not of different type are one recording; a new segment behind a
//! break of [`SHORTEST_BREAK`] or more is a pause.

use crate::geodesy::LatLon;
use crate::notice::Noted;

use super::bounds;
use super::builder::{Builders, RawValues, RecordingBuilder};
use super::cadence::{WrittenCadence, settle};
use super::points::PointFaults;
use super::time::{MICROS_PER_S, Micros};
use super::xml::{self, Handler, Tag};
use super::{Format, ReadError, ReadErrorKind, Recording, Sport, sport};

/// Tracks at least this far apart are different activities. Our choice.
const APART: Micros = 2 * 3600 * MICROS_PER_S;
/// A break between track segments shorter than this is how some exporters part laps (common practice, no source).
const SHORTEST_BREAK: Micros = 5 * MICROS_PER_S;

pub(super) fn read(text: &str) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut reader = GpxReader::default();
    let faults = xml::parse(text, &mut reader);
    let mut notices = faults.notices(text, reader.faults.points);
    notices.extend(reader.faults.notices(text));
    reader.end_track();
    let mut tracks = reader.tracks;
    for track in &mut tracks.list {
        track.utc_offset_s = reader.faults.utc_offset_s;
    }
    let to_steps = settle(&tracks.list, &mut notices);
    let recordings = tracks.finish(Format::Gpx, to_steps, &mut notices);
    if !recordings.is_empty() {
        return Ok(Noted { value: recordings, notices });
    }
    let kind = match reader.faults.without_time.count {
        0 if faults.cut.is_some() => ReadErrorKind::CutBeforeFirstSample,
        0 if reader.planned_points > 0 => ReadErrorKind::OnlyRoute,
        0 => ReadErrorKind::NoSamples,
        points => ReadErrorKind::NoTimes { points },
    };
    Err(ReadError::new(Format::Gpx, kind))
}

/// A GPX track under construction.
type Track = RecordingBuilder<WrittenCadence>;

/// First and last moment of a track; `None` without samples.
type Span = Option<(Micros, Micros)>;

fn belong_together(one: (&Track, Span), other: (&Track, Span)) -> bool {
    let (sport, other_sport) = (&one.0.sport, &other.0.sport);
    let same_sport = sport == other_sport || [sport, other_sport].contains(&&Sport::Unspecified);
    match (one.1, other.1) {
        (Some((start, end)), Some((other_start, other_end))) => {
            let apart = other_start.saturating_sub(end).max(start.saturating_sub(other_end));
            same_sport && apart < APART
        }
        _ => false,
    }
}

fn join(into: &mut Track, track: Track) {
    if let (Some(end), Some(start)) = (into.samples.last(), track.samples.first())
        && start.time - end.time >= SHORTEST_BREAK
    {
        into.pause(end.time, start.time);
    }
    if into.sport == Sport::Unspecified {
        into.sport = track.sport;
    }
    into.samples.extend(track.samples);
    into.timer.extend(track.timer);
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Element {
    Track,
    Segment,
    Point,
    /// `wpt` and `rtept`.
    PlannedPoint,
    Extensions,
    Type,
    Time,
    Altitude,
    Speed,
    HeartRate,
    Cadence,
    Unknown,
}

/// A `trkpt` that is still open.
#[derive(Default)]
struct OpenPoint {
    time: Option<Micros>,
    values: RawValues<WrittenCadence>,
    at_byte: usize,
}

#[derive(Default)]
struct GpxReader {
    tracks: Builders<WrittenCadence>,
    /// Of the track before the last. A file may have very many tracks that are joined.
    span_before: Span,
    point: Option<OpenPoint>,
    /// Last time before the segment that has just begun.
    break_after: Option<Micros>,
    planned_points: u64,
    faults: PointFaults,
}

impl GpxReader {
    /// Joins the track that ends with the one before, if they belong together.
    fn end_track(&mut self) {
        let list = &mut self.tracks.list;
        let Some(ended) = list.pop() else { return };
        let span = ended.span();
        match list.last_mut() {
            Some(before) if belong_together((before, self.span_before), (&ended, span)) => {
                join(before, ended);
                self.span_before = self
                    .span_before
                    .zip(span)
                    .map(|((start, end), (from, to))| (start.min(from), end.max(to)));
            }
            _ => {
                list.push(ended);
                self.span_before = span;
            }
        }
    }

    fn track(&mut self) -> &mut Track {
        let tracks = &mut self.tracks.list;
        if tracks.is_empty() {
            tracks.push(Track::new(Sport::Unspecified));
        }
        let last = tracks.len() - 1;
        #[expect(clippy::indexing_slicing, reason = "the list was filled above")]
        &mut tracks[last]
    }

    fn begin_point(&mut self, tag: &Tag<'_>) {
        self.finish_point();
        let mut coordinate =
            |name| tag.attribute(name).and_then(|text| self.faults.number(text, tag.at_byte));
        let position = match (coordinate("lat"), coordinate("lon")) {
            (Some(lat_deg), Some(lon_deg)) => self.faults.kept(LatLon::new(lat_deg, lon_deg), tag.at_byte),
            _ => None,
        };
        let values = RawValues { position, ..RawValues::default() };
        self.point = Some(OpenPoint { time: None, values, at_byte: tag.at_byte });
    }

    fn finish_point(&mut self) {
        let Some(point) = self.point.take() else { return };
        let Some(time) = point.time else {
            self.faults.without_time.add(point.at_byte);
            return;
        };
        self.faults.points += 1;
        let break_after = self.break_after.take();
        let track = self.track();
        if let Some(end) = break_after
            && time.saturating_sub(end) >= SHORTEST_BREAK
        {
            track.pause(end, time);
        }
        track.push(time, point.values);
    }
}

impl Handler for GpxReader {
    type Element = Element;
    const UNKNOWN: Element = Element::Unknown;
    const POINT: Element = Element::Point;

    fn element(local_name: &[u8]) -> Element {
        match local_name {
            b"trk" => Element::Track,
            b"trkseg" => Element::Segment,
            b"trkpt" => Element::Point,
            b"wpt" | b"rtept" => Element::PlannedPoint,
            b"extensions" => Element::Extensions,
            b"type" => Element::Type,
            b"time" => Element::Time,
            b"ele" => Element::Altitude,
            b"speed" => Element::Speed,
            b"hr" | b"heartrate" => Element::HeartRate,
            b"cad" | b"cadence" => Element::Cadence,
            _ => Element::Unknown,
        }
    }

    fn open(&mut self, path: &[Element], tag: &Tag<'_>) {
        match path.last() {
            Some(Element::Point) => self.begin_point(tag),
            Some(Element::PlannedPoint) => self.planned_points += 1,
            Some(Element::Segment) => {
                self.finish_point();
                self.break_after = self.track().samples.last().map(|sample| sample.time);
            }
            Some(Element::Track) => {
                self.finish_point();
                self.break_after = None;
                self.end_track();
                self.tracks.begin(Track::new(Sport::Unspecified));
            }
            _ => {}
        }
    }

    fn close(&mut self, path: &[Element], text: &str, at_byte: usize) {
        let [.., parent, element] = path else { return };
        match (parent, element) {
            (_, Element::Point) => self.finish_point(),
            (Element::Track, Element::Type) => self.track().sport = sport::from_word(text),
            _ => self.value(*parent, *element, text, at_byte),
        }
    }
}

impl GpxReader {
    fn value(&mut self, parent: Element, element: Element, text: &str, at_byte: usize) {
        let Some(point) = &mut self.point else { return };
        let faults = &mut self.faults;
        if text.is_empty() {
            return;
        }
        let values = &mut point.values;
        match (parent, element) {
            (Element::Point, Element::Time) => point.time = faults.time(text, at_byte),
            (Element::Point, Element::Altitude) => {
                values.altitude =
                    faults.number(text, at_byte).and_then(|v| faults.kept(bounds::metres(v), at_byte));
            }
            (_, Element::Speed) => {
                values.speed =
                    faults.number(text, at_byte).and_then(|v| faults.kept(bounds::speed(v), at_byte));
            }
            (_, Element::HeartRate) => {
                values.heart_rate = faults.number(text, at_byte).and_then(bounds::heart_rate);
            }
            (_, Element::Cadence) => {
                values.cadence = faults.number(text, at_byte).and_then(WrittenCadence::new);
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notice::NoticeCode;
    use crate::read::Sample;
    use crate::units::StepsPerMinute;

    /// A point with this time and this inside.
    fn point(time: &str, inside: &str) -> String {
        format!(r#"<trkpt lat="59.9" lon="10.7"><time>{time}</time>{inside}</trkpt>"#)
    }

    fn at(second: u32, inside: &str) -> String {
        point(&format!("2025-01-01T{:02}:{:02}:{:02}Z", second / 3600, second / 60 % 60, second % 60), inside)
    }

    fn track(kind: &str, segments: &[String]) -> String {
        let segments = segments.join("</trkseg><trkseg>");
        format!("<trk><type>{kind}</type><trkseg>{segments}</trkseg></trk>")
    }

    fn gpx(tracks: &[String]) -> String {
        format!("<gpx>{}</gpx>", tracks.concat())
    }

    fn noted(text: &str) -> Noted<Vec<Recording>> {
        read(text).unwrap()
    }

    fn clean(text: &str) -> Recording {
        let mut noted = noted(text);
        assert_eq!(noted.notices, []);
        assert_eq!(noted.value.len(), 1, "{:?}", noted.value);
        noted.value.remove(0)
    }

    fn codes(text: &str) -> Vec<NoticeCode> {
        noted(text).notices.iter().map(|notice| notice.code).collect()
    }

    fn timer(recording: &Recording) -> Vec<(f64, bool)> {
        recording.timer().iter().map(|event| (event.time_s, event.running)).collect()
    }

    #[test]
    fn every_value_of_a_point() {
        let inside = "<ele>12.5</ele><speed>2.4</speed><extensions><x:TrackPointExtension><x:hr>140</x:hr>\
                      <x:cad>160</x:cad></x:TrackPointExtension></extensions>";
        let noted = noted(&gpx(&[track("running", &[at(0, "") + &at(1, inside)])]));
        assert_eq!(noted.notices.iter().map(|n| n.code).collect::<Vec<_>>(), [NoticeCode::CadenceAsWritten]);
        let recording = &noted.value[0];
        assert_eq!(*recording.sport(), Sport::Running);
        assert_eq!(recording.start().to_string(), "2025-01-01T00:00:00Z");
        let [bare, full] = recording.samples() else { panic!("{recording:?}") };
        let position = LatLon::new(59.9, 10.7);
        assert_eq!(*bare, Sample { position, ..Sample::default() });
        let expected = Sample {
            time_s: 1.0,
            position,
            altitude: bounds::metres(12.5),
            distance: None,
            speed: bounds::speed(2.4),
            cadence: Some(StepsPerMinute::new(160.0)),
            heart_rate: bounds::heart_rate(140.0),
            speed_by_positions: None,
        };
        assert_eq!(*full, expected);
    }

    #[test]
    fn extensions_under_any_prefix_or_none() {
        for (open, close) in [("<hr>", "</hr>"), ("<ns3:hr>", "</ns3:hr>"), ("<a:b><c:hr>", "</c:hr></a:b>")]
        {
            let inside = format!("<extensions>{open} 99 {close}<q:speed>1.5</q:speed></extensions>");
            let sample = clean(&gpx(&[track("", &[at(0, &inside)])])).samples()[0];
            assert_eq!(
                (sample.heart_rate, sample.speed),
                (bounds::heart_rate(99.0), bounds::speed(1.5)),
                "{open}"
            );
        }
    }

    #[test]
    fn values_of_unknown_children_do_not_leak() {
        let inside = "<link><time>2030-01-01T00:00:00Z</time><ele>7</ele></link><extensions><a><time>x</time></a></extensions>";
        let recording = clean(&gpx(&[track("", &[at(0, inside)])]));
        assert_eq!(recording.start().to_string(), "2025-01-01T00:00:00Z");
        assert_eq!(recording.samples()[0].altitude, None);
    }

    #[test]
    fn a_break_between_segments_is_a_pause() {
        let recording = clean(&gpx(&[track("", &[at(0, "") + &at(1, ""), at(61, ""), at(63, "")])]));
        assert_eq!(timer(&recording), [(1.0, false), (61.0, true)]);
    }

    #[test]
    fn tracks_that_belong_together_are_one() {
        let close = [track("run", &[at(0, "")]), track("", &[at(7199, "")])];
        let recording = clean(&gpx(&close));
        assert_eq!((recording.samples().len(), recording.sport()), (2, &Sport::Running));
        assert_eq!(timer(&recording), [(0.0, false), (7199.0, true)]);
        let apart = [track("run", &[at(0, "")]), track("run", &[at(7200, "")])];
        assert_eq!(noted(&gpx(&apart)).value.len(), 2);
        let other = [track("walking", &[at(0, "")]), track("run", &[at(10, "")])];
        let sports: Vec<Sport> =
            noted(&gpx(&other)).value.into_iter().map(|recording| recording.sport().clone()).collect();
        assert_eq!(sports, [Sport::Walking, Sport::Running]);
        let backwards = [track("run", &[at(7300, "")]), track("run", &[at(0, "")])];
        assert_eq!(noted(&gpx(&backwards)).value.len(), 2);
    }

    #[test]
    fn a_track_without_points_among_others() {
        let text = gpx(&[track("run", &[at(0, "")]), track("run", &[])]);
        assert_eq!(codes(&text), [NoticeCode::ActivityWithoutSamples]);
    }

    #[test]
    fn points_without_a_time_are_counted() {
        let text = gpx(&[track("", &[at(0, "") + r#"<trkpt lat="1" lon="2"/>"# + &point("soon", "")])]);
        let noted = noted(&text);
        assert_eq!(noted.value[0].samples().len(), 1);
        assert!(noted.notices[0].text.ends_with("skipped: 2"), "{}", noted.notices[0].text);
        assert_eq!(codes(&text), [NoticeCode::PointsWithoutTime, NoticeCode::ValuesUnreadable]);
    }

    #[test]
    fn positions_at_the_edge_and_beyond() {
        let at_edge = at(0, "").replace("10.7", "180").replace("59.9", "-90.0");
        assert!(clean(&gpx(&[track("", &[at_edge])])).samples()[0].position.is_some());
        let beyond = gpx(&[track("", &[at(0, "").replace("10.7", "180.01")])]);
        assert_eq!(codes(&beyond), [NoticeCode::ValuesUnreadable]);
        assert_eq!(noted(&beyond).value[0].samples()[0].position, None);
    }

    #[test]
    fn offsets_of_written_times() {
        let text = gpx(&[track("", &[point("2025-01-01T02:00:00+02:00", "")])]);
        let recording = clean(&text);
        assert_eq!(
            (recording.start().to_string().as_str(), recording.utc_offset_s()),
            ("2025-01-01T00:00:00Z", Some(7200))
        );
        let text = gpx(&[track("", &[point("2025-01-01T02:00:00", "")])]);
        assert_eq!(codes(&text), [NoticeCode::TimeWithoutZone]);
    }

    #[test]
    fn a_point_that_is_never_closed() {
        let unclosed = at(0, "").replace("</trkpt>", "");
        let text = gpx(&[track("", &[unclosed + &at(1, "")])]);
        assert_eq!(codes(&text), [NoticeCode::XmlDamaged]);
        assert_eq!(noted(&text).value[0].samples().len(), 2);
    }
}
