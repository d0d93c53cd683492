//! A touch drawn small: how hard a key is struck, to the right; how hard the sound is struck, upward (rule R6).

use std::fmt::Write;

use crate::evening::touch;
use crate::map::Curve;
use crate::paper::text_width::{escaped, number};

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
            self.body()
        )
    }

    fn words(&self) -> String {
        let at = |velocity: u8| format!("{velocity} becomes {}", self.out[usize::from(velocity.min(127))]);
        let (low, high) = self.window;
        [low, low.midpoint(high), high].map(at).join(", ")
    }

    /// What is in it.
    pub fn body(&self) -> String {
        let (left, bottom) = ORIGIN;
        let mut body = String::new();
        let _ = write!(
            body,
            r##"<path d="M{left} {}V{bottom}H{}" stroke="black" stroke-width="1" fill="none"/><path d="M{} {}L{} {}" stroke="#888" stroke-width="0.8" stroke-dasharray="2 3" fill="none"/>"##,
            bottom - 130.0,
            left + 130.0,
            left + 1.0,
            bottom - 1.0,
            left + 127.0,
            bottom - 127.0,
        );
        for velocity in [1_u8, 64, 127] {
            let (x, y) = (left + f64::from(velocity), bottom - f64::from(velocity));
            let _ = write!(
                body,
                r#"<path d="M{x} {bottom}v3M{left} {y}h-3" stroke="black" stroke-width="1" fill="none"/><text x="{x}" y="{}" font-size="{SIZE}" text-anchor="middle">{velocity}</text><text x="{}" y="{}" font-size="{SIZE}" text-anchor="end">{velocity}</text>"#,
                bottom + 13.5,
                left - 5.0,
                number(y + 4.0),
            );
        }
        let _ = write!(
            body,
            r#"<text x="{}" y="{}" font-size="{SIZE}" text-anchor="middle">velocity in</text><text x="3" y="{}" font-size="{SIZE}">out</text>"#,
            left + 64.0,
            bottom + 28.0,
            bottom - 94.0,
        );
        let (low, high) = self.window;
        let points: Vec<String> = (low..=high)
            .map(|velocity| {
                let out = f64::from(self.out[usize::from(velocity.min(127))]);
                format!("{},{}", left + f64::from(velocity), bottom - out)
            })
            .collect();
        let _ = write!(
            body,
            r#"<polyline points="{}" stroke="black" stroke-width="2.2" fill="none" stroke-linecap="round"/>"#,
            points.join(" ")
        );
        body
    }
}
