//! A take played live over the cable sounds as the same take rendered: event for event, at every output.

use std::fs;
use std::path::Path;
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

const OUTPUTS: [&str; 3] = ["piano", "pad", "desk"];
/// Handfuls are so far apart that the emulation's delays never join or part them; gather is 45 ms.
const APART: u32 = 110;
/// After so long without a message there comes none.
const QUIET: Duration = Duration::from_millis(120);
const HANDFULS: u32 = 320;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("take/online_equals_offline".into(), Box::new(online_equals_offline))]
}

/// Something that happens at a time, in milliseconds.
enum Step {
    Play(Vec<u8>),
    /// An action, as a marker of the take says it.
    Do(&'static str),
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
fn steps() -> Vec<(u32, Step)> {
    let mut seed = 1_u32;
    let mut chance = |below: u32| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 16) % below
    };
    let mut byte = |below: u32| u8::try_from(chance(below)).unwrap_or(0);
    let mut steps = Vec::new();
    let mut held: Vec<u8> = Vec::new();
    for handful in 0..HANDFULS {
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
    let end = HANDFULS * APART;
    steps.push((end, Step::Play(held.iter().flat_map(|key| [0x80, *key, 64]).collect())));
    steps.push((end + 50, Step::Play(vec![0xB0, 64, 0])));
    steps
}

/// Messages of a step, one by one.
fn messages(bytes: &[u8]) -> Vec<&[u8]> {
    let mut rest = bytes;
    let mut messages = Vec::new();
    while let Some(status) = rest.first() {
        let (message, more) = rest.split_at(if matches!(status & 0xF0, 0xC0 | 0xD0) { 2 } else { 3 });
        messages.push(message);
        rest = more;
    }
    messages
}

/// The take as a standard MIDI file: 500 ticks a quarter note at 120 a minute, so that a tick is a millisecond.
fn write_take(steps: &[(u32, Step)], path: &Path) -> Result<usize, String> {
    let mut markers: Vec<String> = Vec::new();
    for (_, step) in steps {
        if let Step::Do(action) = step {
            markers.push(format!("do {action}"));
        }
    }
    let mut texts = markers.iter();
    let (mut track, mut last): (Track<'_>, u32) = (Vec::new(), 0);
    let mut add = |at: u32, kind| {
        track.push(TrackEvent { delta: u28::new(at - last), kind });
        last = at;
    };
    let mut count = 0;
    for (at, step) in steps {
        match step {
            Step::Play(bytes) => {
                for message in messages(bytes) {
                    let LiveEvent::Midi { channel, message } = LiveEvent::parse(message).map_err(|e| e.to_string())?
                    else {
                        return Err(format!("{message:02X?} has no place in a take"));
                    };
                    add(*at, TrackEventKind::Midi { channel, message });
                    count += 1;
                }
            }
            Step::Do(_) => {
                let text = texts.next().map_or(&[][..], |text| text.as_bytes());
                add(*at, TrackEventKind::Meta(MetaMessage::Marker(text)));
            }
        }
    }
    add(HANDFULS * APART + 1000, TrackEventKind::Meta(MetaMessage::EndOfTrack));
    let header = Header { format: Format::SingleTrack, timing: Timing::Metrical(u15::new(500)) };
    let file = Smf { header, tracks: vec![track] };
    file.save(path).map_err(|error| error.to_string())?;
    Ok(count)
}

/// The messages of a rendered file, without times.
fn rendered(path: &Path) -> Result<Vec<Vec<u8>>, String> {
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
        }
    }
    Ok(())
}

fn online_equals_offline() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano")?;
    let folder = std::env::temp_dir().join("rendered");
    let take = std::env::temp_dir().join("take.mid");
    let steps = steps();
    let count = write_take(&steps, &take)?;
    if count < 2000 {
        return Err(format!("the take has only {count} events"));
    }
    let arguments = ["render", &set.to_string_lossy(), &take.to_string_lossy(), "--out", &folder.to_string_lossy()];
    let (status, said) = run(&arguments)?;
    if !status.success() {
        return Err(format!("render: {status}: {said}"));
    }

    let mut program = Program::play(&set, &OUTPUTS)?;
    // One record of all, to see when the wire is quiet, and one of each, to compare.
    let all = Record::default();
    let mut listeners = Vec::new();
    let mut records = Vec::new();
    for output in OUTPUTS {
        let record = Record::default();
        listeners.push(Listener::to(CLIENT, output, &all)?);
        listeners.push(Listener::to(CLIENT, output, &record)?);
        records.push(record);
    }
    calm(&all, QUIET);
    for record in &records {
        taken(record);
    }
    play(&steps, &keyboard, &mut program, &all)?;
    calm(&all, QUIET * 4);
    program.signal(Signal::TERM)?;
    let (status, said) = program.end()?;
    if !status.success() {
        return Err(format!("play: {status}: {said}"));
    }
    calm(&all, QUIET);
    let mut compared = 0;
    for (output, record) in OUTPUTS.iter().zip(&records) {
        let live: Vec<Vec<u8>> = taken(record).into_iter().map(|heard| heard.bytes).collect();
        let offline = rendered(&folder.join(format!("{output}.mid")))?;
        compared += same(output, &offline, &live)?;
    }
    Ok(format!("{count} events played, {compared} compared"))
}

/// The set-up at the start went out before anyone listened; from there on all must be the same.
fn same(output: &str, offline: &[Vec<u8>], live: &[Vec<u8>]) -> Result<usize, String> {
    let is_note = |message: &Vec<u8>| message[0] < 0xA0;
    let set_up = offline.iter().take_while(|message| !is_note(message)).count();
    // What was heard before the first note is the end of what was rendered before it.
    let begun = live.iter().take_while(|message| !is_note(message)).count();
    let Some(set_up) = set_up.checked_sub(begun) else {
        return Err(format!("{output}: heard before the first note: {:02X?}", &live[..begun]));
    };
    let after = &offline[set_up..];
    let Some(place) = (0..after.len().max(live.len())).find(|place| after.get(*place) != live.get(*place)) else {
        return Ok(live.len());
    };
    let around =
        |all: &[Vec<u8>]| format!("{:02X?}", all.iter().skip(place.saturating_sub(6)).take(14).collect::<Vec<_>>());
    Err(format!(
        "{output}: {} rendered, {} heard; event {place}: rendered\n{}\nheard\n{}",
        after.len(),
        live.len(),
        around(after),
        around(live)
    ))
}
