//! The days of a plan's sessions.
//!
//! A session has a day, not an hour, so no change of the clock moves one: days are counted in the plan's time zone where a
//! moment has to be told a day.

use jiff::ToSpan;
use jiff::civil::{Date, Weekday};

use super::weeks::Filling;
use super::{Limits, Plan};

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
    /// Which session of the stage, of all its kinds, from 1.
    pub number: u32,
    /// Sessions of its own kind kept before it: how far a count has risen.
    pub kept: u32,
}

/// Where a calendar begins.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CalendarStart {
    /// The first day on which a session can be.
    pub date: Date,
    /// The kind of its first session, by index.
    pub stage: usize,
    /// Sessions of that stage that are kept already, of all its kinds.
    pub sessions: u32,
    /// Weeks of that stage that are kept already, before the week of that day.
    pub weeks: u32,
    /// For each kind of session of the plan how often it was kept already; none where nothing was.
    pub kept: Vec<u32>,
    /// The week of that day.
    pub week: WeekSoFar,
}

/// What was done already in the week in which a calendar begins.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WeekSoFar {
    /// Sessions with running, of whichever kind.
    pub sessions: u32,
    /// Those of which it is known which kind they were, by index.
    pub known: Vec<usize>,
    /// Those of the stage that were kept, by index.
    pub kept: Vec<usize>,
    /// Whether anything was overdone: the week is kept no more.
    pub is_overdone: bool,
}

impl CalendarStart {
    /// The beginning of a stage, with nothing done yet.
    pub fn fresh(date: Date, stage: usize) -> Self {
        Self { date, stage, sessions: 0, weeks: 0, kept: Vec::new(), week: WeekSoFar::default() }
    }
}

/// The sessions of a plan one after the other, each on the first day that its weekdays, the sessions of a week and the days of
/// rest leave, as if every session were kept. No week has more of one kind of session, or in all, than the plan allows. A stage
/// by weeks takes so many weeks, whatever room they leave; a first week that is begun late counts when it holds what a week
/// asks for.
#[derive(Clone, Debug)]
pub struct Calendar<'a> {
    plan: &'a Plan,
    /// The next day to look at; none after the last that there is.
    date: Option<Date>,
    place: usize,
    /// The kind of session to begin with.
    first: Option<usize>,
    /// Which session of the stage is next, from 1.
    number: u32,
    /// Weeks of the stage that are over.
    weeks: u32,
    /// For each kind of session how often it was kept.
    kept: Vec<u32>,
    week: Filling,
    week_kept: Vec<usize>,
    is_overdone: bool,
    /// Whether the whole week lies in the calendar.
    is_whole: bool,
    /// The session before: its day and the days of rest after it.
    last: Option<(Date, u32)>,
    /// Whether it stays at its stage.
    stays: bool,
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
    pub fn calendar_from(&self, at: CalendarStart) -> Calendar<'_> {
        let place = self.stages.get(at.stage).map_or(self.places(), |stage| stage.place);
        let by_weeks = self.first_at(place).and_then(|stage| stage.weeks);
        let planned = self.planned_sessions(place);
        let mut kept = at.kept;
        kept.resize(self.stages.len(), 0);
        Calendar {
            plan: self,
            date: Some(at.date),
            place,
            first: Some(at.stage),
            number: at.sessions.saturating_add(1).min(if by_weeks.is_some() { u32::MAX } else { planned }),
            weeks: at.weeks.min(by_weeks.map_or(0, |weeks| weeks.saturating_sub(1))),
            kept,
            is_whole: at.date == monday(at.date) && at.week.sessions == 0,
            week: Filling::of_week(at.week.sessions, at.week.known),
            week_kept: at.week.kept,
            is_overdone: at.week.is_overdone,
            last: None,
            stays: false,
        }
    }

    /// All its sessions from its first day on; `None` where it has none.
    pub fn calendar(&self) -> Option<Calendar<'_>> {
        let first = Calendar { first: None, ..self.calendar_from(CalendarStart::fresh(self.start?, 0)) };
        Some(first)
    }

    fn is_meant(&self, date: Date) -> bool {
        self.weekdays.is_empty() || self.weekdays.contains(&date.weekday())
    }
}

