//! Keys that were played while nobody listened.

use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::{self, Arrival, Backend, InputWish, Ports, Wish};

use super::Scenario;
use crate::Said;
use crate::gadget::{Hands, Keyboard};

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("trouble/keys_played_before_the_start_do_not_sound_late".into(), Box::new(before_the_start)),
        ("trouble/keys_played_before_the_keyboard_is_taken_up_do_not_sound_late".into(), Box::new(before_taken_up)),
    ]
}

/// After the connection notes that begin are left out for 20 ms at least and 60 ms at most.
const WORKS_AGAIN: Duration = Duration::from_millis(80);
const LATE: [u8; 6] = [0x90, 60, 100, 0x80, 60, 64];

fn open() -> Result<Box<dyn Ports>, String> {
    let input = InputWish { name: "keyboard".into(), port: "stage piano".into(), serial: None, optional: false };
    let wish = Wish { inputs: vec![input], ..Wish::default() };
    ports::open(Backend::System, &wish).map_err(|error| error.to_string())
}

/// Nothing but ends of notes comes now; then a new note does. Says how many old ends came.
fn only_new(ports: &mut dyn Ports, hands: &mut Hands, since: Instant) -> Result<usize, String> {
    let mut old = 0;
    while since.elapsed() < WORKS_AGAIN {
        match ports.wait(Some(WORKS_AGAIN.saturating_sub(since.elapsed()))) {
            Arrival::Message { bytes: [0x80, ..], .. } => old += 1,
            Arrival::Quiet => {}
            arrival => return Err(format!("{arrival:?} from before")),
        }
    }
    hands.play(&[0x90, 72, 1]);
    loop {
        match ports.wait(Some(Duration::from_secs(2))) {
            Arrival::Message { bytes: [0x90, 72, 1], .. } => return Ok(old),
            Arrival::Message { bytes: [0x80, ..], .. } => old += 1,
            arrival => return Err(format!("{arrival:?} in place of the new note")),
        }
    }
}

fn before_the_start() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let (mut played, mut old) = (0, 0);
    for count in [1, 20, 200] {
        let mut hands = keyboard.hands()?;
        for _ in 0..count {
            played += hands.play(&LATE) / 3;
        }
        thread::sleep(Duration::from_millis(100));
        let mut ports = open()?;
        old += only_new(&mut *ports, &mut hands, Instant::now())?;
    }
    Ok(format!("{played} messages kept, {old} ends of notes heard, no beginning"))
}

fn before_taken_up() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let mut ports = open()?;
    let mut old = 0;
    for _ in 0..5 {
        keyboard.unplug()?;
        while ports.wait(Some(Duration::from_secs(5))) != Arrival::InputGone(0) {}
        keyboard.plug_blindly()?;
        let mut hands = None;
        loop {
            hands = hands.or_else(|| keyboard.hands().ok());
            if let Some(hands) = &mut hands {
                hands.play(&LATE);
            }
            match ports.wait(Some(Duration::from_millis(5))) {
                Arrival::InputBack(0) => break,
                Arrival::Quiet => {}
                arrival => return Err(format!("{arrival:?} before the keyboard is back")),
            }
        }
        let mut hands = hands.ok_or("the keyboard has no device of its own")?;
        old += only_new(&mut *ports, &mut hands, Instant::now())?;
    }
    Ok(format!("5 times, {old} ends of notes heard, no beginning"))
}
