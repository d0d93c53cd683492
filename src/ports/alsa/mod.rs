//! The ALSA sequencer: one client, one port per input and output, one thread that reads and writes.
//!
//! Measured reasons for the settings: the kernel keeps 200 unread events per client unless asked for more, and throws
//! all of them away when one more comes; a read buffer of the usual size cannot take a long exclusive message.

mod announcement;
mod catch_up;
mod codec;
mod hotplug;
mod stale;
mod system;
mod waker;

use std::os::fd::{BorrowedFd, RawFd};
use std::time::{Duration, Instant};

use ::alsa::Direction as Transfer;
use ::alsa::poll::Descriptors;
use ::alsa::seq::{Addr, Connect, Event, EventType, PortCap, Seq};
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::io::Errno;

use self::announcement::{Announcement, announcement};
use self::catch_up::CatchUp;
use self::stale::StaleNotes;
use self::waker::EventWaker;
use super::identity::KnownDevices;
use super::input_queue::InputQueue;
use super::message::Priority;
use super::peers::Peers;
use super::port::PortId;
use super::remembered::Remembered;
use super::table::PortTable;
use super::{
    Arrival, CLIENT, Capabilities, Connection, Direction, Fault, FoundPort, Ports, PortsError, SendFault, Waker, Wish,
};
use crate::midi::stream::Stream;

/// What the sequencer can do.
pub(super) const CAPABILITIES: Capabilities =
    Capabilities { knows_connections: true, receives_exclusive: true, virtual_ports: true };

/// Unread events that the kernel keeps for us; the most it allows.
const POOL: u32 = 2000;
/// Bytes that one read takes; more than the longest event of a full pool.
const READ_BUFFER: u32 = 128 * 1024;

/// After so many messages without a pause the kernel's queue is looked after.
const EVERY: u32 = 16;
/// How soon a listener that did not keep up is tried again.
const RETRY: Duration = Duration::from_millis(20);

/// The ports of other programs and devices, without our own.
pub(super) fn list() -> Result<Vec<FoundPort>, PortsError> {
    let seq = system::open("handspan ports")?;
    let sources = system::ports(&seq, Direction::Input);
    let sinks = system::ports(&seq, Direction::Output);
    Ok(sources.into_iter().chain(sinks).map(|(_, port)| port).collect())
}

/// Our client at the sequencer.
pub(super) struct Sequencer {
    seq: Seq,
    fd: RawFd,
    client: i32,
    announcements: i32,
    /// The sequencer's number of each of our ports.
    numbers: PortTable<i32>,
    /// Which of our ports has a number.
    owners: Vec<Option<PortId>>,
    wish: Wish,
    peers: Peers<Addr>,
    remembered: Remembered<Addr>,
    devices: KnownDevices,
    stale: StaleNotes,
    /// Ports that are to be connected, but not at once.
    due: Vec<Due>,
    streams: Vec<Stream>,
    queue: InputQueue,
    dropped: u64,
    catch_up: CatchUp<Addr>,
    /// When those who missed ends are tried next.
    retry: Instant,
    /// Messages that listeners had no room for.
    refused: u64,
    /// Messages given since there was last nothing more.
    since_empty: u32,
    waker: EventWaker,
}

/// A port that is to be connected, and when.
struct Due {
    peer: Addr,
    at: Instant,
    /// How often it was tried to give it to whom it belongs; 0: others had connected it.
    tries: u32,
}

impl Sequencer {
    /// Opens our client with a port for everything that is wished, and connects what is there.
    pub(super) fn open(wish: &Wish) -> Result<Self, PortsError> {
        let seq = system::open(CLIENT)?;
        let refused = |doing: &'static str| move |error: ::alsa::Error| Fault::refused(doing, error);
        seq.set_client_pool_input(POOL).map_err(refused("Asking the MIDI sequencer for a longer queue"))?;
        seq.input().set_input_buffer_size(READ_BUFFER).map_err(refused("Asking for a larger read buffer"))?;
        let client = seq.client_id().map_err(refused("Asking for our place at the MIDI sequencer"))?;
        let fds = (&seq, Some(Transfer::Capture)).get().map_err(refused("Waiting at the MIDI sequencer"))?;
        let fd = fds.first().map(|fd| fd.fd).ok_or(Fault::NoSequencer)?;

        let announcements = system::port(&seq, "system", PortCap::WRITE | PortCap::NO_EXPORT)?;
        // Before there is a port of ours that somebody could connect, and before looking: nothing comes unheard.
        system::connect(&seq, Addr::system_announce(), Addr { client, port: announcements })
            .map_err(refused("Listening to the MIDI sequencer's announcements"))?;
        let numbers = PortTable::try_new(wish, |id| {
            let capability = match id.direction {
                Direction::Input => PortCap::WRITE | PortCap::SUBS_WRITE,
                Direction::Output => PortCap::READ | PortCap::SUBS_READ,
            };
            system::port(&seq, wish.name(id), capability)
        })?;
        let mut owners = vec![None; 256];
        for (id, port) in numbers.iter() {
            if let Some(owner) = usize::try_from(*port).ok().and_then(|port| owners.get_mut(port)) {
                *owner = Some(id);
            }
        }

        // SAFETY: `seq` is open, and the copy that the waker makes is its own.
        let waker = EventWaker::new(unsafe { BorrowedFd::borrow_raw(fd) }, Addr { client, port: announcements })
            .map_err(|error| Fault::refused("Making a way to be woken", error))?;
        let mut sequencer = Sequencer {
            fd,
            client,
            announcements,
            numbers,
            owners,
            wish: wish.clone(),
            peers: Peers::new(wish),
            remembered: Remembered::new(wish),
            devices: KnownDevices::default(),
            stale: StaleNotes::default(),
            due: Vec::new(),
            streams: wish.inputs.iter().map(|_| Stream::new()).collect(),
            queue: InputQueue::new(wish.inputs.len()),
            dropped: 0,
            catch_up: CatchUp::new(wish.outputs.len()),
            retry: Instant::now(),
            refused: 0,
            since_empty: 0,
            waker,
            seq,
        };
        sequencer.connect_all()?;
        sequencer.connect_remembered();
        sequencer.read_stale();
        Ok(sequencer)
    }

