//! The workbook of sample-data as the command writes it: recalculated by an independent engine,
//! compared with fresh runs, and past the bounds of the policy.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "a test fails by it")]

#[path = "plants/folder.rs"]
mod folder;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use calamine::{Data, DataType, Range, Reader, Xlsx, open_workbook};
use clampbook::rules::catalogue::rule;
use clampbook::tables::finding::Subject;
use folder::copy;
use ironcalc::base::Model;
use ironcalc::base::cell::CellValue;
use ironcalc::import::load_from_xlsx_bytes;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant")
}

/// A copy of sample-data with a policy edited, in a folder of its own.
fn changed(folder: &Path, edit: impl FnOnce(String) -> String) -> PathBuf {
    let plant = folder.join("plant");
    copy(&sample(), &plant);
    let policy = plant.join("policy.toml");
    let before = fs::read_to_string(&policy).expect("a policy");
    let after = edit(before.clone());
    assert_ne!(before, after, "the policy is as it was");
    fs::write(policy, after).expect("a policy");
    plant
}

/// Runs the check and gives the workbook.
fn checked(plant: &Path, out: &Path) -> Vec<u8> {
    let run = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .args(["check", "--quiet"])
        .arg(plant)
        .arg("--out")
        .arg(out)
        .output()
        .expect("a run");
    assert_eq!(run.status.code(), Some(1), "{}", String::from_utf8_lossy(&run.stderr));
    fs::read(out).expect("a workbook")
}

fn model(bytes: &[u8]) -> Model<'static> {
    let book = load_from_xlsx_bytes(bytes, "report", "en", "UTC").expect("a readable workbook");
    Model::from_workbook(book, "en").expect("a model")
}

type At = (u32, i32, i32);

/// Every formula cell with its value.
fn formula_values(model: &Model) -> BTreeMap<At, CellValue> {
    let cells = model.get_all_cells().into_iter();
    let formulas =
        cells.filter(|cell| model.get_cell_formula(cell.index, cell.row, cell.column).expect("a cell").is_some());
    formulas
        .map(|cell| {
            let at = (cell.index, cell.row, cell.column);
            (at, model.get_cell_value_by_index(at.0, at.1, at.2).expect("a value"))
        })
        .collect()
}

/// Numbers to 1e-9 of themselves; differences near zero to 1e-9 of the figures they are taken of.
fn is_same(one: &CellValue, other: &CellValue) -> bool {
    match (one, other) {
        (CellValue::Number(one), CellValue::Number(other)) => (one - other).abs() <= 1e-9 * other.abs() + 1e-12,
        (CellValue::String(one), CellValue::String(other)) => one == other,
        (CellValue::None, CellValue::String(text)) | (CellValue::String(text), CellValue::None) => text.is_empty(),
        (CellValue::None, CellValue::None) => true,
        _ => false,
    }
}

fn sheet_index(model: &Model, name: &str) -> u32 {
    let sheets = model.get_worksheets_properties();
    let index = sheets.iter().position(|sheet| sheet.name == name).expect("the sheet");
    u32::try_from(index).expect("a small number")
}

fn text(model: &Model, sheet: u32, row: i32, column: i32) -> String {
    match model.get_cell_value_by_index(sheet, row, column).expect("a value") {
        CellValue::String(text) => text,
        CellValue::Number(number) => number.to_string(),
        CellValue::None => String::new(),
        CellValue::Boolean(is) => is.to_string(),
    }
}

/// Plant, pallet, fixture, circuit, side and verdict of each row of Circuits.
fn verdicts(model: &Model) -> Vec<[String; 6]> {
    let sheet = sheet_index(model, "Circuits");
    let row = |row: i32| [1, 2, 3, 4, 5, 6].map(|column| text(model, sheet, row, column));
    (3..).map(row).take_while(|cells| !cells[5].is_empty()).collect()
}

