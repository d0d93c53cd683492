//! The lists of DEVELOPERS.md, "Where new things go": what the compiler cannot find forgotten is found here.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use handspan::map::Word;
use proc_macro2::{TokenStream, TokenTree};
use syn::visit::Visit;

fn text(path: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).expect("readable")
}

/// The texts of the files in a folder, with their names.
fn texts(folder: &str) -> Vec<(String, String)> {
    let files = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)).expect("a folder");
    let names = files.map(|file| file.expect("a file").file_name().into_string().expect("a name"));
    let mut texts: Vec<_> =
        names.filter(|name| name.contains('.')).map(|name| (name.clone(), text(&format!("{folder}/{name}")))).collect();
    texts.sort();
    texts
}

/// What stands between these two, at its first place.
fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    let (_, rest) = text.split_once(from).unwrap_or_else(|| panic!("there is no {from:?}"));
    rest.split_once(to).map_or(rest, |(part, _)| part)
}

/// All that stands in such quotes after `before`, such as `take("`.
fn named<'t>(text: &'t str, before: &str, after: char) -> impl Iterator<Item = &'t str> {
    text.split(before).skip(1).filter_map(move |rest| rest.split(after).next()).collect::<Vec<_>>().into_iter()
}

#[test]
fn every_action_is_told_of_and_tried() {
    let maps = text("docs/maps.md");
    let cues = between(&maps, "\n## Cues\n", "\n## ");
    let markers = between(&maps, "| `do …` |", "\n");
    let scripts = texts("tests/rules");
    for word in Word::all() {
        let word = word.row().word;
        assert!(cues.contains(&format!("`\"{word}\"`")), "docs/maps.md does not say what a cue does with {word}");
        let marked = [format!("`{word}`"), format!("`{word} ")].iter().any(|written| markers.contains(written));
        assert!(marked, "docs/maps.md does not name {word} among the markers of a take");
        let tried = |script: &str| {
            script.contains(&format!("do = \"{word}\""))
                || script
                    .lines()
                    .any(|line| line.split_once(" do ").is_some_and(|(_, asked)| asked.split(' ').next() == Some(word)))
        };
        assert!(scripts.iter().any(|(_, script)| tried(script)), "no script of tests/rules has {word} done");
    }
}

/// The fields that the readers of these files ask for.
fn read_by<'t>(readers: impl IntoIterator<Item = &'t str>) -> BTreeSet<&'t str> {
    let asked = |text: &'t str| ["take(\"", "need(\"", "list_of(\""].into_iter().flat_map(|ask| named(text, ask, '"'));
    // Names only: the reader of words asks in the same way, but for what a sentence says.
    let is_name = |field: &&str| field.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_');
    readers.into_iter().flat_map(asked).filter(is_name).collect()
}

#[test]
fn every_field_of_a_zone_is_told_of() {
    let (zone, hand) = (text("src/map/zone.rs"), text("src/map/hand.rs"));
    let fields = read_by([zone.as_str(), between(&hand, "pub(super) fn read(", "\n}\n")]);
    assert!(fields.len() > 25, "{fields:?}");
    let guide = text("docs/maps.md");
    let written = between(between(&guide, "\n## Song\n", "```\n\n"), "\n[[zone]]\n", "\n[[");
    let told: BTreeSet<&str> =
        written.lines().filter_map(|line| line.split_once(" = ")).map(|(field, _)| field).collect();
    assert_eq!(told, fields, "docs/maps.md has not the fields that src/map/zone.rs reads");
}

#[test]
fn every_field_and_form_has_an_example() {
    let readers = texts("src/map").into_iter().chain(texts("src/map/cue"));
    let readers: Vec<String> = readers.filter(|(name, _)| name != "tests.rs").map(|(_, text)| text).collect();
    let (examples, zone, send) = (text("src/map/examples.rs"), text("src/map/zone.rs"), text("src/map/send.rs"));
    let forms = between(&send, "const FORMS", "];");
    let fields: BTreeSet<&str> =
        read_by(readers.iter().map(String::as_str)).into_iter().chain(named(forms, "(\"", '"')).collect();
    let examples = [between(&examples, "const OF_CUES", "\n];"), between(&examples, "\nconst EXAMPLES", "\n];")];
    let own = [&zone, &send].map(|text| between(text, "const EXAMPLES", "\n];"));
    let examples: BTreeSet<&str> = examples.iter().chain(&own).flat_map(|text| named(text, "    (\"", '"')).collect();
    let missing: Vec<&&str> = fields.difference(&examples).collect();
    assert!(missing.is_empty(), "no message could show how {missing:?} is written");
}

