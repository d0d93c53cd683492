//! What every back end of the ports must do, as scenarios over a stage that the test controls: in memory in
//! `cargo test`, at a real sequencer in the lab.

mod connections;

use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::{
    Arrival, Direction, Fault, FoundPort, InputWish, OutputWish, Ports, PortsError, SendFault, Target, Wish,
};

/// The other programs and devices around us.
pub trait Stage {
    /// Opens the back end under test.
    fn open(&mut self, wish: &Wish) -> Result<Box<dyn Ports>, PortsError>;
    /// Something that plays appears: client name, port name. Returns its number.
    fn keyboard(&mut self, client: &str, port: &str) -> usize;
    /// It plays messages, as fast as it can.
    fn play(&mut self, keyboard: usize, messages: &[Vec<u8>]);
    /// It disappears.
    fn take_away(&mut self, keyboard: usize);
    /// Something that can be sent to appears.
    fn instrument(&mut self, client: &str, port: &str) -> usize;
    /// It disappears.
    fn take_away_instrument(&mut self, instrument: usize);
    /// A program finds our virtual output by its name and listens to it.
    fn listen(&mut self, number: usize, name: &str) -> Result<usize, String>;
    /// It stops listening.
    fn stop_listening(&mut self, listener: usize);
    /// A person connects an instrument with our virtual output.
    fn connect(&mut self, number: usize, name: &str, instrument: usize) -> Result<(), String>;
    /// A person takes that connection away.
    fn disconnect(&mut self, number: usize, name: &str, instrument: usize) -> Result<(), String>;
    /// What instruments and listeners heard since the last call, in order, once nothing more comes.
    fn heard(&mut self) -> Vec<Vec<u8>>;
}

/// A scenario: fails with what went otherwise than it must.
pub type Scenario = fn(&mut dyn Stage) -> Result<(), String>;

/// All scenarios with their names.
pub const SCENARIOS: &[(&str, Scenario)] = &[
    ("messages_of_every_kind_come_in_byte_for_byte", every_kind_in),
    ("messages_of_every_kind_go_out_byte_for_byte", every_kind_out),
    ("exclusive_messages_go_in_and_out_whole", exclusive),
    ("a_full_keyboard_at_once_loses_nothing", full_keyboard),
    ("a_waker_ends_the_wait_once", waker),
    ("missing_and_ambiguous_names_are_told_all_at_once", names),
    ("what_cannot_be_sent_is_told_and_harms_nothing_else", send_faults),
    ("an_optional_input_is_taken_up_when_it_comes", optional),
    ("a_keyboard_that_goes_is_told_and_taken_up_again", keyboard_gone_and_back),
    ("an_instrument_that_goes_is_told_and_taken_up_again", instrument_gone_and_back),
    ("a_program_that_begins_to_listen_is_told", listeners),
    ("what_others_connected_is_connected_again", connections::connected_again),
    ("what_a_person_disconnected_stays_so", connections::disconnected),
    ("nothing_is_connected_again_where_it_is_not_wished", connections::not_connected_again),
];

/// Long enough for a busy machine; only a failure waits so long. Back ends in memory do not wait at all.
const PATIENCE: Duration = Duration::from_secs(60);
/// How long nothing must come for nothing to have come.
const CALM: Duration = Duration::from_millis(150);

fn input(name: &str, port: &str, optional: bool) -> InputWish {
    InputWish { name: name.into(), port: port.into(), serial: None, optional }
}

fn output(name: &str, target: Target, optional: bool) -> OutputWish {
    OutputWish { name: name.into(), target, optional }
}

fn existing(port: &str) -> Target {
    Target::Port(port.into())
}

/// A keyboard, a virtual output and an instrument.
fn usual() -> Wish {
    Wish {
        inputs: vec![input("keyboard", "stage pia", false)],
        outputs: vec![output("piano", Target::Virtual, false), output("desk", existing("mixing"), false)],
        ..Wish::default()
    }
}

