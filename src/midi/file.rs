//! Standard MIDI files (RP-001), read and written.
//!
//! midly takes the events apart; header and chunks are read here, because midly makes the best of a file
//! that is cut short or lies about its lengths, and a take with its end missing must be refused instead.
//! Memory grows only with bytes that are there, never with what a header claims.

mod growing;
mod write;

use midly::live::LiveEvent;
use midly::{EventIter, MetaMessage, TrackEventKind};

use super::stream::Stream;
use super::tempo::{Division, TempoEvent, TempoKind, TempoMap};

pub use growing::{GrowError, Growing, Store};
pub use write::{WriteError, Writer, write};

/// The longest take that is read, in microseconds: a thousand hours.
pub const LONGEST_TAKE: u64 = 1000 * 3600 * 1_000_000;

/// A recorded performance: what a standard MIDI file of format 0 or 1 plays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// How long a tick is.
    pub division: Division,
    /// Tempo and time signature changes of all tracks, by tick, then track by track.
    pub tempo: Vec<TempoEvent>,
    /// Messages and markers, by tick, then track by track in a file's own order.
    pub events: Vec<TakeEvent>,
    /// The latest end of track.
    pub end_tick: u64,
    /// Its time in microseconds from the start.
    pub end: u64,
    map: TempoMap,
}

/// Something that happens in a take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakeEvent {
    /// When, in ticks from the start.
    pub tick: u64,
    /// When, in microseconds from the start.
    pub at: u64,
    /// What.
    pub kind: TakeKind,
}

/// What happens at a [`TakeEvent`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TakeKind {
    /// One whole message with its status byte; a system exclusive message at the tick of its last part.
    Message(Vec<u8>),
    /// A marker's text.
    Marker(String),
}

/// Why bytes are no take.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FileError {
    /// There are no bytes.
    #[error("the file is empty: give a standard MIDI file")]
    Empty,
    /// The file does not begin with a header chunk.
    #[error("this is no standard MIDI file: it does not begin with MThd")]
    NotMidi,
    /// The file ends inside a chunk, or before the last track that the header announces.
    #[error("the file is cut short: it ends after {length} bytes, in the middle of its tracks; copy it again")]
    CutShort {
        /// Bytes that are there.
        length: usize,
    },
    /// Format 2 keeps independent pieces.
    #[error("this MIDI file is of format 2, a collection of separate pieces: export the piece as format 0 or 1")]
    Format2,
    /// A format that RP-001 does not have.
    #[error("this MIDI file says that it is of format {0}, which does not exist: export it as format 0 or 1")]
    Format(u16),
    /// A division that is neither ticks per quarter nor ticks per frame.
    #[error("the MIDI file's header gives no usable length of a tick ({0:02X} {1:02X}): export the file again")]
    Division(u8, u8),
    /// No track chunk.
    #[error("the MIDI file has no tracks: export it again")]
    NoTracks,
    /// An event that cannot be read, or a track that does not end with an end of track.
    #[error("track {track} of the MIDI file cannot be read from byte {byte} of the file on: export it again")]
    Damaged {
        /// The track, from 1.
        track: usize,
        /// Where in the file, from 0.
        byte: usize,
    },
    /// A tempo of no time at all.
    #[error("track {track} of the MIDI file sets a tempo of 0 microseconds per quarter note: correct its tempo")]
    Tempo {
        /// The track, from 1.
        track: usize,
    },
    /// Longer than [`LONGEST_TAKE`].
    #[error("the MIDI file lasts longer than a thousand hours: cut it to the part that you need")]
    TooLong,
}

impl Take {
    /// A tick's time in microseconds from the start, rounded half up.
    #[must_use]
    pub fn micros(&self, tick: u64) -> u64 {
        self.map.micros(tick)
    }

