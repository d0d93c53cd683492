//! Opens the stand, lets connections in, and answers their requests.

use std::io;
use std::net::{SocketAddr, TcpListener};
use std::path::Path;
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crossbeam_channel::bounded;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::time::timeout;

use super::auth::Auth;
use super::devices::Devices;
use super::hosts::Hosts;
use super::hub::{Ends, Hub, HubParts, Why};
use super::keyboard::PageKeyboard;
use super::limits::{self, Limits};
use super::publisher::Publisher;
use super::requests;
use super::salt::Salt;
use super::viewer;
use super::visit::Visit;
use super::worker;
use crate::daemon::give_way::give_way;
use crate::daemon::requests::{PageRequest, RequestHandler};
use crate::daemon::token_bucket::TokenBucket;
use crate::daemon::{Daemon, Show};
use crate::map::Stand;

/// So many ports are tried after the usual one.
const MORE_PORTS: u16 = 9;
/// The head of a request must be there in this time,
const HEAD: Duration = Duration::from_secs(5);
/// and a connection that becomes no live socket has ended after this.
const REQUESTS: Duration = Duration::from_secs(20);
/// The longest head in bytes.
const LONGEST_HEAD: usize = 16 << 10;
/// After a connection that could not be accepted.
const PAUSE: Duration = Duration::from_millis(100);
/// What the system keeps for one who reads slowly, in bytes.
#[cfg(unix)]
const SENDING: usize = 256 << 10;
/// At the end viewers get so long to hear of it.
const LAST_WORDS: Duration = Duration::from_millis(300);

/// Why there is no stand.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// Another program listens there.
    #[error("the stand cannot listen at {0}: another program does; end that one, or give the stand another port")]
    Taken(SocketAddr),
    /// Everybody in the network could control the set.
    #[error("the stand cannot listen at {0} without a passcode: everybody in the network could control the set")]
    NoPasscode(SocketAddr),
    /// The system says no.
    #[error("the stand cannot listen at {0} ({1})")]
    Refused(SocketAddr, io::Error),
    /// There is no thread to be had, or nothing random.
    #[error("the stand cannot begin ({0})")]
    NotBegun(#[from] io::Error),
}

/// An open stand; closed when dropped.
#[derive(Debug)]
pub struct Open {
    hub: Arc<Hub>,
    address: SocketAddr,
    threads: Vec<JoinHandle<()>>,
}

impl Open {
    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Does what is asked for about the page itself, for as long as it is open.
    pub fn requests(&self) -> impl Fn(PageRequest) + Send + Sync + 'static {
        let hub = Arc::clone(&self.hub);
        move |request| match request {
            PageRequest::ForgetWaits => hub.auth.forget_waits(),
            PageRequest::Disconnect => hub.disconnect_all(Why::Asked),
            PageRequest::Close => hub.close(),
        }
    }

    /// What a browser is told to open.
    #[must_use]
    pub fn link(&self) -> String {
        match self.hub.hosts.local_name().filter(|_| self.address.ip().is_unspecified()) {
            Some(name) => format!("http://{name}:{}/", self.address.port()),
            None => format!("http://{}/", self.address),
        }
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        self.hub.close();
        for thread in self.threads.drain(..) {
            let _ = thread.join();
        }
    }
}

/// What a stand is opened with.
#[derive(Debug, Clone, Copy)]
pub struct StandOptions<'a> {
    /// Where it listens, and who may do what.
    pub stand: &'a Stand,
    /// The file that keeps the devices that were let in; none where they are forgotten with the run. The salt of the
    /// passcodes is kept beside it.
    pub devices: Option<&'a Path>,
}

