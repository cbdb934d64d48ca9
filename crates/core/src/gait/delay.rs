//! By how much the columns of a series tell later than the truth.

use super::config::delay::{
    INTERVALS_S, LEAST_CORRELATION, LEAST_PAIRS, LEAST_SAMPLES, MOST_SHIFT, STEPPING_SPM,
    UNTOLD_CADENCE_DELAY_S, UNTOLD_SPEED_DELAY_S,
};
use crate::clean::Series;
use crate::statistics::{or_nan, sums_over_pairs, vertex};

/// Delays of the columns.
#[derive(Clone, Copy, Debug)]
pub(super) struct Delays {
    pub(super) speed_s: f64,
    pub(super) cadence_s: f64,
    /// Whether they could be told from the recording.
    pub(super) known: bool,
    /// Whether the cadence's could be told beside the speed.
    pub(super) cadence_known: bool,
}

impl Delays {
    /// Recorders smooth, each in its way, so their columns tell late. The speed's delay behind the positions is known from
    /// cleaning; the cadence's delay behind the speed is found by sliding one over the other. Both move to the earlier one.
    /// `interval_s` is the usual time between samples.
    pub(super) fn of(series: &Series, interval_s: f64) -> Self {
        let known = series.speed_delay_s().is_some();
        let speed_s = series.speed_delay_s().unwrap_or(0.0);
        match lag_s(series.speed_mps(), series.cadence_spm(), interval_s) {
            None => Self { speed_s, cadence_s: 0.0, known, cadence_known: false },
            Some(lag_s) => {
                let (speed_s, cadence_s) = if known { (speed_s, speed_s + lag_s) } else { (-lag_s, lag_s) };
                Self { speed_s: speed_s.max(0.0), cadence_s: cadence_s.max(0.0), known, cadence_known: true }
            }
        }
    }

    /// With the usual delay where none could be told. For the places of boundaries; frames lie where the readings are, as the scorer has
    /// learnt them.
    pub(super) fn with_usual(self) -> Self {
        Self {
            speed_s: if self.known { self.speed_s } else { self.speed_s + UNTOLD_SPEED_DELAY_S },
            cadence_s: if self.cadence_known { self.cadence_s } else { UNTOLD_CADENCE_DELAY_S },
            ..self
        }
    }
}

/// By how many seconds changes of the cadence come after those of the speed, less than 0 when before, by the greatest
/// correlation of the two; `None` when they share too little or do not move together.
fn lag_s(speed_mps: &[Option<f64>], cadence_spm: &[Option<f64>], interval_s: f64) -> Option<f64> {
    if !INTERVALS_S.contains(&interval_s) || speed_mps.len() < LEAST_SAMPLES {
        return None;
    }
    let (first, second) = (or_nan(speed_mps, |_| true), or_nan(cadence_spm, |spm| spm > STEPPING_SPM));
    let correlation = |shift: isize| -> Option<f64> {
        let (skip_first, skip_second) = ((-shift).max(0).cast_unsigned(), shift.max(0).cast_unsigned());
        let [n, x, y, xx, yy, xy] = sums_over_pairs(&first[skip_first..], &second[skip_second..], |a, b| {
            let is_known = !(a + b).is_nan();
            let (n, a, b) = if is_known { (1.0, a, b) } else { (0.0, 0.0, 0.0) };
            [n, a, b, a * a, b * b, a * b]
        });
        let spread = (n * xx - x * x) * (n * yy - y * y);
        (n > LEAST_PAIRS && spread > 0.0).then(|| (n * xy - x * y) / spread.sqrt())
    };
    let scores: Option<Vec<f64>> = (-MOST_SHIFT..=MOST_SHIFT).map(correlation).collect();
    let scores = scores?;
    let best = (1..scores.len() - 1).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
    let (left, middle, right) = (scores[best - 1], scores[best], scores[best + 1]);
    if middle < LEAST_CORRELATION || left > middle || right > middle {
        return None;
    }
    Some(((best.cast_signed() - MOST_SHIFT) as f64 + vertex(left, middle, right)) * interval_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_tells_no_delay_has_the_usual_one_and_what_tells_one_keeps_it() {
        let told = Delays { speed_s: 6.0, cadence_s: 1.0, known: true, cadence_known: true };
        let kept = told.with_usual();
        assert_eq!((kept.speed_s, kept.cadence_s), (6.0, 1.0));
        let untold = Delays { speed_s: 0.0, cadence_s: 0.0, known: false, cadence_known: false }.with_usual();
        assert_eq!((untold.speed_s, untold.cadence_s), (UNTOLD_SPEED_DELAY_S, UNTOLD_CADENCE_DELAY_S));
        assert!(!untold.known, "it is still not known");
    }

    #[test]
    fn the_lag_of_a_shifted_copy_is_its_shift() {
        // Changes of half a minute, never the same twice in a row.
        let wave = |t: f64| (t / 11.0).sin() + 0.5 * (t / 5.0).cos();
        let speed: Vec<Option<f64>> = (0..600).map(|t| Some(2.0 + 0.4 * wave(f64::from(t)))).collect();
        for late_s in [-3.0, 0.0, 1.5, 4.0] {
            let cadence: Vec<Option<f64>> =
                (0..600).map(|t| Some(140.0 + 20.0 * wave(f64::from(t) - late_s))).collect();
            let lag_s = lag_s(&speed, &cadence, 1.0).unwrap();
            assert!((lag_s - late_s).abs() < 0.05, "{lag_s} {late_s}");
        }
        assert_eq!(lag_s(&speed, &vec![Some(160.0); 600], 1.0), None, "a steady cadence tells nothing");
        assert_eq!(lag_s(&speed, &speed, 10.0), None, "samples too far apart");
    }
}
