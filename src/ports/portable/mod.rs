//! The portable way to the ports: midir.
//!
//! It does less than the system's own way, and says so ([`Capabilities`]): that a port goes or comes back it finds out
//! by looking, four times a second; the system keeps 200 unread events (Linux) and midir hides it when they were too
//! many; no serial numbers; every virtual output is a client of its own, called `handspan` like all of them, and who
//! listens to it cannot be known.
//! System exclusive messages are not heard: midir would join everything that follows an unfinished one to it, notes
//! too, and hand it over at the next end mark. They can be sent.

mod queue;
mod watch;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError};
use midir::{Ignore, MidiIO, MidiInput, MidiInputConnection, MidiOutput, MidiOutputConnection, SendError};

use self::queue::{Item, Queue};
use self::watch::Watch;
use super::identity::KnownDevices;
use super::whole;
use super::{
    Arrival, CLIENT, Capabilities, Connection, Direction, Fault, InputQueue, Listed, Ports, PortsError, Ready,
    SendFault, Side, Target, Waker, Wish, matching,
};
use crate::midi::stream::Stream;

/// What midir's threads, the one that looks, and wakers share with us.
#[derive(Default)]
struct Shared {
    overrun: AtomicBool,
    woken: AtomicBool,
    changed: AtomicBool,
}

/// A connection, and the port at its other end as it was seen; nothing for a virtual output.
struct Connected<C> {
    with: Option<Listed>,
    connection: C,
}

/// The open ports.
pub(super) struct Portable {
    wish: Wish,
    inputs: Vec<Option<Connected<MidiInputConnection<Stream>>>>,
    outputs: Vec<Option<Connected<MidiOutputConnection>>>,
    devices: KnownDevices,
    /// Ports that are no news.
    seen: Vec<Listed>,
    arrived: Receiver<Item>,
    queue: Queue,
    shared: Arc<Shared>,
    input_queue: InputQueue,
    _watch: Watch,
}

/// The ports of other programs and devices, as far as midir knows them.
pub(super) fn list() -> Result<Vec<Listed>, PortsError> {
    let (sources, sinks) = (new_input()?, new_output()?);
    let sources = ports(&sources, Direction::Input);
    let sinks = ports(&sinks, Direction::Output);
    Ok(sources.into_iter().map(|(_, listed)| listed).chain(sinks.into_iter().map(|(_, listed)| listed)).collect())
}

fn new_input() -> Result<MidiInput, Fault> {
    let mut input = MidiInput::new(CLIENT).map_err(|_| Fault::NoSequencer)?;
    input.ignore(Ignore::Sysex);
    Ok(input)
}

fn new_output() -> Result<MidiOutput, Fault> {
    MidiOutput::new(CLIENT).map_err(|_| Fault::NoSequencer)
}

/// The names of all ports, as they are.
fn seen<Io: MidiIO>(io: &Io) -> Vec<String> {
    io.ports().iter().filter_map(|port| io.port_name(port).ok()).collect()
}

/// Ports that are not another handspan's or our own.
fn others<Io: MidiIO>(io: &Io, direction: Direction) -> Vec<(Io::Port, Listed)> {
    ports(io, direction).into_iter().filter(|(_, listed)| !listed.ours).collect()
}

fn names<P>(ports: &[(P, Listed)]) -> Vec<Listed> {
    ports.iter().map(|(_, listed)| listed.clone()).collect()
}

fn ports<Io: MidiIO>(io: &Io, direction: Direction) -> Vec<(Io::Port, Listed)> {
    let named = io.ports().into_iter().filter_map(|port| Some((io.port_name(&port).ok()?, port)));
    named.map(|(name, port)| (port, listed(&name, direction))).collect()
}

/// On Linux midir gives `client:port 20:0`; elsewhere one name.
fn listed(name: &str, direction: Direction) -> Listed {
    let is_address = |text: &str| {
        text.split_once(':').is_some_and(|(client, port)| client.parse::<u8>().is_ok() && port.parse::<u8>().is_ok())
    };
    let (names, address) = match name.rsplit_once(' ').filter(|(_, last)| is_address(last)) {
        Some((names, address)) => (names, address),
        None => (name, ""),
    };
    let (client, port) = names.split_once(':').filter(|_| !address.is_empty()).unwrap_or((names, names));
    Listed {
        client: client.into(),
        port: port.into(),
        address: address.into(),
        direction,
        serial: None,
        socket: None,
        ours: client == CLIENT,
    }
}

