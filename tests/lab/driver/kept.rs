//! What is kept of an evening: the take plays again as it sounded, and take and log can be read after a kill.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use handspan::midi::file::{Take, TakeKind, read};
use handspan::ports::CLIENT;
use rustix::process::Signal;

use crate::Said;
use crate::gadget::Keyboard;
use crate::program::{NEXT_SECTION, Program, run};
use crate::sequencer::{Listener, Record, calm, is_there, set_up, until};
use crate::sets;

type Scenario = Box<dyn FnOnce() -> Said>;
/// Ticks and messages.
type Messages = Vec<(u64, Vec<u8>)>;

const OUTPUTS: [&str; 3] = ["piano", "pad", "desk"];

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("kept/a_take_plays_again_as_it_sounded".into(), Box::new(|| kept(Signal::TERM))),
        ("kept/a_take_is_whole_after_a_kill".into(), Box::new(|| kept(Signal::KILL))),
    ]
}

fn kept(signal: Signal) -> Said {
    let folder = std::env::temp_dir().join("kept");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir(&folder).map_err(|error| error.to_string())?;
    let (takes, log) = (folder.join("takes"), folder.join("evening.log"));
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano", None)?;
    let path = |path: &Path| path.to_string_lossy().into_owned();
    let mut program = Program::start(&["play", &path(&set), "--take", &path(&takes), "--log", &path(&log)])?;
    until("handspan's ports", Duration::from_secs(20), || OUTPUTS.iter().all(|output| is_there(CLIENT, output)))?;
    let record = Record::default();
    let _listener = Listener::to(CLIENT, "piano", std::slice::from_ref(&record))?;
    // Before, a keyboard may give what was played before anybody listened; its notes are left out.
    set_up(&record, Duration::from_millis(200))?;
    let mut played = 0;
    for handful in 0..40u8 {
        keyboard.play(&[0x90, 48 + handful % 24, 90, 0x90, 55 + handful % 24, 80])?;
        thread::sleep(Duration::from_millis(60));
        keyboard.play(&[0x80, 48 + handful % 24, 64, 0x80, 55 + handful % 24, 64])?;
        thread::sleep(Duration::from_millis(20));
        played += 2;
        if handful % 8 == 7 {
            program.type_keys(NEXT_SECTION)?;
        }
    }
    if signal != Signal::KILL {
        calm(&record, Duration::from_millis(250));
    }
    program.signal(signal)?;
    let (_, said) = program.end()?;

    let place = newest(&takes)?;
    let take = file(&place.join("take.mid"))?;
    let struck = messages(&take).iter().filter(|(_, bytes)| bytes[0] == 0x90).count();
    // Two seconds' worth may be missing: the emulation is slow, and the last look is before the kill.
    let enough = if signal == Signal::KILL { played - 50 } else { played };
    if struck < enough {
        return Err(format!("{struck} of {played} notes are in the take; it said: {said}"));
    }
    let again = folder.join("again");
    let take_name = path(&place.join("take.mid"));
    let (status, said) = run(&["replay", &path(&set), &take_name, "--out", &path(&again)])?;
    if !status.success() || said.contains("changes nothing") {
        return Err(format!("replay: {status}: {said}"));
    }
    let mut compared = 0;
    for output in OUTPUTS {
        let kept = messages(&file(&place.join("outputs").join(format!("{output}.mid")))?);
        let mut again = messages(&file(&again.join(format!("{output}.mid")))?);
        if signal == Signal::KILL {
            // The replay ends what sounds; nobody did when the program was killed.
            again.truncate(kept.len());
        }
        if let Some(place) = (0..kept.len().max(again.len())).find(|place| kept.get(*place) != again.get(*place)) {
            let [kept, again] = [kept.get(place), again.get(place)];
            return Err(format!("{output}, message {place}: kept {kept:02X?}, replayed {again:02X?}"));
        }
        compared += kept.len();
    }
    let lines = fs::read_to_string(&log).map_err(|error| format!("{}: {error}", log.display()))?;
    let ending = if signal == Signal::KILL { "terminal: next-section" } else { "The end: " };
    if !lines.contains(ending) || lines.contains("missing") {
        return Err(format!("the log says: {lines}"));
    }
    Ok(format!("{struck} of {played} notes kept, {compared} messages compared"))
}

fn newest(takes: &Path) -> Result<PathBuf, String> {
    let folders = fs::read_dir(takes).map_err(|error| format!("{}: {error}", takes.display()))?;
    folders.flatten().map(|entry| entry.path()).max().ok_or_else(|| "no take".to_owned())
}

fn file(path: &Path) -> Result<Take, String> {
    let bytes = fs::read(path).map_err(|error| format!("{}: {error}", path.display()))?;
    read(&bytes).map_err(|error| format!("{}: {error}", path.display()))
}

fn messages(take: &Take) -> Messages {
    let messages = take.events.iter().filter_map(|event| match &event.kind {
        TakeKind::Message(bytes) => Some((event.tick, bytes.clone())),
        TakeKind::Marker(_) => None,
    });
    messages.collect()
}
