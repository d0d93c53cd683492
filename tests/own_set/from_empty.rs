//! From an empty folder to a set that is heard: `new`, a second song, `set`, `check`, `play --no-ports`.

use std::fs;
use std::path::Path;

use serde_json::json;
use tempfile::TempDir;

use crate::running::{Running, run};
use crate::without_ports::plays_a_c;

/// What a command must do, and what it said.
pub fn done(folder: &Path, arguments: &[&str]) -> String {
    let (code, out, err) = run(folder, arguments);
    assert_eq!(code, 0, "{arguments:?}: {out}{err}");
    out
}

pub fn refused(folder: &Path, arguments: &[&str], code: i32, words: &str) {
    let (came, out, err) = run(folder, arguments);
    assert!(came == code && err.contains(words), "{arguments:?} ended with {came}: {out}{err}");
}

const SECOND: &str = "title = \"Lantern\"\nkey = \"D\"\nplay_in = \"C\"\n[[zone]]\nsound = \"grand\"\n";

#[test]
fn from_an_empty_folder_to_a_set_that_is_heard() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    let laid_out = done(folder, &["new", "evening"]);
    for said in ["evening/gear.toml", "evening/set.toml", "No input was chosen", "No output was chosen", "handspan try"]
    {
        assert!(laid_out.contains(said), "{laid_out}");
    }
    assert!(done(folder, &["check", "evening/set.toml"]).contains("nothing to put right, nothing to look at"));

    fs::write(folder.join("evening/songs/lantern.toml"), SECOND).expect("a song");
    let said = done(folder, &["set", "evening/set.toml", "add", "evening/songs/lantern.toml", "Eb", "--position", "1"]);
    assert!(
        said.contains("\"Lantern\" is the last of 2 now, in Eb.") && said.contains("\"Lantern\" is 1 of 2 now."),
        "{said}"
    );
    assert!(done(folder, &["check", "evening/set.toml"]).contains("nothing to put right, nothing to look at"));

    let playing = Running::begin(folder, &["play", "evening/set.toml", "--no-ports"]);
    let mut page = playing.page();
    page.frame_where("state", |state| state["state"]["song"]["title"] == "Lantern");
    assert_eq!(plays_a_c(&mut page, 1), [json!([0, [0x90, 63, 80]])], "a C of the fingers is an Eb of the room");
    page.does(&["next-song"]);
    page.frame_where("state", |state| state["state"]["entry"]["title"] == "First Song");
    assert_eq!(plays_a_c(&mut page, 1), [json!([0, [0x90, 60, 80]])]);
    playing.end();
}

