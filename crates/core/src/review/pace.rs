//! The pace of the easy running of a week, and its ceiling.
//!
//! Easy running is what the plan's sessions hold: all running in a session with a known stage. Running outside the plan is
//! none of it.

use super::history::History;
use crate::range::Range;
use jogaudit_recording::units::MetresPerSecond;

/// The sessions of the plan among `runs` in which the distance of all running is known, each as stage, time and distance, s
/// and m.
fn easy<'h>(history: &'h History<'_>, runs: &'h [usize]) -> impl Iterator<Item = (usize, f64, f64)> + 'h {
    runs.iter().filter_map(|index| {
        let session = &history.sessions[*index];
        let run_m = session.totals.run_distance_m.filter(|m| *m > 0.0)?;
        Some((session.stage.stage()?, session.totals.run_s, run_m))
    })
}

/// Mean pace, s/km: time over distance, as run; `None` without any such session.
pub(super) fn of_week(history: &History<'_>, runs: &[usize]) -> Option<f64> {
    let (run_s, run_m) =
        easy(history, runs).fold((0.0, 0.0), |(s, m), (_, run_s, run_m)| (s + run_s, m + run_m));
    (run_m > 0.0).then(|| 1000.0 * run_s / run_m)
}

/// The ceilings of these sessions' runs, s/km, from the fastest to the slowest; `None` where none has one.
pub(super) fn ceiling_of_week(history: &History<'_>, runs: &[usize]) -> Option<Range> {
    let ceilings = easy(history, runs).flat_map(|(stage, ..)| history.plan.stages[stage].pace_ceilings());
    let known = ceilings.map(MetresPerSecond::get).filter(|mps| *mps > 0.0);
    let each = known.map(|mps| Range::exactly(1000.0 / mps));
    each.reduce(|a, b| Range { least: a.least.min(b.least), most: a.most.max(b.most) })
}