#[test]
fn every_formula_of_sample_data_gives_what_the_run_found() {
    let folder = tempfile::tempdir().expect("a folder");
    for units in ["metric", "us"] {
        let own = folder.path().join(units);
        let plant = changed(&own, |policy| {
            format!("{}\n", policy.replace("units = \"metric\"", &format!("units = \"{units}\"")))
        });
        let mut model = model(&checked(&plant, &own.join("r.xlsx")));
        let cached = formula_values(&model);
        assert!(cached.len() > 1000, "{} formula cells only", cached.len());
        model.evaluate();
        for (at, now) in formula_values(&model) {
            let formula = model.get_cell_formula(at.0, at.1, at.2).expect("a cell");
            assert!(is_same(&now, &cached[&at]), "{at:?}: {now:?}, not {:?}, by {formula:?}", cached[&at]);
        }
    }
}

#[test]
fn a_changed_fill_limit_gives_the_verdicts_of_a_fresh_run_on_sample_data() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut answering = model(&checked(&sample(), &folder.path().join("r.xlsx")));
    let before = verdicts(&answering);
    let names = answering.get_defined_name_list();
    let (_, _, reference) = names.iter().find(|(name, _, _)| name == "limit_fill").expect("the name");
    let row: i32 = reference.rsplit('$').next().expect("a row").parse().expect("a number");
    let basis = sheet_index(&answering, "Basis");
    answering.set_user_input(basis, row, 2, "0.80".to_owned()).expect("a new limit");
    answering.evaluate();
    let plant = changed(folder.path(), |policy| policy.replace("\nfill = 0.90", "\nfill = 0.80"));
    let fresh = verdicts(&model(&checked(&plant, &folder.path().join("fresh.xlsx"))));
    assert_ne!(before, fresh, "the limit changes no verdict: the test shows nothing");
    let answers = verdicts(&answering);
    // Rows that can't work it out by themselves ask for a new run, and only those do.
    let mut expected = fresh;
    for cells in expected.iter_mut().filter(|cells| is_of_others(&cells[1], &cells[2], &cells[3])) {
        "run again".clone_into(&mut cells[5]);
    }
    assert_eq!(expected.iter().filter(|cells| cells[5] == "run again").count(), 6);
    assert_eq!(answers, expected);
}

/// Columns of Circuits whose figures are closed formulas, by the header's first words.
const CLOSED: &[&str] = &[
    "Verdict",
    "Fill",
    "Demand",
    "Usable oil",
    "Reserve",
    "Charge pressure",
    "Pump pressure",
    "Potential pressure",
    "Oil compressed",
    "Compression",
    "Free air [",
    "Dilation [",
    "Clamp elasticity",
    "Before the reducing valve",
];

/// Circuits of one charging cylinder, and those behind a reducing valve: the row's formulas know one circuit and one
/// pressure, so that these stay as the run found them, and ask for a new run where a limit changes.
fn is_of_others(pallet: &str, fixture: &str, circuit: &str) -> bool {
    matches!((pallet, fixture, circuit), ("T09", "tower", _) | ("T06", "vane", "2") | ("T08", "fan", "3"))
}

fn hangs_on_others(model: &Model, sheet: u32, row: i32) -> bool {
    let [pallet, fixture, circuit] = [2, 3, 4].map(|column| text(model, sheet, row, column));
    is_of_others(&pallet, &fixture, &circuit)
}

#[test]
fn no_closed_figure_of_sample_data_is_a_bare_value() {
    let folder = tempfile::tempdir().expect("a folder");
    let model = model(&checked(&sample(), &folder.path().join("r.xlsx")));
    let sheet = sheet_index(&model, "Circuits");
    let last = i32::try_from(verdicts(&model).len()).expect("a few rows") + 2;
    let headers: Vec<(i32, String)> = (1..70).map(|column| (column, text(&model, sheet, 2, column))).collect();
    let mut bare = Vec::new();
    for name in CLOSED {
        let found = headers.iter().filter(|(_, header)| header.starts_with(name)).min();
        let (column, header) = found.unwrap_or_else(|| panic!("no column {name}"));
        for row in 3..=last {
            let has_formula = model.get_cell_formula(sheet, row, *column).expect("a cell").is_some();
            // What is not asked of a kind of charging is a dash.
            let is_blank = ["", "-"].contains(&text(&model, sheet, row, *column).as_str());
            if !has_formula && !hangs_on_others(&model, sheet, row) && !is_blank {
                bare.push(format!("row {row}, {header}"));
            }
        }
    }
    assert!(bare.is_empty(), "{} bare values: {}", bare.len(), bare.join("; "));
}

