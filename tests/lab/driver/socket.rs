//! From another terminal: `do` and `status` at the real program while a hand plays on the real keyboard, and who must not
//! get in.

use std::fs;
use std::io::{Read, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::CLIENT;
use rustix::process::Signal;
use serde_json::Value;

use crate::Said;
use crate::gadget::Keyboard;
use crate::program::{Program, run};
use crate::sequencer::{Heard, Listener, Record, calm, set_up, taken, until};
use crate::sets;

type Scenario = Box<dyn FnOnce() -> Said>;

const QUIET: Duration = Duration::from_millis(250);
/// Only a failure takes so long.
const PATIENCE: Duration = Duration::from_secs(20);
/// Somebody without rights.
const STRANGER: u32 = 1000;
/// Notes of a flood.
const NOTES: usize = 300;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("socket/a_section_from_another_terminal_in_mid_chord".into(), Box::new(section)),
        ("socket/a_key_that_was_set_outlives_a_kill".into(), Box::new(kill)),
        ("socket/nobody_else_gets_in".into(), Box::new(stranger)),
        ("socket/a_hostile_socket_does_not_touch_the_music".into(), Box::new(hostile)),
        ("socket/two_side_by_side".into(), Box::new(side_by_side)),
        ("socket/a_set_changed_while_playing".into(), Box::new(changed)),
    ]
}

/// The folder of sockets where the system gives none.
fn folder() -> Result<PathBuf, String> {
    handspan::daemon::control::folder().map_err(|error| error.to_string())
}

struct Evening {
    keyboard: Keyboard,
    program: Program,
    piano: Record,
    set: PathBuf,
    _listener: Listener,
}

fn evening(state: &Path) -> Result<Evening, String> {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano", None)?;
    let program = Program::play_on(&set, &["piano", "pad", "desk"], state)?;
    let piano = Record::default();
    let listener = Listener::to(CLIENT, "piano", std::slice::from_ref(&piano))?;
    set_up(&piano, QUIET)?;
    Ok(Evening { keyboard, program, piano, set, _listener: listener })
}

fn state() -> Result<PathBuf, String> {
    let state = std::env::temp_dir().join("socket-state");
    let _ = fs::remove_dir_all(&state);
    fs::create_dir_all(&state).map_err(|error| error.to_string())?;
    Ok(state)
}

/// Runs a command that must succeed; what it said.
fn done(arguments: &[&str]) -> Result<String, String> {
    let (status, said) = run(arguments)?;
    if status.success() { Ok(said) } else { Err(format!("{arguments:?}: {status}: {said}")) }
}

fn bytes(record: &Record) -> Vec<Vec<u8>> {
    taken(record).into_iter().map(|heard| heard.bytes).collect()
}

fn section() -> Said {
    let evening = evening(&state()?)?;
    evening.keyboard.play(&[0x90, 60, 100, 0x90, 64, 100])?;
    calm(&evening.piano, QUIET);
    taken(&evening.piano);
    let asked = Instant::now();
    let said = done(&["do", "next-section"])?;
    let answered = asked.elapsed();
    evening.keyboard.play(&[0x80, 60, 64, 0x80, 64, 64])?;
    calm(&evening.piano, QUIET);
    let heard = bytes(&evening.piano);
    let off = |key: u8| heard.iter().filter(|bytes| bytes[0] == 0x80 && bytes[1] == key).count();
    // What the chord began ends where it began: E flat is heard for the C that is played.
    if off(63) != 1 || off(67) != 1 || !said.contains("Chorus") {
        return Err(format!("it said {said}; heard {heard:02X?}"));
    }
    let shown = done(&["status"])?;
    let json = done(&["status", "--json"])?;
    if !shown.contains("Chorus") || !json.contains("\"name\": \"Chorus\"") {
        return Err(format!("status says {shown} {json}"));
    }
    Ok(format!("answered after {} ms, the start of the command among it", answered.as_millis()))
}

