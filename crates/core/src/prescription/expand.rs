//! A session as written → the steps to do, as far as the words alone settle them.
//!
//! `for 27:30 (run 1:20, walk 2:40)` is settled: it is cut exactly. `for 1.2 mi (run 1:20, walk 1:40)` is not: how
//! many steps it takes depends on how fast they are done. Such a part stays a [`Block::Until`], and
//! [`Expansion::steps_at`] and [`Expansion::steps_if`] lay it out for assumed speeds or an assumed number of steps.

use std::ops::RangeInclusive;

use jogaudit_recording::units::MetresPerSecond;

use super::bounds::{SESSION_DISTANCE, SESSION_TIME, STEPS};
use super::{Extent, Item, Move, Session, Step};

/// A part of an unrolled session.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// These steps, in order.
    Steps(Vec<Step>),
    /// The cycle over and over until the extent is reached; the last step is cut there. Extent and cycle mix time and
    /// distance: else it would have been cut exactly and stand under [`Block::Steps`].
    Until {
        /// The whole.
        extent: Extent,
        /// What alternates: never empty, at least two kinds of step.
        cycle: Vec<Step>,
    },
}

/// A session unrolled: fixed parts and open parts in turn.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Expansion {
    /// The parts in order; two fixed parts never follow each other.
    pub blocks: Vec<Block>,
}

/// One way in which a session with open parts may be done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Candidate {
    /// The steps in order.
    pub steps: Vec<Step>,
    /// Indexes of the steps that end an open part: they are to be cut where the part's extent is reached, so the
    /// extent that stands in the step is the most that it may take.
    pub cut: Vec<usize>,
}

impl Session {
    /// Unrolls repeats, and cuts `for` exactly where its extent and its items are all by time or all by distance.
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
        fn any(items: &[Item]) -> bool {
            items.iter().any(|item| match item {
                Item::Interval { motion, .. } => *motion == Move::Run,
                Item::Repeat { items, .. } | Item::Until { items, .. } => any(items),
            })
        }
        any(&self.items)
    }
}

impl Expansion {
    /// Gives all steps when nothing is open.
    pub fn fixed_steps(&self) -> Option<Vec<Step>> {
        match self.blocks.as_slice() {
            [] => Some(Vec::new()),
            [Block::Steps(steps)] => Some(steps.clone()),
            _ => None,
        }
    }

    /// The open parts in order: `(extent, cycle)`.
    pub fn open_parts(&self) -> impl Iterator<Item = (Extent, &[Step])> {
        self.blocks.iter().filter_map(|block| match block {
            Block::Steps(_) => None,
            Block::Until { extent, cycle } => Some((*extent, cycle.as_slice())),
        })
    }

    /// Lays out the steps when open part `i` takes `counts[i]` steps, the cut one included; a part without a count
    /// takes one. Use [`step_counts`] for the counts that are possible.
    pub fn steps_if(&self, counts: &[usize]) -> Candidate {
        let mut candidate = Candidate::default();
        let mut counts = counts.iter();
        for block in &self.blocks {
            match block {
                Block::Steps(steps) => candidate.steps.extend_from_slice(steps),
                Block::Until { cycle, .. } => {
                    let count = counts.next().copied().unwrap_or(1).clamp(1, STEPS.most as usize);
                    candidate.steps.extend(cycle.iter().cycle().take(count));
                    candidate.cut.push(candidate.steps.len() - 1);
                }
            }
        }
        candidate
    }

    /// Lays out the steps for someone who runs and walks at these speeds throughout; the last step of an open part is
    /// cut in its own unit.
    pub fn steps_at(&self, run: MetresPerSecond, walk: MetresPerSecond) -> Vec<Step> {
        let mut steps = Vec::new();
        for block in &self.blocks {
            match block {
                Block::Steps(fixed) => steps.extend_from_slice(fixed),
                Block::Until { extent, cycle } => {
                    let speed_of = |step: &Step| if step.motion == Move::Run { run } else { walk };
                    steps.extend(cut_at(*extent, cycle, speed_of));
                }
            }
        }
        steps
    }
}

