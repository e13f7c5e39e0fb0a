//! The sources keep to their floors: no lower one names a higher one, third-party crates stay in
//! their room, and files have a size and a name by which a reader finds his way.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

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

const MOST_LINES: usize = 450;
/// Files past that size, each with its reason.
const LONG: [(&str, &str); 2] = [
    ("rules/lists.rs", "a family of rules is one file: the texts of fourteen rules and their functions"),
    ("rules/pressure.rs", "a family of rules is one file: the texts of seventeen rules and their functions"),
];

const NO_NAMES: [&str; 8] = ["utils", "util", "helpers", "helper", "common", "manager", "misc", "mod"];

struct Source {
    /// Below `src`.
    path: PathBuf,
    /// `None` for `lib.rs` and `main.rs`.
    floor: Option<&'static str>,
    words: Vec<String>,
    lines: usize,
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
            let path = path.strip_prefix(root).unwrap().to_owned();
            let first = path.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
            let first = first.trim_end_matches(".rs");
            let floor = FLOORS.iter().copied().find(|floor| *floor == first);
            found.push(Source { path, floor, words: words(&code(&text)), lines: text.lines().count() });
        }
    }
}

/// The text without comments, documentation and literals.
fn code(text: &str) -> String {
    let mut code = String::new();
    let mut rest = text;
    while let Some(letter) = rest.chars().next() {
        let skipped = if rest.starts_with("//") {
            rest.find('\n').or(Some(rest.len()))
        } else if rest.starts_with("/*") {
            Some(rest.find("*/").map_or(rest.len(), |end| end + 2))
        } else {
            match letter {
                '"' => Some(quoted(rest)),
                '\'' => letter_literal(rest),
                'r' => raw(rest, &code),
                _ => None,
            }
        };
        code.push(if skipped.is_some() { ' ' } else { letter });
        rest = &rest[skipped.unwrap_or(letter.len_utf8())..];
    }
    code
}

/// The length of a text in quotes.
fn quoted(rest: &str) -> usize {
    let mut is_escaped = false;
    for (at, letter) in rest.char_indices().skip(1) {
        match letter {
            _ if is_escaped => is_escaped = false,
            '\\' => is_escaped = true,
            '"' => return at + 1,
            _ => {}
        }
    }
    rest.len()
}

/// The length of a letter such as `'"'`; `None` for a lifetime.
fn letter_literal(rest: &str) -> Option<usize> {
    let mut letters = rest.char_indices().skip(1);
    if letters.next()?.1 == '\\' {
        letters.next()?;
    }
    let (at, next) = letters.next()?;
    if next == '\'' {
        return Some(at + 1);
    }
    let is_long_escape = rest.starts_with("'\\u{") || rest.starts_with("'\\x");
    is_long_escape.then(|| rest[2..].find('\'').map_or(rest.len(), |end| end + 3))
}

/// The length of a raw text such as `r#"..."#`.
fn raw(rest: &str, before: &str) -> Option<usize> {
    let is_inside_a_name =
        before.ends_with(|letter: char| letter != 'b' && (letter.is_alphanumeric() || letter == '_'));
    let hashes = rest[1..].chars().take_while(|letter| *letter == '#').count();
    let open = 1 + hashes + 1;
    if is_inside_a_name || rest.get(1 + hashes..open) != Some("\"") {
        return None;
    }
    let close = format!("\"{}", "#".repeat(hashes));
    Some(rest[open..].find(&close).map_or(rest.len(), |end| open + end + close.len()))
}

/// Names and `::`, with everything else as a mark of its own.
fn words(code: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = String::new();
    let mut letters = code.chars().peekable();
    while let Some(letter) = letters.next() {
        if letter.is_alphanumeric() || letter == '_' {
            word.push(letter);
            continue;
        }
        if !word.is_empty() {
            words.push(std::mem::take(&mut word));
        }
        if letter == ':' && letters.peek() == Some(&':') {
            letters.next();
            words.push("::".to_owned());
        } else if !letter.is_whitespace() {
            words.push(letter.to_string());
        }
    }
    if !word.is_empty() {
        words.push(word);
    }
    words
}

/// The names right behind `crate::`, `clampbook::` and `super::`, grouped ones
/// (`crate::{a, b::c}`) included.
fn named_from_root(words: &[String]) -> Vec<&str> {
    let mut names = Vec::new();
    for (at, two) in words.windows(2).enumerate() {
        if !matches!(two, [root, path] if matches!(root.as_str(), "crate" | "clampbook" | "super") && path == "::") {
            continue;
        }
        match words.get(at + 2).map(String::as_str) {
            Some("{") => names.extend(grouped(&words[at + 3..])),
            Some(name) => names.push(name),
            None => {}
        }
    }
    names
}

/// The first name of each member of a group, up to its closing brace.
fn grouped(words: &[String]) -> Vec<&str> {
    let mut names = Vec::new();
    let mut depth = 0_usize;
    let mut is_first = true;
    for word in words {
        match word.as_str() {
            "}" if depth == 0 => break,
            "{" => depth += 1,
            "}" => depth -= 1,
            "," if depth == 0 => is_first = true,
            name if depth == 0 && is_first => {
                names.push(name);
                is_first = false;
            }
            _ => {}
        }
    }
    names
}

/// Names of higher floors that a floor uses.
fn above(floor: &str, words: &[String]) -> Vec<String> {
    let height = |floor: &str| FLOORS.iter().position(|known| *known == floor);
    named_from_root(words).into_iter().filter(|name| height(name) > height(floor)).map(str::to_owned).collect()
}

