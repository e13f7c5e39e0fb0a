//! What the program is built from: every package comes from the registry with a checksum, every
//! licence is one that is accepted, and Cargo.toml and the developers' guide name the same crates.
//!
//! Runs offline, over the packages of this platform; those of others are not on this disk and
//! not in this program. Advisories need a database from the net: `cargo deny` does that in
//! `.ci/run` where it is installed.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;
use std::{env, fs};

/// Licences that let the program be built, used and passed on, with no more than a notice.
const ACCEPTED: [&str; 12] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0", // root certificates as data
    "ISC",
    "MIT",
    "Unicode-3.0",
    "Zlib",
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap()
}

/// What cargo knows of the packages of this platform.
fn metadata() -> serde_json::Value {
    let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let platform = Command::new(&cargo).arg("-vV").output().unwrap();
    let platform = String::from_utf8(platform.stdout).unwrap();
    let platform = platform.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let output = Command::new(&cargo)
        .current_dir(root())
        .args(["metadata", "--offline", "--locked", "--format-version", "1", "--filter-platform", platform])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Whether a licence expression (SPDX, or the older form with `/`) leaves a choice that is
/// accepted; one that can't be read is not.
///
/// AND binds tighter than OR, WITH tighter than both.
fn is_accepted(expression: &str) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    either(&words, &mut at).is_some_and(|accepted| accepted && at == words.len())
}

fn either(words: &[&str], at: &mut usize) -> Option<bool> {
    let mut accepted = both(words, at)?;
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        accepted |= both(words, at)?;
    }
    Some(accepted)
}

fn both(words: &[&str], at: &mut usize) -> Option<bool> {
    let mut accepted = one(words, at)?;
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        accepted &= one(words, at)?;
    }
    Some(accepted)
}

fn one(words: &[&str], at: &mut usize) -> Option<bool> {
    let word = *words.get(*at)?;
    *at += 1;
    if word == "(" {
        let accepted = either(words, at)?;
        let is_closed = words.get(*at) == Some(&")");
        *at += 1;
        return is_closed.then_some(accepted);
    }
    if words.get(*at) == Some(&"WITH") {
        let exception = *words.get(*at + 1)?;
        *at += 2;
        return Some(ACCEPTED.contains(&format!("{word} WITH {exception}").as_str()));
    }
    Some(ACCEPTED.contains(&word))
}

#[test]
fn every_licence_is_accepted() {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().unwrap();
    let used: BTreeSet<&str> =
        metadata["resolve"]["nodes"].as_array().unwrap().iter().filter_map(|node| node["id"].as_str()).collect();
    let mut refused = Vec::new();
    let mut seen = 0;
    for package in packages.iter().filter(|package| package["id"].as_str().is_some_and(|id| used.contains(id))) {
        seen += 1;
        let licence = package["license"].as_str().unwrap_or("none stated");
        if !is_accepted(licence) {
            refused.push(format!("{} {}: {licence}", package["name"], package["version"]));
        }
    }
    assert!(seen > 100, "only {seen} packages seen");
    assert!(refused.is_empty(), "{}", refused.join("\n"));
}

#[test]
fn every_package_comes_from_the_registry_with_a_checksum() {
    let lock: toml::Table = read("Cargo.lock").parse().unwrap();
    let packages = lock["package"].as_array().unwrap();
    assert!(packages.len() > 100);
    for package in packages {
        let name = package["name"].as_str().unwrap();
        let is_from_registry =
            package.get("source").and_then(toml::Value::as_str).is_some_and(|source| source.starts_with("registry+"));
        let has_checksum = package.get("checksum").and_then(toml::Value::as_str).is_some_and(|sum| sum.len() == 64);
        assert!(name == env!("CARGO_PKG_NAME") || is_from_registry && has_checksum, "{name}");
    }
}

#[test]
fn the_developers_guide_gives_the_reason_for_each_dependency_and_for_no_other() {
    let manifest: toml::Table = read("Cargo.toml").parse().unwrap();
    let named: BTreeSet<String> = ["dependencies", "dev-dependencies"]
        .iter()
        .flat_map(|section| manifest[*section].as_table().unwrap().keys().cloned())
        .collect();
    let guide = read("DEVELOPERS.md");
    let table = guide.split("## Dependencies").nth(1).unwrap().split("\n## ").next().unwrap();
    let given: BTreeSet<String> = table
        .lines()
        .filter_map(|line| line.strip_prefix("| `"))
        .flat_map(|line| {
            line.split(" | ")
                .next()
                .unwrap_or_default()
                .split('`')
                .filter(|name| !name.is_empty() && *name != ", ")
                .map(str::to_owned)
                .collect::<Vec<_>>()
        })
        .collect();
    assert_eq!(given, named);
}

#[test]
fn the_licence_file_is_the_one_that_the_manifest_states() {
    assert!(read("LICENSE").starts_with("MIT License\n"));
    assert_eq!(env!("CARGO_PKG_LICENSE"), "MIT");
}

#[test]
fn unsafe_code_is_forbidden() {
    let manifest: toml::Table = read("Cargo.toml").parse().unwrap();
    assert_eq!(manifest["lints"]["rust"]["unsafe_code"].as_str(), Some("forbid"));
}

#[test]
fn licence_expressions_are_understood() {
    for expression in [
        "MIT",
        "MIT OR GPL-3.0",
        "GPL-3.0/MIT",
        "Apache-2.0 / MIT",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception OR GPL-2.0",
        "GPL-2.0 OR MIT AND ISC",
    ] {
        assert!(is_accepted(expression), "{expression}");
    }
    for expression in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "(MIT OR GPL-3.0) AND GPL-3.0",
        "GPL-2.0 WITH Classpath-exception-2.0",
        "none stated",
        "",
        "MIT OR",
        "(MIT",
        "MIT)",
        "MPL-2.0",
    ] {
        assert!(!is_accepted(expression), "{expression}");
    }
}