/// Gives how many steps an open part may take, the cut one included, for speeds within these ranges.
pub fn step_counts(
    extent: Extent,
    cycle: &[Step],
    run: &RangeInclusive<MetresPerSecond>,
    walk: &RangeInclusive<MetresPerSecond>,
) -> RangeInclusive<usize> {
    let range = |step: &Step| if step.motion == Move::Run { run } else { walk };
    let slow = cut_at(extent, cycle, |step| *range(step).start()).len();
    let fast = cut_at(extent, cycle, |step| *range(step).end()).len();
    slow.min(fast)..=slow.max(fast)
}

/// Repeats the cycle until the extent is used up, each step at its speed.
fn cut_at(extent: Extent, cycle: &[Step], speed_of: impl Fn(&Step) -> MetresPerSecond) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut left = amount(extent);
    for step in cycle.iter().cycle().take(STEPS.most as usize) {
        let speed_mps = speed_of(step).get();
        let use_of_it = match (extent, step.extent) {
            (Extent::Time(_), Extent::Distance(m)) => m.get() / speed_mps,
            (Extent::Distance(_), Extent::Time(s)) => s.get() * speed_mps,
            (_, same) => amount(same),
        };
        if use_of_it >= left - EPSILON {
            steps.push(Step { extent: scaled(step.extent, (left / use_of_it).min(1.0)), ..*step });
            break;
        }
        left -= use_of_it;
        steps.push(*step);
    }
    steps
}

/// Seconds or metres that are nothing: rounding of sums.
const EPSILON: f64 = 1e-6;

fn amount(extent: Extent) -> f64 {
    match extent {
        Extent::Time(time) => time.get(),
        Extent::Distance(distance) => distance.get(),
    }
}

fn scaled(extent: Extent, factor: f64) -> Extent {
    match extent {
        Extent::Time(time) => Extent::Time(time * factor),
        Extent::Distance(distance) => Extent::Distance(distance * factor),
    }
}

fn is_time(extent: Extent) -> bool {
    matches!(extent, Extent::Time(_))
}

/// More than the language allows; says what was expected.
pub(super) struct TooMuch(pub(super) String);

/// Checks the bounds of a whole session.
pub(super) fn check(session: &Session) -> Result<(), TooMuch> {
    let mut expansion = Expansion::default();
    unroll(&session.items, &mut expansion, &mut (STEPS.most as usize))?;
    let extents = expansion.blocks.iter().flat_map(|block| match block {
        Block::Steps(steps) => steps.iter().map(|step| step.extent).collect(),
        Block::Until { extent, .. } => vec![*extent],
    });
    let (times, distances): (Vec<Extent>, Vec<Extent>) = extents.partition(|extent| is_time(*extent));
    SESSION_TIME.check(times.into_iter().map(amount).sum()).map_err(TooMuch)?;
    SESSION_DISTANCE.check(distances.into_iter().map(amount).sum()).map_err(TooMuch)?;
    Ok(())
}

/// Whether an item holds a part whose steps its words alone do not settle.
pub(super) fn is_open(item: &Item) -> bool {
    let mut expansion = Expansion::default();
    let _ = unroll(std::slice::from_ref(item), &mut expansion, &mut (STEPS.most as usize));
    expansion.open_parts().next().is_some()
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
                let times = if once.blocks.is_empty() { 0 } else { *times };
                for _ in 0..times {
                    once.blocks.iter().try_for_each(|block| push(out, block, budget))?;
                }
            }
            Item::Until { extent, items } => unroll_until(*extent, items, out, budget)?,
        }
    }
    Ok(())
}

