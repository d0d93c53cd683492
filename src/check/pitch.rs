//! Notes that leave MIDI's range tonight, and intervals that turn to mud low down.

use std::collections::BTreeMap;

use super::keyboard::{self, KeyboardReach, USUAL};
use super::part::ResolvedZone;
use super::tonight::{Shift, SongTonight, Tonight};
use super::words::{key_name, range, sounding, the_keys};
use crate::map::{Diagnostic, FaultKind};
use crate::music::range::lowest_clear;

/// Error: keys of a zone whose notes leave 0–127 at one of tonight's shifts: they sound nothing (rule R4). Where a key
/// gives other notes than its own, only those keys are told of which no note is left.
/// Hint: two zones that sound an interval from one key, lower than it is clear ([`lowest_clear`]; common practice).
/// Hint: a zone of a split that tonight's shift moves so low that a major third on its lowest keys, clear where
/// nothing is shifted, is so no more. Zones with `within` stay in their range, and what does not follow the key is no
/// matter of pitch: neither is looked at in the hints; nor are zones in which a key does not give its own note.
pub(super) fn find(tonight: &Tonight<'_>, piece: &SongTonight<'_>, found: &mut Vec<Diagnostic>) {
    let mut notes = PitchFindings::default();
    for (scene_number, scene) in piece.scenes.iter().enumerate() {
        for keyboard in &scene.keyboards {
            let known = keyboard::is_known(&tonight.book.gear.inputs[keyboard.input]);
            notes.add(piece, scene_number, keyboard, known);
        }
    }
    for (zone, keys) in notes.below.iter().chain(&notes.above) {
        found.push(leaving(piece, &piece.parts[*zone], keys));
    }
    for (zone, mud) in &notes.layers {
        found.push(layer(piece, *zone, mud));
    }
    for (zone, (key, shift)) in &notes.lowered {
        found.push(lowered(piece, &piece.parts[*zone], *key, shift));
    }
}

/// What was found, by zone.
#[derive(Default)]
struct PitchFindings {
    below: BTreeMap<usize, Leaving>,
    above: BTreeMap<usize, Leaving>,
    /// By the later zone: with the earlier one it is muddy furthest up.
    layers: BTreeMap<usize, Mud>,
    /// The lowest key, and the shift that moves it lowest.
    lowered: BTreeMap<usize, (u8, Shift)>,
}

/// Two zones that sound an interval too low to be clear.
struct Mud {
    /// The earlier zone.
    with: usize,
    keys: (u8, u8),
    interval: i32,
    /// The lowest key on which it is clear.
    clear_from: i32,
    scenes: Vec<usize>,
}

impl Mud {
    /// The same two zones once more.
    fn add(&mut self, other: Mud) {
        self.keys = (self.keys.0.min(other.keys.0), self.keys.1.max(other.keys.1));
        self.clear_from = self.clear_from.max(other.clear_from);
        self.scenes.extend(other.scenes);
        self.scenes.dedup();
    }
}

/// Keys of a zone whose notes leave MIDI's range.
struct Leaving {
    keys: (u8, u8),
    /// The shift that takes most of them there.
    shift: Shift,
    scenes: Vec<usize>,
}

