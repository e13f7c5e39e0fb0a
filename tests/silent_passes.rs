//! A sound plant with one thing wrong in it that a hurried reader would pass over: no run says that all is well.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "silent_passes/cells.rs"]
mod cells;
#[path = "silent_passes/rows.rs"]
mod rows_of_lists;

use std::fs;
use std::path::Path;
use std::process::Command;

use clampbook::physics::unit::UnitSystem;
use clampbook::report::starter::{Form, write};
use clampbook::tables::words::folded;

/// Exit status and what is said.
fn check(plant: &Path) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .args(["check", plant.to_str().unwrap(), "--no-remedies", "--quiet", "--all"])
        .output()
        .unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    (output.status.code().unwrap(), said.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn rows(path: &Path) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_path(path).unwrap();
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn put(path: &Path, rows: &[Vec<String>]) {
    let mut writer = csv::Writer::from_path(path).unwrap();
    rows.iter().for_each(|row| writer.write_record(row).unwrap());
    writer.flush().unwrap();
}

fn column(rows: &[Vec<String>], name: &str) -> usize {
    let bare = |header: &str| folded(header.split('[').next().unwrap());
    rows[0].iter().position(|header| bare(header) == folded(name)).unwrap()
}

/// Other cells in a row of a table; `row` 0 appends a copy of the first row with them.
fn edit(plant: &Path, table: &str, row: usize, cells: &[(&str, &str)]) {
    let path = plant.join(table);
    let mut rows = rows(&path);
    let row = if row == 0 {
        rows.push(rows[1].clone());
        rows.len() - 1
    } else {
        row
    };
    for (name, text) in cells {
        let column = column(&rows, name);
        (*text).clone_into(&mut rows[row][column]);
    }
    put(&path, &rows);
}

fn of_starter(change: impl FnOnce(&Path)) -> (i32, String) {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    write(&plant, Form::Csv, UnitSystem::Metric).unwrap();
    assert_eq!(check(&plant).0, 0, "the starter conforms");
    change(&plant);
    check(&plant)
}

/// What contradicts itself, or is written in another unit than it is read, ends no run with status 0.
#[test]
fn what_can_not_be_right_does_not_pass() {
    let service =
        |cells: &'static [(&'static str, &'static str)]| move |plant: &Path| edit(plant, "circuits.csv", 1, cells);
    let cases: [(&str, Box<dyn FnOnce(&Path)>, &str); 6] = [
        ("temperatures in each other's column", Box::new(service(&[("temp_min", "60"), ("temp_max", "-10")])), "L04"),
        ("a highest temperature of 0", Box::new(service(&[("temp_max", "0")])), "L04"),
        ("no time to hold", Box::new(service(&[("hold_time", "0")])), "hold_time"),
        ("friction in percent", Box::new(service(&[("cutting_force", "20000"), ("friction", "15")])), "L04"),
        (
            "a force with a decimal comma too much",
            Box::new(|plant: &Path| edit(plant, "lists/example.csv", 5, &[("force_required", "99,99,9")])),
            "L04",
        ),
        (
            "a clamp that is rated below the pressure, under a word for other parts",
            Box::new(|plant: &Path| {
                let row = rows(&plant.join("components.csv")).iter().position(|row| row[1] == "clamp").unwrap();
                edit(plant, "components.csv", row, &[("rated_pressure", "150")]);
                fs::write(plant.join("policy.toml"), "[values.kind]\nother = [\"clamp\"]\n").unwrap();
            }),
            "P05",
        ),
    ];
    for (what, change, expected) in cases {
        let (status, said) = of_starter(change);
        assert_eq!(status, 1, "{what}: {said}");
        assert!(said.contains(expected), "{what}: {said}");
    }
}

/// A rule that asks for two data is not asked by one of them.
#[test]
fn a_cut_without_friction_is_said() {
    let (_, said) = of_starter(|plant| edit(plant, "circuits.csv", 1, &[("cutting_force", "20000"), ("friction", "")]));
    assert!(said.contains("whether the clamps hold against it is not looked at"), "{said}");
}

/// The first of two rows counts; the second is told with what it says otherwise.
#[test]
fn a_second_row_is_told_with_what_is_other() {
    for (file, cells, told) in [
        ("circuits.csv", &[][..], "with the same data. The first row counts."),
        ("circuits.csv", &[("temp_min", "-25")], "with another temp_min. The first row counts."),
        ("stations.csv", &[("pump_setting", "349")], "with another pump_setting. The first row counts."),
    ] {
        let (status, said) = of_starter(|plant| edit(plant, file, 0, cells));
        assert_eq!(status, 0, "{said}");
        assert!(said.contains(told), "{said}");
    }
}

/// What was not read is said before any verdict.
#[test]
fn what_was_not_read_is_said() {
    let another_list = |name: &'static str| {
        move |plant: &Path| {
            let mut rows = rows(&plant.join("lists/example.csv"));
            let fixture = column(&rows, "fixture");
            rows.iter_mut().skip(1).for_each(|row| "F2".clone_into(&mut row[fixture]));
            let path = plant.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            put(&path, &rows);
        }
    };
    for name in [
        "second.csv",
        "list/second.csv",
        "lists/second.csv.bak",
        "lists/.second.csv",
        "lists/.old/second.csv",
        "lists/second",
        "lists/second.numbers",
        "archive/second.csv",
    ] {
        let (_, said) = of_starter(another_list(name));
        let folders = name.rsplit_once('/').map_or("", |(folders, _)| folders);
        let shown = if folders == "lists" || folders.is_empty() { name } else { folders };
        assert!(said.starts_with("Not read, though it may hold a part of the plant: "), "{name}: {said}");
        assert!(said.contains(shown), "{name}: {said}");
    }
    let (_, said) = of_starter(|plant| fs::rename(plant.join("policy.toml"), plant.join("policy 2026.toml")).unwrap());
    assert!(said.contains("Not read, though it may hold a part of the plant: policy 2026.toml"), "{said}");
    let (_, said) = of_starter(|plant| {
        let header = rows(&plant.join("lists/example.csv"))[..1].to_vec();
        put(&plant.join("lists/second.csv"), &header);
    });
    assert!(said.contains("lists/second.csv (a list without a line)"), "{said}");
    // What other programs leave beside a table is none.
    let (_, said) = of_starter(|plant| {
        for name in ["lists/._example.csv", "lists/.~lock.example.csv#", "lists/~$example.xlsx"] {
            fs::write(plant.join(name), "x").unwrap();
        }
    });
    assert!(!said.contains("._example.csv") && !said.contains("~$example.xlsx"), "{said}");
}