    fn at(&self, port: i32) -> Addr {
        Addr { client: self.client, port }
    }

    /// The sequencer's address of a port of ours.
    fn address(&self, id: PortId) -> Addr {
        self.at(self.numbers.get(id).copied().unwrap_or(-1))
    }

    /// Reads one event into the input queue, or does what it says.
    fn read(&mut self) {
        self.send_mark();
        let announced = match self.seq.input().event_input() {
            Ok(event) => {
                let owner = usize::try_from(event.get_dest().port).ok().and_then(|port| *self.owners.get(port)?);
                match (announcement(&event, self.announcements), owner) {
                    (None, Some(_)) if self.stale.is_stale(&event) => {
                        self.dropped += 1;
                        None
                    }
                    (None, Some(PortId { direction: Direction::Input, number })) => {
                        let stream = self.streams.get_mut(number);
                        enqueue(&event, number, stream, &mut self.queue, &mut self.dropped);
                        None
                    }
                    (announced, _) => announced,
                }
            }
            // A signal, or an event of a kind that is newer than the library.
            Err(error) if is_one_of(error, [Errno::AGAIN, Errno::INTR, Errno::NOTSUP]) => None,
            // The kernel's queue was full (ENOSPC), or nobody knows what happened.
            Err(_) => Some(Announcement::Lost),
        };
        if let Some(announced) = announced {
            self.handle(announced);
        }
    }

    /// Reads what was played before, as long as it may come.
    fn read_stale(&mut self) {
        while let Some(until) = self.stale.ends().max().filter(|until| *until > Instant::now()) {
            if self.has_more() || self.sleep(Some(until)) {
                self.read();
            }
        }
    }

    /// Sends the mark to ourselves where it is time for it.
    fn send_mark(&mut self) {
        if self.stale.is_empty() {
            return;
        }
        let Sequencer { stale, seq, client, announcements, .. } = self;
        stale.mark(Instant::now(), || {
            let mut mark = Event::new(EventType::Usr1, &[0; 12]);
            mark.set_source(*announcements);
            mark.set_dest(Addr { client: *client, port: *announcements });
            mark.set_direct();
            deliver(seq, &mut mark).is_ok()
        });
    }

    fn handle(&mut self, announced: Announcement) {
        let changes = self.queue.changes.len();
        match announced {
            Announcement::Mark => return self.stale.marked(),
            Announcement::Lost => {
                self.stale.lost(Instant::now());
                self.queue.changes.push_back(Arrival::Overrun);
                self.streams.iter_mut().for_each(Stream::reset);
                self.look_again();
            }
            Announcement::Started(peer) => self.take_up(peer, 0),
            Announcement::Ended(peer) => self.gone(|known| known == peer),
            Announcement::ClientEnded(client) => self.gone(|known| known.client == client),
            Announcement::Connected(between) => {
                if let Some((id, peer)) = self.ours(between) {
                    self.connected(id, peer);
                }
            }
            Announcement::Cut(between) => {
                if let Some((id, peer)) = self.ours(between) {
                    self.remembered.disconnected(id, peer, Instant::now());
                    self.peers.disconnected(id, peer, &mut self.queue.changes);
                }
            }
            Announcement::Disconnected(between) => {
                if let Some((id, peer)) = self.ours(between) {
                    self.peers.disconnected(id, peer, &mut self.queue.changes);
                }
            }
        }
        self.queue.discard_lost(changes);
        for (number, stream) in self.streams.iter_mut().enumerate() {
            if !self.peers.is_connected(PortId::input(number)) {
                stream.reset();
            }
        }
    }

