//! What is connected when: at the beginning, when a port appears, and after announcements were lost.

use std::time::{Duration, Instant};

use ::alsa::seq::Addr;

use super::super::identity::KnownDevices;
use super::super::{Direction, Fault, Listed, PortsError, Side, matching};
use super::{Sequencer, system};

/// How long a program that has come back gets to make its connections itself: where we were first, its own try would
/// fail, and many programs give up at that.
const COURTESY: Duration = Duration::from_millis(300);

/// A port is announced while its driver may still be at it, and then cannot be connected: tried again soon, so often.
const AGAIN: Duration = Duration::from_millis(10);
const TRIES: u32 = 50;

/// A port that is to be connected, and when.
pub(super) struct Due {
    peer: Addr,
    pub(super) at: Instant,
    /// How often it was tried to give it to whom it belongs; 0: others had connected it.
    tries: u32,
}

fn direction(side: Side) -> Direction {
    if side == Side::Input { Direction::Input } else { Direction::Output }
}

fn listed(ports: &[(Addr, Listed)]) -> Vec<Listed> {
    ports.iter().map(|(_, listed)| listed.clone()).collect()
}

impl Sequencer {
    /// Connects what the gear file means.
    pub(super) fn connect_all(&mut self) -> Result<(), PortsError> {
        let sources = system::ports(&self.seq, Direction::Input);
        let sinks = system::ports(&self.seq, Direction::Output);
        let (heard, sent_to) = (listed(&sources), listed(&sinks));
        let picked = matching::pick_all(&self.wish, &heard, &sent_to).map_err(|faults| PortsError { faults })?;
        self.devices = KnownDevices::new(&self.wish, &picked, &heard, &sent_to);
        let mut faults = Vec::new();
        for (side, places, ports) in [(Side::Input, picked.inputs, sources), (Side::Output, picked.outputs, sinks)] {
            for (number, place) in places.into_iter().enumerate() {
                let Some((peer, listed)) = place.and_then(|place| ports.get(place)) else { continue };
                match self.connect(side, number, *peer) {
                    Ok(()) => self.peers.set_named(side, number, *peer),
                    Err(error) => faults.push(Fault::Refused {
                        doing: format!("Connecting to \"{}\"", listed.name()),
                        cause: error.to_string(),
                    }),
                }
            }
        }
        if faults.is_empty() { Ok(()) } else { Err(PortsError { faults }) }
    }

    /// Makes the connections of an earlier run again, with whom is there. Nothing is told, as at the beginning all is
    /// set up anyway.
    pub(super) fn connect_remembered(&mut self) {
        for side in [Side::Input, Side::Output] {
            for (peer, listed) in system::ports(&self.seq, direction(side)) {
                for number in self.connect_again(side, peer, &listed) {
                    self.peers.add(side, number, peer);
                }
            }
        }
    }

    /// Makes the connections with a port again that others had made; says with whom of ours.
    fn connect_again(&mut self, side: Side, peer: Addr, listed: &Listed) -> Vec<usize> {
        let mut numbers = self.remembered.to_reconnect(side, &listed.name());
        // A source that plays elsewhere by now has been told where to.
        if side == Side::Input && !numbers.is_empty() && system::leads_anywhere(&self.seq, peer) {
            return Vec::new();
        }
        numbers.retain(|number| self.connect(side, *number, peer).is_ok());
        for number in &numbers {
            self.remembered.connected(side, *number, &listed.name(), peer);
        }
        numbers
    }

    /// Makes the connections whose time has come.
    pub(super) fn connect_due(&mut self) {
        let now = Instant::now();
        let (come, later) = std::mem::take(&mut self.due).into_iter().partition(|due| due.at <= now);
        self.due = later;
        let come: Vec<Due> = come;
        for Due { peer, tries, .. } in come {
            if tries > 0 {
                self.take_up(peer, tries);
                continue;
            }
            for side in [Side::Input, Side::Output] {
                let Some(listed) = system::port_at(&self.seq, peer, direction(side)) else { continue };
                for number in self.connect_again(side, peer, &listed) {
                    self.peers.connected(side, number, peer, &mut self.queue.changes);
                }
            }
        }
    }

    fn connect(&mut self, side: Side, number: usize, peer: Addr) -> Result<(), ::alsa::Error> {
        let port = |ports: &[i32]| ports.get(number).copied().unwrap_or(-1);
        match side {
            Side::Input => {
                system::connect(&self.seq, peer, self.at(port(&self.inputs)))?;
                if system::is_device(&self.seq, peer.client) {
                    self.stale.connected(peer, Instant::now());
                }
                Ok(())
            }
            Side::Output => system::connect(&self.seq, self.at(port(&self.outputs)), peer),
        }
    }

    /// Somebody has connected something, perhaps ourselves.
    pub(super) fn joined(&mut self, side: Side, number: usize, peer: Addr) {
        if self.peers.named(side, number) != Some(peer)
            && let Some(names) = system::names_at(&self.seq, peer)
        {
            self.remembered.connected(side, number, &names, peer);
        }
        self.peers.connected(side, number, peer, &mut self.queue.changes);
    }

    /// Ports have ended.
    pub(super) fn ended(&mut self, gone: impl Fn(Addr) -> bool) {
        self.due.retain(|due| !gone(due.peer));
        self.remembered.gone(&gone, Instant::now());
        self.peers.gone(gone, &mut self.queue.changes);
    }

    /// A port has appeared: whose it is, gets it; whoever had it by others' wish, gets it soon.
    pub(super) fn take_up(&mut self, peer: Addr, tries: u32) {
        if peer.client == self.client {
            return;
        }
        for side in [Side::Input, Side::Output] {
            let Some(new) = system::port_at(&self.seq, peer, direction(side)) else { continue };
            let has_own = |number| self.peers.named(side, number).is_some();
            // Ports come and go all the time; the whole list is asked for only where the new one may be meant.
            let there = || listed(&system::ports(&self.seq, direction(side)));
            for number in self.devices.claims(&self.wish, side, &new, has_own, there) {
                if self.connect(side, number, peer).is_ok() {
                    self.peers.connected(side, number, peer, &mut self.queue.changes);
                    self.peers.set_named(side, number, peer);
                    self.devices.assign(side, number, &new);
                } else if tries < TRIES {
                    self.later(peer, AGAIN, tries + 1);
                }
            }
            if tries == 0 && !self.remembered.to_reconnect(side, &new.name()).is_empty() {
                self.later(peer, COURTESY, 0);
            }
        }
    }

    fn later(&mut self, peer: Addr, after: Duration, tries: u32) {
        if !self.due.iter().any(|due| due.peer == peer && due.tries == tries) {
            self.due.push(Due { peer, at: Instant::now() + after, tries });
        }
    }

    /// After an overrun announcements may be missing too: what is gone is told, what came is taken up.
    pub(super) fn look_again(&mut self) {
        for (side, number, peer) in self.peers.all() {
            let connected = match side {
                Side::Input => system::is_connected(&self.seq, peer, self.at(self.inputs[number])),
                Side::Output => system::is_connected(&self.seq, self.at(self.outputs[number]), peer),
            };
            if !connected {
                if system::names_at(&self.seq, peer).is_some() {
                    self.remembered.disconnected(side, number, peer, Instant::now());
                } else {
                    self.remembered.gone(|known| known == peer, Instant::now());
                }
                self.peers.disconnected(side, number, peer, &mut self.queue.changes);
            }
        }
        for direction in [Direction::Input, Direction::Output] {
            for (peer, _) in system::ports(&self.seq, direction) {
                self.take_up(peer, 0);
            }
        }
    }
}
