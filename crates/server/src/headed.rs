//! A connection on which also those answers carry our headers that hyper makes of itself, to what is no request (400) or has too
//! large a head (431): they never come by the guard.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

use super::guard::HEADERS;

/// The stream of a connection.
pub(super) struct Headed<S> {
    stream: S,
    /// Bytes that are still to be written.
    waiting: Vec<u8>,
}

impl<S> Headed<S> {
    pub(super) fn new(stream: S) -> Self {
        Self { stream, waiting: Vec::new() }
    }
}

/// Whether this is a whole answer of hyper's own: a refusal without a body and without what the guard adds to every answer.
fn is_bare(bytes: &[u8]) -> bool {
    const LONGEST: usize = 512;
    if bytes.len() > LONGEST || !bytes.starts_with(b"HTTP/1.") || !bytes.ends_with(b"\r\n\r\n") {
        return false;
    }
    let head = String::from_utf8_lossy(bytes).to_ascii_lowercase();
    let is_refusal = head.split(' ').nth(1).is_some_and(|status| status.starts_with('4'));
    is_refusal && head.contains("\r\ncontent-length: 0\r\n") && !head.contains(HEADERS[0].0.as_str())
}

/// The same answer with our headers.
fn headed(bytes: &[u8]) -> Vec<u8> {
    let mut answer = bytes[..bytes.len() - 2].to_vec();
    for (name, value) in HEADERS {
        answer.extend([name.as_str(), ": ", value, "\r\n"].concat().bytes());
    }
    answer.extend(b"\r\n");
    answer
}

impl<S: AsyncWrite + Unpin> Headed<S> {
    /// Writes what waits.
    fn write_waiting(&mut self, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        while !self.waiting.is_empty() {
            let written = ready!(Pin::new(&mut self.stream).poll_write(context, &self.waiting))?;
            if written == 0 {
                return Poll::Ready(Err(io::ErrorKind::WriteZero.into()));
            }
            self.waiting.drain(..written);
        }
        Poll::Ready(Ok(()))
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Headed<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, buffer)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Headed<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        ready!(self.write_waiting(context))?;
        if !is_bare(bytes) {
            return Pin::new(&mut self.stream).poll_write(context, bytes);
        }
        self.waiting = headed(bytes);
        // What cannot be written at once is written before the next bytes, or when the stream is flushed.
        match self.write_waiting(context) {
            Poll::Ready(Err(error)) => Poll::Ready(Err(error)),
            _ => Poll::Ready(Ok(bytes.len())),
        }
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        ready!(self.write_waiting(context))?;
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        ready!(self.write_waiting(context))?;
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    use super::*;

    async fn through(written: &[u8]) -> String {
        // A pipe of seven bytes: every answer is written in pieces.
        let (near, mut far) = tokio::io::duplex(7);
        let bytes = written.to_vec();
        let writing = tokio::spawn(async move {
            let mut near = Headed::new(near);
            near.write_all(&bytes).await.unwrap();
            near.shutdown().await.unwrap();
        });
        let mut came = String::new();
        far.read_to_string(&mut came).await.unwrap();
        writing.await.unwrap();
        came
    }

    #[tokio::test]
    async fn a_bare_refusal_gets_the_headers_and_nothing_else_is_touched() {
        let bare =
            "HTTP/1.1 431 Request Header Fields Too Large\r\nconnection: close\r\ncontent-length: 0\r\n\r\n";
        let came = through(bare.as_bytes()).await;
        assert!(came.starts_with(bare.trim_end()) && came.ends_with("\r\n\r\n"), "{came}");
        for (name, value) in HEADERS {
            assert_eq!(came.matches(&format!("\r\n{name}: {value}\r\n")).count(), 1, "{came}");
        }
        for other in [
            came.as_str(),
            "HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n",
            "HTTP/1.1 404 Not Found\r\ncontent-length: 3\r\n\r\n",
            "HTTP/1.1 404 in a text",
        ] {
            assert_eq!(through(other.as_bytes()).await, other);
        }
    }
}
