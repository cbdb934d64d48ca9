//! Which gait each piece of a path is, a piece being a time in one state. A state says what its pieces share; a piece of it may still
//! be another gait than its sisters, since one runner's bouts differ: so a piece is judged by what it looks like in itself, beside its
//! neighbours and within the recording.
//!
//! There are two judges, one of pieces with cadence (`by_cadence`) and one of those without: logistic regressions on
//! [`CADENCE_FEATURES`](super::config::pieces::CADENCE_FEATURES) and [`FEATURES`] figures, fitted by `benches/pieces.py` on made-up recordings.

use super::by_cadence;
use super::config::pieces::{ALIKE_FRAMES, ALIKE_MPS, FEATURES, SPEED_SCALE_MPS, TRANSITION_MPS};
use super::fit::Fit;
use super::labels::Labels;
use super::logistic::{by_laws, flag, log_minutes, log_odds, scaled, share};
use super::observe::{Observed, Segment};
use super::piece::{JudgedPieces, Looks, Piece};
use super::state::State;
use super::whole::{Cadences, Whole};
use crate::statistics::{mean_of_known, median};

/// The pieces of each segment's path, judged.
pub(super) fn judged(
    observed: &Observed,
    fit: &Fit,
    labels: &Labels,
    paths: &[Vec<State>],
    by_positions: bool,
    slopes_unseen: bool,
) -> JudgedPieces {
    let mut sorted_mps: Vec<f64> = observed
        .segments
        .iter()
        .zip(paths)
        .flat_map(|(segment, path)| segment.speed_mps.iter().zip(path))
        .filter(|(_, state)| **state != State::Standing)
        .filter_map(|(speed, _)| *speed)
        .collect();
    sorted_mps.sort_by(f64::total_cmp);
    let median_mps = median(&mut sorted_mps.clone()).unwrap_or(TRANSITION_MPS);
    let n = sorted_mps.len().max(1) as f64;
    let square: f64 = sorted_mps.iter().map(|v| (v - median_mps) * (v - median_mps)).sum();
    let segments = observed.segments.iter().zip(paths);
    let mut pieces: Vec<Vec<Piece>> = segments.map(|(segment, path)| pieces(segment, path, fit)).collect();
    let likeness = likeness(&pieces, fit.states.len());
    let whole = Whole {
        observed,
        labels,
        cadences: Cadences::of(observed, paths),
        median_mps,
        spread_mps: (square / n).sqrt(),
        sorted_mps,
        likeness,
        by_positions,
        slopes_unseen,
    };
    for (segment, pieces) in observed.segments.iter().zip(&mut pieces) {
        for k in 0..pieces.len() {
            pieces[k].looks = whole.looks(segment, pieces, k);
            pieces[k].run = whole.run(&pieces[k]);
        }
    }
    JudgedPieces { segments: pieces, likeness, by_positions, slopes_unseen }
}

/// The pieces of a path, not yet judged.
fn pieces(segment: &Segment, path: &[State], fit: &Fit) -> Vec<Piece> {
    let mut from = 0;
    let piece = |same: &[State]| {
        let frames = from..from + same.len();
        from = frames.end;
        let state = same[0];
        let level_mps = match state {
            State::Standing => None,
            State::Moving(k) => {
                let level: Vec<Option<f64>> =
                    segment.level_speeds(&frames, fit.states[k].slope_effect).collect();
                mean_of_known(&level, 1)
            }
        };
        let cadence_spm = (state != State::Standing && segment.has_cadence(&frames))
            .then(|| mean_of_known(&segment.cadence_spm[frames.clone()], 1))
            .flatten();
        Piece { state, frames, level_mps, cadence_spm, looks: None, run: 0.5 }
    };
    path.chunk_by(|a, b| a == b).map(piece).collect()
}

/// How alike the pieces of one state are, 0 to 1: an even runner repeats every bout, and then what a state is says what each
/// piece of it is.
fn likeness(pieces: &[Vec<Piece>], moving: usize) -> f64 {
    let mut sums = vec![(0.0, 0.0, 0.0, 0); moving];
    for piece in pieces.iter().flatten() {
        if let (State::Moving(k), Some(v)) = (piece.state, piece.level_mps) {
            let weight = (piece.frames.len() as f64).min(ALIKE_FRAMES);
            let sum = &mut sums[k];
            *sum = (sum.0 + weight, sum.1 + weight * v, sum.2 + weight * v * v, sum.3 + 1);
        }
    }
    let mut pooled = (0.0, 0.0);
    for (weight, sum, square, n) in sums {
        if n > 1 {
            pooled.0 += (square - sum * sum / weight).max(0.0) * f64::from(n) / f64::from(n - 1);
            pooled.1 += weight;
        }
    }
    if pooled.1 == 0.0 { 0.5 } else { 1.0 / (1.0 + pooled.0 / pooled.1 / (ALIKE_MPS * ALIKE_MPS)) }
}

impl Whole<'_> {
    fn looks(&self, segment: &Segment, pieces: &[Piece], k: usize) -> Option<Looks> {
        if pieces[k].cadence_spm.is_some() {
            by_cadence::features(self, segment, pieces, k).map(Looks::WithCadence)
        } else {
            self.features(segment, pieces, k).map(Looks::WithoutCadence)
        }
    }

    /// What a piece without cadence is judged by, beside its neighbours and within the recording.
    fn features(&self, segment: &Segment, pieces: &[Piece], k: usize) -> Option<[f64; FEATURES]> {
        let (State::Moving(state), Some(v)) = (pieces[k].state, pieces[k].level_mps) else { return None };
        let frames = &pieces[k].frames;
        let above = scaled(v - self.labels.transition_mps);
        let by_state = share(log_odds(self.labels.run[state]));
        let by_laws = by_laws(self.labels.walk_mps, self.labels.run_mps, v);
        let beside = |other: Option<usize>| {
            let other = other.and_then(|other| pieces.get(other)?.level_mps);
            other.map_or(0.0, |other| scaled(v - other))
        };
        let sharp = |at: usize, sign: f64| scaled(sign * self.step(&segment.speed_mps, at));
        let below = self.sorted_mps.partition_point(|u| *u < v) as f64;
        let length = log_minutes(frames.len() as f64 * self.observed.frame_s);
        let spread = self.spread_mps / SPEED_SCALE_MPS;
        Some([
            1.0,
            above,
            by_state,
            by_laws,
            beside(k.checked_sub(1)),
            beside(Some(k + 1)),
            if frames.start > 0 { sharp(frames.start, 1.0) } else { 0.0 },
            if frames.end < segment.frames() { sharp(frames.end, -1.0) } else { 0.0 },
            length,
            length * above,
            scaled(v - self.median_mps),
            spread,
            spread * scaled(v - self.median_mps),
            flag(self.by_positions) * above,
            flag(self.slopes_unseen) * above,
            below / self.sorted_mps.len().max(1) as f64 - 0.5,
            scaled(self.median_mps - self.labels.transition_mps),
            self.likeness,
            self.likeness * above,
            self.likeness * by_state,
            self.likeness * by_laws,
        ])
    }

    /// Probability of a run.
    fn run(&self, piece: &Piece) -> f64 {
        let State::Moving(state) = piece.state else { return 0.5 };
        piece.looks.map_or(self.labels.run[state], |looks| looks.run())
    }
}
