//! One thread lets visitors in, hears them and answers them, one step of one visitor after the other.
//!
//! Nobody can keep it waiting: it reads and writes what is there at the moment, and goes on with the next one. A visitor
//! who says nothing holds a place only until somebody else needs it.

use std::io::{self, ErrorKind};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::Errno;

use super::local::{self, Listener, Stream};
use super::visitor::Visitor;
use super::{Answer, ControlRequest, MOST, NameLock, Outcome, RequestHandler, VERSION};
use crate::daemon::give_way::give_way;
use crate::daemon::token_bucket::{Rate, TokenBucket};
use crate::wording::actions::{CONTROL_SOCKET, TOO_MANY_ASK};

/// How many steps are taken: letting somebody in, reading what one said, writing what one is told. In any second 400 at
/// most; what comes faster has to wait. A flood must not take the machine's time from the music, and an honest request
/// needs two or three, so that those at the socket all together have as many at once as they can need.
const STEPS: Rate = Rate::per_second(3 * MOST as u32, 400 - 3 * MOST as u32);

/// After a failure that lasts, as where no file can be opened any more.
const PAUSE: Duration = Duration::from_millis(100);

/// An open control socket; closed when dropped.
#[derive(Debug)]
pub struct ControlSocket {
    name_lock: NameLock,
    /// Whose end ends the thread.
    open: Option<Stream>,
    serving: Option<JoinHandle<()>>,
}

/// Opens the control socket of `name_lock`, on a thread of its own.
///
/// # Errors
/// There is no socket or no thread to be had.
pub fn open(name_lock: NameLock, handler: RequestHandler) -> io::Result<ControlSocket> {
    open_for(own_user(), name_lock, handler)
}

fn open_for(user: u32, name_lock: NameLock, handler: RequestHandler) -> io::Result<ControlSocket> {
    let (listener, key) = name_lock.listen()?;
    listener.set_nonblocking(true)?;
    let (open, closing) = local::pair()?;
    let (visitors, steps) = (Vec::new(), TokenBucket::new(STEPS));
    let server = Server { user, key, handler, listener, closing, visitors, steps };
    let serving = thread::Builder::new().name("control".to_owned()).spawn(move || {
        give_way();
        server.serve();
    })?;
    Ok(ControlSocket { name_lock, open: Some(open), serving: Some(serving) })
}

impl Drop for ControlSocket {
    fn drop(&mut self) {
        drop(self.open.take());
        let _ = self.serving.take().map(JoinHandle::join);
        let _ = std::fs::remove_file(self.name_lock.socket());
    }
}

/// All that the thread has.
struct Server {
    /// The user who may come in.
    user: u32,
    /// What who comes in has to say first, where the system does not keep others out.
    key: Option<String>,
    handler: RequestHandler,
    listener: Listener,
    /// Ends where the control socket is closed.
    closing: Stream,
    visitors: Vec<Visitor>,
    steps: TokenBucket,
}

/// What there is to do.
struct ControlWork {
    /// When that was.
    at: Instant,
    is_closed: bool,
    somebody_comes: bool,
    /// For each visitor, whether it can go on.
    ready: Vec<bool>,
}

impl Server {
    fn serve(mut self) {
        loop {
            match self.look() {
                Ok(todo) if todo.is_closed => return,
                Ok(todo) => {
                    self.attend(&todo);
                    if todo.somebody_comes {
                        self.let_in();
                    }
                }
                Err(Errno::INTR) => {}
                Err(_) => thread::sleep(PAUSE),
            }
        }
    }

