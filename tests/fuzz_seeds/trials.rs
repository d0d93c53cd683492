//! What any bytes must be able to go through without harm: the fuzz targets and the test of the kept seeds call the
//! same functions. Each panics where a promise is broken, and is silent otherwise.

#[path = "../properties/listener.rs"]
mod listener;

use std::io;
use std::ops::Range;
use std::sync::{Arc, LazyLock};

use handspan::check::findings;
use handspan::engine::script::Script;
use handspan::engine::{Action, Cause, CueId, Engine, Event, MarkerEvent, Micros, Out, Plan, Rehearsal, Successor};
use handspan::evening::MOST_INPUTS;
use handspan::map::{Book, Diagnostic, Level, Loaded, Source, Trigger, load};
use handspan::midi::file::{LONGEST_TAKE, Take, TakeKind, Writer, read};
use handspan::midi::stream::Stream;
use handspan::midi::words;
use handspan::midi::{U7, decode, machine_control};
use handspan::music::{Key, note};
use listener::Listener;

/// Maps that a trial's own bytes leave out, as in `tests/diagnostics`.
const PLAIN: [(&str, &str); 3] = [
    ("set.toml", "title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n"),
    (
        "gear.toml",
        "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\n\
         channel = 1\n[curves]\ngentle = { lighter = 26 }\n",
    ),
    ("song.toml", "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n"),
];

/// The demo set.
const DEMO: [(&str, &str); 12] = [
    ("midwinter.toml", include_str!("../../maps/midwinter.toml")),
    ("gear.toml", include_str!("../../maps/gear.toml")),
    ("songs/candle-by-candle.toml", include_str!("../../maps/songs/candle-by-candle.toml")),
    ("songs/carry-the-light.toml", include_str!("../../maps/songs/carry-the-light.toml")),
    ("songs/ferry-at-first-light.toml", include_str!("../../maps/songs/ferry-at-first-light.toml")),
    ("songs/frost-on-the-window.toml", include_str!("../../maps/songs/frost-on-the-window.toml")),
    ("songs/home-before-the-thaw.toml", include_str!("../../maps/songs/home-before-the-thaw.toml")),
    ("songs/lamplighters-lullaby.toml", include_str!("../../maps/songs/lamplighters-lullaby.toml")),
    ("songs/long-night-round.toml", include_str!("../../maps/songs/long-night-round.toml")),
    ("songs/millers-lantern.toml", include_str!("../../maps/songs/millers-lantern.toml")),
    ("songs/nine-bells.toml", include_str!("../../maps/songs/nine-bells.toml")),
    ("songs/weir-gate.toml", include_str!("../../maps/songs/weir-gate.toml")),
];

/// Cues that are added to the demo's gear, of all kinds.
const CUES: &str = include_str!("cues.toml");

/// The demo set as it is, but for more cues, and as somebody saves it while it is played.
static DEMO_BOOKS: LazyLock<[Book; 2]> = LazyLock::new(|| {
    let edits = [("early_ms = 30", "early_ms = 0"), ("\"grand\"", "\"harp\""), ("key = \"Eb\"", "key = \"D\"")];
    let edited = |text: &str| edits.iter().fold(text.to_owned(), |text, (from, to)| text.replace(from, to));
    let book = |edit: &dyn Fn(&str) -> String| {
        let mut read = |path: &str| {
            let file = DEMO.iter().find(|(name, _)| *name == path);
            let more = if path == "gear.toml" { CUES } else { "" };
            file.map(|(_, text)| (edit(text) + more).into_bytes()).ok_or_else(|| io::ErrorKind::NotFound.into())
        };
        load("midwinter.toml", &mut read).book.expect("the demo set loads")
    };
    [book(&str::to_owned), book(&edited)]
});

static DEMO_PLAN: LazyLock<Arc<Plan>> = LazyLock::new(|| Arc::new(Plan::new(&DEMO_BOOKS[0])));

/// Several map files under headings `--- NAME`, as the cases of `tests/diagnostics`: they load or are refused with
/// diagnostics that can be shown; what loads can be checked, compiled and played.
pub fn map(bytes: &[u8]) {
    let files = parts(bytes);
    let mut read = |path: &str| {
        let own = files.iter().find(|(name, _)| *name == path.as_bytes()).map(|(_, text)| *text);
        let plain = || PLAIN.iter().find(|(name, _)| *name == path).map(|(_, text)| text.as_bytes());
        own.or_else(plain).map(<[u8]>::to_vec).ok_or_else(|| io::ErrorKind::NotFound.into())
    };
    let Loaded { book, sources, diagnostics } = load("set.toml", &mut read);
    assert_eq!(book.is_none(), diagnostics.iter().any(|fault| fault.level == Level::Error));
    diagnostics.iter().for_each(|fault| show(fault, &sources));
    if let Some(book) = book {
        findings(&book).iter().for_each(|finding| show(finding, &book.sources));
        // The room of the active notes is by rule inputs times zones: large, but no fault. Fuzzing looks elsewhere.
        let most = book.songs.iter().map(|song| song.zones.len()).max().unwrap_or(0);
        if most * book.gear.inputs.len() <= 256 {
            play_through(&book);
        }
    }
}

