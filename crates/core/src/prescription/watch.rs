//! A session as a watch can run it: steps that each end by themselves, and ways back to earlier ones.
//!
//! A watch knows no ranges: each is given by its least, with what was written beside it.

use jogaudit_recording::read::LapIntensity;
use jogaudit_recording::units::MetresPerSecond;
use jogaudit_recording::workout::StepEnd;

use super::{Block, End, Extent, Item, Move, Session, Step};
use crate::range::Range;

/// A step for a watch.
#[derive(Clone, Debug, PartialEq)]
pub struct WatchStep {
    /// Run, walk or rest; `None` for a way back, and where runs and walks may go on in turn.
    pub motion: Option<Move>,
    /// What ends it: the least of what is written; the most where the least is nothing; the button where there is no most, and
    /// for every rest.
    pub end: StepEnd,
    /// How long or far, as written.
    pub extent: Option<Range<Extent>>,
    /// Its own ceiling.
    pub ceiling: Option<MetresPerSecond>,
    /// Ranges of wholes that begin with it, the outer ones first.
    pub wholes: Vec<Whole>,
    /// Warm-up before the first run, cool-down after the last, rest between two.
    pub intensity: LapIntensity,
}

/// A range of several steps together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Whole {
    /// They are done so often.
    Times(Range<u32>),
    /// They are done in turn for so long or far.
    Until(Range<Extent>),
}

impl Session {
    /// Lays the session out for a watch. Repeats stay repeats; one inside a `for` is unrolled, since that may end within it. A rising
    /// count has its first number: take the session that is due.
    pub fn watch_steps(&self) -> Vec<WatchStep> {
        let mut steps = Vec::new();
        lay_out(&self.items, &mut steps);
        mark_intensities(&mut steps);
        steps
    }
}

impl WatchStep {
    fn of(step: &Step) -> Self {
        let end = match step.extent {
            _ if step.motion == Move::Rest => StepEnd::Open,
            extent if extent.most.amount().is_infinite() => StepEnd::Open,
            extent => ends_at(some_of(extent)),
        };
        Self {
            motion: Some(step.motion),
            extent: Some(step.extent),
            ceiling: step.ceiling,
            ..Self::bare(end)
        }
    }

    const fn bare(end: StepEnd) -> Self {
        Self {
            motion: None,
            end,
            extent: None,
            ceiling: None,
            wholes: Vec::new(),
            intensity: LapIntensity::Unknown,
        }
    }

    /// The step that a way back leads to.
    const fn back_to(&self) -> Option<usize> {
        match self.end {
            StepEnd::Repeat { first, .. }
            | StepEnd::RepeatForTime { first, .. }
            | StepEnd::RepeatForDistance { first, .. } => Some(first),
            _ => None,
        }
    }
}

/// The least that is something.
fn some_of(extent: Range<Extent>) -> Extent {
    if extent.least.amount() > 0.0 { extent.least } else { extent.most }
}

const fn ends_at(extent: Extent) -> StepEnd {
    match extent {
        Extent::Time(time) => StepEnd::Time(time),
        Extent::Distance(distance) => StepEnd::Distance(distance),
    }
}

fn lay_out(items: &[Item], out: &mut Vec<WatchStep>) {
    for item in items {
        let first = out.len();
        let whole = match item {
            Item::Interval { motion, extent, ceiling } => {
                out.push(WatchStep::of(&Step { motion: *motion, extent: *extent, ceiling: *ceiling }));
                continue;
            }
            Item::Repeat { times, items } => {
                lay_out(items, out);
                let range = times.range();
                if range.least > 1 && out.len() > first {
                    out.push(WatchStep::bare(StepEnd::Repeat { first, times: range.least }));
                }
                (!range.is_exact()).then_some(Whole::Times(range))
            }
            Item::Until { extent, items } => {
                let is_one = lay_out_until(*extent, items, out);
                (!extent.is_exact() && !is_one).then_some(Whole::Until(*extent))
            }
        };
        if let Some((begin, whole)) = out.get_mut(first).zip(whole) {
            begin.wholes.insert(0, whole);
        }
    }
}

