//! Whoever connects is let in one by one, heard for a short while, and answered.

use std::io::{self, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crate::wording::actions::CONTROL_SOCKET;

use super::{Answer, LONGEST, MOST, NameLock, Outcome, Request, RequestHandler, VERSION};

/// A line must be there in this time, and so must room for its answer.
const PATIENCE: Duration = Duration::from_secs(3);

/// Connections and requests in a second; more have to wait. A flood must not take the machine's time from the music.
const PER_SECOND: u32 = 400;

/// After a connection that could not be accepted, as where no file can be opened any more.
const PAUSE: Duration = Duration::from_millis(100);

/// An open control socket; closed when dropped.
#[derive(Debug)]
pub struct ControlSocket {
    name_lock: NameLock,
    closed: Arc<AtomicBool>,
    listening: Option<JoinHandle<()>>,
}

/// Opens the control socket of `name_lock`, on threads of its own.
///
/// # Errors
/// There is no socket or no thread to be had.
pub fn open(name_lock: NameLock, handler: RequestHandler) -> io::Result<ControlSocket> {
    open_for(rustix::process::geteuid().as_raw(), name_lock, handler)
}

fn open_for(user: u32, name_lock: NameLock, handler: RequestHandler) -> io::Result<ControlSocket> {
    let listener = name_lock.listen()?;
    let closed = Arc::new(AtomicBool::new(false));
    let shared =
        Arc::new(Shared { user, handler, connections: AtomicUsize::new(0), pace: Mutex::new((Instant::now(), 0)) });
    let told = Arc::clone(&closed);
    let listening =
        thread::Builder::new().name("control".to_owned()).spawn(move || receive(&shared, &listener, &told))?;
    Ok(ControlSocket { name_lock, closed, listening: Some(listening) })
}

impl Drop for ControlSocket {
    fn drop(&mut self) {
        self.closed.store(true, Ordering::Release);
        let path = self.name_lock.socket();
        // Connecting wakes it.
        if UnixStream::connect(&path).is_ok() {
            let _ = self.listening.take().map(JoinHandle::join);
        }
        let _ = std::fs::remove_file(path);
    }
}

/// What all connections share.
struct Shared {
    /// The user who may come in.
    user: u32,
    handler: RequestHandler,
    /// Connections now.
    connections: AtomicUsize,
    /// When this second began, and how many came in it.
    pace: Mutex<(Instant, u32)>,
}

/// A connection, counted as long as it lives.
struct Connection(Arc<Shared>);

impl Drop for Connection {
    fn drop(&mut self) {
        self.0.connections.fetch_sub(1, Ordering::AcqRel);
    }
}

impl Shared {
    /// Waits where too many have come in this second.
    fn keep_pace(&self) {
        let rest = {
            let mut pace = self.pace.lock().unwrap_or_else(PoisonError::into_inner);
            let since = pace.0.elapsed();
            if since >= Duration::from_secs(1) {
                *pace = (Instant::now(), 0);
            }
            pace.1 += 1;
            if pace.1 <= PER_SECOND { Duration::ZERO } else { Duration::from_secs(1).saturating_sub(since) }
        };
        if !rest.is_zero() {
            thread::sleep(rest);
        }
    }
}

fn receive(shared: &Arc<Shared>, listener: &UnixListener, closed: &AtomicBool) {
    for stream in listener.incoming() {
        if closed.load(Ordering::Acquire) {
            return;
        }
        let Ok(mut stream) = stream else {
            thread::sleep(PAUSE);
            continue;
        };
        shared.keep_pace();
        if !peer_is(shared.user, &stream) {
            continue;
        }
        let before = shared.connections.fetch_add(1, Ordering::AcqRel);
        let connection = Connection(Arc::clone(shared));
        if before >= MOST {
            // Nobody waits for one who does not read.
            let _ = stream.set_nonblocking(true);
            say(&mut stream, &Answer::new(Outcome::Busy, "Too many ask at this moment: try again."));
            continue;
        }
        let _ = thread::Builder::new().name("control-client".to_owned()).spawn(move || attend(&connection.0, stream));
    }
}

/// Whether the process at the other end belongs to this user.
#[cfg(target_os = "linux")]
fn peer_is(user: u32, stream: &UnixStream) -> bool {
    rustix::net::sockopt::socket_peercred(stream).is_ok_and(|peer| peer.uid.as_raw() == user)
}

/// Elsewhere the folder's mode alone keeps others out.
#[cfg(not(target_os = "linux"))]
fn peer_is(_: u32, _: &UnixStream) -> bool {
    true
}

/// Hears requests until one is wrong, or none comes in time.
fn attend(shared: &Shared, mut stream: UnixStream) {
    let mut waiting = Vec::with_capacity(LONGEST);
    if stream.set_write_timeout(Some(PATIENCE)).is_err() {
        return;
    }
    loop {
        let answer = match line(&mut stream, &mut waiting) {
            Heard::Line(line) => {
                shared.keep_pace();
                answer(shared, &line)
            }
            Heard::TooLong => Answer::new(Outcome::Wrong, format!("A request is one line of at most {LONGEST} bytes.")),
            Heard::Nothing => return,
        };
        let over = answer.outcome == Outcome::Wrong;
        if !say(&mut stream, &answer) || over {
            return;
        }
    }
}

fn answer(shared: &Shared, line: &[u8]) -> Answer {
    match serde_json::from_slice::<Request>(line) {
        Ok(request) if request.version == VERSION => shared.handler.answer(CONTROL_SOCKET, request.ask),
        Ok(_) => {
            Answer::new(Outcome::Wrong, format!("This handspan speaks version {VERSION} of the control socket only."))
        }
        Err(error) => Answer::new(Outcome::Wrong, format!("This is no request ({error}).")),
    }
}

/// Whether it could be said.
fn say(stream: &mut UnixStream, answer: &Answer) -> bool {
    let Ok(mut text) = serde_json::to_vec(answer) else { return false };
    text.push(b'\n');
    stream.write_all(&text).is_ok()
}

enum Heard {
    Line(Vec<u8>),
    TooLong,
    /// The other end is gone, or too slow.
    Nothing,
}

/// The next line, without its end. `waiting` holds what came after the last one, and never more than a line may have.
fn line(stream: &mut UnixStream, waiting: &mut Vec<u8>) -> Heard {
    let deadline = Instant::now() + PATIENCE;
    loop {
        if let Some(end) = waiting.iter().position(|byte| *byte == b'\n') {
            let mut line: Vec<u8> = waiting.drain(..=end).collect();
            line.pop();
            return Heard::Line(line);
        }
        let free = LONGEST - waiting.len();
        if free == 0 {
            return Heard::TooLong;
        }
        let left = deadline.saturating_duration_since(Instant::now());
        if left.is_zero() || stream.set_read_timeout(Some(left)).is_err() {
            return Heard::Nothing;
        }
        let mut chunk = [0; LONGEST];
        match stream.read(&mut chunk[..free]) {
            Ok(0) => return Heard::Nothing,
            Ok(count) => waiting.extend_from_slice(&chunk[..count]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(_) => return Heard::Nothing,
        }
    }
}

#[cfg(test)]
mod tests;
