//! A take played live over the cable sounds as the same take replayed: event for event, at every output.

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::CLIENT;
use midly::live::LiveEvent;
use midly::num::{u15, u28};
use midly::{Format, Header, MetaMessage, Smf, Timing, Track, TrackEvent, TrackEventKind};
use rustix::process::Signal;

use crate::Said;
use crate::gadget::Keyboard;
use crate::program::{NEXT_SECTION, NEXT_SONG, PREVIOUS_SECTION, PREVIOUS_SONG, Program, run};
use crate::sequencer::{Listener, Record, calm, taken};
use crate::sets;

type Scenario = Box<dyn FnOnce() -> Said>;
/// Messages in order.
pub type Messages = Vec<Vec<u8>>;

/// The outputs of the concert.
pub const OUTPUTS: [&str; 3] = ["piano", "pad", "desk"];
/// Handfuls are so far apart that the emulation's delays never join or part them; gather is 45 ms.
const APART: u32 = 110;
/// After so long without a message there comes none.
const QUIET: Duration = Duration::from_millis(120);
const HANDFULS: u32 = 320;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("take/online_equals_offline_at_existing_ports".into(), Box::new(at_existing_ports)),
        ("take/online_equals_offline_at_virtual_ports".into(), Box::new(at_virtual_ports)),
    ]
}

/// Something that happens at a time, in milliseconds.
pub enum Step {
    /// Bytes of the keyboard.
    Play(Vec<u8>),
    /// An action, as a marker of the take says it.
    Do(&'static str),
    /// What follows comes from this input.
    From(&'static str),
}

/// Actions, and the keys at the terminal that do the same.
const ACTIONS: [(&str, &str); 8] = [
    ("next-section", NEXT_SECTION),
    ("raise-key", "+"),
    ("next-song", NEXT_SONG),
    ("previous-section", PREVIOUS_SECTION),
    ("lower-key", "-"),
    ("next-section", NEXT_SECTION),
    ("tonights-key", "0"),
    ("previous-song", PREVIOUS_SONG),
];

/// Chords that are held over changes now and then, pedals, controllers and bends; the same every time.
pub fn steps(handfuls: u32) -> Vec<(u32, Step)> {
    let mut seed = 1_u32;
    let mut chance = |below: u32| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 16) % below
    };
    let mut byte = |below: u32| u8::try_from(chance(below)).unwrap_or(0);
    let mut steps = Vec::new();
    let mut held: Vec<u8> = Vec::new();
    for handful in 0..handfuls {
        let at = handful * APART;
        if handful % 20 == 19 {
            // Held notes and pedals are still down: a change must leave them as they are.
            let action = ACTIONS[usize::try_from(handful / 20).unwrap_or(0) % ACTIONS.len()].0;
            steps.push((at, Step::Do(action)));
            continue;
        }
        if handful % 4 != 2 {
            let off = held.drain(..).flat_map(|key| [0x80, key, 64]).collect::<Vec<u8>>();
            if !off.is_empty() {
                steps.push((at, Step::Play(off)));
            }
        }
        let lowest = 36 + byte(30);
        let chord: Vec<u8> =
            [0, 4, 7, 16].iter().map(|above| lowest + above).filter(|key| !held.contains(key)).collect();
        let velocity = 1 + byte(127);
        steps.push((at + 55, Step::Play(chord.iter().flat_map(|key| [0x90, *key, velocity]).collect())));
        held.extend(chord);
        let more = match handful % 5 {
            0 => vec![0xB0, 64, if handful % 2 == 0 { 127 } else { 0 }],
            1 => vec![0xB0, 1, byte(128)],
            2 => vec![0xE0, byte(128), byte(128)],
            3 => vec![0xB0, 11, byte(128)],
            _ => vec![0xD0, byte(128)],
        };
        steps.push((at + 80, Step::Play(more)));
    }
    let end = handfuls * APART;
    steps.push((end, Step::Play(held.iter().flat_map(|key| [0x80, *key, 64]).collect())));
    steps.push((end + 50, Step::Play(vec![0xB0, 64, 0])));
    steps
}

/// Messages of a step, one by one.
fn messages(bytes: &[u8]) -> Vec<&[u8]> {
    let mut rest = bytes;
    let mut messages = Vec::new();
    // A system message stands alone.
    if rest.first().is_some_and(|status| *status >= 0xF0) {
        return vec![rest];
    }
    while let Some(status) = rest.first() {
        let (message, more) = rest.split_at(if matches!(status & 0xF0, 0xC0 | 0xD0) { 2 } else { 3 });
        messages.push(message);
        rest = more;
    }
    messages
}

