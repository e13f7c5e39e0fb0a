//! `--apply-remedies`: the copy bears out what is marked as applied, and the plant stays as it was.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use clampbook::read::as_given::{GivenCell, sheets_as_given};
use clampbook::tables::policy::Bounds;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

type Record = BTreeMap<String, String>;

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant")
}

fn check(plant: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_clampbook")).arg("check").arg(plant).arg("--quiet").args(more).output().unwrap()
}

fn table(path: &Path) -> Vec<Record> {
    csv::Reader::from_path(path).unwrap().deserialize().map(Result::unwrap).collect()
}

/// Every file below a folder with its bytes.
fn bytes(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(bytes(&path));
        } else {
            all.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    all
}

fn place(record: &Record) -> Vec<String> {
    ["plant", "pallet", "fixture", "circuit"].map(|column| record[column].clone()).to_vec()
}

/// Rule, place, side and position.
type Key = (String, Vec<String>, String, String);

/// Findings that count.
fn counted(findings: &[Record]) -> BTreeMap<Key, u32> {
    let mut all = BTreeMap::new();
    for one in findings {
        let weighs = one["severity"] != "observation" || one["rule"] == "V03";
        if weighs && one["state"] != "waived" && !one["rule"].starts_with(['B', 'W']) {
            let key = (one["rule"].clone(), place(one), one["side"].clone(), one["position"].clone());
            *all.entry(key).or_default() += 1;
        }
    }
    all
}

/// Applies a plant's remedies and audits the copy by itself: rows of remedies.csv, findings before
/// and after.
fn applied(plant: &Path, root: &Path) -> (Vec<Record>, Vec<Record>, Vec<Record>) {
    let (data, copy, again) = (root.join("data"), root.join("copy"), root.join("again"));
    let path = |path: &PathBuf| path.to_str().unwrap().to_owned();
    let first = check(plant, &["--data", &path(&data), "--apply-remedies", &path(&copy)]);
    let (said, complaint) = (String::from_utf8(first.stdout).unwrap(), String::from_utf8(first.stderr).unwrap());
    assert_eq!((first.status.code(), complaint.as_str()), (Some(1), ""));
    let second = check(&copy, &["--data", &path(&again)]);
    let summary = String::from_utf8(second.stdout).unwrap();
    // What is said of the copy is what a run over it counts, whatever the lines are broken at.
    // Sentences on what verdicts rest on stand ahead.
    let is_count = |line: &&str| line.contains(" circuit: ") || line.contains(" circuits: ");
    let counts: Vec<&str> = summary.lines().skip_while(|line| !is_count(line)).collect();
    let counts = counts.join(" ");
    let counts = counts.split("Purchasing: ").next().unwrap();
    let counts = counts.split_whitespace().collect::<Vec<_>>().join(" ");
    let told = said.split_whitespace().collect::<Vec<_>>().join(" ");
    // How they part into those in service and planned stands between verdicts and findings.
    let (verdicts, _) = counts.split_once(" not assessed.").unwrap();
    let (_, findings) = counts.rsplit_once(" not assessed. ").unwrap();
    assert!(told.contains(&format!("{verdicts} not assessed. {findings}")), "{said}\n{summary}");
    (table(&data.join("remedies.csv")), table(&data.join("findings.csv")), table(&again.join("findings.csv")))
}

/// What is marked `yes` is gone from its circuit or station, and nothing came anywhere.
fn bears_out(remedies: &[Record], before: &[Record], after: &[Record]) {
    let (before, after) = (counted(before), counted(after));
    // What stood on a circuit stands on each of the circuits that it was split into.
    let was_split = |key: &Key| {
        let name = key.1[3].rsplit_once('-').filter(|(_, letter)| letter.len() == 1).map(|(name, _)| name.to_owned());
        name.is_some_and(|name| before.keys().any(|old| old.0 == key.0 && old.1[..3] == key.1[..3] && old.1[3] == name))
    };
    let came: Vec<_> = after
        .iter()
        .filter(|(key, count)| key.0 != "V03" && before.get(*key).is_none_or(|was| was < count) && !was_split(key))
        .collect();
    assert!(came.is_empty(), "{came:?}");
    for row in remedies.iter().filter(|row| row["applied"] == "yes" && row["rules"] != "B01") {
        let is_station = place(row).iter().all(String::is_empty);
        for rule in row["rules"].split(' ') {
            // Side by side: an observation may come on the side that another remedy gave a cylinder.
            // A change of a load station may clear findings of many circuits.
            let is_here = |key: &Key| {
                let is_of_station = key.1.iter().all(String::is_empty) && key.3 == row["position"];
                if is_station { is_of_station || !key.1.iter().all(String::is_empty) } else { key.1 == place(row) }
            };
            let mut here = before.iter().filter(|(key, _)| key.0 == rule && is_here(key));
            let is_gone = here.any(|(key, was)| after.get(key).is_none_or(|count| count < was));
            assert!(is_gone, "{rule} is not gone: {row:?}");
        }
    }
}

