//! A time zone as iCalendar wants it beside its times: every change of the clock in a span of days.

use calcard::icalendar::{
    ICalendarComponent, ICalendarComponentType, ICalendarProperty, ICalendarValue, ICalendarValueType,
};
use jiff::civil::{Date, DateTime};
use jiff::tz::{Dst, Offset, TimeZone};
use jiff::{Timestamp, ToSpan};

use super::ical::{date_time, entry, moment, text};

/// One state of a clock: from when on, by the clock before.
struct Observance {
    begins: DateTime,
    before: Offset,
    offset: Offset,
    name: String,
    is_daylight: bool,
}

impl Observance {
    fn component(&self) -> ICalendarComponent {
        let kind = if self.is_daylight {
            ICalendarComponentType::Daylight
        } else {
            ICalendarComponentType::Standard
        };
        ICalendarComponent {
            component_type: kind,
            entries: vec![
                moment(
                    ICalendarProperty::Dtstart,
                    None,
                    ICalendarValueType::DateTime,
                    date_time(self.begins),
                ),
                offset(ICalendarProperty::Tzoffsetfrom, self.before),
                offset(ICalendarProperty::Tzoffsetto, self.offset),
                text(ICalendarProperty::Tzname, &self.name),
            ],
            component_ids: Vec::new(),
        }
    }
}

/// The states of a zone's clock from the day before the first to the day after the last: at least one.
pub(super) fn observances(zone: &TimeZone, first: Date, last: Date) -> Vec<ICalendarComponent> {
    let day = |date: Date, days: i64| {
        let date = date.checked_add(days.days()).unwrap_or(date);
        TimeZone::UTC.to_timestamp(date.at(0, 0, 0, 0)).unwrap_or(Timestamp::UNIX_EPOCH)
    };
    let (from, to) = (day(first, -1), day(last, 2));
    let before = zone.preceding(from).next().map_or_else(
        || {
            let info = zone.to_offset_info(from);
            Observance {
                begins: DateTime::constant(1970, 1, 1, 0, 0, 0, 0),
                before: info.offset(),
                offset: info.offset(),
                name: info.abbreviation().to_owned(),
                is_daylight: info.dst() == Dst::Yes,
            }
        },
        |change| observance(zone, &change),
    );
    let changes = zone.following(from).take_while(|change| change.timestamp() <= to);
    let all = std::iter::once(before).chain(changes.map(|change| observance(zone, &change)));
    all.map(|observance| observance.component()).collect()
}

fn observance(zone: &TimeZone, change: &jiff::tz::TimeZoneTransition<'_>) -> Observance {
    let just_before = change.timestamp().checked_sub(1.second()).unwrap_or(change.timestamp());
    let before = zone.to_offset(just_before);
    Observance {
        begins: before.to_datetime(change.timestamp()),
        before,
        offset: change.offset(),
        name: change.abbreviation().to_owned(),
        is_daylight: change.dst() == Dst::Yes,
    }
}

fn offset(name: ICalendarProperty, offset: Offset) -> calcard::icalendar::ICalendarEntry {
    let minutes = offset.seconds().unsigned_abs() / 60;
    let value = calcard::common::PartialDateTime {
        tz_hour: u8::try_from(minutes / 60).ok(),
        tz_minute: u8::try_from(minutes % 60).ok(),
        tz_minus: offset.is_negative(),
        ..Default::default()
    };
    entry(name, ICalendarValue::PartialDateTime(Box::new(value)))
}
