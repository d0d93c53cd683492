//! Tonight as the findings look at it: each song with the sections that are played, the zones in use in each, and
//! the shifts that the evening's keys bring; names are looked up once.

use std::collections::{BTreeMap, HashMap};

use super::keyboard::{self, KeyboardReach, VelocitySet};
use super::part::{ResolvedZone, SoundChannel};
use super::words;
use crate::evening::{self, Keys, Order, OrderStep, inputs_of, plays_in, title};
use crate::map::{Book, Entry, Input, Section, Song, Sound, Spot, Trigger, Zone};

/// A set with everything looked up.
pub(super) struct Tonight<'a> {
    pub book: &'a Book,
    /// For each input that the engine hears, the velocities that it can give after its curve.
    pub touches: Vec<VelocitySet>,
    /// Each song, by its number in the book.
    pub pieces: Vec<SongTonight<'a>>,
    /// The entries that are songs, in set order.
    pub outings: Vec<Outing<'a>>,
}

/// A song as tonight plays it, in all its entries together.
pub(super) struct SongTonight<'a> {
    pub song: &'a Song,
    /// How its file counts octaves.
    pub octave: i32,
    pub parts: Vec<ResolvedZone<'a>>,
    /// The sections that tonight's orders have, in the order in which they come first.
    pub scenes: Vec<Scene>,
}

/// A section that is played tonight.
pub(super) struct Scene {
    /// Its number in the song; `None` in a song without sections.
    pub section: Option<usize>,
    /// Zones in use, in file order.
    pub zones: Vec<usize>,
    /// The first zone in use at each place that is on when the song is entered: its set-up counts (rule R8).
    pub first_at: BTreeMap<SoundChannel, usize>,
    /// What each playing input's keys reach.
    pub keyboards: Vec<KeyboardReach>,
    /// Each shift that tonight brings to it, once.
    pub shifts: Vec<Shift>,
}

/// A shift (rule R5) and where it comes from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shift {
    pub semitones: i32,
    /// The keys of the entry.
    pub keys: Keys,
    /// What the section key adds to tonight's key.
    pub lift: i32,
    /// Tonight's key, if the set gives one.
    pub tonight: Option<Spot>,
    /// The section key, where one applies.
    pub lifted_by: Option<Spot>,
}

/// An entry of the set that is a song.
pub(super) struct Outing<'a> {
    pub entry: &'a Entry,
    /// The entry's number in the set.
    pub number: usize,
    /// The song's number in the book.
    pub piece: usize,
    pub keys: Keys,
    pub stops: Vec<Stop>,
}

/// A place in an entry's order of sections.
pub(super) struct Stop {
    /// Number of the song's scene.
    pub scene: usize,
    /// What the section key that applies adds to tonight's key.
    pub lift: i32,
    /// That section key.
    pub lifted_by: Option<Spot>,
}