#[test]
fn the_copy_of_the_sample_plant_bears_out_what_is_applied() {
    let root = tempfile::tempdir().unwrap();
    let was = bytes(&sample());
    let (remedies, before, after) = applied(&sample(), root.path());
    assert_eq!(bytes(&sample()), was);
    let applied = remedies.iter().filter(|row| row["applied"] == "yes").count();
    assert!(applied >= 10, "{remedies:?}");
    assert!(remedies.iter().all(|row| row["applied"] == "yes" || row["applied"].starts_with("no: ")));
    bears_out(&remedies, &before, &after);
    // A file that no remedy touches is the very same.
    for name in ["components.csv", "orders.csv", "policy.toml", "waivers.csv"] {
        assert_eq!(
            fs::read(root.path().join("copy").join(name)).unwrap(),
            fs::read(sample().join(name)).unwrap(),
            "{name}"
        );
    }
    // Without the option the column is empty.
    let plain = root.path().join("plain");
    check(&sample(), &["--data", plain.to_str().unwrap()]);
    assert!(table(&plain.join("remedies.csv")).iter().all(|row| row["applied"].is_empty()));
}

#[test]
fn the_copies_of_random_plants_bear_out_what_is_applied() {
    let config = Config { cases: 24, max_shrink_iters: 50, failure_persistence: None, ..Config::default() };
    let applied_in_all = std::cell::Cell::new(0);
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&crate::making::plant(), |random| {
        let root = tempfile::tempdir().unwrap();
        let plant = root.path().join("plant");
        random.write(&plant);
        let was = bytes(&plant);
        let (remedies, before, after) = applied(&plant, root.path());
        prop_assert_eq!(bytes(&plant), was);
        bears_out(&remedies, &before, &after);
        applied_in_all.set(applied_in_all.get() + remedies.iter().filter(|row| row["applied"] == "yes").count());
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    assert!(applied_in_all.get() >= 20, "{}", applied_in_all.get());
}

#[test]
fn a_folder_that_cannot_take_the_copy_is_refused() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    fs::create_dir_all(plant.join("lists")).unwrap();
    for name in ["components.csv", "circuits.csv", "lists/tarnholm-t02-t03.csv"] {
        fs::copy(sample().join(name), plant.join(name)).unwrap();
    }
    let full = root.path().join("full");
    fs::create_dir(&full).unwrap();
    fs::write(full.join("letter.txt"), "kept").unwrap();
    let was = bytes(root.path());
    let inside = plant.join("copy");
    for (target, expected) in [(&full, "new or empty"), (&inside, "can't go into the plant")] {
        let refused = check(&plant, &["--apply-remedies", target.to_str().unwrap()]);
        let said = String::from_utf8(refused.stderr).unwrap();
        assert_eq!(refused.status.code(), Some(2), "{said}");
        assert!(said.contains(expected) && said.lines().count() == 1, "{said}");
    }
    assert_eq!(bytes(root.path()), was);
}

const COMPONENTS: &str = "part_no,kind,rated_pressure,area_clamp [mm2],stroke [mm],capacity [cm3],inner_diameter,\
    dead_volume,set_pressure,full_scale,status,replaced_by\n\
    CYL-A,charging_cylinder,400,,,60,,,,,,\nCHECK,check_valve,400,,,,,0.2,,,,\nSHUT,isolation_valve,400,,,,,0.2,,,,\n\
    DIAL,gauge,400,,,,,0.1,,250,,\nPIPE,tube,400,,,,4,,,,,\nCLAMP,clamp,400,1000,40,,,,,,,\n\
    OLD,fitting,400,,,,,0.1,,,obsolete,NEW\nNEW,fitting,400,,,,,0.1,,,,\nRELIEF,relief_valve,400,,,,,0.1,390,,,\n\
    BLOCK,manifold,400,,,,,1500,,,,\n";

