#![no_main]

use jogaudit_core::prescription::Session;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match Session::parse(text) {
        Ok(session) => {
            let printed = session.to_string();
            assert_eq!(Session::parse(&printed).as_ref(), Ok(&session), "{printed}");
            let expansion = session.expand();
            assert!(!expansion.blocks.is_empty());
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
});
