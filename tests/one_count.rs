//! One run, one count: Summary, terminal, mail, history, summary.json and cards say the same numbers under the same
//! names, and these are those of the rows of circuits.csv and findings.csv.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "plants/run.rs"]
mod run;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use calamine::{Reader as _, Xlsx, open_workbook};
use clampbook::physics::unit::UnitSystem;
use clampbook::report::starter::{Form, write};
use clampbook::report::summary::RunSummary;
use mail_parser::MessageParser;
use run::Row;

const PLACE: [&str; 4] = ["plant", "pallet", "fixture", "circuit"];
const VERDICTS: [&str; 4] = ["conforms", "conforms with waivers", "does not conform", "not assessed"];

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn clampbook(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(matches!(output.status.code(), Some(0 | 1)), "{said}{}", String::from_utf8_lossy(&output.stderr));
    said
}

/// Words on one line.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// All that a run gives, as text.
struct Told {
    terminal: String,
    summary: String,
    mail: String,
    json: RunSummary,
    history: Row,
    cards: Vec<String>,
    circuits: Vec<Row>,
    findings: Vec<Row>,
    in_service: BTreeSet<[String; 4]>,
}

fn place_of(row: &Row) -> [String; 4] {
    ["plant", "pallet", "fixture", "circuit"].map(|column| row[column].clone())
}

impl Told {
    /// Nothing is assessed of a circuit that no list has a line of.
    fn without_lines(&self) -> BTreeSet<[String; 4]> {
        let is_one = |finding: &&Row| finding["rule"] == "L08" && finding["reason"].contains("no list has a line");
        self.findings.iter().filter(is_one).map(place_of).collect()
    }
}

fn cells(path: &Path) -> Vec<String> {
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let sheets = book.worksheets();
    sheets
        .into_iter()
        .flat_map(|(_, range)| range.rows().flatten().map(ToString::to_string).collect::<Vec<_>>())
        .collect()
}

/// The first column of Summary: its sentences, of which a long one goes on in the next row.
fn sentences(path: &Path) -> String {
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let summary = book.worksheet_range("Summary").unwrap();
    let first: Vec<String> = summary.rows().filter_map(|row| row.first().map(ToString::to_string)).collect();
    unwrapped(&first.join(" "))
}

fn place(row: &Row) -> [String; 4] {
    PLACE.map(|name| row.get(name).cloned().unwrap_or_default())
}

/// Circuits of which the circuits table says that they are built.
fn built(plant: &Path) -> BTreeSet<[String; 4]> {
    let mut reader = csv::Reader::from_path(plant.join("circuits.csv")).unwrap();
    let header: Vec<String> = reader.headers().unwrap().iter().map(clampbook::tables::words::folded).collect();
    let at = |name: &str| header.iter().position(|header| *header == clampbook::tables::words::folded(name));
    let of = |record: csv::StringRecord| {
        let cell = |name: &str| at(name).and_then(|at| record.get(at)).unwrap_or_default().trim().to_owned();
        (cell("built") == "yes").then(|| PLACE.map(cell))
    };
    reader.records().filter_map(|record| of(record.unwrap())).collect()
}

fn told(plant: &Path, folder: &Path) -> Told {
    let path = |name: &str| folder.join(name).to_str().unwrap().to_owned();
    let (report, data, cards, history, eml) =
        (path("report.xlsx"), path("data"), path("cards.xlsx"), path("history.csv"), path("mail.eml"));
    let outputs = ["--out", &report, "--data", &data, "--cards", &cards, "--history", &history, "--quiet", "--all"];
    let terminal = clampbook(&[&["check", plant.to_str().unwrap()], outputs.as_slice()].concat());
    let to = ["--to", "manager@example.com", "--from", "audit@example.com", "--eml", &eml];
    clampbook(&[&["mail", &report, "--data", &data], to.as_slice()].concat());
    let bytes = fs::read(&eml).unwrap();
    let message = MessageParser::default().parse(&bytes).unwrap();
    let rows = |name: &str| run::rows(&Path::new(&data).join(name));
    assert_changes_are_pointed_to(&rows("findings.csv"), &rows("remedies.csv"));
    Told {
        terminal: unwrapped(&terminal),
        summary: sentences(Path::new(&report)),
        mail: message.body_text(0).unwrap().into_owned(),
        json: serde_json::from_slice(&fs::read(Path::new(&data).join("summary.json")).unwrap()).unwrap(),
        history: run::rows(Path::new(&history)).pop().unwrap(),
        cards: cells(Path::new(&cards)),
        circuits: rows("circuits.csv"),
        findings: rows("findings.csv"),
        in_service: built(plant),
    }
}

