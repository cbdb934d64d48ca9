//! The fewest stages from the start to the goal: shortest paths through all sessions that the family of sessions has.
//!
//! A state is (running of a session, longest run). A step leads to a state with no less of either, within the limits,
//! so states in order of both form a graph without cycles and each sum is found in one sweep.

use super::{Contradiction, DraftRequest, DraftStage};
use crate::prescription::lint::{Increments, Unit, exceeds};

/// A shorter last run is at least this long or has a third of the others: a crumb of a run is no run. Our choice.
const LEAST_REST_S: u32 = 60;
/// Finest multiples of running times, s. Our choice: nobody keeps a plan by the second.
pub(super) const FINEST_GRAIN_S: u32 = 5;

/// Gives the stages, or what stands in the way.
pub(super) fn fewest(request: &DraftRequest) -> Result<Vec<DraftStage>, Contradiction> {
    let graph = Graph::new(request);
    graph.fewest().ok_or_else(|| blocked(request, graph.furthest()))
}

/// Finds which limits, lifted one at a time, would open the way.
fn blocked(request: &DraftRequest, reached: DraftStage) -> Contradiction {
    type Lift = fn(&mut DraftRequest);
    let linter = Increments::default();
    let own = &request.increments;
    let mut lifts: Vec<(&'static str, Lift)> = Vec::new();
    if request.session_ceiling_s.is_some() {
        lifts.push(("--session-ceiling", |r| r.session_ceiling_s = None));
    }
    if request.weekly_increase.is_some() {
        lifts.push(("--weekly-increase", |r| r.weekly_increase = None));
    }
    if own.session_share < linter.session_share {
        lifts.push(("--session-increase", |r| {
            r.increments.session_share = Increments::default().session_share;
        }));
    }
    if own.session_s < linter.session_s {
        lifts.push(("--session-step", |r| r.increments.session_s = Increments::default().session_s));
    }
    if own.longest_share < linter.longest_share {
        lifts.push(("--longest-increase", |r| {
            r.increments.longest_share = Increments::default().longest_share;
        }));
    }
    if own.longest_s < linter.longest_s {
        lifts.push(("--longest-step", |r| r.increments.longest_s = Increments::default().longest_s));
    }
    if own.run_to_walk < linter.run_to_walk {
        lifts.push(("--run-walk-factor", |r| r.increments.run_to_walk = Increments::default().run_to_walk));
    }
    let opens = |(_, lift): &&(&'static str, Lift)| {
        let mut lifted = request.clone();
        lift(&mut lifted);
        Graph::new(&lifted).fewest().is_some()
    };
    let alone: Vec<&'static str> = lifts.iter().filter(opens).map(|(option, _)| *option).collect();
    let are_together = alone.is_empty();
    let options = if !are_together {
        alone
    } else if lifts.is_empty() {
        vec!["the lengths of the start", "the linter's limits"]
    } else {
        lifts.iter().map(|(option, _)| *option).collect()
    };
    Contradiction::NoWay { options, are_together, reached }
}

/// Steps to or from a state; `u32::MAX` when there is no way.
type Count = u32;
const NO_WAY: Count = u32::MAX;

struct Graph<'a> {
    request: &'a DraftRequest,
    /// Running of a session, s, rising.
    totals: Vec<u32>,
    /// Longest runs, s, rising.
    runs: Vec<u32>,
    /// For each total the first index of `totals` beyond what may follow.
    totals_end: Vec<usize>,
    /// Likewise for runs.
    runs_end: Vec<usize>,
    /// For each total and each run the steps that it alone needs at least to the goal's.
    least_steps: (Vec<Count>, Vec<Count>),
    /// For each state the runs of its session; 0 where it is none of the family or above the ceiling.
    counts: Vec<u32>,
}

impl<'a> Graph<'a> {
    fn new(request: &'a DraftRequest) -> Self {
        let (totals, runs) = amounts(request);
        let totals_end = ends(&totals, most_total(request));
        let runs_end = ends(&runs, |base| request.increments.most_longest(base, Unit::Seconds));
        let least_steps = (least_steps(&totals_end), least_steps(&runs_end));
        let states =
            totals.iter().flat_map(|&total_s| runs.iter().map(move |&run_s| DraftStage { total_s, run_s }));
        let counts = states.map(|stage| if is_session(request, stage) { stage.runs() } else { 0 }).collect();
        Self { request, totals, runs, totals_end, runs_end, least_steps, counts }
    }

    fn stage(&self, state: usize) -> DraftStage {
        DraftStage {
            total_s: self.totals[state / self.runs.len()],
            run_s: self.runs[state % self.runs.len()],
        }
    }

    fn last(&self) -> usize {
        self.totals.len() * self.runs.len() - 1
    }