impl Portable {
    /// Opens what is wished and there.
    pub(super) fn open(wish: &Wish) -> Result<Self, PortsError> {
        let (queue, arrived) = Queue::new();
        let shared = Arc::new(Shared::default());
        // Before looking, so that nothing can come between looking and watching.
        let watch = Watch::begin(Arc::clone(&shared), queue.clone())?;
        let sources = others(&new_input()?, Direction::Input);
        let sinks = others(&new_output()?, Direction::Output);
        let (heard, sent_to) = (names(&sources), names(&sinks));
        let picked = matching::pick_all(wish, &heard, &sent_to).map_err(|faults| PortsError { faults })?;
        let devices = KnownDevices::new(wish, &picked, &heard, &sent_to);
        let mut portable = Portable {
            wish: wish.clone(),
            inputs: wish.inputs.iter().map(|_| None).collect(),
            outputs: wish.outputs.iter().map(|_| None).collect(),
            devices,
            seen: [heard, sent_to].concat(),
            arrived,
            queue,
            shared,
            input_queue: InputQueue::new(wish.inputs.len()),
            _watch: watch,
        };
        let mut faults = Vec::new();
        for (number, place) in picked.inputs.iter().enumerate() {
            if let Some((port, listed)) = place.and_then(|place| sources.get(place)) {
                faults.extend(portable.connect_input(number, port, listed).err());
            }
        }
        for (number, place) in picked.outputs.iter().enumerate() {
            if let Some((port, listed)) = place.and_then(|place| sinks.get(place)) {
                faults.extend(portable.connect_output(number, port, listed).err());
            }
        }
        for (number, output) in wish.outputs.iter().enumerate() {
            if matches!(output.target, Target::Virtual) {
                match offer(&output.name) {
                    Ok(connection) => portable.outputs[number] = Some(Connected { with: None, connection }),
                    Err(fault) => faults.push(fault),
                }
            }
        }
        if faults.is_empty() { Ok(portable) } else { Err(PortsError { faults }) }
    }

    /// A fresh client per try: midir does not free what a failed one has taken.
    fn connect_input(&mut self, number: usize, port: &midir::MidiInputPort, listed: &Listed) -> Result<(), Fault> {
        let name = self.wish.inputs.get(number).map_or("", |input| &input.name);
        let hearing = Hearing { input: number, queue: self.queue.clone(), shared: Arc::clone(&self.shared) };
        let hear = move |_: u64, slice: &[u8], stream: &mut Stream| hearing.hear(slice, stream);
        let connection = new_input()?
            .connect(port, name, hear, Stream::new())
            .map_err(|error| refused(format!("Connecting to \"{}\"", listed.name()))(&error))?;
        self.inputs[number] = Some(Connected { with: Some(listed.clone()), connection });
        Ok(())
    }

    fn connect_output(&mut self, number: usize, port: &midir::MidiOutputPort, listed: &Listed) -> Result<(), Fault> {
        let name = self.wish.outputs.get(number).map_or("", |output| &output.name);
        let connected = new_output()?.connect(port, name);
        let connection = connected.map_err(|error| refused(format!("Connecting to \"{}\"", listed.name()))(&error))?;
        self.outputs[number] = Some(Connected { with: Some(listed.clone()), connection });
        Ok(())
    }

    /// Ports have come or gone: what is gone is told, what came is taken up.
    fn look_again(&mut self) {
        let (Ok(inputs), Ok(outputs)) = (new_input(), new_output()) else { return };
        let sources = others(&inputs, Direction::Input);
        let sinks = others(&outputs, Direction::Output);
        let (heard, sent_to) = (names(&sources), names(&sinks));
        let seen = std::mem::replace(&mut self.seen, [heard.clone(), sent_to.clone()].concat());
        let told = &mut self.input_queue.changes;
        for (number, input) in self.inputs.iter_mut().enumerate() {
            if input.take_if(|input| input.with.as_ref().is_some_and(|with| !heard.contains(with))).is_some() {
                told.push_back(Ready::InputGone(number));
            }
        }
        for (number, output) in self.outputs.iter_mut().enumerate() {
            if output.take_if(|output| output.with.as_ref().is_some_and(|with| !sent_to.contains(with))).is_some() {
                told.push_back(Ready::OutputGone(number));
            }
        }
        for (port, new) in sources.iter().filter(|(_, listed)| !seen.contains(listed)) {
            let has_own = |number: usize| self.inputs.get(number).is_some_and(Option::is_some);
            for number in self.devices.claims(&self.wish, Side::Input, new, has_own, || heard.clone()) {
                if self.connect_input(number, port, new).is_ok() {
                    self.devices.assign(Side::Input, number, new);
                    self.input_queue.changes.push_back(Ready::InputBack(number));
                }
            }
        }
        for (port, new) in sinks.iter().filter(|(_, listed)| !seen.contains(listed)) {
            let has_own = |number: usize| self.outputs.get(number).is_some_and(Option::is_some);
            for number in self.devices.claims(&self.wish, Side::Output, new, has_own, || sent_to.clone()) {
                if self.connect_output(number, port, new).is_ok() {
                    self.devices.assign(Side::Output, number, new);
                    self.input_queue.changes.push_back(Ready::OutputBack(number));
                }
            }
        }
    }
}

/// What a callback of midir needs.
struct Hearing {
    input: usize,
    queue: Queue,
    shared: Arc<Shared>,
}

