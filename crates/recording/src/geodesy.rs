//! Positions on the WGS 84 ellipsoid and the distance between them (on `geographiclib-rs`).

use std::sync::LazyLock;

use geographiclib_rs::{Geodesic, InverseGeodesic};

/// Its series are summed once.
static WGS84: LazyLock<Geodesic> = LazyLock::new(Geodesic::wgs84);

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

    /// Geodesic distance in metres on WGS 84 (Karney 2013, by the Rust port of `GeographicLib`).
    pub fn distance_m(self, other: Self) -> f64 {
        WGS84.inverse(self.lat_deg, self.lon_deg, other.lat_deg, other.lon_deg)
    }

    /// [`Self::distance_m`] between neighbouring samples: up to a thousandth of a degree apart by the plane between the two,
    /// which is much faster and differs by less than a millionth.
    pub fn step_m(self, other: Self) -> f64 {
        let near = (self.lat_deg - other.lat_deg).abs() < NEAR_DEG
            && turn_deg(other.lon_deg, self.lon_deg).abs() < NEAR_DEG
            && self.lat_deg.abs() < PLANE_TO_DEG;
        if !near {
            return self.distance_m(other);
        }
        let middle = Self { lat_deg: f64::midpoint(self.lat_deg, other.lat_deg), ..self };
        let (east_m, half_north_m) = Plane::new(middle).offset_m(other);
        (east_m * east_m + 4.0 * half_north_m * half_north_m).sqrt()
    }

    /// Distance in metres over a sphere taken as flat: for neighbouring samples only, and good to half a per cent (the
    /// flattening). Much cheaper than [`Self::step_m`].
    pub fn rough_step_m(self, other: Self) -> f64 {
        let north = (other.lat_deg - self.lat_deg).to_radians();
        let east = (other.lon_deg - self.lon_deg).to_radians() * self.lat_deg.to_radians().cos();
        north.hypot(east) * WGS84_MEAN_RADIUS_M
    }
}

/// Semi-major axis of the WGS 84 ellipsoid, m (NGA.STND.0036).
pub const WGS84_SEMI_MAJOR_AXIS_M: f64 = 6_378_137.0;
/// First eccentricity squared of the WGS 84 ellipsoid (NGA.STND.0036).
pub const WGS84_ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_141_3;
/// Mean radius of the three semi-axes of WGS 84, to a tenth of a metre (NGA.STND.0036).
pub const WGS84_MEAN_RADIUS_M: f64 = 6_371_008.8;

/// Positions closer than this in both degrees (some hundred metres) are neighbours. Our choice; the tests show the error.
const NEAR_DEG: f64 = 0.001;
/// Beyond this latitude, a plane is no good to a millionth even for neighbours. Our choice; the tests show the error.
const PLANE_TO_DEG: f64 = 85.0;

/// From one longitude to another, the short way round.
fn turn_deg(from_deg: f64, to_deg: f64) -> f64 {
    let turn = to_deg - from_deg;
    if turn > 180.0 {
        turn - 360.0
    } else if turn < -180.0 {
        turn + 360.0
    } else {
        turn
    }
}

/// The plane that touches the ellipsoid at a position.
#[derive(Clone, Copy, Debug)]
pub struct Plane {
    origin: LatLon,
    east_m_per_deg: f64,
    north_m_per_deg: f64,
}

impl Plane {
    /// The plane at `origin`.
    pub fn new(origin: LatLon) -> Self {
        // Radii of curvature of WGS 84 (NGA.STND.0036): prime vertical n, meridian m.
        let (sin, cos) = origin.lat_deg.to_radians().sin_cos();
        let w2 = 1.0 - WGS84_ECCENTRICITY_SQUARED * sin * sin;
        let n = WGS84_SEMI_MAJOR_AXIS_M / w2.sqrt();
        let m = n * (1.0 - WGS84_ECCENTRICITY_SQUARED) / w2;
        Self { origin, east_m_per_deg: (n * cos).to_radians(), north_m_per_deg: m.to_radians() }
    }

    /// Whether lengths between neighbours there are as good as at the origin: within some hundred metres of its latitude.
    pub fn holds_at(&self, position: LatLon) -> bool {
        (position.lat_deg - self.origin.lat_deg).abs() < NEAR_DEG
    }

    /// East and north of the origin in metres; crosses the date line rightly. Over the few tens of metres between neighbouring
    /// samples the distance of two such points is good to a hundred-thousandth up to 60 degrees of latitude.
    pub fn offset_m(&self, position: LatLon) -> (f64, f64) {
        let east_m = turn_deg(self.origin.lon_deg, position.lon_deg) * self.east_m_per_deg;
        (east_m, (position.lat_deg - self.origin.lat_deg) * self.north_m_per_deg)
    }

