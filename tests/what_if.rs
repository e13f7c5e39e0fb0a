//! What if: a change that is written nowhere gives what the same edit of the file gives.

#![allow(clippy::unwrap_used)]

#[path = "plants/folder.rs"]
mod folder;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::Command;

use folder::copy;
use serde_json::Value;

const SAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-data/plant");
/// Edits that are tried.
const EDITS: usize = 300;

fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_clampbook")).args(arguments).env_remove("COLUMNS").output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

fn json(arguments: &[&str]) -> (i32, Value) {
    let (status, text, said) = run(arguments);
    (status, serde_json::from_str(&text).unwrap_or_else(|error| panic!("{arguments:?}: {error} {said}")))
}

/// The same numbers on every machine.
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from((self.0 >> 33) % end as u64).unwrap()
    }

    fn one<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[self.below(all.len())]
    }
}

fn folded(header: &str) -> String {
    let name = header.split(['[', '(']).next().unwrap().to_lowercase();
    let name: String = name.chars().filter(|letter| letter.is_alphanumeric()).collect();
    if name == "stockno" { "partno".to_owned() } else { name }
}

fn cells(line: &str, delimiter: u8) -> Vec<String> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).delimiter(delimiter).from_reader(line.as_bytes());
    reader.records().next().unwrap().unwrap().iter().map(str::to_owned).collect()
}

fn line(cells: &[String], delimiter: u8) -> String {
    let mut writer = csv::WriterBuilder::new().delimiter(delimiter).from_writer(Vec::new());
    writer.write_record(cells).unwrap();
    // Blank cells at the end are tabs that count.
    String::from_utf8(writer.into_inner().unwrap()).unwrap().trim_end_matches(['\r', '\n']).to_owned()
}

/// Edits a cell of a text file as a person would; a column that the file lacks goes behind the others.
fn edit_file(path: &Path, row: usize, column: &str, text: &str) {
    let content = fs::read_to_string(path).unwrap();
    let mut lines: Vec<String> = content.lines().map(str::to_owned).collect();
    let head = usize::from(lines[0].trim_start_matches('\u{feff}').starts_with("sep="));
    let delimiter = [b'\t', b';', b','].into_iter().find(|byte| lines[head].as_bytes().contains(byte)).unwrap();
    let wanted = folded(&column.replace('_', ""));
    let headers = cells(&lines[head], delimiter);
    let at = headers.iter().position(|header| folded(header) == wanted).unwrap_or(headers.len());
    if at == headers.len() {
        for (index, own) in lines.iter_mut().enumerate().skip(head).filter(|(_, own)| !own.trim().is_empty()) {
            own.push(char::from(delimiter));
            if index == head {
                own.push_str(column);
            }
        }
    }
    let mut edited = cells(&lines[row - 1], delimiter);
    text.clone_into(&mut edited[at]);
    lines[row - 1] = line(&edited, delimiter);
    fs::write(path, lines.join("\n") + "\n").unwrap();
}

/// A cell to set, and what to.
struct Wish {
    set: String,
    column: &'static str,
    text: String,
}

/// Positions by circuit, stations and parts of the sample plant.
struct Ground {
    lines: Vec<(String, String)>,
    circuits: Vec<String>,
    stations: Vec<String>,
    parts: Vec<String>,
}

impl Ground {
    fn of_sample() -> Self {
        let mut lines = Vec::new();
        let reading = clampbook::read::open(Path::new(SAMPLE), None, "2026-11-25".parse().unwrap()).unwrap();
        for (index, circuit) in reading.lists.circuits().enumerate() {
            let all = reading.lists.lines(index).unwrap().lines;
            for own in &all {
                let source = reading.plant.source(own.origin).unwrap();
                let is_text = Path::new(&source.file).extension().is_some_and(|ending| ending != "xlsx");
                let times = all.iter().filter(|other| other.position == own.position).count();
                if is_text && times == 1 && !own.position.is_empty() {
                    lines.push((circuit.key.path(), own.position.to_string()));
                }
            }
        }
        Self {
            lines,
            circuits: reading.plant.services.iter().map(|(key, _)| key.path()).collect(),
            stations: reading.plant.stations.iter().map(|station| station.station.clone()).collect(),
            parts: reading.plant.components.iter().map(|part| part.part_no.clone()).collect(),
        }
    }

