//! How hands move at the keyboard when they play simply: forty chords or a minute of each, in C.

use crate::hand::{Fingers, Leaves, Piece, Player, classes};

/// A way of playing, from a seed and with some fingers.
pub type Gesture = fn(u32, Fingers) -> Piece;

pub const GESTURES: [(&str, Gesture); 18] = [
    ("triads, hand lifts between", triads_lifted),
    ("triads legato, late fingers of the old chord", triads_legato),
    ("two changes a second", triads_fast),
    ("common tones held, others move", common_tones),
    ("chord held, tune above, single notes or thirds", tune_above),
    ("left chord held, right triads above", two_hands),
    ("left octave, right chords", octave_and_chords),
    ("tune in three-note chords over a left chord", tune_in_chords),
    ("suspended and resolved", suspended),
    ("a neighbour key brushed", brushed),
    ("broken chords, one key at a time", broken),
    ("Alberti", alberti),
    ("broken under the pedal", broken_with_pedal),
    ("waltz with two-note chords", waltz),
    ("power chords", bare_fifths),
    ("a tune with one finger", one_finger),
    ("open fifth held, two-note chords off the beat", open_fifth),
    ("looking for the chord", looking),
];

const SCALE: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];
/// Degrees, from 0, of a progression that goes on and on.
const PROGRESSION: [usize; 16] = [0, 3, 4, 5, 3, 1, 4, 0, 5, 2, 3, 0, 1, 4, 4, 0];
const BEGIN: f64 = 500.0;

/// The key on a degree of C major, which may be more than an octave.
fn step(degree: usize) -> u8 {
    SCALE[degree % 7] + 12 * (degree / 7) as u8
}

fn root(degree: usize) -> u8 {
    step(degree) % 12
}

/// The triad of a degree in close position from a key upward, in an inversion.
fn close(degree: usize, lowest: u8, inversion: usize) -> Vec<u8> {
    let triad = [step(degree), step(degree + 2), step(degree + 4)];
    let mut from = lowest;
    (0..3)
        .map(|note| {
            let class = triad[(note + inversion) % 3] % 12;
            let key = (from..).find(|key| key % 12 == class).expect("a key");
            from = key + 1;
            key
        })
        .collect()
}

/// The degrees of a progression, never one twice in a row.
fn progression(seed: u32, count: usize) -> Vec<usize> {
    let mut degrees: Vec<usize> = Vec::new();
    for number in 0..count {
        let degree = PROGRESSION[(number + seed as usize) % 16];
        degrees.push(if degrees.last() == Some(&degree) { (degree + 3) % 7 } else { degree });
    }
    degrees
}

/// The beginning of a progression as chords of a section.
pub fn written(seed: u32) -> String {
    progression(seed, 64)
        .into_iter()
        .map(|degree| ["C", "Dm", "Em", "F", "G", "Am", "Bdim"][degree])
        .collect::<Vec<_>>()
        .join(" | ")
}

fn triads(seed: u32, fingers: Fingers, length: f64, leaves: Leaves) -> Piece {
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for degree in progression(seed, 40) {
        let inversion = player.chance.one_of(3);
        let keys = close(degree, 52, inversion);
        let (from, to) = (at + player.chance.within(-20.0..20.0), at + length + player.chance.within(-20.0..20.0));
        player.means(from, root(degree), classes(&keys));
        player.chord(&keys, (from, to), leaves);
        at += length;
    }
    player.piece(at, 250.0)
}

fn triads_lifted(seed: u32, fingers: Fingers) -> Piece {
    triads(seed, fingers, 1250.0, Leaves::Early)
}

fn triads_legato(seed: u32, fingers: Fingers) -> Piece {
    triads(seed, fingers, 1225.0, Leaves::Late)
}

fn triads_fast(seed: u32, fingers: Fingers) -> Piece {
    triads(seed, fingers, 512.0, Leaves::Late)
}

/// The position of a triad that is nearest to some keys.
fn nearest(degree: usize, from: &[u8]) -> Vec<u8> {
    let way = |keys: &Vec<u8>| keys.iter().zip(from).map(|(a, b)| u32::from(a.abs_diff(*b))).sum::<u32>();
    let positions = (0..3).flat_map(|inversion| (50..60).map(move |low| close(degree, low, inversion)));
    positions.min_by_key(way).expect("a position")
}

