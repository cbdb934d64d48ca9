//! A session's steps where their number depends on what was done.

use crate::prescription::{Session, Step};
use jogaudit_recording::units::{MetresPerSecond, Seconds};

/// Assumed running and walking speeds as shares of the measured ones: a recorded distance is wrong by up to about
/// 10 % (Gilgen-Ammann et al. 2020, JMIR mHealth 8(6):e17118), so the layout that fits best is taken.
const SPEED_SHARES: [f64; 5] = [1.0, 0.95, 1.05, 0.9, 1.1];
/// A whole that mixes time and distance ends anywhere within so many standard errors of a recorded distance. Our choice.
const ERRORS: f64 = 2.5;

/// Layouts of a session with a whole by distance whose steps are by time, or the other way about: it may end wherever a recorder may be wrong
/// about distances (`distance_error`: their standard error as a share), so its last step has a range. `None` where there is no such whole,
/// where one by time is not the only part that is open, and where there are too many ways: then [`layouts`] stand for all.
pub(super) fn layouts_off_by_errors(
    session: &Session,
    run: MetresPerSecond,
    walk: MetresPerSecond,
    recorded: Seconds,
    distance_error: f64,
) -> Option<Vec<Vec<Step>>> {
    session.expand().ways_off_by(ERRORS * distance_error, run, walk, recorded)
}

/// Gives every layout to try, the likeliest first; all are different. A session that does not depend on speed has
/// one. A part without a most goes on for as long as the recording is.
pub(super) fn layouts(
    session: &Session,
    run: MetresPerSecond,
    walk: MetresPerSecond,
    recorded: Seconds,
) -> Vec<Vec<Step>> {
    let expansion = session.expand();
    let mut found: Vec<Vec<Step>> = Vec::new();
    for share in SPEED_SHARES {
        for steps in expansion.ways_within(run * share, walk * share, recorded) {
            if !found.contains(&steps) {
                found.push(steps);
            }
        }
        if expansion.is_settled_by_words() {
            break;
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prescription::Extent;
    use jogaudit_recording::units::Metres;

    const RUN: MetresPerSecond = MetresPerSecond::new(2.5);
    const WALK: MetresPerSecond = MetresPerSecond::new(1.5);

    fn off_by_errors(text: &str) -> Option<Vec<Vec<Step>>> {
        layouts_off_by_errors(&Session::parse(text).unwrap(), RUN, WALK, Seconds::new(1500.0), 0.06)
    }

    fn layouts_of(text: &str) -> Vec<Vec<Step>> {
        layouts(&Session::parse(text).unwrap(), RUN, WALK, Seconds::new(1500.0))
    }

    #[test]
    fn a_session_that_does_not_depend_on_speed_has_one_layout() {
        for (text, steps) in
            [("3 x (run 1:00, walk 2:00)", 6), ("for 6:40 (run 1:00, walk 2:00)", 5), ("run 400 m", 1)]
        {
            let found = layouts_of(text);
            assert_eq!((found.len(), found[0].len()), (1, steps), "{text}");
        }
    }

    #[test]
    fn a_whole_by_distance_ends_wherever_the_distance_may_be_wrong() {
        // 60 s at 2.5 m/s and 60 s at 1.5 m/s make 240 m: 510 m to 690 m are 2 rounds, and 30 m of the next run, 12 s, to
        // all of it; or its 150 m and up to 60 m, 40 s, of the walk.
        let found = off_by_errors("for 600 m (run 1:00, walk 1:00)").unwrap();
        let ends: Vec<(usize, f64, f64)> = found
            .iter()
            .map(|steps| (steps.len(), steps.last().unwrap().extent.amounts()))
            .map(|(count, end)| (count, end.least, end.most))
            .collect();
        let expected = [(5, 12.0, 60.0), (6, 0.0, 40.0)];
        assert_eq!(ends.len(), expected.len(), "{ends:?}");
        for (end, expected) in ends.iter().zip(expected) {
            let off = (end.1 - expected.1).abs().max((end.2 - expected.2).abs());
            assert!(end.0 == expected.0 && off < 1e-9, "{ends:?}");
        }
    }

    #[test]
    fn a_whole_by_time_may_end_in_any_step_that_wrong_distances_make_its_last() {
        // 160 s and 133.3 s a round: 840 s to 1560 s are 2 rounds, all of a run and 93 s of the walk, to 5 rounds and 93 s of a run.
        let found = off_by_errors("for 20:00 (run 400 m, walk 200 m)").unwrap();
        assert_eq!(found.iter().map(Vec::len).collect::<Vec<usize>>(), [6, 7, 8, 9, 10, 11]);
    }

    #[test]
    fn where_errors_of_distances_do_not_move_the_end_or_there_are_too_many_ways_some_stand_for_all() {
        // 15 % of 6 km either way are 450 rounds. When a whole by time is over is told by a clock, so where there are two neither is widened.
        let two = ["for 20:00 (run 400 m, walk 200 m)"; 2].join(", ");
        for text in ["for 6 km (run 0:01, walk 0:01)", &two] {
            assert_eq!(off_by_errors(text), None, "{text}");
            assert_eq!(layouts_of(text).len(), SPEED_SHARES.len(), "{text}");
        }
        for text in ["3 x (run 1:00, walk 2:00)", "for 2 km (run 400 m, walk 100 m)"] {
            assert_eq!(off_by_errors(text), None, "{text}");
        }
    }

    #[test]
    fn a_whole_by_distance_has_the_likeliest_layout_first() {
        // 60 s at 2.5 m/s and 60 s at 1.5 m/s make 240 m: 600 m are 2 rounds, and 120 m of the next run: 48 s.
        let found = layouts_of("for 600 m (run 1:00, walk 1:00)");
        assert_eq!((found.len(), found[0].len()), (5, 5));
        assert_eq!(found[0][4].extent.exact(), Some(Extent::Time(Seconds::new(48.0))));
        // 10 % slower: 216 m a round, 168 m after two: the third run makes 135 m and the walk is cut at 33 m.
        let slowest = found[3].last().unwrap();
        let Some(Extent::Time(cut)) = slowest.extent.exact() else { panic!("{slowest:?}") };
        assert!(found[3].len() == 6 && (cut.get() - 33.0 / 1.35).abs() < 1e-9, "{slowest:?}");
    }

    #[test]
    fn a_whole_without_a_most_goes_on_for_as_long_as_the_recording() {
        // 1500 s hold ten rounds of 2:30: from the second, which is where 5:00 are over, each step may be the last.
        let found = layouts_of("for 5:00 or more (run 0:50, walk 1:40)");
        assert_eq!((found.len(), found[0].len(), found[found.len() - 1].len()), (17, 4, 20));
    }

    #[test]
    fn distances_stay_distances() {
        assert_eq!(layouts_of("run 400 m")[0][0].extent.exact(), Some(Extent::Distance(Metres::new(400.0))));
    }
}
