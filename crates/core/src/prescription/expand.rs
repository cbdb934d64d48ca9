//! A session as written → the steps to do, as far as the words alone settle them.
//!
//! `for 24:00 (run 0:50, walk 2:10)` is settled: it is cut exactly. `for 1.5 mi (run 0:50, walk 1:10)` is not: how many
//! steps it takes depends on how fast they are done. Nor are `for 22:00 to 28:00 ( … )` and `5 to 6 x ( … )`: they may end
//! in one of several steps. Such a part stays a [`Block`] of its own; [`Expansion::ways_at`] lays out every way in which
//! the session may be done at assumed speeds, [`Expansion::steps_at`] the least or the most.

use jogaudit_recording::units::{MetresPerSecond, Seconds};

use super::bounds::{SESSION_DISTANCE, SESSION_TIME, STEPS, WAYS};
use super::{Count, Extent, Item, Move, Session, Step};
use crate::range::Range;

/// A part of an unrolled session.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// These steps, in order.
    Steps(Vec<Step>),
    /// The cycle over and over until the extent is reached; the last step is cut there. The extent is a range, or it and
    /// the cycle mix time and distance: else it would have been cut exactly and stand under [`Block::Steps`].
    Until {
        /// The whole.
        extent: Range<Extent>,
        /// What alternates: never empty, at least two kinds of step, exact figures.
        cycle: Vec<Step>,
    },
    /// These steps so often: the ends differ, else they would stand under [`Block::Steps`].
    Times {
        /// How often.
        times: Range<u32>,
        /// What is repeated.
        once: Expansion,
    },
}

/// A session unrolled: fixed parts and open parts in turn.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expansion {
    /// The parts in order; two fixed parts never follow each other.
    pub blocks: Vec<Block>,
}

/// A whole by time with steps by distance: when it is over is told by a clock, which step that is in by how fast they are done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WholeByTime<'a> {
    /// How long it is, s.
    pub time_s: Range,
    /// What alternates.
    pub cycle: &'a [Step],
    /// Steps of the session before it.
    pub before: usize,
    /// Steps of the session after it.
    pub after: usize,
}

/// An end of what a session may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The least of it.
    Least,
    /// The most of it; where there is no most, the least.
    Most,
}

impl End {
    fn of<T>(self, range: Range<T>) -> T {
        match self {
            Self::Least => range.least,
            Self::Most => range.most,
        }
    }

    fn of_extent(self, extent: Range<Extent>) -> Extent {
        match self {
            Self::Most if extent.most.amount().is_finite() => extent.most,
            Self::Least | Self::Most => extent.least,
        }
    }

    fn of_step(self, step: &Step) -> Step {
        Step { extent: Range::exactly(self.of_extent(step.extent)), ..*step }
    }
}

/// A session whose count rises from session to session, with the number that is due.
#[derive(Clone, Debug, PartialEq)]
pub struct DueSession {
    /// The session with that number.
    pub session: Session,
    /// The number: of the first count that rises.
    pub repetitions: u32,
}

impl Session {
    /// Unrolls repeats, and cuts `for` exactly where its extent and its items are exact and all by time or all by
    /// distance.
    ///
    /// Gives at most 10,000 steps. A parsed session never has more; one made by hand is cut off there. (Parsing also
    /// refuses an open `for` inside a `for`; in one made by hand the inner cycle counts once.)
    pub fn expand(&self) -> Expansion {
        let mut expansion = Expansion::default();
        let mut budget = STEPS.most as usize;
        let _ = unroll(&self.items, &mut expansion, &mut budget);
        expansion
    }

    /// Whether any running is prescribed.
    pub fn prescribes_running(&self) -> bool {
        each(&self.items).any(|item| matches!(item, Item::Interval { motion: Move::Run, .. }))
    }

    /// From where to where the first count rises that rises from session to session.
    pub fn rise(&self) -> Option<Range<u32>> {
        let (least, most) = each(&self.items).find_map(Item::rising)?;
        Some(Range { least, most })
    }

