//! The JSON documents: their keys, in their order, and how figures are rounded.

use jogaudit_core::gait::{Bout, Gait, Segmentation};
use jogaudit_recording::units::LengthUnit;
use jogaudit_report::{BoutsView, CheckView, Source, json};
use serde_json::json;

use crate::documents_made_up::{facts, parsed, plan};

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
    let (facts, sha256) = (facts(), "ab".repeat(32));
    let source = Source { facts: &facts, sha256: &sha256 };
    let bouts = json::bouts(&BoutsView::new(source, &segmentation, &[], LengthUnit::Mile));
    let expected = json!({
        "schema": "jogaudit.bouts/1",
        "recording": {"format": "tcx", "sport": "running", "sha256": "ab".repeat(32), "start": "2026-03-02T07:10:00Z",
                      "elapsed_s": 301.4, "samples": 1813, "has": ["speed", "altitude"]},
        "bouts": [{"gait": "walk", "start_s": 0.0, "end_s": 301.4, "certainty": 0.999, "distance_m": 496.0,
                   "mean_speed_mps": 1.65, "mean_cadence_spm": 118.0, "mean_heart_rate_bpm": null}],
        "notices": [],
    });
    assert_eq!(bouts, format!("{}\n", serde_json::to_string_pretty(&expected).unwrap()));

    let view = CheckView::new(source, &segmentation, &plan, &plan.stages[0], None, &[]);
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
