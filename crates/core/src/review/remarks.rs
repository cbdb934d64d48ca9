//! Remarks on a table of a case: the first ones, and how many more there are.

use jogaudit_recording::notice::{Notice, NoticeCode};

use crate::prescription::MOST_FAULTS;

/// Remarks on one table. As of the mistakes of a plan, the first [`MOST_FAULTS`] are said: a table that is damaged as a whole has one
/// in each of its lines.
pub(super) struct Remarks {
    file: &'static str,
    said: Vec<Notice>,
    /// The code of the first one that is not said, and how many are not.
    more: Option<(NoticeCode, usize)>,
}

impl Remarks {
    pub(super) const fn on(file: &'static str) -> Self {
        Self { file, said: Vec::new(), more: None }
    }

    /// Remarks on what stands in a line, at a column, both counted from 1.
    pub(super) fn at(&mut self, code: NoticeCode, line: usize, column: usize, what: &str) {
        self.say(code, &format!(", line {line}, column {column}: {what}"));
    }

    /// Remarks on the table; what is said goes on after the name of the file.
    pub(super) fn say(&mut self, code: NoticeCode, what: &str) {
        if self.said.len() < MOST_FAULTS {
            self.said.push(Notice::new(code, format!("{}{what}.", self.file)));
        } else {
            self.more.get_or_insert((code, 0)).1 += 1;
        }
    }

    /// All that is said.
    pub(super) fn notices(mut self) -> Vec<Notice> {
        if let Some((code, more)) = self.more {
            let text = format!("{}: {more} more remarks are left out; mend these first.", self.file);
            self.said.push(Notice::new(code, text));
        }
        self.said
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_remarks_are_said_and_the_rest_is_counted() {
        let said = |lines: usize| {
            let mut remarks = Remarks::on("diary.csv");
            (1..=lines).for_each(|line| remarks.at(NoticeCode::DiaryLine, line, 1, "there is no date"));
            remarks.notices()
        };
        assert_eq!(said(MOST_FAULTS).len(), MOST_FAULTS);
        let many = said(MOST_FAULTS + 7);
        assert_eq!(many.len(), MOST_FAULTS + 1);
        assert_eq!(many[0].text, "diary.csv, line 1, column 1: there is no date.");
        assert_eq!(many[MOST_FAULTS].text, "diary.csv: 7 more remarks are left out; mend these first.");
        assert_eq!(many[MOST_FAULTS].code, NoticeCode::DiaryLine);
    }
}
