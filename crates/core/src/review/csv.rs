//! Rows of a small table in text: comma, semicolon or tab between cells, quotes after RFC 4180.
//!
//! By hand, since `diary.csv` and `stages.csv` are changed in place with every other byte kept: the `csv` crate gives a
//! record's first byte only, not where each cell begins and ends.

use std::ops::Range;

use jiff::civil::Date;

use crate::separator::separator;

/// A cell and the column of its first character, counted from 1 in characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) text: String,
    pub(super) column: usize,
    /// Bytes of the whole text that it takes up, quotes and spaces included, separators and line ends not.
    pub(super) span: Range<usize>,
}

/// A row that is not blank.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row {
    /// Line of its first character, counted from 1.
    pub(super) line: usize,
    pub(super) cells: Vec<Cell>,
    /// A quote was opened and not closed before the table ends or a line begins that is a row by itself: the cell is taken to end
    /// with its line, and the cells after the quote are lost in it.
    pub(super) unclosed: bool,
}

impl Row {
    /// The text of a cell without spaces at its ends; nothing when it is blank or not there.
    pub(super) fn cell(&self, index: usize) -> Option<&Cell> {
        self.cells.get(index).filter(|cell| !cell.text.is_empty())
    }
}

/// Splits a text into rows. Blank lines are left out; a byte order mark is skipped.
pub(super) fn rows(text: &str) -> Vec<Row> {
    let separator = separator(text);
    let body = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut next = text.len() - body.len();
    let lines = body.split('\n').enumerate().map(|(index, line)| {
        let start = next;
        next += line.len() + 1;
        TextLine { number: index + 1, start, text: line.trim_end_matches('\r') }
    });
    let mut lines: &[TextLine<'_>] = &lines.collect::<Vec<_>>();
    let mut rows = Vec::new();
    while let Some((line, rest)) = lines.split_first() {
        if line.text.trim().is_empty() {
            lines = rest;
            continue;
        }
        // What an open quote took is read again. No line of it has a quote that closes one, so none opens one to go on: linear.
        let whole = row(*line, separator, rest);
        let (row, more) = if whole.0.unclosed { row(*line, separator, &[]) } else { whole };
        rows.push(row);
        lines = &rest[more..];
    }
    rows
}

/// Where each column of these names stands, and whether the first row is a header; without one they stand in order. Of two
/// columns with one name the last one counts.
pub(super) fn places(rows: &[Row], names: &[&str]) -> (Vec<Option<usize>>, bool) {
    let in_order = || (0..names.len()).map(Some).collect();
    let Some(first) = rows.first() else { return (in_order(), false) };
    let place = |name: &&str| first.cells.iter().rposition(|cell| cell.text.eq_ignore_ascii_case(name));
    let found: Vec<Option<usize>> = names.iter().map(place).collect();
    if found.iter().any(Option::is_some) { (found, true) } else { (in_order(), false) }
}

/// Whether a line is a row by itself, also where a quote before it was not closed: one of its cells is a day.
pub(super) fn begins_row(line: &str, separator: char) -> bool {
    line.contains(separator) && line.split(separator).any(|cell| cell.trim().parse::<Date>().is_ok())
}

/// A line, without its end, and the byte of the whole text at which it starts.
#[derive(Clone, Copy)]
struct TextLine<'t> {
    number: usize,
    start: usize,
    text: &'t str,
}

/// Reads one row, taking further lines for a quote that goes on, and says how many.
fn row(first: TextLine<'_>, separator: char, more: &[TextLine<'_>]) -> (Row, usize) {
    let empty = |column: usize, start: usize| Cell { text: String::new(), column, span: start..start };
    let number = first.number;
    let mut cells = vec![empty(1, first.start)];
    let (mut quoted, mut unclosed) = (false, false);
    let mut line = first;
    let mut taken = 0;
    loop {
        let mut characters = line.text.char_indices().enumerate().peekable();
        while let Some((at, (byte, c))) = characters.next() {
            let Some(cell) = cells.last_mut() else { break };
            match c {
                '"' if quoted && characters.next_if(|(_, (_, next))| *next == '"').is_some() => {
                    cell.text.push('"');
                }
                '"' if quoted => quoted = false,
                '"' if cell.text.trim().is_empty() => {
                    cell.text.clear();
                    quoted = true;
                }
                _ if c == separator && !quoted => {
                    cell.span.end = line.start + byte;
                    cells.push(empty(at + 2, line.start + byte + separator.len_utf8()));
                }
                _ => cell.text.push(c),
            }
        }
        if let Some(cell) = cells.last_mut() {
            cell.span.end = line.start + line.text.len();
        }
        if !quoted {
            break;
        }
        let Some(next) = more.get(taken).filter(|next| !begins_row(next.text, separator)) else {
            unclosed = true;
            break;
        };
        if let Some(cell) = cells.last_mut() {
            cell.text.push('\n');
        }
        line = *next;
        taken += 1;
    }
    for cell in &mut cells {
        cell.text = plain(cell.text.trim()).to_owned();
    }
    (Row { line: number, cells, unclosed }, taken)
}

