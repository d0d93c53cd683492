//! The ALSA sequencer: one client, one port per input and output, one thread that reads and writes.
//!
//! Measured reasons for the settings: the kernel keeps 200 unread events per client unless asked for more, and throws
//! all of them away when one more comes; a read buffer of the usual size cannot take a long exclusive message.

mod arrears;
mod bell;
mod codec;
mod comings;
mod fresh;
mod notice;
mod system;

use std::os::fd::{BorrowedFd, RawFd};
use std::time::{Duration, Instant};

use ::alsa::Direction as Way;
use ::alsa::poll::Descriptors;
use ::alsa::seq::{Addr, Connect, Event, EventType, PortCap, Seq};
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::io::Errno;

use self::arrears::Arrears;
use self::bell::Bell;
use self::comings::Due;
use self::fresh::Fresh;
use self::notice::{Notice, notice};
use super::bonds::Bonds;
use super::identity::Acquaintances;
use super::seats::Seats;
use super::weight::Weight;
use crate::midi::stream::Stream;

use super::{
    Arrival, CLIENT, Capabilities, Connection, Direction, Fault, Listed, Outbox, Ports, PortsError, Ready, SendFault,
    Side, Target, Waker, Wish,
};

/// Unread events that the kernel keeps for us; the most it allows.
const POOL: u32 = 2000;
/// Bytes that one read takes; more than the longest event of a full pool.
const READ_BUFFER: u32 = 128 * 1024;

