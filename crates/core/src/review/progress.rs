//! Where in the plan a runner is, session by session.

use crate::audit::Outcome;
use crate::prescription::Plan;

use super::stages::StageChoice;

/// What was done of the plan so far.
#[derive(Clone, Debug)]
pub(super) struct Progress {
    /// Sessions kept, by stage.
    kept: Vec<u32>,
    /// Sessions of which it can't be told whether they were kept, by stage.
    open: Vec<u32>,
    /// Sessions that have to be kept, by stage.
    needed: Vec<u32>,
    /// The furthest stage that was done.
    pub(super) furthest: Option<usize>,
    /// The stage that was done last.
    pub(super) last: Option<usize>,
}

impl Progress {
    pub(super) fn new(plan: &Plan) -> Self {
        let stages = plan.stages.len();
        let needed = plan.stages.iter().map(|stage| stage.sessions.unwrap_or(1)).collect();
        Self { kept: vec![0; stages], open: vec![0; stages], needed, furthest: None, last: None }
    }

    pub(super) fn done(&mut self, stage: usize, outcome: Outcome) {
        match outcome {
            Outcome::Kept => self.kept[stage] += 1,
            Outcome::Undecided => self.open[stage] += 1,
            Outcome::Overdone | Outcome::Underdone => {}
        }
        self.furthest = self.furthest.max(Some(stage));
        self.last = Some(stage);
    }

    /// Takes a session in whose stage is not known: it may have been any of these, and kept.
    pub(super) fn maybe_done(&mut self, stages: impl Iterator<Item = usize>) {
        stages.for_each(|stage| self.open[stage] += 1);
    }

    /// Takes any session in.
    pub(super) fn take(&mut self, choice: &StageChoice, outcome: Outcome) {
        match choice {
            StageChoice::Given(stage) | StageChoice::Recognised { stage, .. } => self.done(*stage, outcome),
            // What was overdone was not kept, whichever stage it was.
            StageChoice::Ambiguous(candidates) if outcome != Outcome::Overdone => {
                self.maybe_done(candidates.iter().map(|(stage, _)| *stage));
            }
            StageChoice::InParts if outcome != Outcome::Overdone => self.maybe_done(self.last.into_iter()),
            StageChoice::Ambiguous(_) | StageChoice::InParts | StageChoice::NoSession => {}
        }
    }

    /// Whether it is certain that the stage's sessions are kept.
    pub(super) fn is_complete(&self, stage: usize) -> bool {
        self.kept[stage] >= self.needed[stage]
    }

    /// Whether the stage's sessions may all be kept: those that can't be told count.
    pub(super) fn may_be_complete(&self, stage: usize) -> bool {
        self.kept[stage] + self.open[stage] >= self.needed[stage]
    }

    /// Sessions kept at a stage.
    pub(super) fn kept_at(&self, stage: usize) -> u32 {
        self.kept[stage]
    }

    /// Sessions that have to be kept at a stage: the plan's number, else 1.
    pub(super) fn needed_at(&self, stage: usize) -> u32 {
        self.needed[stage]
    }

    /// The stage next in turn: the last one until its sessions are kept, then the one after it.
    pub(super) fn in_turn(&self) -> usize {
        match self.last {
            None => 0,
            Some(last) if self.may_be_complete(last) => (last + 1).min(self.kept.len() - 1),
            Some(last) => last,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stage_is_in_turn_until_its_sessions_are_kept() {
        let text = "[[stage]]\nname = 'a'\nsession = 'walk 30:00'\n\
            [[stage]]\nname = 'b'\nsession = 'walk 5:00, for 20:00 (run 400 m, walk 1:00)'\nsessions = 2\n\
            [[stage]]\nname = 'c'\nsession = 'run 20:00'\n";
        let plan = Plan::parse(text).unwrap().value;
        let mut progress = Progress::new(&plan);
        assert_eq!(progress.in_turn(), 0);
        let way = [
            (0, Outcome::Kept, 1),
            (1, Outcome::Overdone, 1),
            (1, Outcome::Kept, 1),
            (1, Outcome::Undecided, 2),
            (2, Outcome::Underdone, 2),
            (1, Outcome::Kept, 2),
            (2, Outcome::Kept, 2),
        ];
        for (stage, outcome, next) in way {
            progress.done(stage, outcome);
            assert_eq!(progress.in_turn(), next);
        }
        assert_eq!((progress.kept_at(1), progress.needed_at(1), progress.furthest), (2, 2, Some(2)));
    }
}