#[test]
fn the_set_is_changed_without_an_editor() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    done(folder, &["new", "."]);
    fs::write(folder.join("songs/lantern.toml"), SECOND).expect("a song");
    let set = folder.join("set.toml");
    let laid_out = fs::read_to_string(&set).expect("a set");
    let sung = laid_out.replace("#[singers.guest]", "[singers.guest]").replace("#range", "name = \"Our guest\"\nrange");
    fs::write(&set, &sung).expect("saved");
    // A song is looked for from the set's own folder too.
    done(folder, &["set", "set.toml", "add", "songs/lantern.toml"]);
    done(folder, &["set", "set.toml", "key", "lantern", "F"]);
    let said = done(folder, &["set", "set.toml", "singer", "Lantern", "guest"]);
    assert!(said.starts_with("\"Lantern\" is sung by guest tonight.\nSaved to set.toml; "), "{said}");
    // The name that page and paper show is as good.
    done(folder, &["set", "set.toml", "singer", "First Song", "our guest"]);
    assert_eq!(fs::read_to_string(&set).expect("a set").matches("\nsinger = \"guest\"").count(), 2);
    done(folder, &["set", "set.toml", "singer", "First Song", "nobody"]);
    done(folder, &["set", "set.toml", "move", "Lantern", "1"]);
    done(folder, &["set", "set.toml", "key", "2", "D"]);
    let text = fs::read_to_string(&set).expect("a set");
    let lantern = "\n[[song]]\nmap = \"songs/lantern.toml\"\nkey = \"F\"\nsinger = \"guest\"\n";
    assert!(text.contains(lantern) && text.contains("# Tonight: the songs"), "{text}");
    assert!(text.contains("#singer = \"guest\""), "comments stay: {text}");
    assert!(done(folder, &["check", "set.toml"]).contains("nothing to put right"));
    done(folder, &["set", "set.toml", "singer", "Lantern", "nobody"]);
    assert!(done(folder, &["set", "set.toml", "remove", "Lantern"]).contains("in the set no longer, which has 1 now."));
    assert!(folder.join("songs/lantern.toml").exists(), "its map stays");
    assert_eq!(fs::read_to_string(folder.join("set.toml.original")).expect("kept"), sung);

    let before = fs::read_to_string(&set).expect("a set");
    for (arguments, code, words) in [
        (&["remove", "First Song"][..], 1, ""),
        (&["remove", "Lantern"], 2, "no song \"Lantern\""),
        (&["key", "First Song", "H"], 2, "\"H\" is no key"),
        (&["key", "First Song", "Am"], 1, "minor"),
        (&["singer", "First Song", "gest"], 1, "The set has no singer \"gest\": it has \"guest\" (Our guest)."),
        (&["move", "First Song", "2"], 2, "There is no position 2"),
        (&["add", "nowhere.toml"], 1, "there is no such file: it is looked for from here, then from the set's folder."),
        (&["add", "songs/lantern.toml", "--position", "9"], 2, "There is no position 9"),
        (&["add"], 2, "FILE"),
        (&["louder"], 2, "louder"),
    ] {
        refused(folder, &[&["set", "set.toml"], arguments].concat(), code, words);
        assert_eq!(fs::read_to_string(&set).expect("a set"), before, "{arguments:?}");
    }
    refused(folder, &["set", "missing.toml", "remove", "Lantern"], 2, "missing.toml");
}

#[test]
fn a_song_that_is_added_is_looked_for_from_here_then_from_the_sets_folder() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    done(folder, &["new", "evening"]);
    let help = done(folder, &["set", "evening/set.toml", "add", "--help"]);
    assert!(help.contains("it is looked for from here, then from the set's folder"), "{help}");
    for (name, title) in [("lantern.toml", "Here"), ("evening/lantern.toml", "There"), ("evening/well.toml", "Well")] {
        fs::write(folder.join(name), SECOND.replace("Lantern", title)).expect("a song");
    }
    // Of two with one path the one from here.
    let said = done(folder, &["set", "evening/set.toml", "add", "lantern.toml"]);
    assert!(said.contains("\"Here\" is the last of 2 now."), "{said}");
    let said = done(folder, &["set", "evening/set.toml", "add", "well.toml"]);
    assert!(said.contains("\"Well\" is the last of 3 now."), "{said}");
    refused(
        folder,
        &["set", "evening/set.toml", "add", "evening/nowhere.toml"],
        1,
        "there is no such file: it is looked for from here, then from the set's folder.",
    );
}

/// The parts of a map that a # before each line makes a comment; a # and a blank before words is for people.
fn examples(text: &str) -> Vec<Vec<usize>> {
    let is_example =
        |line: &str| line == "#" || line.starts_with('#') && !line.starts_with("# ") && !line.starts_with("#:");
    let mut parts: Vec<Vec<usize>> = Vec::new();
    for (number, line) in text.lines().enumerate().filter(|(_, line)| is_example(line)) {
        match parts.last_mut().filter(|part| part.last() == Some(&(number - 1))) {
            Some(part) => part.push(number),
            None if line != "#" => parts.push(vec![number]),
            None => {}
        }
    }
    parts
}

