//! Chords that are struck together, with or without tones of the one before (rule R11).

use super::keys::KeySet;
use super::{Follower, Harmony, LATE, Terms, Verdict};
use crate::engine::ids::Micros;
use crate::music::chord::ChordKind;
use crate::music::{Classes, follow};

/// Where fewer keys were struck than make a chord, or than the chord before had, the slowest finger has so long.
const SLOWEST: Micros = Micros::from_millis(60);
/// After a finger of the chord before came up, the next one of it may take so long.
const SETTLES: Micros = Micros::from_millis(60);
/// So long may a key that looks brushed stay down before it counts.
const DOUBT: Micros = Micros::from_millis(150);
/// A key held over so many semitones below what is struck is another hand's.
const FAR: i32 = 10;
/// So many semitones part the upper hand from the lower one.
const APART: i32 = 5;
/// Keys so far apart are two hands': a finger of the lower one may be still to come.
const WIDE: u8 = 7;
/// A hand's reach, in semitones.
const REACH: i32 = 12;
/// How far a hand moves between two chords whose fingers overlap, lowest to highest key of both.
const LEAP: i32 = 19;
/// A key that is struck more softly than its neighbour by this factor may be brushed.
const SOFT: f32 = 0.8;

/// Chords that a single new key makes with keys held over: triads, suspended fourths and seconds, dominant sevenths.
const PLAIN: [Classes; 6] = [
    ChordKind::Major.classes(),
    ChordKind::Minor.classes(),
    ChordKind::Diminished.classes(),
    // A suspended second is one over its fifth.
    ChordKind::Sus4.classes(),
    ChordKind::Seventh.classes(),
    ChordKind::Seventh.classes().without(7),
];

/// Chords that two new keys make: the other sevenths too, and the augmented triad.
const FULLER: [Classes; 7] = [
    ChordKind::Augmented.classes(),
    ChordKind::MinorSeventh.classes(),
    ChordKind::MinorSeventh.classes().without(7),
    ChordKind::MajorSeventh.classes(),
    ChordKind::MinorMajorSeventh.classes(),
    ChordKind::DiminishedSeventh.classes(),
    ChordKind::HalfDiminished.classes(),
];

/// Chords with more notes, which no key among them makes suspect: ninths, added ninths and the suspended seventh.
const RICHER: [Classes; 6] = [
    ChordKind::AddedNinth.classes(),
    ChordKind::MinorAddedNinth.classes(),
    ChordKind::SeventhSus4.classes(),
    ChordKind::Ninth.classes(),
    ChordKind::MinorNinth.classes(),
    ChordKind::MajorNinth.classes(),
];

/// The notes of a bare fifth.
const FIFTH: [Classes; 1] = [Classes::all_of(&[0, 7])];

/// Whether these are the notes of one of some chords, on any root.
fn is_one_of(classes: Classes, chords: &[Classes]) -> bool {
    (0..12).any(|root| chords.contains(&classes.moved(-root)))
}

/// Whether these are the notes of a chord that is known at sight.
fn is_known(classes: Classes) -> bool {
    is_one_of(classes, &PLAIN) || is_one_of(classes, &FULLER)
}

/// Whether these are the notes of a chord that has a name.
fn is_named(classes: Classes) -> bool {
    is_known(classes) || is_one_of(classes, &RICHER)
}

impl Harmony {
    /// What these keys are by themselves.
    pub fn of_keys(keys: u128) -> Harmony {
        Harmony { keys, classes: Classes::from_keys(keys), root: follow::root(keys).unwrap_or_default() }
    }
}

impl Follower {
    /// It is due: what is to sound from now on, where that changes.
    pub(in crate::engine::hand) fn decide(&mut self, now: Micros, terms: &Terms<'_>) -> Option<Harmony> {
        self.due = None;
        let struck = self.take_brushed(terms);
        if struck.is_empty() || self.waits_for_fingers(struck, now, terms) {
            return None;
        }
        let by_itself = self.is_by_itself(struck, terms);
        let all = struck.with(self.older);
        if self.looks_brushed(if by_itself { struck } else { all }) && self.waits(now, self.begun + DOUBT) {
            return None;
        }
        if self.recent.are_broken() && all.count() < terms.min_keys && !struck.is_fifth() {
            return self.decide_recent(struck, now, terms);
        }
        match self.tune(struck, terms) {
            Some(tune) if !(self.found && self.is_in_reach(struck)) => {
                self.verdict = tune;
                None
            }
            _ if by_itself => Some(self.decide_block(struck, now, terms)),
            _ if all.count() < terms.min_keys => self.decide_recent(struck, now, terms),
            _ => self.decide_common(struck, now, terms),
        }
    }

