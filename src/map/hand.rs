//! Reads what helps one hand: a zone's derived and lingering notes, and a song's fingers and drone.

use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::names::Names;
use super::reader::{Fields, Value};
use super::{Drone, Finger, Linger, Plays, Spot, StayInKey};
use super::{allowed, values};
use crate::music::{German, Tone};

/// A fade lasts no longer, in milliseconds.
const LONGEST_FADE: f64 = 60_000.0;

/// The fields of a zone that have to do with the hand as a whole.
pub(super) struct HandFields {
    pub plays: Plays,
    pub min_keys: u8,
    pub linger: Linger,
    pub stay_in_key: StayInKey,
    pub one_key_chord: bool,
    /// In microseconds.
    pub fade: u64,
    /// Where the fade stands, if it is written.
    pub fade_spot: Option<Spot>,
}

/// A field that may be absent, with its value; what could not be read counts as nothing, so that nothing is said of
/// how it fits the others.
struct WrittenField<'a, T> {
    field: Option<Value<'a>>,
    value: Option<T>,
}

impl<'a, T: Copy + PartialEq> WrittenField<'a, T> {
    fn new(field: Option<Value<'a>>, read: impl Fn(&Value<'a>) -> Option<T>) -> Self {
        Self { field, value: field.as_ref().and_then(read) }
    }

    /// The field, if it is there and could be read.
    fn readable(&self) -> Option<(&Value<'a>, T)> {
        self.field.as_ref().zip(self.value)
    }

    /// Whether the field says so, or nothing where that is the default.
    fn is(&self, value: T, default: T) -> bool {
        if self.field.is_some() { self.value == Some(value) } else { value == default }
    }
}

/// Reads a zone's fields that have to do with the hand, and reports those that do not go together.
pub(super) fn read(fields: &mut Fields<'_>) -> HandFields {
    let plays = WrittenField::new(fields.take("plays"), |value| value.choice(&allowed::PLAYS));
    let min_keys = WrittenField::new(fields.take("min_keys"), |value| value.whole::<u8>(1..=10));
    let linger = WrittenField::new(fields.take("linger"), |value| value.choice(&allowed::LINGER));
    let stay_in_key = WrittenField::new(fields.take("stay_in_key"), |value| value.choice(&allowed::STAY_IN_KEY));
    let one_key_chord = WrittenField::new(fields.take("one_key_chord"), Value::flag);
    let fade = WrittenField::new(fields.take("fade_ms"), |value| values::milliseconds(value, 0.0, LONGEST_FADE));
    derived(fields, &plays, &min_keys, &linger);
    one_key(&one_key_chord, &stay_in_key, &plays);
    if let Some((field, _)) = fade.readable().filter(|(_, fade)| *fade > 0 && linger.is(Linger::Off, Linger::Off)) {
        let title = "\"fade_ms\" is how lingering notes end, but nothing lingers in this zone";
        field.finding(title, "write linger = \"next\" too, or take fade_ms out");
    }
    let derives = plays.value.unwrap_or_default();
    let least = if matches!(derives, Plays::Lowest | Plays::Highest) { 1 } else { 3 };
    HandFields {
        plays: derives,
        min_keys: min_keys.value.unwrap_or(least),
        linger: linger.value.unwrap_or_default(),
        stay_in_key: stay_in_key.value.unwrap_or_default(),
        one_key_chord: one_key_chord.value.unwrap_or(false),
        fade: fade.value.unwrap_or(0),
        fade_spot: fade.field.map(|field| field.spot),
    }
}

/// What derived notes need, and what needs derived notes.
fn derived(
    fields: &Fields<'_>,
    plays: &WrittenField<'_, Plays>,
    min_keys: &WrittenField<'_, u8>,
    linger: &WrittenField<'_, Linger>,
) {
    let map_file = fields.map_file;
    if let Some((field, Plays::Chord)) = plays.readable()
        && !fields.has("within")
        && !map_file.may_have("within")
    {
        let help = "write for example within = [\"C3\", \"C5\"]";
        field.finding("a zone that plays the chord needs a range for its notes", help);
    }
    if let Some((field, _)) = min_keys.readable().filter(|_| plays.is(Plays::AsPressed, Plays::AsPressed)) {
        let title = "\"min_keys\" counts keys for derived notes, but this zone plays its keys as pressed";
        field.finding(title, "take it out, or write for example plays = \"root-fifth\"");
    }
    if let (Some((field, Linger::Toggle)), Some((with, true))) =
        (linger.readable(), plays.readable().map(|(field, plays)| (field, plays.derives())))
    {
        let title = "a key cannot toggle notes that are derived from several keys";
        let fault = Diagnostic::error(FaultKind::Finding, field.spot, title);
        let fault = fault.help("write linger = \"next\", or take plays out: then each key toggles its own note");
        map_file.report(fault.also(with.spot, "derived"));
    }
}

