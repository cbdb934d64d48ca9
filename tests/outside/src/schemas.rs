//! The JSON of `bouts` and `check` against their schemas, for random findings.

use jogaudit_core::audit::{Amount, Audit, Code, Dose, Finding, Outcome, Rep};
use jogaudit_core::gait::{Bout, Gait, Segmentation};
use jogaudit_core::prescription::Move;
use jogaudit_core::range::Range;
use jogaudit_recording::notice::{Notice, NoticeCode, Place};
use jogaudit_recording::units::{LengthUnit, Unit};
use jogaudit_report::{BoutsView, CheckView, Source, json};
use proptest::prelude::*;
use serde_json::json;

use crate::documents_made_up::{facts, parsed, plan};
use crate::schema::Judge;

const SHA256: &str = "abababababababababababababababababababababababababababababababab";

/// Any value that a kernel may hand over, also those that are no number.
fn value() -> impl Strategy<Value = Option<f64>> {
    prop_oneof![
        Just(None),
        (0.0..5000.0).prop_map(Some),
        Just(Some(0.0)),
        Just(Some(-0.0)),
        Just(Some(f64::NAN)),
        Just(Some(f64::INFINITY)),
    ]
}

fn bouts() -> impl Strategy<Value = Segmentation> {
    let gaits = prop::sample::select(vec![Gait::Run, Gait::Walk, Gait::Stand, Gait::Unknown]);
    prop::collection::vec((gaits, 0.0..600.0, 0.0..=1.0, value()), 0..8).prop_map(|parts| {
        let mut bouts: Vec<Bout> = Vec::new();
        for (gait, length, certainty, value) in parts {
            let start_s = bouts.last().map_or(0.0, |b| b.end_s);
            if bouts.last().is_some_and(|b| b.gait == gait) {
                continue;
            }
            bouts.push(Bout {
                gait,
                start_s,
                end_s: start_s + length,
                start_error_s: 1.0,
                end_error_s: 1.0,
                certainty,
                distance_m: value,
                mean_speed_mps: value,
                mean_cadence_spm: value,
                mean_heart_rate_bpm: value,
            });
        }
        Segmentation::new(bouts).unwrap()
    })
}

fn codes() -> impl Strategy<Value = Code> {
    prop::sample::select(Code::ALL)
}

fn findings() -> impl Strategy<Value = Finding> {
    let units = prop::sample::select(vec![
        Unit::Seconds,
        Unit::Metres,
        Unit::SecondsPerKilometre,
        Unit::BeatsPerMinute,
        Unit::StepsPerMinute,
    ]);
    (codes(), prop::option::of(1u32..9), value(), value(), any::<bool>(), units, 0.0..=1.0).prop_map(
        |(code, rep, first, second, is_range, unit, certainty)| Finding {
            code,
            rep,
            start_s: first,
            end_s: second,
            prescribed: second,
            range: is_range.then(|| range(first, second)).flatten(),
            achieved: first,
            unit,
            excess: first,
            certainty,
        },
    )
}

/// A range, without an end where no most is said; none without a least.
fn range(least: Option<f64>, most: Option<f64>) -> Option<Range> {
    least.map(|least| Range { least, most: most.unwrap_or(f64::INFINITY) })
}

fn reps() -> impl Strategy<Value = Rep> {
    let motions = prop::sample::select(vec![Move::Run, Move::Walk, Move::Rest]);
    (1u32..9, motions, 0.0..600.0, value(), value()).prop_map(|(rep, motion, achieved_s, first, second)| {
        Rep {
            rep,
            motion,
            prescribed_s: range(first, second),
            prescribed_m: second.map(Range::exactly),
            achieved_s,
            achieved_m: first,
            error_s: 1.5,
            start_s: second,
            end_s: first,
            stand_s: 0.0,
            mean_pace_s_per_km: first,
            level_pace_s_per_km: second,
            over_ceiling_s: first,
            mean_cadence_spm: second,
            max_heart_rate_bpm: first,
        }
    })
}

fn audits() -> impl Strategy<Value = Audit> {
    let outcomes =
        prop::sample::select(vec![Outcome::Overdone, Outcome::Kept, Outcome::Underdone, Outcome::Undecided]);
    let lists = (prop::collection::vec(reps(), 0..5), prop::collection::vec(findings(), 0..5));
    (outcomes, lists, value(), value()).prop_map(|(outcome, (reps, findings), value, achieved)| {
        let amount = Amount { prescribed: range(value, achieved), achieved };
        let dose = Dose {
            run_s: amount,
            walk_s: amount,
            session_s: amount,
            run_steps: value,
            run_distance_m: value,
        };
        Audit { outcome, reps, dose, findings, is_level: false }
    })
}

proptest! {
    #[test]
    fn any_bouts_follow_their_schema(segmentation in bouts()) {
        let judge = Judge::new("bouts");
        let notices = [Notice::new(NoticeCode::RecorderPaused, "A sentence.").at(Place { line: Some(3), ..Place::default() })];
        let document = parsed(&json::bouts(&BoutsView::new(Source { facts: &facts(), sha256: SHA256 }, &segmentation, &notices, LengthUnit::Kilometre)));
        prop_assert_eq!(judge.judge(&document), Ok(()));
        // Rounding keeps the tiling.
        let mut at = 0.0;
        for bout in document["bouts"].as_array().unwrap() {
            prop_assert_eq!(bout["start_s"].as_f64(), Some(at));
            at = bout["end_s"].as_f64().unwrap();
        }
        prop_assert_eq!(document["recording"]["elapsed_s"].as_f64(), Some(at));
    }

    #[test]
    fn any_check_follows_its_schema(segmentation in bouts(), audit in prop::option::of(audits())) {
        let judge = Judge::new("check");
        let plan = plan();
        let view = CheckView::new(Source { facts: &facts(), sha256: SHA256 }, &segmentation, &plan, &plan.stages[0], audit.as_ref(), &[]);
        let document = parsed(&json::check(&view));
        prop_assert_eq!(judge.judge(&document), Ok(()));
    }
}

#[test]
fn the_schemas_refuse_what_is_wrong() {
    let judge = Judge::new("bouts");
    let good = parsed(&json::bouts(&BoutsView::new(
        Source { facts: &facts(), sha256: SHA256 },
        &Segmentation::new(vec![]).unwrap(),
        &[],
        LengthUnit::Kilometre,
    )));
    assert_eq!(judge.judge(&good), Ok(()));
    for (pointer, wrong) in [
        ("/schema", json!("jogaudit.bouts/2")),
        ("/recording/elapsed_s", json!(null)),
        ("/recording/start", json!("2026-03-02 07:10")),
        ("/recording/has", json!(["pace"])),
        ("/bouts", json!([{"gait": "run"}])),
        ("/notices", json!([{"code": "A Code", "text": "x"}])),
    ] {
        let mut document = good.clone();
        *document.pointer_mut(pointer).unwrap() = wrong;
        assert!(judge.judge(&document).is_err(), "{pointer}");
    }
    let mut document = good;
    document["extra"] = json!(1);
    assert!(judge.judge(&document).is_err());
}