fn unroll_until(
    extent: Extent,
    items: &[Item],
    out: &mut Expansion,
    budget: &mut usize,
) -> Result<(), TooMuch> {
    let mut inner = Expansion::default();
    unroll(items, &mut inner, &mut (STEPS.most as usize))?;
    let cycle: Vec<Step> = inner.blocks.into_iter().flat_map(Block::into_steps).collect();
    let Some(first) = cycle.first().copied() else { return Ok(()) };
    if cycle.iter().all(|step| is_time(step.extent) == is_time(extent)) {
        // Speeds play no part; one more than the budget tells that it is overdrawn.
        let steps = cut_at(extent, &cycle, |_| MetresPerSecond::new(1.0));
        return push_steps(out, &steps, budget).and_then(|()| {
            if sum(&steps) + EPSILON < amount(extent) { Err(too_many_steps()) } else { Ok(()) }
        });
    }
    if cycle.iter().all(|step| step.motion == first.motion && step.ceiling == first.ceiling) {
        return push_steps(out, &[Step { extent, ..first }], budget);
    }
    push(out, &Block::Until { extent, cycle }, budget)
}

fn sum(steps: &[Step]) -> f64 {
    steps.iter().map(|step| amount(step.extent)).sum()
}

impl Block {
    fn into_steps(self) -> Vec<Step> {
        match self {
            Self::Steps(steps) | Self::Until { cycle: steps, .. } => steps,
        }
    }
}

