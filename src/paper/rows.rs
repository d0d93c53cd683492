//! The rows of a sheet's tables, in words: zones, cues, what entering does, inputs and outputs.

use super::sheet::{Table, bold, plain};
use crate::evening::{Keys, listens};
use crate::map::{
    Action, Book, Cable, Controls, Cue, Curve, Deed, Does, Drone, Entry, Input, Output, Pedal, Rest, SendMessage, Song,
    Sound, Zone,
};
use crate::midi::{Channel, U7};
use crate::music::{Key, Speller, note};
use crate::paper::drawing::{key_name, span};
use crate::wording::messages::spoken;
use crate::wording::{cues, paper, zones};

/// Bytes of a system exclusive message that are spelled out.
const BYTES_SPELLED: usize = 16;

/// A channel as one counts them.
fn channel(channel: Channel) -> String {
    format!("channel {}", channel.number())
}

fn joined(words: Vec<String>) -> Vec<String> {
    if words.is_empty() { Vec::new() } else { vec![words.join(", ")] }
}

/// The zones: where their keys lie, what they sound on, what they make of notes, and the touch.
pub(super) fn of_zones(book: &Book, song: &Song, keys: &Keys) -> Table {
    let rows = song.zones.iter().map(|zone| {
        // Every field is named, so that the compiler finds one that paper would not tell of. Those of a line are told in
        // the same column, where they are not as usual.
        #[rustfmt::skip]
        let Zone {
            spot: _, name: _, keys: _, input: _, pedals_from: _,
            sound: _, volume: _,
            transpose: _, octave: _, within: _, sections: _, exclusive: _, on: _, plays: _, min_keys: _, linger: _,
            one_key_chord: _, fade: _, stay_in_key: _, by_handful: _, pedal: _, controls: _, bend: _, follow_key: _,
            curve: _, velocity: _, level: _,
        } = zone;
        let sound = book.gear.sound(&zone.sound.value);
        vec![
            under_the_hand(book, zone),
            sound.map_or_else(Vec::new, |sound| of_sound(sound, zone.volume)),
            {
                let mut lines = joined(zones::pitch(zone, keys).into_iter().chain(zones::place(zone)).collect());
                lines.extend(zones::helps(zone, song));
                lines.extend(joined(followed(zone)));
                lines
            },
            {
                let mut lines = zones::touch(zone);
                lines.insert(0, zone.curve.as_ref().map_or("as struck".to_owned(), |curve| of_curve(book, curve)));
                lines
            },
        ]
    });
    let columns =
        vec![bold("zone", 0.13), bold("sound", 0.38), plain("what it makes of its keys", 0.36), plain("touch", 0.13)];
    Table { columns, rows: rows.chain(song.drone.as_ref().map(|drone| of_drone(book, drone, keys))).collect() }
}

/// The drone, below the zones.
fn of_drone(book: &Book, drone: &Drone, keys: &Keys) -> Vec<Vec<String>> {
    let sound = book.gear.sound(&drone.sound.value);
    let sound = sound.map_or_else(Vec::new, |sound| of_sound(sound, None));
    let touch = format!("velocity {}", drone.velocity);
    vec![vec!["drone".to_owned()], sound, zones::drones(book, drone, keys), vec![touch]]
}

/// A zone's name, keys, and input.
fn under_the_hand(book: &Book, zone: &Zone) -> Vec<String> {
    let (low, high) = zone.keys.value;
    let mut lines = vec![zone.name.clone()];
    let whole = |input: &&Input| listens(zone, input) && !(low <= input.keys.0 && high >= input.keys.1);
    if book.gear.inputs.iter().any(|input| whole(&input)) {
        lines.push(span(low, high));
    }
    lines.extend(zone.input.as_ref().map(|input| format!("on {}", input.value)));
    lines.extend(zone.pedals_from.as_ref().map(|feet| format!("pedals of {}", feet.value)));
    lines
}

/// Where a sound is and how it is set up; programs count from 1 as in the maps.
fn of_sound(sound: &Sound, volume: Option<U7>) -> Vec<String> {
    let mut set_up = Vec::new();
    set_up.extend(sound.program.map(|program| format!("program {}", u8::from(program) + 1)));
    set_up.extend(sound.bank.map(|(msb, lsb)| format!("bank {} {}", u8::from(msb), u8::from(lsb))));
    set_up.extend(volume.or(sound.volume).map(|volume| format!("volume {}", u8::from(volume))));
    set_up.extend(sound.pan.map(|pan| format!("pan {}", u8::from(pan))));
    set_up.insert(0, format!("→ {}, {}", sound.output.value, channel(sound.channel)));
    set_up.extend(sound.label.clone());
    vec![sound.name.value.clone(), set_up.join(", ")]
}

