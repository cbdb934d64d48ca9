//! Whole reports of made-up audits.

use super::super::view::Source;
use super::super::wording::CAUTIONS;
use super::*;
use jogaudit_core::audit::{Amount, Audit, Code, Dose, Finding, Outcome, Rep};
use jogaudit_core::gait::{Bout, Gait, Segmentation};
use jogaudit_core::prescription::{Move, Plan};
use jogaudit_core::range::Range;
use jogaudit_recording::notice::{Notice, NoticeCode};
use jogaudit_recording::read::{Channel, Facts, Format, Sport};
use jogaudit_recording::units::{LengthUnit, Unit};

const PLAN: &str = r#"
title = "Back on the path"
[limits]
pace_ceiling = "6:45 /km"
[[stage]]
name = "1"
session = "walk 5:00, 2 x (run 1:00, walk 2:00)"
"#;

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

fn bout(gait: Gait, start_s: f64, end_s: f64) -> Bout {
    Bout {
        gait,
        start_s,
        end_s,
        start_error_s: 1.0,
        end_error_s: 1.0,
        certainty: 0.987,
        distance_m: Some((end_s - start_s) * if gait == Gait::Run { 2.5 } else { 1.5 }),
        mean_speed_mps: Some(if gait == Gait::Run { 2.5 } else { 1.5 }),
        mean_cadence_spm: (gait == Gait::Run).then_some(162.4),
        mean_heart_rate_bpm: None,
    }
}

fn rep(rep: u32, gait: Gait, prescribed_s: f64, start_s: f64, end_s: f64) -> Rep {
    Rep {
        rep,
        motion: if gait == Gait::Run { Move::Run } else { Move::Walk },
        prescribed_s: Some(prescribed_s.into()),
        prescribed_m: None,
        achieved_s: end_s - start_s,
        achieved_m: None,
        error_s: 1.5,
        start_s: Some(start_s),
        end_s: Some(end_s),
        stand_s: 0.0,
        mean_pace_s_per_km: Some(400.0),
        level_pace_s_per_km: None,
        over_ceiling_s: Some(0.0),
        mean_cadence_spm: None,
        max_heart_rate_bpm: Some(141.0),
    }
}

fn facts() -> Facts {
    Facts {
        format: Format::Gpx,
        sport: Sport::Running,
        start: "2026-03-02T07:10:00Z".parse().unwrap(),
        utc_offset_s: None,
        samples: 661,
        channels: vec![Channel::Cadence, Channel::HeartRate, Channel::Position],
    }
}

const SHA256: &str = "0000000000000000000000000000000000000000000000000000000000000000";

fn segmentation() -> Segmentation {
    let bouts = vec![
        bout(Gait::Walk, 0.0, 300.0),
        bout(Gait::Run, 300.0, 380.0),
        bout(Gait::Walk, 380.0, 500.0),
        bout(Gait::Unknown, 500.0, 520.0),
        bout(Gait::Run, 520.0, 580.0),
        bout(Gait::Walk, 580.0, 660.0),
    ];
    Segmentation::new(bouts).unwrap()
}

fn audit() -> Audit {
    let mut missing = rep(3, Gait::Walk, 120.0, 0.0, 0.0);
    (missing.start_s, missing.end_s, missing.mean_pace_s_per_km) = (None, None, None);
    (missing.over_ceiling_s, missing.max_heart_rate_bpm) = (None, None);
    let mut crossing = rep(2, Gait::Run, 60.0, 520.0, 580.0);
    crossing.stand_s = 12.0;
    Audit {
        outcome: Outcome::Overdone,
        reps: vec![
            rep(1, Gait::Walk, 300.0, 0.0, 300.0),
            rep(1, Gait::Run, 60.0, 300.0, 380.0),
            rep(2, Gait::Walk, 120.0, 380.0, 500.0),
            crossing,
            missing,
        ],
        dose: Dose {
            run_s: Amount { prescribed: Some(Range::exactly(120.0)), achieved: Some(140.0) },
            walk_s: Amount { prescribed: Some(Range::exactly(540.0)), achieved: Some(500.0) },
            session_s: Amount { prescribed: None, achieved: Some(660.0) },
            run_steps: Some(378.4),
            run_distance_m: None,
        },
        is_level: false,
        findings: vec![
            Finding {
                code: Code::RunTooLong,
                rep: Some(1),
                start_s: Some(300.0),
                end_s: Some(380.0),
                prescribed: Some(60.0),
                range: None,
                achieved: Some(80.0),
                unit: Unit::Seconds,
                excess: Some(20.0),
                certainty: 0.97,
            },
            Finding {
                code: Code::WalkTooSlow,
                rep: Some(1),
                start_s: Some(0.0),
                end_s: Some(300.0),
                prescribed: Some(110.0),
                range: None,
                achieved: Some(98.0),
                unit: Unit::StepsPerMinute,
                excess: Some(12.0),
                certainty: 0.6,
            },
        ],
    }
}

