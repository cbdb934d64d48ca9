//! Zip archives, by content: every recording in them, bounded, and a clear word on all else.

use std::io::{Cursor, Write};
use std::path::Path;

use jogaudit_recording::notice::Noted;
use jogaudit_recording::read::{Format, ReadConfig, ReadError, ReadErrorKind, Recording, read};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

fn testdata(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata").join(name)).unwrap()
}

fn pack(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
        writer.start_file(*name, options).unwrap();
        writer.write_all(content).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn try_read(bytes: &[u8]) -> Result<Noted<Vec<Recording>>, ReadError> {
    read(bytes, &ReadConfig::default())
}

fn error(bytes: &[u8]) -> String {
    try_read(bytes).expect_err("an error").to_string()
}

/// Formats with their numbers of samples, and the notices.
fn told(bytes: &[u8]) -> (Vec<(Format, usize)>, Vec<String>) {
    let noted = try_read(bytes).expect("readable");
    let recordings =
        noted.value.iter().map(|recording| (recording.format(), recording.samples().len())).collect();
    let notices = noted.notices.iter().map(|notice| format!("{}: {}", notice.code, notice.text)).collect();
    (recordings, notices)
}

/// Sets a 16-bit field at these offsets from each local and each central header.
fn set(archive: &mut [u8], in_local: usize, in_central: usize, value: u16) {
    for (magic, offset) in [(b"PK\x03\x04", in_local), (b"PK\x01\x02", in_central)] {
        let headers: Vec<usize> =
            archive.windows(4).enumerate().filter(|(_, w)| w == magic).map(|(at, _)| at).collect();
        for at in headers {
            archive[at + offset..at + offset + 2].copy_from_slice(&value.to_le_bytes());
        }
    }
}

#[test]
fn an_archive_reads_like_its_files() {
    let files: Vec<(&str, Vec<u8>)> =
        ["tiny.fit", "tiny.gpx", "tiny.tcx"].into_iter().map(|name| (name, testdata(name))).collect();
    let packed: Vec<(&str, &[u8])> =
        files.iter().map(|(name, content)| (*name, content.as_slice())).collect();
    let expected: Vec<Recording> =
        files.iter().flat_map(|(_, content)| try_read(content).unwrap().value).collect();
    assert_eq!(try_read(&pack(&packed)).unwrap().value, expected);
    // One file, stored and not packed, by another program.
    assert_eq!(told(&testdata("archive.zip")), (vec![(Format::Gpx, 1)], vec![]));
}

#[test]
fn other_files_are_said_and_stepped_over() {
    // Written to a pipe by another program (Python's zipfile): sizes stand behind the files only.
    let (recordings, notices) = told(&testdata("streamed.zip"));
    assert_eq!(recordings, [(Format::Fit, 3), (Format::Gpx, 4), (Format::Tcx, 5)]);
    let [gpx, tcx, others] = notices.as_slice() else { panic!("{notices:?}") };
    assert!(gpx.starts_with("cadence_doubled: `week 1/tiny.gpx.gz`: cadence"), "{gpx}");
    assert!(tcx.starts_with("cadence_doubled: `week 2/tiny.tcx`: cadence"), "{tcx}");
    assert_eq!(
        *others,
        "zip_other_files: files of the zip archive that are no recordings, skipped: 1; the first is `notes.txt`, text that \
         starts with `Tuesday: 6 x 1 min, felt`"
    );
}

#[test]
fn a_broken_recording_costs_itself_only() {
    let fit = testdata("tiny.fit");
    let archive = pack(&[("cut.fit", &fit[..40]), ("cut later.fit", &fit[..80]), ("whole.fit", &fit)]);
    let (recordings, notices) = told(&archive);
    assert_eq!(recordings, [(Format::Fit, 1), (Format::Fit, 3)]);
    assert_eq!(
        notices,
        [
            "zip_file_unreadable: `cut.fit` in the zip archive is skipped: the file is cut before its first whole sample: \
             export or copy it again (byte 37)",
            "recording_cut: `cut later.fit`: the file ends in the middle: the 1 records whole before the cut are read",
        ]
    );
}

#[test]
fn archives_without_a_recording() {
    assert_eq!(
        error(&pack(&[("a.txt", b"hello"), ("b.pdf", b"%PDF-1.7")])),
        "no FIT, GPX or TCX recording among the 2 files of the zip archive (the first is `a.txt`, text that starts with \
         `hello`): export the activity in one of these formats"
    );
    let nested = pack(&[("inner.zip", &pack(&[("tiny.fit", &testdata("tiny.fit"))]))]);
    assert!(
        error(&nested).contains("`inner.zip`, a zip archive inside another (unzip it once)"),
        "{}",
        error(&nested)
    );
    let unreadable = "the zip archive holds no file that can be unfolded: download or export it again";
    assert_eq!(error(&pack(&[])), unreadable);
    assert_eq!(error(b"PK\x03\x04"), unreadable);
    // Of a single file its own fault is told.
    assert!(matches!(
        try_read(&pack(&[("no_times.gpx", &testdata("malformed/no_times.gpx"))])).unwrap_err().kind,
        ReadErrorKind::NoTimes { points: 4 }
    ));
}

#[test]
fn locked_and_packed_otherwise() {
    let fit = testdata("tiny.fit");
    let mut locked = pack(&[("tiny.fit", &fit)]);
    set(&mut locked, 6, 8, 1);
    assert_eq!(
        error(&locked),
        "the zip archive is locked with a password: unzip it yourself and pass the file inside"
    );
    let mut otherwise = pack(&[("tiny.fit", &fit)]);
    set(&mut otherwise, 8, 10, 12);
    assert_eq!(
        error(&otherwise),
        "the zip archive is packed with Bzip2, which is not known here: unzip it yourself and pass the file inside"
    );
}

#[test]
fn an_archive_cut_anywhere_keeps_what_is_whole() {
    let fit = testdata("tiny.fit");
    let archive = pack(&[("one.fit", &fit), ("two.fit", &fit)]);
    let directory = archive.windows(4).position(|window| window == b"PK\x01\x02").unwrap();
    let second = archive.windows(4).rposition(|window| window == b"PK\x03\x04").unwrap();
    for cut in 4..archive.len() {
        let whole = [second, directory].iter().filter(|end| **end <= cut).count();
        match try_read(&archive[..cut]) {
            Ok(noted) => {
                assert!(noted.value.len() >= whole, "cut at {cut}");
                assert!(noted.value[..whole].iter().all(|recording| recording.samples().len() == 3));
                assert!(
                    noted
                        .notices
                        .iter()
                        .any(|notice| ["zip_damaged", "zip_cut"].contains(&notice.code.word())),
                    "cut at {cut}: {:?}",
                    noted.notices
                );
            }
            Err(_) => assert_eq!(whole, 0, "cut at {cut}"),
        }
    }
}

#[test]
fn damaged_content_is_read_up_to_the_damage() {
    let mut gpx = String::from_utf8(testdata("tiny.gpx")).unwrap();
    gpx.insert_str(gpx.find("</trkseg>").unwrap(), &"<!-- to make it long -->".repeat(40));
    let mut archive = pack(&[("run.gpx", gpx.as_bytes())]);
    // The stored checksum of the content, in both headers: everything unfolds, and something is amiss.
    set(&mut archive, 14, 16, 0xBEEF);
    let (recordings, notices) = told(&archive);
    assert_eq!(recordings, [(Format::Gpx, 4)]);
    assert!(
        notices[0].starts_with("zip_cut: `run.gpx` in the zip archive is cut or damaged (Invalid checksum)"),
        "{notices:?}"
    );
}

#[test]
fn what_may_unfold_is_bounded_over_all_files() {
    let gpx = testdata("tiny.gpx");
    let archive = pack(&[("one.gpx", &gpx), ("two.gpx", &gpx)]);
    let read_at_most = |max_unzipped_bytes| read(&archive, &ReadConfig { max_unzipped_bytes });
    let size = gpx.len() as u64;
    assert_eq!(read_at_most(2 * size).unwrap().value.len(), 2);
    let one = read_at_most(2 * size - 1).unwrap();
    assert_eq!(one.value.len(), 1);
    assert_eq!(one.notices.last().unwrap().code.word(), "zip_too_much");
    assert_eq!(read_at_most(size - 1).unwrap_err().kind, ReadErrorKind::TooLarge { limit_bytes: size - 1 });

    let bomb = [gpx.clone(), vec![b' '; 20_000_000]].concat();
    assert_eq!(
        try_read(&pack(&[("bomb.gpx", &bomb)])).unwrap_err().kind,
        ReadErrorKind::UnfoldsTooFar { limit_times: 200 }
    );
    // What is no recording is not unfolded, so its size does not count.
    let film = [&b"\0\0\0\x18ftypmp42"[..], &vec![0; 20_000_000]].concat();
    assert_eq!(told(&pack(&[("film.mp4", &film), ("run.gpx", &gpx)])).0, [(Format::Gpx, 4)]);
}

/// Reads archives that are made to cost time or memory out of proportion: each ends by its bound. What is looked through
/// again for every part of it would take hours.
#[test]
fn files_made_to_hurt() {
    let listed = [&b"PK\x03\x04"[..], &b"PK\x01\x02".repeat(70_000)].concat();
    assert_eq!(try_read(&listed).unwrap_err().kind, ReadErrorKind::ZipTooManyFiles { limit: 65_536 });
    let names: Vec<String> = (0..10_000).map(|index| format!("{index}.txt")).collect();
    let files: Vec<(&str, &[u8])> = names.iter().map(|name| (name.as_str(), &b""[..])).collect();
    let first = "`0.txt`, an empty file".to_owned();
    assert_eq!(
        try_read(&pack(&files)).unwrap_err().kind,
        ReadErrorKind::NoRecordingInZip { files: 10_000, first }
    );
    let mut records = b"\x0E\x20\x54\x08\0\0\0\0.FIT\0\0".to_vec();
    records.extend([0x40, 0, 0, 23, 0, 1, 253, 4, 0x86, 0, 0, 0, 0, 0x40, 0x41, 0, 0, 20, 0, 0]);
    records.resize(1_500_000, 0xA1);
    let files: Vec<(&str, &[u8])> = ["1", "2", "3", "4"].into_iter().map(|name| (name, &*records)).collect();
    let noted = try_read(&pack(&files)).unwrap();
    assert_eq!(noted.value.len(), 3);
    assert_eq!(noted.notices.last().unwrap().code.word(), "zip_too_much");
}

#[test]
fn two_files_of_one_name() {
    let mut archive = pack(&[("1.fit", &testdata("tiny.fit")), ("2.gpx", &testdata("tiny.gpx"))]);
    let names: Vec<usize> = (0..archive.len()).filter(|at| archive[*at..].starts_with(b"2.gpx")).collect();
    for at in names {
        archive[at..at + 5].copy_from_slice(b"1.fit");
    }
    let (recordings, notices) = told(&archive);
    assert_eq!(recordings, [(Format::Gpx, 4)]);
    assert_eq!(
        notices[0],
        "zip_names_twice: the zip archive holds several files of one name: the last of each is read"
    );
}

#[test]
fn notices_of_hundreds_of_files_are_counted() {
    let gpx = testdata("tiny.gpx");
    let names: Vec<String> = (0..300).map(|index| format!("{index}.gpx")).collect();
    let mut files: Vec<(&str, &[u8])> = names.iter().map(|name| (name.as_str(), gpx.as_slice())).collect();
    files.extend([("a.fit", &b"\x0E\x20\0\0\0\0\0\0.FIT"[..]); 1]);
    let (recordings, notices) = told(&pack(&files));
    assert_eq!(recordings.len(), 300);
    assert_eq!(notices.len(), 5 + 1 + 1, "{notices:#?}");
    assert!(notices[4].starts_with("cadence_doubled: `4.gpx`: "), "{}", notices[4]);
    assert!(notices[5].starts_with("zip_file_unreadable: `a.fit`"), "{}", notices[5]);
    assert_eq!(notices[6], "cadence_doubled: further notices of this kind from the zip archive: 295");
}
