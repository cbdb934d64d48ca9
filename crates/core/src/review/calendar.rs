//! Days and weeks of a case.

use jiff::civil::{Date, DateTime};
use jiff::tz::{Offset, TimeZone, TimeZoneDatabase};
use jiff::{Timestamp, ToSpan};

use crate::prescription::Plan;
pub(super) use crate::prescription::monday;

/// Where the days of a case are counted: the plan's time zone, else each recording's own offset, else UTC.
#[derive(Clone, Debug)]
pub struct Zone {
    name: Option<String>,
    zone: Option<TimeZone>,
}

impl Zone {
    /// The zone of a plan, from the time zone data base that is built in.
    pub fn of(plan: &Plan) -> Self {
        let zone = plan.timezone.as_deref().and_then(|name| TimeZoneDatabase::bundled().get(name).ok());
        Self { name: plan.timezone.clone().filter(|_| zone.is_some()), zone }
    }

    /// The plan's name of the zone; `None` where each recording's own offset counts.
    pub fn name(&self) -> Option<&str> {
        self.name.as_deref()
    }

    /// Where no plan names a zone.
    pub const fn none() -> Self {
        Self { name: None, zone: None }
    }

    /// Date and time of a moment on the runner's clock. `utc_offset_s` is the recording's own offset, used when the plan names no
    /// zone; without it, UTC.
    pub fn at(&self, at: Timestamp, utc_offset_s: Option<i32>) -> DateTime {
        match &self.zone {
            Some(zone) => zone.to_datetime(at),
            None => utc_offset_s
                .and_then(|seconds| Offset::from_seconds(seconds).ok())
                .unwrap_or(Offset::UTC)
                .to_datetime(at),
        }
    }

    /// Whether that clock is UTC for want of any other.
    pub const fn is_utc_for_want(&self, utc_offset_s: Option<i32>) -> bool {
        self.zone.is_none() && utc_offset_s.is_none()
    }

    /// The day of a moment. `utc_offset_s` is the recording's own offset, used when the plan names no zone.
    pub fn date(&self, at: Timestamp, utc_offset_s: Option<i32>) -> Date {
        self.at(at, utc_offset_s).date()
    }
}

/// The day `days` later; the last day there is when that is too late.
pub(super) fn plus(date: Date, days: i64) -> Date {
    date.checked_add(days.days()).unwrap_or(if days < 0 { Date::MIN } else { Date::MAX })
}

/// Days from one day to another; negative when `to` is earlier.
pub(super) fn days_between(from: Date, to: Date) -> i64 {
    from.until(to).map_or(0, |span| i64::from(span.get_days()))
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn joined(parts: &[&str]) -> String {
    match parts.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
        None => String::new(),
    }
}

/// `9 March`; with its year where that is not the year of `today`.
pub(super) fn spoken(date: Date, today: Date) -> String {
    date.strftime(if date.year() == today.year() { "%-d %B" } else { "%-d %B %Y" }).to_string()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn plan(zone: &str) -> Plan {
        let text = format!("{zone}\n[[stage]]\nname = '1'\nsession = 'run 20:00'");
        Plan::parse(&text).unwrap().value
    }

    fn date(zone: &str, at: &str, offset: Option<i32>) -> String {
        Zone::of(&plan(zone)).date(at.parse().unwrap(), offset).to_string()
    }

    #[test]
    fn the_plans_zone_stands_before_the_recorders_offset_and_that_before_utc() {
        let late = "2026-03-02T23:30:00Z";
        assert_eq!(date("timezone = 'Europe/Oslo'", late, Some(-36000)), "2026-03-03");
        assert_eq!(date("", late, Some(3600)), "2026-03-03");
        assert_eq!(date("", late, Some(-36000)), "2026-03-02");
        assert_eq!(date("", late, None), "2026-03-02");
    }

    #[test]
    fn summer_time_moves_no_session_to_another_day() {
        // Europe/Oslo goes from +01:00 to +02:00 on 2026-03-29 at 01:00 UTC (IANA time zone data base, rule EU).
        let oslo = "timezone = 'Europe/Oslo'";
        assert_eq!(date(oslo, "2026-03-28T22:59:00Z", None), "2026-03-28");
        assert_eq!(date(oslo, "2026-03-28T23:00:00Z", None), "2026-03-29");
        assert_eq!(date(oslo, "2026-03-29T21:59:00Z", None), "2026-03-29");
        assert_eq!(date(oslo, "2026-03-29T22:00:00Z", None), "2026-03-30");
    }

    #[test]
    fn weeks_begin_on_monday() {
        // 2026-03-02 is a Monday; ISO 8601 week 1 of 2021 began on Monday 2021-01-04, so 2021-01-03 belongs to the
        // week of 2020-12-28.
        for (day, expected) in
            [("2026-03-02", "2026-03-02"), ("2026-03-08", "2026-03-02"), ("2021-01-03", "2020-12-28")]
        {
            assert_eq!(monday(day.parse().unwrap()).to_string(), expected);
        }
    }

    proptest! {
        #[test]
        fn a_session_has_one_day_and_the_next_day_is_one_later(second in 1_600_000_000_i64..1_900_000_000) {
            let zone = Zone::of(&plan("timezone = 'America/Sao_Paulo'"));
            let at = |s: i64| zone.date(Timestamp::from_second(s).unwrap(), None);
            prop_assert!((0..=2).contains(&days_between(at(second), at(second + 86_400))));
            prop_assert_eq!(plus(at(second), days_between(at(second), at(second + 864_000))), at(second + 864_000));
        }
    }
}
