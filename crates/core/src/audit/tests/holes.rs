//! Missing data: what it may hide is never found for sure, and never taken as kept.

use super::super::testing::{segmentation, stage};
use super::*;
use crate::gait::Gait;
use jogaudit_recording::units::Seconds;

const TWO: &str = "w300 r120 w120 r120 w300";

#[test]
fn a_hole_over_the_end_of_a_run_does_not_make_it_short() {
    // With the hole it is as long as prescribed, and with none of it no longer.
    for done in
        ["w300 r100 u25 w115 r120 w300", "w290 u25 r105 w120 r120 w300", "w300 r100 s5 u25 w115 r120 w300"]
    {
        let noted = audit_text(done, TWO);
        assert_eq!((codes(&noted.value), noted.value.outcome), (vec![], Outcome::Kept), "{done}");
    }
    // With the hole it is too long.
    for done in
        ["w300 r110 u25 w115 r120 w300", "w300 r120 w105 u25 r110 w300", "w300 r110 s5 u25 w115 r120 w300"]
    {
        let noted = audit_text(done, TWO);
        assert_eq!(codes(&noted.value), [], "{done}");
        assert_eq!(noted.value.outcome, Outcome::Undecided, "{done}");
        assert!(has_notice(&noted, NoticeCode::HoleHidesLength), "{done}");
    }
    // Even with all of the hole the run is too short.
    let short = audit_text("w300 r80 u15 w120 r120 w300", TWO);
    assert_eq!((only(&short.value).code, only(&short.value).excess), (Code::RunTooShort, Some(25.0)));
    // Too short a hole to matter.
    assert_eq!(audit_text("w300 r115 u8 w117 r120 w300", TWO).value.outcome, Outcome::Kept);
}

#[test]
fn a_hole_beside_a_walk_does_not_make_it_short() {
    let noted = audit_text("w300 r120 u25 w100 r120 w300", TWO);
    assert_eq!(overdoing(&noted.value), []);
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    let cut = audit_text("w300 r120 u15 w60 r120 w300", TWO);
    assert_eq!(overdoing(&cut.value), [Code::WalkCutShort]);
    assert_eq!(only(&cut.value).excess, Some(45.0));
}

#[test]
fn a_hole_does_not_make_a_session_too_long() {
    let mut limited = stage(TWO);
    limited.limits.session_ceiling = Some(Seconds::new(1000.0));
    let check = |done: &str| {
        let segmentation = segmentation(done);
        run_audit(&segmentation, &Track::of(&segmentation).build(), &limited, &Runner::default())
    };
    let hole = check("w300 r120 w120 r120 w200 u100 w100");
    assert_eq!(codes(&hole.value), []);
    assert_eq!(hole.value.outcome, Outcome::Undecided);
    assert!(has_notice(&hole, NoticeCode::HoleHidesLength));
    // Too long also without it.
    let long = check("w300 r120 w120 r120 w300 u100 w100");
    assert_eq!((only(&long.value).code, only(&long.value).excess), (Code::SessionTooLong, Some(160.0)));
    // Most of it unknown: nothing decides.
    let unknown = check("w300 u2000 r120 w120 r120 w300");
    assert_eq!(unknown.value.outcome, Outcome::Undecided, "{:?}", unknown.value.findings);
    assert!(has_notice(&unknown, NoticeCode::TooMuchUnknown));
}

#[test]
fn a_few_seconds_of_running_in_a_hole_do_not_join_runs() {
    let noted = audit_text("r3 u2000000 r3", "w300 r120 w120 r120 w120 r120 w120 r120 w120 r120 w300");
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert_eq!(overdoing(&noted.value), []);
    let said = noted.notices.iter().filter(|n| n.code == NoticeCode::HoleHidesLength).collect::<Vec<_>>();
    assert_eq!(said.len(), 1);
    assert!(said[0].text.ends_with("open: walk 2, walk 3, walk 4, walk 5."), "{}", said[0].text);
    // With enough running on both sides two runs did become one, whatever was done in the hole.
    let joined = audit_text("w300 r100 u10 r130 w300", TWO);
    assert_eq!(codes(&joined.value), [Code::WalkMissing]);
}

#[test]
fn a_walk_that_a_hole_may_hide_in_part_is_in_the_way_of_kept() {
    // Runs that are less sure, both as long as prescribed at most, and a hole that hides at most 45 of 120 s of walking.
    let noted = audit_changed("w300 r80 u45 r80 w300", TWO, |bouts| {
        bouts.iter_mut().filter(|b| b.gait == Gait::Run).for_each(|b| b.certainty = 0.7);
    });
    assert_eq!(only(&noted.value).code, Code::WalkMissing);
    assert_eq!(noted.value.outcome, Outcome::Undecided, "{:?}", noted.value.findings);
}

#[test]
fn where_nothing_is_known_nothing_is_missing() {
    let noted = audit_text("u600", SIX);
    assert_eq!(noted.value.outcome, Outcome::Undecided);
    assert!(has_notice(&noted, NoticeCode::NoGaitData));
    assert_eq!((noted.value.findings, noted.value.reps), (vec![], vec![]));
    let dose = noted.value.dose;
    assert_eq!(dose.run_s, Amount { prescribed: Some(360.0.into()), achieved: None });
    assert_eq!((dose.walk_s.achieved, dose.session_s.achieved), (None, None));
    assert_eq!((dose.run_steps, dose.run_distance_m), (None, None));
    // Standing is known: no running was done, and that is a nought.
    let stood = audit_text("s600", SIX);
    assert_eq!(stood.value.dose.run_s.achieved, Some(0.0));
}
