//! What the recordings of one runner tell of the others: how fast this runner walks and runs.
//!
//! [`RunnerEvidence`] is what one segmented recording tells; [`RunnerPrior`] is what all of them tell of one more, each day
//! weighed by how near it is. The scorer sees it beside the readings.

use jiff::Timestamp;

use super::config::people::{RUN_SPEED_MPS, WALK_SPEED_MPS};
use super::config::runner::{
    CADENCE_SHARE, DAY_SD_MPS, DAY_SD_READINGS, END_S, FADES_DAYS, LEAST_BOUT_S, LEAST_SECONDS, LEAST_TAUGHT,
    ROUNDS, SURE, SURE_WITHOUT_CADENCE, TAIL, TRUST_WITHOUT_CADENCE,
};
use super::figures::UsualSpeeds;
use super::gaussian::Gaussian;
use super::segmentation::{Bout, Gait, Segmentation};
use super::slope::{slope_factor, slopes};
use crate::clean::Series;
use crate::statistics::median;

/// What one segmented recording tells of its runner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunnerEvidence {
    /// When it was begun.
    pub start: Timestamp,
    /// When it ended.
    pub end: Timestamp,
    /// Whether cadence told the gaits: then what they are is nearly certain.
    pub has_cadence: bool,
    /// Usual walking speed on level ground, m/s, where there is enough that is certain: the median over the bouts, each counted by its
    /// time.
    pub walk_mps: Option<f64>,
    /// Usual running speed, likewise.
    pub run_mps: Option<f64>,
}

impl RunnerEvidence {
    /// What a recording and its bouts tell; `None` when that is nothing. A recording without cadence tells only where it has both
    /// gaits and each is very certain: it was told apart by what is known of people, and may not confirm that by itself.
    pub fn of(series: &Series, segmentation: &Segmentation) -> Option<Self> {
        if series.is_order_doubtful() {
            return None;
        }
        let has_cadence = has_cadence(series, segmentation);
        let sure = if has_cadence { SURE } else { SURE_WITHOUT_CADENCE };
        let level_mps = level_speeds(series);
        let told = |gait: Gait| {
            let bouts = segmentation.bouts().iter();
            let bouts =
                bouts.filter(|b| b.gait == gait && b.certainty >= sure && b.duration_s() >= LEAST_BOUT_S);
            usual_of(series, &level_mps, bouts)
        };
        let (walk_mps, run_mps) = (told(Gait::Walk), told(Gait::Run));
        let enough =
            if has_cadence { walk_mps.or(run_mps).is_some() } else { walk_mps.and(run_mps).is_some() };
        enough.then_some(Self { start: series.start(), end: series.end(), has_cadence, walk_mps, run_mps })
    }

    /// By how much it counts as a teacher: 1, or less without cadence.
    fn trust(&self) -> f64 {
        if self.has_cadence { 1.0 } else { TRUST_WITHOUT_CADENCE }
    }
}

/// Whether cadence tells the gaits of a recording: most of the time in which someone moves has one.
pub fn has_cadence(series: &Series, segmentation: &Segmentation) -> bool {
    let (mut known, mut all) = (0, 0);
    for bout in segmentation.bouts().iter().filter(|b| matches!(b.gait, Gait::Walk | Gait::Run)) {
        let cadences = &series.cadence_spm()[series.range(bout.start_s, bout.end_s)];
        known += cadences.iter().flatten().count();
        all += cadences.len();
    }
    known as f64 > CADENCE_SHARE * all as f64
}

/// Each sample's speed as it would be on level ground.
fn level_speeds(series: &Series) -> Vec<Option<f64>> {
    // Of whole seconds, and only of those in which something was recorded: a hole may be years long.
    let slopes = slopes(series, series.time_s().iter().map(|at_s| at_s.floor()));
    let level = |(speed, slope): (&Option<f64>, f64)| speed.map(|v| v / slope_factor(slope));
    series.speed_mps().iter().zip(slopes).map(level).collect()
}

/// Usual speed of some bouts; `None` of too few.
fn usual_of<'b>(
    series: &Series,
    level_mps: &[Option<f64>],
    bouts: impl Iterator<Item = &'b Bout>,
) -> Option<f64> {
    let mut seconds = 0.0;
    let mut speeds = Vec::new();
    for bout in bouts {
        let inner = series.range(bout.start_s + END_S, bout.end_s - END_S);
        seconds += bout.duration_s();
        let mut known: Vec<f64> = level_mps[inner].iter().flatten().copied().collect();
        speeds.extend(median(&mut known).map(|v| (v, bout.duration_s())));
    }
    if seconds < LEAST_SECONDS { None } else { weighted_median(&mut speeds) }
}

