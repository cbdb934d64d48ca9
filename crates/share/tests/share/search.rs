//! Looks for a position in bytes, in whatever way it may be written there.

/// A degree of latitude, m, at its shortest (WGS 84: 110,574 m at the equator).
const DEGREE_M: f64 = 110_574.0;

/// A place, degrees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Spot {
    pub(crate) lat_deg: f64,
    pub(crate) lon_deg: f64,
}

/// What counts as found: latitude and longitude, in either order, …
#[derive(Clone, Copy, Debug)]
pub(crate) struct Search {
    /// … each within this, m, …
    pub(crate) near_m: f64,
    /// … with up to so many bytes between them, …
    pub(crate) apart_bytes: usize,
    /// … in so many of [`ENCODINGS`], and in text.
    encodings: usize,
}

/// Ten kilometres, where positions are written as the formats do, one number behind the other.
pub(crate) const FAR: Search = Search { near_m: 10_000.0, apart_bytes: 0, encodings: OF_FORMATS };
/// A hundred metres, with something between: so near because in a megabyte there is any pair of two bytes within some bytes.
pub(crate) const LOOSE: Search = Search { near_m: 100.0, apart_bytes: 16, encodings: ENCODINGS.len() };

impl Search {
    fn is_lat(self, deg: f64, spot: Spot) -> bool {
        (deg - spot.lat_deg).abs() < self.near_m / DEGREE_M
    }

    fn is_lon(self, deg: f64, spot: Spot) -> bool {
        (deg - spot.lon_deg).abs() < self.near_m / DEGREE_M / spot.lat_deg.to_radians().cos()
    }
}

/// A way of writing degrees into bytes.
#[derive(Clone, Copy)]
pub(crate) struct Encoding {
    pub(crate) name: &'static str,
    size: usize,
    write: fn(f64) -> [u8; 8],
    read: fn([u8; 8]) -> f64,
}

/// Puts bytes in front of a block of eight.
fn block<const N: usize>(bytes: [u8; N]) -> [u8; 8] {
    let mut out = [0; 8];
    out[..N].copy_from_slice(&bytes);
    out
}

/// Takes the first bytes of a block.
fn front<const N: usize>(block: [u8; 8]) -> [u8; N] {
    *block.first_chunk().unwrap()
}

const SEMICIRCLES: f64 = 2_147_483_648.0 / 180.0;

macro_rules! encoding {
    ($name:literal, $type:ty, $to:ident, $from:ident, $scale:expr) => {
        Encoding {
            name: $name,
            size: size_of::<$type>(),
            write: |deg| block(((deg * $scale) as $type).$to()),
            read: |bytes| f64::from(<$type>::$from(front(bytes))) / $scale,
        }
    };
}

/// FIT's semicircles, floats and doubles of degrees and radians, then scaled whole numbers, which no format that is read here
/// has: each in both byte orders.
pub(crate) const ENCODINGS: [Encoding; 14] = [
    encoding!("semicircles, little endian", i32, to_le_bytes, from_le_bytes, SEMICIRCLES),
    encoding!("semicircles, big endian", i32, to_be_bytes, from_be_bytes, SEMICIRCLES),
    encoding!("float degrees, little endian", f32, to_le_bytes, from_le_bytes, 1.0),
    encoding!("float degrees, big endian", f32, to_be_bytes, from_be_bytes, 1.0),
    encoding!("double degrees, little endian", f64, to_le_bytes, from_le_bytes, 1.0),
    encoding!("double degrees, big endian", f64, to_be_bytes, from_be_bytes, 1.0),
    encoding!("float radians, little endian", f32, to_le_bytes, from_le_bytes, 1.0 / DEG_PER_RAD),
    encoding!("float radians, big endian", f32, to_be_bytes, from_be_bytes, 1.0 / DEG_PER_RAD),
    encoding!("double radians, little endian", f64, to_le_bytes, from_le_bytes, 1.0 / DEG_PER_RAD),
    encoding!("double radians, big endian", f64, to_be_bytes, from_be_bytes, 1.0 / DEG_PER_RAD),
    encoding!("1e-7 degrees, little endian", i32, to_le_bytes, from_le_bytes, 1e7),
    encoding!("1e-7 degrees, big endian", i32, to_be_bytes, from_be_bytes, 1e7),
    encoding!("1e-6 degrees, little endian", i32, to_le_bytes, from_le_bytes, 1e6),
    encoding!("1e-6 degrees, big endian", i32, to_be_bytes, from_be_bytes, 1e6),
];
/// Those in front of the scaled whole numbers.
const OF_FORMATS: usize = 10;
const DEG_PER_RAD: f64 = 180.0 / std::f64::consts::PI;

impl Encoding {
    pub(crate) fn written(&self, deg: f64) -> Vec<u8> {
        (self.write)(deg)[..self.size].to_vec()
    }

    fn at(&self, bytes: &[u8], at: usize) -> Option<f64> {
        let mut here = [0; 8];
        here[..self.size].copy_from_slice(bytes.get(at..at + self.size)?);
        Some((self.read)(here))
    }
}

/// All ways in which a position near a spot is found, with where.
pub(crate) fn found(bytes: &[u8], spot: Spot, search: Search) -> Vec<String> {
    let mut hits: Vec<String> = ENCODINGS[..search.encodings]
        .iter()
        .flat_map(|encoding| binary(bytes, spot, encoding, search))
        .collect();
    hits.extend(text(bytes, spot, search));
    hits
}