/// The take as a standard MIDI file: 500 ticks a quarter note at 120 a minute, so that a tick is a millisecond.
pub fn write_take(steps: &[(u32, Step)], path: &Path) -> Result<usize, String> {
    let mut markers: Vec<String> = Vec::new();
    for (_, step) in steps {
        match step {
            Step::Do(action) => markers.push(format!("do {action}")),
            Step::From(input) => markers.push(format!("from {input}")),
            Step::Play(_) => {}
        }
    }
    let mut texts = markers.iter();
    let (mut track, mut last): (Track<'_>, u32) = (Vec::new(), 0);
    let mut add = |at: u32, kind| {
        track.push(TrackEvent { delta: u28::new(at - last), kind });
        last = at;
    };
    let last_step = steps.last().map_or(0, |(at, _)| *at);
    let mut count = 0;
    for (at, step) in steps {
        match step {
            Step::Play(bytes) => {
                for message in messages(bytes) {
                    if message[0] >= 0xF0 {
                        let exclusive = message[0] == 0xF0;
                        let kind = if exclusive {
                            TrackEventKind::SysEx(&message[1..])
                        } else {
                            TrackEventKind::Escape(message)
                        };
                        add(*at, kind);
                        count += 1;
                        continue;
                    }
                    let LiveEvent::Midi { channel, message } = LiveEvent::parse(message).map_err(|e| e.to_string())?
                    else {
                        return Err(format!("{message:02X?} has no place in a take"));
                    };
                    add(*at, TrackEventKind::Midi { channel, message });
                    count += 1;
                }
            }
            Step::Do(_) | Step::From(_) => {
                let text = texts.next().map_or(&[][..], |text| text.as_bytes());
                add(*at, TrackEventKind::Meta(MetaMessage::Marker(text)));
            }
        }
    }
    add(last_step + 1000, TrackEventKind::Meta(MetaMessage::EndOfTrack));
    let header = Header { format: Format::SingleTrack, timing: Timing::Metrical(u15::new(500)) };
    let file = Smf { header, tracks: vec![track] };
    file.save(path).map_err(|error| error.to_string())?;
    Ok(count)
}

/// The messages of a replayed file, without times.
pub fn read_replayed(path: &Path) -> Result<Messages, String> {
    let bytes = fs::read(path).map_err(|error| format!("{}: {error}", path.display()))?;
    let file = Smf::parse(&bytes).map_err(|error| format!("{}: {error}", path.display()))?;
    let mut messages = Vec::new();
    for event in file.tracks.iter().flatten() {
        match event.kind {
            TrackEventKind::Midi { channel, message } => {
                let mut bytes = Vec::new();
                LiveEvent::Midi { channel, message }.write_std(&mut bytes).map_err(|error| error.to_string())?;
                messages.push(bytes);
            }
            TrackEventKind::SysEx(data) => messages.push([&[0xF0], data].concat()),
            TrackEventKind::Escape(data) => messages.push(data.to_vec()),
            TrackEventKind::Meta(_) => {}
        }
    }
    Ok(messages)
}

fn play(steps: &[(u32, Step)], keyboard: &Keyboard, program: &mut Program, all: &Record) -> Result<(), String> {
    let mut start = Instant::now();
    for (at, step) in steps {
        let due = start + Duration::from_millis(u64::from(*at));
        thread::sleep(due.saturating_duration_since(Instant::now()));
        match step {
            Step::Play(bytes) => keyboard.play(bytes)?,
            Step::Do(action) => {
                let key = ACTIONS.iter().find(|(known, _)| known == action).map_or("", |(_, key)| key);
                calm(all, QUIET);
                program.type_keys(key)?;
                calm(all, QUIET);
                // The take goes on where it was, later.
                start = Instant::now() - Duration::from_millis(u64::from(*at));
            }
            Step::From(_) => return Err("there is one keyboard only".into()),
        }
    }
    Ok(())
}

fn instrument(output: &str) -> String {
    format!("Lab Instrument {output}")
}

/// The instruments are there before we begin: all must be the same, from the first message of the set-up on.
fn at_existing_ports() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano", Some(instrument))?;
    let all = Record::default();
    let mut records = Vec::new();
    let mut listeners = Vec::new();
    for output in OUTPUTS {
        let record = Record::default();
        let records_of_it = [&all, &record].map(Clone::clone);
        listeners.push(Listener::instrument(&instrument(output), "in", &records_of_it)?);
        records.push(record);
    }
    let (count, replayed) = replay(&set)?;
    // No ports of ours to wait for but the one that others may play on.
    let program = Program::play(&set, &["keyboard"])?;
    perform(program, &keyboard, &all)?;
    let mut compared = 0;
    for ((output, record), replayed) in OUTPUTS.iter().zip(&records).zip(replayed) {
        compared += same(output, &replayed, &heard(record))?;
    }
    Ok(format!("{count} events played, {compared} compared"))
}