    /// What is due after `kept` sessions of its stage were kept, where a count rises from session to session.
    pub fn due_after(&self, kept: u32) -> Option<DueSession> {
        let rise = self.rise()?;
        let repetitions = rise.least.saturating_add(kept).min(rise.most);
        Some(DueSession { session: self.after_kept(kept), repetitions })
    }

    /// The session that is due after `kept` sessions of its stage were kept: each rising count with its number.
    fn after_kept(&self, kept: u32) -> Self {
        fn settle(items: &[Item], kept: u32) -> Vec<Item> {
            let settled = |item: &Item| match item {
                Item::Interval { .. } => item.clone(),
                Item::Until { extent, items } => Item::Until { extent: *extent, items: settle(items, kept) },
                Item::Repeat { times, items } => {
                    let times = match *times {
                        Count::Rising { first, last } => first.saturating_add(kept).min(last).into(),
                        Count::Times(_) => *times,
                    };
                    Item::Repeat { times, items: settle(items, kept) }
                }
            };
            items.iter().map(settled).collect()
        }
        Self { items: settle(&self.items, kept) }
    }
}

/// Each item, and behind it those inside it.
pub(super) fn each(items: &[Item]) -> Box<dyn Iterator<Item = &Item> + '_> {
    Box::new(items.iter().flat_map(|item| {
        let inside: &[Item] = match item {
            Item::Interval { .. } => &[],
            Item::Repeat { items, .. } | Item::Until { items, .. } => items,
        };
        std::iter::once(item).chain(each(inside))
    }))
}

impl Item {
    /// The first and the last number of a count that rises.
    pub(super) fn rising(&self) -> Option<(u32, u32)> {
        match self {
            Self::Repeat { times: Count::Rising { first, last }, .. } => Some((*first, *last)),
            _ => None,
        }
    }
}

impl Expansion {
    /// Gives all steps when nothing is open; each of them may be a range.
    pub fn fixed_steps(&self) -> Option<Vec<Step>> {
        match self.blocks.as_slice() {
            [] => Some(Vec::new()),
            [Block::Steps(steps)] => Some(steps.clone()),
            _ => None,
        }
    }

    /// Lays out the least or the most of the session for someone who runs and walks at these speeds throughout; the last
    /// step of an open part is cut in its own unit. All steps are exact.
    pub fn steps_at(&self, run: MetresPerSecond, walk: MetresPerSecond, end: End) -> Vec<Step> {
        let mut steps = Vec::new();
        for block in &self.blocks {
            match block {
                Block::Steps(fixed) => steps.extend(fixed.iter().map(|step| end.of_step(step))),
                Block::Until { extent, cycle } => {
                    let extent = Range::exactly(end.of_extent(*extent));
                    steps.extend(cuts(extent, cycle, speed_of(run, walk)).pop().unwrap_or_default());
                }
                Block::Times { times, once } => {
                    let once = once.steps_at(run, walk, end);
                    (0..end.of(*times)).for_each(|_| steps.extend_from_slice(&once));
                }
            }
        }
        steps
    }

    /// Lays out every way in which the session may be done by someone who runs and walks at these speeds throughout, from
    /// the least to the most: they differ where a part may end in one of several steps. Never empty.
    ///
    /// A part without a most goes on to twice its least; [`Self::ways_within`] lets it go on for longer.
    pub fn ways_at(&self, run: MetresPerSecond, walk: MetresPerSecond) -> Vec<Vec<Step>> {
        self.ways_within(run, walk, Seconds::new(0.0))
    }

    /// As [`Self::ways_at`], where a part without a most goes on until it alone takes `longest`, if that is more.
    pub fn ways_within(
        &self,
        run: MetresPerSecond,
        walk: MetresPerSecond,
        longest: Seconds,
    ) -> Vec<Vec<Step>> {
        let mut ways: Vec<Vec<Step>> = vec![Vec::new()];
        for block in &self.blocks {
            let next = match block {
                Block::Steps(steps) => vec![steps.clone()],
                Block::Until { extent, cycle } => {
                    let end = match extent.least {
                        Extent::Time(_) => longest.get(),
                        // The runs alone cannot take it further.
                        Extent::Distance(_) => longest.get() * run.get().max(walk.get()),
                    };
                    cuts_up_to(*extent, cycle, speed_of(run, walk), end.max(goes_on_to(*extent)))
                }
                Block::Times { times, once } => times_over(*times, &once.ways_within(run, walk, longest)),
            };
            ways = joined(&ways, &next);
        }
        ways
    }

