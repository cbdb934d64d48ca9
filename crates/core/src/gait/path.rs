//! The most probable sequence of gaits (Viterbi), in the log domain: gaits seldom change.

use super::config::path::{CHANGE_COST, LEAST_CHANGE_COST, LEAST_PROBABILITY};
use super::scorer::Probabilities;
use super::segmentation::Gait;

/// Gaits in the order of [`Probabilities`].
pub(super) const GAITS: [Gait; 3] = [Gait::Run, Gait::Walk, Gait::Stand];

/// The gait at each frame. A change just before frame t is `change_odds[t]` times as probable as usual; as usual where there are
/// none.
pub(super) fn best_path(probabilities: &[Probabilities], change_odds: &[f64]) -> Vec<Gait> {
    let mut from = Vec::with_capacity(probabilities.len());
    let mut scores = [0.0_f64; 3];
    for (frame, row) in probabilities.iter().enumerate() {
        let odds = change_odds.get(frame).copied().unwrap_or(1.0);
        let cost = (CHANGE_COST - odds.ln()).max(LEAST_CHANGE_COST);
        let best = most(&scores);
        let changed = scores[best] - if frame > 0 { cost } else { 0.0 };
        from.push(std::array::from_fn(|gait| if scores[gait] >= changed { gait } else { best }));
        for (score, p) in scores.iter_mut().zip(row) {
            *score = score.max(changed) + p.max(LEAST_PROBABILITY).ln();
        }
    }
    let mut gait = most(&scores);
    let mut path = Vec::with_capacity(from.len());
    for row in from.iter().rev() {
        path.push(GAITS[gait]);
        let row: &[usize; 3] = row;
        gait = row[gait];
    }
    path.reverse();
    path
}

/// The place of the greatest; of equal ones the first.
fn most(scores: &[f64; 3]) -> usize {
    (1..3).fold(0, |best, gait| if scores[gait] > scores[best] { gait } else { best })
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};

    use super::*;

    #[test]
    fn no_sequence_is_more_probable() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        for _ in 0..200 {
            let rows: Vec<Probabilities> = (0..6)
                .map(|_| {
                    let draws: [f64; 3] = std::array::from_fn(|_| rng.random_range(0.001_f64..1.0).powi(6));
                    let all: f64 = draws.iter().sum();
                    draws.map(|draw| draw / all)
                })
                .collect();
            let odds: Vec<f64> = (0..6).map(|_| if rng.random_bool(0.3) { 30.0 } else { 1.0 }).collect();
            let score = |path: &[usize]| {
                let emitted: f64 = path.iter().zip(&rows).map(|(gait, row)| row[*gait].ln()).sum();
                let changes = (1..6).filter(|t| path[*t] != path[*t - 1]);
                emitted - changes.map(|t| (CHANGE_COST - odds[t].ln()).max(LEAST_CHANGE_COST)).sum::<f64>()
            };
            let all = (0..3_usize.pow(6)).map(|code| (0..6).map(|t| code / 3_usize.pow(t) % 3).collect());
            let best = all.map(|path: Vec<usize>| score(&path)).fold(f64::NEG_INFINITY, f64::max);
            let found: Vec<usize> = best_path(&rows, &odds).iter().map(|gait| *gait as usize).collect();
            assert!((score(&found) - best).abs() < 1e-9);
        }
        assert!(best_path(&[], &[]).is_empty());
    }
}
