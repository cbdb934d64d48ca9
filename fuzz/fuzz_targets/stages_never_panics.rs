#![no_main]

use std::sync::LazyLock;

use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{Given, stages_with};
use libfuzzer_sys::fuzz_target;

static PLAN: LazyLock<Plan> =
    LazyLock::new(|| Plan::parse("[[stage]]\nname = '1'\nsession = 'run 1:00'\n").expect("a plan").value);

fuzz_target!(|input: (&str, &str)| {
    let (text, recording) = input;
    Given::parse(text, &PLAN);
    if let Ok(after) = stages_with(text, recording, "1") {
        Given::parse(&after, &PLAN);
    }
});
