//! The drawing itself.

use super::labels::{self, Label};
use super::{Keyboard, Reach, key_name};
use crate::music::note::is_black;
use crate::paper::shape::{Anchor, Line, Mark, Run, Shade, svg};
use crate::paper::text_width::{Weight, escaped, lines, number, width};

/// Width of a drawing, in its own unit.
pub(crate) const WIDTH: f64 = 640.0;
/// Left and right of the keys.
const EDGE: f64 = 8.0;
/// A white key is no wider than this, so that two octaves do not fill a page.
const WIDEST: f64 = 20.0;
/// How high white keys are drawn where there is room.
const HIGH: f64 = 62.0;
/// From so high on the names of the Cs have room on their keys, under what is marked there; else they stand below.
const NAMED_WITHIN: f64 = 56.0;
/// What a black key has of a white one's height.
const BLACK_SHARE: f64 = 0.61;
/// Letter size of a reach's label.
const SIZE: f64 = 11.0;
/// From one reach to the next.
const DEPTH: f64 = 18.0;
/// From one row of cue words to the next.
const ROW: f64 = 13.0;
/// Left and right of a label.
const AIR: f64 = 5.0;
/// Half of a tick.
const TICK: f64 = 4.5;

/// Where keys lie, in the drawing's unit.
struct DrawnKeys {
    low: u8,
    high: u8,
    white: f64,
    left: f64,
    /// Upper edge.
    top: f64,
    /// How high the white ones are.
    high_white: f64,
}

/// Left and right edge of a key, in white keys from the lowest C there is.
fn edges(key: u8) -> (f64, f64) {
    let whites = (0..key % 12).filter(|class| !is_black(*class)).count();
    let place = f64::from(key / 12) * 7.0 + whites as f64;
    if is_black(key) { (place - 0.31, place + 0.31) } else { (place, place + 1.0) }
}

impl DrawnKeys {
    fn new(low: u8, high: u8, high_white: f64) -> DrawnKeys {
        let (from, to) = (edges(low).0, edges(high.max(low)).1);
        let white = ((WIDTH - 2.0 * EDGE) / (to - from)).min(WIDEST);
        DrawnKeys { low, high: high.max(low), white, left: EDGE - from * white, top: 0.0, high_white }
    }

    fn high_black(&self) -> f64 {
        self.high_white * BLACK_SHARE
    }

    /// Where the white keys end.
    fn bottom(&self) -> f64 {
        self.top + self.high_white
    }

    /// Left edge and right edge of a key; one beyond the keyboard lies at its end.
    fn span(&self, key: u8) -> (f64, f64) {
        let (from, to) = edges(key.clamp(self.low, self.high));
        (self.left + from * self.white, self.left + to * self.white)
    }

    fn middle(&self, key: u8) -> f64 {
        let (from, to) = self.span(key);
        (from + to) / 2.0
    }

    /// How far down what is marked on a key stands.
    fn mark(&self, key: u8) -> f64 {
        self.top + self.high_black() + if is_black(key) { -8.0 } else { 7.0 }
    }

    fn rect(&self, key: u8) -> Mark {
        let (from, to) = self.span(key);
        let (class, high, fill) = match is_black(key) {
            true => ("key black", self.high_black(), Shade::Black),
            false => ("key white", self.high_white, Shade::White),
        };
        let rect = Mark::rect(from, self.top, to - from, high).with("class", class).with("data-key", key);
        rect.filled(fill).lined(Line::black(0.8))
    }
}

impl Keyboard {
    /// The drawing as one SVG element that fills the width it is given.
    #[must_use]
    pub fn svg(&self) -> String {
        self.svg_with(HIGH)
    }

