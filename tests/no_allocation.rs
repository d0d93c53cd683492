//! Nothing on the playing path allocates: a hundred thousand events through the demo set, counted.

// The counters are const; what the macro makes of them on Windows is taken for something else.
#![cfg_attr(windows, allow(clippy::missing_const_for_thread_local))]

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::fs;
use std::io;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use handspan::daemon::observer::{Duties, Observer};
use handspan::daemon::persist::Beginning;
use handspan::daemon::{Daemon, Happened, Remote, Show, recorder, wish};
use handspan::engine::{Action, Engine, Event, MarkerEvent, Micros, Notice, Plain, Plan};
use handspan::map;
use handspan::midi::decode;
use handspan::midi::file::{self, TakeKind};
use handspan::ports::memory::{MemoryPorts, World};
use handspan::ports::{Arrival, Capabilities, Connection, Direction, Ports, SendFault, Waker};

/// Counts what the current thread asks for while it counts.
struct Counting;

thread_local! {
    static COUNTING: Cell<bool> = const { Cell::new(false) };
    static COUNT: Cell<usize> = const { Cell::new(0) };
}

fn note() {
    // A thread that is ending has no counters any more, and nothing to count.
    let _ = COUNTING.try_with(|counting| {
        if counting.get() {
            let _ = COUNT.try_with(|count| count.set(count.get() + 1));
        }
    });
}

// SAFETY: every call is handed on unchanged to the system's allocator, which keeps the contract; counting touches
// only thread-local cells without destructors and allocates nothing.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        note();
        // SAFETY: the caller keeps the contract of `alloc`, which is the same here.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        note();
        // SAFETY: the pointer came from `System.alloc` with this layout, as all of ours do.
        unsafe { System.dealloc(pointer, layout) }
    }

    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        note();
        // SAFETY: as for `dealloc`, and the caller vouches for the size.
        unsafe { System.realloc(pointer, layout, size) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

fn counted(work: impl FnOnce()) -> usize {
    COUNT.set(0);
    COUNTING.set(true);
    work();
    COUNTING.set(false);
    COUNT.get()
}

#[test]
fn a_hundred_thousand_events_allocate_nothing() {
    let loaded = map::load("maps/midwinter.toml", &mut |path| fs::read(path));
    let book = loaded.book.expect("the demo loads");
    let take = file::read(&fs::read("maps/takes/whole-set.mid").expect("the take")).expect("a take");
    let plan = Arc::new(Plan::new(&book));
    let other =
        ["zone grand off", "zone grand on", "resend-sounds", "resend-messages", "raise-key", "tonights-key", "panic"];
    let other: Vec<Action> = other.iter().map(|text| Action::parse(text, &plan).expect("an action")).collect();
    let marked: Vec<Option<Action>> = take
        .events
        .iter()
        .map(|event| match &event.kind {
            TakeKind::Marker(text) => match MarkerEvent::parse(text, &plan).expect("a known marker") {
                MarkerEvent::Happened(Event::Action(action)) => Some(action),
                other => panic!("{other:?}"),
            },
            TakeKind::Message(_) => None,
        })
        .collect();
    let mut engine = Engine::new(Arc::clone(&plan));
    let mut out = engine.out();
    let mut events = 0;
    let mut messages = 0;
    let mut start = 0;
    let allocations = counted(|| {
        engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(0), &mut out);
        while events < 100_000 {
            for (event, action) in take.events.iter().zip(&marked) {
                let step = match (&event.kind, action) {
                    (_, Some(action)) => Event::Action(*action),
                    (TakeKind::Message(bytes), None) => match decode(bytes) {
                        Ok(message) => Event::Message { input: events / 7 % 2, message },
                        Err(_) => Event::Time,
                    },
                    (TakeKind::Marker(_), None) => Event::Time,
                };
                out.clear();
                engine.step(step, Micros(start + event.at), &mut out);
                messages += out.said().count();
                events += 1;
                if events % 997 == 0 {
                    out.clear();
                    engine.step(Event::Action(other[events % other.len()]), Micros(start + event.at), &mut out);
                    engine.step(Event::OutputBack(events % 4), Micros(start + event.at), &mut out);
                }
            }
            start += take.end;
            out.clear();
            engine.step(Event::InputLost(0), Micros(start), &mut out);
        }
        out.clear();
        engine.step(Event::Stop, Micros(start), &mut out);
    });
    assert!(messages > 100_000, "the set was played: {messages} messages");
    assert_eq!(allocations, 0, "in {events} events");
}

