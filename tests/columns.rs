//! Each column of each table is read, in every form that a table may have; compared where a row comes twice; written
//! into the starter; documented; and used. A column that lacks one of these is named.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::fs::{self, File};
use std::path::Path;
use std::process::Command;

use chrono::NaiveDate;
use clampbook::physics::unit::UnitSystem;
use clampbook::read::{Reading, open};
use clampbook::report::starter::{self, Form};
use clampbook::tables::column::{Column, Holds, Table};
use polars::prelude::{Column as Typed, DataFrame, ParquetWriter};
use rust_xlsxwriter::Workbook;

/// Carried along for who reads the list, and looked at by nothing.
fn is_for_readers(table: Table, column: &Column) -> bool {
    table == Table::Lists && column.name == "note"
}

/// Two texts that say different things in a column.
fn two_texts(column: &Column) -> [String; 2] {
    let two = |one: &str, other: &str| [one.to_owned(), other.to_owned()];
    match column.holds {
        _ if column.name == "rule" => two("P05", "P06"),
        Holds::Text => two("one", "other"),
        Holds::PartNo => two("A-1", "A-2"),
        Holds::Number | Holds::Quantity(..) | Holds::Temperature => two("2", "3"),
        Holds::Share | Holds::PerLength => two("0.25", "0.5"),
        Holds::Money => two("12.5", "13.25"),
        Holds::Date => two("2026-03-01", "2026-03-02"),
        Holds::Word(words) | Holds::Words(words) => two(words[0], words[1]),
    }
}

/// What a row can't do without, and what keeps its circuit known.
fn other_cells(table: Table) -> Vec<(&'static str, String)> {
    let cells: &[(&str, &str)] = match table {
        Table::Lists => &[("fixture", "F"), ("part_no", "A-1"), ("qty", "1")],
        Table::Components => &[("part_no", "A-1"), ("kind", "pump")],
        Table::Circuits => &[("fixture", "F"), ("circuit", "1")],
        Table::Stations => &[("station", "S")],
        Table::Orders => &[("part_no", "A-1"), ("qty", "1")],
        Table::Waivers => &[("rule", "P05"), ("reason", "r"), ("approved_by", "a"), ("expires", "2026-01-01")],
    };
    cells.iter().map(|(name, text)| (*name, (*text).to_owned())).collect()
}

/// A row with a text in one column.
fn with(table: Table, column: &'static str, text: &str) -> Vec<(&'static str, String)> {
    let mut cells = other_cells(table);
    cells.retain(|(name, _)| *name != column);
    cells.push((column, text.to_owned()));
    cells
}

#[derive(Clone, Copy, Debug)]
enum Ending {
    Csv,
    Xlsx,
    Parquet,
}

/// Writes rows of the same columns; numbers are numbers where the form knows them.
fn write(path: &Path, ending: Ending, rows: &[Vec<(&str, String)>]) {
    match ending {
        Ending::Csv => {
            let mut writer = csv::Writer::from_path(path.with_extension("csv")).unwrap();
            writer.write_record(rows[0].iter().map(|(name, _)| name)).unwrap();
            rows.iter().for_each(|row| writer.write_record(row.iter().map(|(_, text)| text)).unwrap());
            writer.flush().unwrap();
        }
        Ending::Xlsx => {
            let mut book = Workbook::new();
            let sheet = book.add_worksheet();
            for (at, (name, _)) in (0..).zip(&rows[0]) {
                sheet.write_string(0, at, *name).unwrap();
            }
            for (row, cells) in (1..).zip(rows) {
                for (at, (_, text)) in (0..).zip(cells) {
                    match text.parse::<f64>() {
                        Ok(number) => sheet.write_number(row, at, number).unwrap(),
                        Err(_) => sheet.write_string(row, at, text).unwrap(),
                    };
                }
            }
            book.save(path.with_extension("xlsx")).unwrap();
        }
        Ending::Parquet => {
            let column = |at: usize| {
                let (name, texts) = (rows[0][at].0, rows.iter().map(|row| row[at].1.as_str()));
                match texts.clone().map(str::parse).collect::<Result<Vec<f64>, _>>() {
                    Ok(numbers) => Typed::new(name.into(), numbers),
                    Err(_) => Typed::new(name.into(), texts.collect::<Vec<_>>()),
                }
            };
            let mut frame = DataFrame::new(rows.len(), (0..rows[0].len()).map(column).collect()).unwrap();
            ParquetWriter::new(File::create(path.with_extension("parquet")).unwrap()).finish(&mut frame).unwrap();
        }
    }
}

