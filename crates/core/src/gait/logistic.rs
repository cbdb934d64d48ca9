//! Logistic regression on a few figures, and how figures are made fit for it.

use super::config::pieces::{MOST_CONTRAST, MOST_LOG_MINUTES, MOST_LOG_ODDS, SPEED_SCALE_MPS};
use super::gaussian::Gaussian;

/// Probability by figures and their weights.
pub(super) fn probability<const N: usize>(figures: &[f64; N], weights: &[f64; N]) -> f64 {
    let log_odds: f64 = figures.iter().zip(weights).map(|(x, w)| x * w).sum();
    1.0 / (1.0 + (-log_odds).exp())
}

/// ln(p / (1 − p)).
pub(super) fn log_odds(p: f64) -> f64 {
    (p / (1.0 - p)).ln()
}

/// Log odds as a share of the most that they count.
pub(super) fn share(log_odds: f64) -> f64 {
    log_odds.clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS) / MOST_LOG_ODDS
}

/// Log odds of a run by where one person's walks and runs lie, as a share of the most that they count. Beyond the mean, away from
/// the other gait, a value is no less its gait's.
pub(super) fn by_laws(walk: Gaussian, run: Gaussian, value: f64) -> f64 {
    let log = |Gaussian { mean, sd }: Gaussian, v: f64| -0.5 * ((v - mean) / sd).powi(2);
    share(log(run, value.min(run.mean)) - log(walk, value.max(walk.mean)))
}

/// A difference of speeds, m/s, in units of [`SPEED_SCALE_MPS`], bounded.
pub(super) fn scaled(difference_mps: f64) -> f64 {
    (difference_mps / SPEED_SCALE_MPS).clamp(-MOST_CONTRAST, MOST_CONTRAST)
}

/// Log of a length in minutes, bounded.
pub(super) fn log_minutes(seconds: f64) -> f64 {
    (seconds / 60.0).ln().clamp(-MOST_LOG_MINUTES, MOST_LOG_MINUTES)
}

/// 1 or 0.
pub(super) fn flag(is: bool) -> f64 {
    f64::from(u8::from(is))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probabilities_are_those_worked_by_hand() {
        // 0.5 · 1 + 2 · 0.25 = 1: e / (1 + e).
        let e = std::f64::consts::E;
        assert!((probability(&[1.0, 0.25], &[0.5, 2.0]) - e / (1.0 + e)).abs() < 1e-12);
        assert!((log_odds(0.75) - 3_f64.ln()).abs() < 1e-12);
        assert_eq!((share(log_odds(1.0)), share(log_odds(0.0))), (1.0, -1.0));
        assert_eq!((scaled(100.0), log_minutes(60.0), flag(true)), (MOST_CONTRAST, 0.0, 1.0));
    }
}
