#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use tokio::runtime::{Builder, Runtime};

const MAX_FILE_BYTES: usize = 4096;

static RUNTIME: LazyLock<Runtime> =
    LazyLock::new(|| Builder::new_current_thread().enable_time().build().expect("a runtime"));

// The first line is the type of the content, the rest the form.
fuzz_target!(|input: &[u8]| {
    let Some(at) = input.iter().position(|byte| *byte == b'\n') else { return };
    let (kind, body) = (String::from_utf8_lossy(&input[..at]), &input[at + 1..]);
    let taken = jogaudit_server::taken_in(&kind, body.to_vec(), MAX_FILE_BYTES);
    for (name, bytes) in RUNTIME.block_on(taken).unwrap_or_default() {
        let is_plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
        assert!(!name.starts_with('.') && name.len() < 100 && name.chars().all(is_plain), "{name}");
        assert!(bytes.len() <= MAX_FILE_BYTES);
        assert!(bytes.is_empty() || body.windows(bytes.len()).any(|window| window == bytes), "other bytes");
    }
});
