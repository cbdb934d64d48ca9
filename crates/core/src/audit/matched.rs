//! What was done, matched with what was prescribed.

use super::align::{self, Alignment, Costs, Piece, PieceKind, Target};
use super::gradient::{self, Slopes};
use super::layouts;
use super::measure::{self, BoutPart, Done};
use super::{AuditConfig, Prescription};
use crate::clean::Series;
use crate::gait::{Gait, Segmentation};
use crate::prescription::{Extent, Move, PaceBasis, Session, Step, WholeByTime};
use crate::range::Range;
use jogaudit_recording::units::{MetresPerSecond, Seconds};

/// Speeds with which a distance is turned into time when the recording has none: jogging as in return to running
/// (8–10 km/h, Rambaud et al. 2018, secondary) and brisk walking (3.2 mph, Compendium of Physical Activities 2011).
/// They only steer the matching.
const ASSUMED_MPS: Speeds = Speeds { run_mps: 2.4, walk_mps: 1.4 };
/// Steps of a layout that are matched: as many as a session that is all by time or all by distance may have.
const MOST_STEPS: usize = 10_000;
/// Work above which a whole by distance is not tried with all the ends that errors of the distance give it: sixteen stages with such a
/// session can then be matched. Our choice.
const MOST_CELLS_OFF_BY_ERRORS: usize = align::MOST_CELLS / 16;
/// A step by distance may take so much longer than at the mean speed, as a share. Our choice.
const MOST_LONGER: f64 = 0.3;
/// A mean speed below this is taken for a recorder that counted no distance. Our choice.
const LEAST_MEAN_MPS: f64 = 0.3;

/// What was done, matched with what was prescribed: built once by [`Matched::new`]; the audit ([`Matched::audit`]) and
/// the curves ([`Matched::trace`]) both read it.
#[derive(Clone, Debug)]
pub struct Matched<'a> {
    pub(super) series: &'a Series,
    pub(super) prescription: Prescription<'a>,
    pub(super) config: &'a AuditConfig,
    /// The bouts, as the matching sees them.
    pub(super) pieces: Vec<Piece>,
    /// The prescribed steps, laid out as fits best.
    pub(super) layout: Layout,
    /// One a step of the layout.
    pub(super) done: Vec<Done>,
    pub(super) slopes: Slopes,
}

/// One way to lay a session out in steps, with the matching that costs least.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Layout {
    pub(super) steps: Vec<Step>,
    /// Length of each step, s, from the least to the most; of one by distance at the speed of the recording.
    pub(super) lengths_s: Vec<Range>,
    pub(super) targets: Vec<Target>,
    /// `None` where bouts and steps are too many to match.
    pub(super) alignment: Option<Alignment>,
}

impl Layout {
    /// The steps laid out and not yet matched.
    fn new(steps: Vec<Step>, speeds: Speeds) -> Self {
        let timed: Vec<(Move, Range)> =
            steps.iter().map(|step| (step.motion, speeds.length_s(step))).collect();
        let targets = align::targets(&timed);
        Self { steps, lengths_s: timed.into_iter().map(|t| t.1).collect(), targets, alignment: None }
    }

    fn cost_s(&self) -> f64 {
        self.alignment.as_ref().map_or(f64::INFINITY, |alignment| alignment.cost_s)
    }
}

/// Mean speeds of a recording, by which distances become times.
#[derive(Clone, Copy, Debug)]
struct Speeds {
    run_mps: f64,
    walk_mps: f64,
}

impl Speeds {
    /// Those of a recording; assumed where not known.
    fn of(pieces: &[Piece], series: &Series) -> Self {
        let mean_mps = |kind: PieceKind, assumed_mps: f64| {
            let parts: Vec<BoutPart> = pieces.iter().filter(|p| p.kind == kind).map(BoutPart::of).collect();
            let length_s = measure::total_s(&parts);
            let speed_mps = measure::distance_m(series, &parts).map(|d| d / length_s);
            speed_mps.filter(|v| v.is_finite() && *v > LEAST_MEAN_MPS).unwrap_or(assumed_mps)
        };
        Self {
            run_mps: mean_mps(PieceKind::Run, ASSUMED_MPS.run_mps),
            walk_mps: mean_mps(PieceKind::Walk, ASSUMED_MPS.walk_mps),
        }
    }

    fn length_s(self, step: &Step) -> Range {
        let speed_mps = if step.motion == Move::Run { self.run_mps } else { self.walk_mps };
        step.extent.map(|end| end.seconds_at(speed_mps))
    }
}

