#![no_main]

use std::sync::LazyLock;

use jiff::civil::Date;
use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{Given, Seen, seen_with, stages_with};
use libfuzzer_sys::fuzz_target;

static PLAN: LazyLock<Plan> =
    LazyLock::new(|| Plan::parse("[[stage]]\nname = '1'\nsession = 'run 1:00'\n").expect("a plan").value);

fuzz_target!(|input: (&str, &str)| {
    let (text, recording) = input;
    Given::parse(text, &PLAN);
    if let Ok(after) = stages_with(text, recording, "1") {
        Given::parse(&after, &PLAN);
    }
    // A visit that is noted is read back: in a table that can be read it is one more.
    let before = Seen::parse(text, &PLAN, Date::MAX);
    let visit = ["2026-03-02", recording, "1", ""].map(str::to_owned);
    if let Ok(after) = seen_with(text, &visit) {
        let after = Seen::parse(&after, &PLAN, Date::MAX);
        assert!(after.value.visits().len() <= before.value.visits().len() + 1);
    }
});
