//! `do` and `status` as their users meet them: the program itself, with exit codes and sentences.

use std::path::Path;

use assert_cmd::Command;
use handspan::daemon::control::NameLock;
use tempfile::TempDir;

use crate::evening::{Evening, GEAR, LANTERN, SET, connect};

struct Ran {
    code: i32,
    out: String,
    err: String,
}

/// Runs the program where sockets lie in `run` of this folder.
fn run(folder: &Path, arguments: &[&str]) -> Ran {
    let run = folder.join("run");
    std::fs::create_dir_all(&run).unwrap();
    let mut command = Command::cargo_bin("handspan").expect("the program");
    let output = command.current_dir(folder).env("XDG_RUNTIME_DIR", run).args(arguments).output().expect("it runs");
    Ran {
        code: output.status.code().expect("no signal ended it"),
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
    }
}

#[test]
fn something_is_done_and_told() {
    let evening = Evening::begin();
    let folder = evening.folder.path();
    let ran = run(folder, &["do", "section", "Chorus"]);
    assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (0, "Chorus (2 of 2), room C.\n", ""));
    let ran = run(folder, &["do", "--name", "choir", "next-section"]);
    assert_eq!((ran.code, ran.out.as_str()), (1, ""));
    assert_eq!(ran.err, "Chorus is the last section.\n");
    let ran = run(folder, &["do", "nxt-section", "--name", "choir"]);
    assert_eq!((ran.code, ran.err.as_str()), (2, "\"nxt-section\" is no action: did you mean \"next-section\"?\n"));
    assert_eq!(run(folder, &["do"]).code, 2);
    let ran = run(folder, &["do", &"x".repeat(5000)]);
    assert!(ran.code == 2 && ran.err.contains("too long"), "{}", ran.err);
    // A file is looked for where the command is said, in the set's folder otherwise.
    std::fs::create_dir(folder.join("elsewhere")).unwrap();
    std::fs::write(folder.join("elsewhere/encore.toml"), LANTERN.replace("Lantern", "Encore")).unwrap();
    let mut command = Command::cargo_bin("handspan").unwrap();
    command.current_dir(folder.join("elsewhere")).env("XDG_RUNTIME_DIR", folder.join("run"));
    let output = command.args(["do", "add-song", "encore.toml", "D"]).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(evening.titles()[3], "Encore");
    assert_eq!(evening.state().set.unsaved, ["add-song \"elsewhere/encore.toml\" D"]);
}

