//! A second, slow and plain telling of rules R10–R14, straight from a song's map as written: which notes must sound
//! after each event. It shares no table with the engine; of `music` it only takes the root that is followed and the
//! notes of chord symbols. How chords are followed stands in `model_follow`.
//!
//! It tells one song whose zones are all in use, with `velocity_by` as it is by default, and without fades.

use std::collections::{BTreeMap, BTreeSet};

use handspan::engine::{Action, Plain, Standing};
use handspan::evening::chords_of;
use handspan::map::{self, Book, Deed, Linger, PlayIn, Plays, Song, StayInKey, Zone};
use handspan::music::Key;

use crate::listener::Wire;
use crate::model::{Pressed, Where, curved, pitch, takes};
use crate::model_follow::{Following, Terms};
use crate::voices::{fits, led_chord, one_key_chord, scale};

/// What the hands began and what is held of it.
pub struct Hands {
    book: Book,
    zones: Vec<Hand>,
    /// Keys that are down: the count of presses and the time at which each was struck.
    down: BTreeMap<Pressed, (u64, u64)>,
    presses: u64,
    place: Where,
    order_step: usize,
    tonic: u8,
    /// The tonic in which the drone sounds.
    drone: Option<u8>,
    /// What the start left out of the lists of the song and of its first section: turning the drone on.
    not_done: [Vec<Deed>; 2],
    /// Sustain pedals that are down: input and channel.
    pedals: BTreeSet<(usize, u8)>,
}

/// What a zone knows of its hands.
#[derive(Default)]
struct Hand {
    /// Keys that are down in it, as it hears them.
    keys: BTreeMap<Pressed, u8>,
    handful: Option<Handful>,
    /// When what it derives is decided next.
    due: Option<u64>,
    /// How it follows chords.
    following: Following,
    voicing: Vec<i32>,
    chord_struck: Option<u64>,
    held: BTreeMap<Pressed, i32>,
    lingering: BTreeSet<i32>,
    toggled: BTreeMap<Pressed, Vec<i32>>,
    derived: BTreeSet<i32>,
    chord: Option<(Pressed, Vec<i32>)>,
}

struct Handful {
    begun: u64,
    last: u64,
    first_press: u64,
    /// Whether a key of the zone came up since the last note-on.
    lifted: bool,
    /// Its keys, up again or not.
    keys: BTreeSet<(Pressed, u8)>,
}

impl Hands {
    pub fn new(book: Book) -> Hands {
        let zones = book.songs[0].zones.iter().map(|_| Hand::default()).collect();
        let place = Where { entry: Some(0), section: 0, shift: 0 };
        let starts = |deed: &&Deed| deed.does == map::Does::Act(map::Action::Drone(Some(true)));
        let lists = [&book.songs[0].on_entering, &book.songs[0].sections[0].on_entering];
        let not_done = lists.map(|list| list.iter().filter(starts).cloned().collect());
        let (down, pedals) = (BTreeMap::new(), BTreeSet::new());
        Hands { book, zones, down, presses: 0, place, order_step: 0, tonic: 0, drone: None, not_done, pedals }
    }

    /// Where the set stands, at which step of the order, and the tonic that is heard there.
    pub fn stand(&mut self, place: Where, order_step: usize, tonic: u8) {
        if (place.section, order_step) != (self.place.section, self.order_step) {
            self.zones.iter_mut().for_each(|hand| hand.following.enter_section());
        }
        (self.place, self.order_step, self.tonic) = (place, order_step, tonic);
    }

    /// What is due by now is decided, in file order. Returns what was derived, alone at its place, all the time.
    pub fn until(&mut self, now: u64) -> BTreeSet<Wire> {
        let mut steady = self.derived_alone();
        let due = |zone: &Hand| zone.due.into_iter().chain(zone.following.due).min();
        while let Some(next) = self.zones.iter().filter_map(due).min().filter(|due| *due <= now) {
            for number in 0..self.zones.len() {
                if due(&self.zones[number]) == Some(next) {
                    self.zones[number].due = None;
                    self.decide(number, next);
                    steady = &steady & &self.derived_alone();
                }
            }
        }
        steady
    }

    pub fn press(&mut self, key: Pressed, velocity: u8, now: u64) {
        self.come_up(key, false, now);
        self.presses += 1;
        self.down.insert(key, (self.presses, now));
        let mut begun = false;
        for number in 0..self.zones.len() {
            let zone = self.zone(number);
            let (only, hears) = (zone.exclusive, takes(&self.book, zone, key, None));
            let toggled_off = hears && self.zones[number].toggled.remove(&key).is_some();
            let taken = takes(&self.book, self.zone(number), key, Some(velocity));
            let struck = (key, curved(&self.book, key.0, velocity));
            let taken = toggled_off || taken && self.enter(number, struck, now, &mut begun);
            if taken && only {
                break;
            }
        }
        if begun && self.drone.is_some() {
            self.drone = Some(self.tonic);
        }
    }

