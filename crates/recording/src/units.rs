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
    /// A cadence in strides a minute, one leg counted: what FIT and most watch exports store, and what plans may be
    /// written in. Its one way out is [`StridesPerMinute::to_steps`]; it exists only while a file or a plan is being read.
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

/// What people write distances and paces by. Inside and in every document for programs all is in SI units.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LengthUnit {
    /// Kilometres.
    #[default]
    Kilometre,
    /// International miles.
    Mile,
}

impl LengthUnit {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Kilometre, Self::Mile];

    /// Its length, m.
    pub const fn metres(self) -> f64 {
        match self {
            Self::Kilometre => 1000.0,
            Self::Mile => METRES_PER_MILE,
        }
    }

    /// The word as in plans and on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Kilometre => "km",
            Self::Mile => "mi",
        }
    }
}

impl std::str::FromStr for LengthUnit {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|unit| unit.word() == word)
            .ok_or_else(|| "expected `km` or `mi`".to_owned())
    }
}

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

/// The unit of a value that is reported by itself, as in a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Unit {
    /// Seconds.
    Seconds,
    /// Metres.
    Metres,
    /// Seconds a kilometre.
    SecondsPerKilometre,
    /// Beats a minute.
    BeatsPerMinute,
    /// Steps a minute, both feet.
    StepsPerMinute,
    /// Sessions.
    Sessions,
    /// Weeks.
    Weeks,
    /// Days.
    Days,
    /// Points on a scale from 0 to 10, as of pain.
    PointsOfTen,
}

impl Unit {
    /// The unit as in the JSON outputs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Seconds => "s",
            Self::Metres => "m",
            Self::SecondsPerKilometre => "s/km",
            Self::BeatsPerMinute => "bpm",
            Self::StepsPerMinute => "spm",
            Self::Sessions => "sessions",
            Self::Weeks => "weeks",
            Self::Days => "days",
            Self::PointsOfTen => "of 10",
        }
    }
}

impl std::fmt::Display for Unit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// Writes a time, s, as `m:ss` or `h:mm:ss`, rounded to whole seconds; below 0 as 0.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).round() as u64;
    let (h, m, s) = (whole / 3600, whole / 60 % 60, whole % 60);
    if h > 0 { format!("{h}:{m:02}:{s:02}") } else { format!("{m}:{s:02}") }
}

/// Writes a pace, s/km, as `m:ss` without hours, rounded to whole seconds; below 0 as 0.
pub fn pace_clock(pace_s_per_km: f64) -> String {
    let whole = pace_s_per_km.max(0.0).round() as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_has_hours_only_from_an_hour_on() {
        assert_eq!(
            [0.0, 59.4, 59.5, 3599.6, 3725.0, -3.0].map(clock),
            ["0:00", "0:59", "1:00", "1:00:00", "1:02:05", "0:00"]
        );
        assert_eq!([405.4, 3725.0, -1.0].map(pace_clock), ["6:45", "62:05", "0:00"]);
    }

    #[test]
    fn a_stride_is_two_steps() {
        // 90 strides a minute, counted on one leg, are 180 steps; half strides count too.
        assert_eq!(StridesPerMinute::new(90.0).to_steps(), StepsPerMinute::new(180.0));
        assert_eq!(StridesPerMinute::new(88.5).to_steps(), StepsPerMinute::new(177.0));
    }

    #[test]
    fn pace_and_speed() {
        // A kilometre in 4:10 is 4 m a second.
        assert_eq!(MetresPerSecond::from_pace_s_per_km(250.0), MetresPerSecond::new(4.0));
        assert_eq!(MetresPerSecond::new(4.0).pace_s_per_km(), Some(250.0));
        assert_eq!(MetresPerSecond::new(0.0).pace_s_per_km(), None);
    }
}
