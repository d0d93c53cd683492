//! What the scripts do not reach: sets of keys, recent keys, and chords that are written.

use super::keys::KeySet;
use super::recent::{LENGTH, RecentKeys, is_in_triad};
use super::*;

fn keys(keys: &[u8]) -> KeySet {
    keys.iter().fold(KeySet::NONE, |all, key| all.with(KeySet::of(*key)))
}

fn ms(millis: u64) -> Micros {
    Micros::from_millis(millis)
}

#[test]
fn sets_of_keys_reach_from_end_to_end() {
    let all = keys(&[0, 60, 64, 127]);
    assert_eq!((all.lowest(), all.highest(), all.span(), all.count()), (0, 127, 127, 4));
    assert_eq!(all.iter().collect::<Vec<_>>(), [0, 60, 64, 127]);
    assert_eq!(all.pairs().collect::<Vec<_>>(), [(0, 60), (60, 64), (64, 127)]);
    assert_eq!(all.below(64), keys(&[0, 60]));
    assert_eq!((all.below(-3), all.below(0), all.below(200)), (KeySet::NONE, KeySet::NONE, all));
    assert_eq!((KeySet::NONE.lowest(), KeySet::NONE.highest(), KeySet::NONE.iter().count()), (128, -1, 0));
}

#[test]
fn a_bare_fifth_is_one_over_octaves_and_turned() {
    for fifth in [[48, 55], [48, 67], [48, 53], [43, 60]] {
        assert!(keys(&fifth).is_fifth(), "{fifth:?}");
    }
    for other in [&[48, 52][..], &[48, 60], &[48], &[48, 55, 60]] {
        assert!(!keys(other).is_fifth(), "{other:?}");
    }
}

#[test]
fn what_is_long_ago_and_too_much_is_forgotten() {
    let mut recent = RecentKeys::default();
    let singles = |recent: &RecentKeys| {
        let mut keys = [0; LENGTH];
        let count = recent.singles(&mut keys);
        keys[..count].to_vec()
    };
    (0..10).for_each(|number| recent.strike(50 + number, ms(300 * u64::from(number))));
    assert_eq!(singles(&recent), [52, 53, 54, 55, 56, 57, 58, 59]);
    recent.strike(40, ms(2_740));
    assert!(singles(&recent).is_empty(), "two keys in one step");
    recent.strike(41, ms(4_300));
    assert_eq!(singles(&recent), [41]);
}

#[test]
fn triads_hold_their_parts_and_no_sevenths() {
    assert!(is_in_triad(Classes::all_of(&[4, 7])) && is_in_triad(Classes::all_of(&[11, 2, 5])));
    assert!(!is_in_triad(Classes::all_of(&[7, 11, 2, 5])) && !is_in_triad(Classes::all_of(&[0, 2])));
}

/// A chord of the key of C.
fn chord(root: u8, classes: &[u8]) -> PlanChord {
    PlanChord { classes: Classes::all_of(classes), root, bass: None }
}

/// What is decided from keys that are struck together, where these chords are written.
fn decided(chords: &[PlanChord], struck: &[u8]) -> Harmony {
    let terms = Terms { gather: ms(45), min_keys: 3, chords, tonic: 0, is_minor: false };
    let mut follower = Follower::default();
    for (number, key) in struck.iter().enumerate() {
        follower.strike(*key, 80, number == 0, (ms(1_000), terms.gather));
    }
    let mut harmony = None;
    while let Some(due) = follower.due() {
        harmony = follower.decide(due, &terms).or(harmony);
    }
    harmony.expect("a harmony")
}

#[test]
fn a_written_chord_says_the_root_that_the_notes_leave_open() {
    // F, G, C is a fourth over G (root C, suspended) or a second over F.
    let sus = [53, 55, 60];
    assert_eq!(decided(&[], &sus).root, 53);
    assert_eq!(decided(&[chord(0, &[0, 5, 7])], &sus).root, 60);
    // One of several, and the notes are part of it: the one that has just these.
    let written = [chord(9, &[9, 0, 4, 7]), chord(0, &[0, 4, 7])];
    assert_eq!(decided(&written, &[52, 55, 60]).root, 60);
    assert_eq!(decided(&written[..1], &[52, 55, 60]).root, 60, "the root is not held");
}

#[test]
fn a_wrong_key_beside_a_written_chord_is_left_out() {
    let c = [chord(0, &[0, 4, 7])];
    assert_eq!(decided(&c, &[48, 52, 54, 55]).classes, Classes::all_of(&[0, 4, 7]));
    assert_eq!(decided(&[], &[48, 52, 54, 55]).classes, Classes::all_of(&[0, 4, 6, 7]));
    // Two wrong ones are another chord.
    assert_eq!(decided(&c, &[48, 50, 52, 54, 55]).classes.len(), 5);
}

#[test]
fn the_last_finger_of_a_chord_that_is_looked_for_joins_it() {
    let terms = Terms { gather: ms(45), min_keys: 3, chords: &[], tonic: 0, is_minor: false };
    // Above the others, among them, below them.
    for found in [[48, 52, 55, 59], [48, 55, 59, 52], [52, 55, 59, 48]] {
        let mut follower = Follower::default();
        let mut last = None;
        for (number, key) in (0u64..).zip(found) {
            follower.strike(key, 80, true, (ms(1_000 + 450 * number), terms.gather));
            while let Some(due) = follower.due() {
                last = follower.decide(due, &terms).or(last);
            }
        }
        let last = last.expect("a harmony");
        assert_eq!((last.root, last.classes), (48, Classes::all_of(&[0, 4, 7, 11])), "{found:?}");
    }
}