/// The least value up to which half of the weight lies; `None` of no values.
fn weighted_median(values: &mut [(f64, f64)]) -> Option<f64> {
    values.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let half = 0.5 * values.iter().map(|(_, weight)| weight).sum::<f64>();
    let mut below = 0.0;
    let reaches = |&&(_, weight): &&(f64, f64)| {
        below += weight;
        below >= half
    };
    values.iter().find(reaches).or(values.last()).map(|(value, _)| *value)
}

/// What is known of a runner before a recording is seen, from the others.
#[derive(Clone, Debug, PartialEq)]
pub struct RunnerPrior {
    usual: UsualSpeeds,
    teachers: usize,
    with_cadence: usize,
}

impl RunnerPrior {
    /// What the recordings of one runner tell of another of the same runner, recorded from `start` to `end`. The recording itself,
    /// copies of it and whatever else was recorded at that time are left out; of several recordings of one time one counts. `None`
    /// when nothing is left. In whatever order the evidence comes, the result is the same.
    pub fn of(evidence: &[RunnerEvidence], start: Timestamp, end: Timestamp) -> Option<Self> {
        let others = one_a_session(evidence.iter().filter(|e| e.end < start || e.start > end).collect());
        let days = |e: &RunnerEvidence| {
            let between =
                if e.end < start { start.duration_since(e.end) } else { e.start.duration_since(end) };
            between.as_secs_f64() / 86_400.0
        };
        let weight = |e: &RunnerEvidence| e.trust() / (1.0 + days(e) / FADES_DAYS);
        let usual = |of: fn(&RunnerEvidence) -> Option<f64>, people: Gaussian| {
            let told = others.iter().filter_map(|e| of(e).map(|v| (v, weight(e))));
            usual_mps(told.collect(), people)
        };
        let (walk_mps, walk_n) = usual(|e| e.walk_mps, WALK_SPEED_MPS);
        let (run_mps, run_n) = usual(|e| e.run_mps, RUN_SPEED_MPS);
        (walk_n.min(run_n) >= LEAST_TAUGHT).then(|| Self {
            usual: UsualSpeeds { walk_mps, run_mps },
            teachers: others.len(),
            with_cadence: others.iter().filter(|e| e.has_cadence).count(),
        })
    }

    /// The runner's usual speeds on level ground.
    pub(super) fn usual(&self) -> UsualSpeeds {
        self.usual
    }

    /// How many recordings it was learnt from.
    pub fn teachers(&self) -> usize {
        self.teachers
    }

    /// How many of these have cadence.
    pub fn teachers_with_cadence(&self) -> usize {
        self.with_cadence
    }
}

/// The evidence in order of time, one of those that overlap: one with cadence if there is one.
fn one_a_session(mut evidence: Vec<&RunnerEvidence>) -> Vec<&RunnerEvidence> {
    let by_time = |e: &RunnerEvidence| (e.start, e.end, e.has_cadence);
    evidence.sort_by(|a, b| by_time(a).cmp(&by_time(b)).then_with(|| speeds(a).total_cmp(&speeds(b))));
    let mut kept: Vec<&RunnerEvidence> = Vec::with_capacity(evidence.len());
    for e in evidence {
        match kept.last_mut().filter(|last| last.end >= e.start) {
            Some(last) if e.has_cadence && !last.has_cadence => *last = e,
            Some(_) => {}
            None => kept.push(e),
        }
    }
    kept
}

fn speeds(evidence: &RunnerEvidence) -> f64 {
    100.0 * evidence.walk_mps.unwrap_or(0.0) + evidence.run_mps.unwrap_or(0.0)
}

/// Usual speed from speeds with weights, and how many whole recordings these are worth. It is the mean of a Student's t distribution
/// fitted from the median on, so that a few wrong values hardly count, and is held to what is known of people as if by a part of one
/// recording; the spread is held to that of days as if by [`DAY_SD_READINGS`] of them.
fn usual_mps(mut told: Vec<(f64, f64)>, people: Gaussian) -> (f64, f64) {
    let Some(mut mean) = weighted_median(&mut told) else { return (people.mean, 0.0) };
    let n: f64 = told.iter().map(|(_, weight)| weight).sum();
    let people_weight = (DAY_SD_MPS / people.sd).powi(2);
    let mut sd = DAY_SD_MPS;
    for _ in 0..ROUNDS {
        let counts = |value: f64| {
            let z = (value - mean) / sd;
            ((TAIL + 1.0) / (TAIL + z * z)).min(1.0)
        };
        let counted: Vec<(f64, f64)> =
            told.iter().map(|&(value, weight)| (value, weight * counts(value))).collect();
        let all: f64 = counted.iter().map(|(_, weight)| weight).sum();
        let sum: f64 = counted.iter().map(|(value, weight)| value * weight).sum();
        mean = (sum + people.mean * people_weight) / (all + people_weight);
        let square: f64 =
            counted.iter().map(|(value, weight)| weight * (value - mean) * (value - mean)).sum();
        sd = ((square + DAY_SD_READINGS * DAY_SD_MPS * DAY_SD_MPS) / (n + DAY_SD_READINGS)).sqrt();
    }
    (mean, n)
}

