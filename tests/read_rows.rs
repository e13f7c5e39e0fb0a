//! Rows that are not what they seem: shifted cells, stray quotes, the same list twice, names that
//! lead to nothing. What is expected is worked out by hand from the rules for reading.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::physics::quantity::Pressure;
use clampbook::read::{Reading, open};

const COMPONENTS: &str = "part_no,kind\nA,clamp\nB,tube\n";

fn plant(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    for (name, text) in [("components.csv", COMPONENTS)].iter().chain(files) {
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

fn read(folder: &Path) -> Reading {
    open(folder, None, NaiveDate::default()).unwrap()
}

fn refused(folder: &Path) -> String {
    open(folder, None, NaiveDate::default()).unwrap_err().to_string()
}

/// Of each circuit the rows that were read and whether each is at fault.
fn faults(reading: &Reading) -> Vec<(String, Vec<(u32, bool)>)> {
    let of = |index: usize| {
        let lines = reading.lists.lines(index).unwrap().lines;
        lines.iter().map(|line| (line.origin.row, !line.faults.is_empty())).collect()
    };
    let circuits = reading.lists.circuits().enumerate();
    circuits.map(|(index, circuit)| (circuit.key.fixture.to_string(), of(index))).collect()
}

#[test]
fn a_decimal_comma_that_shifts_a_row_is_seen_by_its_blank_end() {
    // 12,5 in a comma file with a blank last cell: five cells under four headers, the fifth blank.
    let list = "fixture,part_no,qty,length,note\nF,A,1,30,x\nF,B,1,12,5,\nF,A,2,8,\n";
    let reading = read(plant(&[("lists/a.csv", list)]).path());
    assert_eq!(faults(&reading), [("F".to_owned(), vec![(2, false), (3, true), (4, false)])]);
    let notes = reading.lists.lines(0).unwrap().notes;
    assert_eq!(
        notes[0].message,
        "Expected 5 cells as in the header, found 6 with the blank ones at the end, more than in other rows: a comma before decimals may part a number. The line was set aside."
    );
}

#[test]
fn blank_cells_that_every_row_ends_with_are_nothing() {
    let list = "fixture,part_no,qty\nF,A,1,,\nF,B,1,,\n";
    let reading = read(plant(&[("lists/a.csv", list)]).path());
    assert_eq!(faults(&reading), [("F".to_owned(), vec![(2, false), (3, false)])]);
    // A header with them too.
    let list = "fixture,part_no,qty,,\nF,A,1,,\nF,B,1\n";
    let reading = read(plant(&[("lists/a.csv", list)]).path());
    assert_eq!(faults(&reading), [("F".to_owned(), vec![(2, false), (3, false)])]);
}

#[test]
fn text_after_a_closing_quote_is_a_fault_of_its_row() {
    let list = "fixture,part_no,qty,note\nF,A,\"15\"00,\nF,A,\"15\" ,\nF,A,2,1/4\" tube\n";
    let reading = read(plant(&[("lists/a.csv", list)]).path());
    assert_eq!(faults(&reading), [("F".to_owned(), vec![(2, true), (3, false), (4, false)])]);
    let notes = reading.lists.lines(0).unwrap().notes;
    assert_eq!(notes[0].message, "Expected a separator after the quote that ends a cell. The line was set aside.");
}

#[test]
fn the_circuit_of_a_shifted_row_is_told_by_the_rows_beside_it() {
    // Row 3 is of F1 as row 2 is, row 5 of F2 as row 6 is; row 8's place is no neighbour's, though
    // another row of the file is of F1.
    let list = "pallet,fixture,part_no,qty,note\nT,F1,A,1,\nT,F1,B,1,5,x\nT,F2,A,1,\nT,F2,B,1,5,x\nT,F2,A,1,\n\
                T,F3,A,1,\nT,F1,B,1,5,x\nT,F4,A,1,\n";
    let reading = read(plant(&[("lists/a.csv", list)]).path());
    let told = faults(&reading);
    assert_eq!(told[0], ("F1".to_owned(), vec![(2, false), (3, true)]));
    assert_eq!(told[1], ("F2".to_owned(), vec![(4, false), (5, true), (6, false)]));
    let source = reading.plant.sources.iter().position(|source| source.file == "lists/a.csv").unwrap();
    let strays = reading.lists.stray_rows(u32::try_from(source).unwrap());
    assert_eq!(strays.iter().map(|origin| origin.row).collect::<Vec<_>>(), [8]);
    // Where the place stands behind the part number, its shift can't be told from a change.
    let list = "part_no,qty,fixture,note\nA,1,F1,x\nB,1,5,F1,x\n";
    let reading = read(plant(&[("lists/a.csv", list)]).path());
    assert_eq!(reading.lists.circuits().len(), 1);
    assert_eq!(reading.lists.lines(0).unwrap().lines.len(), 1);
}

#[test]
fn twin_fixtures_in_files_of_their_own_are_no_double() {
    let list = "part_no,qty\nA,4\nB,2\n";
    let twins = read(plant(&[("lists/left.csv", list), ("lists/right.csv", list)]).path());
    let repeats = |reading: &Reading| {
        let all = 0..reading.lists.circuits().len();
        let lines = all.flat_map(|index| reading.lists.lines(index).unwrap().lines);
        lines.filter(|line| line.repeats.is_some()).count()
    };
    assert_eq!(repeats(&twins), 0);
    // The same fixture by name in one, by its file's name in the other.
    let named = "fixture,circuit,part_no,qty\nleft,1,A,4\nleft,,B,2\n";
    let twice = read(plant(&[("lists/left.csv", list), ("lists/other.csv", named)]).path());
    assert_eq!(repeats(&twice), 2);
}

#[cfg(unix)]
#[test]
fn a_name_of_a_table_that_leads_to_nothing_ends_the_run() {
    let list = ("lists/a.csv", "part_no,qty\nA,1\n");
    let folder = plant(&[list]);
    let at = |name: &str| folder.path().join(name);
    std::os::unix::fs::symlink("nowhere", at("policy.toml")).unwrap();
    fs::create_dir(at("orders.xlsx")).unwrap();
    std::os::unix::fs::symlink("b.csv", at("lists/b.csv")).unwrap();
    assert!(std::process::Command::new("mkfifo").arg(at("waivers.csv")).status().unwrap().success());
    // No table by its ending, and none by its name.
    std::os::unix::fs::symlink("nowhere", at("lists/readme.md")).unwrap();
    fs::create_dir(at("drawings.csv")).unwrap();
    let put = "put the file in its place or give it another name.";
    let nothing = "a link that leads to nothing that can be read";
    assert_eq!(
        refused(folder.path()),
        [
            format!("lists/b.csv: under the name of a list stands {nothing}; {put}"),
            format!("orders.xlsx: under the name of the table orders stands a folder; {put}"),
            format!("policy.toml: under the name of the policy stands {nothing}; {put}"),
            format!("waivers.csv: under the name of the table waivers stands a pipe or a device; {put}"),
        ]
        .join("\n")
    );
}

#[test]
fn what_steers_a_terminal_is_shown_in_every_sentence() {
    let folder = plant(&[("lists/a.csv", "part_no,qty,length (\u{1b}[2J)\nA,1,2\n")]);
    assert_eq!(
        refused(folder.path()),
        "lists/a.csv, cell C1 ('length (\\u{1b}[2J)'): '\\u{1b}[2J' is no known unit of a length; known are mm, cm, m, in, ft. [values.unit] of the policy takes other names of them."
    );
    let folder = plant(&[("lists/a.csv", "part_no,qty,length\nA,1,\u{1b}[2J\n")]);
    let reading = read(folder.path());
    let notes = reading.lists.lines(0).unwrap().notes;
    let said = clampbook::read::sentence(&notes[0], &reading.plant.sources);
    assert_eq!(
        said,
        "lists/a.csv, cell C2 (length): found '\\u{1b}[2J'. Expected a length such as '63.5 mm'. The line was set aside."
    );
}

/// What the policy says of a plant's way of writing: words, units, dates and rows of sums.
#[test]
fn a_plant_writes_in_its_own_way() {
    let policy = "[columns]\nnote = [\"Bemerkung\"]\n[columns.lists]\npart_no = [\"Artikel\"]\nqty = [\"Menge\"]\n\
                  [columns.components]\npart_no = [\"Material\"]\nnote = [\"Artikel\"]\n\
                  [values.kind]\nclamp = [\"Spanner\"]\n[values.unit]\neach = [\"Stk\"]\nbar = [\"Bar Ü\"]\n\
                  [reading]\ndates = \"dmy\"\ntotal_words = [\"Summe\", \"Zwischensumme\"]\n";
    let list = "Palette,fixture,Artikel,Menge,set_pressure,fitted_on\n,F,A,4 Stk,250 Bar Ü,15.03.2027\n\
                ,,,12,,\nZwischensumme F,,,4,,\n,F,B,2 pcs,,2027-03-16\nSumme:,,,6,,\n,F,A,1,3000 psi,31.04.2027\n";
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    fs::write(folder.path().join("policy.toml"), policy.replace("note = [\"Artikel\"]\n", "")).unwrap();
    fs::write(folder.path().join("components.csv"), "Material,kind\nA,Spanner\nB,Tube\n").unwrap();
    fs::write(folder.path().join("lists/a.csv"), list).unwrap();
    let reading = read(folder.path());
    assert!(reading.plant.components.iter().all(|part| part.faults.is_empty()), "{:?}", reading.plant.components);
    let circuits = reading.lists.circuits();
    // Row 3 has numbers alone and is no sum but at the end: a line of the file's own circuit.
    assert_eq!(circuits.map(|own| own.key.fixture.to_string()).collect::<Vec<_>>(), ["F", "a"]);
    let lines = reading.lists.lines(0).unwrap().lines;
    assert_eq!(lines.iter().map(|line| line.origin.row).collect::<Vec<_>>(), [2, 5, 7]);
    assert_eq!(lines[0].qty.value(), Some(4.0));
    assert_eq!(lines[1].qty.value(), Some(2.0));
    assert_eq!(lines[0].set_pressure.map(clampbook::physics::quantity::Pressure::si), Some(25e6));
    assert_eq!(lines[0].fitted_on, NaiveDate::from_ymd_opt(2027, 3, 15));
    assert_eq!(lines[1].fitted_on, NaiveDate::from_ymd_opt(2027, 3, 16));
    // April has 30 days.
    assert_eq!(
        lines[2].faults[0].expected,
        "a date such as '2026-03-31', or one in the order 'dmy' that [reading] dates of the policy names"
    );
    let skipped: Vec<u32> = reading.plant.notes.iter().map(|note| note.origin.row).collect();
    // The header Palette names no column; rows 4 and 6 are sums.
    assert_eq!(skipped, [1, 4, 6], "{:?}", reading.plant.notes);
}

#[test]
fn what_the_policy_would_mend_names_its_key() {
    let list = "fixture,part_no,qty,length,side,fitted_on\nF,A,1,3 Ellen,top,15.03.2027\n";
    let reading = read(plant(&[("lists/a.csv", list)]).path());
    let faults = &reading.lists.lines(0).unwrap().lines[0].faults;
    assert_eq!(
        faults.iter().map(|fault| fault.expected.as_str()).collect::<Vec<_>>(),
        [
            "a length such as '63.5 mm'; [values.unit] of the policy takes other names of units",
            "'clamp', 'unclamp' or 'both'; [values.side] of the policy takes other words for them",
            "a date such as '2026-03-31'; [reading] dates = \"dmy\" or \"mdy\" of the policy says how such dates are read",
        ]
    );
}

#[test]
fn temperatures_take_a_single_letter() {
    let list = ("lists/a.csv", "part_no,qty\nA,1\n");
    let circuits = "fixture,temp_min (C),temp_max (F),temp_charge\na,10,104,68 F\n";
    let reading = read(plant(&[list, ("circuits.csv", circuits)]).path());
    let (_, service) = reading.plant.services.iter().next().unwrap();
    // 10 °C, 104 °F = 40 °C, 68 °F = 20 °C.
    let kelvin = [service.temp_min, service.temp_max, service.temp_charge].map(|found| found.unwrap().si());
    for (found, wanted) in kelvin.into_iter().zip([283.15, 313.15, 293.15]) {
        assert!((found - wanted).abs() < 1e-9, "{kelvin:?}");
    }
}

#[test]
fn rows_of_circuits_that_say_the_same_keep_what_is_their_own() {
    let list = ("lists/a.csv", "fixture,part_no,qty\na,A,1\nb,A,1\nc,A,1\nd,A,1\n");
    // The first and the last alike, the others with a cell that can't be read; a circuit once more, otherwise.
    let circuits = "fixture,pressure_set,station\na,200,LS\nb,high,LS\nc,high,LS\nd,200,LS\nd,210,LS\nA,200,LS\n";
    let reading = read(plant(&[list, ("circuits.csv", circuits)]).path());
    let of = |fixture: &str| {
        let found = reading.plant.services.iter().find(|(key, _)| key.fixture == fixture).unwrap().1.to_service();
        (found.origin.row, found.pressure_set.map(Pressure::si), found.faults.len(), found.station.to_string())
    };
    assert_eq!(reading.plant.services.len(), 5);
    for (fixture, row) in [("a", 2), ("d", 5), ("A", 7)] {
        assert_eq!(of(fixture), (row, Some(200e5), 0, "LS".to_owned()));
    }
    assert_eq!((of("b"), of("c")), ((3, None, 1, "LS".to_owned()), (4, None, 1, "LS".to_owned())));
    let circuits: Vec<u32> = reading.plant.notes.iter().map(|note| note.origin.row).collect();
    assert_eq!(circuits, [3, 4, 6]);
    let again = &reading.plant.notes[2].message;
    assert!(again.starts_with("Row 5 has this circuit already") && again.contains("pressure_set"), "{again}");
}

/// A list that is read twice from the disk, with digits changed between: same length, same time.
#[test]
fn a_report_certifies_the_bytes_that_it_used() {
    let rows = "F1,A,1\n".repeat(200_000);
    let folder = plant(&[("lists/a.csv", &format!("fixture,part_no,qty\n{rows}"))]);
    let path = folder.path().join("lists/a.csv");
    let reading = read(folder.path());
    assert_eq!(reading.lists.unchanged(), Ok(()));
    let before = fs::metadata(&path).unwrap().modified().unwrap();
    let mut text = fs::read_to_string(&path).unwrap();
    text.replace_range(text.len() - 2..text.len() - 1, "7");
    let file = fs::OpenOptions::new().write(true).open(&path).unwrap();
    std::os::unix::fs::FileExt::write_all_at(&file, text.as_bytes(), 0).unwrap();
    file.set_modified(before).unwrap();
    assert_eq!(reading.lists.unchanged().unwrap_err().to_string(), "lists/a.csv: the file changed while it was read.");
}

#[test]
fn what_this_program_wrote_is_no_table() {
    let header = "plant,pallet,fixture,circuit,verdict,clamp_swept_cm3,clamp_demand_cm3\n,,F,1,conforms,1,2\n";
    let folder = plant(&[("lists/a.csv", "part_no,qty\nA,1\n"), ("circuits.csv", header)]);
    assert_eq!(
        refused(folder.path()),
        "circuits.csv: by its header it is a file of circuits that this program wrote, and no table of a plant; keep it outside the plant."
    );
    fs::remove_file(folder.path().join("circuits.csv")).unwrap();
    let mut workbook = rust_xlsxwriter::Workbook::new();
    for name in ["Summary", "Findings", "Circuits", "Lines", "Basis", "Sources"] {
        let sheet = workbook.add_worksheet().set_name(name).unwrap();
        sheet.write_row(0, 0, ["part_no", "qty"]).unwrap();
    }
    workbook.save(folder.path().join("lists/report.xlsx")).unwrap();
    assert_eq!(
        refused(folder.path()),
        "lists/report.xlsx: by its sheets it is a report that this program wrote, and no table of a plant; keep it outside the plant."
    );
}

#[test]
fn what_is_far_too_much_is_said_by_its_measure() {
    let wide: String = (0..1_000_000).map(|column| format!(",c{column}")).collect();
    let folder = plant(&[("lists/a.csv", &format!("part_no,qty{wide}\nA,1\n"))]);
    let said = refused(folder.path());
    assert!(said.starts_with("lists/a.csv: its first row goes on for more than 256 KiB, with at least "), "{said}");
    assert!(said.ends_with(" cells, and is no header of a table."), "{said}");
    let wide: String = (0..2000).map(|column| format!(",c{column}")).collect();
    let folder = plant(&[("lists/a.csv", &format!("part_no,qty{wide}\nA,1\n"))]);
    assert_eq!(
        refused(folder.path()),
        "lists/a.csv: the header has 2,002 columns, more than the 1,024 columns that [bounds] columns of the policy allows."
    );
    let reading = read(plant(&[("lists/a.csv", "fixture,part_no,qty\nF,A,1e30\n")]).path());
    let parsed = reading.lists.lines(0).unwrap();
    assert_eq!(parsed.lines[0].qty.value(), None);
    assert_eq!(parsed.notes[0].message, "Expected at most 1,000,000,000 pieces. The line was set aside.");
}
