//! The mark between the cells of a table that people write.

/// Gives the one of `,`, `;` and tab that is most frequent in the first line that is not blank; a comma where they are
/// equally so. A byte order mark is none of the line. Spreadsheets of many countries write semicolons, since a comma is their decimal sign.
pub fn separator(text: &str) -> char {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text.lines().find(|line| !line.trim().is_empty()).unwrap_or("");
    let count = |mark: char| first.matches(mark).count();
    [',', ';', '\t'].into_iter().rev().max_by_key(|mark| count(*mark)).unwrap_or(',')
}

#[cfg(test)]
mod tests {
    use super::separator;

    #[test]
    fn the_most_frequent_mark_of_the_first_line() {
        assert_eq!(separator("\n path;plan;note, if any\na,b,c,d;e"), ';');
        assert_eq!(separator("date\tpain"), '\t');
        assert_eq!(separator("a,b;c"), ',');
        assert_eq!(separator(""), ',');
        assert_eq!(separator("\u{feff}\t\t\na,b"), ',');
    }
}
