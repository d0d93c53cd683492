//! Where the set stands.

use serde::{Deserialize, Serialize};

use crate::map::{Book, Entry, Song};

/// Where the set stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Standing {
    /// Index of the entry.
    pub entry: usize,
    /// Index of the entry whose zones the keys play: another one only in a pause. `None` before the first song.
    pub song: Option<usize>,
    /// Place in the song's order; while in a section that the order lacks, the place that was left for it.
    pub order_step: usize,
    /// Index of the section.
    pub section: usize,
    /// Semitones that `raise-key`, `lower-key` and `key` have added.
    pub transposed: i32,
    /// From the keys that are pressed to the notes that sound, in semitones.
    pub shift: i32,
    /// Pitch class of the tonic that the room hears, 0 = C.
    pub tonic: u8,
}

impl Standing {
    /// The entry and the song whose zones the keys play, in a pause too; `None` before the first song.
    #[must_use]
    pub fn playing<'b>(&self, book: &'b Book) -> Option<(&'b Entry, &'b Song)> {
        let entry = book.set.entries.get(self.song?)?;
        Some((entry, book.songs.get(entry.song?)?))
    }

    /// Pitch class of the tonic of the key that the fingers play in, 0 = C *(playing)*.
    #[must_use]
    pub fn finger_tonic(&self) -> u8 {
        (i32::from(self.tonic) - self.shift).rem_euclid(12) as u8
    }
}
