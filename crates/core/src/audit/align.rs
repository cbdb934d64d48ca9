//! What was done against what was prescribed: the cheapest order-preserving matching of bouts and steps.
//!
//! Costs are seconds of mismatch ([`Costs`]). A *group* matches neighbouring bouts with one target, or with an odd
//! number of targets whose inner ones of the other gait were left out (two runs joined because the walk between is
//! missing; two walks joined because the run between is). Bouts outside every group lie before the first target,
//! after the last, or are rests between two. The search is exact up to the two limits on the size of a group, so its
//! cost grows with bouts × targets.

use crate::gait::{Bout, Gait};
use crate::prescription::Move;
use crate::range::Range;

/// Neighbours, from one up to before another.
pub(super) type Span = std::ops::Range<usize>;

/// Greatest number of bouts matched with one target. Our choice, as the next two: far beyond what a session needs.
const BOUTS_IN_GROUP: usize = 65;
/// Greatest number of bouts in a joined group: bouts of one gait with rests between.
const BOUTS_IN_JOINED: usize = 7;
/// Greatest number of targets joined into one group.
const TARGETS_IN_GROUP: usize = 65;

/// Greatest number of bouts times targets, of all layouts of a session and, where its stage is looked for, of all stages:
/// about 100 MB and 2 s. 2,000 of each are far beyond any session.
pub(super) const MOST_CELLS: usize = 4_000_000;

/// How a piece of the recording counts in the matching.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PieceKind {
    /// Running.
    Run,
    /// Walking.
    Walk,
    /// Standing, or the recorder's timer stopped.
    Rest,
    /// No usable data: could be anything.
    Hole,
}

/// A bout as the matching sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) kind: PieceKind,
    pub(super) bout: Bout,
}

impl Piece {
    fn length_s(&self) -> f64 {
        self.bout.duration_s()
    }

    pub(super) const fn is_moving(&self) -> bool {
        matches!(self.kind, PieceKind::Run | PieceKind::Walk)
    }

    /// Whether it is a stop of the recorder's timer.
    pub(super) fn is_pause(&self) -> bool {
        self.kind == PieceKind::Rest && self.bout.gait == Gait::Unknown
    }
}

/// Neighbouring prescribed steps of one gait, taken together: nothing marks where one ends and the next begins.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Target {
    pub(super) gait: Gait,
    /// Length in seconds, from the least to the most; for a distance as expected at the measured speed.
    pub(super) length_s: Range,
    /// The steps it stands for.
    pub(super) steps: Span,
    pub(super) place: TargetPlace,
}

/// Where in the session a target stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum TargetPlace {
    /// A walk before the first run.
    Lead,
    /// A walk after the last run.
    Trail,
    /// A run, or a walk between two.
    Inner,
}

/// Takes neighbouring steps of one gait together; `lengths_s` gives their lengths in seconds.
pub(super) fn targets(steps: &[(Move, Range)]) -> Vec<Target> {
    let mut targets: Vec<Target> = Vec::new();
    for (index, &(motion, length_s)) in steps.iter().enumerate() {
        let gait = gait_of(motion);
        match targets.last_mut() {
            Some(last) if last.gait == gait => {
                last.length_s += length_s;
                last.steps.end = index + 1;
            }
            _ => {
                targets.push(Target { gait, length_s, steps: index..index + 1, place: TargetPlace::Inner });
            }
        }
    }
    if let Some(last) = targets.last_mut().filter(|t| t.gait == Gait::Walk) {
        last.place = TargetPlace::Trail;
    }
    if let Some(first) = targets.first_mut().filter(|t| t.gait == Gait::Walk) {
        first.place = TargetPlace::Lead;
    }
    targets
}

pub(super) const fn gait_of(motion: Move) -> Gait {
    match motion {
        Move::Run => Gait::Run,
        // Standing fills a break as walking does.
        Move::Walk | Move::Rest => Gait::Walk,
    }
}

