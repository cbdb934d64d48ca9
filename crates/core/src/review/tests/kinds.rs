//! Several kinds of session in one week, stages by weeks, optional sessions, counts that rise.

use super::*;
use crate::range::Range;

const PLAN: &str = "
timezone = 'UTC'
[limits]
sessions_per_week = '2 to 3'
rest_days_between = 1
[[stage]]
name = '4'
session = 'walk 5:00, 4 x (run 4:00, walk 1:30)'
sessions = 2
[[stage]]
name = '5'
weeks = 1
[[stage.session]]
name = 'run-walk'
do = 'walk 5:00, 4 to 5 x (run 4:40, walk 1:15)'
a_week = 2
[[stage.session]]
name = 'steady'
do = 'run 18:20 to 22:10'
a_week = '0 to 1'
[[stage]]
name = '6'
session = 'run 24:00'
sessions = 2
";

const QUIET: &str = "2:0,0 4:0,0 6:0,0 9:0,0 11:0,0 13:0,0";

fn weekly(review: &Review) -> Vec<&'static str> {
    review.findings.iter().map(|finding| finding.code.word()).collect()
}

#[test]
fn a_week_is_kept_when_every_kind_reached_its_least_in_any_order() {
    for sessions in ["2:2k 4:3k 6:2k", "2:3k 4:2k 6:2k", "2:2k 4:2k 6:3k", "2:2k 6:2k"] {
        let review = reviewed(PLAN, sessions, QUIET, 8);
        assert_eq!(deciding(&review).0, "as_planned", "{sessions}: {:?}", codes(&review));
        // A stage by weeks is left with a new week.
        assert_eq!((review.ruling.stage, review.ruling.not_before), (Some(3), Some(day(9))), "{sessions}");
        assert_eq!(weekly(&review), Vec::<&str>::new(), "{sessions}");
    }
}

#[test]
fn a_ruling_says_what_the_week_still_asks_for() {
    let review = reviewed(PLAN, "2:2k", QUIET, 3);
    assert_eq!(deciding(&review).0, "too_few_kept");
    assert_eq!(review.ruling.stage, Some(1));
    let why = &review.ruling.applied[0].why;
    assert!(why.contains("0 of 1 weeks of stage “5”"), "{why}");
    assert!(why.ends_with("still due this week: 1 x run-walk, steady if wanted"), "{why}");
    // The steady run is done and a run-walk is missing: it is the run-walk that is due.
    assert_eq!(reviewed(PLAN, "2:2k 4:3k", QUIET, 5).ruling.stage, Some(1));
}

#[test]
fn more_than_the_most_of_a_kind_or_of_the_week_is_too_many() {
    let kind = reviewed(PLAN, "2:2k 4:2k 6:2k", QUIET, 8);
    assert_eq!(weekly(&kind), ["too_many_sessions"]);
    assert_eq!((kind.findings[0].prescribed, kind.findings[0].achieved), (Some(2.0), Some(3.0)));
    assert_ne!(deciding(&kind).0, "as_planned");
    let steady = reviewed(PLAN, "2:3k 4:2k 6:3k", QUIET, 8);
    assert_eq!(weekly(&steady), ["too_many_sessions"]);
    let week = reviewed(PLAN, "2:2k 4:3k 6:2k 8:2k", QUIET, 8);
    assert_eq!(weekly(&week), ["too_many_sessions"]);
    assert_eq!((week.findings[0].prescribed, week.findings[0].achieved), (Some(3.0), Some(4.0)));
}

#[test]
fn an_optional_session_is_never_missed_and_counts_when_done() {
    let plan = PLAN.replace("sessions = 2\n[[stage]]\nname = '5'", "weeks = 2\n[[stage]]\nname = '5'");
    let two_then_three = reviewed(&plan, "2:1k 5:1k 9:1k 11:1k 13:1k", QUIET, 15);
    assert_eq!(deciding(&two_then_three).0, "as_planned", "{:?}", codes(&two_then_three));
    assert_eq!(weekly(&two_then_three), Vec::<&str>::new());
    let one = reviewed(&plan, "2:1k 9:1k 11:1k", QUIET, 15);
    assert_eq!(deciding(&one).0, "too_few_kept");
    assert_eq!(weekly(&reviewed(&plan, "2:1k 4:1k 6:1k 8:1k", QUIET, 8)), ["too_many_sessions"]);
    // What the week asks for lies between two sessions and three.
    let planned = reviewed(&plan, "2:1k 5:1k", QUIET, 8).weeks[0].planned_run_s.unwrap();
    assert_eq!(planned, Range { least: 2.0 * 960.0, most: 3.0 * 960.0 });
}

#[test]
fn kinds_of_one_stage_are_no_step_in_the_plan() {
    let review = reviewed(PLAN, "2:1k 4:1k 9:3k 11:2k 13:2k 16:4k", QUIET, 16);
    assert_eq!(weekly(&review), Vec::<&str>::new());
    let skipped = reviewed(PLAN, "2:1k 4:1k 9:4k", QUIET, 9);
    assert!(weekly(&skipped).contains(&"stage_skipped"), "{:?}", weekly(&skipped));
    let rushed = reviewed(PLAN, "2:1k 4:1k 9:2k 16:4k", QUIET, 16);
    assert!(weekly(&rushed).contains(&"stage_rushed"), "{:?}", weekly(&rushed));
}

#[test]
fn a_repeated_session_keeps_its_number() {
    let plan = "[limits]\nsessions_per_week = 3\nrest_days_between = 1\n[[stage]]\nname = '1'\nsessions = 4\n\
        session = 'walk 4:10, 4 rising to 7 x (run 1:30, walk 2:20)'\n";
    let due = |sessions: &str| {
        let review = reviewed(plan, sessions, QUIET, 15);
        review.ruling.due.map(|due| (due.repetitions, due.session.to_string()))
    };
    assert_eq!(due("2:1k").unwrap().0, 5);
    let (repetitions, session) = due("2:1k 4:1u 6:1k").unwrap();
    assert_eq!((repetitions, session.as_str()), (6, "walk 4:10, 6 x (run 1:30, walk 2:20)"));
    assert_eq!(due("2:1k 4:1k 6:1k 9:1k 11:1k").unwrap().0, 7, "never beyond the last");
    assert!(reviewed(PLAN, "2:1k", QUIET, 3).ruling.due.is_none());
}