/// What a spreadsheet takes for a formula when more stands behind it. (The characters are those that OWASP's page on CSV
/// injection names.)
const FORMULA: [char; 4] = ['=', '+', '-', '@'];

/// Whether a text begins like a formula, whatever apostrophes stand before it.
fn is_risky(text: &str) -> bool {
    let bare = text.trim_start_matches('\'');
    bare.len() > 1 && bare.starts_with(FORMULA)
}

/// A text as it is written into a cell: with an apostrophe in front where a spreadsheet would take it for a formula.
pub(super) fn as_text(text: &str) -> String {
    if is_risky(text) { format!("'{text}") } else { text.to_owned() }
}

/// The text of a cell without the apostrophe of [`as_text`].
fn plain(text: &str) -> &str {
    text.strip_prefix('\'').filter(|_| is_risky(text)).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn texts(text: &str) -> Vec<Vec<String>> {
        rows(text).into_iter().map(|row| row.cells.into_iter().map(|cell| cell.text).collect()).collect()
    }

    #[test]
    fn quotes_follow_rfc_4180() {
        // RFC 4180, section 2, rules 5 to 7.
        assert_eq!(
            texts("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
            [["aaa", "b\nbb", "ccc"], ["zzz", "yyy", "xxx"]]
        );
        assert_eq!(texts("\"aaa\",\"b\"\"bb\",\"ccc\""), [["aaa", "b\"bb", "ccc"]]);
    }

    #[test]
    fn semicolons_tabs_marks_and_blank_lines() {
        assert_eq!(
            texts("\u{feff}date;note\n\n 2026-03-02 ;a, b\n"),
            [["date", "note"], ["2026-03-02", "a, b"]]
        );
        assert_eq!(texts("date\tnote\nx\ty"), [["date", "note"], ["x", "y"]]);
        assert_eq!(texts("date\nx"), [["date"], ["x"]]);
    }

    #[test]
    fn lines_and_columns_are_where_the_cells_stand() {
        let rows = rows("a,b\n\nå,bc,d\n\"x\ny\",z");
        assert_eq!(rows[1].line, 3);
        assert_eq!(rows[1].cells.iter().map(|cell| cell.column).collect::<Vec<_>>(), [1, 3, 6]);
        assert_eq!(rows[2].line, 4);
        assert!(!rows[2].unclosed);
    }

    #[test]
    fn an_open_quote_ends_with_its_line_and_takes_no_later_row() {
        let rows = rows(
            "date,note\n2026-03-02,\"x,y\n2026-03-04,z\n2026-03-06,\"two\nlines\"\n2026-03-08,\"w\n\nv\n",
        );
        let read: Vec<(Vec<&str>, bool)> = rows[1..]
            .iter()
            .map(|row| (row.cells.iter().map(|cell| cell.text.as_str()).collect(), row.unclosed))
            .collect();
        let expected = [
            (vec!["2026-03-02", "x,y"], true),
            (vec!["2026-03-04", "z"], false),
            (vec!["2026-03-06", "two\nlines"], false),
            (vec!["2026-03-08", "w"], true),
            (vec!["v"], false),
        ];
        assert_eq!(read, expected);
    }

    #[test]
    fn spans_are_the_bytes_as_they_stand() {
        let text = "\u{feff}a;\"b; \r\nå\" ;c\r\n\nx;;y";
        let raw = |row: &Row| row.cells.iter().map(|c| text[c.span.clone()].to_owned()).collect::<Vec<_>>();
        let rows = rows(text);
        assert_eq!(raw(&rows[0]), ["a", "\"b; \r\nå\" ", "c"]);
        assert_eq!(raw(&rows[1]), ["x", "", "y"]);
    }

    proptest! {
        #[test]
        fn what_is_quoted_comes_back(cells in prop::collection::vec("[a-z,;\"\n]{0,6}", 1..5)) {
            let quoted: Vec<String> = cells.iter().map(|c| format!("\"{}\"", c.replace('"', "\"\""))).collect();
            let text = format!("a,b,c,d,e,f\n{}", quoted.join(","));
            let expected: Vec<String> = cells.iter().map(|c| c.trim().to_owned()).collect();
            prop_assert_eq!(&texts(&text)[1], &expected);
        }

        #[test]
        fn any_text_is_split_without_panic(text in "[\\PC\n\"]{0,80}") {
            rows(&text);
        }
    }
}