    /// A key enters a zone; false where it is not in the zone (R12).
    fn enter(&mut self, number: usize, (key, velocity): (Pressed, u8), now: u64, begun: &mut bool) -> bool {
        let zone = self.zone(number).clone();
        if zone.one_key_chord {
            let hand = &mut self.zones[number];
            hand.keys.insert(key, key.2);
            // R13: of keys struck within gather of one another only the first counts.
            let counts = hand.chord_struck.is_none_or(|last| now - last >= self.book.gear.gather);
            if let Some(voicing) = counts.then(|| self.voice(number, key.2)).flatten() {
                *begun |= self.gather(number, key, key.2, now);
                let hand = &mut self.zones[number];
                (hand.chord, hand.chord_struck, hand.voicing) = (None, Some(now), voicing.clone());
                hand.toggled.clear();
                hand.lingering.clear();
                if zone.linger == Linger::Toggle {
                    hand.toggled.insert(key, voicing);
                } else {
                    hand.chord = Some((key, voicing));
                }
            }
            return true;
        }
        let Some(chosen) = self.stay_in_key(&zone, key) else { return false };
        if follows(&zone) {
            let begins = self.gather(number, key, chosen, now);
            let hand = &mut self.zones[number];
            hand.following.strike((chosen, velocity), begins, now, self.book.gear.gather);
            *begun |= begins;
            return true;
        }
        if zone.plays.derives() {
            *begun |= self.gather(number, key, chosen, now);
            let hand = &mut self.zones[number];
            // Decided at t + gather, and gather after each further key of a roll.
            let first = hand.handful.as_ref().expect("a handful").begun + self.book.gear.gather;
            hand.due = Some(if now < first { first } else { now + self.book.gear.gather });
            self.decide(number, now);
            return true;
        }
        let note = pitch(&zone, chosen, self.place.shift);
        if (0..128).contains(&note) {
            *begun |= self.gather(number, key, chosen, now);
            let hand = &mut self.zones[number];
            if zone.linger == Linger::Toggle {
                hand.toggled.insert(key, vec![note]);
            } else {
                hand.held.insert(key, note);
            }
        }
        true
    }

    /// R10: a key joins its zone's handful or begins another; whether it begins one.
    fn gather(&mut self, number: usize, key: Pressed, chosen: u8, now: u64) -> bool {
        let zone = self.zone(number).clone();
        let (press, gather) = (self.presses, self.book.gear.gather);
        let hand = &mut self.zones[number];
        let goes_on = hand.handful.as_ref().is_some_and(|handful| {
            let rolls = !handful.lifted && now - handful.last < 150_000;
            now - handful.begun < gather || rolls
        });
        // A chord of which every key is up again is over, in a zone that derives.
        let goes_on = goes_on && !(zone.plays.derives() && hand.keys.is_empty());
        if !goes_on {
            hand.lingering.clear();
            hand.handful =
                Some(Handful { begun: now, last: now, first_press: press, lifted: false, keys: BTreeSet::new() });
        }
        let handful = hand.handful.as_mut().expect("a handful");
        handful.keys.insert((key, chosen));
        (handful.last, handful.lifted) = (now, false);
        hand.keys.insert(key, chosen);
        !goes_on
    }

    pub fn release(&mut self, key: Pressed, now: u64) {
        self.come_up(key, true, now);
    }

    fn come_up(&mut self, key: Pressed, by_finger: bool, now: u64) {
        let Some((press, struck)) = self.down.remove(&key) else { return };
        for number in 0..self.zones.len() {
            let zone = self.zone(number).clone();
            let hand = &mut self.zones[number];
            let Some(chosen) = hand.keys.remove(&key) else { continue };
            if hand.chord.as_ref().is_some_and(|(struck_by, _)| *struck_by == key) {
                hand.chord_struck = None;
                if by_finger && now - struck < 200_000 && self.give_way(number) {
                    continue;
                }
            }
            let hand = &mut self.zones[number];
            let Some(handful) = hand.handful.as_mut() else { continue };
            let of_latest = press >= handful.first_press;
            handful.lifted |= of_latest || !follows(&zone);
            let mut notes: Vec<i32> = hand.held.remove(&key).into_iter().collect();
            if let Some((_, chord)) = hand.chord.take_if(|(struck_by, _)| *struck_by == key) {
                notes.extend(chord);
            }
            // A chord has no hand of older keys: it is the zone's only one.
            if zone.linger == Linger::Next && (of_latest || zone.one_key_chord) {
                hand.lingering.extend(notes);
            }
            if zone.plays.derives() {
                if follows(&zone) {
                    self.lift_of_chord(number, chosen, now);
                } else if self.was_late(number, (key, chosen), press, struck, now) {
                    self.decide(number, now);
                }
                let hand = &mut self.zones[number];
                if zone.linger == Linger::Off && hand.keys.is_empty() {
                    hand.derived.clear();
                }
            }
        }
    }

