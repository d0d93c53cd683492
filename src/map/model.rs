//! Gear, songs and set as written: every value checked, every name known to exist, nothing compiled yet.
//! Each value that a finding may point at carries its [`Spot`].

use core::net::SocketAddr;

use crate::midi::{Channel, Note, U7};
use crate::music::Key;

mod cue;
mod song;
pub use cue::{Clock, Cue, Does, Off, Press, SongChoice, Trigger, When, WrittenAction};
pub use song::{Controls, Drone, Finger, Linger, Moment, Pedal, Plays, Section, Send, Song, StayInKey};

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
    /// Cues that hold for every song, in file order; see [`Book::cues_in`].
    pub cues: Vec<Cue>,
    /// The page.
    pub stand: Stand,
}

impl Gear {
    /// The sound of this name.
    #[must_use]
    pub fn sound(&self, name: &str) -> Option<&Sound> {
        self.sounds.iter().find(|sound| sound.name.value == name)
    }

    /// The number of the output that leads to a sound.
    #[must_use]
    pub fn output_of(&self, sound: &Sound) -> Option<usize> {
        self.outputs.iter().position(|output| output.name.value == sound.output.value)
    }
}

/// The page on the music stand: where it is served, and who may do what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stand {
    /// Address and port; `None`: not at all. One that other machines reach comes with a passcode.
    pub listen: Option<SocketAddr>,
    /// Whether the gear file asks for this address, so that no other will do.
    pub asked: bool,
    /// What lets a page control the set; none: whoever reaches it can.
    pub passcode: Option<String>,
    /// What lets a page look and no more.
    pub viewing_passcode: Option<String>,
    /// The input that the page's keyboard plays as; none where no input plays.
    pub input: Option<usize>,
}

impl Default for Stand {
    /// For this machine alone.
    fn default() -> Self {
        let listen = Some(SocketAddr::from(([127, 0, 0, 1], 7340)));
        Stand { listen, asked: false, passcode: None, viewing_passcode: None, input: None }
    }
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
    /// Controllers that count as others: (from, to).
    pub renumber: Vec<(U7, U7)>,
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
    pub cable: Cable,
    /// Whether clock messages are passed on to it.
    pub pass_clock: bool,
    /// Whether it gets our own clock, 24 a quarter at the song's or tapped tempo; never together with `pass_clock`.
    pub send_clock: bool,
    /// Whether system exclusive messages are passed on to it.
    pub pass_sysex: bool,
}

/// The cable of an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cable {
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
    /// low + (high − low)·((v − 1)/126)^(2^(heavier/50)).
    Bent {
        /// −100 to 100: above 0 a soft touch counts less, below 0 (`lighter`) more.
        heavier: i8,
        /// Output at velocity 1.
        low: f64,
        /// Output at velocity 127.
        high: f64,
    },
    /// Monotone piecewise cubic through these points, flat outside.
    Points(Vec<(f64, f64)>),
    /// Always the same.
    Always(f64),
}

/// Which way the shift goes on entering a song (rule R5).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShiftWay {
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
    /// In the room's key.
    Room,
}

/// Tonight.
#[derive(Debug, Clone)]
pub struct Set {
    /// Its title.
    pub title: String,
    /// The fingers' key of all songs that say nothing else.
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
    /// Tonight's fingers' key.
    pub play_in: Option<At<PlayIn>>,
    /// Tonight's shift.
    pub shift: Option<ShiftWay>,
    /// Tonight's order of sections.
    pub order: Option<Vec<At<String>>>,
    /// Who sings.
    pub singer: Option<At<String>>,
    /// A word to the player.
    pub remark: Option<String>,
}
