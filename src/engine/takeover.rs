//! A plan takes over from an older one between two events: a map was saved while it is played, or the engine had to be
//! built anew. Both are steps of rule R8 without sends; held notes end as their keys come up, as ever.

use std::sync::Arc;

use super::out::{Notice, Out};
use super::plan::Plan;
use super::rings::{GONE, Ring, Why};
use super::{Engine, Standing};
use crate::evening::{FURTHEST, Keys, within_an_octave};

/// An engine of a new plan, ready to take over from the one that plays. Made off the playing path; after
/// [`Engine::take_over`] it holds the older engine, to be freed off the playing path too.
#[derive(Debug)]
pub struct Successor {
    engine: Engine,
    out: Out,
    numbers: Numbers,
}

/// The new numbers of what the older plan numbers; a place keeps existing, the rest may be gone.
#[derive(Debug, Default)]
struct Numbers {
    places: Vec<u16>,
    zones: Vec<Option<u16>>,
    /// For each zone the one in which its keys and notes go on: another number where it plays otherwise now.
    hands: Vec<u16>,
    sends: Vec<Option<u16>>,
    entries: Vec<Option<usize>>,
}

/// The zones, sends or sections that two versions of a song share.
type Pairs = Vec<(u16, u16)>;

impl Successor {
    /// Prepares `plan` (see [`Plan::after`]) to take over from an engine that plays `older`.
    #[must_use]
    pub fn new(older: &Plan, plan: Plan) -> Successor {
        let numbers = Numbers::new(older, &plan);
        // Room for a set that is as large as both together: what is held now may be more than the new plan can hold.
        let most_zones = plan.most_zones.max(older.most_zones);
        let rings = 128 * (1 + older.zones.iter().filter(|zone| zone.can_ring()).count());
        let engine = Engine::with_room_for(Arc::new(Plan { most_zones, ..plan }), older.sends.len(), rings);
        let out = engine.out();
        Successor { engine, out, numbers }
    }

    /// The plan of the engine that is held: the new one before it took over, the older one afterwards.
    #[must_use]
    pub fn plan(&self) -> &Arc<Plan> {
        self.engine.plan()
    }
}

impl Numbers {
    /// The zone in which what is in a zone of the older plan goes on.
    fn hand(&self, old: u16) -> u16 {
        self.hands.get(usize::from(old)).copied().unwrap_or(gone(old))
    }

    fn new(older: &Plan, newer: &Plan) -> Numbers {
        let mut numbers = Numbers {
            places: older.places.iter().map(|place| newer.places.binary_search(place).unwrap_or(0) as u16).collect(),
            zones: vec![None; older.zones.len()],
            hands: Vec::new(),
            sends: vec![None; older.sends.len()],
            entries: Vec::new(),
        };
        for (old, file) in older.songs.iter().zip(&older.song_files) {
            let Some(number) = newer.song_files.iter().position(|known| known == file) else { continue };
            let new = &newer.songs[number];
            let zone_name = |plan: &Plan, zone: usize| plan.zone_name(plan.zones[zone].name).to_owned();
            for (old, new) in
                paired(old.zones.clone(), new.zones.clone(), |old, new| zone_name(older, old) == zone_name(newer, new))
            {
                numbers.zones[usize::from(old)] = Some(new);
            }
            for (old, new) in paired(old.sends.clone(), new.sends.clone(), |old, new| {
                let (old, new) = (&older.sends[old], &newer.sends[new]);
                (old.output, old.after, &old.say) == (new.output, new.after, &new.say)
                    && older.places.get(usize::from(old.place)) == newer.places.get(usize::from(new.place))
            }) {
                numbers.sends[usize::from(old)] = Some(new);
            }
        }
        let goes_on = |old: usize, new: u16| {
            let (old, new) = (&older.zones[old], &newer.zones[usize::from(new)]);
            (old.plays, old.linger, old.one_key) == (new.plays, new.linger, new.one_key)
        };
        let hand = |(old, new): (usize, &Option<u16>)| new.filter(|new| goes_on(old, *new)).unwrap_or(gone(old as u16));
        numbers.hands = numbers.zones.iter().enumerate().map(hand).collect();
        numbers.entries = (0..older.entries.len()).map(|entry| same_entry(older, newer, entry)).collect();
        numbers
    }
}

/// What is added to tonight's key after that has become another one. Where nothing was added, the song moves to the new
/// key. Where a key was gone to by hand, that is what the room wants at this moment: what is heard stays.
fn added_to(added: i32, before: &Keys, after: &Keys) -> i32 {
    let moved = after.shift - before.shift;
    let only_the_key = before.play_in.tonic() == after.play_in.tonic();
    if added == 0 || before.sounding || after.sounding || !only_the_key {
        return added;
    }
    within_an_octave(added - moved)
}

