//! Plants as people keep them: `headers --write`, then `check`, give what the same plant gives in the
//! plain form. `make.py` beside the plants writes both.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Edits by hand after `headers --write`, two at most: what to put in place of what in the policy.
type Edits = &'static [(&'static str, &'static str)];

const PLANTS: [(&str, Edits); 6] = [
    ("merged-workbooks", &[]),
    ("old-code-page", &[]),
    ("export-names", &[]),
    ("one-workbook", &[]),
    ("month-first", &[]),
    ("tabs-and-units", &[]),
];

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).output().unwrap()
}

fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copied(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// The circuits that a check gives, and what it says.
fn circuits(plant: &Path, data: &Path) -> (String, String) {
    let output = run(&["check", plant.to_str().unwrap(), "--data", data.to_str().unwrap(), "--quiet"]);
    let said = said(&output);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}: {said}", plant.display());
    (fs::read_to_string(data.join("circuits.csv")).unwrap(), said)
}

#[test]
fn plants_as_people_keep_them_give_what_the_plain_form_gives() {
    let all = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/plants");
    for (name, edits) in PLANTS {
        let folder = tempfile::tempdir().unwrap();
        let kept = folder.path().join("kept");
        copied(&all.join(name).join("kept"), &kept);
        let output = run(&["headers", kept.to_str().unwrap(), "--write"]);
        assert_eq!(output.status.code(), Some(0), "{name}: {}", said(&output));
        assert!(edits.len() <= 2, "{name}");
        let policy = kept.join("policy.toml");
        let mut text = fs::read_to_string(&policy).unwrap();
        for (old, new) in edits {
            assert!(text.contains(old), "{name}: {text}");
            text = text.replace(old, new);
        }
        fs::write(&policy, &text).unwrap();
        let (plain, _) = circuits(&all.join(name).join("plain"), &folder.path().join("plain-data"));
        let (own, told) = circuits(&kept, &folder.path().join("kept-data"));
        assert_eq!(own, plain, "{name}:\n{text}\n{told}");
        assert_eq!(own.lines().count(), 5, "{name}: a header and four circuits");
        let input = fs::read_to_string(folder.path().join("kept-data/input.csv")).unwrap();
        // A part number with a typing error is in both forms.
        assert!(!input.contains("set aside"), "{name}: {input}");
    }
}

/// What is there stays, and the second time nothing is added.
#[test]
fn a_policy_is_never_written_over() {
    let all = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/plants");
    let folder = tempfile::tempdir().unwrap();
    copied(&all.join("old-code-page/kept"), folder.path());
    let policy = folder.path().join("policy.toml");
    fs::write(&policy, "# ours\n[values.kind]\nclamp = [\"Schwenker\"]\n[reading]\ndates = \"mdy\"\n").unwrap();
    assert_eq!(run(&["headers", folder.path().to_str().unwrap(), "--write"]).status.code(), Some(0));
    let text = fs::read_to_string(&policy).unwrap();
    let table: toml::Table = text.parse().unwrap();
    assert_eq!(table["values"]["kind"]["clamp"].to_string(), "[\"Schwenker\"]");
    assert_eq!(table["reading"]["dates"].as_str(), Some("mdy"));
    assert_eq!(table["values"]["kind"]["tube"].to_string(), "[\"Rohr\"]");
    assert_eq!(table["files"]["components"].as_str(), Some("artikelstamm.csv"));
    assert!(text.starts_with("# ours\n"), "{text}");
    assert!(text.contains("# [reading] dates is there already; not written: \"dmy\"."), "{text}");
}
