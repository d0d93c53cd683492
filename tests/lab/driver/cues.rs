//! Cues over real cables: a tracks player on a second bus moves the set, a pedal pressed twice changes the song in the
//! middle of a chord, and the clock that goes out is held against the system's own.

use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

use alsa::seq::{EvQueueControl, Event, EventType, QueueTempo};
use rustix::process::Signal;

use crate::Said;
use crate::gadget::{Hands, Keyboard};
use crate::program::Program;
use crate::sequencer::{Heard, Listener, Player, Record, calm, join, taken, until};
use crate::sets;
use crate::take::{Step, read_replayed, replayed, same};
use crate::yardstick::{LONG, round_trip};

type Scenario = Box<dyn FnOnce() -> Said>;

const QUIET: Duration = Duration::from_millis(300);
/// No cue fires before (500 ms), with room for the emulation.
const AWAKE: Duration = Duration::from_millis(900);

const GEAR: &str = r#"
[inputs.keyboard]
port = "stage piano"
play = true
[inputs.tracks]
port = "lab tracks player"
play = false

[outputs.piano]
port = "Lab Instrument piano"
[outputs.desk]
port = "Lab Instrument desk"
pass_clock = true

[sounds.grand]
output = "piano"
channel = 1
program = 1
[sounds.reed]
output = "piano"
channel = 1
program = 20

[[cue]]
when = { input = "tracks", program = "any" }
do = "song"
song = "received"
[[cue]]
when = { input = "tracks", song_select = "any" }
do = "line-up"
song = "received"
[[cue]]
when = { input = "tracks", note = "C1", channel = 16 }
do = "section"
section = "Verse"
[[cue]]
when = { input = "tracks", note = "D1", channel = 16 }
do = "section"
section = "Chorus"
[[cue]]
when = { input = "tracks", transport = "play" }
do = "send"
to = "desk"
message = { control = [40, 127], channel = 1 }
[[cue]]
when = { input = "tracks", clock = "stop" }
do = "send"
to = "desk"
message = { control = [40, 0], channel = 1 }
[[cue]]
when = { input = "keyboard", control = 67, press = "double" }
do = "next-song"
[[cue]]
when = { input = "keyboard", control = 67 }
do = "next-section"
[[cue]]
when = { input = "keyboard", control = 66 }
do = "send"
to = "desk"
message = { control = [41, 127], channel = 1 }
off = { control = [41, 0], channel = 1 }
while_down = true
name = "talkback"
"#;

/// A song with two sections that tells the desk where it is.
fn song(number: u8, title: &str, sound: &str) -> String {
    format!(
        r#"
title = "{title}"
key = "C"
number = {number}
on_entering = [{{ to = "desk", message = {{ program = {number}, channel = 1 }} }}]
[[zone]]
sound = "{sound}"
[[section]]
name = "Verse"
[[section]]
name = "Chorus"
on_entering = [{{ to = "desk", message = {{ note = ["C1", {number}], channel = 2, length_ms = 40 }} }}]
"#
    )
}

const SET: &str = r#"
title = "Tracks"
gear = "gear.toml"
[[song]]
map = "songs/lantern.toml"
[[song]]
map = "songs/weir.toml"
[[song]]
map = "songs/lamp.toml"
"#;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("cues/the_tracks_player_moves_the_set".into(), Box::new(tracks_player)),
        ("cues/a_pedal_pressed_twice_changes_the_song_in_mid_chord".into(), Box::new(double_press)),
        ("cues/the_clock_beside_the_systems_own".into(), Box::new(clock)),
    ]
}

fn set() -> Result<PathBuf, String> {
    let files = [
        ("gear.toml", GEAR.into()),
        ("songs/lantern.toml", song(7, "Lantern", "grand")),
        ("songs/weir.toml", song(9, "Weir", "reed")),
        ("songs/lamp.toml", song(11, "Lamp", "grand")),
        ("set.toml", SET.into()),
    ];
    sets::write("cues", &files)
}

