//! The days of a plan's sessions.
//!
//! A session has a day, not an hour, so no change of the clock moves one: days are counted in the plan's time zone where a
//! moment has to be told a day.

use jiff::ToSpan;
use jiff::civil::{Date, Weekday};

use super::{Limits, Plan, Stage};

/// Days without a session between two where a plan does not say: published programmes never run on consecutive days
/// (University of Delaware progression, Ann Joint 2018;3:40, table 4; Trials 2023, doi 10.1186/s13063-023-07502-x, table 1).
pub const LEAST_REST_DAYS: u32 = 1;
/// Days that are looked through for the next session: more than the longest rest with a full week.
const MOST_DAYS: usize = 28;

/// A session of a plan with its day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DatedSession {
    /// Its day.
    pub date: Date,
    /// Its stage, by index.
    pub stage: usize,
    /// Which session of the stage, from 1.
    pub number: u32,
}

/// Where a calendar begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CalendarStart {
    /// The first day on which a session can be.
    pub date: Date,
    /// Its stage, by index.
    pub stage: usize,
    /// Which session of the stage is next, from 1.
    pub number: u32,
    /// Sessions done already in the week of that day.
    pub in_week: u32,
}

/// The sessions of a plan one after the other, each on the first day that its weekdays, the sessions of a week and the days of
/// rest leave, as if every session were kept.
#[derive(Clone, Debug)]
pub struct Calendar<'a> {
    plan: &'a Plan,
    at: CalendarStart,
    /// Whether a session was given already: the first is of the kind that it begins with, the others in turn.
    has_begun: bool,
}

/// The Monday of the week (ISO 8601: weeks run from Monday to Sunday).
pub(crate) fn monday(date: Date) -> Date {
    let days = i64::from(date.weekday().since(Weekday::Monday));
    date.checked_sub(days.days()).unwrap_or(Date::MIN)
}

/// The fewest days between two of the weekdays, week after week; `None` without any.
pub(super) fn least_between(weekdays: &[Weekday]) -> Option<u32> {
    let gaps = (0..weekdays.len()).map(|at| {
        let (day, next) = (weekdays[at], weekdays[(at + 1) % weekdays.len()]);
        let apart = i64::from(next.since(day));
        // One weekday alone comes back after a week.
        u32::try_from(if apart == 0 { 7 } else { apart } - 1).unwrap_or(0)
    });
    gaps.min()
}

impl Limits {
    /// Days of rest before the next session: the plan's, one where it does not say; none only by a clinician's word.
    pub fn rest_days_held(&self) -> u32 {
        let least = if self.clinician_override.is_some() { 0 } else { LEAST_REST_DAYS };
        self.rest_days_between.map_or(LEAST_REST_DAYS, |days| days.max(least))
    }
}

impl Plan {
    /// Whether its sessions have days.
    pub fn is_dated(&self) -> bool {
        self.start.is_some() || !self.weekdays.is_empty()
    }

    /// The sessions from a place of the plan on.
    pub const fn calendar_from(&self, at: CalendarStart) -> Calendar<'_> {
        Calendar { plan: self, at, has_begun: false }
    }

    /// All its sessions from its first day on; `None` where it has none.
    pub fn calendar(&self) -> Option<Calendar<'_>> {
        let date = self.start?;
        Some(self.calendar_from(CalendarStart { date, stage: 0, number: 1, in_week: 0 }))
    }

    fn is_meant(&self, date: Date) -> bool {
        self.weekdays.is_empty() || self.weekdays.contains(&date.weekday())
    }
}

impl Calendar<'_> {
    fn move_to(&mut self, date: Date) {
        if monday(date) != monday(self.at.date) {
            self.at.in_week = 0;
        }
        self.at.date = date;
    }

    /// Goes to the first day that is left for a session of this stage.
    fn find_day(&mut self, stage: &Stage) -> Option<Date> {
        for _ in 0..MOST_DAYS {
            let date = self.at.date;
            if self.plan.is_meant(date) && self.at.in_week < stage.weekly_sessions() {
                return Some(date);
            }
            self.move_to(date.tomorrow().ok()?);
        }
        None
    }
}