/// A finding that an offered change clears is not said to have none.
fn assert_changes_are_pointed_to(findings: &[Row], remedies: &[Row]) {
    for finding in findings.iter().filter(|finding| finding["remedy"].starts_with("No single change")) {
        let same = |other: &&Row| place(other) == place(finding) && other["rule"] == finding["rule"];
        let clears = |remedy: &Row| {
            place(remedy) == place(finding) && remedy["rules"].split(' ').any(|code| code == finding["rule"])
        };
        let is_only = findings.iter().filter(same).count() == 1;
        assert!(!is_only || !remedies.iter().any(clears), "{finding:?}");
    }
}

impl Told {
    /// Circuits by verdict: in service, planned.
    fn verdicts(&self) -> [BTreeMap<&str, u64>; 2] {
        let mut counts = [BTreeMap::new(), BTreeMap::new()];
        for circuit in &self.circuits {
            let which = usize::from(!self.in_service.contains(&place(circuit)));
            *counts[which].entry(circuit["verdict"].as_str()).or_default() += 1;
        }
        counts
    }

    /// Majors, minors, observations, waived.
    fn severities(&self) -> [u64; 4] {
        let count = |is: &dyn Fn(&Row) -> bool| self.findings.iter().filter(|finding| is(finding)).count() as u64;
        let open =
            |severity: &str| count(&|finding: &Row| finding["severity"] == severity && finding["state"] != "waived");
        [open("major"), open("minor"), open("observation"), count(&|finding: &Row| finding["state"] == "waived")]
    }

    /// ` (2 by majors, 1 by minors alone)`: of circuits in service, or planned, that do not conform.
    fn by_severity(&self, which: usize) -> String {
        let of = |circuit: &&Row| {
            circuit["verdict"] == "does not conform" && usize::from(!self.in_service.contains(&place(circuit))) == which
        };
        let is_major = |circuit: &Row, finding: &Row| {
            let is_of_circuit = place(finding) == place(circuit) && !finding["fixture"].is_empty();
            finding["severity"] == "major" && finding["state"] != "waived" && is_of_circuit
        };
        let fails = self.circuits.iter().filter(of);
        let (by_majors, others): (Vec<&Row>, Vec<&Row>) = fails.partition(|circuit| {
            self.findings.iter().any(|finding| !finding["rule"].starts_with('W') && is_major(circuit, finding))
        });
        // A part or a load station may be what a circuit without a major of its own fails by.
        let json = if which == 0 { self.json.in_service } else { self.json.planned() };
        let by_minors = usize::try_from(json.by_minors).unwrap();
        assert!(by_minors <= others.len(), "{by_minors} of {}", others.len());
        let is_shared = self.findings.iter().any(|finding| {
            finding["severity"] == "major" && finding["fixture"].is_empty() && !finding["rule"].starts_with(['B', 'W'])
        });
        assert!(is_shared || by_minors == others.len(), "{by_minors} of {}", others.len());
        match (by_majors.len() + others.len() - by_minors, by_minors) {
            (_, 0) => String::new(),
            (0, _) => " (by minors alone)".to_owned(),
            (majors, minors) => format!(" ({majors} by majors, {minors} by minors alone)"),
        }
    }