    /// How many ways there are at usual speeds; where they are more than allowed, at least one more.
    fn ways(&self) -> usize {
        let of = |block: &Block| match block {
            Block::Steps(_) => 1,
            Block::Until { extent, .. } if extent.is_exact() => 1,
            Block::Until { extent, cycle } => {
                let steps = |amount: f64| {
                    let end = extent.least.with_amount(amount);
                    cuts(end.into(), cycle, speed_of(RUN, WALK)).pop().map_or(0, |way| way.len())
                };
                steps(goes_on_to(*extent)) + 1 - steps(extent.least.amount())
            }
            Block::Times { times, once } => {
                let once = once.ways();
                let of = |n: u32| once.saturating_pow(n);
                // Each way counts, so that there are never more than this many terms.
                let counts = (times.least..=times.most).take(WAYS.most as usize + 1);
                counts.map(of).fold(0, usize::saturating_add)
            }
        };
        let mut ways: usize = 1;
        for block in &self.blocks {
            ways = ways.saturating_mul(of(block));
            if ways > WAYS.most as usize {
                break; // more are no better
            }
        }
        ways
    }

    /// Whether speeds play no part: no part mixes a whole by distance with steps by time, or the other way about.
    pub fn is_settled_by_words(&self) -> bool {
        self.blocks.iter().all(|block| match block {
            Block::Steps(_) => true,
            Block::Until { extent, cycle } => is_of_one_kind(*extent, cycle),
            Block::Times { once, .. } => once.is_settled_by_words(),
        })
    }

