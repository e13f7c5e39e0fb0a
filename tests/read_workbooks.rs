//! Workbooks as people save them.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

use std::io::Write as _;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::read::{Reading, open, sentence};
use clampbook::tables::circuit::CircuitKey;
use clampbook::tables::line::{Cell, Line, PartRef};
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook, Worksheet};

const COMPONENTS: &str = "part_no,kind,rated_pressure [bar],inner_diameter,outer_diameter\nCL-1,clamp,350,,\nTB-1,tube,400,4,6\n007,gauge,400,,\n";

fn write(folder: &Path, name: &str, text: impl AsRef<[u8]>) {
    let path = folder.join(name);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, text).unwrap();
}

fn rows(sheet: &mut Worksheet, from: u32, rows: &[&[&str]]) {
    for (row, cells) in (from..).zip(rows) {
        for (column, text) in (0..).zip(*cells) {
            match text.parse::<f64>() {
                Ok(number) => sheet.write_number(row, column, number).unwrap(),
                Err(_) => sheet.write_string(row, column, *text).unwrap(),
            };
        }
    }
}

fn read(folder: &Path) -> Reading {
    open(folder, None, NaiveDate::from_ymd_opt(2026, 3, 31).unwrap()).unwrap()
}

fn error(folder: &Path) -> String {
    open(folder, None, NaiveDate::default()).unwrap_err().to_string()
}

fn all_lines(reading: &Reading) -> Vec<(CircuitKey, Line)> {
    let circuits = reading.lists.circuits().enumerate();
    circuits
        .flat_map(|(index, circuit)| {
            reading.lists.lines(index).unwrap().lines.into_iter().map(move |line| (circuit.key.clone(), line))
        })
        .collect()
}

fn notes(reading: &Reading) -> Vec<String> {
    let mut notes = reading.plant.notes.clone();
    for index in 0..reading.lists.circuits().len() {
        notes.extend(reading.lists.lines(index).unwrap().notes);
    }
    notes.iter().map(|note| sentence(note, &reading.plant.sources)).collect()
}

#[test]
fn a_list_below_titles_with_units_row_hidden_parts_and_total_is_read() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Fixture 12").unwrap();
    rows(
        sheet,
        0,
        &[&["Clamps of fixture 12"], &[], &["", "Fixture", "Part No.", "Qty", "Length"], &["", "", "", "", "[m]"]],
    );
    rows(sheet, 4, &[&["", "F12", "TB-1", "2", "1.5"], &["", "F12", "CL-1", "4"], &["", "Total", "", "6"]]);
    sheet.write_string(5, 4, "12 mm").unwrap();
    sheet.set_row_hidden(5).unwrap();
    sheet.set_column_hidden(4).unwrap();
    sheet.merge_range(0, 0, 0, 4, "Clamps of fixture 12", &Format::new()).unwrap();
    let other = book.add_worksheet().set_name("Contents").unwrap();
    rows(other, 0, &[&["Sheet", "What"], &["Fixture 12", "clamps"]]);
    let hidden = book.add_worksheet().set_name("Spare").unwrap();
    rows(hidden, 0, &[&["part_no", "qty"], &["CL-1", "1"]]);
    hidden.set_hidden(true);
    write(folder.path(), "lists/line 3.xlsx", book.save_to_buffer().unwrap());
    let reading = read(folder.path());
    let lines = all_lines(&reading);
    let seen: Vec<String> = lines
        .iter()
        .map(|(key, line)| format!("{key}: row {} {:?} {:?} {:?}", line.origin.row, line.part, line.qty, line.length))
        .collect();
    assert_eq!(
        seen,
        [
            "F12 / 1: row 5 Known(1) Value(2.0) Value(Length(1.5))",
            "F12 / 1: row 6 Known(0) Value(4.0) Value(Length(0.012))",
            "line 3 / 1: row 2 Known(0) Value(1.0) Blank",
        ]
    );
    let remarks: Vec<String> = reading
        .plant
        .sources
        .iter()
        .map(|source| {
            format!("{}: {} {} {}", source.place(), source.rows_read, source.rows_skipped, source.remarks.join(" "))
        })
        .collect();
    assert_eq!(
        remarks,
        [
            "components.csv: 3 0 ",
            "lists/line 3.xlsx, sheet 'Fixture 12': 5 3 1 hidden row and 1 hidden column were read.",
            "lists/line 3.xlsx, sheet 'Contents': 0 0 It has no header with part_no and qty and is no list; it was not read.",
            "lists/line 3.xlsx, sheet 'Spare': 1 0 The sheet is hidden; it was read.",
        ]
    );
}

