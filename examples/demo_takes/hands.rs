//! Two hands and a foot that play simply: chords in the left, a tune over them in the right, and the pedal.

use handspan::midi::Note;
use handspan::music::range::fold_into;
use handspan::music::{Key, KeyError};

use super::pieces::{Entry, Left, Piece, Section};

/// Ticks in a quarter note.
pub const QUARTER: u64 = 480;

/// The left hand's place on the keyboard, and the right hand's.
const LEFT: (Note, Note) = (Note::C3, Note::B3);
const BASS: (Note, Note) = (Note::C2, Note::B2);
const RIGHT: (Note, Note) = (Note::C4, Note::G5);

/// Things with their ticks.
pub type Timed<T> = Vec<(u64, T)>;

/// What has been played so far.
pub struct Performance {
    pub(super) now: u64,
    markers: Timed<String>,
    messages: Timed<Vec<u8>>,
    /// Where in `messages` a key came up last.
    lifts: [Option<usize>; 128],
    pub(super) chance: Chance,
    /// The tune's last note.
    tune: i32,
}

impl Performance {
    /// Silence. The name chooses the little differences from one touch to the next.
    pub fn new(name: &str) -> Performance {
        let seed = name.bytes().fold(7, |seed: u64, byte| seed.wrapping_mul(131).wrapping_add(u64::from(byte)));
        Performance {
            now: 0,
            markers: Vec::new(),
            messages: Vec::new(),
            lifts: [None; 128],
            chance: Chance(seed),
            tune: 67,
        }
    }

    /// The tick that has been reached.
    pub fn now(&self) -> u64 {
        self.now
    }

    /// Markers, and messages in the order of their ticks.
    pub fn finish(mut self) -> (Timed<String>, Timed<Vec<u8>>) {
        self.messages.sort_by_key(|(tick, _)| *tick);
        (self.markers, self.messages)
    }

    /// Marks this moment.
    pub fn mark(&mut self, text: &str) {
        self.mark_at(self.now, text);
    }

    pub(super) fn mark_at(&mut self, tick: u64, text: &str) {
        self.markers.push((tick, text.to_owned()));
    }

    pub(super) fn message(&mut self, tick: u64, message: &[u8]) {
        self.messages.push((tick, message.to_vec()));
    }

    /// Plays an entry of the set and rests.
    ///
    /// # Errors
    /// A key or chord of the piece is not well written.
    pub fn play(&mut self, entry: &Entry) -> Result<(), KeyError> {
        let piece = entry.piece;
        let [beats, value] = piece.meter;
        let bar = QUARTER * 4 / u64::from(value) * u64::from(beats);
        for (number, section) in entry.sections.iter().enumerate() {
            // The first section is entered with the song.
            if number > 0 {
                self.mark(&format!("section {}", section.name));
            }
            if let Some(key) = entry.wish.filter(|_| number + 1 == entry.sections.len()) {
                self.mark(&format!("key {key}"));
            }
            if let Some((_, key)) = piece.signal.filter(|(name, _)| *name == section.name) {
                self.note(self.now, QUARTER / 4, i32::from(key), 96);
            }
            let bars: Vec<&str> = section.chords.split('|').map(str::trim).collect();
            for (place, chord) in bars.iter().enumerate() {
                if let Some((_, action)) = section.does.filter(|(bar, _)| *bar == place) {
                    self.mark(action);
                }
                let last = place + 1 == bars.len();
                self.bar(piece, &Chord::read(chord)?, section, place, last)?;
            }
            if let Some((_, action)) = section.does.filter(|(bar, _)| *bar == bars.len()) {
                self.mark(action);
            }
        }
        self.now += bar * entry.rest;
        Ok(())
    }

