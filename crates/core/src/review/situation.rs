//! Where a case stands on the day of the review: what the rules ask.

use jiff::civil::Date;

use crate::audit::Outcome;
use crate::prescription::{Calendar, CalendarStart, WeekSoFar};
use crate::range::Range;

use super::bounds::Bounds;
use super::calendar::{days_between, joined, monday, plus, spoken};
use super::findings::{WeeklyCode, WeeklyFinding};
use super::history::History;
use super::pain::Pain;
use super::performed::StageChoice;
use super::progress::{Ledger, Progress, counted, needed, still_due};
use super::seen::Visit;

/// Pain that may still rule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct NotedPain {
    pub(super) date: Date,
    pub(super) pain: Pain,
    /// The first day for the next session when the next run-walk day is skipped.
    pub(super) skipped_until: Date,
    /// Whether there was pain on the day of the session before too.
    pub(super) also_before: bool,
    /// Whether a later session has answered it: one that was done after the rest that it asks for.
    pub(super) is_answered: bool,
}

/// A verdict on a day with running, as the rules take it: what was too much in the week is too much.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Done {
    pub(super) date: Date,
    pub(super) outcome: Outcome,
    pub(super) is_ambiguous: bool,
    /// Too many in the week or too close to the one before.
    pub(super) is_improper: bool,
    /// Running that is no session of the plan.
    pub(super) is_unplanned: bool,
    /// The verdict on the session by itself, before its week is looked at.
    pub(super) by_itself: Outcome,
}

/// Entries of the diary that are looked through for the session before.
const MOST_BETWEEN: usize = 60;

/// Where a case stands.
pub(super) struct Situation<'a> {
    pub(super) history: &'a History<'a>,
    pub(super) findings: &'a [WeeklyFinding],
    /// Limits on the day of the review.
    pub(super) bounds: Bounds,
    /// Days with running that no visit to a clinician has settled, in order.
    pub(super) done: Vec<Done>,
    /// The stage the runner is at: the last known one.
    pub(super) stage: Option<usize>,
    /// What was done of the whole plan.
    pub(super) progress: &'a Progress<'a>,
    /// What was done since the runner came to that stage.
    here: Ledger,
    /// The stage to go back to when the runner came to the present one too early, and where the finding stands.
    pub(super) owed: Option<(usize, usize)>,
    /// Pain that no visit to a clinician has settled, in order.
    pains: Vec<NotedPain>,
}

impl<'a> Situation<'a> {
    pub(super) fn new(
        history: &'a History<'a>,
        findings: &'a [WeeklyFinding],
        is_improper: &[bool],
        progress: &'a Progress<'a>,
    ) -> Self {
        let bounds = history.bounds_on(history.as_of);
        let is_open = |i: &&usize| !history.is_settled(history.sessions[**i].date);
        let done: Vec<Done> =
            history.runs.iter().filter(is_open).map(|i| done(history, *i, is_improper)).collect();
        let pains = noted_pains(history, is_improper);
        let mut here = Self {
            history,
            findings,
            bounds,
            done,
            stage: None,
            progress,
            here: Ledger::default(),
            owed: None,
            pains,
        };
        here.walk_through(is_improper);
        here
    }

    /// Follows the stages through the sessions.
    fn walk_through(&mut self, is_improper: &[bool]) {
        let mut visits = self.history.seen.in_turn();
        for (index, session) in self.history.sessions.iter().enumerate() {
            // Nobody knows whether a run on the day of a visit came after it: it does not count in the runner's favour.
            self.visited(visits.until(plus(session.date, -1)));
            let Some(stage) = session.stage.stage() else { continue };
            let place = |stage: usize| self.history.plan.stages[stage].place;
            if self.stage.map(place) != Some(place(stage)) {
                self.here = Ledger::default();
                let is_moved = |f: &WeeklyFinding| {
                    let is_move = matches!(f.code, WeeklyCode::StageSkipped | WeeklyCode::StageRushed);
                    is_move && f.date == session.date && f.stage == Some(stage)
                };
                // Of several stages that were left too early the first one is owed.
                let moved = self.findings.iter().enumerate().filter(|(_, finding)| is_moved(finding));
                let left = moved.filter_map(|(at, finding)| finding.left.map(|left| (left, at)));
                let back = left.min_by_key(|(left, _)| place(*left));
                // A step back answers for a step too far; a further step forward does not.
                let is_back = self.owed.is_some_and(|(owed, _)| place(stage) <= place(owed));
                self.owed = back.or(self.owed.filter(|_| !is_back));
            }
            let outcome = counted(session, is_improper[index], self.history.config);
            self.here.add(session.date, vec![stage], outcome);
            self.stage = Some(stage);
            if self.kept_here() >= self.needed_here() {
                self.owed = None;
            }
        }
        self.visited(visits.until(self.history.as_of));
    }