/// What the tracks player says through an evening, and what the hand plays meanwhile; a second apart from the start.
fn steps() -> Vec<(u32, Step)> {
    let mut steps = Vec::new();
    let mut at = 1000;
    let mut from = |at: &mut u32, input: &'static str, bytes: &[u8]| {
        steps.push((*at, Step::From(input)));
        steps.push((*at, Step::Play(bytes.to_vec())));
        *at += 130;
    };
    for round in 0..4_u8 {
        let key = 60 + round;
        from(&mut at, "keyboard", &[0x90, key, 100]);
        from(&mut at, "tracks", &[0xC0, [8, 10, 6, 8][usize::from(round)]]);
        from(&mut at, "keyboard", &[0x90, key + 7, 90]);
        from(&mut at, "keyboard", &[0x80, key, 64]);
        from(&mut at, "tracks", &[0xFA]);
        from(&mut at, "tracks", &[0xF0, 0x7F, 0x7F, 0x06, 0x02, 0xF7]);
        (0..3).for_each(|_| from(&mut at, "tracks", &[0xF8]));
        from(&mut at, "tracks", &[0x9F, 26, 100]);
        from(&mut at, "tracks", &[0x8F, 26, 64]);
        from(&mut at, "keyboard", &[0xB0, 66, 127]);
        from(&mut at, "tracks", &[0x9F, 24, 100]);
        from(&mut at, "tracks", &[0x8F, 24, 64]);
        from(&mut at, "keyboard", &[0xB0, 66, 0]);
        from(&mut at, "tracks", &[0xFC]);
        // The song that the pedal's double press enters: lined up by a song select.
        from(&mut at, "tracks", &[0xF3, 6]);
        from(&mut at, "keyboard", &[0xB0, 67, 127]);
        from(&mut at, "keyboard", &[0xB0, 67, 0]);
        from(&mut at, "keyboard", &[0xB0, 67, 127]);
        from(&mut at, "keyboard", &[0xB0, 67, 0]);
        at += 500;
        from(&mut at, "keyboard", &[0x80, key + 7, 64]);
        // A single press: known only when no second one can follow.
        from(&mut at, "keyboard", &[0xB0, 67, 127]);
        from(&mut at, "keyboard", &[0xB0, 67, 0]);
        at += 500;
    }
    steps
}

/// The instruments of the stage, and what they heard.
struct Stage {
    keyboard: Keyboard,
    all: Record,
    piano: Record,
    desk: Record,
    _listeners: [Listener; 2],
}

fn stage() -> Result<Stage, String> {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let (all, piano, desk) = (Record::default(), Record::default(), Record::default());
    let listeners = [
        Listener::instrument("Lab Instrument piano", "in", &[all.clone(), piano.clone()])?,
        Listener::instrument("Lab Instrument desk", "in", &[all.clone(), desk.clone()])?,
    ];
    Ok(Stage { keyboard, all, piano, desk, _listeners: listeners })
}

/// Waits until cues are listened to: the program says its set-up when it begins.
fn awake(stage: &Stage) -> Result<(), String> {
    until("the set-up", LONG, || stage.all.lock().is_ok_and(|heard| !heard.is_empty()))?;
    calm(&stage.all, AWAKE);
    Ok(())
}

fn perform(hands: &mut Hands, player: &mut Hands, steps: &[(u32, Step)]) -> Result<(), String> {
    let start = Instant::now();
    let mut from_player = false;
    for (at, step) in steps {
        let due = start + Duration::from_millis(u64::from(*at));
        thread::sleep(due.saturating_duration_since(Instant::now()));
        match step {
            Step::From(input) => from_player = *input == "tracks",
            Step::Play(bytes) => {
                let who = if from_player { &mut *player } else { &mut *hands };
                if !who.play_all(bytes) {
                    return Err("a keyboard took no more".into());
                }
            }
            Step::Do(_) => {}
        }
    }
    Ok(())
}

