//! The door: how many connections stand open, of whom, and which one makes room for the next.
//!
//! When there are too many, the one that has been silent longest and is owed no answer is closed. So whoever
//! holds connections open without asking anything loses them first, and the next browser is let in.

use std::collections::BTreeMap;
use std::io;
use std::net::IpAddr;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicU64;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::task::Context;
use std::task::Poll;
use std::task::Waker;
use std::time::Duration;

use axum_server::accept::Accept;
use tokio::io::AsyncRead;
use tokio::io::AsyncWrite;
use tokio::io::AsyncWriteExt as _;
use tokio::io::ReadBuf;
use tokio::net::TcpStream;
use tokio::time::Instant;
use tokio::time::Sleep;

use crate::limits::Limits;

/// What a browser is told for whom there is no place, without a certificate: nothing can be said before an
/// encrypted connection stands.
const FULL: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\ncontent-type: text/plain; charset=utf-8\r\nretry-after: 10\r\nconnection: close\r\ncontent-length: 74\r\n\r\nThe server answers as many browsers as it can at once. Try again shortly.\n";

/// All connections. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Door(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    limits: Limits,
    began: Instant,
    lines: Mutex<BTreeMap<SocketAddr, Arc<Line>>>,
}

/// One connection.
#[derive(Debug)]
struct Line {
    /// When a byte moved last, ms since the door was opened.
    moved_ms: AtomicU64,
    /// How many answers are being made for it.
    answers: AtomicUsize,
    closing: AtomicBool,
    /// Whoever waits for its next byte.
    waker: Mutex<Option<Waker>>,
}

impl Line {
    fn close(&self) {
        self.closing.store(true, Ordering::SeqCst);
        let waker = self.waker.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(waker) = waker {
            waker.wake();
        }
    }
}

/// An answer is being made: until this is dropped its connection is not closed for being silent.
#[derive(Debug)]
pub struct Answering(Arc<Line>);

impl Drop for Answering {
    fn drop(&mut self) {
        self.0.answers.fetch_sub(1, Ordering::SeqCst);
    }
}

impl Door {
    /// A door with nobody in it.
    pub fn new(limits: Limits) -> Self {
        Self(Arc::new(Inner { limits, began: Instant::now(), lines: Mutex::default() }))
    }

    /// What it lets through.
    pub fn limits(&self) -> &Limits {
        &self.0.limits
    }

    /// How many connections stand open.
    pub fn open(&self) -> usize {
        self.lines().len()
    }

    /// An answer is being made for whoever asks from there.
    pub fn answering(&self, from: SocketAddr) -> Option<Answering> {
        let line = self.lines().get(&from)?.clone();
        line.answers.fetch_add(1, Ordering::SeqCst);
        Some(Answering(line))
    }

    fn lines(&self) -> std::sync::MutexGuard<'_, BTreeMap<SocketAddr, Arc<Line>>> {
        self.0.lines.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn now_ms(&self) -> u64 {
        u64::try_from(self.0.began.elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    /// Takes a connection in, in the place of a silent one when there is none free.
    fn admit(&self, from: SocketAddr) -> Option<Arc<Line>> {
        let Limits { connections, of_one_address, .. } = self.0.limits;
        let mut lines = self.lines();
        let own = lines.keys().filter(|other| other.ip() == from.ip()).count();
        let goes = if own >= of_one_address {
            Some(silent(&lines, Some(from.ip()))?)
        } else if lines.len() >= connections {
            Some(silent(&lines, most_of(&lines))?)
        } else {
            None
        };
        if let Some(line) = goes.and_then(|goes| lines.remove(&goes)) {
            line.close();
        }
        let line = Arc::new(Line {
            moved_ms: AtomicU64::new(self.now_ms()),
            answers: AtomicUsize::new(0),
            closing: AtomicBool::new(false),
            waker: Mutex::default(),
        });
        lines.insert(from, line.clone());
        Some(line)
    }

    fn leave(&self, from: SocketAddr, line: &Arc<Line>) {
        let mut lines = self.lines();
        if lines.get(&from).is_some_and(|known| Arc::ptr_eq(known, line)) {
            lines.remove(&from);
        }
    }
}

/// The address with most connections.
fn most_of(lines: &BTreeMap<SocketAddr, Arc<Line>>) -> Option<IpAddr> {
    let mut counts: BTreeMap<IpAddr, usize> = BTreeMap::new();
    for from in lines.keys() {
        *counts.entry(from.ip()).or_default() += 1;
    }
    counts.into_iter().max_by_key(|(_, count)| *count).map(|(address, _)| address)
}

/// The connection, of an address, that has been silent longest and is owed no answer.
fn silent(lines: &BTreeMap<SocketAddr, Arc<Line>>, of: Option<IpAddr>) -> Option<SocketAddr> {
    let free = lines.iter().filter(|(from, line)| {
        of.is_none_or(|of| from.ip() == of) && line.answers.load(Ordering::SeqCst) == 0
    });
    free.min_by_key(|(_, line)| line.moved_ms.load(Ordering::SeqCst)).map(|(from, _)| *from)
}

/// Takes connections through the door.
#[derive(Clone, Debug)]
pub(crate) struct Doorkeeper {
    pub(crate) door: Door,
    /// Whether words can be said before the connection is encrypted.
    pub(crate) plain: bool,
}

impl<S: Send + 'static> Accept<TcpStream, S> for Doorkeeper {
    type Stream = Held;
    type Service = S;
    type Future = Pin<Box<dyn Future<Output = io::Result<(Held, S)>> + Send>>;

    fn accept(&self, mut stream: TcpStream, service: S) -> Self::Future {
        let keeper = self.clone();
        Box::pin(async move {
            let from = stream.peer_addr()?;
            let Some(line) = keeper.door.admit(from) else {
                if keeper.plain {
                    let say = async { stream.write_all(FULL).await.and(stream.shutdown().await) };
                    // Whoever does not even read this is not waited for.
                    let _ = tokio::time::timeout(Duration::from_secs(1), say).await;
                }
                return Err(io::Error::other("no place for one connection more"));
            };
            let idle = keeper.door.0.limits.idle;
            let until = Box::pin(tokio::time::sleep(idle));
            Ok((Held { stream, door: keeper.door, from, line, until }, service))
        })
    }
}

/// A connection that is closed when it is silent for too long, or when its place is needed.
#[derive(Debug)]
pub(crate) struct Held {
    stream: TcpStream,
    door: Door,
    from: SocketAddr,
    line: Arc<Line>,
    until: Pin<Box<Sleep>>,
}

impl Drop for Held {
    fn drop(&mut self) {
        self.door.leave(self.from, &self.line);
    }
}

impl Held {
    fn moved(&self) {
        self.line.moved_ms.store(self.door.now_ms(), Ordering::SeqCst);
    }

