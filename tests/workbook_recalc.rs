//! The workbook's live formulas, recalculated by an engine that knows nothing of this crate.
//!
//! `ironcalc` is the independent engine: it reads the file as any spreadsheet program would,
//! with its defined names, and evaluates every cell.

#![allow(clippy::expect_used, reason = "a test fails by it")]

#[path = "specimen/audit.rs"]
mod specimen;

use std::collections::BTreeMap;
use std::io::Cursor;

use clampbook::audit::outcome::Audit;
use clampbook::physics::unit::UnitSystem;
use clampbook::report::workbook::{WorkbookOptions, write};
use ironcalc::base::Model;
use ironcalc::base::cell::CellValue;
use ironcalc::import::load_from_xlsx_bytes;

fn workbook(audit: &Audit) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    write(audit, &WorkbookOptions::default(), &mut bytes).expect("a workbook");
    bytes.into_inner()
}

fn model(bytes: &[u8]) -> Model<'static> {
    let book = load_from_xlsx_bytes(bytes, "report", "en", "UTC").expect("a readable workbook");
    Model::from_workbook(book, "en").expect("a model")
}

/// Every formula cell with its value: sheet, row, column.
fn formula_values(model: &Model) -> BTreeMap<(u32, i32, i32), CellValue> {
    let mut values = BTreeMap::new();
    for cell in model.get_all_cells() {
        if model.get_cell_formula(cell.index, cell.row, cell.column).expect("a cell").is_some() {
            let value = model.get_cell_value_by_index(cell.index, cell.row, cell.column).expect("a value");
            values.insert((cell.index, cell.row, cell.column), value);
        }
    }
    values
}

fn is_same(one: &CellValue, other: &CellValue) -> bool {
    match (one, other) {
        // A difference of two volumes of some cm³ keeps 1e-12 of them, not of itself.
        (CellValue::Number(one), CellValue::Number(other)) => (one - other).abs() <= 1e-9 * other.abs() + 1e-12,
        (CellValue::String(one), CellValue::String(other)) => one == other,
        (CellValue::None, CellValue::String(text)) | (CellValue::String(text), CellValue::None) => text.is_empty(),
        (CellValue::None, CellValue::None) => true,
        _ => false,
    }
}

fn assert_recalculates(audit: &Audit) {
    let mut model = model(&workbook(audit));
    let cached = formula_values(&model);
    assert!(cached.len() > 20 * audit.circuits.len(), "{} formula cells only", cached.len());
    model.evaluate();
    for ((sheet, row, column), now) in formula_values(&model) {
        let before = &cached[&(sheet, row, column)];
        let formula = model.get_cell_formula(sheet, row, column).expect("a cell");
        assert!(
            is_same(&now, before),
            "sheet {sheet}, row {row}, column {column}: {now:?}, not {before:?}, by {formula:?}"
        );
    }
}

#[test]
fn every_formula_gives_what_the_run_found() {
    for units in [UnitSystem::Metric, UnitSystem::Us] {
        assert_recalculates(&specimen::audit(0.90, units));
    }
}

/// Verdicts by row of Circuits.
fn verdicts(model: &Model) -> Vec<CellValue> {
    let sheet = sheet_index(model, "Circuits");
    let cells: Vec<CellValue> = (3..1000)
        .map(|row| model.get_cell_value_by_index(sheet, row, 6).expect("a value"))
        .take_while(|value| !matches!(value, CellValue::None))
        .collect();
    assert!(cells.len() >= specimen::GIVEN.len());
    cells
}

fn sheet_index(model: &Model, name: &str) -> u32 {
    let sheets = model.get_worksheets_properties();
    let index = sheets.iter().position(|sheet| sheet.name == name).expect("the sheet");
    u32::try_from(index).expect("a small number")
}

/// The cell that a defined name stands for, row and column from 1.
fn named_row(model: &Model, name: &str) -> i32 {
    let names = model.get_defined_name_list();
    let (_, _, reference) = names.iter().find(|(known, _, _)| known == name).expect("the name");
    reference.rsplit('$').next().expect("a row").parse().expect("a number")
}

#[test]
fn a_changed_fill_limit_gives_the_verdicts_of_a_fresh_run() {
    let mut changed = model(&workbook(&specimen::audit(0.90, UnitSystem::Metric)));
    changed.evaluate();
    let before = verdicts(&changed);
    let basis = sheet_index(&changed, "Basis");
    let row = named_row(&changed, "limit_fill");
    changed.set_user_input(basis, row, 2, "0.80".to_owned()).expect("a new limit");
    changed.evaluate();
    let fresh = verdicts(&model(&workbook(&specimen::audit(0.80, UnitSystem::Metric))));
    let answered = verdicts(&changed);
    assert_ne!(before, fresh, "the limit changes no verdict: the test shows nothing");
    assert_eq!(answered, fresh);
}

#[test]
fn a_changed_bulk_modulus_asks_for_a_new_run() {
    let mut changed = model(&workbook(&specimen::audit(0.90, UnitSystem::Metric)));
    let basis = sheet_index(&changed, "Basis");
    let row = named_row(&changed, "bulk_modulus");
    changed.set_user_input(basis, row, 2, "1200000000".to_owned()).expect("a new modulus");
    changed.evaluate();
    let asks = |value: &CellValue| *value == CellValue::String("run again".to_owned());
    let answered = verdicts(&changed);
    assert!(asks(&answered[0]));
    assert!(!asks(answered.last().expect("a row")), "the last circuit has another fluid");
}
