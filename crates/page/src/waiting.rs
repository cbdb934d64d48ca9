//! Files that were taken in and not yet kept: held in memory, within bounds of size.

use std::io::Read;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

use flate2::read::GzDecoder;

use jogaudit_case::{Activities, activities, sha256};
use jogaudit_core::pipeline::Config;
use jogaudit_recording::read::ReadConfig;

use super::refusal::Refusal;
use super::settings::Keeper;

/// Files of all cases that may wait at a time, bytes in all.
pub const MOST_WAITING_BYTES: usize = 96 << 20;
/// Files in one form.
pub const MOST_FILES: usize = 500;
/// Samples of all files that wait, in all: about 80 hours at one a second, some 40 MiB.
const MOST_WAITING_SAMPLES: usize = 300_000;
/// A byte of FIT counts as so many of GPX or TCX: it can hold more samples.
const FIT_WEIGHT: usize = 5;
/// Letters of a file's own name that are kept.
const MOST_NAME: usize = 60;
/// Digits of the hash in a kept file's name.
const HASH_DIGITS: usize = 12;

/// The memory that there is for files that wait.
#[derive(Debug)]
pub struct Room {
    max_file_bytes: usize,
    keeper: Keeper,
    bytes: AtomicUsize,
    samples: AtomicUsize,
}

impl Room {
    /// Room for files of at most so many bytes each, on the way to who keeps the cases.
    pub fn new(max_file_bytes: usize, keeper: Keeper) -> Self {
        let max_file_bytes = max_file_bytes.min(MOST_WAITING_BYTES);
        Self { max_file_bytes, keeper, bytes: AtomicUsize::new(0), samples: AtomicUsize::new(0) }
    }

    /// Largest file that is taken, bytes.
    pub fn max_file_bytes(&self) -> usize {
        self.max_file_bytes
    }

    /// What is said when more would wait than there is room for.
    pub fn full() -> Refusal {
        Refusal::new(
            413,
            &format!("more than {} MiB of files would wait to be saved", MOST_WAITING_BYTES >> 20),
            "save or discard the files that wait, then choose the others again",
        )
    }

    /// What is said of what is too large, such as "`x` is".
    pub fn too_large(&self, what: &str) -> Refusal {
        let by_hand = match self.keeper {
            Keeper::Folders => "; large files can be put into the folder recordings/ by hand",
            Keeper::Browser => "",
        };
        Refusal::new(
            413,
            &format!("{what} more than is taken: a file may have {} MiB", self.max_file_bytes >> 20),
            &format!("choose the recordings of single sessions{by_hand}"),
        )
    }
}

/// The memory that a file takes up, given back when the file goes.
#[derive(Debug)]
pub struct Reservation {
    room: Arc<Room>,
    bytes: usize,
    samples: AtomicUsize,
}

impl Reservation {
    /// Nothing yet.
    pub fn new(room: &Arc<Room>) -> Self {
        Self { room: Arc::clone(room), bytes: 0, samples: AtomicUsize::new(0) }
    }

    /// Adds bytes, if there is room for them.
    pub fn add_bytes(&mut self, bytes: usize) -> bool {
        self.bytes += bytes;
        self.room.bytes.fetch_add(bytes, Ordering::Relaxed) + bytes <= MOST_WAITING_BYTES
    }

    /// Adds samples, if there is room for them.
    fn add_samples(&self, samples: usize) -> bool {
        self.samples.fetch_add(samples, Ordering::Relaxed);
        self.room.samples.fetch_add(samples, Ordering::Relaxed) + samples <= MOST_WAITING_SAMPLES
    }
}

impl Drop for Reservation {
    fn drop(&mut self) {
        self.room.bytes.fetch_sub(self.bytes, Ordering::Relaxed);
        self.room.samples.fetch_sub(*self.samples.get_mut(), Ordering::Relaxed);
    }
}

/// A file that was taken in and not yet kept.
pub struct WaitingFile {
    /// As the browser called it, for showing only.
    pub(crate) shown: String,
    /// Name it is kept under: what is harmless in its own name, its hash, and its format.
    pub file_name: String,
    /// Of its bytes.
    pub sha256: String,
    /// As they came.
    pub bytes: Vec<u8>,
    /// Bytes that it may have, unfolded.
    most_bytes: usize,
    activities: OnceLock<Activities>,
    reservation: Reservation,
}

impl WaitingFile {
    /// A file as the browser calls it. The room for its bytes was reserved.
    pub fn new(shown: &str, bytes: Vec<u8>, reservation: Reservation) -> Self {
        let sha256 = sha256(&bytes);
        let zipped = if bytes.starts_with(&[0x1f, 0x8b]) {
            ".gz"
        } else if bytes.starts_with(b"PK") {
            ".zip"
        } else {
            ""
        };
        let digits = sha256.get(..HASH_DIGITS).unwrap_or_default();
        let file_name = format!("{}.{digits}{}{zipped}", stem(shown), format_of(shown));
        let shown = shown.chars().filter(|c| !c.is_control()).take(200).collect();
        let most_bytes = most_bytes(&bytes, reservation.room.max_file_bytes);
        Self { shown, file_name, sha256, bytes, most_bytes, activities: OnceLock::new(), reservation }
    }

