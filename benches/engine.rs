//! What the playing path costs: `cargo bench`. The figures that were measured are kept in DEVELOPERS.md.

use std::fmt::Write as _;
use std::hint::black_box;
use std::io;
use std::sync::Arc;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use handspan::check;
use handspan::engine::{Action, Engine, Event, Micros, Out, Plain, Plan};
use handspan::map::{self, Book};
use handspan::midi::decode;

/// A set of so many songs with so many zones each, all of which take every key.
struct Made {
    songs: usize,
    zones: usize,
}

impl Made {
    fn file(&self, path: &str) -> Option<String> {
        let mut text = String::new();
        match path {
            "set.toml" => {
                text.push_str("title = \"Made\"\ngear = \"gear.toml\"\n");
                for song in 0..self.songs {
                    let _ = write!(text, "[[song]]\nmap = \"songs/{song}.toml\"\nkey = \"Eb\"\n");
                }
            }
            "gear.toml" => {
                text.push_str(
                    "[inputs.keyboard]\nport = \"piano\"\nkeys = [\"A0\", \"C8\"]\n[outputs.keys]\nvirtual = true\n",
                );
                text.push_str("[outputs.pad]\nvirtual = true\n[outputs.more]\nvirtual = true\n");
                for sound in 0..48 {
                    let output = ["keys", "pad", "more"][sound / 16];
                    let _ = write!(text, "[sounds.s{sound}]\noutput = \"{output}\"\nchannel = {}\n", sound % 16 + 1);
                    let _ = writeln!(text, "program = {}\nbank = [0, 1]\nvolume = 100\npan = 64", sound + 1);
                }
            }
            song => {
                let number: usize = song.strip_prefix("songs/")?.strip_suffix(".toml")?.parse().ok()?;
                let _ = write!(text, "title = \"Song {number}\"\nkey = \"D\"\nplay_in = \"C\"\ntempo = 84\n");
                for zone in 0..self.zones {
                    // Neighbouring songs share no sound, so that a change has everything to say.
                    let sound = (zone + number * self.zones) % 48;
                    let _ = write!(text, "[[zone]]\nname = \"zone {zone}\"\nsound = \"s{sound}\"\nlevel = -3.0\n");
                    let _ = writeln!(text, "curve = {{ points = [[1, 10], [64, 70], [127, 120]] }}");
                }
                text.push_str("[[section]]\nname = \"Verse\"\n[[section]]\nname = \"Chorus\"\nkey = \"E\"\n");
            }
        }
        Some(text)
    }

    fn read(&self, path: &str) -> io::Result<Vec<u8>> {
        self.file(path).map(String::into_bytes).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn book(&self) -> Book {
        let loaded = map::load("set.toml", &mut |path| self.read(path));
        loaded.book.unwrap_or_else(|| panic!("{}", loaded.diagnostics[0].render(&loaded.sources, false)))
    }

    fn engine(&self) -> (Engine, Out) {
        let mut engine = Engine::new(Arc::new(Plan::new(&self.book())));
        let mut out = engine.out();
        engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(0), &mut out);
        out.clear();
        (engine, out)
    }
}

fn note_on(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("note_on");
    for zones in [1, 8, 32] {
        let (mut engine, mut out) = Made { songs: 2, zones }.engine();
        let (on, off) = ([0x90, 60, 90], [0x80, 60, 64]);
        let mut now = 0;
        // A note-off follows each note-on, untimed, so that every note-on is a fresh one.
        group.bench_function(format!("{zones} zones"), |bencher| {
            bencher.iter_custom(|times| {
                let mut spent = std::time::Duration::ZERO;
                for _ in 0..times {
                    now += 100_000;
                    let begun = std::time::Instant::now();
                    let message = decode(black_box(&on)).expect("a message");
                    engine.step(Event::Message { input: 0, message }, Micros(now), &mut out);
                    spent += begun.elapsed();
                    assert_eq!(out.said().count(), zones);
                    out.clear();
                    let message = decode(&off).expect("a message");
                    engine.step(Event::Message { input: 0, message }, Micros(now + 1000), &mut out);
                    out.clear();
                }
                spent
            });
        });
    }
    group.finish();
}