#[test]
fn two_runs_give_the_same_bytes() {
    let folder = tempfile::tempdir().expect("a folder");
    let both = ["one.xlsx", "two.xlsx"].map(|name| checked(&sample(), &folder.path().join(name)));
    assert!(both[0] == both[1]);
}

fn sheets(path: &Path) -> BTreeMap<String, Range<Data>> {
    let mut book: Xlsx<_> = open_workbook(path).expect("a readable workbook");
    book.worksheets().into_iter().collect()
}

#[test]
fn past_the_bounds_lines_holds_only_remarks_and_circuits_only_values() {
    let folder = tempfile::tempdir().expect("a folder");
    checked(&sample(), &folder.path().join("whole.xlsx"));
    let plant = changed(folder.path(), |policy| policy + "\n[bounds]\nlines_rows = 50\nformula_rows = 10\n");
    let out = folder.path().join("r.xlsx");
    let bytes = checked(&plant, &out);
    let (whole, small) = (sheets(&folder.path().join("whole.xlsx")), sheets(&out));
    let rows = |book: &BTreeMap<String, Range<Data>>| -> Vec<String> {
        let lines = book["Lines"].rows().skip(2);
        // File, sheet and row, with the remarks.
        lines.map(|row| row[..4].iter().map(ToString::to_string).collect::<Vec<_>>().join("|")).collect()
    };
    let (all, kept) = (rows(&whole), rows(&small));
    let remarked: Vec<&String> = all.iter().filter(|row| !row.ends_with('|')).collect();
    // One on a line, and one that names a row for its whole circuit.
    for subject in [Subject::Line, Subject::Circuit] {
        let codes = |row: &str| -> Vec<String> {
            let remarks = row.rsplit('|').next().unwrap_or_default();
            remarks.split(";\n").filter_map(|remark| remark.split(' ').next()).map(str::to_owned).collect()
        };
        let is_of = |code: &String| rule(code).is_some_and(|rule| rule.subject == subject);
        assert!(remarked.iter().any(|row| codes(row).iter().all(is_of)), "no row has findings on a {subject:?} alone");
    }
    assert!(!remarked.is_empty());
    assert!(kept.len() < all.len());
    for row in remarked {
        assert!(kept.contains(row), "a line with a remark is left out: {row}");
    }
    let left_out = (all.len() - kept.len()).to_string();
    let says = |sheet: &str| small[sheet].rows().flatten().any(|cell| cell.to_string().contains(&left_out));
    assert!(says("Summary") && says("Lines"), "{left_out} lines are left out and nobody says so");
    let model = model(&bytes);
    let circuits = sheet_index(&model, "Circuits");
    assert!(formula_values(&model).keys().all(|at| at.0 != circuits));
    assert_eq!(
        verdicts(&model),
        verdicts(&self::model(&fs::read(folder.path().join("whole.xlsx")).expect("a workbook")))
    );
}

/// The coupling of one circuit states no leak (see the sample plant's story): what is not assessed
/// there names that part, not just the figure.
#[test]
fn what_is_not_assessed_names_the_missing_datum() {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("r.xlsx");
    checked(&sample(), &out);
    let sheets = sheets(&out);
    // A sentence goes on in the row below.
    let told: Vec<String> = sheets["Summary"].rows().flatten().map(ToString::to_string).collect();
    let told = told.join(" ");
    let told = told.split("T06 / vane / 4: ").nth(1).expect("the circuit on Summary");
    assert!(told.split(" / ").next().is_some_and(|told| told.contains("states no leak")), "{told}");
}

/// The columns of a sheet that are as wide as stated, by the sheet's place in the book.
fn column_width(bytes: &[u8], sheet: usize, column: usize) -> f64 {
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).expect("a zip archive");
    let mut xml = String::new();
    let part = format!("xl/worksheets/sheet{}.xml", sheet + 1);
    std::io::Read::read_to_string(&mut archive.by_name(&part).expect("the sheet"), &mut xml).expect("XML text");
    let start = format!("<col min=\"{column}\" max=\"{column}\" width=\"");
    let rest = xml.split(&start).nth(1).expect("a width");
    rest.split('"').next().expect("a number").parse().expect("a number")
}

