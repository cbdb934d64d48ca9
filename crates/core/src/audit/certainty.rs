//! From an excess and its error to a probability.

use statrs::function::erf::erfc;

/// Certainty from which a finding decides the outcome, and explains what else it leads to. Our choice.
pub const DECIDES: f64 = 0.9;

/// Probability that a value measured as `value` with standard error `error` is in truth above 0, for a normal error.
/// Without error: 1 above 0, else 0.
pub(super) fn above_zero(value: f64, error: f64) -> f64 {
    if error <= 0.0 {
        return if value > 0.0 { 1.0 } else { 0.0 };
    }
    // The normal distribution function by the complementary error function.
    0.5 * erfc(-value / error / std::f64::consts::SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_published_table() {
        // Abramowitz & Stegun, table 26.1: P(0) = .5, P(1) = .84134 47461, P(1.28) = .89972 74320, P(2) = .97724 98681,
        // P(3) = .99865 01020.
        let table = [
            (0.0, 0.5),
            (1.0, 0.841_344_746_1),
            (1.28, 0.899_727_432_0),
            (2.0, 0.977_249_868_1),
            (3.0, 0.998_650_102_0),
        ];
        for (z, p) in table {
            assert!((above_zero(z, 1.0) - p).abs() < 1e-10, "{z}");
            assert!((above_zero(-z, 1.0) - (1.0 - p)).abs() < 1e-10, "-{z}");
        }
        assert_eq!(above_zero(0.1, 0.0), 1.0);
        assert_eq!(above_zero(-0.1, 0.0), 0.0);
    }
}