/// Whether the folder of a state knows of the changed key and of the second section.
fn is_kept(state: &Path) -> bool {
    let Ok(entries) = fs::read_dir(state) else { return false };
    entries.flatten().any(|entry| {
        if entry.path().is_dir() {
            return is_kept(&entry.path());
        }
        let kept = fs::read(entry.path()).ok().and_then(|text| serde_json::from_slice::<Value>(&text).ok());
        kept.is_some_and(|kept| kept["standing"]["order_step"] == 1 && kept["changes"][0].is_object())
    })
}

fn kill() -> Said {
    let state = state()?;
    let Evening { keyboard, program, piano, set, .. } = evening(&state)?;
    done(&["do", "song-key", "Snow at the Weir Gate", "F"])?;
    done(&["do", "next-section"])?;
    // What is kept is written by a thread of its own.
    until("what is kept", PATIENCE, || is_kept(&state))?;
    program.signal(Signal::KILL)?;
    let _ = program.end();
    let (status, said) = run(&["status"])?;
    if status.success() || !said.contains("No handspan runs") {
        return Err(format!("after the kill status says: {status}: {said}"));
    }
    let program = Program::play_on(&set, &["piano", "pad", "desk"], &state)?;
    let _listener = Listener::to(CLIENT, "piano", std::slice::from_ref(&piano))?;
    set_up(&piano, QUIET)?;
    let json = done(&["status", "--json"])?;
    if !json.contains("\"room\": \"F\"") || !json.contains("\"name\": \"Chorus\"") {
        return Err(format!("it goes on elsewhere: {json}; it said: {}", program.said()));
    }
    keyboard.play(&[0x90, 60, 100, 0x80, 60, 64])?;
    calm(&piano, QUIET);
    let heard = bytes(&piano);
    if !heard.iter().any(|bytes| bytes[0] == 0x90 && bytes[1] == 65) {
        return Err(format!("F is not heard: {heard:02X?}"));
    }
    Ok(String::new())
}

/// What somebody else is answered.
fn as_a_stranger(arguments: &[&str]) -> Result<(bool, String), String> {
    let output = Command::new("handspan")
        .args(arguments)
        .env("XDG_RUNTIME_DIR", "/nowhere")
        .env("HOME", std::env::temp_dir())
        .uid(STRANGER)
        .gid(STRANGER)
        .output()
        .map_err(|error| error.to_string())?;
    let said = [output.stdout, output.stderr].concat();
    Ok((output.status.success(), String::from_utf8_lossy(&said).into_owned()))
}

fn stranger() -> Said {
    let evening = evening(&state()?)?;
    let folder = folder()?;
    let socket = folder.join("handspan.socket");
    let mode = |path: &Path| fs::metadata(path).map(|about| about.permissions().mode() & 0o777).unwrap_or(0);
    if (mode(&folder), mode(&socket)) != (0o700, 0o600) {
        return Err(format!("{}: {:o}, {:o}", folder.display(), mode(&folder), mode(&socket)));
    }
    for arguments in [&["do", "panic"][..], &["status"]] {
        if let (true, said) = as_a_stranger(arguments)? {
            return Err(format!("a stranger may {arguments:?}: {said}"));
        }
    }
    // Even where somebody opened the doors: the peer's user is asked for.
    for path in [&folder, &socket] {
        fs::set_permissions(path, fs::Permissions::from_mode(0o777)).map_err(|error| error.to_string())?;
    }
    let mut open = folder.as_path();
    while let Some(parent) = open.parent() {
        let _ = fs::set_permissions(parent, fs::Permissions::from_mode(0o755));
        open = parent;
    }
    let asked = "{\"version\":1,\"ask\":\"do\",\"words\":[\"panic\"]}\n";
    let answer = knock(&socket, asked)?;
    if !answer.is_empty() {
        return Err(format!("a stranger was answered: {answer}"));
    }
    evening.keyboard.play(&[0x90, 60, 100, 0x80, 60, 64])?;
    let ended = |heard: &[Heard]| heard.iter().any(|heard| heard.bytes[0] == 0x80);
    until("the end of a note", PATIENCE, || evening.piano.lock().is_ok_and(|heard| ended(&heard)))?;
    calm(&evening.piano, QUIET);
    let heard = bytes(&evening.piano);
    if heard.iter().map(|bytes| (bytes[0], bytes[1])).ne([(0x90, 63), (0x80, 63)]) {
        return Err(format!("the music was touched: {heard:02X?}"));
    }
    for (path, mode) in [(&folder, 0o700), (&socket, 0o600)] {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).map_err(|error| error.to_string())?;
    }
    Ok(String::new())
}

