//! Chance that repeats: a small generator whose every draw follows from a seed and a name.

/// A stream of random numbers (xoshiro256++, seeded by splitmix64).
///
/// Each use in the crate has its own named stream, so that a change to one (a fault more, a wake less)
/// leaves the draws of the others as they were.
///
/// # Sources
/// `blackman-vigna-2021`
#[derive(Clone, Debug)]
pub(crate) struct Random {
    state: [u64; 4],
}

impl Random {
    /// The stream of this name under this seed.
    pub(crate) fn stream(seed: u64, name: &str) -> Self {
        // FNV-1a over the name keeps streams of one seed apart.
        let name_hash = name.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
        });
        let mut mix = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ name_hash;
        Self { state: std::array::from_fn(|_| splitmix(&mut mix)) }
    }

    fn next(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let shifted = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= shifted;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Evenly from 0 up to but not including 1.
    pub(crate) fn unit(&mut self) -> f64 {
        // The top 53 bits fit a double exactly.
        (self.next() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// Evenly between two bounds.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with this chance.
    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    /// From a normal distribution with mean 0 and standard deviation 1.
    pub(crate) fn normal(&mut self) -> f64 {
        // Box and Muller's form; the second value is thrown away to keep the stream simple.
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.unit()));
        radius * libm::cos(std::f64::consts::TAU * self.unit())
    }

    /// From a normal distribution cut off at two standard deviations and at a floor.
    pub(crate) fn around(&mut self, mean: f64, sd: f64, least: f64) -> f64 {
        (mean + sd * self.normal().clamp(-2.0, 2.0)).max(least)
    }

    /// A waiting time whose mean is `mean`, from an exponential distribution.
    pub(crate) fn wait(&mut self, mean: f64) -> f64 {
        -mean * libm::log(1.0 - self.unit())
    }
}

fn splitmix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Noise that remembers: a first-order random walk about 0 with standard deviation 1.
#[derive(Clone, Debug)]
pub(crate) struct Wander {
    keep: f64,
    fresh: f64,
    value: f64,
}

impl Wander {
    /// Noise whose memory fades with `memory_s` when stepped every `step_s`.
    pub(crate) fn new(memory_s: f64, step_s: f64) -> Self {
        let keep = libm::exp(-step_s / memory_s);
        Self { keep, fresh: libm::sqrt(1.0 - keep * keep), value: 0.0 }
    }

    /// The next value.
    pub(crate) fn step(&mut self, random: &mut Random) -> f64 {
        self.value = self.keep * self.value + self.fresh * random.normal();
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first output of splitmix64 from state 0 is the published e220a8397b1dcdaf.
    #[test]
    fn splitmix_gives_its_published_first_value() {
        assert_eq!(splitmix(&mut 0), 0xe220_a839_7b1d_cdaf);
    }

    #[test]
    fn streams_repeat_and_differ_by_name_and_seed() {
        let first = |seed, name| Random::stream(seed, name).next();
        assert_eq!(first(1, "a"), first(1, "a"));
        assert_ne!(first(1, "a"), first(1, "b"));
        assert_ne!(first(1, "a"), first(2, "a"));
    }

    /// 40,000 draws: the mean of a standard normal lies within 5/√40000 = 0.025, its variance
    /// within 5·√(2/40000) = 0.035.
    #[test]
    fn normal_draws_have_mean_zero_and_spread_one() {
        let mut random = Random::stream(7, "normal");
        let draws: Vec<f64> = (0..40_000).map(|_| random.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 40_000.0;
        let variance = draws.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / 39_999.0;
        assert!(mean.abs() < 0.025, "{mean}");
        assert!((variance - 1.0).abs() < 0.035, "{variance}");
    }
}
