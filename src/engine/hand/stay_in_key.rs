//! Stay in key (rule R12): a wrong note becomes the nearest that fits, or none.

use crate::engine::ids::KeyId;
use crate::engine::notes::On;
use crate::engine::zone::PlanZone;
use crate::map::StayInKey;
use crate::music::Classes;

impl On<'_, '_> {
    /// The key that a zone hears for a pressed one; `None`: the key is not in the zone.
    pub(super) fn chosen(&self, id: KeyId, zone: &PlanZone) -> Option<u8> {
        let key = id.key();
        if zone.stay == StayInKey::Off {
            return Some(key);
        }
        let fits = self.current.fits(self.step.plan)?;
        match zone.stay {
            _ if fits.contains(key) => Some(key),
            StayInKey::Silent => None,
            _ => self.nearest(id, fits),
        }
    }

    /// The closest key that fits; of two as close, the one whose pitch class another held key of this input has, else
    /// the lower.
    fn nearest(&self, id: KeyId, fits: Classes) -> Option<u8> {
        let fitting = |key: Option<u8>| key.filter(|key| *key < 128 && fits.contains(*key));
        for away in 1..12 {
            let (lower, upper) = (fitting(id.key().checked_sub(away)), fitting(id.key().checked_add(away)));
            match (lower, upper) {
                (Some(lower), Some(upper)) => {
                    let held = self.held_classes(id);
                    return Some(if held.contains(upper) && !held.contains(lower) { upper } else { lower });
                }
                (None, None) => {}
                (one, other) => return one.or(other),
            }
        }
        None
    }

    /// Pitch classes of the other keys of a key's input that are down.
    fn held_classes(&self, id: KeyId) -> Classes {
        let others = self.notes.owners.down().filter(|other| other.input() == id.input() && *other != id);
        others.fold(Classes::NONE, |classes, other| classes.with(other.key()))
    }
}
