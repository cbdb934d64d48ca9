//! Every kind of bad input gives its own error, or is read as far as it can be with its own notice.

use std::path::Path;

use jogaudit_recording::read::{Format, ReadConfig, ReadError, ReadErrorKind, Recording, Sport, read};

fn malformed(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/malformed").join(name);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn error(bytes: &[u8]) -> ReadError {
    read(bytes, &ReadConfig::default()).expect_err("an error")
}

fn refused(name: &str) -> ReadErrorKind {
    error(&malformed(name)).kind
}

/// Reads a file and checks the codes of its notices.
fn read_with(name: &str, codes: &[&str]) -> Vec<Recording> {
    read_bytes_with(&malformed(name), codes)
}

fn read_bytes_with(bytes: &[u8], codes: &[&str]) -> Vec<Recording> {
    let noted = read(bytes, &ReadConfig::default()).expect("readable");
    assert_eq!(
        noted.notices.iter().map(|notice| notice.code.word()).collect::<Vec<_>>(),
        codes,
        "{:#?}",
        noted.notices
    );
    noted.value
}

/// Reads a file of one recording.
fn one_with(name: &str, codes: &[&str]) -> Recording {
    let mut recordings = read_with(name, codes);
    assert_eq!(recordings.len(), 1);
    recordings.remove(0)
}

fn counts(recordings: &[Recording]) -> Vec<usize> {
    recordings.iter().map(|recording| recording.samples().len()).collect()
}

fn foreign(looks_like: &str) -> ReadErrorKind {
    ReadErrorKind::UnknownFormat { looks_like: looks_like.to_owned() }
}

#[test]
fn what_is_no_recording() {
    assert_eq!(refused("empty.fit"), ReadErrorKind::Empty);
    assert_eq!(refused("text.txt"), foreign("text that starts with `Tuesday: 6 x 1 min, felt`"));
    assert_eq!(refused("picture.png"), foreign("a PNG picture"));
    assert_eq!(refused("web_page.gpx"), foreign("a web page (often a log-in page saved by mistake)"));
    assert_eq!(refused("nothing_unfolds.gpx.gz"), ReadErrorKind::GzipUnreadable);
    assert_eq!(refused("cut_before_first_sample.fit"), ReadErrorKind::CutBeforeFirstSample);
    assert_eq!(refused("no_times.gpx"), ReadErrorKind::NoTimes { points: 4 });
    assert_eq!(refused("no_samples.tcx"), ReadErrorKind::NoSamples);
    assert_eq!(refused("only_waypoints.gpx"), ReadErrorKind::OnlyRoute);
}

#[test]
fn errors_say_what_where_and_what_to_do() {
    let text = |name: &str| error(&malformed(name)).to_string();
    assert_eq!(text("empty.fit"), "the input is empty: export the recording again");
    assert_eq!(
        text("cut_before_first_sample.fit"),
        "the file is cut before its first whole sample: export or copy it again (byte 29)"
    );
    assert_eq!(
        text("no_times.gpx"),
        "none of the 4 points has a time that can be read: export the recorded activity, not a drawn course"
    );
    assert_eq!(
        text("picture.png"),
        "not a FIT, GPX or TCX recording but a PNG picture: export the activity in one of these formats"
    );
    assert_eq!(error(&malformed("no_samples.tcx")).format, Some(Format::Tcx));
}

#[test]
fn cut_files_are_read_to_the_cut() {
    // 82 of 109 bytes: the second record would be bytes 71 to 84.
    let noted = read(&malformed("cut.fit"), &ReadConfig::default()).unwrap();
    assert_eq!(counts(&noted.value), [1]);
    let [notice] = noted.notices.as_slice() else { panic!("{:?}", noted.notices) };
    assert_eq!(notice.code.word(), "recording_cut");
    let place = notice.place.as_ref().unwrap();
    assert_eq!((place.byte, place.record), (Some(71), Some(1)));
    let samples = one_with("cut.gpx.gz", &["gzip_cut"]).samples().len();
    assert!((1..40).contains(&samples), "{samples}");
}

#[test]
fn broken_fit_files() {
    assert_eq!(one_with("bad_checksum.fit", &["checksum_wrong"]).samples().len(), 3);
    let chained = read_with("chained.fit", &[]);
    let starts: Vec<String> = chained.iter().map(|recording| recording.start().to_string()).collect();
    assert_eq!(starts, ["2025-01-01T00:00:00Z", "2024-12-31T20:59:44Z"], "in the order of the file");
}

