//! The program as its user meets it: exit codes, sentences, and that nothing is left half-done.

use std::fs;
#[cfg(unix)]
use std::io::{BufRead, BufReader, Read, Write};
#[cfg(unix)]
use std::net::TcpStream;
use std::path::Path;
#[cfg(unix)]
use std::process::Stdio;

use assert_cmd::Command;
use tempfile::TempDir;

const GEAR: &str = "[inputs.keyboard]\nport = \"a piano that nobody has\"\n[outputs.piano]\nvirtual = true\n\
                    [outputs.pad]\nvirtual = true\n[sounds.grand]\noutput = \"piano\"\nchannel = 1\n";
const SONG: &str = "title = \"Lantern\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n";
const SET: &str = "title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n";

/// A folder with a set that is in order.
fn maps() -> TempDir {
    let folder = TempDir::new().expect("a folder");
    for (name, text) in [("gear.toml", GEAR), ("song.toml", SONG), ("set.toml", SET)] {
        fs::write(folder.path().join(name), text).expect("a map");
    }
    folder
}

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = Command::cargo_bin("handspan").expect("the program");
    let output = command.current_dir(folder).args(arguments).output().expect("it runs");
    Ran {
        code: output.status.code().expect("no signal ended it"),
        out: String::from_utf8(output.stdout).expect("text"),
        err: String::from_utf8(output.stderr).expect("text"),
    }
}

fn demo_take() -> Vec<u8> {
    fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("maps/takes/weir-gate.mid")).expect("a take")
}

