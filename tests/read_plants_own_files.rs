//! Files as plants keep them: merged cells, blanks under a filled cell, files and sheets of other
//! names. What is expected is worked out by hand from the rules for reading.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::io::Write;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::read::headers::look;
use clampbook::read::{Reading, open, sentence};
use clampbook::tables::column::Table;
use rust_xlsxwriter::{Format, Workbook};
use zip::write::SimpleFileOptions;

fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    for (name, text) in files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

fn read(folder: &Path) -> Reading {
    open(folder, None, NaiveDate::default()).unwrap()
}

/// Pallet, fixture and rows of each circuit.
fn circuits(reading: &Reading) -> Vec<(String, String, Vec<u32>)> {
    let rows = |index: usize| reading.lists.lines(index).unwrap().lines.iter().map(|line| line.origin.row).collect();
    let circuits = reading.lists.circuits().enumerate();
    circuits.map(|(index, own)| (own.key.pallet.to_string(), own.key.fixture.to_string(), rows(index))).collect()
}

fn notes(reading: &Reading) -> Vec<String> {
    reading.plant.notes.iter().map(|note| sentence(note, &reading.plant.sources)).collect()
}

const COMPONENTS: (&str, &str) = ("components.csv", "part_no,kind\nA,clamp\nB,tube\n");

#[test]
fn a_cell_merged_over_rows_counts_in_each() {
    let plant = folder(&[COMPONENTS]);
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    // A title over two rows is none of the table's.
    sheet.merge_range(0, 0, 1, 1, "Spannliste", &Format::new()).unwrap();
    for (column, name) in (0_u16..).zip(["pallet", "fixture", "part_no", "qty"]) {
        sheet.write(2, column, name).unwrap();
    }
    for (row, part) in (3_u32..).zip(["A", "B", "A", "B"]) {
        sheet.write(row, 2, part).unwrap();
        sheet.write(row, 3, 2).unwrap();
    }
    sheet.merge_range(3, 0, 6, 0, "T1", &Format::new()).unwrap();
    sheet.merge_range(3, 1, 4, 1, "F1", &Format::new()).unwrap();
    sheet.merge_range(5, 1, 6, 1, "F2", &Format::new()).unwrap();
    workbook.save(plant.path().join("lists/a.xlsx")).unwrap();
    let reading = read(plant.path());
    let wanted = [("T1".into(), "F1".into(), vec![4, 5]), ("T1".into(), "F2".into(), vec![6, 7])];
    assert_eq!(circuits(&reading), wanted);
    let said: Vec<String> = notes(&reading).into_iter().filter(|note| note.contains("merged")).collect();
    assert_eq!(
        said,
        [
            "lists/a.xlsx, sheet 'Sheet1', cell A4 (pallet): found 'T1'. Cells merged over rows; what the first row of each says was read in rows 5 to 7.",
            "lists/a.xlsx, sheet 'Sheet1', cell B4 (fixture): found 'F1'. Cells merged over rows; what the first row of each says was read in rows 5 and 7.",
        ]
    );
}

#[test]
fn a_cell_merged_in_an_open_document_counts_in_each() {
    let cell = |text: &str| {
        format!("<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>")
    };
    let row = |cells: &[String]| format!("<table:table-row>{}</table:table-row>", cells.concat());
    let merged = |text: &str, rows: u32| {
        cell(text).replace(
            "<table:table-cell ",
            &format!("<table:table-cell table:number-rows-spanned=\"{rows}\" table:number-columns-spanned=\"1\" "),
        )
    };
    let covered = "<table:covered-table-cell/>".to_owned();
    let rows = [
        row(&["fixture", "part_no", "qty"].map(cell)),
        row(&[merged("F1", 2), cell("A"), cell("1")]),
        row(&[covered.clone(), cell("B"), cell("1")]),
        row(&[cell("F2"), cell("A"), cell("1")]),
    ]
    .concat();
    let content = format!(
        "<office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"S\">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"
    );
    let plant = folder(&[COMPONENTS]);
    let write = |name: &str, content: &str| {
        let mut file = zip::ZipWriter::new(fs::File::create(plant.path().join(name)).unwrap());
        for (part, text) in [
            ("mimetype", "application/vnd.oasis.opendocument.spreadsheet"),
            (
                "META-INF/manifest.xml",
                "<manifest:manifest xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\"/>",
            ),
            ("content.xml", content),
        ] {
            file.start_file(part, SimpleFileOptions::default()).unwrap();
            file.write_all(text.as_bytes()).unwrap();
        }
        file.finish().unwrap();
    };
    write("lists/a.ods", &content);
    let reading = read(plant.path());
    let wanted = [(String::new(), "F1".into(), vec![2, 3]), (String::new(), "F2".into(), vec![4])];
    assert_eq!(circuits(&reading), wanted);
    // The same document, ended too early, which the reader of such files would wait for.
    write("lists/a.ods", &content[..content.len() / 2]);
    assert_eq!(
        open(plant.path(), None, NaiveDate::default()).unwrap_err().to_string(),
        "lists/a.ods: the workbook is truncated or damaged: its parts can't be unpacked."
    );
}

