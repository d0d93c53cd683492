//! Held notes: what sounds, and which pressed key owns it (rules R1 and R2).
//!
//! The ledger is sized for every key of every channel of every input and every note of every place, so it cannot
//! fill. A pressed key remembers the notes that its press began, where it began them; its release ends exactly
//! those. A note counts its owners and ends with the last one.

use super::plan::Plan;

/// A key of a channel of an input, as one number.
pub(super) type KeyNumber = u32;

/// Who struck a note last: a pressed key, a zone counted from here on,
pub(super) const FIRST_ZONE: u32 = 1 << 30;
/// or a send counted from here on.
pub(super) const FIRST_SEND: u32 = 1 << 31;

/// A zone's share of a pressed key: a note that the press began, or that the key belongs to its handfuls.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Share {
    pub zone: u16,
    pub place: u16,
    /// The note; where nothing sounds by the key itself, the key as `stay_in_key` chose it.
    pub note: u8,
    /// Whether pressure of the key reaches it.
    pub pressure: bool,
    /// Whether it is a note.
    pub sounds: bool,
    /// The note's count of endings by force when it began; another count now means that it has already ended.
    generation: u32,
}

impl Share {
    /// Whether the key belongs by it to a zone's handfuls.
    pub fn is_hand(&self, zone: u16) -> bool {
        self.zone == zone && !self.sounds
    }

    /// What the ledger knows its note by.
    pub fn generation(&self) -> u32 {
        self.generation
    }
}

/// What is known of a key.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Key {
    pub down: bool,
    /// Velocity after the input's curve.
    pub velocity: u8,
    /// When it was struck.
    pub at: u64,
    /// The count of presses when it was struck.
    pub press: u64,
    /// The zones of its song up to this one were offered the key (an `exclusive` zone takes it from later ones).
    pub offered: u16,
    shares: u16,
}

impl Key {
    /// A key that is struck as the press of this count.
    pub fn struck(velocity: u8, at: u64, press: u64) -> Key {
        Key { down: true, velocity, at, press, offered: u16::MAX, shares: 0 }
    }
}

/// What is known of a note of a place.
#[derive(Debug, Clone, Copy, Default)]
struct Note {
    owners: u32,
    generation: u32,
    struck: u64,
    striker: u32,
    velocity: u8,
}

#[derive(Debug)]
pub(super) struct Ledger {
    keys: Vec<Key>,
    /// One bit for each key that is down.
    down: Vec<u64>,
    /// `room` shares for each key.
    shares: Vec<Share>,
    room: usize,
    notes: Vec<Note>,
}

/// What a strike has to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Strike {
    /// Nothing sounds there: on.
    Fresh,
    /// It sounds: off, then on.
    Again,
    /// Another owner struck it just now: only own it too.
    Join,
    /// The key can own no more notes: leave it alone.
    Never,
}

impl Ledger {
    pub fn new(plan: &Plan) -> Ledger {
        let keys = plan.inputs.len() * 16 * 128;
        // Twice the zones of a section: a press takes each once, and `early_ms` may add those of a new section.
        let room = 2 * plan.most_zones.max(1);
        Ledger {
            keys: vec![Key::default(); keys],
            down: vec![0; keys / 64],
            shares: vec![Share::default(); keys * room],
            room,
            notes: vec![Note::default(); plan.places.len() * 128],
        }
    }

    pub fn number(input: usize, channel: u8, key: u8) -> KeyNumber {
        ((input as u32 * 16 + u32::from(channel)) << 7) | u32::from(key)
    }

    pub fn key(&self, number: KeyNumber) -> &Key {
        &self.keys[number as usize]
    }

    pub fn key_mut(&mut self, number: KeyNumber) -> &mut Key {
        &mut self.keys[number as usize]
    }

    /// A key goes down.
    pub fn press(&mut self, number: KeyNumber, key: Key) {
        self.keys[number as usize] = Key { down: true, shares: 0, ..key };
        self.down[number as usize / 64] |= 1 << (number % 64);
    }

    /// A key comes up; what it owns is still there.
    pub fn lift(&mut self, number: KeyNumber) {
        self.keys[number as usize].down = false;
        self.down[number as usize / 64] &= !(1 << (number % 64));
    }

    /// The first key from this one on that is down.
    pub fn next_down(&self, from: KeyNumber) -> Option<KeyNumber> {
        let first = from as usize / 64;
        let here = self.down.get(first)? & u64::MAX << (from % 64);
        let rest = self.down[first + 1..].iter().copied();
        let mut words = std::iter::once(here).chain(rest).enumerate();
        let (word, bits) = words.find(|(_, bits)| *bits != 0)?;
        Some(((first + word) * 64) as u32 + bits.trailing_zeros())
    }

    /// All keys that are down, lowest number first.
    pub fn down(&self) -> impl Iterator<Item = KeyNumber> {
        std::iter::successors(self.next_down(0), |key| self.next_down(key + 1))
    }

    /// One bit for each key of an input that is down on one channel or another.
    pub fn keys_down(&self, input: usize) -> u128 {
        let words = self.down.chunks_exact(2).skip(input * 16).take(16);
        words.fold(0, |keys, word| keys | u128::from(word[0]) | u128::from(word[1]) << 64)
    }

    pub fn keys(&self) -> usize {
        self.keys.len()
    }

    /// The notes that a key began, as many as still belong to it.
    pub fn shares(&self, number: KeyNumber) -> &[Share] {
        let first = number as usize * self.room;
        &self.shares[first..first + usize::from(self.keys[number as usize].shares)]
    }

