//! A short session as each format writes it, and XML taken apart by plain `quick-xml` events.

use std::collections::BTreeMap;

use jogaudit_core::prescription::{Extent, Move, Step};
use jogaudit_recording::read::{Recording, Sample};
use jogaudit_recording::units::Seconds;
use jogaudit_simulate::{CadenceStep, Laps, Settings, Simulated, Window, simulate};
use quick_xml::events::Event;

pub(crate) fn made(settings: &Settings) -> Simulated {
    let timed = |motion, s| Step { motion, extent: Extent::Time(Seconds::new(s)).into(), ceiling: None };
    let steps = [timed(Move::Walk, 120.0), timed(Move::Run, 90.0), timed(Move::Walk, 60.0)];
    simulate(&steps, settings).unwrap()
}

pub(crate) fn busy() -> Settings {
    Settings {
        laps: Laps::Steps,
        hills: true,
        missing: 0.05,
        cadence_step: CadenceStep::HalfStride,
        utc_offset_s: Some(3600),
        pauses: vec![Window { at_s: Some(150.0), length_s: 30.0 }],
        ..Settings::default()
    }
}

/// Elements called `outer` (without prefix), each with the texts inside by path and the attributes by name.
pub(crate) fn elements(bytes: &[u8], outer: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = quick_xml::Reader::from_reader(bytes);
    let mut found = Vec::new();
    let mut path: Vec<String> = Vec::new();
    let mut within: Option<BTreeMap<String, String>> = None;
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) => {
                path.push(start.local_name().as_ref().to_owned());
                if path.last().unwrap() == outer {
                    let attribute = |a: quick_xml::events::attributes::Attribute<'_>| {
                        (a.key.as_ref().to_owned(), a.value.to_string())
                    };
                    within = Some(start.attributes().map(|a| attribute(a.unwrap())).collect());
                }
            }
            Event::Text(text) => {
                let text = text.as_ref().to_owned();
                if let Some(map) = within.as_mut().filter(|_| !text.trim().is_empty()) {
                    let from = path.iter().rposition(|p| p == outer).unwrap() + 1;
                    map.entry(path[from..].join("/")).or_insert(text);
                }
            }
            Event::End(_) if path.pop().unwrap() == outer => found.extend(within.take()),
            Event::Eof => return found,
            _ => {}
        }
    }
}

pub(crate) fn parsed(map: &BTreeMap<String, String>, path: &str) -> Option<f64> {
    map.get(path).map(|text| text.parse().unwrap())
}

pub(crate) fn instant(recording: &Recording, sample: &Sample) -> String {
    jiff::Timestamp::from_second(recording.start().as_second() + sample.time_s as i64).unwrap().to_string()
}