/// Another name of a column in a table.
fn rename(plant: &Path, table: &str, name: &str, other: &str) {
    let path = plant.join(table);
    let mut rows = rows(&path);
    let column = column(&rows, name);
    other.clone_into(&mut rows[0][column]);
    put(&path, &rows);
}

/// A unit that stands behind a slash, a comma or in braces does not make a header another one.
#[test]
fn a_header_with_its_unit_written_another_way_is_told() {
    for header in ["force_required / kN", "force_required, kN", "force_required {kN}", "min force", "force needed"] {
        let (status, said) = of_starter(|plant| rename(plant, "lists/example.csv", "force_required", header));
        assert_eq!(status, 1, "{header}: {said}");
        assert!(said.contains("L13") && said.contains(&format!("'{header}'")), "{header}: {said}");
    }
    let (_, said) = of_starter(|plant| rename(plant, "lists/example.csv", "note", "zzz"));
    assert!(said.contains("1 header names no known column ('zzz'); Input names the nearest."), "{said}");
}

/// What lost its ending may be the table or the policy that was meant.
#[test]
fn a_file_named_like_a_table_or_the_policy_is_told() {
    for name in ["policy.toml.bak", "policy.tml", "policy.toml~", "policy.ini", "policy", "Circuits.csv.bak", "orders~"]
    {
        let (_, said) = of_starter(|plant| fs::write(plant.join(name), "x").unwrap());
        let told = format!("Not read, though it may hold a part of the plant: {name}. ");
        assert!(said.contains(&told), "{name}: {said}");
    }
    let (_, said) = of_starter(|plant| fs::write(plant.join("readme.md"), "x").unwrap());
    assert!(!said.contains("Not read"), "{said}");
}

