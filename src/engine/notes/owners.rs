//! Active notes: what sounds, and which pressed key or other owner holds it (rules R1 and R2).
//!
//! The tables have room for every key of every channel of every input and every note of every channel of the outputs,
//! so they cannot fill. A pressed key remembers the notes that its press began, where it began them; its release ends
//! exactly those. A note counts its owners and ends with the last one.

use crate::engine::ids::{ChannelId, KeyId, Micros, SendId, Source, ZoneId, key_count};
use crate::engine::plan::Plan;

/// Who struck a note last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Striker {
    Key(KeyId),
    Source(Source),
    Send(SendId),
}

/// A zone's share of a pressed key: a note that the press began, or that the key belongs to its handfuls.
#[derive(Debug, Clone, Copy)]
pub(in crate::engine) struct Share {
    pub source: Source,
    pub channel: ChannelId,
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
    /// Only fills the table; nothing reads it.
    const EMPTY: Share =
        Share { source: Source::Drone, channel: ChannelId(0), note: 0, pressure: false, sounds: false, generation: 0 };

    /// Whether the key belongs by it to a zone's handfuls.
    pub fn is_hand(&self, source: Source) -> bool {
        self.source == source && !self.sounds
    }

    /// What the table knows its note by.
    pub fn generation(&self) -> u32 {
        self.generation
    }
}

/// What is known of a key.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::engine) struct PressedKey {
    pub down: bool,
    /// Velocity after the input's curve.
    pub velocity: u8,
    /// When it was struck.
    pub at: Micros,
    /// The count of presses when it was struck.
    pub press: u64,
    /// The zones of its song up to this one were offered the key (an `exclusive` zone takes it from later ones); `None`:
    /// all.
    pub offered: Option<ZoneId>,
    shares: u16,
}

impl PressedKey {
    /// A key that is struck as the press of this count.
    pub fn struck(velocity: u8, at: Micros, press: u64) -> PressedKey {
        PressedKey { down: true, velocity, at, press, offered: None, shares: 0 }
    }

    /// Whether it was offered to a zone.
    pub fn was_offered(&self, zone: ZoneId) -> bool {
        self.offered.is_none_or(|last| last >= zone)
    }
}

/// What is known of a note of a channel.
#[derive(Debug, Clone, Copy, Default)]
struct Note {
    owners: u32,
    generation: u32,
    struck: Micros,
    striker: Option<Striker>,
    velocity: u8,
}

/// The table of active notes and of the keys that hold them.
#[derive(Debug)]
pub(in crate::engine) struct Owners {
    keys: Vec<PressedKey>,
    /// One bit for each key that is down.
    down: Vec<u64>,
    /// `room` shares for each key.
    shares: Vec<Share>,
    room: usize,
    notes: Vec<Note>,
}

/// What a strike has to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Strike {
    /// Nothing sounds there: on.
    Fresh,
    /// It sounds: off, then on.
    Again,
    /// Another owner struck it just now: only own it too.
    Join,
    /// The key can own no more notes: leave it alone.
    Never,
}

impl Owners {
    pub fn new(plan: &Plan) -> Owners {
        let keys = key_count(plan.inputs.len());
        // Twice the zones of a section: a press takes each once, and `early_ms` may add those of a new section.
        let room = 2 * plan.most_zones.max(1);
        Owners {
            keys: vec![PressedKey::default(); keys],
            down: vec![0; keys / 64],
            shares: vec![Share::EMPTY; keys * room],
            room,
            notes: vec![Note::default(); plan.channels.len() * 128],
        }
    }

    pub fn key(&self, id: KeyId) -> &PressedKey {
        &self.keys[id.index()]
    }

    pub fn key_mut(&mut self, id: KeyId) -> &mut PressedKey {
        &mut self.keys[id.index()]
    }

    /// A key goes down.
    pub fn press(&mut self, id: KeyId, key: PressedKey) {
        self.keys[id.index()] = PressedKey { down: true, shares: 0, ..key };
        self.down[id.index() / 64] |= 1 << (id.index() % 64);
    }

    /// A key comes up; what it owns is still there.
    pub fn lift(&mut self, id: KeyId) {
        self.keys[id.index()].down = false;
        self.down[id.index() / 64] &= !(1 << (id.index() % 64));
    }

    /// The first key with this index or a higher one that is down.
    pub fn next_down(&self, from: usize) -> Option<KeyId> {
        let first = from / 64;
        let here = self.down.get(first)? & u64::MAX << (from % 64);
        let rest = self.down[first + 1..].iter().copied();
        let mut words = std::iter::once(here).chain(rest).enumerate();
        let (word, bits) = words.find(|(_, bits)| *bits != 0)?;
        Some(KeyId::at((first + word) * 64 + bits.trailing_zeros() as usize))
    }

    /// All keys that are down, lowest number first.
    pub fn down(&self) -> impl Iterator<Item = KeyId> {
        std::iter::successors(self.next_down(0), |key| self.next_down(key.index() + 1))
    }

    /// One bit for each key of an input that is down on one channel or another.
    pub fn keys_down(&self, input: usize) -> u128 {
        let words = self.down.chunks_exact(2).skip(input * 16).take(16);
        words.fold(0, |keys, word| keys | u128::from(word[0]) | u128::from(word[1]) << 64)
    }

    /// All keys, down or not.
    pub fn all_keys(&self) -> impl Iterator<Item = KeyId> + use<> {
        (0..self.keys.len()).map(KeyId::at)
    }

    /// The notes that a key began, as many as still belong to it.
    pub fn shares(&self, id: KeyId) -> &[Share] {
        let first = id.index() * self.room;
        &self.shares[first..first + usize::from(self.keys[id.index()].shares)]
    }

