//! The state: the snapshot that is shown in other terminals, and to programs as JSON.
//!
//! The JSON is documented in `docs/status.md`. Fields may be added; none will change or go.

use serde::{Deserialize, Serialize};

use super::Show;
use crate::engine::Snapshot;
use crate::evening::{Keys, Standing, is_in_use};
use crate::map::{Entry, Song};

/// The state of a performance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// Version of this form: 1.
    pub version: u32,
    /// The name that tells this performance from others that run beside it.
    pub name: String,
    /// When it began, such as `2026-12-19T19:30:00+01:00`.
    pub running_since: String,
    /// What is played.
    pub set: SetState,
    /// The song or pause where the set stands.
    pub entry: EntryState,
    /// The song whose zones the keys play; in a pause the one before it. None before the first song.
    pub song: Option<SongState>,
    /// Whether the drone sounds.
    pub drone: bool,
    /// Messages that start something and were not sent as the set began: `resend-messages` sends them.
    pub not_sent: u16,
    /// Title of the song or pause that `next-song` will enter, where one was lined up.
    #[serde(default)]
    pub next_song: Option<String>,
    /// The room's key on entering that; none for a pause.
    #[serde(default)]
    pub next_song_key: Option<String>,
    /// Names of the cues that are on, such as an open talkback.
    #[serde(default)]
    pub cues: Vec<String>,
    /// Where the tracks player stands; none where no clock comes in.
    #[serde(default)]
    pub tracks: Option<TracksState>,
    /// Quarter notes a minute: the song's tempo, or the tapped one. Outputs with `send_clock` get a clock at it.
    #[serde(default)]
    pub tempo: Option<f64>,
    /// How late 99 of 100 of the clock's ticks were given at most, in microseconds, rounded up to a power of two;
    /// none before a tick was given.
    #[serde(default)]
    pub tempo_late_us: Option<u64>,
    /// From a message that came in to the last byte that it caused: what 99 of 100 took at most, in microseconds; none
    /// before there was one.
    #[serde(default)]
    pub latency_us: Option<u64>,
    /// Inputs in the gear's order.
    pub inputs: Vec<PortState>,
    /// Outputs in the gear's order.
    pub outputs: Vec<PortState>,
    /// What was left out since it began.
    pub counts: CountState,
}

/// Where the tracks player stands, in bars of the song's meter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TracksState {
    /// Whether they run.
    pub running: bool,
    /// Bar, from 1.
    pub bar: u64,
    /// Beat in the bar, from 1.
    pub beat: u64,
    /// Quarter notes a minute, once known.
    pub tempo: Option<f64>,
}

/// The set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetState {
    /// Its title.
    pub title: String,
    /// Its file, as it was named when the performance began.
    pub file: String,
    /// How many songs and pauses it has.
    pub entries: usize,
    /// Changes that are not saved, each in the words that ask for it again.
    pub unsaved: Vec<String>,
}

/// A song or pause of the set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EntryState {
    /// Its position in the set, from 1.
    pub position: usize,
    /// Its title.
    pub title: String,
    /// Whether it is a pause.
    pub pause: bool,
    /// A word to the player.
    pub remark: Option<String>,
}

/// The song that the keys play.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SongState {
    /// Its position in the set, from 1.
    pub position: usize,
    /// Its title.
    pub title: String,
    /// The section; none where the song has none.
    pub section: Option<SectionState>,
    /// Its keys.
    pub keys: KeyState,
    /// Its zones in file order.
    pub zones: Vec<ZoneState>,
}

/// A section.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SectionState {
    /// Its name.
    pub name: String,
    /// Its step in tonight's order, from 1; of one that the order lacks, the step that was left for it.
    pub step: usize,
    /// How many steps the order has.
    pub of: usize,
    /// The one that follows.
    pub next: Option<String>,
    /// A word to the player.
    pub remark: Option<String>,
}

