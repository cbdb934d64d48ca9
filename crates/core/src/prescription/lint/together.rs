//! What cannot be meant together: ranges out of order, changes begun at once, counts that never end their rise, kinds of session
//! that their recordings do not tell apart.

use super::increments::exceeds;
use super::{LintCode, Remark, RemarkUnit};
use crate::prescription::expand::each;
use crate::prescription::figures::{ASSUMED_RUN_MPS, ASSUMED_WALK_MPS, Figures};
use crate::prescription::{Item, Move, Plan, Session, Stage, Step};
use crate::range::Range;
use jogaudit_recording::units::{BeatsPerMinute, MetresPerSecond};

/// Sessions whose runs and walks lie nearer than this to each other are hardly told apart, s: the review asks for a stage nine times
/// as likely as all others, at a scale of 12 s (`docs/review.md`).
pub const LEAST_APART_S: f64 = 27.0;
/// A second of walking counts for less than a second of running in telling sessions apart, since a longer walk is no fault.
const WALK_SHARE: f64 = 0.05;

pub(super) fn remarks(plan: &Plan, figures: &[Range<Figures>]) -> Vec<Remark> {
    let mut found = Vec::new();
    for place in 1..plan.places() {
        order(plan, figures, place, &mut found);
        at_once(plan, figures, place, &mut found);
    }
    for stage in &plan.stages {
        rising(stage, &mut found);
    }
    for place in 0..plan.places() {
        alike(plan.stages.get(plan.kinds_at(place)).unwrap_or_default(), &mut found);
    }
    found
}

/// The least running of one stage above the most of the next.
fn order(plan: &Plan, figures: &[Range<Figures>], place: usize, found: &mut Vec<Remark>) {
    let most = |kinds: std::ops::Range<usize>, of: fn(&Range<Figures>) -> f64| {
        kinds.max_by(|a, b| of(&figures[*a]).total_cmp(&of(&figures[*b])))
    };
    let before = most(plan.kinds_at(place - 1), |f| f.least.run_s);
    let now = most(plan.kinds_at(place), |f| f.most.run_s);
    let (Some(before), Some(now)) = (before, now) else { return };
    let is_range = |index: usize| figures[index].least.run_s != figures[index].most.run_s;
    let (least_s, most_s) = (figures[before].least.run_s, figures[now].most.run_s);
    if (is_range(before) || is_range(now)) && exceeds(least_s, most_s) {
        let remark = Remark::new(LintCode::RangesOutOfOrder, &plan.stages[now].name, RemarkUnit::Seconds);
        found.push(Remark {
            after: Some(plan.stages[before].name.clone()),
            is_estimated: !(figures[before].least.is_run_exact && figures[now].most.is_run_exact),
            ..remark.held(most_s, least_s)
        });
    }
}

/// More than one of: more sessions a week, longer runs, more intensity.
fn at_once(plan: &Plan, figures: &[Range<Figures>], place: usize, found: &mut Vec<Remark>) {
    let (before, now) = (plan.kinds_at(place - 1), plan.kinds_at(place));
    let longest_s = |kinds: &std::ops::Range<usize>| {
        kinds.clone().map(|index| figures[index].most.longest_run_s).fold(0.0, f64::max)
    };
    if longest_s(&before) == 0.0 {
        return; // the first running is no change of running
    }
    let stages = |kinds: &std::ops::Range<usize>| plan.stages.get(kinds.clone()).unwrap_or_default().iter();
    let most = |kinds: &std::ops::Range<usize>, of: fn(&Stage) -> Option<f64>| {
        stages(kinds).map(of).collect::<Option<Vec<f64>>>().map(|all| all.into_iter().fold(0.0, f64::max))
    };
    let rises = |of: fn(&Stage) -> Option<f64>| {
        most(&before, of).zip(most(&now, of)).is_some_and(|(before, now)| exceeds(now, before))
    };
    let changes = [
        (rises(|s| s.limits.sessions_per_week.map(|week| f64::from(week.most))), "more sessions a week"),
        (exceeds(longest_s(&now), longest_s(&before)), "longer runs"),
        (
            rises(|s| s.limits.pace_ceiling.map(MetresPerSecond::get))
                || rises(|s| s.limits.heart_rate_ceiling.map(BeatsPerMinute::get))
                || rises(|s| s.limits.effort_ceiling),
            "more intensity",
        ),
    ];
    let named: Vec<String> =
        changes.iter().filter(|(begins, _)| *begins).map(|(_, name)| (*name).to_owned()).collect();
    if named.len() > 1 {
        let remark =
            Remark::new(LintCode::TwoChangesAtOnce, &plan.stages[now.start].name, RemarkUnit::Sessions);
        found.push(Remark { after: Some(plan.stages[before.start].name.clone()), named, ..remark });
    }
}

