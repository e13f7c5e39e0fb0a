//! How sure verdicts are: the laws that the figures of `--sure` keep, on a thousand made circuits and on the sample.

#![allow(clippy::unwrap_used, reason = "a test stops where something is amiss")]

#[path = "benches/bench_plant/plant.rs"]
#[allow(dead_code, reason = "a test uses a part of it")]
mod made;
#[path = "plants/run.rs"]
mod run;

use std::path::Path;

use clampbook::audit::outcome::Audit;
use clampbook::audit::{Wanted, whole_without_rows};
use clampbook::read::Reading;
use clampbook::tables::circuit::CircuitKey;
use clampbook::tables::column::{CIRCUITS, COMPONENTS, Column, STATIONS};
use clampbook::tables::policy::{FLUID_NUMBERS, METAL_NUMBERS};
use clampbook::tables::spread::{Nature, SPREADS, Spread, SpreadKind};
use clampbook::tables::sureness::{Certainty, Sureness};
use clampbook::tables::words::Verdict;

/// A plant of so many lines, twenty a circuit, of which nothing is asked that is not stated; rules that its pump settings
/// decide alone are off, so that others do.
fn made_plant(plant: &Path, lines: u64, seed: u64) -> std::path::PathBuf {
    let order = made::Order { folder: plant, lines, seed, files: 1, lines_per_circuit: 20, kind: made::Kind::Mixed };
    made::write(&order).unwrap_or_else(|error| panic!("{error}"));
    let policy = "date = \"2026-03-02\"\n[asked]\nuncoupled = []\n[rules]\nP03 = \"off\"\nP11 = \"off\"\n\
                  [limits]\nfill = 0.6\n[bounds]\ndraws = 400\n";
    std::fs::write(plant.join("policy.toml"), policy).unwrap();
    plant.to_owned()
}

fn thousand(folder: &Path) -> std::path::PathBuf {
    made_plant(&folder.join("plant"), 20_000, 7)
}

fn reading(plant: &Path) -> Reading {
    clampbook::read::open(plant, None, chrono::NaiveDate::default()).unwrap()
}

fn audited(plant: &Path, spread: impl Fn(&mut Spread)) -> Audit {
    let mut reading = reading(plant);
    spread(&mut reading.plant.policy.spread);
    let wanted = Wanted { remedies: false, sure: true, ..Wanted::default() };
    whole_without_rows(reading, &wanted).unwrap()
}

fn surenesses(audit: &Audit) -> Vec<(&CircuitKey, &Sureness)> {
    let with = |circuit: &'_ clampbook::circuit::audited::CircuitAudit| circuit.figures.sureness.is_some();
    let found = audit.circuits.iter().filter(|circuit| with(circuit));
    found.map(|circuit| (&circuit.circuit.key, circuit.figures.sureness.as_deref().unwrap())).collect()
}

#[test]
fn without_spread_there_is_no_doubt() {
    let folder = tempfile::tempdir().unwrap();
    let plant = thousand(folder.path());
    let audit = audited(&plant, |spread| *spread = Spread::none());
    let all = surenesses(&audit);
    assert!(all.len() > 900, "{}", all.len());
    for (key, sureness) in all {
        assert!(sureness.margin.is_infinite() && sureness.deciding.is_empty(), "{key}: {sureness:?}");
        assert!(!sureness.certainty.is_narrow() && sureness.tipping.is_none(), "{key}: {sureness:?}");
        let sure = if sureness.certainty == Certainty::SurelyConforms { 1.0 } else { 0.0 };
        assert!((sureness.probability - sure).abs() < 1e-15, "{key}: {sureness:?}");
    }
}

/// Every spread that much wider: shares and kelvins times, factors to the power of it.
fn wider(times: f64) -> impl Fn(&mut Spread) {
    move |spread| {
        for (known, kind) in SPREADS.iter().zip(SpreadKind::ALL) {
            let now = (known.get)(spread);
            let wide = if kind.nature() == Nature::Factor { now.powf(times) } else { now * times };
            (known.set)(spread, wide);
        }
    }
}

