//! Files from the browser: taken in within bounds of size, number and time, and held in memory until they are kept.

use std::future::poll_fn;
use std::io::Read;
use std::pin::Pin;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{FromRequest, Multipart, Request};
use axum::http::StatusCode;
use axum::http::header::CONTENT_LENGTH;
use flate2::read::GzDecoder;
use hyper::body::Frame;
use tokio::sync::Semaphore;
use tokio::time::{Instant, timeout, timeout_at};

use jogaudit_core::pipeline::Config;
use jogaudit_files::{self as files, Activities};
use jogaudit_recording::read::ReadConfig;

use super::refusal::Refusal;

/// Files of all cases that may wait at a time, bytes in all.
const MOST_WAITING_BYTES: usize = 96 << 20;
/// Files in one form.
const MOST_FILES: usize = 500;
/// Bytes of one form, beyond the files that may wait.
const FORM_EXTRA_BYTES: usize = 1 << 20;
/// Samples of all files that wait, in all: about 80 hours at one a second, some 40 MiB.
const MOST_WAITING_SAMPLES: usize = 300_000;
/// A byte of FIT counts as so many of GPX or TCX: it can hold more samples.
const FIT_WEIGHT: usize = 5;
/// Uploads that are taken in at a time; others wait for their turn.
const UPLOADS: usize = 2;
/// Time for a turn, for a whole upload, and between two pieces of it. It comes from the same machine.
const QUEUE_TIME: Duration = Duration::from_secs(20);
const UPLOAD_TIME: Duration = Duration::from_secs(30);
const PIECE_TIME: Duration = Duration::from_secs(5);
/// Time for which the rest of an upload is read and thrown away.
const DRAIN_TIME: Duration = Duration::from_secs(20);
/// Letters of a file's own name that are kept.
const MOST_NAME: usize = 60;
/// Digits of the hash in a kept file's name.
const HASH_DIGITS: usize = 12;

/// Takes files in, within the memory that there is for files that wait.
pub(super) struct Uploads {
    max_file_bytes: usize,
    bytes: AtomicUsize,
    samples: AtomicUsize,
    slots: Semaphore,
}

/// The memory that a file takes up, given back when the file goes.
struct Reservation {
    uploads: Arc<Uploads>,
    bytes: usize,
    samples: AtomicUsize,
}

impl Reservation {
    fn new(uploads: &Arc<Uploads>) -> Self {
        Self { uploads: Arc::clone(uploads), bytes: 0, samples: AtomicUsize::new(0) }
    }

    /// Adds bytes, if there is room for them.
    fn add_bytes(&mut self, bytes: usize) -> bool {
        self.bytes += bytes;
        self.uploads.bytes.fetch_add(bytes, Ordering::Relaxed) + bytes <= MOST_WAITING_BYTES
    }

    /// Adds samples, if there is room for them.
    fn add_samples(&self, samples: usize) -> bool {
        self.samples.fetch_add(samples, Ordering::Relaxed);
        self.uploads.samples.fetch_add(samples, Ordering::Relaxed) + samples <= MOST_WAITING_SAMPLES
    }
}

impl Drop for Reservation {
    fn drop(&mut self) {
        self.uploads.bytes.fetch_sub(self.bytes, Ordering::Relaxed);
        self.uploads.samples.fetch_sub(*self.samples.get_mut(), Ordering::Relaxed);
    }
}

/// A file that was taken in and not yet kept.
pub(super) struct WaitingFile {
    /// As the browser called it, for showing only.
    pub(super) shown: String,
    /// Name it is kept under: what is harmless in its own name, its hash, and its format.
    pub(super) file_name: String,
    pub(super) sha256: String,
    pub(super) bytes: Vec<u8>,
    /// Bytes that it may have, unfolded.
    most_bytes: usize,
    read: OnceLock<Activities>,
    reservation: Reservation,
}