    /// The handful without keys that were brushed: those that are up again where enough others are down.
    fn take_brushed(&mut self, terms: &Terms<'_>) -> KeySet {
        let struck = self.struck.without(self.brushed);
        let up = struck.without(self.down);
        if struck.with(self.older).and(self.down).count() < terms.min_keys {
            return struck;
        }
        self.brushed = self.brushed.with(up);
        struck.without(up)
    }

    /// Puts it off until `until`, where that is still to come.
    fn waits(&mut self, now: Micros, until: Micros) -> bool {
        let waits = now < until;
        if waits {
            self.due = Some(until);
        }
        waits
    }

    /// Whether these keys are a chord without any other. Three or more without a name may lack one that is held over.
    fn is_by_itself(&self, struck: KeySet, terms: &Terms<'_>) -> bool {
        let classes = struck.classes();
        let is_chord = || is_named(classes) || is_one_of(classes, &FIFTH) || self.is_expected(classes, terms);
        let is_whole = || struck.count() < 3 || self.known().and(self.older).is_empty() || is_chord();
        are_enough(struck, terms) && is_whole()
    }

    fn waits_for_fingers(&mut self, struck: KeySet, now: Micros, terms: &Terms<'_>) -> bool {
        let is_block = struck.count() >= terms.min_keys;
        let is_wide = || struck.pairs().any(|(low, high)| high - low >= WIDE) && lower_hand(struck, terms) == struck;
        let is_short = !is_block || struck.count() < self.known().count() || is_wide();
        if is_short && self.waits(now, self.begun + terms.gather.max(SLOWEST)) {
            return true;
        }
        let is_bare = !is_block && struck.is_fifth() && self.older.count() < terms.min_keys;
        is_bare && self.waits(now, self.begun + terms.gather + SETTLES)
    }

    /// The tune over the chord that was decided last, where what was struck is one.
    fn tune(&self, struck: KeySet, terms: &Terms<'_>) -> Option<Verdict> {
        // A pedal holds a chord under a tune, but does not keep the next chord away.
        let holding = if struck.count() < terms.min_keys { self.older.with(self.pedalled) } else { self.older };
        let (held, lifted) = (self.known().and(holding), self.known().without(holding));
        let under = held.below(struck.with(lifted).lowest());
        let is_over_all = self.known().count() > 1 && under == self.known();
        let is_over_chord = under.count() >= terms.min_keys.max(2);
        let whole = self.known().with(struck);
        let is_apart = self.over_all && struck.lowest() - self.known().highest() >= APART;
        let stays = !held.is_empty() || whole.span() > LEAP;
        if !(is_over_all || is_over_chord || is_apart && stays) {
            return None;
        }
        Some(if lifted.is_empty() { Verdict::Tune } else { Verdict::TuneMoves })
    }

    /// A chord by itself: of two hands the lower one, with keys held over far below, and in time with those just below,
    /// or with all that make it a fuller chord.
    fn decide_block(&mut self, struck: KeySet, now: Micros, terms: &Terms<'_>) -> Harmony {
        let chord = lower_hand(struck, terms);
        let far = self.older.below(chord.lowest() - FAR);
        let keys = chord.with(far);
        let (with_near, with_all) = (keys.with(self.older.below(chord.lowest())), keys.with(self.older));
        let is_fuller = with_all.classes() != with_near.classes() && chord == struck && is_known(with_all.classes());
        let late = if is_fuller { with_all } else { with_near };
        let is_early = with_all != keys && self.waits(now, self.begun + LATE);
        self.found = false;
        // What makes it fuller does not move its root.
        let (keys, rooted) = if is_early { (keys, keys) } else { (late, with_near) };
        self.play(Harmony { root: Harmony::of_keys(rooted.0).root, ..Harmony::of_keys(keys.0) }, true, terms)
    }