fn set_up(stage: &mut dyn Stage) -> Result<(Box<dyn Ports>, usize, usize), String> {
    let keyboard = stage.keyboard("Stage Piano", "Stage Piano MIDI 1");
    let instrument = stage.instrument("Mixing Desk", "Control");
    let ports = stage.open(&usual()).map_err(|error| error.to_string())?;
    Ok((ports, keyboard, instrument))
}

fn every_kind() -> Vec<Vec<u8>> {
    let short: [&[u8]; 17] = [
        &[0x90, 60, 100],
        &[0x90, 60, 0],
        &[0x9F, 127, 1],
        &[0x80, 60, 0],
        &[0x8F, 0, 127],
        &[0xA3, 60, 77],
        &[0xB0, 64, 127],
        &[0xB7, 123, 0],
        &[0xC5, 127],
        &[0xD6, 9],
        &[0xE0, 0, 0],
        &[0xEF, 3, 127],
        &[0xF2, 5, 64],
        &[0xF3, 7],
        &[0xF8],
        &[0xFA],
        &[0xFC],
    ];
    short.iter().map(|bytes| bytes.to_vec()).collect()
}

fn expect(ports: &mut dyn Ports, expected: Arrival<'_>) -> Result<(), String> {
    match ports.wait(Some(PATIENCE)) {
        arrival if arrival == expected => Ok(()),
        arrival => Err(format!("expected {expected:?}, got {arrival:?}")),
    }
}

fn expect_messages(ports: &mut dyn Ports, input: usize, messages: &[Vec<u8>]) -> Result<(), String> {
    for (place, message) in messages.iter().enumerate() {
        let expected = Arrival::Message { input, bytes: message };
        expect(ports, expected).map_err(|error| format!("message {place} of {}: {error}", messages.len()))?;
    }
    Ok(())
}

fn expect_calm(ports: &mut dyn Ports) -> Result<(), String> {
    match ports.wait(Some(CALM)) {
        Arrival::Quiet => Ok(()),
        arrival => Err(format!("expected nothing more, got {arrival:?}")),
    }
}

fn same(expected: &[Vec<u8>], heard: &[Vec<u8>]) -> Result<(), String> {
    if expected == heard {
        return Ok(());
    }
    let place = expected.iter().zip(heard).take_while(|(left, right)| left == right).count();
    let at =
        |messages: &[Vec<u8>]| messages.get(place).map(|message| message.iter().take(8).copied().collect::<Vec<_>>());
    let (wanted, found) = (at(expected), at(heard));
    Err(format!("{} sent, {} heard; number {place}: {wanted:02X?} became {found:02X?}", expected.len(), heard.len()))
}

fn send_all(ports: &mut dyn Ports, output: usize, messages: &[Vec<u8>]) -> Result<(), String> {
    for message in messages {
        ports.send(output, message).map_err(|fault| format!("{message:02X?}: {fault}"))?;
    }
    Ok(())
}

fn every_kind_in(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, keyboard, _) = set_up(stage)?;
    stage.play(keyboard, &every_kind());
    expect_messages(&mut *ports, 0, &every_kind())?;
    stage.play(keyboard, &[vec![0xFE]]);
    expect_messages(&mut *ports, 0, &[vec![0xFE]])?;
    expect_calm(&mut *ports)
}

fn every_kind_out(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, ..) = set_up(stage)?;
    send_all(&mut *ports, 1, &every_kind())?;
    same(&every_kind(), &stage.heard())?;
    stage.listen(0, "piano")?;
    send_all(&mut *ports, 0, &every_kind())?;
    same(&every_kind(), &stage.heard())
}

fn exclusive_of(length: usize) -> Vec<u8> {
    let data = (0..length - 2).map(|place| u8::try_from(place % 128).unwrap_or(0));
    [0xF0].into_iter().chain(data).chain([0xF7]).collect()
}

