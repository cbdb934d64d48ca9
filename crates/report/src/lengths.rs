//! Paces and distances as people read them, by the kilometre or by the mile: worked out from the SI figure, rounded once.

use jogaudit_core::prescription::{pace_unit, written_pace};
use jogaudit_recording::units::{LengthUnit, MetresPerSecond, pace_clock};

/// Seconds for one unit of length.
fn pace_s(pace_s_per_km: f64, units: LengthUnit) -> f64 {
    pace_s_per_km * (units.metres() / LengthUnit::Kilometre.metres())
}

/// `6:45`, for a heading that says what for.
pub(super) fn bare_pace(pace_s_per_km: f64, units: LengthUnit) -> String {
    pace_clock(pace_s(pace_s_per_km, units))
}

/// `6:45 /km`, `10:52 /mi`.
pub(super) fn pace(pace_s_per_km: f64, units: LengthUnit) -> String {
    format!("{} /{}", bare_pace(pace_s_per_km, units), units.word())
}

/// `24 s/km`, `39 s/mi`.
pub(super) fn pace_difference(pace_s_per_km: f64, units: LengthUnit) -> String {
    format!("{} s/{}", pace_s(pace_s_per_km, units).round(), units.word())
}

/// A ceiling in the unit in which it was written, whatever the report is in.
pub(super) fn ceiling(pace_s_per_km: f64, units: LengthUnit) -> String {
    let speed = MetresPerSecond::from_pace_s_per_km(pace_s_per_km);
    match pace_unit(speed) {
        Some(_) => written_pace(speed),
        None => pace(pace_s_per_km, units),
    }
}

/// A ceiling beside a pace that it is held against: in the report's unit as well where it was written in the other.
pub(super) fn ceiling_beside(pace_s_per_km: f64, units: LengthUnit) -> String {
    let written = ceiling(pace_s_per_km, units);
    let is_other =
        pace_unit(MetresPerSecond::from_pace_s_per_km(pace_s_per_km)).is_some_and(|unit| unit != units);
    if is_other { format!("{written}, {},", pace(pace_s_per_km, units)) } else { written }
}

/// `412 m`, `0.26 mi`.
pub(super) fn distance(metres: f64, units: LengthUnit) -> String {
    match units {
        LengthUnit::Kilometre => format!("{metres:.0} m"),
        LengthUnit::Mile => format!("{:.2} mi", metres / units.metres()),
    }
}

/// A prescribed distance in as few figures as it takes: `400 m`, `1.5 km`, `0.25 mi`.
pub(super) fn short_distance(metres: f64, units: LengthUnit) -> String {
    if units == LengthUnit::Kilometre && metres < units.metres() {
        return format!("{metres:.0} m");
    }
    format!("{} {}", (metres / units.metres() * 1000.0).round() / 1000.0, units.word())
}

#[cfg(test)]
mod tests {
    use super::*;

    use LengthUnit::{Kilometre, Mile};

    #[test]
    fn a_pace_a_mile_is_worked_out_from_the_same_figure_and_rounded_once() {
        // By arithmetic: 402.4 s/km are 647.60 s/mi; from the rounded 402 s/km it would be 646.96 and so 647, from
        // 402.5 rounded to tenths 647.76.
        assert_eq!([Kilometre, Mile].map(|unit| pace(402.4, unit)), ["6:42 /km", "10:48 /mi"]);
        assert_eq!([Kilometre, Mile].map(|unit| pace_difference(24.0, unit)), ["24 s/km", "39 s/mi"]);
        assert_eq!([Kilometre, Mile].map(|unit| distance(1609.344, unit)), ["1609 m", "1.00 mi"]);
    }

    #[test]
    fn a_ceiling_stays_in_the_unit_in_which_it_was_written() {
        let per_mile = 650.0 * 1000.0 / 1609.344;
        for units in [Kilometre, Mile] {
            assert_eq!(ceiling(405.0, units), "6:45 /km");
            assert_eq!(ceiling(per_mile, units), "10:50 /mi");
        }
        // 405 s/km are 651.78 s/mi, 650 s/mi are 403.89 s/km.
        assert_eq!(ceiling_beside(405.0, Mile), "6:45 /km, 10:52 /mi,");
        assert_eq!(ceiling_beside(per_mile, Kilometre), "10:50 /mi, 6:44 /km,");
        assert_eq!(ceiling_beside(405.0, Kilometre), "6:45 /km");
    }
}
