//! Cells of a table, and their one plain text form.

use jiff::Timestamp;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CellKind {
    /// Text.
    Text,
    /// A whole number.
    Whole,
    /// A number.
    Real,
    /// True or false.
    Flag,
    /// A time, UTC.
    Instant,
}

impl CellKind {
    /// The word in the documentation and in a table's metadata.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Whole => "whole number",
            Self::Real => "number",
            Self::Flag => "true or false",
            Self::Instant => "instant",
        }
    }
}

/// A cell. What is not known is missing, never 0.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Value {
    /// Nothing is known.
    Missing,
    /// Never empty.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// Never infinite, and a number.
    Real(f64),
    /// True or false.
    Flag(bool),
    /// A time, UTC.
    Instant(Timestamp),
}

/// The cells of one line.
pub(super) type Row = Vec<Value>;

impl Value {
    /// The cell as text; empty when missing. [`Value::parse`] gives the same cell back, bit by bit.
    pub(super) fn to_plain(&self) -> String {
        match self {
            Self::Missing => String::new(),
            Self::Text(text) => text.clone(),
            Self::Whole(number) => number.to_string(),
            Self::Real(number) => number.to_string(),
            Self::Flag(flag) => flag.to_string(),
            Self::Instant(instant) => instant.to_string(),
        }
    }

    /// Reads the cell from its text; `None` when it is not of that kind.
    pub(super) fn parse(kind: CellKind, text: &str) -> Option<Self> {
        if text.is_empty() {
            return Some(Self::Missing);
        }
        match kind {
            CellKind::Text => Some(Self::Text(text.to_owned())),
            CellKind::Whole => text.parse().ok().map(Self::Whole),
            CellKind::Real => text.parse().ok().map(Self::Real),
            CellKind::Flag => text.parse().ok().map(Self::Flag),
            CellKind::Instant => text.parse().ok().map(Self::Instant),
        }
    }

    pub(super) fn text(&self) -> Option<&str> {
        if let Self::Text(text) = self { Some(text) } else { None }
    }

    pub(super) fn whole(&self) -> Option<i64> {
        if let Self::Whole(number) = self { Some(*number) } else { None }
    }

    pub(super) fn real(&self) -> Option<f64> {
        if let Self::Real(number) = self { Some(*number) } else { None }
    }

    pub(super) fn flag(&self) -> Option<bool> {
        if let Self::Flag(flag) = self { Some(*flag) } else { None }
    }

    pub(super) fn instant(&self) -> Option<Timestamp> {
        if let Self::Instant(instant) = self { Some(*instant) } else { None }
    }
}

impl From<&str> for Value {
    /// An empty text is missing: no column has a use for it.
    fn from(text: &str) -> Self {
        if text.is_empty() { Self::Missing } else { Self::Text(text.to_owned()) }
    }
}

impl From<String> for Value {
    fn from(text: String) -> Self {
        Self::from(text.as_str())
    }
}

impl From<usize> for Value {
    fn from(number: usize) -> Self {
        i64::try_from(number).map_or(Self::Missing, Self::Whole)
    }
}

impl From<u64> for Value {
    fn from(number: u64) -> Self {
        i64::try_from(number).map_or(Self::Missing, Self::Whole)
    }
}

impl From<f64> for Value {
    fn from(number: f64) -> Self {
        if number.is_finite() { Self::Real(number) } else { Self::Missing }
    }
}

impl From<bool> for Value {
    fn from(flag: bool) -> Self {
        Self::Flag(flag)
    }
}

impl From<Timestamp> for Value {
    fn from(instant: Timestamp) -> Self {
        Self::Instant(instant)
    }
}

impl<T: Into<Self>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Missing, Into::into)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn a_cell_comes_back_from_its_text(
            text in "\\PC{1,20}", whole: i64, real in proptest::num::f64::NORMAL, flag: bool,
            second in -1_000_000_000i64..4_000_000_000, nanosecond in 0i32..1_000_000_000,
        ) {
            let instant = Timestamp::new(second, nanosecond).unwrap();
            let cells = [
                (CellKind::Text, Value::Text(text)),
                (CellKind::Whole, Value::Whole(whole)),
                (CellKind::Real, Value::Real(real)),
                (CellKind::Flag, Value::Flag(flag)),
                (CellKind::Instant, Value::Instant(instant)),
                (CellKind::Real, Value::Missing),
            ];
            for (kind, cell) in cells {
                prop_assert_eq!(Value::parse(kind, &cell.to_plain()), Some(cell));
            }
        }
    }

    #[test]
    fn what_is_not_a_number_is_missing() {
        assert_eq!(Value::from(f64::NAN), Value::Missing);
        assert_eq!(Value::from(Some(f64::INFINITY)), Value::Missing);
        assert_eq!(Value::parse(CellKind::Whole, "1.5"), None);
    }
}
