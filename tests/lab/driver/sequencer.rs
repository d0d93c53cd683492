//! Other programs at the sequencer: some play, some listen. They use alsa-lib's own coder, not ours.

use std::ffi::CString;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use alsa::poll::Descriptors;
use alsa::seq::{Addr, ClientIter, Event, EventType, MidiEvent, PortCap, PortIter, PortSubscribe, PortType, Seq};
use alsa::{Direction, poll};

use crate::yardstick::{Beats, LONG};

/// Longest message that the coder takes.
const LONGEST: u32 = 65536;

fn open(name: &str) -> Result<Seq, String> {
    let seq = Seq::open(None, None, true).map_err(|error| error.to_string())?;
    let name = CString::new(name).map_err(|error| error.to_string())?;
    seq.set_client_name(&name).map_err(|error| error.to_string())?;
    Ok(seq)
}

fn port(seq: &Seq, name: &str, capability: PortCap) -> Result<i32, String> {
    let name = CString::new(name).map_err(|error| error.to_string())?;
    let kind = PortType::MIDI_GENERIC | PortType::APPLICATION;
    seq.create_simple_port(&name, capability, kind).map_err(|error| error.to_string())
}

/// The address of a port, by the exact names of client and port.
fn find(seq: &Seq, client: &str, port: &str) -> Option<Addr> {
    let clients = ClientIter::new(seq).filter(|info| info.get_name().is_ok_and(|name| name == client));
    let mut ports = clients.flat_map(|info| PortIter::new(seq, info.get_client()));
    ports.find(|info| info.get_name().is_ok_and(|name| name == port)).map(|info| info.addr())
}

/// Where a port sits, as the system's own tools want it: by the exact names of client and port.
pub fn address(client: &str, port: &str) -> Option<String> {
    let seq = open("lab looks").ok()?;
    find(&seq, client, port).map(|found| format!("{}:{}", found.client, found.port))
}

/// Whether some client of this name has a port with `part` in its name.
pub fn is_there(client: &str, part: &str) -> bool {
    let Ok(seq) = open("lab looks") else { return false };
    let mut clients = ClientIter::new(&seq).filter(|info| info.get_name().is_ok_and(|name| name == client));
    clients.any(|info| {
        PortIter::new(&seq, info.get_client()).any(|port| port.get_name().is_ok_and(|name| name.contains(part)))
    })
}

/// How many clients of this name there are.
pub fn how_many(client: &str) -> usize {
    let Ok(seq) = open("lab looks") else { return 0 };
    ClientIter::new(&seq).filter(|info| info.get_name().is_ok_and(|name| name == client)).count()
}

/// Waits until something holds.
pub fn until(what: &str, patience: Duration, holds: impl FnMut() -> bool) -> Result<(), String> {
    let beats = Beats::within(patience);
    beats.until(holds).map(drop).ok_or_else(|| format!("{what}: not within {beats:?} of the yardstick"))
}

/// A program that plays.
pub struct Player {
    seq: Seq,
    port: i32,
    coder: MidiEvent,
}

impl Player {
    /// Opens a client with one port to listen to.
    pub fn new(client: &str, name: &str) -> Result<Self, String> {
        let seq = open(client)?;
        let port = port(&seq, name, PortCap::READ | PortCap::SUBS_READ)?;
        let coder = MidiEvent::new(LONGEST).map_err(|error| error.to_string())?;
        Ok(Player { seq, port, coder })
    }

    /// Its client at the sequencer.
    pub fn seq(&self) -> &Seq {
        &self.seq
    }

    /// Its port.
    pub fn port(&self) -> i32 {
        self.port
    }

    /// Plays one message; a fragment of an exclusive message goes out as it is. Says whether everyone took it.
    pub fn play(&mut self, message: &[u8]) -> bool {
        let (seq, port) = (&self.seq, self.port);
        let send = |mut event: Event<'_>| {
            event.set_source(port);
            event.set_subs();
            event.set_direct();
            seq.event_output_direct(&mut event).is_ok()
        };
        if message.first() == Some(&0xF0) {
            return send(Event::new_ext(EventType::Sysex, message));
        }
        self.coder.reset_encode();
        match self.coder.encode(message) {
            Ok((_, Some(event))) => send(event),
            _ => false,
        }
    }
}

/// A message and when it was heard.
#[derive(Debug, Clone)]
pub struct Heard {
    /// When.
    pub at: Instant,
    /// What.
    pub bytes: Vec<u8>,
}

