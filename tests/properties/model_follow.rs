//! A second, slow and plain telling of how a zone follows chords (rule R11), straight from the rules' text: which keys
//! count, and when. Times are in microseconds.

use std::collections::{BTreeMap, BTreeSet};

use handspan::music::follow;

use crate::voices::triad_on;

type Keys = BTreeSet<u8>;
type Classes = BTreeSet<u8>;

/// What a zone follows with.
pub struct Terms {
    pub gather: u64,
    pub min_keys: usize,
    /// The section's chords: root and pitch classes.
    pub chords: Vec<(u8, Classes)>,
    /// The fingers' key: its tonic, and whether it is minor.
    pub key: (u8, bool),
}

/// What is to sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Harmony {
    pub keys: Keys,
    pub classes: Classes,
    pub root: u8,
}

/// What became of the latest handful.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
enum Came {
    #[default]
    Nothing,
    /// A tune; whether known keys were up.
    Tune { moved: bool },
    /// A chord; whether by itself.
    Chord { by_itself: bool },
}

#[derive(Debug, Default)]
pub struct Following {
    pub due: Option<u64>,
    down: Keys,
    pedalled: Keys,
    struck: Keys,
    brushed: Keys,
    /// Held over.
    over: Keys,
    known: Keys,
    harmony: Option<Harmony>,
    began: u64,
    last_up: u64,
    all_known_were_down: bool,
    found: bool,
    came: Came,
    steps: Vec<(Keys, u64)>,
    breaking: bool,
    /// The written chord that was met last in this section.
    met: Option<usize>,
    struck_at: BTreeMap<u8, u64>,
    velocity: BTreeMap<u8, u8>,
}

const MS: u64 = 1000;

fn classes(keys: &Keys) -> Classes {
    keys.iter().map(|key| key % 12).collect()
}

fn lowest(keys: &Keys) -> i32 {
    keys.first().map_or(200, |key| i32::from(*key))
}

fn highest(keys: &Keys) -> i32 {
    keys.last().map_or(-1, |key| i32::from(*key))
}

fn span(keys: &Keys) -> i32 {
    highest(keys) - lowest(keys)
}

fn below(keys: &Keys, limit: i32) -> Keys {
    keys.iter().copied().filter(|key| i32::from(*key) < limit).collect()
}

fn neighbours(keys: &Keys) -> Vec<(u8, u8)> {
    let keys: Vec<u8> = keys.iter().copied().collect();
    keys.windows(2).map(|pair| (pair[0], pair[1])).collect()
}

fn is_bare_fifth(keys: &Keys) -> bool {
    keys.len() == 2 && [5, 7].contains(&(span(keys) % 12))
}

/// Whether these classes are one of some chords over some root; chords are steps above the root in words.
fn is_one_of(classes: &Classes, chords: &[&str]) -> bool {
    let steps = |chord: &str| chord.split(' ').map(|step| step.parse::<u8>().expect("a step")).collect::<Vec<u8>>();
    (0..12).any(|root| {
        chords.iter().any(|chord| steps(chord).iter().map(|step| (step + root) % 12).collect::<Classes>() == *classes)
    })
}

const PLAIN: [&str; 7] = ["0 4 7", "0 3 7", "0 3 6", "0 5 7", "0 2 7", "0 4 7 10", "0 4 10"];
const SEVENTHS: [&str; 7] = ["0 4 8", "0 3 7 10", "0 4 7 11", "0 3 7 11", "0 3 6 9", "0 3 6 10", "0 3 10"];
const RICH: [&str; 6] = ["0 2 4 7", "0 2 3 7", "0 5 7 10", "0 2 4 7 10", "0 2 3 7 10", "0 2 4 7 11"];
const TRIADS: [&str; 3] = ["0 4 7", "0 3 7", "0 3 6"];

fn is_known_chord(classes: &Classes) -> bool {
    is_one_of(classes, &PLAIN) || is_one_of(classes, &SEVENTHS)
}

fn is_named_chord(classes: &Classes) -> bool {
    is_known_chord(classes) || is_one_of(classes, &RICH)
}

fn is_in_a_triad(classes: &Classes) -> bool {
    let add = |more: &Classes| is_one_of(&classes.union(more).copied().collect(), &TRIADS);
    let ones = (0..12).map(|class| Classes::from([class]));
    let pairs = (0..12).flat_map(|one| (0..12).map(move |other| Classes::from([one, other])));
    classes.len() <= 3
        && (add(&Classes::new()) || ones.into_iter().any(|more| add(&more)) || pairs.into_iter().any(|more| add(&more)))
}

