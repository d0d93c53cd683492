//! `handspan play`: the daemon, and what it tells.

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;
use crossterm::terminal::is_raw_mode_enabled;
use jiff::ZonedDateTime;

use super::console::Failure;
use super::log::Log;
use super::reach;
use super::teller::Teller;
use super::terminal::SingleKeys;
use super::{maps, page, practice, signals};
use crate::daemon::changes;
use crate::daemon::observer::{Duties, Observer};
use crate::daemon::persist::{self, Beginning, Persist, SavedState};
use crate::daemon::recorder::{self, Recorder, RecorderHandle};
use crate::daemon::requests::USUAL_NAME;
use crate::daemon::supervisor::Supervisor;
use crate::daemon::{self, Daemon, Happened, Instruction, Remote, Report, Show, reload};
use crate::engine::Plan;
use crate::map::{Book, Stand, clean_lines};
use crate::page::Open;
use crate::ports::{self, Backend, Connection, Ports};
use crate::wording::{self, actions, changes as maps_wording, performance};

/// Columns of a terminal that does not say how many it has, and the fewest that a keyboard can be drawn in.
const USUAL: usize = 100;
const NARROWEST: usize = 40;
/// How long those who tell and keep may take for the end.
const LAST_WORDS: Duration = Duration::from_secs(2);
/// Columns left of a keyboard, and one on its right.
const INDENT: usize = 8;

/// What the command line asks for.
pub(super) struct PlayOptions<'a> {
    /// The set's map.
    pub set: &'a str,
    /// What gives the ports; none where nothing is connected and the page is keyboard and loudspeaker.
    pub backend: Option<Backend>,
    pub log: Option<&'a Path>,
    pub take: Option<&'a Path>,
    /// What tells this performance from others beside it; none for the usual.
    pub name: Option<&'a str>,
}

pub(super) fn run(wanted: &PlayOptions<'_>) -> Result<(), Failure> {
    let book = maps::load_sound(wanted.set)?;
    // A rehearsal on the page must not overwrite where a performance stands.
    let state = wanted.backend.and_then(|_| persist::file_of(Path::new(wanted.set), wanted.name));
    let kept = state.as_deref().and_then(persist::read);
    let (show, lost) = with_changes(wanted.set, book, kept.as_ref());
    let show = Arc::new(show);
    let before = Before { state, kept, lost };
    let Some(file) = wanted.log else { return perform(wanted, show, before, None) };
    let (log, writing) = Log::begin(file, say_aside)?;
    let result = perform(wanted, show, before, Some(&log));
    if let Err(Failure::Wrong(words) | Failure::Failed(words)) = &result {
        log.words(&**words);
    }
    log.end();
    wait_for(&[writing]);
    result
}

/// What an earlier performance left.
struct Before {
    /// Where it is kept.
    state: Option<PathBuf>,
    kept: Option<SavedState>,
    /// Changes of its set that do not fit the maps any longer, each in a sentence.
    lost: Vec<String>,
}

/// The set, with the changes that were made and not saved in a performance that ended unexpectedly.
fn with_changes(set: &str, book: Book, kept: Option<&SavedState>) -> (Show, Vec<String>) {
    let wanted = kept.filter(|kept| !kept.ended_well).map_or(&[][..], |kept| &kept.changes);
    let changed = changes::load(set, maps::read, wanted);
    match changed.loaded.book {
        Some(book) if !wanted.is_empty() => (Show::changed(book, changed.changes), changed.dropped),
        _ => (Show::new(book), Vec::new()),
    }
}

