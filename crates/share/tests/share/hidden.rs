//! Nothing of the original's places and names is in any byte of what is sent.

use std::io::{Cursor, Read, Write};

use jogaudit_core::pipeline::Config;
use jogaudit_core::prescription::Session;
use jogaudit_recording::read::{Format, read};
use jogaudit_share::{Shared, without_places};
use jogaudit_simulate::{Channels, Gps, Laps, Realism, Settings, Window, gzip, simulate, write};

use crate::search::{FAR, LOOSE, Search, Spot, found, found_exactly};

/// By how much sessions are moved, degrees north and east: into the South Pacific. In FIT any two numbers that are near enough in
/// their upper bytes pass for a place, heart rates of 150 and speeds for 148° west; here none do.
const AWAY: (f64, f64) = (-39.1, -104.8);

/// The file of a made-up session with each position put elsewhere.
fn session(number: u64, format: Format, elsewhere: impl Fn((f64, f64)) -> (f64, f64)) -> Vec<u8> {
    let steps =
        Session::parse("walk 2:00, 2 x (run 1:00, walk 1:00)").unwrap().expand().fixed_steps().unwrap();
    let settings = Settings {
        seed: 4_000_000 + number,
        format,
        channels: [Channels::ALL, Channels::POSITIONS_ONLY][usize::from(number.is_multiple_of(2))],
        gps: [Gps::Typical, Gps::Bad][usize::from(number.is_multiple_of(3))],
        realism: Realism::Realistic,
        hills: true,
        laps: Laps::Steps,
        pauses: vec![Window { at_s: Some(100.0), length_s: 20.0 }],
        ..Settings::default()
    };
    let simulated = simulate(&steps, &settings).unwrap();
    let mut bytes = write(&simulated, format).unwrap();
    let mut at = 0;
    for position in simulated.recording.samples().iter().filter_map(|sample| sample.position) {
        let old = (position.lat_deg(), position.lon_deg());
        let new = elsewhere(old);
        // Latitude and longitude in FIT are neighbours, in the others texts one behind the other.
        let both = |(lat, lon): (f64, f64)| match format {
            Format::Fit => vec![[semicircles(lat), semicircles(lon)].concat()],
            _ => [lat, lon].map(|degrees| format!("{degrees:.7}").into_bytes()).to_vec(),
        };
        for (old, new) in both(old).into_iter().zip(both(new)) {
            at += bytes[at..].windows(old.len()).position(|window| window == old).expect("it was written");
            bytes.splice(at..at + old.len(), new);
        }
    }
    bytes
}

fn semicircles(degrees: f64) -> [u8; 4] {
    ((degrees * (2_147_483_648.0 / 180.0)).round() as i32).to_le_bytes()
}

/// The positions of a file.
fn spots(bytes: &[u8]) -> Vec<Spot> {
    let recordings = read(bytes, &Config::default().read).unwrap().value;
    let positions = recordings
        .iter()
        .flat_map(jogaudit_recording::read::Recording::samples)
        .filter_map(|sample| sample.position);
    positions.map(|p| Spot { lat_deg: p.lat_deg(), lon_deg: p.lon_deg() }).collect()
}

/// The files in an envelope, unfolded, and whether they were packed.
fn contents(bytes: &[u8]) -> Vec<Vec<u8>> {
    if bytes.starts_with(b"PK") {
        let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
        return (0..zip.len())
            .map(|index| {
                let mut content = Vec::new();
                zip.by_index(index).unwrap().read_to_end(&mut content).unwrap();
                content
            })
            .collect();
    }
    if bytes.starts_with(&[0x1F, 0x8B]) {
        let mut content = Vec::new();
        flate2::read::MultiGzDecoder::new(bytes).read_to_end(&mut content).unwrap();
        return vec![content];
    }
    vec![bytes.to_vec()]
}

/// What is found of a recording's positions in a file, and in what it holds.
fn all_found(bytes: &[u8], positions: &[Spot]) -> Vec<String> {
    let mut coordinates: Vec<f64> = positions.iter().flat_map(|spot| [spot.lat_deg, spot.lon_deg]).collect();
    coordinates.sort_by(f64::total_cmp);
    coordinates.dedup();
    let contents = contents(bytes);
    let is_packed = contents != [bytes];
    let in_all = |searched: &[u8], search: Search, places: usize| -> Vec<String> {
        positions
            .iter()
            .step_by(positions.len().div_ceil(places))
            .flat_map(|spot| found(searched, *spot, search))
            .collect()
    };
    let mut hits = Vec::new();
    for content in &contents {
        // None of the positions is further than 10 km from the first.
        hits.extend(in_all(content, FAR, 1));
        hits.extend(in_all(content, LOOSE, 5));
        hits.extend(found_exactly(content, &coordinates));
    }
    if is_packed {
        // Packed bytes are as good as drawn by lot: two numbers of 32 bits within 10 km of a place are there by chance.
        hits.extend(in_all(bytes, LOOSE, 5));
        hits.extend(found_exactly(bytes, &coordinates));
    }
    hits
}

