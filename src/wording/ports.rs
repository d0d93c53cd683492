//! Inputs and outputs, and what is connected to them.

/// An input is lost (rule R17).
pub(crate) fn input_lost(name: &str) -> String {
    format!("{name} is not connected: its notes have ended, its pedals are up. Plug it in again.")
}

/// An input is back.
pub(crate) fn input_back(name: &str) -> String {
    format!("{name} is connected again.")
}

/// An output is lost, or nothing is connected to it any longer.
pub(crate) fn output_lost(name: &str) -> String {
    format!("Nothing is connected to output {name}.")
}

/// An output is back, or something was connected to it (rule R21).
pub(crate) fn output_back(name: &str) -> String {
    format!("Output {name} is connected, and its sounds are set up.")
}

/// The port of an input or output is there and cannot be opened.
pub(crate) fn held(name: &str) -> String {
    format!("The port of {name} is there and cannot be opened; most likely another program has it. Close that program.")
}

/// An output was silenced at the start (rule R16).
pub(crate) fn silenced(name: &str) -> String {
    format!("Output {name} was silenced, because the last run ended unexpectedly.")
}

/// An output did not take a message.
pub(crate) fn refused(name: &str) -> String {
    format!("Output {name} refused a message: what is connected to it is too slow.")
}

/// The system lost messages of inputs.
pub(crate) const OVERRUN: &str = "The system lost messages on their way here: the notes of all keys were ended.";

/// What is connected to our ports, as pairs from where to where.
pub(crate) fn connections(pairs: &[(&str, &str)]) -> String {
    let words: Vec<String> = pairs.iter().map(|(from, to)| format!("{from} to {to}")).collect();
    if words.is_empty() { "Nothing is connected.".to_owned() } else { format!("Connected: {}.", words.join(", ")) }
}

/// An input at the start, by the part of its port's name that the gear file has.
pub(crate) fn input(name: &str, port: &str, connected: bool) -> String {
    format!("{name} (\"{port}\") is {}", if connected { "connected" } else { "not connected yet" })
}

/// An output to a port of others at the start.
pub(crate) fn output(name: &str, port: &str, connected: bool) -> String {
    match connected {
        true => format!("{name} goes to \"{port}\""),
        false => format!("{name} (\"{port}\") is not connected yet"),
    }
}

/// An output that is a port of our own, which others connect to; where ports have one name only, it holds both.
pub(crate) fn own_output(name: &str, client: &str) -> String {
    format!("{name} waits as port \"{name}\" of \"{client}\"")
}

/// A performance whose keyboard and loudspeaker is the page; `input` is what the page plays as.
pub(crate) fn none_opened(input: Option<&str>) -> String {
    match input {
        Some(input) => format!("no ports are opened: the page plays as {input}, and sounds what the outputs get"),
        None => "no ports are opened, and no input of the gear file has play = true: the page has no keys".to_owned(),
    }
}

/// How to play a set where there is no MIDI, or no port.
pub(crate) fn without_ports(set: &str) -> String {
    format!(
        "Without any, `handspan play {set} --no-ports` is the whole performance on a page of this machine, and \
         `handspan try {set}` plays the set there."
    )
}

/// An input or output that is not connected, in a list; `own` is a port of our own.
pub(crate) fn not_connected(name: &str, own: bool) -> String {
    if own { format!("{name} (nothing connected)") } else { format!("{name} (not connected)") }
}
