#![no_main]

use jogaudit_core::prescription::Plan;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Plan::parse(text) {
        Ok(plan) => {
            assert!(!plan.value.stages.is_empty());
            let printed = plan.value.to_string();
            assert_eq!(Plan::parse(&printed).map(|back| back.value).as_ref(), Ok(&plan.value), "{printed}");
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
