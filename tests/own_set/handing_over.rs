//! The set in other hands: packed and laid out again, reported, explained.

use std::fs;
use std::path::Path;

use tempfile::TempDir;

use crate::from_empty::{done, refused};

fn texts_below(folder: &Path) -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> = ["gear.toml", "set.toml", "songs/first-song.toml", "schema/song.json"]
        .map(|path| (path.to_owned(), fs::read_to_string(folder.join(path)).expect("a file")))
        .into();
    all.sort();
    all
}

#[test]
fn what_is_packed_is_laid_out_again_byte_for_byte_and_replaces_nothing() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    done(folder, &["new", "evening"]);
    fs::create_dir(folder.join("evening/takes")).expect("a folder");
    fs::write(folder.join("evening/takes/hand.mid"), b"MThd").expect("a take");
    fs::write(folder.join("evening/diary.txt"), "private").expect("a file");
    let packed = done(folder, &["pack", "evening/set.toml", "evening.zip", "--with", "evening/takes/hand.mid"]);
    assert!(packed.contains("  set.toml, ") && packed.contains("  takes/hand.mid, 0.0 kB"), "{packed}");
    assert!(!packed.contains("diary"), "{packed}");
    refused(folder, &["pack", "evening/set.toml", "evening.zip"], 1, "is there already");

    let laid_out = done(folder, &["unpack", "evening.zip", "there/evening"]);
    assert!(laid_out.contains("handspan try there/evening/set.toml"), "{laid_out}");
    assert_eq!(texts_below(&folder.join("evening")), texts_below(&folder.join("there/evening")));
    assert!(!folder.join("there/evening/diary.txt").exists());
    assert!(done(folder, &["check", "there/evening/set.toml"]).contains("nothing to put right"));
    refused(folder, &["unpack", "evening.zip", "evening"], 1, "has something in it");
    fs::create_dir(folder.join("empty")).expect("a folder");
    done(folder, &["unpack", "evening.zip", "empty"]);
}

#[test]
fn what_is_wrong_or_lies_elsewhere_is_not_packed() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    done(folder, &["new", "evening"]);
    let set = fs::read_to_string(folder.join("evening/set.toml")).expect("a set");
    fs::rename(folder.join("evening/gear.toml"), folder.join("gear.toml")).expect("moved");
    fs::write(folder.join("evening/set.toml"), set.replace("\"gear.toml\"", "\"../gear.toml\"")).expect("a set");
    refused(folder, &["pack", "evening/set.toml", "evening.zip"], 1, "does not lie in the set's folder");
    fs::write(folder.join("evening/set.toml"), set).expect("a set");
    refused(folder, &["pack", "evening/set.toml", "evening.zip"], 2, "gear.toml");
    refused(folder, &["pack", "nowhere.toml", "evening.zip"], 2, "nowhere.toml");
    fs::rename(folder.join("gear.toml"), folder.join("evening/gear.toml")).expect("moved");
    refused(folder, &["pack", "evening/set.toml", "evening.zip", "--with", "evening/none.mid"], 2, "none.mid");
    assert!(!folder.join("evening.zip").exists());
    fs::write(folder.join("none.zip"), "no zip at all").expect("a file");
    refused(folder, &["unpack", "none.zip", "out"], 2, "no ZIP file");
    assert!(!folder.join("out").exists());
}

#[test]
fn a_report_holds_what_a_helper_asks_for_and_no_passcode() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    done(folder, &["new", "evening"]);
    let gear = fs::read_to_string(folder.join("evening/gear.toml")).expect("a gear file");
    let stand =
        "\n[stand]\nlisten = \"0.0.0.0:7340\"\npasscode = \"seven grey herons\"\nviewing_passcode = \"a wet heron\"\n";
    fs::write(folder.join("evening/gear.toml"), format!("{gear}{stand}")).expect("a gear file");
    let song = folder.join("evening/songs/first-song.toml");
    let text = fs::read_to_string(&song).expect("a song");
    fs::write(&song, format!("remark = \"seven grey herons\"\n{text}")).expect("a song");
    let log: String = (0..900).map(|line| format!("line {line}\n")).collect();
    fs::write(folder.join("concert.log"), log).expect("a log");
    let arguments = ["report", "evening/set.toml", "--log", "concert.log", "--out", "report.txt"];
    let said = done(folder, &arguments);
    assert!(said.contains("Passcodes are left out") && said.contains("  Versions: "), "{said}");
    let report = fs::read_to_string(folder.join("report.txt")).expect("a report");
    for held in
        [env!("CARGO_PKG_VERSION"), "== Ports", "no handspan", "0.0.0.0:7340", "line 899\n", "== evening/gear.toml"]
    {
        assert!(report.contains(held), "{held} is not in {report}");
    }
    assert!(!report.contains("heron"), "{report}");
    assert!(!report.contains("line 12\n") && report.contains("line 500\n"), "{report}");
    refused(folder, &arguments, 1, "is there already");
    refused(folder, &["report", "--log", "nowhere.log", "--out", "other.txt"], 2, "nowhere.log");
    assert!(!folder.join("other.txt").exists());
    // A set with errors is what a helper is asked about most.
    fs::write(&song, text.replace("title", "titel")).expect("a song");
    done(folder, &["report", "evening/set.toml", "--out", "broken.txt"]);
    let report = fs::read_to_string(folder.join("broken.txt")).expect("a report");
    assert!(report.contains("titel") && !report.contains("heron"), "{report}");
}

#[test]
fn a_word_is_explained() {
    let folder = TempDir::new().expect("a folder");
    let folder = folder.path();
    let says = |word: &str, words: &[&str]| {
        let said = done(folder, &["explain", word]);
        words.iter().for_each(|words| assert!(said.contains(words), "{word}: {said}"));
    };
    says("handful", &["Notes struck together"]);
    says("linger", &["a field of a zone", "linger = \"next\""]);
    says("zone", &["a zone, a part of the maps", "stay_in_key"]);
    says("next-section", &["an action", "on to the next section"]);
    says("section", &["section NAME: an action", "a field of"]);
    says("print", &["handspan print --help"]);
    // The chord's notes by a handbook's table, as npm tonal 6.3.0 has it.
    says("m7b5", &["Its notes are C Eb Gb Bb", "m7-5"]);
    says("Ebm7b5", &["Its notes are Eb Gb A Db"]);
    says("F#m7", &["Its notes are F# A C# E"]);
    let all = done(folder, &["explain"]);
    assert!(["linger", "panic", "next-song", "m7b5", "pass_clock"].iter().all(|word| all.contains(word)), "{all}");
    refused(folder, &["explain", "lingr"], 2, "did you mean \"linger\"?");
    refused(folder, &["explain", "xyzzyx"], 2, "`handspan explain` lists those that are");
}
