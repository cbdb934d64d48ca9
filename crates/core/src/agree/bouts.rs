//! Agreement of two sets of bouts of the same recording: time, events, boundaries. Over many recordings tallies add up.
//!
//! Where the reference is `unknown` there is nothing to be right about: that time, and what the other side names mostly
//! within it, is not counted. Time that a side does not cover is `unknown` on that side.

use std::cmp::Ordering;

use crate::gait::Gait;
use crate::gait::agreement::{GaitSpan, matched};
use crate::statistics::quantile;

use super::Undefined;
use super::kappa::cohen_kappa;

/// The categories, in the order of every table.
pub const GAITS: [Gait; 4] = [Gait::Run, Gait::Walk, Gait::Stand, Gait::Unknown];
/// Least overlap shares at which events are matched.
pub const OVERLAP_SHARES: [f64; 4] = [0.25, 0.5, 0.75, 0.9];
/// The one of them whose pairs have their boundaries compared.
pub const BOUNDARY_SHARE: f64 = 0.5;
/// What is told of the boundaries' distances: their median and 95th percentile.
pub(super) const BOUNDARY_QUANTILES: [f64; 2] = [0.5, 0.95];
/// Where the covers differ by more than this, it is said, s: twice what a sample a second and rounding explain.
pub const COVER_TOLERANCE_S: f64 = 2.0;
/// Nearer than this to where the reference begins to know something, a boundary is the recorder's and no change of gait, s.
const EDGE_S: f64 = 1.0;

/// Bouts of one gait (or of all) on both sides and how many are matched one to one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Events {
    /// Bouts of the reference.
    pub reference: usize,
    /// Bouts of the other side.
    pub other: usize,
    /// Matched at each of [`OVERLAP_SHARES`].
    pub matched: [usize; OVERLAP_SHARES.len()],
}

impl Events {
    /// 2·matched/(all bouts of both sides) at each of [`OVERLAP_SHARES`].
    pub fn f1(&self) -> [Result<f64, Undefined>; OVERLAP_SHARES.len()] {
        let all = self.reference + self.other;
        self.matched.map(|n| if all > 0 { Ok(2.0 * n as f64 / all as f64) } else { Err(Undefined::Nothing) })
    }
}

/// How far boundaries lie apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoundaryError {
    /// Mean of other − reference, s: above 0 the other side is later.
    pub bias_s: f64,
    /// Median distance, s.
    pub median_s: f64,
    /// 95th percentile of the distance, s.
    pub p95_s: f64,
}

/// What comparing two sets gives, and the sum over many recordings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// Seconds by the reference's gait (rows) and the other side's (columns), in the order of [`GAITS`].
    pub time_s: [[f64; GAITS.len()]; GAITS.len()],
    /// Events of run, walk and stand.
    pub events: [Events; 3],
    /// Other − reference of each boundary of matched bouts, s.
    pub boundaries_s: Vec<f64>,
}

impl Tally {
    /// Compares two sets, each in order of time and without overlap.
    pub fn of(reference: &[GaitSpan], other: &[GaitSpan]) -> Self {
        let mut tally = Self { time_s: shared_time(reference, other), ..Self::default() };
        let known: Vec<GaitSpan> = reference.iter().filter(|s| s.gait != Gait::Unknown).copied().collect();
        let counted: Vec<GaitSpan> =
            other.iter().filter(|s| s.gait != Gait::Unknown && is_judged(s, &known)).copied().collect();
        for (i, events) in tally.events.iter_mut().enumerate() {
            let of_gait = |spans: &[GaitSpan]| spans.iter().filter(|s| s.gait == GAITS[i]).count();
            (events.reference, events.other) = (of_gait(&known), of_gait(&counted));
        }
        for (share, least) in OVERLAP_SHARES.into_iter().enumerate() {
            let pairs = matched(&known, &counted, least);
            for &(i, _) in &pairs {
                tally.events[place(known[i].gait)].matched[share] += 1;
            }
            if least == BOUNDARY_SHARE {
                tally.boundaries_s = boundaries(&known, &counted, &pairs);
            }
        }
        tally
    }

    /// Adds another recording's.
    pub fn add(&mut self, one: &Self) {
        self.add_amounts(one);
        self.boundaries_s.extend(&one.boundaries_s);
    }

    /// Adds another recording's time and events.
    pub(super) fn add_amounts(&mut self, one: &Self) {
        for (sum, row) in self.time_s.iter_mut().zip(&one.time_s) {
            sum.iter_mut().zip(row).for_each(|(sum, s)| *sum += s);
        }
        for (sum, events) in self.events.iter_mut().zip(&one.events) {
            *sum = joined(*sum, *events);
        }
    }

