#![no_main]

use libfuzzer_sys::{Corpus, fuzz_target};

fuzz_target!(|bytes: &[u8]| -> Corpus {
    if bytes.get(8..12) != Some(b".FIT") {
        return Corpus::Reject;
    }
    jogaudit_fuzz::check_reading(bytes);
    Corpus::Keep
});
