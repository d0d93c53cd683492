//! Stay in key (rule R12): a wrong note becomes the nearest that fits, or none.

use super::Engine;
use super::ledger::KeyNumber;
use super::plan::PlanZone;
use crate::map::StayInKey;
use crate::music::Classes;

impl Engine {
    /// The key that a zone hears for a pressed one; `None`: the key is not in the zone.
    pub(super) fn chosen(&self, number: KeyNumber, zone: &PlanZone) -> Option<u8> {
        let key = (number & 127) as u8;
        if zone.stay == StayInKey::Off {
            return Some(key);
        }
        let fits = self.fits()?;
        match zone.stay {
            _ if fits.contains(key) => Some(key),
            StayInKey::Silent => None,
            _ => self.nearest(number, key, fits),
        }
    }

    /// What fits in the section where we stand, in the key that the fingers play in.
    fn fits(&self) -> Option<Classes> {
        let (.., song) = self.tonight()?;
        let section = song.sections.get(self.standing.section)?;
        Some(section.fits.moved(i32::from(self.standing.finger_tonic())))
    }

    /// The closest key that fits; of two as close, the one whose pitch class another held key of this input has, else
    /// the lower.
    fn nearest(&self, number: KeyNumber, key: u8, fits: Classes) -> Option<u8> {
        let fitting = |key: Option<u8>| key.filter(|key| *key < 128 && fits.contains(*key));
        for away in 1..12 {
            let (lower, upper) = (fitting(key.checked_sub(away)), fitting(key.checked_add(away)));
            match (lower, upper) {
                (Some(lower), Some(upper)) => {
                    let held = self.held_classes(number);
                    return Some(if held.contains(upper) && !held.contains(lower) { upper } else { lower });
                }
                (None, None) => {}
                (one, other) => return one.or(other),
            }
        }
        None
    }

    /// Pitch classes of the other keys of a key's input that are down.
    fn held_classes(&self, number: KeyNumber) -> Classes {
        let others = self.ledger.down().filter(|other| other >> 11 == number >> 11 && *other != number);
        others.fold(Classes::NONE, |classes, other| classes.with((other & 127) as u8))
    }
}