impl Heard {
    /// Whether it begins this note: at velocity 0 it ends it (MIDI 1.0 Detailed Specification, Note On).
    pub fn begins(&self, note: u8) -> bool {
        matches!(self.bytes[..], [status, key, velocity] if status & 0xF0 == 0x90 && key == note && velocity > 0)
    }

    /// Whether it ends this note.
    pub fn ends(&self, note: u8) -> bool {
        matches!(self.bytes[..], [status, key, _] if matches!(status & 0xF0, 0x80 | 0x90) && key == note && !self.begins(note))
    }
}

/// What a listener has heard so far; several may write into the same, and one into several.
pub type Record = Arc<Mutex<Vec<Heard>>>;

/// Takes all that was recorded.
pub fn taken(record: &Record) -> Vec<Heard> {
    record.lock().map(|mut heard| std::mem::take(&mut *heard)).unwrap_or_default()
}

/// How much is recorded.
fn length(record: &Record) -> usize {
    record.lock().map(|heard| heard.len()).unwrap_or_default()
}

/// Waits until nothing has come for a while.
pub fn calm(record: &Record, quiet: Duration) {
    let mut known = length(record);
    let is_more = || {
        let before = std::mem::replace(&mut known, length(record));
        before != known
    };
    let mut is_more = is_more;
    while Beats::within(quiet).until(&mut is_more).is_some() {}
}

/// Waits until a listener that begins to listen has heard its set-up, and forgets that.
pub fn set_up(record: &Record, quiet: Duration) -> Result<(), String> {
    until("the set-up", LONG, || length(record) > 0)?;
    calm(record, quiet);
    taken(record);
    Ok(())
}

/// Reads what is there without waiting; false when nothing is.
pub fn read(seq: &Seq, coder: &MidiEvent, mut take: impl FnMut(&[u8])) -> bool {
    let mut input = seq.input();
    let Ok(mut event) = input.event_input() else { return false };
    if let Some(bytes) = event.get_ext() {
        take(bytes);
    } else {
        let mut bytes = [0; 16];
        coder.reset_decode();
        if let Ok(count) = coder.decode(&mut bytes, &mut event) {
            take(&bytes[..count]);
        }
    }
    true
}

/// A client with a port that can be sent to, with a long queue.
pub fn ear(client: &str, name: &str) -> Result<(Seq, i32, MidiEvent), String> {
    let seq = open(client)?;
    seq.set_client_pool_input(2000).map_err(|error| error.to_string())?;
    seq.input().set_input_buffer_size(131_072).map_err(|error| error.to_string())?;
    let port = port(&seq, name, PortCap::WRITE | PortCap::SUBS_WRITE)?;
    let coder = MidiEvent::new(LONGEST).map_err(|error| error.to_string())?;
    coder.enable_running_status(false);
    Ok((seq, port, coder))
}

/// Connects an ear to a port, found by the exact names.
pub fn attach(seq: &Seq, own: i32, client: &str, name: &str) -> Result<(), String> {
    let sender = find(seq, client, name).ok_or_else(|| format!("no port \"{name}\" of \"{client}\""))?;
    let between = PortSubscribe::empty().map_err(|error| error.to_string())?;
    between.set_sender(sender);
    between.set_dest(Addr { client: seq.client_id().map_err(|error| error.to_string())?, port: own });
    seq.subscribe_port(&between).map_err(|error| error.to_string())
}

/// What lies between two ports, each found by the exact names of client and port.
fn between(seq: &Seq, sender: (&str, &str), dest: (&str, &str)) -> Result<PortSubscribe, String> {
    let at = |(client, port): (&str, &str)| {
        find(seq, client, port).ok_or_else(|| format!("no port \"{port}\" of \"{client}\""))
    };
    let between = PortSubscribe::empty().map_err(|error| error.to_string())?;
    between.set_sender(at(sender)?);
    between.set_dest(at(dest)?);
    Ok(between)
}

/// Connects two ports of others, as a person does with a patch program.
pub fn join(sender: (&str, &str), dest: (&str, &str)) -> Result<(), String> {
    let seq = open("lab hand")?;
    seq.subscribe_port(&between(&seq, sender, dest)?).map_err(|error| error.to_string())
}

/// Takes such a connection away.
pub fn part(sender: (&str, &str), dest: (&str, &str)) -> Result<(), String> {
    let seq = open("lab hand")?;
    let between = between(&seq, sender, dest)?;
    seq.unsubscribe_port(between.get_sender(), between.get_dest()).map_err(|error| error.to_string())
}