fn common_tones(seed: u32, fingers: Fingers) -> Piece {
    const DEGREES: [usize; 16] = [0, 5, 3, 1, 4, 2, 0, 3, 5, 1, 4, 0, 2, 5, 3, 0];
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    let mut keys = close(0, 55, 0);
    let mut down: Vec<(u8, f64)> = Vec::new();
    for number in 0..40 {
        let degree = DEGREES[(number + seed as usize) % 16];
        keys = nearest(degree, &keys);
        player.means(at, root(degree), classes(&keys));
        let (stay, leave): (Vec<_>, Vec<_>) = down.iter().copied().partition(|(key, _)| keys.contains(key));
        for (key, from) in leave {
            let to = at + player.lateness();
            player.note(key, (from, to), 80.0);
        }
        let new = keys.iter().filter(|key| !stay.iter().any(|(held, _)| held == *key));
        let struck: Vec<(u8, f64)> = new.map(|key| (*key, player.delay())).collect();
        let first = struck.iter().map(|(_, delay)| *delay).fold(f64::INFINITY, f64::min);
        down = stay.into_iter().chain(struck.into_iter().map(|(key, delay)| (key, at + delay - first))).collect();
        at += 1430.0;
    }
    down.into_iter().for_each(|(key, from)| player.note(key, (from, at), 80.0));
    player.piece(at, 250.0)
}

fn tune_above(seed: u32, fingers: Fingers) -> Piece {
    const BAR: f64 = 4000.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for (number, degree) in progression(seed, 15).into_iter().enumerate() {
        let keys = close(degree, 43, 0);
        player.means(at, root(degree), classes(&keys));
        player.chord(&keys, (at, at + BAR - 80.0), if number % 2 == 0 { Leaves::Late } else { Leaves::Early });
        tune(&mut player, (at, at + BAR), degree, seed % 2 == 1);
        at += BAR;
    }
    player.piece(at, 300.0)
}

/// A tune that begins with a note of the chord and goes on by steps, alone or in thirds.
fn tune(player: &mut Player, (from, to): (f64, f64), degree: usize, thirds: bool) {
    let near = 10 + player.chance.one_of(5);
    let tones = (9..17).filter(|note| [0, 2, 4].contains(&((note + 21 - degree) % 7)));
    let mut note = tones.min_by_key(|note| note.abs_diff(near)).expect("a tone");
    let mut at = from;
    while at < to - 10.0 {
        let length: f64 = player.chance.pick(&[500.0, 500.0, 1000.0, 250.0]);
        let length = length.min(to - at);
        let late = player.lateness();
        let (down, up) = (at + player.chance.within(-15.0..15.0), at + length + late * 0.5);
        player.note(48 + step(note), (down, up), 90.0);
        if thirds {
            let delay = player.delay();
            player.note(48 + step(note + 2), (down + delay, up + player.fingers.spread * 0.5), 88.0);
        }
        note = (note + 2).saturating_sub(player.chance.one_of(5)).clamp(9, 16);
        at += length;
    }
}

fn two_hands(seed: u32, fingers: Fingers) -> Piece {
    const BAR: f64 = 2850.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for (number, degree) in progression(seed, 21).into_iter().enumerate() {
        let keys = close(degree, 44, 0);
        player.means(at, root(degree), classes(&keys));
        player.chord(&keys, (at, at + BAR), if number % 2 == 0 { Leaves::Late } else { Leaves::Early });
        let count = player.chance.pick(&[2, 3, 4]);
        for part in 0..count {
            let (from, to) =
                (at + BAR * f64::from(part) / f64::from(count), at + BAR * f64::from(part + 1) / f64::from(count));
            let others = [degree, (degree + 3) % 7, (degree + 4) % 7, (degree + 1) % 7];
            let above = if part == 0 { degree } else { player.chance.pick(&others) };
            let inversion = player.chance.one_of(3);
            let leaves = player.chance.pick(&[Leaves::Early, Leaves::Late]);
            let early = if part == 0 { 0.0 } else { -15.0 };
            let from = from + player.chance.within(early..15.0);
            player.chord(&close(above, 62, inversion), (from, to), leaves);
        }
        at += BAR;
    }
    player.piece(at, 300.0)
}

fn octave_and_chords(seed: u32, fingers: Fingers) -> Piece {
    const BAR: f64 = 2400.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for (number, degree) in progression(seed, 25).into_iter().enumerate() {
        let bass = 36 + root(degree);
        let leaves = if number % 3 == 0 { Leaves::Early } else { Leaves::Late };
        player.means(at, root(degree), classes(&close(degree, 48, 0)));
        player.chord(&[bass, bass + 12], (at, at + BAR), leaves);
        let count = player.chance.pick(&[1, 2, 2, 3]);
        let inversion = player.chance.one_of(3);
        for part in 0..count {
            let time = |part: usize| at + BAR * part as f64 / count as f64;
            player.chord(&close(degree, 60, (inversion + part) % 3), (time(part), time(part + 1)), leaves);
        }
        at += BAR;
    }
    player.piece(at, 300.0)
}

