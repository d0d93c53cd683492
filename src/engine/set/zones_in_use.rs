//! Zones going in and out of use: what each channel must be told (rules R8 and R9), and what an output needs to be told
//! again when it comes back (R21).

use crate::engine::Engine;
use crate::engine::channels::Follows;
use crate::engine::ids::{ChannelId, Source, ZoneId};
use crate::engine::notes::On;
use crate::engine::plan::Plan;
use crate::engine::step::Step;

/// The zones of a list that are the first at their channel.
fn first_at_channel<'z>(zones: &'z [ZoneId], plan: &'z Plan) -> impl Iterator<Item = (ZoneId, ChannelId)> + 'z {
    let channel = |zone: &ZoneId| plan.zone(*zone).channel;
    zones.iter().enumerate().filter_map(move |(index, zone)| {
        let here = channel(zone);
        (!zones[..index].iter().any(|other| channel(other) == here)).then_some((*zone, here))
    })
}

impl Engine {
    /// Puts the zones of where the set stands into use, and tells each channel what it must know (rules R8 and R9).
    pub(in crate::engine) fn switch_zones(&mut self, step: &mut Step<'_>) {
        let plan = step.plan;
        let Engine { current, hand, notes, .. } = self;
        std::mem::swap(&mut current.before, &mut current.in_use);
        current.find_zones(plan);
        let mut on = On { current, notes, step };
        hand.hand_over_undecided(&mut on);
        for zone in on.current.in_use.iter().filter(|zone| !on.current.before.contains(zone)) {
            on.notes.come_back(Source::Zone(*zone), plan);
        }
        let left = first_at_channel(&on.current.before, plan);
        for (_, channel) in left {
            on.let_go_of_controllers(channel);
        }
        for (_, channel) in first_at_channel(&on.current.in_use, plan) {
            if !on.current.before.iter().any(|zone| plan.zone(*zone).channel == channel) {
                on.let_go_of_controllers(channel);
            }
        }
        self.tell_channels(step);
    }

    /// The set-up of what is newly in use, then the player's present values where they are newly followed.
    pub(in crate::engine) fn tell_channels(&mut self, step: &mut Step<'_>) {
        let plan = step.plan;
        let Engine { current, notes, controllers, .. } = self;
        for (zone, channel) in first_at_channel(&current.in_use, plan) {
            // A zone in use before and after notices nothing, nor does its channel.
            let here = |other: &&ZoneId| plan.zone(**other).channel == channel;
            let stays = current.before.iter().filter(here).any(|other| current.in_use.contains(other));
            if !stays {
                notes.set_up(channel, plan.zone(zone).set_up, step);
            }
        }
        if self.drone_ready != current.standing.song {
            self.drone_ready = current.standing.song;
            notes.set_up_drone(current, step);
        }
        for (_, channel) in first_at_channel(&current.in_use, plan) {
            controllers.take_up(channel, &mut On { current, notes, step });
        }
    }

    /// Rule R21: an output knows nothing of us any more. All that is in use there is set up afresh.
    pub(in crate::engine) fn set_up_output(&mut self, output: usize, step: &mut Step<'_>) {
        let plan = step.plan;
        let Engine { current, notes, controllers, .. } = self;
        for channel in notes.channels.all().filter(|channel| plan.is_at(*channel, output)) {
            let state = notes.channels.get_mut(channel);
            state.forget();
            state.before = Follows::default();
            notes.end_fade(channel, step);
        }
        let there = |(_, channel): &(ZoneId, ChannelId)| plan.is_at(*channel, output);
        for (zone, channel) in first_at_channel(&current.in_use, plan).filter(there) {
            notes.set_up(channel, plan.zone(zone).set_up, step);
        }
        for (_, channel) in first_at_channel(&current.in_use, plan).filter(there) {
            controllers.take_up(channel, &mut On { current, notes, step });
        }
        notes.set_up_drone_at(output, current, step);
        self.tell_cues(output, step);
        let notes = &mut self.notes;
        for channel in notes.channels.all().filter(|channel| plan.is_at(*channel, output)) {
            notes.channels.say_levels(channel, step);
        }
    }
}
