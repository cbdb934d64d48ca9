//! A table as data: each column with its unit, kind, description and how it is filled. Schema, header, keys and
//! documentation come from this one place.

use super::scored::Scored;
use super::value::{CellKind, Row, Value};

/// A column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Field {
    /// Its name, with the unit at its end where it has one.
    pub(super) name: String,
    /// Empty for what has none.
    pub(super) unit: &'static str,
    /// What its cells hold.
    pub(super) kind: CellKind,
    /// What it says, in one sentence without a full stop.
    pub(super) about: String,
}

/// Gives the cell of one line of a recording.
type Fill = Box<dyn Fn(&Scored, usize) -> Value + Send + Sync>;

/// A table of which every recording fills some lines.
pub(super) struct Table {
    /// Name and version of the schema.
    pub(super) schema: &'static str,
    /// What a line is.
    pub(super) line: &'static str,
    pub(super) fields: Vec<Field>,
    fills: Vec<Fill>,
    count: fn(&Scored) -> usize,
}

impl Table {
    pub(super) fn new(schema: &'static str, line: &'static str, count: fn(&Scored) -> usize) -> Self {
        Self { schema, line, fields: Vec::new(), fills: Vec::new(), count }
    }

    pub(super) fn add<T: Into<Value>>(
        &mut self,
        name: impl Into<String>,
        unit: &'static str,
        kind: CellKind,
        about: impl Into<String>,
        fill: impl Fn(&Scored, usize) -> T + Send + Sync + 'static,
    ) {
        self.fields.push(Field { name: name.into(), unit, kind, about: about.into() });
        self.fills.push(Box::new(move |scored, line| fill(scored, line).into()));
    }

    /// The lines of a recording.
    pub(super) fn rows(&self, scored: &Scored) -> Vec<Row> {
        let row = |line| self.fills.iter().map(|fill| fill(scored, line)).collect();
        (0..(self.count)(scored)).map(row).collect()
    }

    /// Where a column stands.
    pub(super) fn position(&self, name: &str) -> Option<usize> {
        self.fields.iter().position(|field| field.name == name)
    }
}