/// What a zone follows of pedals and wheels, where it is not everything.
fn followed(zone: &Zone) -> Vec<String> {
    let mut words = Vec::new();
    match zone.pedal {
        Pedal::Follow => {}
        Pedal::Ignore => words.push("no pedals".to_owned()),
        Pedal::Switch => words.push("pedals down or up, nothing between".to_owned()),
    }
    match &zone.controls {
        Controls::Follow => {}
        Controls::Ignore => words.push("no controllers".to_owned()),
        Controls::List(list) if list.is_empty() => words.push("no controllers".to_owned()),
        Controls::List(list) => {
            let numbers: Vec<String> = list.iter().map(|number| u8::from(*number).to_string()).collect();
            words.push(format!("controllers {} only", numbers.join(", ")));
        }
    }
    if !zone.bend {
        words.push("no bend".to_owned());
    }
    if !zone.follow_key {
        words.push("does not move with the key".to_owned());
    }
    words
}

/// A touch curve in words, with its name where the gear has one.
pub(super) fn of_curve(book: &Book, curve: &Curve) -> String {
    let what = match curve {
        Curve::Bent { heavier, low, high } => {
            let bend = if *heavier < 0 { "lighter" } else { "heavier" };
            let ends = if (*low, *high) == (1.0, 127.0) { String::new() } else { format!(" from {low} to {high}") };
            format!("{bend} {}{ends}", heavier.unsigned_abs())
        }
        Curve::Points(points) => {
            let points: Vec<String> = points.iter().map(|(from, to)| format!("{from} → {to}")).collect();
            points.join(", ")
        }
        Curve::Always(value) => format!("always {value}"),
    };
    let named = book.gear.curves.iter().find(|(_, known)| known == curve);
    named.map_or_else(|| what.clone(), |(name, _)| format!("{}: {what}", name.value))
}

/// A message to another machine.
fn message(message: &SendMessage, key: Key) -> String {
    match message {
        SendMessage::Program { channel: on, bank, program } => {
            let bank =
                bank.map_or_else(String::new, |(msb, lsb)| format!(", bank {} {}", u8::from(msb), u8::from(lsb)));
            format!("program {}{bank}, {}", u8::from(*program) + 1, channel(*on))
        }
        SendMessage::Control { channel: on, number, value } => {
            format!("control {} {}, {}", u8::from(*number), u8::from(*value), channel(*on))
        }
        SendMessage::Note { channel: on, note, velocity, length } => {
            let (name, velocity) = (note::name(*note, 4), u8::from(*velocity));
            format!("note {name} {velocity} for {}, {}", zones::seconds(*length), channel(*on))
        }
        SendMessage::System { bytes, .. } => {
            let words = spoken(bytes, &Speller::from(key));
            match words.starts_with("bytes ") && bytes.len() > BYTES_SPELLED {
                true => {
                    let shown: Vec<String> = bytes[..BYTES_SPELLED].iter().map(|byte| format!("{byte:02X}")).collect();
                    format!("bytes {} … ({} bytes)", shown.join(" "), bytes.len())
                }
                false => words,
            }
        }
    }
}

/// Cues: what comes, and what that does.
pub(super) fn of_cues<'a>(book: &Book, all: impl Iterator<Item = &'a Cue>, key: Key) -> Table {
    let rows = all.map(|cue| vec![vec![comes(book, cue)], done_by(cue, key)]);
    let columns = vec![bold("by pedal, key, pad or message, in this song only", 0.45), plain("what it does", 0.55)];
    Table { columns, rows: rows.collect() }
}

/// What a cue waits for.
pub(super) fn comes(book: &Book, cue: &Cue) -> String {
    paper::comes(cue, book.gear.inputs.iter().find(|input| input.name.value == cue.when.input.value))
}

/// What a cue does, in few words.
pub(super) fn done_in_short(cue: &Cue) -> String {
    let does = cues::does(&cue.does, None, cue.name.as_deref());
    match (&cue.off, cue.while_down) {
        (None, _) => does,
        (Some(_), true) => format!("{does}, while it is down"),
        (Some(_), false) => format!("{does}, on and off in turns"),
    }
}

/// What a cue does, a line for each part of it.
fn done_by(cue: &Cue, key: Key) -> Vec<String> {
    let mut does = vec![cues::does(&cue.does, None, cue.name.as_deref())];
    if let Does::Send { to, message: said } = &cue.does {
        does.push(format!("to {}: {}", to.value, message(said, key)));
    }
    if let Does::Act(Action::Fade(time)) = &cue.does {
        does.push(faded(*time));
    }
    if let Some(off) = &cue.off {
        let when = if cue.while_down { "as it comes up" } else { "the second time" };
        does.push(format!("{when}: {}", message(&off.message, key)));
    }
    does.extend(cue.rest.map(|rest| format!("at rest {}", if rest == Rest::On { "on" } else { "off" })));
    does
}