/// A plant whose list has a title, a units row, decimal commas, a total and no fixture but the
/// file's name, and whose circuit no single cylinder fills; `more` are further lines.
fn write_odd_plant(folder: &Path, more: &str) {
    fs::create_dir_all(folder.join("lists")).unwrap();
    fs::write(folder.join("policy.toml"), "date = \"2026-03-02\"\n").unwrap();
    fs::write(folder.join("components.csv"), COMPONENTS).unwrap();
    let list = format!(
        "Bill of clamps;;;;\nposition;part_no;qty;length;set_pressure\n;;;m;MPa\n;CYL-A;1;;\nK1;CLAMP;1;;\nK2;CLAMP;1;;\n\
         K3;CLAMP;1;;\n;CHECK;1;;\n;SHUT;1;;\n;DIAL;1;;\n;PIPE;1;1,250;\n;PIPE;2;0,5;\n{more}R;RELIEF;1;;60\nTotal;;13;;\n"
    );
    fs::write(folder.join("lists/odd one.csv"), list).unwrap();
    fs::write(folder.join("circuits.csv"), "fixture,circuit,pressure_set\nodd one,1,150\n").unwrap();
}

/// Formulas, merged cells and an older format: what can stay stays, and what can't is said.
#[test]
fn what_a_copy_can_not_keep_is_said() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    write_odd_plant(&plant, ";OLD;3;;\n");
    let list = plant.join("lists/odd one.csv");
    let text = fs::read_to_string(&list).unwrap();
    fs::remove_file(&list).unwrap();
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (row, line) in (0_u32..).zip(text.lines()) {
        for (column, cell) in (0_u16..).zip(line.split(';')) {
            match cell.replace(',', ".").parse::<f64>() {
                Ok(number) => sheet.write_number(row, column, number).unwrap(),
                Err(_) => sheet.write_string(row, column, cell).unwrap(),
            };
        }
    }
    // The relief valve's setting is a formula, which the remedy's value takes the place of.
    let row = u32::try_from(text.lines().position(|line| line.starts_with("R;RELIEF")).unwrap()).unwrap();
    sheet.write_formula(row, 4, rust_xlsxwriter::Formula::new("=30*2").set_result("60")).unwrap();
    book.save(plant.join("lists/odd one.xlsx")).unwrap();
    let (remedies, before, after) = applied(&plant, root.path());
    assert_eq!(outcome(&remedies, "setting"), "yes", "{remedies:?}");
    bears_out(&remedies, &before, &after);
    let copy = root.path().join("copy/lists/odd one.xlsx");
    let cells = &sheets_as_given("x", &copy, &Bounds::default()).unwrap()[0].cells;
    assert!(cells.contains(&(row + 1, 4, GivenCell::Number(27.5))), "{cells:?}");
}

/// How a remedy of a kind of change came out.
fn outcome<'a>(remedies: &'a [Record], change: &str) -> &'a str {
    remedies.iter().find(|row| row["change"] == change).map_or("", |row| &row["applied"])
}

/// The split leaves the others of its circuit no place: the setting, which clears a major as it does, goes first, and so
/// the replacement has its place too.
#[test]
fn a_split_comes_behind_what_clears_a_major_in_its_circuit() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    write_odd_plant(&plant, ";OLD;3;;\n");
    let (remedies, before, after) = applied(&plant, root.path());
    bears_out(&remedies, &before, &after);
    assert_eq!(outcome(&remedies, "setting"), "yes", "{remedies:?}");
    assert_eq!(outcome(&remedies, "part"), "yes", "{remedies:?}");
    assert_eq!(outcome(&remedies, "split"), "no: another remedy changes the same circuit");
}

/// The same with the relief valve set as it should be: the split clears a major, the replacement of an obsolete part a
/// minor.
#[test]
fn a_split_comes_before_a_succession_in_its_circuit() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    write_odd_plant(&plant, ";OLD;3;;\n");
    set_relief(&plant);
    let (remedies, before, after) = applied(&plant, root.path());
    bears_out(&remedies, &before, &after);
    assert_eq!(outcome(&remedies, "split"), "yes", "{remedies:?}");
    assert_eq!(outcome(&remedies, "part"), "no: another remedy changes the same circuit");
}

