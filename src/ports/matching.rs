//! Which port a name of the gear file means.
//!
//! Part of the name is enough, any case; the best match wins, a tie is an error that lists the ties.

use super::{Candidate, Direction, Fault, InputWish, Listed, OutputWish, Side, Target, Wish};

/// How well a name fits, the best last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Fit {
    Contains,
    Begins,
    Equal,
}

/// How well a port's client name, its own name, or both as `client: port` fit what is wanted.
pub(super) fn fit(wanted: &str, listed: &Listed) -> Option<Fit> {
    let wanted = wanted.trim().to_lowercase();
    let both = format!("{}: {}", listed.client, listed.port);
    [&listed.client, &listed.port, &both].into_iter().filter_map(|name| fit_of(&wanted, &name.to_lowercase())).max()
}

fn fit_of(wanted: &str, name: &str) -> Option<Fit> {
    if name == wanted {
        Some(Fit::Equal)
    } else if name.starts_with(wanted) {
        Some(Fit::Begins)
    } else if name.contains(wanted) {
        Some(Fit::Contains)
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
pub(super) fn pick(wanted: &str, serial: Option<&str>, among: &[Listed]) -> Result<usize, Unclear> {
    let fits: Vec<(usize, Fit)> = among
        .iter()
        .enumerate()
        .filter(|(_, listed)| serial.is_none() || listed.serial.as_deref() == serial)
        .filter_map(|(place, listed)| Some((place, fit(wanted, listed)?)))
        .collect();
    let best = fits.iter().map(|(_, fit)| *fit).max().ok_or(Unclear::Missing)?;
    let ties: Vec<usize> = fits.iter().filter(|(_, fit)| *fit == best).map(|(place, _)| *place).collect();
    if let [only] = ties[..] { Ok(only) } else { Err(Unclear::Tied(ties)) }
}

/// For each input its place among the sources, for each output its place among the sinks; none for virtual outputs
/// and for optional ports that are absent.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Picked {
    pub(super) inputs: Vec<Option<usize>>,
    pub(super) outputs: Vec<Option<usize>>,
}

/// Picks a port for all that a gear file wants, or says all that hinders it.
pub(super) fn pick_all(wish: &Wish, sources: &[Listed], sinks: &[Listed]) -> Result<Picked, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut settle = |side, name: &str, port: &str, serial: Option<&str>, optional: bool, among: &[Listed]| match pick(
        port, serial, among,
    ) {
        Ok(place) => Some(place),
        Err(Unclear::Missing) => {
            if !optional {
                faults.push(missing(side, name, port, serial, among));
            }
            None
        }
        Err(Unclear::Tied(ties)) => {
            let ties = ties.iter().map(|place| candidate(&among[*place])).collect();
            faults.push(Fault::Tied { side, name: name.into(), port: port.into(), ties });
            None
        }
    };
    let inputs = wish
        .inputs
        .iter()
        .map(|InputWish { name, port, serial, optional }| {
            settle(Side::Input, name, port, serial.as_deref(), *optional, sources)
        })
        .collect();
    let outputs = wish
        .outputs
        .iter()
        .map(|OutputWish { name, target, optional }| match target {
            Target::Virtual => None,
            Target::Port(port) => settle(Side::Output, name, port, None, *optional, sinks),
        })
        .collect();
    if faults.is_empty() { Ok(Picked { inputs, outputs }) } else { Err(faults) }
}

/// What an input or an output of the gear file finds among the system's ports.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Met {
    /// It looks for none: a virtual output.
    Own,
    /// The one that it means.
    One(Candidate),
    /// None; those that are there.
    Missing(Vec<Candidate>),
    /// Several that fit equally well.
    Several(Vec<Candidate>),
}

/// What each input and each output of `wish` would find among the `listed` ports, without opening any.
#[must_use]
pub fn meet(wish: &Wish, listed: &[Listed]) -> (Vec<Met>, Vec<Met>) {
    let side = |direction| listed.iter().filter(|port| port.direction == direction).cloned().collect::<Vec<Listed>>();
    let (sources, sinks) = (side(Direction::Input), side(Direction::Output));
    let all = |places: &[usize], among: &[Listed]| places.iter().map(|place| candidate(&among[*place])).collect();
    let met = |port: &str, serial: Option<&str>, among: &[Listed]| match pick(port, serial, among) {
        Ok(place) => Met::One(candidate(&among[place])),
        Err(Unclear::Missing) => Met::Missing(among.iter().map(candidate).collect()),
        Err(Unclear::Tied(ties)) => Met::Several(all(&ties, among)),
    };
    let inputs = wish.inputs.iter().map(|input| met(&input.port, input.serial.as_deref(), &sources));
    let outputs = wish.outputs.iter().map(|output| match &output.target {
        Target::Virtual => Met::Own,
        Target::Port(port) => met(port, None, &sinks),
    });
    (inputs.collect(), outputs.collect())
}

fn missing(side: Side, name: &str, port: &str, serial: Option<&str>, among: &[Listed]) -> Fault {
    // Those of the right name say more than all of them, where only the serial number is another.
    let named: Vec<&Listed> = among.iter().filter(|listed| serial.is_some() && fit(port, listed).is_some()).collect();
    let there = if named.is_empty() { among.iter().collect() } else { named };
    Fault::Missing {
        side,
        name: name.into(),
        port: port.into(),
        serial: serial.map(Into::into),
        there: there.into_iter().map(candidate).collect(),
    }
}

fn candidate(listed: &Listed) -> Candidate {
    Candidate { name: listed.name(), address: listed.address.clone(), serial: listed.serial.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn port(client: &str, port: &str, serial: Option<&str>) -> Listed {
        Listed {
            client: client.into(),
            port: port.into(),
            address: String::new(),
            direction: Direction::Input,
            serial: serial.map(Into::into),
            socket: None,
            ours: false,
        }
    }

    #[test]
    fn what_each_would_find_is_told_without_opening_anything() {
        let mut sink = port("Desk", "In", None);
        sink.direction = Direction::Output;
        let listed = [port("Piano", "1", Some("A1")), port("Piano", "2", Some("A2")), sink];
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
        let there: Vec<Candidate> = listed[..2].iter().map(candidate).collect();
        let (inputs, outputs) = meet(&wish, &listed);
        let second = Met::One(there[1].clone());
        assert_eq!(inputs, [Met::Several(there.clone()), second, Met::Missing(there)]);
        assert_eq!(outputs, [Met::Own, Met::One(candidate(&listed[2]))]);
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
        let sources = [port("Piano", "1", Some("A")), port("Piano", "1", Some("B"))];
        let faults = pick_all(&wish, &sources, &[]).unwrap_err();
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
