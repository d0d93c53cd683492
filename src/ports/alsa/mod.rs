//! The ALSA sequencer: one client, one port per input and output, one thread that reads and writes.
//!
//! Measured reasons for the settings: the kernel keeps 200 unread events per client unless asked for more, and throws
//! all of them away when one more comes; a read buffer of the usual size cannot take a long exclusive message.

mod bell;
mod codec;
mod notice;
mod system;

use std::os::fd::{BorrowedFd, RawFd};
use std::time::{Duration, Instant};

use ::alsa::Direction as Way;
use ::alsa::poll::Descriptors;
use ::alsa::seq::{Addr, Connect, Event, EventType, PortCap, Seq};
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::io::Errno;

use self::bell::Bell;
use self::notice::{Notice, notice};
use super::seats::Seats;
use crate::midi::stream::Stream;

use super::{
    Arrival, CLIENT, Capabilities, Direction, Fault, Listed, Outbox, Ports, PortsError, Ready, SendFault, Side, Target,
    Waker, Wish, matching,
};

/// Unread events that the kernel keeps for us; the most it allows.
const POOL: u32 = 2000;
/// Bytes that one read takes; more than the longest event of a full pool.
const READ_BUFFER: u32 = 128 * 1024;

/// The ports of other programs and devices, without our own.
pub(super) fn list() -> Result<Vec<Listed>, PortsError> {
    let seq = system::open("handspan ports")?;
    let sources = system::ports(&seq, Direction::Input);
    let sinks = system::ports(&seq, Direction::Output);
    Ok(sources.into_iter().chain(sinks).map(|(_, listed)| listed).collect())
}

/// Our client at the sequencer.
pub(super) struct Sequencer {
    seq: Seq,
    fd: RawFd,
    client: i32,
    announcements: i32,
    /// Our port of each input and of each output.
    inputs: Vec<i32>,
    outputs: Vec<i32>,
    /// The input or output that has one of our ports.
    owners: Vec<Option<(Side, usize)>>,
    wish: Wish,
    /// Serial number of the device that each input last had.
    serials: Vec<Option<String>>,
    seats: Seats<Addr>,
    streams: Vec<Stream>,
    outbox: Outbox,
    refused: u64,
    bell: Bell,
}

impl Sequencer {
    /// Opens our client with a port for everything that is wished, and connects what is there.
    pub(super) fn open(wish: &Wish) -> Result<Self, PortsError> {
        let seq = system::open(CLIENT)?;
        let refused = |doing: &str| {
            let doing = doing.to_string();
            move |error: ::alsa::Error| Fault::Refused { doing, cause: error.to_string() }
        };
        seq.set_client_pool_input(POOL).map_err(refused("Asking the MIDI sequencer for a longer queue"))?;
        seq.input().set_input_buffer_size(READ_BUFFER).map_err(refused("Asking for a larger read buffer"))?;
        let client = seq.client_id().map_err(refused("Asking for our place at the MIDI sequencer"))?;
        let fds = (&seq, Some(Way::Capture)).get().map_err(refused("Waiting at the MIDI sequencer"))?;
        let fd = fds.first().map(|fd| fd.fd).ok_or(Fault::NoSequencer)?;

        let announcements = system::port(&seq, "system", PortCap::WRITE | PortCap::NO_EXPORT)?;
        let writable = PortCap::WRITE | PortCap::SUBS_WRITE;
        let readable = PortCap::READ | PortCap::SUBS_READ;
        let inputs: Vec<i32> =
            wish.inputs.iter().map(|input| system::port(&seq, &input.name, writable)).collect::<Result<_, _>>()?;
        let outputs: Vec<i32> =
            wish.outputs.iter().map(|output| system::port(&seq, &output.name, readable)).collect::<Result<_, _>>()?;
        let mut owners = vec![None; 256];
        for (side, ports) in [(Side::Input, &inputs), (Side::Output, &outputs)] {
            for (number, port) in ports.iter().enumerate() {
                if let Some(owner) = usize::try_from(*port).ok().and_then(|port| owners.get_mut(port)) {
                    *owner = Some((side, number));
                }
            }
        }

        // SAFETY: `seq` is open, and the copy that the bell makes is its own.
        let bell = Bell::new(unsafe { BorrowedFd::borrow_raw(fd) }, Addr { client, port: announcements })
            .map_err(|error| Fault::Refused { doing: "Making a way to be woken".into(), cause: error.to_string() })?;
        let mut outbox = Outbox::default();
        outbox.ready.reserve(16 + 2 * (inputs.len() + outputs.len()));
        let mut sequencer = Sequencer {
            fd,
            client,
            announcements,
            owners,
            serials: vec![None; inputs.len()],
            seats: Seats::new(inputs.len(), outputs.len()),
            streams: inputs.iter().map(|_| Stream::new()).collect(),
            wish: wish.clone(),
            inputs,
            outputs,
            outbox,
            refused: 0,
            bell,
            seq,
        };
        // Before looking, so that nothing can come between looking and hearing.
        system::connect(&sequencer.seq, Addr::system_announce(), sequencer.at(announcements))
            .map_err(refused("Listening to the MIDI sequencer's announcements"))?;
        sequencer.connect_all()?;
        Ok(sequencer)
    }

