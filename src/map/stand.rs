//! Reads the `[stand]` table of the gear file: where the page is served, and who can control and who can view only.

use core::net::SocketAddr;

use super::allowed::LETTERS_OF_PASSCODES;
use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::names::Names;
use super::reader::{Fields, Value};
use super::{Input, Stand};

/// Who sits in the hall must not find a passcode by trying.
const SHORTEST: usize = 8;

/// What stands in documents or is tried first; anybody may have read it.
const KNOWN: [&str; 9] = [
    "snow on the weir",
    "lanterns",
    "eight letters or more",
    "three words of a song",
    "password",
    "passcode",
    "handspan",
    "12345678",
    "qwertyui",
];

/// The fewest different letters.
const FEWEST: usize = 4;

/// Reads the table; without one the page is for this machine alone.
pub(super) fn read(top: &mut Fields<'_>, inputs: &[Input], names: &Names) -> Stand {
    let first = inputs.iter().position(|input| input.play);
    let usual = Stand { input: first, ..Stand::default() };
    let Some(mut fields) = top.take("stand").and_then(|value| value.table("the stand")) else { return usual };
    let listen = fields.take("listen");
    let (asked, spot) = (listen.is_some(), listen.as_ref().map(|value| value.spot));
    let address = match &listen {
        Some(value) => address(value),
        None => usual.listen,
    };
    let mut passcode = |name| fields.take(name).and_then(|value| Some((value.spot, passcode(&value)?)));
    let (moving, viewing) = (passcode("passcode"), passcode("viewing_passcode"));
    let open = moving.is_none() && !fields.has("passcode");
    if let (Some(value), true, Some(address)) = (&listen, open, address)
        && !address.ip().is_loopback()
    {
        let help = "write for example passcode = \"eight letters or more\" below it, or listen = \"127.0.0.1:7340\" for this machine alone";
        value.finding("without a passcode everybody in the network could control the set", help);
    }
    match (&moving, &viewing) {
        (None, Some((spot, _))) if open => {
            let title = "there is a passcode to view the page, but none to control the set";
            let fault = Diagnostic::error(FaultKind::Finding, *spot, title);
            fields.map_file.report(fault.help("write passcode = \"…\" too, or take this one out"));
        }
        (Some((first, moving)), Some((second, viewing))) if moving == viewing => {
            let title = "both passcodes are the same";
            let fault =
                Diagnostic::error(FaultKind::Finding, *second, title).label("to view").also(*first, "to control");
            fields.map_file.report(
                fault.help("choose another for one of them: who may only view must not know the one to control"),
            );
        }
        _ => {}
    }
    let input = fields.take("input").and_then(|value| input(&value, inputs, names)).or(first);
    fields.done();
    let code = |code: Option<(_, String)>| code.map(|(_, code)| code);
    Stand { listen: address, asked, spot, passcode: code(moving), viewing_passcode: code(viewing), input }
}

/// An address with a port, or none for "off".
fn address(value: &Value<'_>) -> Option<SocketAddr> {
    let text = value.text()?.value;
    if text == "off" {
        return None;
    }
    let address = text.parse::<SocketAddr>().ok();
    if address.is_none() {
        let title = format!("{} is not an address with a port", quoted(&text));
        let fault = Diagnostic::error(FaultKind::Finding, value.spot, title);
        let help = "write \"127.0.0.1:7340\" for this machine alone, this machine's own address in the network with a port (\"192.168.1.20:7340\"), \"0.0.0.0:7340\" for all its networks, or \"off\"";
        value.map_file.report(fault.help(help));
    }
    address
}

fn passcode(value: &Value<'_>) -> Option<String> {
    let text = value.text()?.value;
    let length = text.chars().count();
    let title = if length < SHORTEST {
        format!("this passcode has fewer than {SHORTEST} letters, which is too few")
    } else if length > LETTERS_OF_PASSCODES {
        format!("this passcode has more than {LETTERS_OF_PASSCODES} letters, which is too many")
    } else if text.chars().any(char::is_control) {
        "a passcode may have no control characters".to_owned()
    } else if is_known(&text) {
        "this passcode is one that others try first: it stands in a document, or in every list".to_owned()
    } else if is_repeated(&text) {
        "this passcode is a few letters over and over again".to_owned()
    } else {
        return Some(text);
    };
    let help =
        format!("write {SHORTEST} to {LETTERS_OF_PASSCODES} letters, digits or blanks that nobody else would think of");
    value.finding(title, help);
    None
}

/// Whether anybody may have read it.
fn is_known(text: &str) -> bool {
    let plain = |text: &str| text.chars().filter(|letter| letter.is_alphanumeric()).collect::<String>().to_lowercase();
    let text = plain(text);
    KNOWN.iter().any(|known| text.starts_with(&plain(known)) && text.len() <= plain(known).len() + 2)
}

/// Whether it is one part over and over again, or has hardly any different letters.
fn is_repeated(text: &str) -> bool {
    let letters: Vec<char> = text.to_lowercase().chars().collect();
    let mut different = letters.clone();
    different.sort_unstable();
    different.dedup();
    let is_part = |length: usize| letters.iter().zip(letters.iter().skip(length)).all(|(one, next)| one == next);
    different.len() < FEWEST || (1..=letters.len() / 2).any(is_part)
}

/// The input that the page's keyboard plays as.
fn input(value: &Value<'_>, inputs: &[Input], names: &Names) -> Option<usize> {
    let name = value.text()?;
    names.inputs.find(value.map_file, &name)?;
    let number = inputs.iter().position(|input| input.name.value == name.value)?;
    if !inputs[number].play {
        let title =
            format!("the input {} has play = false, so the page's keyboard cannot play as it", quoted(&name.value));
        value.finding(title, "name an input with play = true");
        return None;
    }
    Some(number)
}
