//! Positions on the WGS 84 ellipsoid and the distance between them (on `geo`).

use geo::{Distance, Geodesic, Point};

/// A checked position in decimal degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LatLon {
    lat_deg: f64,
    lon_deg: f64,
}

impl LatLon {
    /// Makes a position, or `None` outside −90 to 90 and −180 to 180 degrees (both ends allowed) or when not finite.
    pub fn new(lat_deg: f64, lon_deg: f64) -> Option<Self> {
        ((-90.0..=90.0).contains(&lat_deg) && (-180.0..=180.0).contains(&lon_deg))
            .then_some(Self { lat_deg, lon_deg })
    }

    /// Latitude in degrees, north positive.
    pub const fn lat_deg(self) -> f64 {
        self.lat_deg
    }

    /// Longitude in degrees, east positive.
    pub const fn lon_deg(self) -> f64 {
        self.lon_deg
    }

    /// Geodesic distance in metres on WGS 84 (Karney 2013, by `geo`'s port of `GeographicLib`).
    pub fn distance_m(self, other: Self) -> f64 {
        Geodesic.distance(Point::new(self.lon_deg, self.lat_deg), Point::new(other.lon_deg, other.lat_deg))
    }

    /// East and north of `origin` in metres, in the plane that touches the ellipsoid there. Good to a millionth of the
    /// distance for the few tens of metres between neighbouring samples; crosses the date line rightly.
    pub fn offset_m(self, origin: Self) -> (f64, f64) {
        // Radii of curvature of WGS 84 (NGA.STND.0036): prime vertical n, meridian m.
        const A_M: f64 = 6_378_137.0;
        const E2: f64 = 0.006_694_379_990_141_3;
        let (sin, cos) = f64::midpoint(self.lat_deg, origin.lat_deg).to_radians().sin_cos();
        let w2 = 1.0 - E2 * sin * sin;
        let n = A_M / w2.sqrt();
        let m = n * (1.0 - E2) / w2;
        let turn = self.lon_deg - origin.lon_deg;
        let turn = if turn > 180.0 {
            turn - 360.0
        } else if turn < -180.0 {
            turn + 360.0
        } else {
            turn
        };
        (turn.to_radians() * n * cos, (self.lat_deg - origin.lat_deg).to_radians() * m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: LatLon, b: LatLon, expected_m: f64, tolerance_m: f64) {
        let got = a.distance_m(b);
        assert!((got - expected_m).abs() <= tolerance_m, "expected {expected_m} m, got {got} m");
    }

    fn at(lat: f64, lon: f64) -> LatLon {
        LatLon::new(lat, lon).unwrap()
    }

    #[test]
    fn flinders_peak_to_buninyong() {
        // Vincenty's worked line as published in Geoscience Australia's GDA technical manual: 54972.271 m.
        near(
            at(-37.951_033_416_666_67, 144.424_867_888_888_88),
            at(-37.652_821_138_888_89, 143.926_495_527_777_77),
            54_972.271,
            0.001,
        );
    }

    #[test]
    fn geodtest_line_one() {
        // Karney's GeodTest data set (Zenodo 32156), first line: 9398502.0434687 m.
        near(
            at(36.530_042_355_041, 0.0),
            at(-48.164_270_779_097_77, 5.762_344_694_676_51),
            9_398_502.043_468_7,
            1e-4,
        );
    }

    #[test]
    fn small_steps_and_the_date_line() {
        // Computed with GeographicLib (docs/sources: geodesy, small-step vectors).
        near(at(52.0, 13.0), at(52.0005, 13.0), 55.633_679, 1e-5);
        near(at(60.0, 10.0), at(60.0001, 10.0001), 12.460_469, 1e-5);
        near(at(0.0, 179.9999), at(0.0, -179.9999), 22.263_898, 1e-5);
    }

    #[test]
    fn plane_offsets_agree_with_the_geodesic() {
        for (a, b) in [
            (at(52.0, 13.0), at(52.0005, 13.0)),
            (at(52.0, 13.0), at(52.0, 13.0005)),
            (at(60.0, 10.0), at(60.0001, 10.0001)),
            (at(-33.9, 151.2), at(-33.9002, 151.2003)),
            (at(0.0, 179.9999), at(0.0, -179.9999)),
        ] {
            let (east, north) = b.offset_m(a);
            let error = (east.hypot(north) / a.distance_m(b) - 1.0).abs();
            assert!(error < 1e-6, "{a:?} to {b:?}: {error:e}");
        }
    }

    #[test]
    fn limits_are_inclusive() {
        assert!(LatLon::new(90.0, 180.0).is_some());
        assert!(LatLon::new(-90.0, -180.0).is_some());
        assert!(LatLon::new(90.000_001, 0.0).is_none());
        assert!(LatLon::new(f64::NAN, 0.0).is_none());
    }
}