    /// The whole by time with steps by distance, where all else is settled by words.
    pub fn whole_by_time(&self) -> Option<WholeByTime<'_>> {
        let open = self.blocks.iter().position(|block| !matches!(block, Block::Steps(_)))?;
        let Block::Until { extent, cycle } = &self.blocks[open] else { return None };
        let steps = |blocks: &[Block]| -> Option<usize> {
            let counts = blocks.iter().map(|block| match block {
                Block::Steps(steps) => Some(steps.len()),
                Block::Until { .. } | Block::Times { .. } => None,
            });
            counts.sum()
        };
        let (before, after) = (steps(&self.blocks[..open])?, steps(&self.blocks[open + 1..])?);
        let mixed = extent.is_time() && !is_of_one_kind(*extent, cycle);
        mixed.then(|| WholeByTime { time_s: extent.amounts(), cycle, before, after })
    }

    /// As [`Self::ways_within`], where each whole by distance with steps by time may end earlier or later by such a share of it, and one by time
    /// with steps by distance by twice that: how long its steps take hangs on the speed of each. `None`
    /// where there is none, where one by time is not [`Self::whole_by_time`], and where there are more ways than a session may have.
    pub fn ways_off_by(
        &self,
        share: f64,
        run: MetresPerSecond,
        walk: MetresPerSecond,
        longest: Seconds,
    ) -> Option<Vec<Vec<Step>>> {
        let mut wide = self.clone();
        let any = wide.widen(share, self.whole_by_time().is_some())?;
        let ways = any.then(|| wide.ways_within(run, walk, longest))?;
        (ways.len() < WAYS.most as usize).then_some(ways)
    }

    /// Whether any whole was widened; `None` where there is one by time with steps by distance and these may not be.
    fn widen(&mut self, share: f64, may_be_by_time: bool) -> Option<bool> {
        let mut any = false;
        for block in &mut self.blocks {
            match block {
                Block::Steps(_) => {}
                Block::Until { extent, cycle } if is_of_one_kind(*extent, cycle) => {}
                Block::Until { extent, .. } if extent.is_time() && !may_be_by_time => return None,
                Block::Until { extent, .. } => {
                    let Range { least, most } = *extent;
                    let share = if extent.is_time() { 2.0 * share } else { share };
                    extent.least = least.with_amount(least.amount() * (1.0 - share));
                    extent.most = most.with_amount(most.amount() * (1.0 + share));
                    any = true;
                }
                Block::Times { once, .. } => any |= once.widen(share, may_be_by_time)?,
            }
        }
        Some(any)
    }

    /// Whether there is a most of how long one run may be, and of how many runs there may be.
    pub(super) fn ends_of_runs(&self) -> (bool, bool) {
        let is_run = |step: &Step| step.motion == Move::Run;
        let is_endless = |extent: Range<Extent>| extent.most.amount().is_infinite();
        let of = |block: &Block| match block {
            Block::Steps(steps) => (!steps.iter().any(|step| is_run(step) && is_endless(step.extent)), true),
            Block::Until { extent, cycle } if is_endless(*extent) => {
                (!cycle.iter().all(is_run), !cycle.iter().any(is_run))
            }
            Block::Until { .. } => (true, true),
            Block::Times { once, .. } => once.ends_of_runs(),
        };
        self.blocks.iter().map(of).fold((true, true), |all, one| (all.0 && one.0, all.1 && one.1))
    }

    /// Every step that stands in it, repeats of a part that may be longer once.
    pub fn kinds_of_step(&self) -> Vec<Step> {
        self.blocks.iter().cloned().flat_map(Block::into_steps).collect()
    }

    /// Steps of the most of it, those of a part whose number hangs on speeds counted once.
    fn most_steps(&self) -> usize {
        let of = |block: &Block| match block {
            Block::Steps(steps) => steps.len(),
            Block::Until { extent, cycle } if is_of_one_kind(*extent, cycle) => {
                let most = extent.least.with_amount(goes_on_to(*extent));
                cuts(most.into(), cycle, speed_of(RUN, WALK)).pop().map_or(0, |way| way.len())
            }
            Block::Until { cycle, .. } => cycle.len(),
            Block::Times { times, once } => once.most_steps().saturating_mul(times.most as usize),
        };
        self.blocks.iter().map(of).fold(0, usize::saturating_add)
    }

    /// The most of all that is by time, s, and of all that is by distance, m; where there is no most, the least.
    fn most_amounts(&self) -> (f64, f64) {
        let mut sums = (0.0, 0.0);
        let mut add = |extent: Range<Extent>| {
            let amount = End::Most.of_extent(extent).amount();
            if extent.is_time() { sums.0 += amount } else { sums.1 += amount }
        };
        let mut inner = Vec::new();
        for block in &self.blocks {
            match block {
                Block::Steps(steps) => steps.iter().for_each(|step| add(step.extent)),
                Block::Until { extent, .. } => add(*extent),
                Block::Times { times, once } => inner.push((f64::from(times.most), once.most_amounts())),
            }
        }
        inner.iter().fold(sums, |(s, m), (times, (time, distance))| (s + times * time, m + times * distance))
    }
}

/// Speeds at which parts of mixed units are counted before anybody has run, m/s: of jogging and brisk walking. Our choice.
const RUN: MetresPerSecond = MetresPerSecond::new(2.4);
const WALK: MetresPerSecond = MetresPerSecond::new(1.4);

fn speed_of(run: MetresPerSecond, walk: MetresPerSecond) -> impl Fn(&Step) -> MetresPerSecond {
    move |step| if step.motion == Move::Run { run } else { walk }
}

/// Whether a whole and its steps are all by time or all by distance: then speeds play no part.
pub(super) fn is_of_one_kind(extent: Range<Extent>, cycle: &[Step]) -> bool {
    cycle.iter().all(|step| step.extent.is_time() == extent.is_time())
}

/// Each of `before` with each of `after`.
fn joined(before: &[Vec<Step>], after: &[Vec<Step>]) -> Vec<Vec<Step>> {
    let pairs =
        before.iter().flat_map(|before| after.iter().map(move |after| [&before[..], &after[..]].concat()));
    pairs.take(WAYS.most as usize).collect()
}

/// The ways to do something so often, the least often first.
fn times_over(times: Range<u32>, once: &[Vec<Step>]) -> Vec<Vec<Step>> {
    let (mut ways, mut so_often) = (Vec::new(), vec![Vec::new()]);
    for n in 0..=times.most {
        if n >= times.least {
            ways.extend_from_slice(&so_often);
        }
        if n == times.most || ways.len() >= WAYS.most as usize {
            break;
        }
        so_often = joined(&so_often, once);
    }
    ways
}

