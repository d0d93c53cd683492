//! Ports in memory: a world of ports for tests, which control it, and for playing with nothing plugged in.
//!
//! Deterministic: a wait with nothing pending returns [`Arrival::Quiet`] at once, whatever its timeout; but in a
//! world made by [`World::live`] time passes.

use std::collections::VecDeque;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError, Weak};
use std::time::{Duration, Instant};

use super::alarm::Alarm;
use super::identity::KnownDevices;
use super::input_queue::InputQueue;
use super::matching::{self, Found};
use super::peers::Peers;
use super::port::{PortId, without_handles};
use super::remembered::Remembered;
use super::{
    Arrival, Capabilities, Connection, Direction, FoundPort, Ports, PortsError, SendFault, Target, Waker, Wish,
};
use crate::midi;
use crate::midi::stream::Stream;

/// The ports that others have, what they play, and what was sent to them. Clones are the same world.
#[derive(Debug, Clone, Default)]
pub struct World(Arc<SharedWorld>);

#[derive(Debug, Default)]
struct SharedWorld {
    state: Mutex<WorldState>,
    changed: Condvar,
    /// Where time passes, who gets what is sent.
    live: Option<OutputSink>,
    alarm: Option<Alarm>,
}

impl SharedWorld {
    /// Ends a wait, that of the one who waits or is about to.
    fn ring(&self) {
        drop(self.state.lock().unwrap_or_else(PoisonError::into_inner));
        self.changed.notify_one();
    }
}

/// Takes the number of an output and a message.
type Deliver = dyn Fn(usize, &[u8]) + Send + Sync;

struct OutputSink(Box<Deliver>);

impl std::fmt::Debug for OutputSink {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("OutputSink")
    }
}

#[derive(Debug, Default)]
struct WorldState {
    next: usize,
    ports: Vec<(usize, FoundPort)>,
    pending: VecDeque<WorldEvent>,
    sent: Vec<(usize, Vec<u8>)>,
    full: Vec<usize>,
}

#[derive(Debug)]
enum WorldEvent {
    Played(usize, Vec<u8>),
    Message(usize, Vec<u8>),
    Plugged(usize),
    Unplugged(usize),
    Connected(PortId, usize),
    Disconnected(PortId, usize),
    Reported(Arrival<'static>),
    Woken,
}

impl World {
    /// A world in which time passes: a wait waits. What is sent is handed to `sink` at once, in the thread that sends,
    /// and not kept.
    pub fn live(sink: impl Fn(usize, &[u8]) + Send + Sync + 'static) -> World {
        World(Arc::new_cyclic(|world: &Weak<SharedWorld>| {
            let world = Weak::clone(world);
            let alarm = Alarm::where_needed(move || world.upgrade().iter().for_each(|world| world.ring()));
            SharedWorld { live: Some(OutputSink(Box::new(sink))), alarm, ..SharedWorld::default() }
        }))
    }

    fn state(&self) -> MutexGuard<'_, WorldState> {
        self.0.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn add(&self, event: WorldEvent) {
        self.state().pending.push_back(event);
        self.0.changed.notify_one();
    }

    /// What happens next; where time passes, within `timeout`.
    fn next(&self, timeout: Option<Duration>) -> Option<WorldEvent> {
        let mut state = self.state();
        let until = timeout.map(|timeout| Instant::now() + timeout);
        while self.0.live.is_some() && state.pending.is_empty() {
            let now = Instant::now();
            if until.is_some_and(|until| until <= now) {
                break;
            }
            let limit = until.map(|until| self.0.alarm.as_ref().map_or(until, |alarm| alarm.limit(until)));
            state = match limit.map(|limit| limit.saturating_duration_since(now)) {
                Some(left) => self.0.changed.wait_timeout(state, left).unwrap_or_else(PoisonError::into_inner).0,
                None => self.0.changed.wait(state).unwrap_or_else(PoisonError::into_inner),
            };
        }
        state.pending.pop_front()
    }

    /// A port appears: something to listen to, or something to send to. Returns its address.
    pub fn plug(&self, direction: Direction, client: &str, port: &str, serial: Option<&str>) -> usize {
        let mut state = self.state();
        state.next += 1;
        let address = state.next;
        let found = FoundPort {
            client: client.into(),
            port: port.into(),
            address: address.to_string(),
            direction,
            serial: serial.map(Into::into),
            socket: None,
            ours: false,
        };
        state.ports.push((address, found));
        drop(state);
        self.add(WorldEvent::Plugged(address));
        address
    }

    /// The port at this address, or the listener that [`World::listen`] returned, is gone.
    pub fn unplug(&self, address: usize) {
        self.state().ports.retain(|(known, _)| *known != address);
        self.add(WorldEvent::Unplugged(address));
    }

    /// The port at this address plays bytes: part of a message, one, or several.
    pub fn play(&self, address: usize, bytes: &[u8]) {
        self.add(WorldEvent::Played(address, bytes.into()));
    }

