//! Playing the demo with nothing plugged in: a page of the stand is keyboard and loudspeaker.

use std::path::Path;
use std::sync::Arc;

use super::console::{Failure, tell};
use super::{maps, page};
use crate::daemon::observer::{Duties, Observer};
use crate::daemon::persist::Beginning;
use crate::daemon::{Daemon, Instruction, Show, reload, wish};
use crate::engine::Action;
use crate::map::Gear;
use crate::ports::memory::World;
use crate::ports::{Direction, Ports};

/// Piano and pad with one hand: what is worth hearing first.
const FIRST: &str = "song Frost on the Window";
/// Who plays and listens where there are no ports.
const PAGE: &str = "the page";

/// Plays `set` on the page until Ctrl-C.
pub(super) fn run(set: &Path) -> Result<(), Failure> {
    let show = Arc::new(Show::new(maps::load_sound(&set.to_string_lossy())?));
    let (mut daemon, remote) = Daemon::new(&show, ports(&show.book.gear)?);
    let failed = |error: &dyn std::fmt::Display| Failure::Failed(format!("the page cannot be opened: {error}."));
    let observer = Observer::new(&mut daemon, &show, "try").map_err(|error| failed(&error))?;
    observer.begin(Duties::default()).map_err(|error| failed(&error))?;
    let (open, words) = page::open(&mut daemon, &show, &remote, &observer, None);
    let Some(open) = open else {
        return Err(failed(&words.first().map_or("the gear file says listen = \"off\"", |words| words.trim())));
    };
    let stopper = remote.clone();
    ctrlc::set_handler(move || stopper.stop()).map_err(|error| failed(&error))?;
    // Which opens the keys at once, and sounds with the first.
    let link = format!("{}#play", open.link());
    tell(&format!(
        "\nPlay it yourself: {link}\n  \
        Open it in a browser on this machine: keys for the mouse, the fingers or the computer's keyboard, and a small\n  \
        synthesizer. It sounds with the first key, quietly; take headphones off all the same before that.\n  \
        Maps that you change in {} are loaded as soon as they are saved. Ctrl-C ends it.",
        set.parent().unwrap_or(set).display()
    ));
    if has_screen() {
        // The link has been said; where no browser opens by itself, the player opens one.
        let _ = open::that_detached(link);
    }
    if let Ok(first) = Action::parse(FIRST, &show.plan) {
        remote.give(Instruction::Action(first));
    }
    let watching = reload::watch(maps::read, remote);
    daemon.run(&Beginning::Afresh);
    drop((open, watching));
    Ok(())
}

/// Ports that lead nowhere: the page plays as the keyboard, and hears what each output gets.
fn ports(gear: &Gear) -> Result<Box<dyn Ports>, Failure> {
    let world = World::live(|_, _| ());
    for input in gear.inputs.iter().filter(|input| !input.optional) {
        world.plug(Direction::Input, &input.port.value, PAGE, input.serial.as_deref());
    }
    for port in gear.outputs.iter().filter(|output| !output.optional).filter_map(|output| output.port.as_ref()) {
        world.plug(Direction::Output, &port.value, PAGE, None);
    }
    let ports = world.open(&wish(gear)).map_err(|error| Failure::Wrong(error.to_string()))?;
    for (number, _) in gear.outputs.iter().enumerate().filter(|(_, output)| output.port.is_none()) {
        world.listen(number);
    }
    Ok(Box::new(ports))
}

/// Whether a browser could show anything here.
fn has_screen() -> bool {
    let is_set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !cfg!(target_os = "linux") || is_set("DISPLAY") || is_set("WAYLAND_DISPLAY")
}
