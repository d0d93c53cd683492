//! A standard MIDI file of format 0 that grows while it is written and can be read at any moment.
//!
//! A track ends with an end of track and its chunk says how long it is, so appending touches three places. They are
//! written in this order, and after each of the three the file is whole, up to the old end or up to the new one:
//!
//! 1. behind the old end of track: the new events and a new end of track. The chunk does not reach that far yet, and
//!    readers pass over what follows the last chunk, whole or cut short.
//! 2. the chunk's length, four bytes. The old end of track still ends the track.
//! 3. one byte: the old end of track (FF 2F 00) becomes an empty text (FF 01 00), and the new events count.
//!
//! It costs four bytes for each append. Between the steps the store settles what was written, so that they keep their
//! order over a power cut too.

use std::io;

use super::{WriteError, Writer};
use crate::midi::tempo::{Division, TempoEvent};

/// Where a growing file's bytes are kept.
pub trait Store {
    /// Writes bytes at a place, over what is there or behind it.
    ///
    /// # Errors
    /// The bytes, or some of them, were not written.
    fn write_at(&mut self, place: u64, bytes: &[u8]) -> io::Result<()>;

    /// Makes what was written last, before anything that is written from now on.
    ///
    /// # Errors
    /// It may not last.
    fn settle(&mut self) -> io::Result<()>;
}

