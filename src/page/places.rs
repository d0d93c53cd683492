//! How many connections there may be, in all and of one machine.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

use super::door::network;

/// The most connections at a time.
const MOST: usize = 64;
/// The most of one other machine: one alone must not keep all others out.
const MOST_OF_ONE: usize = 24;

/// The places that connections have.
#[derive(Debug, Clone, Default)]
pub(super) struct Places(Arc<Mutex<HashMap<IpAddr, usize>>>);

/// A connection's place; given back when dropped.
#[derive(Debug)]
pub(super) struct Place {
    places: Places,
    of: IpAddr,
}

impl Places {
    /// A place, if there is one.
    pub fn take(&self, peer: IpAddr) -> Option<Place> {
        let of = network(peer);
        let mut taken = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let most = if of.is_loopback() { MOST } else { MOST_OF_ONE };
        if taken.values().sum::<usize>() >= MOST || taken.get(&of).is_some_and(|own| *own >= most) {
            return None;
        }
        *taken.entry(of).or_default() += 1;
        Some(Place { places: self.clone(), of })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.places.0.lock().unwrap_or_else(PoisonError::into_inner);
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
        let places = Places::default();
        let of = |last: u8| IpAddr::from([192, 0, 2, last]);
        let mut held: Vec<Place> = (0..100).filter_map(|_| places.take(of(1))).collect();
        assert_eq!(held.len(), MOST_OF_ONE);
        held.extend((0..100).filter_map(|_| places.take(IpAddr::from([127, 0, 0, 1]))));
        assert_eq!(held.len(), MOST);
        assert!(places.take(of(2)).is_none());
        held.pop();
        assert!(places.take(of(1)).is_none() && places.take(of(2)).is_some());
        held.clear();
        assert!(places.0.lock().unwrap().is_empty());
    }
}