/// A waiver whose place stands under a header that nobody knows covers every place, and that is told.
#[test]
fn a_waiver_that_covers_more_than_it_says_is_told() {
    let waivers = |header: &'static str| {
        move |plant: &Path| {
            let text = format!("{header},rule,reason,approved_by,expires\nA,H02,agreed,somebody,2999-01-01\n");
            fs::write(plant.join("waivers.csv"), text).unwrap();
        }
    };
    let (_, said) = of_starter(waivers("Unit"));
    assert!(said.contains("waivers.csv: the header 'Unit' in column A names no known column"), "{said}");
    assert!(said.contains("the waivers of row 2 cover every pallet, every fixture"), "{said}");
    let (_, said) = of_starter(waivers("pallet"));
    assert!(!said.contains("cover every"), "{said}");
    // Who reads the mail or the data files is told, too.
    let folder = tempfile::tempdir().unwrap();
    let (plant, data) = (folder.path().join("plant"), folder.path().join("data"));
    write(&plant, Form::Csv, UnitSystem::Metric).unwrap();
    waivers("Unit")(&plant);
    let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
    let status = command.arg("check").arg(&plant).arg("--data").arg(&data).output().unwrap().status;
    assert!(status.code().is_some_and(|code| code < 2));
    assert!(fs::read_to_string(data.join("summary.json")).unwrap().contains("cover every pallet"));
}

/// Nothing was fitted or topped up tomorrow.
#[test]
fn a_date_of_something_done_that_lies_ahead_is_told() {
    for (table, name) in [("lists/example.csv", "fitted_on"), ("circuits.csv", "topped_up")] {
        for (date, is_told) in [("2999-01-01", true), ("2020-01-01", false)] {
            let (_, said) = of_starter(|plant| {
                let path = plant.join(table);
                let mut rows = rows(&path);
                let of_header = rows[0].iter().position(|header| header == name);
                let at = of_header.unwrap_or(rows[0].len());
                for (index, row) in rows.iter_mut().enumerate() {
                    row.resize(row.len().max(at + 1), String::new());
                    row[at] = match index {
                        0 => name.to_owned(),
                        1 => date.to_owned(),
                        _ => String::new(),
                    };
                }
                put(&path, &rows);
            });
            let told = format!("{name} '{date}' ({table} ");
            assert_eq!(said.contains(&told) && said.contains("lies after the day of the report"), is_told, "{said}");
        }
    }
}

/// A table of the starter as sheets of one workbook, cell by cell as text.
fn as_workbook(plant: &Path, table: &str, sheets: &[&str], hidden_row: Option<u32>) {
    let path = plant.join(table);
    let rows = rows(&path);
    let mut book = rust_xlsxwriter::Workbook::new();
    for name in sheets {
        let sheet = book.add_worksheet().set_name(*name).unwrap();
        for (row, cells) in (0..).zip(&rows) {
            for (column, text) in (0..).zip(cells) {
                sheet.write_string(row, column, text).unwrap();
            }
        }
        if let Some(row) = hidden_row {
            sheet.set_row_hidden(row).unwrap();
        }
    }
    fs::remove_file(&path).unwrap();
    book.save(path.with_extension("xlsx")).unwrap();
}

