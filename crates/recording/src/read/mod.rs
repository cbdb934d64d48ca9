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
mod config;
mod decompression;
mod element_text;
mod error;
mod facts;
mod fit;
mod format;
mod gpx;
mod gunzip;
pub(crate) mod lap;
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

pub use config::{MOST_ACTIVITIES, MOST_FIT_PARTS, ReadConfig};
pub use error::{ReadError, ReadErrorKind};
pub use facts::{Channel, Facts};
pub use fit::APPLICATION_ID;
pub(crate) use fit::checksum as fit_checksum;
pub use format::Format;
pub use lap::{Lap, LapIntensity, LapTrigger};
pub use recording::{
    Guess, GuessSource, GuessedGait, Recording, RecordingError, RecordingParts, Sample, TimerEvent, pauses_s,
};
pub use sniff::Envelope;
pub use sport::Sport;
pub use unzip::lists_more_than;

use decompression::DecompressionBudget;
use sniff::ContentKind;

use crate::notice::{Noted, Notice, NoticeCode};
use crate::workout::Workout;

/// Reads every activity in `bytes` (plain, gzipped or in a zip archive; what it is is told from the content).
///
/// The list is never empty and stands in the order of the file.
///
/// # Errors
/// When nothing usable can be made of the input: see [`ReadErrorKind`].
pub fn read(bytes: &[u8], config: &ReadConfig) -> Result<Noted<Vec<Recording>>, ReadError> {
    let mut budget = DecompressionBudget::new(bytes, *config);
    let recordings = if sniff::content_kind(bytes) == ContentKind::Zip {
        unzip::read(bytes, &mut budget)?
    } else {
        read_file(bytes, &mut budget)?
    };
    refuse_too_much(&recordings.value, MOST_ACTIVITIES, MOST_SAMPLES)?;
    Ok(recordings)
}

/// Reads the workout of a FIT file, be it one to follow or a recording that was run from it; `None` without one. A recording holds its
/// own as [`Recording::workout`].
pub fn read_workout(bytes: &[u8]) -> Option<Workout> {
    fit::read_workout(bytes)
}

/// Samples of one activity, our choice: 12 days at one a second, as many as of a FIT file. Working on them takes 0.5 GiB.
pub const MOST_SAMPLES: usize = 1 << 20;

/// Fails when the work that follows reading would be too long.
fn refuse_too_much(
    recordings: &[Recording],
    activities: usize,
    most_samples: usize,
) -> Result<(), ReadError> {
    let format = recordings.first().map(|recording| recording.facts().format);
    let samples = recordings.iter().map(|recording| recording.samples().len()).max().unwrap_or(0);
    let kind = if recordings.len() > activities {
        ReadErrorKind::TooManyActivities { limit: activities }
    } else if samples > most_samples {
        ReadErrorKind::TooManySamples { limit: most_samples }
    } else {
        return Ok(());
    };
    Err(ReadError::new(format, kind))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_activities_or_samples_than_are_worked_on_are_refused() {
        let point = |second: u32| {
            format!("<trkpt lat='1' lon='1'><time>2026-03-02T07:10:{second:02}Z</time></trkpt>")
        };
        let file = format!("<gpx><trk><trkseg>{}{}{}</trkseg></trk></gpx>", point(1), point(2), point(3));
        let recordings = read(file.as_bytes(), &ReadConfig::default()).unwrap().value;
        assert!(refuse_too_much(&recordings, 1, 3).is_ok());
        let said =
            |activities, samples| refuse_too_much(&recordings, activities, samples).unwrap_err().to_string();
        assert!(said(0, 3).contains("more than 0 activities"));
        assert!(said(1, 2).contains("more than 2 samples"));
        // The limits hold for what is read.
        let activity = "<Activity Sport='Running'><Lap StartTime='2026-03-02T07:10:00Z'><Track><Trackpoint>\
            <Time>2026-03-02T07:10:00Z</Time></Trackpoint></Track></Lap></Activity>";
        let tcx = |n: usize| {
            format!(
                "<TrainingCenterDatabase><Activities>{}</Activities></TrainingCenterDatabase>",
                activity.repeat(n)
            )
        };
        assert_eq!(
            read(tcx(MOST_ACTIVITIES).as_bytes(), &ReadConfig::default()).unwrap().value.len(),
            MOST_ACTIVITIES
        );
        let error = read(tcx(MOST_ACTIVITIES + 1).as_bytes(), &ReadConfig::default()).unwrap_err();
        assert_eq!(error.kind, ReadErrorKind::TooManyActivities { limit: MOST_ACTIVITIES });
    }
}
