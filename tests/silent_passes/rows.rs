//! Rows of a list that are lines and do not look like it, or are none and look like some.

use std::fs;
use std::path::Path;

use super::{column, of_starter, put, rows};

const LIST: &str = "lists/example.csv";

/// A row of the list with these cells, the others blank.
fn row_of(all: &[Vec<String>], cells: &[(&str, &str)]) -> Vec<String> {
    let mut row = vec![String::new(); all[0].len()];
    for (name, text) in cells {
        (*text).clone_into(&mut row[column(all, name)]);
    }
    row
}

/// The starter with rows of its list changed.
fn with_rows(change: impl FnOnce(&mut Vec<Vec<String>>)) -> (i32, String) {
    of_starter(|plant| {
        let path = plant.join(LIST);
        let mut all = rows(&path);
        change(&mut all);
        put(&path, &all);
    })
}

/// The same, with the list as a workbook.
fn on_a_sheet(change: impl FnOnce(&mut Vec<Vec<String>>)) -> (i32, String) {
    of_starter(|plant| {
        let path = plant.join(LIST);
        let mut all = rows(&path);
        change(&mut all);
        put(&path, &all);
        super::as_workbook(plant, LIST, &["A"], None);
    })
}

/// The columns of places stand first; a line that lost the cells ahead of its part number lies under them whole.
#[test]
fn a_line_that_slid_under_the_columns_of_places_is_no_heading() {
    let slid: [&[&str]; 4] = [
        &["EX-CLAMP-20", "40", "C2"],
        &["1", "C2", "EX-CLAMP-20", "40"],
        &["", "", "EX-CLAMP-20 (x40)"],
        &["part_no", "qty", "position"],
    ];
    for cells in slid {
        let add = |all: &mut Vec<Vec<String>>| {
            let mut row: Vec<String> = cells.iter().map(ToString::to_string).collect();
            row.resize(all[0].len(), String::new());
            all.push(row);
        };
        for (status, said) in [with_rows(add), on_a_sheet(add)] {
            assert_eq!(status, 1, "{cells:?}: {said}");
            assert!(said.contains("1 not assessed") && said.contains("8 lines read, 1 set aside"), "{cells:?}: {said}");
        }
    }
}

#[test]
fn a_heading_is_one_whatever_it_is_called() {
    // The place of lines, a circuit among them; words; the name of a fixture that is a part number, too.
    let headings: [&[(&str, &str)]; 4] = [
        &[("plant", "Example plant"), ("pallet", "P01"), ("fixture", "F1"), ("circuit", "1")],
        &[("plant", "Fixture 12")],
        &[("plant", "Line 3"), ("pallet", "by the window")],
        &[("fixture", "F1")],
    ];
    for cells in headings {
        let (status, said) = with_rows(|all| all.insert(1, row_of(all, cells)));
        assert_eq!(status, 0, "{cells:?}: {said}");
        assert!(!said.contains("read as a heading"), "{cells:?}: {said}");
    }
    let (status, said) = of_starter(|plant| {
        for table in [LIST, "circuits.csv"] {
            let path = plant.join(table);
            let mut all = rows(&path);
            let at = column(&all, "fixture");
            all.iter_mut().skip(1).for_each(|row| "EX-CLAMP-20".clone_into(&mut row[at]));
            if table == LIST {
                all.insert(1, row_of(&all, &[("fixture", "EX-CLAMP-20")]));
            }
            put(&path, &all);
        }
    });
    assert_eq!(status, 0, "{said}");
}

/// Numbers that no line has as its place: perhaps a line of a part that the table lacks.
#[test]
fn a_heading_with_a_number_of_its_own_is_told() {
    let (_, said) = with_rows(|all| all.push(row_of(all, &[("plant", "XX-9"), ("pallet", "40"), ("fixture", "C2")])));
    assert!(said.contains("row 9 ('XX-9 | 40 | C2') was read as a heading, though it has a number"), "{said}");
}

/// A printed list repeats its header on each page; where that of the first page is misspelt the second one is taken.
#[test]
fn lines_above_the_header_are_told() {
    for name in ["quantity", "pieces"] {
        for page in [with_rows, on_a_sheet] {
            let (_, said) = page(|all: &mut Vec<Vec<String>>| {
                let mut header = all[0].clone();
                name.clone_into(&mut header[column(all, "qty")]);
                let line = row_of(all, &[("part_no", "EX-CLAMP-20"), ("qty", "40")]);
                all.splice(0..0, [header, line]);
            });
            let both =
                "was taken for a title above a header, though it looks like a row of the table; see Input. So was";
            assert!(said.contains(both), "{name}: {said}");
        }
    }
    // Titles are none, nor are names of the columns in another language.
    for title in [&["", "Fixture 1", "", "Rev", "3"][..], &["Werk", "Palette", "Vorrichtung", "Kreis", "Platz", "Teil"]]
    {
        let (status, said) = with_rows(|all| {
            let mut row: Vec<String> = title.iter().map(ToString::to_string).collect();
            row.resize(all[0].len(), String::new());
            all.insert(0, row);
        });
        assert!(status == 0 && !said.contains("taken for a title"), "{said}");
    }
}

