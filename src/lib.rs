//! handspan: from the keyboard to the sounds.
//!
//! # The path of one key press, from port to port
//!
//! 1. The keyboard's bytes reach [`ports`]: on Linux the ALSA sequencer wakes the one thread that owns everything,
//!    in [`ports::Ports::wait`], which gives one whole message and the number of its input.
//! 2. The owner, [`daemon::Daemon`], looks at the clock, decodes the message ([`midi::decode`]) and hands both to
//!    [`engine::Engine::step`]. The engine knows no clock: time is an argument.
//! 3. The step first runs what has become due (`engine/send.rs`), then hears the message (`engine/mod.rs`): is it the
//!    channel that this input is heard on?
//! 4. The press (`engine/press.rs`): the input's curve makes the velocity; each zone in use, in file order, is asked
//!    whether it listens to the input and contains key and velocity, up to the first `exclusive`.
//! 5. Each zone that takes the key makes a note of it: octaves, transposition, tonight's shift, its range; and a
//!    velocity from its table.
//! 6. The ledger (`engine/ledger.rs`) says what striking that note has to do: on; off and on; or only one more owner.
//!    It writes down that this press began this note here, so that its release ends it here, whatever comes between.
//! 7. The messages go into the [`engine::Out`] buffer, and from there the owner sends each to its output,
//!    [`ports::Ports::send`], before it looks at anything else.
//!
//! Nothing on this way allocates, locks, parses, searches by name or blocks.
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