#[test]
fn every_example_in_what_is_laid_out_works_once_its_comment_signs_are_gone() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    done(folder, &["new", "."]);
    let mut tried = Vec::new();
    for name in ["gear.toml", "songs/first-song.toml", "set.toml"] {
        let path = folder.join(name);
        let text = fs::read_to_string(&path).expect("a map");
        let parts = examples(&text);
        let needs_those_above = |part: &[usize]| {
            let before = text.lines().take(part[0]).filter(|line| !line.is_empty()).last();
            before.is_some_and(|line| line.ends_with(" above:"))
        };
        let tried_parts = parts.iter().enumerate().map(|(number, part)| match needs_those_above(part) {
            true => parts[..=number].concat(),
            false => part.clone(),
        });
        for part in tried_parts.chain([parts.concat()]) {
            let line = |(number, line): (usize, &str)| match part.contains(&number) {
                true => line[1..].to_owned(),
                false => line.to_owned(),
            };
            let tried_text: Vec<String> = text.lines().enumerate().map(line).collect();
            fs::write(&path, tried_text.join("\n")).expect("saved");
            let (code, out, err) = run(folder, &["check", "set.toml"]);
            assert!(code == 0 && !out.contains("Error") && !err.contains("Error"), "{name} {part:?}: {out}{err}");
        }
        tried.push(parts.len());
        fs::write(&path, text).expect("saved");
    }
    assert_eq!(tried, [8, 2, 3]);
}

#[test]
fn an_editor_finds_the_schemas_of_what_is_laid_out_and_of_the_demo() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    done(folder, &["new", "evening"]);
    done(folder, &["try", "--out", "demo"]);
    let maps = ["evening/gear.toml", "evening/songs/first-song.toml", "evening/set.toml"];
    for map in maps.iter().chain(&["demo/gear.toml", "demo/songs/weir-gate.toml", "demo/midwinter.toml"]) {
        let text = fs::read_to_string(folder.join(map)).expect("a map");
        let named = text.lines().next().and_then(|line| line.strip_prefix("#:schema ")).expect("a schema");
        let schema = folder.join(map).parent().expect("a folder").join(named);
        let schema: serde_json::Value =
            serde_json::from_str(&fs::read_to_string(schema).expect("there")).expect("a schema");
        assert!(schema["properties"].is_object(), "{map}");
    }
}

#[test]
fn nothing_that_is_there_is_replaced() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    for name in ["gear.toml", "songs/first-song.toml", "set.toml"] {
        let taken = folder.join(name.replace('/', "-")).join("evening");
        fs::create_dir_all(taken.join("songs")).expect("a folder");
        fs::write(taken.join(name), "mine").expect("a file");
        let path = taken.display().to_string();
        refused(folder, &["new", &path], 1, &format!("{name} is there already: nothing was laid out."));
        assert_eq!(fs::read_to_string(taken.join(name)).expect("there"), "mine");
        let count = |folder: &Path| fs::read_dir(folder).expect("a folder").count();
        let others = if name.starts_with("songs/") { (1, 1) } else { (2, 0) };
        assert_eq!((count(&taken), count(&taken.join("songs"))), others, "{name}");
    }
    fs::write(folder.join("file"), "mine").expect("a file");
    refused(folder, &["new", "file/evening"], 1, "nothing was laid out");
}

#[test]
fn ports_that_are_named_are_written_as_they_are_given() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    let (input, output) = ("a \"stage\" piano = 'x'", "nobody's synth # 2");
    let said = done(folder, &["new", "evening", "--input", input, "--output", output]);
    assert!(said.contains("No input has \"a \"stage\" piano = 'x'\" in its name now"), "{said}");
    let gear = fs::read_to_string(folder.join("evening/gear.toml")).expect("a gear file");
    let gear: toml_edit::DocumentMut = gear.parse().expect("TOML");
    assert_eq!(gear["inputs"]["keyboard"]["port"].as_str(), Some(input));
    assert_eq!(gear["outputs"]["piano"]["port"].as_str(), Some(output));
    assert!(done(folder, &["check", "evening/set.toml"]).contains("nothing to put right"));
    refused(folder, &["new", "other", "--input", ""], 2, "a port's name is missing");
    assert!(!folder.join("other").exists());
}
