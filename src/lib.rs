//! handspan: from the keyboard to the sounds.
//!
//! # A key, from port to port
//!
//! 1. The keyboard's bytes reach [`ports`]: on Linux the ALSA sequencer wakes the one thread that owns everything,
//!    in [`ports::Ports::wait`], which gives one whole message and the number of its input.
//! 2. The owner, [`daemon::Daemon`], looks at the clock, decodes the message ([`midi::decode`]) and hands both to
//!    [`engine::Engine::step`] (`daemon/receiving.rs`). The engine knows no clock: time is an argument.
//! 3. The step first runs what has become due, then takes the message (`engine/mod.rs`): is it a cue's, and does the
//!    input listen to its channel?
//! 4. The press (`engine/hand/press.rs`): the input's curve makes the velocity; each zone in use, in file order, is asked
//!    whether it listens to the input and contains key and velocity, up to the first `exclusive`.
//! 5. Each zone that takes the key makes a note of it: octaves, transposition, tonight's shift, its range; and a
//!    velocity from its table.
//! 6. What striking that note has to do (`engine/notes/strike.rs`): on; off and on; or only one more owner. The table of
//!    active notes (`engine/notes/owners.rs`) keeps that this press began this note here, so that its release ends it
//!    here, whatever comes between.
//! 7. Each message goes through the step context (`engine/step.rs`) to its port, [`ports::Ports::send`], as soon as it is
//!    calculated: first all that end, then all that begin (rule R3).
//! 8. After the last message of the step the owner records it, shows it and tells of it (`daemon/sending.rs`).
//!
//! Nothing on this way allocates, locks, parses, searches by name or blocks. The eighth step puts a record into a bounded
//! channel at which nobody waits, stores numbers that others read, and puts a report into a ring: it takes no lock and
//! makes no call into the system, also while a page is connected. Who wants to know looks by itself.
//!
//! # A saved map
//!
//! 1. `daemon/reload.rs` hears that a file was saved, waits until the folder is quiet, and has [`map::load`] read the set
//!    again, with the changes of the evening.
//! 2. With faults: a sentence with its place for everybody, and what was played goes on. Without: [`engine::Plan::after`]
//!    compiles it, and an engine is made ready beside the playing one ([`engine::Successor`]).
//! 3. It reaches the owner through the inbox (`daemon/inbox.rs`). Between two events the old engine makes way, the new
//!    one takes over what is held and waiting (`engine/take_over.rs`), and the old one goes back to be freed.
//!
//! # A cue
//!
//! 1. The step offers the message to the cues in use (`engine/cues/trigger.rs`); `presses.rs` tells what a press was, at
//!    once or when its time is over.
//! 2. `fire.rs` looks at each cue when its turn comes and returns what is to be done.
//! 3. The engine does it: an action (`engine/set/change.rs`) or a message to another machine (`engine/set/sends.rs`).
//!
//! # A button of the page
//!
//! 1. The page sends its words over its socket (`page/viewer.rs`), with the time of the press and the number of the state
//!    that it had drawn.
//! 2. `page/worker.rs` refuses what is old or was meant for a state that has passed, and hands the rest to
//!    `daemon/requests.rs`, which serves the control socket too.
//! 3. The action is read with the names of the loaded maps, goes through the inbox to the owner, and its outcome comes
//!    back as a sentence (`wording`).
//! 4. The observer (`daemon/observer.rs`) reads the owner's report, and `page/publisher.rs` makes the frame that every
//!    connected page gets.
//!
//! # A take
//!
//! 1. The owner gives `daemon/recorder.rs` small records of what came in, what was done and what was sent; a thread of its
//!    own writes them as standard MIDI files, whole after every byte ([`midi::file`]).
//! 2. `replay` reads one and plays it through the same step (`engine/replay.rs`).
//!
//! # Where the tables come from
//!
//! [`map`] reads TOML text into gear, songs and set as written, with every fault at its place; [`evening`] says what
//! tonight makes of them, each rule once; [`engine::Plan`] is that compiled flat; [`check`] looks for what could go
//! wrong tonight; `wording` puts it into the player's words; [`page`] is the page for a tablet
//! on the music stand, [`paper`] the same on paper; [`cli`] is the command line.
//!
//! Each module says in its first lines what it does not know; `tests/tidy.rs` holds it to that.

pub mod check;
pub mod cli;
pub mod daemon;
pub mod engine;
pub mod evening;
pub mod map;
pub mod midi;
pub mod music;
pub mod page;
pub mod paper;
pub mod ports;
pub(crate) mod wording;
