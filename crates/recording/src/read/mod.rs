//! Bytes of a FIT, GPX or TCX recording → [`Recording`]. Salvages what is readable.
//!
//! Nothing here knows files, paths or the clock. Nothing here panics on any input: `tests/read/broken.rs` cuts and flips
//! bytes.

#![cfg_attr(
    not(test),
    warn(clippy::unwrap_used, clippy::expect_used, clippy::indexing_slicing, clippy::panic)
)]

mod cadence;
mod draft;
mod error;
mod fit;
mod gpx;
mod gunzip;
mod points;
mod refrain;
mod room;
mod sniff;
mod sport;
mod tcx;
mod text;
mod time;
mod unzip;
mod value;
mod xml;

pub use error::{ReadError, ReadErrorKind};
use room::Room;
pub use sniff::Format;
use sniff::Looks;

use jiff::Timestamp;

use crate::geodesy::LatLon;
use crate::notice::{Noted, Notice, NoticeCode};
use crate::units::{BeatsPerMinute, Metres, MetresPerSecond, StepsPerMinute};

/// What was recorded, as far as this tool cares.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sport {
    /// Running, on any ground or a treadmill.
    Running,
    /// Walking or hiking.
    Walking,
    /// The file does not say (also TCX's `Other`).
    Unspecified,
    /// Anything else, in the file's own word: said, not scored.
    Other(String),
}

impl Sport {
    /// Whether a recording of this sport is scored.
    pub fn on_foot(&self) -> bool {
        !matches!(self, Self::Other(_))
    }
}

/// One moment of a recording. A value that the file does not have is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sample {
    /// Seconds from [`Recording::start`]; may be out of order or repeated, as in the file.
    pub time_s: f64,
    /// Position.
    pub position: Option<LatLon>,
    /// Altitude.
    pub altitude: Option<Metres>,
    /// Distance covered since the start, as the recorder counted it.
    pub distance: Option<Metres>,
    /// Speed as the recorder gave it.
    pub speed: Option<MetresPerSecond>,
    /// Cadence, both feet.
    pub cadence: Option<StepsPerMinute>,
    /// Heart rate.
    pub heart_rate: Option<BeatsPerMinute>,
}

/// Why a lap ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LapTrigger {
    /// The runner pressed the button.
    Manual,
    /// A set time was over.
    Time,
    /// A set distance was covered.
    Distance,
    /// A step of a workout on the recorder ended.
    Step,
    /// The session ended, or another or unknown cause.
    Other,
}

/// What a lap was meant for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LapIntensity {
    /// Work.
    Active,
    /// Rest or recovery between work.
    Rest,
    /// Warm-up.
    WarmUp,
    /// Cool-down.
    CoolDown,
    /// Not said.
    Unknown,
}

/// A lap: evidence about the session's structure, not truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lap {
    /// Seconds from [`Recording::start`].
    pub start_s: f64,
    /// Seconds from [`Recording::start`], when known.
    pub end_s: Option<f64>,
    /// Why it ended.
    pub trigger: LapTrigger,
    /// What it was meant for.
    pub intensity: LapIntensity,
}

/// What a recorder can take its wearer to be doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuessedGait {
    /// Running.
    Run,
    /// Walking.
    Walk,
    /// Standing or sitting.
    Stand,
}

/// What in the file holds a guess.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GuessSource {
    /// A message about the stretch as a whole.
    Split,
    /// The samples, one by one.
    Samples,
}

/// A stretch that the recorder itself took for running, walking or standing: evidence, not truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// Seconds from [`Recording::start`].
    pub start_s: f64,
    /// Seconds from [`Recording::start`]; later than `start_s`.
    pub end_s: f64,
    /// What it took it for.
    pub gait: GuessedGait,
    /// What in the file says so.
    pub source: GuessSource,
}

/// A stop or start of the recorder's timer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimerEvent {
    /// Seconds from [`Recording::start`].
    pub time_s: f64,
    /// `true` when the timer started or resumed, `false` when it stopped or paused.
    pub running: bool,
}

/// One activity as recorded, in neutral form. Has at least one sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Format of the file.
    pub format: Format,
    /// Sport, as the file says.
    pub sport: Sport,
    /// Zero of every `*_s` in this recording: the time of the earliest sample.
    pub start: Timestamp,
    /// Offset of the recorder's local time from UTC in seconds, when the file tells.
    pub utc_offset_s: Option<i32>,
    /// Samples in the order of the file.
    pub samples: Vec<Sample>,
    /// Laps in the order of the file.
    pub laps: Vec<Lap>,
    /// Timer stops and starts in the order of the file.
    pub timer: Vec<TimerEvent>,
    /// The recorder's own guesses in the order of the file; they may overlap and contradict each other.
    pub guesses: Vec<Guess>,
}

/// Limits of reading.
#[derive(Clone, Copy, Debug)]
pub struct ReadConfig {
    /// Most bytes that a zipped input may unfold to. Default 512 MiB.
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
    let mut room = Room::new(bytes, *config);
    if sniff::looks(bytes) == Looks::Zip {
        unzip::read(bytes, &mut room)
    } else {
        read_file(bytes, &mut room)
    }
}

/// Reads a file, plain or gzipped.
fn read_file(bytes: &[u8], room: &mut Room) -> Result<Noted<Vec<Recording>>, ReadError> {
    if sniff::looks(bytes) != Looks::Gzip {
        return read_plain(bytes);
    }
    let unfolded = gunzip::gunzip(bytes, room)?;
    let mut recordings = read_plain(&unfolded.value)?;
    recordings.notices = merged(unfolded.notices, recordings.notices);
    Ok(recordings)
}

fn read_plain(bytes: &[u8]) -> Result<Noted<Vec<Recording>>, ReadError> {
    let foreign = |looks_like: String| ReadError::new(None, ReadErrorKind::UnknownFormat { looks_like });
    match sniff::looks(bytes) {
        _ if bytes.is_empty() => Err(ReadError::new(None, ReadErrorKind::Empty)),
        Looks::Fit => fit::read(bytes),
        Looks::Gzip => Err(foreign("gzip data inside gzip data (unzip it once)".to_owned())),
        Looks::Zip => Err(foreign("a zip archive inside gzip data (unzip it once)".to_owned())),
        Looks::Foreign(what) => Err(foreign(what.to_owned())),
        Looks::Text => read_text(bytes),
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