    /// What is not assessed names its own cell; the verdict on purchasing stands in the mail and on the terminal.
    fn assert_cells_and_buying(&self, mail: &str) {
        let not_assessed = self.circuits.iter().filter(|circuit| circuit["verdict"] == "not assessed");
        let named: Vec<[String; 4]> = not_assessed.map(place).collect();
        let listed = self.json.not_assessed.iter();
        let listed: Vec<[String; 4]> =
            listed.map(|one| [&one.plant, &one.pallet, &one.fixture, &one.circuit].map(String::clone)).collect();
        assert_eq!(listed, named);
        // One circuit that waits for one cell; else what is to be stated, on the terminal too.
        let waiting: Vec<_> = self.json.missing.iter().filter(|missing| missing.verdicts > 0).collect();
        match (&self.json.not_assessed[..], &waiting[..]) {
            ([one], [_]) => Told::assert_says(mail, &format!("Settles it: {}.", one.cell)),
            ([_, ..], [first, ..]) => Told::assert_says(mail, &format!(" To be stated: {}", first.cell)),
            _ => {}
        }
        for missing in waiting.iter().take(1) {
            Told::assert_says(&self.terminal, &missing.cell);
        }
        Told::assert_says(mail, &self.json.buying[0]);
        Told::assert_says(&self.terminal, &self.json.buying[0]);
    }

    fn assert_says(text: &str, expected: &str) {
        assert!(text.contains(expected), "'{expected}' is not in:\n{text}");
    }
}

/// `3 majors`, `1 major`.
fn counted(number: u64, word: &str) -> String {
    format!("{number} {word}{}", if number == 1 { "" } else { "s" })
}

/// The mail's first sentence, of circuits in service: those that do not conform, those not assessed, all.
fn assert_unsafe_now(mail: &str, [failing, unknown, total]: [u64; 3]) {
    let (in_service, assessed) = (counted(total, "circuit"), total - unknown);
    let expected = match (failing, unknown) {
        (0, 0) => format!("none of {in_service}"),
        (0, _) if assessed > 0 => {
            format!("none of the {assessed} of {in_service} that could be assessed; {unknown} may be")
        }
        (0, _) => "not known, ".to_owned(),
        _ => format!("{failing} of {in_service}"),
    };
    if total > 0 {
        Told::assert_says(mail, &format!("Unsafe in service now: {expected}"));
    }
    if failing > 0 && unknown > 0 {
        Told::assert_says(mail, &format!("; {unknown} more could not be assessed and may be"));
    }
}

