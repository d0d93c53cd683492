//! From a key to the note that a zone makes of it.

use crate::map::Zone;

/// How far a zone's notes lie from its keys, before `within` (rule R4).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Offset {
    /// Semitones without the shift.
    own: i32,
    /// Whether the shift moves them too.
    follows: bool,
}

impl Offset {
    /// A zone's: octaves and transposition, and the shift if it follows the key.
    #[must_use]
    pub fn of(zone: &Zone) -> Offset {
        Offset { own: 12 * zone.octave + zone.transpose, follows: zone.follow_key }
    }

    /// Semitones from a key to its note under a shift *(playing)*.
    #[must_use]
    pub fn at(self, shift: i32) -> i32 {
        self.own + if self.follows { shift } else { 0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::one_song;

    #[test]
    fn octaves_transposition_and_the_shift_add_up() {
        // R4: 12·octave + transpose + (shift if follow_key).
        let book = one_song(
            "",
            "title = \"Snow\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\noctave = -1\ntranspose = 7\n\
             [[zone]]\nname = \"drum\"\nsound = \"grand\"\noctave = 1\nfollow_key = false\n",
        );
        let at = |zone: usize, shift| Offset::of(&book.songs[0].zones[zone]).at(shift);
        assert_eq!([at(0, 0), at(0, 3), at(0, -4)], [-5, -2, -9]);
        assert_eq!([at(1, 0), at(1, 3)], [12, 12]);
    }
}