impl Following {
    pub fn enter_section(&mut self) {
        self.met = None;
    }

    pub fn strike(&mut self, (key, velocity): (u8, u8), begins: bool, now: u64, gather: u64) {
        if begins {
            self.over = self.down.clone();
            self.all_known_were_down = !self.known.is_empty() && self.known.is_subset(&self.down);
            self.struck.clear();
            self.brushed.clear();
            self.began = now;
            self.came = Came::Nothing;
        }
        if self.steps.last().is_some_and(|(_, at)| now - at > 1500 * MS) {
            self.forget_steps();
        }
        match self.steps.last_mut() {
            Some((keys, at)) if now - *at < 60 * MS => drop(keys.insert(key)),
            _ => self.steps.push((Keys::from([key]), now)),
        }
        if self.steps.len() > 8 {
            self.steps.remove(0);
        }
        self.down.insert(key);
        self.struck.insert(key);
        for keys in [&mut self.over, &mut self.pedalled, &mut self.brushed] {
            keys.remove(&key);
        }
        self.struck_at.insert(key, now);
        self.velocity.insert(key, velocity);
        self.due = Some((self.began + gather).max(if now < self.began + gather { 0 } else { now + gather }));
    }

    fn forget_steps(&mut self) {
        self.steps.clear();
        self.breaking = false;
    }

    pub fn lift_pedal(&mut self) {
        self.pedalled.clear();
    }

    pub fn lift(&mut self, key: u8, pedal: bool, now: u64, terms: &Terms) {
        if !self.down.remove(&key) {
            return;
        }
        if pedal {
            self.pedalled.insert(key);
        }
        if self.over.remove(&key) {
            self.last_up = now;
            let first = self.began + terms.gather;
            let is_open =
                now - self.began < 280 * MS && !self.struck.is_empty() && self.due.is_none_or(|due| due > first);
            let is_settled = matches!(self.came, Came::Chord { by_itself: true } | Came::Tune { moved: true });
            if is_open && !is_settled {
                self.lift_over(now, terms);
            }
        } else if matches!(self.came, Came::Chord { .. })
            && self.known.contains(&key)
            && now - self.struck_at[&key] < 200 * MS
            && self.known.intersection(&self.down).count() >= terms.min_keys
        {
            self.brushed.insert(key);
            self.due = Some(now + 60 * MS);
        }
    }

    /// A key that was held over came up while something may still come of it.
    fn lift_over(&mut self, now: u64, terms: &Terms) {
        let first = self.began + terms.gather;
        let up = self.known.difference(&self.over).count();
        let together = span(&self.known.union(&self.struck).copied().collect());
        if self.are_enough(&self.struck, terms) {
            if up == self.known.len() || together <= 19 {
                self.due = Some(first.max(now));
            }
        } else if !(matches!(self.came, Came::Tune { .. }) && together > 12) {
            let few = self.began + terms.gather.max(60 * MS);
            self.due = Some(if up >= self.struck.len() { few.max(now) } else { first.max(now + 60 * MS) });
        }
    }

    fn are_enough(&self, struck: &Keys, terms: &Terms) -> bool {
        struck.len() >= terms.min_keys || terms.min_keys <= 3 && is_bare_fifth(struck)
    }

    fn is_by_itself(&self, struck: &Keys, terms: &Terms) -> bool {
        let sounds = classes(struck);
        let written = terms.chords.iter().any(|(_, chord)| *chord == sounds);
        let has_name = is_named_chord(&sounds) || is_one_of(&sounds, &["0 7"]) || written;
        let lacks = struck.len() >= 3 && !has_name && !self.known.is_disjoint(&self.over);
        self.are_enough(struck, terms) && !lacks
    }

    fn waits(&mut self, now: u64, until: u64) -> bool {
        if now < until {
            self.due = Some(until);
        }
        now < until
    }

