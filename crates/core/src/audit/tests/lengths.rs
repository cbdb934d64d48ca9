//! Lengths, order and what is missing.

use super::super::testing::{segmentation, session, stage_of, with_ceiling};
use super::*;
use crate::gait::{Gait, GaitConfig, segment};
use crate::prescription::{Extent, Item, Session};
use jogaudit_recording::units::{Metres, Seconds};

#[test]
fn a_session_as_prescribed_is_kept() {
    let noted = audit_text("w301 r59 w122 r61 w119 r60 w118 r62 w120 r60 w121 r59 w425", SIX);
    assert_eq!(noted.value.outcome, Outcome::Kept);
    assert_eq!(codes(&noted.value), []);
    let runs: Vec<f64> =
        noted.value.reps.iter().filter(|r| r.motion == Move::Run).map(|r| r.achieved_s).collect();
    assert_eq!(runs, [59.0, 61.0, 60.0, 62.0, 60.0, 59.0]);
    let dose = noted.value.dose;
    assert_eq!(dose.run_s, Amount { prescribed: Some(360.0.into()), achieved: Some(361.0) });
    assert_eq!(dose.session_s, Amount { prescribed: Some(1680.0.into()), achieved: Some(1687.0) });
    // 160 steps/min for 361 s; 2.3 m/s.
    assert!((dose.run_steps.unwrap() - 962.7).abs() < 15.0);
    assert!((dose.run_distance_m.unwrap() - 830.0).abs() < 15.0);
}

#[test]
fn walks_with_nothing_between_share_one_bout() {
    let noted = audit_text("w300 r60 w120 r60 w120 r60 w120 r60 w120 r60 w120 r60 w430", SIX);
    let walks: Vec<f64> =
        noted.value.reps.iter().filter(|r| r.motion == Move::Walk).map(|r| r.achieved_s).collect();
    assert_eq!(walks, [300.0, 120.0, 120.0, 120.0, 120.0, 120.0, 120.0, 310.0]);
}

#[test]
fn a_run_too_long() {
    let noted = audit_text("w300 r60 w120 r60 w120 r78 w120 r60 w120 r60 w120 r60 w420", SIX);
    let finding = only(&noted.value);
    assert_eq!((finding.code, finding.rep), (Code::RunTooLong, Some(3)));
    assert_eq!((finding.prescribed, finding.achieved, finding.excess), (Some(60.0), Some(78.0), Some(18.0)));
    assert_eq!((finding.start_s, finding.end_s, finding.unit), (Some(660.0), Some(738.0), Unit::Seconds));
    // Error of the length: 0.7 · √2 = 0.99 s; 8 s beyond tolerance are certain but for the gait's 0.99.
    assert!((finding.certainty - 0.99).abs() < 1e-4);
    assert_eq!(noted.value.outcome, Outcome::Overdone);
}

#[test]
fn the_certainty_of_a_length_is_that_the_tolerance_is_exceeded() {
    // 11 s beyond 60 with an error of 0.99 s: (11 − 10) / 0.99 = 1.01 standard errors: 0.844, times 0.99.
    let noted = audit_text("w300 r71 w120 r60 w120 r60 w120 r60 w120 r60 w120 r60 w420", SIX);
    assert!((only(&noted.value).certainty - 0.8352).abs() < 1e-3);
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::VerdictHangs));
    let within = audit_text("w300 r69 w120 r60 w120 r60 w120 r60 w120 r60 w120 r60 w420", SIX);
    assert_eq!(within.value.outcome, Outcome::Kept);
}

#[test]
fn an_excess_that_the_error_explains_is_said_but_not_counted() {
    let noted = doubtful("w300 r72 w120 r60 w300", "w300 r60 w120 r60 w300", 4.0, None);
    assert_eq!(noted.value.outcome, Outcome::Kept);
    assert!(has_notice(&noted, NoticeCode::WithinError));
}

/// The audit of bouts whose ends have an error, and of which one is 0.7 certain.
fn doubtful(text: &str, wanted: &str, error_s: f64, uncertain: Option<usize>) -> Noted<Audit> {
    with_doubt(text, wanted, error_s, uncertain.map(|bout| (bout, 0.7)))
}

/// The audit of bouts whose ends have an error, and of which one is only so certain.
fn with_doubt(text: &str, wanted: &str, error_s: f64, doubt: Option<(usize, f64)>) -> Noted<Audit> {
    audit_changed(text, wanted, |bouts| {
        for (k, bout) in bouts.iter_mut().enumerate() {
            (bout.start_error_s, bout.end_error_s) = (error_s, error_s);
            bout.certainty = doubt.filter(|doubt| doubt.0 == k).map_or(0.99, |doubt| doubt.1);
        }
    })
}

