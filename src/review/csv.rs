//! Rows of a small table in text: comma, semicolon or tab between cells, quotes after RFC 4180.

/// A cell and the column of its first character, counted from 1 in characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) text: String,
    pub(super) column: usize,
}

/// A row that is not blank.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row {
    /// Line of its first character, counted from 1.
    pub(super) line: usize,
    pub(super) cells: Vec<Cell>,
    /// A quote was opened and never closed: the cells after it are lost.
    pub(super) unclosed: bool,
}

impl Row {
    /// The text of a cell without spaces at its ends; nothing when it is blank or not there.
    pub(super) fn cell(&self, index: usize) -> Option<&Cell> {
        self.cells.get(index).filter(|cell| !cell.text.is_empty())
    }
}

/// Splits a text into rows. Blank lines are left out; a byte order mark is skipped. The separator is the one of
/// `,`, `;` and tab that is most frequent in the first line that is not blank.
pub(super) fn rows(text: &str) -> Vec<Row> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text.lines().find(|line| !line.trim().is_empty()).unwrap_or("");
    let count = |mark: char| first.matches(mark).count();
    let separator = [',', ';', '\t'].into_iter().rev().max_by_key(|mark| count(*mark)).unwrap_or(',');
    let mut rows = Vec::new();
    let mut lines = text.split('\n').enumerate();
    while let Some((index, line)) = lines.next() {
        let line = line.trim_end_matches('\r');
        if line.trim().is_empty() {
            continue;
        }
        rows.push(row(index + 1, line, separator, &mut lines));
    }
    rows
}

/// Reads one row, taking further lines for a quote that goes on.
fn row<'t>(
    number: usize,
    line: &'t str,
    separator: char,
    more: &mut impl Iterator<Item = (usize, &'t str)>,
) -> Row {
    let mut cells = vec![Cell { text: String::new(), column: 1 }];
    let (mut quoted, mut unclosed) = (false, false);
    let mut line = line;
    loop {
        let mut characters = line.chars().enumerate().peekable();
        while let Some((at, c)) = characters.next() {
            let Some(cell) = cells.last_mut() else { break };
            match c {
                '"' if quoted && characters.next_if(|(_, next)| *next == '"').is_some() => {
                    cell.text.push('"');
                }
                '"' if quoted => quoted = false,
                '"' if cell.text.trim().is_empty() => {
                    cell.text.clear();
                    quoted = true;
                }
                _ if c == separator && !quoted => {
                    cells.push(Cell { text: String::new(), column: at + 2 });
                }
                _ => cell.text.push(c),
            }
        }
        if !quoted {
            break;
        }
        let Some((_, next)) = more.next() else {
            unclosed = true;
            break;
        };
        if let Some(cell) = cells.last_mut() {
            cell.text.push('\n');
        }
        line = next.trim_end_matches('\r');
    }
    for cell in &mut cells {
        cell.text = cell.text.trim().to_owned();
    }
    Row { line: number, cells, unclosed }
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
        assert!(super::rows("a,b\n\"x,y\nz").last().is_some_and(|row| row.unclosed));
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
