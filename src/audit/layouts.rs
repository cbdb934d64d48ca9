//! A session's steps where their number depends on what was done.

use crate::prescription::{Extent, Item, Move, Session, Step};
use crate::units::MetresPerSecond;

/// Assumed running and walking speeds as shares of the measured ones: a recorded distance is wrong by up to about
/// 10 % (Gilgen-Ammann et al. 2020, JMIR mHealth 8(6):e17118), so the layout that fits best is taken.
const SPEED_SHARES: [f64; 5] = [1.0, 0.95, 1.05, 0.9, 1.1];
/// No session is laid out in more steps than this.
const MOST_STEPS: usize = 10_000;

/// Gives every layout to try, the likeliest first; all are different. A session that does not depend on speed has
/// one.
pub(super) fn layouts(session: &Session, run: MetresPerSecond, walk: MetresPerSecond) -> Vec<Vec<Step>> {
    let mut found: Vec<Vec<Step>> = Vec::new();
    for share in SPEED_SHARES {
        let steps = steps_at(session, run * share, walk * share);
        if !found.contains(&steps) {
            found.push(steps);
        }
    }
    found
}

/// Lays a session out for someone who runs and walks at these speeds throughout.
fn steps_at(session: &Session, run: MetresPerSecond, walk: MetresPerSecond) -> Vec<Step> {
    let speed = |motion: Move| if motion == Move::Run { run } else { walk };
    let mut steps = Vec::new();
    unroll(&session.items, &speed, &mut steps);
    steps
}

fn unroll(items: &[Item], speed: &impl Fn(Move) -> MetresPerSecond, steps: &mut Vec<Step>) {
    for item in items {
        match item {
            Item::Bout { motion, extent, ceiling } => {
                steps.push(Step { motion: *motion, extent: *extent, ceiling: *ceiling });
            }
            Item::Repeat { times, items } => {
                for _ in 0..*times {
                    if steps.len() >= MOST_STEPS {
                        return;
                    }
                    unroll(items, speed, steps);
                }
            }
            Item::Until { extent, items } => {
                let mut cycle = Vec::new();
                unroll(items, speed, &mut cycle);
                fill(*extent, &cycle, speed, steps);
            }
        }
    }
}

/// Repeats the cycle until the extent is used up; the last step is cut in its own unit.
fn fill(extent: Extent, cycle: &[Step], speed: &impl Fn(Move) -> MetresPerSecond, steps: &mut Vec<Step>) {
    let amount = |step: &Step| match (extent, step.extent) {
        (Extent::Time(_), Extent::Time(s)) => s.get(),
        (Extent::Time(_), Extent::Distance(m)) => m.get() / speed(step.motion).get(),
        (Extent::Distance(_), Extent::Distance(m)) => m.get(),
        (Extent::Distance(_), Extent::Time(s)) => (speed(step.motion) * s).get(),
    };
    let mut left = match extent {
        Extent::Time(s) => s.get(),
        Extent::Distance(m) => m.get(),
    };
    for step in cycle.iter().cycle() {
        let needed = amount(step);
        if left <= 1e-9 || needed <= 0.0 || steps.len() >= MOST_STEPS {
            return;
        }
        let share = (left / needed).min(1.0);
        let extent = match step.extent {
            Extent::Time(s) => Extent::Time(s * share),
            Extent::Distance(m) => Extent::Distance(m * share),
        };
        steps.push(Step { extent, ..*step });
        left -= needed;
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{run_item_m, session};
    use super::*;
    use crate::units::{Metres, Seconds};

    const RUN: MetresPerSecond = MetresPerSecond::new(2.5);
    const WALK: MetresPerSecond = MetresPerSecond::new(1.5);

    #[test]
    fn a_session_by_time_has_one_layout() {
        let items = vec![Item::Repeat { times: 3, items: session("r60 w120").items }];
        let found = layouts(&Session { items }, RUN, WALK);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].len(), 6);
    }

    #[test]
    fn a_whole_by_time_is_cut_exactly() {
        let items =
            vec![Item::Until { extent: Extent::Time(Seconds::new(400.0)), items: session("r60 w120").items }];
        let steps = steps_at(&Session { items }, RUN, WALK);
        let lengths: Vec<Extent> = steps.iter().map(|s| s.extent).collect();
        let seconds = |s: f64| Extent::Time(Seconds::new(s));
        assert_eq!(lengths, [60.0, 120.0, 60.0, 120.0, 40.0].map(seconds));
    }

    #[test]
    fn a_whole_by_distance_depends_on_speed() {
        // 60 s at 2.5 m/s and 60 s at 1.5 m/s make 240 m: 600 m are 2 rounds, a run of 60 s is 120 m left: 48 s.
        let items = vec![Item::Until {
            extent: Extent::Distance(Metres::new(600.0)),
            items: session("r60 w60").items,
        }];
        let session = Session { items };
        let steps = steps_at(&session, RUN, WALK);
        assert_eq!(steps.len(), 5);
        assert_eq!(steps[4].extent, Extent::Time(Seconds::new(48.0)));
        assert!(layouts(&session, RUN, WALK).len() > 1);
    }

    #[test]
    fn distances_stay_distances() {
        let steps = steps_at(&Session { items: vec![run_item_m(400.0)] }, RUN, WALK);
        assert_eq!(steps[0].extent, Extent::Distance(Metres::new(400.0)));
    }
}