/// A count that has not ended its rise when the stage is over.
fn rising(stage: &Stage, found: &mut Vec<Remark>) {
    let rises = each(&stage.session.items).filter_map(Item::rising);
    let longest = rises.map(|(first, last)| last - first + 1).max().unwrap_or(0);
    // By weeks: so many as hold the sessions.
    let (given, takes, unit) = match (stage.sessions, stage.weeks) {
        (Some(sessions), _) => (sessions, longest, RemarkUnit::Sessions),
        (None, Some(weeks)) => (weeks, longest.div_ceil(stage.most_a_week().max(1)), RemarkUnit::Weeks),
        (None, None) => return,
    };
    if takes > given {
        let remark = Remark::new(LintCode::RisingNeverEnds, &stage.name, unit);
        found.push(remark.held(f64::from(given), f64::from(takes)));
    }
}

/// Kinds of session of one stage that a recording may be just as well.
fn alike(kinds: &[Stage], found: &mut Vec<Remark>) {
    if kinds.len() < 2 {
        return;
    }
    let all: Vec<(&Stage, Vec<Shape>)> = kinds.iter().map(|stage| (stage, shapes(&stage.session))).collect();
    let pairs =
        all.iter().enumerate().flat_map(|(index, later)| all[..index].iter().map(move |e| (e, later)));
    for ((earlier, other), (stage, ways)) in pairs {
        let nearest = ways
            .iter()
            .flat_map(|way| other.iter().map(move |other| (way, apart_s(way, other))))
            .filter_map(|(way, apart)| apart.map(|apart| (way, apart)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((way, apart_s)) = nearest.filter(|(_, apart_s)| *apart_s < LEAST_APART_S) {
            let runs = way.iter().filter(|part| part.0).count();
            let remark = Remark::new(LintCode::KindsAlike, &stage.name, RemarkUnit::Seconds);
            found.push(Remark {
                after: Some(earlier.name.clone()),
                named: vec![if runs == 1 { "1 run".to_owned() } else { format!("{runs} runs") }],
                ..remark.held(apart_s, LEAST_APART_S)
            });
        }
    }
}

/// Runs and what lies between two of them, in order: whether it is a run, and its least and most, s.
type Shape = Vec<(bool, Range)>;

/// Each way to do a session, without the walks at its ends, which tell little.
fn shapes(session: &Session) -> Vec<Shape> {
    let (run, walk) = (MetresPerSecond::new(ASSUMED_RUN_MPS), MetresPerSecond::new(ASSUMED_WALK_MPS));
    let of = |steps: Vec<Step>| {
        let mut shape: Shape = Vec::new();
        for step in steps {
            let is_run = step.motion == Move::Run;
            let speed_mps = if is_run { ASSUMED_RUN_MPS } else { ASSUMED_WALK_MPS };
            let length_s = step.extent.map(|end| end.seconds_at(speed_mps));
            match shape.last_mut() {
                Some((before, sum)) if *before == is_run => *sum += length_s,
                _ => shape.push((is_run, length_s)),
            }
        }
        let first = shape.iter().position(|part| part.0).unwrap_or(shape.len());
        let last = shape.iter().rposition(|part| part.0).map_or(first, |last| last + 1);
        shape.get(first..last).unwrap_or_default().to_vec()
    };
    session.expand().ways_at(run, walk).into_iter().map(of).collect()
}

/// How far two sessions lie apart where they are nearest, s; `None` when they differ in their number of runs.
fn apart_s(one: &Shape, other: &Shape) -> Option<f64> {
    let gap = |a: Range, b: Range| (a.least - b.most).max(b.least - a.most).max(0.0);
    (one.len() == other.len()).then(|| {
        let parts = one.iter().zip(other);
        parts.map(|(a, b)| gap(a.1, b.1) * if a.0 { 1.0 } else { WALK_SHARE }).sum()
    })
}
