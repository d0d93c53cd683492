//! What the start held back of the lists, until it is done or left (rule R8).

/// How much of the lists the start held back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::engine) struct HeldBack {
    /// Of the lists of song and entry: until a song or pause is entered.
    pub song: u16,
    /// Of the section's list: until a section is entered.
    pub section: u16,
}

impl HeldBack {
    /// All of it.
    pub fn count(self) -> u16 {
        self.song.saturating_add(self.section)
    }
}