/// After a hole of a month.
fn long_ago() -> Audit {
    let mut audit = audit();
    for rep in &mut audit.reps {
        rep.start_s = rep.start_s.map(|s| s + 744.0 * 3600.0);
    }
    audit.dose.session_s.achieved = Some(744.0 * 3600.0);
    audit
}

fn check_view(audit: Option<&Audit>) -> CheckView {
    let plan = Plan::parse(PLAN).unwrap().value;
    let notices = [Notice::new(NoticeCode::RecorderPaused, "The recorder was stopped once.")];
    CheckView::new(
        Source { facts: &facts(), sha256: SHA256 },
        &segmentation(),
        &plan,
        &plan.stages[0],
        audit,
        &notices,
    )
}

#[test]
fn a_check_reads_from_the_outcome_down() {
    let report = check(&check_view(Some(&audit())), true);
    assert_eq!(plain(&report), include_str!("check.txt"));
}

#[test]
fn bouts_are_listed_under_their_strip() {
    let report = bouts(
        &BoutsView::new(
            Source { facts: &facts(), sha256: SHA256 },
            &segmentation(),
            &[],
            LengthUnit::Kilometre,
        ),
        true,
    );
    assert_eq!(plain(&report), include_str!("bouts.txt"));
}

#[test]
fn every_line_fits_and_ends_clean() {
    for report in [
        check(&check_view(Some(&audit())), true),
        check(&check_view(None), false),
        check(&check_view(Some(&long_ago())), true),
        bouts(
            &BoutsView::new(
                Source { facts: &facts(), sha256: SHA256 },
                &segmentation(),
                &[],
                LengthUnit::Kilometre,
            ),
            true,
        ),
    ] {
        for line in plain(&report).lines() {
            assert!(line.chars().count() <= WIDTH, "{line}");
            assert_eq!(line, line.trim_end());
        }
    }
}

#[test]
fn without_an_audit_nothing_counts_as_achieved() {
    let view = check_view(None);
    assert_eq!(view.outcome, Outcome::Undecided);
    assert_eq!(view.dose.run_s, AmountView::new(Some(120.0.into()), None));
    let report = plain(&check(&view, true));
    assert!(report.starts_with("Undecided:"));
    assert!(report.contains("The recorder was stopped once. [recorder_paused]"));
    assert!(report.contains("  running        2:00         –"));
}

#[test]
fn an_undecided_check_says_why_at_once() {
    let plan = Plan::parse(PLAN).unwrap().value;
    let notices = [
        Notice::new(NoticeCode::RecorderPaused, "The recorder was stopped once."),
        Notice::new(NoticeCode::HeartRateNotJudged, "There is no heart rate."),
    ];
    let mut audit = audit();
    let of = |audit: &Audit| {
        let view = CheckView::new(
            Source { facts: &facts(), sha256: SHA256 },
            &segmentation(),
            &plan,
            &plan.stages[0],
            Some(audit),
            &notices,
        );
        plain(&check(&view, false))
    };
    assert!(!of(&audit).contains("There is no heart rate."));
    audit.outcome = Outcome::Undecided;
    let report = of(&audit);
    assert!(
        report.starts_with(
            "Undecided: the recording cannot tell whether stage “1” was done as prescribed.\n  ? There is no heart rate.\n\n"
        ),
        "{report}"
    );
}

