//! The portable way to the ports: midir.
//!
//! It does less than the system's own way, and says so ([`Capabilities`]): it does not notice that a port goes or
//! comes back; the system keeps 200 unread events (Linux) and midir hides it when they were too many; no serial
//! numbers; every virtual output is a client of its own, called `handspan` like all of them.
//! System exclusive messages are not heard: midir would join everything that follows an unfinished one to it, notes
//! too, and hand it over at the next end mark. They can be sent.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use midir::{Ignore, MidiIO, MidiInput, MidiInputConnection, MidiOutput, MidiOutputConnection, SendError};

use super::whole;
use super::{
    Arrival, CLIENT, Capabilities, Connection, Direction, Fault, Listed, Ports, PortsError, SendFault, Target, Waker,
    Wish, matching,
};
use crate::midi::stream::Stream;

/// Messages that wait between midir's threads and ours; more than a controller sends while we are kept busy.
const QUEUE: usize = 8192;

/// One message on its way from midir's thread, or nothing but a wake-up.
enum Item {
    Message { input: usize, bytes: [u8; 3], length: usize },
    Wake,
}

/// What midir's threads and wakers share with us.
#[derive(Default)]
struct Shared {
    overrun: AtomicBool,
    woken: AtomicBool,
}

/// The open ports.
pub(super) struct Portable {
    inputs: Vec<Option<MidiInputConnection<Stream>>>,
    outputs: Vec<Option<MidiOutputConnection>>,
    arrived: Receiver<Item>,
    sender: Sender<Item>,
    shared: Arc<Shared>,
    short: [u8; 3],
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
        let others = |(_, listed): &(_, Listed)| !listed.ours;
        let sources: Vec<_> = ports(&new_input()?, Direction::Input).into_iter().filter(others).collect();
        let others = |(_, listed): &(_, Listed)| !listed.ours;
        let sinks: Vec<_> = ports(&new_output()?, Direction::Output).into_iter().filter(others).collect();
        let source_names: Vec<Listed> = sources.iter().map(|(_, listed)| listed.clone()).collect();
        let sink_names: Vec<Listed> = sinks.iter().map(|(_, listed)| listed.clone()).collect();
        let picked = matching::pick_all(wish, &source_names, &sink_names).map_err(|faults| PortsError { faults })?;

        let (sender, arrived) = bounded(QUEUE);
        let shared = Arc::new(Shared::default());
        let mut faults = Vec::new();
        let mut inputs = Vec::new();
        for (number, (input, place)) in wish.inputs.iter().zip(&picked.inputs).enumerate() {
            let found = place.and_then(|place| sources.get(place));
            let heard = Hearing { input: number, sender: sender.clone(), shared: Arc::clone(&shared) };
            match found.map(|(port, listed)| connect_input(&input.name, port, listed, heard)).transpose() {
                Ok(connection) => inputs.push(connection),
                Err(fault) => faults.push(fault),
            }
        }
        let mut outputs = Vec::new();
        for (output, place) in wish.outputs.iter().zip(&picked.outputs) {
            let connection = match (&output.target, place.and_then(|place| sinks.get(place))) {
                (Target::Virtual, _) => offer(&output.name).map(Some),
                (Target::Port(_), Some((port, listed))) => connect_output(&output.name, port, listed).map(Some),
                (Target::Port(_), None) => Ok(None),
            };
            match connection {
                Ok(connection) => outputs.push(connection),
                Err(fault) => faults.push(fault),
            }
        }
        if !faults.is_empty() {
            return Err(PortsError { faults });
        }
        Ok(Portable { inputs, outputs, arrived, sender, shared, short: [0; 3] })
    }

    fn give(&mut self, item: Item) -> Option<Arrival<'_>> {
        match item {
            Item::Message { input, bytes, length } => {
                self.short = bytes;
                Some(Arrival::Message { input, bytes: self.short.get(..length).unwrap_or_default() })
            }
            Item::Wake => None,
        }
    }
}

/// What a callback of midir needs.
struct Hearing {
    input: usize,
    sender: Sender<Item>,
    shared: Arc<Shared>,
}

