//! Files on their way in: a few at once, and one of them read at a time.
//!
//! Reading a file takes several times its length, so two are never read together. Those that came meanwhile
//! wait in their place; when all places are taken the next is refused in words, and nothing of it is kept.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::time::Instant;

use axum::extract::Multipart;
use axum::extract::multipart::Field;
use axum::extract::multipart::MultipartError;
use axum::http::StatusCode;
use store::intake::receive::Incoming;
use tokio::sync::OwnedSemaphorePermit;
use tokio::sync::Semaphore;

use crate::form::sentence;
use crate::limits;
use crate::limits::Limits;
use crate::page::Trouble;

/// The places, the turn, and the files that wait for words. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Uploads {
    places: Arc<Semaphore>,
    turn: Arc<Semaphore>,
    held: Arc<Mutex<VecDeque<Held>>>,
    limits: Limits,
}

/// A file that waits until somebody has said what its columns are. It is in the memory alone.
#[derive(Debug)]
struct Held {
    token: String,
    /// Who sent it: nobody else is shown it.
    login: String,
    file: Arc<Incoming>,
    since: Instant,
}

/// What a form with a file brought.
#[derive(Debug, Default)]
pub(crate) struct Sent {
    /// The fields that are no file, in their order.
    pub(crate) fields: Vec<(String, String)>,
    /// Name of the file.
    pub(crate) name: String,
    /// Its bytes.
    pub(crate) bytes: Vec<u8>,
}

impl Sent {
    /// A field; empty when it was not sent.
    pub(crate) fn get(&self, name: &str) -> &str {
        self.fields.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value.trim())
    }
}

impl Uploads {
    /// With nobody in it.
    pub fn new(limits: Limits) -> Self {
        let places = Arc::new(Semaphore::new(limits.uploads));
        Self { places, turn: Arc::new(Semaphore::new(1)), held: Arc::default(), limits }
    }

    /// Holds a file until somebody has said what its columns are, in place of the oldest when there are too
    /// many. It is asked for by its token.
    pub(crate) fn hold(&self, token: String, login: &str, file: Incoming) -> Arc<Incoming> {
        let file = Arc::new(file);
        let (login, since) = (login.to_owned(), Instant::now());
        let mut held = self.held();
        held.push_back(Held { token, login, file: file.clone(), since });
        if held.len() > limits::HELD {
            held.pop_front();
        }
        file
    }

    /// A file that waits, for whoever sent it.
    pub(crate) fn waits(&self, token: &str, login: &str) -> Option<Arc<Incoming>> {
        let held = self.held();
        let mut own = held.iter().filter(|one| one.login == login);
        own.find(|one| one.token == token).map(|one| one.file.clone())
    }

    /// Lets a file go.
    pub(crate) fn let_go(&self, token: &str) {
        self.held().retain(|one| one.token != token);
    }

    /// Those whose time is not over.
    fn held(&self) -> std::sync::MutexGuard<'_, VecDeque<Held>> {
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        held.retain(|one| one.since.elapsed() < self.limits.held);
        held
    }

    /// A place for a file, kept until it is dropped.
    ///
    /// # Errors
    /// When all are taken.
    pub fn place(&self) -> Result<OwnedSemaphorePermit, Trouble> {
        self.places.clone().try_acquire_owned().map_err(|_| Trouble::full(self.limits.uploads))
    }

    /// How many places are taken.
    pub fn taken(&self) -> usize {
        self.limits.uploads.saturating_sub(self.places.available_permits())
    }

    /// The turn to be read, when those before have been.
    ///
    /// # Errors
    /// When those before take too long, or the server ends.
    pub async fn turn(&self) -> Result<OwnedSemaphorePermit, Trouble> {
        let turn = tokio::time::timeout(self.limits.turn, self.turn.clone().acquire_owned()).await;
        let turn = turn.map_err(|_| Trouble::full(self.taken()))?;
        turn.map_err(|error| Trouble::broken(error.to_string()))
    }

    /// Whether one has its turn.
    pub fn reads(&self) -> bool {
        self.turn.available_permits() == 0
    }

    /// Reads a form with one file, which is held once and no longer than it may be.
    pub(crate) async fn read(&self, mut parts: Multipart) -> Result<Sent, Trouble> {
        let mut sent = Sent::default();
        while let Some(mut part) = self.soon(parts.next_field()).await? {
            let name = part.name().unwrap_or_default().to_owned();
            if let Some(file) = part.file_name().map(str::to_owned) {
                sent.name = file;
                sent.bytes = self.all(&mut part, limits::UPLOAD).await?;
            } else if sent.fields.len() < limits::FIELDS && name.len() <= limits::NAME {
                let value = self.all(&mut part, limits::FORM).await?;
                sent.fields.push((name, String::from_utf8_lossy(&value).into_owned()));
            } else {
                return Err(Trouble::too_many_fields());
            }
        }
        Ok(sent)
    }

    /// A part whole. What is beyond its limit is read and let go, so that the browser reads the answer.
    async fn all(&self, part: &mut Field<'_>, most: usize) -> Result<Vec<u8>, Trouble> {
        let (mut bytes, mut found) = (Vec::new(), 0);
        while let Some(chunk) = self.soon(part.chunk()).await? {
            found += chunk.len();
            if found <= most {
                bytes.extend_from_slice(&chunk);
            } else {
                bytes = Vec::new();
            }
        }
        if found > most { Err(Trouble::file_too_large(found)) } else { Ok(bytes) }
    }

    /// The next piece, which may not be waited for without end.
    async fn soon<T>(
        &self,
        piece: impl Future<Output = Result<T, MultipartError>>,
    ) -> Result<T, Trouble> {
        let come = tokio::time::timeout(self.limits.body, piece).await;
        come.map_err(|_| Trouble::sent_too_slowly())?.map_err(|error| match error.status() {
            StatusCode::PAYLOAD_TOO_LARGE => Trouble::file_too_large(limits::UPLOAD_READ),
            _ => Trouble::not_understood(&sentence(&error.body_text())),
        })
    }
}
