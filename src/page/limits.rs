//! How many connections there may be, in all and of one machine.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

use super::auth::network;

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
    use super::*;

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
