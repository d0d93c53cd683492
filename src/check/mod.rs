//! What could go wrong tonight, found before it does: findings on a set that has loaded without an error.
//!
//! An error would make tonight go wrong: something is silent, wrong or missing that the maps say is there. A hint is
//! worth a look, but may be meant so.
//!
//! | file | findings |
//! | --- | --- |
//! | `reach` | zones that no key or touch reaches, that tonight leaves out, that reach beyond the keyboard |
//! | `gaps` | keys and inputs that play nothing |
//! | `split` | splits that overlap by a few keys, zones written twice, two zones of one name |
//! | `unused` | sounds that no song uses, a second keyboard that no zone names |
//! | `times` | times that look like seconds |
//! | `rings` | notes that linger into a pause, through a song without zones or to the end, cues that end by themselves |
//! | `drones` | drones that are turned on and never off |
//! | `touch` | velocities that no zone takes |
//! | `hand` | fingers that nothing plays, zones that never get keys enough, chords that no finger gives, chords in another key than they are read in |
//! | `pitch` | notes that leave MIDI's range, zones moved down into the mud, layers in it |
//! | `channel` | programs that change under held notes, two volumes and two ways with a pedal on one channel |
//! | `never` | cues that can never fire, those that have nothing to do, and those whose `off` turns nothing off |
//! | `together` | cues that fire at one press, and those that wait for a second or a long one |
//! | `spare` | keys and pedals that a cue takes from the hand |
//! | `journey` | songs that no cue leads to, numbers that lead elsewhere than meant, songs twice under one title |
//! | `echo` | cues that what they send may set off again |
//! | `wire` | chords and changes of song that take long on a DIN cable |
//! | `voice` | melodies outside a singer's range, singers of whom a range is missing or wrong |
//! | `stage` | inputs, cables, outputs' files, the page's network and pauses of the whole evening |
//! | `ports` | ports that are not there, that this system cannot have, or that could be one of several |
//!
//! Everything here is static: nothing is played, and no port is opened. The work grows with the number of songs, and
//! in each song with its sections, zones and the ranges that they divide the keyboard into.

mod channel;
mod drones;
mod echo;
mod gaps;
mod hand;
mod journey;
mod keyboard;
mod never;
mod part;
mod pitch;
mod ports;
mod reach;
mod rings;
mod spare;
mod split;
mod stage;
mod times;
mod together;
mod tonight;
mod touch;
mod unused;
mod voice;
mod wire;
mod words;

pub use ports::{PortMatch, PortMatches, SeenPort, port_findings};

use crate::map::{Book, Diagnostic};
use tonight::Tonight;

/// Everything static that could go wrong tonight, file by file and from top to bottom.
#[must_use]
pub fn findings(book: &Book) -> Vec<Diagnostic> {
    let tonight = Tonight::new(book);
    let mut found = Vec::new();
    stage::find(&tonight, &mut found);
    unused::find(&tonight, &mut found);
    gaps::find(&tonight, &mut found);
    for piece in &tonight.pieces {
        reach::find(&tonight, piece, &mut found);
        split::find(&tonight, piece, &mut found);
        touch::find(&tonight, piece, &mut found);
        hand::find(&tonight, piece, &mut found);
        pitch::find(&tonight, piece, &mut found);
        channel::within_a_section(piece, &mut found);
    }
    channel::over_a_change(&tonight, &mut found);
    never::find(&tonight, &mut found);
    together::find(book, &mut found);
    spare::find(&tonight, &mut found);
    journey::find(book, &mut found);
    echo::find(book, &mut found);
    times::find(book, &mut found);
    rings::find(&tonight, &mut found);
    drones::find(&tonight, &mut found);
    voice::find(&tonight, &mut found);
    wire::find(&tonight, &mut found);
    found.sort_by_key(|finding| finding.spot.map(|spot| (spot.file, spot.start)));
    found
}
