//! Ranges of notes: folding a note into one by octaves, and where close intervals get muddy.

use wmidi::Note;

/// Brings a note number into an inclusive range by octaves, to the nearest place inside it (rule R4's
/// `within`): a note that is inside stays, one below comes to its lowest place in the range, one above to
/// its highest. The number may be any, so that a note beyond 0–127 can come back into MIDI's range.
///
/// Gives `None` where the range is narrower than twelve notes and has no place for the note.
#[must_use]
pub fn fold_into(number: i32, (low, high): (Note, Note)) -> Option<i32> {
    let (low, high) = (i32::from(u8::from(low)), i32::from(u8::from(high)));
    let folded = if number < low {
        low + (number - low).rem_euclid(12)
    } else if number > high {
        high - (high - number).rem_euclid(12)
    } else {
        number
    };
    (low..=high).contains(&folded).then_some(folded)
}

/// The lowest bottom note on which an interval of so many semitones still sounds clear: common practice,
/// as a hint; conventions differ by a few semitones and none is a standard (the figures here are the ones
/// most arranging classes give, after Lowell & Pullig, *Arranging for Large Jazz Ensemble*, 2003).
///
/// `None` where there is no limit: unisons, octaves, and all wider than a major tenth.
#[must_use]
pub fn lowest_clear(semitones: u8) -> Option<Note> {
    Some(match semitones {
        1 => Note::E3,
        2 => Note::Eb3,
        3 => Note::C3,
        4..=6 => Note::Bb2,
        7 => Note::Bb1,
        8 => Note::G2,
        9..=11 => Note::F2,
        13 => Note::E2,
        14 => Note::Eb2,
        15 => Note::C2,
        16 => Note::B1,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_inside_stays() {
        for number in 48..=60 {
            assert_eq!(fold_into(number, (Note::C3, Note::C4)), Some(number));
        }
    }

    #[test]
    fn a_note_outside_comes_to_the_nearest_place() {
        // C3–C4 holds both its Cs: from below the lower is nearer, from above the higher.
        assert_eq!(fold_into(36, (Note::C3, Note::C4)), Some(48));
        assert_eq!(fold_into(72, (Note::C3, Note::C4)), Some(60));
        assert_eq!(fold_into(47, (Note::C3, Note::C4)), Some(59));
        assert_eq!(fold_into(61, (Note::C3, Note::C4)), Some(49));
        assert_eq!(fold_into(-5, (Note::C3, Note::C4)), Some(55));
        assert_eq!(fold_into(140, (Note::C3, Note::C4)), Some(56));
    }

    #[test]
    fn twelve_notes_hold_every_pitch_class_and_the_nearest_place_is_taken() {
        for low in 0..=116u8 {
            for width in [11, 12, 20] {
                let Ok(high) = Note::try_from(low + width) else { continue };
                let range = (Note::try_from(low).unwrap(), high);
                for number in -60..=190 {
                    let folded = fold_into(number, range).unwrap();
                    assert_eq!((folded - number) % 12, 0);
                    let nearest = (i32::from(low)..=i32::from(low + width))
                        .filter(|place| (place - number) % 12 == 0)
                        .min_by_key(|place| (place - number).abs());
                    assert_eq!(Some(folded), nearest);
                }
            }
        }
    }

    #[test]
    fn a_narrow_range_may_have_no_place() {
        assert_eq!(fold_into(60, (Note::D3, Note::E3)), None);
        assert_eq!(fold_into(62, (Note::D3, Note::E3)), Some(50));
        assert_eq!(fold_into(86, (Note::D3, Note::E3)), Some(50));
        assert_eq!(fold_into(60, (Note::E4, Note::D4)), None);
    }

    #[test]
    fn low_thirds_are_muddy_and_low_fifths_are_not() {
        // Common practice: C2 with E2 is rejected by every convention, C2 with G2 by few, octaves by none.
        assert!(lowest_clear(4).is_some_and(|lowest| Note::C2 < lowest));
        assert!(lowest_clear(7).is_some_and(|lowest| Note::C2 >= lowest));
        assert_eq!(lowest_clear(0), None);
        assert_eq!(lowest_clear(12), None);
        assert_eq!(lowest_clear(17), None);
        // And from E3 upward everything is clear.
        assert!((0..=24).filter_map(lowest_clear).all(|lowest| lowest <= Note::E3));
    }
}
