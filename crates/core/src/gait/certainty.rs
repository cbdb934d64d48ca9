//! How certain a bout is: that it is what it is called, and hides no [`HIDDEN_S`] of another gait. Bouts of made-up recordings say how
//! often that held for bouts that look alike: a logistic regression ([`WEIGHTS`]) on [`FEATURES`] figures, fitted by
//! `benches/bouts.py`.

use super::config::bouts::HIDDEN_S;
use super::config::certainty::{
    DOUBTED, FEATURES, MOST_LOG_MINUTES, MOST_LOG_ODDS, TEMPER, TEMPER_BY_POSITIONS, WEIGHTS,
};
use super::observe::Observed;
use super::segmentation::Gait;

/// Log odds as a share of the most that they count.
fn share(p: f64) -> f64 {
    (p / (1.0 - p)).ln().clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS) / MOST_LOG_ODDS
}

/// Places among the figures of a bout: how certain its least certain [`HIDDEN_S`] are, …
const LEAST: usize = 1;
/// … and whether it has no cadence and the speed is that of positions.
const BY_POSITIONS: usize = 9;

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

/// Probability that a bout that looks so is right. With cadence, where some [`HIDDEN_S`] are less than [`DOUBTED`] probable of its gait, it
/// is no more than [`DOUBTED`], and so not sure: recordings whose cadence misleads in one gait are too few for the regression to see.
pub(super) fn certainty(features: &[f64; FEATURES], has_cadence: bool) -> f64 {
    let log_odds: f64 = features.iter().zip(&WEIGHTS).map(|(x, w)| x * w).sum();
    if has_cadence {
        let (said, least) = (logistic(log_odds), logistic(MOST_LOG_ODDS * features[LEAST]));
        if least < DOUBTED { said.min(DOUBTED) } else { said }
    } else if features[BY_POSITIONS] > 0.0 {
        logistic(TEMPER_BY_POSITIONS * log_odds)
    } else {
        logistic(TEMPER * log_odds)
    }
}

fn logistic(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}
