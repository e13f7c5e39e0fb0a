//! Cells of which a spreadsheet, or whoever filled them, shows something else than a number by itself.

use std::fs;
use std::io::Read as _;
use std::path::Path;

use super::{as_workbook, check, column, edit, of_starter, put, rename, rows};

/// The text of a part of a workbook, changed.
fn change_part(path: &Path, name: &str, change: impl Fn(&str) -> String) {
    let mut archive = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut parts = Vec::new();
    for index in 0..archive.len() {
        let mut part = archive.by_index(index).unwrap();
        let (own, mut bytes) = (part.name().unwrap().to_string(), Vec::new());
        part.read_to_end(&mut bytes).unwrap();
        let bytes = if own == name { change(std::str::from_utf8(&bytes).unwrap()).into_bytes() } else { bytes };
        parts.push((own, bytes));
    }
    let mut writer = zip::ZipWriter::new(fs::File::create(path).unwrap());
    for (own, bytes) in parts {
        writer.start_file(own, zip::write::SimpleFileOptions::default()).unwrap();
        std::io::Write::write_all(&mut writer, &bytes).unwrap();
    }
    writer.finish().unwrap();
}

/// The rating of the clamp as a text with runs: ECMA-376 part 1, 18.4.4.
fn with_runs(runs: &str) -> (i32, String) {
    of_starter(|plant| {
        let path = plant.join("components.csv");
        let row = rows(&path).iter().position(|row| row.contains(&"EX-CLAMP-20".to_owned())).unwrap();
        edit(plant, "components.csv", row, &[("rated_pressure", "@@")]);
        as_workbook(plant, "components.csv", &["A"], None);
        let book = path.with_extension("xlsx");
        change_part(&book, "xl/sharedStrings.xml", |text| {
            assert!(text.contains("<si><t>@@</t></si>"));
            text.replace("<si><t>@@</t></si>", &format!("<si>{runs}</si>"))
        });
    })
}

#[test]
fn a_number_with_letters_struck_out_or_raised_is_none() {
    let struck = "<rPr><strike/></rPr>";
    let raised = "<rPr><vertAlign val=\"superscript\"/></rPr>";
    for (runs, found) in [
        (format!("<r>{struck}<t>250</t></r><r><t>150</t></r>"), "250150"),
        (format!("<r><t>150</t></r><r>{raised}<t>1</t></r>"), "1501"),
        (format!("<r>{struck}<t>250</t></r>"), "250"),
    ] {
        let (status, said) = with_runs(&runs);
        assert_eq!(status, 1, "{runs}: {said}");
        assert!(said.contains(&format!("Found '{found}'")) && said.contains("struck out or raised"), "{runs}: {said}");
    }
    // The power of a unit is raised, and bold letters are as good as others.
    for runs in [
        format!("<r><t>25 N/mm</t></r><r>{raised}<t>2</t></r>"),
        "<r><rPr><b/><strike val=\"0\"/></rPr><t>25</t></r><r><t>0</t></r>".to_owned(),
    ] {
        let (status, said) = with_runs(&runs);
        assert_eq!(status, 0, "{runs}: {said}");
    }
}

/// The list as a workbook in which rows, or one cell of a row, are struck out.
fn struck(is_struck: impl Fn(usize, usize) -> bool) -> (i32, String) {
    of_starter(|plant| {
        let path = plant.join("lists/example.csv");
        let format = rust_xlsxwriter::Format::new().set_font_strikethrough();
        let mut book = rust_xlsxwriter::Workbook::new();
        let sheet = book.add_worksheet().set_name("A").unwrap();
        for (row, cells) in rows(&path).iter().enumerate() {
            for (column, text) in cells.iter().enumerate().filter(|(_, text)| !text.is_empty()) {
                let at = (u32::try_from(row).unwrap(), u16::try_from(column).unwrap());
                let plain = rust_xlsxwriter::Format::new();
                let format = if is_struck(row, column) { &format } else { &plain };
                match text.parse::<f64>() {
                    Ok(number) => sheet.write_number_with_format(at.0, at.1, number, format).unwrap(),
                    Err(_) => sheet.write_string_with_format(at.0, at.1, text, format).unwrap(),
                };
            }
        }
        fs::remove_file(&path).unwrap();
        book.save(path.with_extension("xlsx")).unwrap();
    })
}

#[test]
fn a_row_that_is_struck_out_is_told_as_a_hidden_one_is() {
    let (_, said) = struck(|row, _| row == 2);
    let told =
        "Hidden or struck-out parts were read and count: lists/example.xlsx, sheet 'A' (1 row struck out was read).";
    assert!(said.contains(told), "{said}");
    // The quantity of the check valve, or its part number alone.
    for (column, rule) in [(6, "L02"), (5, "L04")] {
        let (status, said) = struck(|row, at| row == 2 && at == column);
        assert!(status == 1 && said.contains(rule) && said.contains("struck out or raised"), "{column}: {said}");
    }
    let (status, said) = struck(|_, _| false);
    assert!(status == 0 && !said.contains("struck"), "{said}");
}

