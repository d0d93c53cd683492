//! Ports in memory, for tests: a world of ports that the test controls.
//!
//! Deterministic: a wait with nothing pending returns [`Arrival::Quiet`] at once, whatever its timeout.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::seats::Seats;
use super::whole;
use super::{
    Arrival, Capabilities, Direction, Listed, Outbox, Ports, PortsError, Ready, SendFault, Side, Target, Waker, Wish,
    matching,
};
use crate::midi::stream::Stream;

/// The ports that others have, what they play, and what they heard. Clones are the same world.
#[derive(Debug, Clone, Default)]
pub struct World(Arc<Mutex<State>>);

#[derive(Debug, Default)]
struct State {
    next: usize,
    there: Vec<(usize, Listed)>,
    happened: VecDeque<Happening>,
    sent: Vec<(usize, Vec<u8>)>,
    full: Vec<usize>,
}

#[derive(Debug)]
enum Happening {
    Played(usize, Vec<u8>),
    Said(usize, Vec<u8>),
    Came(usize),
    Went(usize),
    Listens(usize, usize),
    Told(Ready),
    Woken,
}

impl World {
    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A port appears: something to listen to, or something to send to. Returns its address.
    pub fn plug(&self, direction: Direction, client: &str, port: &str, serial: Option<&str>) -> usize {
        let mut state = self.state();
        state.next += 1;
        let address = state.next;
        let listed = Listed {
            client: client.into(),
            port: port.into(),
            address: address.to_string(),
            direction,
            serial: serial.map(Into::into),
            ours: false,
        };
        state.there.push((address, listed));
        state.happened.push_back(Happening::Came(address));
        address
    }

    /// The port at this address, or the listener that [`World::listen`] returned, is gone.
    pub fn unplug(&self, address: usize) {
        let mut state = self.state();
        state.there.retain(|(there, _)| *there != address);
        state.happened.push_back(Happening::Went(address));
    }

    /// The port at this address plays bytes: part of a message, one, or several.
    pub fn play(&self, address: usize, bytes: &[u8]) {
        self.state().happened.push_back(Happening::Played(address, bytes.into()));
    }

    /// A message arrives at an input, wherever from.
    pub fn message(&self, input: usize, bytes: &[u8]) {
        self.state().happened.push_back(Happening::Said(input, bytes.into()));
    }

    /// A program begins to listen to an output. Returns its address.
    pub fn listen(&self, output: usize) -> usize {
        let mut state = self.state();
        state.next += 1;
        let address = state.next;
        state.happened.push_back(Happening::Listens(output, address));
        address
    }

    /// An input's port is gone, as [`Arrival::InputGone`].
    pub fn input_gone(&self, input: usize) {
        self.state().happened.push_back(Happening::Told(Ready::InputGone(input)));
    }

    /// An input's port is back, as [`Arrival::InputBack`].
    pub fn input_back(&self, input: usize) {
        self.state().happened.push_back(Happening::Told(Ready::InputBack(input)));
    }

    /// An output's port is gone, as [`Arrival::OutputGone`].
    pub fn output_gone(&self, output: usize) {
        self.state().happened.push_back(Happening::Told(Ready::OutputGone(output)));
    }

    /// An output's port is back, as [`Arrival::OutputBack`].
    pub fn output_back(&self, output: usize) {
        self.state().happened.push_back(Happening::Told(Ready::OutputBack(output)));
    }

    /// Messages were lost, as [`Arrival::Overrun`].
    pub fn overrun(&self) {
        self.state().happened.push_back(Happening::Told(Ready::Overrun));
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
            seats: Seats::new(wish.inputs.len(), wish.outputs.len()),
            streams: wish.inputs.iter().map(|_| Stream::new()).collect(),
            wish: wish.clone(),
            outbox: Outbox::default(),
        };
        let (sources, sinks) = (self.there(Direction::Input), self.there(Direction::Output));
        let listed = |there: &[(usize, Listed)]| there.iter().map(|(_, listed)| listed.clone()).collect::<Vec<_>>();
        let picked =
            matching::pick_all(wish, &listed(&sources), &listed(&sinks)).map_err(|faults| PortsError { faults })?;
        for (side, places, there) in [(Side::Input, &picked.inputs, &sources), (Side::Output, &picked.outputs, &sinks)]
        {
            for (number, place) in places.iter().enumerate() {
                if let Some((address, _)) = place.and_then(|place| there.get(place)) {
                    ports.seats.settle(side, number, *address);
                }
            }
        }
        // What happened before is no news to whoever opens now.
        self.state().happened.clear();
        Ok(ports)
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
    seats: Seats<usize>,
    streams: Vec<Stream>,
    outbox: Outbox,
}

