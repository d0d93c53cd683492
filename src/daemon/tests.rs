//! The owner on ports in memory: what goes out for what happens around it.

use std::sync::Arc;

use super::inbox::Handed;

use super::observer::{Duties, Observer};
use super::persist::{Beginning, SavedState};
use super::sending::Failed;
use super::{Daemon, Happened, Instruction, PreparedMaps, Remote, Show, wish};
use crate::engine::{Action, CueId, Plain, Plan, Standing};
use crate::map;
use crate::ports::Direction;
use crate::ports::memory::World;

const GEAR: &str = "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[outputs.pad]\nvirtual = true\n\
                    [sounds.grand]\noutput = \"keys\"\nchannel = 1\nprogram = 1\n[sounds.warm]\noutput = \"pad\"\nchannel = 1\n";
const SET: &str = "title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n[[song]]\nmap = \"song.toml\"\n\
                   key = \"D\"\n";
const SONG: &str = "title = \"Lantern\"\nkey = \"C\"\n\
                    on_entering = [{ to = \"pad\", message = { song_select = 1 } }]\n\
                    [[zone]]\nsound = \"grand\"\n[[zone]]\nsound = \"warm\"\n\
                    [[section]]\nname = \"Verse\"\n[[section]]\nname = \"Chorus\"\n";

fn show(song: &str) -> Show {
    show_with(GEAR, song)
}

fn show_with(gear: &str, song: &str) -> Show {
    let mut read = |path: &str| match path {
        "set.toml" => Ok(SET.into()),
        "gear.toml" => Ok(gear.into()),
        _ => Ok(song.into()),
    };
    Show::new(map::load("set.toml", &mut read).book.unwrap())
}

struct Stage {
    world: World,
    piano: usize,
    daemon: Daemon,
    remote: Remote,
    show: Arc<Show>,
    observer: Arc<Observer>,
}

impl Stage {
    fn new(beginning: &Beginning) -> Stage {
        let show = Arc::new(show(SONG));
        let world = World::default();
        let piano = world.plug(Direction::Input, "stage piano", "keys", None);
        let ports = world.open(&wish(&show.book.gear)).unwrap();
        let (mut daemon, remote) = Daemon::new(&show, Box::new(ports));
        let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
        daemon.begin(beginning);
        Stage { world, piano, daemon, remote, show, observer }
    }

    /// What is sent because of what waits to arrive.
    fn sent(&mut self) -> Vec<(usize, Vec<u8>)> {
        for _ in 0..20 {
            self.daemon.take_one();
        }
        self.observer.catch_up();
        self.world.take_sent()
    }
}

fn kept(show: &Show) -> SavedState {
    let standing =
        Standing { entry: 1, song: Some(1), order_step: 1, section: 1, transposed: 1, ..Standing::default() };
    SavedState {
        maps: show.fingerprint(),
        ended_well: false,
        standing,
        zones: vec![("warm".into(), false)],
        cues: Vec::new(),
        connections: Vec::new(),
        changes: Vec::new(),
    }
}

#[test]
fn keys_that_came_through_no_port_are_played_seen_and_ended_like_others() {
    let mut stage = Stage::new(&Beginning::Afresh);
    let view = stage.daemon.live_view();
    stage.sent();
    assert!(stage.remote.play(0, [0x90, 60, 90]));
    let both = |status, velocity| [(0, vec![status, 60, velocity]), (1, vec![status, 60, velocity])];
    assert_eq!(stage.sent(), both(0x90, 90));
    stage.daemon.count();
    assert_eq!((view.keys_down(0), view.notes(0, 0), view.notes(1, 0)), (1 << 60, 1 << 60, 1 << 60));
    stage.world.input_gone(0);
    assert_eq!(stage.sent(), both(0x80, 64));
    stage.daemon.count();
    assert_eq!((view.keys_down(0), view.notes(0, 0), view.notes(1, 0)), (0, 0, 0));
    // Its end, when it comes, has nothing left to do; and what is no message of an input that exists is nothing.
    assert!(stage.remote.play(0, [0x80, 60, 64]) && stage.remote.play(7, [0x90, 60, 90]));
    assert!(stage.remote.play(0, [0x00, 0xFF, 60]));
    assert_eq!(stage.sent(), []);
}

#[test]
fn the_stand_is_told_when_too_many_keys_wait() {
    let stage = Stage::new(&Beginning::Afresh);
    let taken = (0..1000).filter(|_| stage.remote.play(0, [0x90, 60, 90])).count();
    assert_eq!(taken, 256);
}

