//! How notes begin (rules R2 and R3): who will own them, what must end first, and the strikes themselves.

use super::Notes;
use super::owners::{Share, Strike};
use super::struck::{Owner, Struck};
use super::unheld::{Unheld, Why};
use crate::engine::ids::{KeyId, Source, ZoneId};
use crate::engine::step::Step;
use crate::engine::zone::PlanZone;

impl Notes {
    /// Nothing is aimed at.
    pub fn begin_strike(&mut self) {
        self.struck.clear();
    }

    /// How many notes are aimed at.
    pub fn aimed(&self) -> usize {
        self.struck.len()
    }

    /// Adds a note of a zone to what is about to be struck; `velocity` is the one on the wire.
    pub fn aim(&mut self, owner: Owner, (zone, planned): (ZoneId, &PlanZone), note: u8, velocity: u8) {
        self.struck.push(Struck {
            owner,
            zone,
            channel: planned.channel,
            note,
            velocity,
            pressure: planned.bend,
            strike: Strike::Fresh,
        });
    }

    /// What was aimed at from this index on is struck upward.
    pub fn sort_aimed(&mut self, begin: usize) {
        self.struck[begin..].sort_unstable_by_key(|struck| (struck.note, struck.owner.key()));
    }

    /// Settles who owns what was aimed at from this index on, and ends what must be struck again (rules R2 and R3).
    pub fn settle(&mut self, begin: usize, step: &mut Step<'_>) {
        for index in begin..self.struck.len() {
            self.end_fade(self.struck[index].channel, step);
            let strike = self.judge(index, step);
            self.struck[index].strike = strike;
            let struck = self.struck[index];
            let Struck { owner, zone, channel, note, velocity, pressure, .. } = struck;
            if strike == Strike::Again {
                step.note_off(channel, note, 64);
            }
            if matches!(strike, Strike::Fresh | Strike::Again) {
                self.owners.struck((channel, note), struck.striker(), velocity, step.now);
            }
            let source = Source::Zone(zone);
            match owner {
                _ if strike == Strike::Never => {}
                Owner::Key(key) => self.owners.own(key, source, (channel, note), pressure),
                Owner::Unheld(why) => {
                    let generation = self.owners.add_owner(channel, note);
                    self.unheld.push(Unheld { source, channel, note, why, left: false, generation });
                }
            }
        }
    }

    /// Strikes what was settled.
    pub fn strike(&mut self, step: &mut Step<'_>) {
        for index in 0..self.struck.len() {
            let Struck { channel, note, velocity, strike, .. } = self.struck[index];
            if matches!(strike, Strike::Fresh | Strike::Again) {
                self.channels.note_on(channel, note, velocity, step);
            }
        }
    }

    /// What the strike at this index has to do, seen after those before it.
    fn judge(&mut self, index: usize, step: &Step<'_>) -> Strike {
        let this = self.struck[index];
        let has_room = match this.owner {
            Owner::Key(key) => self.owners.has_room(key),
            Owner::Unheld(_) => self.has_room(),
        };
        if !has_room || self.holds_already(&this) {
            return Strike::Never;
        }
        if let Some(first) = self.struck[..index].iter_mut().find(|other| this.is_same_note(other)) {
            let keys = first.owner.key().zip(this.owner.key());
            if keys.is_none_or(|(first, this)| first == this) {
                // One press strikes a note once, at its first zone's turn, with the loudest velocity;
                // what is derived from it at once is of the same press.
                first.velocity = first.velocity.max(this.velocity);
            }
            return Strike::Join;
        }
        // A note that this press began before (a handful let in later, `early_ms`) is not struck again.
        let shares = if let Owner::Key(key) = this.owner { self.owners.shares(key) } else { &[] };
        let same = |share: &Share| (share.channel, share.note) == (this.channel, this.note);
        if shares.iter().any(|share| same(share) && self.owners.is_live(share)) {
            return Strike::Join;
        }
        self.owners.strike((this.channel, this.note), this.striker(), step.now, step.plan.gather)
    }

    /// Whether the zone holds the note already for the same reason.
    fn holds_already(&self, this: &Struck) -> bool {
        let Owner::Unheld(why) = this.owner else { return false };
        let wanted = (Source::Zone(this.zone), this.channel, this.note);
        self.holds(|unheld| (unheld.source, unheld.channel, unheld.note) == wanted && unheld.why == why && !unheld.left)
    }

    /// The zone takes a note over from its key; false where it has it already, or the note has ended.
    pub fn let_linger(&mut self, share: &Share) -> bool {
        let Share { source, channel, note, .. } = *share;
        let lingers = |unheld: &Unheld| {
            (unheld.source, unheld.channel, unheld.note) == (source, channel, note) && unheld.lingers()
        };
        if !self.owners.is_live(share) || !self.has_room() || self.holds(lingers) {
            return false;
        }
        let generation = share.generation();
        self.unheld.push(Unheld { source, channel, note, why: Why::Lingers, left: false, generation });
        true
    }

    /// A key lets go of a note.
    pub fn let_go(&mut self, share: &Share, velocity: u8, step: &mut Step<'_>) {
        if self.owners.remove_owner(share.channel, share.note, share.generation()) {
            step.note_off(share.channel, share.note, velocity);
        }
    }

    /// Pressure of one key goes once to each note that it owns (rule R7).
    pub fn press_harder(&mut self, key: KeyId, value: u8, step: &mut Step<'_>) {
        let shares = self.owners.shares(key);
        for (index, share) in shares.iter().enumerate() {
            let reaches = |share: &Share| share.pressure && self.owners.is_live(share);
            let same = |other: &Share| (other.channel, other.note) == (share.channel, share.note);
            let said = shares[..index].iter().any(|other| same(other) && reaches(other));
            if reaches(share) && !said {
                step.send_short(share.channel, 0xA0, share.note, value);
            }
        }
    }
}
