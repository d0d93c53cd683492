//! Connections to our ports that others made, and that are made again when the other side comes back.
//!
//! A connection that ends with one of its ports was not meant to end; one that ends while both live was taken away by
//! a person, and is forgotten. Many programs take their connections away themselves just before they end, so a port
//! that ends soon after its connection counts as the reason for it.

use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};

use super::{Side, Wish};

/// A program that ends takes its connections away so shortly before its ports; a guess, generous.
const PARTING: Duration = Duration::from_secs(2);
/// Connections that are kept in mind while the other side is away; the oldest are forgotten beyond that.
const KEPT: usize = 64;

/// A connection that somebody else made between a program and one of our ports.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Connection {
    /// Whether our port is an input's or an output's.
    pub side: Side,
    /// The gear file's name of that input or output.
    pub port: String,
    /// The names of the port at the other end, as [`super::Listed::name`] gives them.
    pub peer: String,
}

#[derive(Debug)]
struct Bond<A> {
    side: Side,
    number: usize,
    peer: String,
    /// Where the other side is, while it is connected.
    at: Option<A>,
}

/// The connections that others made; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct Bonds<A> {
    inputs: Vec<String>,
    outputs: Vec<String>,
    bonds: Vec<Bond<A>>,
    /// Connections that were taken away, and when; they may turn out to belong to programs that just end.
    parted: Vec<(Bond<A>, Instant)>,
    reconnect: bool,
}

impl<A: Copy + PartialEq> Bonds<A> {
    /// Begins with what is remembered, as far as the gear file still has it.
    pub(super) fn new(wish: &Wish) -> Self {
        let inputs: Vec<String> = wish.inputs.iter().map(|input| input.name.clone()).collect();
        let outputs: Vec<String> = wish.outputs.iter().map(|output| output.name.clone()).collect();
        let of = |known: &Connection| {
            let names = if known.side == Side::Input { &inputs } else { &outputs };
            let number = names.iter().position(|name| *name == known.port)?;
            Some(Bond { side: known.side, number, peer: known.peer.clone(), at: None })
        };
        let bonds = wish.remembered.iter().filter(|_| wish.reconnect).filter_map(of).collect();
        Bonds { bonds, inputs, outputs, parted: Vec::new(), reconnect: wish.reconnect }
    }

    /// Somebody has connected a port of these names.
    pub(super) fn joined(&mut self, side: Side, number: usize, peer: &str, at: A) {
        let here = |bond: &&mut Bond<A>| bond.side == side && bond.number == number;
        if self.bonds.iter_mut().filter(here).any(|bond| bond.at == Some(at)) {
            return;
        }
        let mut away: Vec<&mut Bond<A>> = self.bonds.iter_mut().filter(here).filter(|bond| bond.at.is_none()).collect();
        let place = away.iter().position(|bond| bond.peer == peer);
        match place.or_else(|| away.iter().position(|bond| alike(&bond.peer, peer))) {
            Some(place) => {
                away[place].at = Some(at);
                away[place].peer = peer.into();
            }
            None => self.bonds.push(Bond { side, number, peer: peer.into(), at: Some(at) }),
        }
    }

    /// Somebody has taken a connection away: it is forgotten, unless its port ends soon.
    pub(super) fn parted(&mut self, side: Side, number: usize, at: A, now: Instant) {
        self.parted.retain(|(_, since)| now.saturating_duration_since(*since) < PARTING);
        let this = |bond: &Bond<A>| bond.side == side && bond.number == number && bond.at == Some(at);
        if let Some(place) = self.bonds.iter().position(this) {
            self.parted.push((self.bonds.remove(place), now));
        }
    }

    /// All ports for which `gone` holds have ended: their connections are kept in mind.
    pub(super) fn ended(&mut self, gone: impl Fn(A) -> bool, now: Instant) {
        let is_gone = |bond: &Bond<A>| bond.at.is_some_and(&gone);
        for bond in self.bonds.iter_mut().filter(|bond| is_gone(bond)) {
            bond.at = None;
        }
        let (back, parted) = std::mem::take(&mut self.parted).into_iter().partition(|(bond, _)| is_gone(bond));
        self.parted = parted;
        let back: Vec<(Bond<A>, Instant)> = back;
        let soon = back.into_iter().filter(|(_, since)| now.saturating_duration_since(*since) < PARTING);
        self.bonds.extend(soon.map(|(bond, _)| Bond { at: None, ..bond }));
        let mut beyond = self.bonds.iter().filter(|bond| bond.at.is_none()).count().saturating_sub(KEPT);
        let reconnect = self.reconnect;
        self.bonds.retain(|bond| {
            let forget = bond.at.is_none() && (!reconnect || beyond > 0);
            beyond = beyond.saturating_sub(usize::from(forget));
            !forget
        });
    }

    /// Whose port is to be connected again with a port of these names: numbers of inputs or outputs.
    pub(super) fn missing(&self, side: Side, peer: &str) -> Vec<usize> {
        let away = || self.bonds.iter().filter(|bond| bond.side == side && bond.at.is_none());
        let mut numbers: Vec<usize> = away().filter(|bond| bond.peer == peer).map(|bond| bond.number).collect();
        if numbers.is_empty() {
            numbers = away().filter(|bond| alike(&bond.peer, peer)).map(|bond| bond.number).collect();
        }
        numbers.sort_unstable();
        numbers.dedup();
        numbers
    }

