//! What belongs to a section: its zones and its chords, its own or those of a section that it is like.

use crate::map::{Curve, Section, Song, Zone};
use crate::music::chord::Bar;

/// A section, by its number, and those that it is like, one after the other.
fn lineage(song: &Song, section: usize) -> impl Iterator<Item = &Section> {
    let like = |section: &&Section| {
        let name = &section.like.as_ref()?.value;
        song.sections.iter().find(|section| section.name.value == *name)
    };
    // No line is longer than there are sections, so a circle would end too.
    std::iter::successors(song.sections.get(section), like).take(song.sections.len())
}

/// Whether a zone belongs to a section, by its number: it names none, or that one, or one that the section is like. To
/// a song without sections all its zones belong.
#[must_use]
pub fn plays_in(song: &Song, zone: &Zone, section: usize) -> bool {
    let Some(named) = zone.sections.as_ref().filter(|_| !song.sections.is_empty()) else { return true };
    lineage(song, section).any(|section| named.iter().any(|named| named.value == section.name.value))
}

/// Whether a zone is in use in a section (rule R3): it is on and belongs to it.
#[must_use]
pub fn is_in_use(song: &Song, zone: &Zone, section: usize, on: bool) -> bool {
    on && plays_in(song, zone, section)
}

/// The sections to which a zone belongs, by number; of a song without sections, 0 for the whole song.
pub fn sections_of<'s>(song: &'s Song, zone: &'s Zone) -> impl Iterator<Item = usize> + 's {
    (0..song.sections.len().max(1)).filter(move |section| plays_in(song, zone, *section))
}

/// The bars of chords of a section, by its number: its own, else those of the section that it is like. They are in the
/// chart's key, also in a section with a key of its own (rule R12). Empty where it has none.
#[must_use]
pub fn chords_of(song: &Song, section: usize) -> &[Bar] {
    let own = lineage(song, section).find_map(|section| section.chords.as_ref());
    own.map_or(&[], |chords| &chords.value)
}

/// The tempo of a section, by its number: its own, else that of the section that it is like, else the song's.
#[must_use]
pub fn tempo_of(song: &Song, section: usize) -> Option<f64> {
    lineage(song, section).find_map(|section| section.tempo).or(song.tempo)
}

/// The curve of a section, by its number: its own, else that of the section that it is like.
#[must_use]
pub fn curve_of(song: &Song, section: usize) -> Option<&Curve> {
    lineage(song, section).find_map(|section| section.curve.as_ref())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::one_song;

    #[test]
    fn a_section_has_zones_and_chords_of_those_that_it_is_like() {
        let book = one_song(
            "",
            "title = \"Snow\"\nkey = \"C\"\n\
             [[section]]\nname = \"verse\"\nchords = \"C | F G\"\n[[section]]\nname = \"chorus\"\nlike = \"verse\"\n\
             [[section]]\nname = \"last chorus\"\nlike = \"chorus\"\nchords = \"Am\"\n[[section]]\nname = \"end\"\n\
             [[zone]]\nsound = \"grand\"\n[[zone]]\nsound = \"grand\"\nname = \"v\"\nsections = [\"verse\"]\n\
             [[zone]]\nsound = \"grand\"\nname = \"c\"\nsections = [\"chorus\", \"end\"]\n",
        );
        let song = &book.songs[0];
        let sections = |zone: usize| sections_of(song, &song.zones[zone]).collect::<Vec<_>>();
        assert_eq!([sections(0), sections(1), sections(2)], [vec![0, 1, 2, 3], vec![0, 1, 2], vec![1, 2, 3]]);
        let bars = |section| chords_of(song, section).iter().map(|bar| bar.into_iter().count()).collect::<Vec<_>>();
        assert_eq!([bars(0), bars(1), bars(2), bars(3), bars(4)], [vec![1, 2], vec![1, 2], vec![1], vec![], vec![]]);
        // R3: a zone is in use while it is on and belongs to the current section.
        let in_use = |section, on| is_in_use(song, &song.zones[1], section, on);
        assert_eq!([in_use(0, true), in_use(0, false), in_use(3, true)], [true, false, false]);
    }

    #[test]
    fn without_sections_all_zones_belong_to_the_song() {
        let book = one_song("", "title = \"Snow\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n");
        let song = &book.songs[0];
        assert_eq!(sections_of(song, &song.zones[0]).collect::<Vec<_>>(), [0]);
        assert!(chords_of(song, 0).is_empty());
    }
}
