//! The pace of the easy running of a week.

use super::*;
use crate::range::Range;

/// Stage 1 has a ceiling of 6:45 /km, stage 2 runs with 7:30 /km and 6:45 /km.
const PACED: &str = "[limits]\npace_ceiling = '6:45 /km'\n[[stage]]\nname = '1'\nsession = '5 x (run 2:00, walk 2:00)'\n\
    [[stage]]\nname = '2'\nsession = 'run 4:00 @ 7:30 /km, walk 2:00, run 6:00'";

#[test]
fn easy_running_is_that_of_the_plans_sessions_and_its_pace_is_time_over_distance() {
    // Made-up sessions run at 2.5 m/s, 400 s/km; running outside the plan and a week of it alone count for nothing.
    let found = reviewed(PACED, "2:1k 4:xo 10:2k 16:xo", "2:0,0,,3 4:2,1,,7", 17);
    let weeks: Vec<_> = found
        .weeks
        .iter()
        .map(|week| (week.easy_pace_s_per_km, week.pace_ceiling_s_per_km, week.greatest_effort))
        .collect();
    let ends = |least, most| Some(Range { least, most });
    let rounded = |range: Option<Range>| range.map(|range| range.map(f64::round));
    assert_eq!(weeks.len(), 3);
    assert_eq!((weeks[0].0, rounded(weeks[0].1), weeks[0].2), (Some(400.0), ends(405.0, 405.0), Some(7.0)));
    assert_eq!((weeks[1].0, rounded(weeks[1].1), weeks[1].2), (Some(400.0), ends(405.0, 450.0), None));
    assert_eq!((weeks[2].0, weeks[2].1), (None, None));
}

#[test]
fn a_session_without_all_its_distance_has_no_pace_and_no_ceiling() {
    let plan = Plan::parse(PACED).unwrap().value;
    let mut sessions = sessions_of(&plan, "2:1k 4:2k");
    sessions[1].totals.run_distance_m = None;
    let of = |sessions: &[PerformedSession]| {
        let written = Written::default();
        review(&plan, &written, sessions, &[], day(5), &ReviewConfig::default()).value.weeks[0].clone()
    };
    let week = of(&sessions);
    assert_eq!(
        (week.easy_pace_s_per_km, week.pace_ceiling_s_per_km.and_then(|c| c.exact()).map(f64::round)),
        (Some(400.0), Some(405.0))
    );
    // Twice as fast over the second session, which is as long: the mean is by time over distance, not of the two paces.
    let same_s = sessions[0].totals.run_s;
    sessions[1].totals.run_s = same_s;
    sessions[1].totals.run_distance_m = Some(same_s * 5.0);
    assert_eq!(of(&sessions).easy_pace_s_per_km.map(f64::round), Some(267.0));
}