/// Whether a crate is used: its name at the start of a path, or `use name;`.
fn uses(words: &[String], name: &str) -> bool {
    let word = |at: Option<usize>| at.and_then(|at| words.get(at)).map_or("", String::as_str);
    let is_name =
        |text: &str| text != "use" && text.starts_with(|letter: char| letter.is_alphabetic() || letter == '_');
    (0..words.len()).filter(|at| words[*at] == name).any(|at| {
        let (before, next) = (word(at.checked_sub(1)), word(Some(at + 1)));
        let is_inner = before == "::" && is_name(word(at.checked_sub(2)));
        !is_inner && (next == "::" || before == "use" || before == "::")
    })
}

#[test]
fn no_floor_names_a_higher_one() {
    let mut found = Vec::new();
    for source in sources() {
        let Some(floor) = source.floor else { continue };
        for name in above(floor, &source.words) {
            found.push(format!("{}: {floor} names {name}", source.path.display()));
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
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
        for name in NOT_BELOW {
            if source.words.iter().any(|word| word == name) {
                found.push(format!("{}: {name}", source.path.display()));
            }
        }
        // A test may read its own sources, to see that each rule has its fixtures.
        let is_test = source.path.ends_with("tests.rs");
        let is_io = |name: &String| matches!(name.as_str(), "fs" | "io" | "path");
        if !is_test
            && source.words.windows(3).any(|three| matches!(three, [a, b, c] if a == "std" && b == "::" && is_io(c)))
        {
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
            if !is_at_home && uses(&source.words, name) {
                found.push(format!("{}: {name}, whose room is {}", source.path.display(), rooms.join(", ")));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn files_are_short_and_named_after_what_they_hold() {
    let reasons: BTreeMap<&str, &str> = LONG.into_iter().collect();
    let mut found = Vec::new();
    let mut seen = Vec::new();
    for source in sources() {
        let path = source.path.to_string_lossy().replace('\\', "/");
        let is_long = source.lines > MOST_LINES;
        match reasons.get(path.as_str()) {
            None if is_long => found.push(format!("{path} has {} lines, more than {MOST_LINES}", source.lines)),
            Some(_) if !is_long => found.push(format!("{path} stands on the list of long files and is none")),
            Some(reason) if reason.len() < 20 => {
                found.push(format!("{path} stands on the list of long files without a reason"));
            }
            _ => {}
        }
        if let Some(name) = path.split('/').find(|part| NO_NAMES.contains(&part.trim_end_matches(".rs"))) {
            found.push(format!("{path}: '{name}' names nothing that it holds"));
        }
        seen.push(path);
    }
    found.extend(
        reasons.keys().filter(|path| !seen.iter().any(|seen| seen == *path)).map(|path| format!("{path} is gone")),
    );
    assert!(found.is_empty(), "{}", found.join("\n"));
}

// The tests above pass on sound sources; that they would fail on others is shown here.

fn names_above(floor: &str, text: &str) -> Vec<String> {
    above(floor, &words(&code(text)))
}

#[test]
fn a_floor_that_reaches_up_is_seen() {
    for text in [
        "use crate::audit::sweep::Run;",
        "use crate::{tables::line::Line, audit::run};",
        "use super::super::audit::run;",
        "fn f() { clampbook::audit::sweep::run() }",
        "use crate :: audit;",
        "const QUOTE: char = '\"'; use crate::audit::sweep;",
        "const QUOTE: char = '\\''; use crate::audit::sweep; // '",
        "const BLANK: char = '\\u{a0}'; use crate::audit::sweep;",
        "const RAW: &str = r#\" a \" b \"#; use crate::audit::sweep;",
        "const TEXT: &str = \"'\"; use crate::audit::sweep; const OTHER: &str = \"'\";",
        "fn f<'a>(text: &'a str) -> &'a str { crate::audit::sweep(text) }",
    ] {
        assert_eq!(names_above("rules", text), ["audit"], "{text}");
    }
    assert_eq!(names_above("rules", "use crate::read::error::ReadError;"), ["read"]);
}

#[test]
fn a_floor_may_look_down_and_speak_of_what_is_above() {
    for text in [
        "use crate::tables::line::Line; use crate::physics::unit;",
        "// crate::audit::sweep does it\n/// See [`crate::report`].\nfn f() {}",
        "/* use crate::audit; */",
        "const TEXT: &str = \"use crate::audit\";",
        "const TEXT: &str = \"a \\\" use crate::audit\";",
        "const TEXT: &str = r#\"use \"crate::audit\"#;",
        "use super::view::CircuitView; mod read { }",
        "use crate::{model::{line::Line, audit}, physics::unit};",
    ] {
        assert_eq!(names_above("rules", text), Vec::<String>::new(), "{text}");
    }
}

#[test]
fn a_crate_out_of_its_room_is_seen() {
    for text in [
        "use calamine::Reader;",
        "fn f() { calamine::open() }",
        "use calamine;",
        "use ::calamine;",
        "let x: Option<calamine::Data>;",
    ] {
        assert!(uses(&words(&code(text)), "calamine"), "{text}");
    }
    for text in ["let calamine = 1;", "crate::read::calamine::open()", "// calamine::open()", "use polars::prelude::*;"]
    {
        assert!(!uses(&words(&code(text)), "calamine"), "{text}");
    }
}