/// Lays out what goes in turn. Says whether it is one step.
fn lay_out_until(extent: Range<Extent>, items: &[Item], out: &mut Vec<WatchStep>) -> bool {
    let cycle = Session { items: items.to_vec() }.expand().kinds_of_step();
    let whole = Session { items: vec![Item::Until { extent, items: items.to_vec() }] }.expand();
    let first = out.len();
    match whole.blocks.as_slice() {
        [Block::Steps(steps)] if steps.len() == 1 => {
            out.extend(steps.iter().map(WatchStep::of));
            return true;
        }
        [Block::Until { .. }] if !whole.is_settled_by_words() => {
            out.extend(cycle.iter().map(WatchStep::of));
            out.push(WatchStep::bare(match some_of(extent) {
                Extent::Time(time) => StepEnd::RepeatForTime { first, time },
                Extent::Distance(distance) => StepEnd::RepeatForDistance { first, distance },
            }));
        }
        _ => {
            let end = if extent.least.amount() > 0.0 { End::Least } else { End::Most };
            // Speeds play no part.
            let any = MetresPerSecond::new(1.0);
            rounds(&whole.steps_at(any, any, end), &cycle, out);
        }
    }
    if extent.most.amount().is_infinite() {
        out.push(WatchStep { extent: None, ..WatchStep::bare(StepEnd::Open) });
    }
    false
}

/// Whole rounds as a repeat, then what is cut off.
fn rounds(steps: &[Step], cycle: &[Step], out: &mut Vec<WatchStep>) {
    let first = out.len();
    let times = steps.chunks(cycle.len().max(1)).take_while(|round| *round == cycle).count();
    if times > 1 {
        out.extend(cycle.iter().map(WatchStep::of));
        out.push(WatchStep::bare(StepEnd::Repeat { first, times: times as u32 }));
    }
    let done = if times > 1 { times * cycle.len() } else { 0 };
    out.extend(steps[done..].iter().map(WatchStep::of));
}

