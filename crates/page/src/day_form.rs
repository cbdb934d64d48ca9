//! The form of a day of the diary: what it was made from, and what its fields hold.

use jiff::civil::Date;

use jogaudit_core::review::{DayCells, Pattern, score};

use super::refusal::Refusal;

/// The form of a day: what it was made from, and what stands in its fields.
pub(super) struct DayForm {
    pub(super) date: Date,
    /// The cells of the diary from which it was made.
    pub(super) stands: DayCells,
    /// What the fields hold.
    pub(super) fields: DayCells,
    /// What somebody wanted to write when the line had changed meanwhile.
    pub(super) conflict: Option<DayCells>,
}

/// The columns of the diary as a form calls them, in their order.
pub(super) const FIELDS: [&str; 5] = ["pain_during", "pain_pattern", "pain_next_morning", "effort", "note"];
/// Which of them hold a number, and which one a pattern of pain.
const SCORES: [usize; 3] = [0, 2, 3];
pub(super) const PATTERN: usize = 1;
pub(super) const NOTE: usize = 4;
/// Letters of a note that a form takes, our choice: some ten lines.
pub(super) const MOST_NOTE: usize = 500;

/// What a field of the form holds for a cell: nothing where the cell cannot be read.
pub(super) fn field_of(column: usize, cell: &str) -> String {
    if SCORES.contains(&column) {
        score(cell).map(|number| number.to_string()).unwrap_or_default()
    } else if column == PATTERN {
        in_the_files_words(&Pattern::read_all(cell).unwrap_or_default())
    } else {
        one_line(cell)
    }
}

/// Patterns of pain as the diary has them.
fn in_the_files_words(patterns: &[Pattern]) -> String {
    patterns.iter().map(|pattern| pattern.word()).collect::<Vec<_>>().join(" ")
}

/// A field takes one line.
pub(super) fn one_line(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    plain.trim().to_owned()
}

/// The day that a form or an address names.
pub(super) fn date_of(text: &str) -> Result<Date, Refusal> {
    text.parse().map_err(|_| Refusal::new(422, "that is no date", "write the day such as 2026-03-02"))
}
