//! The contract of the ports at the real sequencer, by both back ends; and what only real devices do.

use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::{
    self, Arrival, Backend, CLIENT, FoundPort, InputWish, OutputWish, Ports, PortsError, Target, Wish,
};

use crate::Said;
use crate::contract::{SCENARIOS, Stage};
use crate::gadget::Keyboard;
use crate::memory::asked;
use crate::sequencer::{Listener, Player, Record, attach, calm, ear, join, part, read, taken};
use crate::yardstick::{Beats, LONG, beat};

/// Beginnings of notes just after a connection are old ones, and are left out: not for longer than this.
const LATE_NOTES: Duration = Duration::from_millis(100);
/// Who is full and reads again gets all ends so soon.
const ALL_ENDED: Duration = Duration::from_secs(2);

type Scenario = Box<dyn FnOnce() -> Said>;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    let mut all: Vec<(String, Scenario)> = Vec::new();
    for (way, backend) in [("system", Backend::System), ("portable", Backend::Portable)] {
        for (name, scenario) in SCENARIOS {
            let run = move || scenario(&mut RealStage::new(backend)).map(|()| String::new());
            all.push((format!("ports/{way}/{name}"), Box::new(run)));
        }
    }
    all.push(("ports/usb_keyboard_unplugged_and_plugged_in_again".into(), Box::new(unplugged)));
    all.push(("ports/equal_keyboards_are_told_apart_by_serial".into(), Box::new(equal_keyboards)));
    all.push(("ports/listing_shows_names_and_serials".into(), Box::new(listing)));
    all.push(("ports/messages_ask_for_no_memory".into(), Box::new(no_memory)));
    all.push(("ports/a_listener_that_does_not_read_holds_nothing_up".into(), Box::new(deaf_listener)));
    all.push(("ports/a_listener_that_slept_gets_every_end".into(), Box::new(slept)));
    all.push(("ports/overrun_is_told".into(), Box::new(overrun)));
    all.push(("ports/what_is_connected_while_they_are_opened_is_known".into(), Box::new(connected_at_once)));
    all
}

struct RealStage {
    backend: Backend,
    players: Vec<Option<Player>>,
    listeners: Vec<Option<Listener>>,
    /// The names of each, of client and port.
    named: Vec<(String, String)>,
    record: Record,
}

impl RealStage {
    fn new(backend: Backend) -> Self {
        RealStage { backend, players: Vec::new(), listeners: Vec::new(), named: Vec::new(), record: Record::default() }
    }
}

impl RealStage {
    fn names(&self, instrument: usize) -> (&str, &str) {
        self.named.get(instrument).map_or(("", ""), |(client, port)| (client, port))
    }
}

impl Stage for RealStage {
    fn open(&mut self, wish: &Wish) -> Result<Box<dyn Ports>, PortsError> {
        ports::open(self.backend, wish)
    }

    fn keyboard(&mut self, client: &str, port: &str) -> usize {
        self.players.push(Player::new(client, port).ok());
        self.players.len() - 1
    }

    fn play(&mut self, keyboard: usize, messages: &[Vec<u8>]) {
        let player = self.players[keyboard].as_mut().expect("the keyboard could not be made");
        for message in messages {
            player.play(message);
        }
    }

    fn take_away(&mut self, keyboard: usize) {
        self.players[keyboard] = None;
    }

    fn instrument(&mut self, client: &str, port: &str) -> usize {
        self.named.push((client.into(), port.into()));
        self.listeners.push(Listener::instrument(client, port, std::slice::from_ref(&self.record)).ok());
        self.listeners.len() - 1
    }

    fn take_away_instrument(&mut self, instrument: usize) {
        self.listeners[instrument] = None;
    }

    fn listen(&mut self, _number: usize, name: &str) -> Result<usize, String> {
        self.named.push((String::new(), String::new()));
        self.listeners.push(Some(Listener::to(ports::CLIENT, name, std::slice::from_ref(&self.record))?));
        Ok(self.listeners.len() - 1)
    }

    fn stop_listening(&mut self, listener: usize) {
        self.listeners[listener] = None;
    }

    fn connect(&mut self, _number: usize, name: &str, instrument: usize) -> Result<(), String> {
        join((ports::CLIENT, name), self.names(instrument))
    }

    fn disconnect(&mut self, _number: usize, name: &str, instrument: usize) -> Result<(), String> {
        part((ports::CLIENT, name), self.names(instrument))
    }

    fn heard(&mut self) -> Vec<Vec<u8>> {
        calm(&self.record, Duration::from_millis(100));
        taken(&self.record).into_iter().map(|heard| heard.bytes).collect()
    }
}

