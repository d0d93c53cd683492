//! What a song does at each place (one channel of one output): one sound at a time, and no fade over other notes.

use super::agree::lineage;
use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::reader::MapFile;
use super::{At, Gear, Linger, Section, Song, Sound, Spot, Zone};

/// A zone or the drone, at its place.
pub(super) struct User<'a> {
    /// `None`: the drone.
    zone: Option<&'a Zone>,
    /// The sound as it names it.
    named: &'a At<String>,
    sound: &'a Sound,
    /// The fade of held notes, where there is one.
    fade: Option<Spot>,
}

impl User<'_> {
    fn name(&self) -> String {
        self.zone.map_or("the drone".to_owned(), |zone| format!("the zone {}", quoted(&zone.name)))
    }

    fn shares_with(&self, other: &User<'_>) -> bool {
        self.sound.output.value == other.sound.output.value && self.sound.channel == other.sound.channel
    }

    fn place(&self) -> String {
        format!("output {}, channel {}", quoted(&self.sound.output.value), self.sound.channel.number())
    }
}

/// Everything in a song that plays a known sound: zones in file order, then the drone. The spots are where the fields
/// `fade_ms` stand, one for each zone.
pub(super) fn users<'a>(
    song: &'a Song,
    gear: &'a Gear,
    zone_fades: &[Option<Spot>],
    drone_fade: Option<Spot>,
) -> Vec<User<'a>> {
    let sound = |named: &At<String>| gear.sounds.iter().find(|sound| sound.name.value == named.value);
    let zones = song.zones.iter().zip(zone_fades).filter_map(|(zone, fade)| {
        let fade = fade.filter(|_| zone.fade > 0 && zone.linger != Linger::Off);
        Some(User { zone: Some(zone), named: &zone.sound, sound: sound(&zone.sound)?, fade })
    });
    let drone = song.drone.as_ref().and_then(|drone| {
        let fade = drone_fade.filter(|_| drone.fade > 0);
        Some(User { zone: None, named: &drone.sound, sound: sound(&drone.sound)?, fade })
    });
    zones.chain(drone).collect()
}

/// Reports two sounds of one output and channel that are in use together: a channel has one program.
pub(super) fn one_sound_each(map_file: &MapFile<'_>, song: &Song, users: &[User<'_>]) {
    let mut reported: Vec<(&str, &str)> = Vec::new();
    for (index, later) in users.iter().enumerate() {
        for earlier in &users[..index] {
            let pair = (earlier.sound.name.value.as_str(), later.sound.name.value.as_str());
            let known = reported.contains(&pair) || reported.contains(&(pair.1, pair.0));
            if pair.0 == pair.1 || !earlier.shares_with(later) || known {
                continue;
            }
            let Some(place) = together(song, earlier, later) else { continue };
            reported.push(pair);
            let (one, other) = (quoted(pair.0), quoted(pair.1));
            let title =
                format!("the sounds {one} and {other} play together{place} on one channel, which has room for one");
            let fault = Diagnostic::error(FaultKind::Finding, later.named.spot, title).label("in use together");
            // A drone sounds in every section.
            let help = match later.zone {
                Some(_) => {
                    "give one of the two another channel or output in the gear, or keep their zones in different sections"
                }
                None => "give one of the two another channel or output in the gear",
            };
            map_file.report(
                fault
                    .help(help)
                    .also(earlier.named.spot, "with this one")
                    .also(earlier.sound.name.spot, earlier.place())
                    .also(later.sound.name.spot, later.place()),
            );
        }
    }
}

/// Reports a fade at a place where other notes sound at the same time: it turns the whole channel down, and so would
/// take them along (rule R15). Zones that linger there too ring without a finger and end as it does; all other zones,
/// and the drone, go on.
pub(super) fn fades_alone(map_file: &MapFile<'_>, song: &Song, users: &[User<'_>]) {
    for (index, fading) in users.iter().enumerate() {
        let Some(spot) = fading.fade else { continue };
        let goes_on = |other: &User<'_>| match (fading.zone, other.zone) {
            (Some(_), Some(other)) => other.linger == Linger::Off,
            _ => true,
        };
        // Of two sounds at one place more is wrong than the fade.
        let taken_along = |other: &User<'_>| {
            fading.shares_with(other) && fading.sound.name.value == other.sound.name.value && goes_on(other)
        };
        let others = users.iter().enumerate().filter(|(number, other)| *number != index && taken_along(other));
        let mut others = others.filter_map(|(_, other)| Some((other, together(song, fading, other)?)));
        let Some((first, place)) = others.next() else { continue };
        let title = format!(
            "the fade of {} would take the notes of {} along{place}: both are on one channel",
            fading.name(),
            first.name(),
        );
        let fault = Diagnostic::error(FaultKind::Finding, spot, title);
        let fault = fault.help("give one of the two a sound on a channel of its own, or write fade_ms = 0");
        let there =
            |other: &User<'_>| if other.zone.is_some() { "sounds under the fingers there" } else { "goes on there" };
        let fault = fault.also(first.named.spot, there(first));
        let fault = others.take(3).fold(fault, |fault, (other, _)| fault.also(other.named.spot, there(other)));
        map_file.report(fault.also(fading.sound.name.spot, fading.place()));
    }
}

/// Where two of them are in use together: ` in section "Chorus"`, or everywhere in a song without sections.
fn together(song: &Song, one: &User<'_>, other: &User<'_>) -> Option<String> {
    if song.sections.is_empty() {
        return Some(String::new());
    }
    let has = |user: &User<'_>, line: &[&Section]| match user.zone.and_then(|zone| zone.sections.as_ref()) {
        None => true,
        Some(names) => names.iter().any(|name| line.iter().any(|section| section.name.value == name.value)),
    };
    let both = |section: &&Section| {
        let (line, _) = lineage(&song.sections, section);
        has(one, &line) && has(other, &line)
    };
    song.sections.iter().find(both).map(|section| format!(" in the section {}", quoted(&section.name.value)))
}
