//! Gear, songs and set as written: every value checked, every name known to exist, nothing compiled yet.
//! Each value that a finding may point at carries its [`Spot`].

use crate::midi::{Channel, Note, U7};
use crate::music::Key;

/// A place in one of the files that were read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spot {
    /// Which file, as an index into [`Book::sources`].
    pub file: usize,
    /// First byte.
    pub start: usize,
    /// Byte after the last.
    pub end: usize,
}

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub spot: Spot,
}

/// A file that was read.
#[derive(Debug, Clone)]
pub struct Source {
    /// Its path as the user would write it.
    pub path: String,
    /// Its text.
    pub text: String,
}

/// A set with everything it names: what the player packs for tonight.
#[derive(Debug, Clone)]
pub struct Book {
    /// All files read: the set first, then the gear, then the songs.
    pub sources: Vec<Source>,
    /// The gear.
    pub gear: Gear,
    /// Each song file once, in the order in which the set names them first.
    pub songs: Vec<Song>,
    /// The set.
    pub set: Set,
}

/// An inclusive range of keys, lowest first.
pub type KeyRange = (Note, Note);

/// Inputs, outputs, sounds and curves that hold for every song.
#[derive(Debug, Clone)]
pub struct Gear {
    /// Notes struck within this time of the first are one handful, in microseconds.
    pub gather: u64,
    /// Keys struck so shortly before a change from elsewhere also sound in new zones, in microseconds.
    pub early: u64,
    /// Whether programs that were connected to our ports are connected again when they or we come back.
    pub reconnect: bool,
    /// Inputs in file order.
    pub inputs: Vec<Input>,
    /// Outputs in file order.
    pub outputs: Vec<Output>,
    /// Sounds in file order.
    pub sounds: Vec<Sound>,
    /// Named curves in file order.
    pub curves: Vec<(At<String>, Curve)>,
}

/// A keyboard, pedal board or other source of messages.
#[derive(Debug, Clone)]
pub struct Input {
    /// Its name in the maps.
    pub name: At<String>,
    /// Part of the port's name.
    pub port: At<String>,
    /// Serial number, to tell equal devices apart.
    pub serial: Option<String>,
    /// The only channel that is heard, where one is given.
    pub channel: Option<Channel>,
    /// The keys that it has.
    pub keys: KeyRange,
    /// This keyboard under this hand.
    pub curve: Option<Curve>,
    /// Controllers heard as others: (from, to).
    pub controls: Vec<(U7, U7)>,
    /// Whether zones may listen to it.
    pub play: bool,
    /// Whether it may be absent without a warning.
    pub optional: bool,
}

/// A virtual or existing port that we send to.
#[derive(Debug, Clone)]
pub struct Output {
    /// Its name in the maps.
    pub name: At<String>,
    /// Part of an existing port's name; `None` for a virtual port of our own.
    pub port: Option<At<String>>,
    /// Whether it may be absent without a warning.
    pub optional: bool,
    /// How fast its cable is.
    pub wire: Wire,
    /// Whether clock messages are passed on to it.
    pub clock: bool,
    /// Whether system exclusive messages are passed on to it.
    pub sysex: bool,
}

/// The cable of an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wire {
    /// 31,250 baud: 320 µs a byte.
    Din,
    /// Fast enough not to be counted.
    Usb,
}

/// A sound: where it lives and how it is set up.
#[derive(Debug, Clone)]
pub struct Sound {
    /// Its name in the maps.
    pub name: At<String>,
    /// The output that leads to it.
    pub output: At<String>,
    /// Its channel.
    pub channel: Channel,
    /// Program, from 0 as on the wire.
    pub program: Option<U7>,
    /// Bank select, most and least significant byte.
    pub bank: Option<(U7, U7)>,
    /// Controller 7.
    pub volume: Option<U7>,
    /// Controller 10.
    pub pan: Option<U7>,
    /// What the desk calls it.
    pub label: Option<String>,
}

