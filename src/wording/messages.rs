//! Messages in the words of the maps, also those to whole machines.

use crate::midi::machine_control;
use crate::midi::words::describe_in;
use crate::music::Speller;

/// Machine Control commands by number (RP-013).
const COMMANDS: [(u8, &str); 6] =
    [(0x01, "stop"), (0x02, "play"), (0x04, "forward"), (0x05, "rewind"), (0x06, "record"), (0x09, "pause")];

/// A message in words, its note spelled as at its moment. What has no words in the maps stays bytes.
pub(crate) fn spoken(bytes: &[u8], speller: &Speller) -> String {
    match *bytes {
        [0xF3, song] => format!("song select {}", u16::from(song) + 1),
        [0xFA] => "clock start".to_owned(),
        [0xFB] => "clock continue".to_owned(),
        [0xFC] => "clock stop".to_owned(),
        // The two bits above the hours say how many frames a second has.
        [0xF0, 0x7F, _, 0x06, 0x44, 0x06, 0x01, hours, minutes, seconds, frames, _, 0xF7] => {
            let hours = hours & 0x1F;
            match frames {
                0 => format!("locate {hours}:{minutes:02}:{seconds:02}"),
                _ => format!("locate {hours}:{minutes:02}:{seconds:02}:{frames:02}"),
            }
        }
        _ => {
            let command = machine_control::command(bytes);
            let word = command.and_then(|command| COMMANDS.iter().find(|(known, _)| *known == command));
            word.map_or_else(|| describe_in(bytes, speller), |(_, word)| format!("transport {word}"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::machine_control::{Transport, locate};
    use crate::music::Key;

    #[test]
    fn what_maps_can_say_has_their_words() {
        let speller = Speller::from("Eb".parse::<Key>().expect("a key"));
        let said = |bytes: &[u8]| spoken(bytes, &speller);
        for word in ["stop", "play", "pause", "record", "rewind", "forward"] {
            let transport: Transport = word.parse().expect("a transport");
            assert_eq!(said(&transport.bytes()), format!("transport {word}"));
        }
        assert_eq!(said(&locate("00:01:30:00").expect("a place")), "locate 0:01:30");
        assert_eq!(said(&locate("01:01:30:12").expect("a place")), "locate 1:01:30:12");
        assert_eq!(said(&[0xF3, 2]), "song select 3");
        assert_eq!(said(&[0xFC]), "clock stop");
        assert_eq!(said(&[0x90, 63, 5]), "on Eb4 5");
        assert_eq!(said(&[0xF0, 0x7E, 0x7F, 6, 1, 0xF7]), "bytes F0 7E 7F 06 01 F7");
    }
}
