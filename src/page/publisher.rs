//! The publisher: a thread that waits for whatever changes, makes each frame once, and puts it where the viewers' connections send it
//! from. It never waits for a viewer, and the owner never waits for it.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::{Duration, Instant};

use axum::extract::ws::Utf8Bytes;
use crossbeam_channel::{Receiver, Select, TryRecvError};

use super::frames::{self, Frame, Hand, Next, ReceivedLine, Set, SongFrame, StateFrame, TroubleFrame};
use super::hub::{Hub, Viewer, Why};
use super::seen::SetPosition;
use super::trouble::Troubles;
use crate::daemon::observer::Observer;
use crate::daemon::repeats::Repeats;
use crate::daemon::{Happened, LiveView, Received, Report, Sent, Show};
use crate::engine::Notice;
use crate::wording::{self, page::OTHER_PASSCODES, received::Hearing};

/// How often it looks while somebody is connected: the owner does not wake it.
const REST: Duration = Duration::from_millis(5);
/// How often it looks for what nobody tells: the beat, counts, what grows old.
const LOOK: Duration = Duration::from_millis(100);
/// However much happens, the state is not told more often.
const CROWDED: Duration = Duration::from_millis(15);
/// How often it gives a sign of life.
const ALIVE: Duration = Duration::from_millis(250);
/// Messages of outputs in one frame.
const MOST_SAID: usize = 4096;
/// After a failure of its own.
const PAUSE: Duration = Duration::from_millis(500);

/// Makes the frames.
pub(super) struct Publisher {
    pub hub: Arc<Hub>,
    pub view: LiveView,
    pub observer: Arc<Observer>,
    pub reports: Receiver<Report>,
    pub wakes: Receiver<()>,
    /// The input that the page plays as.
    pub plays: Option<usize>,
    told: Told,
}

/// What the viewers know.
#[derive(Default)]
struct Told {
    troubles: Troubles,
    /// The set has to be told again, the song may.
    set_changed: bool,
    song_changed: bool,
    hand_changed: bool,
    /// The number of changes of keys and notes that were seen.
    changes: u64,
    /// Something happened that the state may tell of.
    happened: bool,
    stands: Option<StateFrame>,
    song: Option<SongFrame>,
    alive: Option<Instant>,
    looked: Option<Instant>,
    /// How many messages of outputs were left out until now.
    missed: u64,
    hears: bool,
    /// Somebody wants to see what inputs receive, and what was told of that.
    watches: bool,
    repeats: Repeats,
}

impl Told {
    /// How long it is from one look at the state to the next.
    fn between(&self) -> Duration {
        if self.happened { CROWDED } else { LOOK }
    }
}

impl Publisher {
    pub fn new(
        hub: Arc<Hub>,
        (view, observer): (LiveView, Arc<Observer>),
        wakes: Receiver<()>,
        plays: Option<usize>,
    ) -> Publisher {
        let reports = observer.listen();
        Publisher { hub, view, observer, reports, wakes, plays, told: Told::default() }
    }

    /// Publishes until the performance ends or the stand is closed. Should it fail, it begins again.
    pub fn run(mut self) {
        while !self.hub.is_closed() {
            let published = catch_unwind(AssertUnwindSafe(|| self.publish_until_the_end()));
            if published.is_ok() {
                break;
            }
            self.told = Told::default();
            self.hub.disconnect_all(Why::Slow);
            thread::sleep(PAUSE);
        }
        self.view.capture(false);
        self.hub.close();
    }

    fn publish_until_the_end(&mut self) {
        while !self.hub.is_closed() {
            self.wait();
            if !self.take_reports() {
                return;
            }
            let viewers = self.hub.all();
            let has_pending = self.hub.keyboard.flush();
            if viewers.is_empty() {
                self.told.stands = None;
                self.send_outputs(&viewers);
                self.send_received(&viewers);
                if has_pending {
                    thread::sleep(REST);
                    self.hub.wake();
                }
                continue;
            }
            self.welcome(&viewers);
            self.send_set_and_song(&viewers);
            self.send_hand(&viewers);
            self.send_outputs(&viewers);
            self.send_received(&viewers);
            self.send_state(&viewers);
            self.send_alive(&viewers);
        }
    }