/// Sets the relief valve of the odd plant where no rule has anything against it, at 275 bar.
fn set_relief(plant: &Path) {
    let list = plant.join("lists/odd one.csv");
    let text = fs::read_to_string(&list).unwrap();
    fs::write(&list, text.replace("R;RELIEF;1;;60", "R;RELIEF;1;;27,5")).unwrap();
}

#[test]
fn a_succession_is_written_out_where_nothing_is_split() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    write_odd_plant(&plant, ";OLD;3;;\n");
    fs::write(plant.join("policy.toml"), "date = \"2026-03-02\"\n[rules]\nV01 = \"off\"\n").unwrap();
    let (remedies, before, after) = applied(&plant, root.path());
    bears_out(&remedies, &before, &after);
    assert!(before.iter().any(|one| one["rule"] == "B01") && after.iter().all(|one| one["rule"] != "B01"));
    assert!(after.iter().all(|one| one["rule"] != "P10"));
    assert_eq!(outcome(&remedies, "part"), "yes");
    assert_eq!(outcome(&remedies, "setting"), "yes");
    let copy = fs::read_to_string(root.path().join("copy/lists/odd one.csv")).unwrap();
    // 275 bar between 150 and 400 bar are 27.5 MPa; nothing else of the list changes.
    let was = fs::read_to_string(plant.join("lists/odd one.csv")).unwrap();
    let expected = was.replace(";OLD;3;;", ";NEW;3;;").replace("R;RELIEF;1;;60", "R;RELIEF;1;;27.5");
    assert_eq!(copy, expected);
}

#[test]
fn a_split_is_written_out() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    write_odd_plant(&plant, "");
    set_relief(&plant);
    let (remedies, before, after) = applied(&plant, root.path());
    assert_eq!(outcome(&remedies, "split"), "yes", "{remedies:?}");
    assert!(before.iter().any(|one| one["rule"] == "V01") && after.iter().all(|one| one["rule"] != "V01"));
    let circuits = fs::read_to_string(root.path().join("copy/circuits.csv")).unwrap();
    assert_eq!(circuits.lines().count(), 4, "{circuits}");
    for name in ["1-A", "1-B", "1-C"] {
        let audited = table(&root.path().join("again/circuits.csv"));
        let group = audited.iter().find(|row| row["circuit"] == name).unwrap();
        // A third of 3 x 40 cm3, and of (1.25 + 2 x 0.5) m of pi/4 x (4 mm)2.
        let figure = |name: &str| group[name].parse::<f64>().unwrap();
        assert!((figure("clamp_swept_cm3") - 40.0).abs() < 1e-9, "{group:?}");
        let third = std::f64::consts::FRAC_PI_4 * 16.0 * 2250.0 / 3.0 / 1000.0;
        assert!((figure("clamp_line_cm3") - third).abs() < 1e-9, "{group:?}");
    }
}

#[test]
fn a_split_that_needs_its_dead_volume_shared_is_left_out() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plant");
    write_odd_plant(&plant, ";BLOCK;1;;\n;OLD;3;;\n");
    set_relief(&plant);
    let (remedies, ..) = applied(&plant, root.path());
    assert_eq!(outcome(&remedies, "split"), "no: the dead volume of the groups has to be laid out first");
    // With the split left out, the circuit is free for what came after it.
    assert_eq!(outcome(&remedies, "part"), "yes");
}

/// The components as a sheet of a workbook.
fn add_components(book: &mut rust_xlsxwriter::Workbook) {
    let sheet = book.add_worksheet().set_name("components").unwrap();
    for (row, line) in (0_u32..).zip(COMPONENTS.lines()) {
        for (column, cell) in (0_u16..).zip(line.split(',')) {
            sheet.write_string(row, column, cell.trim()).unwrap();
        }
    }
}