/// Seconds or metres to which a whole goes on: its most or, where it has none, twice its least. Our choice.
fn goes_on_to(extent: Range<Extent>) -> f64 {
    let Range { least, most } = extent.amounts();
    if most.is_finite() { most } else { 2.0 * least }
}

/// Repeats the cycle until the extent is used up, each step at its speed: a way for each step in which that may be.
fn cuts(
    extent: Range<Extent>,
    cycle: &[Step],
    speed_of: impl Fn(&Step) -> MetresPerSecond,
) -> Vec<Vec<Step>> {
    cuts_up_to(extent, cycle, speed_of, goes_on_to(extent))
}

/// As [`cuts`]; without a most the last way ends in the step in which `end` is reached, all of it.
fn cuts_up_to(
    extent: Range<Extent>,
    cycle: &[Step],
    speed_of: impl Fn(&Step) -> MetresPerSecond,
    end: f64,
) -> Vec<Vec<Step>> {
    let is_open = extent.most.amount().is_infinite();
    let mut ways = Vec::new();
    let mut done = Vec::new();
    let mut left_to_end = if is_open { end } else { extent.most.amount() };
    let mut left = extent.amounts();
    for step in cycle.iter().cycle().take(STEPS.most as usize) {
        let speed_mps = speed_of(step).get();
        let whole = step.extent.least;
        let use_of_it = match (extent.least, whole) {
            (Extent::Time(_), Extent::Distance(_)) => whole.seconds_at(speed_mps),
            (Extent::Distance(_), Extent::Time(s)) => s.get() * speed_mps,
            (_, same) => same.amount(),
        };
        let cut = |left: f64| whole.with_amount(whole.amount() * (left.max(0.0) / use_of_it).min(1.0));
        if use_of_it >= left.least - EPSILON {
            let mut way = done.clone();
            way.push(Step { extent: left.map(cut), ..*step });
            ways.push(way);
        }
        if use_of_it >= left_to_end - EPSILON || ways.len() >= WAYS.most as usize {
            return ways;
        }
        left = left.map(|left| left - use_of_it);
        left_to_end -= use_of_it;
        done.push(*step);
    }
    ways.push(done);
    ways
}

/// Seconds or metres that are nothing: rounding of sums.
const EPSILON: f64 = 1e-6;

/// More than the language allows; says what was expected.
pub(super) struct TooMuch(pub(super) String);

/// Checks the bounds of a whole session.
pub(super) fn check(session: &Session) -> Result<(), TooMuch> {
    let mut expansion = Expansion::default();
    unroll(&session.items, &mut expansion, &mut (STEPS.most as usize))?;
    let (time_s, distance_m) = expansion.most_amounts();
    SESSION_TIME.check(time_s).map_err(TooMuch)?;
    SESSION_DISTANCE.check(distance_m).map_err(TooMuch)?;
    let ways = expansion.ways();
    WAYS.check(ways as f64).map_err(TooMuch)?;
    if ways > 1 && ways.saturating_mul(expansion.most_steps()) > MOST_STEPS_OF_WAYS {
        return Err(TooMuch(format!("{} {}", WAYS.name, WAYS.range)));
    }
    Ok(())
}

/// Runs and walks of all ways to do a session at usual speeds together: what it costs to look at it.
pub(super) fn work(session: &Session) -> usize {
    fn steps(expansion: &Expansion) -> usize {
        let of = |block: &Block| match block {
            Block::Steps(steps) => steps.len(),
            Block::Until { extent, cycle } => {
                let most = extent.least.with_amount(goes_on_to(*extent));
                cuts(most.into(), cycle, speed_of(RUN, WALK)).pop().map_or(0, |way| way.len())
            }
            Block::Times { times, once } => steps(once).saturating_mul(times.most as usize),
        };
        expansion.blocks.iter().map(of).fold(0, usize::saturating_add)
    }
    let expansion = session.expand();
    steps(&expansion).saturating_mul(expansion.ways())
}

