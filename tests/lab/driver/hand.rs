//! One hand that sounds full, over the real keyboard: a pad that follows the chord, and one-key chords.

use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::Signal;

use crate::Said;
use crate::gadget::Keyboard;
use crate::program::{NEXT_SONG, Program};
use crate::sequencer::{Heard, Listener, Record, calm, taken};
use crate::sets;
use crate::take::{Step, read_replayed, replayed, same};
use crate::yardstick::round_trip;

type Scenario = Box<dyn FnOnce() -> Said>;

/// Handfuls of each song.
const HANDFULS: u32 = 60;
/// From one handful to the next, in milliseconds: the emulation's delays neither join nor part what gather, a roll
/// (150 ms) or a late finger (200 ms) tell apart.
const APART: u32 = 500;
/// What the gear file says.
const GATHER: Duration = Duration::from_millis(45);
/// Nine of ten decisions come no later after that, where two emulated processors also play, listen and wait.
const LATE: Duration = Duration::from_millis(5);
const QUIET: Duration = Duration::from_millis(250);

const GEAR: &str = r#"
gather_ms = 45

[inputs.keyboard]
port = "stage piano"

[outputs.piano]
port = "Lab Instrument piano"
[outputs.pad]
port = "Lab Instrument pad"

[sounds.grand]
output = "piano"
channel = 1
[sounds.warm]
output = "pad"
channel = 2
program = 90
[sounds.floor]
output = "pad"
channel = 3
"#;

const FOLLOWED: &str = r#"
title = "Candle by Candle"
key = "Ab"
play_in = "C"

[[zone]]
sound = "grand"
stay_in_key = "nearest"
[[zone]]
name = "bed"
sound = "warm"
plays = "chord"
within = ["C3", "C5"]
linger = "next"
[[zone]]
name = "bass"
sound = "floor"
plays = "lowest"
octave = -1
"#;

const ONE_KEY: &str = r#"
title = "Bread for the Morning"
key = "Em"
play_in = "Am"

[[zone]]
sound = "grand"
one_key_chord = true
[[zone]]
name = "bed"
sound = "warm"
one_key_chord = true
within = ["C3", "C5"]
linger = "next"

[fingers]
"B" = "E/G#"
"#;

const SET: &str = r#"
title = "One hand"
gear = "gear.toml"
[[song]]
map = "songs/candle.toml"
[[song]]
map = "songs/bread.toml"
"#;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("take/one_hand_online_equals_offline".into(), Box::new(one_hand))]
}

fn set() -> Result<PathBuf, String> {
    let files = [
        ("gear.toml", GEAR.into()),
        ("songs/candle.toml", FOLLOWED.into()),
        ("songs/bread.toml", ONE_KEY.into()),
        ("set.toml", SET.into()),
    ];
    sets::write("one-hand", &files)
}

/// Triads in all inversions, struck together, rolled, legato with late fingers, with melody notes over them; then single
/// keys. The same every time.
fn steps() -> Vec<(u32, Step)> {
    const SHAPES: [[u8; 3]; 3] = [[0, 4, 7], [0, 3, 8], [0, 5, 9]];
    let mut steps = Vec::new();
    let mut play = |at: u32, bytes: Vec<u8>| steps.push((at, Step::Play(bytes)));
    let mut held: Vec<u8> = Vec::new();
    let up = |keys: &[u8]| keys.iter().flat_map(|key| [0x80, *key, 64]).collect::<Vec<u8>>();
    for handful in 0..HANDFULS {
        let at = handful * APART;
        let number = handful as u8;
        let lowest = 48 + number.wrapping_mul(5) % 24;
        let keys: Vec<u8> = SHAPES[usize::from(number % 3)].iter().map(|above| lowest + above).collect();
        let late: Vec<u8> = held.drain(..).filter(|key| !keys.contains(key)).collect();
        // Every fourth handful is rolled, every third of the others legato: the old fingers come up 120 ms later.
        let is_roll = number % 4 == 3;
        let is_legato = !is_roll && number % 3 == 2 && !late.is_empty();
        if !is_legato && !late.is_empty() {
            play(at, up(&late));
        }
        for (index, key) in keys.iter().enumerate() {
            let later = if is_roll { 90 * index as u32 } else { 0 };
            play(at + 20 + later, vec![0x90, *key, 50 + number]);
        }
        if is_legato {
            play(at + 140, up(&late));
        }
        if number % 5 == 4 && !is_roll {
            play(at + 330, vec![0x90, 85, 70]);
            play(at + 400, vec![0x80, 85, 64]);
        }
        held = keys;
    }
    play(HANDFULS * APART, up(&held));
    steps.push((HANDFULS * APART + 300, Step::Do("next-song")));
    for key in 0..HANDFULS {
        let (at, number) = ((HANDFULS + 2 + key) * APART, 48 + (key * 7 % 30) as u8);
        steps.push((at, Step::Play(vec![0x90, number, 60])));
        steps.push((at + 250, Step::Play(vec![0x80, number, 64])));
    }
    steps
}