fn assert_one_count(plant: &Path) {
    let folder = tempfile::tempdir().unwrap();
    let told = told(plant, folder.path());
    let by_service = told.verdicts();
    let of = |which: usize, verdict: &str| by_service[which].get(verdict).copied().unwrap_or_default();
    let all = VERDICTS.map(|verdict| of(0, verdict) + of(1, verdict));
    let [conforms, with_waivers, fails, unassessed] = all;
    let total: u64 = all.iter().sum();
    let totals = [0, 1].map(|which| VERDICTS.iter().map(|verdict| of(which, verdict)).sum::<u64>());

    // summary.json
    let json = [told.json.circuits, told.json.in_service];
    let numbers =
        json.map(|of| [of.conforms, of.conforms_with_waivers, of.does_not_conform, of.not_assessed, of.total]);
    assert_eq!(numbers[0], [conforms, with_waivers, fails, unassessed, total]);
    let in_service = VERDICTS.map(|verdict| of(0, verdict));
    assert_eq!(numbers[1][..4], in_service);
    assert_eq!(numbers[1][4], totals[0]);
    let [majors, minors, observations, waived] = told.severities();
    let kinds = [told.json.findings, told.json.purchasing, told.json.waivers];
    assert_eq!(kinds.iter().map(|of| of.majors).sum::<u64>(), majors);
    assert_eq!(kinds.iter().map(|of| of.minors).sum::<u64>(), minors);
    assert_eq!(kinds.iter().map(|of| of.observations).sum::<u64>(), observations);
    assert_eq!(kinds.iter().map(|of| of.waived).sum::<u64>(), waived);

    // The history's row.
    for (column, number) in [
        ("circuits", total),
        ("conforming", conforms + with_waivers),
        ("majors", majors),
        ("minors", minors),
        ("waived", waived),
        ("not_assessed", unassessed),
        ("in_service", totals[0]),
        ("unsafe_in_service", of(0, "does not conform")),
    ] {
        assert_eq!(told.history[column], number.to_string(), "{column} of the history");
    }

    // Terminal and Summary.
    let severities = format!(
        "{}, {}, {}, {waived} waived.",
        counted(majors, "major"),
        counted(minors, "minor"),
        counted(observations, "observation")
    );
    Told::assert_says(&told.terminal, &severities);
    Told::assert_says(&told.summary, severities.split_once(", ").unwrap().1);
    let plural = |number: u64, one: &str, many: &str| format!("{number} {}", if number == 1 { one } else { many });
    let said = [
        plural(conforms, "conforms", "conform"),
        plural(with_waivers, "conforms with waivers", "conform with waivers"),
        plural(fails, "does not conform", "do not conform"),
        format!("{unassessed} not assessed."),
    ];
    Told::assert_says(&told.terminal, &format!("{}: {}", counted(total, "circuit"), said.join(", ")));
    for (which, name) in ["In service", "Planned"].into_iter().enumerate() {
        let of = |verdict: &str| of(which, verdict);
        let sentence = format!(
            "{name}: {}, {}{}, {} not assessed, {}, {}.",
            counted(totals[which], "circuit"),
            plural(of("does not conform"), "does not conform", "do not conform"),
            told.by_severity(which),
            of("not assessed"),
            plural(of("conforms with waivers"), "conforms with waivers", "conform with waivers"),
            plural(of("conforms"), "conforms", "conform")
        );
        if which == 0 || totals[1] > 0 {
            Told::assert_says(&told.summary, &sentence);
        }
    }
    // What the families were asked, in the same words everywhere.
    let coverage = clampbook::audit::counts::coverage_in_words(&told.json.coverage).unwrap();
    let mail = unwrapped(&told.mail);
    for text in [&told.terminal, &told.summary, &mail] {
        Told::assert_says(text, &coverage);
    }
    let empty = told.without_lines();
    for (letter, family) in &told.json.coverage {
        let codes = |circuit: &Row| circuit["not_assessed"].split(' ').any(|code| code.starts_with(letter.as_str()));
        let asked = told.circuits.iter().filter(|circuit| !circuit["not_asked"].contains(letter.as_str()));
        let is_assessed = |circuit: &&Row| !codes(circuit) && !empty.contains(&place_of(circuit));
        let assessed = asked.clone().filter(is_assessed).count() as u64;
        assert_eq!((family.asked, family.assessed), (asked.count() as u64, assessed), "{letter}");
        assert_eq!(family.circuits, total);
    }

    // The mail: what is unsafe, and the table by plant.
    let unsafe_now = of(0, "does not conform");
    assert_unsafe_now(&mail, [unsafe_now, of(0, "not assessed"), totals[0]]);
    told.assert_cells_and_buying(&mail);
    let table: Vec<Vec<u64>> = told
        .mail
        .lines()
        .skip_while(|line| !line.starts_with("Plant "))
        .skip(1)
        .take_while(|line| !line.trim().is_empty())
        .map(|line| line.split_whitespace().filter_map(|word| word.parse().ok()).collect())
        .collect();
    let sum =
        |column: usize| table.iter().filter(|row| row.len() > 1).map(|row| row[row.len() - 6 + column]).sum::<u64>();
    let expected = [totals[0], unsafe_now, of(0, "not assessed"), totals[1], of(1, "does not conform")];
    assert_eq!([0, 1, 2, 3, 4].map(sum), expected, "{}", told.mail);
    assert_eq!(table.iter().map(|row| row.last().unwrap()).sum::<u64>(), majors, "{}", told.mail);

    // A card says of each circuit what its verdict is.
    // One that a later page of a card repeats names circuits alone.
    let is_first = |cell: &&String| cell.contains(". ");
    let banners = |start: &str| told.cards.iter().filter(is_first).filter(|cell| cell.contains(start)).count() as u64;
    assert_eq!(banners("DO NOT USE: "), fails);
    assert_eq!(banners(": NOT ASSESSED, "), unassessed);
}

#[test]
fn the_sample_plant_is_counted_once() {
    assert_one_count(&root("sample-data/plant"));
}

/// Random plants of the second program: most of their rules fire, and data are missing everywhere.
#[test]
fn random_plants_are_counted_once() {
    let folder = root("tests/oracle/plants");
    let mut plants: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    plants.retain(|path| path.join("plant/circuits.csv").is_file() || path.join("circuits.csv").is_file());
    plants.sort();
    assert!(plants.len() >= 3, "{plants:?}");
    for plant in plants.iter().step_by(plants.len().div_ceil(3)) {
        let inner = plant.join("plant");
        assert_one_count(if inner.is_dir() { &inner } else { plant });
    }
}