    /// Which of our ports a connection concerns, and the port at its other end.
    fn ours(&self, between: Connect) -> Option<(PortId, Addr)> {
        let owner = |port: Addr| *self.owners.get(usize::try_from(port.port).ok()?)?;
        if between.dest.client == self.client {
            let id = owner(between.dest).filter(|id| id.direction == Direction::Input)?;
            return Some((id, between.sender));
        }
        let id = owner(between.sender).filter(|id| id.direction == Direction::Output)?;
        (between.sender.client == self.client).then_some((id, between.dest))
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
        let (Some(port), Some(mut event)) = (self.numbers.outputs.get(output), codec::encode(bytes)) else {
            return true;
        };
        event.set_source(*port);
        event.set_dest(peer);
        event.set_direct();
        deliver(&self.seq, &mut event) != Err(SendFault::Full)
    }

    /// Sends some of what they missed to those who read again.
    fn resend_ends(&mut self) {
        let mut catch_up = std::mem::replace(&mut self.catch_up, CatchUp::new(0));
        catch_up.resend(|output, peer, bytes| {
            // An address that is no longer connected may be somebody else's by now.
            !self.peers.of(PortId::output(output)).contains(&peer) || self.send_to(output, peer, bytes)
        });
        self.catch_up = catch_up;
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

fn is_one_of<const N: usize>(error: ::alsa::Error, numbers: [Errno; N]) -> bool {
    numbers.iter().any(|number| number.raw_os_error() == error.errno())
}

fn deliver(seq: &Seq, event: &mut Event<'_>) -> Result<(), SendFault> {
    match seq.event_output_direct(event) {
        Ok(_) => Ok(()),
        Err(error) if is_one_of(error, [Errno::AGAIN, Errno::NOMEM]) => Err(SendFault::Full),
        Err(error) => Err(SendFault::Refused(error.errno())),
    }
}

/// What an event says goes into the queue; what is no message is counted.
fn enqueue(event: &Event<'_>, input: usize, stream: Option<&mut Stream>, queue: &mut InputQueue, dropped: &mut u64) {
    if let (EventType::Sysex, Some(bytes), Some(stream)) = (event.get_type(), event.get_ext(), stream) {
        queue.push_bytes(input, stream, bytes);
        return;
    }
    match codec::decode(event) {
        Some(messages) => messages.iter().for_each(|message| queue.push(input, message.as_bytes())),
        None => *dropped += u64::from(event.get_type() != EventType::PortSubscribed),
    }
}

impl Ports for Sequencer {
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_> {
        let mut deadline = None;
        self.stale.awaited();
        while self.queue.is_empty() {
            self.send_mark();
            // What an earlier read has brought along is there without asking the kernel.
            if self.has_more() {
                self.read();
                continue;
            }
            self.since_empty = 0;
            if let (None, Some(timeout)) = (deadline, timeout) {
                deadline = Instant::now().checked_add(timeout);
            }
            if self.waker.take_woken() {
                return Arrival::Woken;
            }
            let due = self.due.iter().map(|due| due.at).chain(self.stale.ends()).min();
            let retry = (!self.catch_up.is_empty()).then_some(self.retry);
            if self.sleep([deadline, due, retry].into_iter().flatten().min()) {
                self.read();
            } else if due.is_some_and(|due| due <= Instant::now()) {
                self.connect_due();
            } else if retry.is_some_and(|retry| retry <= Instant::now()) {
                self.resend_ends();
            } else {
                return Arrival::Quiet;
            }
        }
        // While more comes than can be played at once, the kernel's queue must not overflow: ours sheds better.
        self.since_empty += 1;
        if self.since_empty.is_multiple_of(EVERY) {
            self.empty_kernel();
            if !self.catch_up.is_empty() && self.retry <= Instant::now() {
                self.resend_ends();
            }
        }
        self.queue.pop().unwrap_or(Arrival::Quiet)
    }

    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault> {
        let port = *self.numbers.outputs.get(output).ok_or(SendFault::NoSuchOutput)?;
        let mut event = codec::encode(bytes).ok_or(SendFault::NotAMessage)?;
        if !self.output_available(output) {
            return Err(SendFault::NotConnected);
        }
        event.set_source(port);
        event.set_subs();
        event.set_direct();
        let sent = deliver(&self.seq, &mut event);
        self.catch_up.sent(output, bytes);
        if sent != Err(SendFault::Full) {
            return sent;
        }
        if self.catch_up.is_empty() {
            self.retry = Instant::now() + RETRY;
        }
        self.catch_up.fell_behind(output, self.peers.of(PortId::output(output)));
        // What ends something gets there later.
        if Priority::of(bytes) == Priority::Release {
            return Ok(());
        }
        self.refused += 1;
        Err(SendFault::Full)
    }

    fn waker(&self) -> Waker {
        self.waker.waker()
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
        self.refused + self.queue.dropped_overload()
    }

    fn dropped(&self) -> u64 {
        self.dropped + self.streams.iter().map(Stream::dropped).sum::<u64>()
    }

    fn capabilities(&self) -> Capabilities {
        CAPABILITIES
    }
}
