//! A set as written.

use super::{At, Deed, KeyRange, PlayIn, ShiftWay, Spot};
use crate::music::{Key, VoiceType};

/// Tonight.
#[derive(Debug, Clone)]
pub struct Set {
    /// Its title.
    pub title: String,
    /// A word to the player.
    pub remark: Option<String>,
    /// The fingers' key of all songs that say nothing else.
    pub play_in: Option<At<PlayIn>>,
    /// The singers.
    pub singers: Vec<Singer>,
    /// Songs and pauses in order; never empty.
    pub entries: Vec<Entry>,
}

impl Set {
    /// The singers of an entry, as it names them.
    pub fn singers_of<'a>(&'a self, entry: &'a Entry) -> impl Iterator<Item = (&'a At<String>, &'a Singer)> {
        let known = |named: &At<String>| self.singers.iter().find(|singer| singer.name.value == named.value);
        entry.singers.iter().filter_map(move |named| Some((named, known(named)?)))
    }
}

/// A voice.
#[derive(Debug, Clone)]
pub struct Singer {
    /// Name in the set.
    pub name: At<String>,
    /// How one calls who it is; the name above where the set says nothing else.
    pub called: String,
    /// The kind of voice, where the set gives that instead of a range of its own.
    pub voice: Option<VoiceType>,
    /// Lowest and highest note; those of the kind of voice where it is given.
    pub range: KeyRange,
    /// Lowest and highest comfortable note, of the kind of voice likewise.
    pub comfortable: Option<KeyRange>,
}

/// A song of tonight, or a pause.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The whole entry, for findings about it.
    pub spot: Spot,
    /// The song, as an index into [`Book::songs`]; `None`: a pause.
    pub song: Option<usize>,
    /// Tonight's title, where it is not the song's.
    pub title: Option<String>,
    /// Tonight's key.
    pub key: Option<At<Key>>,
    /// Tonight's fingers' key.
    pub play_in: Option<At<PlayIn>>,
    /// Tonight's shift.
    pub shift: Option<ShiftWay>,
    /// Tonight's order of sections.
    pub order: Option<Vec<At<String>>>,
    /// Who sings.
    pub singers: Vec<At<String>>,
    /// A word to the player.
    pub remark: Option<String>,
    /// What is done as it is entered, in order; after the song's own list.
    pub on_entering: Vec<Deed>,
}
