//! Reads a song's map.

use super::deeds::Around;
use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::draft::Draft;
use super::names::{Known, Names};
use super::reader::{Fields, MapFile, Value};
use super::{At, Gear, PlayIn, Section, ShiftWay, Song, agree, cue, deeds, hand, places, values, zone};
use crate::music::Key;

/// Quarter notes a minute that make a tempo.
const TEMPO: std::ops::RangeInclusive<f64> = 10.0..=400.0;

/// Reads a song; what is wrong goes to the file.
pub(super) fn read(mut top: Fields<'_>, gear: &Gear, names: &Names) -> Draft {
    values::middle_c(&mut top);
    let map_file = top.map_file;
    let title = top.need("title").and_then(|value| value.text());
    let numbered = top.has("number");
    let number = top.take("number").and_then(|value| value.whole(1..=128).map(|number| value.at(number)));
    let key = top.need("key").and_then(|value| values::key(&value));
    let play_in = top.take("play_in").and_then(|value| values::play_in(&value));
    let shift = top.take("shift").and_then(|value| values::shift(&value)).unwrap_or(ShiftWay::Nearest);
    let tempo = top.take("tempo").and_then(|value| value.number(TEMPO));
    let remark = top.take("remark").and_then(|value| value.long_text()).map(|at| at.value);
    let meter = top.take("meter").and_then(|value| meter(&value));
    let melody_range = top.take("melody_range").and_then(|value| values::range(&value));
    let (entering, leaving) = (top.take("on_entering"), top.take("on_leaving"));
    let (sections, known, of_sections) = sections(&mut top, names);
    let order = top.take("order").and_then(|value| order(&value, &known));
    let zones = top.list_of("zone", "a zone").into_iter().map(|fields| zone::read(fields, names, &known));
    let (zones, zone_fades): (Vec<_>, Vec<_>) = zones.unzip();
    let fingers = hand::fingers(&mut top);
    let has_drone = top.has("drone") || map_file.may_have("drone");
    let (drone, drone_fade) = hand::drone(&mut top, names).unzip();
    let cues = cue::list(&mut top, names);
    top.done();
    let placeholder = At { value: Key::usual(0, false, true), spot: map_file.spot(0..0) };
    let read_key = key.as_ref().map(|key| key.value);
    let mut song = Song {
        title: title.unwrap_or_else(|| values::unread(map_file)),
        number,
        key: key.unwrap_or(placeholder),
        play_in,
        shift,
        remark,
        tempo,
        meter,
        melody_range,
        order,
        zones,
        sections,
        fingers,
        drone,
        on_entering: Vec::new(),
        on_leaving: Vec::new(),
        cues,
    };
    let zones = zones_of(&song, !map_file.may_have("name") && !map_file.may_have("sound"));
    let around = Around { outputs: &names.outputs, zones: &zones, drone: has_drone };
    read_lists(&mut song, (entering, leaving, of_sections), around);
    if let Some(key) = read_key {
        modes_agree(map_file, &song, key);
    }
    let chart = read_key.map(|key| (key, song.key.spot));
    cue::in_the_song(map_file, &song.cues, &known, &zones, chart);
    agree::no_circles(map_file, &song.sections);
    let users = places::users(&song, gear, &zone_fades, drone_fade.flatten());
    places::one_sound_each(map_file, &song, &users);
    places::fades_alone(map_file, &song, &users);
    Draft { song, key: read_key, numbered, has_drone, sections: known, zones }
}

/// What is done on entering and leaving: of the song, then for each section on entering it.
type Lists<'a> = (Option<Value<'a>>, Option<Value<'a>>, Vec<Option<Value<'a>>>);

fn read_lists(song: &mut Song, (entering, leaving, of_sections): Lists<'_>, around: Around<'_>) {
    (song.on_entering, song.on_leaving) = (deeds::list(entering, around), deeds::list(leaving, around));
    for (section, list) in song.sections.iter_mut().zip(of_sections) {
        section.on_entering = deeds::list(list, around);
    }
}