#[cfg(test)]
impl RunnerEvidence {
    /// A recording of half an hour on a day, with cadence: speeds of its walks and runs.
    pub(super) fn made_up(day: i64, walk_mps: f64, run_mps: f64) -> Self {
        const DAY_S: i64 = 86_400;
        let start = Timestamp::from_second(1_772_000_000 + day * DAY_S).unwrap();
        let end = start + jiff::SignedDuration::from_mins(30);
        let (walk_mps, run_mps) = (Some(walk_mps), Some(run_mps));
        Self { start, end, has_cadence: true, walk_mps, run_mps }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::SignedDuration;

    /// A recording of half an hour on a day, with cadence.
    fn taught(day: i64, walk_mps: f64, run_mps: f64) -> RunnerEvidence {
        RunnerEvidence::made_up(day, walk_mps, run_mps)
    }

    fn prior(evidence: &[RunnerEvidence], day: i64) -> Option<RunnerPrior> {
        let asked = taught(day, 0.0, 0.0);
        RunnerPrior::of(evidence, asked.start, asked.end)
    }

    #[test]
    fn the_recording_itself_and_its_copies_do_not_teach() {
        let own = taught(3, 1.9, 2.2);
        let copy = RunnerEvidence { start: own.start + SignedDuration::from_secs(5), ..own };
        assert_eq!(prior(&[own, copy], 3), None);
        let other = taught(5, 1.7, 2.4);
        assert_eq!(prior(&[own, other, copy], 3), prior(&[other], 3));
        assert_eq!(prior(&[own, other], 3).unwrap().teachers(), 1);
    }

    #[test]
    fn of_two_recordings_of_a_session_the_one_with_cadence_teaches() {
        let watch = taught(1, 1.85, 2.2);
        let phone = RunnerEvidence { has_cadence: false, ..taught(1, 1.6, 2.5) };
        assert_eq!(prior(&[phone, watch], 5), prior(&[watch], 5));
        let prior = prior(&[watch, phone, taught(3, 1.85, 2.2)], 5).unwrap();
        assert_eq!((prior.teachers(), prior.teachers_with_cadence()), (2, 2));
    }

    #[test]
    fn any_order_teaches_the_same() {
        let days: Vec<RunnerEvidence> =
            (0..9).map(|d| taught(2 * d, 1.8 + 0.013 * d as f64, 2.15 + 0.017 * d as f64)).collect();
        let mut turned = days.clone();
        for _ in 0..days.len() {
            turned.rotate_left(1);
            turned.swap(2, 7);
            assert_eq!(prior(&turned, 4), prior(&days, 4));
        }
    }

    #[test]
    fn a_few_wrong_recordings_hardly_count() {
        let mut days: Vec<RunnerEvidence> = (0..8).map(|d| taught(2 * d, 1.85, 2.2)).collect();
        let right = prior(&days, 20).unwrap();
        // Two of ten whose runs were taken for walks.
        days.extend([taught(17, 2.2, 2.9), taught(18, 2.25, 3.0)]);
        let with_wrong = prior(&days, 20).unwrap();
        for (a, b) in [
            (right.usual.walk_mps, with_wrong.usual.walk_mps),
            (right.usual.run_mps, with_wrong.usual.run_mps),
        ] {
            assert!((a - b).abs() < 0.06, "{right:?} {with_wrong:?}");
        }
    }

    #[test]
    fn near_days_count_more() {
        // A runner who gets faster: 2.0 m/s in the first weeks, 2.3 m/s in the last.
        let days: Vec<RunnerEvidence> =
            (0..20).map(|d| taught(4 * d, 1.7, if d < 10 { 2.0 } else { 2.3 })).collect();
        let run = |day| prior(&days, day).unwrap().usual.run_mps;
        assert!(run(2) < 2.12 && run(77) > 2.18, "{} {}", run(2), run(77));
    }

    #[test]
    fn the_more_recordings_the_less_people_count() {
        let of = |n: i64| prior(&(1..=n).map(|d| taught(d, 1.85, 2.2)).collect::<Vec<_>>(), 0).unwrap();
        for n in [1, 2, 4, 9] {
            let (few, more) = (of(n), of(n + 1));
            // Drawn towards people, the less the more is known.
            assert!((more.usual.run_mps - 2.2).abs() < (few.usual.run_mps - 2.2).abs(), "{n}");
        }
        // One recording without cadence teaches too little, two near days enough.
        let without = |day| RunnerEvidence { has_cadence: false, ..taught(day, 1.85, 2.2) };
        assert_eq!(prior(&[without(1)], 0), None);
        assert!(prior(&[without(1), without(2)], 0).is_some());
    }
}
