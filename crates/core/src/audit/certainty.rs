//! From an excess and its error to a probability.

use statrs::function::erf::erfc;

/// Certainty from which a finding decides the outcome, and explains what else it leads to. Our choice.
pub const DECIDES: f64 = 0.9;

/// Below this a finding does not stand in the way of another verdict: as probable as not. Our choice.
pub(super) const EVEN: f64 = 0.5;

/// Probability that a value measured as `value` with standard error `error` is in truth above 0, for a normal error.
/// Without error: 1 above 0, else 0.
pub(super) fn above_zero(value: f64, error: f64) -> f64 {
    if error <= 0.0 {
        return if value > 0.0 { 1.0 } else { 0.0 };
    }
    // The normal distribution function by the complementary error function.
    0.5 * erfc(-value / error / std::f64::consts::SQRT_2)
}

/// Certainty that something due was left out, where what was done instead is so certain by its looks: most of what is due is done, so the
/// odds are half of those, but what is more probable than not stays so. Our choice: it keeps sessions done as prescribed from being called
/// otherwise where cadence does not tell.
pub(super) fn left_out(looks: f64) -> f64 {
    (looks / (2.0 - looks)).max(looks.min(EVEN))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_due_is_left_out_with_half_the_odds() {
        let odds = |p: f64| p / (1.0 - p);
        for looks in [0.7, 0.9, 0.99] {
            assert!((odds(left_out(looks)) / odds(looks) - 0.5).abs() < 1e-12, "{looks}");
        }
        // As probable as not stays so.
        assert_eq!([0.0, 0.3, 0.5, 0.6, 1.0].map(left_out), [0.0, 0.3, 0.5, 0.5, 1.0]);
    }

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
