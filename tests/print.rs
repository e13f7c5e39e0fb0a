//! What is printed can be read, is not too much, and leads where it says: from column widths, row heights and page
//! set-up as they stand in the files, as a printer's program takes them.

#![allow(clippy::format_push_string, reason = "rows of a made list, where speed is nothing")]
#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]
#![allow(clippy::print_stdout, reason = "says how large and on how many pages each sheet is printed")]
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    reason = "rows, columns and pages are few"
)]

#[path = "benches/bench_plant/plant.rs"]
#[allow(dead_code, unreachable_pub, reason = "the benchmark uses the rest")]
mod plant;

#[path = "plants/small.rs"]
mod small;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::Command;

use calamine::{Data, Range, Reader as _, Xlsx, open_workbook};
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

type Attributes = BTreeMap<String, String>;

/// Points of a row and pixels of a column where the file states none.
const ROW: f64 = 13.5;
const COLUMN: f64 = 64.0;
/// Pages that the sample plant may take.
const PAGES: usize = 32;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant")
}

fn run(arguments: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).output().unwrap();
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&output.stderr));
}

/// Whatever it answers.
fn run_any(arguments: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).output().unwrap();
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// Workbook and cards of a plant.
fn written(plant: &Path, folder: &Path) -> [PathBuf; 2] {
    let files = ["report.xlsx", "cards.xlsx"].map(|name| folder.join(name));
    let [report, cards] = [&files[0], &files[1]].map(|file| file.to_str().unwrap());
    run(&["check", plant.to_str().unwrap(), "--out", report, "--cards", cards, "--quiet"]);
    files
}

fn large_plant(folder: &Path) -> PathBuf {
    let plant = folder.join("large");
    plant::write(&plant::Order {
        folder: &plant,
        lines: 15_000,
        seed: 3,
        files: 2,
        lines_per_circuit: 20,
        kind: plant::Kind::Mixed,
    })
    .unwrap();
    plant
}

fn parts(path: &Path) -> BTreeMap<String, String> {
    let mut archive = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
    let text = |name: String| {
        let mut text = String::new();
        archive.by_name(&name).unwrap().read_to_string(&mut text).unwrap();
        (name, text)
    };
    names.into_iter().map(text).collect()
}

fn elements(xml: &str, mut look: impl FnMut(&str, &Attributes)) {
    let mut reader = Reader::from_str(xml);
    let mut visit = |start: &BytesStart| {
        let name = String::from_utf8_lossy(start.local_name().as_ref()).into_owned();
        let attributes = start.attributes().map(Result::unwrap).map(|attribute| {
            let key = String::from_utf8_lossy(attribute.key.local_name().as_ref()).into_owned();
            (key, attribute.normalized_value(quick_xml::XmlVersion::Implicit1_0).unwrap().into_owned())
        });
        look(&name, &attributes.collect());
    };
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) | Event::Empty(start) => visit(&start),
            Event::Eof => break,
            _ => {}
        }
    }
}

/// A sheet's page set-up with what it prints.
struct Printed {
    name: String,
    /// First row, first column, last row, last column, from 1.
    area: [usize; 4],
    /// Pixels by column, points by row.
    widths: BTreeMap<usize, f64>,
    heights: BTreeMap<usize, f64>,
    breaks: BTreeSet<usize>,
    /// First and last row that is repeated, from 1; 0 where none is.
    repeated: [usize; 2],
    /// Pages across and down that it is fitted to; 0 as many as it takes, `None` not fitted.
    fit: Option<[usize; 2]>,
    stated: f64,
    is_landscape: bool,
    is_letter: bool,
    /// Inches: left, right, top, bottom.
    margins: [f64; 4],
    /// Points of the smallest font of a cell in the print area.
    font: f64,
    /// Points of the smallest font of its charts.
    chart_font: f64,
}

fn number(text: &str) -> f64 {
    text.parse().unwrap()
}

/// `C12` as row and column.
fn cell(reference: &str) -> [usize; 2] {
    let letters: String = reference.chars().filter(char::is_ascii_alphabetic).collect();
    let row: String = reference.chars().filter(char::is_ascii_digit).collect();
    let column = letters.bytes().fold(0, |sum, letter| sum * 26 + usize::from(letter - b'A') + 1);
    [row.parse().unwrap_or(0), column]
}

/// Points of the fonts, by style of a cell.
fn fonts(styles: &str) -> Vec<f64> {
    let (mut sizes, mut of_styles) = (Vec::new(), Vec::new());
    let (mut in_font, mut in_cells) = (false, false);
    elements(styles, |element, attributes| {
        match element {
            "font" => in_font = true,
            "fills" => in_font = false,
            "cellXfs" => in_cells = true,
            "cellStyles" => in_cells = false,
            _ => {}
        }
        if element == "sz" && in_font {
            sizes.push(number(&attributes["val"]));
        }
        if element == "xf" && in_cells {
            of_styles.push(sizes[attributes["fontId"].parse::<usize>().unwrap()]);
        }
    });
    of_styles
}

impl Printed {
    fn all(path: &Path) -> Vec<Self> {
        let parts = parts(path);
        let book = &parts["xl/workbook.xml"];
        let fonts = fonts(&parts["xl/styles.xml"]);
        let mut names = Vec::new();
        elements(book, |element, attributes| {
            if element == "sheet" {
                names.push(attributes["name"].clone());
            }
        });
        names.iter().enumerate().map(|(index, name)| Self::of(&parts, index, name, &fonts)).collect()
    }

    fn of(parts: &BTreeMap<String, String>, index: usize, name: &str, fonts: &[f64]) -> Self {
        let xml = &parts[&format!("xl/worksheets/sheet{}.xml", index + 1)];
        let book = &parts["xl/workbook.xml"];
        let defined = |what: &str| {
            let start = format!("name=\"_xlnm.{what}\" localSheetId=\"{index}\"");
            let rest = book.split("<definedName").find(|text| text.contains(&start))?;
            Some(rest.split('>').nth(1)?.split('<').next()?.replace('$', ""))
        };
        let area = defined("Print_Area").unwrap_or_else(|| panic!("{name} has no print area"));
        let corners: Vec<[usize; 2]> = area.rsplit('!').next().unwrap().split(':').map(cell).collect();
        let [from, to] = [corners[0], *corners.last().unwrap()];
        let repeated = defined("Print_Titles").map_or([0; 2], |titles| {
            let (first, last) = titles.rsplit('!').next().unwrap().split_once(':').unwrap();
            [first, last].map(|row| cell(row)[0])
        });
        let mut sheet = Self {
            name: name.to_owned(),
            area: [from[0], from[1], to[0], to[1]],
            widths: BTreeMap::new(),
            heights: BTreeMap::new(),
            breaks: BTreeSet::new(),
            repeated,
            fit: None,
            stated: 1.0,
            is_landscape: false,
            is_letter: true,
            margins: [0.0; 4],
            font: f64::INFINITY,
            chart_font: f64::INFINITY,
        };
        sheet.read(xml, fonts);
        sheet.read_charts(parts, index);
        sheet
    }