fn one_input(port: &str, serial: Option<&str>) -> Wish {
    let input =
        InputWish { name: "keyboard".into(), port: port.into(), serial: serial.map(Into::into), optional: false };
    Wish { inputs: vec![input], outputs: Vec::new(), ..Wish::default() }
}

fn expect(ports: &mut dyn Ports, expected: Arrival<'_>) -> Result<(), String> {
    match ports.wait(Some(LONG)) {
        arrival if arrival == expected => Ok(()),
        arrival => Err(format!("expected {expected:?}, got {arrival:?}")),
    }
}

/// Plays a note until it is heard: from then on every one is. Others that are played meanwhile are not looked at.
fn heard_again(ports: &mut dyn Ports, keyboard: &Keyboard) -> Result<(), String> {
    const ASKED: [u8; 3] = [0x90, 100, 1];
    const ENDED: [u8; 3] = [0x80, 100, 64];
    for _ in 0..Beats::within(LATE_NOTES).times(1) {
        beat();
        keyboard.play(&[ASKED, ENDED].concat())?;
        let mut is_heard = false;
        loop {
            // Its end comes in any case.
            match ports.wait(Some(LONG)) {
                Arrival::Message { bytes, .. } if bytes == ASKED => is_heard = true,
                Arrival::Message { bytes, .. } if bytes == ENDED => break,
                arrival => return Err(format!("asked for a note, got {arrival:?}")),
            }
        }
        if is_heard {
            return Ok(());
        }
    }
    Err(format!("no note is heard after {:?}", Beats::within(LATE_NOTES)))
}

fn unplugged() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let mut ports = ports::open(Backend::System, &one_input("stage piano", None)).map_err(|error| error.to_string())?;
    let mut gone = Vec::new();
    for round in 0..5 {
        let chord = [0x90, 60, 100, 0x90, 64, 100, 0xB0, 64, 127];
        heard_again(&mut *ports, &keyboard)?;
        keyboard.play(&chord)?;
        for message in chord.chunks(3) {
            expect(&mut *ports, Arrival::Message { input: 0, bytes: message })
                .map_err(|error| format!("round {round}: {error}"))?;
        }
        let since = Instant::now();
        keyboard.unplug()?;
        expect(&mut *ports, Arrival::InputDisconnected(0))?;
        gone.push(since.elapsed());
        keyboard.plug_blindly()?;
        expect(&mut *ports, Arrival::InputBack(0))?;
    }
    Ok(format!("told at most {} ms after", gone.iter().max().map_or(0, Duration::as_millis)))
}

fn equal_keyboards() -> Said {
    let first = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    let second = Keyboard::new(1, "Lab Stage Piano", "B2")?;
    first.plug()?;
    second.plug_blindly()?;
    let both = || serials().is_ok_and(|serials| serials == ["A1", "B2"]);
    crate::sequencer::until("both keyboards", Duration::from_secs(10), both)?;
    let Err(error) = ports::open(Backend::System, &one_input("stage piano", None)) else {
        return Err("a tie was not told".into());
    };
    let text = error.to_string();
    if !["\"A1\"", "\"B2\"", "serial"].iter().all(|part| text.contains(part)) {
        return Err(format!("the tie names no serials: {text}"));
    }
    let wish = one_input("stage piano", Some("B2"));
    let mut ports = ports::open(Backend::System, &wish).map_err(|error| error.to_string())?;
    let hears_the_second = |ports: &mut dyn Ports| {
        heard_again(ports, &second)?;
        first.play(&[0x90, 60, 1])?;
        second.play(&[0x90, 61, 2])?;
        expect(ports, Arrival::Message { input: 0, bytes: &[0x90, 61, 2] })
    };
    hears_the_second(&mut *ports)?;
    // They come back in the other order, so that each sits where the other sat.
    first.unplug()?;
    second.unplug()?;
    expect(&mut *ports, Arrival::InputDisconnected(0))?;
    second.plug_blindly()?;
    expect(&mut *ports, Arrival::InputBack(0))?;
    first.plug_blindly()?;
    crate::sequencer::until("both keyboards", Duration::from_secs(10), || serials().is_ok_and(|all| all.len() == 2))?;
    hears_the_second(&mut *ports)?;
    Ok(String::new())
}

fn listed() -> Result<Vec<FoundPort>, String> {
    ports::list(Backend::System).map_err(|error| error.to_string())
}