#[test]
fn cells_of_a_sheet_are_what_they_are() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    rows(
        sheet,
        0,
        &[
            &["part_no", "qty", "length", "position", "note"],
            &["7", "1"],
            &["CL-1"],
            &["CL-1", "3"],
            &["TB-1", "1"],
            &["TB-1", "1"],
        ],
    );
    let day = ExcelDateTime::from_ymd(2026, 1, 2).unwrap();
    let date = Format::new().set_num_format("yyyy-mm-dd");
    sheet.write_datetime_with_format(1, 3, &day, &date).unwrap();
    sheet.write_string(2, 1, "2").unwrap();
    sheet.write_number(2, 3, 1.0).unwrap();
    sheet.write_datetime_with_format(3, 2, &day, &date).unwrap();
    sheet.write_formula(4, 2, Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
    sheet.write_formula(5, 2, Formula::new("=A1").set_result("63,5")).unwrap();
    sheet.write_datetime_with_format(6, 0, &day, &date).unwrap();
    sheet.write_number(6, 1, 1.0).unwrap();
    write(folder.path(), "lists/a.xlsx", book.save_to_buffer().unwrap());
    let reading = read(folder.path());
    let lines = all_lines(&reading);
    assert_eq!(lines.len(), 6);
    let line = |index: usize| &lines[index].1;
    assert!(matches!(&line(0).part, PartRef::Altered(found) if found.likely.as_deref() == Some("007")));
    assert_eq!(
        (line(0).position.as_str(), line(1).position.as_str(), line(1).qty),
        ("2026-01-02", "1", Cell::Value(2.0))
    );
    assert_eq!((line(2).length, line(2).qty), (Cell::Unreadable, Cell::Value(3.0)));
    assert_eq!(line(3).length, Cell::Unreadable);
    assert!(matches!(line(4).length, Cell::Value(length) if (length.mm() - 63.5).abs() < 1e-9));
    assert!(matches!(&line(5).part, PartRef::Altered(found) if found.looks_like == "a date"));
    assert_eq!(
        notes(&reading),
        [
            "lists/a.xlsx, sheet 'Sheet1', cell A2 (part_no): found '7'. Expected a part number; this looks like a number that lost its zeros. It may have been '007'. The line was set aside.",
            "lists/a.xlsx, sheet 'Sheet1', cell D2 (position): found '2026-01-02'. Expected text; the cell holds a date. It was read as the date's text.",
            "lists/a.xlsx, sheet 'Sheet1', cell C4 (length): found '2026-01-02'. Expected a length such as '63.5 mm'. The line was set aside.",
            "lists/a.xlsx, sheet 'Sheet1', cell C5 (length): found '#DIV/0!'. Expected a length such as '63.5 mm'. The line was set aside.",
            "lists/a.xlsx, sheet 'Sheet1', cell A7 (part_no): found '2026-01-02'. Expected a part number; this looks like a date. No part number of the table explains it. The line was set aside.",
        ]
    );
}

#[test]
fn one_workbook_stands_for_a_plant() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = Workbook::new();
    rows(
        book.add_worksheet().set_name("Lists").unwrap(),
        0,
        &[&["fixture", "part no", "qty"], &["F1", "CL-1", "2"], &["F2", "CL-1", "1"]],
    );
    rows(
        book.add_worksheet().set_name("components").unwrap(),
        0,
        &[&["part_no", "kind", "rated_pressure (psi)"], &["CL-1", "clamp", "5000"]],
    );
    rows(book.add_worksheet().set_name("stations").unwrap(), 0, &[&["station", "pump"], &["S1", "CL-1"]]);
    rows(book.add_worksheet().set_name("scratch").unwrap(), 0, &[&["x"]]);
    write(folder.path(), "plant.xlsx", book.save_to_buffer().unwrap());
    write(folder.path(), "policy.toml", "units = 'us'\n");
    for path in [folder.path().to_owned(), folder.path().join("plant.xlsx")] {
        let reading = read(&path);
        assert_eq!(reading.lists.circuits().len(), 2);
        assert!(
            reading.plant.components[0].rated_pressure.is_some_and(|pressure| (pressure.psi() - 5000.0).abs() < 1e-9)
        );
        assert_eq!(reading.plant.stations[0].pump.index(), Some(0));
    }
}

