//! Which sessions come next and when, for plans with dates.

use jiff::civil::Date;

use crate::prescription::{CalendarStart, DatedSession, Stage, monday};

use super::calendar::plus;
use super::ruling::{Ruling, is_complete};
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
    /// Where the plan's calendar goes on: from there it gives these sessions, and all that follow.
    pub start: CalendarStart,
    /// The day that the first of them would have had without the rest that the ruling asks for, if it is another.
    pub moved_from: Option<Date>,
    /// Days since the last session that were meant for one, without one; in order.
    pub missed: Vec<Date>,
}

/// Lays the next sessions out; `None` where the plan has no dates or a professional is to be asked first.
pub(super) fn coming(s: &Situation<'_>, ruling: &Ruling) -> Option<Coming> {
    let plan = s.history.plan;
    let (stage, not_before) = ruling.stage.zip(ruling.not_before).filter(|_| plan.is_dated())?;
    let start = s.calendar_start(stage, not_before);
    let sessions: Vec<DatedSession> = plan.calendar_from(start.clone()).take(MOST_COMING).collect();
    let first = sessions.first()?;
    let unrested = s.calendar(stage, s.unrested(plan.stages[stage].place)).next().map(|session| session.date);
    Some(Coming {
        moved_from: unrested.filter(|unrested| *unrested < first.date),
        missed: if is_complete(s) { Vec::new() } else { missed(s, ruling, stage) },
        sessions,
        start,
    })
}

/// Days meant for a session since the last one, before the day of the review and after any rest.
fn missed(s: &Situation<'_>, ruling: &Ruling, stage: usize) -> Vec<Date> {
    let (plan, today) = (s.history.plan, s.history.as_of);
    let rested = ruling.applied.iter().filter_map(|applied| applied.rest_until).max();
    let after_last = s.last_run().map(|last| plus(last, i64::from(s.bounds.rest_before_next) + 1));
    let after_last = after_last.max(s.fresh_visit().map(|visit| visit.date));
    let Some(since) = after_last.or(plan.start) else { return Vec::new() };
    let since = rested.map_or(since, |rested| since.max(rested)).max(plus(today, -DAYS_BEHIND));
    let kinds = plan.stages.get(plan.kinds_at(plan.stages[stage].place)).unwrap_or_default();
    let least: Option<u32> = match kinds {
        [one] => one.a_week().map(|week| week.least),
        several => Some(several.iter().map(Stage::least_a_week).sum()),
    };
    let mut missed: Vec<Date> = Vec::new();
    // A session that was not done does not bring the next stage. An optional one is never missed.
    let meant = s.calendar(stage, since).staying().map(|session| session.date);
    for date in meant.take_while(|date| *date < today) {
        let of_week = missed.iter().filter(|earlier| monday(**earlier) == monday(date)).count();
        if least.is_none_or(|least| s.history.runs_in_week(date).count() + of_week < least as usize) {
            missed.push(date);
        }
    }
    missed
}