    fn read(&mut self, xml: &str, fonts: &[f64]) {
        let mut is_fitted = false;
        let (mut fit, mut in_breaks) = ([1, 1], false);
        elements(xml, |element, attributes| {
            let get = |key: &str| attributes.get(key).map(String::as_str);
            match element {
                "col" => {
                    for column in number(&attributes["min"]) as usize..=number(&attributes["max"]) as usize {
                        let width = get("width").map_or(COLUMN, |width| number(width) * 7.0);
                        self.widths.insert(column, width);
                    }
                }
                "row" => {
                    let height = get("ht").map_or(ROW, number);
                    self.heights.insert(number(&attributes["r"]) as usize, height);
                }
                "c" => {
                    let [row, column] = cell(&attributes["r"]);
                    let [top, left, bottom, right] = self.area;
                    if (top..=bottom).contains(&row) && (left..=right).contains(&column) {
                        let style = get("s").map_or(0, |style| style.parse::<usize>().unwrap());
                        self.font = self.font.min(fonts[style]);
                    }
                }
                "pageSetUpPr" => is_fitted = get("fitToPage") == Some("1"),
                "pageSetup" => {
                    self.stated = get("scale").map_or(1.0, |scale| number(scale) / 100.0);
                    self.is_landscape = get("orientation") == Some("landscape");
                    self.is_letter = get("paperSize") != Some("9");
                    fit = ["fitToWidth", "fitToHeight"].map(|key| get(key).map_or(1, |pages| number(pages) as usize));
                }
                "pageMargins" => {
                    self.margins = ["left", "right", "top", "bottom"].map(|side| number(&attributes[side]));
                }
                "rowBreaks" => in_breaks = true,
                "brk" if in_breaks => {
                    self.breaks.insert(number(&attributes["id"]) as usize);
                }
                _ => {}
            }
        });
        self.fit = is_fitted.then_some(fit);
    }

    fn read_charts(&mut self, parts: &BTreeMap<String, String>, index: usize) {
        let relations = |part: &str| parts.get(part).cloned().unwrap_or_default();
        let targets = |xml: &str, kind: &str| {
            let mut found = Vec::new();
            elements(xml, |element, attributes| {
                if element == "Relationship" && attributes["Target"].contains(kind) {
                    found.push(attributes["Target"].rsplit('/').next().unwrap().to_owned());
                }
            });
            found
        };
        let of_sheet = relations(&format!("xl/worksheets/_rels/sheet{}.xml.rels", index + 1));
        for drawing in targets(&of_sheet, "drawings/") {
            let of_drawing = relations(&format!("xl/drawings/_rels/{drawing}.rels"));
            for chart in targets(&of_drawing, "charts/") {
                elements(&parts[&format!("xl/charts/{chart}")], |_, attributes| {
                    if let Some(size) = attributes.get("sz") {
                        self.chart_font = self.chart_font.min(number(size) / 100.0);
                    }
                });
            }
        }
    }

    fn across(&self) -> f64 {
        let [_, left, _, right] = self.area;
        (left..=right).map(|column| self.widths.get(&column).copied().unwrap_or(COLUMN)).sum()
    }

    fn height(&self, row: usize) -> f64 {
        self.heights.get(&row).copied().unwrap_or(ROW)
    }

    /// Inches between the margins, across and down.
    fn room(&self) -> [f64; 2] {
        let (short, long) = if self.is_letter { (8.5, 11.0) } else { (210.0 / 25.4, 297.0 / 25.4) };
        let (across, down) = if self.is_landscape { (long, short) } else { (short, long) };
        let [left, right, top, bottom] = self.margins;
        [across - left - right, down - top - bottom]
    }

    /// The share of its size at which the sheet is printed, in whole percents.
    fn scale(&self) -> f64 {
        let Some([wide, tall]) = self.fit else { return self.stated };
        let [across, down] = self.room();
        let mut scale: f64 = 1.0;
        if wide > 0 {
            scale = scale.min(across * 96.0 * wide as f64 / self.across());
        }
        if tall > 0 {
            let points: f64 = (self.area[0]..=self.area[2]).map(|row| self.height(row)).sum();
            scale = scale.min(down * 72.0 * tall as f64 / points);
        }
        (scale * 100.0).floor() / 100.0
    }

    fn smallest(&self) -> f64 {
        self.font.min(self.chart_font) * self.scale()
    }

    fn pages(&self) -> usize {
        let room = self.room()[1] * 72.0 / self.scale();
        let [first, last] = self.repeated;
        let repeated: f64 = (first.max(1)..=last).map(|row| self.height(row)).sum();
        let (mut pages, mut used) = (1, 0.0);
        for row in self.area[0]..=self.area[2] {
            let height = self.height(row);
            if used > 0.0 && (used + height > room || self.breaks.contains(&(row - 1))) {
                pages += 1;
                used = repeated;
            }
            used += height;
        }
        let across = self.room()[0] * 96.0 / self.scale();
        pages * if self.fit.is_some() { 1 } else { (self.across() / across).ceil() as usize }
    }
}

fn assert_legible(plant: &Path, folder: &Path) -> [Vec<Printed>; 2] {
    let [report, cards] = written(plant, folder);
    let sheets = Printed::all(&report);
    // Two that stand empty may be left out.
    assert!(sheets.len() >= 10, "{} sheets", sheets.len());
    for sheet in &sheets {
        let points = sheet.smallest();
        println!("{}: {points:.2} pt at {:.0} %, {} pages", sheet.name, sheet.scale() * 100.0, sheet.pages());
        assert!(points >= 8.0 - 1e-9, "{}: {points} pt at {}", sheet.name, sheet.scale());
        let [across, _] = sheet.room();
        assert!(sheet.across() * sheet.scale() <= across * 96.0 + 1.0, "{} is cut at the right", sheet.name);
    }
    let summary = &sheets[0];
    assert_eq!((summary.name.as_str(), summary.pages()), ("Summary", 1));
    let cards = Printed::all(&cards);
    assert!(!cards.is_empty());
    for card in &cards {
        assert!(card.smallest() >= 14.0 - 1e-9, "{}: {} pt", card.name, card.smallest());
    }
    [sheets, cards]
}

/// Whole pages for people who read, not for plotters: 8 points on every sheet, 14 on the cards.
#[test]
fn the_sample_plant_is_printed_large_enough_on_few_pages() {
    let folder = tempfile::tempdir().unwrap();
    let [sheets, cards] = assert_legible(&sample(), folder.path());
    for card in &cards {
        assert_eq!(card.pages(), 1, "{} takes more than a page", card.name);
    }
    let pages: usize = sheets.iter().map(Printed::pages).sum();
    println!("{pages} pages");
    assert!(pages <= PAGES, "{pages} pages");
}

#[test]
fn a_plant_of_15_000_lines_is_printed_large_enough() {
    let folder = tempfile::tempdir().unwrap();
    let plant = large_plant(folder.path());
    assert_legible(&plant, folder.path());
}

/// The buyer's workbook, and the report of a later month with how sure its verdicts are.
fn other_workbooks(plant: &Path, folder: &Path) -> [PathBuf; 2] {
    let files = ["buy.xlsx", "month.xlsx"].map(|name| folder.join(name));
    let [buy, month] = [&files[0], &files[1]].map(|file| file.to_str().unwrap());
    let plant = plant.to_str().unwrap();
    let earlier = folder.join("earlier");
    let earlier = earlier.to_str().unwrap();
    run(&["check", plant, "--only", "purchase", "--out", buy, "--quiet"]);
    run(&["check", plant, "--data", earlier, "--no-remedies", "--quiet"]);
    run(&["check", plant, "--sure", "--previous", earlier, "--out", month, "--quiet"]);
    files
}

