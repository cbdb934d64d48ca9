//! What holds of whatever the readers give, whatever they were given.

use jogaudit_recording::read::{ReadConfig, Recording, read};

/// Bytes that zipped input may unfold to while fuzzing: 64 MiB, so that memory stays far below the fuzzer's limit.
const MAX_UNZIPPED_BYTES: u64 = 64 << 20;

/// Reads `bytes` and checks what every caller relies on. An error is fine, and says something.
pub fn check_reading(bytes: &[u8]) {
    let noted = match read(bytes, &ReadConfig { max_unzipped_bytes: MAX_UNZIPPED_BYTES }) {
        Ok(noted) => noted,
        Err(error) => return assert!(!error.to_string().is_empty()),
    };
    assert!(!noted.value.is_empty());
    for recording in &noted.value {
        // Readers do not check again what they made so; whoever makes a recording otherwise is checked.
        assert!(Recording::new(recording.clone().into_parts()).is_ok(), "the promises of a recording");
        for sample in recording.samples() {
            if let Some(position) = sample.position {
                assert!(position.lat_deg().abs() <= 90.0 && position.lon_deg().abs() <= 180.0);
            }
            assert!(sample.altitude.is_none_or(|altitude| altitude.get().is_finite()));
            assert!(sample.distance.is_none_or(|distance| distance.get().is_finite()));
            assert!(sample.speed.is_none_or(|speed| speed.get().is_finite() && speed.get() >= 0.0));
            assert!(sample.cadence.is_none_or(|cadence| cadence.get().is_finite() && cadence.get() >= 0.0));
            assert!(sample.heart_rate.is_none_or(|rate| rate.get().is_finite() && rate.get() > 0.0));
        }
    }
    assert!(noted.notices.iter().all(|notice| !notice.text.is_empty()));
}
