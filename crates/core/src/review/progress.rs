//! Where in the plan a runner is, session by session.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use crate::audit::Outcome;
use crate::prescription::{DueSession, Plan};
use crate::range::Range;

use super::ReviewConfig;
use super::calendar::monday;
use super::performed::PerformedSession;
use super::performed::StageChoice;
use super::seen::{Seen, Visit};
use super::spacing::Spacing;

/// A session at a stage.
#[derive(Clone, Debug)]
struct Done {
    /// The kinds of session of the stage that it may have been, by index: one where it is known.
    kinds: Vec<usize>,
    outcome: Outcome,
}

/// The outcome of a session as it counts for the plan: too many, too close to the one before, or none of the plan's sessions is too
/// much.
pub(super) fn counted(session: &PerformedSession, is_improper: bool, config: &ReviewConfig) -> Outcome {
    if is_improper || session.is_unplanned(config) { Outcome::Overdone } else { session.outcome }
}

/// What was done at one stage of the plan, of whichever kinds.
#[derive(Clone, Debug, Default)]
pub(super) struct Ledger {
    /// By week.
    weeks: BTreeMap<Date, Vec<Done>>,
    kept: u32,
    /// Sessions of which it can't be told.
    open: u32,
}

impl Ledger {
    /// Takes a session in that is, or may be, one of these kinds.
    pub(super) fn add(&mut self, date: Date, kinds: Vec<usize>, outcome: Outcome) {
        self.kept += u32::from(outcome == Outcome::Kept);
        self.open += u32::from(outcome == Outcome::Undecided);
        self.weeks.entry(monday(date)).or_default().push(Done { kinds, outcome });
    }

    /// Sessions kept.
    pub(super) fn sessions(&self) -> u32 {
        self.kept
    }

    /// The sessions of a week that were kept, by kind.
    pub(super) fn kept_in(&self, week: Date) -> Vec<usize> {
        let done = self.weeks.get(&week).into_iter().flatten();
        done.filter(|done| done.outcome == Outcome::Kept).flat_map(|done| done.kinds.clone()).collect()
    }

    /// Whether a week has each kind of session as often as it asks for. `with_open`: sessions that can't be told count, each
    /// once.
    pub(super) fn is_week_complete(&self, plan: &Plan, week: Date, with_open: bool) -> bool {
        let Some(done) = self.weeks.get(&week) else { return false };
        let Some(place) =
            done.iter().flat_map(|done| &done.kinds).map(|kind| plan.stages[*kind].place).next()
        else {
            return false;
        };
        let kept = |kind: usize| {
            done.iter().filter(|done| done.outcome == Outcome::Kept && done.kinds.contains(&kind)).count()
                as u32
        };
        let may_be = |kinds: &[usize]| {
            let open = done.iter().filter(|done| done.outcome == Outcome::Undecided && with_open);
            open.filter(|done| done.kinds.iter().any(|kind| kinds.contains(kind))).count() as u32
        };
        let lacks = |kind: usize| plan.stages[kind].least_a_week().saturating_sub(kept(kind));
        let lacking: Vec<usize> = plan.kinds_at(place).filter(|kind| lacks(*kind) > 0).collect();
        plan.is_week_complete(place, |kind| kept(kind) + may_be(&[kind]))
            && lacking.iter().map(|kind| lacks(*kind)).sum::<u32>() <= may_be(&lacking)
    }

    /// Weeks kept: each kind as often as it is asked for, and nothing overdone; those of `until` on do not count.
    fn weeks(&self, plan: &Plan, overdone: &BTreeSet<Date>, until: Date, with_open: bool) -> u32 {
        let proper = self.weeks.range(..until).filter(|(week, _)| !overdone.contains(week));
        proper.filter(|(week, _)| self.is_week_complete(plan, **week, with_open)).count() as u32
    }

    /// Weeks kept before a day's week.
    pub(super) fn weeks_before(&self, plan: &Plan, overdone: &BTreeSet<Date>, date: Date) -> u32 {
        self.weeks(plan, overdone, monday(date), false)
    }

    /// How much is kept, in sessions or, where the stage goes by weeks, in weeks. `with_open`: what can't be told counts.
    pub(super) fn kept(&self, plan: &Plan, stage: usize, overdone: &BTreeSet<Date>, with_open: bool) -> u32 {
        if plan.stages[stage].weeks.is_some() {
            return self.weeks(plan, overdone, Date::MAX, with_open);
        }
        if with_open { self.kept + self.open } else { self.kept }
    }
}

/// Sessions, or weeks, that have to be kept at a stage: the plan's number, else 1.
pub(super) fn needed(plan: &Plan, stage: usize) -> u32 {
    let stage = &plan.stages[stage];
    stage.weeks.or(stage.sessions).unwrap_or(1)
}

/// What was done of the plan so far.
#[derive(Clone, Debug)]
pub(super) struct Progress<'p> {
    plan: &'p Plan,
    /// By place in the plan.
    ledgers: Vec<Ledger>,
    /// Mondays of the weeks in which something was overdone.
    overdone: BTreeSet<Date>,
    /// Sessions kept, by kind.
    kept: Vec<u32>,
    /// The furthest stage that was done.
    pub(super) furthest: Option<usize>,
    /// The stage that was done last.
    pub(super) last: Option<usize>,
}

