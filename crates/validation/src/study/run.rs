//! Many nights on several threads, the same rows in the same order whatever their number.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use engine::screen::Reason;

use crate::study::night::{Row, measure};
use crate::study::nights::{Set, cases, criteria_sets};

/// What to run.
#[derive(Clone, Copy, Debug)]
pub struct Options {
    /// Which nights.
    pub set: Set,
    /// How many.
    pub nights: usize,
    /// A reason of the tool's to leave out.
    pub without: Option<Reason>,
    /// On how many threads; at least one.
    pub threads: usize,
}

/// What is told how many nights are done of how many, from any thread.
pub type Progress<'a> = &'a (dyn Fn(usize, usize) + Sync);

/// Runs the nights.
///
/// # Errors
/// The first night that could not be held against its truth, in words.
pub fn run(options: &Options, progress: Progress<'_>) -> Result<Vec<Row>, String> {
    let rows = run_each(options, &[options.without], progress)?;
    Ok(rows.into_iter().flatten().collect())
}

/// Runs the nights with each of `drops` left out; one list of rows for each night.
///
/// # Errors
/// As [`run`].
pub fn run_each(
    options: &Options,
    drops: &[Option<Reason>],
    progress: Progress<'_>,
) -> Result<Vec<Vec<Row>>, String> {
    let sets = criteria_sets()?;
    let cases = cases(options.set, options.nights);
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let work = || {
        let mut rows = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(case) = cases.get(i) else { break };
            rows.push((i, measure(case, &sets, drops)));
            progress(done.fetch_add(1, Ordering::Relaxed) + 1, cases.len());
        }
        rows
    };
    let work = &work;
    let mut rows = thread::scope(|scope| {
        let handles: Vec<_> = (0..options.threads.max(1)).map(|_| scope.spawn(work)).collect();
        handles.into_iter().flat_map(|handle| handle.join().unwrap_or_default()).collect::<Vec<_>>()
    });
    if rows.len() != cases.len() {
        return Err(format!("{} of {} nights were lost", cases.len() - rows.len(), cases.len()));
    }
    rows.sort_by_key(|(i, _)| *i);
    rows.into_iter().map(|(_, row)| row).collect()
}