    fn at(&self, port: i32) -> Addr {
        Addr { client: self.client, port }
    }

    fn connect_all(&mut self) -> Result<(), PortsError> {
        let sources = system::ports(&self.seq, Direction::Input);
        let sinks = system::ports(&self.seq, Direction::Output);
        let listed = |ports: &[(Addr, Listed)]| ports.iter().map(|(_, listed)| listed.clone()).collect::<Vec<_>>();
        let picked = matching::pick_all(&self.wish, &listed(&sources), &listed(&sinks))
            .map_err(|faults| PortsError { faults })?;
        let inputs = picked.inputs.iter().map(|place| (Side::Input, place.and_then(|place| sources.get(place))));
        let outputs = picked.outputs.iter().map(|place| (Side::Output, place.and_then(|place| sinks.get(place))));
        let mut faults = Vec::new();
        for (side, numbered) in [(Side::Input, inputs.collect::<Vec<_>>()), (Side::Output, outputs.collect())] {
            for (number, (_, found)) in numbered.into_iter().enumerate() {
                let Some((peer, listed)) = found else { continue };
                match self.connect(side, number, *peer) {
                    Ok(()) => self.seats.settle(side, number, *peer),
                    Err(error) => faults.push(Fault::Refused {
                        doing: format!("Connecting to \"{}\"", listed.name()),
                        cause: error.to_string(),
                    }),
                }
                if let (Side::Input, Some(serial)) = (side, self.serials.get_mut(number)) {
                    serial.clone_from(&listed.serial);
                }
            }
        }
        if faults.is_empty() { Ok(()) } else { Err(PortsError { faults }) }
    }

    fn connect(&self, side: Side, number: usize, peer: Addr) -> Result<(), ::alsa::Error> {
        let port = |ports: &[i32]| ports.get(number).copied().unwrap_or(-1);
        match side {
            Side::Input => system::connect(&self.seq, peer, self.at(port(&self.inputs))),
            Side::Output => system::connect(&self.seq, self.at(port(&self.outputs)), peer),
        }
    }

    /// Reads one event into the outbox, or does what it says.
    fn read(&mut self) {
        let notice = {
            let mut input = self.seq.input();
            match input.event_input() {
                Ok(event) => {
                    let owner = usize::try_from(event.get_dest().port).ok().and_then(|port| self.owners.get(port));
                    match (notice(&event, self.announcements), owner) {
                        (Notice::None, Some(Some((Side::Input, number)))) => {
                            let stream = self.streams.get_mut(*number);
                            take_in(&event, *number, stream, &mut self.outbox, &mut self.refused);
                            Notice::None
                        }
                        (notice, _) => notice,
                    }
                }
                Err(error) if error.errno() == Errno::NOSPC.raw_os_error() => Notice::Lost,
                // An event of a kind that is newer than the library.
                Err(error) if error.errno() == Errno::NOTSUP.raw_os_error() => Notice::None,
                Err(error) if [Errno::AGAIN, Errno::INTR].iter().any(|no| no.raw_os_error() == error.errno()) => {
                    Notice::None
                }
                Err(_) => Notice::Lost,
            }
        };
        self.heed(notice);
    }