fn assert_others_legible(plant: &Path) {
    let folder = tempfile::tempdir().unwrap();
    let files = other_workbooks(plant, folder.path());
    let [buy, month] = files.each_ref().map(|file| Printed::all(file));
    for sheet in buy.iter().chain(&month) {
        let points = sheet.smallest();
        println!("{}: {points:.2} pt at {:.0} %, {} pages", sheet.name, sheet.scale() * 100.0, sheet.pages());
        assert!(points >= 8.0 - 1e-9, "{}: {points} pt at {}", sheet.name, sheet.scale());
        let [across, _] = sheet.room();
        assert!(sheet.across() * sheet.scale() <= across * 96.0 + 1.0, "{} is cut at the right", sheet.name);
    }
    let names = |sheets: &[Printed]| sheets.iter().map(|sheet| sheet.name.clone()).collect::<Vec<_>>();
    let (buy, month) = (names(&buy), names(&month));
    for name in ["Sureness", "Changes", "Purchase"] {
        assert!(month.iter().any(|sheet| sheet == name), "{name}: {month:?}");
    }
    // Summary, Purchase, Findings, Sources, and a request for each supplier.
    assert!(buy.len() > 4, "{buy:?}");
}

#[test]
fn what_the_buyer_and_the_month_print_of_the_sample_plant_is_large_enough() {
    assert_others_legible(&sample());
}

#[test]
fn what_the_buyer_and_the_month_print_of_15_000_lines_is_large_enough() {
    let folder = tempfile::tempdir().unwrap();
    assert_others_legible(&large_plant(folder.path()));
}

/// 37 circuits with 330 findings of nine parts: what is to be put right stands on one page.
#[test]
fn nine_causes_of_330_findings_fit_one_page() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("policy.toml"), "[asked]\nuncoupled = []\n").unwrap();
    let mut components = "part_no,kind,rated_pressure [bar],full_scale [bar],area_clamp [mm2],stroke [mm]\n\
                          GAUGE,gauge,400,400,,\nFILTER,filter,400,,,\nCLAMP,clamp,400,,500,10\n"
        .to_owned();
    (1..=9).for_each(|part| components.push_str(&format!("WEAK-{part},fitting,{},,,\n", 100 + part)));
    fs::write(plant.join("components.csv"), components).unwrap();
    let (mut circuits, mut list) = (
        "pallet,fixture,circuit,charging,pressure_set [bar]\n".to_owned(),
        "pallet,fixture,circuit,position,part_no,qty\n".to_owned(),
    );
    for number in 1..=37 {
        let place = format!("P{:02},F{},1", number / 4, number);
        circuits.push_str(&format!("{place},live,150\n"));
        for part in ["GAUGE", "FILTER", "CLAMP"] {
            list.push_str(&format!("{place},{part},{part},1\n"));
        }
        // Three circuits have one of them less.
        let last = if number > 34 { 8 } else { 9 };
        (1..=last).for_each(|part| list.push_str(&format!("{place},W{part},WEAK-{part},2\n")));
    }
    fs::write(plant.join("circuits.csv"), circuits).unwrap();
    fs::write(plant.join("lists/all.csv"), list).unwrap();
    let (report, data) = (folder.path().join("report.xlsx"), folder.path().join("data"));
    run(&[
        "check",
        plant.to_str().unwrap(),
        "--out",
        report.to_str().unwrap(),
        "--data",
        data.to_str().unwrap(),
        "--quiet",
    ]);
    let rows = |name: &str| csv::Reader::from_path(data.join(name)).unwrap().into_records().count();
    assert_eq!((rows("circuits.csv"), rows("findings.csv"), rows("causes.csv")), (37, 330, 9));
    let sheets = Printed::all(&report);
    let causes = sheets.iter().find(|sheet| sheet.name == "Causes").unwrap();
    assert_eq!(causes.pages(), 1);
    assert!(causes.smallest() >= 8.0 - 1e-9);
    // All nine stand in what is printed.
    assert!(causes.area[2] - causes.area[0] >= 9, "{:?}", causes.area);
}

/// Sheet, cell and target of every link.
fn links(path: &Path) -> Vec<(String, [usize; 2], String)> {
    let parts = parts(path);
    let mut names = Vec::new();
    elements(&parts["xl/workbook.xml"], |element, attributes| {
        if element == "sheet" {
            names.push(attributes["name"].clone());
        }
    });
    let mut found = Vec::new();
    for (index, name) in names.iter().enumerate() {
        elements(&parts[&format!("xl/worksheets/sheet{}.xml", index + 1)], |element, attributes| {
            if element == "hyperlink" {
                found.push((name.clone(), cell(&attributes["ref"]), attributes["location"].clone()));
            }
        });
    }
    found
}

struct Book {
    sheets: BTreeMap<String, Range<Data>>,
}

impl Book {
    fn text(&self, sheet: &str, row: usize, column: usize) -> String {
        let at = (u32::try_from(row - 1).unwrap(), u32::try_from(column - 1).unwrap());
        self.sheets[sheet].get_value(at).map_or_else(String::new, ToString::to_string)
    }

    /// The column of a header in the second row.
    fn column(&self, sheet: &str, header: &str) -> usize {
        (1..120).find(|column| self.text(sheet, 2, *column) == header).unwrap_or_else(|| panic!("{sheet}: {header}"))
    }

    fn named(&self, sheet: &str, row: usize, header: &str) -> String {
        self.text(sheet, row, self.column(sheet, header))
    }
}

/// Every link leads to a row that holds what the link's own row speaks of, and back.
#[test]
fn all_links_lead_where_they_say_and_back() {
    let folder = tempfile::tempdir().unwrap();
    let [report, _] = written(&sample(), folder.path());
    assert_links(&report);
}

/// Also where how sure the verdicts are and what changed is told.
#[test]
fn all_links_of_a_later_month_lead_where_they_say_and_back() {
    let folder = tempfile::tempdir().unwrap();
    let [_, month] = other_workbooks(&sample(), folder.path());
    assert_links(&month);
}