impl<'a> Tonight<'a> {
    pub fn new(book: &'a Book) -> Tonight<'a> {
        let inputs = evening::heard(&book.gear);
        let touches = inputs.map(|(_, input)| keyboard::touches(input.curve.as_ref())).collect();
        let sounds = sounds(book);
        let pieces = book.songs.iter().map(|song| SongTonight::new(book, song, &sounds)).collect();
        let mut tonight = Tonight { book, touches, pieces, outings: Vec::new() };
        for (number, entry) in book.set.entries.iter().enumerate() {
            if let Some(song) = entry.song {
                let outing = tonight.pieces[song].perform(book, number, song);
                tonight.outings.push(outing);
            }
        }
        for piece in &mut tonight.pieces {
            for scene in &mut piece.scenes {
                scene.keyboards = keyboard::all(book, &tonight.touches, &piece.parts, &scene.zones);
            }
        }
        tonight
    }

    /// The inputs that the engine hears and zones may listen to, with their numbers.
    pub fn playing(&self) -> impl Iterator<Item = (usize, &'a Input)> + use<'a> {
        evening::playing(&self.book.gear)
    }

    /// The keys of an input that are cues in a song, and so play nothing (rule R19).
    pub fn cue_keys(&self, piece: &SongTonight<'a>, input: &Input) -> Vec<u8> {
        let cues = self.book.cues_in(Some(piece.song)).into_iter();
        let keys = cues.filter(|cue| cue.when.input.value == input.name.value).map(|cue| match cue.when.trigger {
            // What comes on a channel of its own is no key under the hand.
            Trigger::Key { key, channel: None, .. } => Some(key),
            _ => None,
        });
        keys.flatten().collect()
    }

    /// An entry's title.
    pub fn title(&self, outing: &Outing<'a>) -> String {
        words::quoted(title(self.book, outing.entry))
    }
}

/// Sounds by name, each with the place where it is.
type Sounds<'a> = HashMap<&'a str, (&'a Sound, SoundChannel)>;

fn sounds(book: &Book) -> Sounds<'_> {
    let gear = &book.gear;
    let outputs: HashMap<&str, usize> =
        gear.outputs.iter().enumerate().map(|(number, output)| (output.name.value.as_str(), number)).collect();
    let placed = gear.sounds.iter().filter_map(|sound| {
        let output = outputs.get(sound.output.value.as_str())?;
        Some((sound.name.value.as_str(), (sound, (*output, sound.channel.index()))))
    });
    placed.collect()
}

impl<'a> SongTonight<'a> {
    fn new(book: &'a Book, song: &'a Song, sounds: &Sounds<'a>) -> SongTonight<'a> {
        let part = |zone: &'a Zone| {
            let (sound, place) = *sounds.get(zone.sound.value.as_str())?;
            Some(ResolvedZone { zone, sound, place, inputs: inputs_of(&book.gear, zone) })
        };
        let parts = song.zones.iter().filter_map(part).collect();
        SongTonight { song, octave: words::middle_c(book, song.title.spot), parts, scenes: Vec::new() }
    }

    /// The section of a scene.
    pub fn section(&self, scene: usize) -> Option<&'a Section> {
        self.song.sections.get(self.scenes.get(scene)?.section?)
    }

    /// Where in the song: nothing for all of it, else ` in the section "Verse"` or several.
    pub fn in_sections(&self, scenes: &[usize]) -> String {
        if scenes.len() == self.scenes.len() {
            return String::new();
        }
        let name = |scene: &usize| self.section(*scene).map(|section| words::quoted(&section.name.value));
        let names: Vec<String> = scenes.iter().filter_map(name).collect();
        let noun = if names.len() == 1 { "section" } else { "sections" };
        format!(" in the {noun} {}", words::joined(&names))
    }

    /// Plays an entry in its order, as the plan has it: scenes that are new tonight are added.
    fn perform(&mut self, book: &'a Book, number: usize, piece: usize) -> Outing<'a> {
        let entry = &book.set.entries[number];
        let keys = Keys::of(book, entry, self.song);
        let mut stops = Vec::new();
        let mut known: HashMap<Option<usize>, usize> =
            self.scenes.iter().enumerate().map(|(number, scene)| (scene.section, number)).collect();
        for OrderStep { section, lift, lifted_by } in Order::of(entry, self.song).steps {
            let scene = *known.entry(section).or_insert_with(|| self.add_scene(section));
            let semitones = keys.shift_at(lift, 0);
            let shifts = &mut self.scenes[scene].shifts;
            if !shifts.iter().any(|shift| shift.semitones == semitones) {
                let tonight = entry.key.as_ref().map(|key| key.spot);
                shifts.push(Shift { semitones, keys, lift, tonight, lifted_by });
            }
            stops.push(Stop { scene, lift, lifted_by });
        }
        Outing { entry, number, piece, keys, stops }
    }

    fn add_scene(&mut self, section: Option<usize>) -> usize {
        let plays = |zone: &usize| plays_in(self.song, self.parts[*zone].zone, section.unwrap_or(0));
        let zones: Vec<usize> = (0..self.parts.len()).filter(plays).collect();
        let mut first_at = BTreeMap::new();
        for zone in zones.iter().filter(|zone| self.parts[**zone].zone.on) {
            first_at.entry(self.parts[*zone].place).or_insert(*zone);
        }
        self.scenes.push(Scene { section, zones, first_at, keyboards: Vec::new(), shifts: Vec::new() });
        self.scenes.len() - 1
    }
}