/// Every layout of a session, not yet matched.
fn layouts_of(pieces: &[Piece], series: &Series, session: &Session, config: &AuditConfig) -> Vec<Layout> {
    let speeds = Speeds::of(pieces, series);
    let (run, walk) = (MetresPerSecond::new(speeds.run_mps), MetresPerSecond::new(speeds.walk_mps));
    let recorded = Seconds::new(pieces.iter().map(|piece| piece.bout.end_s).fold(0.0, f64::max));
    let laid_out = |ways: Vec<Vec<Step>>| -> Vec<Layout> {
        ways.into_iter().map(|steps| Layout::new(steps, speeds)).collect()
    };
    layouts::layouts_off_by_errors(session, run, walk, recorded, config.distance_error)
        .map(laid_out)
        .filter(|layouts| cells(pieces, layouts) <= MOST_CELLS_OFF_BY_ERRORS)
        .unwrap_or_else(|| laid_out(layouts::layouts(session, run, walk, recorded)))
}

/// Work of matching these layouts: bouts times targets, of all of them.
fn cells(pieces: &[Piece], layouts: &[Layout]) -> usize {
    let of = |layout: &Layout| {
        if layout.steps.len() > MOST_STEPS {
            usize::MAX
        } else {
            align::cells(pieces.len(), layout.targets.len())
        }
    };
    layouts.iter().map(of).fold(0, usize::saturating_add)
}

/// Matches the layouts that may fit best, unless that is too much work altogether: then none, since the best is not known.
/// A layout whose running alone costs as much as another altogether is none of them, and a session with many ways has
/// mostly such; with `each` it is matched all the same.
fn match_all(pieces: &[Piece], layouts: &mut [Layout], each: bool, config: &AuditConfig) {
    if cells(pieces, layouts) > align::MOST_CELLS {
        return;
    }
    let running = Running::of(pieces);
    let least_s: Vec<f64> =
        layouts.iter().map(|layout| running.least_cost_s(&layout.targets, &config.costs)).collect();
    let mut order: Vec<usize> = (0..layouts.len()).collect();
    order.sort_by(|a, b| least_s[*a].total_cmp(&least_s[*b]));
    let mut best_s = f64::INFINITY;
    let longest = layouts.iter().map(|layout| layout.targets.len()).max().unwrap_or(0);
    let mut aligner = align::Aligner::new(pieces, &config.costs, longest);
    for index in order {
        if !each && least_s[index] > best_s {
            continue;
        }
        let layout = &mut layouts[index];
        layout.alignment = aligner.align(&layout.targets);
        best_s = best_s.min(layout.cost_s());
    }
}

/// The layouts whose last step of a whole by time ends when the time is over by what the steps before it took: a recorder may be wrong about
/// these, a clock is not. With less than `tolerance_s` left the step need not be begun.
fn cut_when_it_is_over(
    layouts: &[Layout],
    whole: WholeByTime<'_>,
    pieces: &[Piece],
    speeds: Speeds,
    tolerance_s: f64,
) -> Vec<Layout> {
    let cut = |layout: &Layout| {
        let groups = &layout.alignment.as_ref()?.groups;
        let done = measure::lay_out(pieces, &layout.targets, groups, &layout.lengths_s);
        let last = layout.steps.len().checked_sub(whole.after + 1).filter(|last| *last >= whole.before)?;
        let took_s: f64 = done[whole.before..last].iter().map(|d| measure::total_s(&d.own)).sum();
        let left_s = whole.time_s.map(|time_s| time_s - took_s);
        let last_step = whole.cycle.get((last - whole.before) % whole.cycle.len())?;
        let longer = if last_step.extent.is_time() { 0.0 } else { MOST_LONGER };
        let most_s = (1.0 + longer) * speeds.length_s(last_step).most;
        // What is over before its last step, or goes on long after it, is no way to do it.
        if left_s.most <= 0.0 || left_s.least > most_s {
            return None;
        }
        let mut steps = layout.steps.clone();
        let ends_s = Range { least: (left_s.least - tolerance_s).max(0.0), most: left_s.most.min(most_s) };
        steps[last] = Step { extent: ends_s.map(|s| Extent::Time(Seconds::new(s))), ..*last_step };
        Some(Layout::new(steps, speeds))
    };
    layouts.iter().filter_map(cut).collect()
}

/// What a recording holds of running, s.
struct Running {
    /// Each bout times its certainty.
    sure_s: f64,
    /// With all that may be running.
    most_s: f64,
}

