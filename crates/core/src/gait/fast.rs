//! What nobody walks: a speed that lasts above the one at which people begin to run.

use super::config::fast::{FASTEST_WALK_MPS, FASTEST_WALK_SD_MPS, LEAST_ODDS, WINDOW_S};
use super::observe::{Observed, Segment};
use super::scorer::{self, Probabilities};

/// Makes walking less probable where the speed is above that of any walk for the whole of a window and no cadence tells. Not by
/// positions: their errors make ways longer (Ranacher et al. 2016), nobody knows by how much, and a walk look too fast.
pub(super) fn weigh(observed: &Observed, probabilities: &mut [Vec<Probabilities>]) {
    if observed.by_positions {
        return;
    }
    for (segment, rows) in observed.segments.iter().zip(probabilities) {
        weigh_segment(observed, segment, rows);
    }
}

fn weigh_segment(observed: &Observed, segment: &Segment, probabilities: &mut [Probabilities]) {
    let speeds = Sums::of(&segment.speed_mps);
    let window = ((WINDOW_S / observed.frame_s) as usize).max(1);
    for (frame, row) in probabilities.iter_mut().enumerate() {
        if segment.cadence_spm[frame].is_some() {
            continue;
        }
        // The slowest of the windows that hold the frame: a walk beside a run is none the faster for it.
        let starts = [(frame + 1).saturating_sub(window), frame.saturating_sub(window / 2), frame];
        let means = starts.into_iter().filter_map(|from| speeds.mean(from, from + window));
        let least_mps = means.fold(f64::INFINITY, f64::min);
        if !least_mps.is_finite() || least_mps <= FASTEST_WALK_MPS {
            continue;
        }
        let above = (least_mps - FASTEST_WALK_MPS) / FASTEST_WALK_SD_MPS;
        scorer::weigh(row, [1.0, (-0.5 * above * above).exp().max(LEAST_ODDS), 1.0]);
    }
}

/// Sums of what is known before each frame.
struct Sums(Vec<(f64, u32)>);

impl Sums {
    fn of(column: &[Option<f64>]) -> Self {
        let mut all = vec![(0.0, 0)];
        let (mut sum, mut count) = (0.0, 0);
        for value in column {
            if let Some(value) = value {
                (sum, count) = (sum + value, count + 1);
            }
            all.push((sum, count));
        }
        Self(all)
    }

    /// Mean over some frames, those beyond the end left out; `None` where nothing is known.
    fn mean(&self, from: usize, to: usize) -> Option<f64> {
        let last = self.0.len() - 1;
        let ((before, n_before), (after, n_after)) = (self.0[from.min(last)], self.0[to.min(last)]);
        (n_after > n_before).then(|| (after - before) / f64::from(n_after - n_before))
    }
}

#[cfg(test)]
mod tests {
    use super::super::segmentation::Gait;
    use super::*;

    const HALF: Probabilities = [0.5, 0.5, 0.0];

    /// Probability of a walk at each frame of minutes at some speeds, each as probable walked as run before.
    fn walk(speeds_mps: &[f64], cadence_spm: Option<f64>, by_positions: bool) -> Vec<f64> {
        let speed_mps: Vec<_> = speeds_mps.iter().flat_map(|&speed| [Some(speed); 30]).collect();
        let frames = speed_mps.len();
        let made_up = Observed::made_up(Segment {
            start_s: 0.0,
            end_s: 2.0 * frames as f64,
            speed_mps,
            cadence_spm: vec![cadence_spm; frames],
            heart_rate_bpm: vec![None; frames],
            slope: vec![0.0; frames],
        });
        let observed = Observed { by_positions, ..made_up };
        let mut rows = vec![vec![HALF; frames]];
        weigh(&observed, &mut rows);
        assert!(rows[0].iter().all(|row| (row.iter().sum::<f64>() - 1.0).abs() < 1e-12));
        rows[0].iter().map(|row| row[Gait::Walk as usize]).collect()
    }

    #[test]
    fn nobody_walks_a_kilometre_in_six_and_a_half_minutes() {
        assert!(walk(&[2.56], None, false).iter().all(|p| *p < 0.02));
        assert!(walk(&[2.0], None, false).iter().all(|p| *p == 0.5), "that somebody may walk");
        assert!(walk(&[2.56], Some(124.0), false).iter().all(|p| *p == 0.5), "the cadence tells");
        assert!(walk(&[2.56], None, true).iter().all(|p| *p == 0.5), "positions may err so");
        assert_eq!(walk(&[], None, false).len(), 0);
    }

    #[test]
    fn a_walk_beside_a_run_is_none_the_faster_for_it() {
        let walk = walk(&[1.6, 3.0, 1.6], None, false);
        assert!(walk[..30].iter().chain(&walk[60..]).all(|p| *p == 0.5));
        assert!(walk[40..50].iter().all(|p| *p < 0.01));
    }
}