    /// While nobody is connected it waits until something happens, else for a moment.
    fn wait(&mut self) {
        if self.hub.count() == 0 {
            let mut select = Select::new();
            select.recv(&self.reports);
            select.recv(&self.wakes);
            select.ready();
            while self.wakes.try_recv().is_ok() {}
        } else {
            let _ = self.wakes.recv_timeout(REST);
            self.observer.catch_up();
        }
        let changes = self.view.changes();
        self.told.hand_changed |= std::mem::replace(&mut self.told.changes, changes) != changes;
    }

    /// Hears what happened; whether the performance goes on.
    fn take_reports(&mut self) -> bool {
        loop {
            match self.reports.try_recv() {
                Err(TryRecvError::Disconnected) => return false,
                Err(TryRecvError::Empty) => return true,
                Ok(Report { what: Happened::Ended(_), .. }) => return false,
                Ok(report) => self.take_report(&report),
            }
        }
    }

    fn take_report(&mut self, report: &Report) {
        self.told.troubles.take_report(report, Instant::now());
        self.told.happened = true;
        match &report.what {
            Happened::Loaded => self.take_over(&report.show),
            Happened::Noticed(Notice::Song | Notice::Section | Notice::Key | Notice::Zone(..) | Notice::TakenOver)
            | Happened::Rebuilt => {
                self.told.song_changed = true;
                self.told.hand_changed = true;
            }
            _ => {}
        }
    }

    fn take_over(&mut self, show: &Show) {
        if self.hub.auth.take(&show.book.gear.stand) {
            // Who knows the old one only has to go.
            self.hub.disconnect_all(Why::Asked);
            (self.hub.log)(OTHER_PASSCODES);
        }
        self.told.set_changed = true;
        self.told.song_changed = true;
        self.hub.keyboard.retune(&show.book.gear);
    }

    /// Who is new gets everything.
    fn welcome(&mut self, viewers: &[Arc<Viewer>]) {
        if viewers.iter().any(|viewer| viewer.is_new.swap(false, Ordering::AcqRel)) {
            self.told.set_changed = true;
            self.told.song_changed = true;
            self.told.song = None;
            self.told.hand_changed = true;
            self.told.stands = None;
            self.told.looked = None;
        }
    }

    fn send_hand(&mut self, viewers: &[Arc<Viewer>]) {
        if !std::mem::take(&mut self.told.hand_changed) {
            return;
        }
        let (show, snapshot) = self.observer.snapshot();
        let hand = Hand::of(&self.view, &show, &snapshot, self.hub.now());
        send(viewers, &frames::text(&Frame::Hand(hand)));
    }

    /// What the outputs got goes to those who want to hear it.
    fn send_outputs(&mut self, viewers: &[Arc<Viewer>]) {
        let listeners: Vec<Arc<Viewer>> =
            viewers.iter().filter(|viewer| viewer.sound.load(Ordering::Relaxed)).cloned().collect();
        let wanted = !listeners.is_empty();
        if wanted != self.told.hears {
            self.told.hears = wanted;
            self.view.capture(wanted);
            self.told.missed = self.view.missed();
        }
        let new = listeners.iter().filter(|viewer| viewer.begins_to_hear.swap(false, Ordering::AcqRel));
        let new: Vec<Arc<Viewer>> = new.cloned().collect();
        if !new.is_empty() {
            self.send_so_far(&new);
        }
        let messages: Vec<(usize, Vec<u8>)> = self.view.sent(MOST_SAID).into_iter().map(said).collect();
        let missed = self.view.missed();
        let lost = std::mem::replace(&mut self.told.missed, missed) != missed;
        if wanted && (lost || !messages.is_empty()) {
            send(&listeners, &frames::text(&Frame::Sent { now: self.hub.now(), messages: &messages, lost }));
            if lost {
                self.send_so_far(&listeners);
            }
        }
    }