#[test]
fn what_is_probably_too_much_but_within_its_error_is_open() {
    // An error of 4 · √2 = 5.7 s: 16 s are within three of them, and 6 s beyond tolerance are more than 0.8 of one; 2 s are less.
    let wanted = "w300 r60 w120 r60 w300";
    for (done, outcome, said) in [
        ("w300 r76 w120 r60 w300", Outcome::Undecided, "Run 1 is 16 s longer than prescribed"),
        ("w300 r72 w120 r60 w300", Outcome::Kept, "Run 1 is 12 s longer"),
        ("w300 r60 w104 r60 w300", Outcome::Undecided, "Walk 2 is 16 s shorter"),
        ("w300 r44 w136 r60 w300", Outcome::Kept, "Run 1 is 16 s shorter"),
        ("w300 r60 w120 r60 w120 r16 w120", Outcome::Undecided, "Running that was not prescribed lasts 16 s"),
    ] {
        let noted = doubtful(done, wanted, 4.0, None);
        assert_eq!(noted.value.outcome, outcome, "{done}");
        assert!(has_notice(&noted, NoticeCode::WithinError) && codes(&noted.value).is_empty(), "{done}");
        assert!(noted.notices.iter().any(|notice| notice.text.contains(said)), "{done}: {:?}", noted.notices);
    }
}

#[test]
fn too_short_or_missing_a_run_is_no_surer_than_the_walk_in_which_it_may_lie() {
    let wanted = "w300 r60 w120 r60 w120 r60 w300";
    // Bout 2 is the walk before the second run, or the one that holds it. With half its odds: 0.7 of 1.3.
    for done in ["w300 r60 w150 r30 w120 r60 w300", "w300 r60 w300 r60 w300"] {
        let certainty = |uncertain| only(&doubtful(done, wanted, 0.7, uncertain).value).certainty;
        assert!(certainty(None) > 0.95, "{done}");
        assert!((0.53..0.54).contains(&certainty(Some(2))), "{done}");
        let elsewhere = doubtful(done, wanted, 0.7, Some(0));
        assert_eq!(elsewhere.value.outcome, Outcome::Underdone, "{done}");
    }
}

#[test]
fn a_run_too_short_and_a_missing_rep() {
    let short = audit_text("w300 r60 w120 r40 w120 r60 w120 r60 w120 r60 w120 r60 w420", SIX);
    assert_eq!((only(&short.value).code, only(&short.value).rep), (Code::RunTooShort, Some(2)));
    assert_eq!(only(&short.value).excess, Some(20.0));
    assert_eq!(short.value.outcome, Outcome::Underdone);

    let stopped = audit_text("w300 r60 w120 r60 w120 r60 w120 r60 w420", SIX);
    let missing: Vec<Option<u32>> = stopped.value.findings.iter().map(|f| f.rep).collect();
    assert_eq!((codes(&stopped.value), missing), (vec![Code::RepMissing; 2], vec![Some(5), Some(6)]));
    assert_eq!(stopped.value.outcome, Outcome::Underdone);

    let walked = audit_text("w300 r60 w120 r60 w300 r60 w120 r60 w120 r60 w420", SIX);
    assert_eq!((only(&walked.value).code, only(&walked.value).rep), (Code::RepMissing, Some(3)));
}

#[test]
fn a_walk_break_cut_short() {
    let noted = audit_text("w300 r60 w120 r60 w80 r60 w120 r60 w120 r60 w120 r60 w420", SIX);
    let finding = only(&noted.value);
    assert_eq!((finding.code, finding.rep, finding.excess), (Code::WalkCutShort, Some(3), Some(40.0)));
    assert_eq!(noted.value.outcome, Outcome::Overdone);
}

#[test]
fn a_run_that_grew_into_the_walk_is_one_fault() {
    let noted = audit_text("w300 r60 w120 r95 w85 r60 w120 r60 w120 r60 w120 r60 w420", SIX);
    assert_eq!(only(&noted.value).code, Code::WalkCutShort);
    // Longer than the walk explains: both.
    let both = audit_text("w300 r60 w120 r120 w85 r60 w120 r60 w120 r60 w120 r60 w420", SIX);
    assert_eq!(codes(&both.value), [Code::RunTooLong, Code::WalkCutShort]);
}

#[test]
fn a_missing_walk_joins_two_runs() {
    for joined in ["r120", "r112", "r128", "r240"] {
        let done = format!("w300 r60 w120 {joined} w120 r60 w120 r60 w120 r60 w420");
        let noted = audit_text(&done, SIX);
        let finding = only(&noted.value);
        assert_eq!((finding.code, finding.rep), (Code::WalkMissing, Some(3)), "{joined}");
        assert_eq!(noted.value.outcome, Outcome::Overdone);
        assert_eq!(
            noted.value.reps.iter().filter(|r| r.motion == Move::Run && r.achieved_s > 50.0).count(),
            6
        );
    }
    // With a stop at a crossing inside the first of the two, or where the walk should be.
    for joined in ["r30 s15 r90", "r60 s20 r60"] {
        let done = format!("w300 r60 w120 {joined} w120 r60 w120 r60 w120 r60 w420");
        assert_eq!(only(&audit_text(&done, SIX).value).code, Code::WalkMissing, "{joined}");
    }
}

