//! Cuts files at every byte and flips bytes at random: nothing panics, nothing whole before a cut is lost.

#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::path::Path;

use jogaudit_recording::notice::Noted;
use jogaudit_recording::read::{ReadConfig, ReadError, Recording, Sample, read};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Byte flips for each format.
const FLIPS: usize = 20_000;

fn testdata(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata").join(name)).unwrap()
}

fn try_read(bytes: &[u8]) -> Result<Noted<Vec<Recording>>, ReadError> {
    read(bytes, &ReadConfig { max_unzipped_bytes: 1 << 20 })
}

fn samples(noted: &Noted<Vec<Recording>>) -> Vec<Sample> {
    noted.value.iter().flat_map(|recording| recording.samples().iter().copied()).collect()
}

/// Checks every cut: `ends[i]` is the byte behind the last that belongs to sample `i`; notices other than the cut's are
/// those in `also`.
fn check_cuts(file: &[u8], ends: &[usize], also: &[&str]) {
    let whole = samples(&try_read(file).unwrap());
    assert_eq!(whole.len(), ends.len());
    for cut in 0..file.len() {
        let expected = ends.iter().filter(|end| **end <= cut).count();
        match try_read(&file[..cut]) {
            Ok(noted) => {
                assert_eq!(samples(&noted), whole[..expected], "cut at {cut}");
                let cuts: Vec<_> =
                    noted.notices.iter().filter(|notice| !also.contains(&notice.code.word())).collect();
                let [notice] = cuts.as_slice() else { panic!("cut at {cut}: {cuts:?}") };
                assert_eq!(notice.code.word(), "recording_cut", "cut at {cut}");
                let place = notice.place.as_ref().unwrap();
                assert_eq!(place.record, Some(expected as u64), "cut at {cut}");
                assert!(place.byte.is_some() || place.line.is_some(), "cut at {cut}");
            }
            Err(_) => assert_eq!(expected, 0, "cut at {cut}"),
        }
    }
}

#[test]
fn a_fit_file_cut_at_any_byte() {
    // Header 14; file_id: definition 15, data 8; record: definition 21, data 13 and 13; definition 15, data 8.
    check_cuts(&testdata("tiny.fit"), &[71, 84, 107], &[]);
    // With laps, session and events behind the records.
    let file = crate::fit_bytes::plain_run(20).finish();
    let first_end = (0..file.len()).find(|cut| try_read(&file[..*cut]).is_ok()).unwrap();
    let ends: Vec<usize> = (0..20).map(|index| first_end + index * 21).collect();
    check_cuts(&file, &ends, &[]);
}

#[test]
fn an_xml_file_cut_at_any_byte() {
    for (name, closing) in [("tiny.gpx", "</trkpt>"), ("tiny.tcx", "</Trackpoint>")] {
        let mut file = testdata(name);
        while file.last() == Some(&b'\n') {
            file.pop(); // without its last line feed a file is whole
        }
        let text = std::str::from_utf8(&file).unwrap();
        let ends: Vec<usize> = text.match_indices(closing).map(|(at, _)| at + closing.len()).collect();
        // The guess at cadences is said beside the cut.
        check_cuts(&file, &ends, &["cadence_doubled"]);
    }
}

#[test]
fn chained_fit_files_cut_at_any_byte() {
    let one = testdata("tiny.fit");
    let two = [one.clone(), one.clone()].concat();
    for cut in one.len() + 1..two.len() {
        let noted = try_read(&two[..cut]).unwrap();
        let expected = 3 + [71, 84, 107].iter().filter(|end| one.len() + **end <= cut).count();
        assert_eq!(samples(&noted).len(), expected, "cut at {cut}");
        let codes: Vec<_> = noted.notices.iter().map(|notice| notice.code.word()).collect();
        let placed = codes.iter().filter(|code| ["recording_cut", "trailing_bytes"].contains(code)).count();
        assert_eq!(placed, 1, "cut at {cut}: {codes:?}");
    }
}

#[test]
fn a_gzip_cut_at_any_byte() {
    use std::io::Write;
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(&testdata("tiny.gpx")).unwrap();
    let zipped = encoder.finish().unwrap();
    let mut readable = 0;
    for cut in 3..zipped.len() {
        if let Ok(noted) = try_read(&zipped[..cut]) {
            readable += 1;
            let codes: Vec<_> = noted.notices.iter().map(|notice| notice.code.word()).collect();
            assert_eq!(
                codes.iter().filter(|code| code.ends_with("_cut")).collect::<Vec<_>>(),
                [&"gzip_cut"],
                "cut at {cut}"
            );
        }
    }
    assert!(readable > 50, "{readable} cuts leave anything to read");
}

#[test]
fn one_damaged_record_header_costs_that_record_only() {
    let file = crate::fit_bytes::plain_run(30).finish();
    let whole = samples(&try_read(&file).unwrap());
    let first_end = (0..file.len()).find(|cut| try_read(&file[..*cut]).is_ok()).unwrap();
    for lost in 0..30 {
        let mut broken = file.clone();
        broken[first_end - 21 + lost * 21] = 0x0C; // a local type that is not defined
        let noted = try_read(&broken).unwrap();
        let mut expected = whole.clone();
        expected.remove(lost);
        if lost == 0 {
            for sample in &mut expected {
                sample.time_s -= 1.0;
            }
        }
        assert_eq!(samples(&noted), expected, "record {lost}");
        let codes: Vec<_> = noted.notices.iter().map(|notice| notice.code.word()).collect();
        assert_eq!(codes, ["fit_damaged", "checksum_wrong"], "record {lost}");
    }
}

/// Flips one to four bytes, sometimes drops or doubles a stretch, and reads.
fn check_flips(file: &[u8], seed: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut read_fully, mut with_notice, mut refused) = (0, 0, 0);
    for _ in 0..FLIPS {
        let mut broken = file.to_vec();
        for _ in 0..rng.random_range(1..=4) {
            let at = rng.random_range(0..broken.len());
            broken[at] =
                if rng.random_bool(0.5) { rng.random() } else { broken[at] ^ 1 << rng.random_range(0..8) };
        }
        if rng.random_bool(0.2) {
            let from = rng.random_range(0..broken.len());
            let to = (from + rng.random_range(0..40)).min(broken.len());
            let stretch: Vec<u8> = broken.drain(from..to).collect();
            if rng.random_bool(0.5) {
                let twice = [stretch.clone(), stretch].concat();
                broken.splice(from..from, twice);
            }
        }
        match try_read(&broken) {
            Ok(noted) => {
                // Readers do not check again what they made so; whoever makes a recording otherwise is checked.
                let checked =
                    noted.value.iter().map(|recording| Recording::new(recording.clone().into_parts()));
                checked.for_each(|checked| assert_eq!(checked.err(), None));
                if noted.notices.is_empty() { read_fully += 1 } else { with_notice += 1 }
            }
            Err(_) => refused += 1,
        }
    }
    println!("{FLIPS} broken files: {read_fully} read, {with_notice} read with notices, {refused} refused");
    assert!(with_notice > FLIPS / 100 && refused > 0, "the flips reach every outcome");
}

#[test]
fn fit_with_flipped_bytes() {
    check_flips(&testdata("tiny.fit"), 1);
    check_flips(&crate::fit_bytes::plain_run(30).finish(), 2);
}

#[test]
fn gpx_with_flipped_bytes() {
    check_flips(&testdata("tiny.gpx"), 3);
}

#[test]
fn tcx_with_flipped_bytes() {
    check_flips(&testdata("tiny.tcx"), 4);
}