    /// It is due.
    pub fn decide(&mut self, now: u64, terms: &Terms) -> Option<Harmony> {
        self.due = None;
        let least = terms.min_keys;
        // 1
        let both = |struck: &Keys, over: &Keys| -> Keys { struck.union(over).copied().collect() };
        let mut struck: Keys = self.struck.difference(&self.brushed).copied().collect();
        if both(&struck, &self.over).intersection(&self.down).count() >= least {
            let up: Keys = struck.difference(&self.down).copied().collect();
            self.brushed.extend(&up);
            struck.retain(|key| !up.contains(key));
        }
        if struck.is_empty() {
            return None;
        }
        // 2
        let wide =
            neighbours(&struck).iter().any(|(low, high)| high - low >= 7) && self.lower_hand(&struck, terms) == struck;
        let few = struck.len() < least;
        if (few || struck.len() < self.known.len() || wide) && self.waits(now, self.began + terms.gather.max(60 * MS)) {
            return None;
        }
        let bare = few && is_bare_fifth(&struck) && self.over.len() < least;
        if bare && self.waits(now, self.began + terms.gather + 60 * MS) {
            return None;
        }
        // 3
        let all = both(&struck, &self.over);
        let by_itself = self.is_by_itself(&struck, terms);
        if self.is_doubtful(if by_itself { &struck } else { &all }) && self.waits(now, self.began + 150 * MS) {
            return None;
        }
        // 4
        if self.breaking && all.len() < least && !is_bare_fifth(&struck) {
            return self.decide_steps(&struck, now, terms);
        }
        // 5
        if let Some(moved) = self.is_tune(&struck, terms) {
            let whole = both(&struck, &self.known);
            if !(self.found && struck.len() == 1 && span(&whole) <= 14) {
                self.came = Came::Tune { moved };
                return None;
            }
        }
        if by_itself {
            return Some(self.chord_by_itself(&struck, now, terms));
        }
        if all.len() < least {
            return self.decide_steps(&struck, now, terms);
        }
        self.common_tones(&struck, all, now, terms)
    }

    fn is_doubtful(&self, keys: &Keys) -> bool {
        let odd = !is_named_chord(&classes(keys));
        neighbours(keys).into_iter().any(|(low, high)| {
            let (one, other) = (f32::from(self.velocity[&low]), f32::from(self.velocity[&high]));
            let soft = one < 0.8 * other || other < 0.8 * one;
            let near = high - low <= 2 && (self.struck.contains(&low) || self.struck.contains(&high));
            near && keys.len() > 2 && (odd || keys.len() > 3 && soft)
        })
    }

    /// Whether what was struck is a tune; then, whether known keys are up.
    fn is_tune(&self, struck: &Keys, terms: &Terms) -> Option<bool> {
        let mut holding = self.over.clone();
        if struck.len() < terms.min_keys {
            holding.extend(&self.pedalled);
        }
        let (held, up): (Keys, Keys) = self.known.iter().partition(|key| holding.contains(key));
        let under = below(&held, lowest(struck).min(lowest(&up)));
        let all_under = self.known.len() >= 2 && up.is_empty() && under == self.known;
        let enough_under = under.len() >= terms.min_keys.max(2);
        let together = span(&self.known.union(struck).copied().collect());
        let apart = self.all_known_were_down && lowest(struck) >= highest(&self.known) + 5;
        let is_tune = all_under || enough_under || apart && (!held.is_empty() || together > 19);
        is_tune.then_some(!up.is_empty())
    }

    fn lower_hand(&self, struck: &Keys, terms: &Terms) -> Keys {
        for (low, high) in neighbours(struck) {
            let lower = below(struck, i32::from(high));
            if high - low >= 5
                && lower.len() >= terms.min_keys
                && span(&lower) <= 12
                && is_known_chord(&classes(&lower))
            {
                return lower;
            }
        }
        struck.clone()
    }

    fn chord_by_itself(&mut self, struck: &Keys, now: u64, terms: &Terms) -> Harmony {
        let mut keys = self.lower_hand(struck, terms);
        let bottom = lowest(&keys);
        let one_hand = keys == *struck;
        keys.extend(below(&self.over, bottom - 10));
        let mut later: Keys = keys.union(&below(&self.over, bottom)).copied().collect();
        let rooted = later.clone();
        let all: Keys = keys.union(&self.over).copied().collect();
        if one_hand && classes(&all) != classes(&later) && is_known_chord(&classes(&all)) {
            later.clone_from(&all);
        }
        let mut root = followed_root(&keys);
        if all != keys && !self.waits(now, self.began + 280 * MS) {
            root = followed_root(&rooted);
            keys = later;
        }
        self.found = false;
        self.plays(Harmony { root, ..of(&keys) }, true, terms)
    }

