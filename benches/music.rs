//! What a decision about a handful costs in theory alone: `cargo bench --bench music`. The figures that were
//! measured are kept in DEVELOPERS.md.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use handspan::music::{Chord, Classes, chord, follow, voicing};

/// Keys as a set of bits.
fn keys(numbers: &[u8]) -> u128 {
    numbers.iter().fold(0, |set, number| set | 1 << number)
}

/// Handfuls: what they are called, and their keys.
fn handfuls() -> [(&'static str, u128); 4] {
    [
        ("triad", keys(&[60, 64, 67])),
        ("seventh over its third", keys(&[59, 65, 67, 74])),
        // The whole table is searched, for exact chords, those without a fifth, and those over a foreign bass.
        ("cluster of five", keys(&[60, 62, 64, 65, 67])),
        ("all keys", u128::MAX),
    ]
}

fn name(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("name");
    for (what, held) in handfuls() {
        group.bench_function(what, |bencher| bencher.iter(|| chord::name(black_box(held))));
    }
    group.finish();
}

fn root(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("root");
    for (what, held) in handfuls() {
        group.bench_function(what, |bencher| bencher.iter(|| follow::root(black_box(held))));
    }
    group.finish();
}

fn lead(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("lead into two octaves");
    let seventh = "Dm7/G".parse::<Chord>().map(Chord::classes).unwrap_or_default();
    for (what, from, classes, bass) in [
        ("triad to triad", &[60, 64, 67][..], Classes::all_of(&[7, 11, 2]), None),
        ("four notes to four", &[57, 60, 64, 67], seventh.without(7), None),
        ("four notes to five, bass given", &[57, 60, 64, 67], seventh, Some(7)),
        (
            "ten keys to seven",
            &[40, 45, 48, 52, 55, 60, 64, 67, 69, 72],
            Classes::all_of(&[0, 2, 4, 5, 7, 9, 11]),
            None,
        ),
    ] {
        group.bench_function(what, |bencher| {
            bencher.iter(|| voicing::lead(black_box(from), black_box(classes), (48, 72), bass));
        });
    }
    group.finish();
}

criterion_group!(benches, name, root, lead);
criterion_main!(benches);
