//! Gear, songs and set as written: every value checked, every name known to exist, nothing compiled yet.
//! Each value that a finding may point at carries its [`Spot`].

mod cue;
mod curve;
mod gear;
mod hand;
mod keys;
mod message;
mod set;
mod song;
mod text;

pub use cue::{ClockCommand, Cue, Deed, Does, Off, Press, Rest, SongChoice, Trigger, When, WrittenAction};
pub use curve::Curve;
pub use gear::{Cable, Gear, Input, Output, Sound, Stand};
pub use hand::{Controls, Drone, Finger, Linger, Pedal, Plays, StayInKey};
pub use keys::{KeyRange, PlayIn, ShiftWay};
pub use message::SendMessage;
pub use set::{Entry, Set, Singer};
pub use song::{Section, Song};
pub use text::{At, Source, Spot};

/// A set with everything it names: what the player packs for tonight.
#[derive(Debug, Clone)]
pub struct Book {
    /// All files read: the set first, then the gear, then the songs.
    pub sources: Vec<Source>,
    /// The gear.
    pub gear: Gear,
    /// Each song file once, in the order in which the set names them first.
    pub songs: Vec<Song>,
    /// The set.
    pub set: Set,
}

impl Book {
    /// All cues, as the engine numbers them: the gear's, then the songs'.
    pub fn cues(&self) -> impl Iterator<Item = &Cue> {
        self.gear.cues.iter().chain(self.songs.iter().flat_map(|song| &song.cues))
    }

    /// All that is done on entering and leaving, of songs and of entries.
    pub fn deeds(&self) -> impl Iterator<Item = &Deed> {
        self.songs.iter().flat_map(Song::deeds).chain(self.set.entries.iter().flat_map(|entry| &entry.on_entering))
    }

    /// The cues that are in use in a song: the gear's, without those that the song replaces, then the song's, each in
    /// file order. Without a song, the gear's.
    #[must_use]
    pub fn cues_in<'a>(&'a self, song: Option<&'a Song>) -> Vec<&'a Cue> {
        let own: &'a [Cue] = song.map_or(&[], |song| &song.cues);
        let kept = |cue: &&'a Cue| !own.iter().any(|own| own.when.is_same(&cue.when));
        self.gear.cues.iter().filter(kept).chain(own).collect()
    }
}