impl PitchFindings {
    fn add(&mut self, piece: &SongTonight<'_>, scene: usize, keyboard: &KeyboardReach, known: bool) {
        let lowest = keyboard.stretches.first().map_or(0, |stretch| stretch.low);
        for stretch in &keyboard.stretches {
            // Where nobody says which keys there are, the ends of MIDI's range are hardly among them.
            let keys_of = |part: &ResolvedZone<'_>| match known || part.names_keys() {
                true => (stretch.low, stretch.high),
                false => (stretch.low.max(USUAL.0), stretch.high.min(USUAL.1)),
            };
            for shift in &piece.scenes[scene].shifts {
                for (zone, _) in &stretch.taken {
                    let part = &piece.parts[*zone];
                    let keys = keys_of(part);
                    if keys.0 <= keys.1 && part.zone.within.is_none() {
                        self.leaves((scene, *zone), part, keys, shift);
                    }
                    if keys.0 <= keys.1 && part.zone.within.is_none() && part.is_literal() {
                        self.sinks(*zone, part, (keys.0, lowest), shift);
                    }
                }
            }
            self.layered(piece, scene, &stretch.taken, keys_of);
        }
    }

    fn leaves(&mut self, (scene, zone): (usize, usize), part: &ResolvedZone<'_>, (low, high): (u8, u8), shift: &Shift) {
        let offset = part.offset_at(shift.semitones);
        let (low, high) = (i32::from(low), i32::from(high));
        let (below, above) = part.spread();
        let further = |known: &Shift| shift.semitones.abs() > known.semitones.abs();
        for (leaving, first, last) in [
            (&mut self.below, low, high.min(-offset - above - 1)),
            (&mut self.above, low.max(128 - offset + below), high),
        ] {
            if first > last {
                continue;
            }
            let keys = (first as u8, last as u8);
            let known = leaving.entry(zone).or_insert(Leaving { keys, shift: *shift, scenes: vec![scene] });
            known.keys = (known.keys.0.min(keys.0), known.keys.1.max(keys.1));
            if further(&known.shift) {
                known.shift = *shift;
            }
            if known.scenes.last() != Some(&scene) {
                known.scenes.push(scene);
            }
        }
    }

    fn sinks(&mut self, zone: usize, part: &ResolvedZone<'_>, (key, lowest): (u8, u8), shift: &Shift) {
        let Some(clear) = third_clear_from() else { return };
        let untransposed = i32::from(key) + part.offset();
        let split = part.names_keys() && part.keys().0 > lowest.max(1) && key == part.keys().0;
        let holds_a_third = part.keys().1.saturating_sub(key) >= 4;
        if !split || !holds_a_third || !part.zone.follow_key {
            return;
        }
        if untransposed >= clear && untransposed + shift.semitones < clear {
            let known = self.lowered.entry(zone).or_insert((key, *shift));
            if shift.semitones < known.1.semitones {
                *known = (key, *shift);
            }
        }
    }

    fn layered(
        &mut self,
        piece: &SongTonight<'_>,
        scene: usize,
        taken: &[(usize, u128)],
        keys_of: impl Fn(&ResolvedZone<'_>) -> (u8, u8),
    ) {
        let pitched = |zone: usize| {
            let part = &piece.parts[zone];
            part.zone.follow_key && part.zone.within.is_none() && part.is_literal()
        };
        let taken: Vec<&(usize, u128)> = taken.iter().filter(|(zone, _)| pitched(*zone)).collect();
        let lowest_shift = piece.scenes[scene].shifts.iter().map(|shift| shift.semitones).min().unwrap_or(0);
        for (index, (second, second_touch)) in taken.iter().enumerate() {
            for (first, first_touch) in &taken[..index] {
                let (one, other) = (&piece.parts[*first], &piece.parts[*second]);
                let interval = (one.offset() - other.offset()).abs();
                let limit = u8::try_from(interval).ok().and_then(lowest_clear);
                let Some(limit) = limit.filter(|_| first_touch & second_touch != 0) else { continue };
                let clear_from = i32::from(u8::from(limit)) - one.offset().min(other.offset()) - lowest_shift;
                let ((low, high), (from, to)) = (keys_of(one), keys_of(other));
                let (low, high) = (low.max(from), i32::from(high.min(to)).min(clear_from - 1));
                if i32::from(low) > high {
                    continue;
                }
                let mud = Mud { with: *first, keys: (low, high as u8), interval, clear_from, scenes: vec![scene] };
                match self.layers.get_mut(second) {
                    Some(known) if known.with == *first => known.add(mud),
                    Some(known) if known.clear_from >= clear_from => {}
                    _ => _ = self.layers.insert(*second, mud),
                }
            }
        }
    }
}

/// The lowest note on which a major third is clear.
fn third_clear_from() -> Option<i32> {
    lowest_clear(4).map(|note| i32::from(u8::from(note)))
}

/// Semitones with their sign, as a distance: `down 3 semitones`.
fn moved(semitones: i32) -> String {
    let way = if semitones < 0 { "down" } else { "up" };
    let plural = if semitones.abs() == 1 { "" } else { "s" };
    format!("{way} {} semitone{plural}", semitones.abs())
}

/// Points at what makes tonight's shift.
fn because(mut finding: Diagnostic, shift: &Shift) -> Diagnostic {
    if let Some(spot) = shift.tonight {
        finding = finding.also(spot, "the room's key");
    }
    match shift.lifted_by {
        Some(spot) if shift.lift != 0 => finding.also(spot, format!("{} from here on", moved(shift.lift))),
        _ => finding,
    }
}

