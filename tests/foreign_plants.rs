//! Plants as people keep them: `headers --write`, then `check`, give what the same plant gives in the
//! plain form. `make.py` beside the plants writes both.

#![allow(clippy::unwrap_used)]

#[path = "plants/folder.rs"]
mod folder;

use folder::copy;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// Edits by hand after `headers --write`, two at most: what to put in place of what in the policy.
type Edits = &'static [(&'static str, &'static str)];

/// `Kolbenfläche` is a clamp's area as well as a ram's: nobody but the plant can tell.
const PISTON: Edits = &[("[columns.components]\n", "[columns.components]\npiston_area = [\"Kolbenfläche\"]\n")];

const PLANTS: [(&str, Edits); 6] = [
    ("merged-workbooks", PISTON),
    ("old-code-page", PISTON),
    ("export-names", &[]),
    ("one-workbook", PISTON),
    ("month-first", &[]),
    ("tabs-and-units", &[]),
];

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).output().unwrap()
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

/// Findings without where they stand, which is another file, sheet and row in each form.
fn findings(data: &Path) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_path(data.join("findings.csv")).unwrap();
    let rows = reader.records().map(Result::unwrap);
    // Rule, severity, state, place, side, position and part.
    let mut all: Vec<Vec<String>> = rows.map(|row| row.iter().take(9).map(str::to_owned).collect()).collect();
    all.sort();
    all
}

fn plant(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/plants").join(name)
}

/// A plant as it is kept, in a folder of its own, its policy written.
fn ready(name: &str, edits: Edits, folder: &Path) -> PathBuf {
    let kept = folder.join("kept");
    copy(&plant(name).join("kept"), &kept);
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
    kept
}

#[test]
fn plants_as_people_keep_them_give_what_the_plain_form_gives() {
    for (name, edits) in PLANTS {
        let folder = tempfile::tempdir().unwrap();
        let kept = ready(name, edits, folder.path());
        let text = fs::read_to_string(kept.join("policy.toml")).unwrap();
        let data = |form: &str| folder.path().join(form);
        let (plain, _) = circuits(&plant(name).join("plain"), &data("plain-data"));
        let (own, told) = circuits(&kept, &data("kept-data"));
        assert_eq!(own, plain, "{name}:\n{text}\n{told}");
        assert_eq!(own.lines().count(), 5, "{name}: a header and four circuits");
        assert_eq!(findings(&data("kept-data")), findings(&data("plain-data")), "{name}");
        let input = fs::read_to_string(data("kept-data").join("input.csv")).unwrap();
        // A part number with a typing error is in both forms.
        assert!(!input.contains("set aside"), "{name}: {input}");
    }
}

/// A changed copy of a plant in its own form keeps the names and kinds of its files, names every cell
/// that changed, and each cell holds what is said.
#[test]
fn a_changed_copy_has_the_form_of_its_plant() {
    for (name, edits) in PLANTS {
        let folder = tempfile::tempdir().unwrap();
        let kept = ready(name, edits, folder.path());
        let copy = folder.path().join("copy");
        let arguments = ["check", kept.to_str().unwrap(), "--quiet", "--apply-remedies", copy.to_str().unwrap()];
        let output = run(&arguments);
        assert!(matches!(output.status.code(), Some(0 | 1)), "{name}: {}", said(&output));
        let files = |folder: &Path| {
            let mut all: Vec<PathBuf> =
                below(folder).iter().map(|path| path.strip_prefix(folder).unwrap().to_owned()).collect();
            all.retain(|path| path != Path::new("changes.csv"));
            all
        };
        assert_eq!(files(&copy), files(&kept), "{name}");
        let (changed, _) = circuits(&copy, &folder.path().join("copy-data"));
        assert_eq!(changed.lines().count(), 5, "{name}: {changed}");
        let mut changes = csv::Reader::from_path(copy.join("changes.csv")).unwrap();
        let header = changes.headers().unwrap().clone();
        assert_eq!(
            header.iter().collect::<Vec<_>>(),
            ["what", "file", "sheet", "row", "column", "header", "before", "after"]
        );
        let rows: Vec<csv::StringRecord> = changes.records().map(Result::unwrap).collect();
        let touched: Vec<&str> = rows.iter().filter(|row| &row[0] == "cell").map(|row| row.get(1).unwrap()).collect();
        for file in files(&kept) {
            let is_same = fs::read(kept.join(&file)).unwrap() == fs::read(copy.join(&file)).unwrap();
            assert_eq!(is_same, !touched.contains(&file.to_str().unwrap()), "{name}: {}", file.display());
        }
    }
}