/// Opens the stand of a performance that does not run yet, on threads of its own; none where the gear wants none.
/// `handler` does what the pages ask for, `log` is given a line for who comes and goes.
///
/// # Errors
/// It cannot listen where it should, or the system gives no thread or no random bytes.
pub fn open(
    wanted: StandOptions<'_>,
    daemon: &mut Daemon,
    show: &Show,
    handler: Arc<RequestHandler>,
    log: impl Fn(&str) + Send + Sync + 'static,
) -> Result<Option<Open>, OpenError> {
    let StandOptions { stand, devices } = wanted;
    let Some(at) = stand.listen else { return Ok(None) };
    if stand.passcode.is_none() && stand.is_in_network() {
        return Err(OpenError::NoPasscode(at));
    }
    let listener = listen(at, stand.asked)?;
    let address = listener.local_addr()?;
    let input = stand.input.filter(|number| *number < show.book.gear.inputs.len());
    let salt = Salt::kept_in(devices.map(|devices| devices.with_file_name("salt.json")).as_deref())?;
    let observer = Arc::clone(handler.observer());
    let (jobs, asked) = bounded(viewer::JOBS);
    let (wake_publisher, wakes) = bounded(1);
    let hub = Arc::new(Hub::new(HubParts {
        name: observer.name().to_owned(),
        auth: Auth::new(stand, Devices::read(devices), salt),
        hosts: Hosts::of_system(),
        keyboard: PageKeyboard::new(handler.remote().clone(), &show.book.gear, input),
        jobs,
        wake_publisher,
        log: Box::new(log),
    }));
    let seen = (daemon.live_view(), Arc::clone(&observer));
    let publisher = Publisher::new(Arc::clone(&hub), seen, wakes, stand.input);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_io().enable_time().build()?;
    let (receiving, answering) = (Arc::clone(&hub), Arc::clone(&hub));
    let mut open = Open { hub, address, threads: Vec::new() };
    open.threads.push(begin("page", move || {
        runtime.block_on(receive(listener, &receiving));
        runtime.shutdown_background();
    })?);
    open.threads.push(begin("page-publisher", move || publisher.run())?);
    open.threads.push(begin("page-worker", move || worker::answer_all(&answering, &handler, &observer, &asked))?);
    Ok(Some(open))
}

/// A thread that gives way to the music, whatever comes in at the page.
fn begin(name: &str, run: impl FnOnce() + Send + 'static) -> io::Result<JoinHandle<()>> {
    thread::Builder::new().name(name.to_owned()).spawn(move || {
        give_way();
        run();
    })
}

fn listen(at: SocketAddr, asked: bool) -> Result<TcpListener, OpenError> {
    let more = if asked || at.port() == 0 { 0 } else { MORE_PORTS };
    for port in at.port()..=at.port().saturating_add(more) {
        let here = SocketAddr::new(at.ip(), port);
        match TcpListener::bind(here) {
            Ok(listener) => {
                listener.set_nonblocking(true).map_err(|error| OpenError::Refused(here, error))?;
                #[cfg(unix)]
                let _ = rustix::net::sockopt::set_socket_send_buffer_size(&listener, SENDING);
                return Ok(listener);
            }
            // Windows refuses ports that it reserves for itself.
            Err(error) if error.kind() == io::ErrorKind::AddrInUse => {}
            Err(error) if cfg!(windows) && error.kind() == io::ErrorKind::PermissionDenied => {}
            Err(error) => return Err(OpenError::Refused(here, error)),
        }
    }
    Err(OpenError::Taken(at))
}

/// Lets connections in until the end.
async fn receive(listener: TcpListener, hub: &Arc<Hub>) {
    let Ok(listener) = tokio::net::TcpListener::from_std(listener) else { return hub.close() };
    let limits = Limits::knowing(hub.auth.addresses());
    let mut pace = TokenBucket::new(limits::CONNECTIONS);
    let summing = tokio::spawn(sum_up(Arc::clone(hub)));
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            () = hub.closing.notified() => break,
        };
        let Ok((stream, peer)) = accepted else {
            // Without a file for one more, waiting is all that helps.
            tokio::time::sleep(PAUSE).await;
            continue;
        };
        while !pace.take(Instant::now()) {
            tokio::time::sleep(pace.wait(Instant::now())).await;
        }
        let Ok(at) = stream.local_addr() else { continue };
        let slot = limits.take(peer.ip());
        // A key that is drawn late is a key drawn wrong.
        let _ = stream.set_nodelay(true);
        let from = SocketAddr::new(peer.ip().to_canonical(), peer.port());
        let visit = Visit { hub: Arc::clone(hub), ends: Ends { from, at }, slot: Arc::new(slot) };
        tokio::spawn(serve(stream, visit));
    }
    let waiting = async {
        while hub.count() > 0 {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    };
    let _ = timeout(LAST_WORDS, waiting).await;
    summing.abort();
    hub.tell_sum();
}

/// Tells now and then of those that came and were not told one by one.
async fn sum_up(hub: Arc<Hub>) {
    loop {
        hub.arrivals.left_out.notified().await;
        tokio::time::sleep(hub.arrivals.wait(Instant::now())).await;
        hub.tell_sum();
    }
}

/// Answers the requests of one connection.
async fn serve(stream: tokio::net::TcpStream, visit: Visit) {
    let yields = Arc::clone(&visit.slot.yields);
    let service = service_fn(move |request| requests::answer(visit.clone(), request));
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(LONGEST_HEAD)
        .serve_connection(TokioIo::new(stream), service)
        .with_upgrades();
    tokio::select! {
        _ = timeout(REQUESTS, connection) => {}
        () = yields.notified() => {}
    }
}