#[test]
fn a_run_whose_ends_are_unsure_does_not_show_that_two_became_one() {
    let of = |done: &str, at: usize, error_s: f64| {
        let changed = audit_changed(done, "w300 r20 w60 r20 w60 r20 w300", |bouts| {
            bouts[at].certainty = 0.999;
            (bouts[at].start_error_s, bouts[at].end_error_s) = (error_s, error_s);
        });
        changed.value
    };
    // A run of 41 s where two of 20 s were due: if its ends are off by 11 s, it may be one and the other was left out.
    let two = |error_s: f64| of("w300 r20 w60 r41 w300", 3, error_s);
    let (sure, unsure) = (two(1.0), two(11.0));
    assert_eq!((sure.outcome, codes(&sure)), (Outcome::Overdone, vec![Code::WalkMissing]));
    assert_eq!((unsure.outcome, codes(&unsure)), (Outcome::Undecided, vec![Code::WalkMissing]));
    // 41 s are 11 s more than a run of 20 s and its tolerance: 11/(11·√2) standard errors, a probability of 0.76.
    assert!((only(&unsure).certainty - 0.76).abs() < 0.01, "{:?}", unsure.findings);
    // Of three in one it is the same: 60 s are 20 s more than two.
    let three = |error_s: f64| of("w300 r60 w300", 1, error_s).outcome;
    assert_eq!([three(1.0), three(11.0)], [Outcome::Overdone, Outcome::Undecided]);
}

#[test]
fn a_step_of_half_a_minute_may_lie_unseen_in_a_bout() {
    // Of a bout it is certain that it hides no 20 s of another gait, not that it hides none.
    let left_out = |code: Code, done: &str, prescribed: &str, at: usize, certainty: f64| {
        let audit = audit_changed(done, prescribed, |bouts| {
            bouts[at].certainty = certainty;
            (bouts[at].start_error_s, bouts[at].end_error_s) = (1.0, 1.0);
        });
        assert_eq!(codes(&audit.value), [code]);
        audit.value.outcome
    };
    let run_left_out = |certainty: f64, run: &str| {
        let plan = format!("w300 {run} w60 {run} w60 {run} w60 {run} w300");
        left_out(Code::RepMissing, &format!("w300 {run} w140 {run} w60 {run} w300"), &plan, 2, certainty)
    };
    assert_eq!(run_left_out(0.98, "r20"), Outcome::Undecided);
    assert_eq!(run_left_out(0.98, "r60"), Outcome::Underdone);
    assert_eq!(run_left_out(0.998, "r20"), Outcome::Underdone);
    let walk_left_out = |certainty: f64, walk: &str| {
        let plan = format!("w300 r120 {walk} r120 {walk} r120 w300");
        left_out(Code::WalkMissing, &format!("w300 r120 {walk} r240 w300"), &plan, 3, certainty)
    };
    assert_eq!(walk_left_out(0.98, "w20"), Outcome::Undecided);
    assert_eq!(walk_left_out(0.98, "w60"), Outcome::Overdone);
    assert_eq!(walk_left_out(0.99, "w20"), Outcome::Overdone);
    // However doubtful, it is in the way of `kept`.
    assert_eq!(walk_left_out(0.7, "w20"), Outcome::Undecided);
}

#[test]
fn a_continuous_run_instead_of_intervals_misses_every_walk() {
    let noted = audit_text("w300 r960 w420", SIX);
    assert_eq!(codes(&noted.value), vec![Code::WalkMissing; 5]);
    assert_eq!(noted.value.outcome, Outcome::Overdone);
}

#[test]
fn an_extra_repetition() {
    for (extra, reps) in [("r60 w420", vec![7]), ("r60 w120 r60 w420", vec![7, 8]), ("r25 w420", vec![7])] {
        let done = format!("w300 r60 w120 r60 w120 r60 w120 r60 w120 r60 w120 r60 w120 {extra}");
        let noted = audit_text(&done, SIX);
        assert_eq!(codes(&noted.value), vec![Code::RepExtra; reps.len()], "{extra}");
        let found: Vec<u32> = noted.value.findings.iter().filter_map(|f| f.rep).collect();
        assert_eq!(found, reps);
    }
    // A stop at a crossing does not make it two.
    let noted =
        audit_text("w300 r60 w120 r60 w120 r60 w120 r60 w120 r60 w120 r60 w120 r30 s12 r30 w420", SIX);
    assert_eq!((only(&noted.value).code, only(&noted.value).achieved), (Code::RepExtra, Some(60.0)));
    // A session that ends with a run.
    let noted = audit_text("r60 w60 r60 w60 r60", "r60 w60 r60");
    assert_eq!(only(&noted.value).code, Code::RepExtra);
}

