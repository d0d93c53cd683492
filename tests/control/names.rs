//! Names that would command a terminal, end a line or turn the direction of what stands beside them: what `do` and
//! `status` say of them.

use assert_cmd::Command;
use handspan::map::clean;
use tempfile::TempDir;

use crate::evening::{Evening, LANTERN};

/// What may stand in a text of a map by its number.
const EVIL: &str = r"\u001b[2J\u202e\u009b1m\u0085\u2028\u200f\u007f";
/// The same as text.
const EVIL_TEXT: &str = "\u{1b}[2J\u{202e}\u{9b}1m\u{85}\u{2028}\u{200f}\u{7f}";

/// An evening in which everything that has a name has such a one.
fn evening() -> Evening {
    let folder = TempDir::new().unwrap();
    let gear = format!(
        "[inputs.\"keys{EVIL}\"]\nport = \"piano\"\n[outputs.\"out{EVIL}\"]\nvirtual = true\n\
         [sounds.grand]\noutput = \"out{EVIL}\"\nchannel = 1\n[sounds.warm]\noutput = \"out{EVIL}\"\nchannel = 2\n"
    );
    let song = LANTERN
        .replace("\"Lantern\"", &format!("\"Lan{EVIL}tern\""))
        .replace("\"bed\"", &format!("\"bed{EVIL}\""))
        .replace("\"Verse\"", &format!("\"Verse{EVIL}\"\nremark = \"all{EVIL}\""))
        .replace("\"Chorus\"", &format!("\"Chorus{EVIL}\""));
    let set = format!(
        "title = \"To{EVIL}night\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\nremark = \"two\\n{EVIL}lines\"\n"
    );
    for (name, text) in [("gear.toml", &gear), ("song.toml", &song), ("set.toml", &set)] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let set = folder.path().join("set.toml").display().to_string();
    let evening = Evening::of(folder, &set, "choir");
    evening.music(1);
    evening
}

/// What the program prints of it.
fn printed(evening: &Evening, arguments: &[&str]) -> String {
    let mut command = Command::cargo_bin("handspan").expect("the program");
    let output = command.env("XDG_RUNTIME_DIR", evening.folder.path().join("run")).args(arguments).output().unwrap();
    let text = [output.stdout, output.stderr].concat();
    String::from_utf8(text).expect("text")
}

/// Nothing in it disturbs, and its lines are those that the program ends.
fn is_clean(text: &str) {
    for line in text.lines() {
        assert_eq!(line, clean(line), "{text:?}");
    }
}

#[test]
fn status_shows_every_name_in_its_line_and_none_of_its_commands() {
    let evening = evening();
    let said = printed(&evening, &["status"]);
    is_clean(&said);
    let shown = clean(EVIL_TEXT);
    for part in [
        format!("To{shown}night"),
        format!("Lan{shown}tern"),
        format!("two\u{fffd}{shown}lines"),
        format!("all{shown}"),
    ] {
        assert!(said.contains(&part), "{part:?} is not in {said:?}");
    }
    for part in ["Verse", "Chorus", "bed", "keys", "out"] {
        assert!(said.contains(&format!("{part}{shown}")), "{part} is not in {said:?}");
    }
}

#[test]
fn status_as_json_says_every_name_as_it_is_without_a_letter_that_disturbs() {
    let evening = evening();
    let said = printed(&evening, &["status", "--json"]);
    is_clean(&said);
    let state: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    let named = |part: &str| serde_json::Value::from(format!("{part}{EVIL_TEXT}"));
    assert_eq!(state["set"]["title"], format!("To{EVIL_TEXT}night"));
    assert_eq!(state["song"]["section"]["name"], named("Verse"));
    assert_eq!(state["song"]["zones"][1]["name"], named("bed"));
    assert_eq!((&state["inputs"][0]["name"], &state["outputs"][0]["name"]), (&named("keys"), &named("out")));
}

#[test]
fn what_is_shown_of_a_name_is_enough_to_ask_for_it() {
    let evening = evening();
    let shown = clean(EVIL_TEXT);
    let said = printed(&evening, &["do", "section", &format!("Chorus{shown}")]);
    is_clean(&said);
    assert!(said.starts_with(&format!("Chorus{shown} (2 of 2)")), "{said:?}");
    let said = printed(&evening, &["do", "zone", &format!("bed{shown}"), "on"]);
    is_clean(&said);
    assert_eq!(said, format!("Zone bed{shown} is on.\n"));
    let said = printed(&evening, &["do", "section", &format!("nowhere{EVIL_TEXT}")]);
    is_clean(&said);
}
