//! The stand on a performance whose ports are in memory, for tests that drive its page in a browser: what is played and
//! plugged comes in as lines, what goes out leaves as lines.
//!
//! | line | means |
//! | --- | --- |
//! | `play INPUT 903C50` | the keyboard of that input plays bytes |
//! | `plug INPUT`, `unplug INPUT` | its cable goes in, comes out |
//! | `listen OUTPUT`, `unlisten OUTPUT` | a program begins to listen to an output of ours, and ends |
//! | `overrun` | the system loses messages |
//! | `status` | prints the state as JSON |
//! | `quit` | the performance ends |
//!
//! It prints `stand LINK` once it is open, then `sent OUTPUT HEX MILLISECONDS` for every message. Options: `--set PATH`,
//! `--listen ADDRESS`, `--passcode WORDS`, `--viewing-passcode WORDS`, `--devices FILE`.

use std::collections::HashMap;
use std::io::{BufRead, Write};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

use handspan::daemon::observer::{Duties, Observer};
use handspan::daemon::persist::Beginning;
use handspan::daemon::requests::RequestHandler;
use handspan::daemon::{Daemon, Show, reload, wish};
use handspan::map::{self, Stand};
use handspan::page;
use handspan::ports::Direction;
use handspan::ports::memory::World;

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(words) => {
            eprintln!("{words}");
            ExitCode::FAILURE
        }
    }
}

fn read(path: &str) -> std::io::Result<Vec<u8>> {
    std::fs::read(path)
}

/// Prints a line at once.
fn print(line: &str) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}

struct Options {
    set: String,
    listen: SocketAddr,
    passcode: Option<String>,
    viewing_passcode: Option<String>,
    devices: Option<PathBuf>,
}

fn options() -> Result<Options, String> {
    let mut options = Options {
        set: "maps/midwinter.toml".to_owned(),
        listen: SocketAddr::from(([127, 0, 0, 1], 0)),
        passcode: None,
        viewing_passcode: None,
        devices: None,
    };
    let mut arguments = std::env::args().skip(1);
    while let Some(name) = arguments.next() {
        let value = arguments.next().ok_or_else(|| format!("{name} needs something after it"))?;
        match name.as_str() {
            "--set" => options.set = value,
            "--listen" => options.listen = value.parse().map_err(|error| format!("{value}: {error}"))?,
            "--passcode" => options.passcode = Some(value),
            "--viewing-passcode" => options.viewing_passcode = Some(value),
            "--devices" => options.devices = Some(value.into()),
            _ => return Err(format!("{name} is no option")),
        }
    }
    Ok(options)
}

fn run() -> Result<(), String> {
    let Options { set, listen, passcode, viewing_passcode, devices } = options()?;
    let book = map::load(&set, &mut read).book.ok_or_else(|| format!("{set} has errors"))?;
    let input = book.gear.stand.input;
    let stand = Stand { listen: Some(listen), asked: true, passcode, viewing_passcode, input, ..Stand::default() };
    let show = Arc::new(Show::new(book));
    let began = Instant::now();
    let world = World::live(move |output, bytes| {
        let hex: String = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
        print(&format!("sent {output} {hex} {}", began.elapsed().as_millis()));
    });
    let mut studio =
        Studio { world: world.clone(), show: Arc::clone(&show), plugged: HashMap::new(), heard: HashMap::new() };
    for (number, input) in show.book.gear.inputs.iter().enumerate().filter(|(_, input)| !input.optional) {
        let address = world.plug(Direction::Input, &input.port.value, "keys", input.serial.as_deref());
        studio.plugged.insert(number, address);
    }
    let ports = world.open(&wish(&show.book.gear)).map_err(|error| error.to_string())?;
    let (mut daemon, remote) = Daemon::new(&show, Box::new(ports));
    let observer = Observer::new(&mut daemon, &show, "handspan").map_err(|error| error.to_string())?;
    observer.begin(Duties::default()).map_err(|error| error.to_string())?;
    let handler = Arc::new(RequestHandler::new(remote.clone(), Arc::clone(&observer), read, |_| ()));
    let wanted = page::StandOptions { stand: &stand, devices: devices.as_deref() };
    let open = page::open(wanted, &mut daemon, &show, handler, |words| eprintln!("{words}"))
        .map_err(|error| error.to_string())?
        .ok_or("the gear wants no stand")?;
    let watching = reload::watch(read, remote.clone()).map_err(|error| error.to_string())?;
    print(&format!("stand {}", open.link()));
    let owner = std::thread::spawn(move || daemon.run(&Beginning::Afresh));
    for line in std::io::stdin().lock().lines().map_while(Result::ok) {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["quit"] => break,
            ["status"] => print(&serde_json::to_string(&observer.state()).map_err(|error| error.to_string())?),
            words => studio.live(words).unwrap_or_else(|error| eprintln!("{line}: {error}")),
        }
    }
    remote.stop();
    owner.join().map_err(|_| "the owner failed".to_owned())?;
    drop((open, watching));
    Ok(())
}

/// The ports around the performance.
struct Studio {
    world: World,
    show: Arc<Show>,
    /// Where each input's keyboard is plugged in.
    plugged: HashMap<usize, usize>,
    /// Who listens to each output.
    heard: HashMap<usize, usize>,
}

impl Studio {
    fn live(&mut self, words: &[&str]) -> Result<(), String> {
        match words {
            ["play", input, hex @ ..] => {
                let address = self.plugged.get(&self.input(input)?).ok_or("it is not plugged in")?;
                self.world.play(*address, &bytes(&hex.concat())?);
            }
            ["plug", input] => {
                let number = self.input(input)?;
                let known = &self.show.book.gear.inputs[number];
                let address = self.world.plug(Direction::Input, &known.port.value, "keys", known.serial.as_deref());
                self.plugged.insert(number, address);
            }
            ["unplug", input] => {
                let number = self.input(input)?;
                self.world.unplug(self.plugged.remove(&number).ok_or("it is not plugged in")?);
            }
            ["listen", output] => {
                let number = self.output(output)?;
                let port = self.show.book.gear.outputs[number].port.as_ref().map(|port| port.value.clone());
                let address = match port {
                    Some(port) => self.world.plug(Direction::Output, &port, "in", None),
                    None => self.world.listen(number),
                };
                self.heard.insert(number, address);
            }
            ["unlisten", output] => {
                let number = self.output(output)?;
                self.world.unplug(self.heard.remove(&number).ok_or("nobody listens to it")?);
            }
            ["overrun"] => self.world.overrun(),
            _ => return Err("is no line of this driver".to_owned()),
        }
        Ok(())
    }

    /// The number of an input, given as such or by name.
    fn input(&self, word: &str) -> Result<usize, String> {
        numbered(word, self.show.book.gear.inputs.iter().map(|input| input.name.value.as_str()))
    }

    fn output(&self, word: &str) -> Result<usize, String> {
        numbered(word, self.show.book.gear.outputs.iter().map(|output| output.name.value.as_str()))
    }
}

fn numbered<'n>(word: &str, mut names: impl ExactSizeIterator<Item = &'n str>) -> Result<usize, String> {
    let count = names.len();
    let named = names.position(|name| name == word);
    named.or_else(|| word.parse().ok().filter(|number| *number < count)).ok_or_else(|| format!("there is no {word}"))
}

fn bytes(hex: &str) -> Result<Vec<u8>, String> {
    let pairs = hex.as_bytes().chunks(2).map(|pair| std::str::from_utf8(pair).unwrap_or_default());
    pairs.map(|pair| u8::from_str_radix(pair, 16).map_err(|error| format!("{pair}: {error}"))).collect()
}
