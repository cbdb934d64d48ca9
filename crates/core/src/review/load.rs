//! Estimated loading of the ground under the feet: steps times a published range of peak force.

use crate::range::Range;

/// Peak vertical ground reaction of a walking step, in body weights: 1.0 to 1.5 (Nilsson & Thorstensson 1989, Acta
/// Physiol Scand 136:217-27, from memory). Keller et al. 1996 (Clin Biomech 11:253-9): 1.2 at 1.5 m/s.
pub const WALK_STEP_BW: (f64, f64) = (1.0, 1.5);
/// Peak vertical ground reaction of a running step, in body weights: 2.0 to 2.9 (as above). Keller et al. 1996: rising
/// with speed to about 2.5, and slow jogging more than half above walking at that speed.
pub const RUN_STEP_BW: (f64, f64) = (2.0, 2.9);

/// Sum of the peak forces of all steps, in body weights. An estimate: nobody's force was measured.
pub fn loading_bw(run_steps: f64, walk_steps: f64) -> Range {
    let at = |run: f64, walk: f64| run * run_steps + walk * walk_steps;
    Range { least: at(RUN_STEP_BW.0, WALK_STEP_BW.0), most: at(RUN_STEP_BW.1, WALK_STEP_BW.1) }
}

/// Ratio of one loading to another when both have the same forces, whatever these are within their ranges. `None` when
/// the other is nothing.
pub fn loading_ratio((run, walk): (f64, f64), (other_run, other_walk): (f64, f64)) -> Option<Range> {
    if other_run <= 0.0 && other_walk <= 0.0 {
        return None;
    }
    // The ratio is monotone in each force, so its extremes lie at the corners.
    let corners = [RUN_STEP_BW.0, RUN_STEP_BW.1].map(|r| {
        [WALK_STEP_BW.0, WALK_STEP_BW.1].map(|w| (r * run + w * walk) / (r * other_run + w * other_walk))
    });
    let all = corners.as_flattened();
    let least = all.iter().copied().fold(f64::INFINITY, f64::min);
    Some(Range { least, most: all.iter().copied().fold(0.0, f64::max) })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn the_bounds_hold_the_worked_example() {
        // 20 min of running at 160 steps/min, 2.4 body weights a step: 7680 body weights; of walking at 110 steps/min,
        // 1.2: 2640. Arithmetic on Keller et al. 1996.
        let (run, walk) = (loading_bw(3200.0, 0.0), loading_bw(0.0, 2200.0));
        assert!(run.least <= 7680.0 && 7680.0 <= run.most);
        assert!(walk.least <= 2640.0 && 2640.0 <= walk.most);
        assert_eq!((run.least, run.most), (6400.0, 9280.0));
    }

    #[test]
    fn nothing_has_no_ratio_and_itself_has_one() {
        assert_eq!(loading_ratio((100.0, 0.0), (0.0, 0.0)), None);
        let same = loading_ratio((100.0, 300.0), (100.0, 300.0)).unwrap();
        assert_eq!((same.least, same.most), (1.0, 1.0));
    }

    proptest! {
        #[test]
        fn any_force_within_the_ranges_gives_a_ratio_within_the_bounds(
            done in (0.0..5000.0f64, 0.0..5000.0f64),
            other in (1.0..5000.0f64, 0.0..5000.0f64),
            r in 0.0..=1.0f64,
            w in 0.0..=1.0f64,
        ) {
            let at = |(low, high): (f64, f64), share: f64| low + share * (high - low);
            let (r, w) = (at(RUN_STEP_BW, r), at(WALK_STEP_BW, w));
            let ratio = (r * done.0 + w * done.1) / (r * other.0 + w * other.1);
            let bounds = loading_ratio(done, other).unwrap();
            prop_assert!(bounds.least <= ratio + 1e-9 && ratio <= bounds.most + 1e-9);
        }
    }
}
