//! A clinician saw the runner: what lies before rules no longer, and stays where it was.

use super::*;

/// Reviews sessions and diary with a visit on a day, from a stage or, with nothing, from where the runner is.
fn seen(sessions: &str, diary: &str, (visit, stage): (i64, &str), as_of: i64) -> Review {
    let line = format!("{},R. Lunde,{stage}", day(visit));
    let seen = Seen::parse(&line, &Plan::parse(PLAN).unwrap().value, day(as_of));
    assert!(seen.notices.is_empty(), "{:?}", seen.notices);
    with_table(PLAN, sessions, diary, seen.value, as_of)
}

fn with_table(plan: &str, sessions: &str, diary: &str, seen: Seen, as_of: i64) -> Review {
    let plan = Plan::parse(plan).unwrap().value;
    let written = Written { diary: diary_of(diary), seen, ..Written::default() };
    review(&plan, &written, &sessions_of(&plan, sessions), &[], day(as_of), &ReviewConfig::default()).value
}

const NIGHT: &str = "2:0,0 4:0,0 6:0,0 9:3,0,night";

#[test]
fn nothing_but_a_visit_ends_see_a_clinician() {
    // Weeks of kept sessions without pain do not.
    let long = format!("{GOOD} 20:2k 22:2k 24:2k 27:2k");
    let diary = format!("{NIGHT} 20:0,0 22:0,0 24:0,0 27:0,0");
    assert_eq!(deciding(&reviewed(PLAN, &long, &diary, 28)).0, "night_pain");
    let twice = "2:0,0 4:0,0 6:2,0 9:2,0 20:0,0 22:0,0 24:0,0 27:0,0".to_owned();
    assert_eq!(deciding(&reviewed(PLAN, &long, &twice, 28)).0, "pain_twice");
    for diary in [&diary, &twice] {
        let review = seen(&long, diary, (19, ""), 28);
        assert_eq!(review.ruling.recommendation, Recommendation::Advance, "{:?}", codes(&review));
    }
}

#[test]
fn a_visit_lets_go_on_from_its_stage_and_what_lies_before_stays_to_be_seen() {
    let without = reviewed(PLAN, GOOD, NIGHT, 12);
    for (stage, place) in [("1", 1), ("2", 2), ("", 2)] {
        let review = seen(GOOD, NIGHT, (11, stage), 12);
        assert_eq!(
            deciding(&review),
            ("seen", Recommendation::Repeat, Some(place), Some(day(12))),
            "{stage}"
        );
        // Sessions before the visit are not counted towards the stage.
        assert_eq!(codes(&review), ["seen", "too_few_kept"], "{stage}");
        assert_eq!(review.findings, without.findings);
    }
    // The third stage without its second having been done: a clinician's word is no skipped stage.
    let on = seen("2:1k 4:1k 12:3k", "4:3,0,night 12:0,0", (11, "3"), 13);
    assert_eq!(codes(&on), ["too_few_kept"]);
}

#[test]
fn pain_after_the_visit_rules_as_ever() {
    let later = seen(&format!("{GOOD} 14:2k"), "9:3,0,night 14:1,0,night", (11, ""), 15);
    assert_eq!(deciding(&later).0, "night_pain");
    // One session in pain before the visit and one after it are not two running.
    let once = seen(&format!("{GOOD} 14:2k"), "9:3,0 14:1,0", (11, ""), 15);
    assert_eq!(deciding(&once).0, "pain_during");
    // On the day of the visit nobody knows whether the run came after it.
    assert_eq!(deciding(&seen(GOOD, NIGHT, (9, ""), 12)).0, "night_pain");
    // Without a run on that day what was noted led to the visit.
    assert_eq!(deciding(&seen("2:1k 4:1k 6:2k", "6:0,0 9:3,0,night", (9, ""), 12)).0, "seen");
    // A visit that has not come yet settles nothing.
    assert_eq!(deciding(&seen(GOOD, NIGHT, (13, ""), 12)).0, "night_pain");
}

#[test]
fn a_run_on_the_day_of_the_visit_counts_against_the_runner_only() {
    // Kept without pain, it does not finish the stage.
    let once = PLAN.replace("sessions = 2", "sessions = 1");
    let line = format!("{},R. Lunde", day(9));
    let visit = Seen::parse(&line, &Plan::parse(&once).unwrap().value, day(10)).value;
    let review = with_table(&once, "2:1k 4:2k 9:2k", "4:3,0,night 9:0,0", visit, 10);
    assert_eq!(deciding(&review), ("too_few_kept", Recommendation::Repeat, Some(2), Some(day(11))));
    // A further stage in the morning does not move what the clinician said in the afternoon.
    let back = seen("2:1k 4:1k 6:2k 9:3k", "9:0,0", (9, "1"), 10);
    assert_eq!(back.ruling.stage, Some(0), "{:?}", codes(&back));
    // Without a recording an effort in the diary is a session.
    assert_eq!(deciding(&seen("2:1k 4:1k 6:2k", "9:3,0,night,5", (9, ""), 12)).0, "night_pain");
}

#[test]
fn after_a_visit_a_jump_goes_back_to_the_stage_of_the_visit() {
    let review = seen("2:1k 4:1k 6:2k 9:2k 12:3k", "12:0,0", (11, "1"), 13);
    assert_eq!(deciding(&review).2, Some(1), "{:?}", codes(&review));
}

#[test]
fn what_cannot_be_read_of_the_visits_is_not_taken_for_none() {
    let plan = Plan::parse(PLAN).unwrap().value;
    let lines = format!("{},R. Lunde,stage one\n{},R. Lunde\n", day(9), day(1));
    let lines = Seen::parse(&lines, &plan, day(10)).value;
    let without = with_table(PLAN, GOOD, NO_PAIN, Seen::default(), 10);
    assert_eq!(without.ruling.recommendation, Recommendation::Advance);
    let some = with_table(PLAN, GOOD, NO_PAIN, lines, 10);
    assert_eq!((deciding(&some).0, deciding(&some).1), ("seen_line_not_readable", Recommendation::Repeat));
    let whole = with_table(PLAN, GOOD, NO_PAIN, Seen::unreadable(), 10);
    assert_eq!(deciding(&whole), ("seen_not_readable", Recommendation::Rest, None, None));
}

#[test]
fn days_away_count_from_the_visit_and_rest_stays_between_sessions() {
    let from_visit = |as_of| deciding(&seen(GOOD, NIGHT, (40, "2"), as_of)).0;
    assert_eq!((from_visit(46), from_visit(47), from_visit(54)), ("seen", "break_repeat", "break_step_back"));
    // Seen on the morning after a session: the day of rest stands.
    assert_eq!(deciding(&seen(GOOD, "9:3,0,night", (10, ""), 10)).3, Some(day(11)));
}

proptest! {
    #[test]
    fn a_visit_makes_no_finding_come_or_go_before_it(visit in 1_i64..30, stage in "[123]?") {
        let diary = "2:0,0 4:3,0,night 6:1,0 9:2,0";
        let before = |review: &Review| -> Vec<WeeklyFinding> {
            review.findings.iter().filter(|f| f.date < day(visit)).copied().collect()
        };
        let (with, without) = (seen(GOOD, diary, (visit, &stage), 30), reviewed(PLAN, GOOD, diary, 30));
        prop_assert_eq!(before(&with), before(&without));
        prop_assert_eq!(with.weeks, without.weeks);
    }
}