fn below(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            all.extend(below(&entry.path()));
        } else {
            all.push(entry.path());
        }
    }
    all.sort();
    all
}

/// One list with a component table that lies elsewhere; without it, it is said how to give it.
#[test]
fn one_list_is_checked_with_a_component_table_beside_it() {
    let plain = plant("tabs-and-units").join("plain");
    let folder = tempfile::tempdir().unwrap();
    let list = plain.join("lists/all.csv");
    let data = folder.path().join("data");
    let output = run(&["check", list.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said(&output).contains("the component table is missing. Give it with --components FILE"),
        "{}",
        said(&output)
    );
    let components = plain.join("components.csv");
    let arguments = ["check", list.to_str().unwrap(), "--components", components.to_str().unwrap()];
    let output = run(&[&arguments[..], &["--data", data.to_str().unwrap()]].concat());
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    let circuits = fs::read_to_string(data.join("circuits.csv")).unwrap();
    assert_eq!(circuits.lines().count(), 5, "{circuits}");
}

/// Whole numbers under a header that names no circuit would be a circuit lost in silence.
#[test]
fn a_matrix_loses_no_circuit() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("components.csv", "part_no,kind,rated_pressure,area_clamp,stroke\nCL,clamp,350,490,12\n");
    write("policy.toml", "[files.matrix]\nfile = \"plan.csv\"\nrow = 2\nplace = \"fixture/circuit\"\n");
    write("plan.csv", "Plan,,,\npart_no,frame/1,frame 2,remark\nCL,2,3,\n");
    let output = run(&["check", folder.path().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("plan.csv, cell C2 ('frame 2'): whole numbers stand under it"), "{}", said(&output));
    write("plan.csv", "Plan,,,\npart_no,frame/1,frame/2,remark\nCL,2,3,\nCL,-,1,late\nTotal,2,4,\n");
    let data = folder.path().join("data");
    run(&["check", folder.path().to_str().unwrap(), "--data", data.to_str().unwrap()]);
    let mut circuits = csv::Reader::from_path(data.join("circuits.csv")).unwrap();
    let column = circuits.headers().unwrap().iter().position(|name| name == "clamp_swept_cm3").unwrap();
    let swept: Vec<(String, f64)> = circuits
        .records()
        .map(Result::unwrap)
        .map(|row| (format!("{}/{}", &row[2], &row[3]), row[column].parse().unwrap()))
        .collect();
    // 490 mm2 x 12 mm = 5.88 cm3 for each piece.
    assert_eq!(swept.len(), 2, "{swept:?}");
    for ((place, swept), (wanted, pieces)) in swept.iter().zip([("frame/1", 2.0), ("frame/2", 4.0)]) {
        assert_eq!(place, wanted);
        assert!((swept - 5.88 * pieces).abs() < 1e-9, "{place}: {swept}");
    }
    let input = fs::read_to_string(data.join("input.csv")).unwrap();
    assert!(input.contains("A row of totals.") && input.contains("It says that none is there"), "{input}");
}

/// What is there stays, and the second time nothing is added.
#[test]
fn a_policy_is_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    copy(&plant("old-code-page/kept"), folder.path());
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