#[test]
fn a_wider_spread_never_makes_a_verdict_surer() {
    let folder = tempfile::tempdir().unwrap();
    let plant = thousand(folder.path());
    let mut before = audited(&plant, wider(0.5));
    for times in [0.75, 1.0, 1.3] {
        let after = audited(&plant, wider(times));
        let (narrow, wide) = (surenesses(&before), surenesses(&after));
        assert_eq!(narrow.len(), wide.len());
        let mut finite = 0;
        for ((key, narrow), (_, wide)) in narrow.iter().zip(&wide) {
            finite += usize::from(wide.margin.is_finite());
            // Draws at random know a deviation to a few percent.
            let room = if wide.is_drawn || narrow.is_drawn { 1.08 } else { 1.0 + 1e-6 };
            assert!(wide.margin.abs() <= narrow.margin.abs() * room, "{key}: {narrow:?} then {wide:?}");
        }
        assert!(finite > 600, "{finite}");
        before = after;
    }
}

fn place(columns: &[Column], name: &str) -> usize {
    columns.iter().position(|column| column.name == name).unwrap()
}

/// Puts a value in the place of a datum that is named as the sheet names it; `false` for one of a line.
fn put(reading: &mut Reading, key: &CircuitKey, datum: &str, value: f64) -> bool {
    let plant = &mut reading.plant;
    let (column, of) = datum.split_once(" of ").unwrap_or((datum, ""));
    if of.contains(" on row ") {
        return false;
    }
    if let Some(station) = of.strip_prefix("station ") {
        let index = plant.station_index[station];
        plant.stations[index].put_number(place(STATIONS, column), value);
    } else if let Some(fluid) = of.strip_prefix("fluid ") {
        let known = FLUID_NUMBERS.iter().find(|number| number.key == column).unwrap();
        (known.set)(plant.policy.fluids.get_mut(fluid).unwrap(), value);
    } else if let Some(known) = METAL_NUMBERS.iter().find(|number| number.key == column && of.is_empty()) {
        (known.set)(&mut plant.policy.metal, value);
    } else if of.is_empty() {
        let mut service = plant.service(key).unwrap().to_service();
        service.put_number(place(CIRCUITS, column), value);
        plant.services.put(key, service);
    } else {
        let index = *plant.part_index.get(of).unwrap() as usize;
        plant.components[index].put_number(place(COMPONENTS, column), value);
    }
    true
}

/// Whether the circuit conforms with a datum at a value; its pallet is audited again by itself.
fn conforms_with(plant: &Path, key: &CircuitKey, datum: &str, value: f64) -> Option<bool> {
    let mut reading = reading(plant);
    if !put(&mut reading, key, datum, value) {
        return None;
    }
    let is_wanted = |other: &CircuitKey| other.plant == key.plant && other.pallet == key.pallet;
    let wanted = Wanted { remedies: false, pallets: Some(&is_wanted), ..Wanted::default() };
    let audit = whole_without_rows(reading, &wanted).unwrap();
    let circuit = audit.circuits.iter().find(|circuit| circuit.circuit.key == *key).unwrap();
    Some(matches!(circuit.verdict, Verdict::Conforms | Verdict::ConformsWithWaivers))
}

/// Circuits of one plant at whose tipping value the verdict tips, and a hair before it does not.
fn tipping_of(plant: &Path) -> Vec<String> {
    let audit = audited(plant, |_| ());
    let mut kinds = Vec::new();
    for (key, sureness) in surenesses(&audit) {
        let Some((tipping, first)) = sureness.tipping.zip(sureness.deciding.first()) else { continue };
        let conforms = sureness.margin >= 0.0;
        let Some(at) = conforms_with(plant, key, &first.datum, tipping.at) else { continue };
        assert_ne!(at, conforms, "{key}: {first:?} {tipping:?}");
        // A limit counts as exceeded only beyond a thousand-millionth of itself.
        let hair = tipping.at + (tipping.now - tipping.at).signum() * 1e-9 * tipping.at.abs();
        assert_eq!(conforms_with(plant, key, &first.datum, hair), Some(conforms), "{key}: {first:?} {tipping:?}");
        kinds.push(first.datum.split(" of ").next().unwrap().to_owned());
    }
    kinds
}

#[test]
fn at_the_tipping_value_the_verdict_tips_and_a_hair_less_does_not() {
    let folder = tempfile::tempdir().unwrap();
    // Small plants are read again and again sooner than a large one.
    let plants: Vec<_> = (1..=25).map(|seed| made_plant(&folder.path().join(seed.to_string()), 1_000, seed)).collect();
    let kinds: Vec<String> = std::thread::scope(|scope| {
        let halves: Vec<_> = plants
            .chunks(plants.len().div_ceil(2))
            .map(|half| scope.spawn(move || half.iter().flat_map(|plant| tipping_of(plant)).collect::<Vec<_>>()))
            .collect();
        halves.into_iter().flat_map(|half| half.join().unwrap()).collect()
    });
    let tipped = kinds.len();
    let kinds: std::collections::BTreeSet<String> = kinds.into_iter().collect();
    assert!(tipped >= 1_000 && kinds.len() > 2, "{tipped} of {kinds:?}");
}