    /// The same with white keys so high.
    pub(crate) fn svg_with(&self, high: f64) -> String {
        let (height, marks) = self.marks(high);
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" class="keyboard" viewBox="0 0 {WIDTH} {}" role="img" aria-label="{}" font-family="sans-serif">{}</svg>"#,
            number(height),
            escaped(&self.words()),
            svg(&marks),
        )
    }

    /// The drawing's height and what is in it, with white keys so high; it is [`WIDTH`] wide.
    pub(crate) fn marks(&self, high: f64) -> (f64, Vec<Mark>) {
        let flat = DrawnKeys::new(self.low, self.high, high);
        let leaders: Vec<(f64, &str)> = self.cues.iter().map(|cue| (flat.middle(cue.key), cue.does.as_str())).collect();
        let labels = labels::placed(&leaders, WIDTH - 2.0);
        let rows = labels.iter().map(Label::rows).max().unwrap_or(0);
        let keys = DrawnKeys { top: rows as f64 * ROW + 2.0, ..flat };
        let mut bottom = keys.bottom() + if high < NAMED_WITHIN { 11.0 } else { 5.0 };
        let mut placed = Vec::new();
        for reach in &self.reaches {
            let reach = Placed::new(&keys, reach, bottom + DEPTH / 2.0);
            bottom = reach.bottom();
            placed.push(reach);
        }
        let mut marks: Vec<Mark> = placed.iter().flat_map(|placed| edge_lines(&keys, placed.reach, placed.y)).collect();
        self.draw_keys(&keys, &mut marks);
        let cues = self.cues.iter().zip(&labels);
        marks.extend(cues.map(|(cue, label)| draw_cue(&keys, (cue.key, &cue.does), label)));
        marks.extend(placed.iter().map(Placed::mark));
        (bottom, marks)
    }

    fn draw_keys(&self, keys: &DrawnKeys, marks: &mut Vec<Mark>) {
        for black in [false, true] {
            let of_kind = (keys.low..=keys.high).filter(|key| is_black(*key) == black);
            marks.extend(of_kind.map(|key| keys.rect(key)));
        }
        let size = (keys.white * 0.62).min(8.5);
        for key in (keys.low..=keys.high).filter(|key| key % 12 == 0) {
            let down = if keys.high_white < NAMED_WITHIN { 8.5 } else { -3.5 };
            let at = (keys.middle(key), keys.bottom() + down);
            let name = Mark::words(at, size, Anchor::Middle, Run::plain(key_name(key)));
            marks.push(name.with("class", "c").with("aria-hidden", "true"));
        }
        for fit in &self.fits {
            let ink = if is_black(fit.key) { Shade::White } else { Shade::Black };
            let dot = Mark::circle((keys.middle(fit.key), keys.mark(fit.key)), 2.0);
            let dot = dot.lined(Line { shade: ink, ..Line::black(0.8) });
            let dot = if fit.always { dot.filled(ink) } else { dot };
            marks.push(dot.with("class", "fit").with("data-fit", fit.key));
        }
    }
}

/// A key's diamond, the leader that rises from it, and the words at its end.
fn draw_cue(keys: &DrawnKeys, (key, does): (u8, &str), label: &Label) -> Mark {
    const HALF: (f64, f64) = (3.6, 4.6);
    let ink = if is_black(key) { Shade::White } else { Shade::Black };
    let (x, y) = (keys.middle(key), keys.mark(key));
    let top = keys.top - ROW * (label.rows() - 1) as f64 - 4.0;
    let (from, anchor) = if label.left { (x - labels::SPACE, Anchor::End) } else { (x + labels::SPACE, Anchor::Start) };
    let diamond = Mark::surface(vec![(x, y - HALF.1), (x + HALF.0, y), (x, y + HALF.1), (x - HALF.0, y)]).filled(ink);
    let leader = Mark::straight((x, keys.top), (x, top - labels::SIZE + 2.0), Line::black(0.8)).with("class", "leader");
    let words = label.lines.iter().enumerate().map(|(place, words)| {
        let words = Mark::words((from, top + ROW * place as f64), labels::SIZE, anchor, Run::plain(words.as_str()));
        words.with("class", "label")
    });
    let marks = [diamond, leader].into_iter().chain(words).collect();
    let title = format!("key {}: {does}", key_name(key));
    Mark::group(Some(title), marks).with("class", "cue").with("data-cue", key)
}

/// Thin lines from the keys at the ends of a reach down to it, where it does not end with the keyboard.
fn edge_lines(keys: &DrawnKeys, reach: &Reach, y: f64) -> Vec<Mark> {
    let line = Line { shade: Shade::Grey, thick: 0.5, dashes: Some((1.0, 1.5)) };
    let ends = [(keys.span(reach.low).0, reach.low > keys.low), (keys.span(reach.high).1, reach.high < keys.high)];
    let inner = ends.into_iter().filter(|(_, inner)| *inner);
    inner.map(|(x, _)| Mark::straight((x, keys.bottom()), (x, y), line).with("class", "edge")).collect()
}

/// A reach as it is drawn: its line, and where its label stands.
struct Placed<'a> {
    reach: &'a Reach,
    from: f64,
    to: f64,
    /// How far down its line is.
    y: f64,
    label: Vec<Vec<Run>>,
    wide: f64,
    stands: LabelPlace,
}

/// Where a label stands.
#[derive(Clone, Copy, PartialEq)]
enum LabelPlace {
    InTheGap,
    Right,
    Left,
    /// Under the line, around this place: it has no room beside it.
    Under(f64),
}

