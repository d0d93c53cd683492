//! `handspan status`: the state of the handspan that plays.

use std::path::Path;

use super::console::{Failure, tell, tell_json};
use super::reach::{self, Meant};
use crate::daemon::control::Ask;
use crate::daemon::state::{PortState, State};
use crate::map::clean;
use crate::wording;

pub(super) fn run(json: bool, name: Option<&str>) -> Result<(), Failure> {
    match reach::meant(name)? {
        Meant::One(folder, name) => {
            let state = state(&folder, &name)?;
            if json {
                let unwritable = |error| Failure::Failed(format!("the state cannot be written as JSON: {error}"));
                tell_json(&serde_json::to_string_pretty(&state).map_err(unwritable)?);
            } else {
                lines(&state).iter().for_each(|line| tell(&clean(line)));
            }
            Ok(())
        }
        Meant::Several(_, names) if json => Err(reach::say_which(&names)),
        Meant::Several(folder, names) => {
            for name in names {
                // One that ends at this moment is no longer in the list.
                if let Ok(state) = state(&folder, &name) {
                    tell(&clean(&format!("{name}: {}, {}", state.set.title, here(&state))));
                }
            }
            tell("Several run: `handspan status --name NAME` says more of one.");
            Ok(())
        }
    }
}

pub(super) fn state(folder: &Path, name: &str) -> Result<State, Failure> {
    let answer = reach::ask(folder, name, Ask::Status)?;
    answer.state.ok_or(Failure::Failed(answer.words))
}

/// Where the set stands.
fn here(state: &State) -> String {
    let pause = if state.entry.pause { ": a pause" } else { "" };
    format!("{}/{} {}{pause}", state.entry.position, state.set.entries, state.entry.title)
}

/// All of it, in lines.
pub(super) fn lines(state: &State) -> Vec<String> {
    let mut lines = vec![
        format!("{} plays {} ({}) since {}", state.name, state.set.title, state.set.file, state.running_since),
        format!("  {}", here(state)),
    ];
    lines.extend(state.entry.remark.iter().map(|remark| format!("  {remark}")));
    if let Some(song) = &state.song {
        if state.entry.pause {
            lines.push(format!("  the keys play {}", song.title));
        }
        if let Some(section) = &song.section {
            let next = section.next.as_ref().map_or_else(String::new, |next| format!("  → {next}"));
            lines.push(format!("  {} ({} of {}){next}", section.name, section.step, section.of));
            lines.extend(section.remark.iter().map(|remark| format!("  {remark}")));
        }
        let keys = &song.keys;
        lines.push(format!(
            "  {}",
            wording::keys::now(&keys.room, keys.transposed_by_hand, &keys.fingers, keys.shift, &keys.chart)
        ));
        let zones = song.zones.iter().map(|zone| match (zone.on, zone.in_use) {
            (true, true) => zone.name.clone(),
            (true, false) => format!("{} (not in this section)", zone.name),
            (false, _) => format!("{} (off)", zone.name),
        });
        lines.push(format!("  zones: {}", zones.collect::<Vec<_>>().join(", ")));
    } else {
        lines.push("  the keys play nothing yet".to_owned());
    }
    if state.drone {
        lines.push("  the drone is on".to_owned());
    }
    lines.extend(state.cues.iter().map(|name| format!("  {name} is on")));
    let next = state.next_song.as_deref().map(|title| wording::keys::next_song(title, state.next_song_key.as_deref()));
    lines.extend(next.map(|next| format!("  {next}")));
    let beats = |tempo: Option<f64>| tempo.map_or_else(String::new, |tempo| format!(", ♩ = {tempo:.1}"));
    if let Some(at) = &state.tracks {
        let runs = if at.running { "run" } else { "have stopped" };
        lines.push(format!("  the tracks {runs} at bar {}, beat {}{}", at.bar, at.beat, beats(at.tempo)));
    }
    lines.extend(state.tempo.zip(state.tempo_late_us).map(|(tempo, late)| {
        let late = late as f64 / 1000.0;
        format!("  clock given: ♩ = {tempo:.1}, 99 of 100 ticks less than {late:.2} ms late")
    }));
    lines.extend(state.latency_us.map(|took| {
        let took = took as f64 / 1000.0;
        format!("  from a message in to the last byte out: 99 of 100 take less than {took:.2} ms")
    }));
    if state.not_sent > 0 {
        lines.push(format!("  not sent as the set began, resend-messages sends it: {}", state.not_sent));
    }
    lines.extend(ports("inputs", &state.inputs));
    lines.extend(ports("outputs", &state.outputs));
    lines.extend(state.set.unsaved.iter().map(|change| format!("  not saved: {change}")));
    lines.push(counts(state));
    lines
}

fn ports(what: &str, ports: &[PortState]) -> Option<String> {
    let words = ports.iter().map(|port| match (port.connected, &port.port) {
        (true, _) => port.name.clone(),
        (false, port_name) => wording::ports::not_connected(&port.name, port_name.is_none()),
    });
    let words: Vec<String> = words.collect();
    (!words.is_empty()).then(|| format!("  {what}: {}", words.join(", ")))
}

fn counts(state: &State) -> String {
    let counts = &state.counts;
    let all = [
        (counts.refused, "refused by an output"),
        (counts.dropped_overload, "dropped because they came too fast"),
        (counts.dropped, "malformed or too late"),
        (counts.overruns, "losses on the way here"),
        (counts.out_of_range, "notes outside the MIDI range"),
        (counts.not_understood, "of no known form"),
        (counts.reports_lost, "reports lost"),
    ];
    let words = all.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!("{count} {what}"));
    let words: Vec<String> = words.collect();
    if words.is_empty() { "  nothing was left out".to_owned() } else { format!("  left out: {}", words.join(", ")) }
}
