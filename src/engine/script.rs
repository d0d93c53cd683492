//! Scripts: behaviour as text. A script holds its own map files, what happens to the engine, and what must come out.
//! The tests are scripts, and so is a good report of something that went wrong.
//!
//! ```text
//! # what this shows
//! === gear.toml
//! ... a map file's text ...
//! === set.toml
//! ... the set is always called so ...
//! === play
//! 0      start
//! 10     keyboard on C4 100
//!        -> piano 1 on C4 100
//! 500    do next-song
//! 500.5  keyboard off C4
//!        -> piano 1 off C4 64
//! ```
//!
//! A line begins with its time in milliseconds; an output's line without one has the time of the line above. Who
//! speaks is an input (with its channel where that is not 1); who is spoken to is an output with its channel.
//! Besides messages there are `start`, `do ACTION`, `lost INPUT`, `found INPUT`, `back OUTPUT`, `joined OUTPUT`, `silence OUTPUT`, `time` and `stop`, and
//! `saved`: files under a heading `=== saved NAME` are saved over those of their name, and come into force.
//! Whatever cannot be read is an error: a script never passes because a line of it was skipped.

use std::io;
use std::sync::Arc;

use super::{Engine, Event, Micros, Out, Plan, Successor};
use crate::map::{self, Book};
use crate::midi::decode;
use crate::midi::words::{self, describe};

/// A script, read.
#[derive(Debug, Clone, Default)]
pub struct Script {
    files: Vec<(String, String)>,
    lines: Vec<(usize, String)>,
}

/// Why a script cannot be run: the line, from 1, and what is wrong there.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct ScriptError {
    /// The line, from 1.
    pub line: usize,
    /// What is wrong.
    pub what: String,
}

/// What a script wanted and what it got, one line for each message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScriptOutcome {
    /// What must come out.
    pub wanted: Vec<String>,
    /// What came out.
    pub got: Vec<String>,
}

impl ScriptOutcome {
    /// Whether all came out as it must.
    #[must_use]
    pub fn matches(&self) -> bool {
        self.wanted == self.got
    }

    /// Both side by side, with a mark at the lines that differ.
    #[must_use]
    pub fn two_columns(&self) -> String {
        let width = self.wanted.iter().map(|line| line.chars().count()).max().unwrap_or(0).max(6);
        let mut text = format!("  {:width$}   {}\n", "wanted", "got");
        for index in 0..self.wanted.len().max(self.got.len()) {
            let column = |lines: &[String]| lines.get(index).cloned().unwrap_or_default();
            let (wanted, got) = (column(&self.wanted), column(&self.got));
            let mark = if wanted == got { ' ' } else { '!' };
            text.push_str(&format!("{mark} {wanted:width$}   {got}\n"));
        }
        text
    }
}

impl Script {
    /// Reads a script.
    ///
    /// # Errors
    /// A line before the first heading that is no comment, or no `=== play`.
    pub fn read(text: &str) -> Result<Script, ScriptError> {
        let mut script = Script::default();
        let mut playing = false;
        for (index, line) in text.lines().enumerate() {
            let number = index + 1;
            if let Some(heading) = line.strip_prefix("=== ") {
                playing = heading.trim() == "play";
                if !playing {
                    script.files.push((heading.trim().to_owned(), String::new()));
                }
            } else if playing {
                let line = line.split('#').next_back().filter(|_| line.starts_with('#')).map_or(line, |_| "");
                if !line.trim().is_empty() {
                    script.lines.push((number, line.to_owned()));
                }
            } else if let Some((_, text)) = script.files.last_mut() {
                text.push_str(line);
                text.push('\n');
            } else if !line.trim().is_empty() && !line.starts_with('#') {
                return Err(ScriptError { line: number, what: "this stands before the first === heading".into() });
            }
        }
        if script.lines.is_empty() {
            return Err(ScriptError {
                line: text.lines().count(),
                what: "\"=== play\" and its lines are missing".into(),
            });
        }
        Ok(script)
    }

    /// The maps of the script.
    ///
    /// # Errors
    /// What is wrong with them, as the player would read it.
    pub fn book(&self) -> Result<Book, String> {
        self.book_with("")
    }

    /// The maps, where there is one under a name with this before it.
    fn book_with(&self, before: &str) -> Result<Book, String> {
        let mut read = |path: &str| {
            let named = |wanted: &str| self.files.iter().find(|(name, _)| name == wanted);
            let file = named(&format!("{before}{path}")).or_else(|| named(path));
            file.map(|(_, text)| text.clone().into_bytes()).ok_or_else(|| io::ErrorKind::NotFound.into())
        };
        let loaded = map::load("set.toml", &mut read);
        let faults: Vec<String> = loaded.diagnostics.iter().map(|fault| fault.render(&loaded.sources, false)).collect();
        loaded.book.ok_or_else(|| faults.join("\n"))
    }