/// Steps of all ways together, our choice: 200 ways of 500 steps.
const MOST_STEPS_OF_WAYS: usize = 100_000;

/// Whether an item holds a part whose steps its words alone do not settle.
pub(super) fn is_open(item: &Item) -> bool {
    let mut expansion = Expansion::default();
    let _ = unroll(std::slice::from_ref(item), &mut expansion, &mut (STEPS.most as usize));
    expansion.blocks.iter().any(|block| !matches!(block, Block::Steps(_)))
}

fn too_many_steps() -> TooMuch {
    TooMuch(format!("{} {}", STEPS.name, STEPS.range))
}

fn unroll(items: &[Item], out: &mut Expansion, budget: &mut usize) -> Result<(), TooMuch> {
    for item in items {
        match item {
            Item::Interval { motion, extent, ceiling } => {
                let step = Step { motion: *motion, extent: *extent, ceiling: *ceiling };
                push_steps(out, &[step], budget)?;
            }
            Item::Repeat { times, items } => {
                let mut once = Expansion::default();
                unroll(items, &mut once, &mut budget.clone())?;
                match times.range().exact() {
                    _ if once.blocks.is_empty() => {}
                    Some(times) => {
                        for _ in 0..times {
                            once.blocks.iter().try_for_each(|block| push(out, block, budget))?;
                        }
                    }
                    None => push(out, &Block::Times { times: times.range(), once }, budget)?,
                }
            }
            Item::Until { extent, items } => unroll_until(*extent, items, out, budget)?,
        }
    }
    Ok(())
}

fn unroll_until(
    extent: Range<Extent>,
    items: &[Item],
    out: &mut Expansion,
    budget: &mut usize,
) -> Result<(), TooMuch> {
    let mut inner = Expansion::default();
    unroll(items, &mut inner, &mut (STEPS.most as usize))?;
    let cycle: Vec<Step> = inner.blocks.into_iter().flat_map(Block::into_steps).collect();
    let Some(first) = cycle.first().copied() else { return Ok(()) };
    let is_alike = |step: &Step| step.motion == first.motion && step.ceiling == first.ceiling;
    if is_of_one_kind(extent, &cycle) {
        // Speeds play no part.
        let most = goes_on_to(extent);
        let end = extent.least.with_amount(most);
        let steps = cuts(end.into(), &cycle, speed_of(RUN, WALK)).pop().unwrap_or_default();
        if sum(&steps) + EPSILON < most {
            return Err(too_many_steps());
        }
        if extent.is_exact() {
            return push_steps(out, &steps, budget);
        }
    }
    if cycle.iter().all(is_alike) {
        return push_steps(out, &[Step { extent, ..first }], budget);
    }
    push(out, &Block::Until { extent, cycle }, budget)
}

fn sum(steps: &[Step]) -> f64 {
    steps.iter().map(|step| step.extent.least.amount()).sum()
}

impl Block {
    fn into_steps(self) -> Vec<Step> {
        match self {
            Self::Steps(steps) | Self::Until { cycle: steps, .. } => steps,
            Self::Times { once, .. } => once.blocks.into_iter().flat_map(Self::into_steps).collect(),
        }
    }
}

fn push(out: &mut Expansion, block: &Block, budget: &mut usize) -> Result<(), TooMuch> {
    match block {
        Block::Steps(steps) => push_steps(out, steps, budget)?,
        Block::Until { .. } | Block::Times { .. } => {
            let whole = Expansion { blocks: vec![block.clone()] };
            *budget = budget.checked_sub(whole.most_steps()).ok_or_else(too_many_steps)?;
            out.blocks.extend(whole.blocks);
        }
    }
    Ok(())
}

fn push_steps(out: &mut Expansion, steps: &[Step], budget: &mut usize) -> Result<(), TooMuch> {
    *budget = budget.checked_sub(steps.len()).ok_or_else(too_many_steps)?;
    match out.blocks.last_mut() {
        Some(Block::Steps(last)) => last.extend_from_slice(steps),
        _ => out.blocks.push(Block::Steps(steps.to_vec())),
    }
    Ok(())
}

#[cfg(test)]
mod tests;
