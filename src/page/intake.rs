//! Files from the browser: taken in within bounds of size, number and time, and held in memory until they are kept.

use std::pin::Pin;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use axum::body::{Body, HttpBody};
use axum::extract::{FromRequest, Multipart, Request};
use axum::http::StatusCode;
use axum::http::header::CONTENT_LENGTH;
use tokio::sync::Semaphore;
use tokio::time::{Instant, timeout, timeout_at};

use crate::files::{self, Activities};
use crate::pipeline::Config;
use crate::read::ReadConfig;

use super::refusal::Refusal;

/// Files of all cases that may wait at a time, bytes in all.
const MOST_WAITING_BYTES: usize = 96 << 20;
/// Files in one form.
const MOST_FILES: usize = 500;
/// Bytes of one form, beyond the files that may wait.
const FORM_EXTRA_BYTES: usize = 1 << 20;
/// What zipped input may unfold to, bytes.
pub(super) const MAX_UNZIPPED_BYTES: u64 = 64 << 20;
/// Uploads that are taken in at a time; others wait for their turn.
const UPLOADS: usize = 2;
/// Time for a turn, for a whole upload, and between two pieces of it. It comes from the same machine.
const TURN_TIME: Duration = Duration::from_secs(20);
const UPLOAD_TIME: Duration = Duration::from_secs(30);
const PIECE_TIME: Duration = Duration::from_secs(5);
/// Time for which the rest of a refused upload is read and thrown away, so that the browser comes to read the answer.
const LISTEN_ON: Duration = Duration::from_secs(3);
/// Letters of a file's own name that are kept.
const MOST_NAME: usize = 60;
/// Digits of the hash in a kept file's name.
const HASH_DIGITS: usize = 12;

/// Room for files that wait.
pub(super) struct Inbox {
    max_file_bytes: usize,
    used: AtomicUsize,
    uploads: Semaphore,
}

/// Room that a file takes up, given back when the file goes.
struct Room {
    inbox: Arc<Inbox>,
    bytes: usize,
}

impl Drop for Room {
    fn drop(&mut self) {
        self.inbox.used.fetch_sub(self.bytes, Ordering::Relaxed);
    }
}

/// A file that was taken in and not yet kept.
pub(super) struct Waiting {
    /// As the browser called it, for showing only.
    pub(super) shown: String,
    /// Name it is kept under: what is harmless in its own name, its hash, and its format.
    pub(super) file_name: String,
    pub(super) sha256: String,
    pub(super) bytes: Vec<u8>,
    read: OnceLock<Activities>,
    _room: Room,
}

impl Waiting {
    fn new(shown: &str, bytes: Vec<u8>, room: Room) -> Self {
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
        Self { shown, file_name, sha256, bytes, read: OnceLock::new(), _room: room }
    }

    /// Its activities, read once.
    pub(super) fn read(&self, config: &Config) -> &Activities {
        let limits = ReadConfig { max_unzipped_bytes: MAX_UNZIPPED_BYTES };
        self.read.get_or_init(|| files::activities(&self.bytes, &self.file_name, &limits, config))
    }
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

impl Inbox {
    pub(super) fn new(max_file_bytes: usize) -> Self {
        let max_file_bytes = max_file_bytes.min(MOST_WAITING_BYTES);
        Self { max_file_bytes, used: AtomicUsize::new(0), uploads: Semaphore::new(UPLOADS) }
    }

    /// Largest file that is taken, bytes.
    pub(super) fn max_file_bytes(&self) -> usize {
        self.max_file_bytes
    }

