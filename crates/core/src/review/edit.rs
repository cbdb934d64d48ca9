//! Changes single rows of `diary.csv` and `stages.csv`; every other byte stays as it is.

use std::collections::BTreeMap;
use std::ops::Range;

use jiff::civil::Date;

use crate::separator::separator;

use super::csv::{self, Row};
use super::diary::COLUMNS;
use super::seen;

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

/// The cells of a day as they are written, in the order of the diary's columns, without the date: pain during, its pattern, pain
/// on the next morning, effort, note. A cell that is not there is empty.
pub type DayCells = [String; COLUMNS.len() - 1];

const DIARY: Columns<'_> = Columns { table: "diary.csv", names: &COLUMNS };

fn is_day(date: Date) -> impl Fn(&str) -> bool {
    move |cell: &str| cell.parse::<Date>().is_ok_and(|found| found == date)
}

/// The cells of a day in the text of `diary.csv`; all empty when it has no line.
pub fn day_cells(text: &str, date: Date) -> Result<DayCells, EditError> {
    let table = DIARY.read(text)?;
    let row = DIARY.only(&table, &is_day(date), &date.to_string())?;
    Ok(std::array::from_fn(|index| {
        let place = table.places.get(index + 1).copied().flatten();
        row.zip(place).and_then(|(row, at)| row.cell(at)).map(|cell| cell.text.clone()).unwrap_or_default()
    }))
}

/// Sets cells of a day in the text of `diary.csv`, or adds a line for it at the end; what is `None` stays as it is. Other
/// cells, columns that the diary does not know, other days and the header stay byte for byte; a column that is needed and
/// missing is added to the header.
///
/// # Example
/// ```
/// use jogaudit_core::review::diary_with;
/// let before = "date,pain_during,note\n2026-03-02,about 3,new shoes\n";
/// let note = [None, None, None, None, Some("old shoes".to_owned())];
/// let after = diary_with(before, "2026-03-02".parse()?, &note)?;
/// assert_eq!(after, "date,pain_during,note\n2026-03-02,about 3,old shoes\n");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn diary_with(
    text: &str,
    date: Date,
    cells: &[Option<String>; COLUMNS.len() - 1],
) -> Result<String, EditError> {
    let mut values = vec![Some(date.to_string())];
    values.extend(cells.iter().cloned());
    DIARY.with(text, &is_day(date), &values, true)
}

/// Sets the stage of a recording in the text of `stages.csv`, or adds a line at the end.
pub fn stages_with(text: &str, recording: &str, stage: &str) -> Result<String, EditError> {
    let is_it = |cell: &str| cell.replace('\\', "/") == recording;
    let values = [Some(recording.to_owned()), Some(stage.to_owned())];
    Columns { table: "stages.csv", names: &["recording", "stage"] }.with(text, &is_it, &values, false)
}

/// Gives recordings in the text of `stages.csv` other names; `rename` gives the new one, if there is one. All else stays byte for byte.
///
/// # Example
/// ```
/// use jogaudit_core::review::stages_renamed;
/// let before = "recording,stage\nb/1.gpx,2\n2026-03-02,1\n";
/// let after = stages_renamed(before, &|name| (name == "b/1.gpx").then(|| "b/1.tcx".to_owned()));
/// assert_eq!(after, "recording,stage\nb/1.tcx,2\n2026-03-02,1\n");
/// ```
pub fn stages_renamed(text: &str, rename: &dyn Fn(&str) -> Option<String>) -> String {
    let mut edit = Edit { changes: Vec::new(), widths: BTreeMap::new(), separator: separator(text) };
    for row in csv::rows(text) {
        let name = row.cell(0).and_then(|cell| rename(&cell.text.replace('\\', "/")));
        if let Some(name) = name {
            edit.set(&row, 0, &name);
        }
    }
    edit.apply(text)
}

/// Adds a visit at the end of the text of `seen.csv`: day, by whom, stage, note. What stands in it stays byte for byte.
///
/// # Example
/// ```
/// use jogaudit_core::review::seen_with;
/// let visit = ["2026-03-20", "R. Lunde", "2", ""].map(str::to_owned);
/// assert_eq!(seen_with("", &visit)?, "date,by,stage,note\n2026-03-20,R. Lunde,2,\n");
/// # Ok::<(), jogaudit_core::review::EditError>(())
/// ```
pub fn seen_with(text: &str, visit: &[String; seen::COLUMNS.len()]) -> Result<String, EditError> {
    let values = visit.clone().map(Some);
    Columns { table: "seen.csv", names: &seen::COLUMNS }.with(text, &|_| false, &values, false)
}

/// The columns of a table; the first one says what a row is about.
struct Columns<'c> {
    /// The file's name.
    table: &'static str,
    names: &'c [&'static str],
}