/// The parts of a case; what stands before the first heading is a remark.
fn parts(bytes: &[u8]) -> Vec<(&[u8], &[u8])> {
    let mut parts: Vec<(&[u8], Range<usize>)> = Vec::new();
    let mut at = 0;
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        at += line.len();
        match line.strip_prefix(b"--- ") {
            Some(name) => parts.push((name.trim_ascii_end(), at..at)),
            None => parts.iter_mut().next_back().into_iter().for_each(|(_, text)| text.end = at),
        }
    }
    parts.into_iter().map(|(name, text)| (name, &bytes[text])).collect()
}

fn show(fault: &Diagnostic, sources: &[Source]) {
    assert!(!fault.title.is_empty());
    for spot in fault.spot.iter().chain(fault.also.iter().map(|(spot, _)| spot)) {
        let text = &sources[spot.file].text;
        assert!(spot.start <= spot.end && spot.end <= text.len(), "{fault:?} lies outside its file");
    }
    assert!(!fault.render(sources, true).is_empty());
    let plain = fault.render(sources, false);
    assert!(plain.chars().all(|c| c == '\n' || !c.is_control()), "disturbs a terminal: {plain:?}");
    serde_json::to_string(&fault.listed(sources)).expect("a diagnostic for programs");
}

/// An engine with somebody who listens to it.
struct Stage {
    engine: Engine,
    out: Out,
    listener: Listener,
    now: u64,
}

impl Stage {
    fn new(plan: &Arc<Plan>) -> Stage {
        let engine = Engine::new(Arc::clone(plan));
        let out = engine.out();
        let mut stage = Stage { engine, out, listener: Listener::default(), now: 0 };
        stage.step(Event::Start { entry: 0, order_step: 0 });
        stage
    }

    fn step(&mut self, event: Event<'_>) {
        self.out.clear();
        let wanted = self.engine.step(event, Micros(self.now), &mut self.out).map(|wanted| wanted.0);
        assert!(wanted.is_none_or(|wanted| wanted > self.now), "what is due has run");
        self.listener.hear(&self.out);
    }

    fn message(&mut self, input: usize, bytes: &[u8]) {
        let message = decode(bytes).expect("one whole message");
        self.step(Event::Message { input, message });
    }

    /// Does what the words say, if this set knows them.
    fn act(&mut self, words: &str) {
        if let Ok(action) = Action::parse(words, self.engine.plan()) {
            self.step(Event::Action(action));
        }
    }

    /// A saved set comes into force.
    fn take_over(&mut self, book: &Book) {
        let plan = Plan::after(book, self.engine.plan());
        let mut successor = Successor::new(self.engine.plan(), plan);
        self.out.clear();
        self.engine.make_way(&successor, Micros(self.now), &mut self.out);
        let wanted = self.engine.take_over(&mut successor, Micros(self.now), &mut self.out).map(|wanted| wanted.0);
        assert!(wanted.is_none_or(|wanted| wanted > self.now), "what is due has run");
        self.listener.hear(&self.out);
    }

    /// Another engine goes on where this one was killed.
    fn go_on_after_a_kill(&mut self) {
        let standing = self.engine.standing();
        let cues: Vec<CueId> = self.engine.cues_on().collect();
        self.listener.lose_sender();
        self.engine = Engine::new(Arc::clone(self.engine.plan()));
        for output in 0..DEMO_BOOKS[0].gear.outputs.len() {
            self.step(Event::Silence(output));
        }
        self.step(Event::Resume(standing));
        self.listener.assert_at_rest();
        cues.into_iter().for_each(|cue| self.step(Event::CloseCue(cue)));
        assert_eq!(self.engine.cues_on().count(), 0, "a cue is on");
    }

    fn stop(mut self) {
        self.step(Event::Stop);
        assert_eq!(self.engine.sounding(), 0);
        assert_eq!(self.engine.cues_on().count(), 0, "a cue is on");
        self.listener.assert_at_rest();
    }
}

