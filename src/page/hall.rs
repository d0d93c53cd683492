//! What the threads of the stand share: who is here, who plays, and how the end is told.

use std::fmt;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use axum::extract::ws::Utf8Bytes;
use crossbeam_channel::Sender;
use tokio::sync::{Notify, mpsc};

use super::ask::Asked;
use super::door::Door;
use super::hands::Hands;
use super::hosts::Hosts;
use super::moved::Moved;

/// Frames that may wait for a viewer: more than the answers to all that it may say in a second. Who is further behind is
/// dropped.
const WAITING: usize = 512;

/// Shared by all threads of the stand.
pub(super) struct Hall {
    /// What the performance is called.
    pub name: String,
    pub began: Instant,
    pub door: Door,
    pub hosts: Hosts,
    pub hands: Hands,
    pub moved: Moved,
    /// What is asked for goes to the thread that answers.
    pub asks: Sender<Asked>,
    /// Wakes the lookout.
    pub bell: Sender<()>,
    /// A line for the log.
    pub log: Box<dyn Fn(&str) + Send + Sync>,
    /// Wakes the one who lets people in, at the end.
    pub closing: Notify,
    closed: AtomicBool,
    viewers: Mutex<Vec<Arc<Viewer>>>,
}

impl fmt::Debug for Hall {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Hall").field("began", &self.began).field("viewers", &self.viewers).finish_non_exhaustive()
    }
}

/// What the hall is made of.
pub(super) struct Parts {
    pub name: String,
    pub door: Door,
    pub hosts: Hosts,
    pub hands: Hands,
    pub asks: Sender<Asked>,
    pub bell: Sender<()>,
    pub log: Box<dyn Fn(&str) + Send + Sync>,
}

impl Hall {
    pub fn new(parts: Parts) -> Hall {
        let Parts { name, door, hosts, hands, asks, bell, log } = parts;
        Hall {
            name,
            began: Instant::now(),
            door,
            hosts,
            hands,
            moved: Moved::default(),
            asks,
            bell,
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

    /// One more, if there is room; what it is to be sent comes out of the receiver.
    pub fn join(&self, most: usize) -> Option<(Arc<Viewer>, mpsc::Receiver<Utf8Bytes>)> {
        let mut viewers = self.viewers();
        if viewers.len() >= most || self.is_closed() {
            return None;
        }
        let (queue, waiting) = mpsc::channel(WAITING);
        let viewer = Arc::new(Viewer {
            queue,
            gone: Notify::new(),
            is_gone: AtomicBool::new(false),
            sound: AtomicBool::new(false),
            hears_anew: AtomicBool::new(false),
            asking: AtomicUsize::new(0),
            is_new: AtomicBool::new(true),
        });
        viewers.push(Arc::clone(&viewer));
        drop(viewers);
        self.ring();
        Some((viewer, waiting))
    }

    /// One fewer.
    pub fn leave(&self, viewer: &Arc<Viewer>) {
        self.viewers().retain(|known| !Arc::ptr_eq(known, viewer));
        self.ring();
    }

    /// All who look now.
    pub fn all(&self) -> Vec<Arc<Viewer>> {
        self.viewers().clone()
    }

    /// Makes the lookout look.
    pub fn ring(&self) {
        // One that waits already says the same.
        let _ = self.bell.try_send(());
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
        self.all().iter().for_each(|viewer| viewer.drop_out());
        let _ = self.asks.try_send(Asked::End);
        self.ring();
    }
}

/// Somebody who was let in.
#[derive(Debug)]
pub(super) struct Viewer {
    queue: mpsc::Sender<Utf8Bytes>,
    /// Told when it is to go.
    pub gone: Notify,
    is_gone: AtomicBool,
    /// Whether it wants to hear.
    pub sound: AtomicBool,
    /// It has only just begun to hear, and must be told what was set up before.
    pub hears_anew: AtomicBool,
    /// How much it has asked for that is not answered yet.
    pub asking: AtomicUsize,
    /// Whether it has been shown nothing yet.
    pub is_new: AtomicBool,
}

impl Viewer {
    /// Puts a frame where it will be sent from. Nobody waits for one who does not read: it has to go.
    pub fn send(&self, frame: &Utf8Bytes) {
        if self.queue.try_send(frame.clone()).is_err() {
            self.drop_out();
        }
    }

    /// It has to go.
    pub fn drop_out(&self) {
        self.is_gone.store(true, Ordering::Release);
        self.gone.notify_one();
    }

    /// Whether it has to go.
    pub fn is_gone(&self) -> bool {
        self.is_gone.load(Ordering::Acquire)
    }
}
