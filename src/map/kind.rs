//! The three kinds of map, and how a file shows which it is.

use toml::de::DeTable;

/// The three kinds of map.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MapKind {
    /// Tonight's songs in order.
    Set,
    /// Inputs, outputs, sounds, curves, cues.
    Gear,
    /// A song.
    Song,
}

impl MapKind {
    /// All of them.
    pub const ALL: [MapKind; 3] = [MapKind::Gear, MapKind::Song, MapKind::Set];

    /// What kind of map a text is, by the fields that only one kind has; none where it is no TOML or has none of these.
    #[must_use]
    pub fn of(text: &str) -> Option<MapKind> {
        let table = DeTable::parse(text).ok()?;
        MapKind::ALL.into_iter().find(|kind| kind.is_marked(table.get_ref()))
    }

    fn is_marked(self, table: &DeTable<'_>) -> bool {
        table.keys().any(|key| self.marks().contains(&key.get_ref().as_ref()))
    }

    /// What such a file is called in a sentence.
    pub(super) fn called(self) -> &'static str {
        match self {
            MapKind::Set => "a set",
            MapKind::Gear => "a gear file",
            MapKind::Song => "the map of a song",
        }
    }

    /// What to write where another file is named.
    pub(super) fn asked_for(self) -> &'static str {
        match self {
            MapKind::Set => "name the file that lists tonight's songs",
            MapKind::Gear => "name the file that holds the inputs, outputs and sounds",
            MapKind::Song => "name the file that holds the song",
        }
    }

    /// Fields that only this kind has.
    fn marks(self) -> &'static [&'static str] {
        match self {
            MapKind::Set => &["song", "gear", "singers"],
            MapKind::Gear => &["inputs", "outputs", "sounds", "curves"],
            MapKind::Song => &["zone", "section", "key", "fingers", "drone"],
        }
    }

    /// What a file is that was taken for this kind, if it is plainly another.
    pub(super) fn mistaken(self, table: &DeTable<'_>) -> Option<MapKind> {
        let mut others = MapKind::ALL.into_iter().filter(|kind| *kind != self);
        if self.is_marked(table) { None } else { others.find(|kind| kind.is_marked(table)) }
    }
}
