//! Numbers as the documents have them.

/// Rounds a value that is known and a number.
pub fn known(value: Option<f64>, round: fn(f64) -> f64) -> Option<f64> {
    value.filter(|value| value.is_finite()).map(round)
}

/// Rounds to one decimal.
pub fn tenths(value: f64) -> f64 {
    rounded(value, 10.0)
}

/// Rounds to two decimals.
pub fn hundredths(value: f64) -> f64 {
    rounded(value, 100.0)
}

pub(super) fn rounded(value: f64, parts: f64) -> f64 {
    // Adding zero turns -0 into 0.
    (value * parts).round() / parts + 0.0
}

/// Rounds a certainty down to three decimals.
pub fn certainty(value: f64) -> f64 {
    // The nudge keeps 0.9, stored as a little less, at 0.9.
    ((value * 1000.0 + 1e-9).floor() / 1000.0).clamp(0.0, 1.0)
}
