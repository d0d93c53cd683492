//! Small questions to the sequencer and the kernel: who is there, which device it is, who is connected.

use std::ffi::CString;
use std::fs;
use std::path::{Path, PathBuf};

use ::alsa::seq::{
    Addr, ClientInfo, ClientIter, PortCap, PortInfo, PortIter, PortSubscribe, PortSubscribeIter, PortType,
    QuerySubsType, Seq,
};
use rustix::io::Errno;

use super::super::{CLIENT, Direction, Fault, FoundPort};

/// Opens a client of this name. Reading waits; what is sent without a queue is delivered at once or refused, so that
/// sending never does (the kernel's `snd_seq_deliver_event`; the lab holds it to that).
pub(super) fn open(name: &str) -> Result<Seq, Fault> {
    // alsa-lib writes its own words about a failure to standard error unless told otherwise.
    let _quiet = ::alsa::Output::local_error_handler();
    let seq = Seq::open(None, None, false).map_err(|error| match Errno::from_raw_os_error(error.errno()) {
        Errno::NOENT | Errno::NODEV | Errno::NXIO => Fault::NoSequencer,
        Errno::ACCESS | Errno::PERM => Fault::NotAllowed,
        // The kernel gives no place because all are taken (192 for programs).
        Errno::NOMEM | Errno::BUSY => Fault::TooManyClients,
        _ => Fault::refused("Opening the MIDI sequencer", error),
    })?;
    seq.set_client_name(&text(name)).map_err(|error| Fault::refused("Naming our client", error))?;
    Ok(seq)
}

/// Makes a port of ours.
pub(super) fn port(seq: &Seq, name: &str, capability: PortCap) -> Result<i32, Fault> {
    seq.create_simple_port(&text(name), capability, PortType::MIDI_GENERIC | PortType::APPLICATION)
        .map_err(|error| Fault::making_port(name, error))
}

/// The sequencer takes names of up to 63 bytes and cuts the rest off, within a letter if it comes so; we cut before it.
fn text(name: &str) -> CString {
    let fits = name.char_indices().map(|(at, letter)| at + letter.len_utf8()).take_while(|end| *end <= 63).last();
    let name = name.get(..fits.unwrap_or(0)).unwrap_or_default();
    CString::new(name.replace('\0', "")).unwrap_or_default()
}

/// Ports of others that we can listen to, or send to.
pub(super) fn ports(seq: &Seq, direction: Direction) -> Vec<(Addr, FoundPort)> {
    let system = Addr::system_announce().client;
    let own = seq.client_id().unwrap_or(system);
    let mut found = Vec::new();
    for client in ClientIter::new(seq).filter(|client| ![own, system].contains(&client.get_client())) {
        let ports = PortIter::new(seq, client.get_client()).filter(|port| offers(port, direction));
        found.extend(ports.map(|port| (port.addr(), found_port(&client, &port, direction))));
    }
    found
}

/// The port at an address, if we can listen to it, or send to it.
pub(super) fn port_at(seq: &Seq, address: Addr, direction: Direction) -> Option<FoundPort> {
    let port = seq.get_any_port_info(address).ok().filter(|port| offers(port, direction))?;
    let client = seq.get_any_client_info(address.client).ok()?;
    Some(found_port(&client, &port, direction))
}

fn offers(port: &PortInfo, direction: Direction) -> bool {
    let wanted = match direction {
        Direction::Input => PortCap::READ | PortCap::SUBS_READ,
        Direction::Output => PortCap::WRITE | PortCap::SUBS_WRITE,
    };
    let capability = port.get_capability();
    capability.contains(wanted) && !capability.contains(PortCap::NO_EXPORT)
}

fn found_port(client: &ClientInfo, port: &PortInfo, direction: Direction) -> FoundPort {
    let name = client.get_name().unwrap_or_default().to_string();
    let (serial, socket) = device(client).map_or((None, None), |device| (serial(&device), socket(&device)));
    FoundPort {
        ours: name == CLIENT,
        client: name,
        port: port.get_name().unwrap_or_default().to_string(),
        address: format!("{}:{}", port.get_client(), port.get_port()),
        direction,
        serial,
        socket,
    }
}

/// The sysfs entry of a client's device: its card's entry leads to the interface, one up is the device.
fn device(client: &ClientInfo) -> Option<PathBuf> {
    let card = client.get_card().ok().filter(|card| *card >= 0)?;
    fs::canonicalize(format!("/sys/class/sound/card{card}/device/..")).ok()
}

fn serial(device: &Path) -> Option<String> {
    let serial = fs::read_to_string(device.join("serial")).ok()?;
    Some(serial.trim().to_string()).filter(|serial| !serial.is_empty())
}

/// The bus and the chain of sockets, such as `1-4.2`, which is what sysfs calls a USB device.
fn socket(device: &Path) -> Option<String> {
    let name = device.file_name()?.to_str()?;
    device.join("idVendor").exists().then(|| name.to_string())
}

/// Whether a client is a device, and not a program.
pub(super) fn is_device(seq: &Seq, client: i32) -> bool {
    seq.get_any_client_info(client).is_ok_and(|info| info.get_card().is_ok_and(|card| card >= 0))
}

/// The name of a port, whatever it can do.
pub(super) fn name_at(seq: &Seq, address: Addr) -> Option<String> {
    let port = seq.get_any_port_info(address).ok()?;
    let client = seq.get_any_client_info(address.client).ok()?;
    Some(found_port(&client, &port, Direction::Output).name())
}

/// Whether what `sender` sends goes anywhere.
pub(super) fn leads_anywhere(seq: &Seq, sender: Addr) -> bool {
    PortSubscribeIter::new(seq, sender, QuerySubsType::READ).next().is_some()
}

/// Makes all that `sender` sends go to `dest`.
pub(super) fn connect(seq: &Seq, sender: Addr, dest: Addr) -> Result<(), ::alsa::Error> {
    let between = PortSubscribe::empty()?;
    between.set_sender(sender);
    between.set_dest(dest);
    seq.subscribe_port(&between)
}

/// Whether what `sender` sends goes to `dest`.
pub(super) fn is_connected(seq: &Seq, sender: Addr, dest: Addr) -> bool {
    PortSubscribeIter::new(seq, sender, QuerySubsType::READ).any(|between| between.get_dest() == dest)
}