#[test]
fn keys_sound_and_a_lost_input_ends_them() {
    let mut stage = Stage::new(&Beginning::Afresh);
    stage.sent();
    stage.world.play(stage.piano, &[0x90, 60, 90, 0x90, 64, 90]);
    let on = |output, note| (output, vec![0x90, note, 90]);
    assert_eq!(stage.sent(), [on(0, 60), on(1, 60), on(0, 64), on(1, 64)]);
    stage.world.overrun();
    let off = |output, note| (output, vec![0x80, note, 64]);
    assert_eq!(stage.sent(), [off(0, 60), off(1, 60), off(0, 64), off(1, 64)]);
}

#[test]
fn instructions_are_taken_and_too_many_are_refused() {
    let mut stage = Stage::new(&Beginning::Afresh);
    stage.sent();
    assert!(stage.remote.give(Instruction::Action(Action::Plain(Plain::NextSong))));
    assert!(stage.remote.give(Instruction::TurnZone(1)));
    assert_eq!(stage.sent(), [(1, vec![0xF3, 0])]);
    stage.world.play(stage.piano, &[0x90, 60, 90]);
    assert_eq!(stage.sent(), [(0, vec![0x90, 62, 90])], "in D, without the second zone");
    let taken = (0..1000).filter(|_| stage.remote.give(Instruction::Action(Action::Plain(Plain::RaiseKey)))).count();
    assert_eq!(taken, 320);
}

#[test]
fn a_talkback_that_a_killed_run_left_open_is_closed() {
    let song = format!(
        "{SONG}[[cue]]\nwhen = {{ input = \"keyboard\", control = 67 }}\ndo = \"send\"\nto = \"pad\"\n\
         message = {{ control = [20, 127], channel = 1 }}\noff = {{ control = [20, 0], channel = 1 }}\n\
         name = \"talkback\"\nwhile_down = true\n"
    );
    let show = Arc::new(show(&song));
    let left = || SavedState { cues: vec![(CueId(0), "talkback".into())], ..kept(&show) };
    // The same maps, or others in which it has another number.
    for beginning in [
        Beginning::GoOn(left()),
        Beginning::Changed(SavedState { cues: vec![(CueId(7), "talkback".into())], ..left() }),
    ] {
        let world = World::default();
        world.plug(Direction::Input, "stage piano", "keys", None);
        let ports = world.open(&wish(&show.book.gear)).unwrap();
        let (mut daemon, _remote) = Daemon::new(&show, Box::new(ports));
        daemon.begin(&beginning);
        assert!(world.take_sent().contains(&(1, vec![0xB0, 20, 0])), "{beginning:?}");
    }
}

#[test]
fn a_run_that_ended_unexpectedly_goes_on_silences_what_it_left_and_says_nothing_twice() {
    let mut stage = Stage::new(&Beginning::Afresh);
    assert!(stage.sent().contains(&(1, vec![0xF3, 0])), "an entry is said at the beginning");
    let beginning = Beginning::after(Some(kept(&stage.show)), &stage.show);
    assert_eq!(beginning, Beginning::GoOn(kept(&stage.show)));
    let mut stage = Stage::new(&beginning);
    let sent = stage.sent();
    for output in [0, 1] {
        for silence in [[0xB0, 123, 0], [0xB0, 120, 0], [0xB0, 64, 0]] {
            assert!(sent.contains(&(output, silence.to_vec())), "{sent:?}");
        }
    }
    assert!(!sent.contains(&(1, vec![0xF3, 0])), "{sent:?}");
    stage.world.play(stage.piano, &[0x90, 60, 90]);
    assert_eq!(stage.sent(), [(0, vec![0x90, 63, 90])], "in D and a semitone up, its second zone off");
}

#[test]
fn other_maps_or_a_good_end_begin_afresh() {
    let show = show(SONG);
    assert_eq!(Beginning::after(None, &show), Beginning::Afresh);
    let ended = SavedState { ended_well: true, ..kept(&show) };
    assert_eq!(Beginning::after(Some(ended), &show), Beginning::Afresh);
    let other = SavedState { maps: 1, ..kept(&show) };
    let changed = Beginning::after(Some(other.clone()), &show);
    assert_eq!(changed, Beginning::Changed(other));
    assert!(changed.may_have_left_notes() && !Beginning::Afresh.may_have_left_notes());
}

