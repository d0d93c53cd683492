//! The files: each song for itself, the whole evening, and how the set is directed.

use std::error::Error;

use handspan::midi::file::Writer;
use handspan::midi::tempo::{Division, TempoEvent, TempoKind};

use super::hands::{Performance, QUARTER};
use super::pieces::{EVENING, Entry, PIECES, Piece, entry};

/// A file: its name and its bytes.
pub type File = (String, Vec<u8>);

/// Every take.
///
/// # Errors
/// A key or chord of a piece is not well written.
pub fn all() -> Result<Vec<File>, Box<dyn Error>> {
    let mut takes = Vec::new();
    for piece in PIECES {
        let entry = entry(piece.place, piece, piece.sections);
        takes.push((format!("{}.mid", piece.stem), take(piece.stem, &[entry])?));
    }
    takes.push(("whole-set.mid".to_owned(), take("whole set", &EVENING)?));
    let mut performance = Performance::new("directing");
    let starts = performance.direct()?;
    takes.push(("directing.mid".to_owned(), bytes("directing", &starts, performance)?));
    Ok(takes)
}

/// Entries of the set one after another, each entered by its marker.
fn take(name: &str, entries: &[Entry]) -> Result<Vec<u8>, Box<dyn Error>> {
    let mut performance = Performance::new(name);
    let mut starts = Vec::new();
    for entry in entries {
        starts.push((performance.now(), entry.piece));
        performance.mark(&format!("song {}", entry.place));
        performance.play(entry)?;
    }
    bytes(name, &starts, performance)
}

fn bytes(name: &str, starts: &[(u64, &Piece)], performance: Performance) -> Result<Vec<u8>, Box<dyn Error>> {
    let division = Division::quarter(QUARTER as u16).ok_or("a quarter has too many ticks")?;
    let mut writer = Writer::new(division);
    writer.name(name);
    for (tick, piece) in starts {
        let [beats, value] = piece.meter;
        // A metronome clicks in quarters, and in compound time in dotted quarters, of 24 clocks each quarter.
        let click = if value == 8 { 36 } else { 24 };
        let meter = [beats, value.trailing_zeros() as u8, click, 8];
        writer.tempo(TempoEvent { tick: *tick, kind: TempoKind::Meter(meter) });
        writer.tempo(TempoEvent { tick: *tick, kind: TempoKind::Tempo(60_000_000 / piece.tempo) });
    }
    let end = performance.now();
    let (markers, messages) = performance.finish();
    for (tick, text) in &markers {
        writer.marker(*tick, text);
    }
    for (tick, message) in &messages {
        writer.message(*tick, message);
    }
    Ok(writer.finish(end)?)
}