fn perform(wanted: &PlayOptions<'_>, show: Arc<Show>, before: Before, log: Option<&Log>) -> Result<(), Failure> {
    let PlayOptions { set, backend, take, .. } = *wanted;
    let Before { state, kept, lost } = before;
    let name_lock = reach::name_lock(wanted.name, |words| print_lines(&[words]))?;
    let connections = kept.as_ref().map_or_else(Vec::new, |kept| kept.connections.clone());
    let ports = open_ports(wanted, &show, connections.clone())?;
    let beginning = Beginning::after(kept, &show);
    let mut opening = tonight(&show.book, backend.map(|_| ports.as_ref()));
    opening.extend(words_for(&beginning));
    opening.extend(lost.into_iter().map(|lost| format!("  {}", maps_wording::no_longer(&lost))));
    let (mut daemon, remote) = Daemon::new(&show, ports);
    let mut threads = Vec::new();
    if let Some(folder) = take {
        let (handle, recorder, words) = begin_take(folder, &show)?;
        daemon.record(handle);
        opening.push(words);
        let log = log.cloned();
        threads.extend(thread::Builder::new().name("take".to_owned()).spawn(move || record(recorder, log.as_ref())));
    }
    let observer = Observer::new(&mut daemon, &show, wanted.name.unwrap_or(USUAL_NAME))
        .map_err(|error| Failure::Failed(format!("{error}.")))?;
    let stand = &show.book.gear.stand;
    let (page, words) = page::open(&mut daemon, (&show, stand), (&remote, &observer), log);
    opening.extend(if backend.is_some() { words } else { page_alone(page.as_ref(), words, stand)? });
    log.iter().for_each(|log| log.words(performance::begins(env!("CARGO_PKG_VERSION"), set)));
    let keys = steer(&remote, log, &show)?;
    let duties = Duties {
        persist: backend.and_then(|_| persist(state, connections)),
        supervisor: {
            let waker = remote.clone();
            Supervisor::begin(daemon.heartbeat(), move || waker.wake())
        },
    };
    threads.extend(follow(&observer, duties, log).map_err(no_thread)?);
    let control =
        name_lock.and_then(|name_lock| reach::open(name_lock, (&observer, &remote), page.as_ref(), log, &mut opening));
    let watching = reload::watch(maps::read, remote);
    opening.extend(watching.as_ref().err().map(ToString::to_string));
    // Who reads it finds everything open.
    log.iter().for_each(|log| opening.iter().for_each(|line| log.words(line)));
    print_lines(&opening);
    daemon.run(&beginning);
    drop(control);
    drop(page);
    // They end with the last report.
    wait_for(&threads);
    drop(keys);
    Ok(())
}

/// Opens the system's ports, or where there is no back end some that lead to the page alone.
fn open_ports(wanted: &PlayOptions<'_>, show: &Show, remembered: Vec<Connection>) -> Result<Box<dyn Ports>, Failure> {
    let Some(backend) = wanted.backend else { return practice::ports(&show.book.gear) };
    let wish = ports::Wish { remembered, ..daemon::wish(&show.book.gear) };
    ports::open(backend, &wish).map_err(|error| {
        let instead = error.is_without_ports().then(|| wording::ports::without_ports(wanted.set));
        Failure::Wrong([error.to_string()].into_iter().chain(instead).collect::<Vec<_>>().join("\n"))
    })
}

/// Where to play, if nothing but the page can be played on.
fn page_alone(page: Option<&Open>, words: Vec<String>, stand: &Stand) -> Result<Vec<String>, Failure> {
    match page {
        Some(open) => Ok(page::words_for(&page::to_play_on(&open.link()), stand)),
        None => {
            let why = words.first().map_or(wording::page::OFF, |words| words.trim());
            Err(Failure::Failed(wording::page::needed_without_ports(&why)))
        }
    }
}

/// Lets signals and the terminal's keys steer the performance.
fn steer(remote: &Remote, log: Option<&Log>, show: &Show) -> Result<Option<SingleKeys>, Failure> {
    let (stopper, signalled) = (remote.clone(), log.cloned());
    signals::listen(move || {
        signalled.iter().for_each(|log| log.words(actions::asked(actions::SIGNAL, actions::STOP)));
        stopper.stop();
    })
    .map_err(|error| Failure::Failed(format!("signals cannot be listened to ({error}): start it again.")))?;
    let (pressed, plan) = (log.cloned(), Arc::clone(&show.plan));
    Ok(SingleKeys::begin(remote.clone(), move |command| {
        pressed.iter().for_each(|log| log.words(words_for_key(command, &plan)));
    }))
}

fn no_thread(error: std::io::Error) -> Failure {
    Failure::Failed(format!("the system gives no thread ({error}): start it again."))
}

/// Keeps where the set stands for a restart, where this system has a place for that.
fn persist(state: Option<PathBuf>, connections: Vec<Connection>) -> Option<Persist> {
    let Some(file) = state else {
        print_lines(&[performance::NOT_SAVED.into()]);
        return None;
    };
    Some(Persist::new(file, connections, |error| {
        print_lines(&[performance::cannot_save(error)]);
    }))
}

/// The threads that follow the performance: the observer, and who tells the terminal. The log is told too.
fn follow(observer: &Arc<Observer>, duties: Duties, log: Option<&Log>) -> std::io::Result<Vec<JoinHandle<()>>> {
    if let Some(log) = log.cloned() {
        observer.tell(move |report| log.report(report));
    }
    let reports = observer.listen();
    let teller = thread::Builder::new().name("teller".to_owned()).spawn(move || tell_all(&reports))?;
    Ok(vec![teller, observer.begin(duties)?])
}

