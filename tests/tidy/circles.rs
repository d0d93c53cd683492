//! No import circle: who follows the imports of a file never comes back to it.
//!
//! A file imports another where it names something that is written there, in a `use` or in a path. What a module
//! passes on (`pub use`) belongs to the file in which it is written; declaring a module is no import.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use syn::visit::Visit;

use super::{files_below, is_for_tests, parsed};

/// The names from the crate's root to a module or an item.
type Names = Vec<String>;

/// What a file holds.
struct Module {
    file: PathBuf,
    /// What is written here, and the modules declared here.
    own: BTreeSet<String>,
    /// The modules declared here.
    modules: BTreeSet<String>,
    /// Names that come from elsewhere, with where they come from as it is written.
    imported: BTreeMap<String, Names>,
    /// Modules of which all names come.
    all_of: Vec<Names>,
    /// Every path that is written here.
    paths: Vec<Names>,
}

struct Tree(BTreeMap<Names, Module>);

impl Tree {
    fn read() -> Tree {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut modules = BTreeMap::new();
        for (path, text) in files_below("src") {
            let mut names: Names = path
                .strip_prefix(&root)
                .expect("below src")
                .with_extension("")
                .iter()
                .map(|name| name.to_string_lossy().into_owned())
                .collect();
            if names.last().is_some_and(|name| name == "mod" || name == "lib") {
                names.pop();
            }
            if names.last().is_some_and(|name| name == "tests" || name == "main") {
                continue;
            }
            modules.insert(names, Module::of(path.clone(), &parsed(&path, &text)));
        }
        Tree(modules)
    }

    /// A path as it is written in a module, from the root; `None` where it leads out of the crate.
    fn resolve(&self, module: &Names, path: &[String]) -> Option<Names> {
        let first = path.first()?;
        let mut base = module.clone();
        let mut rest = path;
        match first.as_str() {
            "crate" => {
                base.clear();
                rest = &path[1..];
            }
            "self" => rest = &path[1..],
            "super" => {
                while rest.first().is_some_and(|name| name == "super") {
                    base.pop();
                    rest = &rest[1..];
                }
            }
            name => {
                let here = &self.0[module];
                if !here.own.contains(name) && !here.imported.contains_key(name) {
                    return None;
                }
            }
        }
        base.extend(rest.iter().cloned());
        Some(base)
    }

    /// The module in whose file that is written to which names from the root lead.
    fn home(&self, names: &Names, seen: &mut BTreeSet<Names>) -> Option<Names> {
        if !seen.insert(names.clone()) {
            return None;
        }
        let depth = (0..=names.len()).rev().find(|depth| self.0.contains_key(&names[..*depth]))?;
        let module = names[..depth].to_vec();
        let Some(item) = names.get(depth) else { return Some(module) };
        let here = &self.0[&module];
        if here.own.contains(item) {
            return Some(module);
        }
        let further = |start: Names, rest: &[String]| start.into_iter().chain(rest.iter().cloned()).collect::<Names>();
        if let Some(origin) = here.imported.get(item) {
            let start = self.resolve(&module, origin)?;
            return self.home(&further(start, &names[depth + 1..]), seen);
        }
        let all_of = here.all_of.iter().filter_map(|origin| self.resolve(&module, origin));
        all_of.into_iter().find_map(|start| self.home(&further(start, &names[depth..]), seen))
    }

    /// The modules whose files a module imports.
    fn imports(&self, module: &Names) -> BTreeSet<Names> {
        let here = &self.0[module];
        let all = here.paths.iter().chain(&here.all_of);
        let resolved = all.filter_map(|path| self.resolve(module, path));
        let mut homes: BTreeSet<Names> = resolved.filter_map(|path| self.home(&path, &mut BTreeSet::new())).collect();
        homes.remove(module);
        homes
    }
}

impl Module {
    fn of(file: PathBuf, parsed: &syn::File) -> Module {
        let mut module = Module {
            file,
            own: BTreeSet::new(),
            modules: BTreeSet::new(),
            imported: BTreeMap::new(),
            all_of: Vec::new(),
            paths: Vec::new(),
        };
        for item in &parsed.items {
            if let syn::Item::Mod(item) = item {
                module.modules.insert(item.ident.to_string());
            }
            if let Some(name) = name_of(item) {
                module.own.insert(name);
            }
        }
        module.visit_file(parsed);
        module
    }