    /// How long each note sounds in all, in microseconds, by its number from 0 to 127: of all channels but the tenth, which
    /// plays percussion (General MIDI 1, RP-003). Two of one note at a time count twice; one that is never ended sounds until
    /// the take ends.
    #[must_use]
    pub fn note_times(&self) -> [u64; 128] {
        const PERCUSSION: u8 = 9;
        let mut times = [0; 128];
        // When each began, of each channel.
        let mut sounding: Vec<(u8, u8, u64)> = Vec::new();
        for TakeEvent { at, kind, .. } in &self.events {
            let TakeKind::Message(bytes) = kind else { continue };
            let &[status, key, velocity] = &bytes[..] else { continue };
            let channel = status & 0x0F;
            if channel == PERCUSSION || !matches!(status & 0xF0, 0x80 | 0x90) {
                continue;
            }
            if status & 0xF0 == 0x90 && velocity > 0 {
                sounding.push((channel, key, *at));
            } else if let Some(place) = sounding.iter().position(|(on, of, _)| (*on, *of) == (channel, key)) {
                let (_, key, began) = sounding.remove(place);
                times[usize::from(key)] += at - began;
            }
        }
        for (_, key, began) in sounding {
            times[usize::from(key)] += self.end.saturating_sub(began);
        }
        times
    }

    /// The tick nearest a time in microseconds from the start; of two equally near, the later.
    #[must_use]
    pub fn nearest_tick(&self, micros: u64) -> u64 {
        self.map.nearest_tick(micros)
    }
}

/// Reads a standard MIDI file of format 0 or 1.
///
/// Unknown chunks and longer headers are passed over (RP-001 asks for that), and so is what follows the
/// tracks that the header announces and is no whole chunk. Every track must have its end of track.
///
/// # Errors
/// The bytes are no such file, are damaged or cut short, or play longer than [`LONGEST_TAKE`].
pub fn read(bytes: &[u8]) -> Result<Take, FileError> {
    let file = chunks(bytes)?;
    let mut reader = Reader::default();
    for (number, (start, track)) in file.tracks.iter().enumerate() {
        reader.track(number + 1, *start, track)?;
    }
    let Reader { mut tempo, mut events, end_tick, .. } = reader;
    // Stable: at one tick the order of the tracks, and within a track its own, stays.
    tempo.sort_by_key(|event| event.tick);
    events.sort_by_key(|event| event.tick);
    let map = TempoMap::new(file.division, &tempo);
    let end = map.micros(end_tick);
    if end > LONGEST_TAKE {
        return Err(FileError::TooLong);
    }
    for event in &mut events {
        event.at = map.micros(event.tick);
    }
    Ok(Take { division: file.division, tempo, events, end_tick, end, map })
}

/// A file's header and its tracks' data, each with its place in the file.
struct Chunks<'a> {
    division: Division,
    tracks: Vec<(usize, &'a [u8])>,
}

fn chunks(bytes: &[u8]) -> Result<Chunks<'_>, FileError> {
    if bytes.is_empty() {
        return Err(FileError::Empty);
    }
    let cut_short = || FileError::CutShort { length: bytes.len() };
    if !bytes.starts_with(b"MThd") {
        return Err(FileError::NotMidi);
    }
    let (_, _, header, mut next) = chunk(bytes, 0).ok_or_else(cut_short)?;
    let [f0, f1, n0, n1, d0, d1, ..] = *header else { return Err(cut_short()) };
    match u16::from_be_bytes([f0, f1]) {
        0 | 1 => {}
        2 => return Err(FileError::Format2),
        other => return Err(FileError::Format(other)),
    }
    let announced = usize::from(u16::from_be_bytes([n0, n1]));
    let division = Division::from_bytes([d0, d1]).ok_or(FileError::Division(d0, d1))?;
    let mut tracks = Vec::new();
    while let Some((name, start, data, after)) = chunk(bytes, next) {
        if name == b"MTrk" {
            tracks.push((start, data));
        }
        next = after;
    }
    if tracks.len() < announced {
        return Err(cut_short());
    }
    if tracks.is_empty() {
        return Err(FileError::NoTracks);
    }
    Ok(Chunks { division, tracks })
}

