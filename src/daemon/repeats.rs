//! What of a stream of messages is worth telling: whatever is new, every switch, and of what turns all the time only
//! now and then.

use std::collections::HashMap;
use std::time::{Duration, Instant};

/// What turns all the time is told so often at most.
const OFTEN: Duration = Duration::from_millis(300);
/// From here on a switch is on.
const ON: u8 = 64;

/// What was told of each input.
#[derive(Debug, Default)]
pub(crate) struct Repeats {
    /// When something of this kind was told last, and whether it was on then.
    told: HashMap<(usize, Vec<u8>), (Instant, bool)>,
}

impl Repeats {
    /// Whether a message of an input is worth telling now, and if so whether it is the first of its kind.
    pub(crate) fn tells(&mut self, input: usize, bytes: &[u8], now: Instant) -> Option<bool> {
        let status = *bytes.first()?;
        let kind = match status & 0xF0 {
            0x90 | 0xA0 | 0xB0 => bytes.iter().take(2),
            0xF0 => bytes.iter().take(bytes.len()),
            _ => bytes.iter().take(1),
        };
        let kind = (input, kind.copied().collect::<Vec<u8>>());
        let on = bytes.get(2).is_some_and(|value| *value >= ON);
        let before = self.told.get(&kind).copied();
        let is_switch = status & 0xF0 == 0x90 || before.is_some_and(|(_, was_on)| was_on != on);
        if !is_switch && before.is_some_and(|(at, _)| now.saturating_duration_since(at) < OFTEN) {
            return None;
        }
        self.told.insert(kind, (now, on));
        Some(before.is_none())
    }

    /// Whether nothing of this input was told.
    pub(crate) fn is_new(&self, input: usize) -> bool {
        !self.told.keys().any(|(known, _)| *known == input)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wheel_is_told_now_and_then_and_a_switch_each_time() {
        let (mut repeats, begin) = (Repeats::default(), Instant::now());
        let mut tells = |bytes: &[u8], after: u64| repeats.tells(0, bytes, begin + Duration::from_millis(after));
        assert_eq!(tells(&[0xB0, 1, 10], 0), Some(true));
        assert_eq!(tells(&[0xB0, 1, 11], 10), None);
        assert_eq!(tells(&[0xB0, 1, 12], 310), Some(false));
        assert_eq!(tells(&[0xB0, 64, 127], 311), Some(true));
        assert_eq!(tells(&[0xB0, 64, 0], 312), Some(false));
        assert_eq!(tells(&[0xB0, 64, 127], 313), Some(false));
        assert_eq!([tells(&[0x90, 60, 80], 314), tells(&[0x90, 60, 80], 315)], [Some(true), Some(false)]);
        assert_eq!([tells(&[0xC0, 4], 316), tells(&[0xC0, 5], 317)], [Some(true), None]);
        assert_eq!(tells(&[], 318), None);
        assert!(!repeats.is_new(0) && repeats.is_new(1));
    }
}
