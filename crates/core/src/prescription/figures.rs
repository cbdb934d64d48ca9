//! What a session asks of the body: running and walking time, the longest run without a break, run to walk.
//!
//! A session by distance has no times of its own. For comparing and adding up, its times are estimated at two assumed
//! speeds, the same for every session, so that the ratio of two estimates is the ratio of the distances.

use jogaudit_recording::units::{Metres, MetresPerSecond, Seconds};

use super::expand::{End, Expansion};
use super::{Extent, Move, PrescribedDose, Session, Step};
use crate::range::Range;

/// Running speed for estimates, m/s: the mean that inexperienced runners chose themselves (van Oeveren et al. 2017,
/// doi 10.1371/journal.pone.0184273).
pub const ASSUMED_RUN_MPS: f64 = 2.6;
/// Walking speed for estimates, m/s: the middle of brisk walking, 2.9 to 3.5 miles an hour (label of the Compendium
/// of Physical Activities 2011). That it is the middle is our choice.
pub const ASSUMED_WALK_MPS: f64 = 1.43;

/// What a session asks for in all. Times in seconds, distances in metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// Running time; estimated unless [`Figures::is_run_exact`].
    pub run_s: f64,
    /// Walking time; estimated unless [`Figures::is_walk_exact`].
    pub walk_s: f64,
    /// Time of the whole session; estimated unless [`Figures::is_session_exact`].
    pub session_s: f64,
    /// Longest run without a walk; estimated unless [`Figures::is_run_exact`].
    pub longest_run_s: f64,
    /// Running distance; known when every run is by distance.
    pub run_m: Option<f64>,
    /// Longest run without a walk; known when every run is by distance.
    pub longest_run_m: Option<f64>,
    /// Runs, those without a walk between them counted as one.
    pub runs: usize,
    /// Length of the mean run over that of the mean walk between two runs: 0.5 for a minute of running and two of
    /// walking in turn. `None` when no walk stands between two runs. A ratio of distances when all is by distance,
    /// else of times.
    pub run_to_walk: Option<f64>,
    /// Whether the running times follow from the session's words.
    pub is_run_exact: bool,
    /// Whether the walking time does.
    pub is_walk_exact: bool,
    /// Whether the time of the whole does.
    pub is_session_exact: bool,
}

/// Steps of one motion in a row.
struct Interval {
    motion: Move,
    time_s: f64,
    distance_m: f64,
}

impl Session {
    /// Works the figures out, of the least that the session may be and of the most; where there is no most, of the least.
    pub fn figures(&self) -> Range<Figures> {
        let expansion = self.expand();
        let dose = expansion.dose();
        let at = |end| Figures::of(&expansion, &dose, end);
        Range { least: at(End::Least), most: at(End::Most) }
    }
}

impl Figures {
    fn of(expansion: &Expansion, dose: &PrescribedDose, end: End) -> Self {
        let (run, walk) = (MetresPerSecond::new(ASSUMED_RUN_MPS), MetresPerSecond::new(ASSUMED_WALK_MPS));
        let steps = expansion.steps_at(run, walk, end);
        let is_by_distance = !steps.is_empty() && steps.iter().all(|s| !s.extent.is_time());
        let intervals = intervals(&steps);
        let total =
            |motion| -> f64 { intervals.iter().filter(|b| b.motion == motion).map(|b| b.time_s).sum() };
        let longest = |of: fn(&Interval) -> f64| {
            intervals.iter().filter(|b| b.motion == Move::Run).map(of).fold(0.0, f64::max)
        };
        // A sum without a most is laid out: each part that has one at its most, the others at their least.
        let at = |range: Range| {
            Some(if end == End::Least { range.least } else { range.most }).filter(|sum| sum.is_finite())
        };
        let seconds = |range: Option<Range<Seconds>>| range.and_then(|range| at(range.map(Seconds::get)));
        let laid_out_m =
            || intervals.iter().filter(|b| b.motion == Move::Run).map(|b| b.distance_m).sum::<f64>();
        let run_m = dose.run_distance.map(|run| at(run.map(Metres::get)).unwrap_or_else(laid_out_m));
        let run_m = run_m.filter(|m| *m > 0.0);
        let run_s = seconds(dose.run).unwrap_or_else(|| total(Move::Run));
        let walk_s = seconds(dose.walk).unwrap_or_else(|| total(Move::Walk));
        Self {
            run_s,
            walk_s,
            session_s: seconds(dose.session).unwrap_or_else(|| run_s + walk_s + total(Move::Rest)),
            longest_run_s: longest(|b| b.time_s),
            run_m,
            longest_run_m: run_m.map(|_| longest(|b| b.distance_m)),
            runs: intervals.iter().filter(|b| b.motion == Move::Run).count(),
            run_to_walk: run_to_walk(
                &intervals,
                if is_by_distance { |b| b.distance_m } else { |b| b.time_s },
            ),
            is_run_exact: dose.run.is_some(),
            is_walk_exact: dose.walk.is_some(),
            is_session_exact: dose.session.is_some(),
        }
    }
}