    /// Runs the script on a fresh engine.
    ///
    /// # Errors
    /// A map that does not load, or a line that cannot be read.
    pub fn run(&self) -> Result<ScriptOutcome, ScriptError> {
        let mut book = self.book().map_err(|what| ScriptError { line: 0, what })?;
        let plan = Arc::new(Plan::new(&book));
        let mut engine = Engine::new(Arc::clone(&plan));
        let mut out = engine.out();
        let mut outcome = ScriptOutcome { wanted: Vec::new(), got: Vec::new() };
        let mut now = Micros::ZERO;
        for (number, line) in &self.lines {
            let fault = |what: String| ScriptError { line: *number, what };
            let (at, rest) = time_of(line).map_err(fault)?;
            if let Some(message) = rest.strip_prefix("->") {
                let wanted = wanted(&book, at.unwrap_or(now), message.trim()).map_err(fault)?;
                outcome.wanted.push(wanted);
                continue;
            }
            let at = at.ok_or_else(|| fault("an event begins with its time in milliseconds".into()))?;
            if at < now {
                return Err(fault("time goes backwards".into()));
            }
            now = at;
            if rest.trim() == "saved" {
                book = self.book_with("saved ").map_err(fault)?;
                let mut successor = Successor::new(engine.plan(), Plan::after(&book, engine.plan()));
                engine.make_way(&successor, now, &mut out);
                engine.take_over(&mut successor, now, &mut out);
            } else {
                happen(&mut engine, &book, rest.trim(), now, &mut out).map_err(fault)?;
            }
            outcome.got.extend(out.said().map(|said| got(&book, said.at, said.output, said.bytes)));
            out.clear();
        }
        Ok(outcome)
    }
}

/// A leading time in milliseconds, and what follows it.
fn time_of(line: &str) -> Result<(Option<Micros>, &str), String> {
    if !line.starts_with(|first: char| first.is_ascii_digit()) {
        return Ok((None, line.trim()));
    }
    let (time, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    let (whole, part) = time.split_once('.').unwrap_or((time, ""));
    let digits = part.len() <= 3 && part.bytes().all(|digit| digit.is_ascii_digit());
    let micros = format!("{part:0<3}").parse::<u64>().ok().filter(|_| digits);
    let whole = whole.parse::<u64>().ok().and_then(|whole| whole.checked_mul(1000));
    let time = whole.zip(micros).and_then(|(whole, micros)| whole.checked_add(micros));
    Ok((Some(time.map(Micros).ok_or("a time is milliseconds with at most three decimals")?), rest.trim()))
}

fn happen(engine: &mut Engine, book: &Book, what: &str, now: Micros, out: &mut Out) -> Result<(), String> {
    let (who, rest) = what.split_once(char::is_whitespace).unwrap_or((what, ""));
    let rest = rest.trim();
    let bytes;
    let input = book.gear.inputs.iter().position(|input| input.name.value == who);
    let event = match input {
        Some(input) => {
            let (channel, message) = channel_of(rest);
            bytes = words::read(message, channel.unwrap_or(1))?;
            Event::Message { input, message: decode(&bytes).map_err(|error| error.to_string())? }
        }
        None => Event::parse(what, engine.plan()).map_err(|error| error.to_string())?,
    };
    engine.step(event, now, out);
    Ok(())
}

/// A channel before a message, and the message.
fn channel_of(text: &str) -> (Option<u8>, &str) {
    let (first, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    first.parse().map_or((None, text), |channel| (Some(channel), rest.trim()))
}

fn wanted(book: &Book, at: Micros, text: &str) -> Result<String, String> {
    let (output, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let number = book.gear.outputs.iter().position(|known| known.name.value == output);
    let number = number.ok_or_else(|| format!("there is no output \"{output}\""))?;
    let (channel, message) = channel_of(rest.trim());
    let bytes = words::read(message, channel.unwrap_or(1))?;
    if words::channel(&bytes).is_some() != channel.is_some() {
        return Err("an output's channel message names its channel, a system message none".into());
    }
    Ok(got(book, at, number, &bytes))
}

fn got(book: &Book, at: Micros, output: usize, bytes: &[u8]) -> String {
    let output = book.gear.outputs.get(output).map_or("?", |output| output.name.value.as_str());
    let channel = words::channel(bytes).map_or_else(String::new, |channel| format!(" {channel}"));
    format!("{}.{:03} -> {output}{channel} {}", at.0 / 1000, at.0 % 1000, describe(bytes))
}

#[cfg(test)]
mod tests {
    use super::{Micros, time_of};

    #[test]
    fn times_are_milliseconds_with_at_most_three_decimals() {
        for (text, micros) in [("0", 0), ("12.5", 12_500), ("12.345", 12_345), ("7.", 7_000)] {
            assert_eq!(time_of(&format!("{text} stop")), Ok((Some(Micros(micros)), "stop")));
        }
        assert_eq!(time_of("-> o 1 on C4 90"), Ok((None, "-> o 1 on C4 90")));
        for text in ["1.2345", "1.+5", "1,5", "1ms", "0x10"] {
            assert!(time_of(&format!("{text} stop")).is_err(), "{text}");
        }
    }

    #[test]
    fn a_time_beyond_the_numbers_is_refused() {
        assert_eq!(time_of("18446744073709551.615 stop"), Ok((Some(Micros(u64::MAX)), "stop")));
        for text in ["18446744073709551.616", "18446744073709552", "18446744073709551615", "99999999999999999999"] {
            assert!(time_of(&format!("{text} stop")).is_err(), "{text}");
        }
    }
}
