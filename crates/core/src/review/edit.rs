//! Changes single rows of `diary.csv` and `stages.csv`; every other byte stays as it is.

use std::collections::BTreeMap;
use std::ops::Range;

use jiff::civil::Date;

use crate::separator::separator;

use super::csv::{self, Row};
use super::diary::{COLUMNS, Entry};

/// A table that cannot be changed without a person's eye.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// The row to change stands there more than once.
    #[error("{table} has more than one line for {key}; make one of them by hand first")]
    Twice {
        /// Name of the file.
        table: &'static str,
        /// What the rows are about.
        key: String,
    },
    /// The header has no column for what the rows are about.
    #[error("{table} has no column `{column}`; add it to the first line by hand first")]
    NoKey {
        /// Name of the file.
        table: &'static str,
        /// The missing column.
        column: &'static str,
    },
    /// A quote is opened and never closed, so that it is not known where rows end.
    #[error("{table}, line {line}: a quote is opened and not closed; close it by hand first")]
    Unclosed {
        /// Name of the file.
        table: &'static str,
        /// Line of the row.
        line: usize,
    },
}

/// Sets the line of the entry's day in the text of `diary.csv`, or adds one at the end. Columns that the diary does not
/// know, other days and the header stay byte for byte; a column that is needed and missing is added to the header.
pub fn diary_with(text: &str, entry: &Entry) -> Result<String, EditError> {
    let number = |value: Option<f64>| value.map(|x| x.to_string()).unwrap_or_default();
    let pattern = entry.pattern.map(super::Pattern::word).unwrap_or_default().to_owned();
    let note: String = entry.note.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let values = [
        entry.date.to_string(),
        number(entry.pain_during),
        pattern,
        number(entry.pain_next_morning),
        number(entry.effort),
        note.trim().to_owned(),
    ];
    let is_day = |cell: &str| cell.parse::<Date>().is_ok_and(|date| date == entry.date);
    Columns { table: "diary.csv", names: &COLUMNS }.with(text, &is_day, &values, true)
}

/// Sets the stage of a recording in the text of `stages.csv`, or adds a line at the end.
pub fn stages_with(text: &str, recording: &str, stage: &str) -> Result<String, EditError> {
    let is_it = |cell: &str| cell.replace('\\', "/") == recording;
    let values = [recording.to_owned(), stage.to_owned()];
    Columns { table: "stages.csv", names: &["recording", "stage"] }.with(text, &is_it, &values, false)
}

/// The columns of a table; the first one says what a row is about.
struct Columns<'c> {
    /// The file's name.
    table: &'static str,
    names: &'c [&'static str],
}