/// A second sheet with the header of a table is told as a second file is.
#[test]
fn a_sheet_with_a_table_that_was_not_taken_is_told() {
    let (_, said) = of_starter(|plant| as_workbook(plant, "circuits.csv", &["new", "circuits"], None));
    let told = "Not read, though it may hold a part of the plant: circuits.xlsx, sheet 'new'. ";
    assert!(said.contains(told), "{said}");
    let (_, said) = of_starter(|plant| as_workbook(plant, "circuits.csv", &["circuits"], None));
    assert!(!said.contains("Not read"), "{said}");
}

/// Two values with a stroke between are no quotient: of a range nobody knows which end counts.
#[test]
fn a_range_is_not_read_as_a_fraction() {
    for (table, column, text) in [
        ("circuits.csv", "pressure_min", "85/110"),
        ("circuits.csv", "hold_time", "8/72"),
        ("lists/example.csv", "force_required", "2500/9000"),
        ("lists/example.csv", "stroke_used", "8/12"),
        ("lists/example.csv", "stroke_used", "9/4"),
    ] {
        let mut row = 0;
        let (status, said) = of_starter(|plant| {
            let clamp = |cells: &Vec<String>| cells.iter().any(|cell| cell == "C1");
            row = rows(&plant.join(table)).iter().position(clamp).unwrap_or(1);
            edit(plant, table, row, &[(column, text)]);
        });
        assert_eq!(status, 1, "{column} {text}: {said}");
        assert!(said.contains(text), "{column}: {said}");
    }
    let (status, said) = of_starter(|plant| {
        let clamp = |cells: &Vec<String>| cells.iter().any(|cell| cell == "C1");
        let row = rows(&plant.join("lists/example.csv")).iter().position(clamp).unwrap();
        edit(plant, "lists/example.csv", row, &[("stroke_used", "3/8 in")]);
    });
    assert_eq!(status, 0, "{said}");
}

/// A column under a blank header is none, and who reads the verdict has to know.
#[test]
fn cells_under_a_blank_header_are_told() {
    for (table, name) in [("lists/example.csv", "force_required"), ("components.csv", "min_pressure")] {
        let (_, said) = of_starter(|plant| rename(plant, table, name, ""));
        assert!(said.contains("1 header names no known column ('(no header)')"), "{name}: {said}");
        assert!(said.contains("The header cell is blank."), "{name}: {said}");
    }
    // A column without a cell is a gap between two blocks.
    let (_, said) = of_starter(|plant| {
        let path = plant.join("circuits.csv");
        let mut all = rows(&path);
        all.iter_mut().for_each(|row| row.insert(2, String::new()));
        put(&path, &all);
    });
    assert!(!said.contains("no header"), "{said}");
    let (_, said) = of_starter(|plant| {
        let text = "pallet,,rule,reason,approved_by,expires\nP01,P99,V01,trial,quality,2999-01-01\n";
        fs::write(plant.join("waivers.csv"), text.replacen("pallet,", ",", 1).replacen(",,rule", "pallet,,rule", 1))
            .unwrap();
    });
    assert!(said.contains("(no header)"), "{said}");
}

/// Units stand above a header as often as under it.
#[test]
fn a_row_of_units_above_the_header_gives_its_units() {
    let above = |units: &[(&str, &str)], name: &str, cell: &str| {
        of_starter(|plant| {
            let path = plant.join("lists/example.csv");
            let mut all = rows(&path);
            let at = column(&all, name);
            all[0][at] = name.to_owned();
            for row in all.iter_mut().skip(1).filter(|row| !row[at].is_empty()) {
                cell.clone_into(&mut row[at]);
            }
            let mut row = vec![String::new(); all[0].len()];
            for (name, unit) in units {
                let at = column(&all, name);
                (*unit).clone_into(&mut row[at]);
            }
            all.insert(0, row);
            put(&path, &all);
        })
    };
    let (status, said) = above(&[("force_required", "kN")], "force_required", "90");
    assert!(status == 1 && said.contains("F01") && said.contains("90000 N"), "{said}");
    // A title is none.
    let (_, said) = above(&[("part_no", "Fixture F1"), ("force_required", "kN")], "force_required", "90");
    assert!(!said.contains("90000 N"), "{said}");
}