#[test]
fn an_extra_run_is_no_surer_than_what_seems_missing_or_too_short() {
    let certainty = |done: &str, wanted: &str, uncertain| {
        let noted = doubtful(done, wanted, 0.7, uncertain);
        let extra = |f: &&Finding| matches!(f.code, Code::RepExtra | Code::UnplannedRun);
        noted
            .value
            .findings
            .iter()
            .find(extra)
            .unwrap_or_else(|| panic!("{done}: {:#?}", noted.value.findings))
            .certainty
    };
    // The last two runs seem to be one (bout 11), and one before the first seems to be extra.
    let shifted = "w361 r57 w117 r97 w86 r90 w74 r92 w167 r117 w93 r326 w63";
    let wanted = "w300 r120 w90 r120 w90 r120 w90 r120 w90 r120 w90 r120 w270";
    assert!(certainty(shifted, wanted, None) > 0.95);
    assert!(certainty(shifted, wanted, Some(11)) < 0.71);
    // The first run seems to be short, for what is after it in doubt; in all there was less running than prescribed.
    let (less, wanted) = ("w300 r200 w400 r480 w120 r60 w300", "w300 r480 w120 r480 w420");
    assert!(certainty(less, wanted, None) > 0.95);
    assert!(certainty(less, wanted, Some(2)) < 0.71);
}

#[test]
fn a_walk_is_no_surer_short_or_missing_than_the_runs_there_are_runs() {
    let certainty = |uncertain| {
        only(&doubtful("w300 r60 w90 r60 w330", "w300 r60 w120 r60 w300", 0.7, uncertain).value).certainty
    };
    assert!(certainty(None) > 0.95 && certainty(Some(0)) > 0.95);
    assert!(certainty(Some(1)) < 0.71 && certainty(Some(3)) < 0.71);
    // Nor surer to be left out than the run in its place.
    let missing = doubtful("w300 r240 w300", "w300 r60 w120 r60 w300", 0.7, Some(1)).value;
    assert_eq!(only(&missing).code, Code::WalkMissing);
    assert!((0.69..0.71).contains(&only(&missing).certainty));
}

#[test]
fn what_is_too_much_with_a_doubt_is_in_the_way_of_kept() {
    // Of a bout that is very probably not what it is called; the finding on which it casts doubt is surer.
    for (done, wanted, doubted) in [
        ("w300 r60 w90 r60 w330", "w300 r60 w120 r60 w300", 3),
        ("w100 r40 w160 r200 w400 r480 w420", "w300 r480 w120 r480 w420", 4),
    ] {
        let audit = with_doubt(done, wanted, 0.7, Some((doubted, 0.08))).value;
        let too_much = audit.findings.iter().filter(|f| f.code.is_overdoing());
        assert_eq!(too_much.map(|f| f.certainty).collect::<Vec<_>>(), [0.4], "{done}: {:#?}", audit.findings);
        assert_eq!(audit.outcome, Outcome::Undecided, "{done}");
    }
}

#[test]
fn running_on_a_day_of_walking() {
    let noted = audit_text("w600 r45 w1200", "w1800");
    assert_eq!((only(&noted.value).code, only(&noted.value).excess), (Code::UnplannedRun, Some(45.0)));
    assert_eq!(noted.value.outcome, Outcome::Overdone);
    // A few steps across the road are within tolerance.
    assert_eq!(audit_text("w600 r8 w1200", "w1800").value.outcome, Outcome::Kept);
    // Without any step, as on a day of rest.
    assert_eq!(only(&audit_text("w60 r600", "").value).code, Code::UnplannedRun);
}

#[test]
fn running_before_the_first_run_or_inside_a_walk() {
    let before = audit_text("w100 r30 w170 r60 w120 r60 w300", "w300 r60 w120 r60 w300");
    assert_eq!(only(&before.value).code, Code::UnplannedRun);
    let inside = audit_text("w300 r60 w40 r30 w50 r60 w300", "w300 r60 w120 r60 w300");
    assert_eq!(only(&inside.value).code, Code::UnplannedRun);
}

#[test]
fn many_small_overruns_add_up() {
    let noted = audit_text("w300 r69 w120 r69 w120 r69 w120 r69 w120 r69 w120 r69 w420", SIX);
    let finding = only(&noted.value);
    assert_eq!((finding.code, finding.rep, finding.excess), (Code::RunningTimeOver, None, Some(54.0)));
    assert_eq!(noted.value.outcome, Outcome::Overdone);
}

#[test]
fn a_doubtful_finding_explains_nothing() {
    // 10.2 s beyond 600 in one run is 0.58 certain; the 40.2 s in all are certain without it.
    let five = "w300 r120 w120 r120 w120 r120 w120 r120 w120 r120 w300";
    let done = "w300 r127.5 w120 r127.5 w120 r127.5 w120 r127.5 w120 r130.2 w300";
    let noted = audit_text(done, five);
    assert_eq!(codes(&noted.value), [Code::RunningTimeOver, Code::RunTooLong]);
    assert!(noted.value.findings[1].certainty < 0.9);
    assert_eq!(noted.value.outcome, Outcome::Overdone);
    // One that is certain does explain its share.
    let certain = audit_text("w300 r160 w120 r120 w120 r120 w120 r120 w120 r120 w300", five);
    assert_eq!(codes(&certain.value), [Code::RunTooLong]);
}

