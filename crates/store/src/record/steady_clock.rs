//! Time for what must run out: it never goes back, whatever is done to the machine's clock.
//!
//! Sessions and delays are measured by the process's own clock, which nobody can set. Where the machine's clock
//! runs forward beside it (it was set, or the machine slept) the time moves with it, so that a session does not
//! outlive a night with the lid closed; where it runs back the time goes on as before.

use std::time::Instant;

use crate::record::db::Store;

/// How far both clocks may drift apart before it counts as a jump, ms: one is asked in whole seconds.
const JUMP_MS: i64 = 2_000;

/// The two clocks held together.
#[derive(Debug)]
pub(crate) struct Steady {
    /// Since when the process's own clock is asked; `None` leaves it out and follows the given clock forwards.
    since: Option<Instant>,
    /// The given clock at the beginning, ms.
    base_ms: i64,
    /// Jumps forward that were followed, ms.
    jumped_ms: i64,
    /// How far the given clock stood ahead of the other at the last jump, ms.
    ahead_ms: i64,
}

impl Steady {
    /// Follows a clock forwards and never back.
    pub(crate) fn following(wall_s: i64) -> Self {
        Self { since: None, base_ms: wall_s.saturating_mul(1_000), jumped_ms: 0, ahead_ms: 0 }
    }

    /// The same on the process's own clock.
    fn own(wall_s: i64) -> Self {
        Self { since: Some(Instant::now()), ..Self::following(wall_s) }
    }

    fn now(&mut self, wall_s: i64) -> i64 {
        match self.since {
            Some(since) => {
                let elapsed = i64::try_from(since.elapsed().as_millis()).unwrap_or(i64::MAX);
                self.at(wall_s, elapsed, JUMP_MS)
            }
            None => self.at(wall_s, 0, 0),
        }
    }

    fn at(&mut self, wall_s: i64, elapsed_ms: i64, least_ms: i64) -> i64 {
        let given = wall_s.saturating_mul(1_000);
        let ahead = given.saturating_sub(self.base_ms).saturating_sub(elapsed_ms);
        let jump = ahead.saturating_sub(self.ahead_ms);
        if jump.saturating_abs() > least_ms {
            self.jumped_ms = self.jumped_ms.saturating_add(jump.max(0));
            self.ahead_ms = ahead;
        }
        let now = self.base_ms.saturating_add(self.jumped_ms).saturating_add(elapsed_ms);
        now.div_euclid(1_000)
    }
}

impl Store {
    /// Seconds for what must run out: sessions and delays. At the start they are those since 1970; they never
    /// go back.
    pub fn steady_now(&self) -> i64 {
        let now = self.now();
        self.door.steady().now(now)
    }

    /// From now on measured by the process's own clock: a server calls it once. Without it a clock that is
    /// given, as in tests, is followed forwards.
    pub fn keep_own_time(&self) {
        let now = self.now();
        *self.door.steady() = Steady::own(now);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever the machine's clock does, time passes: never back, never slower than the process's own clock.
    #[test]
    fn time_never_goes_back_and_never_stands_still_whatever_the_clock_does() {
        let mut seed = 20_261_130_u64;
        let mut draw = || {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            i64::try_from(seed >> 33).unwrap_or(0)
        };
        let start = 1_795_593_600;
        let mut steady = Steady::following(start);
        let (mut wall, mut elapsed_ms, mut last) = (start, 0, start);
        for _ in 0..20_000 {
            let passed = draw() % 5_000;
            elapsed_ms += passed;
            wall += passed / 1_000;
            match draw() % 20 {
                0 => wall += draw() % 40_000_000,
                1 => wall -= draw() % 40_000_000,
                2 => wall = [i64::MAX, i64::MIN, 0][usize::try_from(draw() % 3).unwrap()],
                _ => {}
            }
            let now = steady.at(wall, elapsed_ms, JUMP_MS);
            assert!(now >= last, "{now} after {last}");
            assert!(now >= start + elapsed_ms / 1_000);
            last = now;
            wall = wall.clamp(0, 4_000_000_000);
        }
    }

    #[test]
    fn a_clock_a_year_ahead_and_right_again_costs_nobody_a_year() {
        let start = 1_795_593_600;
        let year = 365 * 86_400;
        let mut steady = Steady::following(start);
        let ahead = steady.at(start + year, 1_000, JUMP_MS);
        // A delay of two seconds that began under the wrong clock is over two seconds later.
        let right = steady.at(start + 3, 3_000, JUMP_MS);
        assert_eq!(right - ahead, 2);
        // A night with the lid closed counts, though the process's own clock stood still.
        let woken = steady.at(start + 3 + 30_000, 3_000, JUMP_MS);
        assert_eq!(woken - right, 30_000);
    }

    #[test]
    fn whole_seconds_of_one_clock_do_not_hurry_the_other() {
        let mut steady = Steady::following(1_000);
        let mut now = 0;
        for tick in 0..1_000_000_i64 {
            now = steady.at(1_000 + (tick * 10 + 700) / 1_000, tick * 10, JUMP_MS);
        }
        assert!((now - 1_000 - 9_999).abs() <= 1, "{now}");
    }
}
