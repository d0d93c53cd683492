//! What is drawn, whoever draws it: a list of marks, which the page and the HTML get as SVG and the PDF as its own
//! strokes. Lengths are in the unit of whoever makes the marks, downward from the upper left corner.

use std::fmt::Write;

use super::text_width::{Weight, escaped, number};

/// How dark something is. All is black on white.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shade {
    Black,
    /// Of lines that only lead the eye.
    Grey,
    White,
}

impl Shade {
    fn svg(self) -> &'static str {
        match self {
            Shade::Black => "black",
            Shade::Grey => "#888",
            Shade::White => "white",
        }
    }
}

/// A line's shade, width and dashes (drawn, left out).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    pub shade: Shade,
    pub thick: f64,
    pub dashes: Option<(f64, f64)>,
}

impl Line {
    /// A whole black line.
    pub const fn black(thick: f64) -> Line {
        Line { shade: Shade::Black, thick, dashes: None }
    }
}

/// Which side of a text its place is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// Letters of one kind.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Run {
    pub words: String,
    pub weight: Weight,
    pub slanted: bool,
}

/// The form of a mark.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Form {
    /// A rectangle: x, y, width and height.
    Box([f64; 4]),
    /// Lines from point to point, each by itself.
    Lines(Vec<Vec<(f64, f64)>>),
    /// A surface between points.
    Surface(Vec<(f64, f64)>),
    /// A circle: its middle and its radius.
    Circle((f64, f64), f64),
    /// A line of text, by its baseline.
    Words { at: (f64, f64), size: f64, anchor: Anchor, runs: Vec<Run> },
    /// Marks that belong together, with what they say to who points at them.
    Group { title: Option<String>, marks: Vec<Mark> },
    /// Marks of another unit, moved to a place and scaled.
    Placed { at: (f64, f64), scale: f64, marks: Vec<Mark> },
}

/// Something drawn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mark {
    pub form: Form,
    pub fill: Option<Shade>,
    pub line: Option<Line>,
    /// What a stylesheet and a script of the page need: `class`, `data-key`.
    pub attributes: Vec<(&'static str, String)>,
}

impl Mark {
    fn new(form: Form) -> Mark {
        Mark { form, fill: None, line: None, attributes: Vec::new() }
    }

    pub fn rect(x: f64, y: f64, wide: f64, high: f64) -> Mark {
        Mark::new(Form::Box([x, y, wide, high]))
    }

    pub fn lines(lines: Vec<Vec<(f64, f64)>>, line: Line) -> Mark {
        Mark::new(Form::Lines(lines)).lined(line)
    }

    /// A single straight line.
    pub fn straight(from: (f64, f64), to: (f64, f64), line: Line) -> Mark {
        Mark::lines(vec![vec![from, to]], line)
    }

    pub fn surface(points: Vec<(f64, f64)>) -> Mark {
        Mark::new(Form::Surface(points))
    }

    pub fn circle(middle: (f64, f64), radius: f64) -> Mark {
        Mark::new(Form::Circle(middle, radius))
    }

    /// Words of one kind.
    pub fn words(at: (f64, f64), size: f64, anchor: Anchor, run: Run) -> Mark {
        Mark::new(Form::Words { at, size, anchor, runs: vec![run] })
    }

    pub fn runs(at: (f64, f64), size: f64, anchor: Anchor, runs: Vec<Run>) -> Mark {
        Mark::new(Form::Words { at, size, anchor, runs })
    }

    pub fn group(title: Option<String>, marks: Vec<Mark>) -> Mark {
        Mark::new(Form::Group { title, marks })
    }

    pub fn placed(at: (f64, f64), scale: f64, marks: Vec<Mark>) -> Mark {
        Mark::new(Form::Placed { at, scale, marks })
    }

    pub fn filled(self, shade: Shade) -> Mark {
        Mark { fill: Some(shade), ..self }
    }

    pub fn lined(self, line: Line) -> Mark {
        Mark { line: Some(line), ..self }
    }

    pub fn with(mut self, name: &'static str, value: impl ToString) -> Mark {
        self.attributes.push((name, value.to_string()));
        self
    }
}

impl Run {
    pub fn plain(words: impl Into<String>) -> Run {
        Run { words: words.into(), weight: Weight::Plain, slanted: false }
    }