/// Two songs that help one hand in every way.
const HANDS: [(&str, &str); 4] = [
    (
        "set.toml",
        "title = \"Hands\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"pads.toml\"\n[[song]]\nmap = \"chords.toml\"\n",
    ),
    (
        "gear.toml",
        "[inputs.keyboard]\nport = \"piano\"\n[outputs.pad]\nvirtual = true\n[sounds.a]\noutput = \"pad\"\nchannel = 1\n\
         [sounds.b]\noutput = \"pad\"\nchannel = 2\n[sounds.c]\noutput = \"pad\"\nchannel = 3\n\
         [sounds.d]\noutput = \"pad\"\nchannel = 4\n[sounds.e]\noutput = \"pad\"\nchannel = 5\n",
    ),
    (
        "pads.toml",
        "title = \"Pads\"\nkey = \"D\"\nplay_in = \"C\"\n[[zone]]\nsound = \"a\"\nplays = \"root-fifth\"\nlinger = \"next\"\nfade_ms = 300\n\
         [[zone]]\nsound = \"b\"\nplays = \"chord\"\nwithin = [\"C3\", \"C5\"]\nmin_keys = 2\n[[zone]]\nsound = \"c\"\nplays = \"lowest\"\n\
         [[zone]]\nsound = \"d\"\nstay_in_key = \"nearest\"\nlinger = \"next\"\nvelocity_by = \"handful\"\nvelocity = [60, 127]\n\
         [[section]]\nname = \"Verse\"\nchords = \"D | A7/C#\"\n[[section]]\nname = \"Chorus\"\nkey = \"E\"\n\
         [drone]\nsound = \"e\"\ndegrees = [1, 5]\noctave = 3\nfade_ms = 200\n",
    ),
    (
        "chords.toml",
        "title = \"Chords\"\nkey = \"Am\"\n[[zone]]\nsound = \"a\"\none_key_chord = true\n[[zone]]\nsound = \"b\"\none_key_chord = true\n\
         linger = \"next\"\nwithin = [\"C3\", \"B3\"]\n[[zone]]\nsound = \"c\"\nlinger = \"toggle\"\nfade_ms = 100\n[[zone]]\nsound = \"d\"\n\
         stay_in_key = \"silent\"\nplays = \"root\"\n[fingers]\n\"C\" = \"F/A\"\n[drone]\nsound = \"e\"\ndegrees = [1]\noctave = 2\n",
    ),
];

#[test]
fn hands_that_are_helped_allocate_nothing() {
    let mut read = |path: &str| {
        let file = HANDS.iter().find(|(name, _)| *name == path);
        file.map(|(_, text)| text.as_bytes().to_vec()).ok_or_else(|| io::ErrorKind::NotFound.into())
    };
    let book = map::load("set.toml", &mut read).book.expect("a sound set");
    let plan = Arc::new(Plan::new(&book));
    let other = [
        "drone on",
        "raise-key",
        "drone",
        "fade 300",
        "next-section",
        "next-song",
        "drone off",
        "previous-song",
        "panic",
    ];
    let other: Vec<Action> = other.iter().map(|text| Action::parse(text, &plan).expect("an action")).collect();
    let mut engine = Engine::new(Arc::clone(&plan));
    let mut out = engine.out();
    let mut messages = 0;
    let mut called = 0;
    let allocations = counted(|| {
        let (mut now, mut random) = (0, 1u32);
        let mut wanted =
            engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(now), &mut out).map(|wanted| wanted.0);
        for event in 0..100_000 {
            // Knuth's linear congruential generator, for keys and times as good as any.
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let until = now + u64::from(random >> 8) % 60_000;
            while let Some(due) = wanted.filter(|due| *due <= until) {
                out.clear();
                wanted = engine.step(Event::Time, Micros(due), &mut out).map(|wanted| wanted.0);
                messages += out.said().count();
                called += 1;
            }
            now = until;
            let status = if random >> 30 < 2 { 0x90 } else { 0x80 };
            let bytes = [status, 48 + (random >> 20) as u8 % 24, 1 + (random >> 16) as u8 % 127];
            let step = match decode(&bytes) {
                _ if event % 97 == 0 => Event::Action(other[event / 97 % other.len()]),
                _ if event % 1009 == 0 => Event::OutputBack(0),
                _ if event % 4999 == 0 => Event::InputLost(0),
                Ok(message) => Event::Message { input: 0, message },
                Err(_) => Event::Time,
            };
            out.clear();
            wanted = engine.step(step, Micros(now), &mut out).map(|wanted| wanted.0);
            messages += out.said().count();
        }
        out.clear();
        engine.step(Event::Stop, Micros(now), &mut out);
    });
    assert!(messages > 100_000 && called > 10_000, "much was played: {messages} messages, {called} calls");
    assert_eq!(allocations, 0);
}

