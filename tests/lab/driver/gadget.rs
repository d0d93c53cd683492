//! USB MIDI keyboards without hardware: the kernel's gadget side and host side, joined by a dummy bus.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::os::unix::fs::{OpenOptionsExt, symlink};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use rustix::fs::OFlags;

use crate::sequencer::{is_there, until};

/// How long the kernel may take to find a keyboard that was plugged in; 0.4 s is usual.
const PATIENCE: Duration = Duration::from_secs(10);

/// A keyboard that refuses bytes so often, each time half a millisecond later, is not listened to.
const REFUSED: u32 = 20_000;

/// A keyboard that can be plugged in and unplugged. Dropping it unplugs it.
pub struct Keyboard {
    folder: PathBuf,
    bus: String,
    /// Name of the gadget's own sound card.
    card: String,
    /// The name that the host sees.
    pub product: String,
}

impl Keyboard {
    /// Makes a keyboard for one of the buses, not plugged in yet.
    pub fn new(bus: usize, product: &str, serial: &str) -> Result<Self, String> {
        let (folder, card) = (PathBuf::from(format!("/sys/kernel/config/usb_gadget/lab{bus}")), format!("lab{bus}"));
        let keyboard = Keyboard { folder, bus: format!("dummy_udc.{bus}"), card, product: product.into() };
        keyboard.make(serial).map_err(|error| format!("making the keyboard: {error}"))?;
        Ok(keyboard)
    }

    fn make(&self, serial: &str) -> std::io::Result<()> {
        let function = self.folder.join("functions/midi.0");
        fs::create_dir_all(self.folder.join("strings/0x409"))?;
        fs::create_dir_all(self.folder.join("configs/c.1"))?;
        fs::create_dir_all(&function)?;
        let write = |file: &str, text: &str| fs::write(self.folder.join(file), text);
        write("idVendor", "0x1d6b")?;
        write("idProduct", "0x0104")?;
        write("strings/0x409/manufacturer", "Lab")?;
        write("strings/0x409/product", &self.product)?;
        // A maker who gives no serial numbers.
        if serial.is_empty() {
            fs::write(self.folder.join("strings/0x409/serialnumber"), "\n")?;
        } else {
            write("strings/0x409/serialnumber", serial)?;
        }
        let link = self.folder.join("configs/c.1/midi.0");
        if !link.exists() {
            write("functions/midi.0/in_ports", "1")?;
            write("functions/midi.0/out_ports", "1")?;
            write("functions/midi.0/id", &self.card)?;
            symlink(&function, link)?;
        }
        Ok(())
    }

    /// Puts the cable in, and waits until the sequencer has the keyboard.
    pub fn plug(&self) -> Result<(), String> {
        self.plug_blindly()?;
        until("the keyboard at the sequencer", PATIENCE, || is_there(&self.product, ""))
    }

    /// Puts the cable in and does not wait.
    pub fn plug_blindly(&self) -> Result<(), String> {
        fs::write(self.folder.join("UDC"), &self.bus).map_err(|error| format!("plugging in: {error}"))
    }

    /// Puts the cable into the socket of another bus, and does not wait.
    pub fn plug_elsewhere(&self, bus: usize) -> Result<(), String> {
        fs::write(self.folder.join("UDC"), format!("dummy_udc.{bus}")).map_err(|error| format!("plugging in: {error}"))
    }

    /// Pulls the cable.
    pub fn unplug(&self) -> Result<(), String> {
        fs::write(self.folder.join("UDC"), "\n").map_err(|error| format!("unplugging: {error}"))
    }

    /// Plays bytes.
    pub fn play(&self, bytes: &[u8]) -> Result<(), String> {
        let device = self.device().ok_or("the keyboard has no device of its own: is it plugged in?")?;
        let mut device = OpenOptions::new().write(true).open(&device).map_err(|error| format!("{device}: {error}"))?;
        device.write_all(bytes).map_err(|error| format!("playing: {error}"))
    }

    /// The keyboard's own side, held open: closing it waits until all has been taken from it, for ten seconds if nobody
    /// listens. What does not fit into it is refused.
    pub fn hands(&self) -> Result<Hands, String> {
        let device = self.device().ok_or("the keyboard has no device of its own: is it plugged in?")?;
        let file = OpenOptions::new().write(true).custom_flags(OFlags::NONBLOCK.bits().cast_signed()).open(&device);
        Ok(Hands(file.map_err(|error| format!("{device}: {error}"))?))
    }

    fn device(&self) -> Option<String> {
        let cards = fs::read_dir("/sys/class/sound").ok()?.flatten().map(|entry| entry.path());
        let named = |path: &Path| fs::read_to_string(path.join("id")).is_ok_and(|id| id.trim() == self.card);
        let card = cards.into_iter().find(|path| named(path))?;
        let number = card.file_name()?.to_str()?.strip_prefix("card")?.to_string();
        Some(format!("/dev/snd/midiC{number}D0"))
    }
}

/// Plays on a keyboard.
pub struct Hands(File);

impl Hands {
    /// Plays bytes; says how many the keyboard took.
    pub fn play(&mut self, bytes: &[u8]) -> usize {
        self.0.write(bytes).unwrap_or(0)
    }

    /// Plays all of these bytes, as fast as they are taken; false where the cable is out, or nobody takes them.
    pub fn play_all(&mut self, bytes: &[u8]) -> bool {
        let (mut rest, mut refused) = (bytes, 0);
        while !rest.is_empty() && refused < REFUSED {
            match self.0.write(rest) {
                Ok(count) => (rest, refused) = (&rest[count..], 0),
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    refused += 1;
                    thread::sleep(Duration::from_micros(500));
                }
                Err(_) => return false,
            }
        }
        rest.is_empty()
    }
}

impl Drop for Keyboard {
    fn drop(&mut self) {
        let _ = self.unplug();
        let product = self.product.clone();
        let _ = until("the keyboard gone", PATIENCE, || !is_there(&product, ""));
    }
}