fn leaving(piece: &SongTonight<'_>, part: &ResolvedZone<'_>, leaving: &Leaving) -> Diagnostic {
    let Leaving { keys: (low, high), shift, scenes } = leaving;
    let (low, high) = (*low, *high);
    let offset = part.offset_at(shift.semitones);
    let (first, last) = (i32::from(low) + offset, i32::from(high) + offset);
    let (end, octaves) = match first < 0 {
        true => ("below MIDI's lowest", (-first + 11) / 12),
        false => ("above MIDI's highest", -((last - 127 + 11) / 12)),
    };
    let (keys, zone, place) = (the_keys(low, high, piece.octave), part.name(), piece.in_sections(scenes));
    let title = if part.zone.plays.derives() {
        format!("what the zone {zone} derives from {keys} sounds nothing tonight{place}: it would lie {end}")
    } else {
        let (sounds, notes) = if low == high { ("sounds", "its note") } else { ("sound", "their notes") };
        let notes = if part.zone.one_key_chord { "the chord" } else { notes };
        format!("{keys} of the zone {zone} {sounds} nothing tonight{place}: {notes} would lie {end}")
    };
    let fault = Diagnostic::error(FaultKind::Finding, part.zone.keys.spot, title);
    let fault = fault.label(format!("moved {} in all", moved(offset)));
    let octave = part.zone.octave + octaves;
    let help = format!("write octave = {octave} in this zone, or take those keys out of it");
    let fault = fault.help(help);
    if part.zone.follow_key && shift.semitones != 0 { because(fault, shift) } else { fault }
}

fn layer(piece: &SongTonight<'_>, zone: usize, mud: &Mud) -> Diagnostic {
    let (one, other) = (&piece.parts[mud.with], &piece.parts[zone]);
    let place = piece.in_sections(&mud.scenes);
    let title = format!(
        "the zones {} and {} sound {} too low to be clear on {}{place}",
        one.name(),
        other.name(),
        interval_name(mud.interval),
        the_keys(mud.keys.0, mud.keys.1, piece.octave),
    );
    let hint = Diagnostic::hint(other.zone.spot, title).label("one note").also(one.zone.spot, "the other note");
    let help = match u8::try_from(mud.clear_from).ok().filter(|key| *key < other.keys().1) {
        Some(key) => format!("for example let {} begin at {}", other.name(), key_name(key, piece.octave)),
        None => format!("for example write octave = {} for both", one.zone.octave.max(other.zone.octave) + 1),
    };
    hint.help(help)
}

fn interval_name(semitones: i32) -> &'static str {
    match semitones {
        1 => "a minor second",
        2 => "a major second",
        3 => "a minor third",
        4 => "a major third",
        5 => "a fourth",
        6 => "a tritone",
        7 => "a fifth",
        8 => "a minor sixth",
        9 => "a major sixth",
        10 => "a minor seventh",
        11 => "a major seventh",
        13 => "a minor ninth",
        14 => "a major ninth",
        15 => "a minor tenth",
        16 => "a major tenth",
        _ => "an interval",
    }
}

fn lowered(piece: &SongTonight<'_>, part: &ResolvedZone<'_>, key: u8, shift: &Shift) -> Diagnostic {
    let clear = third_clear_from().unwrap_or_default();
    let (offset, octave) = (part.offset_at(shift.semitones), piece.octave);
    let heard = shift.keys.room_at(shift.lift, 0);
    let title =
        format!("the room's key moves the zone {} so low that thirds on its lowest keys turn to mud", part.name());
    let sounds = sounding(i32::from(key) + offset, heard, octave);
    let from = sounding(clear, heard, octave);
    let label = format!("{} sounds as {sounds}; a major third is clear from {from} up", key_name(key, octave));
    let (lowest, high) = (clear - offset, part.keys().1);
    let keys = u8::try_from(lowest).map(|lowest| range(lowest.min(high), high, octave)).unwrap_or_default();
    let help = format!("for example write keys = {keys}, or play wide chords on the lowest keys");
    because(Diagnostic::hint(part.zone.keys.spot, title).label(label).help(help), shift)
}