#[test]
fn odd_encodings_and_namespaces() {
    for (name, codes) in [
        ("bom.gpx", &[][..]),
        ("utf16.gpx", &[]),
        ("latin1.gpx", &[]),
        ("no_namespace.gpx", &[]),
        ("prefixed_root.gpx", &[]),
        ("undeclared_prefix.gpx", &["cadence_doubled"]),
        ("entity_bomb.gpx", &["entity_not_expanded"]),
        ("mismatched_tags.gpx", &["xml_damaged"]),
        ("no_zone.gpx", &["time_without_zone"]),
    ] {
        let recording = one_with(name, codes);
        assert_eq!(recording.samples().len(), 4, "{name}");
        assert_eq!(recording.start().to_string(), "2025-01-01T00:00:00Z", "{name}");
        assert_eq!(*recording.sport(), Sport::Running, "{name}");
        let last = recording.samples()[3];
        assert_eq!((last.time_s, last.position.unwrap().lat_deg()), (3.0, 59.900_067_5), "{name}");
    }
    let undeclared = one_with("undeclared_prefix.gpx", &["cadence_doubled"]).samples()[3];
    assert_eq!(undeclared.cadence.unwrap().get(), 160.0);
    assert_eq!(undeclared.heart_rate.unwrap().get(), 123.0);
    assert_eq!(one_with("spaces_before_declaration.tcx", &["cadence_doubled"]).samples().len(), 4);
}

#[test]
fn mismatched_tags_are_placed() {
    let noted = read(&malformed("mismatched_tags.gpx"), &ReadConfig::default()).unwrap();
    assert_eq!(noted.notices[0].place.as_ref().unwrap().line, Some(8));
}

#[test]
fn longitude_180() {
    let longitudes: Vec<f64> = one_with("longitude_180.gpx", &[])
        .samples()
        .iter()
        .map(|sample| sample.position.unwrap().lon_deg())
        .collect();
    assert_eq!(longitudes, [179.999_99, 180.0, -180.0, -179.999_99]);
}

#[test]
fn a_month_long_hole() {
    let recording = one_with("month_long_hole.gpx", &[]);
    assert_eq!(recording.samples().len(), 8);
    assert_eq!(recording.samples()[7].time_s, 31.0 * 86_400.0 + 3.0);
}

#[test]
fn several_activities() {
    let two = read_with("two_activities.tcx", &["cadence_doubled"]);
    assert_eq!(counts(&two), [2, 2]);
    assert_eq!([two[0].sport(), two[1].sport()], [&Sport::Running, &Sport::Unspecified]);
    let one = read_with("one_of_two_without_samples.tcx", &["cadence_doubled", "activity_without_samples"]);
    assert_eq!(counts(&one), [2]);
}

#[test]
fn sports_not_on_foot_are_read() {
    let ride = one_with("cycling.tcx", &[]);
    assert_eq!(*ride.sport(), Sport::Other("Biking".to_owned()));
    assert!(!ride.sport().on_foot() && ride.samples().len() == 4);
    assert!(ride.samples().iter().all(|sample| sample.cadence.is_none()), "crank turns are no steps");
    assert_eq!(*one_with("swimming.gpx", &[]).sport(), Sport::Other("open_water_swimming".to_owned()));
}

#[test]
fn a_gzip_bomb_stops_at_the_limit() {
    let zipped = zip(&vec![b' '; 40_000_000]);
    assert!(zipped.len() < 50_000);
    let error = read(&zipped, &ReadConfig { max_unzipped_bytes: 1_000_000 }).unwrap_err();
    assert_eq!(error.kind, ReadErrorKind::TooLarge { limit_bytes: 1_000_000 });
    assert_eq!(
        error.to_string(),
        "the zipped content unfolds to more than 1000000 bytes: unzip it yourself if that is what you expect"
    );
    // Below the usual limit in size, but no recording repeats itself like this.
    let error = read(&zipped, &ReadConfig::default()).unwrap_err();
    assert_eq!(error.kind, ReadErrorKind::UnfoldsTooFar { limit_times: 200 });
    assert_eq!(
        error.to_string(),
        "the zipped content unfolds to more than 200 times its size, as no recording does: export it again, or unzip it \
         yourself if that is what you expect"
    );
}

#[test]
fn zipped_reads_like_plain() {
    let plain = malformed("two_activities.tcx");
    let (first, second) = plain.split_at(1000);
    let expected = read(&plain, &ReadConfig::default()).unwrap();
    assert_eq!(read(&zip(&plain), &ReadConfig::default()).unwrap(), expected);
    let members = [zip(first), zip(second)].concat();
    assert_eq!(read(&members, &ReadConfig::default()).unwrap(), expected, "of two members");
    assert_eq!(error(&zip(&zip(&plain))).kind, foreign("gzip data inside gzip data (unzip it once)"));
    let archive =
        std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/archive.zip")).unwrap();
    assert_eq!(error(&zip(&archive)).kind, foreign("a zip archive inside gzip data (unzip it once)"));
    assert_eq!(error(&zip(b"")).kind, ReadErrorKind::Empty);
}