#[test]
fn many_findings_alike_are_told_once() {
    let mut audit = audit();
    let slow = audit.findings[1].clone();
    audit.findings.extend((2..9).map(|rep| Finding { rep: Some(rep), ..slow.clone() }));
    let long = audit.findings[0].clone();
    audit.findings.extend((2..9).map(|rep| Finding { rep: Some(rep), ..long.clone() }));
    let report = plain(&check(&check_view(Some(&audit)), true));
    assert_eq!(report.matches("where 110 spm is the least").count(), 3);
    assert!(report.contains("  - Likewise walk 4, walk 5, walk 6, walk 7, walk 8.\n"));
    // What decides is always told in full.
    assert_eq!(report.matches("where 1:00 was prescribed").count(), 8);
}

#[test]
fn a_number_stays_with_its_unit() {
    let mut page = Page::default();
    page.paragraph("", &format!("{} 99 % sure, 74 s/km, {} 12 spm.", "a".repeat(77), "b".repeat(75)));
    let (a, b) = ("a".repeat(77), "b".repeat(75));
    assert_eq!(page.0, format!("{a}\n99 % sure, 74 s/km,\n{b}\n12 spm.\n"));
}

#[test]
fn notices_alone_keep_their_code() {
    let view = check_view(None);
    assert_eq!(notices(&view.notices), "notice: The recorder was stopped once. [recorder_paused]\n");
}

#[test]
fn no_report_ends_without_the_cautions() {
    for view in [check_view(Some(&audit())), check_view(None)] {
        let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
        assert!(words(&plain(&check(&view, true))).ends_with(&words(CAUTIONS)));
    }
}

#[test]
fn a_report_shows_so_many_bouts_and_says_how_many_it_leaves_out() {
    let bouts = |n: usize| -> Segmentation {
        let gait = |i: usize| if i.is_multiple_of(2) { Gait::Walk } else { Gait::Run };
        let bouts = (0..n).map(|i| bout(gait(i), 2.0 * i as f64, 2.0 * i as f64 + 2.0));
        Segmentation::new(bouts.collect()).unwrap()
    };
    let facts = facts();
    let view = |n: usize| {
        BoutsView::new(Source { facts: &facts, sha256: SHA256 }, &bouts(n), &[], LengthUnit::Kilometre)
    };
    let rows =
        |text: &str| text.lines().filter(|line| line.contains("how sure") || line.contains(" spm")).count();
    let (full, more) = (super::bouts(&view(MOST_BOUTS), false), super::bouts(&view(MOST_BOUTS + 7), false));
    assert_eq!(more.lines().count(), full.lines().count() + 2, "two lines say what is left out");
    assert!(rows(&full) > 0 && !full.contains("left out"));
    assert!(more.contains("The first 2000 bouts are shown; 7 more are left out of this report."), "{more}");
    // Programs get all of them.
    let document: serde_json::Value =
        serde_json::from_str(&crate::json::bouts(&view(MOST_BOUTS + 7))).unwrap();
    assert_eq!(document["bouts"].as_array().unwrap().len(), MOST_BOUTS + 7);
    assert_eq!(crate::csv::bouts(&view(MOST_BOUTS + 7)).lines().count(), MOST_BOUTS + 8);
}

#[test]
fn a_page_of_very_many_bouts_stays_small() {
    let bouts = (0..100_000_usize).map(|i| {
        let gait = if i.is_multiple_of(2) { Gait::Walk } else { Gait::Run };
        bout(gait, 2.0 * i as f64, 2.0 * i as f64 + 2.0)
    });
    let segmentation = Segmentation::new(bouts.collect()).unwrap();
    let (facts, plan) = (facts(), Plan::parse(PLAN).unwrap().value);
    let source = Source { facts: &facts, sha256: SHA256 };
    let view = CheckView::new(source, &segmentation, &plan, &plan.stages[0], Some(&audit()), &[]);
    let page = crate::html::check(&view, None);
    assert!(page.contains("98000 more are left out"), "it is said");
    assert_eq!(page.matches("<tr><th scope=\"row\">run</th>").count() * 2, MOST_BOUTS);
    assert!(page.len() < 2 << 20, "{} bytes", page.len());
}
