//! Files that other people and programs made: each is read, or refused with a sentence.

#![allow(clippy::unwrap_used, clippy::expect_used)]

#[path = "child/ended.rs"]
mod ended;

use std::fs;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use chrono::NaiveDate;
use clampbook::read::{open, sentence};
use clampbook::tables::line::PartRef;
use ended::ended;

const COMPONENTS: &str = "part_no,kind,rated_pressure [bar],inner_diameter,outer_diameter\nCL-1,clamp,350,,\nTB-1,tube,400,4,6\n007,gauge,400,,\n";

fn foreign() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign")
}

fn files(folder: &str, endings: &[&str]) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> =
        fs::read_dir(foreign().join(folder)).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|ending| endings.iter().any(|known| ending == *known)));
    files.sort();
    files
}

/// Checks a plant with a file in the place of one of its tables; what was said.
fn checked(file: &Path, as_list: bool) -> (i32, String) {
    let folder = tempfile::tempdir().unwrap();
    let ending = file.extension().unwrap().to_str().unwrap();
    let plant = folder.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    let place = if as_list {
        fs::write(plant.join("components.csv"), COMPONENTS).unwrap();
        format!("lists/foreign.{ending}")
    } else {
        fs::write(plant.join("lists/a.csv"), "part_no,qty\nCL-1,1\n").unwrap();
        format!("components.{ending}")
    };
    fs::copy(file, plant.join(place)).unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .current_dir(folder.path())
        .args(["check", "plant", "--data", "data"])
        .stdout(Stdio::null())
        .stderr(fs::File::create(folder.path().join("said")).unwrap())
        .spawn()
        .unwrap();
    let status = ended(&mut child, Duration::from_secs(10));
    let status = status.unwrap_or_else(|| panic!("{} takes more than ten seconds", file.display()));
    (status.code().expect("it was not ended by a signal"), fs::read_to_string(folder.path().join("said")).unwrap())
}

#[test]
fn every_file_gives_a_table_or_a_sentence() {
    let mut all = files("csv-spectrum", &["csv"]);
    all.extend(files("libreoffice", &["xls", "xlsx", "ods"]));
    all.extend(files("npm-xlsx", &["xls", "xlsb"]));
    assert_eq!(all.len(), 12 + 7 + 3);
    for file in &all {
        for as_list in [true, false] {
            let (status, said) = checked(file, as_list);
            let place = if as_list { "lists/foreign" } else { "components" };
            assert!(!said.contains("panicked"), "{}: {said}", file.display());
            match status {
                0 | 1 => {}
                2 => assert!(said.contains(place) && said.trim_end().ends_with('.'), "{}: {said}", file.display()),
                other => panic!("{}: status {other}: {said}", file.display()),
            }
        }
    }
}

