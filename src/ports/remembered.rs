//! Connections to our ports that others made, and that are made again when the other side comes back.
//!
//! A connection that ends with one of its ports was not meant to end; one that ends while both live was taken away by
//! a person, and is forgotten. Many programs take their connections away themselves just before they end, so a port
//! that ends soon after its connection counts as the reason for it.

use std::time::{Duration, Instant};

use super::port::{Connection, Direction, PortId};
use super::table::PortTable;
use super::wish::Wish;

/// A program that ends takes its connections away so shortly before its ports; a guess, generous.
const EXIT_GRACE: Duration = Duration::from_secs(2);
/// Connections that are kept in mind while the other side is away; the oldest are forgotten beyond that.
const MOST_KEPT: usize = 64;

#[derive(Debug)]
struct KnownConnection<A> {
    id: PortId,
    peer: String,
    /// Where the other side is, while it is connected.
    at: Option<A>,
}

/// The connections that others made; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct Remembered<A> {
    /// The gear file's names of our ports.
    names: PortTable<String>,
    entries: Vec<KnownConnection<A>>,
    /// Connections that were taken away, and when; they may turn out to belong to programs that just end.
    cut: Vec<(KnownConnection<A>, Instant)>,
    reconnect: bool,
}

impl<A: Copy + PartialEq> Remembered<A> {
    /// Begins with what is remembered, as far as the gear file still has it.
    pub(super) fn new(wish: &Wish) -> Self {
        let names = PortTable::new(wish, |id| wish.name(id).to_owned());
        let entry = |known: &Connection| {
            let same = |(id, name): &(PortId, &String)| id.direction == known.direction && **name == known.port;
            let (id, _) = names.iter().find(same)?;
            Some(KnownConnection { id, peer: known.peer.clone(), at: None })
        };
        let entries = wish.remembered.iter().filter(|_| wish.reconnect).filter_map(entry).collect();
        Remembered { entries, names, cut: Vec::new(), reconnect: wish.reconnect }
    }

    /// Somebody has connected a port of these names.
    pub(super) fn connected(&mut self, id: PortId, peer: &str, at: A) {
        let here = |entry: &&mut KnownConnection<A>| entry.id == id;
        if self.entries.iter_mut().filter(here).any(|entry| entry.at == Some(at)) {
            return;
        }
        let mut away: Vec<&mut KnownConnection<A>> =
            self.entries.iter_mut().filter(here).filter(|entry| entry.at.is_none()).collect();
        let place = away.iter().position(|entry| entry.peer == peer);
        match place.or_else(|| away.iter().position(|entry| alike(&entry.peer, peer))) {
            Some(place) => {
                away[place].at = Some(at);
                away[place].peer = peer.into();
            }
            None => self.entries.push(KnownConnection { id, peer: peer.into(), at: Some(at) }),
        }
    }

    /// Somebody has taken a connection away: it is forgotten, unless its port ends soon.
    pub(super) fn disconnected(&mut self, id: PortId, at: A, now: Instant) {
        self.cut.retain(|(_, since)| now.saturating_duration_since(*since) < EXIT_GRACE);
        let this = |entry: &KnownConnection<A>| entry.id == id && entry.at == Some(at);
        if let Some(place) = self.entries.iter().position(this) {
            self.cut.push((self.entries.remove(place), now));
        }
    }

    /// All ports for which `gone` holds have ended: their connections are kept in mind.
    pub(super) fn gone(&mut self, gone: impl Fn(A) -> bool, now: Instant) {
        let is_gone = |entry: &KnownConnection<A>| entry.at.is_some_and(&gone);
        for entry in self.entries.iter_mut().filter(|entry| is_gone(entry)) {
            entry.at = None;
        }
        let (back, cut) = std::mem::take(&mut self.cut).into_iter().partition(|(entry, _)| is_gone(entry));
        self.cut = cut;
        let back: Vec<(KnownConnection<A>, Instant)> = back;
        let soon = back.into_iter().filter(|(_, since)| now.saturating_duration_since(*since) < EXIT_GRACE);
        self.entries.extend(soon.map(|(entry, _)| KnownConnection { at: None, ..entry }));
        let mut beyond = self.entries.iter().filter(|entry| entry.at.is_none()).count().saturating_sub(MOST_KEPT);
        let reconnect = self.reconnect;
        self.entries.retain(|entry| {
            let forget = entry.at.is_none() && (!reconnect || beyond > 0);
            beyond = beyond.saturating_sub(usize::from(forget));
            !forget
        });
    }

    /// Which of our ports are to be connected again with a port of this name.
    pub(super) fn to_reconnect(&self, direction: Direction, peer: &str) -> Vec<PortId> {
        let away = || self.entries.iter().filter(|entry| entry.id.direction == direction && entry.at.is_none());
        let mut ids: Vec<PortId> = away().filter(|entry| entry.peer == peer).map(|entry| entry.id).collect();
        if ids.is_empty() {
            ids = away().filter(|entry| alike(&entry.peer, peer)).map(|entry| entry.id).collect();
        }
        ids.sort_unstable_by_key(|id| id.number);
        ids.dedup();
        ids
    }