#[test]
fn blanks_are_filled_only_where_the_policy_says_so() {
    let list = "pallet,fixture,part_no,qty\nT1,F1,A,1\n,,B,1\n,F2,A,1\n,,,\nTotal,,,3\n,,B,1\n";
    let plain = read(folder(&[COMPONENTS, ("lists/a.csv", list)]).path());
    let wanted = [
        (String::new(), "F2".into(), vec![4]),
        (String::new(), "a".into(), vec![3, 7]),
        ("T1".into(), "F1".into(), vec![2]),
    ];
    assert_eq!(circuits(&plain), wanted);
    let policy = ("policy.toml", "[reading]\nfill_down = [\"pallet\", \"fixture\"]\n");
    let filled = read(folder(&[COMPONENTS, ("lists/a.csv", list), policy]).path());
    let wanted = [("T1".into(), "F1".into(), vec![2, 3]), ("T1".into(), "F2".into(), vec![4, 7])];
    assert_eq!(circuits(&filled), wanted);
    assert_eq!(
        notes(&filled),
        [
            "lists/a.csv, cell A3 (pallet): found ''. Blank cells; what stands above was read in them, as [reading] fill_down says, in rows 3, 4 and 7.",
            "lists/a.csv, cell B3 (fixture): found ''. Blank cells; what stands above was read in them, as [reading] fill_down says, in rows 3 and 7.",
            "lists/a.csv, row 6: found 'Total | 3'. A row of totals. It was read and not checked.",
        ]
    );
}

#[test]
fn files_and_sheets_have_the_names_that_the_policy_gives() {
    let policy = "[files]\ncomponents = { file = \"Werk 7.xlsx\", sheet = \"Teile\" }\n\
                  lists = { file = \"Werk 7.xlsx\", sheet = \"Stückliste\" }\norders = \"Bestellungen.csv\"\n";
    let plant = folder(&[("policy.toml", policy), ("Bestellungen.csv", "part_no,qty\nA,4\n")]);
    fs::remove_dir(plant.path().join("lists")).unwrap();
    let mut workbook = Workbook::new();
    for (name, rows) in [
        ("Teile", [["part_no", "kind"], ["A", "clamp"]]),
        ("Alt", [["part_no", "kind"], ["OLD", "clamp"]]),
        ("Stückliste", [["part_no", "qty"], ["A", "2"]]),
    ] {
        let sheet = workbook.add_worksheet().set_name(name).unwrap();
        for (row, cells) in (0_u32..).zip(rows) {
            sheet.write_row(row, 0, cells).unwrap();
        }
    }
    workbook.save(plant.path().join("Werk 7.xlsx")).unwrap();
    let reading = read(plant.path());
    assert_eq!(reading.plant.components.iter().map(|part| part.part_no.as_str()).collect::<Vec<_>>(), ["A"]);
    assert_eq!(circuits(&reading), [(String::new(), "Werk 7".into(), vec![2])]);
    assert_eq!(reading.plant.orders.as_ref().map(Vec::len), Some(1));
    let said = |policy: &str| {
        fs::write(plant.path().join("policy.toml"), policy).unwrap();
        let said = open(plant.path(), None, NaiveDate::default()).unwrap_err().to_string();
        said.replace(&plant.path().display().to_string(), "PLANT")
    };
    assert_eq!(
        said(&policy.replace("Teile", "Parts")),
        "Werk 7.xlsx: [files] components of the policy names the sheet 'Parts', which is not there. The workbook has the sheets 'Teile', 'Alt', 'Stückliste'."
    );
    assert_eq!(
        said(&policy.replace("Bestellungen.csv", "Orders.csv")),
        "PLANT: [files] orders of the policy names 'Orders.csv', which is not there. The folder holds Bestellungen.csv, Werk 7.xlsx, policy.toml."
    );
}

