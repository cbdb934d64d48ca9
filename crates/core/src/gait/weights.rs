//! How much one reading counts: neighbouring ones share their error.

use super::config::weights::{
    BELONGS, CADENCE_A_SECOND, CADENCE_RANGE, CADENCE_USUAL_RANGE, LAGS, LEAST_PAIRS, LEAST_RESIDUALS, LOST,
    SPEED_A_SECOND, SPEED_RANGE, SPEED_USUAL_RANGE,
};
use super::fit::Fit;
use super::moving::{MovingState, Weights};
use super::observe::{Observed, Segment};
use super::state::split_row;
use crate::statistics::sums_over_pairs;

/// Weights before residuals are known.
pub(super) fn usual(observed: &Observed) -> Weights {
    let seen = observed.readings(|s| &s.speed_mps);
    let interval_s = observed.seconds() / seen.max(1) as f64;
    let weight = |a_second: f64, (least, most): (f64, f64)| (a_second * interval_s).clamp(least, most);
    Weights {
        speed: weight(SPEED_A_SECOND, SPEED_USUAL_RANGE),
        cadence: weight(CADENCE_A_SECOND, CADENCE_USUAL_RANGE),
    }
}

/// Weights 1 / (1 + 2 Σ ρ(k)) with ρ(k) the autocorrelation of the residuals at a lag of k frames, summed until it is lost in
/// noise (the integrated autocorrelation time, Sokal 1997). For a first-order autoregressive error that is (1 − ρ)/(1 + ρ).
pub(super) fn from_residuals(observed: &Observed, fit: &Fit, usual: Weights) -> Weights {
    let speed = Residual {
        values: |segment| &segment.speed_mps,
        mean: |state, slope| state.speed_mps.mean * state.slope_effect.factor(slope),
    };
    let cadence =
        Residual { values: |segment| &segment.cadence_spm, mean: |state, _| state.cadence_spm.mean };
    let clamped = |weight: f64, (least, most): (f64, f64)| weight.clamp(least, most);
    Weights {
        speed: speed.weight(observed, fit).map_or(usual.speed, |w| clamped(w, SPEED_RANGE)),
        cadence: cadence.weight(observed, fit).map_or(usual.cadence, |w| clamped(w, CADENCE_RANGE)),
    }
}

/// What is left of a column when its state's mean is taken away.
struct Residual {
    values: fn(&Segment) -> &Vec<Option<f64>>,
    mean: fn(&MovingState, f64) -> f64,
}

impl Residual {
    fn weight(&self, observed: &Observed, fit: &Fit) -> Option<f64> {
        let products = self.products(observed, fit);
        let (square, known) = products[0];
        let variance = square / known;
        if known < LEAST_RESIDUALS || variance <= 0.0 {
            return None;
        }
        let mut total = 1.0;
        for &(sum, n) in &products[1..] {
            if n < LEAST_PAIRS {
                continue;
            }
            let rho = sum / n / variance;
            if rho < LOST {
                break;
            }
            // Sparse sampling leaves few readings with a partner at this lag.
            total += 2.0 * rho * n / known;
        }
        Some(1.0 / total)
    }

    /// Sums of products of residuals of one state at each lag, and how many.
    fn products(&self, observed: &Observed, fit: &Fit) -> [(f64, f64); LAGS + 1] {
        let mut products = [(0.0, 0.0); LAGS + 1];
        for (segment, posterior) in observed.segments.iter().zip(&fit.posteriors) {
            // Of what belongs to no state, the state's number is NaN, and so never the same.
            let residuals: Vec<(f64, f64)> = (self.values)(segment)
                .iter()
                .zip(posterior.states.iter())
                .zip(&segment.slope)
                .map(|((value, row), &slope)| {
                    let state = split_row(row).0.iter().position(|p| *p > BELONGS);
                    state.zip(*value).map_or((f64::NAN, 0.0), |(k, value)| {
                        (k as f64, value - (self.mean)(&fit.states[k], slope))
                    })
                })
                .collect();
            for (lag, sum) in products.iter_mut().enumerate().take(residuals.len()) {
                let later = &residuals[lag..];
                let [product, n] = sums_over_pairs(&residuals, later, |(k, now), (later_k, later)| {
                    if k == later_k { [now * later, 1.0] } else { [0.0, 0.0] }
                });
                *sum = (sum.0 + product, sum.1 + n);
            }
        }
        products
    }
}
