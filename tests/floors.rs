//! The sources keep to their floors: no lower one names a higher one, third-party crates stay in
//! their room, and files have a name by which a reader finds his way.

#![allow(clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use syn::visit::Visit;

/// From the ground up.
const FLOORS: [&str; 9] = ["physics", "tables", "rules", "read", "circuit", "remedy", "audit", "report", "cli"];

/// Crates that only some floors may use.
const ROOMS: [(&str, &[&str]); 5] = [
    ("polars", &["read", "report"]),
    ("calamine", &["read"]),
    ("rust_xlsxwriter", &["report"]),
    ("clap", &["cli"]),
    ("lettre", &["report", "cli"]),
];

/// What physics and rules can't speak of: files, tables, spreadsheets, and errors without a type.
const NOT_BELOW: [&str; 11] = [
    "anyhow",
    "polars",
    "calamine",
    "rust_xlsxwriter",
    "csv",
    "toml",
    "serde_json",
    "PathBuf",
    "File",
    "DataFrame",
    "Workbook",
];

const NO_NAMES: [&str; 8] = ["utils", "util", "helpers", "helper", "common", "manager", "misc", "mod"];

struct Source {
    /// Below `src`.
    path: PathBuf,
    /// `None` for `lib.rs` and `main.rs`.
    floor: Option<&'static str>,
    /// Paths that the code names, from the root of the crate where they are inside it.
    inside: BTreeSet<Vec<String>>,
    /// Paths of other crates and of `std`.
    outside: BTreeSet<Vec<String>>,
    /// All names, in macros too; not those in texts and comments.
    names: BTreeSet<String>,
    /// Public ones.
    types: BTreeSet<String>,
    /// Whether it holds nothing but `use` items.
    only_forwards: bool,
}

impl Source {
    fn read(path: &Path, text: &str) -> Self {
        let file = syn::parse_file(text).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let mut module: Vec<String> =
            path.with_extension("").components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
        if matches!(module.as_slice(), [top] if top == "lib" || top == "main") {
            module.clear();
        }
        let floor = module.first().and_then(|first| FLOORS.iter().copied().find(|floor| floor == first));
        let mut source = Self {
            path: path.to_owned(),
            floor,
            inside: BTreeSet::new(),
            outside: BTreeSet::new(),
            names: BTreeSet::new(),
            types: BTreeSet::new(),
            only_forwards: !file.items.is_empty() && file.items.iter().all(|item| matches!(item, syn::Item::Use(_))),
        };
        Reader { source: &mut source, module }.visit_file(&file);
        source
    }

    fn module(&self) -> Vec<String> {
        self.path.with_extension("").components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect()
    }

    /// Floors above its own that it names.
    fn above(&self) -> Vec<String> {
        let height = |floor: &str| FLOORS.iter().position(|known| *known == floor);
        let Some(own) = self.floor.and_then(height) else { return Vec::new() };
        let firsts: BTreeSet<&String> = self.inside.iter().filter_map(|path| path.first()).collect();
        firsts.into_iter().filter(|first| height(first) > Some(own)).cloned().collect()
    }

    fn uses(&self, name: &str) -> bool {
        self.outside.iter().any(|path| path.first().is_some_and(|first| first == name))
    }
}

struct Reader<'a> {
    source: &'a mut Source,
    /// Of the code under way.
    module: Vec<String>,
}

impl Reader<'_> {
    fn path(&mut self, segments: &[String]) {
        let Some(first) = segments.first() else { return };
        let supers = segments.iter().take_while(|segment| *segment == "super").count();
        let resolved = match first.as_str() {
            "crate" | "clampbook" => segments[1..].to_vec(),
            "self" => [self.module.as_slice(), &segments[1..]].concat(),
            "super" => {
                let stem = self.module.len().saturating_sub(supers);
                [&self.module[..stem], &segments[supers..]].concat()
            }
            _ => {
                self.source.outside.insert(segments.to_vec());
                return;
            }
        };
        self.source.inside.insert(resolved);
    }

    fn tree(&mut self, tree: &syn::UseTree, before: &[String]) {
        let with = |name: &syn::Ident| [before, &[name.to_string()]].concat();
        match tree {
            syn::UseTree::Path(path) => self.tree(&path.tree, &with(&path.ident)),
            syn::UseTree::Name(name) => self.path(&with(&name.ident)),
            syn::UseTree::Rename(name) => self.path(&with(&name.ident)),
            syn::UseTree::Glob(_) => self.path(before),
            syn::UseTree::Group(group) => group.items.iter().for_each(|item| self.tree(item, before)),
        }
    }

    /// Names and paths in what a macro is given.
    fn tokens(&mut self, tokens: proc_macro2::TokenStream) {
        let mut path: Vec<String> = Vec::new();
        let mut colons = 0;
        for token in tokens {
            match token {
                proc_macro2::TokenTree::Ident(ident) => {
                    self.source.names.insert(ident.to_string());
                    if colons != 2 {
                        self.end_of_path(&mut path);
                    }
                    path.push(ident.to_string());
                    colons = 0;
                }
                proc_macro2::TokenTree::Punct(punct) if punct.as_char() == ':' => colons += 1,
                proc_macro2::TokenTree::Group(group) => {
                    self.end_of_path(&mut path);
                    colons = 0;
                    self.tokens(group.stream());
                }
                _ => {
                    self.end_of_path(&mut path);
                    colons = 0;
                }
            }
        }
        self.end_of_path(&mut path);
    }

    fn type_named(&mut self, vis: &syn::Visibility, name: &syn::Ident) {
        if matches!(vis, syn::Visibility::Public(_)) {
            self.source.types.insert(name.to_string());
        }
    }

    fn end_of_path(&mut self, path: &mut Vec<String>) {
        if path.len() > 1 {
            self.path(path);
        }
        path.clear();
    }
}