    /// Whether the key can own one more note.
    pub fn has_room(&self, number: KeyNumber) -> bool {
        usize::from(self.keys[number as usize].shares) < self.room
    }

    fn note(&self, place: u16, note: u8) -> &Note {
        &self.notes[usize::from(place) * 128 + usize::from(note)]
    }

    fn note_mut(&mut self, place: u16, note: u8) -> &mut Note {
        &mut self.notes[usize::from(place) * 128 + usize::from(note)]
    }

    /// What striking a note has to do (rule R2).
    pub fn strike(&self, place: u16, note: u8, striker: u32, now: u64, gather: u64) -> Strike {
        let sounding = self.note(place, note);
        if sounding.owners == 0 {
            Strike::Fresh
        } else if sounding.striker != striker && now.saturating_sub(sounding.struck) < gather {
            Strike::Join
        } else {
            Strike::Again
        }
    }

    /// Notes that `striker` struck a note now.
    pub fn struck(&mut self, place: u16, note: u8, striker: u32, velocity: u8, now: u64) {
        let sounding = self.note_mut(place, note);
        sounding.struck = now;
        sounding.striker = striker;
        sounding.velocity = velocity;
    }

    /// With which velocity a note was struck last.
    pub fn velocity(&self, place: u16, note: u8) -> u8 {
        self.note(place, note).velocity
    }

    /// How many own a note.
    pub fn owners(&self, place: u16, note: u8) -> u32 {
        self.note(place, note).owners
    }

    /// Makes a key own a note; it must have room.
    pub fn own(&mut self, number: KeyNumber, zone: u16, (place, note): (u16, u8), pressure: bool) {
        let generation = self.add_owner(place, note);
        self.add_share(number, Share { zone, place, note, pressure, sounds: true, generation });
    }

    /// Makes a key belong to the handfuls of a zone, if it does not yet.
    pub fn belong(&mut self, number: KeyNumber, zone: u16, chosen: u8) {
        let known = self.shares(number).iter().any(|share| share.zone == zone && !share.sounds);
        if !known && self.has_room(number) {
            self.add_share(number, Share { zone, note: chosen, ..Share::default() });
        }
    }

    fn add_share(&mut self, number: KeyNumber, share: Share) {
        let key = &mut self.keys[number as usize];
        self.shares[number as usize * self.room + usize::from(key.shares)] = share;
        key.shares += 1;
    }

    /// Gives what a key has in one zone's handfuls to another zone.
    pub fn hand_over(&mut self, number: KeyNumber, from: u16, to: u16) {
        let first = number as usize * self.room;
        let shares = &mut self.shares[first..first + usize::from(self.keys[number as usize].shares)];
        for share in shares.iter_mut().filter(|share| share.zone == from && !share.sounds) {
            share.zone = to;
        }
    }

    /// One more owner of a note that is no key; what it returns goes back to [`Ledger::remove_owner`].
    pub fn add_owner(&mut self, place: u16, note: u8) -> u32 {
        let sounding = self.note_mut(place, note);
        sounding.owners += 1;
        sounding.generation
    }

    /// One owner fewer; whether the note ends with it. An owner of a note that was ended by force is none.
    pub fn remove_owner(&mut self, place: u16, note: u8, generation: u32) -> bool {
        let sounding = self.note_mut(place, note);
        if sounding.generation != generation || sounding.owners == 0 {
            return false;
        }
        sounding.owners -= 1;
        sounding.owners == 0
    }

    /// The key owns nothing any longer and is up.
    pub fn forget(&mut self, number: KeyNumber) {
        self.lift(number);
        self.keys[number as usize].shares = 0;
    }

    /// Whether a share's note is still the one that its press began.
    pub fn is_live(&self, share: &Share) -> bool {
        let sounding = self.note(share.place, share.note);
        share.sounds && sounding.generation == share.generation && sounding.owners > 0
    }

    /// Ends a note whoever owns it; whether it sounded.
    pub fn end_by_force(&mut self, place: u16, note: u8) -> bool {
        let sounding = self.note_mut(place, note);
        let sounded = sounding.owners > 0;
        if sounded {
            sounding.owners = 0;
            sounding.generation = sounding.generation.wrapping_add(1);
        }
        sounded
    }

    /// Takes over what sounds and who owns it, from a ledger with no more room than this one. `place` tells the new
    /// number of a place, `offered` of a zone that was offered a key, `hand` of a zone that a key is in.
    pub fn take_over(
        &mut self,
        older: &Ledger,
        place: impl Fn(u16) -> u16,
        offered: impl Fn(u16) -> Option<u16>,
        hand: impl Fn(u16) -> u16,
    ) {
        let keys = self.keys.len() as u32;
        for number in older.down().take_while(|number| *number < keys) {
            let key = older.keys[number as usize];
            self.press(number, Key { offered: offered(key.offered).unwrap_or(u16::MAX), ..key });
            for share in older.shares(number) {
                self.add_share(number, Share { place: place(share.place), zone: hand(share.zone), ..*share });
            }
        }
        for (old, notes) in older.notes.chunks_exact(128).enumerate() {
            let new = usize::from(place(old as u16)) * 128;
            self.notes[new..new + 128].copy_from_slice(notes);
        }
    }

    /// How many notes sound.
    pub fn sounding(&self) -> usize {
        self.notes.iter().filter(|note| note.owners > 0).count()
    }
}