#[test]
fn a_workbook_stays_a_workbook() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plate 7.xlsx");
    let mut book = rust_xlsxwriter::Workbook::new();
    add_components(&mut book);
    let sheet = book.add_worksheet().set_name("lists").unwrap();
    for (column, head) in (1_u16..).zip(["part_no", "qty", "length [m]", "set_pressure"]) {
        sheet.write_string(2, column, head).unwrap();
    }
    let lines = [("CYL-A", 1.0, 0.0), ("CLAMP", 1.0, 0.0), ("CHECK", 1.0, 0.0), ("SHUT", 1.0, 0.0), ("DIAL", 1.0, 0.0)];
    for (row, (part, qty, length)) in
        (3_u32..).zip(lines.into_iter().chain([("PIPE", 2.0, 1.125), ("RELIEF", 1.0, 0.0)]))
    {
        sheet.write_string(row, 1, part).unwrap();
        sheet.write_number(row, 2, qty).unwrap();
        if length > 0.0 {
            sheet.write_number(row, 3, length).unwrap();
        }
    }
    sheet.write_number(9, 4, 420.0).unwrap();
    let sheet = book.add_worksheet().set_name("circuits").unwrap();
    for (column, (head, cell)) in (0_u16..).zip([("fixture", "plate 7"), ("pressure_set", "150")]) {
        sheet.write_string(0, column, head).unwrap();
        sheet.write_string(1, column, cell).unwrap();
    }
    book.save(&plant).unwrap();
    let (remedies, before, after) = applied(&plant, root.path());
    assert_eq!(outcome(&remedies, "setting"), "yes", "{remedies:?}");
    bears_out(&remedies, &before, &after);
    let copy = root.path().join("copy");
    let names: Vec<PathBuf> =
        bytes(&copy).into_keys().map(|path| path.strip_prefix(&copy).unwrap().to_owned()).collect();
    assert_eq!(names, ["changes.csv", "plate 7.xlsx"].map(PathBuf::from));
    let sheets = |path: &Path| sheets_as_given("plate 7.xlsx", path, &Bounds::default()).unwrap();
    let mut expected = sheets(&plant);
    let relief = expected[1].cells.iter_mut().find(|(row, column, _)| (*row, *column) == (10, 4)).unwrap();
    assert_eq!(relief.2, GivenCell::Number(420.0));
    relief.2 = GivenCell::Number(275.0);
    assert_eq!(sheets(&copy.join("plate 7.xlsx")), expected);
    let changes = table(&copy.join("changes.csv"));
    let cells: Vec<[&str; 5]> = changes
        .iter()
        .map(|row| ["sheet", "row", "column", "before", "after"].map(|name| row[name].as_str()))
        .collect();
    assert_eq!(cells, [["lists", "10", "E", "420", "275"]]);
    // Every part of the package but the sheet, and the workbook's own, is the very same.
    let parts = |path: &Path| {
        let mut archive = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
        let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
        let content = |name: String| {
            let mut bytes = Vec::new();
            std::io::Read::read_to_end(&mut archive.by_name(&name).unwrap(), &mut bytes).unwrap();
            (name, bytes)
        };
        names.into_iter().map(content).collect::<std::collections::BTreeMap<_, _>>()
    };
    let (was, is) = (parts(&plant), parts(&copy.join("plate 7.xlsx")));
    let differing: Vec<&String> = was.keys().filter(|name| was.get(*name) != is.get(*name)).collect();
    assert_eq!(was.len(), is.len());
    assert!(
        differing.iter().all(|name| ["xl/workbook.xml", "xl/worksheets/sheet2.xml"].contains(&name.as_str())),
        "{differing:?}"
    );
}

/// The plant of one workbook whose relief valve is set far too high, with the setting as the cell holds and shows it.
fn plate_with_setting(plant: &Path, header: &str, setting: f64, code: &str) {
    let mut book = rust_xlsxwriter::Workbook::new();
    add_components(&mut book);
    let sheet = book.add_worksheet().set_name("lists").unwrap();
    for (column, head) in (0_u16..).zip(["part_no", "qty", "length [m]", header]) {
        sheet.write_string(0, column, head).unwrap();
    }
    let lines = ["CYL-A", "CLAMP", "CHECK", "SHUT", "DIAL", "PIPE", "RELIEF"];
    for (row, part) in (1_u32..).zip(lines) {
        sheet.write_string(row, 0, part).unwrap();
        sheet.write_number(row, 1, if part == "PIPE" { 2.0 } else { 1.0 }).unwrap();
    }
    sheet.write_number(6, 2, 1.125).unwrap();
    let format = rust_xlsxwriter::Format::new().set_num_format(code);
    sheet.write_number_with_format(7, 3, setting, &format).unwrap();
    let sheet = book.add_worksheet().set_name("circuits").unwrap();
    for (column, (head, cell)) in (0_u16..).zip([("fixture", "plate 7"), ("pressure_set", "150")]) {
        sheet.write_string(0, column, head).unwrap();
        sheet.write_string(1, column, cell).unwrap();
    }
    book.save(plant).unwrap();
}

