//! The promises that the source tree makes about itself: who may import whom, that every file says what it is, and that
//! a function fits a screen.

#[path = "tidy/circles.rs"]
mod circles;

use std::fs;
use std::path::{Path, PathBuf};

use syn::spanned::Spanned;
use syn::visit::Visit;

/// A module and those that it may import.
const MAY_IMPORT: [(&str, &[&str]); 12] = [
    ("music", &[]),
    ("midi", &["music"]),
    ("map", &["music", "midi"]),
    ("evening", &["music", "midi", "map"]),
    ("engine", &["music", "midi", "map", "evening"]),
    ("check", &["music", "midi", "map", "evening", "engine"]),
    ("ports", &["midi"]),
    ("wording", &["music", "midi", "map", "evening", "engine"]),
    ("daemon", &["music", "midi", "map", "evening", "engine", "check", "ports", "wording"]),
    ("paper", &["music", "midi", "map", "evening", "engine", "wording"]),
    ("page", &["music", "midi", "map", "evening", "engine", "check", "wording", "daemon", "paper"]),
    ("cli", &["music", "midi", "map", "evening", "engine", "check", "ports", "wording", "daemon", "paper", "page"]),
];

/// What the pure modules never reach for: a clock, a file, a thread or an environment.
const IMPURE: [&str; 6] = ["Instant::now", "SystemTime", "std::fs", "std::thread", "std::env", "std::net"];

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

fn files_below(folder: &str) -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut found = Vec::new();
    rust_files(&root, &mut found);
    let read = |path: PathBuf| (path.clone(), fs::read_to_string(&path).expect("readable"));
    found.into_iter().map(read).collect()
}

/// The text without its unit tests, which may reach for what they like; a file called `tests.rs` is nothing else.
fn without_tests<'a>(path: &Path, text: &'a str) -> &'a str {
    if path.file_name().is_some_and(|name| name == "tests.rs") {
        return "";
    }
    text.split("#[cfg(test)]").next().unwrap_or(text)
}

#[test]
fn modules_import_only_what_they_may() {
    let mut faults = Vec::new();
    for (module, may) in MAY_IMPORT {
        for (path, text) in files_below(&format!("src/{module}")) {
            for (other, _) in MAY_IMPORT {
                let imports = without_tests(&path, &text).contains(&format!("crate::{other}"));
                if imports && other != module && !may.contains(&other) {
                    faults.push(format!("{} imports {other}", path.display()));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_pure_modules_reach_for_nothing_outside() {
    let mut faults = Vec::new();
    for module in ["music", "midi", "map", "evening", "engine", "check", "wording"] {
        for (path, text) in files_below(&format!("src/{module}")) {
            for word in IMPURE.iter().filter(|word| without_tests(&path, &text).contains(**word)) {
                faults.push(format!("{} reaches for {word}", path.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_file_opens_by_saying_what_it_is() {
    let mut faults = Vec::new();
    for folder in ["src", "tests", "benches", "examples"] {
        for (path, text) in files_below(folder) {
            if !text.starts_with("//! ") {
                faults.push(format!("{} does not open with a doc", path.display()));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn nothing_outside_tests_unwraps_or_panics() {
    let mut faults = Vec::new();
    for (path, text) in files_below("src") {
        for (number, line) in without_tests(&path, &text).lines().enumerate() {
            let code = line.split("//").next().unwrap_or("");
            for word in [".unwrap()", ".expect(", "panic!(", "todo!(", "unimplemented!(", "unreachable!("] {
                if code.contains(word) {
                    faults.push(format!("{}:{} says {word}", path.display(), number + 1));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// A file without its unit tests.
fn parsed(path: &Path, text: &str) -> syn::File {
    let text = if path.file_name().is_some_and(|name| name == "tests.rs") { "" } else { text };
    let mut file = syn::parse_file(text).expect("what compiles can be parsed");
    file.items.retain(|item| match item {
        syn::Item::Mod(item) => !is_for_tests(&item.attrs),
        syn::Item::Impl(item) => !is_for_tests(&item.attrs),
        syn::Item::Use(item) => !is_for_tests(&item.attrs),
        _ => true,
    });
    file
}

fn is_for_tests(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg") && attribute.parse_args::<syn::Ident>().is_ok_and(|only| only == "test")
    })
}

/// A function fits a screen,
const LONGEST_FUNCTION: usize = 60;
/// and has no more arguments, itself among them.
const MOST_ARGUMENTS: usize = 5;

/// Finds functions that are too long or want too much.
struct Functions<'a> {
    path: &'a Path,
    faults: Vec<String>,
}

impl Functions<'_> {
    fn look(&mut self, signature: &syn::Signature, whole: proc_macro2::Span) {
        let lines = whole.end().line + 1 - whole.start().line;
        let name = format!("{}: {}", self.path.display(), signature.ident);
        if lines > LONGEST_FUNCTION {
            self.faults.push(format!("{name} has {lines} lines"));
        }
        if signature.inputs.len() > MOST_ARGUMENTS {
            self.faults.push(format!("{name} has {} arguments", signature.inputs.len()));
        }
    }
}

impl<'ast> Visit<'ast> for Functions<'_> {
    fn visit_item_fn(&mut self, function: &'ast syn::ItemFn) {
        let whole = function.sig.span().join(function.block.span()).unwrap_or_else(|| function.block.span());
        self.look(&function.sig, whole);
        syn::visit::visit_item_fn(self, function);
    }

    fn visit_impl_item_fn(&mut self, function: &'ast syn::ImplItemFn) {
        let whole = function.sig.span().join(function.block.span()).unwrap_or_else(|| function.block.span());
        self.look(&function.sig, whole);
        syn::visit::visit_impl_item_fn(self, function);
    }
}

#[test]
fn a_function_fits_a_screen_and_has_few_arguments() {
    let mut faults = Vec::new();
    for (path, text) in files_below("src") {
        let file = parsed(&path, &text);
        let mut functions = Functions { path: &path, faults: Vec::new() };
        functions.visit_file(&file);
        faults.append(&mut functions.faults);
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