/// A set that is full of cues: of a keyboard, and of a tracks player whose port gets our clock and what it must not get back.
fn cued_gear() -> String {
    let mut gear =
        "[inputs.keyboard]\nport = \"piano\"\nplay = true\n[inputs.tracks]\nport = \"tracks\"\nplay = false\n\
         [outputs.pad]\nvirtual = true\npass_clock = true\npass_sysex = true\n[outputs.tracks]\nport = \"tracks\"\nsend_clock = true\n\
         [sounds.a]\noutput = \"pad\"\nchannel = 1\n"
            .to_owned();
    let send = "do = \"send\"\nto = \"tracks\"\nmessage = { program = 3, channel = 1 }";
    let stands = "do = \"send\"\nto = \"pad\"\nmessage = { control = [20, 127], channel = 2 }\n\
         off = { note = [60, 90], channel = 2, length_ms = 80 }\nname = \"talkback\"";
    let held = format!("{stands}\nwhile_down = true");
    for (when, does) in [
        ("\"keyboard\", note = 50", "do = \"tap\""),
        ("\"keyboard\", note = 51, press = \"double\"", "do = \"next-song\""),
        ("\"keyboard\", note = 51, press = \"long\"", "do = \"previous-song\""),
        ("\"keyboard\", note = 52", held.as_str()),
        ("\"keyboard\", note = 53, press = \"either\"", stands),
        ("\"keyboard\", control = 64", "do = \"next-section\""),
        ("\"keyboard\", control = 64, press = \"double\"", "do = \"line-up\"\nsong = 2"),
        ("\"keyboard\", control = 67, press = \"long\"", "do = \"panic\""),
        ("\"keyboard\", control = 67, reversed = true", "do = \"resend-sounds\""),
        ("\"tracks\", program = \"any\"", "do = \"song\"\nsong = \"received\""),
        ("\"tracks\", program = \"any\"", send),
        ("\"tracks\", song_select = \"any\"", "do = \"line-up\"\nsong = \"received\""),
        ("\"tracks\", clock = \"start\"", "do = \"from-the-top\""),
        ("\"tracks\", transport = \"play\"", "do = \"zone\"\nzone = \"a\""),
    ] {
        gear += &format!("[[cue]]\nwhen = {{ input = {when} }}\n{does}\n");
    }
    gear
}

/// A song of that set, with cues of its own.
fn cued_song(tempo: &str) -> String {
    format!(
        "title = \"Snow\"\nkey = \"C\"\n{tempo}on_entering = [{{ to = \"tracks\", message = {{ song_select = 2 }} }}]\n\
         [[zone]]\nsound = \"a\"\n[[section]]\nname = \"Verse\"\n[[section]]\nname = \"Last\"\n\
         [[cue]]\nwhen = {{ input = \"keyboard\", note = 54, press = \"double\" }}\ndo = \"raise-key\"\n\
         [[cue]]\nwhen = {{ input = \"keyboard\", control = 64 }}\ndo = \"send\"\nto = \"pad\"\n\
         message = {{ transport = \"stop\" }}\noff = {{ bytes = \"F0 7E 7F 09 01 F7\" }}\n"
    )
}

