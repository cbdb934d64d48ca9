//! Several kinds of session in one week, stages by weeks, optional sessions, counts that rise.

use super::*;
use crate::range::Range;
use crate::review::progress::Progress;

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
    // The week as a whole, and the run-walks in it.
    let told = |review: &Review| -> Vec<(Option<usize>, Option<f64>, Option<f64>)> {
        review.findings.iter().map(|f| (f.kind, f.prescribed, f.achieved)).collect()
    };
    assert_eq!(weekly(&week), ["too_many_sessions"; 2]);
    assert_eq!(told(&week), [(None, Some(3.0), Some(4.0)), (Some(1), Some(2.0), Some(3.0))]);
    // Each subject is told once a week, with its own figures.
    let many = reviewed(PLAN, "2:2k 4:2k 6:2k 7:2k 8:2k", QUIET, 8);
    let too_many: Vec<_> = told(&many).into_iter().filter(|(_, allowed, _)| *allowed != Some(1.0)).collect();
    assert_eq!(too_many, [(Some(1), Some(2.0), Some(5.0)), (None, Some(3.0), Some(5.0))]);
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
fn what_is_still_due_is_said_only_where_the_next_session_may_be_this_week() {
    let said = |sessions: &str, diary: &str, as_of: i64| {
        let review = reviewed(PLAN, sessions, diary, as_of);
        review.ruling.applied.iter().any(|applied| applied.why.contains("still due this week"))
    };
    assert!(said("2:2k", QUIET, 3));
    // Pain asks for rest, or to go back a stage.
    assert!(!said("4:2k", "4:2,0", 5), "rest");
    assert!(!said("4:2k", "4:6,0", 8), "a step back");
    // The day of rest after Saturday the 7th is the last of the week.
    assert!(!said("7:2k", "7:0,0", 7), "no day is left");
    let dated = format!("weekdays = ['mon', 'tue', 'wed']\n{PLAN}");
    let review = reviewed(&dated, "4:2k", "4:0,0", 5);
    assert!(!review.ruling.applied[0].why.contains("still due"), "{}", review.ruling.applied[0].why);
}

#[test]
fn a_kind_whose_week_is_full_comes_with_the_next_week() {
    let plan = PLAN.replace("'2 to 3'", "4").replace("'0 to 1'", "1").replace("weeks = 1", "weeks = 2");
    let review = reviewed(&plan, "2:2k 4:3k 6:2k", QUIET, 7);
    assert_eq!((review.ruling.stage, review.ruling.not_before), (Some(1), Some(day(9))));
}

/// The days that come and what is said of them.
fn coming_of(plan: &str, sessions: &str, diary: &str, as_of: i64) -> Coming {
    reviewed(plan, sessions, diary, as_of).coming.unwrap()
}

fn dated(weekdays: &str) -> String {
    format!("start = 2026-03-02\n{weekdays}\n{PLAN}")
}

#[test]
fn no_week_to_come_holds_more_of_a_kind_than_its_most() {
    let told = |coming: &Coming| -> Vec<(i8, usize)> {
        coming.sessions.iter().map(|session| (session.date.day(), session.stage)).collect()
    };
    // One run-walk of two and the steady run are done: one run-walk is left of this week, and stage 6 comes with the next.
    let coming = coming_of(&dated(""), "2:2k 4:3k", QUIET, 5);
    assert_eq!(told(&coming), [(6, 1), (9, 3), (11, 3)]);
    // Another week is needed where the first cannot be kept any more.
    let spoilt = coming_of(&dated(""), "2:2k 4:2o", QUIET, 5);
    assert_eq!(told(&spoilt)[1..], [(9, 1), (11, 2), (13, 1), (16, 3), (18, 3)]);
}

#[test]
fn a_new_week_after_a_stage_by_weeks_is_no_move_for_rest() {
    // The week is kept on Wednesday; Friday has room, and the next stage begins on Monday all the same.
    let kept = coming_of(&dated(""), "2:2k 4:2k", QUIET, 5);
    assert_eq!((kept.sessions[0].date, kept.sessions[0].stage, kept.moved_from), (day(9), 3, None));
    let pain = coming_of(&dated(""), "2:2k", "2:2,0", 3);
    assert_eq!((pain.sessions[0].date, pain.moved_from), (day(6), Some(day(4))));
}

