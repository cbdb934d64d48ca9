//! `stages.csv` → [`Given`]: which stage a session was, where somebody says so.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;

use jiff::civil::Date;

use crate::prescription::Plan;
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::csv;
use super::diary::shown;
use super::remarks::Remarks;
use super::unread::Unread;

/// What a line says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Said {
    /// The stage's index.
    Stage(usize),
    /// No session of the plan.
    NoSession,
}

/// The stages that were given, by recording or by day. Of several lines about one the last counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Given {
    recordings: BTreeMap<String, Said>,
    days: BTreeMap<Date, Said>,
    unread: Unread,
}

impl Given {
    /// A `stages.csv` that is there and cannot be read.
    pub fn unreadable() -> Self {
        Self { unread: Unread::Whole, ..Self::default() }
    }

    /// How much of `stages.csv` could not be read.
    pub(super) fn unread(&self) -> Unread {
        self.unread
    }

    /// Reads `stages.csv`: two columns, a recording's path inside `recordings/` or a day, and a stage's name, or `-`
    /// for a recording that is no session of the plan. What cannot be used is said with line and column.
    pub fn parse(text: &str, plan: &Plan) -> Noted<Self> {
        let mut remarks = Remarks::on("stages.csv");
        let mut has_lost = false;
        let mut say = |line: usize, column: usize, what: String| {
            has_lost = true;
            remarks.at(NoticeCode::StagesLine, line, column, &format!("{what}; the line is left out"));
        };
        let mut given = Self::default();
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
            let said = place.map_or(Said::NoSession, Said::Stage);
            match which.text.parse::<Date>() {
                Ok(date) => given.days.insert(date, said),
                Err(_) => given.recordings.insert(which.text.replace('\\', "/"), said),
            };
        }
        given.unread = Unread::of(has_lost, !(given.days.is_empty() && given.recordings.is_empty()));
        Noted { value: given, notices: remarks.notices() }
    }

    /// What was said of a recording: the last line about it, else the last line about its day.
    pub(super) fn of(&self, name: &str, date: Date) -> Option<Said> {
        self.recordings.get(name).or_else(|| self.days.get(&date)).copied()
    }

    /// Says what is about no recording of the case.
    pub(super) fn unused(&self, recordings: &[(String, Date)]) -> Vec<Notice> {
        let names: BTreeSet<&str> = recordings.iter().map(|(name, _)| name.as_str()).collect();
        let days: BTreeSet<Date> = recordings.iter().map(|(_, day)| *day).collect();
        let mut remarks = Remarks::on("stages.csv");
        let mut say = |what: &dyn Display| {
            remarks.say(NoticeCode::StagesUnused, &format!(" names {what}, and no recording is that"));
        };
        self.days.keys().filter(|day| !days.contains(day)).for_each(|day| say(day));
        self.recordings.keys().filter(|name| !names.contains(name.as_str())).for_each(|name| say(name));
        remarks.notices()
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
        assert_eq!(unused.len(), 2, "a day that is named twice is said once");
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