fn assert_links(report: &Path) {
    let mut book: Xlsx<_> = open_workbook(report).unwrap();
    let book = Book { sheets: book.worksheets().into_iter().collect() };
    let mut ways: BTreeMap<(String, String), usize> = BTreeMap::new();
    for (sheet, [row, column], target) in links(report) {
        let (to, at) = target.rsplit_once('!').unwrap();
        let to = to.trim_matches('\'').to_owned();
        let [at, _] = cell(at);
        assert!(book.sheets.contains_key(&to), "{sheet}: no sheet {to}");
        assert_eq!(book.text(&sheet, row, column), format!("{to}, row {at}"));
        assert!(!book.text(&to, at, 1).is_empty(), "{sheet} row {row}: {to} row {at} is empty");
        let place =
            |sheet: &str, row| ["Plant", "Pallet", "Fixture", "Circuit"].map(|name| book.named(sheet, row, name));
        match (sheet.as_str(), to.as_str()) {
            ("Findings" | "Causes" | "Changes", "Basis") => {
                assert!(book.text("Basis", at, 1).starts_with(&book.named(&sheet, row, "Rule")));
            }
            ("Basis", "Findings") => {
                assert!(book.text("Basis", row, 1).starts_with(&book.named("Findings", at, "Rule")));
            }
            ("Findings" | "Remedies" | "Changes", "Circuits") | ("Circuits", "Findings") => {
                assert_eq!(place(&sheet, row), place(&to, at), "{sheet} row {row}");
            }
            ("Findings" | "Changes", "Lines") => {
                for header in ["File", "Row"] {
                    assert_eq!(book.named(&sheet, row, header), book.named("Lines", at, header));
                }
            }
            ("Lines", "Findings") => {
                let remarks = book.named("Lines", row, "Remarks");
                assert!(remarks.contains(&book.named("Findings", at, "Rule")), "{remarks}");
            }
            ("Findings" | "Changes", "Remedies") => {
                let cleared = book.named("Remedies", at, "Clears");
                assert!(cleared.contains(&book.named(&sheet, row, "Rule")), "{cleared}");
            }
            ("Remedies", "Findings") => {
                let cleared = book.named("Remedies", row, "Clears");
                assert!(cleared.contains(&book.named("Findings", at, "Rule")), "{cleared}");
            }
            ("Summary", "Findings") => {
                assert!(book.text("Summary", row, 1).starts_with(&book.named("Findings", at, "Rule")));
            }
            ("Summary", "Circuits") => {
                let line = [1, 2].map(|column| book.text("Summary", row, column)).join(" ");
                assert!(line.contains(&book.named("Circuits", at, "Pallet")), "{line}");
            }
            ("Causes", "Circuits") => {
                assert_eq!(book.named("Causes", row, "First place"), place("Circuits", at).join(" / "));
            }
            other => panic!("no one says what leads so: {other:?}"),
        }
        *ways.entry((sheet, to)).or_default() += 1;
    }
    for (from, to) in [
        ("Summary", "Circuits"),
        ("Summary", "Findings"),
        ("Findings", "Basis"),
        ("Findings", "Circuits"),
        ("Findings", "Lines"),
        ("Findings", "Remedies"),
        ("Basis", "Findings"),
        ("Circuits", "Findings"),
        ("Lines", "Findings"),
        ("Remedies", "Findings"),
    ] {
        assert!(
            ways.get(&(from.to_owned(), to.to_owned())).is_some_and(|count| *count >= 4),
            "{from} to {to}: {ways:?}"
        );
    }
}

/// A plant of three failing circuits whose names are of some length, each with a part beyond its life.
fn plant_of_names(folder: &Path, names: [&str; 4], part: &str) -> PathBuf {
    let plant = folder.join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("policy.toml"), "date = \"2026-11-29\"\n[asked]\nuncoupled = []\n").unwrap();
    let components = format!(
        "part_no,kind,rated_pressure [bar],full_scale [bar],area_clamp [mm2],stroke [mm],service_life\n\
         GAUGE,gauge,400,400,,,\nFILTER,filter,400,,,,\nCLAMP,clamp,400,,500,10,\n{part},fitting,120,,,,100\n"
    );
    fs::write(plant.join("components.csv"), components).unwrap();
    let mut circuits = "plant,pallet,fixture,circuit,charging,pressure_set [bar],built\n".to_owned();
    let mut list = "plant,pallet,fixture,circuit,position,part_no,qty,fitted_on\n".to_owned();
    for number in 1..=3 {
        let place = format!("\"{}\",\"{}\",\"{}\",\"{} {number}\"", names[0], names[1], names[2], names[3]);
        circuits.push_str(&format!("{place},live,150,yes\n"));
        for part in ["GAUGE", "FILTER", "CLAMP", part] {
            list.push_str(&format!("{place},{},{part},1,2026-01-31\n", &part[..1]));
        }
    }
    fs::write(plant.join("circuits.csv"), circuits).unwrap();
    fs::write(plant.join("lists/all.csv"), list).unwrap();
    plant
}

/// Columns that must be on paper, by sheet.
const FIGURES: [(&str, &[&str]); 4] = [
    ("Circuits", &["Verdict", "Fill", "Holding pressure [bar]", "Hold reserve [h]"]),
    ("Pressure chain", &["Stage", "Part", "Position", "Pressure there [bar]", "Margin [bar]", "Verdict"]),
    ("Lines", &["Remarks", "fixture", "circuit", "position", "part_no", "qty"]),
    ("Due", &["What", "Date", "Days", "Part", "Fixture", "Circuit", "Position, rule or order"]),
];

/// Names of the length that plants give, up to forty letters, with blanks and without.
#[test]
fn long_names_break_into_lines_and_no_figure_leaves_the_paper() {
    let forty = [
        "Works of the river meadows, hall 2 north",
        "Pallet 14 of the large machining centre",
        "Gearbox housing rear OP20, second layout",
        "clamp side at the left, rear row of jigs",
    ];
    let joined = forty.map(|name| name.replace([' ', ','], "_"));
    let joined = joined.each_ref().map(String::as_str);
    let of_r1 = ["Example plant", "Pallet 14 (MC-320)", "Gearbox housing rear OP20", "clamp left"];
    for (what, names, part) in [
        ("usual", of_r1, "VALVE-WEAK"),
        ("forty", forty, "VALVE-OF-A-VERY-LONG-CATALOGUE-NUMBER-00"),
        ("joined", joined, "VALVE-WEAK"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let plant = plant_of_names(folder.path(), names, part);
        let [sheets, _] = assert_legible(&plant, folder.path());
        let mut book: Xlsx<_> = open_workbook(folder.path().join("report.xlsx")).unwrap();
        let book = Book { sheets: book.worksheets().into_iter().collect() };
        for (name, headers) in FIGURES {
            let sheet = sheets.iter().find(|sheet| sheet.name == name);
            let sheet = sheet.unwrap_or_else(|| panic!("{what}: no sheet {name}"));
            for header in headers {
                let column = book.column(name, header);
                assert!(column <= sheet.area[3], "{what}, {name}: {header} is beside the paper");
            }
        }
        // The lists' own columns that find no room are told on the sheet.
        let lines = sheets.iter().find(|sheet| sheet.name == "Lines").unwrap();
        let fitted_on = book.column("Lines", "fitted_on");
        let note = book.text("Lines", 1, 1);
        assert_eq!(
            lines.area[3] < fitted_on,
            note.contains("Not on paper for want of room: the column fitted_on."),
            "{what}: {note}"
        );
    }
}

#[test]
fn a_text_for_a_chart_that_is_too_long_is_cut_without_a_word_on_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let long = "a name that goes on and on ".repeat(8);
    let plant = plant_of_names(folder.path(), ["Works", &long, "F", "1"], "WEAK");
    // Held without a station, so that Holding has its curves.
    let circuits = plant.join("circuits.csv");
    let text = fs::read_to_string(&circuits).unwrap().replace(",live,150,yes", ",coupler,150,yes");
    let header = "pressure_min [bar],hold_time [h],temp_min [degC],temp_max [degC]";
    let rows: Vec<String> = text
        .lines()
        .enumerate()
        .map(|(row, line)| format!("{line},{}", if row == 0 { header } else { "140,8,10,30" }))
        .collect();
    fs::write(&circuits, rows.join("\n") + "\n").unwrap();
    let out = folder.path().join("report.xlsx");
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
        .args(["check", plant.to_str().unwrap(), "--out", out.to_str().unwrap(), "--quiet"])
        .output()
        .unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    assert!(parts(&out).values().any(|part| part.contains("descr=\"") && part.contains('…')), "no chart was cut");
}