    /// Takes in visits to a clinician: from there on the stage begins anew, and nothing is owed.
    fn visited(&mut self, visits: &[Visit]) {
        for visit in visits {
            self.stage = visit.stage.or(self.stage);
            self.here = Ledger::default();
            self.owed = None;
        }
    }

    /// Sessions, or weeks, kept since the runner came to the present stage.
    pub(super) fn kept_here(&self) -> u32 {
        self.stage.map_or(0, |stage| {
            self.here.kept(self.history.plan, stage, self.progress.overdone_weeks(), false)
        })
    }

    /// Sessions, or weeks, that have to be kept at the present stage: the plan's number, else 1.
    pub(super) fn needed_here(&self) -> u32 {
        self.stage.map_or(1, |stage| needed(self.history.plan, stage))
    }

    /// The first day for a session at a place in the plan that needs a new week: a stage by weeks is left with one, and this one may
    /// have no room for any of the place's kinds.
    pub(super) fn new_week_for(&self, place: usize) -> Date {
        let plan = self.history.plan;
        let leaves = self.stage.map(|stage| &plan.stages[stage]);
        let leaves = leaves.filter(|stage| stage.weeks.is_some() && place > stage.place);
        let last = leaves.and_then(|_| self.last_run());
        let left = last.map_or(self.history.as_of, |last| plus(monday(last), 7));
        let (today, kinds) = (self.history.as_of, plan.kinds_at(place));
        let is_full = kinds.len() > 1 && kinds.clone().all(|kind| self.still_due(kind, today).most == 0);
        left.max(if is_full { plus(monday(today), 7) } else { today })
    }