#[test]
fn a_session_beyond_its_limit() {
    let mut limited = stage("w300 r60 w300");
    limited.limits.session_ceiling = Some(Seconds::new(700.0));
    let check = |done: &str| {
        let segmentation = segmentation(done);
        run_audit(&segmentation, &Track::of(&segmentation).build(), &limited, &Runner::default()).value
    };
    let long = check("w300 r60 w500");
    assert_eq!((only(&long).code, only(&long).excess), (Code::SessionTooLong, Some(160.0)));
    // Standing about before and after does not count; nor does what another finding explains.
    assert_eq!(codes(&check("s400 w300 r60 w300 s300")), []);
    assert_eq!(codes(&check("w300 r180 w290")), [Code::RunTooLong]);
}

#[test]
fn a_late_start_is_no_fault() {
    let walk = audit_text("w60 r60 w120 r60 w300", "w300 r60 w120 r60 w300");
    assert_eq!(walk.value.outcome, Outcome::Kept);
    let no_walk = audit_text("r60 w120 r60 w300", "w300 r60 w120 r60 w300");
    assert_eq!(no_walk.value.outcome, Outcome::Kept);
    assert!(has_notice(&no_walk, NoticeCode::LateStart));
    assert_eq!(no_walk.value.reps[0].start_s, None);
    // Inside the first run, and after it: what was run before is not known.
    for done in ["r30 w120 r60 w300", "w60 r60 w300"] {
        let noted = audit_text(done, "w300 r60 w120 r60 w300");
        assert_eq!(overdoing(&noted.value), [], "{done}");
    }
    let inside = audit_text("r30 w120 r60 w300", "w300 r60 w120 r60 w300");
    assert_eq!(inside.value.outcome, Outcome::Undecided);
    assert_eq!(codes(&inside.value), []);
    assert!(has_notice(&inside, NoticeCode::LateStart));
}

#[test]
fn the_steps_that_a_late_start_misses_are_the_first_ones() {
    let pyramid = "w300 r60 w60 r120 w60 r180 w60 r120 w60 r60 w300";
    let noted = audit_text("r100 w60 r180 w60 r120 w60 r60 w300", pyramid);
    assert_eq!(codes(&noted.value), [Code::RepMissing]);
    assert_eq!(noted.value.findings[0].rep, Some(1));
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::LateStart));
}

#[test]
fn a_stop_at_a_crossing_leaves_one_run() {
    let noted = audit_text("w300 r200 s25 r400 w300", "w300 r600 w300");
    assert_eq!(noted.value.outcome, Outcome::Kept);
    let run = &noted.value.reps[1];
    assert_eq!((run.achieved_s, run.stand_s), (600.0, 25.0));
    assert_eq!((run.start_s, run.end_s), (Some(300.0), Some(925.0)));
    assert!((run.error_s - 1.4).abs() < 1e-9); // four ends of 0.7 s
    assert_eq!(noted.value.dose.run_s.achieved, Some(600.0));
}

#[test]
fn a_timer_stop_inside_a_run_is_a_stop_and_a_hole_is_doubt() {
    let segmentation = segmentation("w300 r300 u60 r300 w300");
    let stage = stage("w300 r600 w300");
    let paused = Track::of(&segmentation).pause(600.0, 660.0).build();
    let noted = run_audit(&segmentation, &paused, &stage, &Runner::default());
    assert_eq!((noted.value.outcome, noted.value.reps[1].stand_s), (Outcome::Kept, 60.0));
    let hole = run_audit(&segmentation, &Track::of(&segmentation).build(), &stage, &Runner::default());
    assert_eq!(hole.value.outcome, Outcome::Undecided);
    assert!(has_notice(&hole, NoticeCode::HoleHidesLength));
    // A hole within the prescribed time hides nothing.
    assert_eq!(audit_text("w300 r280 u40 r280 w300", "w300 r600 w300").value.outcome, Outcome::Kept);
}

#[test]
fn standing_in_a_walk_or_instead_of_it_is_a_break() {
    for done in ["w300 r60 w50 s30 w40 r60 w300", "w300 r60 s120 r60 w300", "w300 r60 s20 w100 r60 s30 w300"]
    {
        assert_eq!(audit_text(done, "w300 r60 w120 r60 w300").value.outcome, Outcome::Kept, "{done}");
    }
}

#[test]
fn longer_rests_and_unprescribed_walks_are_no_fault() {
    for done in [
        "w900 r60 w400 r60 w120 r60 w1200",
        "w300 r60 w120 r60 w700 r60 w300",
        "s600 w300 r60 s20 w200 r60 w120 r60 w300",
    ] {
        assert_eq!(
            audit_text(done, "w300 r60 w120 r60 w120 r60 w300").value.outcome,
            Outcome::Kept,
            "{done}"
        );
    }
    assert_eq!(audit_text("w600 r60 w60 r60 w500", "r60 w60 r60").value.outcome, Outcome::Kept);
}