fn perform(program: &mut Program, keyboard: &Keyboard, steps: &[(u32, Step)]) -> Result<(), String> {
    // Held open: to close it waits until all was taken.
    let mut hands = keyboard.hands()?;
    let start = Instant::now();
    for (at, step) in steps {
        let due = start + Duration::from_millis(u64::from(*at));
        thread::sleep(due.saturating_duration_since(Instant::now()));
        match step {
            Step::Play(bytes) if hands.play_all(bytes) => {}
            Step::Play(_) => return Err("the keyboard took no more".into()),
            Step::Do(_) => program.type_keys(NEXT_SONG)?,
            Step::From(_) => return Err("there is one keyboard only".into()),
        }
    }
    Ok(())
}

fn one_hand() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let (all, piano, pad) = (Record::default(), Record::default(), Record::default());
    let _listeners = [
        Listener::instrument("Lab Instrument piano", "in", &[all.clone(), piano.clone()])?,
        Listener::instrument("Lab Instrument pad", "in", &[all.clone(), pad.clone()])?,
    ];
    let (set, steps) = (set()?, steps());
    let (_, folder) = replayed(&set, &steps, "hand")?;
    let mut program = Program::play(&set, &["keyboard"])?;
    calm(&all, QUIET);
    perform(&mut program, &keyboard, &steps)?;
    calm(&all, QUIET);
    program.signal(Signal::TERM)?;
    let (status, said) = program.end()?;
    calm(&all, QUIET);
    if !status.success() {
        return Err(format!("play: {status}: {said}"));
    }
    let mut compared = 0;
    for (output, record) in [("piano", &piano), ("pad", &pad)] {
        let heard: Vec<Vec<u8>> = taken(record).into_iter().map(|heard| heard.bytes).collect();
        compared += same(output, &read_replayed(&folder.join(format!("{output}.mid")))?, &heard)?;
    }
    // As many threads hand something to one another as for a decision, ten times over.
    let late = LATE.max(20 * round_trip());
    let mut after = decisions(&taken(&all));
    after.sort_unstable();
    let count = after.len();
    let (Some(median), Some(last)) = (after.get(count / 2), after.last()) else {
        return Err("nothing was decided".into());
    };
    if after.get(count * 9 / 10).is_none_or(|most| *most > late) {
        return Err(format!("decisions came so long after gather was over: {after:?}"));
    }
    Ok(format!(
        "{compared} messages compared; {count} decisions {} us (median) to {} us after gather was over",
        median.as_micros(),
        last.as_micros()
    ))
}

/// How long after gather the pad changed, for each handful struck together that changed it.
fn decisions(heard: &[Heard]) -> Vec<Duration> {
    let is_on =
        |bytes: &[u8], status: u8| bytes.first() == Some(&status) && bytes.get(2).is_some_and(|value| *value > 0);
    let mut after = Vec::new();
    let mut first: Option<Instant> = None;
    let mut last_on: Option<Instant> = None;
    for message in heard {
        if is_on(&message.bytes, 0x90) {
            let is_first = last_on.is_none_or(|last| message.at.duration_since(last) > Duration::from_millis(150));
            first = if is_first { Some(message.at) } else { first };
            last_on = Some(message.at);
        }
        if message.bytes.first().is_some_and(|status| matches!(status, 0x81 | 0x91))
            && let Some(since) = first.take().map(|first| message.at.duration_since(first))
            && since < 2 * GATHER
            && since > GATHER / 2
        {
            after.push(since.saturating_sub(GATHER));
        }
    }
    after
}