    /// The states that may follow, in order.
    fn next(&self, state: usize) -> impl Iterator<Item = usize> {
        let (total, run) = (state / self.runs.len(), state % self.runs.len());
        let from = self.stage(state);
        let columns = (total..self.totals_end[total]).flat_map(move |next_total| {
            (run..self.runs_end[run]).map(move |next_run| next_total * self.runs.len() + next_run)
        });
        columns.filter(move |&next| {
            next != state && self.counts[next] > 0 && self.keeps_ratio(from, state, next)
        })
    }

    fn keeps_ratio(&self, from: DraftStage, state: usize, next: usize) -> bool {
        match (self.counts[state], self.counts[next]) {
            (_, 1) => true,
            // Once the run has no walk in it, none comes back. (A first session of one run is only a start.)
            (1, _) => state == 0,
            (before, after) => {
                // The walks are the same throughout, so run to walk goes as the mean run.
                let mean = |stage: DraftStage, runs: u32| f64::from(stage.total_s) / f64::from(runs);
                let most = mean(from, before) * self.request.increments.run_to_walk;
                !exceeds(mean(self.stage(next), after), most)
            }
        }
    }

    /// Steps that a state needs to the goal, at least.
    fn least_left(&self, state: usize) -> Count {
        let (totals, runs) = &self.least_steps;
        totals[state / self.runs.len()].max(runs[state % self.runs.len()])
    }

    /// Steps from the first state to each that may lie on a way of at most `most` steps, and whether any was passed
    /// over because it cannot.
    fn reach(&self, most: Count) -> (Vec<Count>, bool) {
        let mut steps = vec![NO_WAY; self.last() + 1];
        steps[0] = 0;
        let mut is_cut = false;
        for state in 0..=self.last() {
            if steps[state] == NO_WAY {
                continue;
            }
            if steps[state].saturating_add(self.least_left(state)) > most {
                is_cut |= self.least_left(state) != NO_WAY;
                continue;
            }
            for next in self.next(state) {
                steps[next] = steps[next].min(steps[state] + 1);
            }
        }
        (steps, is_cut)
    }

    /// The reachable state with most running.
    fn furthest(&self) -> DraftStage {
        let (steps, _) = self.reach(NO_WAY);
        self.stage((0..=self.last()).rfind(|&state| steps[state] != NO_WAY).unwrap_or(0))
    }

    /// The evenest of the shortest ways.
    fn fewest(&self) -> Option<Vec<DraftStage>> {
        let mut most = self.least_left(0);
        if most == NO_WAY {
            return None;
        }
        let steps = loop {
            let (steps, is_cut) = self.reach(most);
            if steps[self.last()] <= most {
                break steps;
            }
            if !is_cut {
                return None;
            }
            most += 1;
        };
        let ways = self.ways(&steps, most);
        let mut state = 0;
        let mut stages = vec![self.stage(0)];
        for left in (1..=most).rev() {
            state = ways[state].iter().find(|way| way.steps == left)?.next;
            stages.push(self.stage(state));
        }
        Some(stages)
    }

    /// For each state the cheapest way to the goal in each number of steps that a shortest way may have left there.
    fn ways(&self, reached: &[Count], steps: Count) -> Vec<Vec<Way>> {
        let mut ways: Vec<Vec<Way>> = vec![Vec::new(); self.last() + 1];
        ways[self.last()].push(Way { steps: 0, cost: 0.0, next: self.last() });
        for state in (0..self.last()).rev() {
            if reached[state].saturating_add(self.least_left(state)) > steps {
                continue;
            }
            let most = steps - reached[state];
            let mut found: Vec<Way> = Vec::new();
            for next in self.next(state) {
                for onward in &ways[next] {
                    let way =
                        Way { steps: onward.steps + 1, cost: onward.cost + self.cost(state, next), next };
                    if way.steps > most {
                        continue;
                    }
                    match found.iter_mut().find(|known| known.steps == way.steps) {
                        Some(known) if way.cost < known.cost => *known = way,
                        Some(_) => {}
                        None => found.push(way),
                    }
                }
            }
            ways[state] = found;
        }
        ways
    }

