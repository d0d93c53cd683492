//! The files: each song for itself, and the whole evening.

use handspan::midi::file::Writer;
use handspan::midi::tempo::{Division, TempoEvent, TempoKind};

use super::hands::{Performance, QUARTER};
use super::pieces::{EVENING, Entry, PIECES, Piece};

/// Every take: its file name and its bytes.
pub fn all() -> Vec<(String, Vec<u8>)> {
    let mut takes: Vec<(String, Vec<u8>)> = PIECES
        .iter()
        .map(|piece| {
            let entry = Entry { place: piece.place, piece, sections: piece.sections, wish: None };
            (format!("{}.mid", piece.stem), take(piece.stem, &[entry]))
        })
        .collect();
    takes.push(("whole-set.mid".to_owned(), take("whole set", &EVENING)));
    takes
}

/// Entries of the set one after another, each entered by its marker.
fn take(name: &str, entries: &[Entry]) -> Vec<u8> {
    let mut performance = Performance::new(name);
    let mut starts = Vec::new();
    for entry in entries {
        starts.push((performance.now(), entry.piece));
        performance.mark(&format!("song {}", entry.place));
        performance.play(entry);
    }
    bytes(name, &starts, performance)
}

fn bytes(name: &str, starts: &[(u64, &Piece)], performance: Performance) -> Vec<u8> {
    let division = Division::quarter(QUARTER as u16).expect("480 ticks are in range");
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
    writer.finish(end).expect("a take of some minutes fits into a file")
}