    /// No chord by itself, with keys held over: once as many are up as were struck; fewer keys only for a plain chord.
    fn decide_common(&mut self, struck: KeySet, now: Micros, terms: &Terms<'_>) -> Option<Harmony> {
        let all = struck.with(self.older);
        let (held, lifted) = (self.known().and(self.older), self.known().without(self.older));
        if !held.is_empty() {
            if lifted.count() < struck.count() {
                let settled = (self.begun + terms.gather).max(self.lifted) + SETTLES;
                let until = if lifted.is_empty() { self.begun + LATE } else { settled };
                if self.waits(now, until) {
                    return None;
                }
            }
            let classes = all.classes();
            let is_full = struck.count() > 1 || self.found;
            let is_plain = is_one_of(classes, &PLAIN) || is_full && is_known(classes);
            let are_few = struck.count() < terms.min_keys;
            if are_few && held.count() > 1 && !is_plain && !self.is_expected(classes, terms) {
                self.verdict = Verdict::Nothing;
                return None;
            }
        }
        self.found = self.is_found_key_by_key(all);
        Some(self.play(Harmony::of_keys(all.0), false, terms))
    }

    /// Decides so, where nothing else is written.
    fn play(&mut self, harmony: Harmony, by_itself: bool, terms: &Terms<'_>) -> Harmony {
        self.recent.clear();
        let harmony = self.as_expected(harmony, terms);
        self.settle(harmony, by_itself)
    }

    /// This is decided.
    pub(super) fn settle(&mut self, harmony: Harmony, by_itself: bool) -> Harmony {
        self.verdict = Verdict::Decided { by_itself };
        self.harmony = Some(harmony);
        harmony
    }

    /// When to decide after a key that was held over came up.
    pub(super) fn due_after_lift(&self, now: Micros, terms: &Terms<'_>) -> Option<Micros> {
        let first = self.begun + terms.gather;
        let whole = self.known().with(self.struck).span();
        let lifted = self.known().without(self.older);
        if are_enough(self.struck, terms) {
            let gives_way = self.known().and(self.older).is_empty() || whole <= LEAP;
            return if gives_way { Some(first.max(now)) } else { self.due };
        }
        if self.verdict == Verdict::Tune && whole > REACH {
            return self.due;
        }
        let is_complete = lifted.count() >= self.struck.count();
        Some(if is_complete { now.max(self.begun + terms.gather.max(SLOWEST)) } else { first.max(now + SETTLES) })
    }

    /// Whether a key goes with a chord that was found key by key.
    fn is_in_reach(&self, struck: KeySet) -> bool {
        struck.count() == 1 && struck.with(self.known()).span() <= REACH + 2
    }

    fn is_found_key_by_key(&self, keys: KeySet) -> bool {
        const SLOW: Micros = Micros::from_millis(150);
        let at = |key: u8| self.struck_at[usize::from(key)];
        keys.iter().all(|key| keys.iter().all(|other| key == other || at(key).0.abs_diff(at(other).0) > SLOW.0))
    }

    /// Whether a key of the handful may have been brushed by the finger beside it: they lie a semitone or two apart, and
    /// one is soft or makes the chord none that is known.
    fn looks_brushed(&self, keys: KeySet) -> bool {
        let velocity = |key: u8| f32::from(self.velocity[usize::from(key)]);
        let is_odd = || !is_named(keys.classes());
        keys.count() > 2
            && keys.pairs().filter(|(low, high)| high - low <= 2).any(|(low, high)| {
                let (soft, hard) = (velocity(low).min(velocity(high)), velocity(low).max(velocity(high)));
                let is_new = self.struck.has(low) || self.struck.has(high);
                is_new && (keys.count() > 3 && soft < SOFT * hard || is_odd())
            })
    }
}

/// Whether these keys are enough for a chord, or two a fifth or a fourth apart.
fn are_enough(struck: KeySet, terms: &Terms<'_>) -> bool {
    struck.count() >= terms.min_keys || terms.min_keys <= 3 && struck.is_fifth()
}

/// The lower hand, where the upper one lies apart and enough keys remain within an octave.
fn lower_hand(struck: KeySet, terms: &Terms<'_>) -> KeySet {
    let enough = |keys: &KeySet| keys.count() >= terms.min_keys && keys.span() <= 12 && is_known(keys.classes());
    let gaps = struck.pairs().filter(|(low, high)| i32::from(high - low) >= APART);
    gaps.map(|(_, high)| struck.below(i32::from(high))).find(enough).unwrap_or(struck)
}
