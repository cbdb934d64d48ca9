//! Which gait each piece of a path is, a piece being a time in one state. A state says what its pieces share; a piece of it may still
//! be another gait than its sisters, since one runner's bouts differ: where cadence does not tell, a piece is judged by what it
//! looks like in itself, beside its neighbours and within the recording.
//!
//! The judge is a logistic regression ([`WEIGHTS`]) on [`FEATURES`] figures, fitted by `benches/pieces.py` on made-up recordings; then
//! neighbouring pieces are weighed together, since a change of gait is rarer than a change of speed.

use super::config::pieces::{
    ALIKE_MPS, CONTRAST_FAR_S, CONTRAST_NEAR_S, MOST_CONTRAST, MOST_LOG_ODDS, SPEED_SCALE_MPS, SWITCH_COST,
    TRANSITION_MPS, WEIGHTS,
};
use super::em::Fit;
use super::emission::Gaussian;
use super::labels::Labels;
use super::observe::{Observed, Segment};
use super::state::State;
use crate::statistics::{mean_of_known, median};

/// How many figures a piece is judged by.
pub(crate) const FEATURES: usize = 21;

/// A time in one state.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub(super) state: State,
    /// Frames from, to.
    pub(super) frames: std::ops::Range<usize>,
    /// Whether cadence tells its gait.
    pub(super) has_cadence: bool,
    /// Mean speed as it would be on level ground; 0 of what stands or is not known.
    level_mps: f64,
    /// What it is judged by.
    pub(super) features: [f64; FEATURES],
    /// Probability of a run, of what moves.
    pub(super) run: f64,
}

/// The pieces of all segments.
#[derive(Clone, Debug)]
pub(super) struct JudgedPieces {
    /// Those of each segment's path.
    pub(super) segments: Vec<Vec<Piece>>,
    /// How alike the pieces of one state are, 0 to 1.
    pub(super) likeness: f64,
    /// Whether the speed is that of the positions.
    pub(super) by_positions: bool,
    /// Whether nothing tells how steep the ground was.
    pub(super) slopes_unseen: bool,
}

/// What the pieces of a recording are judged against.
struct Whole<'a> {
    observed: &'a Observed,
    fit: &'a Fit,
    labels: &'a Labels,
    median_mps: f64,
    spread_mps: f64,
    /// Speeds of moving frames, in order.
    sorted_mps: Vec<f64>,
    by_positions: bool,
    slopes_unseen: bool,
}

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
    let whole = Whole {
        observed,
        fit,
        labels,
        median_mps,
        spread_mps: (square / n).sqrt(),
        sorted_mps,
        by_positions,
        slopes_unseen,
    };
    let segments = observed.segments.iter().zip(paths);
    let mut pieces: Vec<Vec<Piece>> = segments.map(|(segment, path)| whole.pieces(segment, path)).collect();
    let likeness = Whole::likeness(&pieces, fit.states.len());
    whole.judge(&mut pieces, likeness);
    JudgedPieces { segments: pieces, likeness, by_positions, slopes_unseen }
}

