//! What the owner tells the others: each report holds what happened and what the engine knew then.
//!
//! The owner puts reports into a ring that one [`Observer`](super::observer::Observer) empties. Putting one in takes no
//! lock, wakes nobody and never waits; where the ring is full the report is lost, and that is counted.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use rtrb::{Consumer, Producer, RingBuffer};

use super::show::Show;
use crate::engine::{Counts, Notice, Snapshot};
use crate::ports::Connection;
use crate::wording::notices::Context;
use crate::wording::{changes, performance, ports};

/// Reports that may wait to be read.
const REPORTS: usize = 1024;

/// How long the last report waits for room.
const LAST_WAIT: Duration = Duration::from_secs(1);
/// How often it looks for room.
const LAST_LOOK: Duration = Duration::from_millis(5);

/// What was left when the performance ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ended {
    /// What the engine left out.
    pub counts: Counts,
    /// Messages that an output did not take.
    pub refused: u64,
    /// Reports that nobody read in time.
    pub reports_lost: u64,
}

/// What is wrong with saved maps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SavedFault {
    /// With its place and the line that is marked, as a terminal shows it: in several lines.
    pub drawn: String,
    /// In one line, with its place.
    pub line: String,
}

/// Something that happened in the performance, and what was known right after it.
#[derive(Debug, Clone)]
pub struct Report {
    /// When it happened.
    pub at: SystemTime,
    /// What was played then: the numbers in `snapshot` and `what` are its own.
    pub show: Arc<Show>,
    /// What the engine knew.
    pub snapshot: Snapshot,
    /// What happened.
    pub what: Happened,
}

impl Report {
    /// The sentence for what happened, the same for everybody; none where it says nothing by itself.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        let gear = &self.show.book.gear;
        let input = |number: &usize| gear.inputs.get(*number).map_or("?", |input| input.name.value.as_str());
        let output = |number: &usize| gear.outputs.get(*number).map_or("?", |output| output.name.value.as_str());
        Some(match &self.what {
            Happened::Noticed(notice) => return self.context().notice(*notice),
            Happened::InputDisconnected(number) => ports::input_lost(input(number)),
            Happened::InputBack(number) => ports::input_back(input(number)),
            Happened::OutputDisconnected(number) => ports::output_lost(output(number)),
            Happened::OutputBack(number) => ports::output_back(output(number)),
            Happened::InputHeld(number) => ports::held(input(number)),
            Happened::OutputHeld(number) => ports::held(output(number)),
            Happened::Silenced(number) => ports::silenced(output(number)),
            Happened::OutputRefused(number) => ports::refused(output(number)),
            Happened::Overrun => ports::OVERRUN.to_owned(),
            Happened::Rebuilt => performance::STARTED_AGAIN.to_owned(),
            Happened::Loaded => changes::LOADED.to_owned(),
            Happened::StandWaits => changes::STAND_WAITS.to_owned(),
            Happened::MapsRefused(_) => changes::REFUSED.to_owned(),
            Happened::MapsInOrder => changes::IN_ORDER.to_owned(),
            Happened::ChangesDropped(dropped) => changes::dropped(dropped.len()),
            Happened::Connections(_) | Happened::Ended(_) => return None,
        })
    }

    /// What the engine knew, and of which maps.
    pub(crate) fn context(&self) -> Context<'_> {
        Context { book: &self.show.book, plan: &self.show.plan, snapshot: &self.snapshot }
    }
}

/// What happened.
#[derive(Debug, Clone)]
pub enum Happened {
    /// The engine noticed something.
    Noticed(Notice),
    /// An input is gone; its notes have ended and its pedals are up.
    InputDisconnected(usize),
    /// An input is back.
    InputBack(usize),
    /// An output is gone, or nothing is connected to it any longer.
    OutputDisconnected(usize),
    /// An output is back, or something was connected to it; it has been set up.
    OutputBack(usize),
    /// An input's port is there and cannot be opened.
    InputHeld(usize),
    /// An output's port is there and cannot be opened.
    OutputHeld(usize),
    /// An output was silenced, because an earlier run ended unexpectedly and may have left notes there.
    Silenced(usize),
    /// Who is connected to our ports by others' doing, and who was and is away.
    Connections(Arc<Vec<Connection>>),
    /// The system lost messages on their way to us; all that was held has ended.
    Overrun,
    /// An output did not take a message.
    OutputRefused(usize),
    /// Saved or changed maps were loaded.
    Loaded,
    /// The gear file that was loaded serves the page elsewhere, or as another input, which holds from the next start on.
    StandWaits,
    /// Saved maps have errors, or ask for other ports; what was played goes on.
    MapsRefused(Arc<Vec<SavedFault>>),
    /// What was refused of the saved maps is mended, or is as it was before.
    MapsInOrder,
    /// Changes that were made to the set this evening, and that no longer fit the saved maps: each in a sentence.
    ChangesDropped(Arc<Vec<String>>),
    /// The engine failed and was built again: all notes ended, the set goes on where it stood.
    Rebuilt,
    /// The performance is over.
    Ended(Ended),
}

/// The owner's end of the reports.
#[derive(Debug)]
pub(super) struct ReportQueue {
    reports: Producer<Report>,
    lost: LostReports,
}

/// How many reports were lost because nobody read them in time.
#[derive(Debug, Clone, Default)]
pub(super) struct LostReports(Arc<AtomicU64>);

impl LostReports {
    pub fn add(&self) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }

    pub fn count(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }
}

impl ReportQueue {
    /// A queue, and where its reports come out.
    pub fn new(show: &Arc<Show>) -> (ReportQueue, Consumer<Report>) {
        let (mut reports, mut consumer) = RingBuffer::new(REPORTS);
        // Every slot is written once: the playing thread never waits for the system to give it the memory.
        let (at, snapshot) = (SystemTime::now(), Snapshot::default());
        let any = Report { at, show: Arc::clone(show), snapshot, what: Happened::Overrun };
        while reports.push(any.clone()).is_ok() {}
        while consumer.pop().is_ok() {}
        (ReportQueue { reports, lost: LostReports::default() }, consumer)
    }

    /// Leaves a report for the observer, or counts it as lost.
    pub fn publish(&mut self, report: Report) {
        if self.reports.push(report).is_err() {
            self.lost.add();
        }
    }

    /// The last report: nothing is played any longer, so this one waits a little for an observer that is behind.
    pub fn publish_last(&mut self, report: Report) {
        let deadline = Instant::now() + LAST_WAIT;
        while self.reports.is_full() && Instant::now() < deadline {
            thread::sleep(LAST_LOOK);
        }
        self.publish(report);
    }

    /// The count of lost reports, which the observer adds to as well.
    pub fn lost(&self) -> LostReports {
        self.lost.clone()
    }
}
