//! The drawing itself.

use std::fmt::Write;

use super::labels::{self, Label};
use super::{BLACK, Keyboard, Reach, key_name};
use crate::paper::text_width::{Weight, cut, escaped, number, width};

/// Width of a drawing, in its own unit.
pub(crate) const WIDTH: f64 = 640.0;
/// Left and right of the keys.
const EDGE: f64 = 8.0;
/// A white key is no wider than this, so that two octaves do not fill a page.
const WIDEST: f64 = 20.0;
const WHITE_HEIGHT: f64 = 62.0;
const BLACK_HEIGHT: f64 = 38.0;
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
}

fn is_black(key: u8) -> bool {
    BLACK.contains(&(key % 12))
}

/// Left and right edge of a key, in white keys from the lowest C there is.
fn edges(key: u8) -> (f64, f64) {
    let whites = (0..key % 12).filter(|class| !BLACK.contains(class)).count();
    let place = f64::from(key / 12) * 7.0 + whites as f64;
    if is_black(key) { (place - 0.31, place + 0.31) } else { (place, place + 1.0) }
}

impl DrawnKeys {
    fn new(low: u8, high: u8, top: f64) -> DrawnKeys {
        let (from, to) = (edges(low).0, edges(high.max(low)).1);
        let white = ((WIDTH - 2.0 * EDGE) / (to - from)).min(WIDEST);
        DrawnKeys { low, high: high.max(low), white, left: EDGE - from * white, top }
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
        self.top + if is_black(key) { BLACK_HEIGHT - 8.0 } else { BLACK_HEIGHT + 8.0 }
    }

    fn rect(&self, key: u8) -> String {
        let (from, to) = self.span(key);
        let (class, height, fill) = match is_black(key) {
            true => ("black", BLACK_HEIGHT, "black"),
            false => ("white", WHITE_HEIGHT, "white"),
        };
        format!(
            r#"<rect class="key {class}" data-key="{key}" x="{}" y="{}" width="{}" height="{height}" fill="{fill}" stroke="black" stroke-width="0.8"/>"#,
            number(from),
            number(self.top),
            number(to - from),
        )
    }
}

impl Keyboard {
    /// The drawing as one SVG element that fills the width it is given.
    #[must_use]
    pub fn svg(&self) -> String {
        let (height, body) = self.body();
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" class="keyboard" viewBox="0 0 {WIDTH} {}" role="img" aria-label="{}" font-family="sans-serif">{body}</svg>"#,
            number(height),
            escaped(&self.words()),
        )
    }

    /// The drawing's height and what is in it; it is [`WIDTH`] wide.
    pub(crate) fn body(&self) -> (f64, String) {
        let flat = DrawnKeys::new(self.low, self.high, 0.0);
        let leaders: Vec<(f64, &str)> = self.cues.iter().map(|cue| (flat.middle(cue.key), cue.does.as_str())).collect();
        let labels = labels::placed(&leaders, WIDTH - 2.0);
        let rows = labels.iter().map(|label| label.row + 1).max().unwrap_or(0);
        let keys = DrawnKeys { top: rows as f64 * ROW + 2.0, ..flat };
        let mut body = String::new();
        let mut bottom = keys.top + WHITE_HEIGHT + 5.0;
        let mut placed = Vec::new();
        for reach in &self.reaches {
            let reach = Placed::new(&keys, reach, bottom + DEPTH / 2.0);
            bottom = reach.bottom();
            placed.push(reach);
        }
        placed.iter().for_each(|placed| body.push_str(&edge_lines(&keys, placed.reach, placed.y)));
        self.draw_keys(&keys, &mut body);
        for (cue, label) in self.cues.iter().zip(&labels) {
            draw_cue(&keys, cue.key, &cue.does, label, &mut body);
        }
        placed.iter().for_each(|placed| placed.draw(&mut body));
        (bottom, body)
    }

    fn draw_keys(&self, keys: &DrawnKeys, body: &mut String) {
        for black in [false, true] {
            let of_kind = (keys.low..=keys.high).filter(|key| is_black(*key) == black);
            of_kind.for_each(|key| body.push_str(&keys.rect(key)));
        }
        let size = number((keys.white * 0.62).min(8.5));
        for key in (keys.low..=keys.high).filter(|key| key % 12 == 0) {
            let (x, y) = (number(keys.middle(key)), number(keys.top + WHITE_HEIGHT - 3.5));
            let name = key_name(key);
            let _ = write!(
                body,
                r#"<text class="c" aria-hidden="true" x="{x}" y="{y}" font-size="{size}" text-anchor="middle">{name}</text>"#
            );
        }
        for fit in &self.fits {
            let ink = if is_black(fit.key) { "white" } else { "black" };
            let fill = if fit.always { ink } else { "none" };
            let (x, y) = (number(keys.middle(fit.key)), number(keys.mark(fit.key)));
            let _ = write!(
                body,
                r#"<circle class="fit" data-fit="{}" cx="{x}" cy="{y}" r="2" fill="{fill}" stroke="{ink}" stroke-width="0.8"/>"#,
                fit.key
            );
        }
    }
}

