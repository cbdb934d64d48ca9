//! The normal distribution.

/// A normal distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Gaussian {
    pub(super) mean: f64,
    pub(super) sd: f64,
}

/// ½ ln 2π.
const HALF_LOG_TWO_PI: f64 = 0.918_938_533_204_672_7;

impl Gaussian {
    /// Log density.
    pub(super) fn log_density(self, value: f64) -> f64 {
        let z = (value - self.mean) / self.sd;
        -0.5 * z * z - self.sd.ln() - HALF_LOG_TWO_PI
    }
}
