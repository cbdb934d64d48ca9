//! The normal distribution.

/// A normal distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Gaussian {
    pub(super) mean: f64,
    pub(super) sd: f64,
}
