//! The workbook carries no colour, nothing that hides behind one, and nothing that runs.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "a test fails by it")]

#[path = "specimen/audit.rs"]
mod specimen;

use std::collections::BTreeMap;
use std::fs;
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};
use std::process::Command;

use calamine::{Reader as _, Xlsx};
use clampbook::audit::outcome::Audit;
use clampbook::circuit::audited::CircuitAudit;
use clampbook::physics::quantity::Temperature;
use clampbook::physics::unit::UnitSystem;
use clampbook::report::cards::{GaugeRow, GaugeRows, write_cards};
use clampbook::report::workbook::{Paper, Sheets, WorkbookOptions, write};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

type Parts = BTreeMap<String, String>;

fn parts(bytes: Vec<u8>) -> Parts {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip archive");
    let names: Vec<String> = archive.file_names().map(|name| name.expect("a name").into_owned()).collect();
    names
        .into_iter()
        .map(|name| {
            let mut text = String::new();
            archive.by_name(&name).expect("a part").read_to_string(&mut text).expect("XML text");
            (name, text)
        })
        .collect()
}

fn workbook(audit: &Audit, options: &WorkbookOptions) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    write(audit, options, &mut bytes).expect("a workbook");
    bytes.into_inner()
}

fn cards(audit: &Audit) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    let gauges = |circuit: &CircuitAudit, at: &[Temperature]| {
        let charge = circuit.figures.clamp.chain.charge;
        let readings =
            at.iter().map(|_| GaugeRow { lowest: charge, settled: charge, highest: None, is_within: true }).collect();
        vec![GaugeRows { position: "G".to_owned(), is_gauge: true, readings, ..GaugeRows::default() }]
    };
    write_cards(audit, &WorkbookOptions::default(), &gauges, &mut bytes).expect("load cards");
    bytes.into_inner()
}

/// Runs the program in a folder; the workbooks that it is to have written there.
fn written(folder: &Path, arguments: &[&str], files: &[&str]) -> Vec<Parts> {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("the program");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{arguments:?}: {said}");
    files
        .iter()
        .map(|file| parts(fs::read(folder.join(file)).unwrap_or_else(|error| panic!("{file}: {error}: {said}"))))
        .collect()
}

/// Workbook, cards, the workbooks of the changed copy and the starter, as the program writes them.
fn workbooks_of_the_program() -> Vec<Parts> {
    let sample = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/plant");
    let folder = tempfile::tempdir().expect("a folder");
    let outputs = ["--out", "audit.xlsx", "--cards", "cards.xlsx", "--apply-remedies", "applied"];
    let check = [&["check", sample, "--sure", "--quiet"], outputs.as_slice()].concat();
    let mut all = written(folder.path(), &check, &["audit.xlsx", "cards.xlsx"]);
    let copied = workbooks_below(&folder.path().join("applied"));
    assert!(!copied.is_empty(), "the changed copy has no workbook");
    all.extend(copied.iter().map(|path| parts(fs::read(path).expect("a workbook of the copy"))));
    all.extend(written(
        folder.path(),
        &["check", sample, "--only", "purchase", "--out", "buy.xlsx", "--quiet"],
        &["buy.xlsx"],
    ));
    let data = ["--data", "earlier", "--no-remedies", "--quiet"];
    written(folder.path(), &[&["check", sample], data.as_slice()].concat(), &[]);
    let month = ["--previous", "earlier", "--sure", "--out", "month.xlsx", "--quiet"];
    all.extend(written(folder.path(), &[&["check", sample], month.as_slice()].concat(), &["month.xlsx"]));
    fs::create_dir(folder.path().join("new")).expect("a folder");
    written(folder.path(), &["starter", "new", "--xlsx"], &[]);
    let started = workbooks_below(&folder.path().join("new"));
    assert_eq!(started.len(), 1, "{started:?}");
    all.extend(started.iter().map(|path| parts(fs::read(path).expect("the starter"))));
    all
}

