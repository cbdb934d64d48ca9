//! `stages.csv` → [`Given`]: which stage a session was, where somebody says so.

use jiff::civil::Date;

use crate::prescription::Plan;
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::csv;
use super::diary::shown;
use super::unread::Unread;

/// What a line of `stages.csv` is about.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Which {
    Day(Date),
    Recording(String),
}

/// What a line says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Said {
    /// The stage's index.
    Stage(usize),
    /// No session of the plan.
    NoSession,
}

/// The stages that were given, by recording or by day.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Given {
    lines: Vec<(Which, Said)>,
    unread: Unread,
}

impl Given {
    /// A `stages.csv` that is there and cannot be read.
    pub fn unreadable() -> Self {
        Self { lines: Vec::new(), unread: Unread::Whole }
    }

    /// How much of `stages.csv` could not be read.
    pub(super) fn unread(&self) -> Unread {
        self.unread
    }

    /// Reads `stages.csv`: two columns, a recording's path inside `recordings/` or a day, and a stage's name, or `-`
    /// for a recording that is no session of the plan. What cannot be used is said with line and column.
    pub fn parse(text: &str, plan: &Plan) -> Noted<Self> {
        let mut notices = Vec::new();
        let mut say = |line: usize, column: usize, what: String| {
            notices.push(Notice::new(
                NoticeCode::StagesLine,
                format!("stages.csv, line {line}, column {column}: {what}; the line is left out."),
            ));
        };
        let mut lines = Vec::new();
        for (index, row) in csv::rows(text).iter().enumerate() {
            if row.cells.iter().all(|cell| cell.text.is_empty()) {
                continue;
            }
            if row.unclosed {
                say(row.line, 1, "a quote is opened and not closed".to_owned());
                continue;
            }
            let (Some(which), Some(stage)) = (row.cell(0), row.cell(1)) else {
                say(row.line, 1, "expected a recording or a day, a comma and a stage".to_owned());
                continue;
            };
            let place = plan.stages.iter().position(|known| known.name == stage.text);
            let is_head = index == 0 && place.is_none() && stage.text.eq_ignore_ascii_case("stage");
            if is_head {
                continue;
            }
            if place.is_none() && stage.text != "-" {
                say(row.line, stage.column, no_stage(plan, &stage.text));
                continue;
            }
            let which = match which.text.parse::<Date>() {
                Ok(date) => Which::Day(date),
                Err(_) => Which::Recording(which.text.replace('\\', "/")),
            };
            lines.push((which, place.map_or(Said::NoSession, Said::Stage)));
        }
        let unread = Unread::of(!notices.is_empty(), !lines.is_empty());
        Noted { value: Self { lines, unread }, notices }
    }

    /// What was said of a recording: the last line about it, else the last line about its day.
    pub(super) fn of(&self, name: &str, date: Date) -> Option<Said> {
        let find = |wanted: &dyn Fn(&Which) -> bool| self.lines.iter().rev().find(|(which, _)| wanted(which));
        let by_name = find(&|which| matches!(which, Which::Recording(path) if path == name));
        by_name.or_else(|| find(&|which| *which == Which::Day(date))).map(|(_, said)| *said)
    }

    /// The lines that are about no recording of the case.
    pub(super) fn unused(&self, recordings: &[(String, Date)]) -> Vec<Notice> {
        let used = |which: &Which| match which {
            Which::Day(date) => recordings.iter().any(|(_, day)| day == date),
            Which::Recording(path) => recordings.iter().any(|(name, _)| name == path),
        };
        let name = |which: &Which| match which {
            Which::Day(date) => date.to_string(),
            Which::Recording(path) => path.clone(),
        };
        let text = |which: &Which| format!("stages.csv names {}, and no recording is that.", name(which));
        let unused = self.lines.iter().filter(|(which, _)| !used(which));
        unused.map(|(which, _)| Notice::new(NoticeCode::StagesUnused, text(which))).collect()
    }
}

/// Says that a name is no stage or, where it is one of several kinds of session, what they are called.
fn no_stage(plan: &Plan, name: &str) -> String {
    let kinds: Vec<String> = plan
        .stages
        .iter()
        .filter(|stage| stage.kind.is_some() && stage.stage_name() == name)
        .map(|stage| format!("`{}`", shown(&stage.name)))
        .collect();
    if kinds.is_empty() {
        return format!("the plan has no stage `{}`", shown(name));
    }
    format!("stage `{}` has several kinds of session: say {}", shown(name), kinds.join(" or "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan() -> Plan {
        let stages = ["1", "2"].map(|n| format!("[[stage]]\nname = '{n}'\nsession = 'run {n}0:00'\n"));
        Plan::parse(&stages.concat()).unwrap().value
    }

    #[test]
    fn a_recording_stands_before_its_day_and_the_last_line_before_earlier_ones() {
        let text = "recording,stage\n2026-03-02,1\nweek1/a.fit,2\n2026-03-04,1\n2026-03-04,2\nwalk.gpx,-\n";
        let given = Given::parse(text, &plan());
        assert!(given.notices.is_empty());
        let of = |name: &str, day: &str| given.value.of(name, day.parse().unwrap());
        assert_eq!(of("week1/a.fit", "2026-03-02"), Some(Said::Stage(1)));
        assert_eq!(of("b.fit", "2026-03-02"), Some(Said::Stage(0)));
        assert_eq!(of("b.fit", "2026-03-04"), Some(Said::Stage(1)));
        assert_eq!(of("walk.gpx", "2026-03-09"), Some(Said::NoSession));
        assert_eq!(of("b.fit", "2026-03-09"), None);
        let unused = given.value.unused(&[("week1/a.fit".into(), "2026-03-02".parse().unwrap())]);
        assert_eq!(unused.len(), 3);
    }

    #[test]
    fn what_cannot_be_used_is_said_where_it_stands() {
        let given = Given::parse("a.fit,9\njust one\nb.fit,2\n", &plan());
        let said: Vec<&str> = given.notices.iter().map(|n| n.text.as_str()).collect();
        assert!(said[0].contains("line 1, column 7") && said[0].contains("no stage `9`"), "{said:?}");
        assert!(said[1].contains("line 2, column 1"), "{said:?}");
        assert_eq!(given.value.of("b.fit", "2026-03-02".parse().unwrap()), Some(Said::Stage(1)));
    }
}