    pub fn bold(words: impl Into<String>) -> Run {
        Run { weight: Weight::Bold, ..Run::plain(words) }
    }
}

/// Marks as elements of SVG.
pub(crate) fn svg(marks: &[Mark]) -> String {
    let mut body = String::new();
    marks.iter().for_each(|mark| of_mark(mark, &mut body));
    body
}

fn of_mark(mark: &Mark, body: &mut String) {
    let attributes: String =
        mark.attributes.iter().map(|(name, value)| format!(r#" {name}="{}""#, escaped(value))).collect();
    let ink = ink(mark);
    let _ = match &mark.form {
        Form::Box([x, y, wide, high]) => {
            let [x, y, wide, high] = [x, y, wide, high].map(|length| number(*length));
            write!(body, r#"<rect{attributes} x="{x}" y="{y}" width="{wide}" height="{high}"{ink}/>"#)
        }
        Form::Lines(lines) => {
            let path: String = lines.iter().map(|points| path(points)).collect();
            write!(body, r#"<path{attributes} d="{path}"{ink}/>"#)
        }
        Form::Surface(points) => write!(body, r#"<path{attributes} d="{}z"{ink}/>"#, path(points)),
        Form::Circle((x, y), radius) => {
            let [x, y, radius] = [x, y, radius].map(|length| number(*length));
            write!(body, r#"<circle{attributes} cx="{x}" cy="{y}" r="{radius}"{ink}/>"#)
        }
        Form::Words { at: (x, y), size, anchor, runs } => {
            let (x, y, size) = (number(*x), number(*y), number(*size));
            let anchor = match anchor {
                Anchor::Start => "",
                Anchor::Middle => r#" text-anchor="middle""#,
                Anchor::End => r#" text-anchor="end""#,
            };
            let words: String = runs.iter().map(|run| of_run(run, runs.len() == 1)).collect();
            let only = if let [run] = &runs[..] { run_attributes(run) } else { "" };
            write!(body, r#"<text{attributes} x="{x}" y="{y}" font-size="{size}"{anchor}{only}>{words}</text>"#)
        }
        Form::Group { title, marks } => {
            let title = title.as_ref().map(|title| format!("<title>{}</title>", escaped(title))).unwrap_or_default();
            write!(body, "<g{attributes}>{title}{}</g>", svg(marks))
        }
        Form::Placed { at: (x, y), scale, marks } => {
            let (x, y) = (number(*x), number(*y));
            write!(body, r#"<g{attributes} transform="translate({x} {y}) scale({scale:.5})">{}</g>"#, svg(marks))
        }
    };
}

fn path(points: &[(f64, f64)]) -> String {
    let mut path = String::new();
    for (place, (x, y)) in points.iter().enumerate() {
        let _ = write!(path, "{}{} {}", if place == 0 { "M" } else { "L" }, number(*x), number(*y));
    }
    path
}

/// The fill and the line of a mark that is no text.
fn ink(mark: &Mark) -> String {
    if matches!(mark.form, Form::Words { .. } | Form::Group { .. } | Form::Placed { .. }) {
        return String::new();
    }
    let mut ink = format!(r#" fill="{}""#, mark.fill.map_or("none", Shade::svg));
    if let Some(Line { shade, thick, dashes }) = mark.line {
        let _ = write!(ink, r#" stroke="{}" stroke-width="{}""#, shade.svg(), number(thick));
        if let Some((drawn, left_out)) = dashes {
            let _ = write!(ink, r#" stroke-dasharray="{} {}""#, number(drawn), number(left_out));
        }
    }
    ink
}

fn run_attributes(run: &Run) -> &'static str {
    match (run.weight, run.slanted) {
        (Weight::Plain, false) => "",
        (Weight::Plain, true) => r#" font-style="italic""#,
        (Weight::Bold, false) => r#" font-weight="bold""#,
        (Weight::Bold, true) => r#" font-weight="bold" font-style="italic""#,
    }
}

fn of_run(run: &Run, only: bool) -> String {
    let (attributes, words) = (run_attributes(run), escaped(&run.words));
    if only || attributes.is_empty() { words } else { format!("<tspan{attributes}>{words}</tspan>") }
}