fn workbooks_below(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(workbooks_below(&path));
        } else if path.extension().is_some_and(|ending| ending == "xlsx") {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn every_workbook() -> Vec<Parts> {
    let mut all = workbooks_of_the_program();
    for units in [UnitSystem::Metric, UnitSystem::Us] {
        let audit = specimen::audit(0.90, units);
        all.push(parts(workbook(&audit, &WorkbookOptions::default())));
        let purchase = WorkbookOptions { only: Sheets::Purchase, ..WorkbookOptions::default() };
        all.push(parts(workbook(&audit, &purchase)));
        all.push(parts(cards(&audit)));
    }
    all
}

fn elements(xml: &str, mut look: impl FnMut(&str, &BTreeMap<String, String>)) {
    let mut reader = Reader::from_str(xml);
    let mut visit = |start: &BytesStart| {
        let name = String::from_utf8_lossy(start.local_name().as_ref()).into_owned();
        let attributes = start
            .attributes()
            .map(|attribute| {
                let attribute = attribute.expect("an attribute");
                let key = String::from_utf8_lossy(attribute.key.local_name().as_ref()).into_owned();
                (key, String::from_utf8_lossy(&attribute.value).into_owned())
            })
            .collect();
        look(&name, &attributes);
    };
    loop {
        match reader.read_event().expect("well-formed XML") {
            Event::Start(start) | Event::Empty(start) => visit(&start),
            Event::Eof => break,
            _ => {}
        }
    }
}

fn is_black_or_white(colour: &str) -> bool {
    let digits = if colour.len() == 8 { &colour[2..] } else { colour };
    digits == "000000" || digits.eq_ignore_ascii_case("FFFFFF")
}

#[test]
fn no_part_names_a_colour_but_black_and_white() {
    for parts in every_workbook() {
        for (part, xml) in parts.iter().filter(|(part, _)| !part.contains("_rels/")) {
            elements(xml, |element, attributes| {
                if let Some(rgb) = attributes.get("rgb") {
                    assert!(is_black_or_white(rgb), "{part}: {element} rgb={rgb}");
                }
                if let Some(theme) = attributes.get("theme") {
                    assert!(theme == "0" || theme == "1", "{part}: {element} theme={theme}");
                }
                assert!(!attributes.contains_key("indexed"), "{part}: {element} has an indexed colour");
                match element {
                    "srgbClr" => assert!(is_black_or_white(&attributes["val"]), "{part}: {attributes:?}"),
                    "sysClr" => assert!(is_black_or_white(&attributes["lastClr"]), "{part}: {attributes:?}"),
                    "schemeClr" => assert_eq!(attributes["val"], "phClr", "{part}"),
                    "prstClr" | "hslClr" | "scrgbClr" | "tabColor" | "gradFill" | "gradientFill" => {
                        panic!("{part} has <{element}>");
                    }
                    _ => {}
                }
            });
        }
    }
}

/// What is no workbook: the calendar, and the mail with its page. (Its picture: `tests/mail.rs`.)
#[test]
fn calendar_and_mail_name_no_colour() {
    let sample = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/plant");
    let folder = tempfile::tempdir().expect("a folder");
    let outputs = ["--out", "audit.xlsx", "--data", "data", "--ical", "due.ics", "--quiet"];
    written(folder.path(), &[&["check", sample], outputs.as_slice()].concat(), &["audit.xlsx"]);
    let mail = ["--to", "a@example.com", "--from", "b@example.com", "--eml", "mail.eml"];
    written(folder.path(), &[&["mail", "audit.xlsx", "--data", "data"], mail.as_slice()].concat(), &[]);
    let bytes = fs::read(folder.path().join("mail.eml")).expect("the mail");
    let message = mail_parser::MessageParser::default().parse(&bytes).expect("a mail");
    let calendar = fs::read_to_string(folder.path().join("due.ics")).expect("the calendar");
    assert!(calendar.contains("BEGIN:VEVENT"));
    let texts =
        [calendar, message.body_html(0).expect("HTML").into_owned(), message.body_text(0).expect("text").into_owned()];
    for text in texts.map(|text| text.to_lowercase()) {
        for word in ["color", "colour", "background", "bgcolor", "rgb(", "hsl(", "<font", "#0", "#f"] {
            assert!(!text.contains(word), "{word}\n{text}");
        }
    }
}

#[test]
fn no_solid_fill_no_table_style_no_notes_no_merged_cells() {
    for parts in every_workbook() {
        let styles = &parts["xl/styles.xml"];
        elements(styles, |element, attributes| {
            if element == "patternFill" {
                assert_ne!(attributes.get("patternType").map(String::as_str), Some("solid"));
            }
            if element == "tableStyles" {
                assert_eq!(attributes["count"], "0");
            }
            assert_ne!(element, "dxf", "a conditional format may bring a colour");
        });
        for (part, xml) in &parts {
            for word in ["vmlDrawing", "comments", "xl/tables", "media"] {
                assert!(!part.contains(word), "{part}");
            }
            if part.starts_with("xl/worksheets/sheet") {
                // Tables are sorted and filtered, which merged cells forbid but for those of the sentence above the
                // header; Summary and a card are only read and printed.
                let has_tables =
                    parts["xl/workbook.xml"].contains("name=\"Summary\"") && part != "xl/worksheets/sheet1.xml";
                elements(xml, |element, attributes| {
                    let row = |range: &str| range.chars().rev().take_while(char::is_ascii_digit).collect::<String>();
                    let is_in_table = element == "mergeCell" && row(&attributes["ref"]) != "1";
                    assert!(
                        !(matches!(element, "conditionalFormatting" | "legacyDrawing") || is_in_table && has_tables),
                        "{part}: {element}"
                    );
                });
            }
        }
    }
}

#[test]
fn every_line_and_fill_of_a_chart_is_set() {
    let parts = parts(workbook(&specimen::audit(0.90, UnitSystem::Metric), &WorkbookOptions::default()));
    let charts: Vec<&String> =
        parts.iter().filter(|(part, _)| part.starts_with("xl/charts/chart")).map(|(_, xml)| xml).collect();
    assert!(charts.len() >= 4);
    for xml in charts {
        let (mut series, mut formats) = (0, 0);
        for part in xml.split("<c:ser>").skip(1) {
            series += 1;
            let head = part.split("<c:cat>").next().expect("a series");
            formats += usize::from(head.contains("<c:spPr>") && head.contains("000000"));
        }
        assert!(series > 0 && series == formats, "{formats} of {series} series have a format");
        for axis in ["<c:catAx>", "<c:valAx>"] {
            for part in xml.split(axis).skip(1) {
                assert!(part.contains("<c:spPr>"), "an axis without a line of its own");
            }
        }
    }
    let drawings = parts.iter().filter(|(part, _)| part.starts_with("xl/drawings/drawing"));
    for (part, xml) in drawings {
        elements(xml, |element, attributes| {
            if element == "cNvPr" {
                assert!(!attributes.get("descr").expect("alternative text").is_empty(), "{part}");
            }
        });
    }
}

#[test]
fn text_of_the_user_stays_text() {
    let parts = parts(workbook(&specimen::audit(0.90, UnitSystem::Metric), &WorkbookOptions::default()));
    let strings = &parts["xl/sharedStrings.xml"];
    for text in ["=1+1", "@CL-1", "+12", "-5", "http://example.org", "tab\\there, bell\\u{7}", "_x005F_x0041_"] {
        assert!(strings.contains(text), "{text} is not a shared string");
    }
    assert!(strings.contains("cut: too long for a cell"));
    let mut links = 0;
    for (part, xml) in parts.iter().filter(|(part, _)| part.starts_with("xl/worksheets/sheet")) {
        assert!(!xml.contains("HYPERLINK"), "{part}");
        elements(xml, |element, attributes| {
            if element == "hyperlink" {
                links += 1;
                assert!(
                    attributes.contains_key("location") && !attributes.contains_key("id"),
                    "{part}: {attributes:?}"
                );
            }
        });
    }
    assert!(links > 10, "Findings leads to Lines and Circuits by {links} links");
    assert!(!parts.iter().any(|(part, xml)| part.contains("_rels/") && xml.contains("example.org")));
}

#[test]
fn the_same_inputs_give_the_same_bytes() {
    let audit = specimen::audit(0.90, UnitSystem::Metric);
    let once = workbook(&audit, &WorkbookOptions::default());
    assert!(once == workbook(&audit, &WorkbookOptions::default()));
    assert!(cards(&audit) == cards(&audit));
}

#[test]
fn sheets_go_on_where_a_sheet_is_full() {
    let audit = specimen::audit(0.90, UnitSystem::Metric);
    let options = WorkbookOptions { row_limit: 5, ..WorkbookOptions::default() };
    let parts = parts(workbook(&audit, &options));
    let book = &parts["xl/workbook.xml"];
    for name in ["Lines", "Lines 2", "Circuits", "Circuits 6", "Findings 2"] {
        assert!(book.contains(&format!("name=\"{name}\"")), "no sheet {name}");
    }
    assert!(!book.contains("name=\"Lines 3\""));
}

#[test]
fn pages_are_laid_out_for_print() {
    for (units, paper) in [(UnitSystem::Metric, "9"), (UnitSystem::Us, "1")] {
        let parts = parts(workbook(&specimen::audit(0.90, units), &WorkbookOptions::default()));
        let book = &parts["xl/workbook.xml"];
        let sheets: Vec<_> = parts.iter().filter(|(part, _)| part.starts_with("xl/worksheets/sheet")).collect();
        assert_eq!(book.matches("_xlnm.Print_Area").count(), sheets.len());
        for (part, xml) in sheets {
            elements(xml, |element, attributes| {
                if element == "pageSetup" {
                    // Letter is the format's default and may be left out.
                    assert_eq!(attributes.get("paperSize").map_or("1", String::as_str), paper, "{part}");
                }
            });
            assert!(xml.contains("<pageSetup") && xml.contains("&amp;P"), "{part}");
        }
    }
}

/// Basis tells which paper was taken, and what chose it.
#[test]
fn the_paper_is_stated_with_its_reason() {
    let by_units = "chosen by units: A4 where metric, Letter where us";
    for (units, asked, wanted) in [
        (UnitSystem::Metric, None, ["A4", by_units]),
        (UnitSystem::Us, None, ["Letter", by_units]),
        (UnitSystem::Metric, Some(Paper::Letter), ["Letter", "asked for in this run"]),
    ] {
        let options = WorkbookOptions { paper: asked, ..WorkbookOptions::default() };
        let mut book: Xlsx<_> =
            Xlsx::new(Cursor::new(workbook(&specimen::audit(0.90, units), &options))).expect("a workbook");
        let basis = book.worksheet_range("Basis").expect("the sheet Basis");
        let row: Vec<String> = basis
            .rows()
            .map(|row| row.iter().map(ToString::to_string).collect())
            .find(|row: &Vec<String>| row[0] == "paper")
            .expect("a row for the paper");
        assert_eq!([row[1].as_str(), row[4].as_str()], wanted);
    }
}
