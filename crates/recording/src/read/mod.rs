//! Bytes of a FIT, GPX or TCX recording → [`Recording`]. Salvages what is readable.
//!
//! Nothing here knows files, paths or the clock. Nothing here panics on any input: `tests/read/broken.rs` cuts and flips
//! bytes.

#![cfg_attr(
    not(test),
    warn(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing, clippy::panic)
)]

mod bounds;
mod builder;
mod cadence;
mod decompression;
mod element_text;
mod error;
mod facts;
mod fit;
mod gpx;
mod gunzip;
mod points;
mod recording;
mod sniff;
mod sport;
mod tally;
mod tcx;
mod template;
mod text;
mod time;
mod unzip;
mod xml;

pub use error::{ReadError, ReadErrorKind};
pub use facts::{Channel, Facts};
pub use recording::{
    Guess, GuessSource, GuessedGait, Lap, LapIntensity, LapTrigger, Recording, RecordingError,
    RecordingParts, Sample, Sport, TimerEvent,
};
pub use sniff::Format;

use decompression::DecompressionBudget;
use sniff::ContentKind;

use crate::notice::{Noted, Notice, NoticeCode};

/// Limits of reading.
#[derive(Clone, Copy, Debug)]
pub struct ReadConfig {
    /// Most bytes that a zipped input may decompress to. Default 512 MiB, our choice.
    pub max_unzipped_bytes: u64,
}

impl Default for ReadConfig {
    fn default() -> Self {
        Self { max_unzipped_bytes: 512 << 20 }
    }
}

/// Reads every activity in `bytes` (plain, gzipped or in a zip archive; what it is is told from the content).
///
/// The list is never empty and stands in the order of the file.
///
/// # Errors
/// When nothing usable can be made of the input: see [`ReadErrorKind`].
pub fn read(bytes: &[u8], config: &ReadConfig) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut budget = DecompressionBudget::new(bytes, *config);
    if sniff::content_kind(bytes) == ContentKind::Zip {
        unzip::read(bytes, &mut budget)
    } else {
        read_file(bytes, &mut budget)
    }
}

/// Reads a file, plain or gzipped.
fn read_file(bytes: &[u8], budget: &mut DecompressionBudget) -> Result<Noted<Vec<Recording>>, ReadError> {
    if sniff::content_kind(bytes) != ContentKind::Gzip {
        return read_plain(bytes);
    }
    let unfolded = gunzip::gunzip(bytes, budget)?;
    let mut recordings = read_plain(&unfolded.value)?;
    recordings.notices = merged(unfolded.notices, recordings.notices);
    Ok(recordings)
}

fn read_plain(bytes: &[u8]) -> Result<Noted<Vec<Recording>>, ReadError> {
    let foreign = |looks_like: String| ReadError::new(None, ReadErrorKind::UnknownFormat { looks_like });
    match sniff::content_kind(bytes) {
        _ if bytes.is_empty() => Err(ReadError::new(None, ReadErrorKind::Empty)),
        ContentKind::Fit => fit::read(bytes),
        ContentKind::Gzip => Err(foreign("gzip data inside gzip data (unzip it once)".to_owned())),
        ContentKind::Zip => Err(foreign("a zip archive inside gzip data (unzip it once)".to_owned())),
        ContentKind::Foreign(what) => Err(foreign(what.to_owned())),
        ContentKind::Text => read_text(bytes),
    }
}

fn read_text(bytes: &[u8]) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut notices = Vec::new();
    let text = text::decode(bytes, &mut notices);
    let root = xml::root_name(&text);
    let mut recordings = match sniff::xml_format(root.as_deref()) {
        Some(Format::Gpx) => gpx::read(&text)?,
        Some(Format::Tcx) => tcx::read(&text)?,
        _ => {
            let looks_like = sniff::describe_text(&text, root.as_deref());
            return Err(ReadError::new(None, ReadErrorKind::UnknownFormat { looks_like }));
        }
    };
    notices.append(&mut recordings.notices);
    recordings.notices = notices;
    Ok(recordings)
}

/// What an envelope that ends too early is called.
const CUT_ENVELOPES: [NoticeCode; 2] = [NoticeCode::GzipCut, NoticeCode::ZipCut];

/// Puts an envelope's notices before its content's. A cut envelope explains the cut content: they become one.
fn merged(mut envelope: Vec<Notice>, mut content: Vec<Notice>) -> Vec<Notice> {
    if let Some(cut) = envelope.iter_mut().find(|notice| CUT_ENVELOPES.contains(&notice.code))
        && let Some(index) = content.iter().position(|notice| notice.code == NoticeCode::RecordingCut)
    {
        cut.place = content.remove(index).place;
    }
    envelope.append(&mut content);
    envelope
}