fn exclusive(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, keyboard, _) = set_up(stage)?;
    for length in [2, 6, 300, 5000] {
        send_all(&mut *ports, 1, &[exclusive_of(length)])?;
        same(&[exclusive_of(length)], &stage.heard())?;
    }
    let played = [vec![0x90, 60, 1], exclusive_of(300), vec![0x80, 60, 1]];
    stage.play(keyboard, &played);
    if ports.capabilities().receives_exclusive {
        expect_messages(&mut *ports, 0, &played)?;
    } else {
        expect_messages(&mut *ports, 0, &[played[0].clone(), played[2].clone()])?;
    }
    // One that never ends must not take the notes after it along.
    stage.play(keyboard, &[vec![0xF0, 1, 2, 3], vec![0x90, 61, 2], vec![0x80, 61, 2]]);
    expect_messages(&mut *ports, 0, &[vec![0x90, 61, 2], vec![0x80, 61, 2]])?;
    expect_calm(&mut *ports)
}

fn full_keyboard(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, keyboard, _) = set_up(stage)?;
    for status in [0x90, 0x80] {
        let keys: Vec<Vec<u8>> = (21..=108).map(|key| vec![status, key, 64]).collect();
        stage.play(keyboard, &keys);
        expect_messages(&mut *ports, 0, &keys)?;
        send_all(&mut *ports, 1, &keys)?;
        same(&keys, &stage.heard())?;
    }
    expect_calm(&mut *ports)
}

fn waker(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, keyboard, _) = set_up(stage)?;
    let waker = ports.waker();
    waker.wake();
    waker.clone().wake();
    expect(&mut *ports, Arrival::Woken)?;
    expect_calm(&mut *ports)?;
    // In the middle of a wait; those in memory do not wait and are asked again and again.
    let other = thread::spawn(move || {
        thread::sleep(CALM);
        waker.wake();
    });
    let since = Instant::now();
    let woken = loop {
        match ports.wait(Some(PATIENCE)) {
            Arrival::Quiet if since.elapsed() < PATIENCE => {}
            arrival => break arrival == Arrival::Woken,
        }
    };
    if !woken {
        return Err("the wait went on".into());
    }
    other.join().map_err(|_| "the waking thread ended badly")?;
    stage.play(keyboard, &[vec![0x90, 60, 1]]);
    expect_messages(&mut *ports, 0, &[vec![0x90, 60, 1]])
}

fn names(stage: &mut dyn Stage) -> Result<(), String> {
    stage.keyboard("Upper Board", "Keys");
    stage.keyboard("Upper Board", "Keys");
    let wish = Wish {
        inputs: vec![input("upper", "upper", false), input("lower", "lower", false), input("third", "third", true)],
        outputs: vec![output("desk", existing("no such desk"), false), output("pad", Target::Virtual, false)],
        ..Wish::default()
    };
    let Err(error) = stage.open(&wish) else { return Err("opened what is not there".into()) };
    match &error.faults[..] {
        [
            Fault::Tied { direction: Direction::Input, name: tied, ties, .. },
            Fault::Missing { direction: Direction::Input, name: lower, there, .. },
            Fault::Missing { direction: Direction::Output, name: desk, .. },
        ] if (tied.as_str(), lower.as_str(), desk.as_str()) == ("upper", "lower", "desk") => {
            let names: Vec<String> = ties.iter().map(FoundPort::name).collect();
            if names != ["Upper Board: Keys"; 2] || there.len() < 2 || ties[0].address == ties[1].address {
                return Err(format!("wrong names: {error}"));
            }
            Ok(())
        }
        _ => Err(format!("other faults: {error}")),
    }
}

