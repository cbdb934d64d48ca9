//! The stages of a draft as a plan has them: counts that rise, ranges, kinds of session.
//!
//! What is found first is a plan of exact sessions that stay the same within a stage. Each of the three forms then only ever
//! asks for less than that plan at some time, so that what the linter lets pass stays within its limits: a rise ends with
//! the stage's count, a range with its length, and a week of two kinds keeps easier sessions beside the new one.

use super::{Contradiction, DraftRequest, DraftStage};
use crate::prescription::bounds::WAYS;
use crate::prescription::expand::work;
use crate::prescription::plan::{MOST_STAGES, MOST_WORK};
use crate::prescription::{
    Count, Extent, Item, Kind, Limits, Move, Plan, Runner, Session, Stage, Tolerance, lint,
};
use crate::range::Range;
use jogaudit_recording::units::Seconds;

/// What a draft says to the runner, who has no ceiling in it: common practice, no source.
const NOTE: &str = "Run so slowly that you can talk in whole sentences.";
/// The second run of a session with a range is at least this long, or whole: two runs tell it from one. Our choice.
const SECOND_RUN_S: u32 = 60;

/// The widest range in which runs and walks of these lengths end in no more ways than a session may have, s.
pub(super) fn widest_s(run_s: u32, walk_s: u32) -> u32 {
    // Each round has two ends, and the ends of the range may both lie inside one.
    (WAYS.most as u32 / 2 - 1) * (run_s + walk_s)
}

fn bout(motion: Move, least_s: u32, most_s: u32) -> Item {
    let extent = |seconds: u32| Extent::Time(Seconds::new(f64::from(seconds)));
    Item::Interval { motion, extent: Range { least: extent(least_s), most: extent(most_s) }, ceiling: None }
}

/// The session of a stage, and from which count it rises.
#[derive(Clone, Copy, Debug)]
struct Form {
    stage: DraftStage,
    rises_from: Option<u32>,
}

impl DraftRequest {
    /// Runs and walks between warm-up and cool-down.
    fn between(&self, form: Form) -> Vec<Item> {
        let DraftStage { total_s, run_s } = form.stage;
        let is_first = form.stage == self.first();
        let (full, rest_s) = (total_s / run_s, total_s % run_s);
        let cycle = vec![bout(Move::Run, run_s, run_s), bout(Move::Walk, self.walk_s, self.walk_s)];
        if full == 1 && rest_s == 0 && !is_first {
            return vec![bout(Move::Run, run_s, run_s)];
        }
        if let Some(item) = self.whole(form.stage, &cycle) {
            return vec![item];
        }
        let mut items = if full == 1 {
            cycle
        } else {
            let times = form.rises_from.map_or(full.into(), |first| Count::Rising { first, last: full });
            vec![Item::Repeat { times, items: cycle }]
        };
        if rest_s > 0 {
            items.push(bout(Move::Run, rest_s, rest_s));
        }
        items
    }

    /// The same alternation for a time from a least to a most, where sessions may take less than their most.
    fn whole(&self, stage: DraftStage, cycle: &[Item]) -> Option<Item> {
        let around_s = self.warm_up_s + self.cool_down_s;
        let most_s = self.takes_s(stage) - around_s;
        let narrower_s = self.session_s - self.session_least_s?;
        let least_s = if stage == self.first() {
            self.session_least_s?.saturating_sub(around_s)
        } else {
            let two_runs_s = stage.run_s + self.walk_s + stage.run_s.min(SECOND_RUN_S);
            most_s.saturating_sub(narrower_s).max(two_runs_s)
        };
        let extent = |seconds: u32| Extent::Time(Seconds::new(f64::from(seconds)));
        let extent = Range { least: extent(least_s), most: extent(most_s) };
        (least_s < most_s).then(|| Item::Until { extent, items: cycle.to_vec() })
    }

    fn session(&self, form: Form) -> Session {
        let walk = |seconds: u32| Some(bout(Move::Walk, seconds, seconds)).filter(|_| seconds > 0);
        let between = self.between(form);
        let items = walk(self.warm_up_s).into_iter().chain(between).chain(walk(self.cool_down_s));
        Session { items: items.collect() }
    }

    /// From which counts the stages rise: none where a stage has no equal runs, or no fewer of them would still be as much
    /// running as the stage before has.
    fn rises(&self, stages: &[DraftStage]) -> Vec<Option<u32>> {
        let mut rises = vec![None; stages.len()];
        for (at, pair) in stages.windows(2).enumerate().filter(|_| self.is_rising) {
            let [before, stage] = pair else { continue };
            rises[at + 1] = self.rises_from(*before, *stage);
        }
        rises
    }

