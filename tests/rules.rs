//! Every rule as text: each file in `tests/rules` is a script that must come out as it says.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use handspan::engine::script::Script;
use handspan::engine::{Action, Engine, Event, Micros, Plan};
use handspan::map;

/// All scripts, in order of their names.
fn scripts() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/rules");
    let mut files: Vec<PathBuf> =
        fs::read_dir(folder).expect("the folder of scripts").map(|entry| entry.expect("a script").path()).collect();
    files.sort();
    files
}

#[test]
fn every_script_comes_out_as_it_says() {
    let mut faults = String::new();
    for file in scripts() {
        let name = file.file_name().expect("a name").to_string_lossy().into_owned();
        let text = fs::read_to_string(&file).expect("a readable script");
        match Script::read(&text).and_then(|script| script.run()) {
            Ok(outcome) if outcome.matches() => {}
            Ok(outcome) => faults.push_str(&format!("{name}\n{}\n", outcome.two_columns())),
            Err(error) => faults.push_str(&format!("{name}: {error}\n")),
        }
    }
    assert!(faults.is_empty(), "\n{faults}");
}

#[test]
fn every_rule_in_force_has_a_script() {
    let first_lines: Vec<String> = scripts()
        .iter()
        .map(|file| fs::read_to_string(file).expect("a readable script").lines().next().unwrap_or("").to_owned())
        .collect();
    for rule in [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21] {
        let cited = format!("R{rule}:");
        assert!(first_lines.iter().any(|line| line.contains(&cited)), "no script's first line cites {cited}");
    }
}

#[test]
fn a_script_that_is_wrong_does_not_pass() {
    let maps = "=== gear.toml\n[inputs.k]\nport = \"k\"\n[outputs.o]\nvirtual = true\n[sounds.s]\noutput = \"o\"\nchannel = 1\n\
                === a.toml\ntitle = \"A\"\nkey = \"C\"\n[[zone]]\nsound = \"s\"\n\
                === set.toml\ntitle = \"S\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"a.toml\"\n=== play\n0 start\n";
    let run = |lines: &str| Script::read(&format!("{maps}{lines}")).and_then(|script| script.run());
    assert!(run("1 k on C4 90\n-> o 1 on C4 90\n").expect("runs").matches());
    for wrong in ["1 k on C4 90\n", "1 k on C4 90\n2 -> o 1 on C4 90\n", "1 k on C4 90\n-> o 1 on C4 91\n"] {
        assert!(!run(wrong).expect("runs").matches(), "{wrong}");
    }
    for unreadable in ["1 k strike C4 90\n", "k on C4 90\n", "1 q on C4 90\n", "1 k on C4 90 5\n", "-> o on C4 90\n"] {
        assert!(run(unreadable).is_err(), "{unreadable}");
    }
}

#[test]
fn what_the_start_left_out_counts_until_it_is_left() {
    let file = |path: &Path| match path.to_str() {
        Some("set.toml") => {
            "title = \"S\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"a.toml\"\n[[song]]\ntitle = \"Pause\"\n"
        }
        Some("gear.toml") => {
            "[inputs.k]\nport = \"k\"\n[outputs.o]\nvirtual = true\n[sounds.s]\noutput = \"o\"\nchannel = 1\n"
        }
        _ => {
            "title = \"A\"\nkey = \"C\"\non_entering = [{ to = \"o\", message = { clock = \"start\" } }]\n[[zone]]\nsound = \"s\"\n\
             [[section]]\nname = \"Verse\"\non_entering = [{ to = \"o\", message = { transport = \"play\" } }, \
             { to = \"o\", message = { transport = \"record\" } }]\n[[section]]\nname = \"Chorus\"\n"
        }
    };
    let loaded = map::load("set.toml", &mut |path| Ok(file(Path::new(path)).into()));
    let plan = Arc::new(Plan::new(&loaded.book.expect("maps that load")));
    let counts = |actions: [&str; 2]| {
        let mut engine = Engine::new(Arc::clone(&plan));
        let mut out = engine.out();
        engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(0), &mut out);
        let begun = engine.snapshot().not_sent;
        let after = actions.map(|action| {
            out.clear();
            let action = Action::parse(action, &plan).expect("an action");
            engine.step(Event::Action(action), Micros(1_000_000), &mut out);
            engine.snapshot().not_sent
        });
        (begun, after)
    };
    assert_eq!(counts(["next-section", "resend-messages"]), (3, [1, 0]));
    assert_eq!(counts(["next-section", "previous-section"]), (3, [1, 1]));
    assert_eq!(counts(["next-section", "next-song"]), (3, [1, 0]));
    assert_eq!(counts(["raise-key", "resend-messages"]), (3, [3, 0]));
    assert_eq!(counts(["from-the-top", "next-section"]), (3, [0, 0]));
}