#[test]
fn cues_and_clocks_allocate_nothing() {
    let mut read = |path: &str| {
        Ok(match path {
            "set.toml" => {
                "title = \"Cues\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"1.toml\"\n[[song]]\nmap = \"2.toml\"\n"
                    .to_owned()
            }
            "gear.toml" => cued_gear(),
            "1.toml" => cued_song("tempo = 133\n"),
            _ => cued_song(""),
        }
        .into_bytes())
    };
    let loaded = map::load("set.toml", &mut read);
    let faults: Vec<String> = loaded.diagnostics.iter().map(|fault| fault.render(&loaded.sources, false)).collect();
    let book = loaded.book.unwrap_or_else(|| panic!("a sound set, but {}", faults.join("\n")));
    let plan = Arc::new(Plan::new(&book));
    let mut engine = Engine::new(Arc::clone(&plan));
    let mut out = engine.out();
    let play = [0xF0, 0x7F, 0x7F, 0x06, 0x02, 0xF7];
    // Ticks, songs, cues that stood on, loops, positions of the tracks.
    let mut met = [0usize; 5];
    let allocations = counted(|| {
        let (mut now, mut random) = (0, 1u32);
        let mut wanted =
            engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(now), &mut out).map(|wanted| wanted.0);
        for event in 0..100_000 {
            random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let until = now + u64::from(random >> 8) % 150_000;
            while let Some(due) = wanted.filter(|due| *due <= until) {
                out.clear();
                wanted = engine.step(Event::Time, Micros(due), &mut out).map(|wanted| wanted.0);
                met[0] += out.said().filter(|said| said.bytes == [0xF8]).count();
            }
            now = until;
            let (which, value) = (random >> 28, (random >> 16) as u8 & 127);
            let down = random >> 24 & 1 == 1;
            let [key, pedal] = [50 + value % 6, [64, 67][usize::from(value) % 2]];
            let short = match which {
                0..=4 => [if down { 0x90 } else { 0x80 }, key, 90],
                5..=8 => [0xB0, pedal, if down { 127 } else { 0 }],
                9 => [0xC0, value % 3, 0],
                10 => [0xF3, value % 3, 0],
                11 => [0xF2, value, 1],
                12 => [[0xFA, 0xFB, 0xFC, 0xF8][usize::from(value) % 4], 0, 0],
                _ => [0xF8, 0, 0],
            };
            let length = [1, 2, 3][usize::from(which < 12) + usize::from(which < 9 || which == 11)];
            let bytes = if which == 15 { &play[..] } else { &short[..length] };
            let input = usize::from(which > 8);
            let step = match decode(bytes) {
                _ if event % 997 == 0 => Event::InputLost(event % 2),
                _ if event % 997 == 1 => Event::InputBack((event + 1) % 2),
                Ok(message) => Event::Message { input, message },
                Err(_) => Event::Time,
            };
            out.clear();
            wanted = engine.step(step, Micros(now), &mut out).map(|wanted| wanted.0);
            met[0] += out.said().filter(|said| said.bytes == [0xF8]).count();
            for notice in out.notices() {
                match notice {
                    Notice::Song => met[1] += 1,
                    Notice::Cue(_, true) => met[2] += 1,
                    Notice::Loop(_) => met[3] += 1,
                    _ => {}
                }
            }
            met[4] += usize::from(engine.position().is_some_and(|position| position.running));
            if event % 5003 == 0 {
                // A machine that answers at once, again and again.
                for answer in 0..12 {
                    now += 20_000;
                    out.clear();
                    if let Ok(message) = decode(&[0xC0, answer % 2]) {
                        wanted = engine
                            .step(Event::Message { input: 1, message }, Micros(now), &mut out)
                            .map(|wanted| wanted.0);
                    }
                    met[3] += out.notices().iter().filter(|notice| matches!(notice, Notice::Loop(_))).count();
                }
            }
        }
        out.clear();
        engine.step(Event::Stop, Micros(now), &mut out);
    });
    assert!(
        met.iter().zip([10_000, 1_000, 1_000, 5, 1_000]).all(|(met, least)| *met >= least),
        "much was met: {met:?}"
    );
    assert_eq!(allocations, 0);
    assert_eq!(engine.cues_on().count(), 0);
}

#[test]
fn to_record_allocates_nothing_even_where_nobody_takes_the_records() {
    let loaded = map::load("maps/midwinter.toml", &mut |path| fs::read(path));
    let book = loaded.book.expect("the demo loads");
    let plan = Arc::new(Plan::new(&book));
    let folder = tempfile::tempdir().expect("a folder");
    let begun = handspan::daemon::recorder::begin(folder.path(), "tonight", &book.gear, Arc::clone(&plan));
    let (handle, _recorder, _) = begun.expect("a take");
    let exclusive = [&[0xF0][..], &[1; 500], &[0xF7]].concat();
    let allocations = counted(|| {
        handle.event(0, Event::Start { entry: 0, order_step: 0 });
        for now in 0..20_000 {
            handle.input(now, 0, &[0x90, 60, 100]);
            handle.output(now, 0, &[0x90, 60, 100]);
            handle.event(now, Event::Action(Action::Plain(Plain::NextSection)));
            handle.input(now, 0, &exclusive);
            handle.plan(now, Arc::clone(&plan));
        }
    });
    assert_eq!(allocations, 0);
}

