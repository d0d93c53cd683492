//! A plan takes over from an older one between two events: a map was saved while it is played, or the engine had to be
//! made again. Both are steps of rule R8 without sends; held notes end as their keys come up, as ever.

use std::ops::Range;
use std::sync::Arc;

use super::Engine;
use super::ids::Source;
use super::ids::{ChannelId, Micros, SendId, ZoneId};
use super::notes::On;
use super::notes::unheld::{Unheld, Why};
use super::out::{Notice, Out, Sink};
use super::plan::{Plan, Playing};
use super::step::Step;
use crate::evening::{FURTHEST, Keys, Standing, within_an_octave};

/// An engine of a new plan, ready to take over from the one that plays. Made off the playing path; after
/// [`Engine::take_over`] it holds the older engine, to be freed off the playing path too.
#[derive(Debug)]
pub struct Successor {
    engine: Engine,
    out: Out,
    numbers: NewNumbers,
}

/// The new numbers of what the older plan numbers; a channel keeps existing, the rest may be gone.
#[derive(Debug, Default)]
struct NewNumbers {
    channels: Vec<ChannelId>,
    zones: Vec<Option<ZoneId>>,
    /// For each zone the one in which its keys and notes go on; none where it is gone, or plays otherwise now.
    goes_on: Vec<Option<ZoneId>>,
    sends: Vec<Option<SendId>>,
    entries: Vec<Option<usize>>,
}

/// The zones, sends or sections that two versions of a song share.
type SharedIndexes = Vec<(u16, u16)>;

impl Successor {
    /// Prepares `plan` (see [`Plan::after`]) to take over from an engine that plays `older`.
    #[must_use]
    pub fn new(older: &Plan, plan: Plan) -> Successor {
        let numbers = NewNumbers::new(older, &plan);
        // Room for a set that is as large as both together: what is held now may be more than the new plan can hold.
        let most_zones = plan.most_zones.max(older.most_zones);
        let rings = 128 * (1 + older.zones.iter().filter(|zone| zone.can_ring()).count());
        let engine = Engine::with_room_for(Arc::new(Plan { most_zones, ..plan }), older.sends.len(), rings);
        let out = engine.out();
        Successor { engine, out, numbers }
    }

    /// Exchanges `out` for a buffer that fits the new plan; it must be empty.
    pub fn exchange_out(&mut self, out: &mut Out) {
        std::mem::swap(&mut self.out, out);
    }

    /// The plan of the engine that is held: the new one before it took over, the older one afterwards.
    #[must_use]
    pub fn plan(&self) -> &Arc<Plan> {
        self.engine.plan()
    }
}

impl NewNumbers {
    fn channel(&self, old: ChannelId) -> ChannelId {
        self.channels.get(old.index()).copied().unwrap_or(ChannelId(0))
    }

    /// The zone of this number now.
    fn zone(&self, old: ZoneId) -> Option<ZoneId> {
        self.zones.get(old.index()).copied().flatten()
    }

    fn send(&self, old: SendId) -> Option<SendId> {
        self.sends.get(old.index()).copied().flatten()
    }

    fn entry(&self, old: usize) -> Option<usize> {
        self.entries.get(old).copied().flatten()
    }

    /// Where what belongs to a zone of the older plan goes on.
    fn source(&self, old: Source) -> Source {
        match old {
            Source::Zone(zone) => {
                self.goes_on.get(zone.index()).copied().flatten().map_or(Source::Gone(zone), Source::Zone)
            }
            other => other,
        }
    }

    fn new(older: &Plan, newer: &Plan) -> NewNumbers {
        let mut numbers = NewNumbers {
            channels: older
                .channels
                .iter()
                .map(|channel| ChannelId(newer.channels.binary_search(channel).unwrap_or(0) as u16))
                .collect(),
            zones: vec![None; older.zones.len()],
            goes_on: Vec::new(),
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
                numbers.zones[usize::from(old)] = Some(ZoneId(new));
            }
            numbers.pair_sends((older, old.sends.clone()), (newer, new.sends.clone()));
        }
        let goes_on = |old: usize, new: ZoneId| {
            let (old, new) = (&older.zones[old], newer.zone(new));
            (old.plays, old.linger, old.one_key) == (new.plays, new.linger, new.one_key)
        };
        let zones = numbers.zones.iter().enumerate();
        numbers.goes_on = zones.map(|(old, new)| new.filter(|new| goes_on(old, *new))).collect();
        numbers.entries = (0..older.entries.len()).map(|entry| same_entry(older, newer, entry)).collect();
        for (old, entry) in older.entries.iter().enumerate() {
            if let Some(new) = numbers.entry(old) {
                numbers.pair_sends((older, entry.sends.clone()), (newer, newer.entries[new].sends.clone()));
            }
        }
        numbers
    }

    /// The sends of a song or entry that are the same in both plans.
    fn pair_sends(&mut self, (older, old): (&Plan, Range<usize>), (newer, new): (&Plan, Range<usize>)) {
        let pairs = paired(old, new, |old, new| {
            let (old, new) = (&older.sends[old], &newer.sends[new]);
            (old.output, old.after, &old.say) == (new.output, new.after, &new.say)
                && old.channel.map(|channel| older.channel(channel))
                    == new.channel.map(|channel| newer.channel(channel))
        });
        for (old, new) in pairs {
            self.sends[usize::from(old)] = Some(SendId(new));
        }
    }
}

