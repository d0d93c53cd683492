//! Every field of every frame is there and stands in `docs/stand.md`, and the other way round.

use std::collections::BTreeSet;
use std::path::Path;

use handspan::page::ASSETS;
use serde_json::Value;

use crate::evening::{Evening, guarded};
use crate::page::Page;

/// The rows of the table of what the program says: kind and words.
fn documented() -> Vec<(String, String)> {
    let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/stand.md")).unwrap();
    let (_, table) = page.split_once("### From the program").expect("the part on frames");
    let table = table.split("\n#").next().unwrap();
    let rows = table.lines().filter_map(|row| {
        let kind = row.split("\"kind\": \"").nth(1)?.split('"').next()?;
        Some((kind.to_owned(), row.to_owned()))
    });
    rows.collect()
}

/// Names of all fields, at any depth; not those within the state, which has a page of its own.
fn fields(value: &Value, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(object) => {
            for (name, value) in object {
                found.insert(name.clone());
                if name != "state" {
                    fields(value, found);
                }
            }
        }
        Value::Array(list) => list.iter().for_each(|value| fields(value, found)),
        _ => {}
    }
}

/// The words that stand in backquotes or as names of the example in a row.
fn named(row: &str) -> BTreeSet<String> {
    let in_code = row.split('`').skip(1).step_by(2);
    let words = in_code.flat_map(|code| {
        let quoted: Vec<&str> = code.split('"').collect();
        let names = quoted.windows(2).skip(1).step_by(2).filter(|pair| pair[1].starts_with(':')).map(|pair| pair[0]);
        let alone = (!code.contains('"') && !code.contains(' ')).then_some(code);
        names.chain(alone).map(str::to_owned).collect::<Vec<_>>()
    });
    words.collect()
}

#[test]
fn every_field_is_there_and_documented() {
    let evening = Evening::with(&guarded());
    let mut refused = Page::greets(evening.address, Some("wrong"));
    let mut frames = vec![refused.challenge.clone(), refused.frame().expect("refused")];
    let mut page = Page::greets(evening.address, Some("nine bells"));
    // The wrong one made this address wait.
    while let Some(frame) = page.frame() {
        if frame["kind"] == "welcome" {
            frames.push(frame);
            break;
        }
        assert_eq!(frame["kind"], "refused");
        page = Page::greets(evening.address, Some("nine bells"));
    }
    frames.extend(["set", "song"].map(|kind| page.next(kind)));
    evening.world.input_gone(0);
    frames.push(page.frame_where("state", |state| !state["trouble"].is_null()));
    page.say(&serde_json::json!({ "sound": true }));
    page.next("alive");
    for key in [60, 64, 67] {
        page.down(key, 80);
    }
    let (mut said, mut hand) = (None, None);
    while said.is_none() || hand.is_none() {
        let frame = page.frame().expect("a frame");
        match frame["kind"].as_str() {
            Some("sent") => said = Some(frame),
            Some("hand") if !frame["chord"].is_null() => hand = Some(frame),
            _ => {}
        }
    }
    frames.extend(said);
    frames.extend(hand);
    page.say(&serde_json::json!({ "received": true }));
    page.next("alive");
    page.down(72, 80);
    frames.push(page.next("received"));
    frames.push(page.next("alive"));
    page.say(&serde_json::json!({ "do": ["panic"], "ask": 3, "at": page.now(), "seen": page.seen }));
    frames.push(page.next("answer"));
    let rows = documented();
    let kinds: BTreeSet<&str> = rows.iter().map(|(kind, _)| kind.as_str()).collect();
    let made: BTreeSet<&str> = frames.iter().filter_map(|frame| frame["kind"].as_str()).collect();
    assert_eq!(kinds, made);
    for frame in &frames {
        let mut has = BTreeSet::new();
        fields(frame, &mut has);
        let row = &rows.iter().find(|(kind, _)| frame["kind"] == kind.as_str()).expect("a row").1;
        let named = named(row);
        let missing: Vec<&String> = has.difference(&named).filter(|name| *name != "kind").collect();
        assert!(missing.is_empty(), "{missing:?} of {} are not documented: {row}", frame["kind"]);
        // What else stands in code there is the name of a field of this frame, a word for a value, or the page on states.
        let values =
            ["control", "view", "do", "now", "over", "past", "input", "svg", "true", "false", "null", "[3, 4]"];
        let more: Vec<&String> =
            named.difference(&has).filter(|name| !values.contains(&name.as_str()) && !name.contains(".md")).collect();
        assert!(more.is_empty(), "{more:?} stand in the row of {} and are not in it: {frame}", frame["kind"]);
    }
}

#[test]
fn every_file_of_the_page_is_served_as_what_it_is() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/page/files");
    let mut files = BTreeSet::new();
    let all = ["", "icons", "vendor"].map(|within| std::fs::read_dir(folder.join(within)).unwrap());
    for entry in all.into_iter().flatten().map(Result::unwrap).filter(|entry| entry.path().is_file()) {
        let name = entry.path().strip_prefix(&folder).unwrap().to_str().unwrap().replace('\\', "/");
        let kind = match name.rsplit('.').next() {
            Some("html") => "text/html; charset=utf-8",
            Some("css") => "text/css; charset=utf-8",
            Some("js") => "text/javascript; charset=utf-8",
            Some("svg") => "image/svg+xml",
            Some("png") => "image/png",
            Some("webmanifest") => "application/manifest+json",
            ending => panic!("what is a {ending:?}?"),
        };
        let path = if name == "index.html" { "/".to_owned() } else { format!("/{name}") };
        let asset = ASSETS.iter().find(|asset| asset.path == path).unwrap_or_else(|| panic!("{name} is not served"));
        assert_eq!(asset.kind, kind, "{name}");
        assert!(asset.bytes == std::fs::read(entry.path()).unwrap(), "{name}");
        files.insert(path);
    }
    let served: BTreeSet<String> = ASSETS.iter().map(|asset| asset.path.to_owned()).collect();
    assert_eq!(served, files);
}