/// A total may be called by the word and more; what it says must be what the lines come to.
#[test]
fn a_line_that_is_called_a_total_is_told() {
    // 1 + 1 + 1 + 1 + 4 + 1 + 2 pieces in 7 lines; 4 + 1 + 2 in the last three.
    for (qty, is_sum) in [("40", false), ("11", true), ("7", true), ("3", true), ("5", false)] {
        for at in [8, 6] {
            let add = |all: &mut Vec<Vec<String>>| {
                let row = row_of(all, &[("position", "Total clamp 3"), ("qty", qty)]);
                all.insert(at, row);
            };
            for (_, said) in [with_rows(add), on_a_sheet(add)] {
                // Ahead of the last two lines stand 1, 1, 1, 1 and 4, of which the last come to 4, 5, 6, 7 and 8.
                let is_sum = if at == 6 { ["5", "7"].contains(&qty) } else { is_sum };
                let told = said.contains("was taken for totals by its words, though it is not what the lines above");
                assert_eq!(told, !is_sum, "{qty} in row {at}: {said}");
            }
        }
    }
}

/// What stands below the header with another unit would be read in the first one's.
#[test]
fn a_second_header_or_units_row_that_differs_ends_the_run() {
    let clamp = |all: &[Vec<String>]| all.iter().position(|row| row.contains(&"C1".to_owned())).unwrap();
    let with_header = |from: &'static str, to: &'static str| {
        move |all: &mut Vec<Vec<String>>| {
            let mut header = all[0].clone();
            let at = header.iter().position(|text| text == from).unwrap();
            to.clone_into(&mut header[at]);
            let row = clamp(all);
            all.insert(row, header);
        }
    };
    for (to, status, what) in [
        ("force_required [kN]", 2, "the header stands there once more and says another thing in cell"),
        ("length [mm]", 2, "'length [mm]' where the first says 'force_required [N]'"),
        ("thrust", 2, "'thrust' where the first says"),
        ("Force Required (N)", 0, "conforms"),
        ("force_required", 0, "conforms"),
        ("force_required:", 0, "conforms"),
        ("force_required [N]", 0, "conforms"),
        ("", 0, "conforms"),
    ] {
        for (found, said) in
            [with_rows(with_header("force_required [N]", to)), on_a_sheet(with_header("force_required [N]", to))]
        {
            assert!(found == status && said.contains(what), "{to}: {said}");
        }
    }
    // Without a unit it is the policy's, newton here.
    let (found, said) = with_rows(|all: &mut Vec<Vec<String>>| {
        let at = all[0].iter().position(|text| text == "force_required [N]").unwrap();
        let mut header = all[0].clone();
        "force_required [kN]".clone_into(&mut all[0][at]);
        "force_required".clone_into(&mut header[at]);
        let row = clamp(all);
        all.insert(row, header);
    });
    assert!(found == 2 && said.contains("says another thing in cell"), "{said}");
    let with_units = |force: &'static str| {
        move |all: &mut Vec<Vec<String>>| {
            let units = row_of(all, &[("qty", "pcs"), ("length", "mm"), ("force_required", force)]);
            let row = clamp(all);
            all.insert(row, units);
        }
    };
    for (force, status, what) in [
        (
            "kN",
            2,
            "row 6: a row of units stands there, and cell L says 'kN' where the column force_required is read in N",
        ),
        ("[N]", 0, "conforms"),
    ] {
        for (found, said) in [with_rows(with_units(force)), on_a_sheet(with_units(force))] {
            assert!(found == status && said.contains(what), "{force}: {said}");
        }
    }
    // The circuits table is read in stretches.
    let (status, said) = of_starter(|plant| {
        let path = plant.join("circuits.csv");
        let mut all = rows(&path);
        let mut header = all[0].clone();
        let at = column(&all, "pressure_set");
        "pressure_set [psi]".clone_into(&mut header[at]);
        all.push(header);
        put(&path, &all);
    });
    assert!(status == 2 && said.contains("circuits.csv, row 3: the header stands there once more"), "{said}");
}

/// A second block beside the first, with headers that nobody knows.
#[test]
fn part_numbers_under_unknown_headers_are_told() {
    let beside = |cells: [&'static str; 2]| {
        move |all: &mut Vec<Vec<String>>| {
            for (index, row) in all.iter_mut().enumerate() {
                row.extend(if index == 0 { ["Teil", "Stück"] } else { cells }.map(str::to_owned));
            }
        }
    };
    let told = "may hold a part of the plant: lists/example.csv, column V ('Teil')";
    let (_, said) = with_rows(beside(["EX-CLAMP-20", "40"]));
    assert!(said.contains(told), "{said}");
    for cells in [["EX-CLAMP-20", "spare"], ["drawing 12", "40"]] {
        let (_, said) = with_rows(beside(cells));
        assert!(!said.contains("may hold a part of the plant"), "{said}");
    }
}

/// The same in summary.json.
#[test]
fn what_is_told_stands_in_the_data_too() {
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    super::write(&plant, super::Form::Csv, super::UnitSystem::Metric).unwrap();
    let path: &Path = &plant.join(LIST);
    let mut all = rows(path);
    all.push(row_of(&all, &[("position", "Total clamp 3"), ("qty", "40")]));
    put(path, &all);
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_clampbook"));
    let status = command.arg("check").arg(&plant).arg("--data").arg(&data).output().unwrap().status;
    assert_eq!(status.code(), Some(0));
    let summary = fs::read_to_string(data.join("summary.json")).unwrap();
    assert!(summary.contains("'Total clamp 3 | 40') was taken for totals by its words"), "{summary}");
}
