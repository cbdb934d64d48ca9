//! `seen.csv` → [`Seen`]: days on which a clinician saw the runner and let them go on.

use jiff::civil::Date;

use crate::prescription::Plan;
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::csv;
use super::diary::shown;

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
}

impl Seen {
    /// Reads `seen.csv`: the columns date, by, stage and note, in this order where the first line does not name them. A line that
    /// cannot be used is left out and said with line and column, so that what lies before that day goes on to rule. Days after
    /// `as_of` have not come yet and are left out.
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
        let named = |name: &&str| {
            let head = rows.first()?;
            head.cells.iter().rposition(|cell| cell.text.eq_ignore_ascii_case(name))
        };
        let found: Vec<Option<usize>> = COLUMNS.iter().map(named).collect();
        let has_head = found.first().is_some_and(Option::is_some);
        let columns: [Option<usize>; COLUMNS.len()] =
            std::array::from_fn(|at| if has_head { found[at] } else { Some(at) });
        let mut notices = Vec::new();
        let mut visits = Vec::new();
        for row in rows.iter().skip(usize::from(has_head)) {
            if row.cells.iter().all(|cell| cell.text.is_empty()) {
                continue;
            }
            match visit(row, columns, plan) {
                Ok(visit) if visit.date <= as_of => visits.push(visit),
                Ok(_) => {}
                Err((column, what)) => notices.push(Notice::new(
                    NoticeCode::SeenLine,
                    format!("seen.csv, line {}, column {column}: {what}; the line is left out.", row.line),
                )),
            }
        }
        visits.sort_by_key(|visit: &Visit| visit.date);
        Noted { value: Self { visits }, notices }
    }

    /// The visits, in order of their days.
    pub fn visits(&self) -> &[Visit] {
        &self.visits
    }

    /// Those that lie after a day, or all, and not after another.
    pub(super) fn between(&self, after: Option<Date>, until: Date) -> impl Iterator<Item = &Visit> {
        let lies_between =
            move |visit: &&Visit| after.is_none_or(|after| visit.date > after) && visit.date <= until;
        self.visits.iter().filter(lies_between)
    }

    /// The last one.
    pub fn last(&self) -> Option<&Visit> {
        self.visits.last()
    }
}

/// The visit of a row, or the column of what is wrong and what it is.
fn visit(
    row: &csv::Row,
    columns: [Option<usize>; COLUMNS.len()],
    plan: &Plan,
) -> Result<Visit, (usize, String)> {
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
        assert_eq!(seen.value, Seen::default());
    }
}