    /// The calendar of the plan from where the runner stands, beginning with a kind of session, from a day on.
    pub(super) fn calendar(&self, stage: usize, from: Date) -> Calendar<'a> {
        self.history.plan.calendar_from(self.calendar_start(stage, from))
    }

    /// Where that calendar begins.
    pub(super) fn calendar_start(&self, stage: usize, from: Date) -> CalendarStart {
        let plan = self.history.plan;
        let date = plan.start.map_or(from, |start| from.max(start));
        let place = plan.stages[stage].place;
        let here = self.is_here(place).then_some(&self.here);
        let overdone = self.progress.overdone_weeks();
        let of_week: Vec<_> = self.history.runs_in_week(date).collect();
        CalendarStart {
            date,
            stage,
            sessions: here.map_or(0, Ledger::sessions),
            weeks: here.map_or(0, |here| here.weeks_before(plan, overdone, date)),
            kept: self.progress.kept_of_kinds().to_vec(),
            week: WeekSoFar {
                sessions: u32::try_from(of_week.len()).unwrap_or(u32::MAX),
                known: of_week.iter().filter_map(|session| session.stage.stage()).collect(),
                kept: here.map_or_else(Vec::new, |here| here.kept_in(monday(date))),
                is_overdone: overdone.contains(&monday(date)),
            },
        }
    }

    /// The day that is meant for a session at a place in the plan from a day on: that day where the plan has no dates.
    pub(super) fn meant_day(&self, place: usize, from: Date) -> Date {
        let plan = self.history.plan;
        let first = plan.is_dated().then(|| self.calendar(plan.kinds_at(place).start, from).next()).flatten();
        first.map_or(from, |session| session.date)
    }

    /// The first day for a session at a place in the plan, whatever rest pain and load ask for.
    pub(super) fn unrested(&self, place: usize) -> Date {
        self.earliest().max(self.new_week_for(place))
    }

    /// Whether the runner is at that place in the plan.
    pub(super) fn is_here(&self, place: usize) -> bool {
        self.stage.is_some_and(|stage| self.history.plan.stages[stage].place == place)
    }

    /// How often a kind of session may still be done in the week of a day, from the least that is asked for to the most.
    pub(super) fn still_due(&self, kind: usize, day: Date) -> Range<u32> {
        let history = self.history;
        let of_kind = history.runs_in_week(day).filter(|session| session.stage.stage() == Some(kind));
        still_due(history.plan, kind, of_kind.count() as u32)
    }

    /// The kind of session of a place in the plan that is due on a day: the first that the week still asks for, else the first
    /// that it still allows, else the first.
    pub(super) fn due_kind(&self, place: usize, day: Date) -> usize {
        let kinds = self.history.plan.kinds_at(place);
        let asked = kinds.clone().find(|kind| self.still_due(*kind, day).least > 0);
        asked
            .or_else(|| kinds.clone().find(|kind| self.still_due(*kind, day).most > 0))
            .unwrap_or(kinds.start)
    }

    /// What the week of the review still asks for at the present stage, in words; `None` where it has one kind of session.
    pub(super) fn due_this_week(&self) -> Option<String> {
        let plan = self.history.plan;
        let kinds = plan.kinds_at(plan.stages[self.stage?].place);
        let named = |kind: usize| plan.stages[kind].kind.as_ref().map(|named| (kind, named.name.as_str()));
        let (mut due, mut optional) = (Vec::new(), Vec::new());
        for (kind, name) in kinds.filter_map(named) {
            let open = self.still_due(kind, self.history.as_of);
            if open.least > 0 {
                due.push(format!("{} x {name}", open.least));
            } else if open.most > 0 {
                optional.push(name);
            }
        }
        let optional = (!optional.is_empty()).then(|| format!("{} if wanted", optional.join(", ")));
        due.extend(optional);
        (!due.is_empty()).then(|| due.join(", "))
    }

    /// The last day with running, if no visit to a clinician has settled it.
    pub(super) fn last(&self) -> Option<Done> {
        self.done.last().copied()
    }

    /// The last day with running.
    pub(super) fn last_run(&self) -> Option<Date> {
        self.history.runs.last().map(|last| self.history.sessions[*last].date)
    }

    /// The last visit to a clinician, where no running has come after it.
    pub(super) fn fresh_visit(&self) -> Option<&Visit> {
        self.history.seen.last().filter(|_| self.done.is_empty())
    }

    /// A day in words, with its year where that is not the year of the review.
    pub(super) fn spoken(&self, date: Date) -> String {
        spoken(date, self.history.as_of)
    }

    /// Days in words.
    pub(super) fn listed(&self, days: &[Date]) -> String {
        let days: Vec<String> = days.iter().map(|day| self.spoken(*day)).collect();
        joined(&days.iter().map(String::as_str).collect::<Vec<_>>())
    }

    /// Pain that no later session has answered.
    pub(super) fn open_pains(&self) -> impl DoubleEndedIterator<Item = &NotedPain> {
        self.pains.iter().filter(|pain| !pain.is_answered)
    }

    /// Pain that sends to a clinician, the last first. Nothing but a visit settles it, not even sessions without pain.
    pub(super) fn for_a_clinician(&self) -> impl Iterator<Item = &NotedPain> {
        self.pains.iter().rev()
    }

    /// The last day with running or, where none has come since, the visit to a clinician; and the days since then.
    pub(super) fn away_since(&self) -> Option<(Date, i64)> {
        let visit = self.fresh_visit().map(|visit| visit.date);
        let since = self.last().map(|last| last.date).or(visit)?;
        Some((since, days_between(since, self.history.as_of)))
    }

    /// Whether the last two days with running went beyond what is prescribed.
    pub(super) fn overdone_twice(&self) -> bool {
        matches!(self.done.as_slice(), [.., a, b] if a.outcome == Outcome::Overdone && b.outcome == Outcome::Overdone)
    }

    /// Findings of these codes within the last seven days, by index.
    pub(super) fn recent(&self, codes: &[WeeklyCode]) -> Vec<usize> {
        let rules = |date: Date| self.history.is_recent(date) && !self.history.is_settled(date);
        let is_recent = |f: &WeeklyFinding| codes.contains(&f.code) && rules(f.date);
        (0..self.findings.len()).filter(|i| is_recent(&self.findings[*i])).collect()
    }

    /// Days within the last seven with sessions too many or too close.
    pub(super) fn recent_improper(&self) -> Vec<Date> {
        let days = self.done.iter().filter(|done| done.is_improper && self.history.is_recent(done.date));
        let mut days: Vec<Date> = days.map(|done| done.date).collect();
        days.dedup();
        days
    }

    /// Findings about pain on a day, by index.
    pub(super) fn pain_findings(&self, date: Date) -> Vec<usize> {
        let is_it = |f: &WeeklyFinding| f.date == date && f.code.is_pain();
        (0..self.findings.len()).filter(|i| is_it(&self.findings[*i])).collect()
    }

    /// The greatest pain of the last seven days and of the seven before.
    pub(super) fn pain_by_week(&self) -> (Option<f64>, Option<f64>) {
        let greatest = |from: i64, to: i64| {
            let days = plus(self.history.as_of, from)..=plus(self.history.as_of, to);
            let is_it = |date: Date| days.contains(&date) && !self.history.is_settled(date);
            let entries = self.history.diary.entries().iter().filter(|entry| is_it(entry.date));
            entries.filter_map(super::diary::Entry::greatest_pain).reduce(f64::max)
        };
        (greatest(-6, 0), greatest(-13, -7))
    }

    /// The last day of which it cannot be read whether there was pain, while it may still matter: no later session has answered
    /// it, or it is one of the last seven days.
    pub(super) fn unread_pain(&self) -> Option<Date> {
        let open = self.open_pains().rev().find(|open| open.pain.unread).map(|open| open.date);
        let entries = self.history.diary.entries().iter().rev();
        let is_open = |date: Date| date <= self.history.as_of && !self.history.is_settled(date);
        let recent = entries.filter(|entry| entry.pain_unread && is_open(entry.date));
        open.max(recent.map(|entry| entry.date).find(|date| self.history.is_recent(*date)))
    }

    /// Whether pain during the last session was asked and answered.
    pub(super) fn pain_is_known(&self) -> bool {
        let on = |done: Done| self.history.diary.on(done.date).and_then(|entry| entry.pain_during);
        self.last().and_then(on).is_some()
    }

    /// The first day on which the plan has room for another session.
    pub(super) fn earliest(&self) -> Date {
        let today = self.history.as_of;
        let Some(last) = self.last_run() else { return today };
        let rested = plus(last, i64::from(self.bounds.rest_before_next) + 1);
        let this_week = self.history.runs_in_week(today);
        let is_full =
            self.bounds.sessions_per_week.is_some_and(|week| this_week.count() >= week.most as usize);
        let next_week = if is_full { plus(monday(today), 7) } else { today };
        rested.max(next_week).max(today)
    }
}

