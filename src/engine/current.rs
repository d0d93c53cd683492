//! Where the set stands, and which zones that puts into use.

use super::ids::ZoneId;
use super::plan::{Plan, Playing};
use super::zone::PlanZone;
use crate::evening::{Standing, lift};
use crate::music::Classes;

/// Where the set stands, and the zones in use there.
#[derive(Debug)]
pub(super) struct Current {
    pub standing: Standing,
    /// Zones in use, in file order.
    pub in_use: Vec<ZoneId>,
    /// Those before the last change.
    pub before: Vec<ZoneId>,
    /// Which zones are on, for the current song.
    pub on: Vec<bool>,
    /// Whether a zone in use derives its notes.
    pub decides: bool,
}

impl Current {
    pub fn new(plan: &Plan) -> Current {
        Current {
            standing: Standing::default(),
            in_use: Vec::with_capacity(plan.most_zones),
            before: Vec::with_capacity(plan.most_zones),
            on: plan.zones.iter().map(|zone| zone.on).collect(),
            decides: false,
        }
    }

    /// The song whose zones the keys play, in a pause too.
    pub fn playing<'p>(&self, plan: &'p Plan) -> Option<Playing<'p>> {
        plan.playing(self.standing.song?)
    }

    /// The song that was entered and not left.
    pub fn entered<'p>(&self, plan: &'p Plan) -> Option<Playing<'p>> {
        self.playing(plan).filter(|playing| playing.entry == self.standing.entry)
    }

    /// Whether the section is one that tonight's order does not have at this step of it.
    pub fn is_aside(&self, plan: &Plan) -> bool {
        let here = |playing: Playing<'_>| usize::from(playing.tonight.order[self.standing.order_step]);
        self.playing(plan).is_some_and(|playing| here(playing) != self.standing.section)
    }

    /// Stands at a step of tonight's order.
    pub fn stand_at(&mut self, playing: Playing<'_>, order_step: usize) {
        self.standing.order_step = order_step;
        self.standing.section = usize::from(playing.tonight.order[order_step]);
        self.find_shift(playing);
    }

    /// Stands in the section of this name, at `order_step` where the order has it there, else at its first step; one that the
    /// song lacks by now gives way to what stands at `order_step`.
    pub fn stand_in_section(&mut self, playing: Playing<'_>, order_step: usize, name: Option<&str>, plan: &Plan) {
        let Playing { tonight, song, .. } = playing;
        let is_named = |section: &usize| {
            let known = song.sections[*section].name.and_then(|name| plan.section_names.get(usize::from(name)));
            known.map(String::as_str) == name
        };
        let order_step = order_step.min(tonight.order.len() - 1);
        let at = |order_step: &usize| usize::from(tonight.order[*order_step]);
        let named_step =
            [order_step].into_iter().chain(0..tonight.order.len()).find(|order_step| is_named(&at(order_step)));
        let section = (0..song.sections.len()).find(is_named).unwrap_or(at(&order_step));
        self.standing.order_step = named_step.unwrap_or(order_step);
        self.standing.section = named_step.as_ref().map_or(section, at);
        self.find_shift(playing);
    }

    /// Rule R5: tonight's shift, what the last section key adds, and what was transposed since.
    pub fn find_shift(&mut self, playing: Playing<'_>) {
        let Standing { order_step, section, transposed, .. } = self.standing;
        let lift = lift(playing.song.sections[section].key, playing.tonight.lifts[order_step]);
        self.standing.shift = playing.tonight.keys.shift_at(lift, transposed);
        self.standing.tonic = playing.tonight.keys.tonic_at(lift, transposed);
    }

    /// Puts the zones into use that are on in the section where the set stands.
    pub fn find_zones(&mut self, plan: &Plan) {
        self.in_use.clear();
        if let Some(Playing { song, .. }) = self.playing(plan) {
            let zones = &song.sections[self.standing.section].zones;
            self.in_use.extend(zones.iter().filter(|zone| self.on[zone.index()]));
        }
        self.decides = self.in_use.iter().any(|zone| plan.zone(*zone).derives());
    }

    /// From tick to tick of the clock of the section where the set stands, in nanoseconds.
    pub fn tick(&self, plan: &Plan) -> Option<u64> {
        self.playing(plan).and_then(|playing| playing.song.sections[self.standing.section].tick)
    }

    /// The velocity on the wire of a zone in use, of one after the input's curve (rule R6).
    pub fn touched(&self, (zone, planned): (ZoneId, &PlanZone), velocity: u8, plan: &Plan) -> u8 {
        let own = self.playing(plan).and_then(|Playing { song, .. }| {
            let tables = &song.sections[self.standing.section].velocity;
            tables.get(zone.index().checked_sub(song.zones.start)?)
        });
        own.unwrap_or(&planned.velocity)[usize::from(velocity)]
    }

    /// What fits in the section where the set stands, in the fingers' key (rule R12).
    pub fn fits(&self, plan: &Plan) -> Option<Classes> {
        let section = self.playing(plan)?.song.sections.get(self.standing.section)?;
        Some(section.fits.moved(i32::from(self.standing.finger_tonic())))
    }
}
