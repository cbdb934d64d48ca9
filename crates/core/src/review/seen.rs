//! `seen.csv` → [`Seen`]: days on which a clinician saw the runner and let them go on.

use jiff::civil::Date;

use crate::prescription::Plan;
use jogaudit_recording::notice::{Noted, NoticeCode};

use super::csv;
use super::diary::shown;
use super::remarks::Remarks;
use super::unread::Unread;

pub(super) const COLUMNS: [&str; 4] = ["date", "by", "stage", "note"];

/// A clinician saw the runner and let them go on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// The day.
    pub date: Date,
    /// Who saw the runner; may be empty.
    pub by: String,
    /// The stage to go on from, by index; `None`: the one the runner was at.
    pub stage: Option<usize>,
    /// Free words.
    pub note: String,
}

/// The visits, in order of their days.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    visits: Vec<Visit>,
    unread: Unread,
}

impl Seen {
    /// A `seen.csv` that is there and cannot be read.
    pub fn unreadable() -> Self {
        Self { visits: Vec::new(), unread: Unread::Whole }
    }

    /// How much of `seen.csv` could not be read: it may say to go back.
    pub(super) fn unread(&self) -> Unread {
        self.unread
    }

    /// Reads `seen.csv`: the columns date, by, stage and note, in this order where the first line does not name them. A line that
    /// cannot be used is left out and said with line and column; it is not taken for nothing. Days after `as_of`
    /// have not come yet and are left out.
    ///
    /// # Example
    /// ```
    /// use jogaudit_core::{prescription::Plan, review::Seen};
    /// let plan = Plan::parse("[[stage]]\nname = '1'\nsession = 'run 5:00'")?.value;
    /// let text = "date,by,stage,note\n2026-03-20,R. Lunde,1,calf is calm again\n";
    /// let seen = Seen::parse(text, &plan, "2026-03-24".parse()?);
    /// assert_eq!(seen.value.last().and_then(|visit| visit.stage), Some(0));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn parse(text: &str, plan: &Plan, as_of: Date) -> Noted<Self> {
        let rows = csv::rows(text);
        let (places, has_head) = csv::places(&rows, &COLUMNS);
        let columns = std::array::from_fn(|at| places[at]);
        let mut remarks = Remarks::on("seen.csv");
        let head = rows.first().filter(|_| has_head);
        if let Some((column, what)) = head.and_then(|head| fault_of_head(head, columns)) {
            remarks.at(NoticeCode::SeenLine, 1, column, &what);
            return Noted { value: Self::unreadable(), notices: remarks.notices() };
        }
        let mut visits = Vec::new();
        let (mut has_lost, mut has_read) = (false, false);
        for row in rows.iter().skip(usize::from(has_head)) {
            if row.cells.iter().all(|cell| cell.text.is_empty()) {
                continue;
            }
            match visit(row, columns, plan) {
                Ok(visit) => {
                    has_read = true;
                    if visit.date <= as_of {
                        visits.push(visit);
                    }
                }
                Err((column, what)) => {
                    has_lost = true;
                    let what = format!("{what}; the line is left out");
                    remarks.at(NoticeCode::SeenLine, row.line, column, &what);
                }
            }
        }
        visits.sort_by_key(|visit: &Visit| visit.date);
        let value = Self { visits, unread: Unread::of(has_lost, has_read) };
        Noted { value, notices: remarks.notices() }
    }

    /// The visits, in order of their days.
    pub fn visits(&self) -> &[Visit] {
        &self.visits
    }

    /// The visits, to be taken in turn.
    pub(super) fn in_turn(&self) -> InTurn<'_> {
        InTurn(&self.visits)
    }

    /// The last one.
    pub fn last(&self) -> Option<&Visit> {
        self.visits.last()
    }
}

/// Visits that are taken in turn, each once.
pub(super) struct InTurn<'s>(&'s [Visit]);

impl<'s> InTurn<'s> {
    /// Those up to a day that were not given yet.
    pub(super) fn until(&mut self, day: Date) -> &'s [Visit] {
        let (due, rest) = self.0.split_at(self.0.partition_point(|visit| visit.date <= day));
        self.0 = rest;
        due
    }
}

/// Columns by their place; nothing where there is none.
type Places = [Option<usize>; COLUMNS.len()];

