//! How many connections there may be, in all and of one machine, and how often something may come.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::daemon::token_bucket::Rate;

/// How often a connection may be let in: in any second at most 1,000, more wait in the system. A flood must not take the
/// machine's time from the music; a page needs some ten for its files and one for its socket.
pub(super) const CONNECTIONS: Rate = Rate::per_second(100, 900);
/// How often one page may say something: ten fingers need fewer, also where the network held back a second of them.
pub(super) const MESSAGES: Rate = Rate::per_second(200, 200);
/// How often a page may give a sign of life in the three seconds before its greeting: no more than 200 in all, and a page
/// gives none.
pub(super) const BEFORE_GREETING: Rate = Rate::per_second(50, 50);
/// How long the next passcode waits after a wrong one: a second, and each time double up to half a minute. One who has
/// mistyped hardly notices, one who guesses gets two a minute.
pub(super) const SHORTEST_WAIT: Duration = Duration::from_secs(1);
pub(super) const LONGEST_WAIT: Duration = Duration::from_secs(30);

/// How often a passcode may be tried after so many wrong ones that have to be waited for.
pub(super) fn passcodes(wrong: u32) -> Rate {
    let doubled = SHORTEST_WAIT * 2_u32.pow(wrong.saturating_sub(1).min(5));
    Rate::new(1, doubled.min(LONGEST_WAIT))
}

/// Who counts as one: of the newer addresses a whole network, since one machine there has as many as it likes.
pub(super) fn network(peer: IpAddr) -> IpAddr {
    match peer.to_canonical() {
        IpAddr::V6(address) if !address.is_loopback() => {
            IpAddr::V6(Ipv6Addr::from_bits(address.to_bits() & !(u128::from(u64::MAX))))
        }
        address => address,
    }
}

/// The most connections at a time.
const MOST: usize = 64;
/// The most of one other machine: one alone must not keep all others out.
const MOST_OF_ONE: usize = 24;

/// Who is connected, and how often.
#[derive(Debug, Clone, Default)]
pub(super) struct Limits(Arc<Mutex<HashMap<IpAddr, usize>>>);

/// A connection's slot among them; given back when dropped.
#[derive(Debug)]
pub(super) struct Slot {
    limits: Limits,
    of: IpAddr,
}

impl Limits {
    /// A slot, if there is one.
    pub fn take(&self, peer: IpAddr) -> Option<Slot> {
        let of = network(peer);
        let mut taken = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let most = if of.is_loopback() { MOST } else { MOST_OF_ONE };
        if taken.values().sum::<usize>() >= MOST || taken.get(&of).is_some_and(|own| *own >= most) {
            return None;
        }
        *taken.entry(of).or_default() += 1;
        Some(Slot { limits: self.clone(), of })
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        let mut taken = self.limits.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(own) = taken.get_mut(&self.of) {
            *own -= 1;
            if *own == 0 {
                taken.remove(&self.of);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use super::*;
    use crate::daemon::token_bucket::TokenBucket;

    /// How many of those that come without end are let through in so many milliseconds.
    fn let_through(rate: Rate, milliseconds: u64) -> usize {
        let (mut bucket, began) = (TokenBucket::new(rate), Instant::now());
        let coming = (0..milliseconds * 10).map(|tenth| began + Duration::from_micros(tenth * 100));
        coming.filter(|at| bucket.take(*at)).count()
    }

    #[test]
    fn a_flood_gets_through_as_far_as_is_said() {
        assert_eq!(let_through(CONNECTIONS, 1_000), 999);
        assert_eq!(let_through(BEFORE_GREETING, 3_000), 199);
        assert_eq!((let_through(MESSAGES, 20), let_through(MESSAGES, 10_000)), (200, 2_199));
    }

    #[test]
    fn wrong_passcodes_wait_longer_and_longer() {
        let waits = [1, 2, 3, 4, 5, 6, 7, u32::MAX].map(passcodes);
        assert_eq!(waits, [1, 2, 4, 8, 16, 30, 30, 30].map(|seconds| Rate::new(1, Duration::from_secs(seconds))));
    }

    #[test]
    fn one_machine_takes_some_and_all_together_no_more_than_there_are() {
        let limits = Limits::default();
        let of = |last: u8| IpAddr::from([192, 0, 2, last]);
        let mut held: Vec<Slot> = (0..100).filter_map(|_| limits.take(of(1))).collect();
        assert_eq!(held.len(), MOST_OF_ONE);
        held.extend((0..100).filter_map(|_| limits.take(IpAddr::from([127, 0, 0, 1]))));
        assert_eq!(held.len(), MOST);
        assert!(limits.take(of(2)).is_none());
        held.pop();
        assert!(limits.take(of(1)).is_none() && limits.take(of(2)).is_some());
        held.clear();
        assert!(limits.0.lock().unwrap().is_empty());
    }
}
