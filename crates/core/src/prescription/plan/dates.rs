//! The days of a plan: its first one, and the weekdays of its sessions.

use jiff::civil::{Date, Weekday};
use toml::de::{DeTable, DeValue};

use super::Reader;

const WEEKDAYS: [(&str, &str, Weekday); 7] = [
    ("mon", "monday", Weekday::Monday),
    ("tue", "tuesday", Weekday::Tuesday),
    ("wed", "wednesday", Weekday::Wednesday),
    ("thu", "thursday", Weekday::Thursday),
    ("fri", "friday", Weekday::Friday),
    ("sat", "saturday", Weekday::Saturday),
    ("sun", "sunday", Weekday::Sunday),
];
const WEEKDAY: &str = "`mon`, `tue`, `wed`, `thu`, `fri`, `sat` or `sun`";

/// The short word for a weekday, as in plans.
pub fn weekday_word(day: Weekday) -> &'static str {
    WEEKDAYS.iter().find(|(_, _, other)| *other == day).map_or("", |(word, ..)| word)
}

fn weekday(word: &str) -> Option<Weekday> {
    let lower = word.to_lowercase();
    WEEKDAYS.iter().find(|(short, long, _)| *short == lower || *long == lower).map(|(.., day)| *day)
}

/// Reads weekdays with commas between: `tue,thu,sun`. In the order of the week.
///
/// # Errors
/// When one is none, or stands twice: says what was expected.
pub fn parse_weekdays(text: &str) -> Result<Vec<Weekday>, String> {
    let mut days = Vec::new();
    for word in text.split(',') {
        match weekday(word.trim()) {
            None => return Err(format!("expected {WEEKDAY}, with commas between")),
            Some(day) if days.contains(&day) => {
                return Err(format!("expected each day once: `{}` stands twice", word.trim()));
            }
            Some(day) => days.push(day),
        }
    }
    days.sort_by_key(|day| day.to_monday_zero_offset());
    Ok(days)
}

impl<'i> Reader<'i> {
    pub(super) fn start(&mut self, table: &DeTable<'i>) -> Option<Date> {
        const EXPECTED: &str = "a day without quotes, such as `2026-03-02`";
        let value = table.get("start")?;
        let DeValue::Datetime(moment) = value.get_ref() else {
            self.wrong_kind(value, value.get_ref(), EXPECTED);
            return None;
        };
        let day = moment.date.filter(|_| moment.time.is_none() && moment.offset.is_none());
        let as_date = |day: toml::value::Date| {
            Date::new(
                i16::try_from(day.year).ok()?,
                i8::try_from(day.month).ok()?,
                i8::try_from(day.day).ok()?,
            )
            .ok()
        };
        let date = day.and_then(as_date).filter(|date| date.year() >= 1900);
        if date.is_none() {
            self.fault(value.span(), format!("expected {EXPECTED}"));
        }
        date
    }

    pub(super) fn weekdays(&mut self, table: &DeTable<'i>) -> Vec<Weekday> {
        const EXPECTED: &str = "a list of weekdays, such as `[\"tue\", \"thu\", \"sun\"]`";
        let Some(value) = table.get("weekdays") else { return Vec::new() };
        let DeValue::Array(words) = value.get_ref() else {
            self.wrong_kind(value, value.get_ref(), EXPECTED);
            return Vec::new();
        };
        if words.is_empty() {
            self.fault(value.span(), format!("expected {EXPECTED}, with at least one"));
        }
        let mut days = Vec::new();
        for word in words {
            let day = match word.get_ref() {
                DeValue::String(text) => weekday(text),
                _ => None,
            };
            match day {
                None => self.fault(word.span(), format!("expected {WEEKDAY}, in quotes")),
                Some(day) if days.contains(&day) => self.fault(word.span(), "expected each day once"),
                Some(day) => days.push(day),
            }
        }
        days.sort_by_key(|day| day.to_monday_zero_offset());
        days
    }
}
