#![no_main]

use libfuzzer_sys::{Corpus, fuzz_target};

fuzz_target!(|bytes: &[u8]| -> Corpus {
    // Zipped input and FIT have targets of their own.
    if bytes.starts_with(&[0x1F, 0x8B]) || bytes.starts_with(b"PK") || bytes.get(8..12) == Some(b".FIT") {
        return Corpus::Reject;
    }
    jogaudit_fuzz::check_reading(bytes);
    Corpus::Keep
});