    /// R13: a key that was brushed gives way to the one of the zone's keys that was struck last; whether there is one.
    fn give_way(&mut self, number: usize) -> bool {
        let keys = self.zones[number].keys.keys().copied();
        let Some(next) = keys.max_by_key(|key| (self.down[key].1, key.2, *key)) else { return false };
        let voicing = self.voice(number, next.2);
        let hand = &mut self.zones[number];
        if let Some(handful) = &mut hand.handful {
            handful.lifted = true;
        }
        hand.chord = voicing.map(|voicing| {
            hand.voicing.clone_from(&voicing);
            (next, voicing)
        });
        true
    }

    /// A key comes up in a zone that follows chords, as far as no other one is heard as the same.
    fn lift_of_chord(&mut self, number: usize, chosen: u8, now: u64) {
        let (pedal, terms) = (self.is_sustained(number), self.terms(number));
        let hand = &mut self.zones[number];
        if hand.keys.values().any(|other| *other == chosen) {
            return;
        }
        hand.following.lift(chosen, pedal, now, &terms);
        if hand.following.due.is_some_and(|due| due <= now) {
            self.decide(number, now);
        }
    }

    /// Whether a sustain pedal is down that a zone hears or follows.
    fn is_sustained(&self, number: usize) -> bool {
        let (zone, inputs) = (self.zone(number), &self.book.gear.inputs);
        let hears = |input: usize| zone.input.as_ref().is_none_or(|name| name.value == inputs[input].name.value);
        let follows = |input: usize| match &zone.pedals_from {
            Some(feet) => feet.value == inputs[input].name.value,
            None => hears(input),
        };
        self.pedals.iter().any(|(input, _)| hears(*input) || follows(*input))
    }

    /// A controller: only sustain pedals matter, and what resets them (RP-015).
    pub fn control(&mut self, input: usize, bytes: [u8; 3]) {
        let pedal = (input, bytes[0] & 15);
        match (bytes[0] & 0xF0, bytes[1], bytes[2]) {
            (0xB0, 64, 64..) => drop(self.pedals.insert(pedal)),
            (0xB0, 64, 0..40) | (0xB0, 121, _) => drop(self.pedals.remove(&pedal)),
            _ => {}
        }
        self.lift_pedals();
    }

    fn lift_pedals(&mut self) {
        for number in 0..self.zones.len() {
            if !self.is_sustained(number) {
                self.zones[number].following.lift_pedal();
            }
        }
    }

    /// What a zone follows chords with, where the set stands.
    fn terms(&self, number: usize) -> Terms {
        let (song, play_in) = (self.song(), self.play_in());
        let up = |class: u8| (12 + class + play_in.tonic() - song.key.value.tonic()) % 12;
        let chords = chords_of(song, self.place.section).iter().flatten();
        Terms {
            gather: self.book.gear.gather,
            min_keys: usize::from(self.zone(number).min_keys),
            chords: chords.map(|chord| (up(chord.root()), chord.classes().iter().map(up).collect())).collect(),
            key: (play_in.tonic(), play_in.is_minor()),
        }
    }

    /// R11: a finger of the hand before that came up late is left out, and it is decided once more.
    fn was_late(&mut self, number: usize, key: (Pressed, u8), press: u64, struck: u64, now: u64) -> bool {
        let zone = self.zone(number).clone();
        let (gather, down) = (self.book.gear.gather, self.down.clone());
        let hand = &mut self.zones[number];
        let handful = hand.handful.as_mut().expect("a handful");
        let at_once = matches!(zone.plays, Plays::Lowest | Plays::Highest);
        if !at_once && now - handful.begun < gather {
            return false;
        }
        if press < handful.first_press {
            return now - handful.begun < 200_000;
        }
        // Two hands so close together that they were taken for a roll: the first comes up while the second is down.
        let later = hand.keys.keys().filter(|other| down[*other].1 >= struck + 20_000).count();
        let late = now - handful.last < 200_000 && later >= usize::from(zone.min_keys);
        if late {
            handful.keys.retain(|(pressed, chosen)| *chosen != key.1 || hand.keys.contains_key(pressed));
        }
        late
    }

