//! The same plant in every form that a table may have, in metric and in US units, must come to
//! the same figures and findings.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;

use clampbook::physics::unit::{DEG_C, DEG_F, S, Unit, UnitSystem, UnitUse};
use clampbook::tables::column::{Column, DefaultUnit, Holds, Table};
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};

/// A table: its name below the plant folder, its known columns, its rows as decimal-point text.
struct Grid {
    name: String,
    columns: Vec<Option<&'static Column>>,
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

fn sample() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/plant"))
}

fn grid(path: &Path, name: &str, table: Table) -> Grid {
    let text = fs::read_to_string(path).unwrap().trim_start_matches('\u{feff}').to_owned();
    let text = text.strip_prefix("sep=;").map_or(text.clone(), |rest| rest.trim_start().to_owned());
    // Two names with letters beyond ASCII, so that the encodings differ.
    let text = text.replace("Tarnholm", "Tärnhölm").replace("Lindqvale", "Lindqväle");
    let head = text.lines().next().unwrap();
    let delimiter = *b",;\t".iter().max_by_key(|sign| head.bytes().filter(|byte| byte == *sign).count()).unwrap();
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(delimiter).from_reader(text.as_bytes());
    let mut rows: Vec<Vec<String>> =
        reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    // What stands above the header or is no whole row is tried by other tests.
    let width = rows.iter().map(Vec::len).max().unwrap();
    rows.retain(|row| row.len() == width && !row.iter().all(String::is_empty));
    let is_header = |row: &Vec<String>| {
        row.iter().any(|cell| {
            column(table, cell)
                .is_some_and(|found| found.name == "part_no" || found.name == "fixture" || found.name == "station")
        })
    };
    let at = rows.iter().position(is_header).unwrap_or_else(|| panic!("{name} has no header"));
    let header = rows.drain(..=at).next_back().unwrap();
    let columns: Vec<_> = header.iter().map(|text| column(table, text)).collect();
    if delimiter == b';' {
        for row in &mut rows {
            for (cell, column) in row.iter_mut().zip(&columns) {
                let pointed = cell.replace(',', ".");
                if column.is_some_and(is_numeric) && pointed.parse::<f64>().is_ok() {
                    *cell = pointed;
                }
            }
        }
    }
    Grid { name: name.to_owned(), columns, header, rows }
}

fn column(table: Table, header: &str) -> Option<&'static Column> {
    let name = header.split(['[', '(']).next().unwrap().to_lowercase();
    let fold = |text: &str| text.chars().filter(|letter| letter.is_alphanumeric()).collect::<String>();
    let name = if fold(&name) == "stockno" { "partno".to_owned() } else { fold(&name) };
    table.columns().iter().find(|column| fold(column.name) == name)
}

const fn is_numeric(column: &Column) -> bool {
    matches!(column.holds, Holds::Number | Holds::Quantity(..) | Holds::Temperature | Holds::Share | Holds::Money)
}

/// Every table of the sample whose rows are text: its workbook is left out of all forms alike.
fn grids() -> Vec<Grid> {
    let tables = [
        ("components", Table::Components),
        ("circuits", Table::Circuits),
        ("stations", Table::Stations),
        ("orders", Table::Orders),
        ("waivers", Table::Waivers),
    ];
    let mut grids: Vec<Grid> =
        tables.iter().map(|(name, table)| grid(&sample().join(format!("{name}.csv")), name, *table)).collect();
    let mut lists: Vec<_> = fs::read_dir(sample().join("lists")).unwrap().map(|entry| entry.unwrap().path()).collect();
    lists.sort();
    for path in lists.iter().filter(|path| path.extension().is_some_and(|ending| ending != "xlsx")) {
        let name = format!("lists/{}", path.file_stem().unwrap().to_str().unwrap());
        grids.push(grid(path, &name, Table::Lists));
    }
    assert!(grids.len() >= 10);
    grids
}