/// What can't be told is said; what the program wrote is left alone; what the policy names is taken at its word.
#[test]
fn headers_tell_what_they_do_not_know_and_leave_their_own_files_alone() {
    let plant = folder(&[
        COMPONENTS,
        ("lists/a.csv", "part_no,qty\nA,1\n"),
        ("orders.csv", "Beleg,Was,Wieviel\n1,A,3\n"),
        ("policy.toml", "[files.matrix]\nfile = \"across.csv\"\nrow = 1\nplace = \"fixture/circuit\"\n"),
        ("across.csv", "part_no,Description,ring/1,ring/2\nA,clamp,2,3\nB,tube,1,1\n"),
    ]);
    fs::create_dir(plant.path().join("data")).unwrap();
    fs::write(
        plant.path().join("data/circuits.csv"),
        "plant,pallet,fixture,circuit,verdict,clamp_swept_cm3,clamp_demand_cm3\n,P,F,1,conforms,1,2\n",
    )
    .unwrap();
    let seen = look(plant.path(), NaiveDate::default()).unwrap();
    let sheets: Vec<(&str, Option<Table>)> =
        seen.sheets.iter().map(|sheet| (sheet.file.as_str(), sheet.table)).collect();
    assert_eq!(sheets, [("components.csv", Some(Table::Components)), ("lists/a.csv", Some(Table::Lists))]);
    let open = &seen.proposal.open;
    assert_eq!(open.len(), 1, "{open:?}");
    assert!(open[0].starts_with("orders.csv: no table is recognised; row 1 holds Beleg,Was,Wieviel."), "{open:?}");
}

/// Lines of each circuit of a matrix, by fixture, or the sentence that ends the run.
fn matrix(keys: &str, rows: &[&str]) -> Result<Vec<(String, usize)>, String> {
    let policy = format!("[files.matrix]\nfile = \"Plan.csv\"\n{keys}\n");
    let components = ("components.csv", "part_no,kind\nA,clamp\nB,tube\nC,gauge\nD,fitting\nE,filter\n");
    let plant = folder(&[components, ("policy.toml", &policy), ("Plan.csv", &(rows.join("\n") + "\n"))]);
    fs::remove_dir(plant.path().join("lists")).unwrap();
    let reading = open(plant.path(), None, NaiveDate::default()).map_err(|error| error.to_string())?;
    Ok(circuits(&reading).into_iter().map(|(_, fixture, rows)| (fixture, rows.len())).collect())
}

/// A blank or mistyped header, or one cell that is no whole number, takes no circuit away.
#[test]
fn no_circuit_of_a_matrix_is_lost_by_its_header_or_by_one_cell() {
    let one = "row = 1\nplace = \"fixture/circuit\"";
    let two = "row = [1, 2]\nplace = [\"pallet\", \"fixture\"]";
    for (what, keys, rows, cell) in [
        ("a blank header", one, &["Part no,F1/1,", "A,1,4", "B,1,1", "C,1,40"][..], "cell C1: it is blank"),
        ("a blank header under a named one", two, &["Part no,P1,P2", ",F1,", "A,1,1", "B,1,2"], "cell C2: it is blank"),
        ("a header of another form", one, &["Part no,F1/1,F2", "A,1,1", "B,1,1", "C,1,4 pcs"], "cell C1 ('F2')"),
        ("the same over one odd cell", one, &["Part no,F1/1,F2", "A,1,1", "B,1,1", "C,1,4.5"], "cell C1 ('F2')"),
    ] {
        let said = matrix(keys, rows).unwrap_err();
        assert!(said.contains(cell), "{what}: {said}");
    }
    let fixture = "row = 1\nplace = \"fixture\"";
    for odd in ["4 pcs", "4?", "4.5", "?"] {
        let last = format!("C,1,,{odd}");
        let found = matrix(fixture, &["Part no,F1,Note,F2", "A,1,see drawing 4,1", "B,1,,2", &last]).unwrap();
        assert_eq!(found, [("F1".to_owned(), 3), ("F2".to_owned(), 3)], "{odd}");
    }
    // A blank column of words, and one of totals under a title above, name no circuit and lose none.
    let rows = ["Part no,P1,Total,", ",F1,,", "A,1,1,see drawing", "B,1,1,"];
    assert_eq!(matrix(two, &rows).unwrap(), [("F1".to_owned(), 2)]);
}