    fn common_tones(&mut self, struck: &Keys, all: Keys, now: u64, terms: &Terms) -> Option<Harmony> {
        let held = self.known.intersection(&self.over).count();
        let up = self.known.len() - held;
        if held > 0 && up < struck.len() {
            let first = self.began + terms.gather;
            let until = if up == 0 { self.began + 280 * MS } else { first.max(self.last_up) + 60 * MS };
            if self.waits(now, until) {
                return None;
            }
        }
        let sounds = classes(&all);
        let written = terms.chords.iter().any(|(_, chord)| *chord == sounds);
        let clear =
            written || is_one_of(&sounds, &PLAIN) || (struck.len() >= 2 || self.found) && is_known_chord(&sounds);
        if struck.len() < terms.min_keys && held >= 2 && !clear {
            self.came = Came::Nothing;
            return None;
        }
        let times: Vec<u64> = all.iter().map(|key| self.struck_at[key]).collect();
        self.found = (0..times.len()).all(|one| (0..one).all(|other| times[one].abs_diff(times[other]) > 150 * MS));
        Some(self.plays(of(&all), false, terms))
    }

    fn plays(&mut self, harmony: Harmony, by_itself: bool, terms: &Terms) -> Harmony {
        self.forget_steps();
        self.came = Came::Chord { by_itself };
        self.known = harmony.keys.clone();
        let harmony = self.as_written(harmony, terms);
        self.harmony = Some(harmony.clone());
        harmony
    }

    /// Held against the section's chords.
    fn as_written(&mut self, harmony: Harmony, terms: &Terms) -> Harmony {
        let count = terms.chords.len();
        let order: Vec<usize> = (0..count).map(|number| (self.met.unwrap_or(0) + number) % count).collect();
        let chord = |at: &usize| &terms.chords[*at].1;
        let same = order.iter().find(|at| *chord(at) == harmony.classes);
        let whole = order.iter().find(|at| chord(at).is_superset(&harmony.classes));
        let less = order.iter().find(|at| {
            chord(at).len() >= 3
                && chord(at).is_subset(&harmony.classes)
                && chord(at).len() + 1 == harmony.classes.len()
        });
        let Some(at) = same.or(whole).or(less).copied() else { return harmony };
        self.met = Some(at);
        let (root, written) = &terms.chords[at];
        let root = harmony.keys.iter().find(|key| *key % 12 == *root).copied().unwrap_or(harmony.root);
        let classes = harmony.classes.intersection(written).copied().collect();
        Harmony { classes, root, ..harmony }
    }

    /// A bass with its chord, or broken chords.
    fn decide_steps(&mut self, pair: &Keys, now: u64, terms: &Terms) -> Option<Harmony> {
        self.came = Came::Nothing;
        if terms.min_keys > 3 {
            return None;
        }
        if let Some((bass, at)) = self.steps.iter().rfind(|(keys, _)| !keys.is_subset(&self.struck)) {
            let chord: Keys = bass.union(pair).copied().collect();
            let above = bass.len() == 1 && pair.len() == 2 && lowest(pair) - lowest(bass) >= 5;
            if above && is_one_of(&classes(&chord), &TRIADS) && now - at < 1200 * MS {
                let harmony = self.as_written(of(&chord), terms);
                return Some(self.plays_steps(harmony));
            }
        }
        let single: Vec<u8> = self
            .steps
            .iter()
            .rev()
            .map_while(|(keys, _)| (keys.len() == 1).then(|| keys.first().copied()).flatten())
            .collect();
        let single: Vec<u8> = single.into_iter().rev().collect();
        if single.is_empty() {
            self.breaking = false;
        }
        if single.len() < 2 {
            return None;
        }
        let due = self.due_chord(terms);
        self.breaking = self.breaks(&single, due.as_ref().map(|(_, due)| due));
        if !self.breaking {
            return None;
        }
        if let Some((at, harmony)) = due.and_then(|(at, due)| Some((at, self.all_due(&single, terms, at, &due)?))) {
            self.met = Some(at);
            self.steps.drain(..self.steps.len() - 1);
            return Some(self.plays_steps(harmony));
        }
        let keys = self.since_change(&single, terms)?;
        let sounds = classes(&keys);
        let harmony = match sounds.len() {
            0 | 1 => return None,
            2 => {
                let root = followed_root(&keys);
                let triad = triad_on(root, terms.key).filter(|triad| triad.is_superset(&sounds))?;
                Harmony { keys, classes: triad, root }
            }
            _ => of(&keys),
        };
        self.steps.drain(..self.steps.len() - 1);
        let harmony = self.as_written(harmony, terms);
        Some(self.plays_steps(harmony))
    }