#[test]
fn missed_days_go_on_beyond_the_planned_sessions_but_not_beyond_the_plan() {
    // Stage 6 has one session left, and six Mondays and Thursdays passed without one.
    let plan = dated("weekdays = ['mon', 'thu']");
    let missed = |sessions: &str, as_of: i64| coming_of(&plan, sessions, "", as_of).missed;
    assert_eq!(missed("2:4k", 26), [5, 9, 12, 16, 19, 23].map(day));
    assert_eq!(missed("2:4k 5:4k", 26), Vec::<Date>::new(), "the plan is over");
    // An optional kind is never missed.
    let any = dated("weekdays = ['mon', 'wed', 'fri']");
    assert_eq!(coming_of(&any, "2:2k", "", 14).missed, [4, 9, 11].map(day));
}

#[test]
fn a_session_that_may_be_of_two_kinds_counts_once() {
    let plan = Plan::parse(&PLAN.replace("'0 to 1'", "1")).unwrap().value;
    let may_be_complete = |sessions: i64| {
        let mut progress = Progress::new(&plan);
        progress.done(1, Outcome::Kept, day(2));
        for at in 0..sessions {
            let choice = StageChoice::Ambiguous(vec![(1, 0.5), (2, 0.5)]);
            progress.take(&choice, Outcome::Undecided, day(4 + 2 * at));
        }
        progress.may_be_complete(1)
    };
    assert!(!may_be_complete(1), "a run-walk and the steady run are missing");
    assert!(may_be_complete(2));
    let by_sessions = Plan::parse(&PLAN.replace("weeks = 1", "sessions = 2")).unwrap().value;
    let mut progress = Progress::new(&by_sessions);
    progress.take(&StageChoice::Ambiguous(vec![(1, 0.5), (2, 0.5)]), Outcome::Undecided, day(2));
    assert!(!progress.may_be_complete(1));
}

#[test]
fn a_week_is_kept_incomplete_or_overdone() {
    let outcomes = |plan: &str, sessions: &str, as_of: i64| -> Vec<Option<&str>> {
        let review = reviewed(plan, sessions, "", as_of);
        review.weeks.iter().map(|week| week.outcome.map(WeekOutcome::word)).collect()
    };
    let two = PLAN.replace("weeks = 1", "weeks = 2");
    assert_eq!(outcomes(&two, "2:2k 4:3k 6:2k 9:2k", 16), [Some("kept"), Some("incomplete")]);
    assert_eq!(outcomes(&two, "2:2k 4:3k 6:2o", 6), [Some("overdone")]);
    assert_eq!(outcomes(&two, "2:2k 4:2k 6:2k", 8), [Some("overdone")], "too many of a kind");
    assert_eq!(outcomes(&two, "2:2k 4:2k 6:xk", 8), [Some("overdone")], "outside the plan");
    assert_eq!(outcomes(&two, "2:2k 4:2?", 8), [Some("undecided")]);
    assert_eq!(outcomes(&two, "2:2k", 5), [None], "the week runs");
    assert_eq!(outcomes(&two, "2:1k 4:1k", 8), [None], "by sessions, of one kind");
    // What became of the week is what the ruling counts.
    let spoilt = reviewed(PLAN, "2:2k 4:2k 6:xk", QUIET, 8);
    assert_eq!(spoilt.ruling.stage, Some(1), "{:?}", codes(&spoilt));
    assert!(codes(&spoilt).contains(&"too_few_kept"));
}

#[test]
fn what_counts_as_kept_for_a_rising_count_is_the_same_everywhere() {
    let plan = "start = 2026-03-02\n[limits]\nsessions_per_week = 3\nrest_days_between = 1\n[[stage]]\nname = '1'\n\
        sessions = 6\nsession = 'walk 4:10, 4 rising to 9 x (run 1:30, walk 2:20)'\n[[stage]]\nname = '2'\n\
        session = 'run 20:00'\n";
    let parsed = Plan::parse(plan).unwrap().value;
    let agree = |sessions: &str, as_of: i64| {
        let review = reviewed(plan, sessions, QUIET, as_of);
        assert_eq!(review.ruling.stage, Some(0), "{sessions}");
        let due = review.ruling.due.as_ref().unwrap().repetitions;
        let next = review.coming.as_ref().unwrap().sessions[0];
        assert_eq!(parsed.stages[0].session.due_after(next.kept).unwrap().repetitions, due, "{sessions}");
        let performed = sessions_of(&parsed, sessions);
        let config = ReviewConfig::default();
        let after = due_on(&parsed, 0, &Seen::default(), &performed, day(as_of), &config).unwrap();
        assert_eq!(after.repetitions, due, "{sessions}");
        due
    };
    assert_eq!(agree("2:1k 4:1k", 5), 6);
    // A session the day after another is too close: it does not count.
    assert_eq!(agree("2:1k 3:1k", 4), 5);
    // Back from a later stage: those kept before still count, in the ruling and in the days that come.
    assert_eq!(agree("2:1k 4:1k 6:2o 9:1k", 10), 7);
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