/// The unit that a column's cells are in, by its header or the metric policy.
fn unit_of(header: &str, column: &Column) -> Option<&'static Unit> {
    if let Some((_, rest)) = header.rsplit_once(['[', '('])
        && let Some(unit) = Unit::find(rest.trim_end_matches([']', ')']))
    {
        return Some(unit);
    }
    default_unit(column, UnitSystem::Metric)
}

fn default_unit(column: &Column, system: UnitSystem) -> Option<&'static Unit> {
    Some(match column.holds {
        Holds::Temperature if system == UnitSystem::Us => &DEG_F,
        Holds::Temperature => &DEG_C,
        Holds::Quantity(_, DefaultUnit::Seconds) => &S,
        Holds::Quantity(_, DefaultUnit::Fixed(symbol)) => Unit::find(symbol).unwrap(),
        Holds::Quantity(dimension, DefaultUnit::LeakFlow) => Unit::default_for(dimension, system, UnitUse::Leak),
        Holds::Quantity(dimension, _) => Unit::default_for(dimension, system, UnitUse::Usual),
        _ => return None,
    })
}

/// The table in US units; the header names them, or leaves them to the policy.
fn in_us_units(grid: &Grid, named: bool) -> Grid {
    let mut us = Grid {
        name: grid.name.clone(),
        columns: grid.columns.clone(),
        header: grid.header.clone(),
        rows: grid.rows.clone(),
    };
    for (index, column) in grid.columns.iter().enumerate() {
        let Some(column) = column else { continue };
        let Some(from) = unit_of(&grid.header[index], column) else { continue };
        let to = default_unit(column, UnitSystem::Us).unwrap();
        us.header[index] = if named { format!("{} [{}]", column.name, to.symbol) } else { column.name.to_owned() };
        for row in &mut us.rows {
            if let Ok(number) = row[index].parse::<f64>() {
                row[index] = to.from_si(from.to_si(number)).to_string();
            }
        }
    }
    us
}

fn delimited(grid: &Grid, delimiter: char, decimal: char) -> String {
    let mut text = String::new();
    for (number, row) in std::iter::once(&grid.header).chain(&grid.rows).enumerate() {
        for (index, cell) in row.iter().enumerate() {
            let is_number = number > 0 && grid.columns[index].is_some_and(is_numeric) && cell.parse::<f64>().is_ok();
            let cell = if is_number { cell.replace('.', &decimal.to_string()) } else { cell.clone() };
            let sign = if index == 0 { String::new() } else { delimiter.to_string() };
            if cell.contains([delimiter, '"', '\n']) {
                write!(text, "{sign}\"{}\"", cell.replace('"', "\"\"")).unwrap();
            } else {
                write!(text, "{sign}{cell}").unwrap();
            }
        }
        text.push_str("\r\n");
    }
    text
}

/// What a cell of a sheet is.
enum Sheet<'a> {
    Blank,
    Number(f64),
    Date(&'a str),
    Text(&'a str),
}

fn sheet_cell<'a>(cell: &'a str, column: Option<&Column>) -> Sheet<'a> {
    match (column, cell.parse::<f64>()) {
        _ if cell.is_empty() => Sheet::Blank,
        (Some(column), Ok(number)) if is_numeric(column) => Sheet::Number(number),
        (Some(column), _) if column.holds == Holds::Date && ExcelDateTime::parse_from_str(cell).is_ok() => {
            Sheet::Date(cell)
        }
        _ => Sheet::Text(cell),
    }
}

fn xlsx(grid: &Grid) -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    let day = Format::new().set_num_format("yyyy-mm-dd");
    for (at, text) in (0..).zip(&grid.header) {
        sheet.write_string(0, at, text).unwrap();
    }
    for (number, row) in (1..).zip(&grid.rows) {
        for ((at, cell), column) in (0..).zip(row).zip(&grid.columns) {
            match sheet_cell(cell, *column) {
                Sheet::Blank => continue,
                Sheet::Number(value) => sheet.write_number(number, at, value).unwrap(),
                Sheet::Date(text) => {
                    let date = ExcelDateTime::parse_from_str(text).unwrap();
                    sheet.write_datetime_with_format(number, at, date, &day).unwrap()
                }
                Sheet::Text(text) => sheet.write_string(number, at, text).unwrap(),
            };
        }
    }
    book.save_to_buffer().unwrap()
}