fn tune_in_chords(seed: u32, fingers: Fingers) -> Piece {
    const BAR: f64 = 2400.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for (number, degree) in progression(seed, 25).into_iter().enumerate() {
        let keys = close(degree, 44, 0);
        player.means(at, root(degree), classes(&keys));
        player.chord(&keys, (at, at + BAR - 100.0), Leaves::Early);
        for part in 0..4u8 {
            let from = at + BAR * f64::from(part) / 4.0;
            let chord = close(degree, 60 + part % 2 * 3, (usize::from(part) + number) % 3);
            player.chord(&chord, (from, from + BAR / 4.0), if part % 2 == 0 { Leaves::Late } else { Leaves::Early });
        }
        at += BAR;
    }
    player.piece(at, 300.0)
}

fn suspended(seed: u32, fingers: Fingers) -> Piece {
    const LENGTH: f64 = 1500.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for number in 0..20 {
        let degree = [0, 3, 4, 0][(number + seed as usize) % 4];
        let (tonic, inversion) = (root(degree), player.chance.one_of(3));
        let resolved = close(degree, 52, inversion);
        // The fourth stands where the third will be.
        let third = step(degree + 2) % 12;
        let fourth = |key: &u8| if key % 12 == third { key + (tonic + 17 - third) % 12 } else { *key };
        let hanging: Vec<u8> = resolved.iter().map(fourth).collect();
        player.means(at, tonic, classes(&hanging));
        player.means(at + LENGTH, tonic, classes(&resolved));
        if player.chance.one_of(2) == 0 {
            player.chord(&hanging, (at, at + LENGTH), Leaves::Late);
            player.chord(&resolved, (at + LENGTH, at + 2.0 * LENGTH), Leaves::Late);
        } else {
            for (from, to) in hanging.iter().zip(&resolved) {
                let (delay, late, end) = (player.delay(), player.lateness(), player.lateness());
                if from == to {
                    player.note(*from, (at + delay, at + 2.0 * LENGTH + end), 80.0);
                } else {
                    player.note(*from, (at + delay, at + LENGTH + late), 80.0);
                    player.note(*to, (at + LENGTH, at + 2.0 * LENGTH + end), 80.0);
                }
            }
        }
        at += 2.0 * LENGTH;
    }
    player.piece(at, 250.0)
}

fn brushed(seed: u32, fingers: Fingers) -> Piece {
    const LENGTH: f64 = 1875.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for degree in progression(seed, 32) {
        let inversion = player.chance.one_of(3);
        let keys = close(degree, 52, inversion);
        player.means(at, root(degree), classes(&keys));
        let leaves = player.chance.pick(&[Leaves::Early, Leaves::Late]);
        player.chord(&keys, (at, at + LENGTH), leaves);
        let finger = player.chance.pick(&keys);
        let beside = player.chance.pick(&[finger - 2, finger - 1, finger + 1, finger + 2]);
        if player.chance.one_of(3) > 0 && !keys.contains(&beside) {
            let from = at + player.delay();
            let (length, velocity) = (player.chance.within(30.0..120.0), player.chance.within(25.0..60.0));
            player.note(beside, (from, from + length), velocity);
        }
        at += LENGTH;
    }
    player.piece(at, 250.0)
}

/// Chords one key at a time, in eighths, in the order that `figure` gives.
fn figures(seed: u32, fingers: Fingers, figure: [usize; 4], pedal: bool) -> Piece {
    let mut player = Player::new(seed, fingers);
    let beat = player.chance.within(550.0..750.0);
    let beats = player.chance.pick(&[2, 3, 4]);
    let bar = beat * f64::from(beats);
    let mut at = BEGIN;
    for degree in progression(seed, (60_000.0 / bar) as usize) {
        let inversion = if figure[1] == 2 { player.chance.one_of(2) } else { 0 };
        let mut keys = close(degree, 50, inversion);
        keys.push(keys[0] + 12);
        player.means(at, root(degree), classes(&keys));
        if pedal {
            player.pedal(at + 60.0, at + bar + 10.0);
        }
        for part in 0..2 * beats {
            let from = at + beat / 2.0 * f64::from(part) + player.chance.within(-12.0..12.0);
            let overlap = if pedal { -0.15 * beat } else { player.chance.pick(&[-60.0, -20.0, 20.0, 50.0]) };
            player.note(keys[figure[part as usize % 4]], (from, from + beat / 2.0 + overlap), 75.0);
        }
        at += bar;
    }
    player.piece(at, beat)
}