/// What nobody sees on a sheet counts, and that is told.
#[test]
fn hidden_rows_that_were_read_are_told() {
    let (_, said) = of_starter(|plant| as_workbook(plant, "lists/example.csv", &["A"], Some(2)));
    let told = "Hidden parts were read and count: lists/example.xlsx, sheet 'A' (1 hidden row was read).";
    assert!(said.contains(told), "{said}");
    let (_, said) = of_starter(|plant| as_workbook(plant, "lists/example.csv", &["A"], None));
    assert!(!said.contains("Hidden parts"), "{said}");
}

/// A last line that has lost all but its numbers is no row of totals unless these are the sums of the rows above it.
#[test]
fn a_last_line_without_its_part_number_does_not_pass() {
    let last = |qty: &'static str, length: &'static str, note: &'static str| {
        move |plant: &Path| {
            let path = plant.join("lists/example.csv");
            let mut rows = rows(&path);
            let mut own = vec![String::new(); rows[0].len()];
            for (name, text) in [("qty", qty), ("length", length), ("note", note)] {
                let at = column(&rows, name);
                text.clone_into(&mut own[at]);
            }
            rows.push(own);
            put(&path, &rows);
        }
    };
    // 1 + 1 + 1 + 1 + 4 + 1 + 2 pieces in 7 lines, and 1500 + 400 mm in two of them.
    for (qty, length, note, passes) in [
        ("11", "", "", true),
        ("7", "", "", true),
        ("11", "1900", "", true),
        ("7", "2", "", true),
        ("2", "", "", false),
        ("11", "1500", "", false),
        ("", "800", "", false),
        ("2", "400", "", false),
        ("2", "400", "Total", true),
    ] {
        for is_workbook in [false, true] {
            let (status, said) = of_starter(|plant| {
                last(qty, length, note)(plant);
                if is_workbook {
                    as_workbook(plant, "lists/example.csv", &["A"], None);
                }
            });
            assert_eq!(status == 0, passes, "{qty} {length} {note} {is_workbook}: {said}");
        }
    }
}

/// What a cell shows counts: a rating in psi is none in bar.
#[test]
fn a_unit_in_a_number_format_is_not_passed_over() {
    let with_format = |code: &'static str| {
        of_starter(|plant| {
            let path = plant.join("components.csv");
            let rows = rows(&path);
            let at = column(&rows, "rated_pressure");
            let mut book = rust_xlsxwriter::Workbook::new();
            let sheet = book.add_worksheet();
            let format = rust_xlsxwriter::Format::new().set_num_format(code);
            for (row, cells) in (0_u32..).zip(&rows) {
                for (index, text) in cells.iter().enumerate() {
                    let column = u16::try_from(index).unwrap();
                    match text.parse::<f64>() {
                        Ok(number) if index == at => {
                            sheet.write_number_with_format(row, column, number, &format).unwrap();
                        }
                        _ => {
                            sheet.write_string(row, column, text).unwrap();
                        }
                    }
                }
            }
            fs::remove_file(&path).unwrap();
            book.save(path.with_extension("xlsx")).unwrap();
        })
    };
    for code in ["0.0", "0.0\" bar\"", "#,##0\\ [$bar]", "[Blue]0\" bar\";[Red]-0\" bar\""] {
        let (status, said) = with_format(code);
        assert_eq!(status, 0, "{code}: {said}");
    }
    for code in ["0\" psi\"", "0\" mm\"", "0\" mbar\"", "0%"] {
        let (status, said) = with_format(code);
        assert_ne!(status, 0, "{code}: {said}");
    }
}
