//! From maps as written to the plan. Every name in a [`Book`] is known to exist, so nothing here can fail.

mod cues;

use std::collections::HashMap;

use super::ids::{ChannelId, FollowerId, Micros, SendId, ZoneId};
use super::plan::{
    OutputChannel, Plan, PlanChord, PlanDeed, PlanDrone, PlanEntry, PlanInput, PlanOutput, PlanSection, PlanSend,
    PlanSong, PlanTonight,
};
use super::say::Say;
use super::set::clock::tick_at;
use super::zone::{PlanZone, SetUp};
use crate::evening::{
    Inputs, Keys, Order, chord_on, chords_of, curve_of, fits, heard, own_lift, plays_in, tempo_of, title, touch,
};
use crate::map::{self, At, Book, Does, Drone, Entry, Gear, Output, SendMessage, Song};
use crate::music::{Chord, Key};

/// A song has at most this many zones, sections and sends together that the tables can number.
const MOST: usize = u16::MAX as usize;

impl Plan {
    /// Compiles a set. Inputs beyond [`MOST_INPUTS`](crate::evening::MOST_INPUTS) are not listened to.
    #[must_use]
    pub fn new(book: &Book) -> Plan {
        Plan::with_channels(book, Vec::new())
    }

    /// Compiles a set that takes over from an older plan of the same ports: it knows the older one's channels too, so
    /// that what sounds there can end.
    #[must_use]
    pub fn after(book: &Book, older: &Plan) -> Plan {
        Plan::with_channels(book, older.channels.clone())
    }