    fn wish(&self, chance: &mut Chance) -> Wish {
        let text = |chance: &mut Chance, all: &[&str]| (*chance.one(all)).to_owned();
        match chance.below(10) {
            0..=2 => {
                let (place, position) = chance.one(&self.lines);
                let part = chance.one(&self.parts).clone();
                Wish { set: format!("{place}:{position}={part}"), column: "part_no", text: part }
            }
            3..=5 => {
                let (place, position) = chance.one(&self.lines);
                let columns: [(&str, &[&str]); 10] = [
                    ("qty", &["1", "2", "3", "8", "1.5", ""]),
                    ("length", &["250 mm", "2 m", "4 in", "", "long"]),
                    ("stroke_used", &["6 mm", "12 mm", "0.4 in", "20"]),
                    ("force_required", &["2 kN", "12 kN", "900 lbf", ""]),
                    ("set_pressure", &["90 bar", "210 bar", "3000 psi"]),
                    ("side", &["clamp", "unclamp", "both", "left"]),
                    ("zone", &["charge", "full", "reduced"]),
                    ("arm_length", &["40 mm", "120 mm"]),
                    ("grip_length", &["80 mm", "0"]),
                    ("supports", &["C1", "C1 C2", "C9", ""]),
                ];
                let (column, texts) = *chance.one(&columns);
                let text = text(chance, texts);
                Wish { set: format!("{place}:{position}.{column}={text}"), column, text }
            }
            6..=8 => {
                let place = chance.one(&self.circuits);
                let columns: [(&str, &[&str]); 11] = [
                    ("temp_min", &["5 degC", "18 degC", "50 degF", ""]),
                    ("temp_max", &["30 degC", "45 degC", "cold"]),
                    ("temp_charge", &["20 degC", "25 degC"]),
                    ("hold_time", &["30 min", "8 h", "72 h", ""]),
                    ("pressure_min", &["60 bar", "120 bar", "2500 psi"]),
                    ("pressure_set", &["120 bar", "200 bar", ""]),
                    ("charging", &["cylinder", "coupler", "live"]),
                    ("station", &["TH-1", "TH-2", "nowhere"]),
                    ("clamp_time_max", &["1 s", "20 s"]),
                    ("fluid", &["HFC-46", ""]),
                    ("dwell", &["40 s", "5 s"]),
                ];
                let (column, texts) = *chance.one(&columns);
                let text = text(chance, texts);
                Wish { set: format!("{place}.{column}={text}"), column, text }
            }
            _ => {
                let station = chance.one(&self.stations);
                let columns: [(&str, &[&str]); 3] = [
                    ("pump_setting", &["300 bar", "120 bar", "4500 psi", ""]),
                    ("relief_setting", &["310 bar", "100 bar"]),
                    ("pump", &["OTTER-345", "OTTER-240", "none"]),
                ];
                let (column, texts) = *chance.one(&columns);
                let text = text(chance, texts);
                Wish { set: format!("{station}.{column}={text}"), column, text }
            }
        }
    }
}

/// Findings on circuits of some pallets, as texts.
fn findings(run: &Value, pallets: &BTreeSet<String>) -> BTreeSet<String> {
    let all = run["findings"].as_array().unwrap().iter();
    let pallet =
        |finding: &Value| format!("{}/{}", finding["plant"].as_str().unwrap(), finding["pallet"].as_str().unwrap());
    // Waivers can only be judged on the whole.
    let all = all.filter(|finding| !finding["rule"].as_str().unwrap().starts_with('W'));
    // What usually helps and what was proved differ: remedies are searched in neither run.
    all.filter(|finding| pallets.contains(&pallet(finding))).map(ToString::to_string).collect()
}

fn verdicts(run: &Value) -> BTreeMap<String, Value> {
    let all = run["summary"]["by_pallet"].as_array().unwrap().iter();
    all.map(|row| (format!("{}/{}", row["plant"].as_str().unwrap(), row["pallet"].as_str().unwrap()), row.clone()))
        .collect()
}

#[test]
fn three_hundred_random_edits_give_what_the_edited_file_gives() {
    let ground = Ground::of_sample();
    let mut chance = Chance(21);
    let untouched = json(&["check", SAMPLE, "--json", "--no-remedies"]).1;
    let mut changing = 0;
    for _ in 0..EDITS {
        let wish = ground.wish(&mut chance);
        let (status, what_if) = json(&["check", SAMPLE, "--json", "--set", &wish.set]);
        let from = what_if["edits"][0]["from"].as_str().unwrap();
        let (file, row) = from.split_once(", row ").unwrap();
        let folder = tempfile::tempdir().unwrap();
        copy(Path::new(SAMPLE), folder.path());
        edit_file(&folder.path().join(file), row.parse().unwrap(), wish.column, &wish.text);
        let edited = json(&["check", folder.path().to_str().unwrap(), "--json", "--no-remedies"]).1;
        let after = &what_if["after"];
        let own = verdicts(after);
        let pallets: BTreeSet<String> = own.keys().cloned().collect();
        let (expected, found) = (findings(&edited, &pallets), findings(after, &pallets));
        let odd: Vec<&String> = expected.symmetric_difference(&found).collect();
        assert!(odd.is_empty(), "{}: {odd:#?}", wish.set);
        let in_file = verdicts(&edited);
        for (pallet, row) in &own {
            assert_eq!(&in_file[pallet], row, "{}: {pallet}", wish.set);
        }
        // Nothing changes on pallets that were not looked at.
        for (pallet, row) in verdicts(&untouched) {
            assert!(own.contains_key(&pallet) || in_file[&pallet] == row, "{}: {pallet}", wish.set);
        }
        assert!(status < 2, "{}", wish.set);
        let changed = &what_if["changed"];
        let is_change =
            ["verdicts", "figures", "gone", "come"].iter().any(|what| !changed[what].as_array().unwrap().is_empty());
        changing += usize::from(is_change);
    }
    assert!(changing > EDITS / 2, "only {changing} of {EDITS} edits change anything");
}

