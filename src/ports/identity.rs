//! Telling a device that comes back from an equal one.
//!
//! A device has its names, its serial number where the maker gave it one (some give all the same), and the USB socket
//! that it sits in. What an input or output had while an equal device was there too is remembered for the run, and so
//! are the equal ones that it did not have.

use super::matching::{self, Found};
use super::port::{FoundPort, PortId};
use super::table::PortTable;
use super::wish::{Wanted, Wish};

/// What a device is known by.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Identity {
    name: String,
    serial: Option<String>,
    socket: Option<String>,
}

/// How well a port speaks for being a device that is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Likeness {
    /// It is another.
    None,
    /// Its name is the same, and neither has a serial number.
    Name,
    /// Its name and serial number are the same; it is in another socket.
    Serial,
    /// All is the same, the socket too.
    Socket,
}

impl Identity {
    fn of(port: &FoundPort) -> Self {
        Identity { name: port.name(), serial: port.serial.clone(), socket: port.socket.clone() }
    }

    fn likeness(&self, port: &FoundPort) -> Likeness {
        if self.name != port.name() || self.serial != port.serial {
            return Likeness::None;
        }
        match (self.socket.is_some() && self.socket == port.socket, self.serial.is_some()) {
            (true, _) => Likeness::Socket,
            (false, true) => Likeness::Serial,
            (false, false) => Likeness::Name,
        }
    }
}

/// What is known of the devices of every input and output.
#[derive(Debug, Clone, Default)]
pub(super) struct KnownDevices(PortTable<DeviceHistory>);

impl KnownDevices {
    /// At the beginning: what each picked of the ports that there are.
    pub(super) fn new(wish: &Wish, picked: &PortTable<Option<usize>>, found: &Found) -> Self {
        KnownDevices(PortTable::new(wish, |id| {
            let mut history = DeviceHistory::default();
            if let (Some(Some(own)), Some(wanted)) = (picked.get(id), wish.wanted(id)) {
                for (place, port) in found.of(id.direction).iter().enumerate() {
                    if place == *own {
                        history.assign(port);
                    } else if matching::fit(wanted.port, port).is_some() {
                        history.rule_out(port);
                    }
                }
            }
            history
        }))
    }

    /// Which of our ports a port belongs to that has just appeared. `has_own` says which need none; `there` are all
    /// ports of its direction, asked for only where it matters.
    pub(super) fn claims(
        &mut self,
        wish: &Wish,
        new: &FoundPort,
        has_own: impl Fn(PortId) -> bool,
        there: impl FnOnce() -> Vec<FoundPort>,
    ) -> Vec<PortId> {
        let mut lacking = Vec::new();
        for (id, history) in self.0.of_mut(new.direction) {
            let Some(wanted) = wish.wanted(id).filter(|wanted| matching::fit(wanted.port, new).is_some()) else {
                continue;
            };
            if has_own(id) {
                history.rule_out(new);
            } else {
                lacking.push((id, wanted, history));
            }
        }
        if lacking.is_empty() {
            return Vec::new();
        }
        let there = there();
        lacking.retain(|(_, wanted, history)| history.accepts(new, wanted, &there));
        lacking.into_iter().map(|(id, ..)| id).collect()
    }

    /// An input or output has this one from now on.
    pub(super) fn assign(&mut self, id: PortId, port: &FoundPort) {
        if let Some(history) = self.0.get_mut(id) {
            history.assign(port);
        }
    }
}

/// Which device an input or output had last, and which equal ones it had not.
#[derive(Debug, Clone, Default)]
struct DeviceHistory {
    own: Option<Identity>,
    others: Vec<Identity>,
}

impl DeviceHistory {
    /// It has this one from now on.
    fn assign(&mut self, port: &FoundPort) {
        let own = Identity::of(port);
        self.others.retain(|other| *other != own);
        self.own = Some(own);
    }

    /// This one fits as well, while it has its own.
    fn rule_out(&mut self, port: &FoundPort) {
        let other = Identity::of(port);
        if self.own.as_ref() != Some(&other) && !self.others.contains(&other) {
            self.others.push(other);
        }
    }