/// A one-key chord decides by itself which notes a key plays.
fn one_key(chord: &WrittenField<'_, bool>, stay_in_key: &WrittenField<'_, StayInKey>, plays: &WrittenField<'_, Plays>) {
    let Some((field, true)) = chord.readable() else { return };
    let report = |title: &str, with: &Value<'_>, label: &str, help: &str| {
        let fault = Diagnostic::error(FaultKind::Finding, field.spot, title);
        field.map_file.report(fault.help(help).also(with.spot, label));
    };
    if let Some((with, _)) = stay_in_key.readable().filter(|(_, stay)| *stay != StayInKey::Off) {
        let title = "\"one_key_chord\" and \"stay_in_key\" both say what a key plays";
        report(title, with, "so does this", "take stay_in_key out: the chords are those of the key already");
    }
    if let Some((with, _)) = plays.readable().filter(|(_, plays)| plays.derives()) {
        let title =
            "\"one_key_chord\" makes a chord of one key, \"plays\" makes notes of several: a zone has one of them";
        report(title, with, "of several keys", "take one of them out, or make two zones");
    }
}

/// Reads the table of keys that play another chord than the one on their degree.
pub(super) fn fingers(top: &mut Fields<'_>) -> Vec<Finger> {
    let Some(table) = top.take("fingers").and_then(|value| value.table("fingers")) else { return Vec::new() };
    let map_file = table.map_file;
    let mut fingers = Vec::new();
    let mut firsts: Vec<(u8, Spot)> = Vec::new();
    for (name, value) in table.named() {
        let key = Tone::read(&name.value).filter(|(_, rest)| rest.is_empty()).map(|(tone, _)| tone.class());
        if key.is_none() {
            let title = format!("{} is not a key to put a finger on", quoted(&name.value));
            let fault = Diagnostic::error(FaultKind::Finding, name.spot, title);
            let german = German::key(&name.value).map(|(german, here)| format!("{german}: write \"{here}\""));
            map_file.report(fault.help(german.unwrap_or_else(|| FINGER_HELP.to_owned())));
        }
        if let Some((_, first)) = firsts.iter().find(|(known, _)| Some(*known) == key) {
            let title = format!("{} is the key of another finger already", quoted(&name.value));
            let fault = Diagnostic::error(FaultKind::Finding, name.spot, title);
            map_file.report(fault.help("take one out: a key plays one chord").also(*first, "first here"));
        }
        firsts.extend(key.map(|key| (key, name.spot)));
        if let (Some(key), Some(chord)) = (key, values::chord(&value)) {
            fingers.push(Finger { key, chord });
        }
    }
    fingers
}

const FINGER_HELP: &str = "write a capital letter A to G, then # or b where needed, such as \"F#\" = \"D7\"";

/// Reads the drone. With it comes where its `fade_ms` stands, if it has one.
pub(super) fn drone(top: &mut Fields<'_>, gear: &Names) -> Option<(Drone, Option<Spot>)> {
    let mut fields = top.take("drone")?.table("the drone")?;
    let map_file = fields.map_file;
    let sound = fields.need("sound").and_then(|value| value.text());
    if let Some(sound) = &sound {
        gear.sounds.find(map_file, sound);
    }
    let degrees = fields.need("degrees").and_then(|value| degrees(&value));
    // From the C of octave 0 to the seventh above the B of octave 7 every note is one of MIDI's.
    let below = 4 - map_file.middle_c.get();
    let octave = fields.need("octave").and_then(|value| value.whole::<i64>(lowest(below)..=lowest(below) + 7));
    let velocity = fields.take("velocity").and_then(|value| value.whole::<u8>(1..=127)).unwrap_or(64);
    let fade = fields.take("fade_ms");
    let fade_spot = fade.as_ref().map(|value| value.spot);
    let fade = fade.and_then(|value| values::milliseconds(&value, 0.0, LONGEST_FADE)).unwrap_or(0);
    fields.done();
    let octave = octave? as i32 + below;
    Some((Drone { sound: sound?, degrees: degrees?, octave, velocity, fade }, fade_spot))
}

/// The lowest octave that a drone may name in a file that counts its octaves so much lower.
fn lowest(below: i32) -> i64 {
    -i64::from(below)
}

/// Degrees of a scale, none twice.
fn degrees(value: &Value<'_>) -> Option<Vec<u8>> {
    let degrees = value.list("a list of degrees of the key, from 1 to 7", |item| item.whole::<u8>(1..=7))?;
    if degrees.is_empty() {
        value.finding("a drone without a degree is silent", "write for example degrees = [1, 5]");
        return None;
    }
    let items = value.items();
    for (index, degree) in degrees.iter().enumerate() {
        if let Some(first) = degrees[..index].iter().position(|known| known == degree) {
            let title = format!("the degree {degree} stands twice in the drone");
            let fault = Diagnostic::error(FaultKind::Finding, items[index].spot, title);
            value.map_file.report(fault.help("take one out").also(items[first].spot, "first here"));
        }
    }
    Some(degrees)
}
