//! The highest of the last samples, kept as the night is walked through.

use std::collections::VecDeque;

/// The latest highest of the last so many samples.
pub(super) struct Peak {
    most: usize,
    falling: VecDeque<usize>,
}

impl Peak {
    pub(super) fn new(most: usize) -> Self {
        Self { most, falling: VecDeque::new() }
    }

    /// Starts anew, with the next sample.
    pub(super) fn forget(&mut self) {
        self.falling.clear();
    }

    /// The peak of the samples before `i`; then takes `i` in. Each sample is taken in and let go once.
    pub(super) fn before(&mut self, x: &[f64], i: usize) -> Option<usize> {
        while self.falling.front().is_some_and(|&k| k + self.most < i) {
            self.falling.pop_front();
        }
        let top = self.falling.front().copied();
        while self.falling.back().is_some_and(|&k| x[k] <= x[i]) {
            self.falling.pop_back();
        }
        self.falling.push_back(i);
        top
    }
}