impl Calendar<'_> {
    /// The days of sessions as if the stage never ended.
    #[must_use]
    pub fn staying(self) -> Self {
        Self { stays: true, ..self }
    }

    /// Goes to a later day, if there is one.
    fn move_to(&mut self, date: Option<Date>) {
        if let Some((from, to)) = self.date.zip(date)
            && monday(from) != monday(to)
        {
            self.end_week();
        }
        self.date = date;
    }

    fn end_week(&mut self) {
        let kept = |kind: usize| self.week_kept.iter().filter(|kept| **kept == kind).count() as u32;
        let holds = self.is_whole || self.plan.is_week_complete(self.place, kept);
        let counts = holds && !self.week_kept.is_empty() && !self.is_overdone;
        let stage = self.plan.first_at(self.place);
        if let Some(weeks) = stage.and_then(|stage| stage.weeks).filter(|_| counts) {
            self.weeks += 1;
            if self.weeks >= weeks {
                self.end_stage();
            }
        }
        self.week = Filling::default();
        self.week_kept.clear();
        (self.is_overdone, self.is_whole) = (false, true);
    }

    fn end_stage(&mut self) {
        if !self.stays {
            (self.place, self.number, self.weeks) = (self.place + 1, 1, 0);
        }
    }

    /// How many sessions find a day in the rest of the week, from that day on, with so many days of rest between.
    fn days_left(&self, date: Date, rest: u32) -> u32 {
        let days = std::iter::successors(Some(date), |day| day.tomorrow().ok());
        let mut next: Option<Date> = None;
        let mut left = 0;
        for day in days.take_while(|day| monday(*day) == monday(date)) {
            if self.plan.is_meant(day) && next.is_none_or(|next| day >= next) {
                left += 1;
                next = Some(after(day, rest).unwrap_or(Date::MAX));
            }
        }
        left
    }

    /// The kind of session that is meant for that day.
    fn kind_on(&self, date: Date) -> Option<usize> {
        let stage = self.plan.first_at(self.place).filter(|_| self.plan.is_meant(date))?;
        let open = |room| self.plan.next_in_week(self.place, &self.week, room);
        let room = self.days_left(date, stage.limits.rest_days_held());
        let kind =
            self.first.filter(|first| self.plan.has_room(*first, &self.week)).or_else(|| open(room))?;
        let own = self.plan.stages.get(kind)?.limits.rest_days_held();
        let is_rested =
            self.last.is_none_or(|(day, rest)| after(day, rest.max(own)).is_some_and(|next| date >= next));
        is_rested.then_some(kind)
    }

    /// Takes a session into the calendar and goes on to the day after it.
    fn give(&mut self, date: Date, kind: usize) -> DatedSession {
        let kept = self.kept.get(kind).copied().unwrap_or(0);
        let session = DatedSession { date, stage: kind, number: self.number, kept };
        if let Some(kept) = self.kept.get_mut(kind) {
            *kept += 1;
        }
        self.first = None;
        self.week.add(self.plan, kind);
        self.week_kept.push(kind);
        self.number += 1;
        let stage = self.plan.stages.get(kind);
        self.last = Some((date, stage.map_or(LEAST_REST_DAYS, |stage| stage.limits.rest_days_held())));
        let by_weeks = stage.is_some_and(|stage| stage.weeks.is_some());
        let is_last = !by_weeks && self.number > self.plan.planned_sessions(self.place);
        let begins = is_last && !self.stays && self.plan.begins_with_week(self.place + 1);
        self.move_to(if begins { after(monday(date), 6) } else { date.tomorrow().ok() });
        if is_last {
            self.end_stage();
        }
        session
    }
}

/// The first day after so many days of rest; `None` after the last that there is.
fn after(date: Date, rest_days: u32) -> Option<Date> {
    date.checked_add((i64::from(rest_days) + 1).days()).ok()
}