impl Whole<'_> {
    fn pieces(&self, segment: &Segment, path: &[State]) -> Vec<Piece> {
        let mut from = 0;
        let mut pieces: Vec<Piece> = path
            .chunk_by(|a, b| a == b)
            .map(|same| {
                let frames = from..from + same.len();
                from = frames.end;
                Piece {
                    state: same[0],
                    has_cadence: segment.has_cadence(&frames),
                    frames,
                    level_mps: 0.0,
                    features: [0.0; FEATURES],
                    run: 0.5,
                }
            })
            .collect();
        let speeds: Vec<Option<f64>> = pieces.iter().map(|piece| self.level_mps(segment, piece)).collect();
        for k in 0..pieces.len() {
            pieces[k].level_mps = speeds[k].unwrap_or(0.0);
            pieces[k].features = self.features(segment, &pieces, &speeds, k);
        }
        pieces
    }

    /// How alike the pieces of one state are, 0 to 1: an even runner repeats every bout, and then what a state is says what each
    /// piece of it is.
    fn likeness(pieces: &[Vec<Piece>], moving: usize) -> f64 {
        let mut sums = vec![(0.0, 0.0, 0.0, 0); moving];
        for piece in pieces.iter().flatten() {
            if let (State::Moving(k), true) = (piece.state, piece.level_mps > 0.0) {
                let (weight, v) = ((piece.frames.len() as f64).min(60.0), piece.level_mps);
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

    /// Judges the pieces by themselves, then beside their neighbours.
    fn judge(&self, pieces: &mut [Vec<Piece>], likeness: f64) {
        for segment in pieces {
            for piece in segment.iter_mut() {
                if piece.features[0] != 0.0 {
                    let own = piece.features;
                    piece.features[17..21].copy_from_slice(&[
                        likeness,
                        likeness * own[1],
                        likeness * own[2],
                        likeness * own[3],
                    ]);
                }
                piece.run = self.alone(piece);
            }
            weigh_together(segment);
        }
    }

    /// Mean speed as it would be on level ground.
    fn level_mps(&self, segment: &Segment, piece: &Piece) -> Option<f64> {
        let State::Moving(k) = piece.state else { return None };
        let effect = self.fit.states[k].slope_effect;
        let frames = piece.frames.clone();
        let speeds = segment.speed_mps[frames.clone()].iter().zip(&segment.slope[frames]);
        let level: Vec<Option<f64>> = speeds.map(|(v, &slope)| v.map(|v| v / effect.factor(slope))).collect();
        mean_of_known(&level, 1)
    }

    fn features(
        &self,
        segment: &Segment,
        pieces: &[Piece],
        speeds: &[Option<f64>],
        k: usize,
    ) -> [f64; FEATURES] {
        let (State::Moving(state), Some(v)) = (pieces[k].state, speeds[k]) else { return [0.0; FEATURES] };
        let frames = &pieces[k].frames;
        let scaled = |d: f64| (d / SPEED_SCALE_MPS).clamp(-MOST_CONTRAST, MOST_CONTRAST);
        let seconds = frames.len() as f64 * self.observed.frame_s;
        let above = scaled(v - self.labels.transition_mps);
        let by_state = log_odds(self.labels.run[state]) / MOST_LOG_ODDS;
        let by_laws = self.by_laws(v) / MOST_LOG_ODDS;
        let beside = |other: Option<usize>| {
            other
                .and_then(|other| speeds.get(other).copied().flatten())
                .map_or(0.0, |other| scaled(v - other))
        };
        let sharp = |at: usize, sign: f64| scaled(sign * self.step(segment, at));
        let below = self.sorted_mps.partition_point(|u| *u < v) as f64;
        let length = (seconds / 60.0).ln().clamp(-2.5, 2.5);
        let flag = |is: bool| f64::from(u8::from(is));
        [
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
            self.spread_mps / SPEED_SCALE_MPS,
            self.spread_mps / SPEED_SCALE_MPS * scaled(v - self.median_mps),
            flag(self.by_positions) * above,
            flag(self.slopes_unseen) * above,
            below / self.sorted_mps.len().max(1) as f64 - 0.5,
            scaled(self.median_mps - self.labels.transition_mps),
            // Those of likeness come once all pieces are there.
            0.0,
            0.0,
            0.0,
            0.0,
        ]
    }

    /// Log odds of a run by where this person's walks and runs lie.
    fn by_laws(&self, v: f64) -> f64 {
        let log = |Gaussian { mean, sd }: Gaussian, v: f64| -0.5 * ((v - mean) / sd).powi(2);
        let (walk, run) = (self.labels.walk_mps, self.labels.run_mps);
        (log(run, v.min(run.mean)) - log(walk, v.max(walk.mean))).clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS)
    }

    /// By how much the speed is higher shortly after a frame than shortly before, m/s.
    fn step(&self, segment: &Segment, at: usize) -> f64 {
        let frames = |seconds: f64| (seconds / self.observed.frame_s).round() as usize;
        let (near, far, n) = (frames(CONTRAST_NEAR_S), frames(CONTRAST_FAR_S), segment.frames());
        let before = mean_of_known(&segment.speed_mps[at.saturating_sub(far)..at.saturating_sub(near)], 1);
        let after = mean_of_known(&segment.speed_mps[(at + near).min(n)..(at + far).min(n)], 1);
        after.zip(before).map_or(0.0, |(after, before)| after - before)
    }

    /// Probability of a run by the piece alone.
    fn alone(&self, piece: &Piece) -> f64 {
        let State::Moving(state) = piece.state else { return 0.5 };
        if piece.has_cadence || piece.features[0] == 0.0 {
            return self.labels.run[state];
        }
        let log_odds: f64 = piece.features.iter().zip(WEIGHTS).map(|(x, w)| x * w).sum();
        1.0 / (1.0 + (-log_odds).exp())
    }
}

/// Bounded log odds.
pub(super) fn log_odds(p: f64) -> f64 {
    (p / (1.0 - p)).ln().clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS)
}

