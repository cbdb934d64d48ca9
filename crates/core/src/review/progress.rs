//! Where in the plan a runner is, session by session.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::audit::Outcome;
use crate::prescription::Plan;
use crate::range::Range;

use super::calendar::monday;
use super::stages::StageChoice;

/// What was done at one stage of the plan, of whichever kinds.
#[derive(Clone, Debug, Default)]
pub(super) struct Ledger {
    /// Day, kind of session by index, outcome, in order.
    done: Vec<(Date, usize, Outcome)>,
}

impl Ledger {
    pub(super) fn add(&mut self, date: Date, stage: usize, outcome: Outcome) {
        self.done.push((date, stage, outcome));
    }

    /// Sessions kept, and those of which it can't be told.
    fn sessions(&self) -> (u32, u32) {
        let count =
            |wanted: Outcome| self.done.iter().filter(|(_, _, outcome)| *outcome == wanted).count() as u32;
        (count(Outcome::Kept), count(Outcome::Undecided))
    }

    /// Weeks kept: each kind as often as it is asked for, and nothing overdone. `with_open`: sessions that can't be told count.
    fn weeks(&self, plan: &Plan, with_open: bool) -> u32 {
        let mut weeks: BTreeMap<Date, Vec<(usize, Outcome)>> = BTreeMap::new();
        for (date, stage, outcome) in &self.done {
            weeks.entry(monday(*date)).or_default().push((*stage, *outcome));
        }
        let counts =
            |outcome: Outcome| outcome == Outcome::Kept || (with_open && outcome == Outcome::Undecided);
        let is_kept = |done: &Vec<(usize, Outcome)>| {
            let Some(place) = done.first().map(|(stage, _)| plan.stages[*stage].place) else { return false };
            let of = |kind: usize| done.iter().filter(|(stage, o)| *stage == kind && counts(*o)).count();
            let reached = plan.kinds_at(place).all(|kind| of(kind) >= least_a_week(plan, kind) as usize);
            reached && done.iter().all(|(_, outcome)| *outcome != Outcome::Overdone)
        };
        weeks.values().filter(|done| is_kept(done)).count() as u32
    }

    /// How much is kept, in sessions or, where the stage goes by weeks, in weeks. `with_open`: what can't be told counts.
    pub(super) fn kept(&self, plan: &Plan, stage: usize, with_open: bool) -> u32 {
        if plan.stages[stage].weeks.is_some() {
            return self.weeks(plan, with_open);
        }
        let (kept, open) = self.sessions();
        if with_open { kept + open } else { kept }
    }
}

/// Sessions of a kind that a week asks for at least: once where the plan does not say.
pub(super) fn least_a_week(plan: &Plan, stage: usize) -> u32 {
    plan.stages[stage].a_week().map_or(1, |week| week.least)
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
            kept: vec![0; plan.stages.len()],
            furthest: None,
            last: None,
        }
    }

    fn place(&self, stage: usize) -> usize {
        self.plan.stages[stage].place
    }

    pub(super) fn done(&mut self, stage: usize, outcome: Outcome, date: Date) {
        let place = self.place(stage);
        self.ledgers[place].add(date, stage, outcome);
        self.kept[stage] += u32::from(outcome == Outcome::Kept);
        self.furthest = self.furthest.max(Some(stage));
        self.last = Some(stage);
    }

    /// Takes a session in whose stage is not known: it may have been any of these, and kept.
    fn maybe_done(&mut self, stages: impl Iterator<Item = usize>, date: Date) {
        for stage in stages {
            let place = self.place(stage);
            self.ledgers[place].add(date, stage, Outcome::Undecided);
        }
    }

    /// Takes any session in.
    pub(super) fn take(&mut self, choice: &StageChoice, outcome: Outcome, date: Date) {
        match choice {
            StageChoice::Given(stage) | StageChoice::Recognised { stage, .. } => {
                self.done(*stage, outcome, date);
            }
            // What was overdone was not kept, whichever stage it was.
            StageChoice::Ambiguous(candidates) if outcome != Outcome::Overdone => {
                self.maybe_done(candidates.iter().map(|(stage, _)| *stage), date);
            }
            StageChoice::InParts if outcome != Outcome::Overdone => {
                self.maybe_done(self.last.into_iter(), date);
            }
            StageChoice::Ambiguous(_) | StageChoice::InParts | StageChoice::NoSession => {}
        }
    }

    /// Takes in that a clinician let the runner go on from a stage, or from where they are: it and what comes after it begin anew.
    pub(super) fn visited(&mut self, stage: Option<usize>) {
        self.furthest = stage.or(self.furthest);
        let Some(stage) = stage.or(self.last) else { return };
        let place = self.place(stage);
        self.ledgers[place..].fill(Ledger::default());
        let kinds = self.plan.stages.iter().zip(&mut self.kept);
        kinds.filter(|(kind, _)| kind.place >= place).for_each(|(_, kept)| *kept = 0);
        self.last = Some(stage);
    }

    /// Whether it is certain that all that the stage asks for is kept.
    pub(super) fn is_complete(&self, stage: usize) -> bool {
        self.kept_at(stage) >= self.needed_at(stage)
    }

    /// Whether all that the stage asks for may be kept: what can't be told counts.
    pub(super) fn may_be_complete(&self, stage: usize) -> bool {
        self.ledgers[self.place(stage)].kept(self.plan, stage, true) >= self.needed_at(stage)
    }

    /// Sessions, or weeks, kept at a stage, of all its kinds.
    pub(super) fn kept_at(&self, stage: usize) -> u32 {
        self.ledgers[self.place(stage)].kept(self.plan, stage, false)
    }

    /// Sessions, or weeks, that have to be kept at a stage.
    pub(super) fn needed_at(&self, stage: usize) -> u32 {
        needed(self.plan, stage)
    }

    /// Sessions of one kind that were kept.
    pub(super) fn kept_of_kind(&self, stage: usize) -> u32 {
        self.kept[stage]
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
