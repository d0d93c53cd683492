//! Inputs, cables, the page's network and pauses: what holds for the whole evening.

use super::tonight::Tonight;
use super::words::quoted;
use crate::evening::MOST_INPUTS;
use crate::map::{Diagnostic, FaultKind, Input, Output, file_name, file_names};

/// Error: no input plays. Error: more inputs than the engine hears. Error: two inputs that play and ask for one port.
/// Hint: an output that may lead back to an input.
/// Hint: an output whose name is no name of a file. Hint: two outputs that would be one file. Hint: the page is served to a
/// network. Hint: the set begins with a pause.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let gear = &tonight.book.gear;
    if let Some(input) = gear.inputs.first().filter(|_| tonight.playing().next().is_none()) {
        let title = "no key plays anything tonight: no input has play = true";
        let fault = Diagnostic::error(FaultKind::Finding, input.name.spot, title);
        found.push(fault.help("write play = true at the keyboard that is played on"));
    }
    for input in gear.inputs.iter().skip(MOST_INPUTS) {
        let title = format!("the input {} is one too many: there can be {MOST_INPUTS}", quoted(&input.name.value));
        let fault = Diagnostic::error(FaultKind::Finding, input.name.spot, title);
        found.push(fault.help("take out inputs that are not there tonight"));
    }
    one_port(tonight, found);
    loops(tonight, found);
    files(tonight, found);
    if gear.stand.is_in_network() {
        let title = "in the network others can read what the page shows and what is pressed on it, and change it";
        let help = "no passcode is sent, but a weak one can be guessed from what is: use a network of your own, and a long passcode that is used nowhere else";
        found.push(Diagnostic::hint(gear.stand.spot, title).help(help));
    }
    let entries = &tonight.book.set.entries;
    if let Some(first) = entries.first().filter(|first| first.song.is_none()) {
        let hint =
            Diagnostic::hint(first.spot, "the set begins with a pause: the keys play nothing until the first song");
        let help = "put a song before it, whose zones the keys then play in the pause too, or leave it so";
        found.push(hint.help(help));
    }
}

/// Playing inputs that are one port by what the gear says.
fn one_port(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let inputs: Vec<&Input> = tonight.playing().map(|(_, input)| input).collect();
    for (number, second) in inputs.iter().enumerate() {
        if let Some(first) = inputs[..number].iter().find(|first| is_one_port(first, second)) {
            let (one, other) = (quoted(&first.name.value), quoted(&second.name.value));
            let title = format!("the inputs {one} and {other} have one port: each of its keys plays twice");
            let fault = Diagnostic::error(FaultKind::Finding, second.port.spot, title).label("the same port");
            let help = "write a longer part of each port's name, the serial of each, or the channel that each receives";
            found.push(fault.also(first.port.spot, "the same port").help(help));
        }
    }
}

/// Whether two inputs ask for the same port and receive the same of it.
pub(super) fn is_one_port(one: &Input, other: &Input) -> bool {
    let overlap = one.channel.is_none() || other.channel.is_none() || one.channel == other.channel;
    let named = one.port.value.trim().eq_ignore_ascii_case(other.port.value.trim());
    overlap && named && one.serial == other.serial
}

/// Outputs of which takes and replays make files that are called otherwise.
fn files(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let outputs = &tonight.book.gear.outputs;
    let names = file_names(outputs.iter().map(|output| output.name.value.as_str()));
    for (number, (output, name)) in outputs.iter().zip(&names).enumerate() {
        let own = output.name.value.as_str();
        let plain = file_name(own);
        if plain != own {
            let title = format!("the output {} cannot give a file its name", quoted(own));
            let help = "in takes and replays its file is called otherwise: take letters, digits, blanks and - for the name, 200 at most";
            found.push(Diagnostic::hint(output.name.spot, title).help(help));
        }
        if *name == plain {
            continue;
        }
        let is_same = |other: &&Output| file_name(&other.name.value).to_lowercase() == plain.to_lowercase();
        if let Some(first) = outputs.iter().take(number).find(is_same) {
            let title = format!("the outputs {} and {} would be one file", quoted(&first.name.value), quoted(own));
            let hint = Diagnostic::hint(output.name.spot, title).also(first.name.spot, "the first");
            found.push(hint.help("in takes and replays the second one gets a number: give it another name"));
        }
    }
}

/// Whether an output and an input may lead to one port, as far as their names tell.
pub(super) fn may_be_one_port(output: &Output, input: &Input) -> bool {
    let plain = |name: &str| name.trim().to_lowercase();
    let comes_from = plain(&input.port.value);
    output
        .port
        .as_ref()
        .map(|port| plain(&port.value))
        .is_some_and(|leads_to| leads_to.contains(&comes_from) || comes_from.contains(&leads_to))
}

/// Outputs whose port's name may be an input's too. One that only steers (play = false) hears nothing that comes back
/// to matter, unless clock or system exclusive messages go there.
fn loops(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let gear = &tonight.book.gear;
    for output in &gear.outputs {
        let Some(port) = &output.port else { continue };
        let meant =
            |input: &&Input| (input.play || output.pass_clock || output.pass_sysex) && may_be_one_port(output, input);
        if let Some(input) = gear.inputs.iter().find(meant) {
            let (one, other) = (quoted(&output.name.value), quoted(&input.name.value));
            let title = format!("the output {one} may lead back to the input {other}: both may mean one port");
            let hint = Diagnostic::hint(port.spot, title).label("sent here").also(input.port.spot, "received here");
            let help = match input.play {
                true => {
                    "if it is one instrument, turn its local control off, or each key sounds twice there, and see that it does not send on what it receives"
                }
                false => {
                    "see that it does not send on what it receives, or clock and system exclusive messages go in circles"
                }
            };
            found.push(hint.help(help));
        }
    }
}