/// An engine of one song with one zone of these lines.
fn one_zone(lines: &str) -> (Engine, Out) {
    let mut read = |path: &str| {
        let text = match path {
            "set.toml" => {
                "title = \"Made\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\nkey = \"Eb\"\n".to_owned()
            }
            "gear.toml" => {
                "[inputs.keyboard]\nport = \"piano\"\n[outputs.pad]\nvirtual = true\n[sounds.warm]\noutput = \"pad\"\n\
                            channel = 1\n"
                    .to_owned()
            }
            _ => format!("title = \"Song\"\nkey = \"D\"\nplay_in = \"C\"\n[[zone]]\nsound = \"warm\"\n{lines}"),
        };
        Ok(text.into_bytes())
    };
    let book = map::load("set.toml", &mut read).book.expect("a sound set");
    let mut engine = Engine::new(Arc::new(Plan::new(&book)));
    let mut out = engine.out();
    engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(0), &mut out);
    (engine, out)
}

/// Presses or releases keys, untimed.
fn play(engine: &mut Engine, out: &mut Out, status: u8, keys: &[u8], now: u64) {
    for key in keys {
        let bytes = [status, *key, 80];
        let message = decode(&bytes).expect("a message");
        engine.step(Event::Message { input: 0, message }, Micros(now), out);
    }
    out.clear();
}

/// Four chords round and round, in the inversions of a hand that hardly moves.
const CHORDS: [&[u8]; 4] = [&[60, 64, 67, 71], &[57, 60, 64, 67], &[57, 60, 65], &[55, 59, 62, 65]];

fn handful_decided(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("handful_decided");
    let zones = [
        ("root and fifth", "plays = \"root-fifth\"\nlinger = \"next\"\nwithin = [\"C2\", \"B2\"]\n"),
        ("chord in two octaves", "plays = \"chord\"\nlinger = \"next\"\nwithin = [\"C3\", \"C5\"]\n"),
    ];
    for (name, lines) in zones {
        let (mut engine, mut out) = one_zone(lines);
        let mut now = 0;
        let mut decided = |keys: &[u8]| {
            now += 1_000_000;
            play(&mut engine, &mut out, 0x90, keys, now);
            let begun = std::time::Instant::now();
            // A chord of fewer keys than the one before is decided 60 ms after its first (rule R11).
            engine.step(black_box(Event::Time), Micros(now + 60_000), &mut out);
            let spent = begun.elapsed();
            assert!(!out.is_silent());
            play(&mut engine, &mut out, 0x80, keys, now + 500_000);
            spent
        };
        // Each of them is decided, also where nothing is measured.
        for keys in CHORDS {
            decided(keys);
        }
        // Counted over all rounds, so that each handful is another chord than the last.
        let mut chords = CHORDS.iter().cycle();
        group.bench_function(name, |bencher| {
            bencher.iter_custom(|times| (0..times).map(|_| decided(chords.next().expect("chords go round"))).sum());
        });
    }
    group.finish();
}

fn one_key_chord(criterion: &mut Criterion) {
    let (mut engine, mut out) = one_zone("one_key_chord = true\n");
    let mut now = 0;
    criterion.bench_function("one_key_chord", |bencher| {
        bencher.iter_custom(|times| {
            let mut spent = std::time::Duration::ZERO;
            for time in 0..times {
                now += 1_000_000;
                let key = [60, 65, 67, 69][time as usize % 4];
                let bytes = [0x90, key, 90];
                let begun = std::time::Instant::now();
                let message = decode(black_box(&bytes)).expect("a message");
                engine.step(Event::Message { input: 0, message }, Micros(now), &mut out);
                spent += begun.elapsed();
                assert_eq!(out.said().count(), 3);
                play(&mut engine, &mut out, 0x80, &[key], now + 500_000);
            }
            spent
        });
    });
}

fn change_of_song(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("change_of_song");
    for zones in [1, 8, 16] {
        let (mut engine, mut out) = Made { songs: 2, zones }.engine();
        let mut now = 0;
        let mut there = false;
        group.bench_function(format!("{zones} zones"), |bencher| {
            bencher.iter(|| {
                out.clear();
                now += 1000;
                there = !there;
                let action = if there { Action::Plain(Plain::NextSong) } else { Action::Plain(Plain::PreviousSong) };
                engine.step(Event::Action(black_box(action)), Micros(now), &mut out);
            });
        });
    }
    group.finish();
}

fn loading(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("load_and_check");
    group.sample_size(10);
    for songs in [10, 100, 1000] {
        let made = Made { songs, zones: 4 };
        group.bench_function(format!("{songs} songs"), |bencher| {
            bencher.iter_batched(
                || (),
                |()| {
                    let book = map::load("set.toml", &mut |path| made.read(path)).book.expect("a sound set");
                    let findings = check::findings(&book).len();
                    (Plan::new(&book), findings)
                },
                BatchSize::PerIteration,
            );
        });
    }
    group.finish();
}

criterion_group!(benches, note_on, handful_decided, one_key_chord, change_of_song, loading);
criterion_main!(benches);
