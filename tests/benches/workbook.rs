//! Writing a workbook of 1,500 circuits and 15,000 lines, and beside it, in the same run and in
//! turn, rust_xlsxwriter's bare writing of the same cells: no formats, no charts, no links.
//!
//! `cargo bench --bench workbook`
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout, reason = "a benchmark stops where it fails")]

#[path = "../specimen/audit.rs"]
#[allow(dead_code, reason = "what only tests of the workbook ask for")]
mod specimen;

use std::io::Cursor;
use std::time::{Duration, Instant};

use calamine::{Data, Reader, Xlsx};
use clampbook::audit::outcome::{Audit, ListedRow};
use clampbook::physics::unit::UnitSystem;
use clampbook::report::workbook::{WorkbookOptions, write};
use clampbook::tables::origin::{HeaderCell, Origin};
use rust_xlsxwriter::{Formula, Workbook};

/// Times that the specimen's circuits are repeated, each time on another pallet.
const PALLETS: usize = 100;
const LINES: u32 = 15_000;
const ROUNDS: usize = 9;

fn main() {
    let audit = audit();
    let cells = cells(&ours(&audit));
    let formulas = cells.iter().filter(|cell| matches!(cell.held, Held::Formula { .. })).count();
    println!("{} cells, {formulas} of them formulas", cells.len());
    let rounds: Vec<(Duration, Duration)> =
        (0..ROUNDS).map(|_| (timed(|| drop(ours(&audit))), timed(|| drop(bare(&cells))))).collect();
    let middle = |mut all: Vec<f64>| {
        all.sort_by(f64::total_cmp);
        all[all.len() / 2]
    };
    let of = |seconds: fn(&(Duration, Duration)) -> f64| middle(rounds.iter().map(seconds).collect());
    println!(
        "ours {:.3} s, bare {:.3} s, medians of {ROUNDS}",
        of(|pair| pair.0.as_secs_f64()),
        of(|pair| pair.1.as_secs_f64())
    );
    println!("ratio, the median of the pairs: {:.2}", of(|pair| pair.0.as_secs_f64() / pair.1.as_secs_f64()));
}

fn timed(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn audit() -> Audit {
    let mut audit = specimen::audit(0.90, UnitSystem::Metric);
    let circuits = std::mem::take(&mut audit.circuits);
    for pallet in 0..PALLETS {
        audit.circuits.extend(circuits.iter().cloned().map(|mut circuit| {
            circuit.circuit.key.pallet = format!("P{pallet}").into();
            let key = circuit.circuit.key.clone();
            circuit.findings.iter_mut().for_each(|finding| finding.place = key.clone());
            circuit
        }));
    }
    audit.findings = audit.circuits.iter().flat_map(|circuit| circuit.findings.clone()).collect();
    let names =
        ["plant", "pallet", "fixture", "circuit", "position", "part_no", "qty", "length", "stroke_used", "side"];
    let header = |(index, name): (u32, &'static str)| HeaderCell { index, text: name.to_owned(), column: Some(name) };
    audit.plant.sources[0].header = (0..).zip(names).map(header).collect();
    audit.listed = (0..LINES).map(listed).collect();
    audit
}

fn listed(line: u32) -> ListedRow {
    let fixture = line / 15;
    let (pallet, position, part) = (line / 150, line % 15 * 10, line % 50);
    let cells = format!("North,P{pallet},F{fixture},1,{position},CL-{part},1,,12.5,clamp");
    ListedRow {
        origin: Origin { source: 0, row: line + 2 },
        cells: cells.split(',').map(str::to_owned).collect(),
        place: None,
    }
}

fn ours(audit: &Audit) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    write(audit, &WorkbookOptions::default(), &mut out).unwrap();
    out.into_inner()
}

enum Held {
    Text(String),
    Number(f64),
    Formula { text: String, result: String },
}

/// A cell of a workbook; sheets by their place.
struct Cell {
    sheet: usize,
    row: u32,
    column: u16,
    held: Held,
}

/// All cells of a workbook, as another library reads them.
fn cells(bytes: &[u8]) -> Vec<Cell> {
    let mut book: Xlsx<_> = calamine::open_workbook_from_rs(Cursor::new(bytes)).unwrap();
    let mut cells = Vec::new();
    for (sheet, name) in book.sheet_names().into_iter().enumerate() {
        let range = book.worksheet_range(&name).unwrap();
        let formulas = book.worksheet_formula(&name).unwrap();
        let (top, left) = range.start().unwrap_or_default();
        for (row, column, value) in range.used_cells() {
            let place = (u32::try_from(row).unwrap() + top, u32::try_from(column).unwrap() + left);
            let formula = formulas.get_value(place).filter(|text| !text.is_empty());
            let held = match (formula, value) {
                (Some(text), value) => Held::Formula { text: text.clone(), result: value.to_string() },
                (None, Data::Float(number)) => Held::Number(*number),
                (None, value) => Held::Text(value.to_string()),
            };
            cells.push(Cell { sheet, row: place.0, column: u16::try_from(place.1).unwrap(), held });
        }
    }
    cells
}

fn bare(cells: &[Cell]) -> Vec<u8> {
    let mut book = Workbook::new();
    book.set_zip_compression_level(WorkbookOptions::default().compression);
    for _ in 0..=cells.last().map_or(0, |cell| cell.sheet) {
        book.add_worksheet();
    }
    for Cell { sheet, row, column, held } in cells {
        let sheet = book.worksheet_from_index(*sheet).unwrap();
        match held {
            Held::Text(text) => sheet.write_string(*row, *column, text).unwrap(),
            Held::Number(number) => sheet.write_number(*row, *column, *number).unwrap(),
            Held::Formula { text, result } => {
                sheet.write_formula(*row, *column, Formula::new(text).set_result(result.as_str())).unwrap()
            }
        };
    }
    let mut out = Cursor::new(Vec::new());
    book.save_to_writer(&mut out).unwrap();
    out.into_inner()
}