/// After so many messages without a pause the kernel's queue is looked after.
const EVERY: u32 = 16;
/// How soon a listener that did not keep up is tried again.
const RETRY: Duration = Duration::from_millis(20);

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
    seats: Seats<Addr>,
    fresh: Fresh,
    known: Acquaintances,
    bonds: Bonds<Addr>,
    /// Ports that are to be connected, but not at once.
    due: Vec<Due>,
    streams: Vec<Stream>,
    outbox: Outbox,
    refused: u64,
    arrears: Arrears<Addr>,
    /// When what is owed is tried next.
    retry: Instant,
    shed: u64,
    /// Messages given since there was last nothing more.
    since_empty: u32,
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
        let outbox = Outbox::new(inputs.len());
        let arrears = Arrears::new(outputs.len());
        let mut sequencer = Sequencer {
            fd,
            client,
            announcements,
            owners,
            fresh: Fresh::default(),
            known: Acquaintances::default(),
            bonds: Bonds::new(wish),
            due: Vec::new(),
            seats: Seats::new(inputs.len(), outputs.len()),
            streams: inputs.iter().map(|_| Stream::new()).collect(),
            wish: wish.clone(),
            inputs,
            outputs,
            outbox,
            refused: 0,
            arrears,
            retry: Instant::now(),
            shed: 0,
            since_empty: 0,
            bell,
            seq,
        };
        // Before looking, so that nothing can come between looking and hearing.
        system::connect(&sequencer.seq, Addr::system_announce(), sequencer.at(announcements))
            .map_err(refused("Listening to the MIDI sequencer's announcements"))?;
        sequencer.connect_all()?;
        sequencer.connect_remembered();
        sequencer.read_old();
        Ok(sequencer)
    }

    fn at(&self, port: i32) -> Addr {
        Addr { client: self.client, port }
    }

    /// Reads one event into the outbox, or does what it says.
    fn read(&mut self) {
        self.mark_fresh();
        let notice = {
            let mut input = self.seq.input();
            match input.event_input() {
                Ok(event) => {
                    let owner = usize::try_from(event.get_dest().port).ok().and_then(|port| self.owners.get(port));
                    match (notice(&event, self.announcements), owner) {
                        (Notice::None, Some(Some(_))) if self.fresh.is_old(&event) => {
                            self.refused += 1;
                            Notice::None
                        }
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
        let told = self.outbox.news.len();
        match notice {
            Notice::None => return,
            Notice::Mark => return self.fresh.marked(),
            Notice::Lost => {
                self.fresh.lost(Instant::now());
                self.outbox.news.push_back(Ready::Overrun);
                self.streams.iter_mut().for_each(Stream::reset);
                self.look_again();
            }
            Notice::Started(peer) => self.take_up(peer, 0),
            Notice::Ended(peer) => self.ended(|known| known == peer),
            Notice::ClientEnded(client) => self.ended(|known| known.client == client),
            Notice::Connected(between) => {
                if let Some((side, number, peer)) = self.of(between) {
                    self.joined(side, number, peer);
                }
            }
            Notice::Parted(between) => {
                if let Some((side, number, peer)) = self.of(between) {
                    self.bonds.parted(side, number, peer, Instant::now());
                    self.seats.leave(side, number, peer, &mut self.outbox.news);
                }
            }
            Notice::Disconnected(between) => {
                if let Some((side, number, peer)) = self.of(between) {
                    self.seats.leave(side, number, peer, &mut self.outbox.news);
                }
            }
        }
        self.outbox.void(told);
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

    /// Whether an earlier read has brought along more.
    fn has_more(&self) -> bool {
        self.seq.input().event_input_pending(false).is_ok_and(|bytes| bytes > 0)
    }

    /// Takes all that the kernel has kept for us.
    fn empty_kernel(&mut self) {
        for _ in 0..2 * POOL {
            if !self.has_more() && !self.sleep(Some(Instant::now())) {
                break;
            }
            self.read();
        }
    }

    /// Sends to one listener alone; true unless its queue is full.
    fn send_to(&self, output: usize, peer: Addr, bytes: &[u8]) -> bool {
        let (Some(port), Some(mut event)) = (self.outputs.get(output), codec::encode(bytes)) else { return true };
        event.set_source(*port);
        event.set_dest(peer);
        event.set_direct();
        deliver(&self.seq, &mut event) != Err(SendFault::Full)
    }

    /// Sends some of what is owed to those who read again.
    fn pay(&mut self) {
        let mut arrears = std::mem::replace(&mut self.arrears, Arrears::new(0));
        arrears.pay(|output, peer, bytes| {
            // An address that is no longer connected may be somebody else's by now.
            !self.seats.peers(Side::Output, output).contains(&peer) || self.send_to(output, peer, bytes)
        });
        self.arrears = arrears;
        self.retry = Instant::now() + RETRY;
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

fn deliver(seq: &Seq, event: &mut Event<'_>) -> Result<(), SendFault> {
    match seq.event_output_direct(event) {
        Ok(_) => Ok(()),
        Err(error) if [Errno::AGAIN, Errno::NOMEM].iter().any(|no| no.raw_os_error() == error.errno()) => {
            Err(SendFault::Full)
        }
        Err(error) => Err(SendFault::Refused(error.errno())),
    }
}

fn take_in(event: &Event<'_>, input: usize, stream: Option<&mut Stream>, outbox: &mut Outbox, refused: &mut u64) {
    if let (EventType::Sysex, Some(bytes), Some(stream)) = (event.get_type(), event.get_ext(), stream) {
        outbox.take_in(input, stream, bytes);
        return;
    }
    match codec::decode(event) {
        Some(few) => few.iter().for_each(|(bytes, length)| outbox.put(input, bytes.get(..length).unwrap_or_default())),
        None => *refused += u64::from(event.get_type() != EventType::PortSubscribed),
    }
}

impl Ports for Sequencer {
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_> {
        let mut deadline = None;
        self.fresh.awaited();
        while self.outbox.is_empty() {
            self.mark_fresh();
            // What an earlier read has brought along is there without asking the kernel.
            if self.has_more() {
                self.read();
                continue;
            }
            self.since_empty = 0;
            if let (None, Some(timeout)) = (deadline, timeout) {
                deadline = Instant::now().checked_add(timeout);
            }
            if self.bell.heard() {
                return Arrival::Woken;
            }
            let due = self.due.iter().map(|due| due.at).chain(self.fresh.ends()).min();
            let retry = (!self.arrears.is_empty()).then_some(self.retry);
            if self.sleep([deadline, due, retry].into_iter().flatten().min()) {
                self.read();
            } else if due.is_some_and(|due| due <= Instant::now()) {
                self.connect_due();
            } else if retry.is_some_and(|retry| retry <= Instant::now()) {
                self.pay();
            } else {
                return Arrival::Quiet;
            }
        }
        // While more comes than can be played at once, the kernel's queue must not overflow: ours sheds better.
        self.since_empty += 1;
        if self.since_empty.is_multiple_of(EVERY) {
            self.empty_kernel();
            if !self.arrears.is_empty() && self.retry <= Instant::now() {
                self.pay();
            }
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
        let sent = deliver(&self.seq, &mut event);
        self.arrears.said(output, bytes);
        if sent != Err(SendFault::Full) {
            return sent;
        }
        if self.arrears.is_empty() {
            self.retry = Instant::now() + RETRY;
        }
        self.arrears.owe(output, self.seats.peers(Side::Output, output));
        // What ends something gets there later.
        if Weight::of(bytes) == Weight::Release {
            return Ok(());
        }
        self.shed += 1;
        Err(SendFault::Full)
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

    fn connections(&self) -> Vec<Connection> {
        self.bonds.connections()
    }

    fn shed(&self) -> u64 {
        self.shed + self.outbox.shed()
    }

    fn dropped(&self) -> u64 {
        self.refused + self.streams.iter().map(Stream::dropped).sum::<u64>()
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
