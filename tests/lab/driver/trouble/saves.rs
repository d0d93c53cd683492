//! Maps that are saved while somebody plays, well and badly.

use std::fs;
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::CLIENT;

use super::{Dice, Scenario, Tally, seed};
use crate::Said;
use crate::gadget::{Hands, Keyboard};
use crate::program::Program;
use crate::sequencer::{Listener, Record, calm, set_up, taken};
use crate::sets;
use crate::yardstick::Beats;

const SAVES: usize = 500;
/// A saved map must be loaded after so many keys: each is played when the one before it was heard to its end. A dozen is
/// usual.
const LOADED: usize = 300;
/// A broken one must not be after so many.
const NOT_LOADED: usize = 8;
/// A key must be heard so soon.
const HEARD: Duration = Duration::from_secs(2);
const ASKED: u8 = 60;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("trouble/500_saves_of_a_map_while_playing".into(), Box::new(saved))]
}

/// Saves a map as editors do: over the old one, by renaming, or in two pieces with a moment between.
fn save(file: &Path, text: &str, way: u64) -> Result<(), String> {
    let doing = |error: std::io::Error| format!("saving: {error}");
    match way {
        0 => fs::write(file, text).map_err(doing),
        1 => {
            let beside = file.with_extension("toml~");
            fs::write(&beside, text).and_then(|()| fs::rename(&beside, file)).map_err(doing)
        }
        _ => {
            fs::write(file, &text[..text.len() / 2]).map_err(doing)?;
            thread::sleep(Duration::from_millis(5));
            fs::write(file, text).map_err(doing)
        }
    }
}

/// A key, played and let go of; the note that it said, once the end of that note was heard.
fn ask(hands: &mut Hands, record: &Record, tally: &mut Tally, dice: &mut Dice) -> Result<u8, String> {
    hands.play_all(&[0x90, ASKED, 70]);
    thread::sleep(dice.milliseconds(0, 8));
    hands.play_all(&[0x80, ASKED, 64]);
    let (mut note, mut ended) = (None, None);
    let has_ended = || {
        for heard in taken(record) {
            tally.hear(&heard.bytes);
            match heard.bytes[..] {
                [0x90, key, 1..=127] => note = Some(key),
                [0x80, key, _] if note == Some(key) => ended = note,
                _ => {}
            }
        }
        ended.is_some()
    };
    let _ = Beats::within(HEARD).until(has_ended);
    ended.ok_or_else(|| format!("asked with a key, heard the beginning {note:?} and no end"))
}

fn saved() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::simple("stage piano")?;
    let file = set.with_file_name("songs").join("plain.toml");
    let mut program = Program::play(&set, &["piano"])?;
    let record = Record::default();
    let _listener = Listener::to(CLIENT, "piano", std::slice::from_ref(&record))?;
    set_up(&record, Duration::from_millis(200))?;
    let mut hands = keyboard.hands()?;
    let (mut dice, mut tally) = (Dice::new(), Tally::default());
    let (mut in_force, mut broken, mut asked) = (ASKED, 0, 0_u64);
    let mut times = Vec::new();
    // A key that is held over many saves.
    let held = 100;
    for number in 0..SAVES {
        let told = |error: String| format!("save {number}, seed {}: {error}", seed());
        if number % 25 == 0 {
            hands.play_all(&[0x90, held, 50, 0xB0, 64, 127]);
        } else if number % 25 == 20 {
            hands.play_all(&[0x80, held, 64, 0xB0, 64, 0]);
        }
        let up = 1 + u8::try_from(number % 11).unwrap_or(0);
        let good = format!("title = \"Plain\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\ntranspose = {up}\n");
        let is_broken = dice.below(4) == 0;
        let faults = ["transpose = {", "transpse = 3", "keys = [\"H9\"]", "sound = \"organ\""];
        let text = match is_broken {
            true => good.replace("transpose", &format!("{}\ntranspose", faults[usize::from(dice.byte(4))])),
            false => good,
        };
        let way = dice.below(3);
        let since = Instant::now();
        save(&file, &text, way).map_err(told)?;
        if is_broken {
            broken += 1;
            for _ in 0..NOT_LOADED {
                asked += 1;
                let note = ask(&mut hands, &record, &mut tally, &mut dice).map_err(told)?;
                if note != in_force {
                    return Err(told(format!("note {note} after a broken save, {in_force} is loaded")));
                }
            }
            continue;
        }
        for turn in 1.. {
            asked += 1;
            match ask(&mut hands, &record, &mut tally, &mut dice).map_err(told)? {
                note if note == ASKED + up => break,
                note if note != in_force => return Err(told(format!("note {note} of no map that was saved last"))),
                _ if turn == LOADED => {
                    return Err(told(format!(
                        "not loaded after {LOADED} keys (way {way}); it said: {}",
                        program.said()
                    )));
                }
                _ => {}
            }
        }
        in_force = ASKED + up;
        times.push(since.elapsed());
    }
    hands.play_all(&[0x80, held, 64, 0xB0, 64, 0]);
    calm(&record, Duration::from_millis(200));
    tally.hear_all(&taken(&record));
    tally.at_rest().and_then(|()| tally.alternates())?;
    let expected = asked + u64::try_from(SAVES.div_ceil(25)).unwrap_or(0);
    if tally.on != expected || tally.on != tally.off {
        return Err(format!("{expected} notes played, {} began, {} ended", tally.on, tally.off));
    }
    if !program.runs() {
        return Err(format!("it ended; it said: {}", program.said()));
    }
    times.sort();
    let (median, slowest) = (times[times.len() / 2].as_millis(), times.last().map_or(0, Duration::as_millis));
    Ok(format!(
        "{SAVES} saves, {broken} broken, {expected} notes; loaded after {median} ms (median) to {slowest} ms; seed {}",
        seed()
    ))
}
