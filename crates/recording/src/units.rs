//! Small typed quantities. SI inside; the unit is in the name.
//!
//! Newtypes stand at the boundaries between stages. Inside kernels and in every exported key or column a plain
//! `f64` carries its unit as a suffix (`speed_mps`, `cadence_spm`, `start_s`).

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Default)]
        pub struct $name(f64);

        impl $name {
            /// Makes the quantity from a plain number in its unit.
            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            /// Gives the plain number in its unit.
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, concat!("{} ", $unit), self.0)
            }
        }

        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }

        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
                Self(iter.map(Self::get).sum())
            }
        }
    };
}

quantity!(
    /// A duration in seconds.
    Seconds,
    "s"
);
quantity!(
    /// A length in metres.
    Metres,
    "m"
);
quantity!(
    /// A speed in metres a second.
    MetresPerSecond,
    "m/s"
);
quantity!(
    /// A cadence in steps a minute, both feet counted.
    StepsPerMinute,
    "steps/min"
);
quantity!(
    /// A cadence in strides a minute, one leg counted: what FIT and most watch exports store. Its one way out is
    /// [`StridesPerMinute::to_steps`]; it exists only while a file is being read.
    StridesPerMinute,
    "strides/min"
);
quantity!(
    /// A heart rate in beats a minute.
    BeatsPerMinute,
    "beats/min"
);

/// Metres in an international mile (exact by definition, 1959 agreement).
pub const METRES_PER_MILE: f64 = 1609.344;

impl StridesPerMinute {
    /// Counts both feet: two steps a stride.
    pub const fn to_steps(self) -> StepsPerMinute {
        StepsPerMinute(self.0 * 2.0)
    }
}

impl MetresPerSecond {
    /// Makes a speed from a pace in seconds a kilometre.
    pub const fn from_pace_s_per_km(pace_s_per_km: f64) -> Self {
        Self(1000.0 / pace_s_per_km)
    }

    /// Gives the pace in seconds a kilometre, or `None` when standing still.
    pub fn pace_s_per_km(self) -> Option<f64> {
        (self.0 > 0.0).then(|| 1000.0 / self.0)
    }
}

impl std::ops::Div<Seconds> for Metres {
    type Output = MetresPerSecond;
    fn div(self, time: Seconds) -> MetresPerSecond {
        MetresPerSecond(self.0 / time.0)
    }
}

impl std::ops::Mul<Seconds> for MetresPerSecond {
    type Output = Metres;
    fn mul(self, time: Seconds) -> Metres {
        Metres(self.0 * time.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stride_is_two_steps() {
        // facts: 90 strides/min on one leg = 180 steps/min; 88.5 = 177.
        assert_eq!(StridesPerMinute::new(90.0).to_steps(), StepsPerMinute::new(180.0));
        assert_eq!(StridesPerMinute::new(88.5).to_steps(), StepsPerMinute::new(177.0));
    }

    #[test]
    fn pace_and_speed_are_inverse() {
        let speed = MetresPerSecond::from_pace_s_per_km(405.0);
        assert!((speed.pace_s_per_km().unwrap() - 405.0).abs() < 1e-9);
        assert_eq!(MetresPerSecond::new(0.0).pace_s_per_km(), None);
    }
}