    fn bar(
        &mut self,
        piece: &Piece,
        chord: &Chord,
        section: &Section,
        place: usize,
        last: bool,
    ) -> Result<(), KeyError> {
        let [beats, value] = piece.meter;
        let beat = QUARTER * 4 / u64::from(value);
        let bar = beat * u64::from(beats);
        let loud = section.loud;
        match piece.left {
            Left::OneHand => {
                self.one_hand(piece, chord, loud, bar, last)?;
                self.now += bar;
                return Ok(());
            }
            Left::OneFinger => self.one_finger(chord, loud, bar, beat),
            Left::Chords => self.chords(chord, loud, bar),
            Left::Broken => self.broken(chord, loud, bar, beat),
            Left::Bass => self.bass(chord, loud, bar, beat),
        }
        if !matches!(piece.left, Left::OneFinger) {
            // The foot comes up with the new chord and goes down again behind it.
            self.control(self.now + 20, 64, 0);
            self.control(self.now + 110, 64, 127);
        }
        if last && section.sweep {
            self.sweep(loud, bar);
        } else {
            // A hand that plays with one finger of the other is a beginner's.
            let slips = matches!(piece.left, Left::OneFinger) && place % 3 == 1;
            self.tune(piece, chord, loud, bar, Bar { last, slips })?;
        }
        self.now += bar;
        if last && !matches!(piece.left, Left::OneFinger) {
            self.control(self.now - 30, 64, 0);
        }
        Ok(())
    }

    /// The chord in close position, held through the bar.
    fn chords(&mut self, chord: &Chord, loud: u8, bar: u64) {
        let mut notes: Vec<i32> = chord.notes.iter().filter_map(|class| fold_into(*class, LEFT)).collect();
        notes.sort_unstable();
        for (finger, note) in notes.iter().enumerate() {
            let late = 5 * finger as u64 + self.chance.below(6);
            self.note(self.now + late, bar - 40 - late, *note, loud - 12);
        }
    }

    /// The bass first, then the chord's other notes one after another.
    fn broken(&mut self, chord: &Chord, loud: u8, bar: u64, beat: u64) {
        if let Some(bass) = fold_into(chord.bass, BASS) {
            self.note(self.now, bar - 30, bass, loud - 8);
        }
        let mut notes: Vec<i32> = chord.notes.iter().filter_map(|class| fold_into(*class, LEFT)).collect();
        notes.sort_unstable();
        for step in 1..bar / beat {
            let note = notes[(step as usize - 1) % notes.len()];
            let late = self.chance.below(8);
            self.note(self.now + step * beat + late, beat - 20, note, loud - 18);
        }
    }

    /// The bass on the first beat, its fifth on the others.
    fn bass(&mut self, chord: &Chord, loud: u8, bar: u64, beat: u64) {
        for step in 0..bar / beat {
            let class = if step == 0 { chord.bass } else { chord.bass + 7 };
            let late = self.chance.below(8);
            if let Some(note) = fold_into(class, BASS) {
                self.note(self.now + step * beat + late, beat - 30, note, loud - 6);
            }
        }
    }

    /// The tune: a note of the chord on the first beat, steps of the scale after it, a long note at the end.
    fn tune(&mut self, piece: &Piece, chord: &Chord, loud: u8, bar: u64, how: Bar) -> Result<(), KeyError> {
        // Lengths in eighths; the bar's last note fills it.
        let rhythm: &[u64] = match piece.meter {
            _ if how.last => &[],
            [2, _] => self.chance.one_of(&[&[2], &[1, 1], &[3], &[2, 1]]),
            [3, _] => self.chance.one_of(&[&[2, 2], &[4], &[3, 1], &[4, 1]]),
            [6, _] => self.chance.one_of(&[&[3], &[2, 1], &[2, 1, 2], &[3, 2]]),
            _ => self.chance.one_of(&[&[2, 2, 2], &[4, 2], &[3, 1, 2], &[2, 1, 1], &[4, 2, 1]]),
        };
        let scale = piece.key.parse::<Key>()?.scale();
        let mut begin = self.now;
        let mut steps: Vec<u64> = rhythm.iter().map(|length| length * QUARTER / 2).collect();
        steps.push(bar - steps.iter().sum::<u64>());
        for (step, length) in steps.iter().enumerate() {
            self.tune = if step == 0 {
                nearest(self.tune, |note| chord.has(note))
            } else {
                let way = if self.tune > 74 || (self.tune > 63 && self.chance.below(2) == 0) { -1 } else { 1 };
                nearest(self.tune + 2 * way, |note| scale.contains(&(note.rem_euclid(12) as u8)) && note != self.tune)
            };
            let swell = if step == 0 { 8 } else { 0 };
            let touch = loud + swell + self.chance.below(9) as u8;
            let late = self.chance.below(7);
            let note = if how.slips && step == 1 { beside(self.tune, &scale) } else { self.tune };
            self.note(begin + late, length - 15 - late, note, touch);
            if *length >= 3 * QUARTER / 2 {
                self.shape(begin + late, *length);
            }
            begin += length;
        }
        Ok(())
    }

