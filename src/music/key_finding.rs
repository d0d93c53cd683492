//! Which key is heard: the algorithm of Krumhansl and Schmuckler, which holds how long each tone sounds against how well
//! each fits a key.

use super::Key;

/// How well each of the twelve tones, from the tonic upward, fits a major key that has been heard: Krumhansl and Kessler,
/// "Tracing the dynamic changes in perceived tonal organization in a spatial representation of musical keys",
/// Psychological Review 89(4), 1982.
const MAJOR: [f64; 12] = [6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88];
/// The same of a minor key.
const MINOR: [f64; 12] = [6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17];

/// A key, and how well it agrees with what sounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundKey {
    /// The key as it is usually written; of F# and Gb the one with sharps.
    pub key: Key,
    /// The correlation of what sounds with the key's profile, −1 … 1 (Pearson's r).
    pub agreement: f64,
}

/// All 24 keys, the one that agrees best first. `lasting` says how long each pitch class (0 = C … 11 = B) sounds, in any
/// unit, none less than nothing.
///
/// `None` where no key can be told: nothing sounds, or all twelve tones equally long.
#[must_use]
pub fn find_keys(lasting: &[f64; 12]) -> Option<Vec<FoundKey>> {
    let keys = [(&MAJOR, false), (&MINOR, true)];
    let mut found = Vec::with_capacity(24);
    for (profile, minor) in keys {
        for tonic in 0..12_u8 {
            let turned: [f64; 12] = std::array::from_fn(|step| lasting[(step + usize::from(tonic)) % 12]);
            found.push(FoundKey { key: Key::usual(tonic, minor, true), agreement: correlation(&turned, profile)? });
        }
    }
    found.sort_by(|one, other| other.agreement.total_cmp(&one.agreement));
    Some(found)
}

/// How long each pitch class lasts, of how long each note does, by its number.
#[must_use]
pub fn by_class(times: &[u64; 128]) -> [f64; 12] {
    let mut classes = [0.0; 12];
    for (note, time) in times.iter().enumerate() {
        classes[note % 12] += *time as f64;
    }
    classes
}

/// Pearson's correlation; `None` where one of both does not vary.
fn correlation(left: &[f64; 12], right: &[f64; 12]) -> Option<f64> {
    let mean = |values: &[f64; 12]| values.iter().sum::<f64>() / 12.0;
    let (left_mean, right_mean) = (mean(left), mean(right));
    let pairs = || left.iter().zip(right).map(|(left, right)| (left - left_mean, right - right_mean));
    let together: f64 = pairs().map(|(left, right)| left * right).sum();
    let alone: f64 =
        pairs().map(|(left, _)| left * left).sum::<f64>() * pairs().map(|(_, right)| right * right).sum::<f64>();
    (alone > f64::EPSILON).then(|| together / alone.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How long each tone lasts, and the keys that agree best with that.
    type Case = ([f64; 12], &'static [(&'static str, f64)]);

    /// Pearson's r of these twelve weights with the profiles of Krumhansl and Kessler, calculated with music21's table of
    /// them; the best keys, rounded to four places.
    const CASES: [Case; 5] = [
        // A major scale.
        (
            [1., 0., 1., 0., 1., 1., 0., 1., 0., 1., 0., 1.],
            &[("C", 0.7564), ("Am", 0.7121), ("G", 0.6775), ("Em", 0.5892), ("F", 0.5463)],
        ),
        // The scale up to the octave.
        (
            [2., 0., 1., 0., 1., 1., 0., 1., 0., 1., 0., 1.],
            &[("C", 0.9014), ("Am", 0.7563), ("F", 0.6125), ("G", 0.5998)],
        ),
        // I IV V I.
        (
            [3., 0., 1., 0., 2., 1., 0., 3., 0., 1., 0., 1.],
            &[("C", 0.9589), ("G", 0.7446), ("Em", 0.7034), ("Am", 0.5685)],
        ),
        // G, D, Em, C, over and over.
        (
            [1., 0., 2., 0., 2., 0., 1., 3., 0., 1., 0., 2.],
            &[("G", 0.9348), ("Em", 0.8298), ("Bm", 0.6263), ("D", 0.6149)],
        ),
        // A harmonic minor scale.
        (
            [1., 0., 1., 0., 1., 1., 0., 0., 1., 1., 0., 1.],
            &[("Am", 0.6872), ("F", 0.3924), ("C", 0.3817), ("Dm", 0.3784)],
        ),
    ];

    #[test]
    fn worked_examples_come_out_in_their_order() {
        for (lasting, expected) in CASES {
            let found = find_keys(&lasting).unwrap();
            assert_eq!(found.len(), 24);
            for (found, (key, agreement)) in found.iter().zip(expected) {
                assert_eq!(found.key.to_string(), *key, "{lasting:?}");
                assert!((found.agreement - agreement).abs() < 0.00006, "{key}: {}", found.agreement);
            }
        }
    }

    #[test]
    fn what_sounds_higher_is_in_a_higher_key() {
        let (scale, _) = CASES[2];
        for way in 0..12 {
            let moved: [f64; 12] = std::array::from_fn(|class| scale[(class + 12 - way) % 12]);
            assert_eq!(usize::from(find_keys(&moved).unwrap()[0].key.tonic()), way);
        }
    }

    #[test]
    fn of_nothing_and_of_all_tones_alike_no_key_can_be_told() {
        assert_eq!(find_keys(&[0.0; 12]), None);
        assert_eq!(find_keys(&[3.5; 12]), None);
    }
}
