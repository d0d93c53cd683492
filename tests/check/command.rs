//! The command: what goes to which stream, the JSON for programs, and the exit codes.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::{Value, json};

const GEAR: &str = "[inputs.keyboard]\nport = \"piano\"\noptional = true\nkeys = [\"A0\", \"C8\"]\n[outputs.keys]\nport = \"sounds\"\n\
                    optional = true\n\
                    [sounds.grand]\noutput = \"keys\"\nchannel = 1\n";
const SET: &str = "title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n";
const FINE: &str = "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n";
const HINT: &str = "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\nkeys = [\"A0\", \"B7\"]\n";
const ERROR: &str = "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n[[zone]]\nname = \"low\"\n\
                     sound = \"grand\"\nkeys = [\"C0\", \"E0\"]\n";
const UNKNOWN: &str = "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grnd\"\n";
const MISSPELT: &str = "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsond = \"grand\"\n";
const UNREADABLE: &str = "title = \"Snow\"\nkey = \"D\n[[zone]]\nsound = \"grand\"\n";

/// Exit code, standard output and standard error of a check of a set with this song.
fn check(song: &str, flags: &[&str]) -> (Option<i32>, String, String) {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in [("set.toml", SET), ("gear.toml", GEAR), ("song.toml", song)] {
        fs::write(folder.path().join(name), text).unwrap();
    }
    run(folder.path(), &[&["set.toml"], flags].concat())
}

/// As [`check`], without the line that says that this machine has no ports to look at.
fn run(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::cargo_bin("handspan").unwrap();
    let output = command.current_dir(folder).arg("check").args(arguments).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    let out = text(output.stdout);
    let said: Vec<&str> = out.split_inclusive('\n').filter(|line| !line.contains("has no MIDI ports")).collect();
    (output.status.code(), said.concat(), text(output.stderr))
}

#[test]
fn a_faultless_set_is_said_to_be_one() {
    let fine = "set.toml: nothing to put right, nothing to look at.\n";
    assert_eq!(check(FINE, &[]), (Some(0), fine.to_owned(), String::new()));
}

#[test]
fn hints_are_no_failure() {
    let (code, out, err) = check(HINT, &[]);
    assert_eq!((code, out.as_str()), (Some(0), "set.toml: nothing to put right, one hint worth a look.\n"));
    assert!(err.starts_with("Hint: The key C8 of the input \"keyboard\" plays nothing.\nsong.toml, line 5\n"), "{err}");
}

#[test]
fn errors_are_exit_code_1() {
    let (code, out, err) = check(ERROR, &[]);
    let summary = "set.toml: one error. Errors would make tonight go wrong; hints are worth a look.\n";
    assert_eq!((code, out.as_str()), (Some(1), summary));
    assert!(err.contains("No key reaches the zone \"low\""), "{err}");
    let (code, out, err) = check(UNKNOWN, &[]);
    let summary = "set.toml: one error. Put right what is marked; only then can the rest be checked.\n";
    assert_eq!((code, out.as_str()), (Some(1), summary));
    assert!(err.contains("grnd"), "{err}");
    assert_eq!(check(MISSPELT, &[]).0, Some(1));
    assert_eq!(check(MISSPELT, &["--json"]).0, Some(1));
}

#[test]
fn maps_that_cannot_be_read_are_exit_code_2() {
    assert_eq!(check(UNREADABLE, &[]).0, Some(2));
    assert_eq!(check(UNREADABLE, &["--json"]).0, Some(2));
    let folder = tempfile::tempdir().unwrap();
    let (code, _, err) = run(folder.path(), &["set.toml"]);
    assert_eq!(code, Some(2));
    assert!(err.contains("\"set.toml\" cannot be read: there is no such file."), "{err}");
}

#[test]
fn programs_get_one_object_on_standard_output() {
    let parsed = |text: &str| -> Value { serde_json::from_str(text).unwrap() };
    let (code, out, err) = check(FINE, &["--json"]);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    assert_eq!(parsed(&out), json!({ "set": "set.toml", "errors": 0, "hints": 0, "findings": [] }));
    let (code, out, err) = check(ERROR, &["--json"]);
    assert_eq!((code, err.as_str()), (Some(1), ""));
    let expected = json!({
        "set": "set.toml",
        "errors": 1,
        "hints": 0,
        "findings": [{
            "level": "error",
            "kind": "finding",
            "file": "song.toml",
            "line": 8,
            "column": 8,
            "title": "No key reaches the zone \"low\": it lies outside the keyboard.",
            "label": "",
            "help": "write keys within A0 to C8",
            "also": [{ "file": "gear.toml", "line": 1, "column": 9, "label": "has A0 to C8" }],
        }],
    });
    assert_eq!(parsed(&out), expected);
}
