//! Parts of iCalendar (RFC 5545).

use calcard::common::PartialDateTime;
use calcard::icalendar::{
    ICalendarEntry, ICalendarParameter, ICalendarParameterName, ICalendarParameterValue, ICalendarProperty,
    ICalendarValue, ICalendarValueType,
};
use jiff::civil::DateTime;

pub(super) fn entry(name: ICalendarProperty, value: ICalendarValue) -> ICalendarEntry {
    ICalendarEntry { name, params: Vec::new(), values: vec![value] }
}

/// A text. What cannot stand in a line is left out.
pub(super) fn text(name: ICalendarProperty, text: &str) -> ICalendarEntry {
    let text = text.chars().filter(|c| *c == '\n' || !c.is_control()).collect();
    entry(name, ICalendarValue::Text(text))
}

/// A date or a time, in a zone if it has one.
pub(super) fn moment(
    name: ICalendarProperty,
    zone: Option<&str>,
    kind: ICalendarValueType,
    value: PartialDateTime,
) -> ICalendarEntry {
    let mut entry = entry(name, ICalendarValue::PartialDateTime(Box::new(value)));
    entry.params.extend(zone.map(|zone| ICalendarParameter {
        name: ICalendarParameterName::Tzid,
        value: ICalendarParameterValue::Text(zone.to_owned()),
    }));
    if kind == ICalendarValueType::Date {
        entry.params.push(ICalendarParameter {
            name: ICalendarParameterName::Value,
            value: ICalendarParameterValue::Value(kind),
        });
    }
    entry
}

pub(super) fn date_time(at: DateTime) -> PartialDateTime {
    PartialDateTime {
        year: u16::try_from(at.year()).ok(),
        month: u8::try_from(at.month()).ok(),
        day: u8::try_from(at.day()).ok(),
        hour: u8::try_from(at.hour()).ok(),
        minute: u8::try_from(at.minute()).ok(),
        second: u8::try_from(at.second()).ok(),
        ..PartialDateTime::default()
    }
}
