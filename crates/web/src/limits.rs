//! Every limit of the door, in one place: how much, how long, how many.
//!
//! They keep one browser, or one stranger, from taking what all others need. The figures are common practice,
//! no source; `docs/limits.md` prints them, and a test holds the two together.

use std::time::Duration;

/// A file that is taken in, bytes: a night of ten hours with channels of 100 Hz is some tens of megabytes.
pub const UPLOAD: usize = 64 << 20;
/// What is still read of a file beyond that, bytes, so that the browser comes to hear why it was refused.
pub const UPLOAD_READ: usize = 512 << 20;
/// Files that wait for somebody to say what their columns are.
pub const HELD: usize = 4;
/// A form of somebody who is logged in, bytes.
pub const FORM: usize = 1 << 20;
/// A form of anybody else, bytes.
pub const FORM_OF_NOBODY: usize = 64 << 10;
/// Fields of one form.
pub const FIELDS: usize = 2_000;
/// Fields of a form of somebody who is not logged in.
pub const FIELDS_OF_NOBODY: usize = 500;
/// The name of a field, bytes.
pub const NAME: usize = 100;
/// The headers of a request, bytes.
pub const HEADERS: usize = 64 << 10;

/// How long, and how many at once. A test gives its own, so that it waits for nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// For the headers of a request, and for the next request on a connection that is kept open.
    pub headers: Duration,
    /// For a form, and for each piece of a file, to come.
    pub body: Duration,
    /// For a file to come whole and be taken in.
    pub upload: Duration,
    /// For a file to wait until those before it have been read.
    pub turn: Duration,
    /// For somebody to say what the columns of a file are.
    pub held: Duration,
    /// For an answer.
    pub answer: Duration,
    /// Without a byte either way, while no answer is being made.
    pub idle: Duration,
    /// Connections in all.
    pub connections: usize,
    /// Connections of one address.
    pub of_one_address: usize,
    /// Files on their way in, among them those that wait to be read: one is read at a time.
    pub uploads: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            headers: Duration::from_secs(15),
            body: Duration::from_secs(20),
            upload: Duration::from_mins(15),
            turn: Duration::from_mins(2),
            held: Duration::from_mins(15),
            answer: Duration::from_mins(1),
            idle: Duration::from_secs(75),
            connections: 512,
            of_one_address: 256,
            uploads: 4,
        }
    }
}

impl Limits {
    /// Lowered to what the system lets the process open: half of it, since the record needs files too.
    #[must_use]
    pub fn as_the_system_allows(mut self) -> Self {
        let limits = std::fs::read_to_string("/proc/self/limits").unwrap_or_default();
        let line = limits.lines().find_map(|line| line.strip_prefix("Max open files"));
        let soft = line.and_then(|line| line.split_whitespace().next()?.parse::<usize>().ok());
        if let Some(open) = soft {
            self.connections = self.connections.min((open / 2).max(8));
            self.of_one_address = self.of_one_address.min((self.connections / 2).max(8));
        }
        self
    }
}