fn tracks_player() -> Said {
    let stage = stage()?;
    let player = Keyboard::new(1, "Lab Tracks Player", "T1")?;
    player.plug()?;
    let (set, steps) = (set()?, steps());
    let (_, folder) = replayed(&set, &steps, "cues")?;
    let program = Program::play(&set, &["keyboard"])?;
    awake(&stage)?;
    perform(&mut stage.keyboard.hands()?, &mut player.hands()?, &steps)?;
    calm(&stage.all, 2 * QUIET);
    program.signal(Signal::TERM)?;
    let (status, said) = program.end()?;
    calm(&stage.all, QUIET);
    if !status.success() {
        return Err(format!("play: {status}: {said}"));
    }
    let mut compared = 0;
    for (output, record) in [("piano", &stage.piano), ("desk", &stage.desk)] {
        let heard: Vec<Vec<u8>> = taken(record).into_iter().map(|heard| heard.bytes).collect();
        compared += same(output, &read_replayed(&folder.join(format!("{output}.mid")))?, &heard)?;
    }
    Ok(format!("{} messages of both, {compared} compared with the replayed ones", steps.len() / 2))
}

/// A chord is held, the pedal is pressed twice: the song is another, the chord goes on, and comes up where it began.
fn double_press() -> Said {
    let stage = stage()?;
    let player = Keyboard::new(1, "Lab Tracks Player", "T1")?;
    player.plug()?;
    let program = Program::play(&set()?, &["keyboard"])?;
    awake(&stage)?;
    let mut hands = stage.keyboard.hands()?;
    let mut slowest = Duration::ZERO;
    for (round, number) in [(0, 8), (1, 10)] {
        hands.play_all(&[0x90, 60, 100, 0x90, 64, 100, 0x90, 67, 100]);
        thread::sleep(Duration::from_millis(200));
        hands.play_all(&[0xB0, 67, 127]);
        thread::sleep(Duration::from_millis(100));
        hands.play_all(&[0xB0, 67, 0]);
        thread::sleep(Duration::from_millis(130));
        calm(&stage.all, Duration::from_millis(20));
        taken(&stage.all);
        taken(&stage.piano);
        let pressed = Instant::now();
        hands.play_all(&[0xB0, 67, 127]);
        calm(&stage.all, QUIET);
        let change = taken(&stage.all);
        if !change.iter().any(|heard| heard.bytes == [0xC0, number]) {
            let heard: Vec<_> = change.iter().map(|heard| &heard.bytes).collect();
            return Err(format!("round {round}: no change of song: {heard:02X?}; it said: {}", program.said()));
        }
        if change.iter().any(|heard| matches!(heard.bytes[0] & 0xF0, 0x80 | 0x90)) {
            return Err(format!("round {round}: the change was heard in the chord"));
        }
        let last = change.last().map_or(Duration::ZERO, |heard| heard.at.saturating_duration_since(pressed));
        slowest = slowest.max(last);
        hands.play_all(&[0xB0, 67, 0, 0x80, 60, 64, 0x80, 64, 64, 0x80, 67, 64]);
        calm(&stage.all, QUIET);
        let ended: Vec<Vec<u8>> = taken(&stage.piano).into_iter().map(|heard| heard.bytes).collect();
        for key in [60, 64, 67] {
            if !ended.contains(&vec![0x80, key, 64]) {
                return Err(format!("round {round}: {key} did not end: {ended:02X?}"));
            }
        }
        taken(&stage.all);
    }
    Ok(format!("from the second press to the last byte of the change at most {} us", slowest.as_micros()))
}

const TEMPO: u64 = 120;
const LASTS: Duration = Duration::from_secs(60);

