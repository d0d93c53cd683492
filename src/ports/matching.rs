//! Which port a name of the gear file means.
//!
//! Part of the name is enough, any case; the best match wins, a tie is an error that lists the ties.

use super::port::{PortId, without_handles};
use super::table::PortTable;
use super::wish::{Wanted, Wish};
use super::{Direction, Fault, FoundPort, PortsError};

/// How well a name fits, the best last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum NameFit {
    Contains,
    Begins,
    Equal,
}

/// How well a port's client name, its own name, or both as `client: port` fit what is wanted.
pub(super) fn fit(wanted: &str, port: &FoundPort) -> Option<NameFit> {
    let wanted = wanted.trim().to_lowercase();
    let both = format!("{}: {}", port.client, port.port);
    [&port.client, &port.port, &both].into_iter().filter_map(|name| fit_of(&wanted, &name.to_lowercase())).max()
}

fn fit_of(wanted: &str, name: &str) -> Option<NameFit> {
    if name == wanted {
        Some(NameFit::Equal)
    } else if name.starts_with(wanted) {
        Some(NameFit::Begins)
    } else if name.contains(wanted) {
        Some(NameFit::Contains)
    } else {
        None
    }
}

/// Why a name picks no port.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Unclear {
    Missing,
    /// Places of the ports that fit equally well.
    Tied(Vec<usize>),
}

/// Picks the port that is meant. A serial number, where wanted, must be the port's.
pub(super) fn pick(wanted: &str, serial: Option<&str>, among: &[FoundPort]) -> Result<usize, Unclear> {
    let fits: Vec<(usize, NameFit)> = among
        .iter()
        .enumerate()
        .filter(|(_, port)| serial.is_none() || port.serial.as_deref() == serial)
        .filter_map(|(place, port)| Some((place, fit(wanted, port)?)))
        .collect();
    let best = fits.iter().map(|(_, fit)| *fit).max().ok_or(Unclear::Missing)?;
    let ties: Vec<usize> = fits.iter().filter(|(_, fit)| *fit == best).map(|(place, _)| *place).collect();
    if let [only] = ties[..] { Ok(only) } else { Err(Unclear::Tied(ties)) }
}

/// The ports that the system has now, by what we can do with them.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// We can listen to them.
    pub(super) sources: Vec<FoundPort>,
    /// We can send to them.
    pub(super) sinks: Vec<FoundPort>,
}

impl Found {
    pub(super) fn new<P, Q>(sources: &[(P, FoundPort)], sinks: &[(Q, FoundPort)]) -> Self {
        Found { sources: without_handles(sources), sinks: without_handles(sinks) }
    }

    /// From now on this port is news again.
    pub(super) fn forget(&mut self, port: &FoundPort) {
        self.sources.retain(|known| known != port);
        self.sinks.retain(|known| known != port);
    }

    pub(super) fn of(&self, direction: Direction) -> &[FoundPort] {
        match direction {
            Direction::Input => &self.sources,
            Direction::Output => &self.sinks,
        }
    }
}

/// For each of our ports the place of the one that it names among the sources or sinks; none for virtual outputs and
/// for optional ports that are not connected. Else all that hinders it.
pub(super) fn pick_all(wish: &Wish, found: &Found) -> Result<PortTable<Option<usize>>, PortsError> {
    let mut faults = Vec::new();
    let picked = PortTable::new(wish, |id| {
        let wanted = wish.wanted(id)?;
        let among = found.of(id.direction);
        match pick(wanted.port, wanted.serial, among) {
            Ok(place) => return Some(place),
            Err(Unclear::Missing) if wanted.optional => {}
            Err(Unclear::Missing) => faults.push(missing(id, &wanted, among)),
            Err(Unclear::Tied(ties)) => faults.push(Fault::Tied {
                direction: id.direction,
                name: wanted.name.into(),
                port: wanted.port.into(),
                ties: at(&ties, among),
            }),
        }
        None
    });
    PortsError::unless_none(faults).map(|()| picked)
}

fn missing(id: PortId, wanted: &Wanted<'_>, among: &[FoundPort]) -> Fault {
    // Those of the right name say more than all of them, where only the serial number is another.
    let of_name = |port: &&FoundPort| wanted.serial.is_some() && fit(wanted.port, port).is_some();
    let named: Vec<FoundPort> = among.iter().filter(of_name).cloned().collect();
    Fault::Missing {
        direction: id.direction,
        name: wanted.name.into(),
        port: wanted.port.into(),
        serial: wanted.serial.map(Into::into),
        there: if named.is_empty() { among.to_vec() } else { named },
    }
}

fn at(places: &[usize], among: &[FoundPort]) -> Vec<FoundPort> {
    places.iter().filter_map(|place| among.get(*place)).cloned().collect()
}

/// What an input or an output of the gear file finds among the system's ports.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Match {
    /// It looks for none: a virtual output.
    Virtual,
    /// The one that it names.
    One(FoundPort),
    /// None; those that are connected.
    Missing(Vec<FoundPort>),
    /// Several that fit equally well.
    Several(Vec<FoundPort>),
}