/// The calculation names its circuit on paper, however long its name, and shows each figure in digits.
#[test]
fn the_calculation_names_its_circuit_and_shows_its_figures() {
    let folder = tempfile::tempdir().unwrap();
    let names = [
        "Works of the river meadows",
        "Pallet 14 of the large machining centre",
        "Gearbox housing rear",
        "clamp side at the left",
    ];
    let plant = plant_of_names(folder.path(), names, "WEAK");
    let out = folder.path().join("calculation.xlsx");
    let place = "clamp side at the left 1";
    run(&["explain", plant.to_str().unwrap(), place, "--out", out.to_str().unwrap()]);
    let parts = parts(&out);
    let mut wraps = Vec::new();
    let mut is_cell = false;
    elements(&parts["xl/styles.xml"], |element, attributes| match element {
        "cellXfs" => is_cell = true,
        "cellStyles" => is_cell = false,
        "xf" if is_cell => wraps.push(false),
        "alignment" if is_cell => *wraps.last_mut().unwrap() = attributes.contains_key("wrapText"),
        _ => {}
    });
    let (mut style, mut height) = (None, 0.0);
    elements(&parts["xl/worksheets/sheet1.xml"], |element, attributes| match element {
        "row" if attributes["r"] == "1" => height = number(&attributes["ht"]),
        "c" if attributes["r"] == "A1" => style = attributes.get("s").map(|style| number(style) as usize),
        _ => {}
    });
    assert!(wraps[style.unwrap()] && height > 30.0, "{height} points, {style:?}");
}

/// What each page of the buyer's workbook bears: the requests count their own, and no other number comes twice.
#[test]
fn page_numbers_of_the_buyer_go_on() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("buy.xlsx");
    let plant = sample();
    run(&["check", plant.to_str().unwrap(), "--only", "purchase", "--out", out.to_str().unwrap(), "--quiet"]);
    let parts = parts(&out);
    let mut restarts = Vec::new();
    for index in 1.. {
        let Some(sheet) = parts.get(&format!("xl/worksheets/sheet{index}.xml")) else { break };
        let mut does_restart = false;
        elements(sheet, |element, attributes| {
            does_restart |= element == "pageSetup" && attributes.contains_key("useFirstPageNumber");
        });
        restarts.push(does_restart);
    }
    assert!(restarts.iter().any(|restart| *restart), "no request was written");
    assert!(restarts.is_sorted(), "after a request the numbers would begin again: {restarts:?}");
}

/// Pixels of a text in Arial of 10 points, at 96 to the inch: advance widths of Helvetica, from its font metrics.
fn pixels_of(text: &str) -> f64 {
    let thousandths = |letter: char| match letter {
        ',' | '.' => 278.0,
        ')' | '-' => 333.0,
        _ => 556.0,
    };
    text.chars().map(thousandths).sum::<f64>() / 1000.0 * 10.0 * 96.0 / 72.0
}

/// A number as a program shows it in a number format that forbids it to leave digits out; `None` for other formats.
fn as_formatted(code: &str, number: f64) -> Option<String> {
    let plain = code.strip_suffix("_)")?;
    let places = plain.split_once('.').map_or(0, |(_, places)| places.len());
    let text = if plain == "General" { format!("{number}") } else { format!("{number:.places$}") };
    let whole = text.split('.').next().unwrap().trim_start_matches('-').len();
    let commas = if plain.contains(',') { (whole - 1) / 3 } else { 0 };
    // The last part of the format is as wide as a bracket.
    Some(format!("{text}{})", ",".repeat(commas)))
}

/// Number formats by style of a cell.
fn formats(styles: &str) -> Vec<String> {
    let (mut codes, mut of_styles, mut in_cells) = (BTreeMap::new(), Vec::new(), false);
    elements(styles, |element, attributes| match element {
        "numFmt" => {
            codes.insert(attributes["numFmtId"].clone(), attributes["formatCode"].clone());
        }
        "cellXfs" => in_cells = true,
        "cellStyles" => in_cells = false,
        "xf" if in_cells => of_styles.push(codes.get(&attributes["numFmtId"]).cloned().unwrap_or_default()),
        _ => {}
    });
    of_styles
}

/// Sheet, cell, what stands there, and whether its column is wide enough, of each number with a format of ours.
fn numbers(path: &Path) -> Vec<(String, String, String, bool)> {
    let parts = parts(path);
    let formats = formats(&parts["xl/styles.xml"]);
    let mut found = Vec::new();
    for (index, sheet) in Printed::all(path).iter().enumerate() {
        let xml = &parts[&format!("xl/worksheets/sheet{}.xml", index + 1)];
        let mut styles = BTreeMap::new();
        elements(xml, |element, attributes| {
            if element == "c" && !attributes.contains_key("t") {
                let style = attributes.get("s").map_or(0, |style| number(style) as usize);
                styles.insert(attributes["r"].clone(), style);
            }
        });
        for cell_xml in xml.split("<c r=\"").skip(1) {
            let reference = cell_xml.split('"').next().unwrap();
            let (Some(style), Some((_, rest))) = (styles.get(reference), cell_xml.split_once("<v>")) else { continue };
            let value: f64 = number(rest.split('<').next().unwrap());
            let Some(text) = as_formatted(&formats[*style], value) else { continue };
            let [_, column] = cell(reference);
            let room = sheet.widths.get(&column).copied().unwrap_or(COLUMN) - 2.0;
            found.push((sheet.name.clone(), reference.to_owned(), text.clone(), pixels_of(&text) <= room));
        }
    }
    found
}

/// A list of tubes whose lengths are no short decimals, dear ones, bought by metre and foot.
fn plant_of_lengths(folder: &Path) -> PathBuf {
    let plant = folder.join("lengths");
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("policy.toml"), "date = \"2026-11-29\"\n[asked]\nuncoupled = []\n").unwrap();
    let tube = "tube,400,8,4,500";
    fs::write(
        plant.join("components.csv"),
        format!(
            "part_no,kind,rated_pressure [bar],outer_diameter [mm],inner_diameter [mm],tensile_strength [MPa],uom,\
             unit_price,currency,supplier\n\
             TUBE-M,{tube},m,19257.97,EUR,Ostrick\nTUBE-FT,{tube},ft,4.2,EUR,Ostrick\nTUBE-EACH,{tube},each,9,EUR,Ostrick\n"
        ),
    )
    .unwrap();
    fs::write(
        plant.join("lists/all.csv"),
        "pallet,fixture,circuit,position,part_no,qty,length [mm]\n\
         P,F,1,a,TUBE-M,7,16065.3371\nP,F,1,b,TUBE-FT,3,11425.777\nP,F,1,c,TUBE-EACH,1234,300\n",
    )
    .unwrap();
    fs::write(plant.join("orders.csv"), "part_no,qty,uom\nTUBE-M,1234.5678,ft\n").unwrap();
    plant
}

/// A number whose format allows no digit to be left out is printed as `###` where its column is too narrow.
#[test]
fn no_number_is_wider_than_its_column() {
    let folder = tempfile::tempdir().unwrap();
    let starter = folder.path().join("starter");
    run_any(&["starter", starter.to_str().unwrap(), "--us"]);
    for (name, plant) in [("sample", sample()), ("starter", starter), ("lengths", plant_of_lengths(folder.path()))] {
        let files = other_workbooks(&plant, folder.path());
        for file in files {
            let all = numbers(&file);
            assert!(all.len() > 20, "{name}: {} numbers", all.len());
            let cut: Vec<_> = all.into_iter().filter(|(.., fits)| !fits).collect();
            assert!(cut.is_empty(), "{name}: {cut:?}");
        }
    }
}

