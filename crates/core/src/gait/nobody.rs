//! What nobody walks: a speed that lasts above the one at which people begin to run. And what nobody runs: so few steps.

use super::config::figures::STEPPING_SPM;
use super::config::nobody::{
    FASTEST_WALK_MPS, FASTEST_WALK_SD_MPS, FEWEST_RUN_SD_SPM, FEWEST_RUN_SPM, LEAST_ODDS, MAY_BE_HALF_SPM,
    WINDOW_S,
};
use super::observe::{Observed, Segment};
use super::scorer::{self, Probabilities};

/// Makes walking less probable where no cadence tells and the speed is above that of any walk for the whole of a window; and running
/// where the steps are fewer than those of any run, but not fast, nor so few that they may be half of a run's.
///
/// Not walking by positions: their errors make ways longer (Ranacher et al. 2016), nobody knows by how much, and a walk look too fast.
pub(super) fn weigh(observed: &Observed, probabilities: &mut [Vec<Probabilities>]) {
    for (segment, rows) in observed.segments.iter().zip(probabilities) {
        weigh_segment(observed, segment, rows);
    }
}

fn weigh_segment(observed: &Observed, segment: &Segment, probabilities: &mut [Probabilities]) {
    let speeds = Sums::of(&segment.speed_mps, 0.0);
    let cadences = Sums::of(&segment.cadence_spm, STEPPING_SPM);
    let window = ((WINDOW_S / observed.frame_s) as usize).max(1);
    for (frame, row) in probabilities.iter_mut().enumerate() {
        // The slowest of the windows that hold the frame: a walk beside a run is none the faster for it. And the one with most steps.
        let starts = [(frame + 1).saturating_sub(window), frame.saturating_sub(window / 2), frame];
        let means = |sums: &Sums| starts.map(|from| sums.mean(from, from + window)).into_iter().flatten();
        let least_mps = means(&speeds).fold(f64::INFINITY, f64::min);
        if segment.cadence_spm[frame].is_none() {
            if least_mps.is_finite() && !observed.by_positions {
                let above = (least_mps - FASTEST_WALK_MPS) / FASTEST_WALK_SD_MPS;
                scorer::weigh(row, [1.0, beyond(above), 1.0]);
            }
            continue;
        }
        let most_spm = means(&cadences).fold(0.0, f64::max);
        if most_spm >= MAY_BE_HALF_SPM && (least_mps.is_infinite() || least_mps <= FASTEST_WALK_MPS) {
            scorer::weigh(row, [beyond((FEWEST_RUN_SPM - most_spm) / FEWEST_RUN_SD_SPM), 1.0, 1.0]);
        }
    }
}

/// How many times as probable what lies so many standard deviations beyond what people do is.
fn beyond(deviations: f64) -> f64 {
    let beyond = deviations.max(0.0);
    (-0.5 * beyond * beyond).exp().max(LEAST_ODDS)
}

/// Sums of what is known before each frame.
struct Sums(Vec<(f64, u32)>);

impl Sums {
    /// Of the values that are no less than `least`.
    fn of(column: &[Option<f64>], least: f64) -> Self {
        let mut all = vec![(0.0, 0)];
        let (mut sum, mut count) = (0.0, 0);
        for value in column {
            if let Some(value) = value.filter(|value| *value >= least) {
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
        let speeds: Vec<_> = speeds_mps.iter().copied().map(Some).collect();
        walk_with(&speeds, &vec![cadence_spm; speeds.len()], by_positions)
    }

    fn walk_with(speeds_mps: &[Option<f64>], cadences_spm: &[Option<f64>], by_positions: bool) -> Vec<f64> {
        let minutes = |of: &[Option<f64>]| of.iter().flat_map(|&value| [value; 30]).collect::<Vec<_>>();
        let speed_mps = minutes(speeds_mps);
        let frames = speed_mps.len();
        let made_up = Observed::made_up(Segment {
            start_s: 0.0,
            end_s: 2.0 * frames as f64,
            speed_mps,
            cadence_spm: minutes(cadences_spm),
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

    #[test]
    fn nobody_runs_with_so_few_steps() {
        // Four standard deviations below the switch at 141 ± 6.4 steps/min (Hansen et al. 2017), and two.
        let of = |speed: Option<f64>, spm: f64| walk_with(&[speed], &[Some(spm)], false)[15];
        assert!(of(Some(1.6), 115.0) > 0.75 && of(None, 105.0) > 0.98 && of(Some(1.6), 128.0) == 0.5);
        assert_eq!(of(Some(1.6), 80.0), 0.5, "half of the steps of a run");
        assert_eq!(of(Some(2.4), 110.0), 0.5, "too fast for a walk: the cadence may err");
        // A run beside a walk has none the fewer for it; who stands takes none.
        let run = walk_with(&[Some(1.5); 3], &[Some(110.0), Some(150.0), Some(110.0)], false);
        assert!(run[30..60].iter().all(|p| *p == 0.5) && run[..20].iter().all(|p| *p > 0.9));
        let last = walk_with(&[Some(0.0), Some(1.5)], &[Some(0.0), Some(110.0)], false);
        assert!(last[30..].iter().all(|p| *p > 0.9));
    }
}
