//! The plan: a set compiled flat. What the maps say in words is numbers and tables here, so that nothing on the
//! playing path parses, searches by name or allocates.
//!
//! Numbers count places in the tables: inputs and outputs in gear order, zones and sends over all songs,
//! entries in set order. The one thing that is not tabulated is which zones a key reaches: the list of zones in
//! use is short, and walking it costs less than the memory of a list for every input, key and section
//! (the bench `note_on` shows it).

use super::ids::Action;
use super::ids::{ChannelId, CueId, DetectorId, Micros, SendId, Source, ZoneId};
use super::say::Say;
use super::zone::{PlanZone, SetUp};
use crate::evening::{Inputs, Keys};
use crate::map::Press;
use crate::music::Classes;

/// A set compiled for the engine.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// Notes struck within this time of the first are one handful.
    pub(super) gather: Micros,
    /// Keys struck less than this before a change from elsewhere also sound in new zones.
    pub(super) early: Micros,
    pub(super) inputs: Vec<PlanInput>,
    pub(super) outputs: Vec<PlanOutput>,
    /// Every (output, channel) that a sound or a send names, in gear order (rule R16).
    pub(super) channels: Vec<OutputChannel>,
    pub(super) zones: Vec<PlanZone>,
    /// How many of them follow chords.
    pub(super) followers: u16,
    pub(super) songs: Vec<PlanSong>,
    pub(super) entries: Vec<PlanEntry>,
    pub(super) sends: Vec<PlanSend>,
    /// Titles of the entries, names of sections and zones: for those who name them, off the playing path.
    pub(super) titles: Vec<String>,
    pub(super) section_names: Vec<String>,
    pub(super) zone_names: Vec<String>,
    /// Files of the songs: what tells a song from another when a plan takes over from an older one.
    pub(super) song_files: Vec<String>,
    /// Names of inputs and outputs, for takes and those who read them.
    pub(super) input_names: Vec<String>,
    pub(super) output_names: Vec<String>,
    /// Cues, the gear's first, and the keys and controllers that have some.
    pub(super) cues: Vec<PlanCue>,
    pub(super) detectors: Vec<PlanDetector>,
    /// The cues that can be on: those with `off`.
    pub(super) switches: Vec<CueId>,
    /// The cues in use, and their sensors: without a song, then in each song.
    pub(super) cue_lists: Vec<Vec<CueId>>,
    pub(super) detector_lists: Vec<Vec<DetectorId>>,
    /// The numbers by which other machines choose each entry.
    pub(super) numbers: Vec<Option<u8>>,
    /// Whether an output is at the port of an input.
    pub(super) has_twins: bool,
    /// Whether an output gets our clock.
    pub(super) gives_tempo: bool,
    /// The most zones that one section has.
    pub(super) most_zones: usize,
}

/// What the engine knows of an input.
#[derive(Debug, Clone)]
pub(super) struct PlanInput {
    /// The only channel that is heard, 0–15.
    pub channel: Option<u8>,
    /// Velocity in, velocity out (rule R6); entry 0 is not used.
    pub curve: [u8; 128],
    /// As which number each controller is heard.
    pub heard_as: [u8; 128],
}

/// What the engine knows of an output.
#[derive(Debug, Clone)]
pub(super) struct PlanOutput {
    pub clock: bool,
    pub exclusive: bool,
    /// Whether it gets our own clock.
    pub tempo: bool,
    /// The inputs at the same port.
    pub twins: Inputs,
}

/// One channel of one output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct OutputChannel {
    pub output: u8,
    pub channel: u8,
}

/// A chord, counted in semitones above the tonic of the key that the fingers play in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PlanChord {
    pub classes: Classes,
    pub root: u8,
    /// A bass that was written for it.
    pub bass: Option<u8>,
}

/// A drone, flat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PlanDrone {
    pub channel: ChannelId,
    pub set_up: SetUp,
    /// Degrees of the sounding key, one bit each, from bit 0.
    pub degrees: u8,
    /// The note of the pitch class C in its octave.
    pub octave: i32,
    pub velocity: u8,
    /// How long its end takes.
    pub fade: Micros,
}

/// A song file, flat. A song without sections has one nameless section.
#[derive(Debug, Clone)]
pub(super) struct PlanSong {
    /// Its zones in the plan's table.
    pub zones: std::ops::Range<usize>,
    pub sections: Vec<PlanSection>,
    /// What is done on entering it.
    pub enter: Vec<PlanDeed>,
    pub leave: Vec<PlanDeed>,
    /// Its sends in the plan's table, whenever they are said.
    pub sends: std::ops::Range<usize>,
    /// What each key plays where one key plays a chord, by semitones above the tonic.
    pub fingers: [PlanChord; 12],
    pub drone: Option<PlanDrone>,
    /// Beats of a bar and their note value.
    pub meter: (u8, u8),
}