/// Latitude at any byte, longitude before or behind it.
fn binary(bytes: &[u8], spot: Spot, encoding: &Encoding, search: Search) -> Vec<String> {
    let (size, reach) = (encoding.size, search.apart_bytes);
    let is_lat = |at: &usize| encoding.at(bytes, *at).is_some_and(|deg| search.is_lat(deg, spot));
    let is_lon = |at: usize| encoding.at(bytes, at).is_some_and(|deg| search.is_lon(deg, spot));
    let is_beside = |at: &usize| {
        let before = at.checked_sub(size).map(|last| last.saturating_sub(reach)..=last);
        (at + size..=at + size + reach).chain(before.into_iter().flatten()).any(is_lon)
    };
    let lats = (0..bytes.len()).filter(is_lat).filter(is_beside);
    lats.map(|at| format!("{} at byte {at}", encoding.name)).collect()
}

/// Whether one number alone, latitude or longitude, is written exactly as the original has it.
pub(crate) fn found_exactly(bytes: &[u8], degrees: &[f64]) -> Vec<String> {
    let mut hits = Vec::new();
    for encoding in &ENCODINGS {
        let mut written: Vec<Vec<u8>> = degrees.iter().map(|deg| encoding.written(*deg)).collect();
        written.sort();
        let windows = bytes.windows(encoding.size).enumerate();
        let is_hit = |window: &[u8]| written.binary_search_by(|known| known.as_slice().cmp(window)).is_ok();
        hits.extend(
            windows
                .filter(|(_, w)| is_hit(w))
                .map(|(at, _)| format!("{} exactly at byte {at}", encoding.name)),
        );
    }
    // A number with five decimals or more, to the last of the five: a metre.
    let is_fine =
        |number: &&[u8]| number.split(|byte| *byte == b'.').nth(1).is_some_and(|behind| behind.len() >= 5);
    let mut sorted = degrees.to_vec();
    sorted.sort_by(f64::total_cmp);
    for number in numbers(bytes).filter(is_fine).filter_map(parsed) {
        let next = sorted.partition_point(|deg| *deg < number);
        let near = [next.checked_sub(1), Some(next)].into_iter().flatten().filter_map(|at| sorted.get(at));
        hits.extend(near.filter(|deg| (*deg - number).abs() < 1e-5).map(|deg| format!("{deg} in text")));
    }
    hits
}

fn numbers(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes.split(|byte| !byte.is_ascii_digit() && !b".-".contains(byte))
}

fn parsed(number: &[u8]) -> Option<f64> {
    std::str::from_utf8(number).ok()?.parse().ok()
}

/// Decimal numbers that follow each other, with at most two between.
fn text(bytes: &[u8], spot: Spot, search: Search) -> Vec<String> {
    const BETWEEN: usize = 2;
    let numbers: Vec<f64> = numbers(bytes).filter_map(parsed).collect();
    let near = |at: usize| at.saturating_sub(BETWEEN + 1)..(at + BETWEEN + 2).min(numbers.len());
    let is_beside = |at: &usize| near(*at).any(|other| other != *at && search.is_lon(numbers[other], spot));
    (0..numbers.len())
        .filter(|at| search.is_lat(numbers[*at], spot))
        .filter(is_beside)
        .map(|at| format!("text, number {at}: {}", numbers[at]))
        .collect()
}

#[test]
fn the_search_finds_every_way_of_writing() {
    let spot = Spot { lat_deg: -61.43, lon_deg: -147.92 };
    let noise: Vec<u8> = (0..997_u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 23) as u8).collect();
    assert_eq!([found(&noise, spot, FAR), found(&noise, spot, LOOSE)].concat(), Vec::<String>::new());
    assert_eq!(found_exactly(&noise, &[spot.lat_deg]), Vec::<String>::new());
    // By nine tenths of what is near to the north, and twelve tenths.
    for (share, is_near) in [(0.9, true), (1.2, false)] {
        for (search, between) in [(FAR, 0), (LOOSE, 0), (LOOSE, 7)] {
            let lat_deg = spot.lat_deg + share * search.near_m / DEGREE_M;
            for encoding in &ENCODINGS[..search.encodings] {
                let (lat, lon) = (encoding.written(lat_deg), encoding.written(spot.lon_deg));
                for (first, second) in [(&lat, &lon), (&lon, &lat)] {
                    let bytes = [&noise, first.as_slice(), &vec![0x55; between], second, &noise].concat();
                    let is_found =
                        found(&bytes, spot, search).iter().any(|hit| hit.starts_with(encoding.name));
                    assert_eq!(is_found, is_near, "{}", encoding.name);
                    assert!(found_exactly(&bytes, &[lat_deg])[0].starts_with(encoding.name));
                    assert!(found_exactly(&bytes, &[spot.lat_deg]).is_empty());
                }
            }
            let text = format!("<p lon=\"{}\" lat='{lat_deg:.5}'/>", spot.lon_deg);
            assert_eq!(!found(text.as_bytes(), spot, search).is_empty(), is_near);
            assert!(!found_exactly(text.as_bytes(), &[lat_deg]).is_empty());
        }
    }
}