/// Reports keys that are not of the mode of the song's key.
fn modes_agree(map_file: &MapFile<'_>, song: &Song, key: Key) {
    if let Some(At { value: PlayIn::Key(play_in), spot }) = song.play_in {
        agree::play_in(map_file, spot, play_in, key, song.key.spot);
    }
    for changed in song.sections.iter().filter_map(|section| section.key.as_ref()) {
        agree::same_mode(map_file, "this section's key", changed, key, song.key.spot);
    }
}

/// The names of a song's zones.
fn zones_of(song: &Song, whole: bool) -> Known<()> {
    let names = || song.zones.iter().map(|zone| zone.name.as_str());
    // A zone whose name could not be read could be any that is looked for.
    let mut known = Known::new("zone", "the song", whole && names().all(|name| !name.is_empty()));
    known.list = names().map(|name| (name.to_owned(), ())).collect();
    known
}

/// The sections, their names, and for each what is done on entering it, which is read once the zones are known.
fn sections<'a>(top: &mut Fields<'a>, gear: &Names) -> (Vec<Section>, Known<()>, Vec<Option<Value<'a>>>) {
    let map_file = top.map_file;
    let mut known = Known::new("section", "the song", !map_file.may_have("name"));
    let mut sections: Vec<Section> = Vec::new();
    let mut lists = Vec::new();
    for mut fields in top.list_of("section", "a section") {
        let name = fields.need("name").and_then(|value| value.text());
        if let Some(name) = &name {
            if let Some(first) = sections.iter().find(|section| section.name.value == name.value) {
                let title = format!("there are two sections called {}", quoted(&name.value));
                let fault = Diagnostic::error(FaultKind::Finding, name.spot, title);
                let help = "give one of them another name; to play a section twice, name it twice in order";
                map_file.report(fault.help(help).also(first.name.spot, "first here"));
            }
            known.list.push((name.value.clone(), ()));
        } else {
            // A section without a name could be any that is looked for.
            known.whole = false;
        }
        let section = Section {
            name: name.unwrap_or_else(|| values::unread(map_file)),
            like: fields.take("like").and_then(|value| value.text()),
            key: fields.take("key").and_then(|value| values::key(&value)),
            chords: fields.take("chords").and_then(|value| values::progression(&value)),
            tempo: fields.take("tempo").and_then(|value| value.number(TEMPO)),
            curve: fields.take("curve").and_then(|value| values::curve(&value, &gear.curves)),
            remark: fields.take("remark").and_then(|value| value.long_text()).map(|at| at.value),
            on_entering: Vec::new(),
        };
        lists.push(fields.take("on_entering"));
        fields.done();
        sections.push(section);
    }
    for like in sections.iter().filter_map(|section| section.like.as_ref()) {
        known.find(map_file, like);
    }
    (sections, known, lists)
}

/// An order of sections, each of which the song has.
pub(super) fn order(value: &Value<'_>, sections: &Known<()>) -> Option<Vec<At<String>>> {
    let order = values::names(value, true)?;
    if order.is_empty() {
        value.finding(
            "an order needs at least one section",
            "name the sections, or take order out: then they come as in the file",
        );
    }
    for name in &order {
        sections.find(value.map_file, name);
    }
    Some(order)
}

fn meter(value: &Value<'_>) -> Option<(u8, u8)> {
    let parts = value.as_text().and_then(|text| text.split_once('/'));
    let numbers = parts.and_then(|(beats, unit)| Some((beats.parse().ok()?, unit.parse().ok()?)));
    match numbers {
        Some((beats @ 1..=32, unit @ (1 | 2 | 4 | 8 | 16 | 32))) => Some((beats, unit)),
        _ => {
            value.wrong("beats and their note value");
            None
        }
    }
}