/// The column of what is wrong with a header, and what it is. A column of an unknown name may be the stage.
fn fault_of_head(head: &csv::Row, [date, _, stage, _]: Places) -> Option<(usize, String)> {
    if date.is_none() {
        return Some((1, "there is no column `date`, so no line can be used".to_owned()));
    }
    let is_known = |cell: &csv::Cell| COLUMNS.iter().any(|name| cell.text.eq_ignore_ascii_case(name));
    let unknown = head.cells.iter().find(|cell| !cell.text.is_empty() && !is_known(cell));
    let cell = unknown.filter(|_| stage.is_none())?;
    let what = format!(
        "there is no column `stage`, and `{}` may be one, so no line can be used; name it stage, or take it away",
        shown(&cell.text)
    );
    Some((cell.column, what))
}

/// The visit of a row, or the column of what is wrong and what it is.
fn visit(row: &csv::Row, columns: Places, plan: &Plan) -> Result<Visit, (usize, String)> {
    if row.unclosed {
        return Err((1, "a quote is opened and not closed".to_owned()));
    }
    let [date, by, stage, note] = columns.map(|at| at.and_then(|at| row.cell(at)));
    let Some(date) = date else { return Err((1, "there is no date".to_owned())) };
    let day = date.text.parse::<Date>().map_err(|_| {
        let what = format!("expected a date such as 2026-03-02, found `{}`", shown(&date.text));
        (date.column, what)
    })?;
    let place = |cell: &csv::Cell| {
        let is_it =
            |stage: &crate::prescription::Stage| stage.name == cell.text || stage.stage_name() == cell.text;
        let unknown = || (cell.column, format!("the plan has no stage `{}`", shown(&cell.text)));
        plan.stages.iter().position(is_it).ok_or_else(unknown)
    };
    let words = |cell: Option<&csv::Cell>| cell.map(|cell| cell.text.clone()).unwrap_or_default();
    Ok(Visit { date: day, by: words(by), stage: stage.map(place).transpose()?, note: words(note) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Noted<Seen> {
        let stages = ["1", "2"].map(|n| format!("[[stage]]\nname = '{n}'\nsession = 'run {n}0:00'\n"));
        let plan = Plan::parse(&stages.concat()).unwrap().value;
        Seen::parse(text, &plan, "2026-04-01".parse().unwrap())
    }

    #[test]
    fn visits_stand_in_order_and_later_ones_have_not_come_yet() {
        let text = "note;date;stage;by\nfine;2026-03-20;2;R. Lunde\n;2026-03-02;;\nx;2026-04-02;1;y\n";
        let seen = read(text);
        assert!(seen.notices.is_empty());
        let visits: Vec<_> =
            seen.value.visits().iter().map(|v| (v.date.to_string(), v.by.as_str(), v.stage)).collect();
        assert_eq!(
            visits,
            [("2026-03-02".to_owned(), "", None), ("2026-03-20".to_owned(), "R. Lunde", Some(1))]
        );
        assert_eq!(read("2026-03-20,R. Lunde\n").value.last().map(|v| v.by.clone()), Some("R. Lunde".into()));
    }

    #[test]
    fn a_line_that_cannot_be_used_is_said_where_it_stands_and_lets_nobody_go_on() {
        let seen = read("date,by,stage\n2026-03-20,x,9\nsoon,x,1\n,x,1\n2026-03-21,\"x,1\n");
        let said: Vec<&str> = seen.notices.iter().map(|notice| notice.text.as_str()).collect();
        let places = ["line 2, column 14", "line 3, column 1", "line 4, column 1", "line 5, column 1"];
        assert_eq!(said.len(), places.len(), "{said:?}");
        assert!(said.iter().zip(places).all(|(said, place)| said.contains(place)), "{said:?}");
        assert_eq!((seen.value.visits(), seen.value.unread()), (&[][..], Unread::Whole));
        let seen = read("date,by,stage\n2026-03-20,x,9\n2026-03-21,x,1\n");
        assert_eq!((seen.value.visits().len(), seen.value.unread()), (1, Unread::Lines));
    }

    #[test]
    fn a_header_that_may_hide_the_stage_lets_no_line_be_used() {
        for (head, place) in [("date,by,stage name,note", "column 9"), ("by,stage", "column 1")] {
            let seen = read(&format!("{head}\n2026-03-20,x,1,y\n"));
            assert!(seen.notices[0].text.contains(place), "{:?}", seen.notices);
            assert_eq!(seen.value, Seen::unreadable());
        }
        assert_eq!(read("date,by\n2026-03-20,x\n").value.visits().len(), 1);
    }
}
