//! The portable back end: midir.
//!
//! It does less than the system's own, and says so ([`Capabilities`]): that a port goes or comes back it finds out
//! by looking, four times a second; the system keeps 200 unread events (Linux) and midir hides it when they were too
//! many; no serial numbers; every virtual output is a client of its own, called `handspan` like all of them, and who
//! listens to it cannot be known.
//! System exclusive messages are not received: midir would join everything that follows an unfinished one to it, notes
//! too, and hand it over at the next end mark. They can be sent.

mod watch;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use midir::{Ignore, MidiIO, MidiInput, MidiInputConnection, MidiOutput, MidiOutputConnection, SendError};

use self::watch::Watch;
use super::alarm::Alarm;
use super::identity::KnownDevices;
use super::input_queue::InputQueue;
use super::matching::{self, Found};
use super::message::ShortMessage;
use super::port::{PortId, without_handles};
use super::table::PortTable;
use super::{
    Arrival, CLIENT, Capabilities, Connection, Direction, Fault, FoundPort, Ports, PortsError, SendFault, Target,
    Waker, Wish,
};
use crate::midi;
use crate::midi::stream::Stream;

/// How names of virtual outputs begin where a port has one name only, not a program's and its own: so that they are
/// known as ours, also by another handspan.
const OWN: &str = "handspan: ";

/// What midir can do here.
pub(super) const CAPABILITIES: Capabilities =
    Capabilities { knows_connections: false, receives_exclusive: false, virtual_ports: cfg!(unix) };

/// So many tries, about a second, until a port that cannot be opened is told.
const TOLD_AFTER: u32 = 4;

/// Messages on their way from midir's threads; more than come while we are kept busy. What does not fit is lost like
/// what the system's own queue has no room for.
const HANDOFF: usize = 8192;

/// One message on its way from midir's threads, or nothing but the end of a wait.
#[derive(Debug)]
enum Handoff {
    Message { input: usize, message: ShortMessage },
    Wake,
}

/// What midir's threads, the one that watches the ports, and wakers share with us.
struct SharedHandoff {
    handoff: Sender<Handoff>,
    overrun: AtomicBool,
    woken: AtomicBool,
    changed: AtomicBool,
    /// A port is there that could not be opened: it is tried again at the next look, although nothing has changed.
    again: AtomicBool,
}

impl SharedHandoff {
    fn new() -> (Arc<Self>, Receiver<Handoff>) {
        let (handoff, arrived) = bounded(HANDOFF);
        let flag = || AtomicBool::new(false);
        (Arc::new(SharedHandoff { handoff, overrun: flag(), woken: flag(), changed: flag(), again: flag() }), arrived)
    }

    /// Sets a flag and ends the wait, so that the flag is seen; a full hand-off ends it as well.
    fn raise(&self, flag: &AtomicBool) {
        flag.store(true, Ordering::SeqCst);
        let _ = self.handoff.try_send(Handoff::Wake);
    }

    /// Runs on midir's threads: never blocks.
    fn pass(&self, input: usize, message: ShortMessage) {
        if self.handoff.try_send(Handoff::Message { input, message }).is_err() {
            self.raise(&self.overrun);
        }
    }
}

/// A connection, and the port at its other end as it was found; nothing for a virtual output.
struct Connected<C> {
    with: Option<FoundPort>,
    connection: C,
}

/// The open ports.
pub(super) struct Portable {
    wish: Wish,
    inputs: Vec<Option<Connected<MidiInputConnection<Stream>>>>,
    outputs: Vec<Option<Connected<MidiOutputConnection>>>,
    devices: KnownDevices,
    /// Ports that are no news.
    seen: Found,
    /// How often in a row each of ours could not open the port that is there.
    failures: PortTable<u32>,
    arrived: Receiver<Handoff>,
    shared: Arc<SharedHandoff>,
    queue: InputQueue,
    alarm: Option<Alarm>,
    _watch: Watch,
}