impl Running {
    fn of(pieces: &[Piece]) -> Self {
        let sum = |of: fn(&Piece) -> f64| -> f64 { pieces.iter().map(of).sum() };
        Self {
            sure_s: sum(
                |p| if p.kind == PieceKind::Run { p.bout.duration_s() * p.bout.certainty } else { 0.0 },
            ),
            most_s: sum(|p| match p.kind {
                PieceKind::Run | PieceKind::Hole => p.bout.duration_s(),
                PieceKind::Walk | PieceKind::Rest => 0.0,
            }),
        }
    }

    /// The least that any matching of these targets costs: each second of running too many or too few costs at least as
    /// much as the cheapest way to have it.
    fn least_cost_s(&self, targets: &[Target], costs: &Costs) -> f64 {
        let prescribed: Range = targets.iter().filter(|t| t.gait == Gait::Run).map(|t| t.length_s).sum();
        let too_many = costs.run.min(costs.run_after).min(costs.run_before).min(costs.run_in_break);
        let excess_s = (self.sure_s - prescribed.most).max(0.0);
        let lack_s = (prescribed.least - self.most_s).max(0.0);
        (too_many * excess_s).max(costs.run * lack_s)
    }
}

/// See [`super::alignment_costs_s`].
pub(super) fn alignment_costs_s<'s>(
    segmentation: &Segmentation,
    series: &Series,
    sessions: impl Iterator<Item = &'s Session>,
    config: &AuditConfig,
) -> Option<Vec<f64>> {
    let pieces = measure::pieces(segmentation, series);
    let (mut all, mut work) = (Vec::new(), 0_usize);
    for session in sessions {
        let layouts = layouts_of(&pieces, series, session, config);
        work = work.saturating_add(cells(&pieces, &layouts));
        if work > align::MOST_CELLS {
            return None;
        }
        all.push(layouts);
    }
    let cost_s = |mut layouts: Vec<Layout>| {
        match_all(&pieces, &mut layouts, false, config);
        layouts.iter().map(Layout::cost_s).fold(f64::INFINITY, f64::min)
    };
    Some(all.into_iter().map(cost_s).collect())
}

impl<'a> Matched<'a> {
    /// Matches the bouts of one session with its prescription. Never fails: what cannot be matched is `undecided` in
    /// the audit.
    ///
    /// Where the number of steps depends on what was done (`for 1.5 mi ( … )`), the layout that fits best is taken, of
    /// equals the first.
    pub fn new(
        segmentation: &Segmentation,
        series: &'a Series,
        prescription: Prescription<'a>,
        config: &'a AuditConfig,
    ) -> Self {
        let pieces = measure::pieces(segmentation, series);
        let mut layouts = layouts_of(&pieces, series, prescription.session, config);
        let expansion = prescription.session.expand();
        let by_time = expansion.whole_by_time();
        match_all(&pieces, &mut layouts, by_time.is_some(), config);
        if let Some(whole) = by_time {
            let tolerance_s = prescription.tolerance.run.get();
            let mut cut =
                cut_when_it_is_over(&layouts, whole, &pieces, Speeds::of(&pieces, series), tolerance_s);
            match_all(&pieces, &mut cut, false, config);
            if cut.iter().any(|layout| layout.alignment.is_some()) {
                layouts = cut;
            }
        }
        let layout = layouts.into_iter().min_by(|a, b| a.cost_s().total_cmp(&b.cost_s())).unwrap_or_default();
        let groups = layout.alignment.as_ref().map_or(&[][..], |alignment| &alignment.groups);
        let done = measure::lay_out(&pieces, &layout.targets, groups, &layout.lengths_s);
        let slopes = gradient::slopes(series, config.slope_window_m, config.slope_error);
        Self { series, prescription, config, pieces, layout, done, slopes }
    }

    /// The steps with what was done for each.
    pub(super) fn steps_done(&self) -> impl Iterator<Item = (&Step, &Done)> {
        self.layout.steps.iter().zip(&self.done)
    }

    /// The pace ceiling of a step, m/s.
    pub(super) fn ceiling_mps(&self, step: &Step) -> Option<f64> {
        step.pace_ceiling(self.prescription.limits).map(MetresPerSecond::get).filter(|c| *c > 0.0)
    }

    pub(super) fn has_pace_ceiling(&self) -> bool {
        self.layout.steps.iter().any(|step| self.ceiling_mps(step).is_some())
    }

    /// Whether the prescription wants the pace of level ground held against the ceilings.
    pub(super) fn wants_level(&self) -> bool {
        self.prescription.limits.pace_basis == PaceBasis::Level
    }

    /// Whether the pace of level ground is held against the ceilings: it is wanted and the slopes are good enough.
    pub(super) fn is_level(&self) -> bool {
        self.wants_level() && self.slopes.is_good()
    }
}
