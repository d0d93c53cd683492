//! The rules over random maps and random playing: well over a million events a run.
//!
//! Whatever is played, whichever inputs are lost (R17) and outputs come back (R21), and whenever the program is killed,
//! the wire carries on, off, on, off (R2), what sounds is what the held keys began (R1, by a second telling of the
//! rules in `model`) and what their hands let ring (R10–R14, in `model_hands` and `model_follow`), a fade takes nothing along and leaves
//! nothing behind (R15), no pedal is down without a foot on it, and nothing sounds at the end, whenever that comes.
//! Cues (R19) fire in the middle of all that: what they stand on goes off (`lamps`), and they do what a second telling
//! says, and nothing else (`directed`). How events are batched makes no difference (R20, in `batches`).

mod batches;
mod cues;
mod directed;
mod director;
mod director_ears;
mod figures;
mod hands;
mod lamps;
mod listener;
mod maps;
mod model;
mod model_follow;
mod model_hands;
mod performance;
mod presses;
mod printed;
mod voices;
mod wrong_notes;

use std::ops::Range;

use handspan::engine::{Action, Plain, Standing};
use handspan::map::{self, Book, Does};
use maps::{Drawn, drawn};
use model::Model;
use model_hands::Hands;
use performance::{Deed, Performance, action, deed};
use proptest::prelude::*;

const CASES: u32 = 400;
const EVENTS: usize = 2_500;

/// Plays everything, sends and handfuls too, and looks at the wire alone.
fn play(drawn: &Drawn, deeds: &[(Deed, u32)]) -> Performance {
    let mut drawn = drawn.clone();
    let mut performance = Performance::new(drawn.book());
    for (deed, later) in deeds {
        performance.now += u64::from(*later);
        if let Deed::Saved(how) = *deed {
            drawn.edit(how);
            performance.take_over(drawn.book());
        } else {
            performance.do_deed(deed);
        }
    }
    performance
}

/// Plays without handfuls, hands and sends, and holds what sounds against the model at every step.
fn play_beside_the_model(drawn: &Drawn, deeds: &[(Deed, u32)]) {
    let drawn = Drawn { handfuls: false, hands: false, early: 0, has_cues: false, ..drawn.clone() };
    let mut book = drawn.book();
    clear_sends(&mut book);
    let mut performance = Performance::new(book);
    let mut model = Model::default();
    model.entered(&performance.book, 0);
    for (deed, later) in deeds {
        performance.now += u64::from(*later);
        let before = performance.engine.standing();
        match *deed {
            // Channel mode messages end notes by force, which the model does not tell.
            Deed::Message(_, [0xB1, 120 | 123.., _]) => continue,
            Deed::Press(input, channel, key, velocity) => {
                model.press(&performance.book, performance.place(), (input, channel, key), velocity);
            }
            Deed::Release(input, channel, key) => model.release((input, channel, key)),
            Deed::Lost(input) | Deed::Found(input) => model.release_input(input),
            Deed::Overrun => model.release_all(),
            Deed::Killed => {
                model.release_all();
                if let Some(entry) = before.song {
                    model.as_written(&performance.book, entry);
                }
            }
            // The model does not tell how a map is edited while it is played.
            Deed::Message(..) | Deed::Transport(..) | Deed::Action(..) => {}
            Deed::Back(_) | Deed::Joined(_) | Deed::Saved(_) | Deed::Waited => {}
        }
        performance.do_deed(deed);
        if let Deed::Action(what, which) = *deed {
            let action = action(what, which, &performance.book, performance.engine.plan());
            follow(&mut model, &performance, before, action);
        }
        assert_eq!(performance.listener.sounding, model.sounding(), "after {deed:?}");
    }
    performance.stop();
}

/// Takes out what songs send.
fn clear_sends(book: &mut Book) {
    let acts = |deed: &map::Deed| matches!(deed.does, Does::Act(_));
    for song in &mut book.songs {
        song.on_entering.retain(acts);
        song.on_leaving.retain(acts);
        song.sections.iter_mut().for_each(|section| section.on_entering.retain(acts));
    }
}

fn follow(model: &mut Model, performance: &Performance, before: Standing, action: Action) {
    let standing = performance.engine.standing();
    let book = &performance.book;
    let is_song = book.set.entries[standing.entry].song.is_some();
    let has_moved = (standing.order_step, standing.section) != (before.order_step, before.section);
    if standing.entry != before.entry
        && let Some(song) = book.set.entries[before.entry].song
    {
        model.listed(book, before.entry, &book.songs[song].on_leaving);
    }
    match action {
        Action::Plain(Plain::Panic) => model.release_all(),
        Action::Plain(Plain::FromTheTop) if is_song => model.entered(&performance.book, standing.entry),
        Action::Zone { name, .. } => {
            if let Some(entry) = standing.song {
                let name = performance.engine.plan().zone_name(name).to_owned();
                model.turned(&performance.book, entry, &name);
            }
        }
        _ if standing.entry != before.entry && is_song => model.entered(book, standing.entry),
        _ if standing.entry != before.entry => {
            if let Some(song) = standing.song {
                model.listed(book, song, &book.set.entries[standing.entry].on_entering);
            }
        }
        _ if has_moved => {
            if let Some(song) = standing.song {
                let sections = &book.songs[book.set.entries[song].song.expect("a song")].sections;
                model.listed(book, song, &sections[standing.section].on_entering);
            }
        }
        _ => {}
    }
}