    /// R11.
    fn decide(&mut self, number: usize, now: u64) {
        let (zone, shift, terms) = (self.zone(number).clone(), self.place.shift, self.terms(number));
        if follows(&zone) {
            let Some(harmony) = self.zones[number].following.decide(now, &terms) else { return };
            let note = |key: u8| pitch(&zone, key, shift);
            let (root, sounds) = (harmony.root, &harmony.classes);
            let fifth = [7, 6, 8].into_iter().find(|step| sounds.contains(&((root + step) % 12))).unwrap_or(7);
            let notes = match zone.plays {
                Plays::Root => vec![note(root)],
                Plays::RootFifth => vec![note(root), note(root + fifth)],
                _ => led_chord(&zone, &harmony, shift, &self.zones[number].voicing),
            };
            return self.sound(number, notes);
        }
        let hand = &self.zones[number];
        let Some(handful) = &hand.handful else { return };
        let is_older = |key: &Pressed| self.down[key].0 < handful.first_press;
        let older = hand.keys.iter().filter(|(key, _)| is_older(key)).map(|(_, key)| *key);
        let keys: BTreeSet<u8> = older.chain(handful.keys.iter().map(|(_, key)| *key)).collect();
        if keys.len() < usize::from(zone.min_keys) {
            return;
        }
        let key = if zone.plays == Plays::Lowest { keys.first() } else { keys.last() };
        self.sound(number, key.map(|key| pitch(&zone, *key, shift)).into_iter().collect());
    }

    /// These are the notes that a zone derives now.
    fn sound(&mut self, number: usize, notes: Vec<i32>) {
        let (plays, linger) = (self.zone(number).plays, self.zone(number).linger);
        let hand = &mut self.zones[number];
        hand.derived = notes.iter().copied().filter(|note| (0..128).contains(note)).collect();
        if plays == Plays::Chord {
            hand.voicing = notes;
        }
        if linger == Linger::Off && hand.keys.is_empty() {
            hand.derived.clear();
        }
    }

    /// R13: the chord of a key, as notes; `None` where the key has no place.
    fn voice(&self, number: usize, key: u8) -> Option<Vec<i32>> {
        let last = &self.zones[number].voicing;
        one_key_chord(self.song(), self.zone(number), self.play_in(), key, self.place.shift, last)
    }

    /// R12: the key that the zone hears.
    fn stay_in_key(&self, zone: &Zone, key: Pressed) -> Option<u8> {
        let fits = fits(self.song(), self.place.section, self.play_in());
        let is_fit = |key: u8| fits.contains(&(key % 12));
        match zone.stay_in_key {
            StayInKey::Off => Some(key.2),
            _ if is_fit(key.2) => Some(key.2),
            StayInKey::Silent => None,
            StayInKey::Nearest => {
                let held = |near: &u8| self.down.keys().any(|k| k.0 == key.0 && *k != key && k.2 % 12 == near % 12);
                let near = (0..128u8).filter(|near| is_fit(*near));
                // The closest; of two the one that is held; of two the lower.
                near.min_by_key(|near| (near.abs_diff(key.2), !held(near), *near))
            }
        }
    }

    /// An input's keys come up, lowest first.
    pub fn lose(&mut self, input: usize, now: u64) {
        let mut keys: Vec<Pressed> = self.down.keys().filter(|key| key.0 == input).copied().collect();
        keys.sort_by_key(|key| (key.2, key.1));
        keys.into_iter().for_each(|key| self.come_up(key, false, now));
        self.pedals.retain(|(of, _)| *of != input);
        self.lift_pedals();
    }

    pub fn act(&mut self, action: Action) {
        let moves = self.drone.is_some_and(|tonic| tonic != self.tonic);
        match action {
            Action::Plain(Plain::Panic) => {
                let forget = |hand: &mut Hand| Hand { voicing: std::mem::take(&mut hand.voicing), ..Hand::default() };
                self.zones.iter_mut().for_each(|hand| *hand = forget(hand));
                self.down.clear();
                self.drone = None;
            }
            Action::Plain(Plain::FromTheTop) => self.zones.iter_mut().for_each(|hand| {
                hand.voicing.clear();
                hand.following.enter_section();
            }),
            Action::Fade(_) => {
                self.drone = None;
                for (hand, zone) in self.zones.iter_mut().zip(&self.book.songs[0].zones) {
                    hand.lingering.clear();
                    hand.toggled.clear();
                    if zone.linger != Linger::Off {
                        hand.derived.clear();
                    }
                }
            }
            Action::Drone(Some(false)) => self.drone = None,
            Action::Drone(None) if self.drone.is_some() && !moves => self.drone = None,
            Action::Drone(_) => self.drone = self.song().drone.as_ref().map(|_| self.tonic),
            _ => {}
        }
    }