/// The fills that Summary draws: the highest of all, by `circuits.csv`, whatever else stands against their pallets.
#[test]
fn the_fullest_pallets_are_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let told = told(&root("sample-data/plant"), folder.path());
    let mut fills: BTreeMap<[&str; 2], f64> = BTreeMap::new();
    for circuit in &told.circuits {
        for fill in ["clamp_fill", "unclamp_fill"].iter().filter_map(|side| circuit[*side].parse::<f64>().ok()) {
            let highest = fills.entry([circuit["plant"].as_str(), &circuit["pallet"]]).or_default();
            *highest = highest.max(fill);
        }
    }
    let mut expected: Vec<(&str, f64)> = fills.iter().map(|([_, pallet], fill)| (*pallet, *fill)).collect();
    expected.sort_by(|one, other| other.1.total_cmp(&one.1));
    let mut book: Xlsx<_> = open_workbook(folder.path().join("report.xlsx")).unwrap();
    let summary = book.worksheet_range("Summary").unwrap();
    let header: Vec<String> = summary.rows().next().unwrap().iter().map(ToString::to_string).collect();
    let at = header.windows(3).position(|names| names == ["Pallet", "Highest fill", "Limit"]).unwrap();
    let drawn: Vec<(String, f64)> = summary
        .rows()
        .skip(1)
        .filter(|row| !row[at].to_string().is_empty())
        .map(|row| (row[at].to_string(), row[at + 1].to_string().parse().unwrap()))
        .collect();
    assert!(drawn.len() >= 8 && drawn.len() <= expected.len(), "{drawn:?}");
    for ((pallet, fill), (name, value)) in drawn.iter().zip(&expected) {
        assert!(pallet == name && (fill - value).abs() < 1e-9, "{drawn:?}\n{expected:?}");
    }
}

/// Twenty circuits in service of which nobody stated how long they hold and how cold it gets: nothing sounds as if they
/// were safe, and screen, mail and paper say what is to be stated.
#[test]
fn a_plant_of_which_nothing_is_known_is_told_alike() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    write(&plant, Form::Csv, UnitSystem::Metric).unwrap();
    fs::remove_file(plant.join("orders.csv")).unwrap();
    let names: Vec<String> = (1..=20).map(|number| format!("G{number:02}")).collect();
    let blank = |mut row: csv::StringRecord, header: &csv::StringRecord, name: &str| {
        let cells = row.iter().zip(header).map(|(cell, column)| match column.split(' ').next().unwrap() {
            "hold_time" | "temp_min" => "",
            "fixture" => name,
            "built" => "yes",
            _ => cell,
        });
        row = cells.collect();
        row
    };
    for table in ["circuits.csv", "lists/example.csv"] {
        let path = plant.join(table);
        let mut reader = csv::Reader::from_path(&path).unwrap();
        let header = reader.headers().unwrap().clone();
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let mut writer = csv::Writer::from_path(&path).unwrap();
        writer.write_record(&header).unwrap();
        for name in &names {
            rows.iter().for_each(|row| writer.write_record(&blank(row.clone(), &header, name)).unwrap());
        }
        writer.flush().unwrap();
    }
    assert_one_count(&plant);
    let out = folder.path().join("out");
    fs::create_dir(&out).unwrap();
    let told = told(&plant, &out);
    let columns = ["hold_time", "temp_min"].map(|column| format!("circuits.csv, {column}, rows 2 to 21"));
    let mail = unwrapped(&told.mail);
    Told::assert_says(&mail, "Unsafe in service now: not known, none of 20 circuits could be assessed.");
    Told::assert_says(&mail, &format!("To be stated: {} (20 of 20); {} (20 of 20).", columns[0], columns[1]));
    let sheets = cells(&out.join("report.xlsx"));
    for column in &columns {
        Told::assert_says(&told.terminal, &format!("20 circuits, first Example plant/P01/G01/1: {column}"));
        assert!(sheets.contains(&format!("To be stated: {column}")), "{column}");
    }
    let subject =
        MessageParser::default().parse(&fs::read(out.join("mail.eml")).unwrap()).unwrap().subject().unwrap().to_owned();
    assert!(subject.ends_with(": 20 circuits in service, none could be assessed"), "{subject}");
}