/// The ports of other programs and devices, as far as midir knows them.
pub(super) fn list() -> Result<Vec<FoundPort>, PortsError> {
    let sources = without_handles(&ports(&new_input()?, Direction::Input));
    let sinks = without_handles(&ports(&new_output()?, Direction::Output));
    Ok([sources, sinks].concat())
}

fn new_input() -> Result<MidiInput, Fault> {
    let mut input = MidiInput::new(CLIENT).map_err(|_| Fault::NoSequencer)?;
    input.ignore(Ignore::Sysex);
    Ok(input)
}

fn new_output() -> Result<MidiOutput, Fault> {
    MidiOutput::new(CLIENT).map_err(|_| Fault::NoSequencer)
}

/// Ports that are not another handspan's or our own.
fn others<Io: MidiIO>(io: &Io, direction: Direction) -> Vec<(Io::Port, FoundPort)> {
    ports(io, direction).into_iter().filter(|(_, found)| !found.ours).collect()
}

fn ports<Io: MidiIO>(io: &Io, direction: Direction) -> Vec<(Io::Port, FoundPort)> {
    let named = io.ports().into_iter().filter_map(|port| Some((io.port_name(&port).ok()?, port)));
    named.map(|(name, port)| (port, found(&name, direction))).collect()
}

/// On Linux midir gives `client:port 20:0`; elsewhere one name.
fn found(name: &str, direction: Direction) -> FoundPort {
    let is_address = |text: &str| {
        text.split_once(':').is_some_and(|(client, port)| client.parse::<u8>().is_ok() && port.parse::<u8>().is_ok())
    };
    let (names, address) = match name.rsplit_once(' ').filter(|(_, last)| is_address(last)) {
        Some((names, address)) => (names, address),
        None => (name, ""),
    };
    let (client, port) = names.split_once(':').filter(|_| !address.is_empty()).unwrap_or((names, names));
    FoundPort {
        client: client.into(),
        port: port.into(),
        address: address.into(),
        direction,
        serial: None,
        socket: None,
        ours: if address.is_empty() { names.starts_with(OWN) } else { client == CLIENT },
    }
}

impl Portable {
    /// Opens what is wished and connected.
    pub(super) fn open(wish: &Wish) -> Result<Self, PortsError> {
        let (shared, arrived) = SharedHandoff::new();
        // Before looking, so that nothing can come between looking and watching.
        let watching = Arc::clone(&shared);
        let watch = Watch::begin(new_input()?, new_output()?, move |has_changed| {
            if watching.again.swap(false, Ordering::SeqCst) || has_changed {
                watching.raise(&watching.changed);
            }
        })?;
        let sources = others(&new_input()?, Direction::Input);
        let sinks = others(&new_output()?, Direction::Output);
        let found = Found::new(&sources, &sinks);
        let picked = all_there(wish, &found)?;
        let mut portable = Portable {
            wish: wish.clone(),
            inputs: wish.inputs.iter().map(|_| None).collect(),
            outputs: wish.outputs.iter().map(|_| None).collect(),
            devices: KnownDevices::new(wish, &picked, &found),
            failures: PortTable::new(wish, |_| 0),
            seen: found,
            alarm: {
                let handoff = shared.handoff.clone();
                Alarm::where_needed(move || {
                    let _ = handoff.try_send(Handoff::Wake);
                })
            },
            arrived,
            shared,
            queue: InputQueue::new(wish.inputs.len()),
            _watch: watch,
        };
        let mut faults = Vec::new();
        for (id, place) in picked.iter() {
            let Some(place) = *place else { continue };
            let connected = match id.direction {
                Direction::Input => sources.get(place).map(|(port, found)| portable.connect_input(id, port, found)),
                Direction::Output => sinks.get(place).map(|(port, found)| portable.connect_output(id, port, found)),
            };
            faults.extend(connected.and_then(Result::err));
        }
        for number in (0..wish.outputs.len()).filter(|number| wish.is_virtual(*number)) {
            match offer(&wish.outputs[number].name) {
                Ok(connection) => portable.outputs[number] = Some(Connected { with: None, connection }),
                Err(fault) => faults.push(fault),
            }
        }
        PortsError::unless_none(faults).map(|()| portable)
    }

