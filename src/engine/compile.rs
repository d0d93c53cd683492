//! From maps as written to the plan. Every name in a [`Book`] is known to exist, so nothing here can fail.

mod cues;

use std::collections::HashMap;

use super::plan::{
    Inputs, MOST_INPUTS, Place, Plan, PlanChord, PlanDrone, PlanEntry, PlanInput, PlanOutput, PlanSection, PlanSend,
    PlanSong, PlanTonight, PlanZone, Say, SetUp,
};
use super::tempo::tick_at;
use crate::map::{
    At, Book, Controls, Curve, Does, Drone, Entry, Finger, Gear, Moment, Output, PlayIn, Send, SendMessage, ShiftWay,
    Song, Sound, Zone,
};
use crate::midi::U7;
use crate::music::{Classes, Key};

/// A song has at most this many zones, sections and sends together that the tables can number.
const MOST: usize = u16::MAX as usize;

impl Plan {
    /// Compiles a set. Inputs beyond [`MOST_INPUTS`] are not listened to.
    #[must_use]
    pub fn new(book: &Book) -> Plan {
        Plan::with_places(book, Vec::new())
    }

    /// Compiles a set that takes over from an older plan of the same ports: it knows the older one's places too, so
    /// that what sounds there can end.
    #[must_use]
    pub fn after(book: &Book, older: &Plan) -> Plan {
        Plan::with_places(book, older.places.clone())
    }

    fn with_places(book: &Book, older: Vec<Place>) -> Plan {
        let gear = &book.gear;
        let mut compiler = Compiler {
            gear,
            plan: Plan { gather: gear.gather, early: gear.early, places: places(book, older), ..Plan::default() },
            section_numbers: HashMap::new(),
            zone_numbers: HashMap::new(),
        };
        compiler.gear();
        for song in &book.songs {
            let file = book.sources.get(song.title.spot.file).map(|source| source.path.clone());
            compiler.plan.song_files.push(file.unwrap_or_default());
            let song = compiler.song(song);
            compiler.plan.songs.push(song);
        }
        for entry in &book.set.entries {
            let tonight = entry.song.map(|song| tonight(book, entry, song));
            let title = entry.title.clone().or_else(|| entry.song.map(|song| book.songs[song].title.value.clone()));
            compiler.plan.titles.push(title.unwrap_or_default());
            compiler.plan.entries.push(PlanEntry { song: tonight });
        }
        compiler.find_who_gathers();
        compiler.cues(book);
        compiler.plan
    }
}

struct Compiler<'a> {
    gear: &'a Gear,
    plan: Plan,
    section_numbers: HashMap<String, u16>,
    zone_numbers: HashMap<String, u16>,
}

/// Places in gear order, by output, then channel; those of an older plan among them.
fn places(book: &Book, older: Vec<Place>) -> Vec<Place> {
    let output = |name: &At<String>| output_number(&book.gear, name);
    let sounds =
        book.gear.sounds.iter().map(|sound| Place { output: output(&sound.output), channel: sound.channel.index() });
    let sends = book
        .songs
        .iter()
        .flat_map(|song| &song.sends)
        .filter_map(|send| channel_of(&send.message).map(|channel| Place { output: output(&send.to), channel }));
    let cues = book.cues().filter_map(|cue| match &cue.does {
        Does::Send { to, message } => Some((to, [Some(message), cue.off.as_ref().map(|off| &off.message)])),
        _ => None,
    });
    let said = cues.flat_map(|(to, messages)| messages.into_iter().flatten().map(move |message| (to, message)));
    let said =
        said.filter_map(|(to, message)| channel_of(message).map(|channel| Place { output: output(to), channel }));
    let mut places: Vec<Place> = older.into_iter().chain(sounds).chain(sends).chain(said).collect();
    places.sort_unstable();
    places.dedup();
    places
}

fn channel_of(message: &SendMessage) -> Option<u8> {
    match message {
        SendMessage::Program { channel, .. }
        | SendMessage::Control { channel, .. }
        | SendMessage::Note { channel, .. } => Some(channel.index()),
        SendMessage::System { .. } => None,
    }
}

fn output_number(gear: &Gear, name: &At<String>) -> u8 {
    gear.outputs.iter().position(|output| output.name.value == name.value).unwrap_or(0) as u8
}

