//! How certain a bout is: that it is what it is called, and hides no [`HIDDEN_S`] of another gait. Bouts of made-up recordings say how
//! often that held for bouts that look alike: a logistic regression ([`WEIGHTS`]) on [`FEATURES`] figures, fitted by
//! `benches/bouts.py`.

use super::config::bouts::HIDDEN_S;
use super::config::certainty::{FEATURES, MOST_LOG_MINUTES, MOST_LOG_ODDS, TEMPER, WEIGHTS};
use super::observe::Observed;
use super::segmentation::Gait;

/// Log odds as a share of the most that they count.
fn share(p: f64) -> f64 {
    (p / (1.0 - p)).ln().clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS) / MOST_LOG_ODDS
}

fn flag(is: bool) -> f64 {
    f64::from(u8::from(is))
}

/// What a bout of so many seconds looks like, `own` being the probabilities of its gait at its frames.
pub(super) fn features(
    observed: &Observed,
    gait: Gait,
    own: &[f64],
    has_cadence: bool,
    seconds: f64,
) -> [f64; FEATURES] {
    let window = ((HIDDEN_S / observed.frame_s) as usize).clamp(1, own.len().max(1));
    let mean = |some: &[f64]| some.iter().sum::<f64>() / some.len().max(1) as f64;
    let least = share(own.windows(window).map(mean).fold(1.0, f64::min));
    let all = share(mean(own));
    let minutes = (seconds / 60.0).ln().clamp(-MOST_LOG_MINUTES, MOST_LOG_MINUTES);
    let (is_run, has_cadence) = (flag(gait == Gait::Run), flag(has_cadence));
    let (by_positions, slopes_unseen) = (flag(observed.by_positions), flag(observed.slopes_unseen));
    [
        1.0,
        least,
        all,
        minutes,
        minutes * least,
        is_run,
        is_run * least,
        has_cadence,
        has_cadence * least,
        by_positions * (1.0 - has_cadence),
        slopes_unseen * (1.0 - has_cadence),
    ]
}

/// Probability that a bout that looks so is right.
pub(super) fn certainty(features: &[f64; FEATURES], has_cadence: bool) -> f64 {
    let log_odds: f64 = features.iter().zip(&WEIGHTS).map(|(x, w)| x * w).sum();
    let temper = if has_cadence { 1.0 } else { TEMPER };
    1.0 / (1.0 + (-temper * log_odds).exp())
}