    fn with_channels(book: &Book, older: Vec<OutputChannel>) -> Plan {
        let gear = &book.gear;
        let mut compiler = Compiler {
            gear,
            plan: Plan {
                gather: Micros(gear.gather),
                early: Micros(gear.early),
                channels: channels(book, older),
                ..Plan::default()
            },
            section_numbers: HashMap::new(),
            zone_numbers: HashMap::new(),
        };
        compiler.gear();
        for song in &book.songs {
            let file = book.sources.get(song.title.spot.file).map(|source| source.path.clone());
            compiler.plan.song_files.push(file.unwrap_or_default());
            let song = compiler.song(book, song);
            compiler.plan.songs.push(song);
        }
        for entry in &book.set.entries {
            let tonight = entry.song.map(|song| tonight(book, entry, song));
            compiler.plan.titles.push(title(book, entry).to_owned());
            let first = compiler.plan.sends.len();
            let enter = compiler.deeds(book, &entry.on_entering, true);
            let sends = first..compiler.plan.sends.len();
            compiler.plan.entries.push(PlanEntry { song: tonight, enter, sends });
        }
        compiler.find_who_gathers();
        compiler.number_followers();
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

/// Channels in gear order, by output, then channel; those of an older plan among them.
fn channels(book: &Book, older: Vec<OutputChannel>) -> Vec<OutputChannel> {
    let output = |name: &At<String>| output_number(&book.gear, name);
    let sounds = book
        .gear
        .sounds
        .iter()
        .map(|sound| OutputChannel { output: output(&sound.output), channel: sound.channel.index() });
    let cues = book.cues().map(|cue| (&cue.does, cue.off.as_ref()));
    let sends = book.deeds().map(|deed| (&deed.does, None)).chain(cues).filter_map(|(does, off)| match does {
        Does::Send { to, message } => Some((to, [Some(message), off.map(|off| &off.message)])),
        Does::Act(_) => None,
    });
    let said = sends.flat_map(|(to, messages)| messages.into_iter().flatten().map(move |message| (to, message)));
    let said = said.filter_map(|(to, message)| {
        message.channel().map(|channel| OutputChannel { output: output(to), channel: channel.index() })
    });
    let mut channels: Vec<OutputChannel> = older.into_iter().chain(sounds).chain(said).collect();
    channels.sort_unstable();
    channels.dedup();
    channels
}

fn output_number(gear: &Gear, name: &At<String>) -> u8 {
    gear.outputs.iter().position(|output| output.name.value == name.value).unwrap_or(0) as u8
}

impl Compiler<'_> {
    fn gear(&mut self) {
        for (_, input) in heard(self.gear) {
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

    fn song(&mut self, book: &Book, song: &Song) -> PlanSong {
        let first = self.plan.zones.len();
        for zone in song.zones.iter().take(MOST - first.min(MOST)) {
            let (name, channel) = (self.zone_number(&zone.name), self.channel_of(&zone.sound));
            self.plan.zones.push(PlanZone::of(zone, self.gear, name, channel));
        }
        let zones = first..self.plan.zones.len();
        let first_send = self.plan.sends.len();
        let enter = self.deeds(book, &song.on_entering, true);
        let leave = self.deeds(book, &song.on_leaving, false);
        let mut sections: Vec<PlanSection> = Vec::new();
        for number in 0..song.sections.len().max(1) {
            let section = song.sections.get(number);
            let belonging = zones.clone().filter(|zone| plays_in(song, &song.zones[zone - first], number));
            sections.push(PlanSection {
                name: section.map(|section| self.section_number(&section.name.value)),
                zones: belonging.map(|zone| ZoneId(zone as u16)).collect(),
                key: own_lift(song, number),
                enter: section.map(|section| self.deeds(book, &section.on_entering, true)).unwrap_or_default(),
                tick: tempo_of(song, number).map(tick_at),
                velocity: touches(song, number),
                chords: chords(song, number),
                fits: fits(song, number, 0),
            });
        }
        let most = sections.iter().map(|section| section.zones.len()).max().unwrap_or(0);
        self.plan.most_zones = self.plan.most_zones.max(most);
        let fingers = fingers(song);
        let drone = song.drone.as_ref().map(|drone| self.drone(drone));
        let meter = song.meter.unwrap_or((4, 4));
        let sends = first_send..self.plan.sends.len();
        PlanSong { zones, sections, enter, leave, sends, fingers, drone, meter }
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

    /// Numbers the zones that follow chords.
    fn number_followers(&mut self) {
        for zone in self.plan.zones.iter_mut().filter(|zone| zone.follows()) {
            zone.follower = Some(FollowerId(self.plan.followers));
            self.plan.followers += 1;
        }
    }

    fn section_number(&mut self, name: &str) -> u16 {
        number_of(&mut self.section_numbers, &mut self.plan.section_names, name)
    }

    fn zone_number(&mut self, name: &str) -> u16 {
        number_of(&mut self.zone_numbers, &mut self.plan.zone_names, name)
    }

    /// The channel of a sound that the gear has.
    fn channel_of(&self, sound: &At<String>) -> ChannelId {
        self.gear
            .sound(&sound.value)
            .map_or(ChannelId(0), |sound| self.channel(output_number(self.gear, &sound.output), sound.channel.index()))
    }

    fn drone(&self, drone: &Drone) -> PlanDrone {
        let sound = self.gear.sound(&drone.sound.value);
        PlanDrone {
            channel: self.channel_of(&drone.sound),
            set_up: sound.map_or_else(SetUp::default, |sound| SetUp::of(sound, None)),
            degrees: drone.degrees.iter().fold(0, |set, degree| set | 1 << (degree - 1)),
            octave: 12 * (drone.octave + 1),
            velocity: drone.velocity,
            fade: Micros(drone.fade),
        }
    }

    fn channel(&self, output: u8, channel: u8) -> ChannelId {
        ChannelId(self.plan.channels.binary_search(&OutputChannel { output, channel }).unwrap_or(0) as u16)
    }

    /// What is done on entering or leaving; `dropped` says whether what still waits is dropped on leaving.
    fn deeds(&mut self, book: &Book, deeds: &[map::Deed], dropped: bool) -> Vec<PlanDeed> {
        let deed = |deed: &map::Deed| match &deed.does {
            Does::Act(action) => PlanDeed::Act(self.action(book, action)),
            Does::Send { to, message } => PlanDeed::Send(self.send(to, message, Micros(deed.after), dropped)),
        };
        deeds.iter().map(deed).collect()
    }

    fn send(&mut self, to: &At<String>, message: &SendMessage, after: Micros, dropped_on_leaving: bool) -> SendId {
        let output = output_number(self.gear, to);
        let channel = message.channel().map(|channel| self.channel(output, channel.index()));
        self.plan.sends.push(PlanSend { output, channel, after, dropped_on_leaving, say: Say::of(message) });
        SendId((self.plan.sends.len() - 1) as u16)
    }
}

/// The inputs that are at the same port as an output, as far as the gear file tells.
fn twins(gear: &Gear, output: &Output) -> Inputs {
    let Some(port) = output.port.as_ref().map(|port| port.value.to_lowercase()) else { return 0 };
    let same = heard(gear).filter(|(_, input)| input.port.value.to_lowercase() == port);
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

/// What one entry of the set makes of its song: tonight's order and keys (rule R5).
fn tonight(book: &Book, entry: &Entry, number: usize) -> PlanTonight {
    let song = &book.songs[number];
    let steps = Order::of(entry, song).steps;
    PlanTonight {
        song: number,
        order: steps.iter().map(|step| step.section.unwrap_or(0) as u16).collect(),
        lifts: steps.iter().map(|step| step.lift).collect(),
        keys: Keys::of(book, entry, song),
    }
}

/// A chord of the chart, counted in semitones above the tonic of its key.
fn above_tonic(chord: Chord, key: Key) -> PlanChord {
    let above = |class: u8| (12 + class % 12 - key.tonic()) % 12;
    let classes = chord.classes().moved(-i32::from(key.tonic()));
    PlanChord { classes, root: above(chord.root()), bass: chord.slash().map(above) }
}

/// How the touch of each zone counts in a section that has a curve; empty where it has none.
fn touches(song: &Song, section: usize) -> Vec<[u8; 128]> {
    let Some(curve) = curve_of(song, section) else { return Vec::new() };
    song.zones.iter().map(|zone| touch(std::iter::once(curve).chain(&zone.curve), zone.level)).collect()
}

/// The chords of a section, by semitones above the tonic of the fingers' key.
fn chords(song: &Song, section: usize) -> Vec<PlanChord> {
    let chords = chords_of(song, section).iter().flatten();
    chords.map(|chord| above_tonic(*chord, song.key.value)).collect()
}

/// What each key plays where one key plays a chord (rule R13), by semitones above the tonic of the fingers' key.
fn fingers(song: &Song) -> [PlanChord; 12] {
    let key = song.key.value;
    std::array::from_fn(|step| above_tonic(chord_on(song, key, key.tonic() + step as u8), key))
}