    /// What inputs receive goes to those who want to see it.
    fn send_received(&mut self, viewers: &[Arc<Viewer>]) {
        let watching = |viewer: &&Arc<Viewer>| viewer.watches.load(Ordering::Relaxed);
        let watchers: Vec<Arc<Viewer>> = viewers.iter().filter(watching).cloned().collect();
        let wanted = !watchers.is_empty();
        if wanted != self.told.watches {
            self.told.watches = wanted;
            self.told.repeats = Repeats::default();
            self.view.watch(wanted);
        }
        if !wanted {
            return;
        }
        let (now, (show, _)) = (Instant::now(), self.observer.snapshot());
        let mut line = |received: &Received| {
            let gear = &show.book.gear;
            let input = gear.inputs.get(received.input)?;
            let (name, hearing) = (&input.name.value, Hearing::of(gear, input));
            let words = wording::received::received(name, received.bytes(), &hearing)?;
            self.told.repeats.tells(received.input, received.bytes(), now)?;
            Some(ReceivedLine { words, when: wording::received::trigger(name, received.bytes(), &hearing) })
        };
        let lines: Vec<ReceivedLine> = self.view.received().iter().filter_map(&mut line).collect();
        if !lines.is_empty() {
            send(&watchers, &frames::text(&Frame::Received { now: self.hub.now(), lines: &lines }));
        }
    }

    /// What was set up before somebody began to hear, and what sounds.
    fn send_so_far(&self, viewers: &[Arc<Viewer>]) {
        let (show, _) = self.observer.snapshot();
        let places = (0..show.book.gear.outputs.len()).flat_map(|output| (0..16).map(move |channel| (output, channel)));
        let messages = places.flat_map(|(output, channel)| self.view.so_far(output, channel)).map(said);
        let messages: Vec<(usize, Vec<u8>)> = messages.collect();
        send(viewers, &frames::text(&Frame::Sent { now: self.hub.now(), messages: &messages, lost: false }));
    }

    fn send_set_and_song(&mut self, viewers: &[Arc<Viewer>]) {
        if !self.told.song_changed && !self.told.set_changed {
            return;
        }
        let (show, snapshot) = self.observer.snapshot();
        if std::mem::take(&mut self.told.set_changed) {
            send(viewers, &frames::text(&Frame::Set(Set::of(&show, self.plays))));
        }
        if std::mem::take(&mut self.told.song_changed) {
            let song = SongFrame::of(&show, &snapshot);
            if self.told.song.as_ref() != Some(&song) {
                let frame = Frame::Song(Box::new(song));
                send(viewers, &frames::text(&frame));
                if let Frame::Song(song) = frame {
                    self.told.song = Some(*song);
                }
            }
        }
    }

    fn send_state(&mut self, viewers: &[Arc<Viewer>]) {
        let now = Instant::now();
        if self.told.looked.is_some_and(|looked| now.duration_since(looked) < self.told.between()) {
            return;
        }
        self.told.looked = Some(now);
        self.told.happened = false;
        let state = self.observer.state();
        self.told.troubles.count_reports_lost(self.observer.reports_lost(), now);
        let trouble = self.told.troubles.last(now).map(|trouble| TroubleFrame {
            is: trouble.is,
            words: trouble.words.clone(),
            ago_ms: now.duration_since(trouble.since).as_millis() as u64,
        });
        let (show, snapshot) = self.observer.snapshot();
        let next = Next::of(&show, &snapshot);
        let stands = StateFrame { state, trouble, latency_us: self.view.latency(), viewers: viewers.len(), next };
        if self.told.stands.as_ref() == Some(&stands) {
            return;
        }
        let seen = self.hub.seen.show(SetPosition::of(&stands.state));
        send(viewers, &frames::text(&Frame::State { now: self.hub.now(), seen, stands: &stands }));
        self.told.stands = Some(stands);
    }

    fn send_alive(&mut self, viewers: &[Arc<Viewer>]) {
        if self.told.alive.is_none_or(|alive| alive.elapsed() >= ALIVE) {
            self.told.alive = Some(Instant::now());
            send(viewers, &frames::text(&Frame::Alive { now: self.hub.now() }));
        }
    }
}

/// Output and bytes of a message.
fn said(sent: Sent) -> (usize, Vec<u8>) {
    (sent.output, sent.bytes[..usize::from(sent.length).min(3)].to_vec())
}

fn send(viewers: &[Arc<Viewer>], frame: &Utf8Bytes) {
    viewers.iter().for_each(|viewer| viewer.send(frame));
}
