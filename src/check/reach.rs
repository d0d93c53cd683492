//! Zones that no key or touch reaches, that tonight leaves out, and that reach beyond the keyboard.

use super::keyboard::{self, span};
use super::part::ResolvedZone;
use super::tonight::{SongTonight, Tonight};
use super::words::{from_to, joined, middle_c, quoted, range};
use crate::map::{Diagnostic, FaultKind, Input};

/// Error: a zone that plays tonight, but that no key or touch reaches; it is silent. Its keys lie outside the keyboard,
/// its window holds no velocity that the input's curve gives, or zones before it with `exclusive` take all it has.
/// Hint: a zone that is in no section of tonight's order. Hint: a zone that names keys beyond the keyboard.
pub(super) fn find(tonight: &Tonight<'_>, piece: &SongTonight<'_>, found: &mut Vec<Diagnostic>) {
    let mut played = vec![false; piece.parts.len()];
    let mut reached = vec![false; piece.parts.len()];
    for scene in &piece.scenes {
        scene.zones.iter().for_each(|zone| played[*zone] = true);
        let stretches = scene.keyboards.iter().flat_map(|keyboard| &keyboard.stretches);
        stretches.flat_map(|stretch| &stretch.taken).for_each(|(zone, _)| reached[*zone] = true);
    }
    for (number, part) in piece.parts.iter().enumerate() {
        let inputs: Vec<(usize, &Input)> = tonight.playing().filter(|(input, _)| part.hears(*input)).collect();
        if inputs.is_empty() {
            // That no input plays at all is said once, of the gear.
        } else if !played[number] {
            found.push(left_out(part));
        } else if reached[number] {
            found.extend(beyond(piece, part, &inputs));
        } else {
            found.push(unreached(tonight, piece, number, &inputs));
        }
    }
}

fn left_out(part: &ResolvedZone<'_>) -> Diagnostic {
    let spot = part.zone.sections.iter().flatten().next().map_or(part.zone.spot, |section| section.spot);
    Diagnostic::hint(spot, format!("the zone {} is in no section that is played tonight", part.name()))
        .help("name a section that is, or take the zone's sections out: then it plays in all")
}

fn unreached(tonight: &Tonight<'_>, piece: &SongTonight<'_>, number: usize, inputs: &[(usize, &Input)]) -> Diagnostic {
    let part = &piece.parts[number];
    let (low, high) = part.keys();
    let has_keys = |(_, input): &&(usize, &Input)| {
        let (first, last) = keyboard::keys(input);
        first <= high && low <= last
    };
    let with_keys: Vec<&(usize, &Input)> = inputs.iter().filter(has_keys).collect();
    if with_keys.is_empty() {
        return outside(tonight, piece, part, inputs);
    }
    let touches = with_keys.iter().fold(0, |all, (input, _)| all | tonight.touches[*input]);
    let window = part.zone.velocity.value;
    if touches & span(window) == 0 {
        let title = format!("no touch reaches the zone {}", part.name());
        let label = format!("the input's curve gives {} only", keyboard::in_words(touches, touches));
        let lowest = touches.trailing_zeros();
        let highest = 127 - touches.leading_zeros();
        let fault = Diagnostic::error(FaultKind::Finding, part.zone.velocity.spot, title).label(label);
        return fault.help(format!("write velocity = [{lowest}, {highest}], or give the input another curve"));
    }
    let together = |scene: &super::tonight::Scene| scene.zones.contains(&number);
    let scenes: Vec<_> = piece.scenes.iter().filter(|scene| together(scene)).collect();
    let takes = |zone: usize| {
        let other = &piece.parts[zone];
        let (first, last) = other.keys();
        let shared = first <= high && low <= last && other.inputs & part.inputs != 0;
        other.zone.exclusive
            && other.zone.on
            && other.takes_all()
            && shared
            && scenes.iter().any(|scene| scene.zones.contains(&zone))
    };
    let title = format!("no key reaches the zone {}: zones before it take all that it has", part.name());
    let mut fault = Diagnostic::error(FaultKind::Finding, part.zone.spot, title);
    for taker in (0..number).filter(|zone| takes(*zone)).take(3) {
        let taker = &piece.parts[taker];
        fault = fault.also(taker.zone.spot, format!("{} has exclusive = true", taker.name()));
    }
    fault.help("move the zone above them, or take exclusive = true out there")
}

fn outside(
    tonight: &Tonight<'_>,
    piece: &SongTonight<'_>,
    part: &ResolvedZone<'_>,
    inputs: &[(usize, &Input)],
) -> Diagnostic {
    let title = format!("no key reaches the zone {}: it lies outside the keyboard", part.name());
    let mut fault = Diagnostic::error(FaultKind::Finding, part.zone.keys.spot, title);
    for (_, input) in inputs {
        let (first, last) = keyboard::keys(input);
        let octave = middle_c(tonight.book, input.name.spot);
        fault = fault.also(input.name.spot, format!("has {}", from_to(first, last, octave)));
    }
    let (first, last) = hull(inputs);
    fault.help(format!("write keys within {}", from_to(first, last, piece.octave)))
}

fn beyond(piece: &SongTonight<'_>, part: &ResolvedZone<'_>, inputs: &[(usize, &Input)]) -> Option<Diagnostic> {
    let ((low, high), (first, last)) = (part.keys(), hull(inputs));
    if !part.names_keys() || (first <= low && high <= last) {
        return None;
    }
    let title = format!("the zone {} reaches beyond the keyboard", part.name());
    let names: Vec<String> = inputs.iter().map(|(_, input)| quoted(&input.name.value)).collect();
    let has = if names.len() == 1 { "has" } else { "have" };
    let label = format!("{} {has} {}", joined(&names), from_to(first, last, piece.octave));
    let keys = range(low.max(first), high.min(last), piece.octave);
    Some(Diagnostic::hint(part.zone.keys.spot, title).label(label).help(format!("write keys = {keys}")))
}

/// From the lowest key of some inputs to the highest.
fn hull(inputs: &[(usize, &Input)]) -> (u8, u8) {
    let keys = inputs.iter().map(|(_, input)| keyboard::keys(input));
    keys.fold((127, 0), |(low, high), (first, last)| (low.min(first), high.max(last)))
}