/// A plant with these rows in one of its tables, read.
fn read(table: Table, ending: Ending, rows: &[Vec<(&str, String)>]) -> Reading {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    let path = |table: Table| match table {
        Table::Lists => folder.path().join("lists/a"),
        other => folder.path().join(other.word()),
    };
    for needed in [Table::Components, Table::Lists] {
        let rows = match needed {
            // Both numbers that a list or a station may name.
            Table::Components => vec![with(needed, "part_no", "A-1"), with(needed, "part_no", "A-2")],
            other => vec![other_cells(other)],
        };
        if needed != table {
            write(&path(needed), Ending::Csv, &rows);
        }
    }
    write(&path(table), ending, rows);
    open(folder.path(), None, NaiveDate::default()).unwrap()
}

/// All that was read of the table, without the numbers of its rows, and the columns that can't be read.
fn said(table: Table, reading: &Reading) -> String {
    let plant = &reading.plant;
    match table {
        Table::Lists => {
            let circuit = &reading.lists.circuits().next().unwrap();
            format!("{:?} {:?}", circuit.key, reading.lists.lines(0).unwrap().lines)
        }
        Table::Components => format!("{:?}", plant.components),
        Table::Circuits => format!("{:?}", plant.services),
        Table::Stations => format!("{:?}", plant.stations),
        Table::Orders => format!("{:?}", plant.orders),
        Table::Waivers => format!("{:?}", plant.waivers),
    }
}

/// Every column with its table, and what is amiss with it.
fn amiss(look: impl Fn(Table, &'static Column) -> Option<String>) -> Vec<String> {
    let all = Table::ALL.iter().flat_map(|table| table.columns().iter().map(|column| (*table, column)));
    all.filter_map(|(table, column)| Some(format!("{} of {}: {}", column.name, table.word(), look(table, column)?)))
        .collect()
}

fn assert_none(amiss: &[String]) {
    assert!(amiss.is_empty(), "\n{}", amiss.join("\n"));
}

#[test]
fn each_is_read() {
    assert_none(&amiss(|table, column| {
        let [one, other] =
            two_texts(column).map(|text| said(table, &read(table, Ending::Csv, &[with(table, column.name, &text)])));
        (one == other && !is_for_readers(table, column)).then(|| {
            let place = if table == Table::Lists { "src/read/lists/line.rs" } else { "src/tables/column.rs" };
            format!("two texts in its cells read alike; {place} is to read it.")
        })
    }));
}

#[test]
fn each_that_is_no_text_tells_a_cell_that_it_can_not_read() {
    assert_none(&amiss(|table, column| {
        let is_text = matches!(column.holds, Holds::Text | Holds::PartNo);
        // What can't be read there has a rule of its own.
        let is_quantity_of_a_line = table == Table::Lists && column.name == "qty";
        if is_text || is_quantity_of_a_line {
            return None;
        }
        let reading = read(table, Ending::Csv, &[with(table, column.name, "?x?")]);
        let is_told = said(table, &reading).contains(&format!("CellFault {{ column: \"{}\"", column.name));
        (!is_told).then(|| "'?x?' in a cell makes no fault of its row.".to_owned())
    }));
}

/// A table with all its columns says the same as CSV, as a workbook and as Parquet.
#[test]
fn each_reads_the_same_in_every_form() {
    for table in Table::ALL {
        let cells = table.columns().iter().map(|column| {
            let text = match column.name {
                // So that neither is at fault beside the other.
                "outer_diameter" | "temp_max" => "9".to_owned(),
                _ => two_texts(column)[0].clone(),
            };
            (column.name, text)
        });
        let row: Vec<(&str, String)> = cells.collect();
        let csv = said(*table, &read(*table, Ending::Csv, std::slice::from_ref(&row)));
        assert!(!csv.contains("CellFault"), "{csv}");
        for ending in [Ending::Xlsx, Ending::Parquet] {
            assert_eq!(csv, said(*table, &read(*table, ending, std::slice::from_ref(&row))), "{ending:?}");
        }
    }
}

/// Of parts, circuits and stations: two rows of one key that differ in this column alone.
#[test]
fn each_is_compared_where_a_row_comes_twice() {
    let keys = ["part_no", "plant", "pallet", "fixture", "circuit", "station"];
    assert_none(&amiss(|table, column| {
        let is_key = keys.contains(&column.name) && !(table == Table::Circuits && column.name == "station");
        if is_key || !matches!(table, Table::Components | Table::Circuits | Table::Stations) {
            return None;
        }
        let rows = two_texts(column).map(|text| with(table, column.name, &text));
        let reading = read(table, Ending::Csv, &rows);
        let found = if table == Table::Components {
            reading.plant.repeated_parts.iter().flat_map(|part| part.differing.clone()).collect::<Vec<_>>().join(" ")
        } else {
            let told = reading.plant.notes.iter().filter(|note| note.message.contains("already, with"));
            let told: String = told.map(|note| note.message.clone()).collect();
            if told.contains(column.name) { column.name.to_owned() } else { told }
        };
        (found != column.name).then(|| format!("two rows that differ in it alone are told to differ in '{found}'."))
    }));
}

#[test]
fn each_is_written_into_the_starter() {
    for units in [UnitSystem::Metric, UnitSystem::Us] {
        let files = starter::files(Form::Csv, units).unwrap();
        let book = starter::files(Form::Workbook, units).unwrap();
        let mut book = zip::ZipArchive::new(std::io::Cursor::new(book[0].1.clone())).unwrap();
        let shared = std::io::read_to_string(book.by_name("xl/sharedStrings.xml").unwrap()).unwrap();
        assert_none(&amiss(|table, column| {
            let name = if table == Table::Lists { "lists/example".to_owned() } else { table.word().to_owned() };
            let (_, csv) = files.iter().find(|(path, _)| path.with_extension("") == Path::new(&name)).unwrap();
            let head = String::from_utf8_lossy(csv).lines().next().unwrap().trim_start_matches('\u{feff}').to_owned();
            let is_it = |header: &str| header.split(" [").next() == Some(column.name);
            let in_book =
                shared.contains(&format!(">{}<", column.name)) || shared.contains(&format!(">{} [", column.name));
            (!head.split(',').any(is_it) || !in_book).then(|| format!("no header of it in the starter ({units:?})."))
        }));
    }
}

#[test]
fn each_is_documented() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let told = Command::new(env!("CARGO_BIN_EXE_clampbook")).arg("columns").output().unwrap();
    let told = String::from_utf8(told.stdout).unwrap();
    assert_none(&amiss(|table, column| {
        let section = readme.split("\n### ").find(|part| part.lines().next().unwrap().contains(table.word()));
        let row = format!("| `{}` |", column.name);
        if !section.unwrap().lines().any(|line| line.starts_with(&row)) {
            return Some(
                "no row of it in README.md; `UPDATE_README=1 cargo test --release --test readme` writes it.".to_owned(),
            );
        }
        let is_told = told.lines().any(|line| line.starts_with(&format!("  {}:", column.name)));
        (!is_told).then(|| "`clampbook columns` does not show it.".to_owned())
    }));
}