impl Iterator for Calendar<'_> {
    type Item = DatedSession;

    fn next(&mut self) -> Option<DatedSession> {
        let plan = self.plan;
        let stage = plan.stages.get(self.at.stage)?;
        let date = self.find_day(stage)?;
        let kinds = plan.kinds_at(stage.place);
        if self.has_begun && kinds.len() > 1 {
            let turn = plan.in_turn(kinds.clone());
            let at = turn.get(self.at.in_week as usize % turn.len().max(1));
            self.at.stage = at.copied().unwrap_or(kinds.start);
        }
        self.has_begun = true;
        let session = DatedSession { date, stage: self.at.stage, number: self.at.number };
        self.at.number += 1;
        if self.at.number > stage.planned_sessions() {
            (self.at.stage, self.at.number) = (kinds.end, 1);
        }
        self.at.in_week += 1;
        let apart = i64::from(stage.limits.rest_days_held()) + 1;
        // The last day that there is ends the calendar.
        match date.checked_add(apart.days()) {
            Ok(next) => self.move_to(next),
            Err(_) => self.at.stage = plan.stages.len(),
        }
        Some(session)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(head: &str, stages: &[(u32, &str)]) -> Vec<String> {
        let stages: Vec<String> = stages
            .iter()
            .enumerate()
            .map(|(n, (sessions, limits))| {
                format!(
                    "[[stage]]\nname = '{}'\nsession = 'run 9:10'\nsessions = {sessions}\n{limits}\n",
                    n + 1
                )
            })
            .collect();
        let plan = Plan::parse(&format!("{head}\n{}", stages.concat())).unwrap().value;
        let told = |s: DatedSession| {
            format!("{} {}/{}", s.date.strftime("%a %m-%d"), plan.stages[s.stage].name, s.number)
        };
        plan.calendar().unwrap().map(told).collect()
    }

    #[test]
    fn sessions_stand_on_their_weekdays_and_keep_the_rest_and_the_weeks() {
        // 2026-03-02 is a Monday.
        let head = "start = 2026-03-02\nweekdays = ['tue', 'thu', 'sun']\n[limits]\nsessions_per_week = 3";
        assert_eq!(
            days(head, &[(2, ""), (3, "")]),
            ["Tue 03-03 1/1", "Thu 03-05 1/2", "Sun 03-08 2/1", "Tue 03-10 2/2", "Thu 03-12 2/3"]
        );
        // Two a week: Sunday is left free. Two days of rest: Tuesday to Thursday is too near.
        let two = "start = 2026-03-02\nweekdays = ['tue', 'thu', 'sun']\n[limits]\nsessions_per_week = 2";
        assert_eq!(days(two, &[(3, "")]), ["Tue 03-03 1/1", "Thu 03-05 1/2", "Tue 03-10 1/3"]);
        assert_eq!(
            days(head, &[(3, "rest_days_between = 2")]),
            ["Tue 03-03 1/1", "Sun 03-08 1/2", "Thu 03-12 1/3"]
        );
    }

    #[test]
    fn without_weekdays_the_rest_and_the_weeks_alone_decide() {
        let head = "start = 2026-03-03\n[limits]\nsessions_per_week = 3\nrest_days_between = 1";
        assert_eq!(
            days(head, &[(5, "")]),
            ["Tue 03-03 1/1", "Thu 03-05 1/2", "Sat 03-07 1/3", "Mon 03-09 1/4", "Wed 03-11 1/5"]
        );
    }

    #[test]
    fn a_change_of_the_clock_moves_no_day() {
        // Europe/Oslo goes to summer time on Sunday 2026-03-29 and back on Sunday 2026-10-25 (IANA data base, rule EU).
        let head = "timezone = 'Europe/Oslo'\nweekdays = ['sun', 'wed']\n[limits]\nsessions_per_week = 2";
        assert_eq!(
            days(&format!("start = 2026-03-25\n{head}"), &[(3, "")]),
            ["Wed 03-25 1/1", "Sun 03-29 1/2", "Wed 04-01 1/3"]
        );
        assert_eq!(
            days(&format!("start = 2026-10-21\n{head}"), &[(3, "")]),
            ["Wed 10-21 1/1", "Sun 10-25 1/2", "Wed 10-28 1/3"]
        );
    }

    #[test]
    fn weekdays_are_as_far_apart_as_the_nearest_two() {
        use Weekday::{Monday, Sunday, Thursday, Tuesday, Wednesday};
        assert_eq!(least_between(&[Tuesday, Thursday, Sunday]), Some(1));
        assert_eq!(least_between(&[Monday, Wednesday, Sunday]), Some(0), "Sunday to Monday");
        assert_eq!(least_between(&[Wednesday]), Some(6));
        assert_eq!(least_between(&[]), None);
    }

    #[test]
    fn the_end_of_time_ends_a_calendar() {
        assert_eq!(days("start = 9999-12-30", &[(3, "")]).len(), 1);
    }
}
