//! The speller: how chords and notes are written at one moment.
//!
//! Keys of a keyboard have no spelling; a chart and a key have. In this order:
//!
//! 1. A chord that the section has is written as the section writes it.
//! 2. Any other has its root as a chord of the section on that root has it, else as the key writes it (the harmonic
//!    chromatic scale of the tonic). Where the other way to write that root lets the chord's notes lie clearly nearer
//!    to the key, it is that: in C a C#dim7 (C# E G Bb), though the key has a Db.
//! 3. The other notes of a chord are written by their interval from its root: thirds as thirds. So is a bass that is a
//!    note of the chord; a foreign one that fits the key is written as the key has it, else by its interval.
//! 4. Diminished seventh and augmented chords divide the octave evenly: any of their notes may be the root. They are
//!    named by their bass, and written by the root that the section has for these notes, else the one with which they
//!    lie nearest to the key, of several the sharpest: what leads is raised. In A minor a Fdim7 is F G# B D.
//! 5. A note without a chord is written as the chords of the section have it, else as the key does.
//!
//! Nothing is ever written with a double sharp or double flat, though a textbook would (the seventh of Cdim7 is a
//! B double flat there, an A here): nobody reads one at arm's length.

use super::chord::{ChordKind, NamedChord};
use super::note;
use super::{Chord, Key, Tone};
use wmidi::Note;

/// How far down and up from its signature a key reaches on the line of fifths: a lowered fifth, and the leading note of
/// the third degree.
const REACH: (i32, i32) = (-6, 9);

/// By how much the other way to write a root must be nearer to the key.
const CLEARLY: i32 = 2;

/// How strange a double accidental is.
const UNWRITABLE: i32 = 3;

/// Whether a chord of this kind divides the octave evenly.
fn is_even(kind: ChordKind) -> bool {
    matches!(kind, ChordKind::DiminishedSeventh | ChordKind::Augmented)
}

/// Spells in a key, beside chords as they are written in it.
#[derive(Debug, Clone)]
pub struct Speller {
    key: Key,
    chords: Vec<Chord>,
}

impl From<Key> for Speller {
    /// Spells by a key alone.
    fn from(key: Key) -> Speller {
        Speller { key, chords: Vec::new() }
    }
}

impl Speller {
    /// Spells in `key` beside the chords of a section, as they are written in that key.
    #[must_use]
    pub fn new(key: Key, chords: impl IntoIterator<Item = Chord>) -> Speller {
        Speller { key, chords: chords.into_iter().collect() }
    }

    /// The chord that is held.
    #[must_use]
    pub fn chord(&self, named: NamedChord) -> Chord {
        let NamedChord { root, kind, bass } = named;
        let own = |chord: &&Chord| (chord.root(), chord.kind(), chord.bass()) == (root, kind, bass);
        if let Some(own) = self.chords.iter().find(own) {
            return *own;
        }
        let root = if is_even(kind) { self.of_even(root, kind, root) } else { Some(self.root(root, kind)) };
        let root = root.unwrap_or_else(|| self.tone(named.root));
        let slash = (bass != named.root).then(|| self.bass(Chord::new(root, kind, None), bass));
        Chord::new(root, kind, slash)
    }

    /// A pitch class (0 = C … 11 = B) without a chord.
    #[must_use]
    pub fn tone(&self, class: u8) -> Tone {
        let by_key = Tone::in_key(class, self.key);
        let mut written = self.chords.iter().filter_map(|chord| chord.tone(class % 12));
        let first = written.clone().next();
        if written.any(|tone| tone == by_key) { by_key } else { first.unwrap_or(by_key) }
    }

    /// A pitch class that sounds with a chord, as this speller spells it.
    #[must_use]
    pub fn tone_of(&self, class: u8, chord: Option<Chord>) -> Tone {
        let tone = chord.and_then(|chord| match is_even(chord.kind()) && chord.slash() != Some(class % 12) {
            true => self.of_even(chord.root(), chord.kind(), class),
            false => chord.tone(class),
        });
        tone.unwrap_or_else(|| self.tone(class))
    }

    /// The name of a note without a chord; `middle_c_octave` as in [`note`].
    #[must_use]
    pub fn note(&self, note: Note, middle_c_octave: i32) -> String {
        self.note_of(note, None, middle_c_octave)
    }

    /// The name of a note that sounds with a chord.
    #[must_use]
    pub fn note_of(&self, note: Note, chord: Option<Chord>, middle_c_octave: i32) -> String {
        note::written(note, self.tone_of(u8::from(note) % 12, chord), middle_c_octave)
    }