    /// The connections that stand, and those that are kept in mind.
    pub(super) fn connections(&self) -> Vec<Connection> {
        let connection = |entry: &KnownConnection<A>| {
            let port = self.names.get(entry.id)?.clone();
            Some(Connection { direction: entry.id.direction, port, peer: entry.peer.clone() })
        };
        self.entries.iter().filter_map(connection).collect()
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

    fn remembered(remembered: &[&str], reconnect: bool) -> Remembered<u8> {
        let output = |name: &str| OutputWish { name: name.into(), target: Target::Virtual, optional: false };
        let of = |peer: &&str| Connection { direction: Direction::Output, port: "pad".into(), peer: (*peer).into() };
        let remembered = remembered.iter().map(of).collect();
        Remembered::new(&Wish {
            inputs: Vec::new(),
            outputs: vec![output("piano"), output("pad")],
            remembered,
            reconnect,
        })
    }

    fn peers(remembered: &Remembered<u8>) -> Vec<String> {
        remembered.connections().into_iter().map(|connection| connection.peer).collect()
    }

    #[test]
    fn what_ends_with_its_port_is_wanted_again_and_what_is_taken_away_is_not() {
        let now = Instant::now();
        let mut remembered = remembered(&[], true);
        remembered.connected(PortId::output(1), "Synth", 20);
        remembered.connected(PortId::output(1), "Organ", 21);
        remembered.disconnected(PortId::output(1), 21, now);
        remembered.gone(|at| at == 20, now);
        assert_eq!(remembered.to_reconnect(Direction::Output, "Synth"), [PortId::output(1)]);
        assert_eq!(remembered.to_reconnect(Direction::Output, "Organ"), []);
        remembered.connected(PortId::output(1), "Synth", 30);
        assert_eq!(
            (remembered.to_reconnect(Direction::Output, "Synth"), peers(&remembered)),
            (vec![], vec!["Synth".to_string()])
        );
    }

    #[test]
    fn a_program_that_ends_properly_takes_its_connections_away_first() {
        let now = Instant::now();
        let mut remembered = remembered(&[], true);
        remembered.connected(PortId::output(0), "Synth", 20);
        remembered.connected(PortId::output(0), "Organ", 21);
        remembered.disconnected(PortId::output(0), 20, now);
        remembered.disconnected(PortId::output(0), 21, now);
        remembered.gone(|at| at == 20, now + Duration::from_millis(100));
        remembered.gone(|at| at == 21, now + Duration::from_secs(60));
        assert_eq!(peers(&remembered), ["Synth"]);
    }

    #[test]
    fn two_of_one_name_are_two() {
        let mut remembered = remembered(&["Synth", "Synth"], true);
        remembered.connected(PortId::output(1), "Synth", 20);
        assert_eq!(remembered.to_reconnect(Direction::Output, "Synth"), [PortId::output(1)]);
        remembered.connected(PortId::output(1), "Synth", 21);
        assert_eq!(remembered.to_reconnect(Direction::Output, "Synth"), []);
        remembered.connected(PortId::output(1), "Synth", 21);
        assert_eq!(remembered.connections().len(), 2);
    }

    #[test]
    fn the_number_of_a_process_is_no_part_of_a_name() {
        let mut remembered = remembered(&["Synth (1234): in (1234:0)", "Synth (1234): in (1234:1)"], true);
        assert_eq!(remembered.to_reconnect(Direction::Output, "Synth (20777): in (20777:0)"), [PortId::output(1)]);
        remembered.connected(PortId::output(1), "Synth (20777): in (20777:0)", 20);
        assert_eq!(peers(&remembered), ["Synth (20777): in (20777:0)", "Synth (1234): in (1234:1)"]);
        assert!(!alike("Organ (2)", "Organ (3)"));
    }

    #[test]
    fn nothing_is_kept_in_mind_where_the_gear_file_says_so() {
        let mut remembered = remembered(&["Synth"], false);
        remembered.connected(PortId::output(0), "Organ", 20);
        assert_eq!(peers(&remembered), ["Organ"]);
        remembered.gone(|_| true, Instant::now());
        assert_eq!(peers(&remembered), [""; 0]);
    }

    #[test]
    fn no_more_is_kept_in_mind_than_a_stage_can_hold() {
        let mut remembered = remembered(&[], true);
        for at in 0..=u8::try_from(MOST_KEPT).unwrap() {
            remembered.connected(PortId::output(0), &format!("Synth {at}"), at);
        }
        assert_eq!(peers(&remembered).len(), MOST_KEPT + 1);
        remembered.gone(|_| true, Instant::now());
        assert_eq!((peers(&remembered).len(), peers(&remembered)[0].as_str()), (MOST_KEPT, "Synth 1"));
    }
}