    /// Whether its time is over, asked whenever nothing moves.
    fn over(&mut self, cx: &mut Context<'_>) -> Option<io::Error> {
        *self.line.waker.lock().unwrap_or_else(PoisonError::into_inner) = Some(cx.waker().clone());
        if self.line.closing.load(Ordering::SeqCst) {
            return Some(io::Error::new(io::ErrorKind::ConnectionAborted, "its place is needed"));
        }
        let idle = self.door.0.limits.idle;
        while self.until.as_mut().poll(cx).is_ready() {
            let moved = Duration::from_millis(self.line.moved_ms.load(Ordering::SeqCst));
            let end = self.door.0.began + moved + idle;
            let now = Instant::now();
            if self.line.answers.load(Ordering::SeqCst) > 0 {
                self.until.as_mut().reset(now + idle);
            } else if end <= now {
                return Some(io::Error::new(io::ErrorKind::TimedOut, "silent for too long"));
            } else {
                self.until.as_mut().reset(end);
            }
        }
        None
    }
}

impl AsyncRead for Held {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = into.filled().len();
        match Pin::new(&mut self.stream).poll_read(cx, into) {
            Poll::Pending => self.over(cx).map_or(Poll::Pending, |error| Poll::Ready(Err(error))),
            ready @ Poll::Ready(_) => {
                if into.filled().len() > before {
                    self.moved();
                }
                ready
            }
        }
    }
}

impl AsyncWrite for Held {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        match Pin::new(&mut self.stream).poll_write(cx, bytes) {
            Poll::Pending => self.over(cx).map_or(Poll::Pending, |error| Poll::Ready(Err(error))),
            ready @ Poll::Ready(_) => {
                self.moved();
                ready
            }
        }
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        match Pin::new(&mut self.stream).poll_write_vectored(cx, bytes) {
            Poll::Pending => self.over(cx).map_or(Poll::Pending, |error| Poll::Ready(Err(error))),
            ready @ Poll::Ready(_) => {
                self.moved();
                ready
            }
        }
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(address: u8, port: u16) -> SocketAddr {
        SocketAddr::from(([192, 0, 2, address], port))
    }

    fn door(connections: usize, of_one_address: usize) -> Door {
        Door::new(Limits { connections, of_one_address, ..Limits::default() })
    }

    fn is_open(line: &Line) -> bool {
        !line.closing.load(Ordering::SeqCst)
    }

    #[tokio::test]
    async fn a_silent_connection_makes_room_and_one_that_is_owed_an_answer_does_not() {
        let door = door(2, 2);
        let (busy, silent) = (door.admit(from(1, 1)).unwrap(), door.admit(from(1, 2)).unwrap());
        let answer = door.answering(from(1, 1)).unwrap();
        let next = door.admit(from(2, 1)).unwrap();
        assert!(is_open(&busy) && !is_open(&silent) && is_open(&next));
        let other = door.answering(from(2, 1)).unwrap();
        assert!(door.admit(from(3, 1)).is_none());
        drop((answer, other));
        assert!(door.admit(from(3, 1)).is_some());
        assert_eq!(door.open(), 2);
    }

    #[tokio::test]
    async fn an_address_with_many_connections_loses_its_own() {
        let door = door(4, 2);
        let lone = door.admit(from(1, 1)).unwrap();
        let many: Vec<_> = (1..=4).map(|port| door.admit(from(2, port)).unwrap()).collect();
        assert_eq!(many.iter().filter(|line| is_open(line)).count(), 2);
        assert!(is_open(&lone));
        // A full door takes from whoever has most.
        door.admit(from(3, 1)).unwrap();
        door.admit(from(4, 1)).unwrap();
        assert!(is_open(&lone));
    }
}
