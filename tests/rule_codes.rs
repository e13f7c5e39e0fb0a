//! A rule is known by its static: no code of one stands as text outside the rules' own floor.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::fs;
use std::path::{Path, PathBuf};

use clampbook::rules::catalogue::{CATALOGUE, FAMILIES};

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") && !path.ends_with("tests.rs") {
            found.push(path);
        }
    }
}

/// The lines of a source that ship: without comments, and up to the tests at its foot.
fn shipped(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let lines = text.lines().enumerate().take_while(|(_, line)| !line.starts_with("mod tests {"));
    lines.filter(|(_, line)| !line.trim_start().starts_with("//"))
}

/// Codes of rules that a line quotes, and letters of families that it compares a code with.
fn quoted(line: &str) -> Vec<String> {
    let codes = CATALOGUE.iter().map(|rule| format!("\"{}\"", rule.code));
    let letters = FAMILIES.iter().flat_map(|family| {
        let letter = family.letter;
        [format!("rule.starts_with('{letter}')"), format!("code.starts_with('{letter}')")]
    });
    codes.chain(letters).filter(|text| line.contains(text.as_str())).collect()
}

#[test]
fn no_code_stands_as_text_outside_the_rules() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    assert!(files.len() > 50, "only {} sources found", files.len());
    let rules = root.join("rules");
    let mut found = Vec::new();
    for path in files.iter().filter(|path| !path.starts_with(&rules) && path.extension().is_some()) {
        let text = fs::read_to_string(path).unwrap();
        for (line, text) in shipped(&text) {
            // A pallet of the starter's example may be called as a rule is.
            let is_code = !text.contains("same(");
            for code in quoted(text).into_iter().filter(|_| is_code) {
                found.push(format!("{}:{}: {code}", path.display(), line + 1));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn a_code_in_quotes_is_seen() {
    assert_eq!(quoted("finding.rule == \"V03\""), ["\"V03\""]);
    assert_eq!(quoted("finding.rule.starts_with('B')").len(), 1);
    assert!(quoted("V03.code").is_empty());
    let text = "let a = 1;\n// \"V03\"\nmod tests {\n \"V03\"\n";
    assert_eq!(shipped(text).count(), 1);
}