impl Iterator for Calendar<'_> {
    type Item = DatedSession;

    fn next(&mut self) -> Option<DatedSession> {
        for _ in 0..MOST_DAYS {
            let date = self.date?;
            if let Some(kind) = self.kind_on(date) {
                return Some(self.give(date, kind));
            }
            self.move_to(date.tomorrow().ok());
        }
        None
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

    /// Weekday, day and kind of each session of a plan whose stages are written out.
    fn kinds(head: &str, stages: &str) -> Vec<String> {
        let plan = Plan::parse(&format!("{head}\n{stages}")).unwrap().value;
        let told = |s: DatedSession| format!("{} {}", s.date.strftime("%a %m-%d"), plan.stages[s.stage].name);
        plan.calendar().unwrap().map(told).collect()
    }

    const MIXED: &str = "
[[stage]]
name = '5'
weeks = 1
[[stage.session]]
name = 'long'
do = 'run 18:20'
a_week = 1
[[stage.session]]
name = 'short'
do = 'run 9:10'
a_week = '1 to 2'
[[stage]]
name = '6'
session = 'run 24:00'
sessions = 1
";

    #[test]
    fn a_kind_is_never_more_often_in_a_week_than_its_most() {
        // The week allows four; the kinds add up to three at most.
        let head = "start = 2026-03-02\n[limits]\nsessions_per_week = 4\nrest_days_between = 1";
        assert_eq!(
            kinds(head, MIXED),
            ["Mon 03-02 5/long", "Wed 03-04 5/short", "Fri 03-06 5/short", "Mon 03-09 6"]
        );
        // By sessions, and more than a week of them: the next week has its long session too.
        let by_sessions = MIXED.replace("weeks = 1", "sessions = 5");
        assert_eq!(kinds(head, &by_sessions)[3..], ["Mon 03-09 5/long", "Wed 03-11 5/short", "Fri 03-13 6"]);
    }

    #[test]
    fn what_a_week_asks_for_stands_before_what_is_optional() {
        let head = "start = 2026-03-02\nweekdays = ['tue', 'thu']\n[limits]\nsessions_per_week = '2 to 3'";
        let optional_first = MIXED.replace("a_week = 1\n", "a_week = '0 to 1'\n").replace("'1 to 2'", "2");
        assert_eq!(kinds(head, &optional_first), ["Tue 03-03 5/short", "Thu 03-05 5/short", "Tue 03-10 6"]);
    }

    #[test]
    fn a_stage_by_weeks_spills_into_no_later_week_and_shares_none() {
        let head = "start = 2026-03-02\nweekdays = ['tue', 'thu']\n[limits]\nsessions_per_week = 4";
        let stages = "[[stage]]\nname = '1'\nsession = 'run 9:10'\nsessions = 1\n[[stage]]\nname = '2'\nsession = \
            'run 10:10'\nweeks = 2\n[[stage]]\nname = '3'\nsession = 'run 11:10'\nsessions = 1";
        // Four sessions a week at most find two weekdays: still two weeks, from a Monday on, and the next stage after them.
        assert_eq!(
            kinds(head, stages),
            ["Tue 03-03 1", "Tue 03-10 2", "Thu 03-12 2", "Tue 03-17 2", "Thu 03-19 2", "Tue 03-24 3"]
        );
    }

    #[test]
    fn a_first_week_cut_short_counts_only_when_it_holds_what_a_week_asks_for() {
        let stages = "[[stage]]\nname = '2'\nsession = 'run 10:10'\nweeks = 1\n[[stage]]\nname = '3'\nsession = \
            'run 11:10'\nsessions = 1";
        // 2026-03-06 is a Friday: two of three sessions find room.
        let head = |week: &str| {
            format!("start = 2026-03-06\n[limits]\nsessions_per_week = {week}\nrest_days_between = 1")
        };
        // The day of rest after Sunday moves the next stage from Monday on.
        assert_eq!(kinds(&head("'2 to 3'"), stages), ["Fri 03-06 2", "Sun 03-08 2", "Tue 03-10 3"]);
        assert_eq!(
            kinds(&head("3"), stages),
            ["Fri 03-06 2", "Sun 03-08 2", "Tue 03-10 2", "Thu 03-12 2", "Sat 03-14 2", "Mon 03-16 3"]
        );
    }

    #[test]
    fn each_dated_session_knows_how_often_its_own_kind_was_kept_before() {
        let head = "start = 2026-03-02\n[limits]\nsessions_per_week = 3\nrest_days_between = 1";
        let plan =
            Plan::parse(&format!("{head}\n{}", MIXED.replace("weeks = 1", "sessions = 5"))).unwrap().value;
        let kept: Vec<(usize, u32, u32)> =
            plan.calendar().unwrap().map(|s| (s.stage, s.number, s.kept)).collect();
        assert_eq!(kept, [(0, 1, 0), (1, 2, 0), (1, 3, 1), (0, 4, 1), (1, 5, 2), (2, 1, 0)]);
    }

    #[test]
    fn the_end_of_time_ends_a_calendar() {
        assert_eq!(days("start = 9999-12-30", &[(3, "")]).len(), 1);
    }
}
