//! How much is told of pages that come and go: so many one by one, the rest in a sum, so that nobody can push out of the
//! log what was played and done.

use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::Notify;

use super::limits;
use crate::daemon::token_bucket::TokenBucket;

/// What was told of those who came.
#[derive(Debug)]
pub(super) struct Arrivals {
    counted: Mutex<Counted>,
    /// Told when something was left out.
    pub left_out: Notify,
}

#[derive(Debug)]
struct Counted {
    pages: Kind,
    wrong: Kind,
}

/// One kind of what is told of those who come.
#[derive(Debug)]
struct Kind {
    told: TokenBucket,
    /// How many were not told since the last sum.
    more: u64,
}

impl Default for Arrivals {
    fn default() -> Arrivals {
        let kind = || Kind { told: TokenBucket::new(limits::ARRIVALS), more: 0 };
        Arrivals { counted: Mutex::new(Counted { pages: kind(), wrong: kind() }), left_out: Notify::new() }
    }
}

impl Arrivals {
    fn counted(&self) -> MutexGuard<'_, Counted> {
        self.counted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A page was let in: whether it is told. Only of one that was told is it told that it goes.
    pub fn page(&self, now: Instant) -> bool {
        let is_told = self.counted().pages.add(now);
        self.heard(is_told)
    }

    /// A wrong passcode was said: whether it is told.
    pub fn wrong_passcode(&self, now: Instant) -> bool {
        let is_told = self.counted().wrong.add(now);
        self.heard(is_told)
    }

    fn heard(&self, is_told: bool) -> bool {
        if !is_told {
            self.left_out.notify_one();
        }
        is_told
    }

    /// How long it is until the sum of what was left out is told.
    pub fn wait(&self, now: Instant) -> Duration {
        let counted = self.counted();
        counted.pages.told.wait(now).max(counted.wrong.told.wait(now))
    }

    /// How many pages and wrong passcodes were left out since it was last asked, if any were.
    pub fn sum(&self) -> Option<(u64, u64)> {
        let counted = &mut *self.counted();
        let sum = (std::mem::take(&mut counted.pages.more), std::mem::take(&mut counted.wrong.more));
        (sum != (0, 0)).then_some(sum)
    }
}

impl Kind {
    fn add(&mut self, now: Instant) -> bool {
        let is_told = self.told.take(now);
        self.more += u64::from(!is_told);
        is_told
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wording::page;

    #[test]
    fn a_whole_day_of_visits_is_less_than_one_file_of_the_log() {
        let (arrivals, began) = (Arrivals::default(), Instant::now());
        let name = page::name(100_000, &"2001:db8:1234:5678:9abc:def0:1234:5678");
        // The time of a line and its end.
        let length = |line: String| line.len() + 31;
        let (mut bytes, mut told, mut more, mut summed) = (0, 0, 0, None::<Instant>);
        let day = 24 * 60 * 60 * 10_u64;
        for tenth in 0..day {
            let now = began + Duration::from_millis(tenth * 100);
            if summed.is_some_and(|due| due <= now) {
                summed = None;
                let (pages, wrong) = arrivals.sum().expect("some");
                more += pages + wrong;
                bytes += length(page::more_came(pages, wrong));
            }
            if arrivals.page(now) {
                told += 1;
                bytes += length(page::connected(&name, true)) + length(page::disconnected(&name));
            }
            if arrivals.wrong_passcode(now) {
                told += 1;
                bytes += length(page::wrong_passcode(&name));
            }
            let (pages, wrong) = {
                let counted = arrivals.counted();
                (counted.pages.more, counted.wrong.more)
            };
            if pages + wrong > 0 {
                summed = summed.or(Some(now + arrivals.wait(now)));
            }
        }
        let (pages, wrong) = arrivals.sum().unwrap_or_default();
        assert_eq!(told + more + pages + wrong, 2 * day);
        assert!(bytes < 1 << 20, "{bytes} bytes");
    }
}
