//! Bytes of a recording → bytes of one that can be sent: without places, devices and names.
//!
//! | module | holds |
//! |---|---|
//! | here | [`without_places`], the one way in, and what it gives |
//! | `places` | `Recording` → `Recording` without positions, with what they told |
//! | `fit`, `tcx` | `Recording`s → a new file that holds nothing but fields that are known here |
//! | `envelope` | gzip stays gzip, a zip archive stays one |
//!
//! Nothing is struck out of the old file: a new one is written from what the reader made of it, so that what is not known here
//! (names, notes, serial numbers, other developers' fields, links, points on a map) cannot be in it.
//!
//! **Kept:** times, distance, speed, altitude, cadence, heart rate, laps, pauses, the recorder's own guesses, sport, offset from
//! UTC, the order and number of activities. **Told instead of positions:** their speed, as the cleaning of `jogaudit-core`
//! takes it from them, in a field of our own that our reader knows (`docs/formats.md`), so that nothing gets surer than it was.
//! **Not hidden:** see `docs/share.md`.
//!
//! ```
//! use jogaudit_core::pipeline::Config;
//! use jogaudit_recording::read::read;
//!
//! let gpx = r#"<gpx version="1.1"><trk><name>From home</name><type>running</type><trkseg>
//!   <trkpt lat="0.5000" lon="0.5"><time>2026-03-02T07:10:00Z</time></trkpt>
//!   <trkpt lat="0.5002" lon="0.5"><time>2026-03-02T07:10:10Z</time></trkpt>
//! </trkseg></trk></gpx>"#;
//! let config = Config::default();
//! let shared = jogaudit_share::without_places(gpx.as_bytes(), &config)?;
//! assert_eq!((shared.ending, shared.with_places), (Some(".tcx"), 1));
//! assert!(!String::from_utf8_lossy(&shared.bytes).contains("home"));
//!
//! let recordings = read(&shared.bytes, &config.read)?.value;
//! let [first, second] = recordings[0].samples() else { panic!("two samples") };
//! assert_eq!((first.position, second.time_s), (None, 10.0));
//! // 0.0002° of latitude are 22.1 m, in 10 s.
//! assert_eq!(second.speed_by_positions.map(|speed| speed.get()), Some(2.211));
//! # Ok::<(), jogaudit_recording::read::ReadError>(())
//! ```

#![cfg_attr(not(test), deny(clippy::disallowed_methods, clippy::disallowed_types))]

mod envelope;
mod fit;
mod places;
mod sport;
mod tcx;

use jogaudit_core::pipeline::Config;
use jogaudit_recording::notice::{Noted, Notice};
use jogaudit_recording::read::{Envelope, Format, ReadError, Recording, read};

/// A recording without places, and what was done.
#[derive(Clone, Debug, PartialEq)]
pub struct Shared {
    /// The new file. Its activities are those of the old one, in the same order, so that their numbers mean the same.
    pub bytes: Vec<u8>,
    /// What a name has to end with for the new file, where that is not what it was: GPX becomes `.tcx`, gzipped `.tcx.gz`.
    pub ending: Option<&'static str>,
    /// What a name has to end with for the new file, whether or not it changed.
    pub name_ending: &'static str,
    /// Activities in the file.
    pub activities: usize,
    /// How many of them had positions.
    pub with_places: usize,
    /// How many are of a sport whose name is not among those that are passed on: they are called `sport`.
    pub sports_unnamed: usize,
    /// What was noticed while reading the old file. The new one no longer shows it, so whoever sends it may want to say it. For the
    /// sender's eyes: it may name the files of an archive.
    pub notices: Vec<Notice>,
}

/// Takes places, devices and names out of the bytes of a recording, plain, gzipped or in a zip archive.
///
/// What can't be read of the old file is not in the new one. Files of an archive that are no recordings are left out, and the others
/// get numbers for names, one file an activity.
///
/// # Errors
/// When the old file can't be read, or the new one would be beyond the bounds of reading: then nothing may be sent.
pub fn without_places(bytes: &[u8], config: &Config) -> Result<Shared, ReadError> {
    let Noted { value: recordings, notices } = read(bytes, &config.read)?;
    let with_places = recordings.iter().filter(|recording| places::has_any(recording)).count();
    let sports_unnamed = recordings.iter().filter(|recording| !sport::is_named(recording)).count();
    let was = recordings.first().map(Recording::format);
    let recordings: Vec<Recording> =
        recordings.into_iter().map(|recording| places::taken_out(recording, &config.clean)).collect();
    let envelope = Envelope::of(bytes);
    let file = envelope::write(envelope, &recordings)?;
    // What is sent can be read, with the same limits.
    let activities = read(&file, &config.read)?.value.len();
    let is_fit = was == Some(Format::Fit);
    let name_ending = envelope::ending(envelope, is_fit);
    let is_changed = was == Some(Format::Gpx) && envelope != Envelope::Zip;
    Ok(Shared {
        bytes: file,
        ending: is_changed.then_some(name_ending),
        name_ending,
        activities,
        with_places,
        sports_unnamed,
        notices,
    })
}

/// Writes recordings as one plain file, FIT when all are of it and TCX otherwise; positions are left out.
///
/// # Errors
/// When there are more than a file can hold.
#[doc(hidden)]
pub fn written(recordings: &[Recording]) -> Result<Vec<u8>, ReadError> {
    envelope::write(Envelope::Plain, recordings)
}
