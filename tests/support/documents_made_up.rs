//! What the tests of documents are made of: one plan, what is known of one recording, a document read back.

use jogaudit_core::prescription::Plan;
use jogaudit_recording::read::{Channel, Facts, Format, Sport};
use serde_json::Value;

pub(crate) fn facts() -> Facts {
    Facts {
        format: Format::Tcx,
        sport: Sport::Running,
        start: "2026-03-02T07:10:00Z".parse().unwrap(),
        utc_offset_s: None,
        samples: 1813,
        channels: vec![Channel::Speed, Channel::Altitude],
    }
}

pub(crate) fn plan() -> Plan {
    Plan::parse("title = 'x'\n[[stage]]\nname = '3'\nsession = 'walk 5:00, 6 x (run 1:00, walk 400 m)'")
        .unwrap()
        .value
}

pub(crate) fn parsed(text: &str) -> Value {
    assert!(text.ends_with("}\n"));
    serde_json::from_str(text).unwrap()
}
