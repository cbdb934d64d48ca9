//! How the doses go from stage to stage and from week to week.

use super::increments::{Increments, Unit, exceeds};
use super::{LintCode, LintConfig, Remark, RemarkUnit};
use crate::prescription::figures::Figures;
use crate::prescription::{Plan, PlannedWeek};

/// Days within which an earlier stage counts (Frandsen et al. 2025: the longest run of the 30 days before).
const WINDOW_DAYS: f64 = 30.0;
/// Weeks of absence from which a return starts from the beginning: three months. Common practice, no source.
pub const LONG_ABSENCE_WEEKS: u32 = 13;
/// Longest run of a first stage that counts as the beginning, s: that of the published programme with the longest
/// one (phase 1 of Trials 2023, doi 10.1186/s13063-023-07502-x).
pub const BEGINNING_LONGEST_RUN_S: f64 = 180.0;
/// Most sessions of a week in the early stages. Common practice, no source.
pub const EARLY_SESSIONS_PER_WEEK: u32 = 3;
/// A stage whose longest run is shorter than this is an early one, s. Our choice.
pub const EARLY_LONGEST_RUN_S: f64 = 600.0;
/// Fall from the stage before that is let pass, as a fraction. Our choice: as much as may be added.
const LEAST_FALL: f64 = 0.1;
/// Stages between that are proposed at most. Our choice: more are the drafter's.
const MOST_BETWEEN: usize = 12;
/// Amounts of proposed stages are rounded down to this, s. Our choice: people keep quarters of a minute.
const GRAIN_S: f64 = 15.0;
/// Likewise of stages by distance, m. Our choice.
const GRAIN_M: f64 = 10.0;

pub(super) fn remarks(plan: &Plan, figures: &[Figures], config: LintConfig) -> Vec<Remark> {
    let mut found = Vec::new();
    start(plan, figures, config, &mut found);
    sessions(plan, figures, &mut found);
    let progression = Progression { plan, figures, days: plan.days(), increments: Increments::default() };
    for index in 1..plan.stages.len() {
        progression.rises(index, &mut found);
        progression.falls(index, &mut found);
    }
    weeks(plan, figures, &mut found);
    found
}

fn start(plan: &Plan, figures: &[Figures], config: LintConfig, found: &mut Vec<Remark>) {
    if config.weeks_away.is_some_and(|weeks| weeks < LONG_ABSENCE_WEEKS) {
        return;
    }
    let first = plan.stages.iter().zip(figures).find(|(_, figures)| figures.runs > 0);
    if let Some((stage, figures)) = first.filter(|(_, f)| exceeds(f.longest_run_s, BEGINNING_LONGEST_RUN_S)) {
        let remark = Remark::new(LintCode::StartNotAtBeginning, &stage.name, RemarkUnit::Seconds)
            .held(figures.longest_run_s, BEGINNING_LONGEST_RUN_S);
        found.push(Remark { is_estimated: !figures.is_run_exact, ..remark });
    }
}

fn sessions(plan: &Plan, figures: &[Figures], found: &mut Vec<Remark>) {
    let last = plan.stages.len() - 1;
    for (index, (stage, figures)) in plan.stages.iter().zip(figures).enumerate() {
        // Nothing follows the last stage, so that it need not say when to move on.
        if stage.sessions.is_none() && stage.weeks.is_none() && index < last {
            found.push(Remark::new(LintCode::StageSessionsMissing, &stage.name, RemarkUnit::Sessions));
        }
        if figures.runs == 0 {
            continue;
        }
        match stage.limits.sessions_per_week {
            None => {
                found.push(Remark::new(LintCode::SessionsPerWeekMissing, &stage.name, RemarkUnit::Sessions));
            }
            Some(week)
                if week.most > EARLY_SESSIONS_PER_WEEK && figures.longest_run_s < EARLY_LONGEST_RUN_S =>
            {
                found.push(
                    Remark::new(LintCode::ManySessionsEarly, &stage.name, RemarkUnit::Sessions)
                        .held(f64::from(week.most), f64::from(EARLY_SESSIONS_PER_WEEK)),
                );
            }
            Some(_) => {}
        }
    }
}

/// One of the two amounts of running that are compared.
#[derive(Clone, Copy)]
enum Amount {
    Session,
    Longest,
}

impl Amount {
    /// `(seconds, metres where known)`
    fn of(self, figures: &Figures) -> (f64, Option<f64>) {
        match self {
            Self::Session => (figures.run_s, figures.run_m),
            Self::Longest => (figures.longest_run_s, figures.longest_run_m),
        }
    }
}