fn zipped(files: &[(&str, Vec<u8>)]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        zip.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(content).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn shared(bytes: &[u8]) -> Shared {
    without_places(bytes, &Config::default()).unwrap()
}

#[test]
fn no_position_is_left_in_any_byte() {
    let mut searched = 0;
    for number in 0..9 {
        let format = [Format::Fit, Format::Tcx, Format::Gpx][usize::try_from(number % 3).unwrap()];
        let plain = session(number, format, |(lat, lon)| (lat + AWAY.0, lon + AWAY.1));
        let spots = spots(&plain);
        assert!(all_found(&plain, &spots).len() > spots.len(), "the search finds what there is: {format:?}");
        let with_others =
            zipped(&[("home to work.x", plain.clone()), ("notes.txt", b"-61.4 -147.9".to_vec())]);
        for bytes in [plain.clone(), gzip(&plain), with_others] {
            let sent = shared(&bytes).bytes;
            assert_eq!(all_found(&sent, &spots), Vec::<String>::new(), "session {number}, {format:?}");
            searched += sent.len();
        }
    }
    assert!(searched > 300_000, "{searched}");
}

/// The same session at another longitude, or as far to the south as it was to the north, gives the same bytes: they hold nothing
/// of the longitude and the hemisphere, in whatever way it could be written.
#[test]
fn the_bytes_are_the_same_wherever_it_was() {
    for number in 0..12 {
        let format = [Format::Fit, Format::Tcx, Format::Gpx][usize::try_from(number % 3).unwrap()];
        // By whole steps of each format: an eighth and a quarter of the circle.
        let home = session(number, format, |here| here);
        let east = session(number, format, |(lat, lon)| (lat, lon + 45.0));
        let mirrored = session(number, format, |(lat, lon)| (-lat, lon - 90.0));
        let sent = shared(&home);
        assert_eq!(sent.with_places, 1);
        for elsewhere in [east, mirrored] {
            assert_ne!(elsewhere, home);
            assert!(shared(&elsewhere).bytes == sent.bytes, "session {number}, {format:?}");
        }
    }
}

/// A text that no file that is sent may hold.
const PRIVATE: &str = "Wrenfield";

fn assert_nothing_private(sent: &Shared) {
    for content in contents(&sent.bytes).into_iter().chain([sent.bytes.clone()]) {
        for word in [
            PRIVATE.as_bytes(),
            &PRIVATE.to_lowercase().into_bytes(),
            b"4242424242",
            &4_242_424_242_u32.to_le_bytes(),
        ] {
            assert!(!content.windows(word.len()).any(|window| window == word), "{word:?}");
        }
    }
}

#[test]
fn names_notes_and_devices_of_gpx_are_left_behind() {
    let gpx = format!(
        "<?xml version='1.0'?><!-- {PRIVATE} --><gpx creator='{PRIVATE} 4242424242'><metadata><name>{PRIVATE}</name><author><name>{PRIVATE}</name>\
         </author></metadata><wpt lat='1' lon='2'><name>{PRIVATE}</name></wpt><trk><name>{PRIVATE}</name><desc>{PRIVATE}</desc>\
         <type>Balloons over {PRIVATE}</type><trkseg><trkpt lat='1.5' lon='2.5'><time>2026-03-02T07:10:00Z</time><src>{PRIVATE}</src>\
         <extensions><hr>120</hr><street>{PRIVATE}</street></extensions></trkpt></trkseg></trk></gpx>"
    );
    let sent = shared(gpx.as_bytes());
    assert_nothing_private(&sent);
    assert_eq!(sent.sports_unnamed, 1);
    let recordings = read(&sent.bytes, &Config::default().read).unwrap().value;
    assert_eq!(recordings[0].sport().word(), Some("sport"), "off foot, whatever it was");
    assert_nothing_private(&shared(&gzip(gpx.as_bytes())));
    let archive = zipped(&[
        (&format!("{PRIVATE}/{PRIVATE} 1.gpx"), gpx.clone().into_bytes()),
        (PRIVATE, PRIVATE.into()),
    ]);
    let sent = shared(&archive);
    assert_nothing_private(&sent);
    assert_eq!((sent.ending, sent.name_ending, sent.activities), (None, ".zip", 1));
}

#[test]
fn names_notes_and_devices_of_tcx_are_left_behind() {
    let tcx = format!(
        "<TrainingCenterDatabase><Activities><Activity Sport='Running'><Id>2026-03-02T07:10:00Z</Id><Lap StartTime='2026-03-02T07:10:00Z'>\
         <TotalTimeSeconds>9</TotalTimeSeconds><Track><Trackpoint><Time>2026-03-02T07:10:00Z</Time><Position><LatitudeDegrees>1.5</LatitudeDegrees>\
         <LongitudeDegrees>2.5</LongitudeDegrees></Position><HeartRateBpm><Value>120</Value></HeartRateBpm></Trackpoint></Track><Notes>{PRIVATE}</Notes>\
         </Lap><Notes>{PRIVATE}</Notes><Training><Plan><Name>{PRIVATE}</Name></Plan></Training><Creator><Name>{PRIVATE}</Name><UnitId>4242424242</UnitId>\
         </Creator></Activity></Activities><Courses><Course><Name>{PRIVATE}</Name></Course></Courses><Author><Name>{PRIVATE}</Name></Author></TrainingCenterDatabase>"
    );
    let sent = shared(tcx.as_bytes());
    assert_nothing_private(&sent);
    assert_eq!((sent.ending, sent.name_ending, sent.with_places), (None, ".tcx", 1));
}

#[test]
fn serial_numbers_names_and_others_fields_of_fit_are_left_behind() {
    let name = PRIVATE.as_bytes();
    // Little-endian definitions: number of the message, fields as (number, base type, bytes).
    let mut data = Vec::new();
    let mut message = |global: u16, fields: &[(u8, u8, &[u8])]| {
        data.extend([0x40, 0, 0]);
        data.extend(global.to_le_bytes());
        data.push(fields.len() as u8);
        fields.iter().for_each(|(number, base, value)| data.extend([*number, value.len() as u8, *base]));
        data.push(0);
        fields.iter().for_each(|(_, _, value)| data.extend(*value));
    };
    let (serial, time) = (4_242_424_242_u32.to_le_bytes(), 1_140_000_000_u32.to_le_bytes());
    let (lat, lon) = ((1_i32 << 28).to_le_bytes(), (1_i32 << 29).to_le_bytes());
    // file_id, device_info, user_profile, course and sport with names; a message of a maker's own; record, lap and session.
    message(0, &[(0, 0, &[4]), (3, 0x8C, &serial), (8, 7, name), (4, 0x86, &time)]);
    message(23, &[(253, 0x86, &time), (3, 0x8C, &serial), (19, 7, name), (27, 7, name)]);
    message(3, &[(0, 7, name)]);
    message(31, &[(5, 7, name)]);
    message(12, &[(0, 0, &[1]), (3, 7, name)]);
    message(0xFF00, &[(0, 7, name), (1, 0x85, &lat), (2, 0x85, &lon)]);
    message(20, &[(253, 0x86, &time), (0, 0x85, &lat), (1, 0x85, &lon), (3, 2, &[120]), (200, 7, name)]);
    message(19, &[(253, 0x86, &time), (2, 0x86, &time), (3, 0x85, &lat), (4, 0x85, &lon), (29, 7, name)]);
    message(
        18,
        &[
            (253, 0x86, &time),
            (2, 0x86, &time),
            (3, 0x85, &lat),
            (4, 0x85, &lon),
            (5, 0, &[1]),
            (110, 7, name),
        ],
    );
    let mut file = vec![12, 0x20, 0, 0];
    file.extend((data.len() as u32).to_le_bytes());
    file.extend(b".FIT");
    file.extend(data);
    file.extend([0, 0]); // no checksum
    let spot = Spot { lat_deg: 22.5, lon_deg: 45.0 };
    assert!(!found(&file, spot, FAR).is_empty());
    let sent = shared(&file);
    assert_nothing_private(&sent);
    assert_eq!(
        [found(&sent.bytes, spot, FAR), found(&sent.bytes, spot, LOOSE)].concat(),
        Vec::<String>::new()
    );
    assert_eq!((sent.ending, sent.name_ending, sent.activities, sent.with_places), (None, ".fit", 1, 1));
    let recordings = read(&sent.bytes, &Config::default().read).unwrap();
    assert_eq!(recordings.notices, []);
    assert_eq!(
        recordings.value[0].samples()[0].heart_rate.map(jogaudit_recording::units::BeatsPerMinute::get),
        Some(120.0)
    );
    assert_eq!(recordings.value[0].laps().len(), 1);
}