/// Our clock and one that the system's own queue gives, side by side for a minute.
fn clock() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let gear = "[inputs.keyboard]\nport = \"stage piano\"\n[outputs.desk]\nvirtual = true\nsend_clock = true\n\
                [sounds.grand]\noutput = \"desk\"\nchannel = 1\n";
    let song = format!("title = \"Clock\"\nkey = \"C\"\ntempo = {TEMPO}\n[[zone]]\nsound = \"grand\"\n");
    let set = "title = \"Clock\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"songs/clock.toml\"\n";
    let files = [("gear.toml", gear.into()), ("songs/clock.toml", song), ("set.toml", set.into())];
    let (ours, theirs) = (Record::default(), Record::default());
    let _theirs = Listener::instrument("Lab Ear queue", "in", std::slice::from_ref(&theirs))?;
    let player = Player::new("Lab Queue", "out")?;
    join(("Lab Queue", "out"), ("Lab Ear queue", "in"))?;
    let program = Program::play(&sets::write("clock", &files)?, &["desk"])?;
    let _ours = Listener::to(handspan::ports::CLIENT, "desk", std::slice::from_ref(&ours))?;
    thread::sleep(Duration::from_secs(1));
    taken(&ours);
    queue_clock(&player)?;
    let (ours, theirs) = (deviations(&taken(&ours))?, deviations(&taken(&theirs))?);
    drop(program);
    let said = |all: &[Duration]| {
        let at = |share: usize| all.get((all.len() * share / 100).min(all.len() - 1)).map_or(0, Duration::as_micros);
        format!("{} us (median), {} us (99th percentile)", at(50), at(99))
    };
    let at_99 = |all: &[Duration]| all[all.len() * 99 / 100];
    // The system's queue ticks in the kernel; ours goes through a process that has to be woken.
    if at_99(&ours) > 4 * at_99(&theirs).max(Duration::from_millis(1)).max(round_trip()) {
        return Err(format!("ours deviates {}, the system's {}", said(&ours), said(&theirs)));
    }
    Ok(format!("{} ticks; ours deviates {}, the system's {}", ours.len(), said(&ours), said(&theirs)))
}

/// Has the system's own queue send a clock for as long.
fn queue_clock(player: &Player) -> Result<(), String> {
    let fault = |error: alsa::Error| error.to_string();
    let seq = player.seq();
    let queue = seq.alloc_queue().map_err(fault)?;
    let tempo = QueueTempo::empty().map_err(fault)?;
    tempo.set_tempo(u32::try_from(60_000_000 / TEMPO).unwrap_or(500_000));
    tempo.set_ppq(24);
    seq.set_queue_tempo(queue, &tempo).map_err(fault)?;
    seq.control_queue(queue, EventType::Start, 0, None).map_err(fault)?;
    seq.drain_output().map_err(fault)?;
    let ticks = u32::try_from(LASTS.as_secs() * TEMPO * 24 / 60).unwrap_or(0);
    let since = Instant::now();
    for tick in 1..=ticks {
        // A second ahead, so that nothing waits for us.
        let due = Duration::from_secs_f64(f64::from(tick) * 60.0 / (TEMPO * 24) as f64);
        thread::sleep(due.saturating_sub(Duration::from_secs(1)).saturating_sub(since.elapsed()));
        let mut event = Event::new(EventType::Clock, &EvQueueControl { queue: 0, value: () });
        event.set_source(player.port());
        event.set_subs();
        event.schedule_tick(queue, false, tick);
        seq.event_output(&mut event).map_err(fault)?;
        seq.drain_output().map_err(fault)?;
    }
    thread::sleep(LASTS.saturating_sub(since.elapsed()) + Duration::from_millis(100));
    Ok(())
}

/// How far each tick came from the even grid that fits best in the middle, sorted.
fn deviations(heard: &[Heard]) -> Result<Vec<Duration>, String> {
    let ticks: Vec<Instant> = heard.iter().filter(|heard| heard.bytes == [0xF8]).map(|heard| heard.at).collect();
    let wanted = LASTS.as_secs() * TEMPO * 24 / 60;
    let Some(first) = ticks.first().filter(|_| ticks.len() as u64 + 30 >= wanted) else {
        return Err(format!("{} ticks came instead of {wanted}", ticks.len()));
    };
    let interval = 60.0 / (TEMPO * 24) as f64;
    let off = |(number, at): (usize, &Instant)| at.duration_since(*first).as_secs_f64() - number as f64 * interval;
    let mut offs: Vec<f64> = ticks.iter().enumerate().map(off).collect();
    offs.sort_by(f64::total_cmp);
    let middle = offs[offs.len() / 2];
    let mut away: Vec<Duration> = offs.iter().map(|off| Duration::from_secs_f64((off - middle).abs())).collect();
    away.sort_unstable();
    Ok(away)
}