    /// A fresh client per try: midir does not free what a failed one has taken.
    fn connect_input(&mut self, id: PortId, port: &midir::MidiInputPort, found: &FoundPort) -> Result<(), Fault> {
        let (shared, input) = (Arc::clone(&self.shared), id.number);
        let receive = move |_: u64, slice: &[u8], stream: &mut Stream| receive(&shared, input, slice, stream);
        let connected = new_input()?.connect(port, self.wish.name(id), receive, Stream::new());
        let connection = connected.map_err(|error| Fault::connecting(self.wish.name(id), found, error))?;
        self.inputs[input] = Some(Connected { with: Some(found.clone()), connection });
        Ok(())
    }

    fn connect_output(&mut self, id: PortId, port: &midir::MidiOutputPort, found: &FoundPort) -> Result<(), Fault> {
        let connected = new_output()?.connect(port, self.wish.name(id));
        let connection = connected.map_err(|error| Fault::connecting(self.wish.name(id), found, error))?;
        self.outputs[id.number] = Some(Connected { with: Some(found.clone()), connection });
        Ok(())
    }

    /// Ports have come or gone: what is gone is reported, what came is taken up.
    fn look_again(&mut self) {
        let (Ok(inputs), Ok(outputs)) = (new_input(), new_output()) else { return };
        let sources = others(&inputs, Direction::Input);
        let sinks = others(&outputs, Direction::Output);
        let found = Found::new(&sources, &sinks);
        let seen = std::mem::replace(&mut self.seen, found.clone());
        let changes = self.queue.changes.len();
        for (number, input) in self.inputs.iter_mut().enumerate() {
            if take_lost(input, &found.sources) {
                self.queue.changes.push_back(Arrival::InputDisconnected(number));
            }
        }
        for (number, output) in self.outputs.iter_mut().enumerate() {
            if take_lost(output, &found.sinks) {
                self.queue.changes.push_back(Arrival::OutputDisconnected(number));
            }
        }
        // What a lost input has left on its way is lost with it, and must not be taken for something new.
        self.take_arrived();
        self.queue.discard_lost(changes);
        for (port, new) in sources.iter().filter(|(_, new)| !seen.sources.contains(new)) {
            let has_own = |id: PortId| self.inputs.get(id.number).is_some_and(Option::is_some);
            for id in self.devices.claims(&self.wish, new, has_own, || found.sources.clone()) {
                let opened = self.connect_input(id, port, new).is_ok();
                self.appeared(id, new, opened);
            }
        }
        for (port, new) in sinks.iter().filter(|(_, new)| !seen.sinks.contains(new)) {
            let has_own = |id: PortId| self.outputs.get(id.number).is_some_and(Option::is_some);
            for id in self.devices.claims(&self.wish, new, has_own, || found.sinks.clone()) {
                let opened = self.connect_output(id, port, new).is_ok();
                self.appeared(id, new, opened);
            }
        }
    }

    /// A port of ours is there again. One that cannot be opened, because it is not ready or another program was faster,
    /// stays news and is tried again at every look; where that lasts, it is told once.
    fn appeared(&mut self, id: PortId, port: &FoundPort, opened: bool) {
        let failures = self.failures.get_mut(id).map_or(0, |failures| {
            *failures = if opened { 0 } else { failures.saturating_add(1) };
            *failures
        });
        if opened {
            self.devices.assign(id, port);
            self.queue.changes.push_back(match id.direction {
                Direction::Input => Arrival::InputBack(id.number),
                Direction::Output => Arrival::OutputBack(id.number),
            });
            return;
        }
        self.seen.forget(port);
        self.shared.again.store(true, Ordering::SeqCst);
        if failures == TOLD_AFTER {
            self.queue.changes.push_back(match id.direction {
                Direction::Input => Arrival::InputHeld(id.number),
                Direction::Output => Arrival::OutputHeld(id.number),
            });
        }
    }