#[test]
fn a_workbook_that_is_none_is_said_so() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    let mut encrypted = vec![0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
    encrypted.extend("EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes));
    write(folder.path(), "lists/a.xlsx", encrypted);
    write(folder.path(), "lists/b.xlsx", [0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1, 0, 0]);
    write(folder.path(), "lists/c.xls", [0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1, 0, 0]);
    let mut book = Workbook::new();
    rows(book.add_worksheet(), 0, &[&["part_no", "qty"], &["CL-1", "1"]]);
    let whole = book.save_to_buffer().unwrap();
    write(folder.path(), "lists/d.ods", &whole);
    write(folder.path(), "lists/e.xlsx", &whole[..whole.len() / 2]);
    assert_eq!(
        error(folder.path()).lines().collect::<Vec<_>>(),
        [
            "lists/a.xlsx: the workbook is protected by a password; save it without one.",
            "lists/b.xlsx: by its content the file is an older workbook (.xls), not what its ending .xlsx says.",
            "lists/c.xls: the workbook is truncated, damaged or not what its ending says.",
            "lists/d.ods: by its content the file is a workbook of the kind .xlsx, not what its ending .ods says.",
            "lists/e.xlsx: the workbook is truncated or damaged: its parts can't be unpacked.",
        ]
    );
}

/// A small open-document workbook.
fn ods(rows: &str) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    archive.start_file("mimetype", options).unwrap();
    archive.write_all(b"application/vnd.oasis.opendocument.spreadsheet").unwrap();
    archive.start_file("META-INF/manifest.xml", options).unwrap();
    archive.write_all(b"<?xml version=\"1.0\"?><manifest:manifest xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\"/>").unwrap();
    archive.start_file("content.xml", options).unwrap();
    let head = "<?xml version=\"1.0\"?><office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"Clamps\">";
    write!(archive, "{head}{rows}</table:table></office:spreadsheet></office:body></office:document-content>").unwrap();
    archive.finish().unwrap().into_inner()
}

fn text_cell(text: &str) -> String {
    format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
}

#[test]
fn an_open_document_with_endless_empty_rows_costs_nothing() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    let header = format!("<table:table-row>{}{}</table:table-row>", text_cell("part_no"), text_cell("qty"));
    let line = format!(
        "<table:table-row table:visibility=\"collapse\">{}<table:table-cell office:value-type=\"float\" office:value=\"2\"/><table:table-cell table:number-columns-repeated=\"16382\"/></table:table-row>",
        text_cell("CL-1")
    );
    let tail = "<table:table-row table:number-rows-repeated=\"1048574\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>";
    write(folder.path(), "lists/a.ods", ods(&format!("{header}{line}{tail}")));
    let reading = read(folder.path());
    let lines = all_lines(&reading);
    assert_eq!((lines.len(), lines[0].1.qty, lines[0].1.part.clone()), (1, Cell::Value(2.0), PartRef::Known(0)));
    assert_eq!(reading.plant.sources[1].remarks, ["1 hidden row was read."]);
    let wide = format!(
        "{header}<table:table-row table:number-rows-repeated=\"1000000\">{}</table:table-row>",
        text_cell("x").repeat(40)
    );
    write(folder.path(), "lists/a.ods", ods(&wide));
    assert_eq!(
        error(folder.path()),
        "lists/a.ods: repeated rows or columns on a sheet come to more than 5,000,000 cells when written out; clear what repeats outside the table, or save it as CSV."
    );
}

#[test]
fn the_bounds_of_the_policy_hold_for_workbooks() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    write(folder.path(), "policy.toml", "[bounds]\ncolumns = 8\ncell_chars = 20\n");
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    rows(sheet, 0, &[&["part_no", "qty"], &["CL-1", "1"]]);
    sheet.write_number(1, 30, 1.0).unwrap();
    write(folder.path(), "lists/a.xlsx", book.save_to_buffer().unwrap());
    let mut book = Workbook::new();
    rows(
        book.add_worksheet(),
        0,
        &[&["part_no", "qty", "note"], &["CL-1", "1", "this note is longer than twenty letters"]],
    );
    write(folder.path(), "lists/b.xlsx", book.save_to_buffer().unwrap());
    assert_eq!(
        error(folder.path()).lines().collect::<Vec<_>>(),
        [
            "lists/a.xlsx, sheet 'Sheet1', row 2: a cell stands in column 31, more than the 8 that [bounds] columns of the policy allows.",
            "lists/b.xlsx, sheet 'Sheet1', row 2: a cell has 39 characters, more than the 20 characters that [bounds] cell_chars of the policy allows.",
        ]
    );
}

#[test]
fn cells_left_of_a_table_are_noted() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "components.csv", COMPONENTS);
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    rows(
        sheet,
        0,
        &[&["", "", "part_no", "qty"], &["", "", "CL-1", "1"], &["", "", "CL-1", "2"], &["", "", "CL-1", "3"]],
    );
    sheet.write_string(2, 1, "see drawing").unwrap();
    sheet.write_string(3, 0, "x").unwrap();
    write(folder.path(), "lists/a.xlsx", book.save_to_buffer().unwrap());
    let reading = read(folder.path());
    assert_eq!(all_lines(&reading).len(), 3);
    assert_eq!(
        notes(&reading),
        [
            "lists/a.xlsx, sheet 'Sheet1', cell B3: found 'see drawing'. It stands left of the table, which starts in column C. It and another cell there were read and not checked."
        ]
    );
}