impl<'ast> Visit<'ast> for Reader<'_> {
    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        self.tree(&item.tree, &[]);
        syn::visit::visit_item_use(self, item);
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let segments: Vec<String> = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        if segments.len() > 1 {
            self.path(&segments);
        }
        syn::visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, call: &'ast syn::Macro) {
        self.tokens(call.tokens.clone());
        syn::visit::visit_macro(self, call);
    }

    fn visit_item_mod(&mut self, item: &'ast syn::ItemMod) {
        self.module.push(item.ident.to_string());
        syn::visit::visit_item_mod(self, item);
        self.module.pop();
    }

    fn visit_ident(&mut self, ident: &'ast proc_macro2::Ident) {
        self.source.names.insert(ident.to_string());
    }

    fn visit_item_struct(&mut self, item: &'ast syn::ItemStruct) {
        self.type_named(&item.vis, &item.ident);
        syn::visit::visit_item_struct(self, item);
    }

    fn visit_item_enum(&mut self, item: &'ast syn::ItemEnum) {
        self.type_named(&item.vis, &item.ident);
        syn::visit::visit_item_enum(self, item);
    }
}

fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    collect(&root, &root, &mut found);
    assert!(found.len() > 50, "only {} sources found", found.len());
    found
}

fn collect(root: &Path, folder: &Path, found: &mut Vec<Source>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            collect(root, &path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            found.push(Source::read(path.strip_prefix(root).unwrap(), &text));
        }
    }
}

/// Files that lead back to themselves by what they name, each circle with all of its files. That a part names the file
/// it is a part of is no import; that the file names its part is.
fn circles(sources: &[Source]) -> BTreeSet<Vec<String>> {
    let sources: Vec<&Source> = sources.iter().filter(|source| !source.path.ends_with("tests.rs")).collect();
    let modules: Vec<Vec<String>> = sources.iter().map(|source| source.module()).collect();
    let file_of = |path: &[String]| {
        (1..=path.len()).rev().find_map(|length| modules.iter().position(|module| module.as_slice() == &path[..length]))
    };
    let named: Vec<BTreeSet<usize>> = (0..)
        .zip(&sources)
        .map(|(one, source): (usize, _)| {
            let own: Vec<Vec<String>> =
                source.outside.iter().map(|path| [modules[one].as_slice(), path].concat()).collect();
            let files = source.inside.iter().chain(&own).filter_map(|path| file_of(path));
            files.filter(|other| !modules[one].starts_with(&modules[*other])).collect()
        })
        .collect();
    let reached: Vec<BTreeSet<usize>> = (0..named.len())
        .map(|from| {
            let (mut reached, mut ahead) = (BTreeSet::new(), vec![from]);
            while let Some(file) = ahead.pop() {
                ahead.extend(named[file].iter().filter(|next| reached.insert(**next)));
            }
            reached
        })
        .collect();
    let circle = |one: usize| {
        let files = reached[one].iter().filter(|other| reached[**other].contains(&one));
        files.map(|file| modules[*file].join("/")).collect()
    };
    (0..reached.len()).filter(|one| reached[*one].contains(one)).map(circle).collect()
}

