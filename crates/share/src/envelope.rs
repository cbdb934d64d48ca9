//! Plain, gzip, zip: the new file comes in what the old one came in.

use std::io::{Cursor, Write};

use flate2::{Compression, GzBuilder};
use jogaudit_recording::notice::Place;
use jogaudit_recording::read::{Envelope, Format, MOST_FIT_PARTS, ReadError, ReadErrorKind, Recording};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::{fit, tcx};

/// What the name of such a file ends with.
pub(crate) const fn ending(envelope: Envelope, is_fit: bool) -> &'static str {
    match (envelope, is_fit) {
        (Envelope::Plain, true) => ".fit",
        (Envelope::Plain, false) => ".tcx",
        (Envelope::Gzip, true) => ".fit.gz",
        (Envelope::Gzip, false) => ".tcx.gz",
        (Envelope::Zip, _) => ".zip",
    }
}

/// Writes recordings as one file.
pub(crate) fn write(envelope: Envelope, recordings: &[Recording]) -> Result<Vec<u8>, ReadError> {
    match envelope {
        Envelope::Plain => plain(recordings),
        Envelope::Gzip => gzip(&plain(recordings)?),
        Envelope::Zip => archive(recordings),
    }
}

/// Several activities of FIT are files in a chain, those of the other formats stand in one document.
fn plain(recordings: &[Recording]) -> Result<Vec<u8>, ReadError> {
    let is_fit = recordings.iter().all(|recording| recording.format() == Format::Fit);
    if is_fit && recordings.len() > MOST_FIT_PARTS {
        return Err(refused(ReadErrorKind::TooManyActivities { limit: MOST_FIT_PARTS }));
    }
    Ok(if is_fit { recordings.iter().flat_map(fit::write).collect() } else { tcx::write(recordings) })
}

/// The header holds neither a name nor a time.
fn gzip(content: &[u8]) -> Result<Vec<u8>, ReadError> {
    let mut encoder = GzBuilder::new().mtime(0).write(Vec::new(), Compression::default());
    encoder.write_all(content).and_then(|()| encoder.finish()).map_err(|_| unwritable())
}

/// One file an activity, so that numbers count alike; names of files may be private, so they are numbers.
fn archive(recordings: &[Recording]) -> Result<Vec<u8>, ReadError> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default());
    let digits = recordings.len().to_string().len();
    for (number, recording) in (1..).zip(recordings) {
        let one = std::slice::from_ref(recording);
        let ending = self::ending(Envelope::Plain, recording.format() == Format::Fit);
        zip.start_file(format!("{number:0digits$}{ending}"), options).map_err(|_| unwritable())?;
        zip.write_all(&plain(one)?).map_err(|_| unwritable())?;
    }
    Ok(zip.finish().map_err(|_| unwritable())?.into_inner())
}

/// Memory takes every byte; only a file beyond the format's 4 GiB can be refused.
fn unwritable() -> ReadError {
    refused(ReadErrorKind::TooLarge { limit_bytes: u64::from(u32::MAX) })
}

fn refused(kind: ReadErrorKind) -> ReadError {
    ReadError { format: None, at: Place::default(), kind }
}
