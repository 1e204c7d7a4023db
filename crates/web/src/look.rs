//! What is looked at: declared while an answer is made, written down by the guard before it leaves.

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::PoisonError;

use serde_json::Value;

/// For how long a look of the same thing by the same session covers what its page asks by itself, s.
pub(crate) const HOLDS_S: i64 = 600;

/// One look at a person's data, or at a list of several.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Look {
    /// What was looked at: `loan 12`, `morning`.
    pub(crate) object: String,
    /// Whose it is, by row.
    pub(crate) person: Option<i64>,
    /// What the audit should know beyond that.
    pub(crate) facts: Value,
}

/// What sessions have looked at in the last minutes. It is kept here and never told by a browser, so that no
/// request can say of itself that it need not be written down.
#[derive(Debug, Default)]
pub(crate) struct Looked(Mutex<BTreeMap<(String, String), i64>>);

impl Looked {
    /// Whether a look of this session at this thing was written in the last minutes.
    pub(crate) fn lately(&self, session: &str, thing: &str, now: i64) -> bool {
        let looked = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let key = (session.to_owned(), thing.to_owned());
        looked.get(&key).is_some_and(|at| now - at < HOLDS_S)
    }

    /// A look of this session at this thing was written.
    pub(crate) fn wrote(&self, session: &str, thing: String, now: i64) {
        let mut looked = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if looked.len() > 10_000 {
            looked.retain(|_, at| now - *at < HOLDS_S);
        }
        looked.insert((session.to_owned(), thing), now);
    }
}