    /// Whether a port that has just appeared is its own, `there` being all ports.
    fn accepts(&self, new: &FoundPort, wanted: &Wanted<'_>, there: &[FoundPort]) -> bool {
        let Some(own) = &self.own else {
            let picked = matching::pick(wanted.port, wanted.serial, there).ok().and_then(|place| there.get(place));
            return picked.is_some_and(|picked| picked.address == new.address);
        };
        if wanted.serial.is_some() && new.serial.as_deref() != wanted.serial {
            return false;
        }
        // Another that sits where it sat is itself, and cannot be the new one.
        let away = |other: &&Identity| {
            !there.iter().any(|port| port.address != new.address && other.likeness(port) == Likeness::Socket)
        };
        let others = self.others.iter().filter(away).map(|other| other.likeness(new)).max().unwrap_or(Likeness::None);
        own.likeness(new) >= others
    }
}

#[cfg(test)]
mod tests {
    use super::super::Direction;
    use super::*;

    fn port(address: &str, serial: Option<&str>, socket: &str) -> FoundPort {
        let named = FoundPort::named("Piano", Direction::Input);
        let (serial, socket) = (serial.map(Into::into), Some(socket.into()));
        FoundPort { address: address.into(), serial, socket, ..named }
    }

    fn wanted(serial: Option<&'static str>) -> Wanted<'static> {
        Wanted { name: "keyboard", port: "piano", serial, optional: false }
    }

    fn known(own: &FoundPort, others: &[FoundPort]) -> DeviceHistory {
        let mut known = DeviceHistory::default();
        known.assign(own);
        others.iter().for_each(|other| known.rule_out(other));
        known
    }

    fn accepts(known: &DeviceHistory, new: &FoundPort, beside: &[FoundPort]) -> bool {
        let there: Vec<FoundPort> = beside.iter().chain([new]).cloned().collect();
        known.accepts(new, &wanted(None), &there)
    }

    #[test]
    fn equal_keyboards_without_serial_are_told_apart_by_their_sockets() {
        let (own, other) = (port("20:0", None, "1-1"), port("24:0", None, "2-1"));
        let known = known(&own, std::slice::from_ref(&other));
        assert!(accepts(&known, &port("28:0", None, "1-1"), std::slice::from_ref(&other)));
        assert!(!accepts(&known, &port("20:0", None, "2-1"), &[]));
        // Moved, while the other sits where it sat.
        assert!(accepts(&known, &port("28:0", None, "3-1"), &[other]));
        // The only one, in a third socket.
        assert!(accepts(&known, &port("28:0", None, "3-1"), &[]));
    }

    #[test]
    fn a_serial_number_counts_in_every_socket() {
        let (own, other) = (port("20:0", Some("A"), "1-1"), port("24:0", Some("B"), "2-1"));
        let known = known(&own, &[other]);
        assert!(accepts(&known, &port("20:0", Some("A"), "2-1"), &[]));
        assert!(!accepts(&known, &port("20:0", Some("B"), "1-1"), &[]));
        // A third of the same kind stands in for ours.
        assert!(accepts(&known, &port("20:0", Some("C"), "1-1"), &[]));
    }

    #[test]
    fn a_serial_number_that_all_have_tells_nothing_and_the_socket_does() {
        let (own, other) = (port("20:0", Some("1"), "1-1"), port("24:0", Some("1"), "2-1"));
        let known = known(&own, std::slice::from_ref(&other));
        assert!(accepts(&known, &port("28:0", Some("1"), "1-1"), std::slice::from_ref(&other)));
        assert!(!accepts(&known, &port("28:0", Some("1"), "2-1"), &[]));
        assert!(accepts(&known, &port("28:0", Some("1"), "3-1"), &[other]));
    }

    #[test]
    fn who_had_none_yet_takes_what_the_gear_file_means_and_no_tie() {
        let known = DeviceHistory::default();
        assert!(accepts(&known, &port("20:0", None, "1-1"), &[]));
        assert!(!accepts(&known, &port("20:0", None, "1-1"), &[port("24:0", None, "2-1")]));
    }

    #[test]
    fn a_serial_number_of_the_gear_file_is_held_to() {
        let known = known(&port("20:0", Some("A"), "1-1"), &[]);
        let new = port("20:0", Some("C"), "1-1");
        assert!(!known.accepts(&new, &wanted(Some("A")), std::slice::from_ref(&new)));
    }
}
