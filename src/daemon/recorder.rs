//! The take: what the inputs played and what the outputs got, kept while it is played.
//!
//! A performance is a folder named by its date and time: `take.mid`, what came in and what was done to the set, which
//! `replay` plays again; and in `outputs`, one file for each output. The owner hands small records to a bounded
//! channel that nobody waits at, so that giving one costs no call into the system; a thread of its own looks several
//! times a second and writes about once a second.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};

use crate::engine::{Event, MarkerEvent, Plan};
use crate::map::{Gear, file_names};
use crate::midi::file::{GrowError, Growing, Store};
use crate::midi::tempo::{Division, TempoEvent, TempoKind};

/// A tick of a take, in microseconds. The owner's time runs in whole ticks, so a take plays again at exactly the
/// times at which it was played.
pub const TICK: u64 = 50;

/// A second has 20,000 ticks: at 120 beats a minute, what a file says without being asked, a quarter has 10,000.
const TICKS_IN_QUARTER: u16 = 10_000;
const TEMPO: u32 = TICKS_IN_QUARTER as u32 * TICK as u32;

/// Records that may wait for the recorder: what all inputs and outputs can say in several looks.
const RECORDS: usize = 32_768;

/// Bytes of a message in one record; a longer system exclusive message takes several.
const PART: usize = 16;

/// How often the recorder looks for records.
const LOOK: Duration = Duration::from_millis(200);

/// At every so many looks it writes: less than a second is lost to a kill.
const LOOKS: u32 = 4;

/// Whose message a record holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Input(usize),
    Output(usize),
}

#[derive(Debug)]
struct Record {
    at: u64,
    what: Recorded,
}

#[derive(Debug)]
enum Recorded {
    /// Part of a message; its last one, or more follow.
    Part {
        side: Side,
        bytes: [u8; PART],
        length: u8,
        more: bool,
    },
    /// What happened besides messages. What comes first begins the time of the take.
    Event(Event<'static>),
    Plan(Arc<Plan>),
    End,
}

/// The owner's end. Nothing here waits, allocates or calls the system; what does not fit is counted and left out of
/// the take.
#[derive(Debug)]
pub struct RecorderHandle {
    records: Sender<Record>,
    missing: Arc<AtomicU64>,
    /// Whether an output wants the clock that an input sends.
    clock: bool,
    /// The recorder looks once more when this is gone.
    _running: Sender<()>,
}

impl RecorderHandle {
    /// A whole message from an input at `now`, in microseconds. What changes nothing is not kept: many a keyboard says
    /// several times a second that it is there, or sends a clock that nobody asked for, and a file can hold either
    /// only in a form that not every reader knows.
    pub fn input(&self, now: u64, input: usize, bytes: &[u8]) {
        let matters = match bytes.first() {
            Some(0xF2 | 0xF8 | 0xFA..=0xFC) => self.clock,
            Some(0xF1 | 0xF4..=0xF6 | 0xF9 | 0xFD..) => false,
            _ => true,
        };
        if matters {
            self.message(now, Side::Input(input), bytes);
        }
    }

    /// A whole message that an output has taken; `at` is when it belongs, in microseconds, never less than before.
    pub fn output(&self, at: u64, output: usize, bytes: &[u8]) {
        self.message(at, Side::Output(output), bytes);
    }

    /// Something else that happened to the engine at `now`; messages are for [`RecorderHandle::input`]. What comes first begins the
    /// time of the take.
    pub fn event(&self, now: u64, event: Event<'_>) {
        match event.besides_messages() {
            None | Some(Event::Time) => {}
            Some(Event::Stop) => self.give(now, Recorded::End),
            Some(event) => self.give(now, Recorded::Event(event)),
        }
    }

    /// From here on the names are those of another plan.
    pub fn plan(&self, now: u64, plan: Arc<Plan>) {
        self.give(now, Recorded::Plan(plan));
    }

