//! The shape of the scorer's network.

/// Values that a frame has between blocks.
pub(super) const CHANNELS: usize = 32;
/// Frames that a block looks at, its own in the middle.
pub(super) const TAPS: usize = 5;
/// Frames that the first step looks at.
pub(super) const INPUT_TAPS: usize = 3;

/// Values of a frame, placed so that the widest registers take them in one step.
#[derive(Clone, Copy, Debug, PartialEq)]
#[repr(align(64))]
pub(super) struct Values(pub(super) [f32; CHANNELS]);

impl Values {
    pub(super) const ZERO: Self = Self([0.0; CHANNELS]);
}

/// What a block has learnt.
pub(super) struct Block {
    /// Frames from one that it looks at to the next.
    pub(super) apart: usize,
    /// Weights of each frame that it looks at, and what is added.
    pub(super) taps: [Values; TAPS],
    pub(super) tap_bias: Values,
    /// Weights of each value.
    pub(super) mix: [Values; CHANNELS],
    pub(super) mix_bias: Values,
    /// Weights of the mean of all frames, if it sees that.
    pub(super) whole: Option<[Values; CHANNELS]>,
}