/// A walk before every run warms up and one after every run cools down, unless it is repeated with runs. Without any run all is
/// active.
fn mark_intensities(steps: &mut [WatchStep]) {
    let is_run = |step: &WatchStep| step.motion == Some(Move::Run);
    let runs = steps.iter().position(is_run).zip(steps.iter().rposition(is_run));
    let rounds: Vec<(usize, usize)> =
        steps.iter().enumerate().filter_map(|(at, step)| Some((step.back_to()?, at))).collect();
    let with_runs: Vec<(usize, usize)> =
        rounds.into_iter().filter(|(first, at)| steps[*first..*at].iter().any(is_run)).collect();
    for (at, step) in steps.iter_mut().enumerate() {
        let is_repeated = with_runs.iter().any(|(first, last)| (*first..*last).contains(&at));
        step.intensity = match (step.motion, runs) {
            (None, _) => LapIntensity::Unknown,
            (Some(Move::Run), _) | (_, None) => LapIntensity::Active,
            (Some(Move::Walk), Some((first, _))) if at < first && !is_repeated => LapIntensity::WarmUp,
            (Some(Move::Walk), Some((_, last))) if at > last && !is_repeated => LapIntensity::CoolDown,
            _ => LapIntensity::Rest,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use LapIntensity::{Active, CoolDown, Rest, Unknown, WarmUp};
    use jogaudit_recording::units::{Metres, Seconds};

    fn steps(text: &str) -> Vec<WatchStep> {
        Session::parse(text).unwrap().watch_steps()
    }

    fn ends(text: &str) -> Vec<StepEnd> {
        steps(text).iter().map(|step| step.end).collect()
    }

    fn time(seconds: f64) -> StepEnd {
        StepEnd::Time(Seconds::new(seconds))
    }

    fn repeat(first: usize, times: u32) -> StepEnd {
        StepEnd::Repeat { first, times }
    }

    #[test]
    fn repeats_stay_repeats_and_so_do_those_inside_them() {
        assert_eq!(
            ends("walk 5:00, 6 x (run 1:10, walk 2:00), walk 4:00"),
            [time(300.0), time(70.0), time(120.0), repeat(1, 6), time(240.0)]
        );
        assert_eq!(
            ends("2 x (walk 3:00, 3 x (run 0:50, walk 1:00))"),
            [time(180.0), time(50.0), time(60.0), repeat(1, 3), repeat(0, 2)]
        );
        assert_eq!(ends("1 x (run 1:10, walk 2:00)"), [time(70.0), time(120.0)]);
    }

    #[test]
    fn a_range_is_its_least_and_an_open_end_the_button() {
        let all = steps("walk 4:00 or more, 5 to 6 x (run 18:00 to 22:00, walk 2:00 or less), rest 3:00");
        let ends: Vec<StepEnd> = all.iter().map(|step| step.end).collect();
        assert_eq!(ends, [StepEnd::Open, time(1080.0), time(120.0), repeat(1, 5), StepEnd::Open]);
        assert_eq!(all[1].wholes, [Whole::Times(Range { least: 5, most: 6 })]);
        assert_eq!(all[1].extent.map(|extent| extent.to_string()), Some("18:00 to 22:00".to_owned()));
        assert_eq!(all.iter().filter(|step| !step.wholes.is_empty()).count(), 1);
    }

    #[test]
    fn what_goes_in_turn_is_whole_rounds_and_what_is_cut_off() {
        // By hand: 22:00 are four rounds of 4:30, a run of 3:00 and 1:00 of a walk.
        assert_eq!(
            ends("for 22:00 to 28:00 (run 3:00, walk 1:30)"),
            [time(180.0), time(90.0), repeat(0, 4), time(180.0), time(60.0)]
        );
        assert_eq!(ends("for 4:00 (run 3:00, walk 1:30)"), [time(180.0), time(60.0)]);
        // Three rounds of 6:00, of which the inner ones are unrolled.
        assert_eq!(
            ends("for 18:00 (2 x (run 1:00, walk 1:00), walk 2:00)"),
            [time(60.0), time(60.0), time(60.0), time(60.0), time(120.0), repeat(0, 3)]
        );
        let open = steps("for 9:00 or more (run 3:00, walk 1:30), walk 2:00");
        assert_eq!(open.len(), 5);
        assert_eq!((open[3].end, open[3].motion), (StepEnd::Open, None));
        assert_eq!(open[0].wholes.len(), 1);
        let alike = steps("for 20:00 to 30:00 (run 5:00)");
        assert_eq!((alike.len(), alike[0].end), (1, time(1200.0)));
        assert!(alike[0].wholes.is_empty(), "its own extent says it");
    }

    #[test]
    fn what_hangs_on_speeds_repeats_until_the_whole_is_reached() {
        let mile = StepEnd::RepeatForDistance { first: 1, distance: Metres::new(1609.344) };
        assert_eq!(
            ends("walk 2:00, for 1 mi (walk 2:00, run 3:00)"),
            [time(120.0), time(120.0), time(180.0), mile]
        );
        let while_s = StepEnd::RepeatForTime { first: 0, time: Seconds::new(1200.0) };
        let metres = |m| StepEnd::Distance(Metres::new(m));
        assert_eq!(ends("for 20:00 (run 400 m, walk 200 m)"), [metres(400.0), metres(200.0), while_s]);
    }

    #[test]
    fn the_intensity_says_what_a_step_is_for() {
        let of = |text: &str| steps(text).iter().map(|step| step.intensity).collect::<Vec<_>>();
        assert_eq!(
            of("walk 5:00, 6 x (run 1:10, walk 2:00), walk 4:00"),
            [WarmUp, Active, Rest, Unknown, CoolDown]
        );
        assert_eq!(of("3 x (walk 4:00, run 1:00)"), [Rest, Active, Unknown], "the walk comes again");
        assert_eq!(of("run 5:00, rest 2:00, run 5:00, walk 3:00"), [Active, Rest, Active, CoolDown]);
        assert_eq!(of("walk 30:00"), [Active]);
        assert_eq!(of("2 x (walk 2:00, walk 1:00), run 9:00"), [WarmUp, WarmUp, Unknown, Active]);
    }
}