/// Sources in which a column is put to use: neither described, nor read, nor part of the example.
fn uses(folder: &Path, texts: &mut String) {
    for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            if !["starter", "headers"].contains(&name.as_str()) {
                uses(&path, texts);
            }
        } else if path.extension().is_some_and(|ending| ending == "rs")
            && !["tests.rs", "trios.rs", "test_circuit.rs"].contains(&name.as_str())
        {
            let source = fs::read_to_string(&path).unwrap();
            let shipped = source.lines().take_while(|line| !line.starts_with("mod tests {"));
            shipped
                .filter(|line| !line.trim_start().starts_with("//"))
                .for_each(|line| *texts += &(line.to_owned() + "\n"));
        }
    }
}

/// Whether a field of this name is looked at somewhere; that of another struct counts, too.
fn is_used(texts: &str, name: &str) -> bool {
    texts.match_indices(&format!(".{name}")).any(|(at, found)| {
        let next = texts[at + found.len()..].chars().next();
        !next.is_some_and(|letter| letter.is_alphanumeric() || letter == '_' || letter == '(')
    })
}

#[test]
fn each_is_used() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut texts = String::new();
    for floor in ["tables", "rules", "circuit", "remedy", "audit", "report"] {
        uses(&src.join(floor), &mut texts);
    }
    assert_none(&amiss(|table, column| {
        (!is_for_readers(table, column) && !is_used(&texts, column.name)).then(|| {
            format!(
                "nothing looks at the field `{}`; use it, or take its line out of src/tables/column.rs.",
                column.name
            )
        })
    }));
}

#[test]
fn a_column_that_nothing_uses_is_seen() {
    let texts = "let a = part.rated_pressure;\nlet b = part.flow_high.map(f);\npart.capacity()";
    assert!(is_used(texts, "rated_pressure") && is_used(texts, "flow_high"));
    assert!(!is_used(texts, "flow") && !is_used(texts, "capacity"));
}