/// A few keys, a pedal and a bend, held over every entry and section of a set.
fn play_through(book: &Book) {
    let mut stage = Stage::new(&Arc::new(Plan::new(book)));
    for _ in 0..book.set.entries.len().min(20) {
        for input in 0..book.gear.inputs.len() {
            for (key, velocity) in [(0, 1), (59, 64), (60, 127), (72, 20), (127, 100)] {
                stage.message(input, &[0x90, key, velocity]);
            }
            stage.message(input, &[0xB0, 64, 90]);
            stage.message(input, &[0xE0, 3, 100]);
            stage.now += 20_000;
            stage.message(input, &[0x80, 60, 10]);
            // By now what the handful derives is decided.
            stage.now += 180_000;
            stage.step(Event::Time);
        }
        hit_cues(&mut stage, book);
        stage.act("drone on");
        for action in [
            "raise-key",
            "next-section",
            "section Chorus",
            "resend-sounds",
            "fade 100",
            "next-section",
            "resend-messages",
        ] {
            stage.act(action);
            stage.now += 15_000;
        }
        stage.message(0, &[0x80, 59, 10]);
        stage.act("next-song");
    }
    stage.stop();
}

/// What fires each cue of the gear and of all songs, whichever are in use; some are still down afterwards.
fn hit_cues(stage: &mut Stage, book: &Book) {
    let cues = book.gear.cues.iter().chain(book.songs.iter().flat_map(|song| &song.cues));
    for cue in cues.take(64) {
        let input = book.gear.inputs.iter().position(|input| input.name.value == cue.when.input.value);
        let Some(input) = input.filter(|input| *input < MOST_INPUTS) else { continue };
        let channel = cue.when.trigger.channel().map_or(0, |channel| channel.index());
        let number = |number: Option<U7>| number.map_or(1, u8::from);
        match cue.when.trigger {
            Trigger::Key { key, .. } => {
                for status in [0x90, 0x80, 0x90] {
                    stage.message(input, &[status | channel, key, 64]);
                    stage.now += 100_000;
                }
            }
            Trigger::Control { number, .. } => {
                for value in [127, 0, 64, 40, 100] {
                    stage.message(input, &[0xB0 | channel, number.into(), value]);
                    stage.now += 100_000;
                }
            }
            Trigger::Program { program, .. } => stage.message(input, &[0xC0 | channel, number(program)]),
            Trigger::SongSelect(song) => stage.message(input, &[0xF3, number(song)]),
            Trigger::Clock(_) => [0xFA, 0xF8, 0xFB, 0xFC].iter().for_each(|status| stage.message(input, &[*status])),
            Trigger::Transport(transport) => stage.message(input, &transport.bytes()),
        }
        stage.now += 30_000;
    }
}

/// A standard MIDI file: it is read or refused; what is read is in order, is read again from what is written of it,
/// and can be rehearsed with the demo set.
pub fn file(bytes: &[u8]) {
    let Ok(take) = read(bytes) else { return };
    assert!(take.end <= LONGEST_TAKE);
    for pair in take.events.windows(2) {
        assert!(pair[0].tick <= pair[1].tick && pair[0].at <= pair[1].at, "events out of order");
    }
    assert!(take.events.last().is_none_or(|last| last.tick <= take.end_tick && last.at <= take.end));
    assert_eq!(read(&written(&take)).as_ref(), Ok(&take), "read again, it is another take");
    let rehearsal = Rehearsal::new(&DEMO_PLAN, &take, 0, 0);
    let mut listener = Listener::default();
    for step in &rehearsal.steps {
        step.said.iter().for_each(|line| listener.hear_one(line.tick, line.output, &line.bytes));
    }
    listener.assert_at_rest();
    assert_eq!(rehearsal.steps.last().map(|step| step.cause), Some(Cause::End));
    // A marker that only says who plays makes no step.
    let turns = take.events.iter().filter(|event| match &event.kind {
        TakeKind::Marker(text) => matches!(MarkerEvent::parse(text, &DEMO_PLAN), Ok(MarkerEvent::From(_))),
        TakeKind::Message(_) => false,
    });
    let told = rehearsal.steps.len() + rehearsal.unknown_markers.len() + turns.count();
    assert_eq!(told, take.events.len() + 2, "an event is lost");
}

/// A take as a file of format 0.
fn written(take: &Take) -> Vec<u8> {
    let mut writer = Writer::new(take.division);
    take.tempo.iter().for_each(|event| writer.tempo(*event));
    for event in &take.events {
        match &event.kind {
            TakeKind::Message(bytes) => writer.message(event.tick, bytes),
            TakeKind::Marker(text) => writer.marker(event.tick, text),
        }
    }
    writer.finish(take.end_tick).expect("no larger than what was read")
}