    /// Takes in the files of a form.
    pub(super) async fn take(self: &Arc<Self>, request: Request) -> Result<Vec<Waiting>, Refusal> {
        let most = MOST_WAITING_BYTES + FORM_EXTRA_BYTES;
        let length = request.headers().get(CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse().ok());
        if length.is_some_and(|length: u64| length > most as u64) {
            let body = request.into_body();
            let _ = timeout(LISTEN_ON, throw_away(body)).await;
            return Err(self.too_large("these files are"));
        }
        let busy = || {
            Refusal::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "other files are being taken in",
                "try again in a minute",
            )
        };
        let Ok(Ok(_turn)) = timeout(TURN_TIME, self.uploads.acquire()).await else { return Err(busy()) };
        let mut form = Multipart::from_request(request, &()).await.map_err(|_| {
            Refusal::new(
                StatusCode::BAD_REQUEST,
                "this is not the form of the page",
                "go back to the page and choose the files there",
            )
        })?;
        let deadline = Instant::now() + UPLOAD_TIME;
        let taken = self.fields(&mut form, deadline).await;
        if matches!(&taken, Err(refusal) if refusal.status == StatusCode::PAYLOAD_TOO_LARGE) {
            let rest = async {
                while let Ok(Some(mut field)) = form.next_field().await {
                    while let Ok(Some(_)) = field.chunk().await {}
                }
            };
            let _ = timeout(LISTEN_ON, rest).await;
        }
        taken
    }

    async fn fields(
        self: &Arc<Self>,
        form: &mut Multipart,
        deadline: Instant,
    ) -> Result<Vec<Waiting>, Refusal> {
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
            let (mut bytes, mut room) = (Vec::new(), Room { inbox: Arc::clone(self), bytes: 0 });
            while let Some(piece) =
                timeout_at(next(deadline), field.chunk()).await.map_err(slow)?.map_err(|_| broken())?
            {
                if bytes.len() + piece.len() > self.max_file_bytes {
                    return Err(self.too_large(&format!("“{}” is", base(&name))));
                }
                self.reserve(&mut room, piece.len())?;
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
            files.push((name, bytes, room));
        }
        // Hashing megabytes is no work for a thread that answers.
        let made =
            move || files.into_iter().map(|(name, bytes, room)| Waiting::new(&name, bytes, room)).collect();
        tokio::task::spawn_blocking(made).await.map_err(|_| Refusal::bug())
    }

    /// Adds bytes to the room of a file, if there are any left.
    fn reserve(&self, room: &mut Room, bytes: usize) -> Result<(), Refusal> {
        let used = self.used.fetch_add(bytes, Ordering::Relaxed);
        room.bytes += bytes;
        if used + bytes <= MOST_WAITING_BYTES {
            return Ok(());
        }
        Err(Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            &format!("more than {} MiB of files would wait to be kept", MOST_WAITING_BYTES >> 20),
            "keep or put away the files that wait, then choose the others again",
        ))
    }

    fn too_large(&self, what: &str) -> Refusal {
        Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            &format!("{what} more than is taken: a file may have {} MiB", self.max_file_bytes >> 20),
            "choose the recordings of single sessions; large files can be put into the folder recordings/ by hand",
        )
    }
}

fn broken() -> Refusal {
    Refusal::new(StatusCode::BAD_REQUEST, "the upload broke off", "choose the files again")
}

async fn throw_away(mut body: Body) {
    while let Some(Ok(_)) = std::future::poll_fn(|cx| Pin::new(&mut body).poll_frame(cx)).await {}
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
    fn room_is_given_back() {
        let inbox = Arc::new(Inbox::new(usize::MAX));
        assert_eq!(inbox.max_file_bytes(), MOST_WAITING_BYTES);
        let mut room = Room { inbox: Arc::clone(&inbox), bytes: 0 };
        inbox.reserve(&mut room, MOST_WAITING_BYTES).unwrap();
        let mut other = Room { inbox: Arc::clone(&inbox), bytes: 0 };
        assert_eq!(inbox.reserve(&mut other, 1).unwrap_err().status, StatusCode::PAYLOAD_TOO_LARGE);
        drop((room, other));
        assert_eq!(inbox.used.load(Ordering::Relaxed), 0);
        let mut again = Room { inbox: Arc::clone(&inbox), bytes: 0 };
        inbox.reserve(&mut again, 10).unwrap();
        let file = Waiting::new("../a.fit", b"0123456789".to_vec(), again);
        // SHA-256 of the ten digits, by coreutils' sha256sum.
        assert_eq!(file.file_name, "a.84d89877f0d4.fit");
    }
}
