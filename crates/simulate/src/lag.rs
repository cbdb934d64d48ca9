//! How late a recorder tells.

use rand_chacha::ChaCha8Rng;

use super::random::uniform;

/// How late a recorder's smoothed value is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lag {
    /// Pure delay, s.
    pub(super) delay_s: f64,
    /// Time constant of the causal exponential average, s: it adds as much again.
    pub(super) smoothing_s: f64,
}

impl Lag {
    /// The whole lag is even between 0 and the longest; the share of the average is even between 0.2 and 0.8.
    pub(super) fn draw(longest_s: f64, draws: &mut ChaCha8Rng) -> Self {
        let whole = uniform(draws, 0.0, longest_s);
        Self::of(whole, uniform(draws, 0.2, 0.8))
    }

    /// Of a length in all, s, of which an average makes a share.
    pub(super) const fn of(whole: f64, share: f64) -> Self {
        Self { delay_s: whole * (1.0 - share), smoothing_s: whole * share }
    }
}