impl WaitingFile {
    fn new(shown: &str, bytes: Vec<u8>, reservation: Reservation) -> Self {
        let sha256 = files::sha256(&bytes);
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
        let most_bytes = most_bytes(&bytes, reservation.uploads.max_file_bytes);
        Self { shown, file_name, sha256, bytes, most_bytes, read: OnceLock::new(), reservation }
    }

    /// Its activities, read once. A file that would take too much memory is refused.
    pub(super) fn read(&self, config: &Config) -> &Activities {
        self.read.get_or_init(|| {
            if self.bytes.len() > self.most_bytes {
                return Err(format!(
                    "it is longer than what this page takes, {} KiB of FIT: put it into the folder recordings/ by hand",
                    self.most_bytes >> 10
                ));
            }
            let read = ReadConfig { max_unzipped_bytes: self.most_bytes as u64 };
            let config = Config { read, ..config.clone() };
            let activities = files::activities(&self.bytes, &self.file_name, &config)?;
            let samples = activities.0.iter().map(|recorded| recorded.series.time_s().len()).sum();
            if self.reservation.add_samples(samples) {
                Ok(activities)
            } else {
                Err("too much waits already: save or discard other files, then choose this one again".to_owned())
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

/// The mark of the first activity on foot where a file holds several, `#2` for the second; else nothing.
pub(super) fn activity_mark(activities: &Activities) -> &str {
    let first = activities.as_ref().ok().and_then(|(recorded, _)| recorded.first());
    first
        .and_then(|recorded| recorded.name.find('#').and_then(|at| recorded.name.get(at..)))
        .unwrap_or_default()
}

/// The last part of a path of any system.
fn base(name: &str) -> &str {
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

impl Uploads {
    pub(super) fn new(max_file_bytes: usize) -> Self {
        let max_file_bytes = max_file_bytes.min(MOST_WAITING_BYTES);
        let (bytes, samples) = (AtomicUsize::new(0), AtomicUsize::new(0));
        Self { max_file_bytes, bytes, samples, slots: Semaphore::new(UPLOADS) }
    }

    /// Largest file that is taken, bytes.
    pub(super) fn max_file_bytes(&self) -> usize {
        self.max_file_bytes
    }

    /// Takes in the files of a form.
    pub(super) async fn take(self: &Arc<Self>, request: Request) -> Result<Vec<WaitingFile>, Refusal> {
        let most = MOST_WAITING_BYTES + FORM_EXTRA_BYTES;
        let length = request.headers().get(CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse().ok());
        let (head, body) = request.into_parts();
        let body = SharedBody(Arc::new(Mutex::new(body)));
        let taken = if length.is_some_and(|length: u64| length > most as u64) {
            Err(self.too_large("these files are"))
        } else {
            self.parts(Request::from_parts(head, Body::new(body.clone()))).await
        };
        // What is left is read and thrown away while the answer is already on its way: a connection that ends before all is read
        // would take the answer with it.
        tokio::spawn(timeout(DRAIN_TIME, body.drain()));
        taken
    }

    async fn parts(self: &Arc<Self>, request: Request) -> Result<Vec<WaitingFile>, Refusal> {
        let busy = || {
            Refusal::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "other files are being taken in",
                "try again in a minute",
            )
        };
        let Ok(Ok(_slot)) = timeout(QUEUE_TIME, self.slots.acquire()).await else { return Err(busy()) };
        let mut form = Multipart::from_request(request, &()).await.map_err(|_| {
            Refusal::new(
                StatusCode::BAD_REQUEST,
                "this is not the form of the page",
                "go back to the page and choose the files there",
            )
        })?;
        let deadline = Instant::now() + UPLOAD_TIME;
        self.fields(&mut form, deadline).await
    }

    async fn fields(
        self: &Arc<Self>,
        form: &mut Multipart,
        deadline: Instant,
    ) -> Result<Vec<WaitingFile>, Refusal> {
        let slow = |_| {
            Refusal::new(
                StatusCode::REQUEST_TIMEOUT,
                "the files came too slowly",
                "try again, with fewer files at a time",
            )
        };
        let next = |most: Instant| most.min(Instant::now() + PIECE_TIME);
        let mut files = Vec::new();
        while let Some(mut field) =
            timeout_at(next(deadline), form.next_field()).await.map_err(slow)?.map_err(|_| broken())?
        {
            let name = field.file_name().unwrap_or_default().to_owned();
            let (mut bytes, mut reservation) = (Vec::new(), Reservation::new(self));
            while let Some(piece) =
                timeout_at(next(deadline), field.chunk()).await.map_err(slow)?.map_err(|_| broken())?
            {
                if bytes.len() + piece.len() > self.max_file_bytes {
                    return Err(self.too_large(&format!("“{}” is", base(&name))));
                }
                if !reservation.add_bytes(piece.len()) {
                    return Err(Self::full());
                }
                bytes.extend_from_slice(&piece);
            }
            // A form without a chosen file sends an empty one without a name.
            if bytes.is_empty() && name.is_empty() {
                continue;
            }
            if files.len() == MOST_FILES {
                return Err(self.too_large("that many files are"));
            }
            bytes.shrink_to_fit();
            files.push((name, bytes, reservation));
        }
        // Hashing megabytes is no work for a thread that answers.
        let made = move || {
            files
                .into_iter()
                .map(|(name, bytes, reservation)| WaitingFile::new(&name, bytes, reservation))
                .collect()
        };
        tokio::task::spawn_blocking(made).await.map_err(|_| Refusal::bug())
    }

    fn full() -> Refusal {
        Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            &format!("more than {} MiB of files would wait to be saved", MOST_WAITING_BYTES >> 20),
            "save or discard the files that wait, then choose the others again",
        )
    }

    fn too_large(&self, what: &str) -> Refusal {
        Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            &format!("{what} more than is taken: a file may have {} MiB", self.max_file_bytes >> 20),
            "choose the recordings of single sessions; large files can be put into the folder recordings/ by hand",
        )
    }
}

/// Names and bytes of the files of a form, as they would be kept; `None` when it is refused: what fuzzing needs.
#[doc(hidden)]
pub async fn taken_in(
    content_type: &str,
    body: Vec<u8>,
    max_file_bytes: usize,
) -> Option<Vec<(String, Vec<u8>)>> {
    let request = Request::post("/").header("content-type", content_type).body(Body::from(body)).ok()?;
    let files = Arc::new(Uploads::new(max_file_bytes)).take(request).await.ok()?;
    Some(files.into_iter().map(|file| (file.file_name, file.bytes)).collect())
}

fn broken() -> Refusal {
    Refusal::new(StatusCode::BAD_REQUEST, "the upload broke off", "choose the files again")
}

/// A body that can be read on after the form in it has been read.
#[derive(Clone)]
struct SharedBody(Arc<Mutex<Body>>);

impl SharedBody {
    async fn drain(mut self) {
        while let Some(Ok(_)) = poll_fn(|cx| Pin::new(&mut self).poll_frame(cx)).await {}
    }
}

impl HttpBody for SharedBody {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Self::Data>, Self::Error>>> {
        Pin::new(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner)).poll_frame(cx)
    }
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
        let uploads = Arc::new(Uploads::new(usize::MAX));
        assert_eq!(uploads.max_file_bytes(), MOST_WAITING_BYTES);
        let mut reservation = Reservation::new(&uploads);
        assert!(reservation.add_bytes(MOST_WAITING_BYTES) && reservation.add_samples(MOST_WAITING_SAMPLES));
        let mut other = Reservation::new(&uploads);
        assert!(!other.add_bytes(1) && !other.add_samples(1));
        drop((reservation, other));
        let left = [&uploads.bytes, &uploads.samples].map(|used| used.load(Ordering::Relaxed));
        assert_eq!(left, [0, 0]);
        let file = WaitingFile::new("../a.fit", b"0123456789".to_vec(), Reservation::new(&uploads));
        // SHA-256 of the ten digits, by coreutils' sha256sum.
        assert_eq!(file.file_name, "a.84d89877f0d4.fit");
    }
}
