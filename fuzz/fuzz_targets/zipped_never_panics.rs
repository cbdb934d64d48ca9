#![no_main]

use std::io::Write;

use flate2::{Compression, write::GzEncoder};
use libfuzzer_sys::fuzz_target;

// Most inputs have no sound envelope, so each is read as it is and once more inside one.
fuzz_target!(|bytes: &[u8]| {
    jogaudit_fuzz::check_reading(bytes);
    let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(bytes).expect("writes to memory");
    jogaudit_fuzz::check_reading(&encoder.finish().expect("writes to memory"));
});