/// A table that can be changed.
struct Table {
    rows: Vec<Row>,
    /// Where each column stands.
    places: Vec<Option<usize>>,
    /// Whether the first row is a header.
    has_head: bool,
}

impl Table {
    /// Where the column stands that says what a row is about.
    fn key(&self) -> usize {
        self.places.first().copied().flatten().unwrap_or(0)
    }

    /// The rows whose first column `is_it`.
    fn about<'t>(&'t self, is_it: &dyn Fn(&str) -> bool) -> Vec<&'t Row> {
        let key = self.key();
        let body = self.rows.iter().skip(usize::from(self.has_head));
        body.filter(|row| row.cell(key).is_some_and(|cell| is_it(&cell.text))).collect()
    }
}

impl Columns<'_> {
    /// Reads a table, unless it needs a person's eye.
    fn read(&self, text: &str) -> Result<Table, EditError> {
        let table = self.table;
        let rows = csv::rows(text);
        if let Some(open) = rows.iter().find(|row| row.unclosed) {
            return Err(EditError::Unclosed { table, line: open.line });
        }
        let (places, has_head) = csv::places(&rows, self.names);
        if has_head && places.first().is_none_or(Option::is_none) {
            return Err(EditError::NoKey { table, column: self.names.first().copied().unwrap_or_default() });
        }
        Ok(Table { rows, places, has_head })
    }

    /// The one row about something, if there is one.
    fn only<'t>(
        &self,
        table: &'t Table,
        is_it: &dyn Fn(&str) -> bool,
        key: &str,
    ) -> Result<Option<&'t Row>, EditError> {
        match table.about(is_it).as_slice() {
            [] => Ok(None),
            [row] => Ok(Some(row)),
            _ => Err(EditError::Twice { table: self.table, key: key.to_owned() }),
        }
    }

    /// Sets the values in the row whose first column `is_it`; `None` leaves a cell as it is. `once`: whether several such
    /// rows are an error; else the last one is set.
    fn with(
        &self,
        text: &str,
        is_it: &dyn Fn(&str) -> bool,
        values: &[Option<String>],
        once: bool,
    ) -> Result<String, EditError> {
        let mut table = self.read(text)?;
        let separator = if table.rows.is_empty() { ',' } else { separator(text) };
        let mut edit = Edit { changes: Vec::new(), widths: BTreeMap::new(), separator };
        if let Some(head) = table.rows.first().filter(|_| table.has_head) {
            let mut next = head.cells.len();
            for (place, (name, value)) in table.places.iter_mut().zip(self.names.iter().zip(values)) {
                if place.is_none() && value.as_ref().is_some_and(|value| !value.is_empty()) {
                    edit.set(head, next, name);
                    *place = Some(next);
                    next += 1;
                }
            }
        }
        let found = if once {
            let key = values.first().cloned().flatten().unwrap_or_default();
            self.only(&table, is_it, &key)?
        } else {
            table.about(is_it).pop()
        };
        let key = table.key();
        let mut cells: Vec<(usize, &Option<String>)> = table
            .places
            .iter()
            .zip(values)
            .filter_map(|(place, value)| place.map(|at| (at, value)))
            .collect();
        cells.sort_by_key(|(at, _)| *at);
        if let Some(row) = found {
            // The key stays as it is written.
            for (at, value) in cells.iter().filter(|(at, _)| *at != key) {
                if let Some(value) = value {
                    edit.set(row, *at, value);
                }
            }
            return Ok(edit.apply(text));
        }
        let mut row = vec![String::new(); cells.last().map_or(0, |(at, _)| at + 1)];
        for (at, value) in cells {
            row[at] = quoted(value.as_deref().unwrap_or_default(), separator);
        }
        let row = row.join(&separator.to_string());
        let mut text = edit.apply(text);
        let end = if text.contains("\r\n") { "\r\n" } else { "\n" };
        if !text.ends_with('\n') && !text.trim_start_matches('\u{feff}').is_empty() {
            text.push_str(end);
        }
        if table.rows.is_empty() {
            text.push_str(&self.names.join(","));
            text.push_str(end);
        }
        Ok(text + &row + end)
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

/// A cell as RFC 4180 writes it. What a spreadsheet would take for a formula gets an apostrophe in front, and lines of which one
/// would be read as a row become one line.
fn quoted(value: &str, separator: char) -> String {
    let value = csv::as_text(value);
    let has_row = value.contains('\n') && value.split('\n').any(|line| csv::begins_row(line, separator));
    let value = if has_row { value.replace(['\n', '\r'], " ") } else { value };
    let needs = value.contains(['"', '\n', '\r', separator]) || value.trim() != value;
    if needs { format!("\"{}\"", value.replace('"', "\"\"")) } else { value }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::{Diary, Entry, Pattern};
    use super::*;

    fn diary_with(text: &str, entry: &Entry) -> Result<String, EditError> {
        let number = |value: Option<f64>| value.map(|x| x.to_string()).unwrap_or_default();
        let pattern = entry.patterns.iter().map(|pattern| pattern.word()).collect::<Vec<_>>().join(" ");
        let [during, morning, effort] =
            [entry.pain_during, entry.pain_next_morning, entry.effort].map(number);
        let cells = [during, pattern, morning, effort, entry.note.clone()].map(Some);
        super::diary_with(text, entry.date, &cells)
    }

    fn entry(day: &str) -> Entry {
        Entry {
            pain_during: Some(2.5),
            patterns: vec![Pattern::Returns],
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
        wanted.patterns.clear();
        let after = diary_with(before, &wanted).unwrap();
        assert_eq!(
            after,
            "date,pain_during,mood,effort,note\n2026-03-02,2.5,\"so, so\",4,x\n2026-03-04,0,fine\n"
        );
        wanted.date = "2026-03-04".parse().unwrap();
        assert!(diary_with(before, &wanted).unwrap().ends_with("2026-03-04,2.5,fine,4,x\n"));
    }

    #[test]
    fn a_header_never_joins_a_blank_line() {
        let visit = ["2026-03-20", "", "2", ""].map(str::to_owned);
        let lines = "date,by,stage,note\n2026-03-20,,2,\n";
        for (blank, between) in [("\t\t", "\n"), (" \n\t", "\n"), ("\u{feff}", ""), ("\u{feff}\t", "\n")] {
            assert_eq!(seen_with(blank, &visit).unwrap(), format!("{blank}{between}{lines}"), "{blank:?}");
        }
    }

    #[test]
    fn lines_of_a_cell_are_no_rows_of_their_own() {
        let note = "see\n2026-03-01,R. Lunde\nand after".to_owned();
        let visit = ["2026-03-20".to_owned(), String::new(), "2".to_owned(), note];
        let after = seen_with("", &visit).unwrap();
        assert!(after.ends_with("2026-03-20,,2,\"see 2026-03-01,R. Lunde and after\"\n"), "{after}");
        assert_eq!(csv::rows(&after).len(), 2);
        let harmless = ["2026-03-20", "", "2", "two\nlines"].map(str::to_owned);
        assert!(seen_with("", &harmless).unwrap().ends_with(",\"two\nlines\"\n"));
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
    fn only_what_is_set_is_written_and_the_rest_stays_byte_for_byte() {
        let text =
            "date;pain_during;pain_next_morning;note\r\n2026-03-02; about 3 ;\"4\";\"two\r\nlines\"\r\n";
        let day = "2026-03-02".parse().unwrap();
        assert_eq!(day_cells(text, day).unwrap(), ["about 3", "", "4", "", "two\nlines"]);
        let effort = [None, None, None, Some("5".to_owned()), None];
        assert_eq!(
            super::diary_with(text, day, &effort).unwrap(),
            "date;pain_during;pain_next_morning;note;effort\r\n2026-03-02; about 3 ;\"4\";\"two\r\nlines\";5\r\n"
        );
        let nothing = std::array::from_fn(|_| None);
        assert_eq!(super::diary_with(text, day, &nothing).unwrap(), text);
        assert_eq!(day_cells(text, "2026-03-03".parse().unwrap()).unwrap(), DayCells::default());
        let twice = "date,note\n2026-03-02,a\n2026-03-02,b\n";
        assert!(day_cells(twice, day).unwrap_err().to_string().contains("more than one line"));
    }

    #[test]
    fn formulas_are_written_as_text_and_read_back() {
        let day: Date = "2026-03-02".parse().unwrap();
        for note in ["=1+1", "+1 km", "- sore", "@home", "'=1", "''-x", "'tis", "-", "", "=\"a\",b"] {
            let cells = [None, None, None, None, Some(note.to_owned())];
            let text = super::diary_with("", day, &cells).unwrap();
            assert_eq!(day_cells(&text, day).unwrap()[4], note, "{text}");
            let cell = text.lines().last().unwrap().rsplit_once(",,,,,").unwrap().1;
            let opens = cell.trim_start_matches('"');
            assert!(opens.len() < 2 || !opens.starts_with(['=', '+', '-', '@']), "{text}");
            assert_eq!(Diary::parse(&text, day).value.on(day).unwrap().note, note);
        }
        let text = stages_with("", "=a.fit", "-").unwrap();
        assert_eq!(text, "recording,stage\n'=a.fit,-\n");
        assert_eq!(stages_with(&text, "=a.fit", "1").unwrap(), "recording,stage\n'=a.fit,1\n");
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
            let row = |d: &i8| format!("2026-03-{d:02}{separator}0{separator}1{separator}n{separator}3\n");
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