    /// Events of all gaits together.
    pub fn all_events(&self) -> Events {
        self.events.iter().copied().fold(Events::default(), joined)
    }

    /// Seconds in which the reference names a gait.
    pub fn compared_s(&self) -> f64 {
        self.judged().iter().flatten().sum()
    }

    /// Share of the compared time in which both name the same gait.
    pub fn accuracy(&self) -> Result<f64, Undefined> {
        let same: f64 = (0..3).map(|i| self.time_s[i][i]).sum();
        let all = self.compared_s();
        if all > 0.0 { Ok(same / all) } else { Err(Undefined::Nothing) }
    }

    /// Cohen's kappa over the compared time; `unknown` of the other side is a category that the reference never names.
    pub fn kappa(&self) -> Result<f64, Undefined> {
        cohen_kappa(&self.judged())
    }

    /// The boundaries' error.
    pub fn boundary_error(&self) -> Result<BoundaryError, Undefined> {
        let mut distances: Vec<f64> = self.boundaries_s.iter().map(|s| s.abs()).collect();
        distances.sort_by(f64::total_cmp);
        let quantiles = BOUNDARY_QUANTILES.map(|share| quantile(&distances, share));
        boundary_error_of(distances.len(), self.boundaries_s.iter().sum(), quantiles)
    }

    /// The table without the reference's `unknown`.
    fn judged(&self) -> [[f64; 4]; 4] {
        let mut table = self.time_s;
        table[3] = [0.0; 4];
        table
    }
}

/// The error of so many boundaries with that sum, s, and those quantiles of their distances, s.
pub(super) fn boundary_error_of(
    count: usize,
    sum_s: f64,
    quantiles_s: [Option<f64>; BOUNDARY_QUANTILES.len()],
) -> Result<BoundaryError, Undefined> {
    let [Some(median_s), Some(p95_s)] = quantiles_s else { return Err(Undefined::Nothing) };
    Ok(BoundaryError { bias_s: sum_s / count as f64, median_s, p95_s })
}

fn place(gait: Gait) -> usize {
    GAITS.iter().position(|g| *g == gait).unwrap_or(3)
}

fn joined(a: Events, b: Events) -> Events {
    let matched = std::array::from_fn(|i| a.matched[i] + b.matched[i]);
    Events { reference: a.reference + b.reference, other: a.other + b.other, matched }
}

/// Walks over both sides at once; what one does not cover is unknown there.
fn shared_time(reference: &[GaitSpan], other: &[GaitSpan]) -> [[f64; 4]; 4] {
    let mut ends: Vec<f64> = reference.iter().chain(other).flat_map(|s| [s.start_s, s.end_s]).collect();
    ends.sort_by(f64::total_cmp);
    let mut table = [[0.0; 4]; 4];
    let (mut i, mut j) = (0, 0);
    let gait_at = |spans: &[GaitSpan], at: &mut usize, from_s: f64| {
        while spans.get(*at).is_some_and(|s| s.end_s <= from_s) {
            *at += 1;
        }
        spans.get(*at).filter(|s| s.start_s <= from_s).map_or(Gait::Unknown, |s| s.gait)
    };
    for pair in ends.windows(2).filter(|pair| pair[0].total_cmp(&pair[1]) == Ordering::Less) {
        let (a, b) = (gait_at(reference, &mut i, pair[0]), gait_at(other, &mut j, pair[0]));
        table[place(a)][place(b)] += pair[1] - pair[0];
    }
    table
}

/// Whether at least half of a span lies where the reference names a gait.
fn is_judged(span: &GaitSpan, known: &[GaitSpan]) -> bool {
    let from = known.partition_point(|k| k.end_s <= span.start_s);
    let shared: f64 = known[from..]
        .iter()
        .take_while(|k| k.start_s < span.end_s)
        .map(|k| k.end_s.min(span.end_s) - k.start_s.max(span.start_s))
        .sum();
    shared >= 0.5 * (span.end_s - span.start_s)
}

