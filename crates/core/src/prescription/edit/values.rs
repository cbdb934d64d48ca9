//! Values of a plan as a form shows and writes them.

use std::ops::Range;

use jiff::civil::Date;
use toml::de::DeValue;

use super::super::bounds::{self, Bound};
use super::super::scan::quoted;

/// How a value is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    Text,
    Whole,
    WholeOrRange,
    /// A point on a scale that ends with ten.
    OfTen,
    Day,
    Weekdays,
}

impl Shape {
    pub(super) fn of(key: &str) -> Self {
        match key {
            "sessions" | "weeks" | "rest_days_between" | "break_repeat_days" | "break_step_back_days" => {
                Self::Whole
            }
            "sessions_per_week" | "a_week" => Self::WholeOrRange,
            "pain_limit" | "effort_ceiling" => Self::OfTen,
            "start" => Self::Day,
            "weekdays" => Self::Weekdays,
            _ => Self::Text,
        }
    }

    /// Whether a value is of the kind that the key takes. Its bounds are the plan reader's affair.
    pub(super) fn fits(self, entry: &Entry<'_>) -> bool {
        match (self, &entry.value) {
            (Self::Text | Self::WholeOrRange, DeValue::String(_))
            | (Self::Whole | Self::WholeOrRange | Self::OfTen, DeValue::Integer(_))
            | (Self::OfTen, DeValue::Float(_))
            | (Self::Day, DeValue::Datetime(_))
            | (Self::Weekdays, DeValue::Array(_)) => true,
            // A stage's kinds of session.
            (Self::Text, DeValue::Array(_)) => entry.key == "session",
            _ => false,
        }
    }
}

/// What a field takes that is no text, in one clause; `None` where any text may do.
pub(super) fn expected(key: &str) -> Option<String> {
    let bound: &Bound = match key {
        "sessions" => &bounds::STAGE_SESSIONS,
        "weeks" => &bounds::STAGE_WEEKS,
        "rest_days_between" => &bounds::REST_DAYS,
        "break_repeat_days" | "break_step_back_days" => &bounds::BREAK_DAYS,
        "sessions_per_week" => &bounds::SESSIONS_PER_WEEK,
        "a_week" => &bounds::KIND_A_WEEK,
        "pain_limit" => &bounds::PAIN,
        "effort_ceiling" => &bounds::EFFORT,
        "start" => return Some("expected a day such as `2026-03-02`".to_owned()),
        "weekdays" => return Some("expected weekdays such as `tue, thu, sun`".to_owned()),
        _ => return None,
    };
    Some(format!("expected {} {}", bound.name, bound.range))
}

/// A value as TOML writes it; one that does not fit its key as text.
pub(super) fn literal(key: &str, value: &str) -> String {
    /// Beyond this a number is no slip any more, and TOML may not hold it.
    const MOST: f64 = 1e6;
    let number = |bare: Option<String>| bare.unwrap_or_else(|| quoted(value));
    match Shape::of(key) {
        Shape::Text => quoted(value),
        Shape::Whole | Shape::WholeOrRange => number(value.parse::<u32>().ok().map(|n| n.to_string())),
        Shape::OfTen => {
            let parsed = value.parse::<f64>().ok().filter(|n| n.abs() < MOST);
            number(parsed.map(|n| n.to_string()))
        }
        Shape::Day => {
            number(value.parse::<Date>().ok().filter(|d| d.year() > 0).map(|date| date.to_string()))
        }
        Shape::Weekdays => {
            let words = value.split([',', ' ']).filter(|word| !word.is_empty());
            format!("[{}]", words.map(quoted).collect::<Vec<_>>().join(", "))
        }
    }
}

/// A line of a key with its value, after what stands before the key.
pub(super) fn literal_line(prefix: &str, key: &str, value: &str) -> String {
    format!("{prefix}{key} = {value}")
}

/// A text in one line, as a field takes it.
fn one_line(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    plain.trim().to_owned()
}

/// A key with its value.
pub(super) struct Entry<'t> {
    pub(super) key: String,
    pub(super) key_span: Range<usize>,
    pub(super) value: DeValue<'t>,
    /// Where the value stands.
    pub(super) span: Range<usize>,
}

impl Entry<'_> {
    /// The value as a form shows it.
    pub(super) fn shown(&self) -> String {
        match &self.value {
            DeValue::String(text) => one_line(text),
            DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix())
                .map_or_else(|_| number.as_str().to_owned(), |number| number.to_string()),
            DeValue::Float(number) => number.as_str().to_owned(),
            DeValue::Datetime(moment) => moment.to_string(),
            DeValue::Array(words) => {
                let words = words.iter().map(|word| match word.get_ref() {
                    DeValue::String(word) => one_line(word),
                    _ => "?".to_owned(),
                });
                words.collect::<Vec<_>>().join(", ")
            }
            DeValue::Boolean(value) => value.to_string(),
            DeValue::Table(_) => String::new(),
        }
    }
}