    fn message(&self, at: u64, side: Side, message: &[u8]) {
        let parts = message.len().div_ceil(PART);
        // Nobody else puts records in, so what is free now stays free: a message is there whole or not at all.
        if self.records.capacity().is_some_and(|all| all - self.records.len() < parts) {
            self.missing.fetch_add(1, Ordering::Relaxed);
            return;
        }
        for (number, part) in message.chunks(PART).enumerate() {
            let mut bytes = [0; PART];
            bytes[..part.len()].copy_from_slice(part);
            self.give(at, Recorded::Part { side, bytes, length: part.len() as u8, more: number + 1 < parts });
        }
    }

    fn give(&self, at: u64, what: Recorded) {
        if self.records.try_send(Record { at, what }).is_err() {
            self.missing.fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// A file of a take.
#[derive(Debug)]
pub struct TakeFile(File);

impl Store for TakeFile {
    fn write_at(&mut self, place: u64, bytes: &[u8]) -> io::Result<()> {
        use std::io::{Seek, SeekFrom, Write};
        self.0.seek(SeekFrom::Start(place))?;
        self.0.write_all(bytes)
    }

    fn settle(&mut self) -> io::Result<()> {
        self.0.sync_data()
    }
}

/// The recorder's end: what it keeps is in the files after [`Recorder::run`] looked.
#[derive(Debug)]
pub struct Recorder<S = TakeFile> {
    records: Receiver<Record>,
    running: Receiver<()>,
    missing: Arc<AtomicU64>,
    /// How many of the missing are already in the take.
    told_missing: u64,
    plan: Arc<Plan>,
    played: Growing<S>,
    outputs: Vec<Growing<S>>,
    /// The time of tick 0.
    origin: Option<u64>,
    last_tick: u64,
    /// Something was silenced, which may be before the set begins.
    silenced: bool,
    /// The input that played last.
    from: Option<usize>,
    /// A message whose last part has not come.
    begun: Vec<u8>,
    end: Option<u64>,
}

/// Begins a take in a new folder below `folder`, called `name` or like it where there is one of that name.
/// Returns the folder too.
///
/// # Errors
/// The folder or a file in it cannot be written.
pub fn begin(
    folder: &Path,
    name: &str,
    gear: &Gear,
    plan: Arc<Plan>,
) -> Result<(RecorderHandle, Recorder, PathBuf), GrowError> {
    let folder = new_folder(folder, name)?;
    let outputs = folder.join("outputs");
    fs::create_dir(&outputs)?;
    let file = |path: PathBuf| new_file(&path).map(TakeFile);
    let played = file(folder.join("take.mid"))?;
    let names = || gear.outputs.iter().map(|output| output.name.value.as_str());
    let files = file_names(names());
    let outputs: Result<Vec<_>, io::Error> =
        names().zip(files).map(|(name, plain)| Ok((name, file(outputs.join(format!("{plain}.mid")))?))).collect();
    let clock = gear.outputs.iter().any(|output| output.pass_clock);
    let (handle, recorder) = begin_in(played, outputs?, clock, plan)?;
    Ok((handle, recorder, folder))
}

fn new_folder(folder: &Path, name: &str) -> io::Result<PathBuf> {
    fs::create_dir_all(folder)?;
    for number in 1u32.. {
        let path = folder.join(if number == 1 { name.to_owned() } else { format!("{name} ({number})") });
        match fs::create_dir(&path) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            result => return result.map(|()| path),
        }
    }
    Err(io::ErrorKind::AlreadyExists.into())
}

/// A file for the user alone: what was played is nobody else's.
fn new_file(path: &Path) -> io::Result<File> {
    let mut options = File::options();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

fn begin_in<'a, S: Store>(
    played: S,
    outputs: impl IntoIterator<Item = (&'a str, S)>,
    clock: bool,
    plan: Arc<Plan>,
) -> Result<(RecorderHandle, Recorder<S>), GrowError> {
    let division = Division::quarter(TICKS_IN_QUARTER).ok_or(GrowError::Full)?;
    let tempo = TempoEvent { tick: 0, kind: TempoKind::Tempo(TEMPO) };
    let grow = |store, name: &str| Growing::begin(store, division, tempo, name);
    let (sender, records) = bounded(RECORDS);
    let (running_sender, running) = bounded(0);
    let missing = Arc::new(AtomicU64::new(0));
    let recorder = Recorder {
        records,
        running,
        missing: Arc::clone(&missing),
        told_missing: 0,
        plan,
        played: grow(played, "played")?,
        outputs: outputs.into_iter().map(|(name, store)| grow(store, name)).collect::<Result<_, _>>()?,
        origin: None,
        last_tick: 0,
        silenced: false,
        from: None,
        begun: Vec::new(),
        end: None,
    };
    Ok((RecorderHandle { records: sender, missing, clock, _running: running_sender }, recorder))
}

impl<S: Store> Recorder<S> {
    /// Records until the handle is gone; returns how many messages are missing.
    ///
    /// # Errors
    /// A file can no longer be written: what is in it stays readable, and nothing more is recorded.
    pub fn run(mut self) -> Result<u64, GrowError> {
        for look in 1u32.. {
            let ended = self.running.recv_timeout(LOOK) == Err(RecvTimeoutError::Disconnected);
            self.look();
            if ended || look % LOOKS == 0 {
                self.flush()?;
            }
            if ended {
                break;
            }
        }
        Ok(self.told_missing)
    }

    /// Takes in all records that wait.
    fn look(&mut self) {
        while let Ok(record) = self.records.try_recv() {
            self.keep(record);
        }
        let missing = self.missing.load(Ordering::Relaxed);
        if missing > self.told_missing {
            let count = missing - self.told_missing;
            self.told_missing = missing;
            self.played.marker(self.last_tick, format!("missing {count}: the recorder could not follow"));
        }
    }

    fn keep(&mut self, record: Record) {
        let origin = *self.origin.get_or_insert(record.at);
        let tick = (record.at.saturating_sub(origin) + TICK / 2) / TICK;
        self.last_tick = tick;
        match record.what {
            Recorded::Part { side, bytes, length, more } => {
                self.begun.extend_from_slice(bytes.get(..usize::from(length)).unwrap_or_default());
                if !more {
                    self.message(tick, side);
                    self.begun.clear();
                }
            }
            // A take begins with the set, unless what an earlier run left had to be silenced first.
            Recorded::Event(Event::Start { .. }) if !self.silenced => {}
            Recorded::Event(event) => self.event(tick, MarkerEvent::Happened(event)),
            Recorded::Plan(plan) => {
                self.plan = plan;
                self.played.marker(tick, "maps read again".to_owned());
            }
            Recorded::End => self.end = Some(tick),
        }
    }

    fn message(&mut self, tick: u64, side: Side) {
        match side {
            Side::Input(input) => {
                if self.plan.inputs() > 1 && self.from.replace(input) != Some(input) {
                    self.event(tick, MarkerEvent::From(input));
                }
                self.played.message(tick, &self.begun);
            }
            Side::Output(output) => {
                if let Some(file) = self.outputs.get_mut(output) {
                    file.message(tick, &self.begun);
                }
            }
        }
    }

    fn event(&mut self, tick: u64, event: MarkerEvent) {
        self.silenced |= matches!(event, MarkerEvent::Happened(Event::Silence(_)));
        self.played.marker(tick, event.words(&self.plan));
    }

    fn flush(&mut self) -> Result<(), GrowError> {
        let end = self.end.unwrap_or(0);
        self.played.flush(end)?;
        self.outputs.iter_mut().try_for_each(|output| output.flush(end))
    }
}

#[cfg(test)]
mod tests;