#[test]
fn how_it_stands_is_shown() {
    let evening = Evening::begin();
    let folder = evening.folder.path();
    run(folder, &["do", "song-key", "Lantern", "Eb"]);
    let ran = run(folder, &["status"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    for words in [
        "choir plays Tonight (",
        "\n  1/3 Lantern\n  Verse (1 of 2)  → Chorus\n",
        "\n  room Eb, fingers C, +3, chart C\n  zones: grand, bed (off)\n",
        "\n  inputs: keyboard\n  outputs: keys (nothing connected)\n  not saved: song-key \"Lantern\" Eb\n",
        "\n  nothing was left out\n",
    ] {
        assert!(ran.out.contains(words), "{words:?} is not in\n{}", ran.out);
    }
    let ran = run(folder, &["status", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&ran.out).expect("one object");
    assert_eq!(json["song"]["keys"]["room"], "Eb");
    assert_eq!((json["version"].as_u64(), ran.err.as_str()), (Some(1), ""));
}

#[test]
fn where_nothing_runs_it_says_so() {
    let folder = TempDir::new().unwrap();
    for command in [&["status"][..], &["status", "--json"], &["do", "panic"]] {
        let ran = run(folder.path(), command);
        assert_eq!((ran.code, ran.out.as_str()), (1, ""), "{command:?}");
        assert_eq!(ran.err, "No handspan runs: start one with `handspan play`.\n");
    }
    // A socket that a killed one left behind is nobody.
    drop(Evening::begin());
    let name_lock = NameLock::take(&folder.path().join("run/handspan"), "dead").unwrap();
    drop(std::os::unix::net::UnixListener::bind(name_lock.socket()).unwrap());
    assert!(name_lock.socket().exists());
    drop(name_lock);
    assert_eq!(run(folder.path(), &["status"]).code, 1);
    let ran = run(folder.path(), &["do", "panic", "--name", "dead"]);
    assert_eq!(ran.code, 1);
    assert_eq!(ran.err, "No handspan runs, named \"dead\" or otherwise: start it with `handspan play`.\n");
    assert_eq!(run(folder.path(), &["status", "--name", "a b"]).code, 2);
}

#[test]
fn where_several_run_one_must_be_named() {
    let evening = Evening::begin();
    let folder = evening.folder.path();
    let set = evening.file("set.toml").display().to_string();
    let other = TempDir::new_in(folder).unwrap();
    std::os::unix::fs::symlink(folder.join("run"), other.path().join("run")).unwrap();
    let band = Evening::of(other, &set, "band");
    let ran = run(folder, &["status"]);
    assert_eq!(ran.code, 0);
    assert!(ran.out.starts_with("band: Tonight, 1/3 Lantern\nchoir: Tonight, 1/3 Lantern\n"), "{}", ran.out);
    for command in [&["status", "--json"][..], &["do", "panic"]] {
        let ran = run(folder, command);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{command:?}");
        assert_eq!(ran.err, "Several run: \"band\", \"choir\". Say which with --name.\n");
    }
    assert_eq!(run(folder, &["do", "next-section", "--name", "band"]).code, 0);
    assert_eq!(evening.state().song.unwrap().section.unwrap().step, 1, "the other one stands where it stood");
    let ran = run(folder, &["do", "panic", "--name", "orchestra"]);
    assert_eq!(
        (ran.code, ran.err.as_str()),
        (1, "No handspan named \"orchestra\" runs; there is \"band\", \"choir\".\n")
    );
    drop(band);
    assert_eq!(run(folder, &["do", "panic"]).code, 0, "now it is the only one");
}

#[test]
fn a_second_of_one_name_is_refused_before_it_opens_a_port() {
    let evening = Evening::begin();
    let folder = evening.folder.path();
    let ran = run(folder, &["play", "set.toml", "--name", "choir"]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    let said =
        "a handspan named \"choir\" is running already: end that one, or give this one another name with --name.\n";
    assert_eq!((ran.err.as_str(), ran.out.as_str()), (said, ""));
    let ran = run(folder, &["play", "set.toml", "--name", "../choir"]);
    assert!(ran.code == 2 && ran.err.contains("is no name"), "{}", ran.err);
    connect(&evening.run().join("choir.socket"));
    assert_eq!(evening.music(1), 60, "the first one plays on");
}

#[test]
fn without_a_safe_folder_there_is_music_and_no_socket() {
    let folder = TempDir::new().unwrap();
    let gear = GEAR.replace("port = \"piano\"", "port = \"a piano that nobody has\"");
    for (name, text) in
        [("gear.toml", gear.as_str()), ("lantern.toml", LANTERN), ("bells.toml", LANTERN), ("set.toml", SET)]
    {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let shared = folder.path().join("run");
    std::fs::create_dir(&shared).unwrap();
    std::fs::set_permissions(&shared, std::os::unix::fs::PermissionsExt::from_mode(0o777)).unwrap();
    let ran = run(folder.path(), &["play", "set.toml"]);
    assert!(
        ran.out.contains("cannot reach this performance: ") && ran.out.contains("is not yours alone"),
        "{}",
        ran.out
    );
    assert_eq!(ran.code, 2, "it went on to its ports: {}", ran.err);
    let ran = run(folder.path(), &["status"]);
    assert!(ran.code == 1 && ran.err.contains("is not yours alone"), "{}", ran.err);
}
