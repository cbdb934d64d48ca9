//! From an excess and its error to a probability.

use statrs::function::erf::erfc;

use crate::gait::HIDDEN_S;

/// Certainty from which a finding decides the outcome, and explains what else it leads to. Our choice.
pub const DECIDES: f64 = 0.9;

/// Below this a finding does not stand in the way of another verdict; as probable a walk may hide a run and be in the way. Our choice.
pub(super) const OPEN: f64 = 0.4;

/// Longest step of which the certainty of a bout does not say whether it lies hidden in it, s: half as long again as what it speaks of
/// ([`HIDDEN_S`]). Our choice.
const UNSEEN_S: f64 = 1.5 * HIDDEN_S;
/// Such a step is left out with so many times the odds that the bout in its place speaks for. Chosen on the simulator
/// (`docs/method-audit.md`).
const UNSEEN_ODDS: f64 = 0.1;

/// Probability that a value measured as `value` with standard error `error` is in truth above 0, for a normal error.
/// Without error: 1 above 0, else 0.
pub(super) fn above_zero(value: f64, error: f64) -> f64 {
    if error <= 0.0 {
        return if value > 0.0 { 1.0 } else { 0.0 };
    }
    // The normal distribution function by the complementary error function.
    0.5 * erfc(-value / error / std::f64::consts::SQRT_2)
}

/// What a doubt makes of a finding's certainty, `after` of `before`: what stands in the way of another verdict goes on to, or a doubt about
/// what was too much would let the session be called kept.
pub(super) fn doubted(before: f64, after: f64) -> f64 {
    after.max(before.min(OPEN))
}

/// Certainty that a run was left undone in a walk of such certainty: most of what is due is done, so the odds are half. Our choice: it keeps
/// sessions done as prescribed from being called underdone where cadence does not tell. What was too much has no such presumption.
pub(super) fn left_undone(looks: f64) -> f64 {
    doubted(looks, with_odds(looks, 0.5))
}

/// A probability whose odds are so many times those of another.
fn with_odds(probability: f64, times: f64) -> f64 {
    times * probability / (1.0 - probability + times * probability)
}

/// Certainty that a step of such a length is missing in a bout of such certainty.
pub(super) fn unless_unseen(looks: f64, length_s: f64) -> f64 {
    if length_s > UNSEEN_S { looks } else { with_odds(looks, UNSEEN_ODDS) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_is_left_undone_with_half_the_odds() {
        let odds = |p: f64| p / (1.0 - p);
        for looks in [0.6, 0.7, 0.9, 0.99] {
            assert!((odds(left_undone(looks)) / odds(looks) - 0.5).abs() < 1e-12, "{looks}");
        }
        // What stands in the way of another verdict goes on to.
        assert_eq!([0.0, 0.3, 0.4, 0.5, 1.0].map(left_undone), [0.0, 0.3, 0.4, 0.4, 1.0]);
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