/// The number of a zone that is no longer there, or plays otherwise now.
fn gone(zone: u16) -> u16 {
    GONE | zone
}

/// Pairs each of `old` with the first of `new` that is the same and not yet taken.
fn paired(old: std::ops::Range<usize>, new: std::ops::Range<usize>, same: impl Fn(usize, usize) -> bool) -> Pairs {
    let mut taken = vec![false; new.len()];
    let mut pairs = Pairs::new();
    for old in old {
        let found = new.clone().find(|candidate| !taken[candidate - new.start] && same(old, *candidate));
        if let Some(found) = found {
            taken[found - new.start] = true;
            pairs.push((old as u16, found as u16));
        }
    }
    pairs
}

/// The entry of `newer` that is `entry` of `older`: the same song file and title, the nearest of several.
fn same_entry(older: &Plan, newer: &Plan, entry: usize) -> Option<usize> {
    let file = |plan: &Plan, entry: usize| {
        let song = plan.entries[entry].song.as_ref().map(|tonight| tonight.song);
        song.and_then(|song| plan.song_files.get(song).cloned())
    };
    let wanted = file(older, entry);
    let same_file = |candidate: &usize| file(newer, *candidate) == wanted;
    let same_title = |candidate: &usize| newer.title(*candidate) == older.title(entry);
    let nearest = |candidates: Vec<usize>| candidates.into_iter().min_by_key(|candidate| candidate.abs_diff(entry));
    let all = 0..newer.entries.len();
    let both = nearest(all.clone().filter(same_file).filter(same_title).collect());
    both.or_else(|| nearest(all.filter(same_file).filter(|_| wanted.is_some()).collect()))
}

impl Engine {
    /// The last step of this plan before another takes over: what is due by `now` runs, and what is on and is not in the
    /// successor's plan goes off. All numbers in what it says are this plan's.
    pub fn make_way(&mut self, successor: &Successor, now: u64, out: &mut Out) -> Option<u64> {
        self.run_due(now, out);
        self.close_cues_that_go(successor.plan(), now, out);
        self.wanted = self.next();
        self.wanted
    }

    /// The successor's plan comes into force between two events, after [`Engine::make_way`] at the same time. `out` is
    /// exchanged for a buffer that fits the new plan; what it still holds goes along. Returns when the engine next wants
    /// to be called.
    pub fn take_over(&mut self, successor: &mut Successor, now: u64, out: &mut Out) -> Option<u64> {
        let Successor { engine: new, out: new_out, numbers } = successor;
        new_out.clear();
        new_out.append(out);
        new_out.at(now);
        new.inherit(self, numbers);
        if new.plan.gives_tempo && !self.plan.gives_tempo {
            new.given.begin_again(now);
        }
        let stays = new.stand_like(self, numbers);
        new.use_zones_after(self, numbers, stays, new_out);
        std::mem::swap(self, new);
        std::mem::swap(out, new_out);
        self.wanted = self.next();
        self.wanted
    }

    /// Everything that is held, pressed, told and waiting.
    fn inherit(&mut self, older: &mut Engine, numbers: &Numbers) {
        let place = |old: u16| numbers.places.get(usize::from(old)).copied().unwrap_or(0);
        let zone = |old: u16| numbers.zones.get(usize::from(old)).copied().flatten();
        let send = |old: u16| numbers.sends.get(usize::from(old)).copied().flatten();
        self.ledger.take_over(&older.ledger, place, zone, |old| numbers.hand(old));
        self.inherit_rings(older, numbers);
        self.pending.take_over(&older.pending, place, send);
        std::mem::swap(&mut self.feet, &mut older.feet);
        for (old, state) in older.places.iter().enumerate() {
            self.places[usize::from(place(old as u16))] = *state;
        }
        self.fading = self.places.iter().filter(|place| place.fade.is_some()).count();
        for (old, new) in numbers.zones.iter().enumerate() {
            if let Some(new) = new.map(usize::from) {
                if numbers.hand(old as u16) == new as u16 {
                    self.handfuls[new] = older.handfuls[old];
                }
                self.gatherings[new] = older.gatherings[old];
                self.on[new] = older.on[old];
            }
        }
        self.presses = older.presses;
        self.counts = older.counts;
        self.not_sent = older.not_sent;
        self.clock = older.clock;
        (self.followed, self.taps, self.given) = (older.followed, older.taps, older.given);
        self.echoes.clone_from(&older.echoes);
        self.cues.take_over(&older.cues, &older.plan, &self.plan);
        self.cues.lined_up = older.cues.lined_up.and_then(|entry| numbers.entries.get(entry).copied().flatten());
    }