/// A section, flat.
#[derive(Debug, Clone)]
pub(super) struct PlanSection {
    /// Index into the plan's section names; `None` where the song has no sections.
    pub name: Option<u16>,
    /// The zones that belong to it, in file order.
    pub zones: Vec<ZoneId>,
    /// Nearest way from the chart's key to its own, where it gives one.
    pub key: Option<i32>,
    /// What is done on entering it.
    pub enter: Vec<PlanDeed>,
    /// From tick to tick of its clock, in nanoseconds.
    pub tick: Option<u64>,
    /// Where it has a curve of its own: for each zone of the song, velocity after the input's curve, velocity on the
    /// wire (rule R6).
    pub velocity: Vec<[u8; 128]>,
    /// Its chords as written, in order, counted as `fits` is.
    pub chords: Vec<PlanChord>,
    /// What fits (rule R12): scale and chords, in semitones above the tonic of the key that the fingers play in.
    pub fits: Classes,
}

/// A song of the set, or a pause.
#[derive(Debug, Clone)]
pub(super) struct PlanEntry {
    /// `None`: a pause.
    pub song: Option<PlanTonight>,
    /// What is done on entering it, after what its song does.
    pub enter: Vec<PlanDeed>,
    /// Its sends in the plan's table.
    pub sends: std::ops::Range<usize>,
}

/// Something that a cue, or entering or leaving, has the engine do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PlanDeed {
    Act(Action),
    Send(SendId),
}

/// A song as it goes tonight.
#[derive(Debug, Clone)]
pub(super) struct PlanTonight {
    /// Index into the plan's songs.
    pub song: usize,
    /// Section index at each place of tonight's order; never empty.
    pub order: Vec<u16>,
    /// What the last section key at or before each place adds (rule R5).
    pub lifts: Vec<i32>,
    pub keys: Keys,
}

/// A song of the set, as it goes tonight and as it is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Playing<'p> {
    /// Index of its entry.
    pub entry: usize,
    pub tonight: &'p PlanTonight,
    pub song: &'p PlanSong,
}

/// A cue, flat.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PlanCue {
    pub input: usize,
    pub trigger: PlanTrigger,
    pub does: PlanDoes,
    /// The send that ends it again.
    pub off: Option<SendId>,
    /// What that says, to tell the cue in another plan.
    pub off_says: Option<(u8, Say)>,
    /// Whether it is its rest as the map says: sent at the start, a panic and the end whether or not the cue is on.
    pub rests: bool,
    /// Whether the release says it.
    pub while_down: bool,
    pub name: Option<String>,
}

/// What fires a cue; numbers as on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PlanTrigger {
    Press {
        detector: DetectorId,
        press: Press,
    },
    Program {
        program: Option<u8>,
        channel: Option<u8>,
    },
    SongSelect(Option<u8>),
    /// Its status byte.
    Clock(u8),
    /// Its MIDI Machine Control command.
    Transport(u8),
}

/// What a cue does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PlanDoes {
    Act(Action),
    /// The song with the number that came in.
    SongReceived,
    LineUpReceived,
    Send(SendId),
}

/// A key or controller that has cues.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PlanDetector {
    pub input: usize,
    pub what: Detected,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Detected {
    Key { key: u8, channel: Option<u8> },
    Control { number: u8, channel: Option<u8>, reversed: bool },
}

impl PlanCue {
    /// The key or controller that it is on.
    pub fn detector(&self) -> Option<DetectorId> {
        match self.trigger {
            PlanTrigger::Press { detector, .. } => Some(detector),
            _ => None,
        }
    }
}

/// A send, flat.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PlanSend {
    pub output: u8,
    /// For a channel message.
    pub channel: Option<ChannelId>,
    /// How long after its moment.
    pub after: Micros,
    /// Whether what still waits is dropped when its song is left: all but what leaving it sends.
    pub dropped_on_leaving: bool,
    pub say: Say,
}

impl PlanInput {
    /// As which number a controller of this number is heard.
    pub fn heard_as(&self, number: u8) -> u8 {
        self.heard_as[usize::from(number & 127)]
    }

    /// Whether this channel, 0–15, is listened to.
    pub fn listens_to(&self, channel: u8) -> bool {
        self.channel.is_none_or(|only| only == channel)
    }
}

impl Plan {
    /// How many songs and pauses the set has.
    #[must_use]
    pub fn entries(&self) -> usize {
        self.entries.len()
    }

    /// How many inputs the gear has.
    #[must_use]
    pub fn inputs(&self) -> usize {
        self.inputs.len()
    }

    /// How many outputs the gear has.
    #[must_use]
    pub fn outputs(&self) -> usize {
        self.outputs.len()
    }

    /// Title of an entry; empty where there is no such entry.
    #[must_use]
    pub fn title(&self, entry: usize) -> &str {
        self.titles.get(entry).map_or("", String::as_str)
    }

    /// Name of the section at a place of an entry's order, where it has one.
    #[must_use]
    pub fn section_name(&self, entry: usize, section: usize) -> Option<&str> {
        let tonight = self.entries.get(entry)?.song.as_ref()?;
        let name = self.songs.get(tonight.song)?.sections.get(section)?.name?;
        self.section_names.get(usize::from(name)).map(String::as_str)
    }

    /// Name of a zone, by the index that notices and actions carry; empty where there is none.
    #[must_use]
    pub fn zone_name(&self, name: u16) -> &str {
        self.zone_names.get(usize::from(name)).map_or("", String::as_str)
    }