/// What is done on entering and leaving, and when; `None` where nothing is.
pub(super) fn of_deeds(entry: &Entry, song: &Song, key: Key) -> Option<Table> {
    let mut rows = moment("as the song begins", &song.on_entering, key);
    rows.extend(moment("as the song begins tonight", &entry.on_entering, key));
    for section in &song.sections {
        rows.extend(moment(&format!("as {} begins", section.name.value), &section.on_entering, key));
    }
    rows.extend(moment("on leaving the song", &song.on_leaving, key));
    moments(rows)
}

/// What is done on entering a pause; `None` where nothing is.
pub(super) fn of_pause(entry: &Entry, key: Key) -> Option<Table> {
    moments(moment("as the pause begins", &entry.on_entering, key))
}

fn moment(when: &str, deeds: &[Deed], key: Key) -> Vec<Vec<Vec<String>>> {
    deeds.iter().map(|deed| vec![vec![later(when, deed.after)], vec![of_deed(deed, key)]]).collect()
}

fn moments(rows: Vec<Vec<Vec<String>>>) -> Option<Table> {
    let columns = vec![bold("when", 0.36), plain("what is done by itself", 0.64)];
    if rows.is_empty() { None } else { Some(Table { columns, rows }) }
}

/// A moment, or so long after it.
fn later(when: &str, after: u64) -> String {
    if after > 0 { format!("{when}, {} later", zones::seconds(after)) } else { when.to_owned() }
}

/// One thing that is done, in words.
pub(super) fn of_deed(deed: &Deed, key: Key) -> String {
    match &deed.does {
        Does::Send { to, message: said } => format!("to {}: {}", to.value, message(said, key)),
        Does::Act(Action::Fade(time)) => faded(*time),
        act => cues::does(act, None, None),
    }
}

fn faded(time: u64) -> String {
    format!("held notes fade out over {}", zones::seconds(time))
}

/// Keys of a piano: a keyboard with fewer has octave buttons.
const PIANO: i16 = 88;

/// The inputs and what is received of them.
pub(super) fn of_inputs(book: &Book) -> Table {
    let rows = book.gear.inputs.iter().map(|input| {
        let (low, high) = (input.keys.0 as u8, input.keys.1 as u8);
        let mut heard = vec![match input.play {
            true => format!("plays, {}–{}", key_name(low), key_name(high)),
            false => "plays nothing, has cues only".to_owned(),
        }];
        if input.play && i16::from(high) - i16::from(low) + 1 < PIANO {
            heard.push(paper::octave(&key_name(low)));
        }
        heard.extend(input.channel.map(|on| format!("received on {} only", channel(on))));
        heard.extend(
            input
                .renumber
                .iter()
                .map(|(from, to)| format!("controller {} counts as {}", u8::from(*from), u8::from(*to))),
        );
        heard.extend(input.curve.as_ref().map(|curve| format!("touch {}", of_curve(book, curve))));
        let mut port = vec![format!("\"{}\"", input.port.value)];
        port.extend(input.serial.as_ref().map(|serial| format!("serial {serial}")));
        vec![vec![input.name.value.clone()], port, joined(heard), vec![needed(input.optional)]]
    });
    let columns = vec![
        bold("input", 0.16),
        plain("its port has in its name", 0.24),
        plain("what it is", 0.5),
        plain("needed?", 0.1),
    ];
    Table { columns, rows: rows.collect() }
}

fn needed(optional: bool) -> String {
    if optional { "optional" } else { "required" }.to_owned()
}

/// The outputs, where each leads, and the sounds on it.
pub(super) fn of_outputs(book: &Book) -> Table {
    let rows = book.gear.outputs.iter().map(|output| {
        let sounds = book.gear.sounds.iter().filter(|sound| sound.output.value == output.name.value);
        let sounds = sounds.map(|sound| format!("{} {}", sound.channel.number(), sound.name.value)).collect();
        vec![vec![output.name.value.clone()], joined(leads(output)), joined(sounds), vec![needed(output.optional)]]
    });
    let columns = vec![
        bold("output", 0.16),
        plain("its port has in its name", 0.34),
        plain("channel and sound", 0.4),
        plain("needed?", 0.1),
    ];
    Table { columns, rows: rows.collect() }
}

fn leads(output: &Output) -> Vec<String> {
    let mut lines = vec![match &output.port {
        Some(port) => format!("\"{}\"", port.value),
        None => format!("handspan's own: \"{}\"", output.name.value),
    }];
    if output.cable == Cable::Din {
        lines.push("by a five-pin cable".to_owned());
    }
    lines.extend(output.pass_clock.then(|| "gets the clock of others".to_owned()));
    lines.extend(output.send_clock.then(|| "gets our clock".to_owned()));
    lines.extend(output.pass_sysex.then(|| "gets system exclusive messages".to_owned()));
    lines
}
