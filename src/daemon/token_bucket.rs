//! The one rate limiter: a token bucket. Whoever lets others in or hears them asks it whether one more may come now.
//!
//! It knows no clock, and what it holds does not grow with what it limits.

use std::time::{Duration, Instant};

/// How often something may happen: so many at once, and one more each time that a token has come back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Rate {
    burst: u32,
    every: Duration,
}

impl Rate {
    /// `burst` at once, and then one in each `every`.
    pub const fn new(burst: u32, every: Duration) -> Rate {
        Rate { burst, every }
    }

    /// `burst` at once, and then so many in a second: in any second no more than both together.
    pub const fn per_second(burst: u32, many: u32) -> Rate {
        Rate::new(burst, Duration::from_nanos(1_000_000_000 / many as u64))
    }
}

/// A bucket of tokens, full at first. Each thing that happens takes one, and time puts them back.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TokenBucket {
    rate: Rate,
    /// When it is full again; `None` while nothing was ever taken.
    full_at: Option<Instant>,
}

impl TokenBucket {
    pub const fn new(rate: Rate) -> TokenBucket {
        TokenBucket { rate, full_at: None }
    }

    /// How long until there is a token.
    pub fn wait(&self, now: Instant) -> Duration {
        let missing = self.full_at.map_or(Duration::ZERO, |full_at| full_at.saturating_duration_since(now));
        missing.saturating_sub(self.rate.every * self.rate.burst.saturating_sub(1))
    }

    /// Takes a token; whether there was one.
    pub fn take(&mut self, now: Instant) -> bool {
        let is_there = self.wait(now).is_zero();
        if is_there {
            self.full_at = Some(self.full_at.map_or(now, |full_at| full_at.max(now)) + self.rate.every);
        }
        is_there
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const MS: fn(u64) -> Duration = Duration::from_millis;

    fn taken(bucket: &mut TokenBucket, now: Instant) -> usize {
        (0..1_000).take_while(|_| bucket.take(now)).count()
    }

    #[test]
    fn so_many_come_at_once_and_then_one_after_the_other() {
        let mut bucket = TokenBucket::new(Rate::per_second(4, 10));
        let began = Instant::now();
        assert_eq!(bucket.wait(began), Duration::ZERO);
        assert_eq!(taken(&mut bucket, began), 4);
        assert_eq!(bucket.wait(began), MS(100));
        assert_eq!(bucket.wait(began + MS(99)), MS(1));
        assert_eq!(taken(&mut bucket, began + MS(99)), 0);
        assert_eq!(taken(&mut bucket, began + MS(100)), 1);
        assert_eq!(taken(&mut bucket, began + MS(350)), 2, "the half that is left over is not lost");
        assert_eq!(taken(&mut bucket, began + MS(400)), 1);
        assert_eq!(taken(&mut bucket, began + MS(60_000)), 4, "never more than it holds");
    }

    #[test]
    fn a_bucket_of_one_makes_the_next_one_wait_its_whole_time() {
        let mut bucket = TokenBucket::new(Rate::new(1, MS(2_000)));
        let began = Instant::now();
        assert_eq!(taken(&mut bucket, began), 1);
        assert_eq!(bucket.wait(began + MS(500)), MS(1_500));
        assert_eq!(taken(&mut bucket, began + MS(2_000)), 1);
        // A clock that seems to stand before what was taken harms nothing.
        assert_eq!(bucket.wait(began), MS(4_000));
    }

    proptest! {
        #[test]
        fn no_stretch_of_time_has_more_than_a_burst_and_what_came_back(
            burst in 1_u32..50, many in 1_u32..500, pauses in prop::collection::vec(0_u64..30_000, 1..300)
        ) {
            let rate = Rate::per_second(burst, many);
            let mut bucket = TokenBucket::new(rate);
            let mut now = Instant::now();
            let mut taken = Vec::new();
            for pause in pauses {
                now += Duration::from_micros(pause);
                if bucket.take(now) {
                    taken.push(now);
                }
            }
            for (first, from) in taken.iter().enumerate() {
                for (last, to) in taken.iter().enumerate().skip(first) {
                    let back = to.duration_since(*from).as_nanos() / rate.every.as_nanos();
                    prop_assert!((last - first + 1) as u128 <= u128::from(burst) + back);
                }
            }
        }
    }
}