/// The name of a zone, bold, and where it goes, in as many lines as the drawing needs.
fn label(reach: &Reach) -> Vec<Vec<Run>> {
    let most = WIDTH - 4.0;
    let goes = format!(" {}", reach.goes);
    let whole = width(&reach.name, SIZE, Weight::Bold) + width(&goes, SIZE, Weight::Plain);
    if whole <= most {
        return vec![vec![Run::bold(reach.name.as_str()), Run::plain(goes)]];
    }
    let name = lines(&reach.name, SIZE, Weight::Bold, most).into_iter().map(|line| vec![Run::bold(line)]);
    name.chain(lines(&reach.goes, SIZE, Weight::Plain, most).into_iter().map(|line| vec![Run::plain(line)])).collect()
}

fn wide_of(runs: &[Run]) -> f64 {
    runs.iter().map(|run| width(&run.words, SIZE, run.weight)).sum()
}

impl<'a> Placed<'a> {
    fn new(keys: &DrawnKeys, reach: &'a Reach, y: f64) -> Placed<'a> {
        let (from, to) = (keys.span(reach.low).0, keys.span(reach.high).1);
        let label = label(reach);
        let wide = label.iter().map(|runs| wide_of(runs)).fold(0.0, f64::max);
        let stands = if label.len() == 1 && to - from >= wide + 4.0 * AIR {
            LabelPlace::InTheGap
        } else if label.len() == 1 && to + AIR + wide + 2.0 <= WIDTH {
            LabelPlace::Right
        } else if label.len() == 1 && from - AIR - wide >= 2.0 {
            LabelPlace::Left
        } else {
            let (least, most) = (wide / 2.0 + 2.0, WIDTH - wide / 2.0 - 2.0);
            LabelPlace::Under(((from + to) / 2.0).clamp(least, most.max(least)))
        };
        Placed { reach, from, to, y, label, wide, stands }
    }

    /// How far down it reaches.
    fn bottom(&self) -> f64 {
        let under = matches!(self.stands, LabelPlace::Under(_));
        self.y + DEPTH / 2.0 + if under { (SIZE + 1.0) * self.label.len() as f64 } else { 0.0 }
    }

    /// The label's anchor, and the middle of the height of its first line.
    fn anchor(&self) -> (f64, Anchor, f64) {
        match self.stands {
            LabelPlace::InTheGap => ((self.from + self.to) / 2.0, Anchor::Middle, self.y),
            LabelPlace::Right => (self.to + AIR, Anchor::Start, self.y),
            LabelPlace::Left => (self.from - AIR, Anchor::End, self.y),
            LabelPlace::Under(x) => (x, Anchor::Middle, self.y + SIZE + 1.0),
        }
    }

    fn mark(&self) -> Mark {
        let (x, anchor, middle) = self.anchor();
        let left = match anchor {
            Anchor::Start => x,
            Anchor::End => x - self.wide,
            Anchor::Middle => x - self.wide / 2.0,
        };
        let pieces = match self.stands {
            LabelPlace::InTheGap => vec![(self.from, left - AIR), (left + self.wide + AIR, self.to)],
            _ => vec![(self.from, self.to)],
        };
        let along = pieces.iter().map(|(from, to)| vec![(*from, self.y), (*to, self.y)]).collect();
        let ticks = [self.from, self.to].map(|x| vec![(x, self.y - TICK), (x, self.y + TICK)]).to_vec();
        let line = Line::black(1.1);
        let dashes = if self.reach.in_use { None } else { Some((4.0, 3.0)) };
        let high = (SIZE + 1.0) * self.label.len() as f64;
        let gap = Mark::rect(left - 1.5, middle - SIZE / 2.0 - 0.5, self.wide + 3.0, high);
        let mut marks = vec![
            Mark::lines(along, Line { dashes, ..line }).with("class", "reach"),
            Mark::lines(ticks, line).with("class", "reach"),
            gap.filled(Shade::White).with("class", "gap"),
        ];
        for (place, runs) in self.label.iter().enumerate() {
            let at = (x, middle + SIZE * 0.36 + (SIZE + 1.0) * place as f64);
            marks.push(Mark::runs(at, SIZE, anchor, runs.clone()).with("class", "label"));
        }
        let class = if self.reach.in_use { "zone" } else { "zone off" };
        let zone = Mark::group(Some(self.reach.words()), marks).with("class", class);
        zone.with("data-zone", &self.reach.name).with("data-number", self.reach.number)
    }
}
