//! A touch drawn small: how hard a key is struck, to the right; how hard the sound is struck, upward (rule R6).

use super::shape::{Anchor, Line, Mark, Run, Shade, svg};
use super::text_width::escaped;
use crate::evening::touch;
use crate::map::Curve;

/// What stands over plots.
pub(super) const HEADING: &str = "Touch: how hard a key is struck, how hard the sound is";
/// Width of a plot in its own unit, in which a velocity is 1.
pub(super) const WIDTH: f64 = 172.0;
/// Its height.
pub(super) const HEIGHT: f64 = 168.0;
/// Where velocity 0 lies, to the right and downward.
const ORIGIN: (f64, f64) = (38.0, 134.0);
/// Letter size.
const SIZE: f64 = 11.0;

/// The touch of an input or a zone.
#[derive(Debug, Clone)]
pub(super) struct Plot {
    /// Whose it is.
    pub name: String,
    /// What it is, in words.
    pub what: String,
    /// The velocity that comes of each, from 0, as the engine has it.
    out: [u8; 128],
    /// The velocities that come in at all.
    window: (u8, u8),
}

impl Plot {
    /// The touch of a curve and a level in dB, for velocities of a window, which is not empty and within 1–127.
    pub fn new(name: &str, what: String, curve: Option<&Curve>, level: f64, window: (u8, u8)) -> Plot {
        Plot { name: name.to_owned(), what, out: touch(curve, level), window }
    }

    /// As one SVG element that fills the width it is given.
    pub fn svg(&self) -> String {
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" class="touch" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{}" font-family="sans-serif">{}</svg>"#,
            escaped(&format!("touch of {}: {}", self.name, self.words())),
            svg(&self.marks())
        )
    }

    fn words(&self) -> String {
        let at = |velocity: u8| format!("{velocity} becomes {}", self.out[usize::from(velocity.min(127))]);
        let (low, high) = self.window;
        [low, low.midpoint(high), high].map(at).join(", ")
    }

    /// What is in it.
    pub fn marks(&self) -> Vec<Mark> {
        let (left, bottom) = ORIGIN;
        let words = |x: f64, y: f64, anchor: Anchor, words: &str| Mark::words((x, y), SIZE, anchor, Run::plain(words));
        let axes = vec![(left, bottom - 130.0), (left, bottom), (left + 130.0, bottom)];
        let as_struck = Line { shade: Shade::Grey, thick: 0.8, dashes: Some((2.0, 3.0)) };
        let mut marks = vec![
            Mark::lines(vec![axes], Line::black(1.0)),
            Mark::straight((left + 1.0, bottom - 1.0), (left + 127.0, bottom - 127.0), as_struck),
        ];
        for velocity in [1_u8, 64, 127] {
            let (x, y) = (left + f64::from(velocity), bottom - f64::from(velocity));
            let ticks = vec![vec![(x, bottom), (x, bottom + 3.0)], vec![(left, y), (left - 3.0, y)]];
            marks.push(Mark::lines(ticks, Line::black(1.0)));
            marks.push(words(x, bottom + 13.5, Anchor::Middle, &velocity.to_string()));
            marks.push(words(left - 5.0, y + 4.0, Anchor::End, &velocity.to_string()));
        }
        marks.push(words(left + 64.0, bottom + 28.0, Anchor::Middle, "velocity in"));
        marks.push(words(3.0, bottom - 94.0, Anchor::Start, "out"));
        let (low, high) = self.window;
        let points = (low..=high).map(|velocity| {
            let out = f64::from(self.out[usize::from(velocity.min(127))]);
            (left + f64::from(velocity), bottom - out)
        });
        marks.push(Mark::lines(vec![points.collect()], Line::black(2.2)).with("class", "curve"));
        marks
    }
}
