//! Sets for the lab, written as a player would.

use std::fmt::Write;
use std::fs;
use std::path::PathBuf;

/// Writes files into a folder of this name, and says where the set is.
pub fn write(name: &str, files: &[(&str, String)]) -> Result<PathBuf, String> {
    let folder = std::env::temp_dir().join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(folder.join("songs")).map_err(|error| error.to_string())?;
    for (file, text) in files {
        fs::write(folder.join(file), text).map_err(|error| format!("{file}: {error}"))?;
    }
    Ok(folder.join("set.toml"))
}

/// Gear with one keyboard and three virtual outputs.
fn gear(port: &str) -> String {
    format!(
        r#"
[inputs.keyboard]
port = "{port}"

[outputs.piano]
virtual = true
[outputs.pad]
virtual = true
[outputs.desk]
virtual = true

[sounds.grand]
output = "piano"
channel = 1
program = 1
bank = [0, 0]
volume = 100
pan = 64
[sounds.reed]
output = "piano"
channel = 2
program = 20
[sounds.warm]
output = "pad"
channel = 1
program = 90
volume = 80
[sounds.bells]
output = "pad"
channel = 3
program = 10

[curves]
gentle = {{ lighter = 26 }}
even = {{ points = [[1, 40], [64, 80], [127, 110]] }}
"#
    )
}

const WEIR_GATE: &str = r#"
title = "Snow at the Weir Gate"
key = "D"
play_in = "C"
order = ["Verse", "Chorus", "Verse", "Last chorus"]
on_entering = [{ to = "desk", message = { program = 5, channel = 1 } }]
on_leaving = [{ to = "desk", message = { control = [20, 0], channel = 1 } }]

[[zone]]
sound = "grand"
curve = "gentle"
[[zone]]
name = "bed"
sound = "warm"
keys = ["A0", "B4"]
octave = 1
level = -3.0
sections = ["Chorus", "Last chorus"]

[[section]]
name = "Verse"
[[section]]
name = "Chorus"
on_entering = [{ to = "desk", message = { control = [20, 127], channel = 1 } }]
[[section]]
name = "Last chorus"
like = "Chorus"
key = "E"
"#;

const LANTERNS: &str = r#"
title = "Lanterns on the Ferry"
key = "G"
play_in = "C"
shift = "down"

[[zone]]
sound = "reed"
keys = ["C4", "C8"]
velocity = [1, 90]
curve = "even"
[[zone]]
sound = "bells"
keys = ["C4", "C8"]
velocity = [80, 127]
velocity_by = "handful"
exclusive = true
[[zone]]
sound = "grand"
keys = ["A0", "E5"]
transpose = -12
volume = 90

[[section]]
name = "Walk"
[[section]]
name = "Stand"
"#;

const FROST: &str = r#"
title = "First Frost, Last Tram"
key = "Am"
play_in = "Am"

[[zone]]
sound = "warm"
within = ["C3", "B4"]
pedal = "switch"
[[zone]]
sound = "reed"
follow_key = false
bend = "ignore"
controls = [1, 11]

[[section]]
name = "One"
[[section]]
name = "Two"
"#;

/// Three songs with splits, layers, windows, keys, pedals and sends. The outputs are virtual ports, or existing ones of
/// the names that the function gives.
pub fn concert(port: &str, existing: Option<fn(&str) -> String>) -> Result<PathBuf, String> {
    let mut gear = gear(port);
    for output in ["piano", "pad", "desk"] {
        if let Some(name) = existing {
            let there = format!("[outputs.{output}]\nport = \"{}\"", name(output));
            gear = gear.replace(&format!("[outputs.{output}]\nvirtual = true"), &there);
        }
    }
    let set = r#"
title = "Midwinter concert"
gear = "gear.toml"
[[song]]
map = "songs/weir-gate.toml"
key = "Eb"
[[song]]
map = "songs/lanterns.toml"
[[song]]
map = "songs/frost.toml"
key = "Bm"
"#;
    write(
        "concert",
        &[
            ("gear.toml", gear),
            ("set.toml", set.into()),
            ("songs/weir-gate.toml", WEIR_GATE.into()),
            ("songs/lanterns.toml", LANTERNS.into()),
            ("songs/frost.toml", FROST.into()),
        ],
    )
}

