//! What fits the key.

use super::sections::{chords_of, sections_of};
use crate::map::{Song, Zone};
use crate::music::Classes;

/// What fits in a section, by its number, where the fingers play in the key on `tonic` (rule R12): the scale of that
/// key, in minor with the raised seventh, and every note of the section's chords. On tonic 0 these are semitones above
/// the tonic.
#[must_use]
pub fn fits(song: &Song, section: usize, tonic: u8) -> Classes {
    let chart = song.key.value;
    let chords = chords_of(song, section).iter().flatten();
    let fits = chords.fold(chart.fitting(), |fits, chord| fits.and(chord.classes()));
    fits.moved(i32::from(tonic) - i32::from(chart.tonic()))
}

/// What fits in a zone over several sections.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ZoneFits {
    /// What fits in one section at least.
    pub somewhere: Classes,
    /// What fits in every section.
    pub everywhere: Classes,
}

impl ZoneFits {
    /// Of sections in which these fit.
    fn over(sections: impl Iterator<Item = Classes>) -> ZoneFits {
        let sections: Vec<Classes> = sections.collect();
        let held = |class: &u8| sections.iter().all(|fits| fits.contains(*class));
        ZoneFits {
            somewhere: sections.iter().fold(Classes::NONE, |all, fits| all.and(*fits)),
            everywhere: (0..12).filter(held).fold(Classes::NONE, Classes::with),
        }
    }
}

/// What fits in a zone where the fingers play in the key on `tonic`: in one section, or in all to which it belongs.
#[must_use]
pub fn zone_fits(song: &Song, zone: &Zone, section: Option<usize>, tonic: u8) -> ZoneFits {
    match section {
        Some(section) => ZoneFits::over(std::iter::once(fits(song, section, tonic))),
        None => ZoneFits::over(sections_of(song, zone).map(|section| fits(song, section, tonic))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::one_song;

    fn listed(classes: Classes) -> Vec<u8> {
        classes.iter().collect()
    }

    #[test]
    fn the_scale_and_every_note_of_the_sections_chords_fit() {
        // R12: the scale of the play-in key and every note of the current section's chords, which are in the chart's
        // key also where the section has a key of its own.
        let book = one_song(
            "",
            "title = \"Snow\"\nkey = \"D\"\nplay_in = \"C\"\n[[zone]]\nsound = \"grand\"\nstay_in_key = \"nearest\"\n\
             [[section]]\nname = \"verse\"\n[[section]]\nname = \"bridge\"\nkey = \"E\"\nchords = \"D | E7\"\n",
        );
        let song = &book.songs[0];
        assert_eq!(listed(fits(song, 0, 0)), [0, 2, 4, 5, 7, 9, 11]);
        // E7 in D is D7 in C: F# is new.
        assert_eq!(listed(fits(song, 1, 0)), [0, 2, 4, 5, 6, 7, 9, 11]);
        assert_eq!(fits(song, 1, 7), fits(song, 1, 0).moved(7));
        let zone = zone_fits(song, &song.zones[0], None, 0);
        assert_eq!((zone.somewhere, zone.everywhere), (fits(song, 1, 0), fits(song, 0, 0)));
        let bridge = zone_fits(song, &song.zones[0], Some(1), 0);
        assert_eq!((bridge.somewhere, bridge.everywhere), (fits(song, 1, 0), fits(song, 1, 0)));
    }

    #[test]
    fn in_minor_the_raised_seventh_fits_too() {
        // R12: in minor natural, and the raised seventh too.
        let book = one_song("", "title = \"Snow\"\nkey = \"Am\"\n");
        assert_eq!(listed(fits(&book.songs[0], 0, 9)), [0, 2, 4, 5, 7, 8, 9, 11]);
    }
}