impl Compiler<'_> {
    fn gear(&mut self) {
        for input in self.gear.inputs.iter().take(MOST_INPUTS) {
            let mut heard_as = std::array::from_fn(|number| number as u8);
            for (from, to) in &input.renumber {
                heard_as[usize::from(u8::from(*from))] = u8::from(*to);
            }
            self.plan.input_names.push(input.name.value.clone());
            self.plan.inputs.push(PlanInput {
                channel: input.channel.map(|channel| channel.index()),
                curve: touch(input.curve.as_ref(), 0.0),
                heard_as,
            });
        }
        for output in &self.gear.outputs {
            self.plan.output_names.push(output.name.value.clone());
            let twins = twins(self.gear, output);
            self.plan.has_twins |= twins != 0;
            self.plan.gives_tempo |= output.send_clock;
            let (clock, exclusive, tempo) = (output.pass_clock, output.pass_sysex, output.send_clock);
            self.plan.outputs.push(PlanOutput { clock, exclusive, tempo, twins });
        }
    }

    fn song(&mut self, song: &Song) -> PlanSong {
        let first = self.plan.zones.len();
        for zone in song.zones.iter().take(MOST - first.min(MOST)) {
            let zone = self.zone(zone);
            self.plan.zones.push(zone);
        }
        let zones = first..self.plan.zones.len();
        let first_send = self.plan.sends.len();
        let mut enter = Vec::new();
        let mut leave = Vec::new();
        let mut at_section: HashMap<&str, Vec<u16>> = HashMap::new();
        for send in &song.sends {
            let number = self.plan.sends.len() as u16;
            let send_list = match &send.at.value {
                Moment::Enter => &mut enter,
                Moment::Leave => &mut leave,
                Moment::Section(name) => at_section.entry(name).or_default(),
            };
            send_list.push(number);
            let send = self.send(send);
            self.plan.sends.push(send);
        }
        let mut sections: Vec<PlanSection> = Vec::new();
        for section in &song.sections {
            let name = self.section_number(&section.name.value);
            let belonging = zones.clone().filter(|zone| song.plays_in(&song.zones[zone - first], &section.name.value));
            sections.push(PlanSection {
                name: Some(name),
                zones: belonging.map(|zone| zone as u16).collect(),
                key: song.lift_of(sections.len()),
                sends: at_section.remove(section.name.value.as_str()).unwrap_or_default(),
                fits: fits(song, sections.len()),
            });
        }
        if sections.is_empty() {
            let zones = zones.clone().map(|zone| zone as u16).collect();
            sections.push(PlanSection { name: None, zones, key: None, sends: Vec::new(), fits: fits(song, 0) });
        }
        let most = sections.iter().map(|section| section.zones.len()).max().unwrap_or(0);
        self.plan.most_zones = self.plan.most_zones.max(most);
        let fingers = fingers(song);
        let drone = song.drone.as_ref().map(|drone| self.drone(drone));
        let tick = song.tempo.map(tick_at);
        let meter = song.meter.unwrap_or((4, 4));
        let sends = first_send..self.plan.sends.len();
        PlanSong { zones, sections, enter, leave, sends, fingers, drone, tick, meter }
    }

    /// Zones whose handfuls matter even where nothing rings: all, if ever anything may, since what begins to ring in the
    /// middle of a handful goes with the next one.
    fn find_who_gathers(&mut self) {
        let Plan { zones, songs, .. } = &mut self.plan;
        let rings = songs.iter().any(|song| song.drone.is_some()) || zones.iter().any(PlanZone::can_ring);
        let by_handful = zones.iter().filter(|zone| zone.by_handful).map(|zone| zone.name);
        let names: std::collections::HashSet<u16> = by_handful.collect();
        zones.iter_mut().for_each(|zone| zone.gathers = rings || names.contains(&zone.name));
    }

    fn section_number(&mut self, name: &str) -> u16 {
        number_of(&mut self.section_numbers, &mut self.plan.section_names, name)
    }

    fn zone_number(&mut self, name: &str) -> u16 {
        number_of(&mut self.zone_numbers, &mut self.plan.zone_names, name)
    }

    fn zone(&mut self, zone: &Zone) -> PlanZone {
        let sound = self.gear.sound(&zone.sound.value);
        let inputs = self.inputs_named(zone.input.as_ref());
        PlanZone {
            name: self.zone_number(&zone.name),
            inputs,
            feet: zone.pedals_from.as_ref().map_or(inputs, |feet| self.inputs_named(Some(feet))),
            keys: (zone.keys.value.0 as u8, zone.keys.value.1 as u8),
            window: zone.velocity.value,
            by_handful: zone.by_handful,
            only: zone.exclusive,
            velocity: touch(zone.curve.as_ref(), zone.level),
            offset: 12 * zone.octave + zone.transpose,
            follow_key: zone.follow_key,
            within: zone.within.as_ref().map(|range| range.value),
            place: sound.map_or(0, |sound| self.place(output_number(self.gear, &sound.output), sound.channel.index())),
            set_up: sound.map_or_else(SetUp::default, |sound| set_up(sound, zone.volume)),
            pedal: zone.pedal,
            controls: followed(&zone.controls),
            bend: zone.bend,
            on: zone.on,
            plays: zone.plays,
            gathers: false,
            min_keys: u32::from(zone.min_keys),
            linger: zone.linger,
            stay: zone.stay_in_key,
            one_key: zone.one_key_chord,
            fade: zone.fade,
        }
    }

    fn drone(&self, drone: &Drone) -> PlanDrone {
        let sound = self.gear.sound(&drone.sound.value);
        PlanDrone {
            place: sound.map_or(0, |sound| self.place(output_number(self.gear, &sound.output), sound.channel.index())),
            set_up: sound.map_or_else(SetUp::default, |sound| set_up(sound, None)),
            degrees: drone.degrees.iter().fold(0, |set, degree| set | 1 << (degree - 1)),
            octave: 12 * (drone.octave + 1),
            velocity: drone.velocity,
            fade: drone.fade,
        }
    }

    fn inputs_named(&self, name: Option<&At<String>>) -> Inputs {
        let wanted = |input: &crate::map::Input| name.map_or(input.play, |name| input.name.value == name.value);
        let inputs = self.gear.inputs.iter().take(MOST_INPUTS).enumerate();
        inputs.filter(|(_, input)| wanted(input)).fold(0, |set, (number, _)| set | 1 << number)
    }

    fn place(&self, output: u8, channel: u8) -> u16 {
        self.plan.places.binary_search(&Place { output, channel }).unwrap_or(0) as u16
    }

    fn send(&self, send: &Send) -> PlanSend {
        let output = output_number(self.gear, &send.to);
        PlanSend {
            output,
            place: channel_of(&send.message).map_or(0, |channel| self.place(output, channel)),
            after: send.after,
            dropped_on_leaving: send.at.value != Moment::Leave,
            say: say(&send.message),
        }
    }
}