/// Asks at a socket as another user: this very program, started again with that task.
fn knock(socket: &Path, asked: &str) -> Result<String, String> {
    let this = std::env::current_exe().map_err(|error| error.to_string())?;
    let output = Command::new(this)
        .args(["knock", &socket.to_string_lossy(), asked])
        .uid(STRANGER)
        .gid(STRANGER)
        .output()
        .map_err(|error| error.to_string())?;
    if output.status.success() {
        return Ok(String::from_utf8_lossy(&output.stdout).into_owned());
    }
    Err(String::from_utf8_lossy(&output.stderr).into_owned())
}

/// The task of [`knock`]: says what it is answered, if anything.
pub fn knocking(socket: &str, asked: &str) -> Result<String, String> {
    let mut stream = UnixStream::connect(socket).map_err(|error| format!("{socket}: {error}"))?;
    stream.set_read_timeout(Some(Duration::from_secs(5))).map_err(|error| error.to_string())?;
    // It may be closed before all is written.
    let _ = stream.write_all(asked.as_bytes());
    let mut answer = String::new();
    let _ = stream.read_to_string(&mut answer);
    Ok(answer)
}

/// Connects, says all kinds of things and goes, again and again.
fn pester(socket: &Path, stop: &AtomicBool) -> u64 {
    let asked = b"{\"version\":1,\"ask\":\"status\"}\n";
    let mut count = 0;
    let mut kept = Vec::new();
    while !stop.load(Ordering::SeqCst) {
        let Ok(mut stream) = UnixStream::connect(socket) else { continue };
        let _ = stream.set_write_timeout(Some(Duration::from_millis(20)));
        let long = vec![b'x'; 65_536];
        let _ = match count % 5 {
            0 => stream.write_all(&asked[..7]),
            1 => (0..160).try_for_each(|_| stream.write_all(&long)),
            2 => stream.write_all(&[0, 255, 10, 128, 10]),
            3 => stream.write_all(asked),
            _ => Ok(()),
        };
        count += 1;
        // Some never read, and never go.
        if count % 3 == 0 && kept.len() < 200 {
            kept.push(stream);
        }
    }
    count
}

fn hostile() -> Said {
    let evening = evening(&state()?)?;
    let socket = folder()?.join("handspan.socket");
    let stop = AtomicBool::new(false);
    let (pestered, slowest) = thread::scope(|scope| {
        let pestering: Vec<_> = (0..2).map(|_| scope.spawn(|| pester(&socket, &stop))).collect();
        let slowest = play(&evening);
        stop.store(true, Ordering::SeqCst);
        let pestered: u64 = pestering.into_iter().map(|thread| thread.join().unwrap_or(0)).sum();
        (pestered, slowest)
    });
    let slowest = slowest?;
    if pestered < 50 {
        return Err(format!("it was pestered {pestered} times only"));
    }
    until("an answer again", PATIENCE, || run(&["status"]).is_ok_and(|(status, _)| status.success()))?;
    let alone = play(&evening)?;
    Ok(format!(
        "{pestered} connections; {NOTES} notes all heard, at most {} ms late, without them at most {} ms",
        slowest.as_millis(),
        alone.as_millis()
    ))
}