    /// What an uneven or odd step costs. Squares of equal parts have the least sum, so even steps cost least.
    fn cost(&self, state: usize, next: usize) -> f64 {
        /// A tenth's step is 0.01. Our choice: round lengths are easier to keep.
        const ODD: f64 = 0.01;
        const VERY_ODD: f64 = 0.05;
        /// A stage that could rise and does not costs more than any oddity. Our choice.
        const STAYS: f64 = 0.2;
        let (from, to) = (self.stage(state), self.stage(next));
        let step = |from: u32, to: u32| (f64::from(to) / f64::from(from)).ln().powi(2);
        let oddities = [
            (to.total_s % to.run_s != 0, ODD),
            (to.total_s % to.run_s != 0 && 3 * (to.total_s % to.run_s) < to.run_s, VERY_ODD),
            (to.run_s % 30 != 0, VERY_ODD),
            (to.run_s % 60 != 0 && to.run_s > 120, ODD),
            (to.total_s % 60 != 0, ODD),
            (self.request.is_rising && self.request.rises_from(from, to).is_none(), STAYS),
        ];
        let odd: f64 = oddities.into_iter().filter(|(is_odd, _)| *is_odd).map(|(_, cost)| cost).sum();
        step(from.total_s, to.total_s) + step(from.run_s, to.run_s) + odd
    }
}

/// Whether a session is in the family and within the ceiling.
fn is_session(request: &DraftRequest, stage: DraftStage) -> bool {
    let DraftStage { total_s, run_s } = stage;
    let rest_s = total_s % run_s;
    total_s >= run_s
        && (rest_s == 0 || rest_s >= LEAST_REST_S || 3 * rest_s >= run_s)
        && request.session_ceiling_s.is_none_or(|ceiling_s| request.takes_s(stage) <= ceiling_s)
}

/// Steps from each amount to the last when each goes as far as it may.
fn least_steps(ends: &[usize]) -> Vec<Count> {
    let mut steps = vec![NO_WAY; ends.len()];
    let last = ends.len() - 1;
    steps[last] = 0;
    for at in (0..last).rev() {
        if ends[at] > at + 1 {
            steps[at] = steps[ends[at] - 1].saturating_add(1);
        }
    }
    steps
}

/// One way from a state to the goal.
#[derive(Clone, Copy, Debug)]
struct Way {
    steps: Count,
    cost: f64,
    next: usize,
}

/// The most running of a session after a session with so much, s.
fn most_total(request: &DraftRequest) -> impl Fn(f64) -> f64 {
    let (increments, week_factor) = (request.increments, week_factor(request));
    move |base| {
        let session = increments.most_session(base, Unit::Seconds);
        week_factor.map_or(session, |factor| session.min(base * factor))
    }
}

/// Running of a session and longest runs that are looked at, each from the start's to the goal's.
pub(super) fn amounts(request: &DraftRequest) -> (Vec<u32>, Vec<u32>) {
    let (first, goal) = (request.first(), request.goal());
    let increments = &request.increments;
    let most_total = most_total(request);
    let total_step = |base: f64| most_total(base) - base;
    // Run to walk goes as the mean run, and most runs are as long as the longest.
    let run_step =
        |base: f64| increments.most_longest(base, Unit::Seconds).min(base * increments.run_to_walk) - base;
    (grained(first.total_s, goal.total_s, total_step), grained(first.run_s, goal.run_s, run_step))
}

/// `first`, round amounts, `goal`. An amount is a multiple of the coarsest grain of which a step from it holds two.
fn grained(first: u32, goal: u32, step: impl Fn(f64) -> f64) -> Vec<u32> {
    let grains_s: &[u32] = if goal > 3600 { &[60, 30, 10] } else { &[30, 10] };
    let is_round = |amount: &u32| {
        let step_s = step(f64::from(*amount));
        let grain_s = grains_s.iter().find(|grain_s| step_s >= f64::from(2 * **grain_s));
        amount.is_multiple_of(*grain_s.unwrap_or(&FINEST_GRAIN_S))
    };
    std::iter::once(first)
        .chain((first + 1..goal).filter(is_round))
        .chain([goal].into_iter().filter(|g| *g > first))
        .collect()
}

fn ends(amounts: &[u32], most: impl Fn(f64) -> f64) -> Vec<usize> {
    let end = |base: &u32| {
        let most = most(f64::from(*base));
        amounts.partition_point(|amount| !exceeds(f64::from(*amount), most))
    };
    amounts.iter().map(end).collect()
}

/// The factor that a step may have so that no week has more running than its limit allows after the week before.
///
/// Where a stage lasts a week or longer, a session has at most one step over the session a week earlier. Where a week
/// holds several stages, it has several, and each may be the root of the week's factor. Without a limit of the plan's
/// own, steps that fit a session fit the linter's week too, unless a week holds several stages.
fn week_factor(request: &DraftRequest) -> Option<f64> {
    let stages_a_week = request.sessions_per_week.div_ceil(request.sessions);
    let share = match request.weekly_increase {
        Some(share) => share,
        None if stages_a_week > 1 => request.increments.week_share,
        None => return None,
    };
    Some((1.0 + share).powf(1.0 / f64::from(stages_a_week)))
}
