//! The contract of the ports, kept by the ports in memory; the lab holds the real ones to the same.

mod contract;

use std::time::{Duration, Instant};

use contract::{SCENARIOS, Stage};
use handspan::ports::memory::World;
use handspan::ports::{Arrival, Direction, OutputWish, Ports, PortsError, SendFault, Target, Wish};

#[derive(Default)]
struct MemoryStage {
    world: World,
    outputs: Vec<String>,
}

impl Stage for MemoryStage {
    fn open(&mut self, wish: &Wish) -> Result<Box<dyn Ports>, PortsError> {
        self.outputs = wish.outputs.iter().map(|output| output.name.clone()).collect();
        Ok(Box::new(self.world.open(wish)?))
    }

    fn keyboard(&mut self, client: &str, port: &str) -> usize {
        self.world.plug(Direction::Input, client, port, None)
    }

    fn play(&mut self, keyboard: usize, messages: &[Vec<u8>]) {
        messages.iter().for_each(|message| self.world.play(keyboard, message));
    }

    fn take_away(&mut self, keyboard: usize) {
        self.world.unplug(keyboard);
    }

    fn instrument(&mut self, client: &str, port: &str) -> usize {
        self.world.plug(Direction::Output, client, port, None)
    }

    fn take_away_instrument(&mut self, instrument: usize) {
        self.world.unplug(instrument);
    }

    fn listen(&mut self, number: usize, name: &str) -> Result<usize, String> {
        match self.outputs.get(number) {
            Some(known) if known == name => Ok(self.world.listen(number)),
            other => Err(format!("output {number} is {other:?}")),
        }
    }

    fn stop_listening(&mut self, listener: usize) {
        self.world.unplug(listener);
    }

    fn connect(&mut self, number: usize, _name: &str, instrument: usize) -> Result<(), String> {
        self.world.connect(Direction::Output, number, instrument);
        Ok(())
    }

    fn disconnect(&mut self, number: usize, _name: &str, instrument: usize) -> Result<(), String> {
        self.world.disconnect(Direction::Output, number, instrument);
        Ok(())
    }

    fn heard(&mut self) -> Vec<Vec<u8>> {
        self.world.take_sent().into_iter().map(|(_, message)| message).collect()
    }
}

#[test]
fn ports_in_memory_keep_the_contract() {
    let run = |scenario: contract::Scenario| scenario(&mut MemoryStage::default());
    let failed: Vec<String> = SCENARIOS
        .iter()
        .filter_map(|(name, scenario)| run(*scenario).err().map(|error| format!("{name}: {error}")))
        .collect();
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

#[test]
fn an_output_whose_listener_is_full_says_so_and_recovers() {
    let world = World::default();
    let mut ports = world
        .open(&Wish {
            inputs: Vec::new(),
            outputs: vec![handspan::ports::OutputWish {
                name: "piano".into(),
                target: handspan::ports::Target::Virtual,
                optional: false,
            }],
            ..Wish::default()
        })
        .unwrap();
    world.fill(0, true);
    assert_eq!(ports.send(0, &[0x90, 60, 1]), Err(SendFault::Full));
    world.fill(0, false);
    assert_eq!(ports.send(0, &[0x80, 60, 1]), Ok(()));
    assert_eq!(world.take_sent(), [(0, vec![0x80, 60, 1])]);
}

#[test]
fn in_a_live_world_a_wait_waits_and_what_is_sent_is_heard_at_once() {
    let (say, heard) = std::sync::mpsc::channel();
    let world = World::live(move |output, bytes| drop(say.send((output, bytes.to_vec()))));
    let virtual_output = OutputWish { name: "keys".into(), target: Target::Virtual, optional: false };
    let wish = Wish { outputs: vec![virtual_output], ..Wish::default() };
    let mut ports = world.open(&wish).expect("it opens");
    let began = Instant::now();
    assert!(matches!(ports.wait(Some(Duration::from_millis(30))), Arrival::Quiet));
    assert!(began.elapsed() >= Duration::from_millis(30), "it came back early");
    let waker = ports.waker();
    let waking = std::thread::spawn(move || waker.wake());
    assert!(matches!(ports.wait(None), Arrival::Woken));
    waking.join().expect("woken");
    ports.send(0, &[0x90, 60, 90]).expect("sent");
    assert_eq!(heard.try_recv(), Ok((0, vec![0x90, 60, 90])));
    assert_eq!(world.take_sent(), [], "nothing is kept");
}
