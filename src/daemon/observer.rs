//! The observer reads the owner's reports and makes them known: it says how the performance stands, keeps that for a
//! restart, tells the service manager, and hands every report on to those who listen.
//!
//! It rebuilds nothing: each report brings what the engine knew. The owner neither waits for it nor wakes it, so its
//! thread looks now and then; whoever wants to know more exactly makes it catch up first.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crossbeam_channel::{Receiver, bounded};
use jiff::ZonedDateTime;
use rtrb::Consumer;

use super::persist::Persist;
use super::report::LostReports;
use super::state::{CountState, EntryState, PortState, SetState, SongState, State, TracksState};
use super::supervisor::Supervisor;
use super::{Daemon, Happened, LiveView, Metrics, Report, Show};
use crate::engine::Snapshot;
use crate::evening::Keys;
use crate::ports::{Connection, Direction};
use crate::wording::notices::Context;

/// How often its thread looks for reports.
const LOOK: Duration = Duration::from_millis(20);
/// Reports that may wait for one who listens.
const REPORTS: usize = 1024;

/// Somebody who is handed every report. It must not wait.
type ReportListener = Box<dyn FnMut(&Report) + Send>;

/// Who knows how a performance stands.
pub struct Observer {
    name: String,
    since: String,
    metrics: Metrics,
    view: LiveView,
    lost: LostReports,
    seen: Mutex<PortsSeen>,
}

/// What was reported so far.
struct PortsSeen {
    reports: Consumer<Report>,
    listeners: Vec<ReportListener>,
    show: Arc<Show>,
    snapshot: Snapshot,
    /// Whether the set has begun, so that `snapshot` means something.
    begun: bool,
    inputs: Vec<bool>,
    outputs: Vec<bool>,
    connections: Option<Arc<Vec<Connection>>>,
    overruns: u64,
    /// Whether there were reports since the observer's thread looked last.
    is_news: bool,
    /// Whether the performance ended as it should.
    ended: bool,
    /// Whether the owner is gone, as it should or not.
    abandoned: bool,
}

/// What its thread does besides handing reports on.
#[derive(Default)]
pub struct Duties {
    /// Keeps how the performance stands for a restart.
    pub persist: Option<Persist>,
    /// Tells the service manager.
    pub supervisor: Option<Supervisor>,
}

impl Observer {
    /// Observes `daemon`, which must not run yet and plays `show`. There is one observer of a performance.
    ///
    /// # Errors
    /// It is observed already.
    pub fn new(daemon: &mut Daemon, show: &Arc<Show>, name: &str) -> Result<Arc<Observer>, AlreadyObserved> {
        let reports = daemon.unread.take().ok_or(AlreadyObserved)?;
        let gear = &show.book.gear;
        let connected = daemon.ports.connections();
        let is_known = daemon.ports.capabilities().knows_connections;
        let listened = |number: usize| {
            let name = gear.outputs.get(number).map(|output| output.name.value.as_str());
            connected.iter().any(|known| known.direction == Direction::Output && Some(known.port.as_str()) == name)
        };
        let outputs = gear.outputs.iter().enumerate().map(|(number, output)| match &output.port {
            Some(_) => daemon.ports.output_available(number),
            None => !is_known || listened(number),
        });
        let seen = PortsSeen {
            reports,
            listeners: Vec::new(),
            show: Arc::clone(show),
            snapshot: Snapshot::default(),
            begun: false,
            inputs: (0..gear.inputs.len()).map(|number| daemon.ports.input_connected(number)).collect(),
            outputs: outputs.collect(),
            connections: None,
            overruns: 0,
            is_news: false,
            ended: false,
            abandoned: false,
        };
        Ok(Arc::new(Observer {
            name: name.to_owned(),
            since: ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string(),
            metrics: daemon.metrics(),
            view: daemon.live_view(),
            lost: daemon.reports.lost(),
            seen: Mutex::new(seen),
        }))
    }

