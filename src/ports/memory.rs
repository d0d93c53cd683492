//! Ports in memory: a world of ports for tests, which control it, and for playing with nothing plugged in.
//!
//! Deterministic: a wait with nothing pending returns [`Arrival::Quiet`] at once, whatever its timeout; but in a
//! world made by [`World::live`] time passes.

use std::collections::VecDeque;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::identity::KnownDevices;
use super::peers::Peers;
use super::remembered::Remembered;
use super::whole;
use super::{
    Arrival, Capabilities, Connection, Direction, InputQueue, Listed, Ports, PortsError, Ready, SendFault, Side,
    Target, Waker, Wish, matching,
};
use crate::midi::stream::Stream;

/// The ports that others have, what they play, and what they heard. Clones are the same world.
#[derive(Debug, Clone, Default)]
pub struct World(Arc<Shared>);

#[derive(Debug, Default)]
struct Shared {
    state: Mutex<State>,
    changed: Condvar,
    /// Where time passes, who hears what is sent.
    live: Option<Sink>,
}

/// Hears the number of an output and a message.
type Deliver = dyn Fn(usize, &[u8]) + Send + Sync;

struct Sink(Box<Deliver>);

impl std::fmt::Debug for Sink {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Sink")
    }
}

#[derive(Debug, Default)]
struct State {
    next: usize,
    there: Vec<(usize, Listed)>,
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
    Connected(Side, usize, usize),
    Disconnected(Side, usize, usize),
    Reported(Ready),
    Woken,
}

impl World {
    /// A world in which time passes: a wait waits. What is sent is handed to `heard` at once, in the thread that sends,
    /// and not kept.
    pub fn live(heard: impl Fn(usize, &[u8]) + Send + Sync + 'static) -> World {
        World(Arc::new(Shared { live: Some(Sink(Box::new(heard))), ..Shared::default() }))
    }