    /// The position so far east and north of the origin, m: the inverse of [`Self::offset_m`] but for the date line. `None`
    /// where that is no position. Over a few kilometres it differs from the ellipsoid by less than a millimetre a metre.
    pub fn position_at(&self, east_m: f64, north_m: f64) -> Option<LatLon> {
        let lat_deg = self.origin.lat_deg + north_m / self.north_m_per_deg;
        LatLon::new(lat_deg, self.origin.lon_deg + east_m / self.east_m_per_deg)
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
        // Computed with GeographicLib; `read_reference.rs` compares more with its Python library.
        near(at(52.0, 13.0), at(52.0005, 13.0), 55.633_679, 1e-5);
        near(at(60.0, 10.0), at(60.0001, 10.0001), 12.460_469, 1e-5);
        near(at(0.0, 179.9999), at(0.0, -179.9999), 22.263_898, 1e-5);
    }

    #[test]
    fn planes_agree_with_the_geodesic_between_neighbours() {
        for lat_deg in [-84.9, -60.0, -33.9, 0.0, 0.000_2, 45.0, 52.0, 60.0, 80.0] {
            for (north_deg, east_deg) in
                [(5e-4, 0.0), (0.0, 5e-4), (1e-4, 1e-4), (-2e-4, 3e-4), (9.9e-4, -9.9e-4)]
            {
                for lon_deg in [13.0, 179.9999] {
                    let a = at(lat_deg, lon_deg);
                    let lon_deg = lon_deg + east_deg;
                    let b = at(lat_deg + north_deg, if lon_deg > 180.0 { lon_deg - 360.0 } else { lon_deg });
                    let exact_m = a.distance_m(b);
                    let error = (a.step_m(b) / exact_m - 1.0).abs();
                    assert!(error < 1e-6, "{a:?} to {b:?}: {error:e}");
                    let (east_m, north_m) = Plane::new(a).offset_m(b);
                    let error = (east_m.hypot(north_m) / exact_m - 1.0).abs();
                    assert!(
                        exact_m > 60.0 || lat_deg.abs() > 60.0 || error < 1e-5,
                        "{a:?} to {b:?}: {error:e}"
                    );
                }
            }
        }
    }

    #[test]
    fn far_steps_are_geodesic() {
        let (a, b) = (at(52.0, 13.0), at(52.01, 13.0));
        assert_eq!(a.step_m(b), a.distance_m(b));
        let (a, b) = (at(89.999, 0.0), at(89.999, 0.0005));
        assert_eq!(a.step_m(b), a.distance_m(b));
    }

    #[test]
    fn constants_are_those_of_wgs_84() {
        // It is defined by its semi-major axis and 1/f = 298.257223563; all else follows.
        let f = 1.0 / 298.257_223_563;
        assert!((WGS84_ECCENTRICITY_SQUARED - f * (2.0 - f)).abs() < 1e-15);
        assert!((WGS84_MEAN_RADIUS_M - WGS84_SEMI_MAJOR_AXIS_M * (1.0 - f / 3.0)).abs() < 0.05);
    }

    #[test]
    fn rough_steps_are_good_to_half_a_per_cent() {
        for lat_deg in [-60.0, 0.0, 45.0, 60.0] {
            for (north_deg, east_deg) in [(1e-4, 0.0), (0.0, 1e-4), (1e-4, -1e-4)] {
                let (a, b) = (at(lat_deg, 13.0), at(lat_deg + north_deg, 13.0 + east_deg));
                let error = (a.rough_step_m(b) / a.distance_m(b) - 1.0).abs();
                assert!(error < 0.006, "{a:?} to {b:?}: {error}");
            }
        }
    }

    #[test]
    fn a_plane_leads_there_and_back() {
        let plane = Plane::new(at(52.0, 13.0));
        let there = plane.position_at(300.0, -40.0).unwrap();
        let (east_m, north_m) = plane.offset_m(there);
        assert!((east_m - 300.0).abs() < 1e-6 && (north_m + 40.0).abs() < 1e-6, "{east_m} {north_m}");
        assert_eq!(plane.position_at(0.0, 1e7), None);
    }

    #[test]
    fn limits_are_inclusive() {
        assert!(LatLon::new(90.0, 180.0).is_some());
        assert!(LatLon::new(-90.0, -180.0).is_some());
        assert!(LatLon::new(90.000_001, 0.0).is_none());
        assert!(LatLon::new(f64::NAN, 0.0).is_none());
    }
}
