//! Ranges: nothing is found inside one, and what lies outside is counted from its ends.

use super::*;
use crate::range::Range;
use jogaudit_recording::units::StepsPerMinute;

#[test]
fn nothing_is_found_from_the_least_to_the_most() {
    const SESSION: &str = "walk 5:00, run 18:20 to 22:10, walk 5:00";
    for run_s in [1100, 1200, 1330] {
        let done = format!("w300 r{run_s} w300");
        assert_eq!(outcome(&done, SESSION), (Outcome::Kept, vec![]), "{run_s}");
    }
    // The tolerance of 10 s lies outside.
    assert_eq!(outcome("w300 r1339 w300", SESSION).0, Outcome::Kept);
    assert_eq!(outcome("w300 r1091 w300", SESSION).0, Outcome::Kept);
}

#[test]
fn excess_and_lack_are_counted_from_the_ends() {
    const SESSION: &str = "walk 5:00, run 18:20 to 22:10, walk 5:00";
    let over = audit_words("w300 r1345 w300", SESSION).value;
    let found = only(&over);
    assert_eq!((found.code, found.prescribed, found.excess), (Code::RunTooLong, Some(1330.0), Some(15.0)));
    assert_eq!(found.range, Some(Range { least: 1100.0, most: 1330.0 }));
    assert_eq!(over.outcome, Outcome::Overdone);
    let under = audit_words("w300 r1085 w300", SESSION).value;
    let found = only(&under);
    assert_eq!((found.code, found.prescribed, found.excess), (Code::RunTooShort, Some(1100.0), Some(15.0)));
    assert_eq!(under.outcome, Outcome::Underdone);
    assert_eq!(under.reps[1].prescribed_s, Some(Range { least: 1100.0, most: 1330.0 }));
    assert_eq!(under.dose.run_s.prescribed, Some(Range { least: 1100.0, most: 1330.0 }));
}

#[test]
fn a_doubt_counts_only_where_it_reaches_over_an_end() {
    const SESSION: &str = "walk 5:00, run 18:20 to 22:10, walk 5:00";
    // 11 s beyond the end, 1 s beyond the tolerance: about one standard error.
    assert_eq!(outcome("w300 r1341 w300", SESSION).0, Outcome::Undecided);
    assert_eq!(outcome("w300 r1325 w300", SESSION).0, Outcome::Kept);
}

#[test]
fn or_more_has_no_most_and_or_less_may_be_left_out() {
    const SESSION: &str = "walk 4:10 or more, 3 x (run 1:00, walk 1:20 or more), walk 5:00 or less";
    assert_eq!(outcome("w900 r60 w80 r60 w300 r60 w80", SESSION), (Outcome::Kept, vec![]));
    assert_eq!(outcome("w250 r60 w60 r60 w80 r60 w380", SESSION).1, [Code::WalkCutShort]);
    assert_eq!(
        outcome("w250 r60 w90 r60", "walk 4:10, 2 x (run 1:00, walk 1:30), run 3:00 or less").0,
        Outcome::Kept
    );
    assert_eq!(
        outcome("w250 r60 w90 r60 w90 r200", "walk 4:10, 2 x (run 1:00, walk 1:30), run 3:00 or less").1,
        [Code::RunTooLong]
    );
    assert_eq!(outcome("w250 r3000", "walk 4:10, run 18:00 or more"), (Outcome::Kept, vec![]));
}