/// Four clamps on one circuit, of one part or of four alike, of which nothing spreads but their strokes.
fn four_clamps(plant: &Path, parts: [&str; 4]) {
    std::fs::create_dir_all(plant.join("lists")).unwrap();
    let mut components = "part_no,kind,rated_pressure [bar],area_clamp [mm2],stroke [mm],capacity [cm3]\n\
         PUSH,charging_cylinder,350,,,30\nCHECK,check_valve,350,,,\nSHUT,isolation_valve,350,,,\nPORT,test_point,350,,,\n"
        .to_owned();
    let mut lists = "position,part_no,qty\n1,PUSH,1\n2,CHECK,1\n3,SHUT,1\n4,PORT,1\n".to_owned();
    for (place, part) in (5..).zip(parts) {
        let row = format!("{part},clamp,350,500,10,\n");
        if !components.contains(&row) {
            components.push_str(&row);
        }
        for cell in [&place.to_string(), part] {
            lists.push_str(cell);
            lists.push(',');
        }
        lists.push_str("1\n");
    }
    std::fs::write(plant.join("components.csv"), components).unwrap();
    std::fs::write(plant.join("lists/f.csv"), lists).unwrap();
    std::fs::write(plant.join("circuits.csv"), "fixture,circuit,pressure_set [bar]\nf,1,200\n").unwrap();
    std::fs::write(plant.join("policy.toml"), "date = \"2026-03-02\"\n[asked]\nuncoupled = []\n").unwrap();
}

/// By hand: fill = 4 v/C and something; u = 4 r v/C where one stroke moves all, √4 r v/C where four know nothing of
/// each other.
#[test]
fn a_part_moves_all_its_pieces_together() {
    let folder = tempfile::tempdir().unwrap();
    let margin = |name: &str, parts: [&str; 4]| {
        let plant = folder.path().join(name);
        four_clamps(&plant, parts);
        let audit = audited(&plant, |spread| {
            *spread = Spread::none();
            let place = SpreadKind::ALL.iter().position(|kind| *kind == SpreadKind::Stroke).unwrap();
            (SPREADS[place].set)(spread, 0.05);
        });
        let all = surenesses(&audit);
        let (_, sureness) = all.first().unwrap();
        assert_eq!((sureness.rule, sureness.deciding.len()), ("V01", if name == "one" { 1 } else { 3 }));
        sureness.margin
    };
    let (one, four) = (margin("one", ["A", "A", "A", "A"]), margin("four", ["A", "B", "C", "D"]));
    assert!((four / one - 2.0).abs() < 1e-9, "{one} {four}");
    // 0.9 - fill over 0.05 x 20/30.
    let fill = 20.0 / 30.0;
    let most = (0.9 - fill) / (0.05 * fill);
    assert!(one < most && one > 0.9 * most, "{one} of {most}");
}

#[test]
fn the_same_bytes_for_any_number_of_threads_and_not_one_more_without_it() {
    let folder = tempfile::tempdir().unwrap();
    let plant = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let data = |name: &str, more: &[&str]| {
        let data = folder.path().join(name);
        run::check(&plant, &data, &[&["--quiet"], more].concat());
        data
    };
    let (one, three) = (data("one", &["--sure", "--threads", "1"]), data("three", &["--sure", "--threads", "3"]));
    let plain = data("plain", &[]);
    let text = |folder: &Path, name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    for name in ["circuits.csv", "findings.csv", "summary.json"] {
        assert_eq!(text(&one, name), text(&three, name), "{name}");
    }
    // With it rows go on where they ended, and nothing else of them is another.
    for (with, without) in text(&one, "circuits.csv").lines().zip(text(&plain, "circuits.csv").lines()) {
        assert!(with.starts_with(&format!("{without},")), "{with}");
    }
    assert!(!text(&plain, "summary.json").contains("\"sure\"") && text(&one, "summary.json").contains("\"sure\""));
    let code = clampbook::rules::sureness::S01.code;
    let others = |folder: &Path| -> Vec<String> {
        text(folder, "findings.csv").lines().filter(|line| !line.starts_with(code)).map(str::to_owned).collect()
    };
    assert_eq!(others(&one), others(&plain));
    let rows = run::rows(&one.join("circuits.csv"));
    let narrow = rows.iter().filter(|row| {
        row["verdict"].starts_with("conforms") && row["margin"].parse::<f64>().is_ok_and(|margin| margin < 2.0)
    });
    let found = run::rows(&one.join("findings.csv")).iter().filter(|row| row["rule"] == code).count();
    assert!(found > 3 && found == narrow.count());
}

