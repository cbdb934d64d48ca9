//! From a least to a most.

use std::fmt;

/// What lies between two ends, both of them included. An exact figure is a range whose ends meet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Range<T = f64> {
    /// The lower end.
    pub least: T,
    /// The upper end.
    pub most: T,
}

impl<T: Copy> Range<T> {
    /// An exact figure.
    pub const fn exactly(value: T) -> Self {
        Self { least: value, most: value }
    }

    /// Both ends, each turned into something else.
    pub fn map<U>(self, mut of: impl FnMut(T) -> U) -> Range<U> {
        Range { least: of(self.least), most: of(self.most) }
    }
}

impl<T: Copy + PartialEq> Range<T> {
    /// Whether it is an exact figure.
    pub fn is_exact(&self) -> bool {
        self.least == self.most
    }

    /// The exact figure, if it is one.
    pub fn exact(&self) -> Option<T> {
        self.is_exact().then_some(self.least)
    }
}

impl Range<f64> {
    /// The middle; of a range without an upper end the lower one.
    pub fn middle(&self) -> f64 {
        if self.most.is_finite() { 0.5 * (self.least + self.most) } else { self.least }
    }

    /// The end nearest to a value; the value itself where it lies inside.
    pub fn nearest(&self, value: f64) -> f64 {
        value.max(self.least).min(self.most)
    }
}

impl<T: Copy> From<T> for Range<T> {
    fn from(value: T) -> Self {
        Self::exactly(value)
    }
}

impl std::ops::AddAssign for Range<f64> {
    fn add_assign(&mut self, other: Self) {
        self.least += other.least;
        self.most += other.most;
    }
}

impl std::iter::Sum for Range<f64> {
    fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
        parts.fold(Self::exactly(0.0), |mut sum, part| {
            sum += part;
            sum
        })
    }
}

/// `5`, or `5 to 6`.
impl fmt::Display for Range<u32> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.exact() {
            Some(value) => write!(f, "{value}"),
            None => write!(f, "{} to {}", self.least, self.most),
        }
    }
}