impl<'p> Progress<'p> {
    pub(super) fn new(plan: &'p Plan) -> Self {
        Self {
            plan,
            ledgers: vec![Ledger::default(); plan.places()],
            overdone: BTreeSet::new(),
            kept: vec![0; plan.stages.len()],
            furthest: None,
            last: None,
        }
    }

    /// What was done by sessions in order of time, with the visits to a clinician up to a day.
    pub(super) fn of(
        plan: &'p Plan,
        seen: &Seen,
        sessions: &[PerformedSession],
        until: Date,
        config: &ReviewConfig,
    ) -> Self {
        let (mut progress, mut spacing) = (Self::new(plan), Spacing::new(plan));
        let mut visits = seen.in_turn();
        for session in sessions {
            progress.visited(visits.until(session.date));
            let is_improper = spacing.take(session, config).is_improper();
            progress.take(&session.stage, counted(session, is_improper, config), session.date);
        }
        progress.visited(visits.until(until));
        progress
    }

    fn place(&self, stage: usize) -> usize {
        self.plan.stages[stage].place
    }

    pub(super) fn done(&mut self, stage: usize, outcome: Outcome, date: Date) {
        let place = self.place(stage);
        self.ledgers[place].add(date, vec![stage], outcome);
        self.kept[stage] += u32::from(outcome == Outcome::Kept);
        self.furthest = self.furthest.max(Some(stage));
        self.last = Some(stage);
    }

    /// Takes a session in whose stage is not known: it may have been any of these, and kept; at each place in the plan one.
    fn maybe_done(&mut self, stages: impl Iterator<Item = usize>, date: Date) {
        let mut at: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for stage in stages {
            at.entry(self.place(stage)).or_default().push(stage);
        }
        for (place, kinds) in at {
            self.ledgers[place].add(date, kinds, Outcome::Undecided);
        }
    }

    /// Takes any session in.
    pub(super) fn take(&mut self, choice: &StageChoice, outcome: Outcome, date: Date) {
        if outcome == Outcome::Overdone {
            self.overdone.insert(monday(date));
        }
        match choice {
            StageChoice::Given(stage) | StageChoice::Recognised { stage, .. } => {
                self.done(*stage, outcome, date);
            }
            // What was overdone was not kept, whichever stage it was.
            StageChoice::Ambiguous(candidates) if outcome != Outcome::Overdone => {
                self.maybe_done(candidates.iter().map(|(stage, _)| *stage), date);
            }
            StageChoice::InParts if outcome != Outcome::Overdone => {
                let kinds = self.last.map(|last| self.plan.kinds_at(self.place(last)));
                self.maybe_done(kinds.into_iter().flatten(), date);
            }
            StageChoice::Ambiguous(_) | StageChoice::InParts | StageChoice::NoSession => {}
        }
    }

    /// Takes in that a clinician let the runner go on from a stage, or from where they are: it and what comes after it begin anew.
    pub(super) fn visited(&mut self, visits: &[Visit]) {
        for visit in visits {
            self.furthest = visit.stage.or(self.furthest);
            let Some(stage) = visit.stage.or(self.last) else { continue };
            let place = self.place(stage);
            self.ledgers[place..].fill(Ledger::default());
            let kinds = self.plan.stages.iter().zip(&mut self.kept);
            kinds.filter(|(kind, _)| kind.place >= place).for_each(|(_, kept)| *kept = 0);
            self.last = Some(stage);
        }
    }

    /// Whether it is certain that all that the stage asks for is kept.
    pub(super) fn is_complete(&self, stage: usize) -> bool {
        self.kept_at(stage) >= self.needed_at(stage)
    }

    /// Whether all that the stage asks for may be kept: what can't be told counts.
    pub(super) fn may_be_complete(&self, stage: usize) -> bool {
        let ledger = &self.ledgers[self.place(stage)];
        ledger.kept(self.plan, stage, &self.overdone, true) >= self.needed_at(stage)
    }

    /// Sessions, or weeks, kept at a stage, of all its kinds.
    pub(super) fn kept_at(&self, stage: usize) -> u32 {
        self.ledgers[self.place(stage)].kept(self.plan, stage, &self.overdone, false)
    }

    /// Sessions, or weeks, that have to be kept at a stage.
    pub(super) fn needed_at(&self, stage: usize) -> u32 {
        needed(self.plan, stage)
    }

    /// Mondays of the weeks in which something was overdone.
    pub(super) fn overdone_weeks(&self) -> &BTreeSet<Date> {
        &self.overdone
    }

    /// For each kind of session how often it was kept.
    pub(super) fn kept_of_kinds(&self) -> &[u32] {
        &self.kept
    }

    /// What a session of a kind is next, where a count rises from session to session: with the number that is due after those
    /// that were kept.
    pub(super) fn due(&self, kind: usize) -> Option<DueSession> {
        self.plan.stages[kind].session.due_after(self.kept[kind])
    }

    /// The place in the plan that is next in turn: the last one until its sessions are kept, then the one after it.
    pub(super) fn in_turn(&self) -> usize {
        match self.last {
            None => 0,
            Some(last) if self.may_be_complete(last) => (self.place(last) + 1).min(self.ledgers.len() - 1),
            Some(last) => self.place(last),
        }
    }
}

/// How often a kind may still be done in a week in which it was done so often.
pub(super) fn still_due(plan: &Plan, stage: usize, done: u32) -> Range<u32> {
    let week = plan.stages[stage].a_week().unwrap_or(Range::exactly(1));
    week.map(|n| n.saturating_sub(done))
}
