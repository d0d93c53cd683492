//! What zones and songs do to one another on one channel: programs, volumes, pedals.

use std::collections::{BTreeMap, HashMap};

use super::part::{ResolvedZone, SoundChannel};
use super::tonight::{Outing, Scene, SongTonight, Tonight};
use super::words::quoted;
use crate::map::{Diagnostic, FaultKind, Linger, Pedal};

/// A pair of zones and the scenes in which something is wrong between them.
type ZonePairs = BTreeMap<(usize, usize), Vec<usize>>;

/// Error: a zone's volume that is never sent, as an earlier zone in use on its channel says another.
/// Hint: a zone that ignores the pedal on a channel where another follows it: the pedal holds its notes too.
/// Hint: two zones on one channel that follow the pedal, one of them as a switch.
pub(super) fn within_a_section(piece: &SongTonight<'_>, found: &mut Vec<Diagnostic>) {
    let (mut volumes, mut pedals) = (ZonePairs::new(), ZonePairs::new());
    for (number, scene) in piece.scenes.iter().enumerate() {
        for zone in &scene.zones {
            let part = &piece.parts[*zone];
            let Some(first) = scene.first_at.get(&part.place).filter(|first| *first < zone) else { continue };
            let said = piece.parts[*first].zone.volume.or(piece.parts[*first].sound.volume);
            if part.zone.volume.is_some() && part.zone.volume != said {
                volumes.entry((*first, *zone)).or_default().push(number);
            }
        }
        for pair in pedals_at_odds(piece, scene) {
            pedals.entry(pair).or_default().push(number);
        }
    }
    for ((first, second), scenes) in volumes {
        found.push(two_volumes(piece, (&piece.parts[first], &piece.parts[second]), &scenes));
    }
    for ((first, second), scenes) in pedals {
        found.push(two_ways(piece, (&piece.parts[first], &piece.parts[second]), &scenes));
    }
}

/// Of each channel, the first two zones that treat the pedal in different ways, one of which follows it.
fn pedals_at_odds(piece: &SongTonight<'_>, scene: &Scene) -> Vec<(usize, usize)> {
    let mut firsts: BTreeMap<SoundChannel, [Option<usize>; 3]> = BTreeMap::new();
    for zone in &scene.zones {
        let part = &piece.parts[*zone];
        let way = match part.zone.pedal {
            Pedal::Ignore => 0,
            Pedal::Switch => 1,
            Pedal::Follow => 2,
        };
        firsts.entry(part.place).or_default()[way].get_or_insert(*zone);
    }
    let pair = |ways: [Option<usize>; 3]| {
        let mut zones: Vec<usize> = ways.into_iter().flatten().collect();
        zones.truncate(2);
        zones.sort_unstable();
        <[usize; 2]>::try_from(zones).ok().map(|[first, second]| (first, second))
    };
    firsts.into_values().filter_map(pair).collect()
}

fn two_volumes(
    piece: &SongTonight<'_>,
    (first, second): (&ResolvedZone<'_>, &ResolvedZone<'_>),
    scenes: &[usize],
) -> Diagnostic {
    let title = format!(
        "the volume of the zone {} is never sent{}: its channel has one volume, that of {}",
        second.name(),
        piece.in_sections(scenes),
        first.name(),
    );
    let number =
        |volume: Option<crate::midi::U7>| volume.map_or("none".to_owned(), |volume| u8::from(volume).to_string());
    let said = number(first.zone.volume.or(first.sound.volume));
    Diagnostic::error(FaultKind::Finding, second.zone.spot, title)
        .label(format!("volume = {} here", number(second.zone.volume)))
        .also(first.zone.spot, format!("volume {said} counts"))
        .help("write the volume in the first of them only, and make the other softer or louder by level = -6.0")
}

