//! What the threads of the page share: the registry of viewers, who plays, and how the end is told.

use std::fmt;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Instant;

use axum::extract::ws::Utf8Bytes;
use crossbeam_channel::Sender;
use tokio::sync::{Notify, mpsc};

use super::arrivals::Arrivals;
use super::auth::{Auth, Rights};
use super::hosts::Hosts;
use super::keyboard::PageKeyboard;
use super::messages::Do;
use super::names::{PageName, PageNames};
use super::seen::Seen;
use crate::wording::page::more_came;

/// Frames that may wait for a viewer: more than the answers to all that it may say in a second. Who is further behind is
/// dropped.
const WAITING: usize = 512;

/// Why somebody has to go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Why {
    Left,
    Form,
    TooMany,
    Slow,
    Silent,
    /// Somebody who can control came, and there was no other place.
    Yields,
    /// It has to say the passcode again.
    Asked,
    End,
}

/// Where a connection comes from and at which address it came in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ends {
    pub from: SocketAddr,
    pub at: SocketAddr,
}

/// Something to do.
#[derive(Debug)]
pub(super) enum Job {
    /// For somebody who may.
    Do(Arc<Viewer>, Do),
    /// Nothing more comes.
    End,
}

/// Shared by all threads of the page.
pub(super) struct Hub {
    /// What the performance is called.
    pub name: String,
    pub began: Instant,
    pub auth: Auth,
    pub hosts: Hosts,
    pub names: PageNames,
    /// What is told of those who come and go.
    pub arrivals: Arrivals,
    pub keyboard: PageKeyboard,
    pub seen: Seen,
    /// What is asked for goes to the thread that answers.
    pub jobs: Sender<Job>,
    /// Wakes the publisher.
    pub wake_publisher: Sender<()>,
    /// A line for the log.
    pub log: Box<dyn Fn(&str) + Send + Sync>,
    /// Wakes the one who lets people in, at the end.
    pub closing: Notify,
    closed: AtomicBool,
    viewers: Mutex<Vec<Arc<Viewer>>>,
}

impl fmt::Debug for Hub {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Hub").field("began", &self.began).field("viewers", &self.viewers).finish_non_exhaustive()
    }
}

/// What the hub is made of.
pub(super) struct HubParts {
    pub name: String,
    pub auth: Auth,
    pub hosts: Hosts,
    pub keyboard: PageKeyboard,
    pub jobs: Sender<Job>,
    pub wake_publisher: Sender<()>,
    pub log: Box<dyn Fn(&str) + Send + Sync>,
}

impl Hub {
    pub fn new(parts: HubParts) -> Hub {
        let HubParts { name, auth, hosts, keyboard, jobs, wake_publisher, log } = parts;
        Hub {
            name,
            began: Instant::now(),
            auth,
            hosts,
            names: PageNames::default(),
            arrivals: Arrivals::default(),
            keyboard,
            seen: Seen::default(),
            jobs,
            wake_publisher,
            log,
            closing: Notify::new(),
            closed: AtomicBool::new(false),
            viewers: Mutex::new(Vec::new()),
        }
    }

    /// Milliseconds since the stand was opened.
    pub fn now(&self) -> u64 {
        self.began.elapsed().as_millis() as u64
    }

    fn viewers(&self) -> MutexGuard<'_, Vec<Arc<Viewer>>> {
        self.viewers.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many look.
    pub fn count(&self) -> usize {
        self.viewers().len()
    }

    /// One more, if there is room; what it is to be sent comes out of the receiver. For one who can control, the last
    /// one who came to view makes room.
    pub fn join(
        &self,
        most: usize,
        name: PageName,
        ends: Ends,
        rights: Rights,
    ) -> Option<(Arc<Viewer>, mpsc::Receiver<Utf8Bytes>)> {
        let mut viewers = self.viewers();
        if self.is_closed() {
            return None;
        }
        if viewers.len() >= most {
            let controls = rights == Rights::Control;
            let yields = viewers.iter().rposition(|viewer| controls && viewer.rights == Rights::View)?;
            viewers.remove(yields).drop_out(Why::Yields);
        }
        let (queue, waiting) = mpsc::channel(WAITING);
        let viewer = Arc::new(Viewer {
            name,
            ends,
            rights,
            queue,
            gone: Notify::new(),
            why: OnceLock::new(),
            sound: AtomicBool::new(false),
            watches: AtomicBool::new(false),
            begins_to_hear: AtomicBool::new(false),
            asking: AtomicUsize::new(0),
            is_new: AtomicBool::new(true),
        });
        viewers.push(Arc::clone(&viewer));
        drop(viewers);
        self.wake();
        Some((viewer, waiting))
    }

    /// One fewer.
    pub fn leave(&self, viewer: &Arc<Viewer>) {
        self.viewers().retain(|known| !Arc::ptr_eq(known, viewer));
        self.wake();
    }

    /// All who look now.
    pub fn all(&self) -> Vec<Arc<Viewer>> {
        self.viewers().clone()
    }

    /// Tells how many came that were not told one by one.
    pub fn tell_sum(&self) {
        self.arrivals.sum().iter().for_each(|(pages, wrong)| (self.log)(&more_came(*pages, *wrong)));
    }

    /// All have to go.
    pub fn disconnect_all(&self, why: Why) {
        self.all().iter().for_each(|viewer| viewer.drop_out(why));
    }

    /// Makes the publisher look.
    pub fn wake(&self) {
        // One that waits already says the same.
        let _ = self.wake_publisher.try_send(());
    }

    /// Whether the stand is closed.
    pub fn is_closed(&self) -> bool {
        self.closed.load(Ordering::Acquire)
    }

    /// Ends it for all.
    pub fn close(&self) {
        if self.closed.swap(true, Ordering::AcqRel) {
            return;
        }
        self.closing.notify_one();
        self.disconnect_all(Why::End);
        let _ = self.jobs.try_send(Job::End);
        self.wake();
    }
}

/// Somebody who was let in.
#[derive(Debug)]
pub(super) struct Viewer {
    /// What it is called.
    pub name: PageName,
    /// Where it is.
    pub ends: Ends,
    /// What it may do.
    pub rights: Rights,
    queue: mpsc::Sender<Utf8Bytes>,
    /// Told when it is to go.
    pub gone: Notify,
    why: OnceLock<Why>,
    /// Whether it wants to hear.
    pub sound: AtomicBool,
    /// It has only just begun to hear, and must be told what was set up before and what sounds.
    pub begins_to_hear: AtomicBool,
    /// Whether it wants to see what inputs receive.
    pub watches: AtomicBool,
    /// How much it has asked for that is not answered yet.
    pub asking: AtomicUsize,
    /// Whether it has been shown nothing yet.
    pub is_new: AtomicBool,
}

impl Viewer {
    /// Puts a frame where it will be sent from. Nobody waits for one who does not read: it has to go.
    pub fn send(&self, frame: &Utf8Bytes) {
        if self.queue.try_send(frame.clone()).is_err() {
            self.drop_out(Why::Slow);
        }
    }

    /// It has to go; the first reason counts.
    pub fn drop_out(&self, why: Why) {
        let _ = self.why.set(why);
        self.gone.notify_one();
    }

    /// Why it has to go, if it has.
    pub fn is_gone(&self) -> Option<Why> {
        self.why.get().copied()
    }
}