/// By hand: 7 × 16.0653371 m = 112.4573597 m, ordered are 1234.5678 ft, which is more; 3 × 11.425777 m = 34.277331 m, and
/// over 0.3048 m/ft that is 112.4584... ft; 1234 pieces of the third.
#[test]
fn the_buyer_and_the_supplier_read_lengths_to_a_hundredth_and_pieces_whole() {
    let folder = tempfile::tempdir().unwrap();
    let plant = plant_of_lengths(folder.path());
    fs::remove_file(plant.join("orders.csv")).unwrap();
    fs::write(plant.join("orders.csv"), "part_no,qty,uom\nTUBE-M,1,m\n").unwrap();
    let [buy, _] = other_workbooks(&plant, folder.path());
    let shown = |sheet: &str, letter: &str| {
        let numbers = numbers(&buy).into_iter().filter(|(name, cell, ..)| {
            name == sheet && cell.trim_end_matches(|letter: char| letter.is_ascii_digit()) == letter
        });
        numbers.map(|(_, _, text, _)| text).collect::<BTreeSet<_>>()
    };
    let set = |texts: &[&str]| texts.iter().map(|text| (*text).to_owned()).collect::<BTreeSet<_>>();
    assert_eq!(shown("Purchase", "E"), set(&["112.46)", "1234,)", "112.46)"]));
    // One metre is ordered; what is short of a hundredth is rounded up.
    assert_eq!(shown("Purchase", "G"), set(&["111.46)", "1234,)", "112.46)"]));
    assert_eq!(shown("Ostrick", "D"), shown("Purchase", "G"));
}

/// A card: its rows as text, the first row of each of its pages, and its footer.
struct Paged {
    name: String,
    rows: Vec<Vec<String>>,
    pages: Vec<usize>,
    footer: String,
}

fn cards_of(path: &Path) -> Vec<Paged> {
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let sheets: BTreeMap<String, Range<Data>> = book.worksheets().into_iter().collect();
    let parts = parts(path);
    let card = |(index, printed): (usize, Printed)| {
        let rows = sheets[&printed.name].rows().map(|row| row.iter().map(ToString::to_string).collect()).collect();
        let pages = std::iter::once(0).chain(printed.breaks.iter().copied()).collect();
        let xml = &parts[&format!("xl/worksheets/sheet{}.xml", index + 1)];
        let footer = xml.split("<oddFooter>").nth(1).unwrap().split('<').next().unwrap().replace("&amp;", "&");
        Paged { name: printed.name, rows, pages, footer }
    };
    Printed::all(path).into_iter().enumerate().map(card).collect()
}

impl Paged {
    /// Rows by page; what is repeated on each is left out.
    fn by_page(&self) -> Vec<&[Vec<String>]> {
        let ends = self.pages.iter().copied().skip(1).chain([self.rows.len()]);
        self.pages.iter().copied().zip(ends).map(|(from, to)| &self.rows[from..to]).collect()
    }
}

/// Who reads a later page reads what must not be used, and no reading without its temperature.
#[test]
fn a_later_page_of_a_card_says_again_what_its_readings_hang_on() {
    let folder = tempfile::tempdir().unwrap();
    let plant = large_plant(folder.path());
    let [_, cards] = written(&plant, folder.path());
    let (mut later, mut blocked, mut read) = (0, 0, 0);
    for card in cards_of(&cards) {
        let is_banner = |row: &[String]| row[0].starts_with("DO NOT USE");
        let has_blocked = card.rows.iter().any(|row| is_banner(row));
        for (number, page) in card.by_page().into_iter().enumerate().skip(1) {
            later += 1;
            assert!(page.iter().any(|row| is_banner(row)) == has_blocked, "{}, page {}", card.name, number + 1);
            blocked += usize::from(has_blocked);
            if let Some(at) = page.iter().position(|row| row[0].contains(": lowest [")) {
                let head = page[..at].iter().any(|row| row[0].starts_with("Gauge by temperature"));
                assert!(head, "{}, page {}: readings without temperatures", card.name, number + 1);
                read += 1;
            }
        }
        let count = card.pages.len();
        assert!(card.footer.ends_with(&format!("Page &P / {count}")), "{}: {}", card.name, card.footer);
    }
    assert!(later > 5 && read > 2, "{later} later pages, {blocked} with banners, {read} with readings");
}

/// What its first words allow is not taken back below them.
#[test]
fn a_card_does_not_contradict_itself() {
    let folder = tempfile::tempdir().unwrap();
    let plant = large_plant(folder.path());
    let [_, large] = written(&plant, folder.path());
    let sample_folder = tempfile::tempdir().unwrap();
    let [_, cards] = written(&sample(), sample_folder.path());
    let (mut unknown, mut allowed, mut charged, mut beyond) = (0, 0, 0, 0);
    for card in cards_of(&large).into_iter().chain(cards_of(&cards)) {
        let may_travel = card.rows[2][0].starts_with("May travel");
        allowed += usize::from(may_travel);
        let has = |what: &str| card.rows.iter().any(|row| row[0].contains(what));
        if card.rows.iter().any(|row| row[1..].iter().any(|cell| cell == "?")) {
            unknown += 1;
            assert!(!may_travel, "{}: travels though a reading is not known", card.name);
            assert!(has("?: not known"), "{}: nothing says what ? is", card.name);
        }
        let mut temperatures: Vec<f64> = Vec::new();
        let mut charge: Option<(f64, f64)> = None;
        for row in &card.rows {
            if row[0].starts_with("Gauge by temperature") {
                temperatures = row[1..].iter().filter_map(|cell| cell.parse().ok()).collect();
            }
            let after = |what: &str| row[0].split_once(what).map(|(_, rest)| number(rest.split(' ').next().unwrap()));
            if let (Some(at), Some(settled)) = (after("Charge at "), after("settled ")) {
                charge = Some((at, settled));
            }
            let Some((at, settled)) = charge.filter(|_| row[0].contains(": lowest [")) else { continue };
            let column = temperatures.iter().position(|temperature| (temperature - at).abs() < 1e-9);
            let column = column.unwrap_or_else(|| panic!("{}: no column at {at}: {temperatures:?}", card.name));
            charged += 1;
            if row[column + 1] == "x" {
                beyond += 1;
                assert!(has("can't show at every temperature") && !may_travel, "{}", card.name);
                assert!(has("x: charged as stated it settles lower"), "{}", card.name);
            }
            if let Ok(lowest) = row[column + 1].parse::<f64>() {
                // Both are rounded to a tenth.
                assert!(settled >= lowest - 0.1, "{}: {settled} of {lowest}", card.name);
            }
        }
    }
    assert!(
        unknown > 2 && charged > 20 && beyond > 0,
        "{unknown} cards with ?, {allowed} that may travel, {charged} circuits, {beyond} that do not settle so high"
    );
}

/// Two plants may have a pallet of one name, which no two sheets can have.
#[test]
fn the_foot_of_a_card_names_its_pallet() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    fs::write(plant.join("policy.toml"), "date = \"2026-11-29\"\n[asked]\nuncoupled = []\n").unwrap();
    fs::write(plant.join("components.csv"), "part_no,kind\nG,gauge\n").unwrap();
    let rows = "North,P1,F,1,G,1\nSouth,P1,F,1,G,1\nSouth,42 & more,F,1,G,1\n";
    fs::write(plant.join("lists/all.csv"), format!("plant,pallet,fixture,circuit,part_no,qty\n{rows}")).unwrap();
    let [_, cards] = written(&plant, folder.path());
    let feet: Vec<String> = cards_of(&cards).into_iter().map(|card| card.footer).collect();
    let expected = ["North / P1", "South / 42 && more", "South / P1"];
    let expected = expected.map(|place| format!("&L&14 {place}, 2026-11-29&R&14 Page &P / 1"));
    assert_eq!(feet, expected);
    // Each page of the report names the plants and the run.
    let report = parts(&folder.path().join("report.xlsx"));
    let sheets = report.iter().filter(|(name, _)| name.starts_with("xl/worksheets/sheet"));
    for (name, xml) in sheets {
        let foot = xml.split("<oddFooter>").nth(1).unwrap().split('<').next().unwrap();
        assert!(foot.contains("2026-11-29, run ") && foot.contains("North, South"), "{name}: {foot}");
    }
}