    /// Puts all that midir's threads have handed over into the input queue, which sheds what is too much.
    fn take_arrived(&mut self) {
        for handoff in self.arrived.try_iter().take(HANDOFF) {
            if let Handoff::Message { input, message } = handoff {
                self.queue.push(input, message.as_bytes());
            }
        }
    }

    /// Something was lost on its way here, and nobody knows what: what waits is discarded, as it may begin notes whose
    /// ends are lost.
    fn lose_arrived(&mut self) {
        let changes = self.queue.changes.len();
        self.queue.changes.push_back(Arrival::Overrun);
        self.queue.discard_lost(changes);
    }
}

/// The port that each of ours means.
///
/// # Errors
/// All that is missing, virtual ports among it.
fn all_there(wish: &Wish, found: &Found) -> Result<PortTable<Option<usize>>, PortsError> {
    let picked = matching::pick_all(wish, found);
    let wanted = wish.outputs.iter().filter(|output| output.target == Target::Virtual && !CAPABILITIES.virtual_ports);
    let names: Vec<String> = wanted.map(|output| output.name.clone()).collect();
    if names.is_empty() {
        return picked;
    }
    let mut faults = picked.err().map_or_else(Vec::new, |error| error.faults);
    faults.push(Fault::NoVirtualPorts { names });
    Err(PortsError { faults })
}

/// Ends a connection whose port is not found any more; says whether it did.
fn take_lost<C>(connected: &mut Option<Connected<C>>, found: &[FoundPort]) -> bool {
    connected.take_if(|connected| connected.with.as_ref().is_some_and(|with| !found.contains(with))).is_some()
}

/// Runs on midir's thread: never blocks, never panics, whatever the slice holds; one may hold several messages.
fn receive(shared: &SharedHandoff, input: usize, slice: &[u8], stream: &mut Stream) {
    for byte in slice {
        if let Some(message) = stream.push(*byte).and_then(ShortMessage::new) {
            shared.pass(input, message);
        }
    }
    // Each slice is complete in itself; nothing may hang over into the next.
    stream.reset();
}

#[cfg(unix)]
fn offer(name: &str) -> Result<MidiOutputConnection, Fault> {
    use midir::os::unix::VirtualOutput;
    let called = if cfg!(target_os = "linux") { name.to_owned() } else { format!("{OWN}{name}") };
    new_output()?.create_virtual(&called).map_err(|error| Fault::making_port(name, error))
}

#[cfg(not(unix))]
fn offer(name: &str) -> Result<MidiOutputConnection, Fault> {
    Err(Fault::NoVirtualPorts { names: vec![name.into()] })
}

