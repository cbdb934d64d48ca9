#![no_main]

use jogaudit_core::prescription::Plan;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Plan::parse(text) {
        Ok(plan) => assert!(!plan.value.stages.is_empty()),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
