//! Zones: what one is, and how a song's map is read for them. All that a field needs in `map` stands here.

use super::allowed;
use super::diagnostic::quoted;
use super::hand::{self, HandFields};
use super::names::Known;
use super::names::Names;
use super::reader::{Fields, Value};
use super::values::{self, ALL_KEYS};
use super::{At, Controls, Curve, KeyRange, Linger, Pedal, Plays, Spot, StayInKey};
use crate::midi::U7;

/// Keys that play a sound.
#[derive(Debug, Clone)]
pub struct Zone {
    /// The whole zone, for findings about it.
    pub spot: Spot,
    /// Its name; the sound's where none is given.
    pub name: String,
    /// The sound that it plays.
    pub sound: At<String>,
    /// The input that it listens to; `None`: every one with `play = true`.
    pub input: Option<At<String>>,
    /// The input whose pedals and controllers it follows; `None`: its own.
    pub pedals_from: Option<At<String>>,
    /// Its keys, as pressed.
    pub keys: At<KeyRange>,
    /// Its window of velocities, after the input's curve, 1–127.
    pub velocity: At<(u8, u8)>,
    /// Whether one note in the window lets in its whole handful.
    pub by_handful: bool,
    /// Whether keys that it takes go to no later zone.
    pub exclusive: bool,
    /// Its curve.
    pub curve: Option<Curve>,
    /// Level in dB, by velocity.
    pub level: f64,
    /// Controller 7 in this song, where it is not the sound's.
    pub volume: Option<U7>,
    /// Semitones.
    pub transpose: i32,
    /// Octaves.
    pub octave: i32,
    /// Whether the shift moves it.
    pub follow_key: bool,
    /// The range into which its notes are brought by octaves.
    pub within: Option<At<KeyRange>>,
    /// Names of the sections in which it plays; `None`: all.
    pub sections: Option<Vec<At<String>>>,
    /// Which notes it makes of its keys.
    pub plays: Plays,
    /// Fewer keys than these, 1–10, are a melody and change nothing; counts only where notes are derived.
    pub min_keys: u8,
    /// Whether its notes stay after the keys come up.
    pub linger: Linger,
    /// What becomes of keys that do not fit.
    pub stay_in_key: StayInKey,
    /// Whether one key plays the chord that belongs there (rule R13).
    pub one_key_chord: bool,
    /// Its pedals.
    pub pedal: Pedal,
    /// Its other controllers.
    pub controls: Controls,
    /// Whether pitch bend and pressure are passed on.
    pub bend: bool,
    /// Whether it is on when the song is entered.
    pub on: bool,
    /// How long its lingering notes take to end for good, in microseconds (rule R15).
    pub fade: u64,
}

/// Reads a zone; names in it are looked up in the gear and among the song's sections. With it comes where its
/// `fade_ms` stands, if it has one.
pub(super) fn read(mut fields: Fields<'_>, gear: &Names, sections: &Known<()>) -> (Zone, Option<Spot>) {
    let map_file = fields.map_file;
    let spot = fields.spot;
    let named = fields.take("name").and_then(|value| value.text());
    let sound = fields.need("sound").and_then(|value| value.text());
    if let Some(sound) = &sound {
        gear.sounds.find(map_file, sound);
    }
    let (pedal, controls) = (fields.take("pedal"), fields.take("controls"));
    let HandFields { plays, min_keys, linger, stay_in_key, one_key_chord, fade, fade_spot } = hand::read(&mut fields);
    // Held notes would ring on under the pedal, and what is derived has no key to hold.
    let rests = if linger != Linger::Off || plays.derives() { Pedal::Ignore } else { Pedal::Follow };
    let zone = Zone {
        spot,
        name: named.or_else(|| sound.clone()).map(|at| at.value).unwrap_or_default(),
        sound: sound.unwrap_or_else(|| values::unread(map_file)),
        input: fields.take("input").and_then(|value| played(&value, gear)),
        pedals_from: fields.take("pedals_from").and_then(|value| value.text()).inspect(|name| {
            gear.inputs.find(map_file, name);
        }),
        keys: fields.take("keys").and_then(|value| values::range(&value)).unwrap_or(At { value: ALL_KEYS, spot }),
        velocity: fields.take("velocity").and_then(|value| window(&value)).unwrap_or(At { value: (1, 127), spot }),
        by_handful: fields.take("velocity_by").and_then(|value| value.choice(&allowed::VELOCITY_BY)).unwrap_or(false),
        exclusive: fields.take("exclusive").and_then(|value| value.flag()).unwrap_or(false),
        curve: fields.take("curve").and_then(|value| values::curve(&value, &gear.curves)),
        level: fields.take("level").and_then(|value| value.number(-60.0..=24.0)).unwrap_or(0.0),
        volume: fields.take("volume").and_then(|value| values::seven_bits(&value)),
        transpose: fields.take("transpose").and_then(|value| value.whole(-127..=127)).unwrap_or(0),
        octave: fields.take("octave").and_then(|value| value.whole(-10..=10)).unwrap_or(0),
        follow_key: fields.take("follow_key").and_then(|value| value.flag()).unwrap_or(true),
        within: fields.take("within").and_then(|value| octave_wide(&value)),
        sections: fields.take("sections").and_then(|value| listed(&value, sections)),
        plays,
        min_keys,
        linger,
        stay_in_key,
        one_key_chord,
        pedal: pedal.and_then(|value| value.choice(&allowed::PEDALS)).unwrap_or(rests),
        controls: controls.and_then(|value| followed(&value)).unwrap_or(Controls::Follow),
        bend: fields.take("bend").and_then(|value| value.choice(&allowed::FOLLOW)).unwrap_or(true),
        on: fields.take("on").and_then(|value| value.flag()).unwrap_or(true),
        fade,
    };
    fields.done();
    (zone, fade_spot)
}

