//! What is connected when: at the beginning, when a port appears, and after announcements were lost.

use std::time::{Duration, Instant};

use ::alsa::seq::Addr;

use super::super::identity::KnownDevices;
use super::super::matching::{self, Found};
use super::super::port::{PortId, without_handles};
use super::super::{Direction, Fault, FoundPort, PortsError};
use super::{Due, Sequencer, system};

/// How long a program that has come back gets to make its connections itself: where we were first, its own try would
/// fail, and many programs give up at that.
const RECONNECT_AFTER: Duration = Duration::from_millis(300);

/// A port is announced while its driver may still be at it, and then cannot be connected: tried again soon, so often.
const RETRY_AFTER: Duration = Duration::from_millis(10);
const TRIES: u32 = 50;

impl Sequencer {
    /// Connects what the gear file names.
    pub(super) fn connect_all(&mut self) -> Result<(), PortsError> {
        let sources = system::ports(&self.seq, Direction::Input);
        let sinks = system::ports(&self.seq, Direction::Output);
        let found = Found::new(&sources, &sinks);
        let picked = matching::pick_all(&self.wish, &found)?;
        self.devices = KnownDevices::new(&self.wish, &picked, &found);
        let mut faults = Vec::new();
        for (id, place) in picked.iter() {
            let there = if id.direction == Direction::Input { &sources } else { &sinks };
            let Some((peer, port)) = place.and_then(|place| there.get(place)) else { continue };
            match self.connect(id, *peer) {
                Ok(()) => self.peers.set_named(id, *peer),
                Err(error) => faults.push(Fault::connecting(self.wish.name(id), port, error)),
            }
        }
        PortsError::unless_none(faults)
    }

    /// Makes the connections of an earlier run again, with what is connected to the system. Nothing is reported, as at
    /// the beginning all is set up anyway.
    pub(super) fn connect_remembered(&mut self) {
        for direction in Direction::ALL {
            for (peer, port) in system::ports(&self.seq, direction) {
                for id in self.reconnect(peer, &port) {
                    self.peers.add(id, peer);
                }
            }
        }
    }

    /// Makes the connections with a port again that others had made; says with which of ours.
    fn reconnect(&mut self, peer: Addr, port: &FoundPort) -> Vec<PortId> {
        let mut ids = self.remembered.to_reconnect(port.direction, &port.name());
        // A source that plays elsewhere by now has been told where to.
        if port.direction == Direction::Input && !ids.is_empty() && system::leads_anywhere(&self.seq, peer) {
            return Vec::new();
        }
        ids.retain(|id| self.connect(*id, peer).is_ok());
        for id in &ids {
            self.remembered.connected(*id, &port.name(), peer);
        }
        ids
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
            for direction in Direction::ALL {
                let Some(port) = system::port_at(&self.seq, peer, direction) else { continue };
                for id in self.reconnect(peer, &port) {
                    self.peers.connected(id, peer, &mut self.queue.changes);
                }
            }
        }
    }

    fn connect(&mut self, id: PortId, peer: Addr) -> Result<(), ::alsa::Error> {
        let ours = self.address(id);
        if id.direction == Direction::Output {
            return system::connect(&self.seq, ours, peer);
        }
        system::connect(&self.seq, peer, ours)?;
        if system::is_device(&self.seq, peer.client) {
            self.stale.connected(peer, Instant::now());
        }
        Ok(())
    }

    /// Somebody has connected something, perhaps ourselves.
    pub(super) fn connected(&mut self, id: PortId, peer: Addr) {
        if self.peers.named(id) != Some(peer)
            && let Some(name) = system::name_at(&self.seq, peer)
        {
            self.remembered.connected(id, &name, peer);
        }
        self.peers.connected(id, peer, &mut self.queue.changes);
    }

    /// Ports have ended.
    pub(super) fn gone(&mut self, gone: impl Fn(Addr) -> bool) {
        self.due.retain(|due| !gone(due.peer));
        self.remembered.gone(&gone, Instant::now());
        self.peers.gone(gone, &mut self.queue.changes);
    }

    /// A port has appeared: whose it is, gets it; whoever had it by others' wish, gets it soon.
    pub(super) fn take_up(&mut self, peer: Addr, tries: u32) {
        if peer.client == self.client {
            return;
        }
        for direction in Direction::ALL {
            let Some(new) = system::port_at(&self.seq, peer, direction) else { continue };
            let has_own = |id| self.peers.named(id).is_some();
            // Ports come and go all the time; the whole list is asked for only where the new one may be meant.
            let there = || without_handles(&system::ports(&self.seq, direction));
            for id in self.devices.claims(&self.wish, &new, has_own, there) {
                if self.connect(id, peer).is_ok() {
                    self.peers.connected(id, peer, &mut self.queue.changes);
                    self.peers.set_named(id, peer);
                    self.devices.assign(id, &new);
                } else if tries < TRIES {
                    self.later(peer, RETRY_AFTER, tries + 1);
                }
            }
            if tries == 0 && !self.remembered.to_reconnect(direction, &new.name()).is_empty() {
                self.later(peer, RECONNECT_AFTER, 0);
            }
        }
    }

    fn later(&mut self, peer: Addr, after: Duration, tries: u32) {
        if !self.due.iter().any(|due| due.peer == peer && due.tries == tries) {
            self.due.push(Due { peer, at: Instant::now() + after, tries });
        }
    }

    /// After an overrun announcements may be missing too: what is gone is reported, what came is taken up.
    pub(super) fn look_again(&mut self) {
        for (id, peer) in self.peers.all() {
            let connected = match id.direction {
                Direction::Input => system::is_connected(&self.seq, peer, self.address(id)),
                Direction::Output => system::is_connected(&self.seq, self.address(id), peer),
            };
            if connected {
                continue;
            }
            if system::name_at(&self.seq, peer).is_some() {
                self.remembered.disconnected(id, peer, Instant::now());
            } else {
                self.remembered.gone(|known| known == peer, Instant::now());
            }
            self.peers.disconnected(id, peer, &mut self.queue.changes);
        }
        for direction in Direction::ALL {
            for (peer, _) in system::ports(&self.seq, direction) {
                self.take_up(peer, 0);
            }
        }
    }
}