fn ods(grid: &Grid) -> Vec<u8> {
    let escaped = |text: &str| text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let cell = |sheet: Sheet| match sheet {
        Sheet::Blank => "<table:table-cell/>".to_owned(),
        Sheet::Number(value) => format!("<table:table-cell office:value-type=\"float\" office:value=\"{value}\"/>"),
        Sheet::Date(text) => format!("<table:table-cell office:value-type=\"date\" office:date-value=\"{text}\"/>"),
        Sheet::Text(text) => {
            format!(
                "<table:table-cell office:value-type=\"string\"><text:p>{}</text:p></table:table-cell>",
                escaped(text)
            )
        }
    };
    let mut body = String::new();
    for (number, row) in std::iter::once(&grid.header).chain(&grid.rows).enumerate() {
        body.push_str("<table:table-row>");
        for (text, column) in row.iter().zip(&grid.columns) {
            body.push_str(&cell(if number == 0 { Sheet::Text(text) } else { sheet_cell(text, *column) }));
        }
        body.push_str("</table:table-row>");
    }
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for (part, text) in [
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet".to_owned()),
        ("META-INF/manifest.xml", "<?xml version=\"1.0\"?><manifest:manifest xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\"/>".to_owned()),
        ("content.xml", format!("<?xml version=\"1.0\"?><office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"Sheet1\">{body}</table:table></office:spreadsheet></office:body></office:document-content>")),
    ] {
        archive.start_file(part, options).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

fn utf16(text: &str) -> Vec<u8> {
    [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
}

fn windows_1252(text: &str) -> Vec<u8> {
    let (bytes, _, is_lossy) = encoding_rs::WINDOWS_1252.encode(text);
    assert!(!is_lossy);
    bytes.into_owned()
}

type Form = (&'static str, &'static str, fn(&Grid) -> Vec<u8>);

const FORMS: [Form; 6] = [
    ("commas", "csv", |grid| delimited(grid, ',', '.').into_bytes()),
    ("semicolons", "csv", |grid| delimited(grid, ';', ',').into_bytes()),
    ("utf-16", "csv", |grid| utf16(&delimited(grid, '\t', '.'))),
    ("windows-1252", "csv", |grid| windows_1252(&delimited(grid, ';', ','))),
    ("xlsx", "xlsx", xlsx),
    ("ods", "ods", ods),
];

type Rows = Vec<Vec<String>>;

/// A finding, whatever units it is told in.
#[derive(Debug)]
struct Finding {
    /// Rule, severity, state and the place.
    place: Vec<String>,
    /// Measured and limit in SI units, with the unit where it has no other system's like.
    figures: [Option<f64>; 2],
    unit: String,
    has_remedy: bool,
}

impl Finding {
    fn of(row: &[String]) -> Self {
        let unit = Unit::find(&row[12]);
        let figure = |text: &str| {
            let number =
                (!text.is_empty()).then(|| text.parse::<f64>().unwrap_or_else(|_| panic!("{text} in {row:?}")));
            number.map(|number| unit.map_or(number, |unit| unit.to_si(number)))
        };
        Self {
            place: row[..10].to_vec(),
            figures: [figure(&row[10]), figure(&row[11])],
            unit: if unit.is_some() { String::new() } else { row[12].clone() },
            has_remedy: !row[14].is_empty(),
        }
    }
}

fn assert_same_findings(found: &[Finding], wanted: &[Finding], what: &str) {
    let places = |findings: &[Finding]| findings.iter().map(|finding| finding.place.clone()).collect::<Vec<_>>();
    assert_eq!(places(found), places(wanted), "{what}");
    for (found, wanted) in found.iter().zip(wanted) {
        assert_eq!((&found.unit, found.has_remedy), (&wanted.unit, wanted.has_remedy), "{what}: {wanted:?}");
        for (one, other) in found.figures.iter().zip(wanted.figures) {
            let is_same = match (one, other) {
                (Some(one), Some(other)) => (one - other).abs() <= 1e-9 * one.abs().max(other.abs()),
                (one, other) => one.is_none() && other.is_none(),
            };
            assert!(is_same, "{what}: {found:?} and {wanted:?}");
        }
    }
}

/// What a check of the plant in one form says: circuits, purchasing, findings.
fn checked(grids: &[Grid], (name, ending, written): Form, us_policy: bool) -> (Rows, Rows, Vec<Finding>) {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    for grid in grids {
        fs::write(plant.join(format!("{}.{ending}", grid.name)), written(grid)).unwrap();
    }
    let policy = fs::read_to_string(sample().join("policy.toml")).unwrap();
    assert!(policy.contains("units = \"metric\""));
    let policy = if us_policy { policy.replace("units = \"metric\"", "units = \"us\"") } else { policy };
    fs::write(plant.join("policy.toml"), policy).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .current_dir(folder.path())
        .args(["check", "plant", "--data", "data"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{name}: {}", String::from_utf8_lossy(&output.stderr));
    let rows = |file: &str| -> Rows {
        let mut reader = csv::Reader::from_path(folder.path().join("data").join(file)).unwrap();
        reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
    };
    let mut findings: Vec<Finding> = rows("findings.csv").iter().map(|row| Finding::of(row)).collect();
    // By rule, severity, state and place: the files' names, and so the order, differ.
    findings.sort_by(|one, other| one.place.cmp(&other.place));
    (rows("circuits.csv"), rows("purchase.csv"), findings)
}

fn assert_same(found: &Rows, wanted: &Rows, what: &str) {
    assert_eq!(found.len(), wanted.len(), "{what}");
    for (found, wanted) in found.iter().zip(wanted) {
        for (at, (one, other)) in found.iter().zip(wanted).enumerate() {
            match (one.parse::<f64>(), other.parse::<f64>()) {
                (Ok(one), Ok(other)) => assert!(
                    (one - other).abs() <= 1e-9 * one.abs().max(other.abs()),
                    "{what}, column {at}: {one} and {other} in {wanted:?}"
                ),
                _ => assert_eq!(one, other, "{what}, column {at} of {wanted:?}"),
            }
        }
    }
}

#[test]
fn every_form_and_unit_system_says_the_same() {
    let metric = grids();
    let wanted = checked(&metric, FORMS[0], false);
    assert!(wanted.0.len() > 20 && wanted.2.len() > 20, "{} circuits, {} findings", wanted.0.len(), wanted.2.len());
    assert!(wanted.0.iter().any(|row| row[0] == "Tärnhölm"));
    let count = |is: fn(&Finding) -> bool| wanted.2.iter().filter(|finding| is(finding)).count();
    assert!(count(|finding| finding.figures.iter().all(Option::is_some)) > 10, "few findings have figures");
    assert!(count(|finding| finding.has_remedy) > 10, "few findings have a remedy");
    let named: Vec<Grid> = metric.iter().map(|grid| in_us_units(grid, true)).collect();
    let bare: Vec<Grid> = metric.iter().map(|grid| in_us_units(grid, false)).collect();
    for (units, grids, us_policy) in
        [("metric", &metric, false), ("us headers", &named, false), ("us policy", &bare, true)]
    {
        for form in FORMS {
            let found = checked(grids, form, us_policy);
            let what = format!("{} in {units}", form.0);
            assert_same_findings(&found.2, &wanted.2, &what);
            assert_same(&found.0, &wanted.0, &what);
            assert_same(&found.1, &wanted.1, &what);
        }
    }
}