/// The rows of a sheet of the report as text.
fn rows_of(path: &Path, sheet: &str) -> Vec<Vec<String>> {
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let range = book.worksheet_range(sheet).unwrap();
    range.rows().map(|row| row.iter().map(ToString::to_string).collect()).collect()
}

/// Findings say that the pump of T07/yoke/1 is set to 326 bar, above its own rating of 300 bar and the drive ram's of 310
/// bar: it gives 300 bar, which is what the pressures behind it are made of. A relief valve guards the three circuits of T06/vane that conform.
#[test]
fn the_pressure_chain_says_what_the_findings_say() {
    let folder = tempfile::tempdir().unwrap();
    let [report, _] = written(&sample(), folder.path());
    let data = folder.path().join("data");
    run_any(&["check", sample().to_str().unwrap(), "--data", data.to_str().unwrap()]);
    let rows = rows_of(&report, "Pressure chain");
    let stage = |fixture: &str, circuit: &str, name: &str| {
        let found = rows.iter().find(|row| row[2] == fixture && row[3] == circuit && row[5].starts_with(name));
        found.unwrap_or_else(|| panic!("{fixture} {circuit} {name}")).clone()
    };
    for (name, rating, margin) in [("Pump", "300", "0"), ("Drive ram", "310", "10")] {
        let row = stage("yoke", "1", name);
        assert_eq!(row[5], format!("{name}, set to 326 bar"));
        assert_eq!(row[8..], ["300", rating, margin, "set above the rating"], "{name}");
    }
    // Where a rule finds warm trapped oil above a rating, the chain does, with the same figures, and nowhere else.
    let mut findings = csv::Reader::from_path(data.join("findings.csv")).unwrap();
    let findings: Vec<BTreeMap<String, String>> = findings.deserialize().map(Result::unwrap).collect();
    let warm: Vec<&Vec<String>> = rows.iter().filter(|row| row[5] == "Weakest part, warm trapped oil").collect();
    assert!(warm.len() > 30, "{}", warm.len());
    for row in warm {
        let is_here = |finding: &&BTreeMap<String, String>| {
            finding["rule"] == "H01" && finding["fixture"] == row[2] && finding["circuit"] == row[3]
        };
        let Some(found) = findings.iter().find(is_here) else {
            assert_ne!(row[11], "above the rating", "{row:?}");
            continue;
        };
        assert_eq!(row[11], "above the rating", "{row:?}");
        for (cell, figure) in [(8, "measured"), (9, "limit")] {
            let off = number(&row[cell]) - number(&found[figure]);
            assert!(off.abs() < 1e-6 * number(&row[cell]), "{row:?} {found:?}");
        }
    }
    // 230 bar × 0.95 = 218.5 bar: what comes to 221 bar in the heat is printed among what is close to its rating.
    assert_eq!(stage("gate", "2", "Weakest part, warm trapped oil")[11], "close to the rating");
    for circuit in ["1", "3"] {
        let row = stage("vane", circuit, "Weakest part at potential pressure");
        assert_eq!(row[10..], ["", "guarded by a relief valve"], "{circuit}");
    }
    // The reducing valve does its job: no margin is missing.
    assert_eq!(stage("vane", "2", "Reducing valve")[10..], ["", "reduced to the setting"]);
    // A circuit that conforms has no row that says otherwise.
    let conforming: BTreeSet<[String; 2]> = rows_of(&report, "Circuits")[2..]
        .iter()
        .filter(|row| row[5] == "conforms")
        .map(|row| [row[2].clone(), row[3].clone()])
        .collect();
    for row in rows[2..].iter().filter(|row| conforming.contains(&[row[2].clone(), row[3].clone()])) {
        assert!(!row[11].contains("above the rating"), "{row:?}");
    }
}

/// Cells of a sheet with their number formats, by reference.
fn formats_of(path: &Path, sheet: &str) -> BTreeMap<String, String> {
    let parts = parts(path);
    let formats = formats(&parts["xl/styles.xml"]);
    let index = Printed::all(path).iter().position(|printed| printed.name == sheet).unwrap();
    let mut found = BTreeMap::new();
    elements(&parts[&format!("xl/worksheets/sheet{}.xml", index + 1)], |element, attributes| {
        if element == "c" {
            let style = attributes.get("s").map_or(0, |style| number(style) as usize);
            found.insert(attributes["r"].clone(), formats[style].clone());
        }
    });
    found
}

/// Q02/saddle/2 has no check valve: what is computed of its hold is marked. Of T06/vane/4 a leak is not stated: it is at
/// most so much. What is not asked of a kind of charging, or of a side, is no unknown figure.
#[test]
fn circuits_tell_what_is_not_asked_from_what_is_not_known_and_what_counts_on_a_valve() {
    let folder = tempfile::tempdir().unwrap();
    let [report, _] = written(&sample(), folder.path());
    let rows = rows_of(&report, "Circuits");
    let formats = formats_of(&report, "Circuits");
    let column = |header: &str| rows[1].iter().position(|cell| cell.starts_with(header)).unwrap();
    let row = |fixture: &str, circuit: &str, side: &str| {
        let is_it = |row: &Vec<String>| row[2] == fixture && row[3] == circuit && row[4] == side;
        rows.iter().position(is_it).unwrap_or_else(|| panic!("{fixture} {circuit} {side}"))
    };
    let format = |row: usize, header: &str| {
        let letter = char::from(b'A' + u8::try_from(column(header)).unwrap());
        formats[&format!("{letter}{}", row + 1)].as_str()
    };
    for header in ["Holding pressure", "Hold reserve"] {
        assert_eq!(format(row("saddle", "2", "clamp"), header), "#,##0.0\"*\"", "{header}");
        assert_eq!(format(row("vane", "4", "clamp"), header), "\"≤ \"#,##0.0_)", "{header}");
        assert!(!format(row("bridge", "1", "clamp"), header).contains(['*', '≤']), "{header}");
    }
    let note = &rows[0][0];
    for said in ["-: not asked of this kind", "≤: at most", "*: only once a check valve is fitted (M03)"] {
        assert!(note.contains(said), "{said}: {note}");
    }
    let cells = |row: usize, headers: &[&str]| -> Vec<String> {
        headers.iter().map(|header| rows[row][column(header)].clone()).collect()
    };
    let volumes = ["Fill", "Reserve"];
    let holds = ["At highest temp.", "Holding pressure", "Hold reserve"];
    assert_eq!(cells(row("vane", "1", "clamp"), &volumes), ["-", "-"]);
    assert_eq!(cells(row("ring", "2", "clamp"), &holds), ["-", "-", "-"]);
    assert_eq!(cells(row("hub", "1", "unclamp"), &holds), ["-", "-", "-"]);
    // A part of T05/arch/1 is not known: its figures are looked for.
    assert_eq!(cells(row("arch", "1", "clamp"), &volumes), ["", ""]);
    assert_eq!(cells(row("arch", "1", "clamp"), &holds), ["", "", ""]);
}