    /// The root of a chord that the section does not have over this bass.
    fn root(&self, class: u8, kind: ChordKind) -> Tone {
        let on_root = || self.chords.iter().filter(|chord| chord.root() == class);
        if let Some(same) = on_root().find(|chord| chord.kind() == kind) {
            return same.root_tone();
        }
        let usual = on_root().next().map_or_else(|| Tone::in_key(class, self.key), |chord| chord.root_tone());
        let strangeness = |root: Tone| self.strangeness(root, kind);
        let other = usual.others().min_by_key(|other| strangeness(*other));
        other.filter(|other| strangeness(*other) + CLEARLY <= strangeness(usual)).unwrap_or(usual)
    }

    /// A note of a chord that divides the octave evenly, by the root by which it is written.
    fn of_even(&self, root: u8, kind: ChordKind, class: u8) -> Option<Tone> {
        let notes = |root: u8| kind.classes().moved(i32::from(root));
        let same = |chord: &&Chord| chord.kind() == kind && notes(chord.root()) == notes(root);
        let own = self.chords.iter().find(same).map(|chord| chord.root_tone());
        let plain = notes(root).iter().map(|class| Tone::in_key(class, self.key));
        let written = plain.flat_map(|tone| tone.others().chain([tone]));
        let nearest = || written.min_by_key(|root| (self.strangeness(*root, kind), -root.fifths()));
        Chord::new(own.or_else(nearest)?, kind, None).tone(class)
    }

    /// How far the notes of a chord lie outside what the key reaches, on the line of fifths.
    fn strangeness(&self, root: Tone, kind: ChordKind) -> i32 {
        let (low, high) = (self.key.signature() + REACH.0, self.key.signature() + REACH.1);
        let places = kind.classes().iter().filter_map(|step| kind.fifths_to(step)).map(|way| root.fifths() + way);
        let beyond = |place: i32| if Tone::C.further(place).is_some() { 0 } else { UNWRITABLE };
        places.map(|place| (low - place).max(place - high).max(0) + beyond(place)).sum()
    }