fn push(out: &mut Expansion, block: &Block, budget: &mut usize) -> Result<(), TooMuch> {
    match block {
        Block::Steps(steps) => push_steps(out, steps, budget)?,
        Block::Until { cycle, .. } => {
            *budget = budget.checked_sub(cycle.len()).ok_or_else(too_many_steps)?;
            out.blocks.push(block.clone());
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
mod tests {
    use proptest::prelude::*;

    use super::*;
    use jogaudit_recording::units::Seconds;

    fn expand(text: &str) -> Expansion {
        Session::parse(text).unwrap().expand()
    }

    fn shown(steps: &[Step]) -> String {
        let words: Vec<String> = steps.iter().map(|s| format!("{} {}", s.motion.word(), s.extent)).collect();
        words.join(", ")
    }

    fn fixed(text: &str) -> String {
        shown(&expand(text).fixed_steps().expect(text))
    }

    fn mps(speed: f64) -> MetresPerSecond {
        MetresPerSecond::new(speed)
    }

    #[test]
    fn repeats_unroll_in_order() {
        assert_eq!(
            fixed("walk 5:00, 2 x (run 1:00, 2 x (walk 0:30, run 0:10))"),
            "walk 5:00, run 1:00, walk 0:30, run 0:10, walk 0:30, run 0:10, \
             run 1:00, walk 0:30, run 0:10, walk 0:30, run 0:10"
        );
    }

    #[test]
    fn one_unit_throughout_is_cut_exactly() {
        assert_eq!(fixed("for 7:10 (run 1:20, walk 2:40)"), "run 1:20, walk 2:40, run 1:20, walk 1:50");
        assert_eq!(fixed("for 8:00 (run 1:20, walk 2:40)"), "run 1:20, walk 2:40, run 1:20, walk 2:40");
        assert_eq!(fixed("for 1 km (run 400 m, walk 200 m)"), "run 400 m, walk 200 m, run 400 m");
        assert_eq!(fixed("for 5:00 (for 2:00 (run 1:30, walk 1:00), walk 1:00)"), {
            "run 1:30, walk 0:30, walk 1:00, run 1:30, walk 0:30"
        });
        // 0.1 mi sums do not come out even in floating point: still ten steps and no crumb.
        assert_eq!(expand("for 1 mi (run 0.1 mi, walk 0.1 mi)").fixed_steps().unwrap().len(), 10);
    }

    #[test]
    fn only_one_gait_inside_is_one_step() {
        assert_eq!(fixed("for 30:00 (run 400 m)"), "run 30:00");
    }

    #[test]
    fn mixed_units_stay_open() {
        let expansion = expand("walk 5:00, 2 x (for 1 km (run 1:00, walk 1:00), walk 2:00)");
        assert_eq!(expansion.fixed_steps(), None);
        assert_eq!(expansion.blocks.len(), 5);
        assert_eq!(expansion.open_parts().count(), 2);
        let candidate = expansion.steps_if(&[3, 4]);
        assert_eq!(candidate.steps.len(), 1 + 3 + 1 + 4 + 1);
        assert_eq!(candidate.cut, [3, 8]);
    }

    #[test]
    fn speeds_settle_an_open_part() {
        // By hand: 60 s at 2.5 m/s is 150 m, 60 s at 1.5 m/s is 90 m; 150 + 90 + 150 + 90 = 480 m, 20 m left at
        // 2.5 m/s is 8 s.
        let expansion = expand("for 500 m (run 1:00, walk 1:00)");
        let steps = expansion.steps_at(mps(2.5), mps(1.5));
        assert_eq!(shown(&steps), "run 1:00, walk 1:00, run 1:00, walk 1:00, run 0:08");
        // 400 m at 2.5 m/s is 160 s; + 60 s walk; 80 s are left: 200 m.
        let steps = expand("for 5:00 (run 400 m, walk 1:00)").steps_at(mps(2.5), mps(1.5));
        assert_eq!(shown(&steps), "run 400 m, walk 1:00, run 200 m");
    }

    #[test]
    fn slower_means_more_steps_to_a_distance() {
        let expansion = expand("for 500 m (run 1:00, walk 1:00)");
        let (extent, cycle) = expansion.open_parts().next().unwrap();
        // 2 m/s and 1 m/s: 120 + 60 = 180 m a cycle: 4 steps give 360 m, the fifth 480 m, the sixth is cut.
        // 4 m/s and 2 m/s: 240 + 120 = 360 m a cycle: the third step is cut.
        assert_eq!(step_counts(extent, cycle, &(mps(2.0)..=mps(4.0)), &(mps(1.0)..=mps(2.0))), 3..=6);
    }

    #[test]
    fn sessions_made_by_hand_do_not_run_away() {
        let nothing = Item::Repeat { times: u32::MAX, items: vec![] };
        let session = Session { items: vec![Item::Repeat { times: u32::MAX, items: vec![nothing] }] };
        assert_eq!(session.expand().fixed_steps(), Some(vec![]));
        let bout =
            Item::Interval { motion: Move::Run, extent: Extent::Time(Seconds::new(1.0)), ceiling: None };
        let session = Session { items: vec![Item::Repeat { times: u32::MAX, items: vec![bout] }] };
        assert_eq!(session.expand().fixed_steps().unwrap().len(), 10_000);
    }

    #[test]
    fn running_is_seen_at_any_depth() {
        assert!(!Session::parse("walk 30:00").unwrap().prescribes_running());
        assert!(
            Session::parse("walk 1:00, 2 x (for 2:00 (run 0:30, walk 0:30))").unwrap().prescribes_running()
        );
    }

    proptest! {
        #[test]
        fn an_exact_cut_adds_up(total in 60u32..7200, run in 1u32..600, walk in 1u32..600) {
            let steps = Session::parse(&format!("for {total} s (run {run} s, walk {walk} s)"));
            prop_assume!(steps.is_ok());
            let steps = steps.unwrap().expand().fixed_steps().unwrap();
            prop_assert!((sum(&steps) - f64::from(total)).abs() < 1e-6);
            prop_assert!(steps.iter().all(|step| amount(step.extent) > 0.0));
        }

        #[test]
        fn laying_out_at_a_speed_covers_the_extent(run in 2.0f64..5.0, walk in 0.8f64..2.0) {
            let expansion = expand("for 2 mi (run 1:00, walk 2:00)");
            let steps = expansion.steps_at(mps(run), mps(walk));
            let covered: f64 = steps
                .iter()
                .map(|s| amount(s.extent) * if s.motion == Move::Run { run } else { walk })
                .sum();
            prop_assert!((covered - 2.0 * 1609.344).abs() < 1e-6);
        }
    }
}
