//! What a piece with cadence is judged by. A walk's cadence wanders up to where slow runs begin, so that a state between the two is
//! neither; but it goes there slowly and with the speed, and where a run begins or ends, cadence steps.

use super::config::pieces::{CADENCE_FEATURES, CADENCE_SCALE_SPM, MOST_CONTRAST, TRANSITION_SPM};
use super::labels::walking_speed;
use super::logistic::{by_laws, log_minutes, log_odds, scaled, share};
use super::observe::Segment;
use super::piece::Piece;
use super::state::State;
use super::whole::Whole;

/// A difference of cadences in units of [`CADENCE_SCALE_SPM`], bounded.
fn scaled_spm(difference_spm: f64) -> f64 {
    (difference_spm / CADENCE_SCALE_SPM).clamp(-MOST_CONTRAST, MOST_CONTRAST)
}

/// What the piece `k` is judged by, beside its neighbours and within the recording; `None` without cadence or speed.
pub(super) fn features(
    whole: &Whole,
    segment: &Segment,
    pieces: &[Piece],
    k: usize,
) -> Option<[f64; CADENCE_FEATURES]> {
    let piece = &pieces[k];
    let (State::Moving(state), Some(cadence_spm)) = (piece.state, piece.cadence_spm) else { return None };
    // The judge has seen no recordings without speed: there the state tells.
    let level_mps = piece.level_mps?;
    let frames = &piece.frames;
    let above = scaled_spm(cadence_spm - TRANSITION_SPM);
    let beside = |other: Option<usize>| {
        let other_spm = other.and_then(|other| pieces.get(other)?.cadence_spm);
        other_spm.map_or(0.0, |other_spm| scaled_spm(cadence_spm - other_spm))
    };
    let sharp = |at: usize, sign: f64| scaled_spm(sign * whole.step(&segment.cadence_spm, at));
    let length = log_minutes(frames.len() as f64 * whole.observed.frame_s);
    Some([
        1.0,
        above,
        share(log_odds(whole.labels.run[state])),
        by_laws(whole.labels.walk_spm, whole.labels.run_spm, cadence_spm),
        beside(k.checked_sub(1)),
        beside(Some(k + 1)),
        if frames.start > 0 { sharp(frames.start, 1.0) } else { 0.0 },
        if frames.end < segment.frames() { sharp(frames.end, -1.0) } else { 0.0 },
        scaled_spm(whole.cadences.high_spm - cadence_spm),
        scaled_spm(cadence_spm - whole.cadences.low_spm),
        scaled(level_mps - walking_speed(cadence_spm).mean),
        scaled(level_mps - whole.labels.transition_mps),
        length,
        length * above,
    ])
}
