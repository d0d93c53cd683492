//! Movement and leading: published examples, and a search through everything beside them.

use proptest::prelude::*;

use super::*;
use crate::music::chord::Chord;

fn classes(text: &str) -> Classes {
    text.parse::<Chord>().unwrap().classes()
}

/// From chord to chord, by symbols, within a range of two octaves.
fn led(from: &[u8], text: &str) -> Vec<u8> {
    lead(from, classes(text), (50, 74), None).as_slice().to_vec()
}

#[test]
fn the_geometry_of_chords() {
    // Tymoczko, Science 313 (2006) and his own examples of 2009: C E G to C F A is 3, to C F Ab 2.
    assert_eq!(movement(&[60, 64, 67], &[60, 65, 69]), 3);
    assert_eq!(movement(&[60, 64, 67], &[60, 65, 68]), 2);
    // The same, supplement, figure S12: C maj7 to E maj7 strictly one to one is 4, in order.
    assert_eq!(movement(&[60, 64, 67, 71], &[59, 63, 64, 68]), 1 + 1 + 3 + 3);
    assert_eq!(movement(&[60, 64, 67, 71], &[63, 64, 68, 71]), 4);
}

#[test]
fn movement_between_chords_of_different_size() {
    // Each of the larger goes with one of the smaller, none is left out: calculated by hand.
    assert_eq!(movement(&[60], &[60, 64, 67]), 11);
    assert_eq!(movement(&[60, 64, 67], &[60, 67]), 3);
    assert_eq!(movement(&[60, 67], &[59, 62, 65, 67]), 1 + 2 + 2);
    // 72 has to go with a note although both are nearer to others.
    assert_eq!(movement(&[60, 61], &[60, 61, 72]), 11);
    assert_eq!(movement(&[40, 72], &[60, 61, 62]), 20 + 11 + 10);
    assert_eq!(movement(&[], &[60, 64]), 0);
    assert_eq!(movement(&[60], &[]), 0);
    assert_eq!(movement(&[0; 200], &[127; 200]), 127 * 128);
}

#[test]
fn triads_from_c_by_the_least_movement() {
    // Registral minima from 60 64 67 without crossing, all three tones: computed by exhaustive search in Python.
    for (text, notes, moved) in [
        ("F", [60, 65, 69], 3),
        ("G", [59, 62, 67], 3),
        ("Am", [60, 64, 69], 2),
        ("Em", [59, 64, 67], 1),
        ("Dm", [62, 65, 69], 5),
        // A tie between 58 61 66 and 61 66 70: the lower.
        ("Gb", [58, 61, 66], 6),
    ] {
        let from = [60, 64, 67];
        assert_eq!(led(&from, text), notes, "{text}");
        assert_eq!(movement(&from, &notes), moved, "{text}");
    }
}

#[test]
fn chains_of_chords() {
    // C G Am F C goes home by 12 semitones; C F G C has a tie at G, which goes to the lower (common exercises).
    let chain = |texts: &[&str]| {
        let mut notes = vec![60, 64, 67];
        let mut steps = Vec::new();
        for text in texts {
            let next = led(&notes, text);
            steps.push((next.clone(), movement(&notes, &next)));
            notes = next;
        }
        steps
    };
    assert_eq!(
        chain(&["G", "Am", "F", "C"]),
        [(vec![59, 62, 67], 3), (vec![60, 64, 69], 5), (vec![60, 65, 69], 1), (vec![60, 64, 67], 3)]
    );
    assert_eq!(chain(&["F", "G", "C"]), [(vec![60, 65, 69], 3), (vec![59, 62, 67], 6), (vec![60, 64, 67], 3)]);
}

#[test]
fn a_bass_is_lowest_where_that_fits() {
    let led = |range, bass| lead(&[60, 64, 67], classes("G/B"), range, bass).as_slice().to_vec();
    assert_eq!(led((48, 72), Some(11)), [59, 62, 67]);
    assert_eq!(led((48, 72), Some(7)), [55, 59, 62]);
    // No B with D and G above it lies between C4 and B4.
    assert_eq!(led((60, 71), Some(11)), [62, 67, 71]);
    // D/C: the foreign bass is one more note.
    assert_eq!(lead(&[60], classes("D/C"), (48, 72), Some(0)).as_slice(), [60, 62, 66, 69]);
}