impl Hearing {
    /// Runs on midir's thread: never blocks, never panics, whatever the slice holds; one may hold several messages.
    fn hear(&self, slice: &[u8], stream: &mut Stream) {
        for byte in slice {
            let Some(message) = stream.push(*byte) else { continue };
            let mut bytes = [0; 3];
            if let Some(place) = bytes.get_mut(..message.len()) {
                place.copy_from_slice(message);
                let item = Item::Message { input: self.input, bytes, length: message.len() };
                if self.sender.try_send(item).is_err() {
                    self.shared.overrun.store(true, Ordering::SeqCst);
                }
            }
        }
        // Each slice is complete in itself; nothing may hang over into the next.
        stream.reset();
    }
}

fn refused(doing: String) -> impl Fn(&dyn std::fmt::Display) -> Fault {
    move |cause| Fault::Refused { doing: doing.clone(), cause: cause.to_string() }
}

/// A fresh client per try: midir does not free what a failed one has taken.
fn connect_input(
    name: &str,
    port: &midir::MidiInputPort,
    listed: &Listed,
    hearing: Hearing,
) -> Result<MidiInputConnection<Stream>, Fault> {
    let hear = move |_: u64, slice: &[u8], stream: &mut Stream| hearing.hear(slice, stream);
    new_input()?
        .connect(port, name, hear, Stream::new())
        .map_err(|error| refused(format!("Connecting to \"{}\"", listed.name()))(&error))
}

fn connect_output(name: &str, port: &midir::MidiOutputPort, listed: &Listed) -> Result<MidiOutputConnection, Fault> {
    let connected = new_output()?.connect(port, name);
    connected.map_err(|error| refused(format!("Connecting to \"{}\"", listed.name()))(&error))
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
        let item = loop {
            if self.shared.overrun.swap(false, Ordering::SeqCst) {
                return Arrival::Overrun;
            }
            if self.shared.woken.swap(false, Ordering::SeqCst) {
                return Arrival::Woken;
            }
            let item = match deadline {
                Some(deadline) => self.arrived.recv_deadline(deadline),
                None => self.arrived.recv().map_err(|_| RecvTimeoutError::Disconnected),
            };
            match item {
                // It only ends the wait; the mark says it.
                Ok(Item::Wake) => {}
                Ok(item) => break item,
                Err(_) => return Arrival::Quiet,
            }
        };
        self.give(item).unwrap_or(Arrival::Quiet)
    }

    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault> {
        let connection = self.outputs.get_mut(output).ok_or(SendFault::NoSuchOutput)?;
        // midir sends the first of several messages and keeps the beginning of an unfinished one for the next call.
        if !whole::is_whole(bytes) {
            return Err(SendFault::NotAMessage);
        }
        match connection.as_mut().ok_or(SendFault::Absent)?.send(bytes) {
            Ok(()) => Ok(()),
            Err(SendError::InvalidData(_)) => Err(SendFault::NotAMessage),
            Err(SendError::Other(_)) if cfg!(target_os = "linux") => Err(SendFault::Full),
            Err(SendError::Other(_)) => Err(SendFault::Refused(0)),
        }
    }

    fn waker(&self) -> Waker {
        let (sender, shared) = (self.sender.clone(), Arc::clone(&self.shared));
        Waker(Arc::new(move || {
            shared.woken.store(true, Ordering::SeqCst);
            // A full queue ends the wait as well.
            let _ = sender.try_send(Item::Wake);
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
        0
    }

    fn dropped(&self) -> u64 {
        0
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities {
            notices: false,
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
    fn a_slice_of_anything_harms_nothing_and_a_full_queue_is_told() {
        let (sender, arrived) = bounded(2);
        let shared = Arc::new(Shared::default());
        let hearing = Hearing { input: 0, sender, shared: Arc::clone(&shared) };
        let mut stream = Stream::new();
        for slice in [&[][..], &[0x90], &[60, 1], &[0xF0, 1], &[0xB0, 6, 1, 0xB0, 38, 2]] {
            hearing.hear(slice, &mut stream);
        }
        assert_eq!(arrived.len(), 2);
        assert!(!shared.overrun.load(Ordering::SeqCst));
        hearing.hear(&[0x80, 60, 0], &mut stream);
        assert!(shared.overrun.load(Ordering::SeqCst));
    }
}