    /// A message arrives at an input, wherever from.
    pub fn message(&self, input: usize, bytes: &[u8]) {
        self.add(WorldEvent::Message(input, bytes.into()));
    }

    /// A program begins to listen to an output. Returns its address.
    pub fn listen(&self, output: usize) -> usize {
        let address = self.plug(Direction::Output, "Listener", "in", None);
        self.connect(Direction::Output, output, address);
        address
    }

    /// Somebody connects the port at this address with an input or an output of ours.
    pub fn connect(&self, direction: Direction, number: usize, address: usize) {
        self.add(WorldEvent::Connected(PortId { direction, number }, address));
    }

    /// Somebody takes that connection away.
    pub fn disconnect(&self, direction: Direction, number: usize, address: usize) {
        self.add(WorldEvent::Disconnected(PortId { direction, number }, address));
    }

    /// An input's port is gone, as [`Arrival::InputDisconnected`].
    pub fn input_gone(&self, input: usize) {
        self.add(WorldEvent::Reported(Arrival::InputDisconnected(input)));
    }

    /// An input's port is back, as [`Arrival::InputBack`].
    pub fn input_back(&self, input: usize) {
        self.add(WorldEvent::Reported(Arrival::InputBack(input)));
    }

    /// An input's port is there and another program has it, as [`Arrival::InputHeld`].
    pub fn input_held(&self, input: usize) {
        self.add(WorldEvent::Reported(Arrival::InputHeld(input)));
    }

    /// The same for an output's port, as [`Arrival::OutputHeld`].
    pub fn output_held(&self, output: usize) {
        self.add(WorldEvent::Reported(Arrival::OutputHeld(output)));
    }

    /// An output's port is back, as [`Arrival::OutputBack`].
    pub fn output_back(&self, output: usize) {
        self.add(WorldEvent::Reported(Arrival::OutputBack(output)));
    }

    /// Messages were lost, as [`Arrival::Overrun`].
    pub fn overrun(&self) {
        self.add(WorldEvent::Reported(Arrival::Overrun));
    }

    /// From now on sending to this output fails with [`SendFault::Full`], or no longer.
    pub fn fill(&self, output: usize, full: bool) {
        let mut state = self.state();
        state.full.retain(|known| *known != output);
        if full {
            state.full.push(output);
        }
    }

    /// What was sent since the last call: number of the output, message.
    #[must_use]
    pub fn take_sent(&self) -> Vec<(usize, Vec<u8>)> {
        std::mem::take(&mut self.state().sent)
    }

    /// Opens ports in this world.
    ///
    /// # Errors
    /// As [`super::open`]: names that fit none or two.
    pub fn open(&self, wish: &Wish) -> Result<MemoryPorts, PortsError> {
        let (sources, sinks) = (self.ports(Direction::Input), self.ports(Direction::Output));
        let found = Found::new(&sources, &sinks);
        let picked = matching::pick_all(wish, &found)?;
        let mut ports = MemoryPorts {
            world: self.clone(),
            peers: Peers::new(wish),
            remembered: Remembered::new(wish),
            devices: KnownDevices::new(wish, &picked, &found),
            streams: wish.inputs.iter().map(|_| Stream::new()).collect(),
            wish: wish.clone(),
            queue: InputQueue::new(wish.inputs.len()),
        };
        for (id, place) in picked.iter() {
            let there = if id.direction == Direction::Input { &sources } else { &sinks };
            if let Some((address, _)) = place.and_then(|place| there.get(place)) {
                ports.peers.set_named(id, *address);
            }
        }
        for (address, found) in sources.into_iter().chain(sinks) {
            for id in ports.reconnect(address, &found) {
                ports.peers.add(id, address);
            }
        }
        // What happened before is no news to whoever opens now.
        self.state().pending.clear();
        Ok(ports)
    }

    /// Opens ports for a performance with nothing plugged in: whatever port an input or output names, it is connected to
    /// one that `peer` has.
    ///
    /// # Errors
    /// None of its own; those of [`World::open`].
    pub fn open_connected(&self, wish: &Wish, peer: &str) -> Result<MemoryPorts, PortsError> {
        let mut own = Wish { reconnect: true, remembered: Vec::new(), ..wish.clone() };
        // Names that are equally long, so that none is part of another.
        for (number, input) in own.inputs.iter_mut().enumerate() {
            let port = format!("input {number:05}");
            self.plug(Direction::Input, peer, &port, None);
            (input.port, input.serial) = (port, None);
        }
        for (number, output) in own.outputs.iter_mut().enumerate() {
            let port = format!("output {number:05}");
            let address = self.plug(Direction::Output, peer, &port, None);
            match (&mut output.target, self.port_at(address)) {
                (Target::Port(wanted), _) => *wanted = port,
                (Target::Virtual, Some(found)) => own.remembered.push(Connection {
                    direction: Direction::Output,
                    port: output.name.clone(),
                    peer: found.name(),
                }),
                (Target::Virtual, None) => {}
            }
        }
        self.open(&own)
    }