#[test]
fn a_missing_last_walk_is_said() {
    let noted = audit_text("w300 r60 w120 r60", "w300 r60 w120 r60 w300");
    assert_eq!(noted.value.outcome, Outcome::Kept);
    assert!(has_notice(&noted, NoticeCode::EarlyStop));
}

#[test]
fn short_false_bouts_shatter_nothing() {
    // A 9-second walk in a run of ten minutes, a 7-second run in the first walk, a 6-second run in a break.
    let parts = "w100 r7 w193 r300 w9 r291 w60 r6 w54 r600 w300";
    let noted = audit_changed(parts, "w300 r600 w120 r600 w300", |bouts| {
        bouts.iter_mut().filter(|b| b.duration_s() < 10.0).for_each(|b| b.certainty = 0.6);
    });
    assert_eq!(noted.value.outcome, Outcome::Kept, "{:#?}", noted.value.findings);
}

#[test]
fn an_uncertain_bout_leaves_the_verdict_open() {
    let noted =
        audit_changed("w300 r60 w120 r90 w300", "w300 r60 w120 r60 w300", |bouts| bouts[3].certainty = 0.8);
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!((only(&noted.value).certainty - 0.8).abs() < 1e-6);
}

#[test]
fn too_little_data_leaves_the_verdict_open() {
    for (done, code) in [
        ("u600", NoticeCode::NoGaitData),
        ("s600", NoticeCode::NoGaitData),
        ("w300 r60 u200 r60 w100", NoticeCode::TooMuchUnknown),
    ] {
        let noted = audit_text(done, "w300 r60 w120 r60 w300");
        assert_eq!(noted.value.outcome, Outcome::Undecided, "{done}");
        assert!(has_notice(&noted, code), "{done}: {:?}", noted.notices);
    }
    let empty = Segmentation::new(Vec::new()).unwrap();
    let noted = run_audit(&empty, &Track::new(0.0).build(), &stage(SIX), &Runner::default());
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    let noted = audit_changed("w300 r60 w300", "w300 r60 w300", |bouts| {
        bouts.iter_mut().for_each(|b| b.certainty = 0.6);
    });
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::GaitUncertain));
}

#[test]
fn where_the_gaits_are_uncertain_on_the_whole_no_length_is_surer() {
    // The walks are 0.6 certain; the run of 60 s that took 300 is certain.
    let audited = |walks: f64| {
        let changed = audit_changed("w300 r300 w300", "w300 r60 w300", |bouts| {
            bouts.iter_mut().filter(|b| b.gait == Gait::Walk).for_each(|b| b.certainty = walks);
        });
        changed.value
    };
    let mean = (2.0 * 0.6 + 0.99) / 3.0;
    let uncertain = audited(0.6);
    assert!((only(&uncertain).certainty - mean).abs() < 1e-9, "{:?}", uncertain.findings);
    assert_eq!(uncertain.outcome, Outcome::Undecided);
    assert_eq!(audited(0.7).outcome, Outcome::Overdone);
}

#[test]
fn a_bout_that_may_hide_another_gait_is_in_the_way_of_kept() {
    const PLAN: &str = "w300 r60 w120 r60 w120 r60 w300";
    let of = |done: &str, at: usize, certainty: f64| {
        let noted = audit_changed(done, PLAN, |bouts| bouts[at].certainty = certainty);
        let said = [NoticeCode::WalkMayHideRun, NoticeCode::RunMayHideWalk];
        (noted.value.outcome, said.map(|code| has_notice(&noted, code)))
    };
    // Before the first run, between runs and after the last.
    for walk in [0, 2, 6] {
        assert_eq!(of(PLAN, walk, 0.55), (Outcome::Undecided, [true, false]), "{walk}");
        assert_eq!(of(PLAN, walk, 0.65), (Outcome::Kept, [false; 2]), "{walk}");
    }
    assert_eq!(of(PLAN, 3, 0.55), (Outcome::Undecided, [false, true]));
    assert_eq!(of(PLAN, 3, 0.65), (Outcome::Kept, [false; 2]));
    let short = "w300 r60 w120 r60 w120 r60 w5 s5 w15";
    assert_eq!(of(short, 6, 0.1), (Outcome::Kept, [false; 2]), "too short to hide one");
    assert_eq!(of("w300 r100 w120 r60 w120 r60 w300", 2, 0.55).0, Outcome::Overdone, "too much all the same");
    // The run that is missing may lie there, of whatever length.
    assert_eq!(of("w300 r60 w300 r60 w300", 2, 0.05), (Outcome::Undecided, [true, false]));
    assert_eq!(of("w300 r60 w300 r60 w300", 2, 0.6), (Outcome::Undecided, [false; 2]));
}