#[test]
fn a_count_may_be_any_of_its_range() {
    const SESSION: &str = "walk 5:00, 5 to 6 x (run 1:00, walk 2:00), walk 4:00";
    let done = |runs: usize| format!("w300 {}w240", "r60 w120 ".repeat(runs));
    for runs in [5, 6] {
        assert_eq!(outcome(&done(runs), SESSION), (Outcome::Kept, vec![]), "{runs}");
    }
    assert_eq!(outcome(&done(4), SESSION), (Outcome::Underdone, vec![Code::RepMissing]));
    assert_eq!(outcome(&done(7), SESSION), (Outcome::Overdone, vec![Code::RepExtra]));
    // Five runs that are each 9 s too long stay within what six would be: the running in all is no fault.
    let longer = format!("w300 {}w240", "r69 w120 ".repeat(5));
    assert_eq!(outcome(&longer, SESSION), (Outcome::Kept, vec![]));
    assert_eq!(
        outcome(&longer, "walk 5:00, 5 x (run 1:00, walk 2:00), walk 4:00").1,
        [Code::RunningTimeOver]
    );
}

#[test]
fn a_whole_may_end_anywhere_in_its_range() {
    // Rounds of 2:30; 6:00 lies 1:00 into a round, in its walk's first seconds; 9:40 lies 2:10 into a round.
    const SESSION: &str = "walk 5:00, for 5:30 to 8:10 (run 1:00, walk 1:30)";
    for done in [
        "w300 r60 w90 r60 w90 r30",         // 5:30
        "w300 r60 w90 r60 w90 r60",         // 6:00
        "w300 r60 w90 r60 w90 r60 w70",     // 7:10
        "w300 r60 w90 r60 w90 r60 w90 r20", // 7:50
        "w300 r60 w90 r60 w90 r60 w90 r40", // 8:10
    ] {
        assert_eq!(outcome(done, SESSION), (Outcome::Kept, vec![]), "{done}");
    }
    assert_eq!(outcome("w300 r60 w90 r60 w90 r15", SESSION), (Outcome::Underdone, vec![Code::RunTooShort]));
    assert_eq!(
        outcome("w300 r60 w90 r60 w90 r60 w90 r55", SESSION),
        (Outcome::Overdone, vec![Code::RunTooLong])
    );
    // What is not the last must be whole.
    assert_eq!(outcome("w300 r60 w90 r30 w90 r60 w70", SESSION).1, [Code::RunTooShort]);
    assert_eq!(outcome("w300 r60 w50 r60 w90 r60 w70", SESSION).1, [Code::WalkCutShort]);
}

#[test]
fn a_whole_without_a_most_goes_on_as_long_as_it_is_done() {
    const SESSION: &str = "walk 5:00, for 5:30 or more (run 1:00, walk 1:30), walk 4:00 or less";
    for done in [
        "w300 r60 w90 r60 w90 r30".to_owned(),            // 5:30
        "w300 r60 w90 r60 w90 r60 w90 r40".to_owned(),    // 8:10
        format!("w300 {}r60 w240", "r60 w90 ".repeat(5)), // a sixth run, and the walk after it
        format!("w300 {}r60", "r60 w90 ".repeat(40)),     // 1:41:00
    ] {
        assert_eq!(outcome(&done, SESSION), (Outcome::Kept, vec![]), "{done}");
    }
    let short = outcome("w300 r60 w90 r60 w90 r15", SESSION);
    assert_eq!(short, (Outcome::Underdone, vec![Code::RunTooShort]));
    // However many there are, each is as long as it says.
    let long = format!("w300 {}r80 w90 {}r60", "r60 w90 ".repeat(3), "r60 w90 ".repeat(3));
    assert_eq!(outcome(&long, SESSION), (Outcome::Overdone, vec![Code::RunTooLong]));
    let cut = format!("w300 {}r60 w60 {}r60", "r60 w90 ".repeat(3), "r60 w90 ".repeat(3));
    assert_eq!(outcome(&cut, SESSION).1, [Code::WalkCutShort]);
    let dose = audit_words("w300 r60 w90 r60 w90 r60 w90 r40", SESSION).value.dose;
    assert_eq!(dose.run_s.prescribed, Some(Range { least: 150.0, most: f64::INFINITY }));
}