    fn port_at(&self, address: usize) -> Option<FoundPort> {
        self.state().ports.iter().find(|(known, _)| *known == address).map(|(_, port)| port.clone())
    }

    fn ports(&self, direction: Direction) -> Vec<(usize, FoundPort)> {
        self.state().ports.iter().filter(|(_, port)| port.direction == direction).cloned().collect()
    }
}

/// Open ports of a [`World`].
#[derive(Debug)]
pub struct MemoryPorts {
    world: World,
    wish: Wish,
    peers: Peers<usize>,
    remembered: Remembered<usize>,
    devices: KnownDevices,
    streams: Vec<Stream>,
    queue: InputQueue,
}

impl MemoryPorts {
    fn handle(&mut self, event: WorldEvent) {
        match event {
            WorldEvent::Played(address, bytes) => {
                for input in 0..self.streams.len() {
                    if self.peers.of(PortId::input(input)).contains(&address) {
                        self.queue.push_bytes(input, &mut self.streams[input], &bytes);
                    }
                }
            }
            WorldEvent::Message(input, bytes) => {
                if let Some(stream) = self.streams.get_mut(input) {
                    self.queue.push_bytes(input, stream, &bytes);
                }
            }
            WorldEvent::Plugged(address) => {
                if let Some(port) = self.world.port_at(address) {
                    self.plugged(address, &port);
                }
            }
            WorldEvent::Unplugged(address) => {
                self.remembered.gone(|peer| peer == address, Instant::now());
                self.peers.gone(|peer| peer == address, &mut self.queue.changes);
            }
            WorldEvent::Connected(id, address) => {
                if let Some(port) = self.world.port_at(address) {
                    self.remembered.connected(id, &port.name(), address);
                    self.peers.connected(id, address, &mut self.queue.changes);
                }
            }
            WorldEvent::Disconnected(id, address) => {
                self.remembered.disconnected(id, address, Instant::now());
                self.peers.disconnected(id, address, &mut self.queue.changes);
            }
            WorldEvent::Reported(change) => self.queue.changes.push_back(change),
            WorldEvent::Woken => {}
        }
    }

    /// A port has appeared: whose it is, gets it, and so does whoever others had connected with it.
    fn plugged(&mut self, address: usize, new: &FoundPort) {
        let there = || without_handles(&self.world.ports(new.direction));
        let has_own = |id| self.peers.named(id).is_some();
        for id in self.devices.claims(&self.wish, new, has_own, there) {
            self.peers.connected(id, address, &mut self.queue.changes);
            self.peers.set_named(id, address);
            self.devices.assign(id, new);
        }
        for id in self.reconnect(address, new) {
            self.peers.connected(id, address, &mut self.queue.changes);
        }
    }

    /// Makes the connections again that this port had; says with which of ours.
    fn reconnect(&mut self, address: usize, port: &FoundPort) -> Vec<PortId> {
        let ids = self.remembered.to_reconnect(port.direction, &port.name());
        for id in &ids {
            self.remembered.connected(*id, &port.name(), address);
        }
        ids
    }
}

impl Ports for MemoryPorts {
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_> {
        while self.queue.is_empty() {
            match self.world.next(timeout) {
                None => return Arrival::Quiet,
                Some(WorldEvent::Woken) => return Arrival::Woken,
                Some(event) => {
                    self.handle(event);
                    self.queue.discard_lost(0);
                }
            }
        }
        self.queue.pop().unwrap_or(Arrival::Quiet)
    }

    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault> {
        if output >= self.wish.outputs.len() {
            return Err(SendFault::NoSuchOutput);
        }
        if !midi::is_whole(bytes) {
            return Err(SendFault::NotAMessage);
        }
        if !self.output_available(output) {
            return Err(SendFault::NotConnected);
        }
        let mut state = self.world.state();
        if state.full.contains(&output) {
            return Err(SendFault::Full);
        }
        match &self.world.0.live {
            Some(OutputSink(sink)) => {
                drop(state);
                sink(output, bytes);
            }
            None => state.sent.push((output, bytes.into())),
        }
        Ok(())
    }

    fn waker(&self) -> Waker {
        let world = self.world.clone();
        Waker::new(move || {
            let mut state = world.state();
            if !state.pending.iter().any(|event| matches!(event, WorldEvent::Woken)) {
                state.pending.push_back(WorldEvent::Woken);
                world.0.changed.notify_one();
            }
        })
    }

    fn input_connected(&self, input: usize) -> bool {
        self.peers.is_connected(PortId::input(input))
    }

    fn output_available(&self, output: usize) -> bool {
        self.wish.is_virtual(output) || self.peers.is_connected(PortId::output(output))
    }

    fn connections(&self) -> Vec<Connection> {
        self.remembered.connections()
    }

    fn dropped_overload(&self) -> u64 {
        self.queue.dropped_overload()
    }

    fn dropped(&self) -> u64 {
        self.streams.iter().map(Stream::dropped).sum()
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities { knows_connections: true, receives_exclusive: true, virtual_ports: true }
    }
}