impl Ports for Portable {
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_> {
        let deadline = timeout.and_then(|timeout| Instant::now().checked_add(timeout));
        loop {
            self.take_arrived();
            if self.shared.overrun.swap(false, Ordering::SeqCst) {
                self.lose_arrived();
            }
            if self.shared.changed.swap(false, Ordering::SeqCst) {
                self.look_again();
            }
            if self.shared.woken.swap(false, Ordering::SeqCst) {
                return Arrival::Woken;
            }
            if !self.queue.is_empty() {
                break;
            }
            // Looked at before the wait: with an alarm that rings at once for what is over, a wait might never be.
            let handoff = match deadline {
                Some(deadline) if deadline <= Instant::now() => return Arrival::Quiet,
                Some(deadline) => {
                    self.arrived.recv_deadline(self.alarm.as_ref().map_or(deadline, |alarm| alarm.limit(deadline)))
                }
                None => self.arrived.recv().map_err(|_| RecvTimeoutError::Disconnected),
            };
            match handoff {
                // It only ends the wait; the flags or the time say why.
                Ok(Handoff::Wake) | Err(RecvTimeoutError::Timeout) => {}
                Ok(Handoff::Message { input, message }) => self.queue.push(input, message.as_bytes()),
                Err(RecvTimeoutError::Disconnected) => return Arrival::Quiet,
            }
        }
        self.queue.pop().unwrap_or(Arrival::Quiet)
    }

    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault> {
        let connected = self.outputs.get_mut(output).ok_or(SendFault::NoSuchOutput)?;
        // midir sends the first of several messages and keeps the beginning of an unfinished one for the next call.
        if !midi::is_whole(bytes) {
            return Err(SendFault::NotAMessage);
        }
        match connected.as_mut().ok_or(SendFault::NotConnected)?.connection.send(bytes) {
            Ok(()) => Ok(()),
            Err(SendError::InvalidData(_)) => Err(SendFault::NotAMessage),
            Err(SendError::Other(_)) if cfg!(target_os = "linux") => Err(SendFault::Full),
            Err(SendError::Other(_)) => Err(SendFault::Refused(0)),
        }
    }

    fn waker(&self) -> Waker {
        let shared = Arc::clone(&self.shared);
        Waker::new(move || shared.raise(&shared.woken))
    }

    fn input_connected(&self, input: usize) -> bool {
        self.inputs.get(input).is_some_and(Option::is_some)
    }

    fn output_available(&self, output: usize) -> bool {
        self.outputs.get(output).is_some_and(Option::is_some)
    }

    fn connections(&self) -> Vec<Connection> {
        Vec::new()
    }

    fn dropped_overload(&self) -> u64 {
        self.queue.dropped_overload()
    }

    fn dropped(&self) -> u64 {
        0
    }

    fn capabilities(&self) -> Capabilities {
        CAPABILITIES
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_taken_apart_where_they_carry_an_address() {
        let parts = |name| {
            let found = found(name, Direction::Input);
            (found.client, found.port, found.address)
        };
        let expected = |client: &str, port: &str, address: &str| (client.into(), port.into(), address.into());
        assert_eq!(parts("Piano:Piano MIDI 1 20:0"), expected("Piano", "Piano MIDI 1", "20:0"));
        assert_eq!(parts("Stage Piano 2"), expected("Stage Piano 2", "Stage Piano 2", ""));
        assert_eq!(parts("desk: A"), expected("desk: A", "desk: A", ""));
    }

    #[test]
    fn our_own_virtual_outputs_are_known_as_ours() {
        let ours = |name| found(name, Direction::Input).ours;
        assert!(ours("handspan:piano 128:0") && ours("handspan: piano"));
        assert!(!ours("Piano:handspan: 20:0") && !ours("handspan") && !ours("my handspan: pad"));
    }

    #[test]
    fn a_slice_of_anything_harms_nothing() {
        let (shared, arrived) = SharedHandoff::new();
        let mut stream = Stream::new();
        for slice in [&[][..], &[0x90], &[60, 1], &[0xF0, 1], &[0xB0, 6, 1, 0xB0, 38, 2]] {
            receive(&shared, 0, slice, &mut stream);
        }
        assert_eq!(arrived.len(), 2);
        assert!(!shared.overrun.load(Ordering::SeqCst));
    }

    #[test]
    fn what_the_hand_off_has_no_room_for_is_an_overrun() {
        let (shared, arrived) = SharedHandoff::new();
        let mut stream = Stream::new();
        for _ in 0..HANDOFF {
            receive(&shared, 0, &[0x90, 60, 1], &mut stream);
        }
        assert!(!shared.overrun.load(Ordering::SeqCst));
        receive(&shared, 0, &[0x80, 60, 1], &mut stream);
        assert_eq!(arrived.len(), HANDOFF);
        assert!(shared.overrun.load(Ordering::SeqCst), "what must not be lost is, so it is told");
    }
}
