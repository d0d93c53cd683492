//! A keyboard in one section, cut into stretches of neighbouring keys that all reach the same zones.

use super::part::ResolvedZone;
use crate::evening::{playing, touch};
use crate::map::{Book, Curve, Input, KeyRange};

/// A set of velocities, one bit each.
pub(super) type VelocitySet = u128;

/// The keys of a usual keyboard, A0 to C8 (common practice): taken where the gear does not say which keys there are.
pub(super) const USUAL: (u8, u8) = (21, 108);

/// What the keys of an input reach in one section.
pub(super) struct KeyboardReach {
    /// Number of the input.
    pub input: usize,
    /// From the lowest key to the highest, without holes.
    pub stretches: Vec<Stretch>,
}

/// Neighbouring keys that all do the same.
pub(super) struct Stretch {
    pub low: u8,
    pub high: u8,
    /// The zones that they reach, in file order, and the velocities with which they reach each.
    pub taken: Vec<(usize, VelocitySet)>,
}

impl Stretch {
    /// The velocities that some zone takes.
    pub fn covered(&self) -> VelocitySet {
        self.taken.iter().fold(0, |covered, (_, velocities)| covered | velocities)
    }
}

/// The velocities, or keys, from `low` to `high`.
pub(super) fn span((low, high): (u8, u8)) -> u128 {
    let up_to = |number: u8| u128::MAX >> (127 - number.min(127));
    up_to(high) & !(up_to(low) >> 1)
}

/// The velocities that an input can give: 1 to 127 through its curve.
pub(super) fn touches(curve: Option<&Curve>) -> VelocitySet {
    touch(curve, 0.0)[1..].iter().fold(0, |all, velocity| all | 1 << velocity)
}

/// A set of velocities in words: `1 to 39`; `among` are those that can come, so that one that cannot is no hole.
pub(super) fn in_words(set: VelocitySet, among: VelocitySet) -> String {
    let runs: Vec<String> = runs(set, among)
        .into_iter()
        .map(|(low, high)| if low == high { low.to_string() } else { format!("{low} to {high}") })
        .collect();
    super::words::joined(&runs)
}

/// The runs of a set of velocities or keys, lowest first, each as its first and last.
pub(super) fn runs(set: u128, among: u128) -> Vec<(u8, u8)> {
    let mut runs: Vec<(u8, u8)> = Vec::new();
    let mut going = false;
    for number in (0..=127u8).filter(|number| among & 1 << number != 0) {
        let inside = set & 1 << number != 0;
        match runs.last_mut() {
            Some(run) if inside && going => run.1 = number,
            _ if inside => runs.push((number, number)),
            _ => {}
        }
        going = inside;
    }
    runs
}

/// The keys of an input, lowest and highest.
pub(super) fn keys(input: &Input) -> (u8, u8) {
    let (low, high): KeyRange = input.keys;
    (u8::from(low), u8::from(high))
}

/// Whether the gear says which keys an input has. Where it does not, all of MIDI's may come.
pub(super) fn is_known(input: &Input) -> bool {
    keys(input) != (0, 127)
}

/// All playing inputs in a section with these zones in use.
pub(super) fn all(
    book: &Book,
    touches: &[VelocitySet],
    parts: &[ResolvedZone<'_>],
    zones: &[usize],
) -> Vec<KeyboardReach> {
    let one = |(number, input): (usize, &Input)| {
        let heard: Vec<usize> = zones.iter().copied().filter(|zone| parts[*zone].hears(number)).collect();
        KeyboardReach { input: number, stretches: stretches(keys(input), touches[number], parts, &heard) }
    };
    playing(&book.gear).map(one).collect()
}

/// Rule R3: a press goes to every zone that contains its key and velocity, up to the first `exclusive`. A zone that is off
/// when the song is entered is reached as any other, but takes nothing from those after it; nor, for some of its keys,
/// does one that leaves out keys that do not fit.
fn stretches((low, high): (u8, u8), touches: VelocitySet, parts: &[ResolvedZone<'_>], heard: &[usize]) -> Vec<Stretch> {
    let mut starts = vec![low];
    for zone in heard {
        let (first, last) = parts[*zone].keys();
        starts.extend([first, last.saturating_add(1)]);
    }
    starts.retain(|start| (low..=high).contains(start));
    starts.sort_unstable();
    starts.dedup();
    let end = |index: usize| starts.get(index + 1).map_or(high, |next| next - 1);
    let taken = |key: u8| {
        let mut left = touches;
        let mut taken = Vec::new();
        for zone in heard {
            let part = &parts[*zone];
            let (first, last) = part.keys();
            let reached = span(part.zone.velocity.value) & left;
            if (first..=last).contains(&key) && reached != 0 {
                taken.push((*zone, reached));
                if part.zone.exclusive && part.zone.on && part.takes_all() {
                    left &= !reached;
                }
            }
        }
        taken
    };
    starts.iter().enumerate().map(|(index, low)| Stretch { low: *low, high: end(index), taken: taken(*low) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_hold_both_ends() {
        assert_eq!(span((1, 127)).count_ones(), 127);
        assert_eq!(span((64, 64)), 1 << 64);
        assert_eq!(span((0, 127)), VelocitySet::MAX);
        for (low, high) in [(1, 1), (1, 89), (90, 127), (127, 127)] {
            let set = span((low, high));
            assert!((0..128u8).all(|v| (set & 1 << v != 0) == (low..=high).contains(&v)), "{low} {high}");
        }
    }

    #[test]
    fn a_velocity_that_cannot_come_is_no_hole() {
        let among = span((1, 127)) & !(1 << 3);
        assert_eq!(in_words(span((1, 2)) | span((4, 6)) | 1 << 127, among), "1 to 6 and 127");
        assert_eq!(touches(Some(&Curve::Always(90.4))), 1 << 90);
        assert_eq!(touches(None), span((1, 127)));
    }
}
