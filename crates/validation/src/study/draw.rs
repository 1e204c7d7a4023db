//! Draws of the study's own: the simulator keeps its generator to itself.

/// A stream of numbers that follows from its seed (splitmix64).
///
/// # Sources
/// `blackman-vigna-2021`
#[derive(Clone, Debug)]
pub struct Draw {
    state: u64,
}

/// What a parameter of the held-out nights may be: evenly between two bounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// What it is, with its unit.
    pub what: &'static str,
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
}

impl Draw {
    /// The stream of a night.
    pub fn new(seed: u64) -> Self {
        Self { state: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x6d61_7469_6e73_3031 }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from 0 up to but not including 1.
    pub fn unit(&mut self) -> f64 {
        // The top 53 bits fit a double exactly.
        (self.next() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// Evenly within a range.
    pub fn within(&mut self, range: &Range) -> f64 {
        range.low + (range.high - range.low) * self.unit()
    }

    /// A whole number within a range, both ends included.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "the ranges of whole numbers are small and not negative"
    )]
    pub fn whole(&mut self, range: &Range) -> u32 {
        let many = range.high - range.low + 1.0;
        (range.low + (many * self.unit()).floor()) as u32
    }

    /// True with this chance.
    pub fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    /// One of several, each as likely.
    pub fn one_of<T: Copy>(&mut self, first: T, others: &[T]) -> T {
        let place = self.unit() * (others.len() + 1) as f64;
        others.iter().enumerate().find(|(i, _)| place < (*i + 1) as f64).map_or(first, |(_, &x)| x)
    }
}