    fn state(&self) -> MutexGuard<'_, State> {
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
            let left = until.map(|until| until.saturating_duration_since(Instant::now()));
            state = match left {
                Some(Duration::ZERO) => break,
                Some(left) => self.0.changed.wait_timeout(state, left).unwrap_or_else(PoisonError::into_inner).0,
                None => self.0.changed.wait(state).unwrap_or_else(PoisonError::into_inner),
            };
        }
        state.pending.pop_front()
    }

    /// A port appears: something to listen to, or something to send to. Returns its address.
    pub fn plug(&self, direction: Direction, client: &str, port: &str, serial: Option<&str>) -> usize {
        self.plug_into(None, direction, client, port, serial)
    }

    /// The same, at a USB socket.
    pub fn plug_into(
        &self,
        socket: Option<&str>,
        direction: Direction,
        client: &str,
        port: &str,
        serial: Option<&str>,
    ) -> usize {
        let mut state = self.state();
        state.next += 1;
        let address = state.next;
        let listed = Listed {
            client: client.into(),
            port: port.into(),
            address: address.to_string(),
            direction,
            serial: serial.map(Into::into),
            socket: socket.map(Into::into),
            ours: false,
        };
        state.there.push((address, listed));
        drop(state);
        self.add(WorldEvent::Plugged(address));
        address
    }

    /// The port at this address, or the listener that [`World::listen`] returned, is gone.
    pub fn unplug(&self, address: usize) {
        self.state().there.retain(|(there, _)| *there != address);
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
        self.connect(Side::Output, output, address);
        address
    }

    /// Somebody connects the port at this address with an input or an output of ours.
    pub fn connect(&self, side: Side, number: usize, address: usize) {
        self.add(WorldEvent::Connected(side, number, address));
    }

    /// Somebody takes that connection away.
    pub fn disconnect(&self, side: Side, number: usize, address: usize) {
        self.add(WorldEvent::Disconnected(side, number, address));
    }

    /// An input's port is gone, as [`Arrival::InputGone`].
    pub fn input_gone(&self, input: usize) {
        self.add(WorldEvent::Reported(Ready::InputGone(input)));
    }

    /// An input's port is back, as [`Arrival::InputBack`].
    pub fn input_back(&self, input: usize) {
        self.add(WorldEvent::Reported(Ready::InputBack(input)));
    }

    /// An output's port is gone, as [`Arrival::OutputGone`].
    pub fn output_gone(&self, output: usize) {
        self.add(WorldEvent::Reported(Ready::OutputGone(output)));
    }

    /// An output's port is back, as [`Arrival::OutputBack`].
    pub fn output_back(&self, output: usize) {
        self.add(WorldEvent::Reported(Ready::OutputBack(output)));
    }

    /// Messages were lost, as [`Arrival::Overrun`].
    pub fn overrun(&self) {
        self.add(WorldEvent::Reported(Ready::Overrun));
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
        let mut ports = MemoryPorts {
            world: self.clone(),
            peers: Peers::new(wish.inputs.len(), wish.outputs.len()),
            remembered: Remembered::new(wish),
            devices: KnownDevices::default(),
            streams: wish.inputs.iter().map(|_| Stream::new()).collect(),
            wish: wish.clone(),
            queue: InputQueue::new(wish.inputs.len()),
        };
        let (sources, sinks) = (self.there(Direction::Input), self.there(Direction::Output));
        let listed = |there: &[(usize, Listed)]| there.iter().map(|(_, listed)| listed.clone()).collect::<Vec<_>>();
        let (heard, sent_to) = (listed(&sources), listed(&sinks));
        let picked = matching::pick_all(wish, &heard, &sent_to).map_err(|faults| PortsError { faults })?;
        ports.devices = KnownDevices::new(wish, &picked, &heard, &sent_to);
        for (side, places, there) in [(Side::Input, &picked.inputs, &sources), (Side::Output, &picked.outputs, &sinks)]
        {
            for (number, place) in places.iter().enumerate() {
                if let Some((address, _)) = place.and_then(|place| there.get(place)) {
                    ports.peers.set_named(side, number, *address);
                }
            }
        }
        for (direction, there) in [(Direction::Input, sources), (Direction::Output, sinks)] {
            for (address, listed) in there {
                for (side, number) in ports.connect_again(direction, address, &listed) {
                    ports.peers.add(side, number, address);
                }
            }
        }
        // What pending before is no news to whoever opens now.
        self.state().pending.clear();
        Ok(ports)
    }

    fn at(&self, address: usize) -> Option<Listed> {
        self.state().there.iter().find(|(there, _)| *there == address).map(|(_, listed)| listed.clone())
    }

    fn there(&self, direction: Direction) -> Vec<(usize, Listed)> {
        self.state().there.iter().filter(|(_, listed)| listed.direction == direction).cloned().collect()
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
                let heard =
                    self.peers.all().into_iter().filter(|(side, _, peer)| (*side, *peer) == (Side::Input, address));
                for (_, input, _) in heard {
                    self.queue.push_bytes(input, &mut self.streams[input], &bytes);
                }
            }
            WorldEvent::Message(input, bytes) => {
                if let Some(stream) = self.streams.get_mut(input) {
                    self.queue.push_bytes(input, stream, &bytes);
                }
            }
            WorldEvent::Plugged(address) => {
                self.take_up(address);
                self.reconnect(address);
            }
            WorldEvent::Unplugged(address) => {
                self.remembered.gone(|peer| peer == address, Instant::now());
                self.peers.gone(|peer| peer == address, &mut self.queue.changes);
            }
            WorldEvent::Connected(side, number, address) => {
                if let Some(listed) = self.world.at(address) {
                    self.remembered.connected(side, number, &listed.name(), address);
                    self.peers.connected(side, number, address, &mut self.queue.changes);
                }
            }
            WorldEvent::Disconnected(side, number, address) => {
                self.remembered.disconnected(side, number, address, Instant::now());
                self.peers.disconnected(side, number, address, &mut self.queue.changes);
            }
            WorldEvent::Reported(ready) => self.queue.changes.push_back(ready),
            WorldEvent::Woken => {}
        }
    }

    /// Makes the connections again that this port had; says which.
    fn connect_again(&mut self, direction: Direction, address: usize, listed: &Listed) -> Vec<(Side, usize)> {
        let side = if direction == Direction::Input { Side::Input } else { Side::Output };
        let numbers = self.remembered.to_reconnect(side, &listed.name());
        for number in &numbers {
            self.remembered.connected(side, *number, &listed.name(), address);
        }
        numbers.into_iter().map(|number| (side, number)).collect()
    }

    fn reconnect(&mut self, address: usize) {
        let Some(listed) = self.world.at(address) else { return };
        for (side, number) in self.connect_again(listed.direction, address, &listed) {
            self.peers.connected(side, number, address, &mut self.queue.changes);
        }
    }

    fn take_up(&mut self, address: usize) {
        let Some(new) = self.world.at(address) else { return };
        let side = if new.direction == Direction::Input { Side::Input } else { Side::Output };
        let there = || self.world.there(new.direction).into_iter().map(|(_, listed)| listed).collect();
        let has_own = |number| self.peers.named(side, number).is_some();
        for number in self.devices.claims(&self.wish, side, &new, has_own, there) {
            self.peers.connected(side, number, address, &mut self.queue.changes);
            self.peers.set_named(side, number, address);
            self.devices.assign(side, number, &new);
        }
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
        if !whole::is_whole(bytes) {
            return Err(SendFault::NotAMessage);
        }
        if !self.output_there(output) {
            return Err(SendFault::Absent);
        }
        let mut state = self.world.state();
        if state.full.contains(&output) {
            return Err(SendFault::Full);
        }
        match &self.world.0.live {
            Some(Sink(sink)) => {
                drop(state);
                sink(output, bytes);
            }
            None => state.sent.push((output, bytes.into())),
        }
        Ok(())
    }

    fn waker(&self) -> Waker {
        let world = self.world.clone();
        Waker(Arc::new(move || {
            let mut state = world.state();
            if !state.pending.iter().any(|event| matches!(event, WorldEvent::Woken)) {
                state.pending.push_back(WorldEvent::Woken);
                world.0.changed.notify_one();
            }
        }))
    }

    fn input_there(&self, input: usize) -> bool {
        self.peers.is_connected(Side::Input, input)
    }

    fn output_there(&self, output: usize) -> bool {
        let is_virtual = self.wish.outputs.get(output).is_some_and(|wish| matches!(wish.target, Target::Virtual));
        is_virtual || self.peers.is_connected(Side::Output, output)
    }

    fn connections(&self) -> Vec<Connection> {
        self.remembered.connections()
    }

    fn shed(&self) -> u64 {
        0
    }

    fn dropped(&self) -> u64 {
        self.streams.iter().map(Stream::dropped).sum()
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities {
            notices: true,
            knows_connections: true,
            tells_losses: true,
            hears_exclusive: true,
            virtual_outputs: true,
        }
    }
}
