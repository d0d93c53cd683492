//! Scales, and chords as notes, told slowly: every place that a chord can have is tried (rules R11–R13).

use std::collections::BTreeSet;

use handspan::evening::chords_of;
use handspan::map::{PlayIn, Song, Zone};
use handspan::music::Key;

use crate::model::pitch;
use crate::model_follow::Harmony;

/// Steps of the major or natural minor scale.
pub fn scale(minor: bool) -> [i32; 7] {
    if minor { [0, 2, 3, 5, 7, 8, 10] } else { [0, 2, 4, 5, 7, 9, 11] }
}

/// These pitch classes from the lowest note upward, within an octave; `None` where that leaves the range.
fn close_position(classes: &BTreeSet<i32>, lowest: i32, highest: i32) -> Option<Vec<i32>> {
    let notes: Vec<i32> = (lowest..lowest + 12).filter(|note| classes.contains(&(note % 12))).collect();
    (notes.first() == Some(&lowest) && notes.last() <= Some(&highest)).then_some(notes)
}

/// The place in the range that moves least; of equal ones the lower. With the bass lowest, where that fits.
fn lead(from: &[i32], classes: &BTreeSet<i32>, range: (i32, i32), bass: Option<i32>) -> Option<Vec<i32>> {
    let all = (range.0..=range.1).filter_map(|lowest| close_position(classes, lowest, range.1));
    let all: Vec<Vec<i32>> = all.collect();
    let over_bass: Vec<Vec<i32>> = all.iter().filter(|notes| Some(notes[0] % 12) == bass).cloned().collect();
    let places = if over_bass.is_empty() { all } else { over_bass };
    places.into_iter().min_by_key(|notes| (movement(from, notes), notes[0]))
}

/// Both in order, each note of the larger with one of the smaller, none left out, the cheapest of all ways: the larger
/// is cut into as many runs as the smaller has notes.
fn movement(a: &[i32], b: &[i32]) -> i32 {
    let (larger, smaller) = if a.len() >= b.len() { (a, b) } else { (b, a) };
    let Some((first, rest)) = smaller.split_first() else { return 0 };
    let run = |length: usize| larger[..length].iter().map(|note| (note - first).abs()).sum::<i32>();
    if rest.is_empty() {
        return run(larger.len());
    }
    let lengths = 1..=larger.len() - rest.len();
    lengths.map(|length| run(length) + movement(&larger[length..], rest)).min().unwrap_or(0)
}

/// Each pitch class once, with the least movement from the last, else from the keys before `within`.
pub fn led_chord(zone: &Zone, harmony: &Harmony, shift: i32, last: &[i32]) -> Vec<i32> {
    let anywhere = Zone { within: None, ..zone.clone() };
    let pressed: Vec<i32> = harmony.keys.iter().map(|key| pitch(&anywhere, *key, shift)).collect();
    let classes = harmony.classes.iter().map(|class| pitch(&anywhere, *class, shift).rem_euclid(12)).collect();
    let range = range(zone).expect("a range");
    lead(if last.is_empty() { &pressed } else { last }, &classes, range, None).expect("room")
}

/// R13: the chord of a key, as notes; `None` where the key has no place.
pub fn one_key_chord(song: &Song, zone: &Zone, play_in: Key, key: u8, shift: i32, last: &[i32]) -> Option<Vec<i32>> {
    let tonic = play_in.tonic();
    let anywhere = pitch(&Zone { within: None, ..zone.clone() }, key, shift);
    let moved = anywhere - i32::from(key);
    // The table is written in the song's own play-in key and moves with a replaced one.
    let written = match song.play_in.as_ref().map(|play_in| play_in.value) {
        Some(PlayIn::Key(key)) => key.tonic(),
        _ => song.key.value.tonic(),
    };
    let up = i32::from(tonic) - i32::from(written);
    let finger = song.fingers.iter().find(|finger| (i32::from(finger.key) + up - i32::from(key)) % 12 == 0);
    let (classes, root, bass): (Vec<i32>, i32, Option<i32>) = match finger {
        Some(finger) => {
            let chord = finger.chord.value;
            let at = |class: u8| i32::from(class) + up;
            (chord.classes().iter().map(at).collect(), at(chord.root()), chord.slash().map(at))
        }
        None => {
            let above = (i32::from(key) - i32::from(tonic)).rem_euclid(12);
            let steps = triad(song.key.value.is_minor(), above).unwrap_or([above, above + 7, above + 7]);
            (steps.iter().map(|step| step + i32::from(tonic)).collect(), i32::from(key), None)
        }
    };
    let class = |note: i32| (note + moved).rem_euclid(12);
    let classes: BTreeSet<i32> = classes.into_iter().map(class).collect();
    let range = match range(zone) {
        Some(range) => range,
        None if !(0..128).contains(&anywhere) => return None,
        None => {
            let low = (anywhere - 8).clamp(0, 111);
            (low, low + 16)
        }
    };
    let near = anywhere.clamp(0, 127);
    let roots = (0..128).filter(|lowest| lowest % 12 == class(root));
    let first = roots.filter_map(|lowest| close_position(&classes, lowest, 127));
    let first = first.min_by_key(|notes| (notes[0] - near).abs()).expect("a root position");
    lead(if last.is_empty() { &first } else { last }, &classes, range, bass.map(class))
}

fn range(zone: &Zone) -> Option<(i32, i32)> {
    zone.within.as_ref().map(|range| (range.value.0 as i32, range.value.1 as i32))
}

/// R12: the scale of the key that the fingers play in, a minor key with its raised seventh too, and the notes of the
/// section's chords, which are written in the chart's key.
pub fn fits(song: &Song, section: usize, play_in: Key) -> BTreeSet<u8> {
    let tonic = i32::from(play_in.tonic());
    let raised_seventh = play_in.is_minor().then_some(11);
    let scale = scale(play_in.is_minor()).into_iter().chain(raised_seventh);
    let chords = chords_of(song, section).iter().flatten();
    let from_chart = chords.flat_map(|chord| chord.classes().iter().collect::<Vec<_>>());
    let above = from_chart.map(|class| i32::from(class) - i32::from(song.key.value.tonic()));
    scale.chain(above).map(|above| (tonic + above).rem_euclid(12) as u8).collect()
}

/// R13: thirds of the scale stacked on a degree; a minor key's fifth is major, its raised seventh diminished.
fn triad(minor: bool, above: i32) -> Option<[i32; 3]> {
    let scale = scale(minor);
    if minor && above == 11 {
        return Some([11, 14, 17]);
    }
    let degree = scale.iter().position(|step| *step == above)?;
    let third = if minor && degree == 4 { 11 } else { scale[(degree + 2) % 7] };
    Some([above, third, scale[(degree + 4) % 7]])
}

/// R13: the triad on a root of a key, given by its tonic and whether it is minor, as pitch classes.
pub fn triad_on(root: u8, (tonic, minor): (u8, bool)) -> Option<BTreeSet<u8>> {
    let triad = triad(minor, (i32::from(root) - i32::from(tonic)).rem_euclid(12))?;
    Some(triad.iter().map(|step| (step + i32::from(tonic)).rem_euclid(12) as u8).collect())
}