/// Actions that the bytes of [`bytes`] can ask for.
const ACTIONS: [&str; 24] = [
    "next-song",
    "previous-song",
    "song 1",
    "song 3",
    "song 5",
    "song 6",
    "song 7",
    "song 8",
    "from-the-top",
    "next-section",
    "previous-section",
    "section Chorus",
    "section Verse",
    "section Last chorus",
    "raise-key",
    "lower-key",
    "key Eb",
    "tonights-key",
    "zone bed",
    "zone quint",
    "zone strings",
    "resend-messages",
    "resend-sounds",
    "panic",
];

/// Actions on held notes, which came to be later than the numbers of those above; and later still
/// those on the tempo and the next song.
const RINGING: [&str; 4] = ["drone", "drone on", "drone off", "fade 300"];
const DIRECTING: [&str; 4] = ["tap", "tap", "line-up 3", "line-up 8"];

/// Bytes as a cable brings them, played on the demo set. Status bytes that MIDI 1.0 leaves undefined, and which
/// nobody hears, direct the rest: F9 and FD let 7 and 350 ms pass, F5 turns to the other input, and after F4 comes a
/// byte that says what else happens.
pub fn bytes(bytes: &[u8]) {
    let mut stage = Stage::new(&DEMO_PLAN);
    let mut streams = [Stream::new(), Stream::new()];
    let mut input = 0;
    let mut bytes = bytes.iter();
    // A new engine costs as much as thousands of bytes.
    let mut engines = 0..8;
    while let Some(byte) = bytes.next() {
        if let Some(message) = streams[input].push(*byte) {
            stage.message(input, message);
        }
        match byte {
            0xF9 => stage.now += 7_000,
            0xFD => stage.now += 350_000,
            0xF5 => input = 1 - input,
            0xF4 => match bytes.next().copied().unwrap_or(0) {
                200..=215 => {
                    // A cable comes out: what is half there will never be whole.
                    streams[input].reset();
                    stage.step(Event::InputLost(input));
                }
                216..=231 => {
                    (0..2).for_each(|lost| stage.step(Event::InputLost(lost)));
                    stage.step(Event::Time);
                }
                output @ 232..=239 => stage.step(Event::OutputBack(usize::from(output) % 5)),
                output @ 240..=247 => stage.step(Event::OutputJoined(usize::from(output) % 5)),
                input @ 188..=191 => stage.step(Event::InputBack(usize::from(input) % 2)),
                action @ 192..=195 => stage.act(DIRECTING[usize::from(action) % 4]),
                action @ 196..=199 => stage.act(RINGING[usize::from(action) % 4]),
                248.. if engines.next().is_none() => {}
                save @ 248..=251 => stage.take_over(&DEMO_BOOKS[usize::from(save) % 2]),
                252.. => {
                    stage.go_on_after_a_kill();
                    streams.iter_mut().for_each(Stream::reset);
                }
                action => stage.act(ACTIONS[usize::from(action) % ACTIONS.len()]),
            },
            _ => {}
        }
    }
    stage.stop();
}

/// Text: a script, and every line of it as an action, a marker, a message, a key, a note and a place on a tape.
pub fn text(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(outcome) = Script::read(&text).and_then(|script| script.run()) {
        assert_eq!(outcome.matches(), !outcome.two_columns().lines().any(|line| line.starts_with('!')));
    }
    for line in text.lines().take(200) {
        let _ = Action::parse(line, &DEMO_PLAN);
        if let Ok(marker) = MarkerEvent::parse(line, &DEMO_PLAN) {
            let words = marker.words(&DEMO_PLAN);
            assert_eq!(
                MarkerEvent::parse(&words, &DEMO_PLAN),
                Ok(marker),
                "a marker reads otherwise than it is written"
            );
        }
        let _ = machine_control::locate(line);
        let _ = line.parse::<machine_control::Transport>();
        if let Ok(key) = line.parse::<Key>() {
            assert_eq!(key.to_string().parse(), Ok(key), "a key reads otherwise than it is written");
        }
        if let Ok(note) = note::parse(line, 4) {
            assert_eq!(note::parse(&note::name(note, 4), 4), Ok(note), "a note reads otherwise than it is written");
        }
        if let Ok(message) = words::read(line, 1) {
            let told = words::describe(&message);
            assert_eq!(words::describe(&words::read(&told, 1).expect("our own words")), told);
        }
    }
}