    /// Its activities, read once. A file that would take too much memory is refused.
    pub fn read(&self, config: &Config) -> &Activities {
        self.activities.get_or_init(|| {
            if self.bytes.len() > self.most_bytes {
                let by_hand = match self.reservation.room.keeper {
                    Keeper::Folders => ": put it into the folder recordings/ by hand",
                    Keeper::Browser => "",
                };
                return Err(format!(
                    "it is longer than what this page takes, {} KiB of FIT{by_hand}",
                    self.most_bytes >> 10
                ));
            }
            let read = ReadConfig { max_unzipped_bytes: self.most_bytes as u64 };
            let config = Config { read, ..config.clone() };
            let read = activities(&self.bytes, &self.file_name, &config)?;
            let samples = read.0.iter().map(|recorded| recorded.series.time_s().len()).sum();
            if self.reservation.add_samples(samples) {
                Ok(read)
            } else {
                Err("too much waits already: save or discard other files, then choose this one again"
                    .to_owned())
            }
        })
    }
}

/// Bytes that a file may have, unfolded: what may be FIT has less.
fn most_bytes(bytes: &[u8], max_file_bytes: usize) -> usize {
    const FIT_AT: usize = 8;
    let mut head = [0; FIT_AT + 4];
    let is_told = if bytes.starts_with(&[0x1f, 0x8b]) {
        GzDecoder::new(bytes).read_exact(&mut head).is_ok()
    } else {
        !bytes.starts_with(b"PK") && { bytes }.read_exact(&mut head).is_ok()
    };
    let is_text = is_told && !head.ends_with(b".FIT");
    if is_text { max_file_bytes } else { max_file_bytes / FIT_WEIGHT }
}

/// The last part of a path of any system.
pub fn base(name: &str) -> &str {
    name.rsplit(['/', '\\']).next().unwrap_or_default()
}

/// What is harmless in a name, without its endings.
fn stem(name: &str) -> String {
    let mut rest = base(name);
    for ending in [".gz", ".zip", ".fit", ".gpx", ".tcx"] {
        if rest.len() > ending.len() && rest.to_ascii_lowercase().ends_with(ending) {
            rest = rest.get(..rest.len() - ending.len()).unwrap_or(rest);
        }
    }
    let plain = |c: char| if c.is_ascii_alphanumeric() || c == '_' { c } else { '-' };
    let stem: String = rest.chars().map(plain).take(MOST_NAME).collect();
    let stem = stem.trim_matches('-');
    if stem.is_empty() { "recording".to_owned() } else { stem.to_owned() }
}

/// The ending that tells the format, if the name has one. Reading goes by content; this is for people.
fn format_of(name: &str) -> &'static str {
    let lower = base(name).to_ascii_lowercase();
    [".fit", ".gpx", ".tcx"].into_iter().find(|ending| lower.contains(ending)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lose_what_could_be_a_path() {
        for (name, expected) in [
            ("2026-03-02.fit", "2026-03-02"),
            ("../../etc/passwd", "passwd"),
            ("..\\..\\x.GPX.gz", "x"),
            ("..", "recording"),
            (".hidden", "hidden"),
            ("a b<script>.tcx", "a-b-script"),
            ("", "recording"),
            ("/", "recording"),
            ("ø\u{202e}.fit", "recording"),
            ("nul\0name.fit", "nul-name"),
        ] {
            assert_eq!(stem(name), expected, "{name:?}");
        }
        assert_eq!(stem(&"a".repeat(500)).len(), MOST_NAME);
    }

    #[test]
    fn what_may_be_fit_has_less_room() {
        let zip = |bytes: &[u8]| {
            let mut zipped = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
            std::io::Write::write_all(&mut zipped, bytes).unwrap();
            zipped.finish().unwrap()
        };
        let (fit, text) = (b"\x0e\x10......\x2eFIT".to_vec(), b"<?xml version='1.0'?>".to_vec());
        for (bytes, expected) in [
            (&fit, 20),
            (&text, 100),
            (&zip(&fit), 20),
            (&zip(&text), 100),
            (&b"PK..".to_vec(), 20),
            (&vec![], 20),
        ] {
            assert_eq!(most_bytes(bytes, 100), expected);
        }
    }

    #[test]
    fn room_is_given_back() {
        let room = Arc::new(Room::new(usize::MAX, Keeper::Folders));
        assert_eq!(room.max_file_bytes(), MOST_WAITING_BYTES);
        let mut reservation = Reservation::new(&room);
        assert!(reservation.add_bytes(MOST_WAITING_BYTES) && reservation.add_samples(MOST_WAITING_SAMPLES));
        let mut other = Reservation::new(&room);
        assert!(!other.add_bytes(1) && !other.add_samples(1));
        drop((reservation, other));
        let left = [&room.bytes, &room.samples].map(|used| used.load(Ordering::Relaxed));
        assert_eq!(left, [0, 0]);
        let file = WaitingFile::new("../a.fit", b"0123456789".to_vec(), Reservation::new(&room));
        // SHA-256 of the ten digits, by coreutils' sha256sum.
        assert_eq!(file.file_name, "a.84d89877f0d4.fit");
    }
}