#[test]
fn with_nothing_before_it_is_the_lowest() {
    assert_eq!(led(&[], "C"), [52, 55, 60]);
    assert_eq!(lead(&[], Classes::NONE, (48, 60), None).as_slice(), [0; 0]);
    assert_eq!(lead(&[60], classes("C"), (60, 62), None).as_slice(), [0; 0]);
    assert_eq!(lead(&[60], classes("C"), (62, 60), None).as_slice(), [0; 0]);
}

#[test]
fn root_position_is_near_the_key() {
    assert_eq!(root_position(classes("C"), 0, 60).as_slice(), [60, 64, 67]);
    // G for the key B: below.
    assert_eq!(root_position(classes("G/B"), 7, 71).as_slice(), [67, 71, 74]);
    assert_eq!(root_position(classes("G"), 7, 62).as_slice(), [67, 71, 74]);
    // A tritone either way: the lower.
    assert_eq!(root_position(classes("F#"), 6, 60).as_slice(), [54, 58, 61]);
    // At the ends of MIDI's notes.
    assert_eq!(root_position(classes("B"), 11, 0).as_slice(), [11, 15, 18]);
    assert_eq!(root_position(classes("G"), 7, 127).as_slice(), [115, 119, 122]);
    assert_eq!(root_position(classes("C"), 2, 60).as_slice(), [0; 0]);
}

/// The least movement, by trying every way in which both go upward together.
fn movement_by_search(a: &[u8], b: &[u8]) -> u32 {
    match (a, b) {
        ([], []) => 0,
        ([], _) | (_, []) => u32::MAX,
        ([x, a_rest @ ..], [y, b_rest @ ..]) => {
            let here = u32::from(x.abs_diff(*y));
            // Together, or the note of the smaller stays for the next of the larger.
            let both = movement_by_search(a_rest, b_rest);
            let stay = if a_rest.is_empty() { u32::MAX } else { movement_by_search(a_rest, b) };
            both.min(stay).saturating_add(here)
        }
    }
}

/// All positions of these classes within an octave inside the range, by choosing a note for each class.
fn positions(classes: &[u8], (low, high): (u8, u8)) -> Vec<Vec<u8>> {
    let mut made: Vec<Vec<u8>> = vec![Vec::new()];
    for class in classes {
        let places: Vec<u8> = (low..=high).filter(|note| note % 12 == *class).collect();
        made = made.iter().flat_map(|notes| places.iter().map(|note| [&notes[..], &[*note]].concat())).collect();
    }
    for notes in &mut made {
        notes.sort_unstable();
    }
    made.retain(|notes| notes.last().zip(notes.first()).is_some_and(|(last, first)| last - first < 12));
    made
}

fn notes(most: usize) -> impl Strategy<Value = Vec<u8>> {
    proptest::collection::btree_set(30u8..90, 1..=most).prop_map(|set| set.into_iter().collect())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2000) })]

    #[test]
    fn movement_is_the_least_of_all_ways(a in notes(7), b in notes(7)) {
        let (larger, smaller) = if a.len() >= b.len() { (&a, &b) } else { (&b, &a) };
        prop_assert_eq!(movement(&a, &b), movement_by_search(larger, smaller));
        prop_assert_eq!(movement(&a, &b), movement(&b, &a));
        prop_assert_eq!(movement(&a, &a), 0);
    }

    #[test]
    fn lead_is_the_least_of_all_positions(
        from in notes(5),
        set in proptest::collection::btree_set(0u8..12, 1..=5),
        low in 36u8..72,
        width in 11u8..=25,
        bass in proptest::option::of(0u8..12),
    ) {
        let set: Vec<u8> = set.into_iter().collect();
        let range = (low, low + width);
        let all = positions(&set, range);
        let on_bass: Vec<Vec<u8>> = match bass {
            Some(bass) => all.iter().filter(|notes| notes[0] % 12 == bass).cloned().collect(),
            None => Vec::new(),
        };
        let allowed = if on_bass.is_empty() { all } else { on_bass };
        let best = allowed.into_iter().min_by_key(|notes| (movement(&from, notes), notes.clone()));
        let led = lead(&from, Classes::all_of(&set), range, bass);
        prop_assert_eq!(led.as_slice(), best.unwrap());
    }
}
