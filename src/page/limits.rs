//! How many connections there may be, in all and of one machine, and how often something may come.

use std::cmp::Reverse;
use std::collections::{BTreeMap, HashMap, VecDeque};
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::Notify;

use crate::daemon::token_bucket::Rate;

/// How often a connection may be let in: in any second at most 1,000, more wait in the system. A flood must not take the
/// machine's time from the music; a page needs some ten for its files and one for its socket.
pub(super) const CONNECTIONS: Rate = Rate::per_second(100, 900);
/// How often one page may say something: ten fingers need fewer, also where the network held back a second of them.
pub(super) const MESSAGES: Rate = Rate::per_second(200, 200);
/// How often a page may give a sign of life in the three seconds before its greeting: no more than 200 in all, and a page
/// gives none.
pub(super) const BEFORE_GREETING: Rate = Rate::per_second(50, 50);
/// How often one page, or one wrong passcode, is told in the log: 20 at once, then one a minute; the rest
/// is told in a sum. However many come, a day of them is less than one file of the log.
pub(super) const ARRIVALS: Rate = Rate::new(20, Duration::from_secs(60));
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

/// The most connections at a time that no page has proven to be its own yet. A page that loads takes some six for its
/// files and one for its socket.
const MOST: usize = 256;
/// The most addresses of devices that are known.
const MOST_KNOWN: usize = 256;

/// Who is connected. Nobody is kept out: where no place is left, the network that has most of them gives one up, of it
/// the address that has most, of that the connection that has been silent longest. Those at the address of a device that
/// is known come last.
#[derive(Debug, Clone, Default)]
pub(super) struct Limits(Arc<Mutex<SlotTable>>);

#[derive(Debug, Default)]
struct SlotTable {
    /// Counts connections and what they ask for, so that what is smaller was heard longer ago.
    count: u64,
    taken: BTreeMap<u64, SlotEntry>,
    known: VecDeque<IpAddr>,
}

#[derive(Debug)]
struct SlotEntry {
    at: IpAddr,
    heard: u64,
    yields: Arc<Notify>,
}

/// A connection's slot among them; given back when dropped.
#[derive(Debug)]
pub(super) struct Slot {
    limits: Limits,
    number: u64,
    /// Told when it has to make room.
    pub yields: Arc<Notify>,
}

impl Limits {
    /// With the addresses of devices that are known.
    pub fn knowing(known: Vec<IpAddr>) -> Limits {
        let limits = Limits::default();
        known.into_iter().for_each(|at| limits.know(at));
        limits
    }

    fn table(&self) -> MutexGuard<'_, SlotTable> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A slot; the connection whose place it takes, if any, is told.
    pub fn take(&self, peer: IpAddr) -> Slot {
        let mut table = self.table();
        if table.taken.len() >= MOST {
            table.make_room();
        }
        table.count += 1;
        let (number, yields) = (table.count, Arc::new(Notify::new()));
        let entry = SlotEntry { at: peer.to_canonical(), heard: number, yields: Arc::clone(&yields) };
        table.taken.insert(number, entry);
        Slot { limits: self.clone(), number, yields }
    }

    /// A device was let in there.
    fn know(&self, at: IpAddr) {
        let at = at.to_canonical();
        let mut table = self.table();
        table.known.retain(|known| *known != at);
        if table.known.len() >= MOST_KNOWN {
            table.known.pop_front();
        }
        table.known.push_back(at);
    }
}

impl SlotTable {
    fn make_room(&mut self) {
        let (mut networks, mut addresses) = (HashMap::new(), HashMap::new());
        for entry in self.taken.values() {
            *networks.entry(network(entry.at)).or_insert(0_usize) += 1;
            *addresses.entry(entry.at).or_insert(0_usize) += 1;
        }
        let of = |many: Option<&usize>| Reverse(many.copied().unwrap_or(0));
        let first = self.taken.iter().min_by_key(|(_, entry)| {
            let is_known = self.known.contains(&entry.at);
            (is_known, of(networks.get(&network(entry.at))), of(addresses.get(&entry.at)), entry.heard)
        });
        let first = first.map(|(number, _)| *number);
        if let Some(entry) = first.and_then(|number| self.taken.remove(&number)) {
            entry.yields.notify_one();
        }
    }
}

impl Slot {
    /// It has asked for something.
    pub fn heard(&self) {
        let mut table = self.limits.table();
        table.count += 1;
        let count = table.count;
        if let Some(entry) = table.taken.get_mut(&self.number) {
            entry.heard = count;
        }
    }

    /// A page was let in over it: it gives no place up any longer; pages have a limit of their own. One that has
    /// `proven` that it may control makes its address known.
    pub fn admit(&self, proven: bool) {
        let gone = self.limits.table().taken.remove(&self.number);
        if let Some(entry) = gone.filter(|_| proven) {
            self.limits.know(entry.at);
        }
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        self.limits.table().taken.remove(&self.number);
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

    fn of(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    /// How many of these still have their slots.
    fn left(limits: &Limits, slots: &[Slot]) -> usize {
        let table = limits.table();
        slots.iter().filter(|slot| table.taken.contains_key(&slot.number)).count()
    }

    #[test]
    fn a_crowd_makes_room_for_whoever_comes() {
        let limits = Limits::default();
        let crowd: Vec<Slot> = (0..1_000).map(|number| limits.take(of((number % 3) as u8))).collect();
        assert_eq!(left(&limits, &crowd), MOST);
        let tablet: Vec<Slot> = (0..7).map(|_| limits.take(of(200))).collect();
        let more: Vec<Slot> = (0..1_000).map(|number| limits.take(of((number % 3) as u8))).collect();
        assert_eq!((left(&limits, &tablet), left(&limits, &crowd)), (7, 0), "those that are silent longest go first");
        drop((crowd, tablet, more));
        assert!(limits.table().taken.is_empty());
    }

    #[test]
    fn a_neighbour_with_any_number_of_addresses_keeps_no_known_device_out() {
        let near = |last: u16| IpAddr::from([0x2001, 0xdb8, 0, 7, 0, 0, 0, last]);
        let limits = Limits::knowing(vec![near(9)]);
        let crowd: Vec<Slot> = (100..1_100).map(|last| limits.take(near(last))).collect();
        let tablet: Vec<Slot> = (0..7).map(|_| limits.take(near(9))).collect();
        let more: Vec<Slot> = (2_000..3_000).map(|last| limits.take(near(last))).collect();
        assert_eq!((left(&limits, &tablet), left(&limits, &crowd)), (7, 0));
        // Nor does one elsewhere that has as many networks.
        let far = |number: u16| limits.take(IpAddr::from([0x2001, 0xdb8, number, 7, 0, 0, 0, 1]));
        let far: Vec<Slot> = (1..1_000).map(far).collect();
        assert_eq!((left(&limits, &tablet), left(&limits, &more)), (7, 0));
        drop(far);
    }

    #[test]
    fn pages_that_were_let_in_give_no_place_up() {
        let limits = Limits::default();
        let page = limits.take(of(1));
        page.admit(true);
        let crowd: Vec<Slot> = (0..500).map(|_| limits.take(of(1))).collect();
        assert_eq!(left(&limits, &crowd), MOST);
        assert_eq!(limits.table().known, [of(1)]);
        let first = limits.table().taken.keys().next().copied();
        let slot = crowd.iter().find(|slot| Some(slot.number) == first).unwrap();
        slot.heard();
        let _more = limits.take(of(1));
        assert!(limits.table().taken.contains_key(&slot.number), "who has just asked for something is not silent");
    }
}
