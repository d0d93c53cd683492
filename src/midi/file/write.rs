//! Writing standard MIDI files of format 0.

use midly::live::LiveEvent;
use midly::num::{u15, u24, u28};
use midly::{Format, Fps, Header, MetaMessage, Smf, Timing, TrackEvent, TrackEventKind};

use crate::midi::decode;
use crate::midi::tempo::{Division, TempoEvent, TempoKind};

/// A file would be larger than the format allows: a message of 256 MiB, or 4 GiB in all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("this is too much for one standard MIDI file ({0}): replay a shorter take")]
pub struct WriteError(String);

/// The longest delta time, in ticks (RP-001: four bytes of seven bits).
const LONGEST_DELTA: u64 = 0x0FFF_FFFF;

/// Gathers what a file is to hold and writes it. Events may come in any order: they are written by tick,
/// and at one tick in the order in which they came.
#[derive(Debug, Clone)]
pub struct Writer<'a> {
    division: Division,
    events: Vec<(u64, TrackEventKind<'a>)>,
}

impl<'a> Writer<'a> {
    /// An empty file with this division.
    #[must_use]
    pub fn new(division: Division) -> Writer<'a> {
        Writer { division, events: Vec::new() }
    }

    /// A tempo or time signature change.
    pub fn tempo(&mut self, event: TempoEvent) {
        let meta = match event.kind {
            TempoKind::Tempo(micros) => MetaMessage::Tempo(u24::from_int_lossy(micros.min(0xFF_FFFF))),
            TempoKind::Meter([beats, value, clocks, thirty_seconds]) => {
                MetaMessage::TimeSignature(beats, value, clocks, thirty_seconds)
            }
        };
        self.events.push((event.tick, TrackEventKind::Meta(meta)));
    }

    /// The track's name, at the start.
    pub fn name(&mut self, name: &'a str) {
        self.events.push((0, TrackEventKind::Meta(MetaMessage::TrackName(name.as_bytes()))));
    }

    /// A marker.
    pub fn marker(&mut self, tick: u64, text: &'a str) {
        self.events.push((tick, TrackEventKind::Meta(MetaMessage::Marker(text.as_bytes()))));
    }

    /// A message with its status byte. System messages other than exclusive ones have no form of their
    /// own in a file: they, and bytes that are no whole message, are stored as an escape (RP-001, F7).
    pub fn message(&mut self, tick: u64, bytes: &'a [u8]) {
        let kind = match (bytes, decode(bytes)) {
            ([0xF0, data @ ..], Ok(_)) => TrackEventKind::SysEx(data),
            ([0x80..=0xEF, ..], Ok(_)) => match LiveEvent::parse(bytes) {
                Ok(LiveEvent::Midi { channel, message }) => TrackEventKind::Midi { channel, message },
                _ => TrackEventKind::Escape(bytes),
            },
            _ => TrackEventKind::Escape(bytes),
        };
        self.events.push((tick, kind));
    }

    /// The file's bytes; its end of track stands at `end_tick`, or at the last event where that is later.
    ///
    /// # Errors
    /// A message is longer than 256 MiB, or the whole is longer than 4 GiB.
    pub fn finish(mut self, end_tick: u64) -> Result<Vec<u8>, WriteError> {
        self.events.sort_by_key(|(tick, _)| *tick);
        let last = self.events.last().map_or(0, |(tick, _)| *tick);
        self.events.push((end_tick.max(last), TrackEventKind::Meta(MetaMessage::EndOfTrack)));
        let mut track = Vec::with_capacity(self.events.len());
        let mut now = 0;
        for (tick, kind) in self.events {
            // A longer rest than a delta time can say is filled with empty texts.
            while tick - now > LONGEST_DELTA {
                now += LONGEST_DELTA;
                track.push(TrackEvent {
                    delta: u28::from_int_lossy(LONGEST_DELTA as u32),
                    kind: TrackEventKind::Meta(MetaMessage::Text(b"")),
                });
            }
            track.push(TrackEvent { delta: u28::from_int_lossy((tick - now) as u32), kind });
            now = tick;
        }
        let header = Header::new(Format::SingleTrack, timing(self.division));
        let mut bytes = Vec::new();
        Smf { header, tracks: vec![track] }.write(&mut bytes).map_err(|cause| WriteError(cause.to_string()))?;
        Ok(bytes)
    }
}

/// Writes messages as a format 0 file: the tempo and time signature changes, the messages (tick, one whole
/// message with its status byte), and the end of track at `end_tick` or at the last event, whichever is later.
///
/// At one tick the changes of tempo come first, then the messages in the order given.
///
/// # Errors
/// A message is longer than 256 MiB, or the whole is longer than 4 GiB.
pub fn write<B: AsRef<[u8]>>(
    division: Division,
    tempo: &[TempoEvent],
    events: &[(u64, B)],
    end_tick: u64,
) -> Result<Vec<u8>, WriteError> {
    let mut writer = Writer::new(division);
    for event in tempo {
        writer.tempo(*event);
    }
    for (tick, bytes) in events {
        writer.message(*tick, bytes.as_ref());
    }
    writer.finish(end_tick)
}

fn timing(division: Division) -> Timing {
    let [high, low] = division.to_bytes();
    match Fps::from_int(high.wrapping_neg()) {
        Some(rate) if high >= 0x80 => Timing::Timecode(rate, low),
        _ => Timing::Metrical(u15::from_int_lossy(u16::from_be_bytes([high, low]))),
    }
}