/// Costs of the matching: in seconds a second of mismatch unless said otherwise. Reasons in `docs/method-audit.md`.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Costs {
    /// A run shorter or longer than prescribed.
    pub run: f64,
    /// A walk break shorter than prescribed.
    pub walk_short: f64,
    /// A walk break longer than prescribed: no fault, so cheaper.
    pub walk_long: f64,
    /// A first or last walk shorter than prescribed: the watch may start late or stop early.
    pub end_walk_short: f64,
    /// A first or last walk longer than prescribed.
    pub end_walk_long: f64,
    /// Walking before and after everything; dearer than [`Costs::end_walk_long`], so that it counts as that walk.
    pub loose_walk: f64,
    /// Each left-out run or walk break, in seconds, besides its length at the rate for being short.
    pub missing_s: f64,
    /// Preference for leaving out later steps, seconds a step: it only breaks ties.
    pub missing_order_s: f64,
    /// Factor on being shorter, for a group that joins several targets.
    pub joined_short: f64,
    /// Standing inside a run.
    pub rest_in_run: f64,
    /// Walking inside a run, times the walking's certainty.
    pub walk_in_run: f64,
    /// Running inside a walk break, times the running's certainty.
    pub run_in_break: f64,
    /// Running before the first run or inside the first walk, times its certainty.
    pub run_before: f64,
    /// Running after the last run or inside the last walk, times its certainty.
    pub run_after: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self {
            run: 1.0,
            walk_short: 0.5,
            walk_long: 0.05,
            end_walk_short: 0.1,
            end_walk_long: 0.02,
            loose_walk: 0.03,
            missing_s: 5.0,
            missing_order_s: 0.01,
            joined_short: 3.0,
            rest_in_run: 0.2,
            walk_in_run: 1.5,
            run_in_break: 2.0,
            run_before: 1.5,
            run_after: 1.0,
        }
    }
}

/// Bouts matched with targets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Group {
    pub(super) pieces: Span,
    /// One, or an odd number of which every second is missing.
    pub(super) targets: Span,
}

/// A whole matching: groups in order; what is in none is loose (pieces) or missing (targets).
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Alignment {
    /// What it costs, in seconds of mismatch.
    pub(super) cost_s: f64,
    pub(super) groups: Vec<Group>,
}

/// Sums over the pieces of a group, s.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    own: f64,
    rest: f64,
    hole: f64,
    /// Time in the other gait, times its certainty.
    other: f64,
}

impl Sums {
    fn add(&mut self, piece: &Piece, gait: Gait) {
        let length = piece.length_s();
        match (piece.kind, gait) {
            (PieceKind::Run, Gait::Run) | (PieceKind::Walk, Gait::Walk) => self.own += length,
            (PieceKind::Rest, _) => self.rest += length,
            (PieceKind::Hole, _) => self.hole += length,
            _ => self.other += length * piece.bout.certainty,
        }
    }
}

impl Costs {
    /// Of leaving each target out. A first or last walk is cheap to leave out only where the recording begins or ends
    /// without a walk: a walk that is there is that walk, however short. The order is counted from `longest`, so that
    /// layouts that begin alike cost alike there.
    fn missing(&self, pieces: &[Piece], targets: &[Target], longest: usize) -> Vec<f64> {
        let is_walk = |p: Option<&Piece>| p.is_some_and(|p| p.kind == PieceKind::Walk);
        let begins_walking = is_walk(pieces.iter().find(|p| p.is_moving()));
        let ends_walking = is_walk(pieces.iter().rev().find(|p| p.is_moving()));
        let cost = |(index, target): (usize, &Target)| {
            let order = self.missing_order_s * longest.saturating_sub(index) as f64;
            let cut_off = match target.place {
                TargetPlace::Lead => !begins_walking,
                TargetPlace::Trail => !ends_walking,
                TargetPlace::Inner => false,
            };
            order
                + match target.gait {
                    _ if target.length_s.least <= 0.0 => 0.0, // what may be left out
                    Gait::Run => self.run * target.length_s.least + self.missing_s,
                    _ if cut_off => self.end_walk_short * target.length_s.least,
                    _ => self.walk_short * target.length_s.least + self.missing_s,
                }
        };
        targets.iter().enumerate().map(cost).collect()
    }

    /// Of a piece that is in no group, or `None` where it may not be loose.
    fn loose(&self, piece: &Piece, targets_done: usize, targets: usize) -> Option<f64> {
        let before = targets_done == 0;
        let after = targets_done == targets;
        match piece.kind {
            PieceKind::Rest | PieceKind::Hole => Some(0.0),
            PieceKind::Walk if before || after => Some(self.loose_walk * piece.length_s()),
            // With no target at all everything is both before and after.
            PieceKind::Run if after => Some(self.run_after * piece.length_s() * piece.bout.certainty),
            PieceKind::Run if before => Some(self.run_before * piece.length_s() * piece.bout.certainty),
            PieceKind::Run | PieceKind::Walk => None,
        }
    }

    /// Of matching pieces with these sums with a length within `want_s`.
    fn matched(&self, gait: Gait, place: TargetPlace, sums: Sums, want_s: Range, joined: bool) -> f64 {
        let rest_counts = if gait == Gait::Walk { sums.rest } else { 0.0 };
        let short = (want_s.least - sums.own - sums.hole - rest_counts).max(0.0);
        let long = (sums.own - want_s.most).max(0.0);
        let (short_rate, long_rate, other_rate) = match (gait, place) {
            (Gait::Run, _) => (self.run, self.run, self.walk_in_run),
            (_, TargetPlace::Inner) => (self.walk_short, self.walk_long, self.run_in_break),
            (_, TargetPlace::Lead) => (self.end_walk_short, self.end_walk_long, self.run_before),
            (_, TargetPlace::Trail) => (self.end_walk_short, self.end_walk_long, self.run_after),
        };
        let short_factor = if joined { self.joined_short } else { 1.0 };
        let rest = if gait == Gait::Run { self.rest_in_run * sums.rest } else { 0.0 };
        short_rate * short_factor * short + long_rate * long + other_rate * sums.other + rest
    }