impl Columns<'_> {
    /// Sets the values in the row whose first column `is_it`. `once`: whether several such rows are an error; else the
    /// last one is set.
    fn with(
        &self,
        text: &str,
        is_it: &dyn Fn(&str) -> bool,
        values: &[String],
        once: bool,
    ) -> Result<String, EditError> {
        let table = self.table;
        let rows = csv::rows(text);
        if let Some(open) = rows.iter().find(|row| row.unclosed) {
            return Err(EditError::Unclosed { table, line: open.line });
        }
        let separator = if rows.is_empty() { ',' } else { separator(text) };
        let mut edit = Edit { changes: Vec::new(), widths: BTreeMap::new(), separator };
        let (mut places, has_head) = self.places(&rows);
        if has_head && places.first().is_none_or(Option::is_none) {
            return Err(EditError::NoKey { table, column: self.names.first().copied().unwrap_or_default() });
        }
        if let Some(head) = rows.first().filter(|_| has_head) {
            let mut next = head.cells.len();
            for (place, (name, value)) in places.iter_mut().zip(self.names.iter().zip(values)) {
                if place.is_none() && !value.is_empty() {
                    edit.set(head, next, name);
                    *place = Some(next);
                    next += 1;
                }
            }
        }
        let key = places.first().copied().flatten().unwrap_or(0);
        let body = rows.iter().skip(usize::from(has_head));
        let found: Vec<&Row> = body.filter(|row| row.cell(key).is_some_and(|c| is_it(&c.text))).collect();
        let mut cells: Vec<(usize, &String)> =
            places.iter().zip(values).filter_map(|(place, value)| place.map(|at| (at, value))).collect();
        cells.sort_by_key(|(at, _)| *at);
        match found.as_slice() {
            [_, _, ..] if once => {
                let key = values.first().cloned().unwrap_or_default();
                Err(EditError::Twice { table, key })
            }
            [.., row] => {
                // The key stays as it is written.
                cells.iter().filter(|(at, _)| *at != key).for_each(|(at, value)| edit.set(row, *at, value));
                Ok(edit.apply(text))
            }
            [] => {
                let mut row = vec![String::new(); cells.last().map_or(0, |(at, _)| at + 1)];
                cells.iter().for_each(|(at, value)| row[*at] = quoted(value, separator));
                let row = row.join(&separator.to_string());
                let mut text = edit.apply(text);
                if rows.is_empty() {
                    text.push_str(&self.names.join(","));
                    text.push('\n');
                }
                let end = if text.contains("\r\n") { "\r\n" } else { "\n" };
                if !text.ends_with('\n') {
                    text.push_str(end);
                }
                Ok(text + &row + end)
            }
        }
    }

    /// Where each column stands, and whether the first row is a header.
    fn places(&self, rows: &[Row]) -> (Vec<Option<usize>>, bool) {
        let in_order = || (0..self.names.len()).map(Some).collect();
        let Some(first) = rows.first() else { return (in_order(), false) };
        // Of two columns with one name the last one counts, as in reading.
        let place = |name: &&str| first.cells.iter().rposition(|cell| cell.text.eq_ignore_ascii_case(name));
        let found: Vec<Option<usize>> = self.names.iter().map(place).collect();
        if found.iter().any(Option::is_some) { (found, true) } else { (in_order(), false) }
    }
}

/// Changes to a text.
struct Edit {
    /// What stands instead of which bytes.
    changes: Vec<(Range<usize>, String)>,
    /// Cells of the rows, by line, that were made longer.
    widths: BTreeMap<usize, usize>,
    separator: char,
}

impl Edit {
    /// Sets the cell of a row; a row that is too short gets the cells that are missing, from left to right.
    fn set(&mut self, row: &Row, at: usize, value: &str) {
        if let Some(cell) = row.cells.get(at) {
            if cell.text != value {
                self.changes.push((cell.span.clone(), quoted(value, self.separator)));
            }
            return;
        }
        if value.is_empty() {
            return;
        }
        let end = row.cells.last().map_or(0, |cell| cell.span.end);
        let width = self.widths.entry(row.line).or_insert(row.cells.len());
        let gap = self.separator.to_string().repeat((at + 1).saturating_sub(*width));
        *width = at + 1;
        self.changes.push((end..end, gap + &quoted(value, self.separator)));
    }

    fn apply(mut self, text: &str) -> String {
        self.changes.sort_by_key(|(span, _)| (span.start, span.end));
        let mut result = String::with_capacity(text.len() + 64);
        let mut from = 0;
        for (span, value) in &self.changes {
            result.push_str(&text[from..span.start]);
            result.push_str(value);
            from = span.end;
        }
        result + &text[from..]
    }
}