#[test]
fn a_run_twice_too_long_is_not_kept_however_little_faster_than_the_walks() {
    // Speed alone, on level ground. The pairs of `benches/even_pairs.py`.
    let plan = stage("w300 r60 w120 r60 w300");
    let done = segmentation("w300 r60 w120 r120 w420");
    let gait_at = |t: f64| done.bouts().iter().find(|b| t < b.end_s).map_or(Gait::Walk, |b| b.gait);
    for (walk, faster) in (8..=18).flat_map(|walk| (4..=14).map(move |faster| (walk, faster))) {
        let walk_mps = 0.1 * f64::from(walk);
        let jog_mps = walk_mps + 0.05 * f64::from(faster);
        let speed = |t: f64| if gait_at(t) == Gait::Run { jog_mps } else { walk_mps };
        let series = Track::new(done.elapsed_s()).speed(speed).altitude(|_, _| 20.0).build();
        let found = segment(&series, &GaitConfig::default(), None).value;
        let outcome = run_audit(&found, &series, &plan, &Runner::default()).value.outcome;
        assert_ne!(outcome, Outcome::Kept, "{walk_mps:.1} and {jog_mps:.2} m/s: {:?}", found.bouts());
    }
}

#[test]
fn a_walk_on_a_walking_stage_may_be_shorter() {
    let noted = audit_text("w1000", "w1800");
    assert_eq!(noted.value.outcome, Outcome::Underdone);
    assert!(has_notice(&noted, NoticeCode::WalkingShort));
}

#[test]
fn a_distance_is_held_against_metres() {
    let check = |done: &str| audit_words(done, "run 400 m");
    // 2.3 m/s: 174 s make 400 m; 10 s of tolerance are 23 m. A distance that is too long may be off by 4 % and by 16 m of chance.
    for (done, outcome) in [
        ("w60 r174 w60", Outcome::Kept),
        ("w60 r187 w60", Outcome::Kept),
        ("w60 r161 w60", Outcome::Kept),
        ("w60 r205 w60", Outcome::Undecided),
        ("w60 r130 w60", Outcome::Underdone),
    ] {
        assert_eq!(check(done).value.outcome, outcome, "{done}");
    }
    let long = check("w60 r230 w60");
    let finding = only(&long.value);
    assert_eq!(
        (finding.code, finding.unit, finding.prescribed),
        (Code::RunTooLong, Unit::Metres, Some(400.0))
    );
    assert!((finding.excess.unwrap() - 129.0).abs() < 3.0);
    let rep = &long.value.reps[0];
    assert_eq!((rep.prescribed_s, rep.prescribed_m), (None, Some(400.0.into())));
    assert_eq!(long.value.dose.run_s.prescribed, None);
    // Nothing to measure by.
    let stage = stage_of(Session::parse("run 400 m").unwrap());
    let noted =
        run_audit(&segmentation("w60 r174 w60"), &Track::new(294.0).build(), &stage, &Runner::default());
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::NoDistance));
}

#[test]
fn a_recorder_errs_alike_in_all_its_distances() {
    // 2.3 m/s make 400 m in 174 s; the others last so long, and one is longer.
    let check = |others_s: u32, one_s: u32| {
        let run = |s: u32| format!("r{s} w90");
        let runs = [others_s, others_s, one_s, others_s, others_s, others_s].map(run).join(" ");
        outcome(&format!("w180 {runs}"), "walk 3:00, 6 x (run 400 m, walk 1:30)")
    };
    // Alike in all: as a recorder errs, or more.
    assert_eq!(check(187, 187), (Outcome::Kept, vec![]));
    assert_eq!(check(161, 161), (Outcome::Kept, vec![]));
    assert_eq!(check(195, 195), (Outcome::Undecided, vec![]));
    assert_eq!(check(205, 205), (Outcome::Overdone, vec![Code::RunningTimeOver]));
    // One beside the others: as surely longer as two lengths differ, for what others say of the recorder.
    assert_eq!(check(174, 200), (Outcome::Overdone, vec![Code::RunTooLong]));
    assert_eq!(check(161, 200), (Outcome::Overdone, vec![Code::RunTooLong]));
    assert_eq!(check(174, 148), (Outcome::Underdone, vec![Code::RunTooShort]));
    // Longer than the others, but no longer than prescribed; and hardly longer than others that are as much too long.
    assert_eq!(check(148, 174), (Outcome::Kept, vec![]));
    assert_eq!(check(187, 200), (Outcome::Undecided, vec![]));
}

#[test]
fn a_whole_by_distance_takes_the_layout_that_fits() {
    // A mile of a minute each: 2.3 and 1.5 m/s make 228 m a round, so 7.06 rounds.
    let items = session("r60 w60").items;
    let whole = Item::Until { extent: Extent::Distance(Metres::new(1609.344)).into(), items };
    let stage = with_ceiling(stage_of(Session { items: vec![whole] }), 400.0);
    let segmentation = segmentation("r60 w60 r60 w60 r60 w60 r60 w60 r60 w60 r60 w60 r60 w60");
    let noted = run_audit(&segmentation, &Track::of(&segmentation).build(), &stage, &Runner::default());
    assert_eq!(noted.value.outcome, Outcome::Kept, "{:#?}", noted.value.findings);
}