#[test]
fn saved_maps_come_into_force_while_keys_are_held() {
    let mut stage = Stage::new(&Beginning::Afresh);
    let reports = stage.observer.listen();
    stage.world.play(stage.piano, &[0x90, 60, 90]);
    stage.sent();
    let saved = show(&SONG.replace("sound = \"warm\"\n", "sound = \"warm\"\noctave = 1\n"));
    let prepared = Box::new(PreparedMaps::new(&stage.show, saved.book, Vec::new()));
    let remote = stage.remote.clone();
    let handed_over = std::thread::spawn(move || remote.load(prepared));
    while !handed_over.is_finished() {
        assert_eq!(stage.sent(), [], "no note ends, nothing is said");
    }
    assert!(matches!(handed_over.join().unwrap(), Handed::Loaded));
    assert!(reports.try_iter().any(|report| matches!(report.what, Happened::Loaded)));
    stage.world.play(stage.piano, &[0x90, 64, 80, 0x80, 60, 10]);
    let sent = [(0, vec![0x90, 64, 80]), (1, vec![0x90, 76, 80]), (0, vec![0x80, 60, 10]), (1, vec![0x80, 60, 10])];
    assert_eq!(stage.sent(), sent);
}

#[test]
fn what_began_on_a_channel_that_is_no_longer_heard_ends_there() {
    let mut stage = Stage::new(&Beginning::Afresh);
    stage.world.play(stage.piano, &[0xB0, 64, 127, 0x90, 60, 90]);
    stage.sent();
    let saved = show_with(&GEAR.replace("port = \"piano\"", "port = \"piano\"\nchannel = 2"), SONG);
    let prepared = Box::new(PreparedMaps::new(&stage.show, saved.book, Vec::new()));
    let remote = stage.remote.clone();
    let handed_over = std::thread::spawn(move || remote.load(prepared));
    while !handed_over.is_finished() {
        stage.daemon.take_one();
    }
    stage.sent();
    // Nothing begins there any longer, and no pedal goes down further.
    stage.world.play(stage.piano, &[0x90, 62, 90, 0xB0, 66, 127, 0xB0, 1, 50]);
    assert_eq!(stage.sent(), []);
    stage.world.play(stage.piano, &[0x80, 60, 10, 0xB0, 64, 0]);
    let both = |bytes: [u8; 3]| [(0, bytes.to_vec()), (1, bytes.to_vec())];
    assert_eq!(stage.sent(), [both([0x80, 60, 10]), both([0xB0, 64, 0])].concat());
}

#[test]
fn a_panic_in_a_step_goes_no_further() {
    let mut stage = Stage::new(&Beginning::Afresh);
    assert!(stage.daemon.contain(|_, _| panic!("for the test")).is_err());
    assert!(stage.daemon.contain(|_, _| 5).is_ok_and(|five| five == 5));
}

#[test]
fn after_a_failed_step_all_notes_end_and_the_set_goes_on() {
    let mut stage = Stage::new(&Beginning::Afresh);
    let reports = stage.observer.listen();
    stage.remote.give(Instruction::Action(Action::Plain(Plain::NextSong)));
    stage.world.play(stage.piano, &[0x90, 60, 90, 0xB0, 64, 127]);
    stage.sent();
    stage.daemon.after(Err(Failed));
    let sent = stage.sent();
    for output in [0, 1] {
        assert!(sent.contains(&(output, vec![0x80, 62, 64])), "{sent:?}");
        let pedals: Vec<&Vec<u8>> =
            sent.iter().filter(|(o, b)| *o == output && b[1] == 64 && b[0] == 0xB0).map(|(_, b)| b).collect();
        assert_eq!(pedals.last(), Some(&&vec![0xB0, 64, 0]), "{sent:?}");
    }
    assert!(!sent.contains(&(1, vec![0xF3, 0])), "no sends: {sent:?}");
    assert!(reports.try_iter().any(|report| matches!(report.what, Happened::Rebuilt)));
    stage.world.play(stage.piano, &[0x80, 60, 64, 0x90, 60, 90]);
    assert_eq!(stage.sent(), [(0, vec![0x90, 62, 90]), (1, vec![0x90, 62, 90])], "the same song and key");
}