/// Plays notes one after the other; all must be heard, and how late the latest was.
fn play(evening: &Evening) -> Result<Duration, String> {
    taken(&evening.piano);
    let mut hands = evening.keyboard.hands()?;
    let mut played = Vec::new();
    for note in 0..NOTES {
        let key = 40 + (note % 40) as u8;
        played.push(Instant::now());
        hands.play_all(&[0x90, key, 100, 0x80, key, 64]);
        thread::sleep(Duration::from_millis(10));
    }
    calm(&evening.piano, QUIET);
    let heard: Vec<_> = taken(&evening.piano).into_iter().filter(|heard| heard.bytes[0] == 0x90).collect();
    if heard.len() != NOTES {
        return Err(format!("{} notes of {NOTES} were heard", heard.len()));
    }
    let late = heard.iter().zip(&played).map(|(heard, at)| heard.at.saturating_duration_since(*at));
    Ok(late.max().unwrap_or_default())
}

fn side_by_side() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano", None)?;
    let set = set.to_string_lossy();
    let socket = |name: &str| folder().map(|folder| folder.join(format!("{name}.socket")));
    let there = |name: &str| socket(name).is_ok_and(|socket| socket.exists());
    let first = Program::start(&["play", &set, "--name", "choir"])?;
    until("the first socket", PATIENCE, || there("choir")).map_err(|e| format!("{e}: {}", first.said()))?;
    let second = Program::start(&["play", &set, "--name", "band"])?;
    until("the second socket", PATIENCE, || there("band")).map_err(|error| format!("{error}: {}", second.said()))?;
    let listed = done(&["status"])?;
    let (status, said) = run(&["do", "next-song"])?;
    if !["choir", "band"].iter().all(|name| listed.contains(name)) || status.code() != Some(2) {
        return Err(format!("listed: {listed}; do without a name: {status}: {said}"));
    }
    done(&["do", "next-song", "--name", "band"])?;
    let titles = [done(&["status", "--name", "choir"])?, done(&["status", "--name", "band"])?];
    if !titles[0].contains("Weir Gate") || !titles[1].contains("Lanterns") {
        return Err(format!("{titles:?}"));
    }
    let (status, said) = run(&["play", &set, "--name", "band"])?;
    if status.code() != Some(1) || !said.contains("--name") {
        return Err(format!("a second of the same name: {status}: {said}"));
    }
    Ok(String::new())
}

fn changed() -> Said {
    let evening = evening(&state()?)?;
    let before = fs::read_to_string(&evening.set).map_err(|error| error.to_string())?;
    let stop = AtomicBool::new(false);
    let (played, saved) = thread::scope(|scope| {
        let playing = scope.spawn(|| {
            let mut played = Ok(Duration::ZERO);
            while !stop.load(Ordering::SeqCst) && played.is_ok() {
                played = play(&evening);
            }
            played
        });
        let change = || -> Result<(), String> {
            let song = evening.set.with_file_name("songs").join("lanterns.toml");
            let songs = fs::read_dir(evening.set.with_file_name("songs")).map_err(|error| error.to_string())?;
            let song = if song.exists() { song } else { songs.flatten().next().ok_or("no songs")?.path() };
            done(&["do", "add-song", &song.to_string_lossy()])?;
            done(&["do", "move-song", "Lanterns on the Ferry", "1"])?;
            done(&["do", "song-key", "Lanterns on the Ferry", "A"])?;
            done(&["do", "save-set"])?;
            Ok(())
        };
        let saved = change();
        stop.store(true, Ordering::SeqCst);
        (playing.join(), saved)
    });
    saved?;
    played.map_err(|_| "the playing ended badly")??;
    let after = fs::read_to_string(&evening.set).map_err(|error| error.to_string())?;
    let kept = fs::read_to_string(evening.set.with_extension("toml.bak")).map_err(|error| format!(".bak: {error}"))?;
    if kept != before || after == before || !after.contains("\"A\"") {
        return Err(format!("saved: {after}"));
    }
    Ok("every note heard".into())
}