#[test]
fn every_field_is_in_a_schema() {
    let readers = texts("src/map").into_iter().chain(texts("src/map/cue"));
    let readers: Vec<String> = readers.filter(|(name, _)| name != "tests.rs").map(|(_, text)| text).collect();
    let all: String = handspan::map::schemas().map(|kind| handspan::map::schema(kind).unwrap().to_string()).collect();
    let missing: Vec<&str> = read_by(readers.iter().map(String::as_str))
        .into_iter()
        .filter(|field| !all.contains(&format!("\"{field}\":{{")))
        .collect();
    assert!(missing.is_empty(), "src/map/schema/fields.rs has not {missing:?}");
}

#[test]
fn every_message_to_other_machines_is_told_of() {
    let (send, guide) = (text("src/map/send.rs"), text("docs/maps.md"));
    let forms: Vec<&str> = named(between(&send, "const FORMS", "];"), "(\"", '"').collect();
    assert!(forms.len() >= 8, "{forms:?}");
    for form in forms {
        let shown = [format!("{{ {form} ="), format!("`{form}`")].iter().any(|written| guide.contains(written));
        assert!(shown, "docs/maps.md does not show the message {form}");
    }
}

/// Every text of a file's code.
#[derive(Default)]
struct Texts(Vec<String>);

impl Texts {
    fn tokens(&mut self, tokens: TokenStream) {
        for token in tokens {
            match token {
                TokenTree::Group(group) => self.tokens(group.stream()),
                TokenTree::Literal(literal) => self
                    .0
                    .extend(syn::parse_str::<syn::LitStr>(&literal.to_string()).ok().map(|literal| literal.value())),
                _ => {}
            }
        }
    }
}

impl<'ast> Visit<'ast> for Texts {
    fn visit_lit_str(&mut self, literal: &'ast syn::LitStr) {
        self.0.push(literal.value());
    }

    fn visit_attribute(&mut self, _: &'ast syn::Attribute) {}

    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        // The only modules within a file of `check` are its unit tests.
        assert!(module.content.is_none() || module.ident == "tests");
    }

    fn visit_macro(&mut self, called: &'ast syn::Macro) {
        self.tokens(called.tokens.clone());
    }
}

/// The longest part of a sentence that always stands in it.
fn fixed(sentence: &str) -> &str {
    let parts = sentence.split(['{', '}']).step_by(2);
    parts.map(str::trim).max_by_key(|part| part.len()).unwrap_or_default()
}

#[test]
fn every_finding_has_a_case() {
    let cases: Vec<String> = texts("tests/findings").into_iter().map(|(_, text)| text).collect();
    let said: Vec<&str> = cases.iter().filter_map(|case| case.split_once("--- says\n")).map(|(_, says)| says).collect();
    let mut missing = Vec::new();
    for (file, code) in texts("src/check") {
        let mut texts = Texts::default();
        texts.visit_file(&syn::parse_file(&code).expect("what compiles can be parsed"));
        for sentence in texts.0 {
            let fixed = fixed(&sentence);
            // What is shorter is a word within a sentence.
            if fixed.split_whitespace().count() < 4 {
                continue;
            }
            // A sentence begins with a capital letter where it is shown.
            if !said.iter().any(|says| says.contains(&fixed[1..])) {
                missing.push(format!("{file}: {fixed}"));
            }
        }
    }
    assert!(missing.is_empty(), "no case of tests/findings says:\n{}", missing.join("\n"));
}

#[test]
fn every_thing_on_the_page_is_drawn_or_pressed() {
    let files = texts("src/page/files");
    let page = text("src/page/files/index.html");
    let rest = || files.iter().filter(|(name, _)| name.ends_with(".js") || name.ends_with(".css"));
    let ids: BTreeSet<&str> = named(&page, " id=\"", '"').collect();
    for id in &ids {
        let used = rest().any(|(_, text)| text.contains(*id));
        let names = page.contains(&format!("=\"{id}\" ")) || page.matches(*id).count() > 1;
        assert!(used || names, "nothing draws or asks for {id} of index.html");
    }
    for (name, script) in rest().filter(|(name, _)| name.ends_with(".js")) {
        for id in named(script, "$('", '\'') {
            assert!(ids.contains(id), "{name} wants {id}, which index.html has not");
        }
    }
}

#[test]
fn the_page_asks_for_what_there_is() {
    let presses = text("src/page/files/press.js");
    let asked: Vec<&str> = named(&presses, ": ['", '\'').collect();
    assert!(asked.len() > 15, "{asked:?}");
    for word in asked {
        assert!(Word::read(word).is_some(), "press.js asks for {word}, which is no action");
    }
}