#[test]
fn nobody_who_reads_slowly_holds_the_music_up() {
    let mut stage = Stage::new(&Beginning::Afresh);
    let unread = stage.observer.listen();
    for _ in 0..2000 {
        stage.daemon.step(crate::engine::Event::Action(Action::Plain(Plain::Panic)));
    }
    assert!(stage.observer.reports_lost() >= 900, "the observer did not look");
    stage.observer.catch_up();
    assert!(unread.len() >= 1000);
    let lost = stage.observer.reports_lost();
    stage.daemon.step(crate::engine::Event::Action(Action::Plain(Plain::Panic)));
    stage.observer.catch_up();
    stage.daemon.step(crate::engine::Event::Action(Action::Plain(Plain::Panic)));
    stage.observer.catch_up();
    assert!(stage.observer.reports_lost() > lost, "one who listens does not read");
}

#[test]
fn an_output_that_takes_nothing_is_told_once_and_holds_up_no_other() {
    let mut stage = Stage::new(&Beginning::Afresh);
    stage.sent();
    let reports = stage.observer.listen();
    stage.world.fill(0, true);
    stage.world.play(stage.piano, &[0x90, 60, 90, 0x90, 64, 90]);
    assert_eq!(stage.sent(), [(1, vec![0x90, 60, 90]), (1, vec![0x90, 64, 90])]);
    let told = reports.try_iter().filter(|report| matches!(report.what, Happened::OutputRefused(0))).count();
    assert_eq!(told, 1);
}

#[test]
fn a_real_panic_inside_a_step_ends_all_notes_and_the_set_goes_on() {
    let cue = "[[cue]]\nwhen = { input = \"keyboard\", control = 67 }\ndo = \"send\"\nto = \"pad\"\n\
               message = { control = [20, 127], channel = 9 }\noff = { control = [20, 0], channel = 9 }\n";
    let mut broken = show(&format!("{SONG}{cue}"));
    let mut plan = Plan::new(&broken.book);
    plan.break_cues();
    broken.plan = Arc::new(plan);
    let show = Arc::new(broken);
    let (sent, heard) = crossbeam_channel::unbounded();
    let world = World::live(move |output, bytes| {
        let _ = sent.send((output, bytes.to_vec()));
    });
    let piano = world.plug(Direction::Input, "stage piano", "keys", None);
    let (mut daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
    let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
    let reports = observer.listen();
    observer.begin(Duties::default()).unwrap();
    let playing = std::thread::spawn(move || daemon.run(&Beginning::Afresh));
    let next = |wanted: &[u8]| while heard.recv().expect("it plays on").1 != wanted {};
    // Cues listen half a second after their input appeared, and a press is a bounce within 200 ms of the one before.
    let pause = |millis| {
        let began = std::time::Instant::now();
        while began.elapsed() < std::time::Duration::from_millis(millis) {
            std::thread::yield_now();
        }
    };
    world.play(piano, &[0x90, 60, 90]);
    next(&[0x90, 60, 90]);
    pause(600);
    world.play(piano, &[0xB0, 67, 127, 0xB0, 67, 0]);
    next(&[0xB8, 20, 127]);
    pause(300);
    world.play(piano, &[0xB0, 67, 127]);
    next(&[0x80, 60, 64]);
    assert!(reports.iter().any(|report| matches!(report.what, Happened::Rebuilt)));
    world.play(piano, &[0x80, 60, 64, 0x90, 62, 90]);
    next(&[0x90, 62, 90]);
    remote.stop();
    assert!(playing.join().is_ok());
}

#[test]
fn an_owner_that_is_gone_without_an_end_has_not_ended_well() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("state.json");
    let stage = Stage::new(&Beginning::Afresh);
    let persist = super::persist::Persist::new(file.clone(), Vec::new(), |error| panic!("{error}"));
    let observer = stage.observer.begin(Duties { persist: Some(persist), ..Duties::default() }).unwrap();
    drop(stage.daemon);
    assert!(observer.join().is_ok());
    assert!(!super::persist::read(&file).expect("what was saved").ended_well);
}

#[test]
fn a_port_that_another_program_has_is_told_and_changes_nothing_that_sounds() {
    let mut stage = Stage::new(&Beginning::Afresh);
    stage.sent();
    let reports = stage.observer.listen();
    stage.world.play(stage.piano, &[0x90, 60, 100]);
    stage.sent();
    stage.world.input_held(0);
    stage.world.output_held(1);
    assert_eq!(stage.sent(), []);
    let told: Vec<String> = reports.try_iter().filter_map(|report| report.sentence()).collect();
    let held = |name| {
        format!(
            "The port of {name} is there and cannot be opened; most likely another program has it. Close that program."
        )
    };
    assert_eq!(told, [held("keyboard"), held("pad")]);
}
