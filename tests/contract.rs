//! The JSON documents against the schemas in `docs/schema/`, judged by an independent validator (crate `boon`).

use boon::{Compiler, SchemaIndex, Schemas};
use jogaudit::audit::{Amount, Audit, Code, Dose, Finding, Outcome, Rep};
use jogaudit::gait::{Bout, Gait, Segmentation};
use jogaudit::notice::{Notice, NoticeCode, Place};
use jogaudit::prescription::Plan;
use jogaudit::report::{BoutsView, CheckView, RecordingFacts, json};
use jogaudit::units::Unit;
use proptest::prelude::*;
use serde_json::{Value, json};

/// A schema of `docs/schema/`, ready to judge.
struct Judge(Schemas, SchemaIndex);

impl Judge {
    fn new(name: &str) -> Self {
        let path = format!("{}/docs/schema/{name}.schema.json", env!("CARGO_MANIFEST_DIR"));
        let mut compiler = Compiler::new();
        compiler.enable_format_assertions();
        let mut schemas = Schemas::new();
        let index = compiler.compile(&path, &mut schemas).expect("a valid schema of draft 2020-12");
        Self(schemas, index)
    }

    fn judge(&self, document: &Value) -> Result<(), String> {
        self.0.validate(document, self.1).map_err(|error| format!("{error:#}"))
    }
}

fn facts() -> RecordingFacts {
    RecordingFacts {
        format: "tcx",
        sha256: "ab".repeat(32),
        start: "2026-03-02T07:10:00Z".parse().unwrap(),
        samples: 1813,
        has: vec!["speed", "altitude"],
    }
}

fn plan() -> Plan {
    Plan::parse("title = 'x'\n[[stage]]\nname = '3'\nsession = 'walk 5:00, 6 x (run 1:00, walk 400 m)'")
        .unwrap()
        .value
}

fn parsed(text: &str) -> Value {
    assert!(text.ends_with("}\n"));
    serde_json::from_str(text).unwrap()
}

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
    use Code::*;
    prop::sample::select(vec![
        RunTooLong,
        RunTooFast,
        HeartRateTooHigh,
        WalkCutShort,
        WalkMissing,
        RepExtra,
        RunningTimeOver,
        SessionTooLong,
        UnplannedRun,
        RunTooShort,
        RepMissing,
        WalkTooSlow,
    ])
}

fn findings() -> impl Strategy<Value = Finding> {
    let units = prop::sample::select(vec![
        Unit::Seconds,
        Unit::Metres,
        Unit::SecondsPerKilometre,
        Unit::BeatsPerMinute,
        Unit::StepsPerMinute,
    ]);
    (codes(), prop::option::of(1u32..9), value(), value(), units, 0.0..=1.0).prop_map(
        |(code, rep, first, second, unit, certainty)| Finding {
            code,
            rep,
            start_s: first,
            end_s: second,
            prescribed: second,
            achieved: first,
            unit,
            excess: first,
            certainty,
        },
    )
}

fn reps() -> impl Strategy<Value = Rep> {
    (1u32..9, any::<bool>(), 0.0..600.0, value(), value()).prop_map(
        |(rep, run, achieved_s, first, second)| Rep {
            rep,
            gait: if run { Gait::Run } else { Gait::Walk },
            prescribed_s: first,
            prescribed_m: second,
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
        },
    )
}

fn audits() -> impl Strategy<Value = Audit> {
    let outcomes =
        prop::sample::select(vec![Outcome::Overdone, Outcome::Kept, Outcome::Underdone, Outcome::Undecided]);
    let lists = (prop::collection::vec(reps(), 0..5), prop::collection::vec(findings(), 0..5));
    (outcomes, lists, value(), value()).prop_map(|(outcome, (reps, findings), value, achieved)| {
        let amount = Amount { prescribed: value, achieved };
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
        let document = parsed(&json::bouts(&BoutsView::new(&facts(), &segmentation, &notices)));
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
        let view = CheckView::new(&facts(), &segmentation, &plan, &plan.stages[0], audit.as_ref(), &[]);
        let document = parsed(&json::check(&view));
        prop_assert_eq!(judge.judge(&document), Ok(()));
    }
}

#[test]
fn the_documents_have_the_keys_of_the_outer_surface_in_its_order() {
    let plan = plan();
    let bout = Bout {
        gait: Gait::Walk,
        start_s: 0.0,
        end_s: 301.44,
        start_error_s: 0.0,
        end_error_s: 0.0,
        certainty: 0.9999,
        distance_m: Some(496.0),
        mean_speed_mps: Some(1.6457),
        mean_cadence_spm: Some(118.0),
        mean_heart_rate_bpm: None,
    };
    let segmentation = Segmentation::new(vec![bout]).unwrap();
    let bouts = json::bouts(&BoutsView::new(&facts(), &segmentation, &[]));
    let expected = json!({
        "schema": "jogaudit.bouts/1",
        "recording": {"format": "tcx", "sha256": "ab".repeat(32), "start": "2026-03-02T07:10:00Z",
                      "elapsed_s": 301.4, "samples": 1813, "has": ["speed", "altitude"]},
        "bouts": [{"gait": "walk", "start_s": 0.0, "end_s": 301.4, "certainty": 0.999, "distance_m": 496.0,
                   "mean_speed_mps": 1.65, "mean_cadence_spm": 118.0, "mean_heart_rate_bpm": null}],
        "notices": [],
    });
    assert_eq!(bouts, format!("{}\n", serde_json::to_string_pretty(&expected).unwrap()));

    let view = CheckView::new(&facts(), &segmentation, &plan, &plan.stages[0], None, &[]);
    let check = parsed(&json::check(&view));
    let keys: Vec<&String> = check.as_object().unwrap().keys().collect();
    assert_eq!(
        keys,
        ["schema", "plan", "stage", "recording", "bouts", "outcome", "reps", "dose", "findings", "notices"]
    );
    assert_eq!(check["dose"]["run_s"], json!({"prescribed": 360.0, "achieved": null}));
    // The walks are by distance: their time is open, not 0.
    assert_eq!(check["dose"]["walk_s"], json!({"prescribed": null, "achieved": null}));
}

#[test]
fn the_schemas_refuse_what_is_wrong() {
    let judge = Judge::new("bouts");
    let good = parsed(&json::bouts(&BoutsView::new(&facts(), &Segmentation::new(vec![]).unwrap(), &[])));
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
