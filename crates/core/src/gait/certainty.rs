//! How certain a bout without cadence is: that it is what it is called, and hides no [`HIDDEN_S`] of another gait. Bouts of made-up
//! recordings say how often that held for bouts that look alike: a logistic regression ([`BOUT_WEIGHTS`]) on
//! [`BOUT_FEATURES`] figures, fitted by `benches/pieces.py`.

use super::config::bouts::HIDDEN_S;
use super::config::pieces::{BOUT_FEATURES, BOUT_WEIGHTS, TRANSITION_MPS};
use super::fit::Fit;
use super::labels::Labels;
use super::logistic::{flag, log_minutes, log_odds, probability, scaled, share};
use super::observe::Segment;
use super::piece::{JudgedPieces, Piece, frames_of};
use super::segmentation::Gait;
use super::state::State;

/// What a bout of some pieces looks like.
pub(super) fn features(
    segment: &Segment,
    frame_s: f64,
    (fit, labels): (&Fit, &Labels),
    judged: &JudgedPieces,
    pieces: &[Piece],
) -> [f64; BOUT_FEATURES] {
    let is_run = pieces.first().is_some_and(|piece| piece.gait() == Gait::Run);
    let own = |piece: &Piece| if is_run { piece.run } else { 1.0 - piece.run };
    let frames = frames_of(pieces).len() as f64;
    let longest = pieces.iter().map(|piece| piece.frames.len()).max().unwrap_or(0);
    let window = ((HIDDEN_S / frame_s) as usize).max(1);
    // A piece that would not count as a bout of its own makes none wrong.
    let counted = pieces.iter().filter(|piece| piece.frames.len() >= window.min(longest));
    let least = share(log_odds(counted.map(own).fold(1.0, f64::min)));
    let mean: f64 = pieces.iter().map(|piece| piece.frames.len() as f64 * share(log_odds(own(piece)))).sum();
    let (low_mps, high_mps) = extremes(segment, fit, pieces, window);
    let clear_of =
        |switch_mps: f64| scaled(if is_run { low_mps - switch_mps } else { switch_mps - high_mps });
    let between_mps = f64::midpoint(labels.walk_mps.mean, labels.run_mps.mean);
    let clear = clear_of(labels.transition_mps);
    [
        1.0,
        least,
        log_minutes(frames * frame_s),
        clear,
        clear_of(between_mps),
        judged.likeness,
        flag(judged.by_positions),
        flag(judged.slopes_unseen),
        flag(is_run),
        scaled(high_mps - low_mps),
        least * judged.likeness,
        flag(is_run) * clear,
        mean / frames,
    ]
}

/// Least and greatest mean speed on the level over so many frames of a bout.
fn extremes(segment: &Segment, fit: &Fit, pieces: &[Piece], window: usize) -> (f64, f64) {
    let mut sums = vec![(0.0, 0_u32)];
    for piece in pieces {
        let State::Moving(state) = piece.state else { continue };
        for speed in segment.level_speeds(&piece.frames, fit.states[state].slope_effect) {
            let (sum, n) = sums[sums.len() - 1];
            sums.push(speed.map_or((sum, n), |v| (sum + v, n + 1)));
        }
    }
    let window = window.min(sums.len() - 1);
    let means = (window..sums.len()).filter_map(|to| {
        let (from, to) = (sums[to - window], sums[to]);
        (to.1 > from.1).then(|| (to.0 - from.0) / f64::from(to.1 - from.1))
    });
    let (low, high) =
        means.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low.is_finite() { (low, high) } else { (TRANSITION_MPS, TRANSITION_MPS) }
}

/// Probability that a bout that looks so is right.
pub(super) fn certainty(features: &[f64; BOUT_FEATURES]) -> f64 {
    probability(features, &BOUT_WEIGHTS)
}