impl Hearing {
    /// Runs on midir's thread: never blocks, never panics, whatever the slice holds; one may hold several messages.
    fn hear(&self, slice: &[u8], stream: &mut Stream) {
        for byte in slice {
            let Some(message) = stream.push(*byte) else { continue };
            if !self.queue.put(self.input, message) {
                self.shared.overrun.store(true, Ordering::SeqCst);
            }
        }
        // Each slice is complete in itself; nothing may hang over into the next.
        stream.reset();
    }
}

fn refused(doing: String) -> impl Fn(&dyn std::fmt::Display) -> Fault {
    move |cause| Fault::Refused { doing: doing.clone(), cause: cause.to_string() }
}

#[cfg(unix)]
fn offer(name: &str) -> Result<MidiOutputConnection, Fault> {
    use midir::os::unix::VirtualOutput;
    new_output()?.create_virtual(name).map_err(|error| refused(format!("Making the port \"{name}\""))(&error))
}

#[cfg(not(unix))]
fn offer(name: &str) -> Result<MidiOutputConnection, Fault> {
    Err(Fault::NoVirtualPorts { name: name.into() })
}

impl Ports for Portable {
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_> {
        let deadline = timeout.and_then(|timeout| Instant::now().checked_add(timeout));
        while self.input_queue.is_empty() {
            if self.shared.overrun.swap(false, Ordering::SeqCst) {
                return Arrival::Overrun;
            }
            if self.shared.changed.swap(false, Ordering::SeqCst) {
                self.look_again();
                continue;
            }
            if self.shared.woken.swap(false, Ordering::SeqCst) {
                return Arrival::Woken;
            }
            let item = match deadline {
                Some(deadline) => self.arrived.recv_deadline(deadline),
                None => self.arrived.recv().map_err(|_| RecvTimeoutError::Disconnected),
            };
            match item {
                // It only ends the wait; the marks say why.
                Ok(Item::Wake) => {}
                Ok(Item::Message { input, bytes, length }) => {
                    self.input_queue.push(input, bytes.get(..length).unwrap_or_default());
                }
                Err(_) => return Arrival::Quiet,
            }
        }
        self.input_queue.pop().unwrap_or(Arrival::Quiet)
    }

    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault> {
        let connected = self.outputs.get_mut(output).ok_or(SendFault::NoSuchOutput)?;
        // midir sends the first of several messages and keeps the beginning of an unfinished one for the next call.
        if !whole::is_whole(bytes) {
            return Err(SendFault::NotAMessage);
        }
        match connected.as_mut().ok_or(SendFault::Absent)?.connection.send(bytes) {
            Ok(()) => Ok(()),
            Err(SendError::InvalidData(_)) => Err(SendFault::NotAMessage),
            Err(SendError::Other(_)) if cfg!(target_os = "linux") => Err(SendFault::Full),
            Err(SendError::Other(_)) => Err(SendFault::Refused(0)),
        }
    }

    fn waker(&self) -> Waker {
        let (queue, shared) = (self.queue.clone(), Arc::clone(&self.shared));
        Waker(Arc::new(move || {
            shared.woken.store(true, Ordering::SeqCst);
            queue.wake();
        }))
    }

    fn input_there(&self, input: usize) -> bool {
        self.inputs.get(input).is_some_and(Option::is_some)
    }

    fn output_there(&self, output: usize) -> bool {
        self.outputs.get(output).is_some_and(Option::is_some)
    }

    fn connections(&self) -> Vec<Connection> {
        Vec::new()
    }

    fn shed(&self) -> u64 {
        self.queue.shed()
    }

    fn dropped(&self) -> u64 {
        0
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities {
            notices: true,
            knows_connections: false,
            tells_losses: false,
            hears_exclusive: false,
            virtual_outputs: cfg!(unix),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_taken_apart_where_they_carry_an_address() {
        let parts = |name| {
            let listed = listed(name, Direction::Input);
            (listed.client, listed.port, listed.address)
        };
        let expected = |client: &str, port: &str, address: &str| (client.into(), port.into(), address.into());
        assert_eq!(parts("Piano:Piano MIDI 1 20:0"), expected("Piano", "Piano MIDI 1", "20:0"));
        assert_eq!(parts("Stage Piano 2"), expected("Stage Piano 2", "Stage Piano 2", ""));
        assert_eq!(parts("desk: A"), expected("desk: A", "desk: A", ""));
    }

    #[test]
    fn a_slice_of_anything_harms_nothing() {
        let (queue, arrived) = Queue::new();
        let shared = Arc::new(Shared::default());
        let hearing = Hearing { input: 0, queue, shared: Arc::clone(&shared) };
        let mut stream = Stream::new();
        for slice in [&[][..], &[0x90], &[60, 1], &[0xF0, 1], &[0xB0, 6, 1, 0xB0, 38, 2]] {
            hearing.hear(slice, &mut stream);
        }
        assert_eq!(arrived.len(), 2);
        assert!(!shared.overrun.load(Ordering::SeqCst));
    }
}
