//! How finely the true motion is made.

/// Time from one true sample to the next, s. A fraction with an exact binary value.
pub(super) const PERIOD_S: f64 = 0.25;
/// True samples in a second.
pub(super) const SAMPLES_A_SECOND: usize = 4;