/// The chunk at a place: its name, where its data begin, its data, and where the next chunk begins.
fn chunk(bytes: &[u8], at: usize) -> Option<(&[u8], usize, &[u8], usize)> {
    let (name, rest) = bytes.get(at..)?.split_at_checked(4)?;
    let (length, rest) = rest.split_first_chunk()?;
    let length = usize::try_from(u32::from_be_bytes(*length)).ok()?;
    Some((name, at + 8, rest.get(..length)?, at + 8 + length))
}

#[derive(Default)]
struct Reader {
    tempo: Vec<TempoEvent>,
    events: Vec<TakeEvent>,
    end_tick: u64,
    /// Puts system exclusive messages together that are stored in several packets.
    stream: Stream,
}

impl Reader {
    fn track(&mut self, track: usize, start: usize, data: &[u8]) -> Result<(), FileError> {
        let mut events = EventIter::new(data).bytemapped();
        let mut tick = 0u64;
        self.stream.reset();
        loop {
            let rest = events.unread();
            let damaged = FileError::Damaged { track, byte: start + data.len() - rest.len() };
            // Without an error of its own midly ends where it cannot go on: then the end of track is missing.
            let Some(Ok((bytes, event))) = events.next() else { return Err(damaged) };
            if !whole(rest, bytes, &event.kind) {
                return Err(damaged);
            }
            tick += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Meta(MetaMessage::EndOfTrack) => break,
                TrackEventKind::Meta(MetaMessage::Tempo(tempo)) if tempo == 0 => {
                    return Err(FileError::Tempo { track });
                }
                kind => self.event(tick, kind),
            }
        }
        self.end_tick = self.end_tick.max(tick);
        Ok(())
    }

    fn event(&mut self, tick: u64, kind: TrackEventKind<'_>) {
        match kind {
            TrackEventKind::Midi { channel, message } => {
                // A channel message ends an unfinished system exclusive message.
                self.stream.reset();
                let mut bytes = Vec::with_capacity(3);
                if (LiveEvent::Midi { channel, message }).write(&mut bytes).is_ok() {
                    self.push(tick, TakeKind::Message(bytes));
                }
            }
            TrackEventKind::SysEx(data) => {
                self.stream.push(0xF0);
                self.packet(tick, data);
            }
            TrackEventKind::Escape(data) => self.packet(tick, data),
            TrackEventKind::Meta(MetaMessage::Marker(text)) => {
                self.push(tick, TakeKind::Marker(String::from_utf8_lossy(text).into_owned()));
            }
            TrackEventKind::Meta(MetaMessage::Tempo(tempo)) => {
                self.tempo.push(TempoEvent { tick, kind: TempoKind::Tempo(tempo.as_int()) });
            }
            TrackEventKind::Meta(MetaMessage::TimeSignature(beats, value, clocks, thirty_seconds)) => {
                self.tempo.push(TempoEvent { tick, kind: TempoKind::Meter([beats, value, clocks, thirty_seconds]) });
            }
            TrackEventKind::Meta(_) => {}
        }
    }

    fn packet(&mut self, tick: u64, data: &[u8]) {
        for byte in data {
            if let Some(message) = self.stream.push(*byte) {
                let kind = TakeKind::Message(message.to_vec());
                self.events.push(TakeEvent { tick, at: 0, kind });
            }
        }
    }

    fn push(&mut self, tick: u64, kind: TakeKind) {
        self.events.push(TakeEvent { tick, at: 0, kind });
    }
}

/// Whether an event is what its bytes say: midly masks data bytes above 127 and ends lengths of more than
/// four bytes after the fourth. `rest` begins with the event's delta time, `bytes` with its status.
fn whole(rest: &[u8], bytes: &[u8], kind: &TrackEventKind<'_>) -> bool {
    let number = |bytes: &[u8]| bytes.iter().take(4).any(|byte| *byte < 0x80);
    number(rest)
        && match kind {
            TrackEventKind::Midi { .. } => bytes.iter().skip(1).all(|byte| *byte < 0x80),
            TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => bytes.get(1..).is_some_and(number),
            TrackEventKind::Meta(_) => bytes.get(2..).is_some_and(number),
        }
}

#[cfg(test)]
mod tests;