/// What each input and each output of `wish` would find among the `found` ports, without opening any.
#[must_use]
pub fn look_up(wish: &Wish, found: &[FoundPort]) -> (Vec<Match>, Vec<Match>) {
    let of = |direction| found.iter().filter(|port| port.direction == direction).cloned().collect();
    let found = Found { sources: of(Direction::Input), sinks: of(Direction::Output) };
    let matches = PortTable::new(wish, |id| {
        let Some(wanted) = wish.wanted(id) else { return Match::Virtual };
        let among = found.of(id.direction);
        match pick(wanted.port, wanted.serial, among) {
            Ok(place) => Match::One(among[place].clone()),
            Err(Unclear::Missing) => Match::Missing(among.to_vec()),
            Err(Unclear::Tied(ties)) => Match::Several(at(&ties, among)),
        }
    });
    (matches.inputs, matches.outputs)
}

#[cfg(test)]
mod tests {
    use super::super::{InputWish, OutputWish, Target};
    use super::*;

    fn port(client: &str, port: &str, serial: Option<&str>) -> FoundPort {
        let named = FoundPort::named(client, Direction::Input);
        FoundPort { port: port.into(), serial: serial.map(Into::into), ..named }
    }

    #[test]
    fn what_each_would_find_is_told_without_opening_anything() {
        let mut sink = port("Desk", "In", None);
        sink.direction = Direction::Output;
        let found = [port("Piano", "1", Some("A1")), port("Piano", "2", Some("A2")), sink];
        let input = |port: &str, serial: Option<&str>| InputWish {
            name: "keyboard".into(),
            port: port.into(),
            serial: serial.map(Into::into),
            optional: false,
        };
        let output = |target| OutputWish { name: "out".into(), target, optional: false };
        let wish = Wish {
            inputs: vec![input("piano", None), input("piano", Some("A2")), input("desk", None)],
            outputs: vec![output(Target::Virtual), output(Target::Port("desk".into()))],
            ..Wish::default()
        };
        let there = found[..2].to_vec();
        let (inputs, outputs) = look_up(&wish, &found);
        let second = Match::One(there[1].clone());
        assert_eq!(inputs, [Match::Several(there.clone()), second, Match::Missing(there)]);
        assert_eq!(outputs, [Match::Virtual, Match::One(found[2].clone())]);
    }

    #[test]
    fn equal_beats_begins_beats_contains_in_any_case() {
        let ports = [port("My Piano", "1", None), port("Piano Two", "1", None), port("PIANO", "1", None)];
        assert_eq!(pick("piano", None, &ports), Ok(2));
        assert_eq!(pick("piano", None, &ports[..2]), Ok(1));
        assert_eq!(pick("piano", None, &ports[..1]), Ok(0));
        assert_eq!(pick("organ", None, &ports), Err(Unclear::Missing));
    }

    #[test]
    fn client_name_port_name_and_both_count() {
        let ports = [port("Stage", "Keys", None), port("Stage", "Remote", None)];
        assert_eq!(pick("remote", None, &ports), Ok(1));
        assert_eq!(pick("stage: keys", None, &ports), Ok(0));
        assert_eq!(pick("stage", None, &ports), Err(Unclear::Tied(vec![0, 1])));
    }

    #[test]
    fn a_serial_tells_equal_keyboards_apart() {
        let ports = [port("Piano", "1", Some("A")), port("Piano", "1", Some("B")), port("Piano", "1", None)];
        assert_eq!(pick("piano", Some("B"), &ports), Ok(1));
        assert_eq!(pick("piano", Some("C"), &ports), Err(Unclear::Missing));
        assert_eq!(pick("piano", None, &ports), Err(Unclear::Tied(vec![0, 1, 2])));
    }

    #[test]
    fn all_faults_come_at_once_and_name_what_is_there() {
        let wish = Wish {
            inputs: vec![
                InputWish { name: "keyboard".into(), port: "stage".into(), serial: None, optional: false },
                InputWish { name: "pedals".into(), port: "board".into(), serial: None, optional: true },
                InputWish { name: "organ".into(), port: "piano".into(), serial: None, optional: false },
            ],
            outputs: vec![
                OutputWish { name: "desk".into(), target: Target::Port("mixing desk".into()), optional: false },
                OutputWish { name: "pad".into(), target: Target::Virtual, optional: false },
            ],
            ..Wish::default()
        };
        let sources = vec![port("Piano", "1", Some("A")), port("Piano", "1", Some("B"))];
        let faults = pick_all(&wish, &Found { sources, sinks: Vec::new() }).unwrap_err().faults;
        let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
        assert_eq!(
            texts,
            [
                "inputs.keyboard: no port has \"stage\" in its name; there are \"Piano: 1\" (serial \"A\") and \
                 \"Piano: 1\" (serial \"B\"); plug it in, correct [inputs.keyboard] in the gear file, or write \
                 optional = true there",
                "inputs.organ: \"piano\" fits \"Piano: 1\" (serial \"A\") and \"Piano: 1\" (serial \"B\") equally well; \
                 add serial = \"…\" of the right one to [inputs.organ] in the gear file",
                "outputs.desk: no port has \"mixing desk\" in its name, nor is there any other; plug it in, correct \
                 [outputs.desk] in the gear file, or write optional = true there",
            ]
        );
    }
}