#[test]
fn no_floor_names_a_higher_one() {
    let mut found = Vec::new();
    for source in sources() {
        found.extend(source.above().iter().map(|name| format!("{} names {name}", source.path.display())));
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn no_file_leads_back_to_itself() {
    let found = circles(&sources());
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn no_two_public_types_have_one_name() {
    let mut by_name: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    for source in sources().into_iter().filter(|source| !source.path.ends_with("tests.rs")) {
        for name in &source.types {
            by_name.entry(name.clone()).or_default().push(source.path.clone());
        }
    }
    by_name.retain(|_, paths| paths.len() > 1);
    assert!(by_name.is_empty(), "{by_name:#?}");
}

#[test]
fn no_file_only_forwards() {
    let forwarding: Vec<PathBuf> =
        sources().into_iter().filter(|source| source.only_forwards).map(|source| source.path).collect();
    assert!(forwarding.is_empty(), "{forwarding:?}");
}

#[test]
fn every_source_stands_on_a_floor() {
    for source in sources() {
        let is_top = ["lib.rs", "main.rs"].map(Path::new).contains(&source.path.as_path());
        assert!(source.floor.is_some() || is_top, "{}", source.path.display());
    }
}

#[test]
fn physics_and_rules_know_no_file_no_table_and_no_untyped_error() {
    let mut found = Vec::new();
    for source in sources().iter().filter(|source| matches!(source.floor, Some("physics" | "rules"))) {
        let names = NOT_BELOW.iter().filter(|name| source.names.contains(**name));
        found.extend(names.map(|name| format!("{}: {name}", source.path.display())));
        // A test may read its own sources, to see that each rule has its fixtures.
        let is_io = |path: &Vec<String>| matches!(path.as_slice(), [std, io, ..] if std == "std" && ["fs", "io", "path"].contains(&io.as_str()));
        if !source.path.ends_with("tests.rs") && source.outside.iter().any(is_io) {
            found.push(format!("{}: files of std", source.path.display()));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn crates_stay_in_their_room() {
    let mut found = Vec::new();
    for source in sources() {
        for (name, rooms) in ROOMS {
            let is_at_home = source.floor.is_none_or(|floor| rooms.contains(&floor));
            if !is_at_home && source.uses(name) {
                found.push(format!("{}: {name}, whose room is {}", source.path.display(), rooms.join(", ")));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn files_are_named_after_what_they_hold() {
    let mut found = Vec::new();
    for source in sources() {
        let path = source.path.to_string_lossy().replace('\\', "/");
        if let Some(name) = path.split('/').find(|part| NO_NAMES.contains(&part.trim_end_matches(".rs"))) {
            found.push(format!("{path}: '{name}' names nothing that it holds"));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

// The tests above pass on sound sources; that they would fail on others is shown here.

fn rule_source(text: &str) -> Source {
    Source::read(Path::new("rules/time.rs"), text)
}

#[test]
fn a_floor_that_reaches_up_is_seen() {
    for text in [
        "use crate::audit::sweep::Run;",
        "use crate::{tables::line::Line, audit::run};",
        "use super::super::audit::run;",
        "fn f() { clampbook::audit::sweep::run() }",
        "fn f() { println!(\"{}\", crate::audit::sweep::run()) }",
        "mod inner { use super::super::super::audit; }",
    ] {
        assert_eq!(rule_source(text).above(), ["audit"], "{text}");
    }
}

#[test]
fn a_floor_may_look_down_and_speak_of_what_is_above() {
    for text in [
        "use crate::tables::line::Line; use crate::physics::unit;",
        "// crate::audit::sweep does it\n/// See [`crate::report`].\nfn f() {}",
        "const TEXT: &str = \"use crate::audit\";",
        "use super::view::CircuitView; mod read { }",
        // A module of the same floor with a floor's name.
        "use super::audit::run;",
        "use crate::{model::{line::Line, audit}, physics::unit};",
    ] {
        assert!(rule_source(text).above().is_empty(), "{text}");
    }
}

#[test]
fn a_crate_out_of_its_room_is_seen() {
    for text in [
        "use calamine::Reader;",
        "fn f() { calamine::open() }",
        "use calamine;",
        "use ::calamine;",
        "type X = Option<calamine::Data>;",
    ] {
        assert!(rule_source(text).uses("calamine"), "{text}");
    }
    for text in ["fn f() { let calamine = 1; }", "fn f() { crate::read::calamine::open() }", "use polars::prelude::*;"]
    {
        assert!(!rule_source(text).uses("calamine"), "{text}");
    }
}

#[test]
fn files_that_lead_back_to_themselves_are_seen() {
    let source = |path: &str, text: &str| Source::read(Path::new(path), text);
    let found = |sources: &[(&str, &str)]| {
        let sources: Vec<Source> = sources.iter().map(|(path, text)| source(path, text)).collect();
        circles(&sources).into_iter().map(|circle| circle.join(" ")).collect::<Vec<_>>()
    };
    let a = ("rules/a.rs", "use super::b::B; pub struct A;");
    assert_eq!(found(&[a, ("rules/b.rs", "fn f(a: crate::rules::a::A) {} pub struct B;")]), ["rules/a rules/b"]);
    let b = ("rules/b.rs", "use super::c::C; pub struct B;");
    assert_eq!(found(&[a, b, ("rules/c.rs", "use super::a::A; pub struct C;")]), ["rules/a rules/b rules/c"]);
    assert_eq!(found(&[a, b, ("rules/c.rs", "pub struct C;")]), Vec::<String>::new());
    // By way of a part of the file.
    let whole = ("rules/b.rs", "mod part; fn f() { part::f() }");
    assert_eq!(found(&[a, whole, ("rules/b/part.rs", "use crate::rules::a::A;")]), ["rules/a rules/b rules/b/part"]);
    // What a part has of the file that it is a part of is no circle.
    assert_eq!(found(&[whole, ("rules/b/part.rs", "use super::B; pub fn f() {}")]), Vec::<String>::new());
}