#[test]
fn a_text_node_of_100_megabytes() {
    let gpx = String::from_utf8(malformed("no_namespace.gpx")).unwrap();
    let huge = gpx.replace("<type>", &format!("<name>{}</name><type>", "x".repeat(100_000_000)));
    assert_eq!(counts(&read_bytes_with(huge.as_bytes(), &[])), [4]);
}

#[test]
fn nesting_without_end() {
    let gpx = String::from_utf8(malformed("no_namespace.gpx")).unwrap();
    let deep = gpx.replace("</trkseg>", &"<a>".repeat(1_000_000));
    assert_eq!(counts(&read_bytes_with(deep.as_bytes(), &["xml_damaged"])), [4]);
}

#[test]
fn markup_broken_again_and_again() {
    // Each unclosed comment would make a reader look through the whole rest for its end.
    let gpx = String::from_utf8(malformed("no_namespace.gpx")).unwrap();
    let broken = gpx.replace("</trkseg>", &"<!-- x ".repeat(200_000));
    assert_eq!(counts(&read_bytes_with(broken.as_bytes(), &["recording_cut"])), [4]);
}

/// Reads files that are made to cost time or memory out of proportion: each ends by its bound. What is looked through again
/// for every part of it would take hours.
#[test]
fn files_made_to_hurt() {
    let read = |bytes: &[u8]| read(bytes, &ReadConfig::default());
    let header =
        |data_size: u32| [&[14, 0x20, 0x54, 0x08][..], &data_size.to_le_bytes(), b".FIT", &[0, 0]].concat();
    // A record of one byte: its time is compressed, it has no fields.
    let mut tiny_records = header(0);
    tiny_records.extend([0x40, 0, 0, 23, 0, 1, 253, 4, 0x86, 0, 0, 0, 0, 0x40, 0x41, 0, 0, 20, 0, 0]);
    tiny_records.resize(3_000_000, 0xA1);
    let noted = read(&tiny_records).unwrap();
    assert_eq!(counts(&noted.value), [1 << 20]);
    assert!(noted.notices.iter().any(|notice| notice.code.word() == "too_many_samples"));
    // A chain of 70,000 files, each of which claims nearly all the rest.
    let mut chain = Vec::new();
    for index in 0..70_000 {
        chain.extend(header((980_000_u32 - index * 14).saturating_sub(21)));
    }
    assert_eq!(read(&chain).unwrap_err().kind, ReadErrorKind::CutBeforeFirstSample);
    let mut nonsense = header(4_999_984);
    nonsense.resize(5_000_000, 0x0C);
    assert!(read(&nonsense).is_err());
    let sessions = [&[0x40, 0, 0, 18, 0, 1, 2, 4, 0x86][..]]
        .into_iter()
        .map(<[u8]>::to_vec)
        .chain((0..200_000_u32).map(|index| [&[0][..], &(0x4000_0000 + index).to_le_bytes()].concat()))
        .chain([vec![0x41, 0, 0, 20, 0, 1, 253, 4, 0x86]])
        .chain((0..200_000_u32).map(|index| [&[1][..], &(0x4000_0000 + index).to_le_bytes()].concat()));
    let sessions = [header(0), sessions.collect::<Vec<_>>().concat()].concat();
    assert_eq!(read(&sessions).unwrap().value.len(), 1000);
    let members = zip(b"").repeat(20_000);
    assert!(read(&members).is_err());
    let tracks = format!("<gpx>{}</gpx>", "<trk></trk>".repeat(200_000));
    assert_eq!(read(tracks.as_bytes()).unwrap_err().kind, ReadErrorKind::NoSamples);
    let attributes = format!("<gpx><trk><trkseg><trkpt {}/></trkseg></trk></gpx>", "a='1' ".repeat(200_000));
    assert!(read(attributes.as_bytes()).is_err());
}

fn zip(bytes: &[u8]) -> Vec<u8> {
    use std::io::Write;
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

#[test]
fn the_table_in_the_docs_names_real_tests() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let docs = std::fs::read_to_string(root.join("../../docs/formats.md")).unwrap();
    let mut names = 0;
    for (file, test) in docs.split('`').filter_map(|quoted| quoted.split_once("::")) {
        let sources = [format!("tests/read/{file}.rs"), format!("src/read/{file}.rs")];
        let source = sources.iter().find_map(|path| std::fs::read_to_string(root.join(path)).ok());
        let source = source.unwrap_or_else(|| panic!("no file for `{file}`"));
        assert!(source.contains(&format!("fn {test}()")), "no test `{file}::{test}`");
        names += 1;
    }
    assert!(names > 50, "{names}");
}