#[test]
fn the_count_counts() {
    let allocations = counted(|| drop(std::hint::black_box(vec![1u8; 100])));
    assert_eq!(allocations, 2, "one to take the memory, one to give it back");
}

/// Ports in memory that play a list of messages and take everything; between the first and the last message they count
/// what the thread that waits at them asks for.
struct CountedPorts {
    inner: MemoryPorts,
    messages: Vec<[u8; 3]>,
    next: usize,
    /// So many messages come before the counting: the first of everything may need memory.
    warm_up: usize,
    sent: usize,
    count: Arc<AtomicUsize>,
    stop: Arc<OnceLock<Remote>>,
}

impl Ports for CountedPorts {
    fn wait(&mut self, _: Option<Duration>) -> Arrival<'_> {
        if self.next == self.warm_up {
            COUNT.set(0);
            COUNTING.set(true);
        }
        if self.next == self.messages.len() {
            COUNTING.set(false);
            self.count.store(COUNT.get(), Ordering::Release);
            self.stop.get().expect("a remote").stop();
            return Arrival::Woken;
        }
        self.next += 1;
        Arrival::Message { input: 0, bytes: &self.messages[self.next - 1] }
    }

    fn send(&mut self, _: usize, _: &[u8]) -> Result<(), SendFault> {
        self.sent += 1;
        Ok(())
    }

    fn waker(&self) -> Waker {
        self.inner.waker()
    }

    fn input_connected(&self, input: usize) -> bool {
        self.inner.input_connected(input)
    }

    fn output_available(&self, _: usize) -> bool {
        true
    }

    fn connections(&self) -> Vec<Connection> {
        Vec::new()
    }

    fn dropped_overload(&self) -> u64 {
        0
    }

    fn dropped(&self) -> u64 {
        0
    }

    fn capabilities(&self) -> Capabilities {
        self.inner.capabilities()
    }
}

/// Plays some thousand messages through the owner's whole loop, with a recorder and a listening page's live view; what
/// the owner's thread asked for meanwhile.
fn owners_loop(messages: Vec<[u8; 3]>, warm_up: usize) -> usize {
    let book = map::load("maps/midwinter.toml", &mut |path| fs::read(path)).book.expect("the demo loads");
    let show = Arc::new(Show::new(book));
    let world = World::default();
    world.plug(Direction::Input, "stage piano", "stage piano", None);
    let inner = world.open(&wish(&show.book.gear)).expect("ports");
    let (count, stop) = (Arc::new(AtomicUsize::new(usize::MAX)), Arc::new(OnceLock::new()));
    let ports =
        CountedPorts { inner, messages, next: 0, warm_up, sent: 0, count: Arc::clone(&count), stop: Arc::clone(&stop) };
    let (mut daemon, remote) = Daemon::new(&show, Box::new(ports));
    assert!(stop.set(remote).is_ok());
    let observer = Observer::new(&mut daemon, &show, "choir").expect("one observer");
    let reports = observer.listen();
    let folder = tempfile::tempdir().expect("a folder");
    let (handle, recorder, _) =
        recorder::begin(folder.path(), "take", &show.book.gear, Arc::clone(&show.plan)).expect("a take");
    daemon.record(handle);
    daemon.live_view().capture(true);
    let writing = std::thread::spawn(move || recorder.run());
    let watching = observer.begin(Duties::default()).expect("a thread");
    daemon.run(&Beginning::Afresh);
    assert!(watching.join().is_ok() && writing.join().is_ok());
    assert!(reports.try_iter().any(|report| matches!(report.what, Happened::Noticed(_))), "somebody listened");
    count.load(Ordering::Acquire)
}

#[test]
fn the_owners_loop_allocates_nothing_while_it_is_recorded_and_watched() {
    let chord = [60, 64, 67].into_iter();
    let round: Vec<[u8; 3]> = [[0xB0, 64, 127], [0xB0, 1, 40]]
        .into_iter()
        .chain(chord.clone().map(|key| [0x90, key, 80]))
        .chain([[0xE0, 0, 70], [0xB0, 64, 0], [0xE0, 0, 64]])
        .chain(chord.map(|key| [0x80, key, 64]))
        .collect();
    let messages: Vec<[u8; 3]> = round.iter().copied().cycle().take(round.len() * 500).collect();
    assert_eq!(owners_loop(messages, round.len() * 20), 0);
}
