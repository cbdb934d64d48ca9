//! Files from the browser: taken in within bounds of size, number and time, and held in memory until they are kept.

use std::future::poll_fn;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{FromRequest, Multipart, Request};
use axum::http::header::CONTENT_LENGTH;
use hyper::body::Frame;
use tokio::sync::Semaphore;
use tokio::time::{Instant, timeout, timeout_at};

use jogaudit_page::waiting::{MOST_FILES, MOST_WAITING_BYTES, Reservation, Room, WaitingFile, base};
use jogaudit_page::{Keeper, Refusal};

/// Bytes of one form, beyond the files that may wait.
const FORM_EXTRA_BYTES: usize = 1 << 20;
/// Uploads that are taken in at a time; others wait for their turn.
const UPLOADS: usize = 2;
/// Time for a turn, for a whole upload, and between two pieces of it. It comes from the same machine.
const QUEUE_TIME: Duration = Duration::from_secs(20);
const UPLOAD_TIME: Duration = Duration::from_secs(30);
const PIECE_TIME: Duration = Duration::from_secs(5);
/// Time for which the rest of an upload is read and thrown away.
const DRAIN_TIME: Duration = Duration::from_secs(20);

/// Takes files in, within the memory that there is for files that wait.
pub(super) struct Uploads {
    room: Arc<Room>,
    slots: Semaphore,
}

impl Uploads {
    pub(super) fn new(max_file_bytes: usize) -> Self {
        Self { room: Arc::new(Room::new(max_file_bytes, Keeper::Folders)), slots: Semaphore::new(UPLOADS) }
    }

    /// Largest file that is taken, bytes.
    pub(super) fn max_file_bytes(&self) -> usize {
        self.room.max_file_bytes()
    }

    /// Takes in the files of a form.
    pub(super) async fn take(self: &Arc<Self>, request: Request) -> Result<Vec<WaitingFile>, Refusal> {
        let most = MOST_WAITING_BYTES + FORM_EXTRA_BYTES;
        let length = request.headers().get(CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse().ok());
        let (head, body) = request.into_parts();
        let body = SharedBody(Arc::new(Mutex::new(body)));
        let taken = if length.is_some_and(|length: u64| length > most as u64) {
            Err(self.room.too_large("these files are"))
        } else {
            self.parts(Request::from_parts(head, Body::new(body.clone()))).await
        };
        // What is left is read and thrown away while the answer is already on its way: a connection that ends before all is read
        // would take the answer with it.
        tokio::spawn(timeout(DRAIN_TIME, body.drain()));
        taken
    }

    async fn parts(self: &Arc<Self>, request: Request) -> Result<Vec<WaitingFile>, Refusal> {
        let busy = || Refusal::new(503, "other files are being taken in", "try again in a minute");
        let Ok(Ok(_slot)) = timeout(QUEUE_TIME, self.slots.acquire()).await else { return Err(busy()) };
        let mut form = Multipart::from_request(request, &()).await.map_err(|_| {
            Refusal::new(
                400,
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
        let slow =
            |_| Refusal::new(408, "the files came too slowly", "try again, with fewer files at a time");
        let next = |most: Instant| most.min(Instant::now() + PIECE_TIME);
        let mut files = Vec::new();
        while let Some(mut field) =
            timeout_at(next(deadline), form.next_field()).await.map_err(slow)?.map_err(|_| broken())?
        {
            let name = field.file_name().unwrap_or_default().to_owned();
            let (mut bytes, mut reservation) = (Vec::new(), Reservation::new(&self.room));
            while let Some(piece) =
                timeout_at(next(deadline), field.chunk()).await.map_err(slow)?.map_err(|_| broken())?
            {
                if bytes.len() + piece.len() > self.room.max_file_bytes() {
                    return Err(self.room.too_large(&format!("“{}” is", base(&name))));
                }
                if !reservation.add_bytes(piece.len()) {
                    return Err(Room::full());
                }
                bytes.extend_from_slice(&piece);
            }
            // A form without a chosen file sends an empty one without a name.
            if bytes.is_empty() && name.is_empty() {
                continue;
            }
            if files.len() == MOST_FILES {
                return Err(self.room.too_large("that many files are"));
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
    Refusal::new(400, "the upload broke off", "choose the files again")
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
