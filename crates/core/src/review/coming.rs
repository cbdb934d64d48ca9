//! Which sessions come next and when, for plans with dates.

use jiff::civil::Date;

use crate::prescription::{CalendarStart, DatedSession, monday};

use super::calendar::plus;
use super::ruling::Ruling;
use super::situation::Situation;

/// Sessions that are looked ahead. Our choice: two weeks of the most that is usual.
const MOST_COMING: usize = 6;
/// Days behind the day of the review in which missed sessions are counted. Our choice.
const DAYS_BEHIND: i64 = 60;

/// What comes next in a plan with dates.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Coming {
    /// The next sessions, if each is kept; at least one.
    pub sessions: Vec<DatedSession>,
    /// The day that the first of them would have had without the rest that the ruling asks for, if it is another.
    pub moved_from: Option<Date>,
    /// Days since the last session that were meant for one, without one; in order.
    pub missed: Vec<Date>,
}

/// Lays the next sessions out; `None` where the plan has no dates or a professional is to be asked first.
pub(super) fn coming(s: &Situation<'_>, ruling: &Ruling) -> Option<Coming> {
    let plan = s.history.plan;
    let (stage, not_before) = ruling.stage.zip(ruling.not_before).filter(|_| plan.is_dated())?;
    let asked = &plan.stages[stage];
    let is_here = s.stage.is_some_and(|here| plan.stages[here].place == asked.place);
    let kept = if is_here { s.kept_here() } else { 0 };
    // Of a stage by weeks the sessions of the weeks that are kept.
    let kept = if asked.weeks.is_some() { kept * asked.weekly_sessions() } else { kept };
    let number = (kept + 1).min(asked.planned_sessions());
    let from = |date: Date| {
        let date = plan.start.map_or(date, |start| date.max(start));
        plan.calendar_from(CalendarStart { date, stage, number, in_week: in_week(s, date) })
    };
    let sessions: Vec<DatedSession> = from(not_before).take(MOST_COMING).collect();
    let first = sessions.first()?;
    let unmoved = from(s.earliest()).next().map(|session| session.date);
    Some(Coming {
        moved_from: unmoved.filter(|unmoved| *unmoved < first.date),
        missed: missed(s, ruling, &from),
        sessions,
    })
}

fn in_week(s: &Situation<'_>, date: Date) -> u32 {
    let is_of_week = |index: &&usize| monday(s.history.sessions[**index].date) == monday(date);
    u32::try_from(s.history.runs.iter().filter(is_of_week).count()).unwrap_or(u32::MAX)
}

/// Days meant for a session since the last one, before the day of the review and after any rest.
fn missed<C: Iterator<Item = DatedSession>>(
    s: &Situation<'_>,
    ruling: &Ruling,
    from: &impl Fn(Date) -> C,
) -> Vec<Date> {
    let today = s.history.as_of;
    let rested = ruling.applied.iter().filter_map(|applied| applied.rest_until).max();
    let after_last = s.last_run().map(|last| plus(last, i64::from(s.bounds.rest_before_next) + 1));
    let after_last = after_last.max(s.fresh_visit().map(|visit| visit.date));
    let Some(since) = after_last.or(s.history.plan.start) else { return Vec::new() };
    let since = rested.map_or(since, |rested| since.max(rested)).max(plus(today, -DAYS_BEHIND));
    let least = s.bounds.sessions_per_week.map(|week| week.least);
    let mut missed: Vec<Date> = Vec::new();
    // Whatever the stage: a session that was not done does not bring the next one. An optional one is never missed.
    for date in from(since).map(|session| session.date).take_while(|date| *date < today) {
        let of_week = missed.iter().filter(|earlier| monday(**earlier) == monday(date)).count();
        if least.is_none_or(|least| in_week(s, date) as usize + of_week < least as usize) {
            missed.push(date);
        }
    }
    missed
}