/// A cell as RFC 4180 writes it.
fn quoted(value: &str, separator: char) -> String {
    let needs = value.contains(['"', '\n', '\r', separator]) || value.trim() != value;
    if needs { format!("\"{}\"", value.replace('"', "\"\"")) } else { value.to_owned() }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::{Diary, Pattern};
    use super::*;

    fn entry(day: &str) -> Entry {
        Entry {
            pain_during: Some(2.5),
            pattern: Some(Pattern::Returns),
            pain_next_morning: None,
            effort: Some(4.0),
            note: "new, \"soft\" shoes".into(),
            ..Entry::empty(day.parse().unwrap())
        }
    }

    #[test]
    fn a_line_is_added_and_the_rest_stays_byte_for_byte() {
        let before = "\u{feff}date;sleep;pain_during;note\r\n2026-03-02 ;7,5;1;\"a;\r\nb\"\r\n\r\n";
        let after = diary_with(before, &entry("2026-03-04")).unwrap();
        let head = "\u{feff}date;sleep;pain_during;note;pain_pattern;effort\r\n";
        let rest =
            "2026-03-02 ;7,5;1;\"a;\r\nb\"\r\n\r\n2026-03-04;;2.5;\"new, \"\"soft\"\" shoes\";returns;4\r\n";
        assert_eq!(after, format!("{head}{rest}"));
    }

    #[test]
    fn a_line_is_changed_in_its_own_cells_only() {
        let before = "date,pain_during,mood,effort,note\n2026-03-02, 1 ,\"so, so\",3,x\n2026-03-04,0,fine\n";
        let mut wanted = entry("2026-03-02");
        wanted.note = "x".into();
        wanted.pattern = None;
        let after = diary_with(before, &wanted).unwrap();
        assert_eq!(
            after,
            "date,pain_during,mood,effort,note\n2026-03-02,2.5,\"so, so\",4,x\n2026-03-04,0,fine\n"
        );
        wanted.date = "2026-03-04".parse().unwrap();
        assert!(diary_with(before, &wanted).unwrap().ends_with("2026-03-04,2.5,fine,4,x\n"));
    }

    #[test]
    fn what_was_asked_can_be_taken_back() {
        let before = "date,pain_during,note\n2026-03-02,3,x\n";
        let empty = Entry::empty("2026-03-02".parse().unwrap());
        assert_eq!(diary_with(before, &empty).unwrap(), "date,pain_during,note\n2026-03-02,,\n");
    }

    #[test]
    fn an_empty_diary_gets_its_header() {
        let after = diary_with("", &Entry::empty("2026-03-02".parse().unwrap())).unwrap();
        assert_eq!(after, "date,pain_during,pain_pattern,pain_next_morning,effort,note\n2026-03-02,,,,,\n");
    }

    #[test]
    fn what_needs_an_eye_is_refused() {
        let on = |text: &str| diary_with(text, &entry("2026-03-02")).unwrap_err().to_string();
        assert!(on("date,note\n2026-03-02,a\n2026-03-02,b\n").contains("more than one line for 2026-03-02"));
        assert!(on("day,note\n2026-03-02,a\n").contains("no column `date`"));
        assert!(on("date,note\n2026-03-02,\"a\n").contains("line 2: a quote"));
    }

    #[test]
    fn stages_are_set_with_and_without_header() {
        let set = |text: &str| stages_with(text, "a, b.fit", "2").unwrap();
        assert_eq!(set(""), "recording,stage\n\"a, b.fit\",2\n");
        assert_eq!(set("2026-03-02,1"), "2026-03-02,1\n\"a, b.fit\",2\n");
        assert_eq!(set("recording,stage\n\"a, b.fit\",1\n"), "recording,stage\n\"a, b.fit\",2\n");
    }

    proptest! {
        #[test]
        fn what_is_written_is_what_is_read(
            note in "[a-zå \",;\t]{0,12}",
            pain in prop::option::of(0_u8..=20),
            separator in prop::sample::select(vec![',', ';', '\t']),
            days in prop::collection::btree_set(1_i8..28, 0..6),
            day in 1_i8..28,
        ) {
            let head = ["date", "extra", "pain_during", "note", "effort"].join(&separator.to_string());
            let row = |d: &i8| format!("2026-03-{d:02}{separator}x{separator}1{separator}n{separator}3\n");
            let text = format!("{head}\n{}", days.iter().map(row).collect::<String>());
            let wanted = Entry {
                pain_during: pain.map(|p| f64::from(p) / 2.0),
                pain_next_morning: Some(1.0),
                note: note.trim().replace('\t', " "),
                ..Entry::empty(jiff::civil::date(2026, 3, day))
            };
            let after = diary_with(&text, &wanted).unwrap();
            let read = |text: &str| Diary::parse(text, jiff::civil::date(2026, 4, 1)).value;
            prop_assert_eq!(read(&after).on(wanted.date).cloned(), Some(wanted.clone()));
            for other in read(&text).entries().iter().filter(|e| e.date != wanted.date) {
                prop_assert_eq!(read(&after).on(other.date).cloned(), Some(other.clone()));
            }
        }
    }
}