    /// Waits until there is something to do, or somebody's time is over.
    fn look(&self) -> rustix::io::Result<ControlWork> {
        let until = if self.visitors.iter().any(Visitor::is_pending) {
            Some(Duration::ZERO)
        } else {
            let deadline = self.visitors.iter().map(Visitor::deadline).min();
            deadline.map(|deadline| deadline.saturating_duration_since(Instant::now()))
        };
        let until = until.and_then(|until| Timespec::try_from(until).ok());
        let mut watched = vec![PollFd::new(&self.closing, PollFlags::IN), PollFd::new(&self.listener, PollFlags::IN)];
        watched.extend(self.visitors.iter().map(|visitor| PollFd::new(&visitor.stream, visitor.interest())));
        poll(&mut watched, until.as_ref())?;
        let at = Instant::now();
        let mut news = watched.iter().map(|one| !one.revents().is_empty());
        let (is_closed, somebody_comes) = (news.next().unwrap_or(true), news.next().unwrap_or(false));
        let ready = news.zip(&self.visitors).map(|(news, visitor)| news || visitor.is_pending()).collect();
        Ok(ControlWork { at, is_closed, somebody_comes, ready })
    }

    /// Takes one step with each who can go on; whose time was over when that was looked at has to go.
    fn attend(&mut self, todo: &ControlWork) {
        let Server { visitors, handler, steps, .. } = self;
        let mut ready = todo.ready.iter();
        visitors.retain_mut(|visitor| {
            if ready.next().is_some_and(|ready| *ready) {
                keep_pace(steps);
                if !visitor.go_on(|line| answer(handler, line)) {
                    return false;
                }
            }
            todo.at < visitor.deadline()
        });
    }

    /// Lets in those who wait, at most as many as there are places, so that those inside have their turn too.
    fn let_in(&mut self) {
        for _ in 0..MOST {
            match self.listener.accept() {
                Ok((stream, _)) => {
                    keep_pace(&mut self.steps);
                    if peer_is(self.user, &stream) {
                        self.welcome(stream);
                    }
                }
                Err(error) if error.kind() == ErrorKind::WouldBlock => return,
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(_) => return thread::sleep(PAUSE),
            }
        }
    }

    /// What one has said before it came in counts before anybody can need its place.
    fn welcome(&mut self, stream: Stream) {
        let Ok(mut visitor) = Visitor::new(stream, self.key.clone()) else { return };
        if !visitor.go_on(|line| answer(&self.handler, line)) {
            return;
        }
        if self.visitors.len() >= MOST {
            let silent = self.visitors.iter().enumerate().min_by_key(|(_, visitor)| visitor.since);
            if let Some((place, _)) = silent {
                let mut leaving = self.visitors.swap_remove(place);
                leaving.answer(&Answer::new(Outcome::Busy, TOO_MANY_ASK));
            }
        }
        self.visitors.push(visitor);
    }
}

/// Waits where there was too much of late.
fn keep_pace(steps: &mut TokenBucket) {
    loop {
        let now = Instant::now();
        if steps.take(now) {
            return;
        }
        thread::sleep(steps.wait(now));
    }
}

#[cfg(unix)]
fn own_user() -> u32 {
    rustix::process::geteuid().as_raw()
}

/// The key says who it is.
#[cfg(not(unix))]
fn own_user() -> u32 {
    0
}

/// Whether the process at the other end belongs to this user.
#[cfg(target_os = "linux")]
fn peer_is(user: u32, stream: &Stream) -> bool {
    rustix::net::sockopt::socket_peercred(stream).is_ok_and(|peer| peer.uid.as_raw() == user)
}

/// Elsewhere the folder's rights, or the key, keep others out.
#[cfg(not(target_os = "linux"))]
fn peer_is(_: u32, _: &Stream) -> bool {
    true
}

fn answer(handler: &RequestHandler, line: &[u8]) -> Answer {
    match serde_json::from_slice::<ControlRequest>(line) {
        Ok(request) if request.version == VERSION => handler.answer(CONTROL_SOCKET, request.ask),
        Ok(_) => {
            Answer::new(Outcome::Wrong, format!("This handspan speaks version {VERSION} of the control socket only."))
        }
        Err(error) => Answer::new(Outcome::Wrong, format!("This is no request ({error}).")),
    }
}

#[cfg(test)]
mod tests;