fn broken(seed: u32, fingers: Fingers) -> Piece {
    figures(seed, fingers, [0, 1, 2, 1], false)
}

fn alberti(seed: u32, fingers: Fingers) -> Piece {
    figures(seed, fingers, [0, 2, 1, 2], false)
}

fn broken_with_pedal(seed: u32, fingers: Fingers) -> Piece {
    figures(seed, fingers, [0, 1, 2, 3], true)
}

fn waltz(seed: u32, fingers: Fingers) -> Piece {
    let mut player = Player::new(seed, fingers);
    let beat = player.chance.within(450.0..650.0);
    let mut at = BEGIN;
    for degree in progression(seed, (20_000.0 / beat) as usize) {
        let keys = close(degree, 52, 0);
        player.means(at, root(degree), classes(&keys));
        player.note(36 + root(degree), (at, at + beat * 0.8), 85.0);
        for part in 1..3 {
            let from = at + beat * f64::from(part);
            player.chord(&keys[1..], (from, from + beat * 0.95), Leaves::Early);
        }
        at += 3.0 * beat;
    }
    let grace = beat + 100.0;
    player.piece(at, grace)
}

fn bare_fifths(seed: u32, fingers: Fingers) -> Piece {
    const LENGTH: f64 = 1000.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for degree in progression(seed, 60).into_iter().map(|degree| degree % 6) {
        let low = 43 + root(degree);
        let keys = if player.chance.one_of(4) == 0 { [low - 5, low] } else { [low, low + 7] };
        player.means(at, low % 12, classes(&keys));
        let leaves = player.chance.pick(&[Leaves::Early, Leaves::Late]);
        player.chord(&keys, (at, at + LENGTH), leaves);
        at += LENGTH;
    }
    player.piece(at, 250.0)
}

fn one_finger(seed: u32, fingers: Fingers) -> Piece {
    let mut player = Player::new(seed, fingers);
    let keys = close(0, 48, 0);
    player.means(BEGIN, 0, classes(&keys));
    player.chord(&keys, (BEGIN, BEGIN + 2000.0), Leaves::Early);
    let mut note: usize = 7;
    let mut at = BEGIN + 2500.0;
    while at < 60_000.0 {
        let length = player.chance.pick(&[500.0, 500.0, 250.0, 750.0]);
        let up = at + length + player.lateness() * 0.5;
        player.note(48 + step(note), (at, up), 85.0);
        let leaps = player.chance.one_of(3) == 0;
        let by = if leaps { player.chance.one_of(7) } else { 2 + player.chance.one_of(3) };
        note = (note + by).saturating_sub(3).clamp(5, 15);
        at += length;
    }
    player.piece(at, 300.0)
}

fn open_fifth(seed: u32, fingers: Fingers) -> Piece {
    const BAR: f64 = 2070.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for (number, degree) in progression(seed, 29).into_iter().map(|degree| degree % 6).enumerate() {
        let low = 36 + root(degree);
        player.means(at, root(degree), classes(&[low, low + 7]));
        player.chord(&[low, low + 7], (at, at + BAR - 60.0), Leaves::Early);
        let above = close(degree, 60, number % 3);
        for part in 0..4 {
            let from = at + BAR / 4.0 * (f64::from(part) + 0.5);
            let pair = if part % 2 == 0 { [above[0], above[2]] } else { [above[1], above[2]] };
            player.chord(&pair, (from, from + BAR / 8.0), Leaves::Early);
        }
        at += BAR;
    }
    player.piece(at, 300.0)
}

fn looking(seed: u32, fingers: Fingers) -> Piece {
    const LENGTH: f64 = 4600.0;
    let mut player = Player::new(seed, fingers);
    let mut at = BEGIN;
    for degree in progression(seed, 13) {
        let inversion = player.chance.one_of(3);
        let keys = close(degree, 52, inversion);
        let mut found = at;
        for (number, key) in keys.iter().enumerate() {
            found += if number == 0 { 0.0 } else { player.chance.within(250.0..600.0) };
            let up = at + LENGTH - player.chance.within(100.0..400.0);
            player.note(*key, (found, up), 75.0);
        }
        player.means(found, root(degree), classes(&keys));
        at += LENGTH;
    }
    player.piece(at, 300.0)
}