/// Waits until there is something to read.
pub fn sleep(seq: &Seq, milliseconds: i32) -> bool {
    let Ok(mut fds) = (seq, Some(Direction::Capture)).get() else { return false };
    poll::poll(&mut fds, milliseconds).is_ok_and(|ready| ready > 0)
}

/// Writes what is heard into records.
fn into(records: &[Record]) -> impl FnMut(&[u8]) + Send + 'static {
    let records = records.to_vec();
    move |bytes| {
        let heard = Heard { at: Instant::now(), bytes: bytes.to_vec() };
        for record in &records {
            if let Ok(mut record) = record.lock() {
                record.push(heard.clone());
            }
        }
    }
}

/// Ports as the sequencer announces them: when, the client's name, its number.
pub type Announced = Arc<Mutex<Vec<(Instant, String, i32)>>>;

/// Notes when ports appear, until it is dropped.
pub struct Announcements {
    /// What was announced so far.
    pub announced: Announced,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Announcements {
    /// Begins.
    pub fn begin() -> Result<Self, String> {
        let (seq, own, _) = ear("lab watch", "announcements")?;
        let between = PortSubscribe::empty().map_err(|error| error.to_string())?;
        between.set_sender(Addr::system_announce());
        between.set_dest(Addr { client: seq.client_id().map_err(|error| error.to_string())?, port: own });
        seq.subscribe_port(&between).map_err(|error| error.to_string())?;
        let (announced, stop) = (Announced::default(), Arc::new(AtomicBool::new(false)));
        let (noted, stopped) = (Arc::clone(&announced), Arc::clone(&stop));
        let thread = thread::spawn(move || {
            while !stopped.load(Ordering::SeqCst) {
                sleep(&seq, 20);
                loop {
                    let port = match seq.input().event_input() {
                        Ok(event) if event.get_type() == EventType::PortStart => event.get_data::<Addr>(),
                        Ok(_) => None,
                        Err(_) => break,
                    };
                    let now = Instant::now();
                    let Some(port) = port else { continue };
                    let name = seq.get_any_client_info(port.client).ok();
                    let name = name.and_then(|info| info.get_name().ok().map(ToString::to_string)).unwrap_or_default();
                    if let Ok(mut noted) = noted.lock() {
                        noted.push((now, name, port.client));
                    }
                }
            }
        });
        Ok(Announcements { announced, stop, thread: Some(thread) })
    }

    /// Waits for the next port of a client of this name, and forgets what was announced before it: when, its number.
    pub fn next(&self, client: &str, patience: Duration) -> Result<(Instant, i32), String> {
        let mut found = None;
        until(&format!("a port of \"{client}\""), patience, || {
            if let Ok(mut announced) = self.announced.lock()
                && let Some(place) = announced.iter().position(|(_, name, _)| name == client)
            {
                found = announced.drain(..=place).next_back();
            }
            found.is_some()
        })?;
        found.map(|(at, _, number)| (at, number)).ok_or_else(|| "nothing was announced".into())
    }
}

impl Drop for Announcements {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// A program or instrument that listens, on its own thread, until it is dropped.
pub struct Listener {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Listener {
    /// An instrument: it waits to be connected.
    pub fn instrument(client: &str, name: &str, records: &[Record]) -> Result<Self, String> {
        Self::start(client, name, None, into(records))
    }

    /// A program that connects itself to a port, found by the exact names.
    pub fn to(client: &str, name: &str, records: &[Record]) -> Result<Self, String> {
        Self::start("Lab Listener", name, Some((client, name)), into(records))
    }

    /// An instrument that does with each message what it likes.
    pub fn with(client: &str, name: &str, hear: impl FnMut(&[u8]) + Send + 'static) -> Result<Self, String> {
        Self::start(client, name, None, hear)
    }

    fn start(
        client: &str,
        name: &str,
        to: Option<(&str, &str)>,
        mut hear: impl FnMut(&[u8]) + Send + 'static,
    ) -> Result<Self, String> {
        let (seq, own, coder) = ear(client, name)?;
        if let Some((client, name)) = to {
            attach(&seq, own, client, name)?;
        }
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        // The coder is made of bare pointers and must stay on one thread: a new one for this.
        drop(coder);
        let thread = thread::spawn(move || {
            let Ok(coder) = MidiEvent::new(LONGEST) else { return };
            coder.enable_running_status(false);
            while !stopped.load(Ordering::SeqCst) {
                sleep(&seq, 20);
                while read(&seq, &coder, |bytes| {
                    if !bytes.is_empty() {
                        hear(bytes)
                    }
                }) {}
            }
        });
        Ok(Listener { stop, thread: Some(thread) })
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