/// What a touch counts: velocity in, velocity out, unrounded (rule R6).
#[derive(Debug, Clone, PartialEq)]
pub enum Curve {
    /// low + (high − low)·((v − 1)/126)^gamma.
    Gamma {
        /// The exponent, above 0.
        gamma: f64,
        /// Output at velocity 1.
        low: f64,
        /// Output at velocity 127.
        high: f64,
    },
    /// Monotone piecewise cubic through these points, flat outside.
    Points(Vec<(f64, f64)>),
    /// Always the same.
    Fixed(f64),
}

/// Which way the shift goes on entering a song (rule R5).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// −5 … +6.
    Nearest,
    /// 0 … 11.
    Up,
    /// −11 … 0.
    Down,
}

/// In which key the fingers play.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlayIn {
    /// In this one.
    Key(Key),
    /// In the one that is heard.
    Sounding,
}

/// A song's map.
#[derive(Debug, Clone)]
pub struct Song {
    /// Its title.
    pub title: At<String>,
    /// The chart's key.
    pub key: At<Key>,
    /// The play-in key, where the song gives one.
    pub play_in: Option<At<PlayIn>>,
    /// Which way the shift goes.
    pub way: Way,
    /// Quarter notes a minute.
    pub tempo: Option<f64>,
    /// Beats of a bar and their note value.
    pub meter: Option<(u8, u8)>,
    /// Lowest and highest melody note, in the chart's key.
    pub melody_range: Option<At<KeyRange>>,
    /// Names of sections in the order of the song; never names an unknown section.
    pub order: Option<Vec<At<String>>>,
    /// Zones in file order.
    pub zones: Vec<Zone>,
    /// Sections in file order.
    pub sections: Vec<Section>,
    /// Messages to other machines, in file order.
    pub sends: Vec<Send>,
}

impl Song {
    /// Whether a zone belongs to a section: it names none, or that one, or one that the section is like.
    #[must_use]
    pub fn plays_in(&self, zone: &Zone, section: &str) -> bool {
        let Some(named) = &zone.sections else { return true };
        let mut section = Some(section);
        // A chain of likenesses is no longer than there are sections, so a circle ends too.
        for _ in 0..=self.sections.len() {
            let Some(name) = section else { return false };
            if named.iter().any(|named| named.value == name) {
                return true;
            }
            let here = self.sections.iter().find(|section| section.name.value == name);
            section = here.and_then(|here| here.like.as_ref()).map(|like| like.value.as_str());
        }
        false
    }
}

/// How a zone treats pedals (controllers 64–69).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pedal {
    /// Passed on as they come.
    Follow,
    /// Not passed on.
    Ignore,
    /// Passed on as 127 from 64 up and 0 below 40.
    Switch,
}

/// Which controllers (other than pedals) a zone follows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Controls {
    /// All.
    Follow,
    /// None.
    Ignore,
    /// These.
    List(Vec<U7>),
}

/// Keys that play a sound.
#[derive(Debug, Clone)]
pub struct Zone {
    /// The whole zone, for findings about it.
    pub spot: Spot,
    /// Its name; the sound's where none is given.
    pub name: String,
    /// The sound that it plays.
    pub sound: At<String>,
    /// The input that it listens to; `None`: every one with `play = true`.
    pub input: Option<At<String>>,
    /// The input whose pedals and controllers it follows; `None`: its own.
    pub feet: Option<At<String>>,
    /// Its keys, as pressed.
    pub keys: At<KeyRange>,
    /// Its window of velocities, after the input's curve, 1–127.
    pub velocity: At<(u8, u8)>,
    /// Whether one note in the window lets in its whole handful.
    pub by_handful: bool,
    /// Whether keys that it takes go to no later zone.
    pub only: bool,
    /// Its curve.
    pub curve: Option<Curve>,
    /// Level in dB, by velocity.
    pub level: f64,
    /// Controller 7 in this song, where it is not the sound's.
    pub volume: Option<U7>,
    /// Semitones.
    pub transpose: i32,
    /// Octaves.
    pub octave: i32,
    /// Whether the shift moves it.
    pub follow_key: bool,
    /// The range into which its notes are brought by octaves.
    pub within: Option<At<KeyRange>>,
    /// Names of the sections in which it plays; `None`: all.
    pub sections: Option<Vec<At<String>>>,
    /// Its pedals.
    pub pedal: Pedal,
    /// Its other controllers.
    pub controls: Controls,
    /// Whether pitch bend and pressure are passed on.
    pub bend: bool,
    /// Whether it is on when the song is entered.
    pub on: bool,
}