fn two_ways(
    piece: &SongTonight<'_>,
    (first, second): (&ResolvedZone<'_>, &ResolvedZone<'_>),
    scenes: &[usize],
) -> Diagnostic {
    let place = piece.in_sections(scenes);
    let (title, help) = if first.zone.pedal == Pedal::Ignore || second.zone.pedal == Pedal::Ignore {
        let (deaf, other) = if first.zone.pedal == Pedal::Ignore { (first, second) } else { (second, first) };
        let title = format!(
            "the zone {} ignores the pedal, but {} follows it on the same channel{place}, so the pedal holds the notes of both",
            deaf.name(),
            other.name(),
        );
        (title, "give one of them a sound on another channel, or write the same pedal in both")
    } else {
        let title = format!(
            "the zones {} and {} follow the pedal on one channel{place}, but only one of them as a switch",
            first.name(),
            second.name(),
        );
        (title, "write the same pedal in both, or give one of them a sound on another channel")
    };
    let written = |part: &ResolvedZone<'_>| match part.zone.pedal {
        Pedal::Ignore => "ignores it",
        Pedal::Switch => "takes it as a switch",
        Pedal::Follow => "follows it",
    };
    Diagnostic::hint(second.zone.spot, title).label(written(second)).also(first.zone.spot, written(first)).help(help)
}

/// A change of program under held notes, and how often it comes.
struct Cut<'a> {
    change: String,
    old: &'a ResolvedZone<'a>,
    new: &'a ResolvedZone<'a>,
    more: usize,
}

/// Hint: a change of song or section, in tonight's order, that changes the program or bank of a channel on which the
/// zones before it play: many sounds cut what still rings there. Told once for two sounds. It is no error, since an
/// instrument with one channel leaves no other way.
pub(super) fn over_a_change(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let stops = tonight.outings.iter().flat_map(|outing| outing.stops.iter().map(move |stop| (outing, stop.scene)));
    let mut before: Option<(&Outing<'_>, usize)> = None;
    let mut order: Vec<Cut> = Vec::new();
    let mut known: HashMap<(&str, &str), usize> = HashMap::new();
    for (outing, scene) in stops {
        let Some((last, last_scene)) = before.replace((outing, scene)) else { continue };
        if last.piece == outing.piece && last_scene == scene {
            continue;
        }
        let (old_piece, new_piece) = (&tonight.pieces[last.piece], &tonight.pieces[outing.piece]);
        let old_places = &old_piece.scenes[last_scene].first_at;
        for (place, new) in &new_piece.scenes[scene].first_at {
            let Some(old) = old_places.get(place) else { continue };
            let (old, new) = (&old_piece.parts[*old], &new_piece.parts[*new]);
            if !cuts(old, new) {
                continue;
            }
            let (one, other) = (old.sound.name.value.as_str(), new.sound.name.value.as_str());
            let pair = (one.min(other), one.max(other));
            if let Some(cut) = known.get(&pair) {
                order[*cut].more += 1;
                continue;
            }
            known.insert(pair, order.len());
            let change = match new_piece.section(scene) {
                Some(section) if std::ptr::eq(last.entry, outing.entry) => {
                    format!("entering the section {} changes", quoted(&section.name.value))
                }
                _ => format!("going from {} to {} changes", tonight.title(last), tonight.title(outing)),
            };
            order.push(Cut { change, old, new, more: 0 });
        }
    }
    found.extend(order.iter().map(cut));
}

/// Whether the second sound's set-up says another program or bank than the first's.
fn cuts(old: &ResolvedZone<'_>, new: &ResolvedZone<'_>) -> bool {
    let program = new.sound.program.is_some() && new.sound.program != old.sound.program;
    let bank = new.sound.bank.is_some() && new.sound.bank != old.sound.bank;
    old.sound.name.value != new.sound.name.value && (program || bank)
}

fn cut(Cut { change, old, new, more }: &Cut<'_>) -> Diagnostic {
    let (one, other) = (quoted(&old.sound.name.value), quoted(&new.sound.name.value));
    let others = match more {
        0 => String::new(),
        1 => "; one more change does so too".to_owned(),
        more => format!("; {more} more changes do so too"),
    };
    let title = format!("{change} {one} to {other} on one channel, which may cut off what still sounds there{others}");
    let (rings, help) = match old.zone.linger {
        Linger::Off => (
            "still sounds while its keys are held",
            "give one of the two sounds another channel or output, or let the keys go before the change",
        ),
        Linger::Next | Linger::Toggle => {
            ("still sounds until the next notes are struck", "give one of the two sounds another channel or output")
        }
    };
    let place = format!("output {}, channel {}", quoted(&new.sound.output.value), new.sound.channel.number());
    Diagnostic::hint(new.zone.sound.spot, title)
        .label("comes in")
        .also(old.zone.sound.spot, rings)
        .also(old.sound.name.spot, place.clone())
        .also(new.sound.name.spot, place)
        .help(help)
}