    /// Begins to look for reports on a thread of its own, which ends with the performance.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn begin(self: &Arc<Self>, mut duties: Duties) -> std::io::Result<JoinHandle<()>> {
        let observer = Arc::clone(self);
        thread::Builder::new().name("observer".to_owned()).spawn(move || {
            while !observer.attend(&mut duties) {
                thread::sleep(LOOK);
            }
            if let Some(supervisor) = duties.supervisor.take() {
                supervisor.stopping();
            }
        })
    }

    /// Looks once; whether the performance has ended. Files and the service manager are not waited for by anybody else.
    fn attend(&self, duties: &mut Duties) -> bool {
        let mut seen = self.caught_up();
        let (ended, is_over) = (seen.ended, seen.ended || seen.abandoned);
        let is_news = std::mem::take(&mut seen.is_news) && seen.begun;
        let (show, snapshot, connections) = (Arc::clone(&seen.show), seen.snapshot, seen.connections.clone());
        drop(seen);
        if is_news {
            if let Some(supervisor) = &mut duties.supervisor {
                let context = Context { book: &show.book, plan: &show.plan, snapshot: &snapshot };
                supervisor.stands(&context.title_line());
            }
            if let Some(persist) = &mut duties.persist {
                persist.save(&show, &snapshot, connections.as_deref(), ended);
            }
        }
        is_over
    }

    /// One more who is handed every report from now on, by the thread that reads it. It must not wait.
    pub fn tell(&self, listener: impl FnMut(&Report) + Send + 'static) {
        self.caught_up().listeners.push(Box::new(listener));
    }

    /// Reports from now on, in a bounded queue: what its reader does not fetch in time is lost, and counted.
    #[must_use]
    pub fn listen(&self) -> Receiver<Report> {
        let (sender, receiver) = bounded(REPORTS);
        let lost = self.lost.clone();
        self.tell(move |report| {
            if sender.try_send(report.clone()).is_err_and(|error| error.is_full()) {
                lost.add();
            }
        });
        receiver
    }

    /// Reads every report that was given by now, and hands it on.
    pub fn catch_up(&self) {
        drop(self.caught_up());
    }

    fn caught_up(&self) -> MutexGuard<'_, PortsSeen> {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let abandoned = seen.reports.is_abandoned();
        while let Ok(report) = seen.reports.pop() {
            seen.take_in(&report);
            seen.listeners.iter_mut().for_each(|listener| listener(&report));
        }
        seen.abandoned = abandoned;
        seen
    }

    /// The name that tells this performance from others.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What is played, and what the engine knows.
    #[must_use]
    pub fn snapshot(&self) -> (Arc<Show>, Snapshot) {
        let seen = self.caught_up();
        (Arc::clone(&seen.show), seen.snapshot)
    }

    /// How many reports were lost because nobody read them in time.
    #[must_use]
    pub fn reports_lost(&self) -> u64 {
        self.lost.count()
    }

    /// How it stands.
    #[must_use]
    pub fn state(&self) -> State {
        let seen = self.caught_up();
        let (show, snapshot) = (&seen.show, &seen.snapshot);
        let gear = &show.book.gear;
        let inputs = gear.inputs.iter().zip(&seen.inputs).map(|(input, connected)| PortState {
            name: input.name.value.clone(),
            port: Some(input.port.value.clone()),
            connected: *connected,
            optional: input.optional,
        });
        let outputs = gear.outputs.iter().zip(&seen.outputs).map(|(output, connected)| PortState {
            name: output.name.value.clone(),
            port: output.port.as_ref().map(|port| port.value.clone()),
            connected: *connected,
            optional: output.optional,
        });
        State {
            version: 1,
            name: self.name.clone(),
            running_since: self.since.clone(),
            set: SetState {
                title: show.book.set.title.clone(),
                file: show.book.sources.first().map(|set| set.path.clone()).unwrap_or_default(),
                entries: show.plan.entries(),
                unsaved: show.changes.iter().map(ToString::to_string).collect(),
            },
            entry: EntryState::of(show, &snapshot.standing),
            song: SongState::of(show, snapshot),
            drone: snapshot.drone,
            not_sent: snapshot.not_sent,
            next_song: snapshot.next_song.map(|entry| show.plan.title(entry).to_owned()),
            next_song_key: snapshot.next_song.and_then(|entry| Some(Keys::on_entering(&show.book, entry)?.to_string())),
            cues: snapshot.cues_on(&show.plan).filter_map(|cue| show.plan.cue_name(cue)).map(str::to_owned).collect(),
            tracks: self.metrics.position().map(|at| TracksState {
                running: at.running,
                bar: at.bar,
                beat: at.beat,
                tempo: at.tempo,
            }),
            tempo: self.metrics.tempo(),
            tempo_late_us: Some(self.metrics.late()).filter(|late| *late > 0),
            latency_us: self.view.latency(),
            inputs: inputs.collect(),
            outputs: outputs.collect(),
            counts: CountState {
                refused: self.metrics.refused(),
                dropped_overload: self.metrics.dropped_overload(),
                dropped: self.metrics.dropped(),
                overruns: seen.overruns,
                out_of_range: self.metrics.out_of_range(),
                not_understood: self.metrics.not_understood(),
                reports_lost: self.lost.count(),
            },
        }
    }
}

impl std::fmt::Debug for Observer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Observer").field("name", &self.name).field("since", &self.since).finish_non_exhaustive()
    }
}

/// A performance has one observer.
#[derive(Debug, thiserror::Error)]
#[error("the performance is observed already")]
pub struct AlreadyObserved;

impl PortsSeen {
    fn take_in(&mut self, report: &Report) {
        let set = |list: &mut Vec<bool>, number: &usize, there: bool| {
            list.get_mut(*number).into_iter().for_each(|known| *known = there);
        };
        self.is_news = true;
        self.show = Arc::clone(&report.show);
        self.snapshot = report.snapshot;
        match &report.what {
            Happened::Noticed(_) => self.begun = true,
            Happened::InputDisconnected(number) => set(&mut self.inputs, number, false),
            Happened::InputBack(number) => set(&mut self.inputs, number, true),
            Happened::OutputDisconnected(number) => set(&mut self.outputs, number, false),
            Happened::OutputBack(number) => set(&mut self.outputs, number, true),
            Happened::Connections(connections) => self.connections = Some(Arc::clone(connections)),
            Happened::Overrun => self.overruns += 1,
            Happened::Ended(_) => self.ended = true,
            _ => {}
        }
    }
}
