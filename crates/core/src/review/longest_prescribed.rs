//! The longest run that a session prescribes.

use crate::prescription::{Block, Extent, Move, Session, Step};
use crate::range::Range;

/// Running speed with which a prescribed distance is turned into time when the recording has none: the slow end of
/// return to running is 8 km/h (Rambaud et al. 2018, secondary).
const ASSUMED_RUN_MPS: f64 = 2.2;

/// The longest run that a session prescribes, s, at the most.
/// A distance is turned into time with `run_mps` where it is known.
pub(super) fn longest_prescribed_run_s(session: &Session, run_mps: Option<f64>) -> f64 {
    let speed = run_mps.filter(|v| *v > 0.5).unwrap_or(ASSUMED_RUN_MPS);
    let seconds = |extent: Range<Extent>| extent.most.seconds_at(speed);
    let mut longest: f64 = 0.0;
    let mut now = 0.0;
    // Neighbouring runs are one run: nothing marks where one ends.
    let mut see = |step: &Step, most: f64| {
        now = if step.motion == Move::Run { now + seconds(step.extent).min(most) } else { 0.0 };
        longest = longest.max(now);
    };
    for block in session.expand().blocks {
        match block {
            Block::Steps(steps) => steps.iter().for_each(|step| see(step, f64::INFINITY)),
            Block::Until { extent, cycle } => cycle.iter().for_each(|step| see(step, seconds(extent))),
            Block::Times { times, once } => {
                // Twice shows a run that goes on into the next round.
                let steps = once.kinds_of_step();
                (0..times.most.min(2)).for_each(|_| steps.iter().for_each(|step| see(step, f64::INFINITY)));
            }
        }
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_prescribed_run() {
        let longest = |text: &str, speed| longest_prescribed_run_s(&Session::parse(text).unwrap(), speed);
        assert_eq!(longest("walk 5:00, 3 x (run 1:00, walk 2:00), run 4:00", None), 240.0);
        assert_eq!(longest("run 1:00, run 2:00 @ 7:00 /km, walk 1:00", None), 180.0);
        assert_eq!(longest("3 x (run 400 m, walk 1:00)", Some(2.5)), 160.0);
        assert_eq!(longest("for 2 km (run 5:00, walk 1:00)", Some(2.0)), 300.0);
        assert_eq!(longest("walk 20:00", None), 0.0);
    }
}