/// Begins a take, named by the date and time of its beginning; the words say where it is.
fn begin_take(folder: &Path, show: &Show) -> Result<(RecorderHandle, Recorder, String), Failure> {
    let name = ZonedDateTime::now().strftime("%Y-%m-%d %H.%M.%S").to_string();
    let (handle, recorder, place) =
        recorder::begin(folder, &name, &show.book.gear, Arc::clone(&show.plan)).map_err(|error| {
            let folder = folder.display();
            Failure::Wrong(format!(
                "nothing can be recorded in {folder} ({error}): give --take a folder that you may write to."
            ))
        })?;
    Ok((handle, recorder, format!("  {}", performance::recorded_in(&place.display()))))
}

/// Records until the handle ends. What cannot be recorded is said once; the music goes on.
fn record(recorder: Recorder, log: Option<&Log>) {
    let words = match recorder.run() {
        Ok(0) => return,
        Ok(missing) => performance::take_incomplete(missing),
        Err(error) => performance::take_ended(&error),
    };
    say_aside(&words);
    log.iter().for_each(|log| log.words(&*words));
}

/// What a key of the terminal asks for, for the log.
fn words_for_key(command: Option<Instruction>, plan: &Plan) -> String {
    let what = match command {
        Some(Instruction::Action(action)) => action.words(plan),
        Some(Instruction::TurnZone(number)) => actions::turn_zone(number),
        None => actions::STOP.to_owned(),
    };
    actions::asked(actions::TERMINAL, &what)
}

/// Says something on the terminal from a thread beside the music.
fn say_aside(words: &str) {
    let _ = write!(std::io::stderr(), "{}{}", clean_lines(words), line_end());
}

/// Waits for threads to end, but not for ever: a terminal that was stopped or a disk may hold one up.
fn wait_for(threads: &[JoinHandle<()>]) {
    let patience = Instant::now() + LAST_WORDS;
    while threads.iter().any(|thread| !thread.is_finished()) && Instant::now() < patience {
        thread::sleep(Duration::from_millis(5));
    }
}

/// What the player is told of how the performance begins.
fn words_for(beginning: &Beginning) -> Option<String> {
    match beginning {
        Beginning::Afresh => None,
        Beginning::Changed(_) => Some(performance::BEGINS_AGAIN.to_owned()),
        Beginning::GoOn(_) => Some(performance::GOES_ON.to_owned()),
    }
}

/// What is played tonight, on which ports.
fn tonight(book: &Book, ports: Option<&dyn Ports>) -> Vec<String> {
    let mut lines = vec![performance::set(&book.set.title, book.set.entries.len())];
    let Some(ports) = ports else {
        let input = book.gear.stand.input.and_then(|number| book.gear.inputs.get(number));
        lines.push(format!("  {}", wording::ports::none_opened(input.map(|input| input.name.value.as_str()))));
        return lines;
    };
    let inputs = book.gear.inputs.iter().enumerate().map(|(number, input)| {
        wording::ports::input(&input.name.value, &input.port.value, ports.input_connected(number))
    });
    let outputs = book.gear.outputs.iter().enumerate().map(|(number, output)| match &output.port {
        None => wording::ports::own_output(&output.name.value, ports::CLIENT),
        Some(port) => wording::ports::output(&output.name.value, &port.value, ports.output_available(number)),
    });
    lines.extend(inputs.chain(outputs).map(|line| format!("  {line}")));
    lines
}

/// Puts reports into words until the last one. Columns for keyboards are taken from the terminal.
fn tell_all(reports: &Receiver<Report>) {
    // A serial line says that it has no columns at all.
    let columns = crossterm::terminal::size().map_or(0, |(columns, _)| usize::from(columns));
    let columns = if columns < NARROWEST { USUAL } else { columns };
    let drawn = std::io::stdout().is_terminal().then(|| columns - INDENT);
    let mut teller = Teller::drawing(drawn);
    for report in reports {
        print_lines(&teller.lines(&report));
        if matches!(report.what, Happened::Ended(_)) {
            break;
        }
    }
}

/// While the terminal gives single keys, it does not begin a new line at its left by itself.
fn line_end() -> &'static str {
    if is_raw_mode_enabled().unwrap_or(false) { "\r\n" } else { "\n" }
}

/// Prints lines at once; a reader that is gone is no reason to stop playing.
fn print_lines(lines: &[String]) {
    let line_end = line_end();
    let mut out = std::io::stdout().lock();
    for line in lines {
        let _ = write!(out, "{}{line_end}", clean_lines(line));
    }
    let _ = out.flush();
}