    fn heed(&mut self, notice: Notice) {
        let told = &mut self.outbox.ready;
        match notice {
            Notice::None => return,
            Notice::Lost => {
                told.push_back(Ready::Overrun);
                self.streams.iter_mut().for_each(Stream::reset);
                self.look_again();
            }
            Notice::Started(peer) => self.take_up(peer),
            Notice::Ended(peer) => self.seats.end(|known| known == peer, told),
            Notice::ClientEnded(client) => self.seats.end(|known| known.client == client, told),
            Notice::Connected(between) => {
                if let Some((side, number, peer)) = self.of(between) {
                    self.seats.join(side, number, peer, &mut self.outbox.ready);
                }
            }
            Notice::Disconnected(between) => {
                if let Some((side, number, peer)) = self.of(between) {
                    self.seats.leave(side, number, peer, &mut self.outbox.ready);
                }
            }
        }
        for (number, stream) in self.streams.iter_mut().enumerate() {
            if !self.seats.taken(Side::Input, number) {
                stream.reset();
            }
        }
    }

    /// Which input or output of ours a connection concerns, and the port at its other end.
    fn of(&self, between: Connect) -> Option<(Side, usize, Addr)> {
        let owner = |port: Addr| *self.owners.get(usize::try_from(port.port).ok()?)?;
        if between.dest.client == self.client {
            return match owner(between.dest) {
                Some((Side::Input, number)) => Some((Side::Input, number, between.sender)),
                _ => None,
            };
        }
        match owner(between.sender).filter(|_| between.sender.client == self.client) {
            Some((Side::Output, number)) => Some((Side::Output, number, between.dest)),
            _ => None,
        }
    }

    /// A port has appeared: whoever lacks one that it fits gets it.
    fn take_up(&mut self, peer: Addr) {
        if peer.client == self.client {
            return;
        }
        for side in [Side::Input, Side::Output] {
            let direction = if side == Side::Input { Direction::Input } else { Direction::Output };
            // Ports come and go all the time; the whole list is asked for only where the new one may be meant.
            let Some(new) = system::port_at(&self.seq, peer, direction) else { continue };
            let mut lacking = self.lacking(side);
            lacking.retain(|(_, port, _)| matching::fit(port, &new).is_some());
            if lacking.is_empty() {
                continue;
            }
            let there = system::ports(&self.seq, direction);
            let listed: Vec<Listed> = there.iter().map(|(_, listed)| listed.clone()).collect();
            for (number, port, serial) in lacking {
                let remembered = self.serials.get(number).cloned().flatten().filter(|_| side == Side::Input);
                let picked = matching::pick(&port, serial.as_deref(), remembered.as_deref(), &listed);
                let Some((found, listed)) = picked.ok().and_then(|place| there.get(place)) else { continue };
                if *found != peer || self.connect(side, number, peer).is_err() {
                    continue;
                }
                self.seats.join(side, number, peer, &mut self.outbox.ready);
                self.seats.settle(side, number, peer);
                if let (Side::Input, Some(known)) = (side, self.serials.get_mut(number)) {
                    known.clone_from(&listed.serial);
                }
            }
        }
    }

    /// Inputs or outputs that lack the port that the gear file means: number, part of its name, serial number.
    fn lacking(&self, side: Side) -> Vec<(usize, String, Option<String>)> {
        let wanted: Vec<Option<(String, Option<String>)>> = match side {
            Side::Input => {
                self.wish.inputs.iter().map(|input| Some((input.port.clone(), input.serial.clone()))).collect()
            }
            Side::Output => (self.wish.outputs.iter())
                .map(|output| match &output.target {
                    Target::Virtual => None,
                    Target::Port(port) => Some((port.clone(), None)),
                })
                .collect(),
        };
        let numbered = wanted.into_iter().enumerate();
        numbered
            .filter(|(number, _)| self.seats.meant(side, *number).is_none())
            .filter_map(|(number, wanted)| wanted.map(|(port, serial)| (number, port, serial)))
            .collect()
    }