/// Serial numbers of the keyboards that are there, sorted.
fn serials() -> Result<Vec<String>, String> {
    let keyboards = listed()?.into_iter().filter(|listed| listed.direction == ports::Direction::Input);
    let mut serials: Vec<String> =
        keyboards.filter(|listed| listed.client.contains("Lab Stage")).filter_map(|listed| listed.serial).collect();
    serials.sort();
    Ok(serials)
}

fn listing() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let directions: Vec<ports::Direction> = (listed()?.iter())
        .filter(|listed| listed.client == "Lab Stage Piano" && listed.serial.as_deref() == Some("A1") && !listed.ours)
        .map(|listed| listed.direction)
        .collect();
    if directions != [ports::Direction::Input, ports::Direction::Output] {
        return Err(format!("the keyboard is listed as {directions:?}"));
    }
    let system: Vec<String> =
        listed()?.iter().filter(|listed| listed.client == "System").map(FoundPort::name).collect();
    if !system.is_empty() {
        return Err(format!("the system's own ports are listed: {system:?}"));
    }
    Ok(String::new())
}

fn overrun() -> Said {
    let mut player = Player::new("Lab Flood", "out")?;
    let mut ports = ports::open(Backend::System, &one_input("lab flood", None)).map_err(|error| error.to_string())?;
    // More than the kernel keeps, while nobody reads.
    let refused = (0..2500).filter(|_| !player.play(&[0x90, 60, 1])).count();
    let mut arrived = 0;
    loop {
        match ports.wait(Some(Duration::from_millis(500))) {
            Arrival::Message { .. } => arrived += 1,
            Arrival::Overrun => break,
            arrival => return Err(format!("{arrival:?} after {arrived} messages, {refused} refused: no overrun told")),
        }
    }
    player.play(&[0x80, 60, 1]);
    let last = Arrival::Message { input: 0, bytes: &[0x80, 60, 1] };
    loop {
        match ports.wait(Some(LONG)) {
            arrival if arrival == last => break,
            Arrival::Quiet => return Err("nothing is heard after the overrun".into()),
            _ => {}
        }
    }
    Ok(format!("{refused} refused of 2500"))
}

fn no_memory() -> Said {
    let mut player = Player::new("Lab Player", "out")?;
    let mut wish = one_input("lab player", None);
    let target = ports::Target::Virtual;
    wish.outputs.push(ports::OutputWish { name: "piano".into(), target, optional: false });
    let mut ports = ports::open(Backend::System, &wish).map_err(|error| error.to_string())?;
    let record = Record::default();
    let _listener = Listener::to(ports::CLIENT, "piano", std::slice::from_ref(&record))?;
    expect(&mut *ports, Arrival::OutputBack(0))?;
    let before = asked();
    for _ in 0..1000 {
        let mut message = [0; 3];
        player.play(&[0x90, 60, 1]);
        match ports.wait(Some(LONG)) {
            Arrival::Message { bytes, .. } if bytes.len() == 3 => message.copy_from_slice(bytes),
            arrival => return Err(format!("{arrival:?} in place of a message")),
        }
        ports.send(0, &message).map_err(|fault| fault.to_string())?;
    }
    let asked = asked() - before;
    if asked > 0 {
        return Err(format!("memory was asked for {asked} times for 1000 messages in and out"));
    }
    calm(&record, Duration::from_millis(100));
    let heard = taken(&record).len();
    if heard == 1000 { Ok(String::new()) } else { Err(format!("{heard} of 1000 heard")) }
}

fn deaf_listener() -> Said {
    const COUNT: usize = 1500;
    /// Nothing waits where something is refused: so many times as long is more than chance explains.
    const HELD_UP: u32 = 10;
    let target = ports::Target::Virtual;
    let output = ports::OutputWish { name: "piano".into(), target, optional: false };
    let wish = Wish { inputs: Vec::new(), outputs: vec![output], ..Wish::default() };
    let mut ports = ports::open(Backend::System, &wish).map_err(|error| error.to_string())?;
    let (deaf, port, _) = ear("Lab Deaf", "in")?;
    deaf.set_client_pool_input(200).map_err(|error| error.to_string())?;
    attach(&deaf, port, ports::CLIENT, "piano")?;
    let record = Record::default();
    let _listener = Listener::to(ports::CLIENT, "piano", std::slice::from_ref(&record))?;
    let mut send = |count: usize| {
        let (since, mut full) = (Instant::now(), 0);
        for _ in 0..count {
            match ports.send(0, &[0x90, 60, 1]) {
                Ok(()) => {}
                Err(ports::SendFault::Full) => full += 1,
                Err(fault) => return Err(fault.to_string()),
            }
        }
        Ok((full, since.elapsed()))
    };
    // As long as the deaf one's queue has room, and then.
    let (_, with_room) = send(100)?;
    let (full, took) = send(COUNT - 100)?;
    calm(&record, Duration::from_millis(200));
    let heard = taken(&record).len();
    if heard != COUNT || full == 0 || took > HELD_UP * 14 * with_room {
        return Err(format!(
            "the healthy one heard {heard} of {COUNT}, {full} refused; 100 took {with_room:?} with room, {} took {took:?} \
             without",
            COUNT - 100
        ));
    }
    Ok(format!("{full} refused, the healthy one heard all"))
}