fn say(message: &SendMessage) -> Say {
    let bytes = |(msb, lsb): (U7, U7)| (u8::from(msb), u8::from(lsb));
    match message {
        SendMessage::Program { bank, program, .. } => {
            Say::Program { bank: bank.map(bytes), program: u8::from(*program) }
        }
        SendMessage::Control { number, value, .. } => {
            Say::Control { number: u8::from(*number), value: u8::from(*value) }
        }
        SendMessage::Note { note, velocity, length, .. } => {
            Say::Note { note: *note as u8, velocity: u8::from(*velocity), length: *length }
        }
        SendMessage::System { bytes, starts } => Say::System { bytes: bytes.clone(), starts: *starts },
    }
}

/// The inputs that are at the same port as an output, as far as the gear file tells.
fn twins(gear: &Gear, output: &Output) -> Inputs {
    let Some(port) = output.port.as_ref().map(|port| port.value.to_lowercase()) else { return 0 };
    let inputs = gear.inputs.iter().take(MOST_INPUTS).enumerate();
    let same = inputs.filter(|(_, input)| input.port.value.to_lowercase() == port);
    same.fold(0, |set, (number, _)| set | 1 << number)
}

fn number_of(numbers: &mut HashMap<String, u16>, names: &mut Vec<String>, name: &str) -> u16 {
    if let Some(number) = numbers.get(name) {
        return *number;
    }
    let number = names.len() as u16;
    names.push(name.to_owned());
    numbers.insert(name.to_owned(), number);
    number
}

fn set_up(sound: &Sound, volume: Option<U7>) -> SetUp {
    SetUp {
        bank: sound.bank.map(|(msb, lsb)| (u8::from(msb), u8::from(lsb))),
        program: sound.program.map(u8::from),
        volume: volume.or(sound.volume).map(u8::from),
        pan: sound.pan.map(u8::from),
    }
}

/// What fits in a section (rule R12): the scale of the key that the fingers play in, in minor with the raised seventh,
/// and the section's chords; in semitones above the tonic.
fn fits(song: &Song, section: usize) -> Classes {
    let key = song.key.value;
    let down = -i32::from(key.tonic());
    let chords = song.chords_of(section).unwrap_or_default().iter().flatten();
    chords.fold(key.fitting().moved(down), |classes, chord| classes.and(chord.classes().moved(down)))
}