/// Why a file does not grow.
#[derive(Debug, thiserror::Error)]
pub enum GrowError {
    /// The store does not take it.
    #[error(transparent)]
    Store(#[from] io::Error),
    /// The track is as long as the format allows.
    #[error(transparent)]
    TooMuch(#[from] WriteError),
    /// The track is as long as the format allows: 4 GiB.
    #[error("the file has reached the 4 GiB that a standard MIDI file can hold")]
    Full,
}

/// Place of the track chunk's length: after the header chunk (14 bytes) and the chunk's name.
const LENGTH_AT: u64 = 18;
/// Where the track's data begin.
const DATA_AT: u64 = 22;
/// The end of track ends with its type and a length of 0: this far before its end stands the type.
const TYPE_BEFORE_END: u64 = 2;
/// The type of a text (RP-001).
const TEXT: u8 = 0x01;

#[derive(Debug)]
enum GrowingEvent {
    Message(Vec<u8>),
    Marker(String),
}

/// A file that grows.
#[derive(Debug)]
pub struct Growing<S> {
    store: S,
    division: Division,
    /// Where the next append goes: behind the end of track.
    end: u64,
    /// The tick of the end of track in the store.
    tick: u64,
    waiting: Vec<(u64, GrowingEvent)>,
}

impl<S: Store> Growing<S> {
    /// Begins a file in an empty store, with a track of this name; it is whole when this returns.
    ///
    /// # Errors
    /// The store does not take it.
    pub fn begin(mut store: S, division: Division, tempo: TempoEvent, name: &str) -> Result<Growing<S>, GrowError> {
        let mut writer = Writer::new(division);
        writer.name(name);
        writer.tempo(tempo);
        let bytes = writer.finish(0)?;
        store.write_at(0, &bytes)?;
        store.settle()?;
        Ok(Growing { store, division, end: bytes.len() as u64, tick: 0, waiting: Vec::new() })
    }

    /// Adds a message with its status byte; it is in the store after the next [`Growing::flush`]. Ticks count from the
    /// start and do not fall.
    pub fn message(&mut self, tick: u64, bytes: &[u8]) {
        self.waiting.push((tick, GrowingEvent::Message(bytes.to_vec())));
    }

    /// Adds a marker, as [`Growing::message`].
    pub fn marker(&mut self, tick: u64, text: String) {
        self.waiting.push((tick, GrowingEvent::Marker(text)));
    }

    /// Writes what was added since the last time; the end of track stands at `end_tick`, or at the last event where
    /// that is later. Does nothing where that would change nothing.
    ///
    /// # Errors
    /// The store does not take it, or the file is full. What was flushed before stays readable, and nothing must be
    /// added any more.
    pub fn flush(&mut self, end_tick: u64) -> Result<(), GrowError> {
        if self.waiting.is_empty() && end_tick <= self.tick {
            return Ok(());
        }
        let mut writer = Writer::new(self.division);
        for (tick, kept) in &self.waiting {
            let tick = tick.saturating_sub(self.tick);
            match kept {
                GrowingEvent::Message(bytes) => writer.message(tick, bytes),
                GrowingEvent::Marker(text) => writer.marker(tick, text),
            }
        }
        let last = self.waiting.iter().map(|(tick, _)| *tick).max().unwrap_or(0).max(end_tick).max(self.tick);
        let bytes = writer.finish(last - self.tick)?;
        let new = bytes.get(DATA_AT as usize..).unwrap_or_default();
        let end = self.end + new.len() as u64;
        let length = u32::try_from(end - DATA_AT).map_err(|_| GrowError::Full)?;
        self.store.write_at(self.end, new)?;
        self.store.settle()?;
        self.store.write_at(LENGTH_AT, &length.to_be_bytes())?;
        self.store.settle()?;
        self.store.write_at(self.end - TYPE_BEFORE_END, &[TEXT])?;
        self.waiting.clear();
        self.end = end;
        self.tick = last;
        Ok(())
    }

    /// Where the bytes are kept.
    pub fn store(&self) -> &S {
        &self.store
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::midi::file::{TakeKind, read};
    use crate::midi::tempo::TempoKind;

    /// Remembers every write, so that a test can stop after any byte of any of them.
    #[derive(Default)]
    struct Remembering(Vec<(u64, Vec<u8>)>);

    impl Store for Remembering {
        fn write_at(&mut self, place: u64, bytes: &[u8]) -> io::Result<()> {
            self.0.push((place, bytes.to_vec()));
            Ok(())
        }

        fn settle(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn write(file: &mut Vec<u8>, place: u64, bytes: &[u8]) {
        let place = place as usize;
        file.resize(file.len().max(place + bytes.len()), 0);
        file[place..place + bytes.len()].copy_from_slice(bytes);
    }

    fn begin() -> Growing<Remembering> {
        let tempo = TempoEvent { tick: 0, kind: TempoKind::Tempo(500_000) };
        Growing::begin(Remembering::default(), Division::quarter(10_000).unwrap(), tempo, "keyboard").unwrap()
    }

    fn event() -> impl Strategy<Value = (u64, TakeKind)> {
        let kind = prop_oneof![
            8 => (0x80u8..0xC0, 0u8..128, 0u8..128).prop_map(|(a, b, c)| TakeKind::Message(vec![a, b, c])),
            2 => (0xC0u8..0xE0, 0u8..128).prop_map(|(a, b)| TakeKind::Message(vec![a, b])),
            1 => prop::sample::select(vec![0xF8, 0xFA, 0xFE]).prop_map(|a| TakeKind::Message(vec![a])),
            1 => prop::collection::vec(0u8..128, 0..300)
                .prop_map(|data| TakeKind::Message([&[0xF0], &data[..], &[0xF7]].concat())),
            1 => "[a-zéE ]{0,20}".prop_map(TakeKind::Marker),
        ];
        let pause = prop_oneof![6 => 0u64..3, 3 => 0u64..20_000, 1 => Just(0x1000_0000u64 + 5)];
        (pause, kind)
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]
        #[test]
        fn it_can_be_read_after_any_byte_that_was_written(
            flushes in prop::collection::vec(prop::collection::vec(event(), 0..8), 0..6),
            rest in 0u64..50_000,
        ) {
            let mut growing = begin();
            // What a reader may find: the events of so many flushes, and no half of one.
            let mut allowed = vec![Vec::new()];
            let mut all = Vec::new();
            let mut tick = 0;
            for flush in &flushes {
                for (pause, kind) in flush {
                    tick += pause;
                    match kind {
                        TakeKind::Message(bytes) => growing.message(tick, bytes),
                        TakeKind::Marker(text) => growing.marker(tick, text.clone()),
                    }
                    all.push((tick, kind.clone()));
                }
                growing.flush(0).unwrap();
                allowed.push(all.clone());
            }
            growing.flush(tick + rest).unwrap();
            let found = |file: &[u8]| {
                let take = read(file).unwrap();
                let events: Vec<_> = take.events.into_iter().map(|event| (event.tick, event.kind)).collect();
                (events, take.end_tick)
            };
            let mut file = Vec::new();
            let mut writes = growing.store().0.iter();
            let (place, bytes) = writes.next().unwrap();
            write(&mut file, *place, bytes);
            let mut reached = 0;
            for (place, bytes) in writes {
                // A kill comes between two bytes of a long write; four bytes and one byte are written in one go.
                for cut in (1..=bytes.len()).filter(|cut| *place > LENGTH_AT || *cut == bytes.len()) {
                    let mut torn = file.clone();
                    write(&mut torn, *place, &bytes[..cut]);
                    let (events, _) = found(&torn);
                    let now = allowed.iter().rposition(|allowed| *allowed == events);
                    prop_assert!(now.is_some_and(|now| now >= reached), "after {cut} bytes at {place}");
                    reached = now.unwrap_or(0);
                }
                write(&mut file, *place, bytes);
            }
            prop_assert_eq!(found(&file), (all, tick + rest));
        }
    }

    #[test]
    fn an_append_keeps_what_is_there_but_for_five_bytes() {
        let mut growing = begin();
        growing.message(10, &[0x90, 60, 100]);
        growing.flush(0).unwrap();
        growing.flush(0).unwrap();
        let writes = &growing.store().0;
        assert_eq!(writes.len(), 4, "nothing new, nothing written");
        assert_eq!(writes[1].1, [10, 0x90, 60, 100, 0, 0xFF, 0x2F, 0]);
        assert_eq!(writes[2].0, 18);
        assert_eq!((writes[3].0, &writes[3].1[..]), (writes[1].0 - 2, &[TEXT][..]));
    }
}
