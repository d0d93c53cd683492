//! The pages of docs/tasks: every map on them loads, every command on them does what it says, and every keyboard on them
//! is as the program draws it now.

use std::fs;
use std::path::{Path, PathBuf};

use handspan::map::MapKind;
use tempfile::TempDir;

use crate::from_empty::done;
use crate::running::{Running, run};

/// What a page is about, and the blocks on it by their language.
struct Task {
    name: String,
    text: String,
}

fn tasks() -> Vec<Task> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let pages = fs::read_dir(root.join("docs/tasks")).expect("the pages").map(|entry| entry.expect("a page").path());
    let pages = pages.filter(|path| path.extension().is_some_and(|ending| ending == "md"));
    let task = |path: PathBuf| Task {
        name: path.file_stem().expect("a name").to_str().expect("text").to_owned(),
        text: fs::read_to_string(path).expect("a page"),
    };
    pages.map(task).filter(|task| task.name != "README").collect()
}

impl Task {
    fn blocks(&self, language: &str) -> Vec<&str> {
        let begin = format!("\n```{language}\n");
        let parts = self.text.split(begin.as_str()).skip(1);
        parts.map(|part| part.split_once("\n```").expect("a block that ends").0).collect()
    }

    /// The folder of its evening: its maps with the demo's gear, whose cues give way to those of the page.
    fn evening(&self) -> TempDir {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let demo = fs::read_to_string(root.join("maps/gear.toml")).expect("the demo's gear");
        let (mut gear, _) = demo.split_once("\n[[cue]]").map(|(gear, cues)| (gear.to_owned(), cues)).expect("its cues");
        let mut song = "title = \"Lantern\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n".to_owned();
        let mut set =
            "title = \"Choir evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"songs/song.toml\"\n".to_owned();
        for block in self.blocks("toml") {
            match MapKind::of(block) {
                Some(MapKind::Song) => song = block.to_owned(),
                Some(MapKind::Set) => set = block.to_owned(),
                _ => gear.push_str(&format!("\n{}\n", block.replace(":7340\"", ":0\""))),
            }
        }
        if !gear.contains("[stand]") {
            gear.push_str("\n[stand]\nlisten = \"127.0.0.1:0\"\n");
        }
        let folder = TempDir::new().expect("a folder");
        let evening = folder.path().join("evening");
        fs::create_dir_all(evening.join("songs")).expect("a folder");
        for (name, text) in [("gear.toml", &gear), ("set.toml", &set), ("songs/song.toml", &song)] {
            fs::write(evening.join(name), text).expect("a map");
        }
        fs::copy(root.join("maps/takes/frost-on-the-window.mid"), folder.path().join("yesterday.mid")).expect("a take");
        folder
    }

    fn commands(&self) -> Vec<Vec<String>> {
        let lines = self.blocks("sh").into_iter().flat_map(str::lines);
        lines.map(|line| words(line.strip_prefix("handspan ").expect("a command of handspan"))).collect()
    }
}

/// The words of a command line, which may stand in quotation marks.
fn words(line: &str) -> Vec<String> {
    let parts = line.split('"').enumerate();
    let words = parts.flat_map(|(number, part)| match number % 2 {
        0 => part.split_whitespace().map(str::to_owned).collect(),
        _ => vec![part.to_owned()],
    });
    words.collect()
}

/// Has a command done, as far as that goes with nothing plugged in.
fn carry_out(folder: &Path, command: &[String]) {
    let mut words: Vec<&str> = command.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["try", _] => {
            let playing = Running::begin(folder, &words);
            playing.says("Play it yourself");
            playing.end();
        }
        ["play", ..] => {
            words.extend(["--no-ports", "--name", "second"]);
            let playing = Running::begin(folder, &words);
            playing.says("/#play");
            playing.end();
        }
        ["listen", ..] => {
            words.push("--no-ports");
            let (code, out, err) = run(folder, &words);
            assert!(code == 1 && !err.contains("Usage"), "{words:?}: {out}{err}");
        }
        _ => {
            done(folder, &words);
        }
    }
}

#[test]
fn every_map_on_the_pages_loads_and_every_command_works() {
    let tasks = tasks();
    assert_eq!(tasks.len(), 15);
    for task in &tasks {
        let folder = task.evening();
        let folder = folder.path();
        let said = done(folder, &["check", "evening/set.toml"]);
        assert!(said.contains("nothing to put right"), "{}: {said}", task.name);
        let commands = task.commands();
        let is_asked = commands.iter().any(|words| ["do", "status"].contains(&words[0].as_str()));
        let performance = is_asked.then(|| {
            let playing = Running::begin(folder, &["play", "evening/set.toml", "--no-ports"]);
            playing.says("/#play");
            playing
        });
        commands.iter().for_each(|command| carry_out(folder, command));
        performance.into_iter().for_each(Running::end);
    }
}

#[test]
fn every_keyboard_on_the_pages_is_as_it_is_drawn_now() {
    let pictures = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/tasks");
    for task in tasks() {
        let picture = format!("{}.svg", task.name);
        if !task.text.contains(&format!("({picture})")) {
            continue;
        }
        let folder = task.evening();
        done(folder.path(), &["print", "evening/set.toml", "--out", "paper"]);
        let sheets = fs::read_to_string(folder.path().join("paper/set.html")).expect("sheets");
        let (_, figure) = sheets.split_once("<figure>").expect("a keyboard");
        let from = figure.find("<svg").expect("a drawing");
        let to = figure.find("</svg>").expect("its end") + "</svg>".len();
        let drawn = format!("{}\n", &figure[from..to]);
        roxmltree::Document::parse(&drawn).expect("a picture by itself");
        if std::env::var_os("DRAW").is_some() {
            fs::write(pictures.join(&picture), &drawn).expect("drawn");
        }
        let kept = fs::read_to_string(pictures.join(&picture)).unwrap_or_default();
        assert!(kept == drawn, "docs/tasks/{picture} is out of date: DRAW=1 cargo test --test own_set keyboard");
    }
}