/// Other − reference at the start and end of each matched bout, but for those where the reference's knowledge begins or
/// ends; a boundary that two matched neighbours share counts once.
fn boundaries(known: &[GaitSpan], counted: &[GaitSpan], pairs: &[(usize, usize)]) -> Vec<f64> {
    let mut errors = Vec::new();
    let mut last = None;
    for &(i, j) in pairs {
        let is_inner_start = i > 0 && known[i].start_s - known[i - 1].end_s < EDGE_S;
        let is_inner_end = known.get(i + 1).is_some_and(|next| next.start_s - known[i].end_s < EDGE_S);
        let start = (known[i].start_s, counted[j].start_s);
        if is_inner_start && last != Some(start) {
            errors.push(start.1 - start.0);
        }
        let end = (known[i].end_s, counted[j].end_s);
        if is_inner_end {
            errors.push(end.1 - end.0);
        }
        last = is_inner_end.then_some(end);
    }
    errors
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs of this list with walks between, from 0 to `end_s`.
    fn session(runs: &[(f64, f64)], end_s: f64) -> Vec<GaitSpan> {
        let span = |gait, start_s, end_s| GaitSpan { gait, start_s, end_s };
        let mut spans = Vec::new();
        let mut at = 0.0;
        for &(from, to) in runs {
            spans.extend([span(Gait::Walk, at, from), span(Gait::Run, from, to)]);
            at = to;
        }
        spans.push(span(Gait::Walk, at, end_s));
        spans
    }

    /// The worked vector of six true runs in 1380 s and six found ones (also in `gait::agreement`).
    fn vector() -> (Vec<GaitSpan>, Vec<GaitSpan>) {
        let truth = [(300., 360.), (480., 540.), (660., 720.), (840., 900.), (1020., 1080.), (1200., 1260.)];
        let found = [(303., 362.), (478., 505.), (511., 541.), (661., 790.), (840., 900.), (1100., 1112.)];
        (session(&truth, 1380.0), session(&found, 1380.0))
    }

    fn places(value: Result<f64, Undefined>) -> f64 {
        (value.unwrap() * 1e4).round() / 1e4
    }

    #[test]
    fn the_worked_vector() {
        // Worked out by hand, a frame a second: TP 230, FP 87, FN 130, TN 933; accuracy .8428, kappa .5758.
        let (truth, found) = vector();
        let tally = Tally::of(&truth, &found);
        assert_eq!(tally.time_s[0][..2], [230.0, 130.0]);
        assert_eq!(tally.time_s[1][..2], [87.0, 933.0]);
        assert_eq!(places(tally.accuracy()), 0.8428);
        assert_eq!(places(tally.kappa()), 0.5758);
        assert_eq!(tally.events[0].reference, 6);
        assert_eq!(tally.events[0].matched[1], 2);
        assert_eq!(places(tally.events[0].f1()[1]), 0.3333);
    }

    #[test]
    fn each_boundary_counts_once() {
        let tally = Tally::of(&session(&[(60., 120.)], 300.), &session(&[(61., 118.)], 300.));
        assert_eq!(tally.boundaries_s, [1.0, -2.0]);
        assert_eq!(tally.boundary_error(), Ok(BoundaryError { bias_s: -0.5, median_s: 1.5, p95_s: 1.95 }));
    }

    #[test]
    fn what_the_reference_does_not_know_is_not_judged() {
        let span = |gait, start_s, end_s| GaitSpan { gait, start_s, end_s };
        let reference =
            [span(Gait::Walk, 0., 100.), span(Gait::Unknown, 100., 150.), span(Gait::Walk, 150., 200.)];
        let other = [span(Gait::Walk, 0., 105.), span(Gait::Run, 105., 145.), span(Gait::Walk, 145., 190.)];
        let tally = Tally::of(&reference, &other);
        assert_eq!(tally.compared_s(), 150.0);
        assert_eq!(tally.time_s[1], [0.0, 140.0, 0.0, 10.0]); // the other side ends 10 s early
        assert_eq!(tally.events[0].other, 0);
        assert_eq!((tally.events[1].reference, tally.events[1].other), (2, 2));
        assert_eq!(tally.boundaries_s, Vec::<f64>::new());
        assert_eq!(tally.boundary_error(), Err(Undefined::Nothing));
    }

    #[test]
    fn tallies_add_up() {
        let (truth, found) = vector();
        let one = Tally::of(&truth, &found);
        let mut sum = one.clone();
        sum.add(&Tally::of(&truth, &truth));
        assert_eq!(sum.compared_s(), 2.0 * 1380.0);
        assert_eq!(sum.all_events().reference, 26);
        assert!(sum.kappa().unwrap() > one.kappa().unwrap());
        assert_eq!(Tally::of(&truth, &truth).kappa(), Ok(1.0));
        assert_eq!(Tally::default().accuracy(), Err(Undefined::Nothing));
        assert_eq!(Tally::of(&session(&[], 60.), &session(&[], 60.)).kappa(), Err(Undefined::OneCategory));
    }
}