#[test]
fn a_larger_clamp_shows_before_and_after() {
    let (status, text, said) =
        run(&["check", SAMPLE, "--set", "T02/left/2:C4.stroke_used=9 mm", "--set", "TH-1.pump_setting=300 bar"]);
    assert_eq!((status, said.as_str()), (1, ""));
    for words in [
        "What if, and nothing is written:",
        "Tarnholm/T02/left/2, C4: stroke_used: '12' becomes '9 mm' (lists/tarnholm-t02-t03.csv,",
        "load station TH-1: pump_setting: '326' becomes '300 bar'",
        "before",
        "after",
        "Gone: ",
        "L07 stroke-used-above-stroke, major: Tarnholm/T02/left/2, C4, PLOVER-20",
        "It is no verdict on the plant",
    ] {
        assert!(
            text.split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .contains(&words.split_whitespace().collect::<Vec<_>>().join(" ")),
            "{words}\n{text}"
        );
    }
    // 300 bar × 0.5 − 3 bar = 147 bar.
    let charge = text.lines().find(|line| line.trim_start().starts_with("charge pressure")).unwrap();
    assert!(charge.contains("160 bar") && charge.contains("147 bar"), "{charge}");
    let (status, text, _) = run(&["explain", SAMPLE, "T02/left/2", "--set", "TH-1.pump_setting=300 bar"]);
    assert_eq!(status, 0);
    assert!(text.contains("300 bar × 0.5 − 3 bar"), "{text}");
}

#[test]
fn a_wish_that_can_not_be_followed_gets_one_sentence() {
    for (wish, words) in [
        ("nonsense", "sets nothing"),
        ("left:C4=PLOVER-20", "may be any of"),
        ("T02/left/2:C99=PLOVER-20", "has no position 'C99'"),
        ("T02/left/2:C4.quantity=3", "The nearest is qty"),
        ("T02/left/2:C4.circuit=3", "can't be set here"),
        ("T02/left/2.fixture=F7", "fixture says where a circuit stands and can't be set here"),
        ("T02/left/2:C99.qty=6", "has no position 'C99'."),
        ("TH-9.pump_setting=300 bar", "There is no load station 'TH-9'"),
        ("T02/left/2.pump_setting=300 bar", "There is no load station"),
        ("T02/left/2.colour=red", "no column of the circuits or the load stations"),
    ] {
        let (status, text, said) = run(&["check", SAMPLE, "--set", wish]);
        assert_eq!((status, text.as_str(), said.trim_end().lines().count()), (2, "", 1), "{wish}: {said}");
        assert!(said.contains(words), "{wish}: {said}");
    }
    // The same cell by another name of its place.
    let twice = ["check", SAMPLE, "--set", "TH-1.pump_setting=300 bar", "--set", "th-1.pump_setting=310 bar"];
    let (status, text, said) = run(&twice);
    assert_eq!((status, text.as_str()), (2, ""), "{said}");
    assert!(said.contains("is set twice, to '300 bar' and to '310 bar'."), "{said}");
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let (status, _, said) = run(&["check", SAMPLE, "--set", "T02/left/2:C4.qty=3", "--data", data.to_str().unwrap()]);
    assert_eq!(status, 2);
    assert!(said.starts_with("--data is about the plant as it is") && !data.exists(), "{said}");
}

/// Circuits without a plant and a pallet have a name all the same.
#[test]
fn what_a_change_may_touch_without_a_pallet_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let plant = folder.path().join("plant");
    let path = plant.to_str().unwrap();
    assert_eq!(run(&["starter", path]).0, 0);
    for file in ["circuits.csv", "lists/example.csv"] {
        let text = fs::read_to_string(plant.join(file)).unwrap();
        fs::write(plant.join(file), text.replace("Example plant,P01,", ",,")).unwrap();
    }
    let (_, text, said) = run(&["check", path, "--set", "F1/1:C1.qty=40"]);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("the circuits without a pallet, which the change may touch"), "{text}{said}");
    assert!(!text.contains("//F1"), "{text}");
}