/// Notes that the full listener did not hear the end of would sound for ever.
fn slept() -> Said {
    let output = ports::OutputWish { name: "piano".into(), target: ports::Target::Virtual, optional: false };
    let wish = Wish { inputs: Vec::new(), outputs: vec![output], ..Wish::default() };
    let mut ports = ports::open(Backend::System, &wish).map_err(|error| error.to_string())?;
    let (sleeper, port, coder) = ear("Lab Sleeper", "in")?;
    sleeper.set_client_pool_input(200).map_err(|error| error.to_string())?;
    attach(&sleeper, port, ports::CLIENT, "piano")?;
    let record = Record::default();
    let _listener = Listener::to(ports::CLIENT, "piano", std::slice::from_ref(&record))?;
    while ports.wait(Some(Duration::from_millis(100))) != Arrival::Quiet {}
    for key in 0..100 {
        ports.send(0, &[0x90, key, 100]).map_err(|fault| fault.to_string())?;
    }
    ports.send(0, &[0xB0, 64, 127]).map_err(|fault| fault.to_string())?;
    let (mut sounding, mut pedal) = (0_usize, 0);
    let mut reads = || {
        while read(&sleeper, &coder, |message| match *message {
            [0x90, ..] => sounding += 1,
            [0x80, ..] => sounding = sounding.saturating_sub(1),
            [0xB0, 64, value] => pedal = value,
            _ => {}
        }) {}
        (sounding, pedal)
    };
    // It has heard every beginning when it falls asleep.
    if reads() != (100, 127) {
        return Err("the sleeper did not hear what began".into());
    }
    let full = (0..300).filter(|_| ports.send(0, &[0xE0, 0, 64]) == Err(ports::SendFault::Full)).count();
    ports.send(0, &[0xB0, 64, 0]).map_err(|fault| fault.to_string())?;
    for key in 0..100 {
        ports.send(0, &[0x80, key, 64]).map_err(|fault| fault.to_string())?;
    }
    let mut last = (100, 127);
    let has_ended = || {
        last = reads();
        ports.wait(Some(Duration::ZERO));
        last == (0, 0)
    };
    if Beats::within(ALL_ENDED).until(has_ended).is_none() {
        let (sounding, pedal) = last;
        return Err(format!("{sounding} notes sound, the pedal is at {pedal}; {full} were refused"));
    }
    calm(&record, Duration::from_millis(100));
    let ends = taken(&record).iter().filter(|heard| heard.bytes[0] == 0x80).count();
    if full == 0 || ports.dropped_overload() != full as u64 || ends < 100 {
        return Err(format!("{full} refused, {} shed, the other listener heard {ends} ends", ports.dropped_overload()));
    }
    Ok(format!("{full} bends refused, every end taken"))
}

/// Programs that look after connections connect a port as soon as it is there, when others of ours are still to come.
fn connected_at_once() -> Said {
    const OUTPUTS: usize = 100;
    const ROUNDS: usize = 10;
    let name = |number| format!("lab out {number}");
    let output = |number| OutputWish { name: name(number), target: Target::Virtual, optional: false };
    let wish = Wish { outputs: (0..OUTPUTS).map(output).collect(), ..Wish::default() };
    let _synth = Listener::instrument("Lab Synth", "in", &[])?;
    let first = name(0);
    let mut meanwhile = 0;
    for round in 0..ROUNDS {
        let connected = thread::scope(|scope| {
            let hand = scope.spawn(|| while join((CLIENT, &first), ("Lab Synth", "in")).is_err() {});
            let ports = ports::open(Backend::System, &wish).map_err(|error| error.to_string());
            meanwhile += usize::from(hand.is_finished());
            hand.join().map_err(|_| "no hand").and(Ok(ports))
        });
        let mut ports = connected??;
        expect(&mut *ports, Arrival::OutputBack(0)).map_err(|error| format!("round {round}: {error}"))?;
    }
    Ok(format!("{ROUNDS} times, {meanwhile} of them while others were still made"))
}