/// One song with a piano under the whole keyboard and a pad under its lower half.
pub fn simple(port: &str) -> Result<PathBuf, String> {
    let song = "title = \"Plain\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n[[zone]]\nsound = \"warm\"\nkeys = [\"A0\", \"B4\"]\n";
    let set = "title = \"Plain\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"songs/plain.toml\"\n";
    write("simple", &[("gear.toml", gear(port)), ("set.toml", set.into()), ("songs/plain.toml", song.into())])
}

/// Two keyboards, each with an output of its own: `keyboard` to `piano`, `upper` to `pad`.
fn pair(first: &str, second: &str) -> Result<PathBuf, String> {
    let inputs = format!("[inputs.keyboard]\n{first}\nplay = true\n[inputs.upper]\n{second}\nplay = true\n");
    let gear = gear("").replace("[inputs.keyboard]\nport = \"\"\n", &inputs);
    let song = "title = \"Plain\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\ninput = \"keyboard\"\n[[zone]]\nsound = \"warm\"\ninput = \"upper\"\n";
    let set = "title = \"Plain\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"songs/plain.toml\"\n";
    write("pair", &[("gear.toml", gear), ("set.toml", set.into()), ("songs/plain.toml", song.into())])
}

/// Two equal keyboards with serial numbers.
pub fn two(port: &str, serials: (&str, &str)) -> Result<PathBuf, String> {
    let input = |serial: &str| format!("port = \"{port}\"\nserial = \"{serial}\"");
    pair(&input(serials.0), &input(serials.1))
}

/// Two keyboards of different names.
pub fn two_named(first: &str, second: &str) -> Result<PathBuf, String> {
    pair(&format!("port = \"{first}\""), &format!("port = \"{second}\""))
}

/// One song of so many zones, each with its own channel, all under the whole keyboard.
pub fn layers(port: &str, zones: usize) -> Result<PathBuf, String> {
    let mut gear = format!("[inputs.keyboard]\nport = \"{port}\"\n[outputs.piano]\nvirtual = true\n");
    let mut song = "title = \"Layers\"\nkey = \"D\"\nplay_in = \"C\"\n".to_string();
    for zone in 1..=zones {
        let _ = write!(gear, "[sounds.s{zone}]\noutput = \"piano\"\nchannel = {zone}\n");
        let _ = write!(song, "[[zone]]\nsound = \"s{zone}\"\ncurve = {{ lighter = 16 }}\n");
    }
    let set = "title = \"Layers\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"songs/layers.toml\"\n";
    let name = format!("layers-{zones}");
    write(&name, &[("gear.toml", gear), ("set.toml", set.into()), ("songs/layers.toml", song)])
}

/// A set of so many different songs.
pub fn long(port: &str, songs: usize) -> Result<PathBuf, String> {
    let mut set = "title = \"All that we know\"\ngear = \"gear.toml\"\n".to_string();
    let mut files = vec![("gear.toml".to_string(), gear(port))];
    for song in 0..songs {
        let _ = write!(set, "[[song]]\nmap = \"songs/{song}.toml\"\n");
        let text = [WEIR_GATE, LANTERNS][song % 2];
        let title = text.lines().find(|line| line.starts_with("title")).unwrap_or_default();
        files.push((format!("songs/{song}.toml"), text.replace(title, &format!("title = \"Song {song}\""))));
    }
    files.push(("set.toml".into(), set));
    let files: Vec<(&str, String)> = files.iter().map(|(name, text)| (name.as_str(), text.clone())).collect();
    write("long", &files)
}