    /// After an overrun announcements may be missing too: what is gone is told, what came is taken up.
    fn look_again(&mut self) {
        for (side, number, peer) in self.seats.all() {
            let connected = match side {
                Side::Input => system::is_connected(&self.seq, peer, self.at(self.inputs[number])),
                Side::Output => system::is_connected(&self.seq, self.at(self.outputs[number]), peer),
            };
            if !connected {
                self.seats.leave(side, number, peer, &mut self.outbox.ready);
            }
        }
        for direction in [Direction::Input, Direction::Output] {
            for (peer, _) in system::ports(&self.seq, direction) {
                self.take_up(peer);
            }
        }
    }

    /// Sleeps until there is something to read, or until the deadline: then it says false.
    ///
    /// Without a deadline reading does the sleeping, which spares the playing path a call into the kernel.
    fn sleep(&self, deadline: Option<Instant>) -> bool {
        let Some(deadline) = deadline else { return true };
        let left = deadline.saturating_duration_since(Instant::now());
        let left = Timespec::try_from(left).unwrap_or(Timespec { tv_sec: i64::from(i32::MAX), tv_nsec: 0 });
        // A signal may end it early: then there is nothing to read, and it is as good as the deadline's end.
        let mut fds = [PollFd::from_borrowed_fd(self.descriptor(), PollFlags::IN)];
        !matches!(rustix::event::poll(&mut fds, Some(&left)), Ok(0) | Err(Errno::INTR))
    }

    fn descriptor(&self) -> BorrowedFd<'_> {
        // SAFETY: the descriptor belongs to `self.seq`, which is open as long as `self` lives.
        unsafe { BorrowedFd::borrow_raw(self.fd) }
    }
}

fn take_in(event: &Event<'_>, input: usize, stream: Option<&mut Stream>, outbox: &mut Outbox, refused: &mut u64) {
    if let (EventType::Sysex, Some(bytes), Some(stream)) = (event.get_type(), event.get_ext(), stream) {
        outbox.take_in(input, stream, bytes);
        return;
    }
    match codec::decode(event) {
        Some(few) => {
            let ready = few.iter().map(|(bytes, length)| Ready::Short { input, bytes, length });
            outbox.ready.extend(ready);
        }
        None => *refused += u64::from(event.get_type() != EventType::PortSubscribed),
    }
}

impl Ports for Sequencer {
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_> {
        let mut deadline = None;
        while self.outbox.ready.is_empty() {
            // What an earlier read has brought along is there without asking the kernel.
            if self.seq.input().event_input_pending(false).is_ok_and(|bytes| bytes > 0) {
                self.read();
                continue;
            }
            if let (None, Some(timeout)) = (deadline, timeout) {
                deadline = Instant::now().checked_add(timeout);
            }
            if self.bell.heard() {
                return Arrival::Woken;
            }
            if !self.sleep(deadline) {
                return Arrival::Quiet;
            }
            self.read();
        }
        self.outbox.give().unwrap_or(Arrival::Quiet)
    }

    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault> {
        let port = *self.outputs.get(output).ok_or(SendFault::NoSuchOutput)?;
        let mut event = codec::encode(bytes).ok_or(SendFault::NotAMessage)?;
        if !self.output_there(output) {
            return Err(SendFault::Absent);
        }
        event.set_source(port);
        event.set_subs();
        event.set_direct();
        match self.seq.event_output_direct(&mut event) {
            Ok(_) => Ok(()),
            Err(error) if [Errno::AGAIN, Errno::NOMEM].iter().any(|no| no.raw_os_error() == error.errno()) => {
                Err(SendFault::Full)
            }
            Err(error) => Err(SendFault::Refused(error.errno())),
        }
    }

    fn waker(&self) -> Waker {
        self.bell.waker()
    }

    fn input_there(&self, input: usize) -> bool {
        self.seats.taken(Side::Input, input)
    }

    fn output_there(&self, output: usize) -> bool {
        let is_virtual = self.wish.outputs.get(output).is_some_and(|wish| matches!(wish.target, Target::Virtual));
        is_virtual || self.seats.taken(Side::Output, output)
    }

    fn dropped(&self) -> u64 {
        self.refused + self.streams.iter().map(Stream::dropped).sum::<u64>()
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities { notices: true, tells_losses: true, hears_exclusive: true, virtual_outputs: true }
    }
}
