//! A hand and a pad over time: time to the right, pitch upward, each note a bar; black on white, as keyboards are drawn.

use std::error::Error;
use std::fmt::Write;
use std::path::Path;
use std::sync::Arc;

use handspan::engine::{Plan, Reason, Rehearsal};
use handspan::evening::Keys;
use handspan::map::{Book, load};
use handspan::midi::Note;
use handspan::midi::file::{Take, TakeKind, read};
use handspan::music::{chord, note};

/// Seconds that are drawn.
const LENGTH: f64 = 13.3;
const WIDTH: f64 = 640.0;
/// Left of the first second: the names of the notes.
const LEFT: f64 = 44.0;
const RIGHT: f64 = 8.0;
/// Height of a semitone.
const SEMITONE: f64 = 6.0;
/// Above a panel: its name and the names of chords.
const HEAD: f64 = 22.0;
const BETWEEN: f64 = 14.0;

/// A note from one second to another.
struct Bar {
    note: u8,
    from: f64,
    to: f64,
}

/// Notes beside one another in time, with words over some moments.
struct Panel<'a> {
    name: &'a str,
    bars: Vec<Bar>,
    words: Vec<(f64, String)>,
    fill: &'a str,
}

/// The picture of a take through a set, as it is kept in a file.
pub fn drawn(set: &str, take: &str, output: &str) -> Result<String, Box<dyn Error>> {
    let book = load(set, &mut |path: &str| std::fs::read(Path::new(path))).book.ok_or("the set has errors")?;
    let number = book.gear.outputs.iter().position(|known| known.name.value == output).ok_or("no such output")?;
    let take = read(&std::fs::read(take)?)?;
    let rehearsal = Rehearsal::new(&Arc::new(Plan::new(&book)), &take, 0, 0);
    let sent = rehearsal.steps.iter().flat_map(|step| &step.said).filter(|line| line.output == number);
    let pad = bars(sent.map(|line| (line.at, &line.bytes[..])));
    let hand = Panel { name: "hand", bars: bars(played(&take)), words: Vec::new(), fill: "black" };
    Ok(svg(&[Panel { name: output, bars: pad, words: chords(&book, &rehearsal), fill: "white" }, hand]))
}

fn played(take: &Take) -> impl Iterator<Item = (u64, &[u8])> {
    take.events.iter().filter_map(|event| match &event.kind {
        TakeKind::Message(bytes) => Some((event.at, &bytes[..])),
        TakeKind::Marker(_) => None,
    })
}

/// The bars of notes that begin in time.
fn bars<'a>(messages: impl Iterator<Item = (u64, &'a [u8])>) -> Vec<Bar> {
    let mut begun = [None; 128];
    let mut bars = Vec::new();
    for (at, message) in messages {
        let [status, number, velocity] = *message else { continue };
        let seconds = at as f64 / 1e6;
        let Some(begin) = begun.get_mut(usize::from(number)) else { continue };
        match status & 0xF0 {
            0x90 if velocity > 0 => *begin = Some(seconds),
            0x80 | 0x90 => bars.extend(begin.take().map(|from| Bar { note: number, from, to: seconds.min(LENGTH) })),
            _ => {}
        }
    }
    bars.retain(|bar| bar.from < LENGTH);
    bars
}

/// The chords that were decided, as the fingers grip them, the root where it is another one, and when.
fn chords(book: &Book, rehearsal: &Rehearsal) -> Vec<(f64, String)> {
    let mut words = Vec::new();
    for step in &rehearsal.steps {
        let Some((entry, song)) = step.standing.playing(book) else { continue };
        let keys = Keys::of(book, entry, song);
        let speller = keys.speller(keys.fingers_at(&step.standing), song, step.standing.section);
        for (at, reason) in &step.reasons {
            let Reason::Decided { keys, root } = *reason else { continue };
            let Some(named) = chord::name(keys) else { continue };
            let name = speller.chord(named);
            let other = root.map(|root| root % 12).filter(|root| *root != named.root);
            let root = other.map_or_else(String::new, |root| format!(", root {}", speller.tone_of(root, Some(name))));
            words.push((*at as f64 / 1e6, format!("{name}{root}")));
        }
    }
    words.retain(|(at, _)| *at < LENGTH);
    words
}

fn x(seconds: f64) -> f64 {
    LEFT + seconds * (WIDTH - LEFT - RIGHT) / LENGTH
}

fn svg(panels: &[Panel<'_>]) -> String {
    let (mut body, mut top) = (String::new(), 4.0);
    for panel in panels {
        top = panel.draw(top, &mut body) + BETWEEN;
    }
    for second in 0..=LENGTH as u32 {
        let at = x(f64::from(second));
        let _ = write!(body, r#"<path d="M{at:.1} {:.1}v4" stroke="black"/>"#, top - BETWEEN);
        if second % 2 == 0 {
            let _ = write!(body, r#"<text x="{at:.1}" y="{:.1}" text-anchor="middle">{second} s</text>"#, top + 4.0);
        }
    }
    let words = "time to the right, keys upward: below what the hand holds, above what the pad sounds";
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" class="hand" viewBox="0 0 {WIDTH} {:.1}" role="img" aria-label="{words}" font-family="sans-serif" font-size="10"><rect width="100%" height="100%" fill="white"/>{body}</svg>"#,
        top + 9.0
    )
}

impl Panel<'_> {
    /// Draws it from a height on downward; returns its lower edge.
    fn draw(&self, top: f64, body: &mut String) -> f64 {
        let low = self.bars.iter().map(|bar| bar.note).min().unwrap_or(60);
        let high = self.bars.iter().map(|bar| bar.note).max().unwrap_or(60);
        let y = |note: u8| top + HEAD + f64::from(high - note) * SEMITONE;
        let bottom = y(low) + SEMITONE + 3.0;
        let _ = write!(body, r#"<text x="0" y="{:.1}" font-weight="bold">{}</text>"#, top + 9.0, self.name);
        // A line below each C and F, as the white keys lie in two groups.
        for at in (low..=high).filter(|note| matches!(note % 12, 0 | 5)) {
            let name = Note::try_from(at).map(|at| note::name(at, 4)).unwrap_or_default();
            let (line, right) = (y(at) + SEMITONE, WIDTH - RIGHT);
            let _ = write!(body, r#"<text x="{:.1}" y="{line:.1}" text-anchor="end">{name}</text>"#, LEFT - 6.0);
            let _ = write!(body, r##"<path d="M{LEFT} {line:.1}H{right}" stroke="#999" stroke-width="0.5"/>"##);
        }
        for bar in &self.bars {
            let (left, wide) = (x(bar.from), (x(bar.to) - x(bar.from)).max(1.0));
            let _ = write!(
                body,
                r#"<rect class="note" x="{left:.1}" y="{:.1}" width="{wide:.1}" height="{}" fill="{}" stroke="black" stroke-width="0.8"/>"#,
                y(bar.note) + 0.5,
                SEMITONE - 1.0,
                self.fill
            );
        }
        for (at, words) in &self.words {
            let _ = write!(body, r#"<text x="{:.1}" y="{:.1}">{words}</text>"#, x(*at), top + 9.0);
        }
        let _ = write!(body, r#"<path d="M{LEFT} {bottom:.1}H{}" stroke="black"/>"#, WIDTH - RIGHT);
        bottom
    }
}