/// A key's diamond, the leader that rises from it, and the words at its end.
fn draw_cue(keys: &DrawnKeys, key: u8, does: &str, label: &Label, body: &mut String) {
    let ink = if is_black(key) { "white" } else { "black" };
    let (x, y) = (keys.middle(key), keys.mark(key));
    let words_at = keys.top - ROW * label.row as f64 - 4.0;
    let (from, anchor) = if label.left { (x - labels::SPACE, "end") } else { (x + labels::SPACE, "start") };
    let _ = write!(
        body,
        r#"<g class="cue" data-cue="{key}"><title>{title}</title><path d="M{x} {up}l3.6 4.6l-3.6 4.6l-3.6 -4.6z" fill="{ink}"/><path class="leader" d="M{x} {top}V{high}" stroke="black" stroke-width="0.8" fill="none"/><text class="label" x="{from}" y="{base}" font-size="{size}" text-anchor="{anchor}">{words}</text></g>"#,
        title = escaped(&format!("key {}: {does}", key_name(key))),
        x = number(x),
        up = number(y - 4.6),
        top = number(keys.top),
        high = number(words_at - labels::SIZE + 2.0),
        from = number(from),
        base = number(words_at),
        size = labels::SIZE,
        words = escaped(&label.words),
    );
}

/// Thin lines from the keys at the ends of a reach down to it, where it does not end with the keyboard.
fn edge_lines(keys: &DrawnKeys, reach: &Reach, y: f64) -> String {
    let top = keys.top + WHITE_HEIGHT;
    let mut lines = String::new();
    for (x, inner) in
        [(keys.span(reach.low).0, reach.low > keys.low), (keys.span(reach.high).1, reach.high < keys.high)]
    {
        if inner {
            let (x, from, to) = (number(x), number(top), number(y));
            let _ = write!(
                lines,
                r##"<path class="edge" d="M{x} {from}V{to}" stroke="#999" stroke-width="0.5" stroke-dasharray="1 1.5" fill="none"/>"##
            );
        }
    }
    lines
}

/// A reach as it is drawn: its line, and where its label stands.
struct Placed<'a> {
    reach: &'a Reach,
    from: f64,
    to: f64,
    /// How far down its line is.
    y: f64,
    name: String,
    goes: String,
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

impl<'a> Placed<'a> {
    fn new(keys: &DrawnKeys, reach: &'a Reach, y: f64) -> Placed<'a> {
        let (from, to) = (keys.span(reach.low).0, keys.span(reach.high).1);
        let name = cut(&reach.name, SIZE, Weight::Bold, 250.0);
        let goes = cut(&reach.goes, SIZE, Weight::Plain, 330.0);
        let wide = width(&name, SIZE, Weight::Bold) + width(&format!(" {goes}"), SIZE, Weight::Plain);
        let stands = if to - from >= wide + 4.0 * AIR {
            LabelPlace::InTheGap
        } else if to + AIR + wide + 2.0 <= WIDTH {
            LabelPlace::Right
        } else if from - AIR - wide >= 2.0 {
            LabelPlace::Left
        } else {
            LabelPlace::Under(
                ((from + to) / 2.0).clamp(wide / 2.0 + 2.0, (WIDTH - wide / 2.0 - 2.0).max(wide / 2.0 + 2.0)),
            )
        };
        Placed { reach, from, to, y, name, goes, wide, stands }
    }

    /// How far down it reaches.
    fn bottom(&self) -> f64 {
        self.y + DEPTH / 2.0 + if matches!(self.stands, LabelPlace::Under(_)) { SIZE + 1.0 } else { 0.0 }
    }

    /// The label's anchor, and the middle of its height.
    fn anchor(&self) -> (f64, &'static str, f64) {
        match self.stands {
            LabelPlace::InTheGap => ((self.from + self.to) / 2.0, "middle", self.y),
            LabelPlace::Right => (self.to + AIR, "start", self.y),
            LabelPlace::Left => (self.from - AIR, "end", self.y),
            LabelPlace::Under(x) => (x, "middle", self.y + SIZE + 1.0),
        }
    }

    fn draw(&self, body: &mut String) {
        let (x, anchor, middle) = self.anchor();
        let left = match anchor {
            "start" => x,
            "end" => x - self.wide,
            _ => x - self.wide / 2.0,
        };
        let pieces = match self.stands {
            LabelPlace::InTheGap => vec![(self.from, left - AIR), (left + self.wide + AIR, self.to)],
            _ => vec![(self.from, self.to)],
        };
        let line = |(from, to): &(f64, f64)| format!("M{} {}H{}", number(*from), number(self.y), number(*to));
        let tick = |x: &f64| format!("M{} {}v{}", number(*x), number(self.y - TICK), number(2.0 * TICK));
        let _ = write!(
            body,
            r#"<g class="zone{off}" data-zone="{zone}" data-number="{place}"><title>{title}</title><path class="reach" d="{lines}" stroke="black" stroke-width="1.1" fill="none"{dashes}/><path class="reach" d="{ticks}" stroke="black" stroke-width="1.1" fill="none"/><rect class="gap" x="{gap_left}" y="{gap_top}" width="{gap_wide}" height="{gap_high}" fill="white"/><text class="label" x="{x}" y="{base}" font-size="{SIZE}" text-anchor="{anchor}"><tspan font-weight="bold">{name}</tspan> {goes}</text></g>"#,
            off = if self.reach.in_use { "" } else { " off" },
            dashes = if self.reach.in_use { "" } else { r#" stroke-dasharray="4 3""# },
            zone = escaped(&self.reach.name),
            place = self.reach.number,
            title = escaped(&self.reach.words()),
            lines = pieces.iter().map(line).collect::<String>(),
            ticks = [self.from, self.to].iter().map(tick).collect::<String>(),
            gap_left = number(left - 1.5),
            gap_top = number(middle - SIZE / 2.0 - 0.5),
            gap_wide = number(self.wide + 3.0),
            gap_high = number(SIZE + 1.0),
            x = number(x),
            base = number(middle + SIZE * 0.36),
            name = escaped(&self.name),
            goes = escaped(&self.goes),
        );
    }
}