#[test]
fn a_whole_without_a_least_may_end_at_any_time() {
    const SESSION: &str = "walk 5:00, for 6:40 or less (run 1:00, walk 1:30)";
    for done in ["w300", "w300 r25", "w300 r60 w90 r60", "w300 r60 w90 r60 w90 r60 w40"] {
        assert_eq!(outcome(done, SESSION), (Outcome::Kept, vec![]), "{done}");
    }
    assert_eq!(outcome("w300 r60 w90 r60 w90 r60 w90 r60", SESSION).1, [Code::RepExtra]);
}

#[test]
fn a_dose_is_what_the_words_say_however_long_the_whole_was() {
    const SESSION: &str = "walk 4:00, for 22:00 to 28:00 (run 3:00, walk 1:30)";
    let words = Some(Range { least: 900.0, most: 1140.0 });
    for done in [
        "w240 r180 w90 r180 w90 r180 w90 r180 w90 r180 w60",
        "w240 r180 w90 r180 w90 r180 w90 r180 w90 r180 w90 r180 w90 r40",
    ] {
        assert_eq!(audit_words(done, SESSION).value.dose.run_s.prescribed, words, "{done}");
    }
}

#[test]
fn a_rest_is_anything_but_running() {
    const SESSION: &str = "walk 5:00, 3 x (run 1:00, rest 1:30), walk 2:00";
    for done in ["w300 r60 w90 r60 w90 r60 w210", "w300 r60 s90 r60 w30 s60 r60 s90 w120"] {
        assert_eq!(outcome(done, SESSION), (Outcome::Kept, vec![]), "{done}");
    }
    let stood = audit_words("w300 r60 s90 r60 w30 s60 r60 s90 w120", SESSION).value;
    assert_eq!((stood.reps[2].motion, stood.reps[2].achieved_s), (Move::Rest, 90.0));
    assert_eq!(outcome("w300 r120 w90 r60 w210", SESSION).1, [Code::WalkMissing]);
    assert_eq!(outcome("w300 r60 s50 r60 w90 r60 w210", SESSION).1, [Code::WalkCutShort]);
}

#[test]
fn a_rest_need_not_be_brisk() {
    let segmentation = segmentation("w300 r60 w90 r60 w90 r60 w210");
    let strolled = |t: f64| (360.0..450.0).contains(&t) || (510.0..600.0).contains(&t);
    let series = Track::of(&segmentation).cadence(|t| if strolled(t) { 70.0 } else { 125.0 }).build();
    let codes = |session: &str| {
        let mut stage = stage_of(Session::parse(session).unwrap());
        stage.limits.walk_cadence_floor = Some(StepsPerMinute::new(110.0));
        codes(&run_audit(&segmentation, &series, &stage, &Runner::default()).value)
    };
    assert_eq!(codes("walk 5:00, 2 x (run 1:00, rest 1:30), run 1:00, walk 3:30"), []);
    let walks = codes("walk 5:00, 2 x (run 1:00, walk 1:30), run 1:00, walk 3:30");
    assert_eq!(walks, [Code::WalkTooSlow, Code::WalkTooSlow]);
}

#[test]
fn distances_may_be_ranges_too() {
    // 2.3 m/s: 174 s are 400 m, 261 s are 600 m.
    const SESSION: &str = "walk 5:00, run 400 m to 600 m, walk 2:00";
    for run_s in [174, 220, 261] {
        assert_eq!(outcome(&format!("w300 r{run_s} w120"), SESSION), (Outcome::Kept, vec![]), "{run_s}");
    }
    // 690 m: 90 m too long, and three errors of 4 % and of chance are 104 m.
    assert_eq!(outcome("w300 r300 w120", SESSION), (Outcome::Undecided, vec![]));
    assert_eq!(outcome("w300 r340 w120", SESSION), (Outcome::Overdone, vec![Code::RunTooLong]));
    assert_eq!(outcome("w300 r130 w120", SESSION), (Outcome::Underdone, vec![Code::RunTooShort]));
}