/// A number in the general format shows as ### where its column is too narrow for all its digits.
#[test]
fn every_value_of_basis_fits_its_column() {
    let folder = tempfile::tempdir().expect("a folder");
    for units in ["metric", "us"] {
        let plant = changed(folder.path(), |policy| {
            policy.replace("units = \"metric\"", &format!("units = \"{units}\"")) + "\n"
        });
        let out = folder.path().join(format!("{units}.xlsx"));
        let bytes = checked(&plant, &out);
        let mut book: Xlsx<_> = open_workbook(&out).expect("a readable workbook");
        let at = book.sheet_names().iter().position(|name| name == "Basis").expect("the sheet Basis");
        let width = column_width(&bytes, at, 2);
        let basis = book.worksheet_range("Basis").expect("the sheet Basis");
        let numbers: Vec<String> =
            basis.rows().filter(|row| row[1].is_float() || row[1].is_int()).map(|row| row[1].to_string()).collect();
        assert!(numbers.len() > 20);
        for number in numbers {
            // A bracket's width is left free at the right, and a letter's at both sides.
            assert!(
                f64::from(u8::try_from(number.len()).expect("a short text")) + 3.0 <= width,
                "{number} in {units} units, in a column of {width}"
            );
        }
    }
}

/// Codes on a card tell what to look up: each once.
#[test]
fn a_card_names_each_rule_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let cards = folder.path().join("cards.xlsx");
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .args(["check", sample().to_str().expect("a path"), "--quiet", "--cards"])
        .arg(&cards)
        .output()
        .expect("the program");
    assert_eq!(output.status.code(), Some(1));
    let mut named = 0;
    for (pallet, range) in sheets(&cards) {
        for text in range.rows().flatten().map(ToString::to_string).filter(|text| text.starts_with("DO NOT USE")) {
            let codes: Vec<&str> = text.split(['(', ')']).nth(1).expect("codes in brackets").split(", ").collect();
            let once: std::collections::BTreeSet<&&str> = codes.iter().collect();
            assert_eq!(codes.len(), once.len(), "{pallet}: {text}");
            named += codes.len();
        }
    }
    assert!(named > 10, "{named} codes on the cards");
}

/// Whether a pallet may travel stands before all else, as its circuits' verdicts have it, and what a trapped circuit's
/// readings rest on stands with them.
#[test]
fn a_card_says_first_whether_its_pallet_may_travel() {
    let folder = tempfile::tempdir().expect("a folder");
    let (cards, data) = (folder.path().join("cards.xlsx"), folder.path().join("data"));
    let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
    command
        .args(["check", sample().to_str().expect("a path"), "--quiet", "--cards"])
        .arg(&cards)
        .arg("--data")
        .arg(&data);
    assert_eq!(command.output().expect("the program").status.code(), Some(1));
    let mut verdicts: std::collections::BTreeMap<String, Vec<String>> = std::collections::BTreeMap::new();
    let mut rows = csv::Reader::from_path(data.join("circuits.csv")).expect("circuits.csv");
    for row in rows.records().map(|row| row.expect("a row")) {
        verdicts.entry(row[1].to_owned()).or_default().push(row[4].to_owned());
    }
    let mut said = std::collections::BTreeSet::new();
    for (pallet, range) in sheets(&cards) {
        let texts: Vec<String> = range.rows().map(|row| row[0].to_string()).collect();
        let of = &verdicts[&pallet];
        let expected = if of.iter().any(|verdict| verdict == "does not conform") {
            "THIS PALLET MUST NOT TRAVEL."
        } else if of.iter().any(|verdict| verdict == "not assessed")
            || texts.iter().any(|text| text.contains("can't show at every temperature"))
        {
            // Settled pressure less what the gauge may err by is not enough.
            "TRAVELS ONLY AS THE ENGINEER ALLOWS."
        } else {
            "May travel once charged as below, each gauge within its readings."
        };
        assert_eq!(texts[2], expected, "{pallet}");
        said.insert(expected);
        for text in texts.iter().filter(|text| text.contains("Gauge just after charging")) {
            assert!(text.contains(": Charge at 2"), "{pallet}: {text}");
        }
    }
    assert_eq!(said.len(), 2, "{said:?}");
}