    /// What a long note is shaped with: modulation, pressure, or a small bend and back.
    fn shape(&mut self, begin: u64, length: u64) {
        let part = length / 10;
        let arch = [0u8, 12, 24, 36, 48, 40, 28, 14, 0];
        let kind = self.chance.below(4);
        for (step, value) in (1..).zip(arch) {
            let tick = begin + step * part;
            match kind {
                0 => self.control(tick, 1, value),
                1 => self.messages.push((tick, vec![0xD0, value])),
                2 => self.messages.push((tick, vec![0xE0, 0, 64 + value / 4])),
                _ => {}
            }
        }
    }

    /// A key goes down and comes up again; one that is still down comes up just before.
    pub(super) fn note(&mut self, begin: u64, length: u64, note: i32, touch: u8) {
        let touch = touch.clamp(1, 127);
        let lift = 40 + self.chance.below(40) as u8;
        let Ok(note) = u8::try_from(note.clamp(0, 127)) else { return };
        if let Some((tick, _)) = self.lifts[usize::from(note)].map(|at| &mut self.messages[at]) {
            *tick = (*tick).min(begin - begin.min(15));
        }
        self.lifts[usize::from(note)] = Some(self.messages.len() + 1);
        self.messages.push((begin, vec![0x90, note, touch]));
        self.messages.push((begin + length, vec![0x80, note, lift]));
    }

    pub(super) fn control(&mut self, tick: u64, number: u8, value: u8) {
        self.messages.push((tick, vec![0xB0, number, value]));
    }
}

/// The nearest note to this one, in the right hand's place, that fits; of two, the lower.
fn nearest(note: i32, fits: impl Fn(i32) -> bool) -> i32 {
    let (low, high) = (i32::from(u8::from(RIGHT.0)), i32::from(u8::from(RIGHT.1)));
    (low..=high).filter(|place| fits(*place)).min_by_key(|place| (place - note).abs()).unwrap_or(note)
}

/// The key beside a note that the scale does not have: a finger that slipped.
fn beside(note: i32, scale: &[u8]) -> i32 {
    let fits = |note: i32| scale.contains(&(note.rem_euclid(12) as u8));
    if fits(note + 1) { note - 1 } else { note + 1 }
}

/// What is particular in a bar of the tune.
struct Bar {
    /// It is a section's last: one long note.
    last: bool,
    /// Its second note is a wrong one.
    slips: bool,
}

/// A chord: its bass and its notes, as pitch classes.
pub(super) struct Chord {
    pub(super) bass: i32,
    pub(super) notes: Vec<i32>,
}

impl Chord {
    /// Reads a symbol such as `Dm7` or `C/E`; the pieces use no others than these kinds.
    fn read(symbol: &str) -> Result<Chord, KeyError> {
        let (upper, bass) = symbol.split_once('/').unwrap_or((symbol, ""));
        let kind = upper.trim_start_matches(|sign: char| sign.is_ascii_uppercase() || matches!(sign, '#' | 'b'));
        let root = &upper[..upper.len() - kind.len()];
        let class = |name: &str| name.parse().map(|key: Key| i32::from(key.tonic()));
        let steps: &[i32] = match kind {
            "" => &[0, 4, 7],
            "m" => &[0, 3, 7],
            "7" => &[0, 4, 7, 10],
            "m7" => &[0, 3, 7, 10],
            "maj7" => &[0, 4, 7, 11],
            "sus4" => &[0, 5, 7],
            _ => return Err(KeyError(symbol.to_owned())),
        };
        let root = class(root)?;
        let bass = if bass.is_empty() { root } else { class(bass)? };
        Ok(Chord { bass, notes: steps.iter().map(|step| (root + step) % 12).collect() })
    }

    fn has(&self, note: i32) -> bool {
        self.notes.contains(&note.rem_euclid(12))
    }
}

/// Small differences that are the same every time (a linear congruential generator, MMIX's figures).
pub(super) struct Chance(u64);

impl Chance {
    /// A number below `limit`.
    pub(super) fn below(&mut self, limit: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }

    pub(super) fn one_of<'a>(&mut self, choices: &[&'a [u64]]) -> &'a [u64] {
        choices[self.below(choices.len() as u64) as usize]
    }
}