fn intervals(steps: &[Step]) -> Vec<Interval> {
    let mut intervals: Vec<Interval> = Vec::new();
    for step in steps {
        let speed_mps = if step.motion == Move::Run { ASSUMED_RUN_MPS } else { ASSUMED_WALK_MPS };
        let time_s = step.extent.least.seconds_at(speed_mps);
        let distance_m = match step.extent.least {
            Extent::Time(_) => time_s * speed_mps,
            Extent::Distance(m) => m.get(),
        };
        match intervals.last_mut().filter(|last| last.motion == step.motion) {
            Some(last) => {
                last.time_s += time_s;
                last.distance_m += distance_m;
            }
            None => intervals.push(Interval { motion: step.motion, time_s, distance_m }),
        }
    }
    intervals
}

fn run_to_walk(intervals: &[Interval], length: fn(&Interval) -> f64) -> Option<f64> {
    let first = intervals.iter().position(|b| b.motion == Move::Run)?;
    let last = intervals.iter().rposition(|b| b.motion == Move::Run)?;
    let mean = |is_run| {
        let lengths: Vec<f64> = intervals[first..=last]
            .iter()
            .filter(|b| (b.motion == Move::Run) == is_run)
            .map(length)
            .collect();
        (!lengths.is_empty()).then(|| lengths.iter().sum::<f64>() / lengths.len() as f64)
    };
    Some(mean(true)? / mean(false)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use jogaudit_recording::units::METRES_PER_MILE;

    fn figures(text: &str) -> Figures {
        Session::parse(text).unwrap().figures().exact().expect("an exact session")
    }

    #[test]
    fn times_follow_from_the_words() {
        let f = figures("walk 5:00, 6 x (run 1:00, walk 2:00), walk 5:00");
        assert_eq!([f.run_s, f.walk_s, f.session_s, f.longest_run_s], [360.0, 1320.0, 1680.0, 60.0]);
        assert_eq!((f.runs, f.run_to_walk, f.run_m), (6, Some(0.5), None));
        assert!(f.is_run_exact && f.is_walk_exact && f.is_session_exact);
    }

    #[test]
    fn a_part_without_a_most_counts_its_least_and_the_others_their_most() {
        let of = |text: &str| Session::parse(text).unwrap().figures();
        let open = of("walk 4:00 or more, for 22:00 to 28:00 (run 3:00, walk 1:30)");
        assert_eq!(open.map(|f| f.session_s), Range { least: 1560.0, most: 1920.0 });
        let open = of("walk 5:00 or more, run 18:20 to 40:00");
        assert_eq!(open.map(|f| f.session_s), Range { least: 1400.0, most: 2700.0 });
        assert_eq!(open.map(|f| f.run_s), Range { least: 1100.0, most: 2400.0 });
        let by_distance = of("run 2 km or more, walk 5:00, run 1 km to 3 km").map(|f| f.run_m);
        assert_eq!(by_distance, Range { least: Some(3000.0), most: Some(5000.0) });
    }

    #[test]
    fn runs_without_a_walk_between_them_are_one() {
        let f = figures("walk 5:00, run 3:00 @ 7:00 /km, run 2:00, walk 1:00, run 4:00");
        assert_eq!((f.longest_run_s, f.runs), (300.0, 2));
        // Mean run (5 + 4) / 2 = 4:30, one walk of 1:00 between.
        assert_eq!(f.run_to_walk, Some(4.5));
        assert_eq!(figures("walk 5:00, run 20:00, walk 5:00").run_to_walk, None);
        assert_eq!(figures("walk 30:00").run_to_walk, None);
    }

    #[test]
    fn a_session_by_distance_keeps_its_distances_and_has_estimates() {
        let f = figures("for 2 mi (walk 0.1 mi, run 0.3 mi)");
        // By hand: five cycles of 0.4 mi; 1.5 mi run.
        assert!((f.run_m.unwrap() - 1.5 * METRES_PER_MILE).abs() < 1e-6);
        assert!((f.longest_run_m.unwrap() - 0.3 * METRES_PER_MILE).abs() < 1e-6);
        assert!((f.run_to_walk.unwrap() - 3.0).abs() < 1e-9);
        assert!((f.run_s - 1.5 * METRES_PER_MILE / 2.6).abs() < 1e-6);
        assert!(!f.is_run_exact && !f.is_walk_exact && !f.is_session_exact);
    }

    #[test]
    fn alternating_until_a_distance_is_estimated() {
        // By hand: 120 s × 1.43 m/s = 171.6 m; 180 s × 2.6 m/s = 468 m; 639.6 m a cycle. A mile is 1609.344 m: two
        // cycles 1279.2 m, a walk to 1450.8 m, 158.544 m of running left: 60.978 s.
        let f = figures("for 1 mi (walk 2:00, run 3:00)");
        assert!((f.run_s - (360.0 + 158.544 / 2.6)).abs() < 1e-6);
        assert!((f.walk_s - 360.0).abs() < 1e-9);
        assert_eq!((f.longest_run_s, f.run_m), (180.0, None));
    }

    #[test]
    fn walking_only_is_no_running() {
        let f = figures("walk 30:00");
        assert_eq!((f.run_s, f.longest_run_s, f.runs, f.run_m), (0.0, 0.0, 0, None));
        assert!(f.is_run_exact);
    }
}