    fn take_use(&mut self, tree: &syn::UseTree, before: &[String], is_passed_on: bool) {
        let with = |name: &syn::Ident| {
            let mut path = before.to_vec();
            path.push(name.to_string());
            path
        };
        let mut named = |name: String, path: Names| {
            // What is only passed on is not used here; where it is, its name stands in a path.
            if !is_passed_on {
                self.paths.push(path.clone());
            }
            if path.last() != Some(&name) || path.len() > 1 {
                self.imported.insert(name, path);
            }
        };
        match tree {
            syn::UseTree::Path(path) => self.take_use(&path.tree, &with(&path.ident), is_passed_on),
            syn::UseTree::Name(name) if name.ident == "self" => {
                named(before.last().cloned().unwrap_or_default(), before.to_vec());
            }
            syn::UseTree::Name(name) => named(name.ident.to_string(), with(&name.ident)),
            syn::UseTree::Rename(name) => named(name.rename.to_string(), with(&name.ident)),
            syn::UseTree::Glob(_) => self.all_of.push(before.to_vec()),
            syn::UseTree::Group(group) => {
                for tree in &group.items {
                    self.take_use(tree, before, is_passed_on);
                }
            }
        }
    }
}

fn name_of(item: &syn::Item) -> Option<String> {
    let name = match item {
        syn::Item::Const(item) => &item.ident,
        syn::Item::Enum(item) => &item.ident,
        syn::Item::Fn(item) => &item.sig.ident,
        syn::Item::Macro(item) => item.ident.as_ref()?,
        syn::Item::Mod(item) => &item.ident,
        syn::Item::Static(item) => &item.ident,
        syn::Item::Struct(item) => &item.ident,
        syn::Item::Trait(item) => &item.ident,
        syn::Item::Type(item) => &item.ident,
        _ => return None,
    };
    Some(name.to_string())
}

impl<'ast> Visit<'ast> for Module {
    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        let is_passed_on = !matches!(item.vis, syn::Visibility::Inherited);
        if !is_for_tests(&item.attrs) {
            self.take_use(&item.tree, &[], is_passed_on);
        }
    }

    /// How far something may be seen is no import.
    fn visit_visibility(&mut self, _: &'ast syn::Visibility) {}

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let names: Names = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        // A single name that is also a module's is a variable's.
        if names.len() > 1 || !self.modules.contains(&names[0]) {
            self.paths.push(names);
        }
        syn::visit::visit_path(self, path);
    }
}

/// Groups of modules each of which leads to each other, with more than one member.
fn circles(tree: &Tree) -> Vec<Vec<Names>> {
    let imports: BTreeMap<&Names, BTreeSet<Names>> = tree.0.keys().map(|names| (names, tree.imports(names))).collect();
    let reached = |start: &Names| {
        let mut seen = BTreeSet::new();
        let mut left: Vec<Names> = imports[start].iter().cloned().collect();
        while let Some(names) = left.pop() {
            if seen.insert(names.clone()) {
                left.extend(imports[&names].iter().cloned());
            }
        }
        seen
    };
    let reach: BTreeMap<&Names, BTreeSet<Names>> = tree.0.keys().map(|names| (names, reached(names))).collect();
    let mut found: Vec<Vec<Names>> = Vec::new();
    for names in tree.0.keys().filter(|names| reach[names].contains(*names)) {
        let circle = tree.0.keys().filter(|other| reach[names].contains(*other) && reach[other].contains(names));
        let circle: Vec<Names> = circle.cloned().collect();
        if !found.contains(&circle) {
            found.push(circle);
        }
    }
    found
}

#[test]
fn no_file_imports_itself_by_way_of_others() {
    let tree = Tree::read();
    let mut faults = Vec::new();
    for circle in circles(&tree) {
        faults.push(format!("a circle of {} files:", circle.len()));
        for names in &circle {
            let within = tree.imports(names).into_iter().filter(|other| circle.contains(other));
            let within: Vec<String> = within.map(|other| other.join("::")).collect();
            faults.push(format!("  {} imports {}", tree.0[names].file.display(), within.join(", ")));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_imports_that_are_looked_for_are_found() {
    let tree = Tree::read();
    let names = |path: &str| path.split("::").map(str::to_owned).collect::<Names>();
    let imports = tree.imports(&names("engine::set::change"));
    assert!(imports.contains(&names("engine::step")), "{imports:?}");
    let imports = tree.imports(&names("daemon::sending"));
    assert!(imports.contains(&names("engine::out")), "what engine passes on: {imports:?}");
}