/// 275 bar between 150 and 400 bar are 27.5 MPa, or 27.5e6 / 6894.757 = 3988.54 psi (NIST SP 811).
#[test]
fn a_setting_is_written_in_the_unit_that_its_cell_shows() {
    for (header, setting, code, stored, after) in [
        ("set_pressure [bar]", 6000.0, "0\" psi\"", 3988.54, "3988.5"),
        ("set_pressure [bar]", 42.0, "0.0\" MPa\"", 27.5, "27.5 MPa"),
        ("set_pressure [psi]", 42.0, "0.0\" MPa\"", 27.5, "27.5 MPa"),
        // Shown in thousands: 42 000 is '42.0 MPa'.
        ("set_pressure [bar]", 42_000.0, "0.0,\" MPa\"", 27_500.0, "27.5 MPa"),
        ("set_pressure [bar]", 420.0, "0\" bar\"", 275.0, "275"),
        ("set_pressure [bar]", 420.0, "[>=400]0\" bar\";0\" psi\"", 275.0, "275"),
    ] {
        let root = tempfile::tempdir().unwrap();
        let plant = root.path().join("plate 7.xlsx");
        plate_with_setting(&plant, header, setting, code);
        let (remedies, before, findings) = applied(&plant, root.path());
        assert_eq!(outcome(&remedies, "setting"), "yes", "{code}: {remedies:?}");
        bears_out(&remedies, &before, &findings);
        let copy = root.path().join("copy");
        let sheets = sheets_as_given("plate 7.xlsx", &copy.join("plate 7.xlsx"), &Bounds::default()).unwrap();
        let cell = sheets[1].cells.iter().find(|(row, column, _)| (*row, *column) == (8, 3)).unwrap();
        let (GivenCell::Number(number) | GivenCell::Shown(number, _)) = &cell.2 else { panic!("{cell:?}") };
        assert!((number - stored).abs() < 0.01, "{code}: {number}");
        let changes = table(&copy.join("changes.csv"));
        assert!(changes[0]["after"].starts_with(after), "{code}: {changes:?}");
    }
}

/// A kind of workbook that can't be changed in place keeps its numbers with their units.
#[test]
fn a_workbook_written_anew_keeps_the_units_of_its_formats() {
    let root = tempfile::tempdir().unwrap();
    let plant = root.path().join("plate 7.xlsx");
    plate_with_setting(&plant, "set_pressure [bar]", 42.0, "0.0\" MPa\"");
    // The formula of a cell that changes is one that others share.
    let mut archive = zip::ZipArchive::new(fs::File::open(&plant).unwrap()).unwrap();
    let mut parts: Vec<(String, Vec<u8>)> = Vec::new();
    for index in 0..archive.len() {
        let mut part = archive.by_index(index).unwrap();
        let mut content = Vec::new();
        std::io::Read::read_to_end(&mut part, &mut content).unwrap();
        parts.push((part.name().unwrap().into_owned(), content));
    }
    let mut written = zip::ZipWriter::new(fs::File::create(&plant).unwrap());
    for (name, mut content) in parts {
        if name == "xl/worksheets/sheet2.xml" {
            let text = String::from_utf8(content).unwrap();
            assert_eq!(text.matches("<v>42.0</v>").count(), 1);
            content =
                text.replace("<v>42.0</v>", "<f t=\"shared\" ref=\"D8:D9\" si=\"0\">40+2</f><v>42</v>").into_bytes();
        }
        written.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        std::io::Write::write_all(&mut written, &content).unwrap();
    }
    written.finish().unwrap();
    let (remedies, before, findings) = applied(&plant, root.path());
    assert_eq!(outcome(&remedies, "setting"), "yes", "{remedies:?}");
    bears_out(&remedies, &before, &findings);
    let changes = table(&root.path().join("copy/changes.csv"));
    assert!(changes[0]["after"].contains("cell D8 holds a formula that other cells share"), "{changes:?}");
}