    /// Index of a zone's name, for actions.
    #[must_use]
    pub fn zone_named(&self, name: &str) -> Option<u16> {
        self.zone_names.iter().position(|known| known == name).map(|index| index as u16)
    }

    /// Index of the name of the zone of this number, from 0 in file order, of the song of an entry.
    #[must_use]
    pub fn zone_in_song(&self, entry: Option<usize>, number: usize) -> Option<u16> {
        let tonight = self.entries.get(entry?)?.song.as_ref()?;
        let zone = self.songs.get(tonight.song)?.zones.clone().nth(number)?;
        Some(self.zones[zone].name)
    }

    /// The entry that other machines choose by this number.
    #[must_use]
    pub fn entry_numbered(&self, number: u8) -> Option<usize> {
        self.numbers.iter().position(|known| *known == Some(number))
    }

    /// Name of an input in the gear file; empty where there is none.
    #[must_use]
    pub fn input_name(&self, input: usize) -> &str {
        self.input_names.get(input).map_or("", String::as_str)
    }

    /// Name of an output in the gear file; empty where there is none.
    #[must_use]
    pub fn output_name(&self, output: usize) -> &str {
        self.output_names.get(output).map_or("", String::as_str)
    }

    /// Name of a cue, as notices carry it, where it has one.
    #[must_use]
    pub fn cue_name(&self, cue: CueId) -> Option<&str> {
        self.cues.get(cue.index())?.name.as_deref()
    }

    /// The first cue of a name.
    #[must_use]
    pub fn cue_named(&self, name: &str) -> Option<CueId> {
        let is_named = |cue: &PlanCue| !name.is_empty() && cue.name.as_deref() == Some(name);
        self.cues.iter().position(is_named).map(|cue| CueId(cue as u16))
    }

    /// The cues of a list, in file order.
    pub(super) fn cues_in(&self, list: u16) -> impl Iterator<Item = CueId> {
        self.cue_lists.get(usize::from(list)).into_iter().flatten().copied()
    }

    /// The keys and controllers that the cues of a list are on.
    pub(super) fn detectors_in(&self, list: u16) -> impl Iterator<Item = DetectorId> {
        self.detector_lists.get(usize::from(list)).into_iter().flatten().copied()
    }

    /// All keys and controllers that have cues.
    pub(super) fn all_detectors(&self) -> impl Iterator<Item = (DetectorId, &PlanDetector)> {
        (0..).map(DetectorId).zip(&self.detectors)
    }

    pub(super) fn detector(&self, detector: DetectorId) -> &PlanDetector {
        &self.detectors[detector.index()]
    }

    pub(super) fn cue(&self, cue: CueId) -> &PlanCue {
        &self.cues[cue.index()]
    }

    pub(super) fn zone(&self, zone: ZoneId) -> &PlanZone {
        &self.zones[zone.index()]
    }

    /// The zone that a note belongs to, if the plan still has it.
    pub(super) fn zone_of(&self, source: Source) -> Option<&PlanZone> {
        source.zone().and_then(|zone| self.zones.get(zone.index()))
    }

    pub(super) fn send(&self, send: SendId) -> &PlanSend {
        &self.sends[send.index()]
    }

    pub(super) fn channel(&self, channel: ChannelId) -> OutputChannel {
        self.channels[channel.index()]
    }

    /// Whether a channel is one of an output.
    pub(super) fn is_at(&self, channel: ChannelId, output: usize) -> bool {
        usize::from(self.channel(channel).output) == output
    }

    /// Numbers of the outputs that want something.
    pub(super) fn outputs_that(&self, want: impl Fn(&PlanOutput) -> bool) -> impl Iterator<Item = u8> {
        self.outputs.iter().enumerate().filter(move |(_, output)| want(output)).map(|(number, _)| number as u8)
    }

    /// The song of an entry, and how it goes tonight; `None` for a pause.
    pub(super) fn playing(&self, entry: usize) -> Option<Playing<'_>> {
        let tonight = self.entries.get(entry)?.song.as_ref()?;
        Some(Playing { entry, tonight, song: self.songs.get(tonight.song)? })
    }

    /// Index of the section at a place of tonight's order of an entry.
    #[must_use]
    pub fn section_at(&self, entry: usize, order_step: usize) -> Option<usize> {
        let tonight = self.entries.get(entry)?.song.as_ref()?;
        tonight.order.get(order_step).map(|section| usize::from(*section))
    }

    /// How many places tonight's order of an entry has; 0 for a pause.
    #[must_use]
    pub fn order_length(&self, entry: usize) -> usize {
        self.entries.get(entry).and_then(|e| e.song.as_ref()).map_or(0, |tonight| tonight.order.len())
    }
}

#[cfg(test)]
impl Plan {
    /// Makes every step fail in which a cue that is on goes off: what it sends is not in the plan.
    pub(crate) fn break_cues(&mut self) {
        self.cues.iter_mut().for_each(|cue| cue.off = cue.off.map(|_| SendId(u16::MAX)));
    }
}