/// The starter with the clamp's part number in the list made by a number format, and two parts that it may be.
fn numbered(stored: f64, code: &str, parts: [&str; 2]) -> (i32, String) {
    of_starter(|plant| {
        let path = plant.join("components.csv");
        let mut all = rows(&path);
        let clamp = all.iter().position(|row| row[0] == "EX-CLAMP-20").unwrap();
        let rating = column(&all, "rated_pressure");
        let mut other = all[clamp].clone();
        parts[0].clone_into(&mut all[clamp][0]);
        parts[1].clone_into(&mut other[0]);
        "50".clone_into(&mut other[rating]);
        all.push(other);
        put(&path, &all);
        let orders = plant.join("orders.csv");
        let mut all = rows(&orders);
        all.iter_mut().filter(|row| row[0] == "EX-CLAMP-20").for_each(|row| parts[0].clone_into(&mut row[0]));
        put(&orders, &all);
        let path = plant.join("lists/example.csv");
        let mut book = rust_xlsxwriter::Workbook::new();
        let sheet = book.add_worksheet();
        let format = rust_xlsxwriter::Format::new().set_num_format(code);
        for (row, cells) in (0_u32..).zip(rows(&path)) {
            for (column, text) in (0_u16..).zip(cells) {
                match text.as_str() {
                    "EX-CLAMP-20" => sheet.write_number_with_format(row, column, stored, &format).unwrap(),
                    text => sheet.write_string(row, column, text).unwrap(),
                };
            }
        }
        fs::remove_file(&path).unwrap();
        book.save(path.with_extension("xlsx")).unwrap();
    })
}

/// Who looks at the sheet sees the part that is rated too low.
#[test]
fn a_part_number_is_what_its_cell_shows() {
    for (stored, code, other, shown) in [
        (4711.0, "000000", "4711", "004711"),
        (4711.0, "0\"-A\"", "4711", "4711-A"),
        (4711.0, "\"K\"0", "4711", "K4711"),
        (12_345_678.0, "0000-0000", "12345678", "1234-5678"),
        (120_000.0, "0.0E+00", "120000", "1.2E+05"),
    ] {
        let (status, said) = numbered(stored, code, [other, shown]);
        assert!(status == 1 && said.contains(&format!("part {shown}")), "{code}: {said}");
    }
    // Without such a part the number in powers of ten may stand for many.
    let (status, said) = numbered(120_000.0, "0.0E+00", ["120000", "X"]);
    assert!(status == 1 && said.contains("L05"), "{said}");
    for code in ["0", "#,##0", "0.00", "General"] {
        let (status, said) = numbered(4711.0, code, ["4711", "004711"]);
        assert_eq!(status, 0, "{code}: {said}");
    }
}

/// One value behind the other: `150 250` bar would be 150,250 bar.
#[test]
fn two_values_in_a_cell_are_no_number() {
    let rated = |text: &'static str| {
        of_starter(|plant| {
            let path = plant.join("components.csv");
            let row = rows(&path).iter().position(|row| row.contains(&"EX-CLAMP-20".to_owned())).unwrap();
            edit(plant, "components.csv", row, &[("rated_pressure", text)]);
        })
    };
    for text in ["150 250", "250 150", "250 150 bar"] {
        let (status, said) = rated(text);
        assert!(status == 1 && said.contains("L04") && said.contains("or two numbers"), "{text}: {said}");
    }
    let (status, said) = rated("1 250");
    assert_eq!(status, 0, "{said}");
}

/// A force of `9.000` N among lengths of `0.5` mm may have been meant as nine thousand.
#[test]
fn a_number_that_only_other_columns_decide_is_told() {
    let force = |text: &'static str, length: &'static str| {
        of_starter(|plant| {
            let path = plant.join("lists/example.csv");
            let row = rows(&path).iter().position(|row| row.contains(&"C1".to_owned())).unwrap();
            edit(plant, "lists/example.csv", row, &[("force_required", text)]);
            edit(plant, "lists/example.csv", row + 1, &[("length", length)]);
        })
    };
    let told = "no cell of its own column says, so that other columns of the file decide: lists/example.csv, column L (force_required)";
    let (status, said) = force("9.000", "1500.5");
    assert!(status == 0 && said.contains(told), "{said}");
    for text in ["9000", "9.0", "0.125", "9.125"] {
        assert!(!force(text, "1500.5").1.contains("no cell of its own column says"), "{text}");
    }
}

/// NIST SP 811, appendix B: 5/8 in = 15.875 mm; 0.625 mm is what the fraction would be in the column's unit.
#[test]
fn a_fraction_without_a_unit_is_no_length_in_millimetres() {
    let stroke = |text: &'static str| {
        of_starter(|plant| {
            let path = plant.join("lists/example.csv");
            let row = rows(&path).iter().position(|row| row.contains(&"C1".to_owned())).unwrap();
            edit(plant, "lists/example.csv", row, &[("stroke_used", text)]);
        })
    };
    for text in ["5/8", "1 1/4", "½"] {
        let (status, said) = stroke(text);
        let wanted = format!("a fraction is one of an inch: write '{text} in' where it is");
        assert!(status == 1 && said.contains(&wanted), "{text}: {said}");
    }
    assert_eq!(stroke("3/8 in").0, 0);
}

