//! Telling a device that comes back from an equal one.
//!
//! A device has its names, its serial number where the maker gave it one (some give all the same), and the USB socket
//! that it sits in. What an input or output had while an equal device was there too is remembered for the run, and so
//! are the equal ones that it did not have.

use super::matching::{self, Picked};
use super::{Listed, Side, Wish};

/// What a device is known by.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Identity {
    name: String,
    serial: Option<String>,
    socket: Option<String>,
}

impl Identity {
    fn of(listed: &Listed) -> Self {
        Identity { name: listed.name(), serial: listed.serial.clone(), socket: listed.socket.clone() }
    }

    /// How well a port speaks for being this device: not at all, by name alone, by its serial number in another
    /// socket, by all that there is.
    fn likeness(&self, listed: &Listed) -> u8 {
        if self.name != listed.name() || self.serial != listed.serial {
            return 0;
        }
        match (self.socket.is_some() && self.socket == listed.socket, self.serial.is_some()) {
            (true, _) => 3,
            (false, true) => 2,
            (false, false) => 1,
        }
    }
}

/// What every input and output knows of devices.
#[derive(Debug, Clone, Default)]
pub(super) struct KnownDevices {
    inputs: Vec<DeviceHistory>,
    outputs: Vec<DeviceHistory>,
}

impl KnownDevices {
    /// At the beginning: what each has of the ports that there are.
    pub(super) fn new(wish: &Wish, picked: &Picked, sources: &[Listed], sinks: &[Listed]) -> Self {
        let begin = |side, places: &[Option<usize>], there: &[Listed]| {
            let each = places.iter().enumerate().map(|(number, place)| {
                let mut known = DeviceHistory::default();
                if let (Some(place), Some((wanted, _))) = (*place, wish.wanted(side, number)) {
                    there.get(place).into_iter().for_each(|own| known.assign(own));
                    let others = there.iter().enumerate().filter(|(other, _)| *other != place);
                    let others = others.filter(|(_, listed)| matching::fit(wanted, listed).is_some());
                    others.for_each(|(_, listed)| known.rule_out(listed));
                }
                known
            });
            each.collect()
        };
        KnownDevices {
            inputs: begin(Side::Input, &picked.inputs, sources),
            outputs: begin(Side::Output, &picked.outputs, sinks),
        }
    }

    /// Whose a port is that has just appeared: numbers of inputs or outputs. `has_own` says who needs none; `there`
    /// are all ports, asked for only where it matters.
    pub(super) fn claims(
        &mut self,
        wish: &Wish,
        side: Side,
        new: &Listed,
        has_own: impl Fn(usize) -> bool,
        there: impl FnOnce() -> Vec<Listed>,
    ) -> Vec<usize> {
        let known = if side == Side::Input { &mut self.inputs } else { &mut self.outputs };
        let mut lacking = Vec::new();
        for (number, known) in known.iter_mut().enumerate() {
            let Some((wanted, serial)) = wish.wanted(side, number) else { continue };
            match (matching::fit(wanted, new), has_own(number)) {
                (None, _) => {}
                (Some(_), true) => known.rule_out(new),
                (Some(_), false) => lacking.push((number, wanted, serial, known)),
            }
        }
        if lacking.is_empty() {
            return Vec::new();
        }
        let there = there();
        let mut claimed = Vec::new();
        for (number, wanted, serial, known) in lacking {
            if known.accepts(new, wanted, serial, &there) {
                claimed.push(number);
            }
        }
        claimed
    }

    /// An input or output has this one from now on.
    pub(super) fn assign(&mut self, side: Side, number: usize, listed: &Listed) {
        let known = if side == Side::Input { &mut self.inputs } else { &mut self.outputs };
        if let Some(known) = known.get_mut(number) {
            known.assign(listed);
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
    fn assign(&mut self, listed: &Listed) {
        let own = Identity::of(listed);
        self.others.retain(|other| *other != own);
        self.own = Some(own);
    }

    /// This one fits as well, while it has its own.
    fn rule_out(&mut self, listed: &Listed) {
        let other = Identity::of(listed);
        if self.own.as_ref() != Some(&other) && !self.others.contains(&other) {
            self.others.push(other);
        }
    }

    /// Whether a port that has just appeared is its own, `there` being all ports; the gear file wants `wanted` in its
    /// name and perhaps a serial number.
    fn accepts(&self, new: &Listed, wanted: &str, serial: Option<&str>, there: &[Listed]) -> bool {
        let Some(own) = &self.own else {
            let picked = matching::pick(wanted, serial, there).ok().and_then(|place| there.get(place));
            return picked.is_some_and(|picked| picked.address == new.address);
        };
        if matching::fit(wanted, new).is_none() || serial.is_some() && new.serial.as_deref() != serial {
            return false;
        }
        // Another that sits where it sat is itself, and cannot be the new one.
        let away =
            |other: &&Identity| !there.iter().any(|port| port.address != new.address && other.likeness(port) == 3);
        let others = self.others.iter().filter(away).map(|other| other.likeness(new)).max().unwrap_or(0);
        own.likeness(new) >= others
    }
}

#[cfg(test)]
mod tests {
    use super::super::Direction;
    use super::*;

    fn port(address: &str, serial: Option<&str>, socket: &str) -> Listed {
        Listed {
            client: "Piano".into(),
            port: "Piano".into(),
            address: address.into(),
            direction: Direction::Input,
            serial: serial.map(Into::into),
            socket: Some(socket.into()),
            ours: false,
        }
    }

    fn known(own: &Listed, others: &[Listed]) -> DeviceHistory {
        let mut known = DeviceHistory::default();
        known.assign(own);
        others.iter().for_each(|other| known.rule_out(other));
        known
    }

    fn accepts(known: &DeviceHistory, new: &Listed, beside: &[Listed]) -> bool {
        let there: Vec<Listed> = beside.iter().chain([new]).cloned().collect();
        known.accepts(new, "piano", None, &there)
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
        assert!(!known.accepts(&new, "piano", Some("A"), std::slice::from_ref(&new)));
    }
}