/// The sample plant with columns added to a table of it, each cell alike.
fn with_columns(folder: &Path, name: &str, table: &str, more: &[(&str, &str)]) -> std::path::PathBuf {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let plant = folder.join(name);
    for part in ["", "lists"] {
        std::fs::create_dir_all(plant.join(part)).unwrap();
        for entry in std::fs::read_dir(sample.join(part)).unwrap().map(Result::unwrap) {
            if entry.file_type().unwrap().is_file() {
                std::fs::copy(entry.path(), plant.join(part).join(entry.file_name())).unwrap();
            }
        }
    }
    let path = plant.join(table);
    let mut reader = csv::Reader::from_path(&path).unwrap();
    let mut header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    header.extend(more.iter().map(|(name, _)| (*name).to_owned()));
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let mut writer = csv::Writer::from_path(&path).unwrap();
    writer.write_record(&header).unwrap();
    for row in &rows {
        writer.write_record(row.iter().chain(more.iter().map(|(_, cell)| *cell))).unwrap();
    }
    drop(writer);
    plant
}

/// Rule and margin of each circuit, and what Input says.
fn margins(plant: &Path) -> (Vec<(String, Option<f64>)>, String) {
    let data = plant.with_extension("data");
    run::check(plant, &data, &["--quiet", "--sure", "--no-remedies"]);
    let rows = run::rows(&data.join("circuits.csv"));
    let margins = rows.iter().map(|row| (row["margin_rule"].clone(), row["margin"].parse().ok())).collect();
    (margins, std::fs::read_to_string(data.join("input.csv")).unwrap())
}

#[test]
fn a_column_states_its_own_uncertainty() {
    let folder = tempfile::tempdir().unwrap();
    let (before, _) = margins(&with_columns(folder.path(), "before", "circuits.csv", &[]));
    // Every temperature of the circuits table is known to a hundredth of a kelvin.
    let exact = [("temp_min ±", "0.01"), ("temp_max ± [K]", "0.01"), ("temp_charge +/-", "0.01")];
    let (after, input) = margins(&with_columns(folder.path(), "after", "circuits.csv", &exact));
    let surer = before.iter().zip(&after).filter(|(before, after)| {
        before.0 == after.0 && after.1.zip(before.1).is_some_and(|(after, before)| after > before * 1.02)
    });
    assert!(surer.count() > 3, "{before:?} {after:?}");
    assert!(!input.contains("±") && !input.contains("+/-"), "the headers are known: {input}");
    // Per cent in the header or in the cell are a share.
    let (header, _) = margins(&with_columns(folder.path(), "header", "components.csv", &[("stroke ± [%]", "9")]));
    let (cell, input) = margins(&with_columns(folder.path(), "cell", "components.csv", &[("stroke ±", "9 %")]));
    assert!(header == cell && header != before, "{header:?} {cell:?}");
    assert!(!input.contains("stroke ±"), "{input}");
}

/// What is wrong about an uncertainty is said, and the policy's counts.
#[test]
fn an_uncertainty_that_cannot_be_used_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let (before, _) = margins(&with_columns(folder.path(), "before", "components.csv", &[]));
    for (name, header, cell, said) in [
        ("text", "leak ±", "little", "little"),
        ("negative", "leak ±", "-0.001", "-0.001"),
        ("misspelt", "leek ±", "0.001", "leek ±"),
        ("not of a figure", "description ±", "1", "description ±"),
        ("of no column", "capacity from ±", "1", "capacity from ±"),
    ] {
        let (after, input) = margins(&with_columns(folder.path(), name, "components.csv", &[(header, cell)]));
        assert_eq!(before, after, "{name}");
        assert!(input.contains(said), "{name}: {input}");
    }
    for (name, table, more) in [
        ("unit", "components.csv", &[("leak ± [bar]", "1")][..]),
        ("share of a temperature", "circuits.csv", &[("temp_min ± [%]", "1")]),
        ("twice", "components.csv", &[("leak ±", "1"), ("leak +/- [cm3/h]", "1")]),
    ] {
        let plant = with_columns(folder.path(), name, table, more);
        let error = clampbook::read::open(&plant, None, chrono::NaiveDate::default()).err().unwrap().to_string();
        assert!(error.contains(more[0].0) && error.contains(table), "{name}: {error}");
    }
}