fn done(history: &History<'_>, index: usize, is_improper: &[bool]) -> Done {
    let session = &history.sessions[index];
    let is_unplanned = session.is_unplanned(history.config);
    Done {
        date: session.date,
        outcome: counted(session, is_improper[index], history.config),
        is_ambiguous: matches!(session.stage, StageChoice::Ambiguous(_) | StageChoice::InParts),
        is_improper: is_improper[index],
        is_unplanned,
        by_itself: session.outcome,
    }
}

fn noted_pains(history: &History<'_>, is_improper: &[bool]) -> Vec<NotedPain> {
    let run_dates: Vec<Date> = history.runs.iter().map(|i| history.sessions[*i].date).collect();
    let pains: Vec<(Date, Pain)> = history.pains().filter(|(date, _)| !history.is_settled(*date)).collect();
    // The first day for the next session after pain: the next run-walk day is skipped.
    let skipped_until = |date: Date, pain: Pain| {
        let day_of_rest = i64::from(history.bounds_on(date).rest_before_next) + 1;
        plus(date, if pain.may_count() { 2 * day_of_rest } else { 1 })
    };
    // A session that was too many or too close answers nothing.
    let answers: Vec<Date> =
        history.runs.iter().filter(|i| !is_improper[**i]).map(|i| history.sessions[*i].date).collect();
    // Whether there is one of these days from one day on and before another.
    let has = |days: &[Date], from: Date, to: Date| {
        days.get(days.partition_point(|day| *day < from)).is_some_and(|day| *day < to)
    };
    // Sessions in pain that the runner has not answered with rest stay the session before, whatever came between.
    let is_before = |earlier: &(Date, Pain), date: Date| {
        let (day, pain) = *earlier;
        let next_day = plus(day, 1);
        pain.counts()
            && has(&run_dates, day, next_day)
            && (!has(&run_dates, next_day, date) || !has(&answers, skipped_until(day, pain), date))
    };
    let mut noted = Vec::new();
    for (at, &(date, pain)) in pains.iter().enumerate() {
        let until = skipped_until(date, pain);
        let is_answered = answers.last().is_some_and(|last| *last >= until);
        if !(pain.may_count() || pain.lasting_within_limit) {
            continue;
        }
        let also_before =
            pain.counts() && pains[..at].iter().rev().take(MOST_BETWEEN).any(|p| is_before(p, date));
        noted.push(NotedPain { date, pain, skipped_until: until, also_before, is_answered });
    }
    noted
}