impl MemoryPorts {
    fn live(&mut self, happening: Happening) {
        match happening {
            Happening::Played(address, bytes) => {
                let heard =
                    self.seats.all().into_iter().filter(|(side, _, peer)| (*side, *peer) == (Side::Input, address));
                for (_, input, _) in heard {
                    self.outbox.take_in(input, &mut self.streams[input], &bytes);
                }
            }
            Happening::Said(input, bytes) => {
                if let Some(stream) = self.streams.get_mut(input) {
                    self.outbox.take_in(input, stream, &bytes);
                }
            }
            Happening::Came(address) => self.take_up(address),
            Happening::Went(address) => self.seats.end(|peer| peer == address, &mut self.outbox.ready),
            Happening::Listens(output, address) => {
                self.seats.join(Side::Output, output, address, &mut self.outbox.ready);
            }
            Happening::Told(ready) => self.outbox.ready.push_back(ready),
            Happening::Woken => {}
        }
    }

    fn take_up(&mut self, address: usize) {
        let inputs = self.wish.inputs.iter().map(|input| (Side::Input, Some((&input.port, input.serial.as_deref()))));
        let outputs = self.wish.outputs.iter().map(|output| match &output.target {
            Target::Virtual => (Side::Output, None),
            Target::Port(port) => (Side::Output, Some((port, None))),
        });
        for (side, number, wanted) in inputs.enumerate().chain(outputs.enumerate()).map(|(n, (s, w))| (s, n, w)) {
            let Some((port, serial)) = wanted.filter(|_| self.seats.meant(side, number).is_none()) else { continue };
            let direction = if side == Side::Input { Direction::Input } else { Direction::Output };
            let there = self.world.there(direction);
            let listed: Vec<Listed> = there.iter().map(|(_, listed)| listed.clone()).collect();
            let place = matching::pick(port, serial, None, &listed).ok();
            if place.and_then(|place| there.get(place)).is_some_and(|(found, _)| *found == address) {
                self.seats.join(side, number, address, &mut self.outbox.ready);
                self.seats.settle(side, number, address);
            }
        }
    }
}

impl Ports for MemoryPorts {
    fn wait(&mut self, _timeout: Option<Duration>) -> Arrival<'_> {
        while self.outbox.ready.is_empty() {
            let happening = self.world.state().happened.pop_front();
            match happening {
                None => return Arrival::Quiet,
                Some(Happening::Woken) => return Arrival::Woken,
                Some(happening) => self.live(happening),
            }
        }
        self.outbox.give().unwrap_or(Arrival::Quiet)
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
        state.sent.push((output, bytes.into()));
        Ok(())
    }

    fn waker(&self) -> Waker {
        let world = self.world.clone();
        Waker(Arc::new(move || {
            let mut state = world.state();
            if !state.happened.iter().any(|happening| matches!(happening, Happening::Woken)) {
                state.happened.push_back(Happening::Woken);
            }
        }))
    }

    fn input_there(&self, input: usize) -> bool {
        self.seats.taken(Side::Input, input)
    }

    fn output_there(&self, output: usize) -> bool {
        let is_virtual = self.wish.outputs.get(output).is_some_and(|wish| matches!(wish.target, Target::Virtual));
        is_virtual || self.seats.taken(Side::Output, output)
    }

    fn dropped(&self) -> u64 {
        self.streams.iter().map(Stream::dropped).sum()
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities { notices: true, tells_losses: true, hears_exclusive: true, virtual_outputs: true }
    }
}