/// Weighs neighbouring pieces together: forwards and backwards over a chain of walks and runs in which a change costs
/// [`SWITCH_COST`]. A stand parts the chain.
fn weigh_together(pieces: &mut [Piece]) {
    for chain in pieces.chunk_by_mut(|a, b| a.state != State::Standing && b.state != State::Standing) {
        let own: Vec<[f64; 2]> = chain.iter().map(|piece| [1.0 - piece.run, piece.run]).collect();
        let change = (-SWITCH_COST).exp();
        let pass = |from: [f64; 2]| [from[0] + change * from[1], from[1] + change * from[0]];
        let scaled = |p: [f64; 2]| {
            let all = p[0] + p[1];
            [p[0] / all, p[1] / all]
        };
        let mut before = vec![[1.0, 1.0]; own.len()];
        let mut after = before.clone();
        for k in 1..own.len() {
            let last = k - 1;
            before[k] = scaled(pass([0, 1].map(|g| before[last][g] * own[last][g])));
            let (here, next) = (own.len() - 1 - k, own.len() - k);
            after[here] = scaled(pass([0, 1].map(|g| after[next][g] * own[next][g])));
        }
        for (k, piece) in chain.iter_mut().enumerate() {
            let both = scaled([0, 1].map(|g| before[k][g] * own[k][g] * after[k][g]));
            piece.run = if both[1].is_finite() { both[1] } else { piece.run };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(run: f64) -> Piece {
        Piece {
            state: State::Moving(0),
            frames: 0..1,
            has_cadence: false,
            level_mps: 0.0,
            features: [0.0; FEATURES],
            run,
        }
    }

    #[test]
    fn neighbours_are_weighed_together_as_by_hand() {
        let mut pair = [piece(0.9), piece(0.4)];
        weigh_together(&mut pair);
        let c = (-SWITCH_COST).exp();
        // Both runs .36, run and walk .54 c, walk and run .04 c, both walks .06.
        let all = 0.36 + 0.54 * c + 0.04 * c + 0.06;
        assert!((pair[0].run - (0.36 + 0.54 * c) / all).abs() < 1e-12, "{pair:?}");
        assert!((pair[1].run - (0.36 + 0.04 * c) / all).abs() < 1e-12, "{pair:?}");
        // A stand between them parts them.
        let mut parted = [piece(0.9), Piece { state: State::Standing, ..piece(0.5) }, piece(0.4)];
        weigh_together(&mut parted);
        assert_eq!((parted[0].run, parted[2].run), (0.9, 0.4));
    }
}