    /// What rings without a finger. Where its zone is gone, or plays otherwise now, it is left to ring.
    fn inherit_rings(&mut self, older: &Engine, numbers: &Numbers) {
        let place = |old: u16| numbers.places.get(usize::from(old)).copied().unwrap_or(0);
        for ring in older.rings.iter().take(self.rings.capacity()) {
            let mut ring = Ring { place: place(ring.place), ..*ring };
            if ring.why != Why::Drone {
                let zone = numbers.hand(ring.zone);
                if zone >= GONE && ring.is_without_finger(&older.plan) {
                    (ring.why, ring.left) = (Why::Lingers, true);
                }
                ring.zone = zone;
            }
            self.rings.push(ring);
        }
        self.drone = older.drone.map(|sounding| sounding.at_place(place));
    }

    /// Stands where the older engine stood; whether that is the same song.
    fn stand_like(&mut self, older: &Engine, numbers: &Numbers) -> bool {
        let plan = Arc::clone(&self.plan);
        let new_entry = |entry: usize| numbers.entries.get(entry).copied().flatten();
        let last = plan.entries.len().saturating_sub(1);
        let old = older.standing;
        let song = old.song.and_then(new_entry);
        self.standing = Standing { entry: new_entry(old.entry).unwrap_or(old.entry.min(last)), ..Standing::default() };
        // A song that is no longer in the set gives way to what stands in its place now.
        self.standing.song = song.or_else(|| {
            let there = plan.entries.get(self.standing.entry).is_some_and(|entry| entry.song.is_some());
            (old.song.is_some() && there).then_some(self.standing.entry)
        });
        let tonight = self.standing.song.and_then(|entry| plan.entries[entry].song.as_ref());
        if let Some(tonight) = tonight {
            if song.is_some() {
                let before = old.song.and_then(|entry| older.plan.entries[entry].song.as_ref());
                self.standing.added =
                    before.map_or(old.added, |before| added_to(old.added, &before.keys, &tonight.keys));
            }
            let name = older.plan.section_name(old.song.unwrap_or(0), old.section).filter(|_| song.is_some());
            self.stand_in_section(tonight, old.place, name);
        }
        song.is_some()
    }

    /// Puts the zones of where we stand into use after the older engine's.
    fn use_zones_after(&mut self, older: &Engine, numbers: &Numbers, same_song: bool, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        self.find_zones_in_use();
        self.before.clear();
        // Only zones whose sound is set up as before notice nothing.
        let stays = |old: &u16| {
            let new = numbers.zones.get(usize::from(*old)).copied().flatten().filter(|_| same_song)?;
            let (before, after) = (&older.plan.zones[usize::from(*old)], &plan.zones[usize::from(new)]);
            let same_place = numbers.places.get(usize::from(before.place)) == Some(&after.place);
            (same_place && before.set_up == after.set_up).then_some(new)
        };
        self.before.extend(older.in_use.iter().filter_map(stays));
        for old in &older.in_use {
            let zone = numbers.hand(*old);
            if !self.in_use.contains(&zone) {
                self.leave_rings(zone);
            }
        }
        self.drone_ready = older.drone_ready.filter(|_| same_song).and(self.standing.song);
        for place in 0..self.places.len() as u16 {
            self.let_go(place, out);
        }
        self.tell_places(out);
        out.notice(Notice::TakenOver);
    }

    /// Stands where a performance stood that was broken off: its keys are up, and nothing is said that enters a song.
    pub(super) fn resume(&mut self, standing: Standing, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let song_at = |entry: usize| plan.entries.get(entry).and_then(|entry| entry.song.as_ref());
        let last = plan.entries.len().saturating_sub(1);
        self.standing = Standing { entry: standing.entry.min(last), ..Standing::default() };
        self.standing.song = standing.song.filter(|entry| song_at(*entry).is_some());
        if let Some(tonight) = self.standing.song.and_then(song_at) {
            self.standing.added = standing.added.clamp(-FURTHEST, FURTHEST);
            let song = &plan.songs[tonight.song];
            self.standing.place = standing.place.min(tonight.order.len() - 1);
            self.standing.section = standing.section.min(song.sections.len() - 1);
            self.find_shift(tonight);
            self.take_song_tempo(tonight.song, now);
        }
        (0..plan.inputs.len()).for_each(|input| self.cues.appear(input, now));
        out.notice(Notice::Song);
        self.switch_zones(now, out);
    }
}
