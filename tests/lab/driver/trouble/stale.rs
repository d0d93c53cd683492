//! Keys that were played while nobody listened.

use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use handspan::ports::{self, Arrival, Backend, InputWish, Ports, Wish};

use super::Scenario;
use crate::Said;
use crate::gadget::{Hands, Keyboard};
use crate::yardstick::{Beats, LONG, beat};

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("trouble/keys_played_before_the_start_do_not_sound_late".into(), Box::new(before_the_start)),
        ("trouble/keys_played_before_the_keyboard_is_taken_up_do_not_sound_late".into(), Box::new(before_taken_up)),
    ]
}

/// After the connection notes that begin are left out for 20 ms at least and 60 ms at most.
const WORKS_AGAIN: Duration = Duration::from_millis(100);
/// What a program does after the ports are open, and before it waits.
const BEFORE_WAITING: Duration = Duration::from_millis(100);
/// Threads that are busy with nothing.
const BUSY: usize = 6;
const LATE: [u8; 6] = [0x90, 60, 100, 0x80, 60, 64];
/// An end, played when all else was: ends are taken, and what comes comes in order.
const LAST: [u8; 3] = [0x80, 99, 64];

fn open() -> Result<Box<dyn Ports>, String> {
    let input = InputWish { name: "keyboard".into(), port: "stage piano".into(), serial: None, optional: false };
    let wish = Wish { inputs: vec![input], ..Wish::default() };
    ports::open(Backend::System, &wish).map_err(|error| error.to_string())
}

/// Nothing but ends of notes comes until the last that was played before; then a new note does. Says how many old ends
/// came.
fn only_new(ports: &mut dyn Ports, hands: &mut Hands) -> Result<usize, String> {
    let mut old = 0;
    loop {
        match ports.wait(Some(LONG)) {
            Arrival::Message { bytes, .. } if bytes == LAST => break,
            Arrival::Message { bytes: [0x80, ..], .. } => old += 1,
            arrival => return Err(format!("{arrival:?} from before")),
        }
    }
    for _ in 0..Beats::within(WORKS_AGAIN).times(1) {
        hands.play(&[0x90, 72, 1, 0x80, 72, 64]);
        beat();
        while let Arrival::Message { bytes, .. } = ports.wait(Some(Duration::ZERO)) {
            match *bytes {
                [0x90, 72, 1] => return Ok(old),
                [0x80, 72, _] => {}
                _ => return Err(format!("{bytes:02X?} in place of the new note")),
            }
        }
    }
    Err("no new note is heard".into())
}

/// Others have more to do than the machine can.
fn beside_busy<T>(done: impl FnOnce() -> T) -> T {
    let over = AtomicBool::new(false);
    thread::scope(|scope| {
        for _ in 0..BUSY {
            scope.spawn(|| {
                while !over.load(Ordering::Relaxed) {
                    std::hint::spin_loop();
                }
            });
        }
        let done = done();
        over.store(true, Ordering::Relaxed);
        done
    })
}

fn before_the_start() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let (mut played, mut old) = (0, 0);
    let mut play = || -> Result<(), String> {
        for count in [1, 20, 200] {
            let mut hands = keyboard.hands()?;
            for _ in 0..count {
                played += hands.play(&LATE) / 3;
            }
            let mut ports = open()?;
            // Afterwards: what comes while the system connects it may reach nobody.
            if !hands.play_all(&LAST) {
                return Err("the keyboard takes no more".into());
            }
            // Others do something before they wait for the first message.
            Beats::within(BEFORE_WAITING).pass();
            old += only_new(&mut *ports, &mut hands)?;
        }
        Ok(())
    };
    play()?;
    beside_busy(play).map_err(|error| format!("beside busy threads: {error}"))?;
    Ok(format!("{played} messages kept, {old} ends of notes heard, no beginning"))
}

fn before_taken_up() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let mut ports = open()?;
    let mut old = 0;
    for _ in 0..5 {
        keyboard.unplug()?;
        while ports.wait(Some(LONG)) != Arrival::InputDisconnected(0) {}
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
        if !hands.play_all(&LAST) {
            return Err("the keyboard takes no more".into());
        }
        old += only_new(&mut *ports, &mut hands)?;
    }
    Ok(format!("5 times, {old} ends of notes heard, no beginning"))
}