/// Two amounts in one unit: in metres when both are by distance.
struct Pair {
    before: f64,
    now: f64,
    unit: Unit,
    is_estimated: bool,
}

fn pair(before: &Figures, now: &Figures, amount: Amount) -> Pair {
    match (amount.of(before), amount.of(now)) {
        ((_, Some(before)), (_, Some(now))) => Pair { before, now, unit: Unit::Metres, is_estimated: false },
        ((before_s, _), (now_s, _)) => Pair {
            before: before_s,
            now: now_s,
            unit: Unit::Seconds,
            is_estimated: !(before.is_run_exact && now.is_run_exact),
        },
    }
}

struct Progression<'a> {
    plan: &'a Plan,
    figures: &'a [Figures],
    days: Vec<(f64, f64)>,
    increments: Increments,
}

impl Progression<'_> {
    fn name(&self, index: usize) -> &str {
        &self.plan.stages[index].name
    }

    /// The earlier stages that count for a stage: those of the last 30 days, and always the one before.
    fn window(&self, index: usize) -> impl DoubleEndedIterator<Item = usize> {
        let from = self.days[index].0 - WINDOW_DAYS;
        let first = (0..index).find(|&earlier| self.days[earlier].1 >= from).unwrap_or(index - 1);
        first..index
    }

    fn rises(&self, index: usize, found: &mut Vec<Remark>) {
        self.jump(index, Amount::Session, found);
        self.jump(index, Amount::Longest, found);
        let ratio = |index: usize| self.figures[index].run_to_walk;
        let most = self
            .window(index)
            .filter_map(|earlier| Some((earlier, ratio(earlier)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let (Some((earlier, base)), Some(now)) = (most, ratio(index))
            && exceeds(now, base * self.increments.run_to_walk)
        {
            let limit = base * self.increments.run_to_walk;
            let remark =
                Remark::new(LintCode::RunWalkJump, self.name(index), RemarkUnit::Ratio).held(now, limit);
            let between = between(base, now, |base| base * self.increments.run_to_walk, 0.0);
            found.push(Remark {
                after: Some(self.name(earlier).to_owned()),
                base: Some(base),
                between,
                ..remark
            });
        }
    }

    fn jump(&self, index: usize, amount: Amount, found: &mut Vec<Remark>) {
        let now = &self.figures[index];
        let most = self
            .window(index)
            .max_by(|a, b| amount.of(&self.figures[*a]).0.total_cmp(&amount.of(&self.figures[*b]).0));
        let Some(earlier) = most.filter(|earlier| self.figures[*earlier].runs > 0) else { return };
        let Pair { before, now, unit, is_estimated } = pair(&self.figures[earlier], now, amount);
        let limit_after = |base: f64| match amount {
            Amount::Session => self.increments.most_session(base, unit),
            Amount::Longest => self.increments.most_longest(base, unit),
        };
        if !exceeds(now, limit_after(before)) {
            return;
        }
        let code = match amount {
            Amount::Session => LintCode::SessionRunningJump,
            Amount::Longest => LintCode::LongestRunJump,
        };
        let grain = match unit {
            Unit::Seconds => GRAIN_S,
            Unit::Metres => GRAIN_M,
        };
        found.push(Remark {
            after: Some(self.name(earlier).to_owned()),
            base: Some(before),
            between: between(before, now, limit_after, grain),
            is_estimated,
            ..Remark::new(code, self.name(index), unit.into()).held(now, limit_after(before))
        });
    }

    fn falls(&self, index: usize, found: &mut Vec<Remark>) {
        let place = self.plan.stages[index].place;
        let Some(before_place) = place.checked_sub(1) else { return };
        if index != self.plan.kinds_at(place).start {
            return; // the kinds of one stage are looked at together
        }
        for (code, amount) in
            [(LintCode::RunningFalls, Amount::Session), (LintCode::LongestRunFalls, Amount::Longest)]
        {
            let of = |index: &usize| amount.of(&self.figures[*index]).0;
            let longest = |kinds: std::ops::Range<usize>| kinds.max_by(|a, b| of(a).total_cmp(&of(b)));
            let (before, now) =
                (longest(self.plan.kinds_at(before_place)), longest(self.plan.kinds_at(place)));
            let (Some(before), Some(now)) = (before, now) else { return };
            let pair = pair(&self.figures[before], &self.figures[now], amount);
            let least = pair.before * (1.0 - LEAST_FALL);
            if exceeds(least, pair.now) {
                // Where it would stand if stages were in the order of this amount.
                let rank = |index: usize| amount.of(&self.figures[index]).0;
                let before_which = (0..index).find(|&earlier| rank(earlier) > rank(now)).unwrap_or(before);
                found.push(Remark {
                    after: Some(self.name(before_which).to_owned()),
                    base: Some(pair.before),
                    is_estimated: pair.is_estimated,
                    ..Remark::new(code, self.name(now), pair.unit.into()).held(pair.now, least)
                });
                return; // both fall together as a rule: one remark is enough
            }
        }
    }
}

/// The amounts of stages between `base` and `value`, each the most after the one before, rounded down to `grain`.
fn between(base: f64, value: f64, limit_after: impl Fn(f64) -> f64, grain: f64) -> Vec<f64> {
    let mut amounts = Vec::new();
    let mut last = base;
    while exceeds(value, limit_after(last)) && amounts.len() < MOST_BETWEEN {
        let most = limit_after(last);
        let rounded = if grain > 0.0 { (most / grain).floor() * grain } else { most };
        let next = if rounded > last { rounded } else { most };
        if next <= last {
            break;
        }
        amounts.push(next);
        last = next;
    }
    amounts
}

/// A week whose running rises by more than its limit.
pub(in crate::prescription) struct WeekOver {
    /// Counted from 1.
    number: usize,
    /// The stages of the week before, by index, one a session.
    pub(in crate::prescription) before: Vec<usize>,
    /// The stages of the week, likewise.
    sessions: Vec<usize>,
    before_s: f64,
    now_s: f64,
    limit_s: f64,
}

/// The running of each session of each week, s: of a count that rises with the number that is due.
fn running_of_weeks(plan: &Plan, figures: &[Figures], weeks: &[PlannedWeek]) -> Vec<Vec<f64>> {
    let mut place = None;
    let mut number = 0;
    let mut of = |index: usize| {
        let stage = &plan.stages[index];
        number = if place == Some(stage.place) { number + 1 } else { 0 };
        place = Some(stage.place);
        stage.session.due_after(number).map_or(figures[index].run_s, |due| due.session.figures().most.run_s)
    };
    weeks.iter().map(|week| week.sessions.iter().map(|&index| of(index)).collect()).collect()
}

/// The weeks whose running rises by more than their limit over the week before.
pub(in crate::prescription) fn weeks_over(plan: &Plan, figures: &[Figures]) -> Vec<WeekOver> {
    let (increments, weeks) = (Increments::default(), plan.weeks());
    let running = running_of_weeks(plan, figures, &weeks);
    let mut over = Vec::new();
    for (pair, sums) in weeks.windows(2).zip(running.windows(2)) {
        let ([before, week], [before_s, now_s]) = (pair, sums) else { continue };
        let (before_s, now_s): (f64, f64) = (before_s.iter().sum(), now_s.iter().sum());
        // A first week that is still partly for walking is no measure of the next.
        if before.sessions.iter().any(|&stage| figures[stage].runs == 0) {
            continue;
        }
        // The strictest limit of the stages that the week holds.
        let own = week
            .sessions
            .iter()
            .filter_map(|&stage| plan.stages[stage].limits.weekly_running_increase)
            .min_by(f64::total_cmp);
        let limit_s = own.map_or_else(
            || increments.most_week_s(before_s, week.sessions.len()),
            |increase| before_s * (1.0 + increase),
        );
        if exceeds(now_s, limit_s) {
            let (before, sessions) = (before.sessions.clone(), week.sessions.clone());
            over.push(WeekOver { number: week.number, before, sessions, before_s, now_s, limit_s });
        }
    }
    over
}

fn weeks(plan: &Plan, figures: &[Figures], found: &mut Vec<Remark>) {
    for over in weeks_over(plan, figures) {
        let Some(&last) = over.sessions.last() else { continue };
        let all = over.before.iter().chain(&over.sessions);
        found.push(Remark {
            week: Some(over.number),
            base: Some(over.before_s),
            is_estimated: all.into_iter().any(|&stage| !figures[stage].is_run_exact),
            ..Remark::new(LintCode::WeeklyRunningJump, &plan.stages[last].name, RemarkUnit::Seconds)
                .held(over.now_s, over.limit_s)
        });
    }
}
