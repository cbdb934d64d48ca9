//! Zip archives by the command.

use std::io::{Cursor, Write};
use std::path::Path;

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

fn pack(name: &str, content: &[u8]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    writer.start_file(name, SimpleFileOptions::default()).unwrap();
    writer.write_all(content).unwrap();
    writer.finish().unwrap().into_inner()
}

#[test]
fn the_command_takes_an_archive_and_a_limit() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("runs.zip");
    let gpx =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/tiny.gpx")).unwrap();
    let noise = (0..40_000_u32).fold(String::new(), |mut text, i| {
        let _ = std::fmt::Write::write_fmt(&mut text, format_args!("{:x}", i.wrapping_mul(2_654_435_761)));
        text
    });
    let large = gpx.replace("<trkseg>", &format!("<trkseg><!-- {} -->", noise.repeat(4)));
    assert!(large.len() > 1 << 20 && large.len() < 2 << 20);
    std::fs::write(&path, pack("run.gpx", large.as_bytes())).unwrap();
    let bouts = |limit: &[&str]| {
        let mut command = assert_cmd::Command::new(env!("CARGO_BIN_EXE_jogaudit"));
        command.arg("bouts").arg(&path).args(limit).assert()
    };
    bouts(&[]).success();
    bouts(&["--max-unzipped", "2"]).success();
    let refused = bouts(&["--max-unzipped", "1"]).code(2);
    let stderr = String::from_utf8_lossy(&refused.get_output().stderr).into_owned();
    assert!(stderr.contains("the zipped content unfolds to more than 1048576 bytes"), "{stderr}");
    bouts(&["--max-unzipped", "0"]).code(2);
}