    /// The count that a stage begins with after another, if it can rise.
    pub(super) fn rises_from(&self, before: DraftStage, stage: DraftStage) -> Option<u32> {
        let last = stage.total_s / stage.run_s;
        let first = before.total_s.div_ceil(stage.run_s).max((last + 1).saturating_sub(self.sessions)).max(2);
        (stage.total_s.is_multiple_of(stage.run_s) && first < last).then_some(first)
    }

    /// Writes the plan. A rise that would let a later week grow beyond its limit begins higher.
    pub(super) fn plan(&self, stages: &[DraftStage]) -> Result<Plan, Contradiction> {
        let kinds_from = self.kinds_from(stages)?;
        let mut rises = self.rises(stages);
        let plan = loop {
            let plan = self.plan_with(stages, &rises, kinds_from);
            let Some(over) = lint::weeks_over(&plan).into_iter().next() else { break plan };
            // The week before has too little: its stages begin their rise higher.
            let before = over.before.iter().filter_map(|&index| plan.stages.get(index));
            let mut has_changed = false;
            for place in before.map(|stage| stage.place) {
                if let (Some(Some(first)), Some(stage)) = (rises.get(place).copied(), stages.get(place)) {
                    let next = Some(first + 1).filter(|first| *first < stage.total_s / stage.run_s);
                    rises[place] = next;
                    has_changed = true;
                }
            }
            if !has_changed {
                break plan;
            }
        };
        let steps = plan.stages.iter().map(|stage| work(&stage.session)).fold(0, usize::saturating_add);
        if plan.places() > MOST_STAGES || steps > MOST_WORK {
            return Err(Contradiction::TooLong);
        }
        Ok(plan)
    }

    /// The first stage whose run has no walk: from there on a week has two kinds of session, if it shall.
    fn kinds_from(&self, stages: &[DraftStage]) -> Result<Option<usize>, Contradiction> {
        if !self.has_kinds {
            return Ok(None);
        }
        let from = stages.iter().skip(1).position(|stage| stage.runs() == 1).map(|at| at + 1);
        match from.map(|from| (from, stages[from - 1].runs())) {
            Some((from, 2..)) => Ok(Some(from)),
            _ => Err(Contradiction::KindsAlike),
        }
    }

    fn plan_with(&self, stages: &[DraftStage], rises: &[Option<u32>], kinds_from: Option<usize>) -> Plan {
        let exact = stages.len().min(kinds_from.unwrap_or(usize::MAX));
        let forms: Vec<Form> =
            stages.iter().zip(rises).map(|(&stage, &rises_from)| Form { stage, rises_from }).collect();
        let limits = Limits {
            sessions_per_week: Some(Range::exactly(self.sessions_per_week)),
            rest_days_between: Some(self.rest_days),
            weekly_running_increase: self.weekly_increase,
            session_ceiling: self.session_ceiling_s.map(|s| Seconds::new(f64::from(s))),
            ..Limits::default()
        };
        let stage = |place: usize, form: Form| Stage {
            place,
            kind: None,
            weeks: None,
            name: (place + 1).to_string(),
            session: self.session(form),
            sessions: Some(self.sessions),
            limits: limits.clone(),
            note: None,
            contact: None,
        };
        let mut planned: Vec<Stage> =
            forms.iter().take(exact).enumerate().map(|(place, form)| stage(place, *form)).collect();
        // A week of two kinds begins with a week: the stage before fills its last one.
        let open = (exact as u32 * self.sessions) % self.sessions_per_week;
        if let (Some(last), 1.., Some(_)) = (planned.last_mut(), open, kinds_from) {
            last.sessions = Some(self.sessions + self.sessions_per_week - open);
        }
        let easier = forms.get(exact.saturating_sub(1)).map(|form| Form { rises_from: None, ..*form });
        for (place, form) in forms.iter().enumerate().skip(exact) {
            let kinds =
                [("run-walk", easier.unwrap_or(*form), self.sessions_per_week - 1), ("steady", *form, 1)];
            planned.extend(kinds.map(|(name, form, a_week)| Stage {
                kind: Some(Kind { name: name.to_owned(), a_week: Range::exactly(a_week) }),
                name: format!("{}/{name}", place + 1),
                sessions: None,
                weeks: Some(self.sessions.div_ceil(self.sessions_per_week)),
                ..stage(place, form)
            }));
        }
        Plan {
            title: self.title.clone(),
            timezone: None,
            units: None,
            start: self.start,
            weekdays: self.weekdays.clone(),
            note: Some(NOTE.to_owned()),
            contact: None,
            runner: Runner::default(),
            tolerance: Tolerance::default(),
            stages: planned,
            other: Vec::new(),
        }
    }
}