    /// What stands, and what is kept in mind.
    pub(super) fn connections(&self) -> Vec<Connection> {
        let of = |bond: &Bond<A>| {
            let names = if bond.side == Side::Input { &self.inputs } else { &self.outputs };
            let port = names.get(bond.number)?.clone();
            Some(Connection { side: bond.side, port, peer: bond.peer.clone() })
        };
        self.bonds.iter().filter_map(of).collect()
    }
}

/// Whether two names differ in nothing but the number of a process, which some programs write behind a parenthesis.
fn alike(left: &str, right: &str) -> bool {
    without_process(left) == without_process(right)
}

/// The name with `#` for three and more digits that follow a parenthesis; fewer count things, not processes.
fn without_process(name: &str) -> String {
    let mut parts = name.split('(');
    let mut plain = parts.next().unwrap_or_default().to_string();
    for part in parts {
        let rest = part.trim_start_matches(|letter: char| letter.is_ascii_digit());
        plain.push('(');
        plain.push_str(if part.len() - rest.len() >= 3 { "#" } else { &part[..part.len() - rest.len()] });
        plain.push_str(rest);
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::super::{OutputWish, Target};
    use super::*;

    fn bonds(remembered: &[&str], reconnect: bool) -> Bonds<u8> {
        let output = |name: &str| OutputWish { name: name.into(), target: Target::Virtual, optional: false };
        let of = |peer: &&str| Connection { side: Side::Output, port: "pad".into(), peer: (*peer).into() };
        let remembered = remembered.iter().map(of).collect();
        Bonds::new(&Wish { inputs: Vec::new(), outputs: vec![output("piano"), output("pad")], remembered, reconnect })
    }

    fn peers(bonds: &Bonds<u8>) -> Vec<String> {
        bonds.connections().into_iter().map(|connection| connection.peer).collect()
    }

    #[test]
    fn what_ends_with_its_port_is_wanted_again_and_what_is_taken_away_is_not() {
        let now = Instant::now();
        let mut bonds = bonds(&[], true);
        bonds.joined(Side::Output, 1, "Synth", 20);
        bonds.joined(Side::Output, 1, "Organ", 21);
        bonds.parted(Side::Output, 1, 21, now);
        bonds.ended(|at| at == 20, now);
        assert_eq!(bonds.missing(Side::Output, "Synth"), [1]);
        assert_eq!(bonds.missing(Side::Output, "Organ"), [0; 0]);
        bonds.joined(Side::Output, 1, "Synth", 30);
        assert_eq!((bonds.missing(Side::Output, "Synth"), peers(&bonds)), (vec![], vec!["Synth".to_string()]));
    }

    #[test]
    fn a_program_that_ends_properly_takes_its_connections_away_first() {
        let now = Instant::now();
        let mut bonds = bonds(&[], true);
        bonds.joined(Side::Output, 0, "Synth", 20);
        bonds.joined(Side::Output, 0, "Organ", 21);
        bonds.parted(Side::Output, 0, 20, now);
        bonds.parted(Side::Output, 0, 21, now);
        bonds.ended(|at| at == 20, now + Duration::from_millis(100));
        bonds.ended(|at| at == 21, now + Duration::from_secs(60));
        assert_eq!(peers(&bonds), ["Synth"]);
    }

    #[test]
    fn two_of_one_name_are_two() {
        let mut bonds = bonds(&["Synth", "Synth"], true);
        bonds.joined(Side::Output, 1, "Synth", 20);
        assert_eq!(bonds.missing(Side::Output, "Synth"), [1]);
        bonds.joined(Side::Output, 1, "Synth", 21);
        assert_eq!(bonds.missing(Side::Output, "Synth"), [0; 0]);
        bonds.joined(Side::Output, 1, "Synth", 21);
        assert_eq!(bonds.connections().len(), 2);
    }

    #[test]
    fn the_number_of_a_process_is_no_part_of_a_name() {
        let mut bonds = bonds(&["Synth (1234): in (1234:0)", "Synth (1234): in (1234:1)"], true);
        assert_eq!(bonds.missing(Side::Output, "Synth (20777): in (20777:0)"), [1]);
        bonds.joined(Side::Output, 1, "Synth (20777): in (20777:0)", 20);
        assert_eq!(peers(&bonds), ["Synth (20777): in (20777:0)", "Synth (1234): in (1234:1)"]);
        assert!(!alike("Organ (2)", "Organ (3)"));
    }

    #[test]
    fn nothing_is_kept_in_mind_where_the_gear_file_says_so() {
        let mut bonds = bonds(&["Synth"], false);
        bonds.joined(Side::Output, 0, "Organ", 20);
        assert_eq!(peers(&bonds), ["Organ"]);
        bonds.ended(|_| true, Instant::now());
        assert_eq!(peers(&bonds), [""; 0]);
    }

    #[test]
    fn no_more_is_kept_in_mind_than_a_stage_can_hold() {
        let mut bonds = bonds(&[], true);
        for at in 0..=u8::try_from(KEPT).unwrap() {
            bonds.joined(Side::Output, 0, &format!("Synth {at}"), at);
        }
        assert_eq!(peers(&bonds).len(), KEPT + 1);
        bonds.ended(|_| true, Instant::now());
        assert_eq!((peers(&bonds).len(), peers(&bonds)[0].as_str()), (KEPT, "Synth 1"));
    }
}
