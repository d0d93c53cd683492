//! Takes, recorded from invented playing, read, and played again.

use std::sync::Mutex;

use proptest::prelude::*;

use super::*;
use crate::daemon::observer::{Duties, Observer};
use crate::daemon::persist::{Beginning, SavedState};
use crate::daemon::{Daemon, Happened, Show, wish};
use crate::engine::{Action, Engine, Plain, Rehearsal, Standing};
use crate::map::{self, Book, file_name};
use crate::midi::decode;
use crate::midi::file::{self, TakeKind};
use crate::ports::Direction;
use crate::ports::memory::World;

/// A file that the test can look at while it grows.
#[derive(Debug, Clone, Default)]
struct Shared(Arc<Mutex<Vec<u8>>>);

impl Store for Shared {
    fn write_at(&mut self, place: u64, bytes: &[u8]) -> io::Result<()> {
        let (mut file, place) = (self.0.lock().unwrap(), place as usize);
        let length = file.len().max(place + bytes.len());
        file.resize(length, 0);
        file[place..place + bytes.len()].copy_from_slice(bytes);
        Ok(())
    }

    fn settle(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Shared {
    fn take(&self) -> file::Take {
        file::read(&self.0.lock().unwrap()).unwrap()
    }

    fn messages(&self) -> Vec<(u64, Vec<u8>)> {
        let messages = self.take().events.into_iter().filter_map(|event| match event.kind {
            TakeKind::Message(bytes) => Some((event.tick, bytes)),
            TakeKind::Marker(_) => None,
        });
        messages.collect()
    }

    fn markers(&self) -> Vec<String> {
        let markers = self.take().events.into_iter().filter_map(|event| match event.kind {
            TakeKind::Marker(text) => Some(text),
            TakeKind::Message(_) => None,
        });
        markers.collect()
    }
}

/// A take in memory: the recorder, what was played, and what each output got.
struct Room {
    recorder: Recorder<Shared>,
    played: Shared,
    outputs: Vec<Shared>,
}

fn room(book: &Book, plan: &Arc<Plan>) -> (RecorderHandle, Room) {
    let played = Shared::default();
    let outputs: Vec<Shared> = book.gear.outputs.iter().map(|_| Shared::default()).collect();
    let named = book.gear.outputs.iter().zip(&outputs);
    let named = named.map(|(output, store)| (output.name.value.as_str(), store.clone()));
    let (handle, recorder) =
        begin_in(played.clone(), named, book.gear.outputs.iter().any(|output| output.pass_clock), Arc::clone(plan))
            .unwrap();
    (handle, Room { recorder, played, outputs })
}

impl Room {
    fn flush(&mut self) {
        self.recorder.look();
        self.recorder.flush().unwrap();
    }

    /// Plays the take through the plan and compares what comes out with what was recorded.
    fn compare(&self, plan: &Arc<Plan>) -> Result<(), TestCaseError> {
        let rehearsal = Rehearsal::new(plan, &self.played.take(), 0, 0);
        prop_assert_eq!(&rehearsal.unknown_markers, &Vec::new());
        for (number, output) in self.outputs.iter().enumerate() {
            let again: Vec<(u64, Vec<u8>)> =
                rehearsal.lines_of(number).into_iter().map(|(tick, bytes)| (tick, bytes.to_vec())).collect();
            prop_assert_eq!(output.messages(), again, "output {}", number);
        }
        Ok(())
    }
}

fn demo() -> Book {
    map::load("maps/midwinter.toml", &mut |path| fs::read(path)).book.unwrap()
}

#[derive(Debug, Clone)]
enum Happening {
    Message(usize, Vec<u8>),
    Do(&'static str),
    Lost(usize),
    Back(usize),
    Nothing,
}

fn happening() -> impl Strategy<Value = Happening> {
    let key = (0usize..2, 0u8..2, 40u8..80, 0u8..128);
    let words = vec![
        "next-song",
        "previous-song",
        "next-section",
        "previous-section",
        "from-the-top",
        "raise-key",
        "lower-key",
        "tonights-key",
        "song 4",
        "section Chorus",
        "key Eb",
        "zone bed off",
        "zone bed",
        "resend-messages",
        "resend-sounds",
        "panic",
    ];
    prop_oneof![
        12 => key.prop_map(|(input, on, key, velocity)| Happening::Message(input, vec![0x80 + 16 * on, key, velocity])),
        3 => (0usize..2, prop::sample::select(vec![1u8, 7, 11, 64, 66, 67]), 0u8..128)
            .prop_map(|(input, number, value)| Happening::Message(input, vec![0xB0, number, value])),
        1 => (0usize..2, 0u8..128, 0u8..128).prop_map(|(input, a, b)| Happening::Message(input, vec![0xE0, a, b])),
        1 => (0usize..2).prop_map(|input| Happening::Message(input, vec![0xF8])),
        1 => (0usize..2, 0usize..60).prop_map(|(input, length)| {
            Happening::Message(input, [&[0xF0][..], &vec![7; length][..], &[0xF7][..]].concat())
        }),
        3 => prop::sample::select(words).prop_map(Happening::Do),
        1 => (0usize..2).prop_map(Happening::Lost),
        1 => (0usize..4).prop_map(Happening::Back),
        2 => Just(Happening::Nothing),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]
    /// The owner's part is played here, with time as the test has it.
    #[test]
    fn a_take_played_again_gives_what_the_outputs_got(
        happenings in prop::collection::vec((0u64..4_000, happening()), 0..200),
        flush_at in 1usize..50,
        rest in 0u64..40_000,
    ) {
        let book = demo();
        let plan = Arc::new(Plan::new(&book));
        let (handle, mut room) = room(&book, &plan);
        let mut engine = Engine::new(Arc::clone(&plan));
        let mut out = engine.out();
        // Not at 0, and in whole ticks, as the owner's clock is.
        let mut now = 1_250;
        let step = |engine: &mut Engine, out: &mut crate::engine::Out, now, event: Event<'_>, raw: Option<(usize, &[u8])>| {
            match raw {
                Some((input, bytes)) => handle.input(now, input, bytes),
                None => handle.event(now, event),
            }
            engine.step(event, crate::engine::Micros(now), out);
            out.said().for_each(|said| handle.output(said.at.0, said.output, said.bytes));
            out.clear();
        };
        step(&mut engine, &mut out, now, Event::Start { entry: 0, order_step: 0 }, None);
        for (number, (pause, happening)) in happenings.iter().enumerate() {
            now += pause * TICK;
            match happening {
                Happening::Message(input, bytes) => {
                    let message = decode(bytes).unwrap();
                    let event = Event::Message { input: *input, message };
                    step(&mut engine, &mut out, now, event, Some((*input, bytes)));
                }
                Happening::Do(words) => {
                    let event = Event::Action(Action::parse(words, &plan).unwrap());
                    step(&mut engine, &mut out, now, event, None);
                }
                Happening::Lost(input) => step(&mut engine, &mut out, now, Event::InputLost(*input), None),
                Happening::Back(output) => step(&mut engine, &mut out, now, Event::OutputBack(*output), None),
                Happening::Nothing => step(&mut engine, &mut out, now, Event::Time, None),
            }
            if number % flush_at == 0 {
                room.flush();
                // Whatever comes now, what was flushed can be read.
                room.played.take();
            }
        }
        now += rest * TICK;
        step(&mut engine, &mut out, now, Event::Stop, None);
        room.flush();
        prop_assert_eq!(room.played.take().end, now - 1_250);
        room.compare(&plan)?;
    }
}

/// A performance on ports in memory, recorded; what it said, and its take.
fn perform(show: &Arc<Show>, beginning: &Beginning, happen: impl FnOnce(&World)) -> (Vec<(usize, Vec<u8>)>, Room) {
    let world = World::default();
    world.plug(Direction::Input, "stage piano", "stage piano", None);
    world.plug(Direction::Input, "small keyboard", "small keyboard", None);
    world.plug(Direction::Input, "tracks player", "tracks player", None);
    world.plug(Direction::Output, "tracks player", "tracks player", None);
    world.plug(Direction::Output, "mixing desk", "mixing desk", None);
    let ports = world.open(&wish(&show.book.gear)).unwrap();
    let (mut daemon, remote) = Daemon::new(show, Box::new(ports));
    let observer = Observer::new(&mut daemon, show, "choir").unwrap();
    let reports = observer.listen();
    observer.begin(Duties::default()).unwrap();
    let (handle, mut room) = room(&show.book, &show.plan);
    daemon.record(handle);
    happen(&world);
    world.output_back(1);
    let beginning = beginning.clone();
    let playing = std::thread::spawn(move || daemon.run(&beginning));
    // The last thing that happens.
    assert!(reports.iter().any(|report| matches!(report.what, Happened::OutputBack(1))));
    remote.stop();
    playing.join().unwrap();
    room.flush();
    let sent = world.take_sent();
    for (number, output) in room.outputs.iter().enumerate() {
        let heard: Vec<&Vec<u8>> = sent.iter().filter(|(to, _)| *to == number).map(|(_, bytes)| bytes).collect();
        let kept = output.messages();
        assert_eq!(kept.iter().map(|(_, bytes)| bytes).collect::<Vec<_>>(), heard, "output {number}");
    }
    (sent, room)
}

#[test]
fn the_daemon_records_what_it_plays() {
    let show = Arc::new(Show::new(demo()));
    let (sent, room) = perform(&show, &Beginning::Afresh, |world| {
        world.message(0, &[0x90, 60, 80]);
        world.message(0, &[0xB0, 64, 127]);
        world.message(1, &[0x90, 64, 90]);
        world.message(0, &[0x80, 60, 0]);
        world.input_gone(1);
        world.listen(0);
        world.overrun();
        world.message(0, &[0x90, 67, 101]);
    });
    assert!(sent.len() > 20);
    assert_eq!(
        room.played.markers(),
        [
            "from keyboard",
            "from upper",
            "from keyboard",
            "lost upper",
            "back piano",
            "lost keyboard",
            "lost upper",
            "lost tracks",
            "back pad"
        ]
    );
    room.compare(&show.plan).unwrap();
}

#[test]
fn a_set_that_goes_on_after_a_kill_plays_again_from_there() {
    let show = Arc::new(Show::new(demo()));
    let standing =
        Standing { entry: 3, song: Some(3), order_step: 1, section: 1, transposed: 2, ..Standing::default() };
    let kept = SavedState {
        maps: show.fingerprint(),
        ended_well: false,
        standing,
        zones: vec![("bed".into(), false)],
        cues: Vec::new(),
        connections: Vec::new(),
        changes: Vec::new(),
    };
    let (sent, room) = perform(&show, &Beginning::GoOn(kept), |world| world.message(0, &[0x90, 60, 80]));
    assert!(sent.len() > 20);
    let markers = room.played.markers();
    assert_eq!(markers[..2], ["silence piano", "silence pad"]);
    let begun = markers.iter().position(|marker| marker.starts_with("resume")).unwrap();
    assert_eq!(markers[begun..begun + 2], ["resume 4 4 2 2 2", "do zone bed off"]);
    room.compare(&show.plan).unwrap();
}

#[test]
fn a_set_that_begins_afresh_after_a_kill_plays_again_from_its_beginning() {
    let show = Arc::new(Show::new(demo()));
    let kept = SavedState {
        maps: 1,
        ended_well: false,
        standing: Standing::default(),
        zones: Vec::new(),
        cues: Vec::new(),
        connections: Vec::new(),
        changes: Vec::new(),
    };
    let (_, room) = perform(&show, &Beginning::Changed(kept), |world| world.message(0, &[0x90, 60, 80]));
    let markers = room.played.markers();
    assert_eq!(markers[..2], ["silence piano", "silence pad"]);
    let begun = markers.iter().find(|marker| !marker.starts_with("silence"));
    assert_eq!(begun.map(String::as_str), Some("start"));
    room.compare(&show.plan).unwrap();
}

#[test]
fn what_finds_no_room_is_counted_and_never_halved() {
    let book = demo();
    let plan = Arc::new(Plan::new(&book));
    let (handle, mut room) = room(&book, &plan);
    let long = [&[0xF0][..], &vec![1; 100 * PART][..], &[0xF7]].concat();
    for tick in 0..RECORDS as u64 - 50 {
        handle.input(tick * TICK, 0, &[0x90, 60, 1]);
    }
    let now = RECORDS as u64 * TICK;
    handle.input(now, 0, &long);
    handle.event(now, Event::Action(Action::Plain(Plain::Panic)));
    room.flush();
    assert_eq!(room.played.markers(), ["from keyboard", "do panic", "missing 1: the recorder could not follow"]);
    handle.input(now + TICK, 0, &long);
    room.flush();
    assert_eq!(room.played.messages().pop(), Some((RECORDS as u64 + 1, long)));
    for _ in 0..RECORDS + 3 {
        handle.output(now + TICK, 0, &[0x90, 60, 1]);
    }
    room.flush();
    assert_eq!(room.outputs[0].messages().len(), RECORDS);
    assert_eq!(room.played.markers().pop().unwrap(), "missing 3: the recorder could not follow");
}

#[test]
fn a_clock_is_kept_where_an_output_wants_it() {
    let mut book = demo();
    let plan = Arc::new(Plan::new(&book));
    for wanted in [true, false] {
        book.gear.outputs.iter_mut().for_each(|output| output.pass_clock = false);
        book.gear.outputs[0].pass_clock = wanted;
        let (handle, mut room) = room(&book, &plan);
        for bytes in [&[0xFE][..], &[0xF8], &[0xF2, 1, 0], &[0xFF], &[0xF6], &[0xF0, 1, 0xF7], &[0xC0, 1]] {
            handle.input(0, 0, bytes);
        }
        room.flush();
        let kept: Vec<u8> = room.played.messages().iter().map(|(_, bytes)| bytes[0]).collect();
        assert_eq!(kept, if wanted { vec![0xF8, 0xF2, 0xF0, 0xC0] } else { vec![0xF0, 0xC0] });
    }
}

#[test]
fn saved_maps_change_the_names_from_there_on() {
    let book = demo();
    let plan = Arc::new(Plan::new(&book));
    let (handle, mut room) = room(&book, &plan);
    handle.event(7, Event::Start { entry: 0, order_step: 0 });
    handle.event(7, Event::OutputBack(0));
    handle.plan(10_007, Arc::new(Plan::default()));
    handle.event(10_007, Event::OutputBack(0));
    room.flush();
    assert_eq!(room.played.markers(), ["back piano", "maps read again", "back "]);
}

#[test]
fn files_of_a_performance_lie_together_and_two_performances_do_not() {
    let book = demo();
    let plan = Arc::new(Plan::new(&book));
    let folder = tempfile::tempdir().unwrap();
    for wanted in ["2026-12-19 19.30.00", "2026-12-19 19.30.00 (2)"] {
        let (handle, recorder, path) =
            begin(folder.path(), "2026-12-19 19.30.00", &book.gear, Arc::clone(&plan)).unwrap();
        assert_eq!(path, folder.path().join(wanted));
        handle.event(0, Event::Start { entry: 0, order_step: 0 });
        handle.input(100 * TICK, 0, &[0x90, 60, 100]);
        handle.output(100 * TICK, 1, &[0x91, 48, 90]);
        handle.event(300 * TICK, Event::Stop);
        drop(handle);
        assert_eq!(recorder.run().unwrap(), 0);
        let read = |name: &str| file::read(&fs::read(path.join(name)).unwrap()).unwrap();
        assert_eq!(read("take.mid").end, 300 * TICK);
        let kinds: Vec<TakeKind> = read("outputs/pad.mid").events.into_iter().map(|event| event.kind).collect();
        assert_eq!(kinds, [TakeKind::Message(vec![0x91, 48, 90])]);
        #[cfg(unix)]
        for name in ["take.mid", "outputs/pad.mid"] {
            use std::os::unix::fs::PermissionsExt;
            let mode = fs::metadata(path.join(name)).unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600, "{name}");
        }
    }
    let names = book.gear.outputs.iter().map(|output| output.name.value.as_str());
    assert_eq!(names.map(file_name).collect::<Vec<_>>(), ["piano", "pad", "tracks", "desk"]);
    assert_eq!(file_name("../left: 1"), "_.._left_ 1");
}

#[test]
fn a_folder_that_cannot_be_written_is_an_error() {
    let book = demo();
    let file = tempfile::NamedTempFile::new().unwrap();
    assert!(begin(file.path(), "tonight", &book.gear, Arc::new(Plan::new(&book))).is_err());
}
