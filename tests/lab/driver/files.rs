//! Replayed files, played by the system's own player of such files.

use std::process::{Child, Command, Stdio};
use std::time::Duration;

use crate::Said;
use crate::sequencer::{Listener, Record, address, calm, taken};
use crate::sets;
use crate::take::{OUTPUTS, read_replayed, replayed, steps};

type Scenario = Box<dyn FnOnce() -> Said>;

/// Handfuls of the take; it lasts a tenth of a second for each.
const HANDFULS: u32 = 60;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("replay/files_sound_as_written_in_another_player".into(), Box::new(played_by_another))]
}

fn played_by_another() -> Said {
    let set = sets::concert("stage piano", None)?;
    let (_, folder) = replayed(&set, &steps(HANDFULS), "short")?;
    let mut playing: Vec<(&str, Listener, Record, Child)> = Vec::new();
    for output in OUTPUTS {
        let record = Record::default();
        let name = format!("Lab Ear {output}");
        let listener = Listener::instrument(&name, "in", std::slice::from_ref(&record))?;
        let to = address(&name, "in").ok_or("the listener has no port")?;
        let file = folder.join(format!("{output}.mid"));
        let player = Command::new("aplaymidi")
            .args(["--delay=0", "--port", &to])
            .arg(file)
            .stdout(Stdio::null())
            .spawn()
            .map_err(|error| format!("aplaymidi: {error}"))?;
        playing.push((output, listener, record, player));
    }
    let mut compared = 0;
    for (output, listener, record, mut player) in playing {
        let status = player.wait().map_err(|error| format!("aplaymidi: {error}"))?;
        if !status.success() {
            return Err(format!("aplaymidi ended with {status} at {output}"));
        }
        calm(&record, Duration::from_millis(100));
        drop(listener);
        // What a file has as an escape (system real-time) is not a message to this player.
        let replayed = read_replayed(&folder.join(format!("{output}.mid")))?;
        let replayed: Vec<Vec<u8>> = replayed.into_iter().filter(|message| message[0] <= 0xF0).collect();
        let heard: Vec<Vec<u8>> = taken(&record).into_iter().map(|heard| heard.bytes).collect();
        if replayed != heard || heard.is_empty() {
            let place = replayed.iter().zip(&heard).take_while(|(left, right)| left == right).count();
            let (wanted, found) = (replayed.get(place), heard.get(place));
            return Err(format!(
                "{output}: {} written, {} heard; number {place}: {wanted:02X?} became {found:02X?}",
                replayed.len(),
                heard.len()
            ));
        }
        compared += heard.len();
    }
    Ok(format!("{compared} messages"))
}