/// Nobody can listen to a virtual port before it is there: the set-up is sent again for whoever begins to (rule R21),
/// and what was not in use then is told its pedals and controllers even where they are at rest.
fn at_virtual_ports() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano", None)?;
    let (count, replayed) = replay(&set)?;
    let program = Program::play(&set, &OUTPUTS)?;
    let all = Record::default();
    let mut listeners = Vec::new();
    let mut records = Vec::new();
    for output in OUTPUTS {
        let record = Record::default();
        listeners.push(Listener::to(CLIENT, output, &[all.clone(), record.clone()])?);
        records.push(record);
    }
    perform(program, &keyboard, &all)?;
    let mut compared = 0;
    for ((output, record), replayed) in OUTPUTS.iter().zip(&records).zip(replayed) {
        compared += same(output, &changes(&replayed), &changes(&heard(record)))?;
    }
    Ok(format!("{count} events played, {compared} compared"))
}

/// Replays the take with the set: how many events were played, and what comes out of each output.
fn replay(set: &Path) -> Result<(usize, Vec<Messages>), String> {
    let (count, folder) = replayed(set, &steps(HANDFULS), "long")?;
    if count < 2000 {
        return Err(format!("the take has only {count} events"));
    }
    let replayed = OUTPUTS.iter().map(|output| read_replayed(&folder.join(format!("{output}.mid"))));
    Ok((count, replayed.collect::<Result<_, _>>()?))
}

/// Writes a take of this name and replays it: how many events it has, and the folder of the files.
pub fn replayed(set: &Path, steps: &[(u32, Step)], name: &str) -> Result<(usize, PathBuf), String> {
    let folder = std::env::temp_dir().join(format!("replayed-{name}"));
    let take = std::env::temp_dir().join(format!("{name}.mid"));
    let _ = fs::remove_dir_all(&folder);
    let count = write_take(steps, &take)?;
    let arguments = ["replay", &set.to_string_lossy(), &take.to_string_lossy(), "--out", &folder.to_string_lossy()];
    let (status, said) = run(&arguments)?;
    if status.success() { Ok((count, folder)) } else { Err(format!("replay: {status}: {said}")) }
}

fn perform(mut program: Program, keyboard: &Keyboard, all: &Record) -> Result<(), String> {
    calm(all, QUIET * 2);
    play(&steps(HANDFULS), keyboard, &mut program, all)?;
    calm(all, QUIET * 4);
    program.signal(Signal::TERM)?;
    let (status, said) = program.end()?;
    calm(all, QUIET);
    if status.success() { Ok(()) } else { Err(format!("play: {status}: {said}")) }
}

fn heard(record: &Record) -> Messages {
    taken(record).into_iter().map(|heard| heard.bytes).collect()
}

/// Without the controllers, bends and pressures that say what already holds, at rest to begin with (RP-015: bend in the
/// middle, expression 127, pedals, modulation and pressure 0; 2 and 4, which it does not name, 0 as a matter of fact),
/// and without the programs, banks, volumes and pans before the first note.
fn changes(messages: &[Vec<u8>]) -> Messages {
    let mut known: HashMap<(u8, u8), Vec<u8>> = HashMap::new();
    let mut begun = false;
    let mut kept = Vec::new();
    for message in messages {
        let controller = message.get(1).copied().unwrap_or(0);
        let (what, rest) = match (message[0] & 0xF0, controller) {
            (0xB0, 11) => (11, vec![127]),
            (0xB0, 1 | 2 | 4 | 64..=69) => (controller, vec![0]),
            (0xD0, _) => (128, vec![0]),
            (0xE0, _) => (129, vec![0, 64]),
            (status, _) => {
                begun |= matches!(status, 0x80 | 0x90);
                let sets_up = !begun && (status == 0xC0 || status == 0xB0 && matches!(controller, 0 | 7 | 10 | 32));
                if !sets_up {
                    kept.push(message.clone());
                }
                continue;
            }
        };
        let value = if message[0] & 0xF0 == 0xB0 { message[2..].to_vec() } else { message[1..].to_vec() };
        if known.insert((message[0], what), value.clone()).unwrap_or(rest) != value {
            kept.push(message.clone());
        }
    }
    kept
}

/// How many messages are the same; the first that differs is told.
pub fn same(output: &str, replayed: &[Vec<u8>], heard: &[Vec<u8>]) -> Result<usize, String> {
    let longer = replayed.len().max(heard.len());
    let Some(place) = (0..longer).find(|place| replayed.get(*place) != heard.get(*place)) else {
        return if longer > 0 { Ok(longer) } else { Err(format!("{output}: nothing was replayed, nothing heard")) };
    };
    let around = |all: &[Vec<u8>]| {
        let near: Vec<_> = all.iter().skip(place.saturating_sub(6)).take(14).collect();
        format!("{near:02X?}")
    };
    Err(format!(
        "{output}: {} replayed, {} heard; event {place}: replayed\n{}\nheard\n{}",
        replayed.len(),
        heard.len(),
        around(replayed),
        around(heard)
    ))
}