    /// The bass of a chord without one of its own.
    fn bass(&self, chord: Chord, class: u8) -> Tone {
        let by_key = Tone::in_key(class, self.key);
        let is_own = chord.classes().contains(class);
        let foreign = || {
            if self.key.fitting().contains(class) { by_key } else { chord.root_tone().above(class).unwrap_or(by_key) }
        };
        if is_own { chord.tone(class).unwrap_or(by_key) } else { foreign() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::chord::{name, progression};

    fn key(text: &str) -> Key {
        text.parse().expect("a key")
    }

    /// Spells in a key, beside these chords.
    fn in_section(name: &str, chords: &str) -> Speller {
        let chords = progression(chords).expect("chords");
        Speller::new(key(name), chords.iter().flatten().copied())
    }

    /// The chord of these keys.
    fn held(speller: &Speller, keys: &[u8]) -> String {
        let set = keys.iter().fold(0, |set, key| set | 1u128 << key);
        speller.chord(name(set).expect("a chord")).to_string()
    }

    /// The notes, with the chord that they make.
    fn notes(speller: &Speller, keys: &[u8]) -> Vec<String> {
        let set = keys.iter().fold(0, |set, key| set | 1u128 << key);
        let chord = name(set).map(|named| speller.chord(named));
        let note = |key: &u8| speller.note_of(Note::try_from(*key).expect("a note"), chord, 4);
        keys.iter().map(note).collect()
    }

    #[test]
    fn basses_are_written_by_their_interval_from_the_root() {
        let c = Speller::from(key("C"));
        assert_eq!(held(&c, &[49, 57, 64, 69]), "A/C#");
        assert_eq!(held(&c, &[56, 64, 71]), "E/G#");
        assert_eq!(held(&c, &[58, 60, 64, 67]), "C7/Bb");
        assert_eq!(held(&Speller::from(key("D")), &[53, 61, 68, 71]), "C#7/E#");
        // Foreign to the chord: as the key has it where it fits, else by the interval.
        assert_eq!(held(&c, &[43, 62, 65, 69, 72]), "Dm7/G");
        assert_eq!(held(&Speller::from(key("Am")), &[44, 65, 69, 72]), "F/G#");
        assert_eq!(held(&c, &[46, 60, 64, 67, 71]), "Cmaj7/Bb");
    }

    #[test]
    fn thirds_are_thirds_and_leading_notes_lead() {
        let c = Speller::from(key("C"));
        assert_eq!(held(&c, &[61, 64, 67, 70]), "C#dim7");
        assert_eq!(held(&c, &[54, 57, 60, 63]), "F#dim7");
        assert_eq!(held(&c, &[61, 65, 68]), "Db");
        assert_eq!(held(&c, &[63, 67, 70]), "Eb");
        assert_eq!(held(&Speller::from(key("Am")), &[63, 67, 70]), "Eb");
        assert_eq!(held(&c, &[61, 64, 68]), "C#m");
        assert_eq!(notes(&Speller::from(key("Dm")), &[57, 61, 64, 67]), ["A3", "C#4", "E4", "G4"]);
        assert_eq!(notes(&Speller::from(key("D")), &[61, 65, 68, 71]), ["C#4", "E#4", "G#4", "B4"]);
        assert_eq!(notes(&Speller::from(key("Gb")), &[59, 63, 66]), ["Cb4", "Eb4", "Gb4"]);
        // Never a double flat.
        assert_eq!(notes(&Speller::from(key("Db")), &[60, 63, 66, 69]), ["C4", "Eb4", "Gb4", "A4"]);
    }

    #[test]
    fn what_divides_the_octave_evenly_is_named_by_its_bass_and_written_by_what_leads() {
        let am = Speller::from(key("Am"));
        assert_eq!([held(&am, &[53, 56, 59, 62]), held(&am, &[56, 59, 62, 65])], ["Fdim7", "G#dim7"]);
        assert_eq!(notes(&am, &[53, 56, 59, 62]), ["F3", "G#3", "B3", "D4"]);
        assert_eq!(held(&am, &[58, 61, 64, 67]), "Bbdim7");
        assert_eq!(notes(&am, &[64, 68, 72]), ["E4", "G#4", "C5"]);
        assert_eq!(notes(&Speller::from(key("Cm")), &[53, 56, 59, 62]), ["F3", "Ab3", "B3", "D4"]);
    }

    #[test]
    fn the_section_comes_before_the_key() {
        let e = in_section("E", "E | Bb7 B7 | A/C#");
        assert_eq!(held(&e, &[58, 62, 65, 68]), "Bb7");
        assert_eq!(notes(&e, &[58, 62, 65, 68]), ["Bb3", "D4", "F4", "Ab4"]);
        // Another chord on a root of the section has that root.
        assert_eq!(held(&e, &[58, 62, 65]), "Bb");
        let c_sharp = [61, 65, 68, 71];
        assert_eq!(held(&in_section("C", "C#7 | F#m"), &c_sharp), "C#7");
        assert_eq!(held(&Speller::from(key("C")), &c_sharp), "Db7");
        // The chord as written wins over intervals and over the key, with its bass too.
        assert_eq!(held(&in_section("C", "D/Gb | G"), &[54, 62, 69]), "D/Gb");
        // Its notes are those of the root that the section has for them.
        assert_eq!(notes(&in_section("C", "F#dim7 | G"), &[51, 54, 57, 60]), ["Eb3", "F#3", "A3", "C4"]);
        // A lowered second does not make a lowered leading note.
        assert_eq!(held(&in_section("C", "C | Db | G7"), &[61, 64, 67, 70]), "C#dim7");
    }

    #[test]
    fn a_note_alone_is_one_of_the_sections_chords_else_the_keys() {
        let c = Speller::from(key("C"));
        let name = |speller: &Speller, key: u8| speller.note(Note::try_from(key).expect("a note"), 4);
        assert_eq!([name(&c, 61), name(&c, 68)], ["Db4", "Ab4"]);
        let section = in_section("C", "C | A7/C# | Dm | E7");
        assert_eq!([name(&section, 61), name(&section, 68)], ["C#4", "G#4"]);
        // Where the section has both, it is the key's.
        assert_eq!(name(&in_section("C", "E7 | Fm"), 68), "Ab4");
        assert_eq!([name(&Speller::from(key("Gb")), 71), name(&Speller::from(key("C#")), 60)], ["Cb5", "B#3"]);
    }

    #[test]
    fn every_chord_is_written_with_its_own_classes_in_every_key() {
        let pitches = ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B", "Cb", "G#"];
        for tonic in pitches {
            for mode in ["", "m"] {
                let speller = Speller::from(key(&format!("{tonic}{mode}")));
                for root in 0..12 {
                    for kind in ChordKind::all() {
                        for bass in 0..12 {
                            let chord = speller.chord(NamedChord { root, kind, bass });
                            assert_eq!((chord.root(), chord.kind(), chord.bass()), (root, kind, bass));
                            assert_eq!(chord.to_string().parse::<Chord>(), Ok(chord));
                            for class in 0..12 {
                                assert_eq!(speller.tone_of(class, Some(chord)).class(), class);
                            }
                        }
                    }
                }
            }
        }
    }
}