fn send_faults(stage: &mut dyn Stage) -> Result<(), String> {
    stage.instrument("Mixing Desk", "Control");
    let wish = Wish {
        inputs: Vec::new(),
        outputs: vec![output("away", existing("not there"), true), output("desk", existing("mixing desk"), false)],
        ..Wish::default()
    };
    let mut ports = stage.open(&wish).map_err(|error| error.to_string())?;
    let results = [
        ports.send(0, &[0x90, 60, 1]),
        ports.send(2, &[0x90, 60, 1]),
        ports.send(1, &[0x90, 60]),
        ports.send(1, &[0x90, 60, 1, 61, 1]),
        ports.send(1, &[0xF0, 1]),
        ports.send(1, &[]),
        ports.send(1, &[0x90, 62, 3]),
    ];
    let not = Err(SendFault::NotAMessage);
    let expected = [Err(SendFault::NotConnected), Err(SendFault::NoSuchOutput), not, not, not, not, Ok(())];
    if results != expected {
        return Err(format!("expected {expected:?}, got {results:?}"));
    }
    same(&[vec![0x90, 62, 3]], &stage.heard())
}

fn optional(stage: &mut dyn Stage) -> Result<(), String> {
    let wish = Wish { inputs: vec![input("pedals", "pedal board", true)], outputs: Vec::new(), ..Wish::default() };
    let mut ports = stage.open(&wish).map_err(|error| error.to_string())?;
    if ports.input_connected(0) {
        return Err("an input is said to be connected and is not".into());
    }
    let keyboard = stage.keyboard("Pedal Board", "1");
    expect(&mut *ports, Arrival::InputBack(0))?;
    stage.play(keyboard, &[vec![0xB0, 64, 127]]);
    expect_messages(&mut *ports, 0, &[vec![0xB0, 64, 127]])?;
    if !ports.input_connected(0) {
        return Err("a connected input is said not to be".into());
    }
    expect_calm(&mut *ports)
}

fn keyboard_gone_and_back(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, keyboard, _) = set_up(stage)?;
    stage.play(keyboard, &[vec![0x90, 60, 1]]);
    expect_messages(&mut *ports, 0, &[vec![0x90, 60, 1]])?;
    stage.take_away(keyboard);
    expect(&mut *ports, Arrival::InputDisconnected(0))?;
    expect_calm(&mut *ports)?;
    stage.keyboard("Something Else", "1");
    expect_calm(&mut *ports)?;
    let keyboard = stage.keyboard("Stage Piano", "Stage Piano MIDI 1");
    expect(&mut *ports, Arrival::InputBack(0))?;
    stage.play(keyboard, &[vec![0x90, 61, 2]]);
    expect_messages(&mut *ports, 0, &[vec![0x90, 61, 2]])?;
    expect_calm(&mut *ports)
}

fn instrument_gone_and_back(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, _, instrument) = set_up(stage)?;
    stage.take_away_instrument(instrument);
    expect(&mut *ports, Arrival::OutputDisconnected(1))?;
    if ports.send(1, &[0x90, 60, 1]) != Err(SendFault::NotConnected) || ports.output_available(1) {
        return Err("an output without its port takes messages".into());
    }
    stage.instrument("Mixing Desk", "Control");
    expect(&mut *ports, Arrival::OutputBack(1))?;
    send_all(&mut *ports, 1, &[vec![0x90, 61, 2]])?;
    same(&[vec![0x90, 61, 2]], &stage.heard())?;
    expect_calm(&mut *ports)
}

fn listeners(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, ..) = set_up(stage)?;
    let first = stage.listen(0, "piano")?;
    if !ports.capabilities().knows_connections {
        return expect_calm(&mut *ports);
    }
    expect(&mut *ports, Arrival::OutputBack(0))?;
    let second = stage.listen(0, "piano")?;
    expect(&mut *ports, Arrival::OutputJoined(0))?;
    stage.stop_listening(first);
    expect_calm(&mut *ports)?;
    stage.stop_listening(second);
    expect(&mut *ports, Arrival::OutputDisconnected(0))?;
    if !ports.output_available(0) {
        return Err("a virtual output is said not to be available".into());
    }
    expect_calm(&mut *ports)
}