/// The keys of a song, spelled as musicians write them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyState {
    /// The chart's: what is printed.
    pub chart: String,
    /// The fingers': what they play in now.
    pub fingers: String,
    /// The room's: what is heard now.
    pub room: String,
    /// The room's on entering the song tonight, to which `tonights-key` goes back.
    pub room_on_entry: String,
    /// From the keys that are pressed to the notes that sound, in semitones.
    pub shift: i32,
    /// Semitones that were added by hand to the room's key since the song was entered.
    pub transposed_by_hand: i32,
}

/// A zone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ZoneState {
    /// Its name; several zones may share one, and are turned together.
    pub name: String,
    /// Whether it is on.
    pub on: bool,
    /// Whether it is on and belongs to this section.
    pub in_use: bool,
}

/// An input or output.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PortState {
    /// Its name in the gear.
    pub name: String,
    /// Part of the port's name; none for a port of our own, which others connect to.
    pub port: Option<String>,
    /// Whether the port is connected; of one of our own, whether something is connected to it, and true where that cannot be
    /// known.
    pub connected: bool,
    /// Whether it may be absent.
    pub optional: bool,
}

/// What was left out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountState {
    /// Messages that an output refused, because its reader was too slow or it was not connected.
    pub refused: u64,
    /// Messages that came faster than they were read, by us or by a listener: controllers before notes.
    pub dropped_overload: u64,
    /// Messages that were malformed, too long, or began a note before anything was connected.
    pub dropped: u64,
    /// How often the system lost messages on their way to us; all that was held was ended then.
    pub overruns: u64,
    /// Notes outside the MIDI range.
    pub out_of_range: u64,
    /// Messages of no known form.
    pub not_understood: u64,
    /// Reports, such as lines of the terminal or the log, that nobody fetched in time.
    pub reports_lost: u64,
}

/// The entry and song whose zones the keys play.
#[must_use]
pub fn playing<'s>(show: &'s Show, standing: &Standing) -> Option<(&'s Entry, &'s Song)> {
    standing.playing(&show.book)
}

impl EntryState {
    pub(super) fn of(show: &Show, standing: &Standing) -> EntryState {
        let entry = show.book.set.entries.get(standing.entry);
        EntryState {
            position: standing.entry + 1,
            title: show.plan.title(standing.entry).to_owned(),
            pause: entry.is_some_and(|entry| entry.song.is_none()),
            remark: entry.and_then(|entry| entry.remark.clone()),
        }
    }
}

impl SongState {
    /// The song that the keys play.
    pub(super) fn of(show: &Show, snapshot: &Snapshot) -> Option<SongState> {
        let standing = &snapshot.standing;
        let (entry, song) = playing(show, standing)?;
        let here = standing.song?;
        let keys = Keys::of(&show.book, entry, song);
        let room = keys.room(standing.tonic);
        let section = song.sections.get(standing.section).map(|section| {
            let next = show.plan.section_at(here, standing.order_step + 1);
            SectionState {
                name: section.name.value.clone(),
                step: standing.order_step + 1,
                of: show.plan.order_length(here),
                next: next.and_then(|next| show.plan.section_name(here, next)).map(str::to_owned),
                remark: section.remark.clone(),
            }
        });
        let zones = song.zones.iter().enumerate().map(|(number, zone)| {
            let on = snapshot.zone_is_on(number);
            ZoneState { name: zone.name.clone(), on, in_use: is_in_use(song, zone, standing.section, on) }
        });
        Some(SongState {
            position: here + 1,
            title: show.plan.title(here).to_owned(),
            keys: KeyState {
                chart: keys.chart.to_string(),
                fingers: keys.fingers_at(standing).to_string(),
                room: room.to_string(),
                room_on_entry: keys.tonight.to_string(),
                shift: standing.shift,
                transposed_by_hand: standing.transposed,
            },
            zones: zones.collect(),
            section,
        })
    }
}