/// The chords of one key, by semitones above the tonic of the key that `[fingers]` is written in: the song's own play-in
/// key, so that the table moves where the set replaces that.
fn fingers(song: &Song) -> [Option<PlanChord>; 12] {
    let written = match song.play_in.as_ref().map(|play_in| play_in.value) {
        Some(PlayIn::Key(key)) => key,
        _ => song.key.value,
    };
    let above = |class: u8| (12 + class % 12 - written.tonic()) % 12;
    let mut fingers = [None; 12];
    for Finger { key, chord } in &song.fingers {
        let chord = &chord.value;
        let classes = chord.classes().moved(-i32::from(written.tonic()));
        let bass = chord.slash().map(above);
        fingers[usize::from(above(*key))] = Some(PlanChord { classes, root: above(chord.root()), bass });
    }
    fingers
}

/// The controllers that a zone follows, one bit each. 120 belongs to them; 121 and 123–127 speak of the input.
fn followed(controls: &Controls) -> u128 {
    let pedals = (64..=69).fold(0u128, |set, number| set | 1 << number);
    match controls {
        Controls::Follow => !pedals,
        Controls::Ignore => 0,
        Controls::List(numbers) => numbers.iter().fold(0, |set, number| set | 1 << u8::from(*number)) & !pedals,
    }
}

/// A table of velocities (rule R6): the curve unrounded, times 10^(level/40), then rounded half away from zero and
/// clamped to 1–127. The law of level is DLS Level 1's, −40·log10(v/127) dB. What stands at 0 is that of velocity 1.
#[must_use]
pub fn touch(curve: Option<&Curve>, level: f64) -> [u8; 128] {
    let factor = 10f64.powf(level / 40.0);
    std::array::from_fn(|velocity| {
        let velocity = velocity.max(1) as f64;
        let touched = curve.map_or(velocity, |curve| curve.at(velocity));
        (touched * factor).round().clamp(1.0, 127.0) as u8
    })
}

/// What one entry of the set makes of its song: tonight's order, keys and shift (rule R5).
fn tonight(book: &Book, entry: &Entry, number: usize) -> PlanTonight {
    let song = &book.songs[number];
    let keys = Keys::of(book, entry, song);
    let order = entry.order.as_ref().or(song.order.as_ref());
    let section_named = |name: &At<String>| song.sections.iter().position(|s| s.name.value == name.value);
    let mut order: Vec<u16> = match order {
        Some(order) => order.iter().filter_map(section_named).map(|section| section as u16).collect(),
        None => (0..song.sections.len()).map(|section| section as u16).collect(),
    };
    if order.is_empty() {
        order.push(0);
    }
    let mut lift = 0;
    let lifts = order.iter().map(|section| {
        lift = song.lift_of(usize::from(*section)).unwrap_or(lift);
        lift
    });
    PlanTonight {
        song: number,
        lifts: lifts.collect(),
        order,
        shift: keys.shift,
        sounding: keys.sounding,
        tonic: keys.tonight.tonic(),
        minor: song.key.value.is_minor(),
    }
}

/// The keys of one entry of a set, and the shift between them (rule R5).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keys {
    /// What is printed.
    pub chart: Key,
    /// What the fingers play in on entering the song.
    pub play_in: Key,
    /// What the room hears on entering the song.
    pub tonight: Key,
    /// Whether the fingers play in whatever is heard.
    pub sounding: bool,
    /// Semitones from the play-in key to tonight's.
    pub shift: i32,
}

impl Keys {
    /// The keys of `entry`, which is `song`'s.
    #[must_use]
    pub fn of(book: &Book, entry: &Entry, song: &Song) -> Keys {
        let tonight = entry.key.as_ref().map_or(song.key.value, |key| key.value);
        let chosen = entry.play_in.as_ref().or(song.play_in.as_ref()).or(book.set.play_in.as_ref());
        let (play_in, sounding) = match chosen.map(|chosen| chosen.value) {
            None => (song.key.value, false),
            Some(PlayIn::Key(key)) => (key, false),
            Some(PlayIn::Room) => (tonight, true),
        };
        let shift = match entry.shift.unwrap_or(song.shift) {
            ShiftWay::Nearest => play_in.nearest_way(tonight),
            ShiftWay::Up => play_in.way_up(tonight),
            ShiftWay::Down => -tonight.way_up(play_in),
        };
        Keys { chart: song.key.value, play_in, tonight, sounding, shift }
    }
}