#[test]
fn a_whole_by_distance_ends_wherever_a_recorder_may_be_wrong_about_it() {
    // 2.3 and 1.5 m/s make 366 m a round: 3 km are 8 rounds and 31 s of the next run.
    let check = |rounds: usize, last: &str| {
        let done = format!("w180 {}{last} w180", "r120 w60 ".repeat(rounds));
        outcome(&done, "walk 3:00, for 3 km (run 2:00, walk 1:00), walk 3:00").0
    };
    for (rounds, last) in [(8, "r31"), (8, ""), (8, "r60"), (8, "r110"), (7, "r100"), (9, "")] {
        assert_eq!(check(rounds, last), Outcome::Kept, "{rounds} {last}");
    }
    // 24 % more, 27 % less.
    assert_eq!(check(10, "r20"), Outcome::Overdone);
    assert_eq!(check(6, ""), Outcome::Underdone);
}

#[test]
fn a_whole_by_time_is_over_when_its_time_is_whatever_its_steps_took() {
    // 2.3 and 1.5 m/s: 400 m in 174 s, 200 m in 133 s. A recorder may make 370 to 430 m of what is done on a track.
    let check = |round: (u32, u32), last: &str| {
        let rounds = format!("r{} w{} ", round.0, round.1).repeat(3);
        outcome(
            &format!("w180 {rounds}{last} w180"),
            "walk 3:00, for 18:00 (run 400 m, walk 200 m), walk 3:00",
        )
    };
    // 921 s and 159 of the next run; 990 s and 90; 849 s, all of the next run and 70 s of the walk.
    for (round, last) in [((174, 133), "r159"), ((187, 143), "r90"), ((160, 123), "r160 w71")] {
        assert_eq!(check(round, last), (Outcome::Kept, vec![]), "{round:?} {last}");
    }
    // The recorder has no part in when the time is over.
    assert_eq!(check((187, 143), "r140"), (Outcome::Overdone, vec![Code::RunTooLong]));
    assert_eq!(check((187, 143), "r40"), (Outcome::Underdone, vec![Code::RunTooShort]));
    // Another round.
    assert_eq!(check((187, 143), "r187 w143 r100").0, Outcome::Overdone);
}

#[test]
fn the_last_step_of_a_whole_by_time_is_no_longer_than_the_others() {
    // 2:00 and, at 1.5 m/s, 1:40: after two rounds 2:40 are left, of which a run may have two minutes.
    let check = |done: &str| outcome(done, "for 10:00 (run 2:00, walk 150 m), walk 3:00");
    assert_eq!(check("r120 w100 r120 w100 r120 w40 w180"), (Outcome::Kept, vec![]));
    assert_eq!(check("r120 w100 r120 w100 r160 w180").0, Outcome::Overdone);
    // 400 m are 2:54. After one round there are 4:53 to 14:53 left.
    let check = |done: &str| outcome(done, "for 10:00 to 20:00 (run 400 m, walk 200 m), walk 3:00");
    assert_eq!(check("r174 w133 r174 w133 w180"), (Outcome::Kept, vec![]));
    assert_eq!(check("r174 w133 r174 w133 r174 w133 r60 w180"), (Outcome::Kept, vec![]));
    assert_eq!(check("r174 w133 r400 w180").0, Outcome::Overdone);
}

#[test]
fn a_long_whole_by_distance_is_matched_at_some_speeds() {
    // All its ways to end, at 114 m a round 110 of them, would be more work than is taken on.
    let noted = audit_words(&"r30 w30 ".repeat(184), "for 21 km (run 0:30, walk 0:30)");
    assert!(!has_notice(&noted, NoticeCode::TooMuchToMatch), "{:?}", noted.notices);
    assert_eq!(codes(&noted.value), [Code::RepMissing], "the 23 m that are left");
}

#[test]
fn more_than_can_be_matched_is_said() {
    let words = |count: usize, unit: &str| vec![unit; count].join(" ");
    let noted = audit_text(&words(1500, "r20 w20"), &words(1500, "r20 w20"));
    assert_eq!((noted.value.outcome, noted.value.reps.len()), (Outcome::Undecided, 3000));
    assert!(has_notice(&noted, NoticeCode::TooMuchToMatch));
}

#[test]
fn many_open_parts_are_too_much_and_said_at_once() {
    // Thirty parts of thousands of steps each: a few bouts could be matched with all of them, five times over.
    let part = "for 6000 m (run 0:01, walk 0:01)";
    let session = Session::parse(&vec![part; 30].join(", ")).unwrap();
    let segmentation = segmentation("w300 r60 w120 r60 w300");
    let stage = with_ceiling(stage_of(session), 400.0);
    let noted = run_audit(&segmentation, &Track::of(&segmentation).build(), &stage, &Runner::default());
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::TooMuchToMatch));
}

#[test]
fn seconds_of_walking_reach_no_verdict() {
    let of = |done: &str| audit_text(done, "w300 r60 w120 r60 w300");
    assert_eq!(of("w30").value.outcome, Outcome::Underdone);
    let noted = of("w19");
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::TooMuchUnknown));
}