/// An input that zones may listen to.
fn played(value: &Value<'_>, gear: &Names) -> Option<At<String>> {
    let name = value.text()?;
    if gear.inputs.find(value.map_file, &name) == Some(&false) {
        let title = format!("the input {} has play = false, so no zone can play from it", quoted(&name.value));
        value.finding(title, "name another input, or write play = true in the gear file");
    }
    Some(name)
}

fn window(value: &Value<'_>) -> Option<At<(u8, u8)>> {
    let (low, high) = value.pair("two velocities, the lowest and the highest")?;
    let (low, high) = (low.whole::<u8>(1..=127), high.whole::<u8>(1..=127));
    let (low, high) = (low?, high?);
    if low > high {
        let help = format!("write velocity = [{high}, {low}]");
        value.finding("no touch lies in this velocity window", help);
        return None;
    }
    Some(value.at((low, high)))
}

fn octave_wide(value: &Value<'_>) -> Option<At<(crate::midi::Note, crate::midi::Note)>> {
    let range = values::range(value)?;
    let (low, high) = (u8::from(range.value.0), u8::from(range.value.1));
    if high - low < 11 {
        let octave = value.map_file.middle_c.get();
        let name = |note: u8| crate::midi::Note::try_from(note).map(|note| crate::music::note::name(note, octave));
        // Near the top of the keyboard there is room for an octave only further down.
        let low = low.min(127 - 11);
        let example = name(low).and_then(|low_name| name(low + 11).map(|high| format!("[\"{low_name}\", \"{high}\"]")));
        value.finding(
            "\"within\" is narrower than twelve notes, so some notes have no place in it",
            format!("write for example within = {}", example.unwrap_or_default()),
        );
        return None;
    }
    Some(range)
}

/// The names of sections, each of which the song has.
pub(super) fn listed(value: &Value<'_>, sections: &Known<()>) -> Option<Vec<At<String>>> {
    let names = values::names(value, false)?;
    if names.is_empty() {
        value.finding(
            "a zone with no section never plays",
            "name a section, or take sections out: then it plays in all",
        );
    }
    for name in &names {
        sections.find(value.map_file, name);
    }
    Some(names)
}

fn followed(value: &Value<'_>) -> Option<Controls> {
    if !value.is_list() {
        if value.as_text().is_some() {
            return value
                .choice(&allowed::FOLLOW)
                .map(|follow| if follow { Controls::Follow } else { Controls::Ignore });
        }
        value.wrong("\"follow\", \"ignore\" or a list of controllers");
        return None;
    }
    let controller = |item: &Value<'_>| {
        let number = values::seven_bits(item)?;
        if let Some((what, help)) = never_listed(number) {
            let title = format!("controller {} cannot be in this list: it is {what}", u8::from(number));
            item.finding(title, help);
        }
        Some(number)
    };
    value.list("a list of controllers", controller).map(Controls::List)
}

/// Why a controller cannot be followed by number, and what to do instead.
fn never_listed(number: U7) -> Option<(&'static str, &'static str)> {
    Some(match u8::from(number) {
        64..=69 => {
            ("a pedal", "take it out; pedal = \"follow\", \"ignore\" or \"switch\" says what the zone does with pedals")
        }
        0 | 32 => (
            "bank select, which would change the sound under the player",
            "take it out; give the sound a bank in the gear",
        ),
        88 => ("the fine part of a velocity, which is false after a curve", "take it out"),
        120..=127 => ("a command such as all notes off, not a controller", "take it out; such commands always work"),
        _ => return None,
    })
}