    /// The lists of what was entered (rule R8). The start does not turn the drone on, `resend-messages` does it then, if
    /// the section was not left before.
    pub fn listed(&mut self, action: Action, before: Standing, standing: Standing) {
        let song = self.song();
        let section = song.sections[standing.section].on_entering.clone();
        let both: Vec<Deed> = song.on_entering.iter().chain(&section).cloned().collect();
        let has_moved = (before.order_step, before.section) != (standing.order_step, standing.section);
        let again = action == Action::Plain(Plain::ResendMessages);
        let list = match action {
            Action::Plain(Plain::FromTheTop) => both,
            _ if again => std::mem::take(&mut self.not_done).concat(),
            _ if has_moved => section,
            _ => return,
        };
        if action == Action::Plain(Plain::FromTheTop) {
            self.not_done = Default::default();
        }
        if has_moved {
            self.not_done[1].clear();
        }
        for deed in list {
            match deed.does {
                map::Does::Act(map::Action::Drone(on)) => self.act(Action::Drone(on)),
                map::Does::Act(map::Action::Fade(time)) => self.act(Action::Fade(time)),
                _ => {}
            }
        }
    }

    /// All that must sound.
    pub fn sounding(&self) -> BTreeSet<Wire> {
        let mut sounding = self.rings();
        for (hand, zone) in self.zones.iter().zip(&self.song().zones) {
            let chord = hand.chord.iter().flat_map(|(_, notes)| notes);
            let notes = hand.held.values().chain(chord).chain(&hand.derived);
            sounding.extend(notes.map(|note| self.wire(&zone.sound.value, *note)));
        }
        sounding
    }

    /// What is derived in zones that have a place to themselves.
    fn derived_alone(&self) -> BTreeSet<Wire> {
        let song = self.song();
        let users = |sound: &str| {
            let drone = song.drone.iter().map(|drone| &drone.sound.value);
            song.zones.iter().map(|zone| &zone.sound.value).chain(drone).filter(|user| *user == sound).count()
        };
        let zones = self.zones.iter().zip(&song.zones).filter(|(_, zone)| users(&zone.sound.value) == 1);
        zones.flat_map(|(hand, zone)| hand.derived.iter().map(|note| self.wire(&zone.sound.value, *note))).collect()
    }

    /// Held notes.
    pub fn rings(&self) -> BTreeSet<Wire> {
        let mut rings = BTreeSet::new();
        for (hand, zone) in self.zones.iter().zip(&self.song().zones) {
            let derived = hand.derived.iter().filter(|_| zone.linger != Linger::Off);
            let notes = hand.lingering.iter().chain(hand.toggled.values().flatten()).chain(derived);
            rings.extend(notes.map(|note| self.wire(&zone.sound.value, *note)));
        }
        if let Some((drone, tonic)) = self.song().drone.as_ref().zip(self.drone) {
            let scale = scale(self.song().key.value.is_minor());
            let notes = drone
                .degrees
                .iter()
                .map(|degree| 12 * (drone.octave + 1) + i32::from(tonic) + scale[usize::from(*degree) - 1]);
            rings.extend(notes.filter(|note| *note < 128).map(|note| self.wire(&drone.sound.value, note)));
        }
        rings
    }

    fn wire(&self, sound: &str, note: i32) -> Wire {
        let gear = &self.book.gear;
        let sound = gear.sounds.iter().find(|known| known.name.value == sound).expect("a sound");
        let output = gear.outputs.iter().position(|output| output.name.value == sound.output.value);
        (output.expect("an output"), sound.channel.index(), note as u8)
    }

    fn song(&self) -> &Song {
        &self.book.songs[0]
    }

    fn zone(&self, number: usize) -> &Zone {
        &self.book.songs[0].zones[number]
    }

    /// The key that the fingers play in.
    fn play_in(&self) -> Key {
        match self.book.set.entries[0].play_in.as_ref().map(|play_in| play_in.value) {
            Some(PlayIn::Key(key)) => key,
            _ => self.song().key.value,
        }
    }
}

/// Whether a zone follows chords.
fn follows(zone: &Zone) -> bool {
    matches!(zone.plays, Plays::Root | Plays::RootFifth | Plays::Chord)
}
