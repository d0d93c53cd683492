//! MIDI Machine Control (RP-013): what tells a recorder or player of tracks to start, stop and wind.
//!
//! A command is `F0 7F device 06 command F7`. We always address device 7F, which is every device.

use std::str::FromStr;

/// What a transport is told to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Transport {
    /// Stop.
    Stop,
    /// Play.
    Play,
    /// Pause.
    Pause,
    /// Record from here on ("record strobe").
    Record,
    /// Wind backward.
    Rewind,
    /// Wind forward.
    Forward,
}

/// Why a text names no transport command.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no transport command: write stop, play, pause, record, rewind or forward")]
pub struct TransportError(pub String);

/// Why a text names no place on a tape.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is no place to locate: write hours, minutes, seconds and frames, at 24 frames a second, such as \"00:01:30:00\""
)]
pub struct LocateError(pub String);

impl Transport {
    /// The six bytes of the command, to all devices.
    #[must_use]
    pub fn bytes(self) -> [u8; 6] {
        let command = match self {
            Transport::Stop => 0x01,
            Transport::Play => 0x02,
            Transport::Forward => 0x04,
            Transport::Rewind => 0x05,
            Transport::Record => 0x06,
            Transport::Pause => 0x09,
        };
        [0xF0, 0x7F, 0x7F, 0x06, command, 0xF7]
    }

    /// Whether it sets the machine going, so that it must not be said unasked (rule R8).
    #[must_use]
    pub fn starts(self) -> bool {
        !matches!(self, Transport::Stop | Transport::Pause)
    }
}

/// The command of a message to any device, without data; `None` for any other message. "Deferred play" counts as play.
#[must_use]
pub fn command(message: &[u8]) -> Option<u8> {
    match *message {
        [0xF0, 0x7F, _, 0x06, 0x03, 0xF7] => Some(0x02),
        [0xF0, 0x7F, _, 0x06, command, 0xF7] => Some(command),
        _ => None,
    }
}

impl FromStr for Transport {
    type Err = TransportError;

    fn from_str(text: &str) -> Result<Self, TransportError> {
        Ok(match text {
            "stop" => Transport::Stop,
            "play" => Transport::Play,
            "pause" => Transport::Pause,
            "record" => Transport::Record,
            "rewind" => Transport::Rewind,
            "forward" => Transport::Forward,
            _ => return Err(TransportError(text.to_owned())),
        })
    }
}

/// The bytes that send a machine to a place, given as `hours:minutes:seconds:frames`, two digits each,
/// 00:00:00:00 to 23:59:59:23. The time code type in the hours' byte is 0, 24 frames a second
/// (RP-013 takes it from the time code's full message, RP-004/008 p. 5); the subframes are 0.
///
/// # Errors
/// The text is not written so, or a part is too large.
pub fn locate(text: &str) -> Result<[u8; 13], LocateError> {
    let [hours, minutes, seconds, frames] = places(text).ok_or_else(|| LocateError(text.to_owned()))?;
    Ok([0xF0, 0x7F, 0x7F, 0x06, 0x44, 0x06, 0x01, hours, minutes, seconds, frames, 0x00, 0xF7])
}

/// Reads the four two-digit numbers, each below its limit.
fn places(text: &str) -> Option<[u8; 4]> {
    let mut parts = text.split(':');
    let mut places = [0; 4];
    for (place, limit) in places.iter_mut().zip([24, 60, 60, 24]) {
        let [tens @ b'0'..=b'9', ones @ b'0'..=b'9'] = parts.next()?.as_bytes() else { return None };
        *place = (tens - b'0') * 10 + (ones - b'0');
        if *place >= limit {
            return None;
        }
    }
    parts.next().is_none().then_some(places)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commands_are_six_bytes_to_all_devices() {
        // RP-013, index list of commands.
        for (text, command) in
            [("stop", 0x01), ("play", 0x02), ("forward", 0x04), ("rewind", 0x05), ("record", 0x06), ("pause", 0x09)]
        {
            let transport: Transport = text.parse().unwrap();
            assert_eq!(transport.bytes(), [0xF0, 0x7F, 0x7F, 0x06, command, 0xF7], "{text}");
            assert!(crate::midi::decode(&transport.bytes()).is_ok());
        }
        assert_eq!(
            "Play".parse::<Transport>().unwrap_err().to_string(),
            "\"Play\" is no transport command: write stop, play, pause, record, rewind or forward"
        );
    }

    #[test]
    fn only_stop_and_pause_set_nothing_going() {
        let starting = ["stop", "play", "pause", "record", "rewind", "forward"]
            .map(|text| text.parse::<Transport>().unwrap().starts());
        assert_eq!(starting, [false, true, false, true, true, true]);
    }

    #[test]
    fn locate_carries_the_place() {
        // RP-013, LOCATE [TARGET]; the layout of its bytes is from memory.
        let bytes = [0xF0, 0x7F, 0x7F, 0x06, 0x44, 0x06, 0x01, 0, 1, 30, 0, 0, 0xF7];
        assert_eq!(locate("00:01:30:00"), Ok(bytes));
        let latest = locate("23:59:59:23").unwrap();
        assert_eq!(latest[7..12], [23, 59, 59, 23, 0]);
        assert!(crate::midi::decode(&latest).is_ok());
    }

    #[test]
    fn a_place_that_is_not_one_is_refused() {
        for text in [
            "",
            "00:01:30",
            "00:01:30:00:00",
            "24:00:00:00",
            "00:60:00:00",
            "00:00:60:00",
            "00:00:00:24",
            "0:1:30:0",
            "00:01:30:+1",
            "00:01:30;00",
            "000:01:30:00",
            "00:01:30:0٣",
        ] {
            assert_eq!(locate(text), Err(LocateError(text.to_owned())), "{text}");
        }
        assert_eq!(
            locate("90").unwrap_err().to_string(),
            "\"90\" is no place to locate: write hours, minutes, seconds and frames, at 24 frames a second, \
             such as \"00:01:30:00\""
        );
    }
}