/// Sheets on which nothing stands take no page: Sources says what they would have said.
#[test]
fn a_sheet_without_a_row_is_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let starter = folder.path().join("starter");
    run_any(&["starter", starter.to_str().unwrap()]);
    let [report, _] = written(&starter, folder.path());
    let sheets = Printed::all(&report);
    let note = rows_of(&report, "Sources")[0][0].clone();
    for (name, said) in
        [("Causes", "Causes: none."), ("Remedies", "Remedies: no single change"), ("Input", "Input: every")]
    {
        assert!(sheets.iter().all(|sheet| sheet.name != name), "{name}");
        assert!(note.contains(said), "{note}");
    }
}

/// A head that is longer than the page breaks into lines, and what stands beside the page stretches no row on it.
#[test]
fn heads_are_whole_and_rows_as_high_as_what_is_printed() {
    let folder = tempfile::tempdir().unwrap();
    let plant = large_plant(folder.path());
    let [report, _] = written(&plant, folder.path());
    let parts = parts(&report);
    let mut broken = 0;
    for (index, sheet) in Printed::all(&report).iter().enumerate() {
        // Summary, and the charts of Holding, have their texts in lines of their own.
        if ["Summary", "Holding", "Basis"].contains(&sheet.name.as_str()) {
            continue;
        }
        let note = &rows_of(&report, &sheet.name)[0][0];
        // The narrowest text of so many letters: 5 pixels each, far less than most.
        if note.chars().count() as f64 * 5.0 > sheet.across() {
            let xml = &parts[&format!("xl/worksheets/sheet{}.xml", index + 1)];
            assert!(xml.contains("<mergeCell ref=\"A1:"), "{}: {note}", sheet.name);
            assert!(sheet.height(1) > 24.0, "{}: {} points", sheet.name, sheet.height(1));
            broken += 1;
        }
    }
    assert!(broken > 0);
    let purchase = Printed::all(&report).into_iter().find(|sheet| sheet.name == "Purchase").unwrap();
    let rows = purchase.area[2] - 2;
    println!("{rows} rows of Purchase on {} pages", purchase.pages());
    assert!(rows / purchase.pages() >= 14, "{rows} rows on {} pages", purchase.pages());
}

/// Each page of Basis has the head of its columns.
#[test]
fn later_pages_of_basis_have_column_heads() {
    let folder = tempfile::tempdir().unwrap();
    let [report, _] = written(&sample(), folder.path());
    let basis = Printed::all(&report).into_iter().find(|sheet| sheet.name == "Basis").unwrap();
    assert!(basis.pages() > 1);
    let head = &rows_of(&report, "Basis")[basis.repeated[1] - 1];
    assert_eq!(head[..2], ["Policy value (name in formulas), rule", "Value, severity"]);
}

/// Rows of a sheet of the small plant's workbook, with some files written otherwise.
fn small_sheet(files: &[(&str, &str)], sheet: &str) -> (Vec<Vec<String>>, Printed) {
    let folder = tempfile::tempdir().unwrap();
    let (plant, report) = (folder.path().join("plant"), folder.path().join("report.xlsx"));
    small::write(&plant, files);
    run(&["check", plant.to_str().unwrap(), "--out", report.to_str().unwrap(), "--quiet"]);
    let mut book: Xlsx<_> = open_workbook(&report).unwrap();
    let range = book.worksheet_range(sheet).unwrap();
    let rows = range.rows().map(|row| row.iter().map(ToString::to_string).collect()).collect();
    (rows, Printed::all(&report).into_iter().find(|printed| printed.name == sheet).unwrap())
}

/// 326 bar × 0.5 − 3 bar are 160 bar ahead of a reducing valve that is set to 140. The isolation valve is rated for 150:
/// beside the clamps' 140 it would be read as within its rating.
#[test]
fn what_the_weakest_part_sees_ahead_of_a_reducing_valve_is_printed() {
    let parts = |clamp: &str| {
        let parts = small::PARTS.replace("IV,isolation_valve,350", "IV,isolation_valve,150");
        let parts = parts.replace("CL20,clamp,230", &format!("CL20,clamp,{clamp}"));
        let rows = parts.lines().enumerate();
        let rows = rows.map(|(row, line)| format!("{line},{}\n", if row == 0 { "set_pressure" } else { "" }));
        rows.chain(["RV,reducing_valve,350,,,0,,,,,,,,,check_valve,0.2,,140\n".to_owned()]).collect::<String>()
    };
    let list = small::LIST.replace("A,f,1,G,GA,1,,,,", "A,f,1,G,GA,1,,,reduced,\nA,f,1,RV,RV,1,,,,");
    // Without a highest temperature nothing is warmer than at charging.
    let circuits = small::CIRCUITS.replace(",160,85,21,18,25,", ",140,70,21,18,,");
    let told = |clamp: &str, list: &str| {
        let parts = parts(clamp);
        let files = [("components.csv", parts.as_str()), ("lists/l.csv", list), ("circuits.csv", &circuits)];
        let (rows, printed) = small_sheet(&files, "Circuits");
        let column = rows[1].iter().position(|cell| cell == "Weakest part").unwrap();
        assert!(column < printed.area[3], "printed up to column {}", printed.area[3]);
        (rows[2][column].clone(), rows[0][0].contains("sees: the highest pressure ahead of the reducing valve"))
    };
    assert_eq!(told("230", &list), ("IV, sees 160.0".to_owned(), true));
    // The clamp is the weakest at 145, and within it at 140; the valve is not.
    assert_eq!(told("145", &list), ("CL20; IV (150.0) sees 160.0".to_owned(), true));
    assert_eq!(told("230", small::LIST), ("IV".to_owned(), false));
}

/// Half a million cycles at 3 a day last 166,666 days, centuries from now: nobody plans for it on paper.
#[test]
fn what_is_due_in_centuries_is_not_printed() {
    let rows = small::PARTS.lines().map(|line| match line.split(',').next() {
        Some("part_no") => format!("{line},service_life,cycle_life\n"),
        Some("CL20") => format!("{line},,500000\n"),
        Some("TU8") => format!("{line},1825,\n"),
        _ => format!("{line},,\n"),
    });
    let parts: String = rows.collect();
    let rows = small::LIST.lines().enumerate();
    let rows = rows.map(|(row, line)| format!("{line},{}\n", if row == 0 { "fitted_on" } else { "2026-01-31" }));
    let list: String = rows.collect();
    let circuits = small::CIRCUITS.replace("hold_time\n", "hold_time,cycles_per_day\n").replace("480\n", "480,3\n");
    let files = [("components.csv", parts.as_str()), ("lists/l.csv", &list), ("circuits.csv", &circuits)];
    let (rows, printed) = small_sheet(&files, "Due");
    let at = |what: &str| rows.iter().position(|row| row[0].starts_with(what)).unwrap_or_else(|| panic!("{rows:?}"));
    let (service, cycle) = (at("service"), at("cycle"));
    // Rows are counted from 1.
    assert!(service < printed.area[2] && printed.area[2] <= cycle, "{service} {cycle} {:?}", printed.area);
    assert!(rows[0][0].ends_with("1 is more than 10 years off and stands below the print."), "{}", rows[0][0]);
}