    /// Whether the key can own one more note.
    pub fn has_room(&self, id: KeyId) -> bool {
        usize::from(self.keys[id.index()].shares) < self.room
    }

    /// Whether a key that is down belongs to the handfuls of a zone.
    pub fn is_held(&self, source: Source) -> bool {
        self.down().any(|key| self.shares(key).iter().any(|share| share.is_hand(source)))
    }

    fn note(&self, channel: ChannelId, note: u8) -> &Note {
        &self.notes[channel.index() * 128 + usize::from(note)]
    }

    fn note_mut(&mut self, channel: ChannelId, note: u8) -> &mut Note {
        &mut self.notes[channel.index() * 128 + usize::from(note)]
    }

    /// What striking a note has to do (rule R2).
    pub fn strike(&self, (channel, note): (ChannelId, u8), striker: Striker, now: Micros, gather: Micros) -> Strike {
        let sounding = self.note(channel, note);
        if sounding.owners == 0 {
            Strike::Fresh
        } else if sounding.striker != Some(striker) && now - sounding.struck < gather {
            Strike::Join
        } else {
            Strike::Again
        }
    }

    /// Notes that `striker` struck a note now.
    pub fn struck(&mut self, (channel, note): (ChannelId, u8), striker: Striker, velocity: u8, now: Micros) {
        let sounding = self.note_mut(channel, note);
        sounding.struck = now;
        sounding.striker = Some(striker);
        sounding.velocity = velocity;
    }

    /// With which velocity a note was struck last.
    pub fn velocity(&self, channel: ChannelId, note: u8) -> u8 {
        self.note(channel, note).velocity
    }

    /// How many own a note.
    pub fn owners(&self, channel: ChannelId, note: u8) -> u32 {
        self.note(channel, note).owners
    }

    /// Makes a key own a note; it must have room.
    pub fn own(&mut self, id: KeyId, source: Source, (channel, note): (ChannelId, u8), pressure: bool) {
        let generation = self.add_owner(channel, note);
        self.add_share(id, Share { source, channel, note, pressure, sounds: true, generation });
    }

    /// Makes a key belong to the handfuls of a zone, if it does not yet.
    pub fn belong(&mut self, id: KeyId, source: Source, chosen: u8) {
        let known = self.shares(id).iter().any(|share| share.is_hand(source));
        if !known && self.has_room(id) {
            self.add_share(id, Share { source, note: chosen, ..Share::EMPTY });
        }
    }

    fn add_share(&mut self, id: KeyId, share: Share) {
        let key = &mut self.keys[id.index()];
        self.shares[id.index() * self.room + usize::from(key.shares)] = share;
        key.shares += 1;
    }

    /// Gives what a key has in one zone's handfuls to another zone.
    pub fn hand_over(&mut self, id: KeyId, from: Source, to: Source) {
        let first = id.index() * self.room;
        let shares = &mut self.shares[first..first + usize::from(self.keys[id.index()].shares)];
        for share in shares.iter_mut().filter(|share| share.is_hand(from)) {
            share.source = to;
        }
    }

    /// One more owner of a note that is no key; what it returns goes back to [`Owners::remove_owner`].
    pub fn add_owner(&mut self, channel: ChannelId, note: u8) -> u32 {
        let sounding = self.note_mut(channel, note);
        sounding.owners += 1;
        sounding.generation
    }

    /// One owner fewer; whether the note ends with it. An owner of a note that was ended by force is none.
    pub fn remove_owner(&mut self, channel: ChannelId, note: u8, generation: u32) -> bool {
        let sounding = self.note_mut(channel, note);
        if sounding.generation != generation || sounding.owners == 0 {
            return false;
        }
        sounding.owners -= 1;
        sounding.owners == 0
    }

    /// The key owns nothing any longer and is up.
    pub fn forget(&mut self, id: KeyId) {
        self.lift(id);
        self.keys[id.index()].shares = 0;
    }

    /// Whether a share's note is still the one that its press began.
    pub fn is_live(&self, share: &Share) -> bool {
        let sounding = self.note(share.channel, share.note);
        share.sounds && sounding.generation == share.generation && sounding.owners > 0
    }

    /// Ends a note whoever owns it; whether it sounded.
    pub fn end_by_force(&mut self, channel: ChannelId, note: u8) -> bool {
        let sounding = self.note_mut(channel, note);
        let sounded = sounding.owners > 0;
        if sounded {
            sounding.owners = 0;
            sounding.generation = sounding.generation.wrapping_add(1);
        }
        sounded
    }

    /// Takes over what sounds and who owns it, from a table with no more room than this one. `channel` tells the new
    /// number of a channel, `offered` of a zone that was offered a key, `source` of a zone that a key is in.
    pub fn take_over(
        &mut self,
        older: &Owners,
        channel: impl Fn(ChannelId) -> ChannelId,
        offered: impl Fn(ZoneId) -> Option<ZoneId>,
        source: impl Fn(Source) -> Source,
    ) {
        let keys = self.keys.len();
        for id in older.down().take_while(|id| id.index() < keys) {
            let key = older.keys[id.index()];
            self.press(id, PressedKey { offered: key.offered.and_then(&offered), ..key });
            for share in older.shares(id) {
                self.add_share(id, Share { channel: channel(share.channel), source: source(share.source), ..*share });
            }
        }
        for (old, notes) in older.notes.chunks_exact(128).enumerate() {
            let new = channel(ChannelId(old as u16)).index() * 128;
            self.notes[new..new + 128].copy_from_slice(notes);
        }
    }

    /// How many notes sound.
    pub fn sounding(&self) -> usize {
        self.notes.iter().filter(|note| note.owners > 0).count()
    }
}