    /// Of joining a target with one before it, besides what was left out between: what need not be done is rather left out.
    fn joining(&self, target: &Target) -> f64 {
        if target.length_s.least > 0.0 { 0.0 } else { self.missing_s }
    }

    /// Cost of one group, or `None` when it is not allowed.
    #[cfg(test)]
    fn group(&self, pieces: &[Piece], targets: &[Target], group: &Group) -> Option<f64> {
        let left_out = self.missing(pieces, targets, targets.len());
        let inside = pieces.get(group.pieces.clone())?;
        let (first, last) = (targets.get(group.targets.start)?, targets.get(group.targets.end - 1)?);
        if !fits(inside, first) || group.targets.len().is_multiple_of(2) {
            return None;
        }
        let joined = group.targets.len() > 1;
        if joined && !inside.iter().all(|p| can_join(p, first.gait)) {
            return None;
        }
        let mut sums = Sums::default();
        for piece in inside {
            sums.add(piece, first.gait);
        }
        let mut want_s = Range::exactly(0.0);
        let mut missing = 0.0;
        for j in group.targets.clone() {
            if targets[j].gait == first.gait {
                want_s += targets[j].length_s;
                missing += if j > group.targets.start { self.joining(&targets[j]) } else { 0.0 };
            } else {
                missing += left_out[j];
            }
        }
        Some(missing + self.matched(first.gait, joint_place(first, last), sums, want_s, joined))
    }
}

/// Whether a piece may be first or last in a group for this target.
fn may_bound(piece: &Piece, target: &Target) -> bool {
    match (target.gait, piece.kind) {
        (Gait::Run, PieceKind::Run) | (Gait::Walk, PieceKind::Walk) => true,
        (Gait::Walk, PieceKind::Rest | PieceKind::Hole) => target.place == TargetPlace::Inner,
        _ => false,
    }
}

#[cfg(test)]
fn fits(pieces: &[Piece], target: &Target) -> bool {
    let bounds = [pieces.first(), pieces.last()];
    bounds.into_iter().all(|p| p.is_some_and(|p| may_bound(p, target)))
}

/// Whether a piece may be in a joined group.
fn can_join(piece: &Piece, gait: Gait) -> bool {
    match piece.kind {
        PieceKind::Run => gait == Gait::Run,
        PieceKind::Walk => gait == Gait::Walk,
        PieceKind::Rest | PieceKind::Hole => true,
    }
}

/// Place of a group from its first to its last target.
fn joint_place(first: &Target, last: &Target) -> TargetPlace {
    if first.place == TargetPlace::Inner { last.place } else { first.place }
}

/// Work of matching so many bouts with so many targets.
pub(super) fn cells(pieces: usize, targets: usize) -> usize {
    (pieces + 1).saturating_mul(targets + 1)
}

/// Finds the cheapest matchings of the same pieces with one list of targets after another. What a list has in common with the one
/// before, from its beginning on, is not matched again.
pub(super) struct Aligner<'a> {
    pieces: &'a [Piece],
    costs: &'a Costs,
    /// Targets of the longest list.
    longest: usize,
    /// The list that the table is of.
    targets: Vec<Target>,
    table: Table,
}

impl<'a> Aligner<'a> {
    /// For lists of so many targets at most.
    pub(super) fn new(pieces: &'a [Piece], costs: &'a Costs, longest: usize) -> Self {
        Self { pieces, costs, longest, targets: Vec::new(), table: Table::new(pieces.len()) }
    }

    /// Finds the cheapest matching. `None` when there is too much to match in reasonable time and memory
    /// ([`MOST_CELLS`]).
    pub(super) fn align(&mut self, targets: &[Target]) -> Option<Alignment> {
        if cells(self.pieces.len(), targets.len()) > MOST_CELLS {
            return None;
        }
        // The last target is held for the end, which it may not be in the other list.
        let same = self.targets.iter().zip(targets).take_while(|(before, now)| before == now).count();
        let known = same.min(self.targets.len().min(targets.len()).saturating_sub(1));
        if self.targets.is_empty() || targets.is_empty() {
            self.table = Table::new(self.pieces.len()); // with no target at all everything is after the last
        }
        self.table.begin(known, targets.len());
        let missing = self.costs.missing(self.pieces, targets, self.longest);
        for j in 0..=targets.len() {
            self.column(j, known, targets, &missing);
        }
        self.targets = targets.to_vec();
        Some(self.table.backtracked())
    }