#[test]
fn a_set_is_printed_whole_into_a_new_folder() {
    let folder = maps();
    let names = |out: &Path| {
        let entries = fs::read_dir(out).expect("the folder");
        let names = entries.map(|entry| entry.expect("an entry").file_name().into_string().expect("a name"));
        let mut names: Vec<String> = names.filter(|name| !name.ends_with(".toml")).collect();
        names.sort();
        names
    };
    for again in [false, true] {
        let ran = run(folder.path(), &["print", "set.toml", "--out", "on/paper"]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert_eq!(ran.out, "on/paper/set.html\non/paper/set.pdf  (2 pages)\n", "again: {again}");
        let out = folder.path().join("on/paper");
        assert_eq!(names(&out), ["set.html", "set.pdf"], "nothing half-written is left");
        // The first line and the last one of a PDF (ISO 32000-1, 7.5.2 and 7.5.5).
        let pdf = fs::read(out.join("set.pdf")).expect("a file");
        assert!(pdf.starts_with(b"%PDF-1.7") && pdf.ends_with(b"%%EOF"));
        // A second time it is replaced.
        fs::write(out.join("set.pdf"), "old").expect("written");
    }
    // Without a folder, the current one.
    let before = names(folder.path()).len();
    let ran = run(folder.path(), &["print", "set.toml"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, "set.html\nset.pdf  (2 pages)\n"), "{}", ran.err);
    assert_eq!(names(folder.path()).len(), before + 2);
    // Where a file's place is taken by a folder, that is said.
    let taken = folder.path().join("taken");
    fs::create_dir_all(taken.join("set.pdf")).expect("a folder");
    let ran = run(folder.path(), &["print", "set.toml", "--out", "taken"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(ran.err.contains("taken/set.pdf cannot be written") && ran.err.contains("--out"), "{}", ran.err);
}

#[test]
fn a_set_of_another_ending_is_not_replaced_by_what_is_printed_of_it() {
    let folder = maps();
    fs::rename(folder.path().join("set.toml"), folder.path().join("set.html")).expect("renamed");
    let ran = run(folder.path(), &["print", "set.html"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, "set.html.html\nset.html.pdf  (2 pages)\n"), "{}", ran.err);
    assert_eq!(fs::read_to_string(folder.path().join("set.html")).expect("the set"), SET);
}

#[test]
fn a_letter_that_no_font_has_is_named_and_the_rest_is_printed() {
    let folder = maps();
    let set = SET.replace("song.toml\"", "song.toml\"\nremark = \"soft \u{F8FF5}x\"");
    fs::write(folder.path().join("set.toml"), set).expect("a map");
    let ran = run(folder.path(), &["print", "set.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let said = "No font of this system has \"\u{F8FF5}\" (U+F8FF5) of \"\u{F8FF5}x\": the PDF has a box there.";
    assert!(ran.err.contains(said), "{}", ran.err);
    assert!(fs::read(folder.path().join("set.pdf")).expect("a file").len() > 10_000);
}

/// Every command that reads a set refuses it alike: with this exit code, and a sentence with all of `said`.
fn refuses_the_set(folder: &Path, code: i32, said: &[&str]) {
    fs::write(folder.join("take.mid"), demo_take()).expect("a take");
    for arguments in [
        &["replay", "set.toml", "take.mid", "--out", "out"][..],
        &["play", "set.toml"][..],
        &["check", "set.toml"][..],
        &["print", "set.toml", "--out", "out"][..],
    ] {
        let ran = run(folder, arguments);
        assert_eq!(ran.code, code, "{arguments:?}: {}", ran.err);
        for words in said {
            assert!(ran.err.contains(words), "{arguments:?} does not say {words:?}:\n{}", ran.err);
        }
        assert!(!folder.join("out").exists(), "nothing is begun");
    }
}

#[test]
fn a_broken_map_is_refused_with_file_and_line() {
    let folder = maps();
    fs::write(folder.path().join("song.toml"), "title = \"Lantern\nkey = \"C\"\n").expect("a map");
    refuses_the_set(folder.path(), 2, &["song.toml, line 1\n"]);
}

#[test]
fn a_map_that_is_not_text_is_refused() {
    let folder = maps();
    fs::write(folder.path().join("song.toml"), b"title = \"Lan\xFFtern\"\n").expect("a map");
    refuses_the_set(folder.path(), 2, &["song.toml", "UTF-8"]);
}

#[test]
fn a_missing_file_is_refused() {
    let folder = maps();
    fs::remove_file(folder.path().join("song.toml")).expect("there before");
    refuses_the_set(folder.path(), 2, &["set.toml, line 4\n", "song.toml"]);
    fs::remove_file(folder.path().join("set.toml")).expect("there before");
    refuses_the_set(folder.path(), 2, &["set.toml"]);
}

/// Runs a command that must end by itself; far longer than anything here takes, only a failure waits for it.
#[cfg(target_os = "linux")]
fn ends(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = Command::cargo_bin("handspan").expect("the program");
    command.timeout(std::time::Duration::from_secs(60)).current_dir(folder).args(arguments);
    let output = command.output().expect("it runs");
    let code = output.status.code().unwrap_or_else(|| panic!("{arguments:?} waits for who writes into a pipe"));
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    Ran { code, out: text(output.stdout), err: text(output.stderr) }
}

#[cfg(target_os = "linux")]
fn make_pipe(path: &Path) {
    use rustix::fs::{CWD, FileType, Mode, mknodat};
    let _ = fs::remove_file(path);
    mknodat(CWD, path, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).expect("a pipe");
}

#[cfg(target_os = "linux")]
#[test]
fn a_pipe_in_the_place_of_any_file_is_named_and_not_waited_for() {
    for name in ["set.toml", "gear.toml", "song.toml"] {
        let folder = maps();
        fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
        make_pipe(&folder.path().join(name));
        for arguments in [
            &["replay", "set.toml", "take.mid", "--out", "out"][..],
            &["play", "set.toml"][..],
            &["check", "set.toml"][..],
            &["check", "set.toml", "--json"][..],
            &["print", "set.toml", "--out", "out"][..],
        ] {
            let ran = ends(folder.path(), arguments);
            let said = format!("{}{}", ran.out, ran.err);
            assert_eq!(ran.code, 2, "{arguments:?}: {said}");
            assert!(
                said.contains(name) && said.contains("cannot be read: it is a pipe or a device"),
                "{arguments:?}: {said}"
            );
            assert!(!folder.path().join("out").exists(), "nothing is begun");
        }
    }
    let folder = maps();
    make_pipe(&folder.path().join("take.mid"));
    let ran = ends(folder.path(), &["replay", "set.toml", "take.mid", "--out", "out"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(ran.err.contains("take.mid") && ran.err.contains("it is a pipe or a device"), "{}", ran.err);
    make_pipe(&folder.path().join("concert.log"));
    let ran = ends(folder.path(), &["play", "set.toml", "--log", "concert.log"]);
    assert!(ran.code == 2 && ran.err.contains("it is no plain file"), "{}", ran.err);
}

#[test]
fn a_folder_in_the_place_of_a_map_is_refused() {
    let folder = maps();
    fs::remove_file(folder.path().join("gear.toml")).expect("there before");
    fs::create_dir(folder.path().join("gear.toml")).expect("a folder");
    refuses_the_set(folder.path(), 2, &["gear.toml", "folder"]);
}

#[test]
fn a_set_that_leads_back_to_itself_is_refused() {
    let folder = maps();
    fs::write(folder.path().join("set.toml"), SET.replace("song.toml", "set.toml")).expect("a map");
    refuses_the_set(folder.path(), 2, &["set.toml, line 4\n"]);
    #[cfg(unix)]
    {
        let folder = maps();
        fs::remove_file(folder.path().join("song.toml")).expect("there before");
        std::os::unix::fs::symlink("song.toml", folder.path().join("song.toml")).expect("a link to itself");
        refuses_the_set(folder.path(), 2, &["set.toml, line 4\n", "song.toml"]);
    }
}

#[test]
fn all_faults_of_all_files_are_told_at_once() {
    let folder = maps();
    fs::write(folder.path().join("song.toml"), SONG.replace("grand", "grant").replace("\"C\"", "\"H\""))
        .expect("a map");
    fs::write(folder.path().join("gear.toml"), GEAR.replace("channel = 1", "channel = 17")).expect("a map");
    let song = ["song.toml, line 2\n", "song.toml, line 4\n"];
    refuses_the_set(folder.path(), 1, &[song[0], song[1], "did you mean \"grand\"?", "gear.toml, line 9\n"]);
}

#[test]
fn a_fault_gives_the_same_exit_code_wherever_it_stands() {
    let appended = [
        ("set.toml", SET, "[[song]]\nmap = \"song.toml\"\nplai_in = \"C\"\n"),
        ("set.toml", SET, "[[song]]\nmap = \"song.toml\"\nsinger = \"nobody\"\n"),
        ("song.toml", SONG, "[[zone]]\nsound = \"grant\"\n"),
        ("song.toml", SONG, "[[zone]]\nsound = \"grand\"\nlevell = 1\n"),
        ("gear.toml", GEAR, "[sounds.other]\noutput = \"piano\"\nchannel = 17\n"),
        ("gear.toml", GEAR, "[sounds.other]\noutput = \"pianoo\"\nchannel = 2\n"),
        ("gear.toml", GEAR, "[sounds.other]\noutput = \"piano\"\nchannel = 2\nprogramm = 2\n"),
    ];
    for (file, text, more) in appended {
        let folder = maps();
        fs::write(folder.path().join(file), format!("{text}{more}")).expect("a map");
        refuses_the_set(folder.path(), 1, &[file]);
    }
    // What can be read is wrong, and one file cannot be read: the worse of the two counts.
    let folder = maps();
    fs::write(folder.path().join("gear.toml"), format!("{GEAR}[sounds.other]\nchannel = 17\n")).expect("a map");
    fs::write(folder.path().join("song.toml"), "title = ").expect("a map");
    refuses_the_set(folder.path(), 2, &["gear.toml", "song.toml"]);
}

#[test]
fn a_port_that_is_not_there_or_no_sequencer_ends_play_with_a_sentence() {
    let folder = maps();
    let ran = run(folder.path(), &["play", "set.toml"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    if cfg!(windows) || Path::new("/dev/snd/seq").exists() {
        assert!(ran.err.contains("a piano that nobody has"), "{}", ran.err);
    } else {
        assert!(ran.err.contains("snd-seq"), "says which kernel module is wanted: {}", ran.err);
        for instead in ["`handspan play set.toml --no-ports`", "`handspan try set.toml`"] {
            assert!(ran.err.contains(instead), "says what plays without ports: {}", ran.err);
        }
    }
}

#[test]
fn a_log_that_cannot_be_written_is_refused_before_anything_starts() {
    let folder = maps();
    for (log, said) in [("missing/concert.log", "missing/concert.log"), (".", "it is no plain file")] {
        let ran = run(folder.path(), &["play", "set.toml", "--log", log]);
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains(said) && ran.err.contains("give --log a file"), "{}", ran.err);
        assert!(!ran.err.contains("snd-seq") && !ran.err.contains("nobody has"), "no port was asked for: {}", ran.err);
    }
}

#[test]
fn the_log_says_why_play_could_not_begin() {
    let folder = maps();
    let ran = run(folder.path(), &["play", "set.toml", "--log", "concert.log", "--take", "takes"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    let log = fs::read_to_string(folder.path().join("concert.log")).expect("a log");
    let first = ran.err.split_whitespace().next().expect("a sentence");
    assert!(log.lines().count() == 1 && log.contains(first), "{log}");
    // 2026-12-19T19:30:00.042+01:00, then a space.
    assert_eq!(log.find(' '), Some(29), "{log}");
    assert!(!folder.path().join("takes").exists(), "nothing was recorded");
}

#[test]
fn a_take_that_is_none_is_refused() {
    let folder = maps();
    let whole = demo_take();
    let cut = &whole[..whole.len() / 2];
    for (bytes, said) in [(&b"not a midi file"[..], "MThd"), (&b""[..], "empty"), (cut, "cut short")] {
        fs::write(folder.path().join("take.mid"), bytes).expect("a take");
        let ran = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "out"]);
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains("take.mid") && ran.err.contains(said), "{said}: {}", ran.err);
        assert!(!folder.path().join("out").exists(), "nothing is begun");
    }
    let ran = run(folder.path(), &["replay", "set.toml", "nowhere.mid", "--out", "out"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("nowhere.mid"), "{}", ran.err);
}

#[test]
fn a_folder_that_cannot_be_written_is_refused_and_keeps_what_it_has() {
    let folder = maps();
    fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
    fs::write(folder.path().join("file"), "in the way").expect("a file");
    let ran = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "file"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("file"), "{}", ran.err);
    assert_eq!(fs::read_to_string(folder.path().join("file")).expect("still there"), "in the way");

    let out = folder.path().join("out");
    fs::create_dir_all(out.join("pad.mid")).expect("a folder in the way of a file");
    fs::write(out.join("piano.mid"), "yesterday").expect("a file");
    let ran = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "out"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert_eq!(fs::read_to_string(out.join("piano.mid")).expect("still there"), "yesterday");
    assert_eq!(fs::read_dir(&out).expect("a folder").count(), 2, "no passing files stay");
}

#[test]
fn replay_writes_one_file_for_each_output_and_replaces_old_ones() {
    let folder = maps();
    fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
    let out = folder.path().join("out");
    fs::create_dir(&out).expect("a folder");
    fs::write(out.join("piano.mid"), "yesterday").expect("a file");
    let ran = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "out"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("piano.mid") && ran.out.contains("pad.mid"), "{}", ran.out);
    for file in ["piano.mid", "pad.mid"] {
        assert!(fs::read(out.join(file)).expect("a file").starts_with(b"MThd"));
    }
    let again = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "again"]);
    assert_eq!(again.code, 0);
    let read = |folder: &str| fs::read(folder_path(&out, folder)).expect("a file");
    assert_eq!(read("out"), read("again"), "the same input, the same bytes");
}

fn folder_path(out: &Path, name: &str) -> std::path::PathBuf {
    out.with_file_name(name).join("piano.mid")
}

#[test]
fn a_marker_that_says_nothing_known_is_reported_and_changes_nothing() {
    use handspan::midi::file::Writer;
    use handspan::midi::tempo::Division;
    let folder = maps();
    let mut writer = Writer::new(Division::quarter(480).expect("a division"));
    writer.marker(480, "song 9");
    writer.marker(480, "rehearsal letter B");
    writer.message(960, &[0x90, 60, 90]);
    fs::write(folder.path().join("take.mid"), writer.finish(1920).expect("a file")).expect("a take");
    let ran = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "out"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(
        ran.err.contains("0.50 s") && ran.err.contains("\"9\"") && ran.err.contains("rehearsal letter B"),
        "{}",
        ran.err
    );
}

#[test]
fn an_unknown_input_is_refused_with_those_that_there_are() {
    let folder = maps();
    fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
    let ran = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "out", "--input", "organ"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("organ") && ran.err.contains("\"keyboard\""), "{}", ran.err);
}

#[test]
fn try_shows_every_song_and_leaves_what_it_made() {
    let folder = TempDir::new().expect("a folder");
    let ran = run(folder.path(), &["try", "--out", "demo"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    for title in ["Snow at the Weir Gate", "Candle by Candle", "Home Before the Thaw"] {
        assert!(ran.out.contains(title), "{title}");
    }
    assert!(ran.out.contains("every one ended") && !ran.out.contains("never ended"), "{}", ran.out);
    assert!(ran.out.contains("demo"), "names its folder");
    let too_wide = ran.out.lines().find(|line| line.chars().count() > 100 && !line.contains("handspan replay"));
    assert_eq!(too_wide, None);
    let demo = folder.path().join("demo");
    assert!(demo.join("takes/whole-set.mid").exists() && demo.join("replayed/whole-set/pad.mid").exists());
    let ran = run(&demo, &["replay", "midwinter.toml", "takes/whole-set.mid", "--out", "again"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let read = |path: &str| fs::read(demo.join(path)).expect("a file");
    assert_eq!(read("again/piano.mid"), read("replayed/whole-set/piano.mid"), "as the last lines of `try` promise");
}

#[cfg(unix)]
#[test]
fn try_replaces_nothing_and_follows_no_link_out_of_its_folder() {
    let folder = TempDir::new().expect("a folder");
    let demo = folder.path().join("demo");
    fs::create_dir_all(demo.join("songs")).expect("a folder");
    fs::write(demo.join("gear.toml"), "# my own\n").expect("a file");
    let outside = folder.path().join("outside");
    fs::create_dir(&outside).expect("a folder");
    std::os::unix::fs::symlink(&outside, demo.join("replayed")).expect("a link");
    std::os::unix::fs::symlink(outside.join("made.toml"), demo.join("midwinter.toml")).expect("a link");
    let ran = run(folder.path(), &["try", "--out", "demo"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(fs::read_to_string(demo.join("gear.toml")).expect("a file"), "# my own\n");
    assert_eq!(fs::read_dir(&outside).expect("a folder").count(), 0);
    let left = ran.out.split("Left alone, because something else is there:").nth(1).expect("it says so");
    for name in ["gear.toml", "midwinter.toml", "replayed/weir-gate", " more"] {
        assert!(left.contains(name), "{name}: {left}");
    }
    // What it made itself is no reason to say anything.
    assert_eq!(run(folder.path(), &["try", "--out", "again"]).code, 0);
    let again = run(folder.path(), &["try", "--out", "again"]);
    assert!(again.code == 0 && !again.out.contains("Left alone"), "{}", again.out);
}

#[test]
fn replay_never_leaves_its_folder() {
    let folder = maps();
    let gear = GEAR.replace("[outputs.pad]", "[outputs.\"../../escaped\"]").replace("outputs.piano", "outputs.\"a/b\"");
    fs::write(folder.path().join("gear.toml"), gear.replace("\"piano\"", "\"a/b\"")).expect("a map");
    fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
    let out = folder.path().join("deep/down/out");
    let ran = run(folder.path(), &["replay", "set.toml", "take.mid", "--out", "deep/down/out"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let mut names: Vec<_> =
        fs::read_dir(&out).expect("a folder").map(|file| file.expect("a file").file_name()).collect();
    names.sort();
    assert_eq!(names, ["_.._.._escaped.mid", "a_b.mid"]);
    assert_eq!(fs::read_dir(folder.path().join("deep")).expect("a folder").count(), 1);
}

#[test]
fn nothing_that_a_map_names_reaches_the_terminal_as_a_command() {
    let folder = maps();
    let title = "Lan\\u009b2Jtern\\u202e\\u2066\\u001b[2J\\r";
    fs::write(folder.path().join("song.toml"), SONG.replace("Lantern", title)).expect("a map");
    fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
    let set = SET.replace("song.toml\"", &format!("song.toml\"\nremark = \"{title}\"\nsinger = \"{title}\""));
    let bad = |letter: char| letter != '\n' && letter.is_control() || "\u{202e}\u{2066}".contains(letter);
    for set in [SET, &set] {
        fs::write(folder.path().join("set.toml"), set).expect("a map");
        for arguments in [
            &["check", "set.toml"][..],
            &["check", "set.toml", "--json"],
            &["replay", "set.toml", "take.mid", "--out", "out"],
            &["print", "set.toml", "--out", "paper"],
        ] {
            let ran = run(folder.path(), arguments);
            assert!(!ran.out.contains(bad) && !ran.err.contains(bad), "{arguments:?}: {:?} {:?}", ran.out, ran.err);
        }
    }
}

#[cfg(unix)]
#[test]
fn what_is_no_file_is_refused_in_a_sentence() {
    let folder = maps();
    fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
    std::os::unix::fs::symlink("/dev/zero", folder.path().join("endless")).expect("a link");
    let _nobody_writes = std::os::unix::net::UnixListener::bind(folder.path().join("socket")).expect("a socket");
    for name in ["endless", "socket"] {
        for arguments in
            [&["check", name][..], &["replay", "set.toml", name, "--out", "out"], &["print", name, "--out", "out"]]
        {
            let ran = run(folder.path(), arguments);
            assert!(ran.code == 2 && ran.err.contains("pipe or a device"), "{arguments:?}: {}", ran.err);
        }
    }
}

/// Very many faults are told as far as anybody reads them, and the time that it takes grows as they do, not faster.
#[test]
fn twenty_thousand_faults_are_told_without_delay() {
    let folder = maps();
    let took = |many: usize| {
        let faults: String = (0..many).map(|number| format!("wrong_{number} = {number}\n")).collect();
        fs::write(folder.path().join("song.toml"), format!("{faults}{SONG}")).expect("a map");
        let began = std::time::Instant::now();
        let ran = run(folder.path(), &["check", "set.toml"]);
        assert!(ran.out.contains(&format!("{many} errors")), "{}", ran.out);
        assert!(ran.err.len() < 100_000 && ran.err.contains(&format!("And {} more.", many - 100)), "{}", ran.err.len());
        let took = began.elapsed();
        println!("{many} faults: {took:?}");
        took
    };
    let (some, many) = (took(2_000), took(20_000));
    assert!(many < some * 30, "{some:?} for 2,000, {many:?} for 20,000");
}

#[cfg(unix)]
#[test]
fn try_goes_on_as_a_page_that_is_served_until_a_signal_ends_it() {
    let folder = TempDir::new().expect("a folder");
    let mut program = std::process::Command::new(assert_cmd::cargo::cargo_bin("handspan"))
        .current_dir(folder.path())
        .args(["try", "--page", "--out", "demo"])
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .stdout(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut said = BufReader::new(program.stdout.take().expect("its output")).lines().map(|line| line.expect("text"));
    let told = said.find_map(|line| line.strip_prefix("Play it yourself: http://").map(str::to_owned));
    let host = told.expect("it says where").trim_end_matches("/#play").to_owned();
    let mut page = TcpStream::connect(&host).expect("it listens");
    write!(page, "GET / HTTP/1.1\r\nhost: {host}\r\nconnection: close\r\n\r\n").expect("asked");
    let mut answer = String::new();
    page.read_to_string(&mut answer).expect("answered");
    assert!(answer.starts_with("HTTP/1.1 200 ") && answer.contains("play here"), "{answer}");
    let process = rustix::process::Pid::from_child(&program);
    rustix::process::kill_process(process, rustix::process::Signal::INT).expect("told");
    assert_eq!(program.wait().expect("it ends").code(), Some(0));
}

#[test]
fn try_says_what_helps_the_hand_and_shows_it() {
    let folder = TempDir::new().expect("a folder");
    let ran = run(folder.path(), &["try", "--out", "demo"]);
    let song = |title: &str| -> &str {
        let begin = ran.out.find(&format!("\n{title}\n")).unwrap_or_else(|| panic!("{title}: {}", ran.out));
        let song = &ran.out[begin..];
        song.find("every one ended").map_or(song, |end| &song[..end])
    };
    let frost = song("Frost on the Window");
    let readme = include_str!("../README.md");
    let example = readme.split("```\n").find(|block| block.starts_with("Frost on the Window")).expect("the example");
    assert!(ran.out.contains(example), "README.md shows something else than this: {frost}");
    for said in [
        "follows the chord: its root and fifth, until the next chord",
        "one or two keys change nothing, save a bare fifth or a broken chord",
        // Decided as gather ends, with its own time and the name of what the fingers hold.
        "0.045 s  (C) ",
        "(do fade)",
        "(fading)",
    ] {
        assert!(frost.contains(said), "{said}: {frost}");
    }
    let lullaby = song("The Lamplighter's Lullaby");
    for said in ["▏C/E ", "▏G/B ", "█D7/F#", "•", "◦", "(as ", "(silent)", "(C)", "within E3–F4"] {
        assert!(lullaby.contains(said), "{said}: {lullaby}");
    }
    for (title, said) in [
        ("Long Night Round", "a note is held until you strike its key again"),
        ("The Ferry at First Light", "drone    F3 C4 → pad 4"),
        ("The Ferry at First Light", "moving as little as it can"),
        ("Nine Bells Under the Ice", "lets in all that are struck with it"),
        ("Carry the Light", "notes are held until you play again"),
    ] {
        assert!(song(title).contains(said), "{title}, {said}: {}", song(title));
    }
    assert!(ran.out.contains("The Ferry at First Light → A reading → The Lamplighter's Lullaby"), "{}", ran.out);
}

#[test]
fn try_and_replay_say_which_cue_fired_and_when_that_was_known() {
    let folder = maps();
    let ran = run(folder.path(), &["try", "--out", "demo"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let table = &ran.out[ran.out.find("The set moved by cues").expect("shown")..];
    let rows: Vec<&str> = table.lines().map(str::trim).collect();
    for cue in [
        &["5.625 s  control 66 127", "→ next section"][..],
        &["17.962 s  control 67", "(held for 0.7 s)", "→ fade"],
        &["40.343 s  tracks: transport stop", "→ fade"],
    ] {
        assert!(rows.windows(cue.len()).any(|rows| rows == cue), "{cue:?} in\n{table}");
    }
    let ran = run(folder.path(), &["replay", "demo/midwinter.toml", "demo/takes/directing.mid", "--out", "again"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let lines: Vec<&str> = ran.out.lines().map(str::trim).collect();
    assert_eq!(lines[1], "10.64 s  keyboard: control 67 twice → next song: Frost on the Window");
    assert_eq!(lines[3], "21.39 s  tracks: program 11 → song 11: Carry the Light");
    let is_cue = |line: &&&str| line.contains(" s  ");
    assert_eq!(lines.iter().filter(is_cue).count(), 9);
}

#[test]
fn the_command_line_explains_itself() {
    let folder = TempDir::new().expect("a folder");
    let ran = run(folder.path(), &[]);
    assert!(ran.code == 0 && ran.out.contains("handspan new evening"), "{}{}", ran.out, ran.err);
    let ran = run(folder.path(), &["--help"]);
    assert_eq!(ran.code, 0);
    for command in ["try", "play", "ports", "check", "replay", "do", "status"] {
        assert!(ran.out.contains(command), "{command}");
        assert!(run(folder.path(), &[command, "--help"]).code == 0);
    }
    let keys = run(folder.path(), &["play", "--help"]).out;
    assert!(keys.contains("\n  d  ") && keys.contains("\n  f  "), "{keys}");
    assert_eq!(run(folder.path(), &["singer", "set.toml"]).code, 2, "what does not work yet is unknown");
}

#[test]
fn every_command_has_examples_and_an_error_names_the_word_to_explain() {
    let all = handspan::cli::command_line();
    for command in all.get_subcommands() {
        let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
        let begin = format!("  handspan {} ", command.get_name());
        let examples = format!("{help} ").lines().filter(|line| format!("{line} ").starts_with(&begin)).count();
        assert!(examples >= 2, "{} has {examples} examples", command.get_name());
    }
    let folder = maps();
    fs::write(folder.path().join("song.toml"), SONG.replacen("sound = \"", "sound = \"no ", 1)).expect("a map");
    let ran = run(folder.path(), &["check", "set.toml"]);
    assert!(ran.code == 1 && ran.err.contains("`handspan explain sound`"), "{}", ran.err);
}

/// The set with a melody, and a guest who sings it; comments on every line that an edit could lose.
fn with_a_singer() -> TempDir {
    let folder = maps();
    let song = SONG.replacen("key = \"C\"\n", "key = \"G\" # as printed\nmelody_range = [\"D4\", \"E5\"]\n", 1);
    fs::write(folder.path().join("song.toml"), song).expect("a map");
    let set = SET.replacen(
        "[[song]]",
        "# who sings\n[singers.guest] # our guest\nrange = [\"A3\", \"C5\"] # asked on Monday\n\n# the evening\n[[song]] # first",
        1,
    );
    fs::write(folder.path().join("set.toml"), format!("{set}singer = \"guest\" # she counts it in\n")).expect("a map");
    folder
}

#[test]
fn the_key_for_a_singer_is_ranked_drawn_and_written_a_hundred_times_without_losing_a_comment() {
    let folder = with_a_singer();
    let ran = run(folder.path(), &["singer", "set.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(
        ran.out.contains("1  Lantern: room G, guest 4 too high\n     better: Eb, guest comfortable"),
        "{}",
        ran.out
    );
    let ran = run(folder.path(), &["singer", "set.toml", "lantern", "--capo", "3"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let best = ran.out.lines().nth(2).expect("the best key");
    assert_eq!(
        best,
        "Eb          ·███████████████··········  guest comfortable · -4 from the chart · signature 3♭ · capo 3: shapes in C"
    );
    assert!(ran.out.contains("who sings decides"), "{}", ran.out);

    let comments = |text: &str| text.matches('#').count();
    let file = folder.path().join("set.toml");
    let before = fs::read_to_string(&file).expect("the set");
    for round in 0..100 {
        let key = if round % 2 == 0 { "Eb" } else { "D" };
        let ran = run(folder.path(), &["singer", "set.toml", "1", "--use", key]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        let now = fs::read_to_string(&file).expect("the set");
        assert!(now.contains(&format!("key = \"{key}\"")) && comments(&now) == comments(&before), "{now}");
    }
    // What cannot be done says so, and writes nothing.
    let before = fs::read_to_string(&file).expect("the set");
    fs::write(folder.path().join("silence.mid"), silence()).expect("a take");
    for (arguments, code, said) in [
        (&["lantern", "--use", "H"][..], 2, "\"H\""),
        // A key, but none that this song can be in.
        (&["lantern", "--use", "Em"][..], 1, "minor"),
        (&["weir"][..], 2, "it has \"Lantern\""),
        (&["lantern", "--voice", "descant"][..], 2, "soprano, mezzo"),
        (&["lantern", "--melody", "silence.mid"][..], 2, "no note sounds"),
        (&["lantern", "--melody", "song.toml"][..], 2, "no standard MIDI file"),
    ] {
        let ran = run(folder.path(), &[&["singer", "set.toml"], arguments].concat());
        assert!(ran.code == code && ran.err.contains(said), "{arguments:?}: {} {}", ran.code, ran.err);
        assert_eq!(fs::read_to_string(&file).expect("the set"), before);
    }
    fs::write(&file, before.replace("[\"A3\", \"C5\"]", "[\"C5\", \"A3\"]")).expect("a map");
    let ran = run(folder.path(), &["singer", "set.toml"]);
    assert!(ran.code == 1 && ran.err.contains("range"), "{} {}", ran.code, ran.err);
}

/// A take without a note: a format 0 file with nothing but its end (RP-001).
fn silence() -> Vec<u8> {
    b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk\0\0\0\x04\0\xFF\x2F\0".to_vec()
}

#[test]
fn the_key_of_a_take_is_told_with_what_to_write() {
    let folder = maps();
    fs::write(folder.path().join("take.mid"), demo_take()).expect("a take");
    let ran = run(folder.path(), &["key", "take.mid"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("key = \"C\"\n  melody_range = [\"C3\", \"D5\"]"), "{}", ran.out);
    fs::write(folder.path().join("silence.mid"), silence()).expect("a take");
    for (take, said) in
        [("silence.mid", "no key can be told"), ("song.toml", "no standard MIDI file"), ("none.mid", "cannot be read")]
    {
        let ran = run(folder.path(), &["key", take]);
        assert!(ran.code == 2 && ran.err.contains(said), "{take}: {} {}", ran.code, ran.err);
    }
}

#[test]
fn the_key_of_a_take_is_written_into_a_song_with_its_comments_kept() {
    let folder = maps();
    let song = folder.path().join("song.toml");
    let text =
        SONG.replacen("key = \"C\"\n", "key = \"C\" # as printed\n", 1).replacen("[[zone]]", "# its keys\n[[zone]]", 1);
    fs::write(&song, &text).expect("a map");
    let take = Path::new(env!("CARGO_MANIFEST_DIR")).join("maps/takes/weir-gate.mid");
    let take = take.to_str().expect("a path");
    let said = run(folder.path(), &["key", take]).out;
    let (_, offered) = said.split_once("  key = ").expect("a key");
    let (key, range) = offered.split_once("\n  ").expect("a range");
    let ran = run(folder.path(), &["key", take, "--write", "song.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let expected = text.replacen("key = \"C\" # as printed\n", &format!("key = {key} # as printed\n{range}"), 1);
    let sorted = |text: &str| {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        lines.sort();
        lines
    };
    assert_eq!(sorted(&fs::read_to_string(&song).expect("a map")), sorted(&expected), "each line once");
    assert_eq!(fs::read_to_string(folder.path().join("song.toml.bak")).expect("the old one"), text);
    assert_eq!(run(folder.path(), &["check", "set.toml"]).code, 0);
    // A key of another mode than the fingers', and a file that is no song.
    let other = if key.contains('m') { "play_in = \"C\"\n" } else { "play_in = \"Am\"\n" };
    let minor = format!("{other}{text}");
    fs::write(&song, &minor).expect("a map");
    let ran = run(folder.path(), &["key", take, "--write", "song.toml"]);
    assert!(ran.code == 1 && ran.err.contains("another mode"), "{}", ran.err);
    assert_eq!(fs::read_to_string(&song).expect("a map"), minor);
    let ran = run(folder.path(), &["key", take, "--write", "gear.toml"]);
    assert!(ran.code == 2 && ran.err.contains("is not the map of a song"), "{}", ran.err);
}