/// A plant whose lists are these files, by their names in its folder.
fn plant_of(lists: &[(&str, Vec<u8>)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    fs::write(folder.path().join("components.csv"), COMPONENTS).unwrap();
    for (name, bytes) in lists {
        fs::write(folder.path().join("lists").join(name), bytes).unwrap();
    }
    folder
}

/// The lines of a workbook as read, and what was said of its cells.
fn read(file: &Path) -> (Vec<String>, Vec<String>) {
    let ending = file.extension().unwrap().to_str().unwrap();
    read_lists(&[(&format!("a.{ending}"), fs::read(file).unwrap())])
}

fn read_lists(lists: &[(&str, Vec<u8>)]) -> (Vec<String>, Vec<String>) {
    let folder = plant_of(lists);
    let reading = open(folder.path(), None, NaiveDate::default()).unwrap();
    let (mut lines, mut notes) = (Vec::new(), reading.plant.notes.clone());
    for (index, circuit) in reading.lists.circuits().enumerate() {
        let parsed = reading.lists.lines(index).unwrap();
        for line in parsed.lines {
            let part = match &line.part {
                PartRef::Known(index) => reading.plant.components[*index as usize].part_no.clone(),
                PartRef::Altered(found) => format!("altered, {:?}", found.likely),
                other @ PartRef::Unknown(_) => format!("{other:?}"),
            };
            let qty = line.qty.value().map_or("-".to_owned(), |qty| qty.to_string());
            let length = line.length.value().map_or("-".to_owned(), |length| format!("{:.6}", length.mm()));
            lines.push(format!("{}, row {}: {} {part} {qty} {length}", circuit.key, line.origin.row, line.position));
        }
        notes.extend(parsed.notes);
    }
    (lines, notes.iter().map(|note| sentence(note, &reading.plant.sources)).collect())
}

#[test]
fn values_of_workbooks_are_those_that_were_written() {
    for file in files("libreoffice", &["xls", "xlsx", "ods"]) {
        let shown = file.display();
        let has_results = !file.ends_with("no-results.xlsx");
        let (lines, notes) = read(&file);
        let result = |text: &'static str| if has_results { text } else { "-" };
        assert_eq!(
            lines,
            [
                "F12 / 1, row 3: C1 CL-1 4 -".to_owned(),
                "F12 / 1, row 4: L1 TB-1 1 1234.500000".to_owned(),
                format!("F12 / 1, row 5: 2026-01-02 TB-1 {} {}", result("2"), result("2469.000000")),
                "F12 / 1, row 6: L3 TB-1 2 1500.000000".to_owned(),
                "F12 / 1, row 7: L4 TB-1 1 -".to_owned(),
                "F12 / 2, row 8: G 007 1 -".to_owned(),
                "F12 / 2, row 9: G altered, Some(\"007\") 1 -".to_owned(),
                format!("F12 / 2, row 10: L5 TB-1 1 {}", result("1234.800000")),
            ],
            "{shown}"
        );
        for said in ["(position): found '2026-01-02'", "(part_no): found '7'"] {
            assert!(notes.iter().any(|note| note.contains(said)), "{shown}: {said} is not in {notes:#?}");
        }
        // The date in the note column, which is text, and the fault of the formula.
        assert!(notes.iter().any(|note| note.contains("(note): found '2026-03-31'")), "{shown}: {notes:#?}");
        let fault = if has_results { "(length): found '#DIV/0!'" } else { "(length): found '=1/0'" };
        assert!(notes.iter().any(|note| note.contains(fault)), "{shown}: {notes:#?}");
    }
}

/// The lists of the binary workbooks as someone would have saved them as text.
const LIST_12: &str = "Clamps of fixture 12,,,,,,\n\
    Drawing,D-4711,rev. 3,,,,\n\
    ,,,,,,\n\
    Fixture,Circuit,Position,Part No.,Qty,Length,Note\n\
    ,,,,,mm,\n\
    F12,1,C1,CL-1,4,,Höhe prüfen\n\
    F12,1,L1,TB-1,1,1234.5,\n\
    F12,1,2026-01-02,TB-1,2,63.5,\n\
    F12,1,L3,TB-1,1,#N/A,\n\
    F12,1,L4,TB-1,2,1.5 m,\n\
    F12,2,G,007,1,,\n\
    F12,2,G,7,1,,\n\
    Total,,,,12,,\n";
const LIST_13: &str = "Fixture,Circuit,Position,Part No.,Qty,Length [in]\nF13,1,C1,CL-1,2,\nF13,1,L1,TB-1,1,12.25\n";

/// What a note says, without the place, which is told by cell or by row.
fn said_of_cells(notes: &[String]) -> Vec<&str> {
    notes
        .iter()
        .map(|note| note.split_once(": found").unwrap_or_else(|| panic!("no cell is quoted: {note}")).1)
        .collect()
}

#[test]
fn a_binary_workbook_reads_as_the_same_lists_in_text() {
    let texts = [("a.csv", LIST_12.as_bytes().to_vec()), ("b.csv", LIST_13.as_bytes().to_vec())];
    let (wanted, said) = read_lists(&texts);
    assert_eq!(
        wanted,
        [
            "F12 / 1, row 6: C1 CL-1 4 -",
            "F12 / 1, row 7: L1 TB-1 1 1234.500000",
            "F12 / 1, row 8: 2026-01-02 TB-1 2 63.500000",
            "F12 / 1, row 9: L3 TB-1 1 -",
            "F12 / 1, row 10: L4 TB-1 2 1500.000000",
            "F12 / 2, row 11: G 007 1 -",
            "F12 / 2, row 12: G altered, Some(\"007\") 1 -",
            "F13 / 1, row 2: C1 CL-1 2 -",
            "F13 / 1, row 3: L1 TB-1 1 311.150000",
        ]
    );
    for file in files("npm-xlsx", &["xlsb"]) {
        let (lines, notes) = read(&file);
        assert_eq!(lines, wanted, "{}", file.display());
        // The text form has no dates, so it has nothing to say of one.
        let (dates, others): (Vec<String>, Vec<String>) =
            notes.into_iter().partition(|note| note.contains("(position): found '2026-01-02'"));
        assert_eq!(
            dates,
            [
                "lists/a.xlsb, sheet 'Fixture 12', cell C8 (position): found '2026-01-02'. Expected text; the cell holds a date. It was read as the date's text."
            ],
            "{}",
            file.display()
        );
        assert_eq!(said_of_cells(&others), said_of_cells(&said), "{}", file.display());
        assert!(
            others
                .iter()
                .any(|note| note.starts_with("lists/a.xlsb, sheet 'Fixture 12', cell F9 (length): found '#N/A'.")),
            "{others:#?}"
        );
    }
}

#[test]
fn a_binary_workbook_that_is_none_is_said_so() {
    let xlsb = fs::read(foreign().join("npm-xlsx/days-1900.xlsb")).unwrap();
    let xlsx = fs::read(foreign().join("libreoffice/days-1900.xlsx")).unwrap();
    let xls = fs::read(foreign().join("libreoffice/days-1900.xls")).unwrap();
    let folder = plant_of(&[
        ("a.xlsb", xlsb[..xlsb.len() / 2].to_vec()),
        ("b.xlsb", xlsx),
        ("c.xlsb", xls),
        ("d.xlsx", xlsb.clone()),
        ("e.ods", xlsb.clone()),
        ("f.xlsb", LIST_13.as_bytes().to_vec()),
    ]);
    let refused = open(folder.path(), None, NaiveDate::default()).unwrap_err().to_string();
    assert_eq!(
        refused.lines().collect::<Vec<_>>(),
        [
            "lists/a.xlsb: the workbook is truncated or damaged: its parts can't be unpacked.",
            "lists/b.xlsb: by its content the file is a workbook of the kind .xlsx, not what its ending .xlsb says.",
            "lists/c.xlsb: by its content the file is an older workbook (.xls), not what its ending .xlsb says.",
            "lists/d.xlsx: by its content the file is a workbook of the kind .xlsb, not what its ending .xlsx says.",
            "lists/e.ods: by its content the file is a workbook of the kind .xlsb, not what its ending .ods says.",
            "lists/f.xlsb: by its content the file is text, not what its ending .xlsb says.",
        ]
    );
    // Whole as an archive, but a part breaks off.
    let mut cut = zip::ZipArchive::new(std::io::Cursor::new(&xlsb)).unwrap();
    let mut broken = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for index in 0..cut.len() {
        let mut part = cut.by_index(index).unwrap();
        let mut bytes = Vec::new();
        part.read_to_end(&mut bytes).unwrap();
        let name = part.name().unwrap().into_owned();
        if name.ends_with("sheet1.bin") {
            bytes.truncate(bytes.len() / 2);
        }
        broken.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        broken.write_all(&bytes).unwrap();
    }
    let folder = plant_of(&[("a.xlsb", broken.finish().unwrap().into_inner())]);
    assert_eq!(
        open(folder.path(), None, NaiveDate::default()).unwrap_err().to_string().trim_end(),
        "lists/a.xlsb: the workbook is truncated, damaged or not what its ending says."
    );
}

#[test]
fn one_far_cell_of_an_older_workbook_is_told() {
    let folder = plant_of(&[("a.xls", fs::read(foreign().join("npm-xlsx/far-corner.xls")).unwrap())]);
    assert_eq!(
        open(folder.path(), None, NaiveDate::default()).unwrap_err().to_string().trim_end(),
        "lists/a.xls: its sheets come to more than 10,000,000 cells from their first to their last, blank ones too; clear what stands far from the tables, or save them as .xlsx."
    );
}