    /// Offers every step from the states in which `j` targets are used up to those in which more than `known` are, or `j`.
    fn column(&mut self, j: usize, known: usize, targets: &[Target], missing: &[f64]) {
        if j < known && (j + TARGETS_IN_GROUP).min(targets.len()) <= known {
            return;
        }
        for i in 0..=self.pieces.len() {
            let here = self.table.cost(i, j);
            if !here.is_finite() {
                continue;
            }
            if j >= known
                && let Some(piece) = self.pieces.get(i)
                && let Some(cost) = self.costs.loose(piece, j, targets.len())
            {
                self.table.offer((i, j), (i + 1, j), here + cost);
            }
            if let Some(left_out) = missing.get(j) {
                if j >= known {
                    self.table.offer((i, j), (i, j + 1), here + left_out);
                }
                self.offer_groups((i, j), known, targets, missing);
            }
        }
    }

    /// Offers every group that begins with piece `i` and target `j` and ends after more than `known` targets.
    fn offer_groups(&mut self, (i, j): (usize, usize), known: usize, targets: &[Target], missing: &[f64]) {
        let (pieces, costs) = (self.pieces, self.costs);
        let target = &targets[j];
        if !pieces.get(i).is_some_and(|p| may_bound(p, target)) {
            return;
        }
        let here = self.table.cost(i, j);
        let mut sums = Sums::default();
        let mut joinable = true;
        for (offset, piece) in pieces[i..].iter().take(BOUTS_IN_GROUP).enumerate() {
            sums.add(piece, target.gait);
            joinable &= can_join(piece, target.gait) && offset < BOUTS_IN_JOINED;
            if !joinable && j < known {
                return;
            }
            if !may_bound(piece, target) {
                continue;
            }
            let end = i + offset + 1;
            if j >= known {
                let cost = costs.matched(target.gait, target.place, sums, target.length_s, false);
                self.table.offer((i, j), (end, j + 1), here + cost);
            }
            if !joinable {
                continue;
            }
            let mut want_s = target.length_s;
            let mut left_out = 0.0;
            let last_target = (j + TARGETS_IN_GROUP).min(targets.len());
            for k in (j + 2..last_target).step_by(2) {
                left_out += missing[k - 1];
                want_s += targets[k].length_s;
                left_out += costs.joining(&targets[k]);
                if k < known {
                    continue;
                }
                let place = joint_place(target, &targets[k]);
                let cost = left_out + costs.matched(target.gait, place, sums, want_s, true);
                self.table.offer((i, j), (end, k + 1), here + cost);
            }
        }
    }
}

/// Least cost of having used up `i` pieces and `j` targets, and the way there; a column for each `j`.
struct Table {
    height: usize,
    cost: Vec<f64>,
    from: Vec<(usize, usize)>,
}

impl Table {
    fn new(pieces: usize) -> Self {
        Self { height: pieces + 1, cost: Vec::new(), from: Vec::new() }
    }

    /// Keeps what is known up to so many targets, and makes room for all.
    fn begin(&mut self, known: usize, targets: usize) {
        let (kept, cells) = ((known + 1) * self.height, (targets + 1) * self.height);
        let is_first = self.cost.is_empty();
        self.cost.truncate(kept);
        self.from.truncate(kept);
        self.cost.resize(cells, f64::INFINITY);
        self.from.resize(cells, (0, 0));
        if is_first {
            self.cost[0] = 0.0;
        }
    }

    fn cost(&self, i: usize, j: usize) -> f64 {
        self.cost[j * self.height + i]
    }

    /// Of ways that cost the same, the one from fewer pieces is taken, then from fewer targets.
    fn offer(&mut self, from: (usize, usize), to: (usize, usize), cost: f64) {
        let at = to.1 * self.height + to.0;
        let known = self.cost[at];
        if cost < known || (cost == known && from < self.from[at]) {
            self.cost[at] = cost;
            self.from[at] = from;
        }
    }

    /// The matching that leads to the last cell.
    fn backtracked(&self) -> Alignment {
        let mut at = (self.height - 1, self.cost.len() / self.height - 1);
        let cost_s = self.cost(at.0, at.1);
        let mut groups = Vec::new();
        while at != (0, 0) {
            let from = self.from[at.1 * self.height + at.0];
            if at.0 > from.0 && at.1 > from.1 {
                groups.push(Group { pieces: from.0..at.0, targets: from.1..at.1 });
            }
            at = from;
        }
        groups.reverse();
        Alignment { cost_s, groups }
    }
}

#[cfg(test)]
mod tests;