/// Plays one song, and holds what sounds against the telling of what hands let ring.
fn play_beside_the_hands(drawn: &Drawn, deeds: &[(Deed, u32)]) {
    let mut book = drawn.clone().for_one_hand().book();
    clear_sends(&mut book);
    let mut performance = Performance::new(book.clone());
    let mut hands = Hands::new(book);
    let stand = |hands: &mut Hands, performance: &Performance| {
        let standing = performance.engine.standing();
        hands.stand(performance.place(), standing.order_step, standing.tonic);
    };
    stand(&mut hands, &performance);
    for (deed, later) in deeds {
        performance.now += u64::from(*later);
        let action = match *deed {
            Deed::Message(_, [0xB1, 120 | 123.., _]) | Deed::Killed | Deed::Saved(_) => continue,
            Deed::Action(what, which) => Some(action(what, which, &performance.book, performance.engine.plan())),
            _ => None,
        };
        // No other song and no other zones: what a change leaves behind is told by the scripts.
        let changes = |action| {
            matches!(
                action,
                Action::Plain(Plain::NextSong | Plain::PreviousSong) | Action::Song(_) | Action::Zone { .. }
            ) || matches!(action, Action::Fade(time) if time > 0)
        };
        if action.is_some_and(changes) {
            continue;
        }
        let steady = hands.until(performance.now);
        let before = performance.engine.standing();
        performance.do_deed(deed);
        if !matches!(deed, Deed::Press(..) | Deed::Release(..) | Deed::Lost(_) | Deed::Overrun | Deed::Back(_)) {
            // Notes old and new stay from decision to decision, and are not struck.
            assert!(steady.is_disjoint(&performance.struck), "struck again: {steady:?}");
        }
        stand(&mut hands, &performance);
        match *deed {
            Deed::Press(input, channel, key, velocity) => {
                hands.press((input, channel, key), velocity, performance.now);
            }
            Deed::Release(input, channel, key) => hands.release((input, channel, key), performance.now),
            Deed::Lost(input) | Deed::Found(input) => hands.lose(input, performance.now),
            Deed::Overrun => (0..maps::INPUTS).for_each(|input| hands.lose(input, performance.now)),
            Deed::Message(input, bytes) => hands.control(input, bytes),
            Deed::Back(output) => {
                let heard = performance.newcomer.sounding.iter().filter(|wire| wire.0 == output).copied();
                let rings = hands.rings().into_iter().filter(|wire| wire.0 == output);
                assert_eq!(heard.collect::<Vec<_>>(), rings.collect::<Vec<_>>(), "struck again");
            }
            _ => {}
        }
        if let Some(action) = action {
            hands.act(action);
            hands.listed(action, before, performance.engine.standing());
        }
        hands.until(performance.now);
        assert_eq!(performance.listener.sounding, hands.sounding(), "after {deed:?} at {}", performance.now);
    }
    performance.stop();
}

fn deeds(lengths: Range<usize>) -> impl Strategy<Value = Vec<(Deed, u32)>> {
    prop::collection::vec((deed(), prop_oneof![Just(0u32), 0..30_000u32, 0..400_000u32]), lengths)
}

/// So many cases, or where the environment's FEWER is a number, that part of them.
fn config(cases: u32) -> ProptestConfig {
    let fewer = std::env::var("FEWER").ok().and_then(|fewer| fewer.parse().ok()).unwrap_or(1);
    let cases = cases.div_ceil(fewer);
    ProptestConfig { cases, max_shrink_iters: 4_000, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config(CASES))]

    #[test]
    fn notes_alternate_and_nothing_hangs(drawn in drawn(), deeds in deeds(1..EVENTS)) {
        let mut performance = play(&drawn, &deeds);
        performance.let_all_fade();
        performance.stop();
    }

    #[test]
    fn what_sounds_is_what_the_held_keys_began(drawn in drawn(), deeds in deeds(1..EVENTS)) {
        play_beside_the_model(&drawn, &deeds);
    }

    #[test]
    fn what_rings_is_what_the_hands_began(drawn in drawn(), deeds in deeds(1..EVENTS)) {
        play_beside_the_hands(&drawn, &deeds);
    }

    #[test]
    fn chords_ring_as_they_are_played(drawn in drawn(), deeds in figures::figures()) {
        play_beside_the_hands(&drawn, &deeds);
    }
}

proptest! {
    #![proptest_config(config(5 * CASES))]

    #[test]
    fn a_stop_at_any_moment_leaves_silence(drawn in drawn(), deeds in deeds(0..EVENTS / 30)) {
        play(&drawn, &deeds).stop();
    }
}