#[test]
fn a_word_behind_a_plain_numbers_header_ends_the_run() {
    for (table, name, header, word) in [
        ("lists/example.csv", "qty", "qty [pairs]", "pairs"),
        ("components.csv", "lead_time", "lead_time [Wochen]", "Wochen"),
        ("orders.csv", "qty", "qty [packs]", "packs"),
    ] {
        let (status, said) = of_starter(|plant| rename(plant, table, name, header));
        assert!(status == 2 && said.contains(&format!("'{word}' may make it another one")), "{header}: {said}");
    }
    let (status, said) = of_starter(|plant| rename(plant, "lists/example.csv", "qty", "qty (Stück)"));
    assert_eq!(status, 0, "{said}");
}

/// A number with a word behind it is what the same text in the cell would be.
#[test]
fn a_word_in_a_number_format_is_not_passed_over() {
    let hold = |code: &'static str| {
        of_starter(|plant| {
            let path = plant.join("circuits.csv");
            let all = rows(&path);
            let at = column(&all, "hold_time");
            let mut book = rust_xlsxwriter::Workbook::new();
            let sheet = book.add_worksheet();
            let format = rust_xlsxwriter::Format::new().set_num_format(code);
            for (row, cells) in (0_u32..).zip(&all) {
                for (index, text) in cells.iter().enumerate() {
                    let column = u16::try_from(index).unwrap();
                    match text.parse::<f64>() {
                        Ok(number) if index == at => {
                            sheet.write_number_with_format(row, column, number, &format).unwrap()
                        }
                        _ => sheet.write_string(row, column, text).unwrap(),
                    };
                }
            }
            fs::remove_file(&path).unwrap();
            book.save(path.with_extension("xlsx")).unwrap();
        })
    };
    for code in ["0\" days\"", "0 \"Tage\"", "0\" shifts\""] {
        let (status, said) = hold(code);
        assert!(status == 1 && said.contains("L04"), "{code}: {said}");
    }
    // In front stands what the number is called: it counts, and that is told.
    let (status, said) = hold("\"about \"0");
    assert!(status == 0 && said.contains("shows a text beside it that is no known unit"), "{said}");
}

/// Circuits use the one or the other.
#[test]
fn a_fluid_of_another_case_ends_the_run() {
    let fluid = |name: &str| {
        let name = name.to_owned();
        of_starter(move |plant| {
            let path = plant.join("policy.toml");
            let text = fs::read_to_string(&path).unwrap_or_default();
            fs::write(&path, format!("{text}\n[fluids.{name}]\nthermal_expansion = 2.0e-3\n")).unwrap();
        })
    };
    let (status, said) = fluid("Default");
    assert!(status == 2 && said.contains("fluids.Default: found a name that differs from [fluids.default]"), "{said}");
    assert_eq!(fluid("other").0, 0);
}

/// A span of time and a formula without a result are told as the sheet shows them.
#[test]
fn a_time_and_a_formula_say_what_is_to_be_done() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    super::write(&plant, super::Form::Csv, super::UnitSystem::Metric).unwrap();
    let path = plant.join("circuits.csv");
    let all = rows(&path);
    let (hold, set) = (column(&all, "hold_time"), column(&all, "pressure_min"));
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    let format = rust_xlsxwriter::Format::new().set_num_format("[h]:mm");
    for (row, cells) in (0_u32..).zip(&all) {
        for (index, text) in cells.iter().enumerate() {
            let column = u16::try_from(index).unwrap();
            // 30 h are a day and a quarter.
            match index {
                _ if row == 1 && index == hold => sheet.write_number_with_format(row, column, 1.25, &format).unwrap(),
                _ if row == 1 && index == set => {
                    sheet.write_formula(row, column, rust_xlsxwriter::Formula::new("=2*50").set_result("")).unwrap()
                }
                _ => sheet.write_string(row, column, text).unwrap(),
            };
        }
    }
    fs::remove_file(&path).unwrap();
    book.save(path.with_extension("xlsx")).unwrap();
    change_part(&path.with_extension("xlsx"), "xl/worksheets/sheet1.xml", |text| {
        let (before, after) = text.split_once("<f>2*50</f>").unwrap();
        let (_, after) = after.split_once("</c>").unwrap();
        let (start, cell) = before.rsplit_once("<c ").unwrap();
        format!("{start}<c {}<f>2*50</f></c>{after}", cell.replace(" t=\"str\"", ""))
    });
    let (status, said) = check(&plant);
    assert_eq!(status, 1, "{said}");
    assert!(said.contains("hold_time '30:00'") && said.contains("write '30 h'"), "{said}");
    assert!(said.contains("the file holds no result of the formula"), "{said}");
}