/// How far it is transposed from tonight's key after that has become another one. Where nothing was transposed, the song moves to the new
/// key. Where a key was gone to by hand, that is what the room wants at this moment: what is heard stays.
fn transposed_in(transposed: i32, before: &Keys, after: &Keys) -> i32 {
    let moved = after.shift - before.shift;
    let only_the_key = before.play_in.tonic() == after.play_in.tonic();
    if transposed == 0 || before.sounding || after.sounding || !only_the_key {
        return transposed;
    }
    within_an_octave(transposed - moved)
}

/// Pairs each of `old` with the first of `new` that is the same and not yet taken.
fn paired(old: Range<usize>, new: Range<usize>, same: impl Fn(usize, usize) -> bool) -> SharedIndexes {
    let mut taken = vec![false; new.len()];
    let mut pairs = SharedIndexes::new();
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
    pub fn make_way(&mut self, successor: &Successor, now: Micros, sink: &mut dyn Sink) -> Option<Micros> {
        let newer = successor.plan();
        self.with_step(now, sink, |engine, step| {
            engine.run_due(now, step);
            let plan = step.plan;
            engine.close_cues(step, |_, cue| !newer.cues.iter().any(|known| known.is_as(newer, cue, plan)));
            engine.wanted = engine.next();
        });
        self.wanted
    }

    /// The successor's plan takes over between two events, after [`Engine::make_way`] at the same time. `sink` needs room
    /// for the new plan, see [`Successor::exchange_out`]. Returns when the engine next wants to be called.
    pub fn take_over(&mut self, successor: &mut Successor, now: Micros, sink: &mut dyn Sink) -> Option<Micros> {
        let Successor { engine: new, numbers, .. } = successor;
        new.with_step(now, sink, |new, step| {
            new.inherit(self, numbers);
            if new.plan.gives_tempo && !self.plan.gives_tempo {
                new.clock.begin_to_give(now);
            }
            let stays = new.stand_like(self, numbers, step);
            new.clock.change(self.current.tick(&self.plan), new.current.tick(step.plan), now);
            new.use_zones_after(self, numbers, stays, step);
        });
        std::mem::swap(self, new);
        self.wanted = self.next();
        self.wanted
    }

    /// Everything that is held, pressed, told and waiting.
    fn inherit(&mut self, older: &mut Engine, numbers: &NewNumbers) {
        let channel = |old| numbers.channel(old);
        let source = |old| numbers.source(old);
        self.notes.owners.take_over(&older.notes.owners, channel, |old| numbers.zone(old), source);
        self.inherit_unheld(older, numbers);
        self.notes.channels.take_over(&older.notes.channels, channel);
        self.notes.out_of_range = older.notes.out_of_range;
        self.sends.take_over(&older.sends, channel, |old| numbers.send(old));
        std::mem::swap(&mut self.controllers, &mut older.controllers);
        for (old, new) in numbers.zones.iter().enumerate() {
            if let Some(new) = *new {
                if numbers.source(Source::Zone(ZoneId(old as u16))) == Source::Zone(new) {
                    let (heir, zone) = ((new, &*self.plan), (ZoneId(old as u16), &*older.plan));
                    self.hand.inherit(heir, &older.hand, zone);
                }
                self.hand.gatherings[new.index()] = older.hand.gatherings[old];
                self.current.on[new.index()] = older.current.on[old];
            }
        }
        (self.hand.presses, self.hand.sustained) = (older.hand.presses, older.hand.sustained);
        self.not_understood = older.not_understood;
        self.held_back = older.held_back;
        self.clock = older.clock;
        self.guard.clone_from(&older.guard);
        self.cues.take_over(&older.cues, &older.plan, &self.plan);
        self.next_song = older.next_song.and_then(|entry| numbers.entry(entry));
    }

    /// Held notes. Where their zone is gone, or plays otherwise now, they stay until the next handful.
    fn inherit_unheld(&mut self, older: &Engine, numbers: &NewNumbers) {
        for unheld in older.notes.unheld.iter().take(self.notes.unheld.capacity()) {
            let source = numbers.source(unheld.source);
            let mut inherited = Unheld { channel: numbers.channel(unheld.channel), source, ..*unheld };
            let is_gone = matches!(source, Source::Gone(_));
            if unheld.why != Why::Drone && is_gone && unheld.is_without_finger(&older.plan) {
                (inherited.why, inherited.left) = (Why::Lingers, true);
            }
            self.notes.unheld.push(inherited);
        }
        self.notes.drone = older.notes.drone.map(|sounding| sounding.at_channel(|old| numbers.channel(old)));
    }

    /// Stands where the older engine stood; whether that is the same song.
    fn stand_like(&mut self, older: &Engine, numbers: &NewNumbers, step: &Step<'_>) -> bool {
        let plan = step.plan;
        let last = plan.entries.len().saturating_sub(1);
        let old = older.current.standing;
        let song = old.song.and_then(|entry| numbers.entry(entry));
        let entry = numbers.entry(old.entry).unwrap_or(old.entry.min(last));
        // A song that is no longer in the set gives way to what stands in its place now.
        let instead = || plan.playing(entry).filter(|_| old.song.is_some()).map(|playing| playing.entry);
        self.current.standing = Standing { entry, song: song.or_else(instead), ..Standing::default() };
        if let Some(playing) = self.current.playing(plan) {
            if song.is_some() {
                let before = older.current.playing(&older.plan);
                let transposed =
                    |before: Playing<'_>| transposed_in(old.transposed, &before.tonight.keys, &playing.tonight.keys);
                self.current.standing.transposed = before.map_or(old.transposed, transposed);
            }
            let name = older.plan.section_name(old.song.unwrap_or(0), old.section).filter(|_| song.is_some());
            self.current.stand_in_section(playing, old.order_step, name, plan);
        }
        song.is_some()
    }

    /// Puts the zones of where the set stands into use after the older engine's.
    fn use_zones_after(&mut self, older: &Engine, numbers: &NewNumbers, same_song: bool, step: &mut Step<'_>) {
        let plan = step.plan;
        let current = &mut self.current;
        current.find_zones(plan);
        // Only zones whose sound is set up as before notice nothing.
        let stays = |old: &ZoneId| {
            let new = numbers.zone(*old).filter(|_| same_song)?;
            let (before, after) = (older.plan.zone(*old), plan.zone(new));
            let same_channel = numbers.channel(before.channel) == after.channel;
            (same_channel && before.set_up == after.set_up).then_some(new)
        };
        current.before.clear();
        current.before.extend(older.current.in_use.iter().filter_map(stays));
        for old in &older.current.in_use {
            let source = numbers.source(Source::Zone(*old));
            if !source.zone().is_some_and(|zone| current.in_use.contains(&zone)) {
                self.notes.leave(source);
            }
            if let Some(zone) = numbers.zone(*old).filter(|zone| !current.in_use.contains(zone)) {
                self.hand.drop_undecided(zone, &self.plan);
            }
        }
        self.drone_ready = older.drone_ready.filter(|_| same_song).and(self.current.standing.song);
        let Engine { current, notes, .. } = self;
        let mut on = On { current, notes, step };
        for channel in on.notes.channels.all() {
            on.let_go_of_controllers(channel);
        }
        self.tell_channels(step);
        step.notice(Notice::TakenOver);
    }

    /// Stands where a performance stood that ended unexpectedly: its keys are up, and nothing is said that enters a song.
    pub(super) fn resume(&mut self, standing: Standing, step: &mut Step<'_>) {
        let plan = step.plan;
        let last = plan.entries.len().saturating_sub(1);
        let song = standing.song.filter(|entry| plan.playing(*entry).is_some());
        self.current.standing = Standing { entry: standing.entry.min(last), song, ..Standing::default() };
        if let Some(playing) = self.current.playing(plan) {
            let here = &mut self.current.standing;
            here.transposed = standing.transposed.clamp(-FURTHEST, FURTHEST);
            here.order_step = standing.order_step.min(playing.tonight.order.len() - 1);
            here.section = standing.section.min(playing.song.sections.len() - 1);
            self.current.find_shift(playing);
            self.clock.enter_song(self.current.tick(plan), step.now);
        }
        (0..plan.inputs.len()).for_each(|input| self.cues.appear(input, step.now));
        step.notice(Notice::Song);
        self.switch_zones(step);
        self.rest_cues(step, |_, _| true);
    }
}