    /// The number and the notes of the written chord that is due.
    fn due_chord(&self, terms: &Terms) -> Option<(usize, Classes)> {
        let count = terms.chords.len();
        let last = self.met.filter(|met| *met < count).map(|met| &terms.chords[met].1);
        let from = self.met.map_or(0, |met| met + 1);
        for at in (from..from + count).map(|at| at % count) {
            let chord = &terms.chords[at].1;
            let sounds = self.harmony.as_ref().is_some_and(|harmony| harmony.classes == *chord);
            if last != Some(chord) && !sounds {
                return Some((at, chord.clone()));
            }
        }
        None
    }

    /// The chord that is due, if the keys since the first foreign one are all of it.
    fn all_due(&self, single: &[u8], terms: &Terms, at: usize, due: &Classes) -> Option<Harmony> {
        let (from, foreign) = self.turn(single, terms)?;
        let keys = [from, foreign].map(|from| single[from..].iter().copied().collect::<Keys>());
        let keys = keys.into_iter().find(|keys| classes(keys).is_subset(due))?;
        let class = terms.chords[at].0;
        let above = || (lowest(&keys) as u8..).find(|key| key % 12 == class);
        let below = || (0..=lowest(&keys) as u8).rev().find(|key| key % 12 == class);
        let root = keys.iter().copied().find(|key| key % 12 == class).or_else(below).or_else(above)?;
        Some(Harmony { keys, classes: due.clone(), root })
    }

    fn breaks(&self, single: &[u8], due: Option<&Classes>) -> bool {
        let apart: Vec<u8> = single.windows(2).map(|pair| pair[0].abs_diff(pair[1])).collect();
        let small = |last: usize| apart.iter().rev().take(last).filter(|apart| [1, 2].contains(*apart)).count();
        if self.breaking {
            return small(6) < 3 && small(2) < 2;
        }
        let begin = |count: usize| {
            let begin = single.len().checked_sub(count)?;
            let keys: Keys = single[begin..].iter().copied().collect();
            let times: Vec<u64> = self.steps[self.steps.len() - count..].iter().map(|(_, at)| *at).collect();
            let waits: Vec<u64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
            let (shortest, longest) = (waits.iter().min().copied()?, waits.iter().max().copied()?);
            let even = longest < 450 * MS && 10 * longest <= 13 * shortest;
            let skips = apart[begin..].iter().all(|apart| *apart >= 3);
            (even && skips && classes(&keys).len() == 3).then(|| classes(&keys))
        };
        begin(4).is_some_and(|four| is_one_of(&four, &TRIADS))
            || begin(3).is_some_and(|three| due.is_some_and(|due| three.is_subset(due)))
    }

    /// From which of the single keys on the chord is another: with what leads up to the first foreign one, and that one.
    fn turn(&self, single: &[u8], terms: &Terms) -> Option<(usize, usize)> {
        let present = self.harmony.as_ref().map_or(Classes::new(), |harmony| {
            let triad = triad_on(harmony.root, terms.key).filter(|triad| triad.is_superset(&harmony.classes));
            if harmony.classes.len() == 2 { triad.unwrap_or(harmony.classes.clone()) } else { harmony.classes.clone() }
        });
        let foreign = single.iter().position(|key| !present.contains(&(key % 12)))?;
        let rises = foreign > 0 && single[foreign] >= single[foreign - 1] + 3;
        Some((if rises { foreign - 1 } else { foreign }, foreign))
    }

    fn since_change(&self, single: &[u8], terms: &Terms) -> Option<Keys> {
        let (from, _) = self.turn(single, terms)?;
        (from..single.len())
            .map(|from| single[from..].iter().copied().collect::<Keys>())
            .find(|keys| is_in_a_triad(&classes(keys)))
    }

    fn plays_steps(&mut self, harmony: Harmony) -> Harmony {
        self.came = Came::Chord { by_itself: false };
        self.known = harmony.keys.clone();
        self.harmony = Some(harmony.clone());
        harmony
    }
}

fn followed_root(keys: &Keys) -> u8 {
    follow::root(keys.iter().fold(0, |bits, key| bits | 1 << key)).expect("keys")
}

fn of(keys: &Keys) -> Harmony {
    Harmony { keys: keys.clone(), classes: classes(keys), root: followed_root(keys) }
}
