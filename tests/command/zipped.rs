//! Zip archives by the command.

use std::io::{Cursor, Write};

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use crate::folder::Folder;
use crate::program::top;

fn pack(name: &str, content: &[u8]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    writer.start_file(name, SimpleFileOptions::default()).unwrap();
    writer.write_all(content).unwrap();
    writer.finish().unwrap().into_inner()
}

#[test]
fn the_command_takes_an_archive_and_a_limit() {
    let folder = Folder::new();
    let gpx = std::fs::read_to_string(top().join("testdata/tiny.gpx")).unwrap();
    let noise = (0..40_000_u32).fold(String::new(), |mut text, i| {
        let _ = std::fmt::Write::write_fmt(&mut text, format_args!("{:x}", i.wrapping_mul(2_654_435_761)));
        text
    });
    let large = gpx.replace("<trkseg>", &format!("<trkseg><!-- {} -->", noise.repeat(4)));
    assert!(large.len() > 1 << 20 && large.len() < 2 << 20);
    folder.write("runs.zip", pack("run.gpx", large.as_bytes()));
    let bouts = |limit: &[&str]| {
        let (code, _, err) = folder.run(&[&["bouts", "runs.zip"], limit].concat(), b"");
        (code, err)
    };
    assert_eq!(bouts(&[]).0, 0);
    assert_eq!(bouts(&["--max-unzipped", "2"]).0, 0);
    let (code, err) = bouts(&["--max-unzipped", "1"]);
    assert_eq!(code, 2);
    assert!(err.contains("the zipped content unfolds to more than 1048576 bytes"), "{err}");
    assert_eq!(bouts(&["--max-unzipped", "0"]).0, 2);
}
