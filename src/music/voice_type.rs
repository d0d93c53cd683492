//! Voices by name: what a soprano, an alto, a tenor or a bass sings.

use wmidi::Note;

/// A kind of voice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VoiceType {
    /// The high voice of women and children.
    Soprano,
    /// Between soprano and alto.
    Mezzo,
    /// The low voice of women.
    Alto,
    /// The high voice of men.
    Tenor,
    /// Between tenor and bass.
    Baritone,
    /// The low voice of men.
    Bass,
}

impl VoiceType {
    /// All, from above.
    pub const ALL: [VoiceType; 6] =
        [VoiceType::Soprano, VoiceType::Mezzo, VoiceType::Alto, VoiceType::Tenor, VoiceType::Baritone, VoiceType::Bass];

    /// Its name, as the trade has it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            VoiceType::Soprano => "soprano",
            VoiceType::Mezzo => "mezzo",
            VoiceType::Alto => "alto",
            VoiceType::Tenor => "tenor",
            VoiceType::Baritone => "baritone",
            VoiceType::Bass => "bass",
        }
    }

    /// The kind of voice of this name, whatever the case of its letters.
    #[must_use]
    pub fn named(name: &str) -> Option<VoiceType> {
        VoiceType::ALL.into_iter().find(|voice| voice.name().eq_ignore_ascii_case(name.trim()))
    }

    /// Its lowest and highest note: *The New Harvard Dictionary of Music* (1986), "Voice". No singer is a table.
    #[must_use]
    pub const fn range(self) -> (Note, Note) {
        match self {
            VoiceType::Soprano => (Note::C4, Note::A5),
            VoiceType::Mezzo => (Note::A3, Note::F5),
            VoiceType::Alto => (Note::F3, Note::D5),
            VoiceType::Tenor => (Note::B2, Note::G4),
            VoiceType::Baritone => (Note::G2, Note::E4),
            VoiceType::Bass => (Note::E2, Note::C4),
        }
    }

    /// What it sings with ease. Of the four voices of a choir the notes between which nine tenths of the time of 351
    /// four-part chorales of J. S. Bach lie, as music21 has them (5th to 95th percentile); those of mezzo and baritone are the
    /// usual ones of textbooks, from memory.
    #[must_use]
    pub const fn comfortable(self) -> (Note, Note) {
        match self {
            VoiceType::Soprano => (Note::E4, Note::E5),
            VoiceType::Mezzo => (Note::B3, Note::C5),
            VoiceType::Alto => (Note::B3, Note::Bb4),
            VoiceType::Tenor => (Note::Gb3, Note::F4),
            VoiceType::Baritone => (Note::C3, Note::C4),
            VoiceType::Bass => (Note::G2, Note::Bb3),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_easy_lies_within_what_can_be_sung_and_no_voice_lies_above_a_higher_one() {
        for voice in VoiceType::ALL {
            let ((low, high), (easy_low, easy_high)) = (voice.range(), voice.comfortable());
            assert!(low <= easy_low && easy_low < easy_high && easy_high <= high, "{voice:?}");
            assert_eq!(VoiceType::named(&voice.name().to_uppercase()), Some(voice));
        }
        for pair in VoiceType::ALL.windows(2) {
            assert!(pair[0].range().0 > pair[1].range().0 && pair[0].range().1 > pair[1].range().1, "{pair:?}");
        }
        assert_eq!(VoiceType::named("descant"), None);
    }

    /// The New Harvard Dictionary of Music, as a cataloguing page of Yale's library prints it, as MIDI numbers.
    #[test]
    fn ranges_are_those_of_the_dictionary() {
        let expected = [(60, 81), (57, 77), (53, 74), (47, 67), (43, 64), (40, 60)];
        let ranges = VoiceType::ALL.map(|voice| (u8::from(voice.range().0), u8::from(voice.range().1)));
        assert_eq!(ranges, expected);
    }
}
