//! Two runs over the sample plant, the second after the edits of a month.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops where something is amiss")]

#[path = "plants/folder.rs"]
mod folder;
#[path = "plants/run.rs"]
mod run;

use folder::copy;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data")
}

/// Applies `edits.csv`: each text stands exactly once in its file.
fn edit(plant: &Path) {
    for change in run::rows(&sample().join("edits.csv")) {
        let path = plant.join(&change["file"]);
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(text.matches(&change["find"]).count(), 1, "{change:?}");
        fs::write(&path, text.replace(&change["find"], &change["replace"])).unwrap();
    }
}

fn in_state(data: &Path, file: &str, state: &str) -> BTreeSet<String> {
    let rows = run::rows(&data.join(file));
    rows.iter().filter(|row| state.is_empty() || row["state"] == state).map(place).collect()
}

/// The key of a finding, without its state.
fn place(finding: &run::Row) -> String {
    run::FINDING_KEY.map(|name| finding[name].as_str()).join(";")
}

fn set<const N: usize>(keys: [&str; N]) -> BTreeSet<String> {
    keys.map(str::to_owned).into()
}

#[test]
fn a_month_of_edits_gives_exactly_the_expected_sets() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, before, after) =
        (folder.path().join("plant"), folder.path().join("before"), folder.path().join("after"));
    copy(&sample().join("plant"), &plant);
    run::check(&plant, &before, &["--no-remedies", "--quiet"]);
    edit(&plant);
    run::check(&plant, &after, &["--no-remedies", "--quiet", "--previous", before.to_str().unwrap()]);

    // As sample-data/README.md tells it.
    let new = set(["V01;Tarnholm;T03;drum;3;clamp;;"]);
    let cleared = set(["P06;Tarnholm;T02;left;2;clamp;IV;WEIR-6A", "W01;Tarnholm;T04;post;1;;*;"]);
    let waived = set([
        "P11;Tarnholm;T07;yoke;3;clamp;;",
        "P09;Tarnholm;T07;yoke;3;clamp;SQ;RILL-110",
        "H03;Tarnholm;T04;post;1;;;",
    ]);
    let first = in_state(&before, "findings.csv", "");
    assert!(first.len() > 60, "only {} findings before", first.len());
    assert!(cleared.is_subset(&first));
    assert_eq!(in_state(&after, "findings.csv", "new"), new);
    assert_eq!(in_state(&after, "cleared.csv", ""), cleared);
    let waived_rules: Vec<String> = in_state(&after, "findings.csv", "waived").into_iter().collect();
    let expected_rules: Vec<String> = waived.iter().cloned().collect();
    assert_eq!(waived_rules, expected_rules);
    let standing: BTreeSet<String> = &(&first - &cleared) - &waived;
    assert_eq!(in_state(&after, "findings.csv", "standing"), standing);
    assert_eq!(in_state(&after, "findings.csv", "open"), set([]));
    let circuits = run::rows(&after.join("circuits.csv"));
    let post = circuits.iter().find(|row| row["fixture"] == "post" && row["circuit"] == "1").unwrap();
    assert_eq!(post["verdict"], "conforms with waivers");
}

#[test]
fn without_a_change_all_stands() {
    let folder = tempfile::tempdir().unwrap();
    let (before, after) = (folder.path().join("before"), folder.path().join("after"));
    let plant = sample().join("plant");
    run::check(&plant, &before, &["--no-remedies", "--quiet"]);
    run::check(&plant, &after, &["--no-remedies", "--quiet", "--previous", before.to_str().unwrap()]);
    let open = in_state(&before, "findings.csv", "open");
    assert_eq!(in_state(&after, "findings.csv", "standing"), open);
    assert_eq!(in_state(&after, "findings.csv", "new"), set([]));
    assert_eq!(in_state(&after, "cleared.csv", ""), set([]));
}

fn run_with_history(folder: &Path, date: &str, history: &Path) -> String {
    let policy = folder.join("policy.toml");
    let text = fs::read_to_string(sample().join("plant/policy.toml")).unwrap();
    fs::write(&policy, text.replace("2026-11-25", date)).unwrap();
    let more =
        ["--policy", policy.to_str().unwrap(), "--history", history.to_str().unwrap(), "--no-remedies", "--quiet"];
    run::check(&sample().join("plant"), &folder.join("data"), &more).1
}

#[test]
fn the_same_date_twice_replaces_and_another_is_added() {
    let folder = tempfile::tempdir().unwrap();
    let history = folder.path().join("history.csv");
    let dates = || run::rows(&history).iter().map(|row| row["date"].clone()).collect::<Vec<_>>();
    run_with_history(folder.path(), "2026-11-25", &history);
    let counts = run::rows(&history).remove(0);
    assert_eq!((counts["circuits"].as_str(), counts["not_assessed"].as_str()), ("50", "1"));
    run_with_history(folder.path(), "2026-11-25", &history);
    assert_eq!(dates(), ["2026-11-25"]);
    run_with_history(folder.path(), "2026-12-25", &history);
    run_with_history(folder.path(), "2026-10-25", &history);
    assert_eq!(dates(), ["2026-10-25", "2026-11-25", "2026-12-25"]);
}

#[test]
fn a_damaged_history_is_reported_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let history = folder.path().join("history.csv");
    run_with_history(folder.path(), "2026-11-25", &history);
    let whole = fs::read_to_string(&history).unwrap();
    for damaged in
        [whole.replacen("date", "when", 1), whole.replace(",50,", ",many,"), format!("{whole}2026-12"), "\u{0}".into()]
    {
        fs::write(&history, &damaged).unwrap();
        let said = run_with_history(folder.path(), "2026-12-25", &history);
        assert!(said.contains("history.csv") && said.contains("left as it is"), "{said}");
        assert_eq!(fs::read_to_string(&history).unwrap(), damaged);
    }
}