/// A part of a song.
#[derive(Debug, Clone)]
pub struct Section {
    /// Its name.
    pub name: At<String>,
    /// The section whose zones it has too.
    pub like: Option<At<String>>,
    /// The chart's key from here on.
    pub key: Option<At<Key>>,
    /// A word to the player.
    pub remark: Option<String>,
}

/// When a send is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Moment {
    /// On entering the song.
    Enter,
    /// On leaving the song.
    Leave,
    /// On entering the section of this name.
    Section(String),
}

/// A message to another machine.
#[derive(Debug, Clone)]
pub struct Send {
    /// The whole send, for findings about it.
    pub spot: Spot,
    /// When it is said.
    pub at: At<Moment>,
    /// The output that it goes to.
    pub to: At<String>,
    /// How long after the moment, in microseconds.
    pub after: u64,
    /// What is said.
    pub message: SendMessage,
}

/// What a send says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SendMessage {
    /// Bank select, where given, and a program change.
    Program {
        /// Channel.
        channel: Channel,
        /// Bank, most and least significant byte.
        bank: Option<(U7, U7)>,
        /// Program, from 0 as on the wire.
        program: U7,
    },
    /// A controller or channel mode message.
    Control {
        /// Channel.
        channel: Channel,
        /// Number.
        number: U7,
        /// Value.
        value: U7,
    },
    /// A note with its end.
    Note {
        /// Channel.
        channel: Channel,
        /// Key.
        note: Note,
        /// Velocity, 1–127.
        velocity: U7,
        /// Time to its end, in microseconds.
        length: u64,
    },
    /// A whole system message: machine control (`transport`), a clock command (`clock`),
    /// song select, or bytes as given.
    System {
        /// The bytes.
        bytes: Vec<u8>,
        /// Whether it sets another machine's transport or clock going: held back at the start of `play` (rule R8).
        starts: bool,
    },
}

/// Tonight.
#[derive(Debug, Clone)]
pub struct Set {
    /// Its title.
    pub title: String,
    /// The play-in key of all songs that say nothing else.
    pub play_in: Option<At<PlayIn>>,
    /// The singers.
    pub singers: Vec<Singer>,
    /// Songs and pauses in order; never empty.
    pub entries: Vec<Entry>,
}

/// A voice.
#[derive(Debug, Clone)]
pub struct Singer {
    /// Name in the set.
    pub name: At<String>,
    /// Lowest and highest note.
    pub range: KeyRange,
    /// Lowest and highest comfortable note.
    pub comfortable: Option<KeyRange>,
}

/// A song of tonight, or a pause.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The whole entry, for findings about it.
    pub spot: Spot,
    /// The song, as an index into [`Book::songs`]; `None`: a pause.
    pub song: Option<usize>,
    /// Tonight's title, where it is not the song's.
    pub title: Option<String>,
    /// Tonight's key.
    pub key: Option<At<Key>>,
    /// Tonight's play-in key.
    pub play_in: Option<At<PlayIn>>,
    /// Tonight's way.
    pub way: Option<Way>,
    /// Tonight's order of sections.
    pub order: Option<Vec<At<String>>>,
    /// Who sings.
    pub singer: Option<At<String>>,
    /// A word to the player.
    pub remark: Option<String>,
}
