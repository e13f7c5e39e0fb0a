//! Every row of `tests/published/*.csv` against the formula that it names.
#![allow(clippy::unwrap_used)]

mod published {
    pub mod by_hand;
    pub mod formulas;
    pub mod row;
    pub mod uncertainty;
    pub mod zones;
}

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use published::formulas::evaluate;
use published::row::{Row, rows};

const KINDS: [&str; 5] = ["table", "worked example", "hand", "other library", "common practice"];

/// Rows of composed checks, which have no formula of their name.
const COMPOSED: [&str; 4] = ["force_pressure", "oil_let_out", "to_unit", "unclamp_time"];

#[test]
fn every_published_value_is_reproduced() {
    let mut wrong = Vec::new();
    for row in rows() {
        let found = evaluate(&row);
        let off = (found - row.expected).abs();
        if off.is_nan() || off > row.tolerance {
            wrong.push(format!(
                "{}: {}({}) is {found} {unit}, expected {} ± {} {unit} [{}]",
                row.place,
                row.function,
                row.arguments,
                row.expected,
                row.tolerance,
                row.source,
                unit = row.unit,
            ));
        }
    }
    assert!(wrong.is_empty(), "{} values differ:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn every_row_states_where_it_is_from() {
    let mut kinds: BTreeMap<&str, usize> = KINDS.iter().map(|kind| (*kind, 0)).collect();
    let all = rows();
    for row in &all {
        assert!(row.source.len() > 4, "{}: no source", row.place);
        let count = kinds.get_mut(row.kind.as_str());
        *count.unwrap_or_else(|| panic!("{}: kind '{}'", row.place, row.kind)) += 1;
        if row.kind == "common practice" {
            assert!(row.source.starts_with("common practice, no source"), "{}", row.place);
        }
        let scale = row.expected.abs().max(1e-300);
        assert!(row.tolerance / scale <= 0.1, "{}: a tolerance that proves nothing", row.place);
    }
    for (kind, least) in KINDS.iter().zip([15, 20, 30, 200, 5]) {
        assert!(kinds[kind] >= least, "{} rows of kind '{kind}', expected {least}", kinds[kind]);
    }
}

#[test]
fn every_formula_has_an_outside_row() {
    let tried: BTreeSet<String> = rows().into_iter().map(|row| row.function).collect();
    let formulas = formulas();
    assert!(formulas.len() > 25, "only {} formulas found in the sources", formulas.len());
    for formula in &formulas {
        assert!(tried.contains(formula), "no outside row for the formula '{formula}'");
    }
    for name in &tried {
        let known = formulas.contains(name) || COMPOSED.contains(&name.as_str());
        assert!(known, "rows for '{name}', which is no formula");
    }
}

#[test]
fn every_public_function_is_a_formula_with_a_source() {
    let formulas = formulas();
    for (file, text) in sources() {
        if ["validity.rs", "unit.rs", "quantity.rs", "limit.rs"].contains(&file.as_str()) {
            continue;
        }
        for line in text.lines().filter_map(|line| line.strip_prefix("pub fn ")) {
            let name = name_of(line);
            assert!(formulas.contains(&name), "{file}: '{name}' states no source");
        }
    }
}

/// Names of the functions whose documentation states a source.
fn formulas() -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for (_, text) in sources() {
        let mut sourced = false;
        for line in text.lines().map(str::trim_start) {
            if line.starts_with("/// Source:") {
                sourced = true;
            } else if let Some(rest) = line.strip_prefix("pub fn ")
                && std::mem::take(&mut sourced)
            {
                // The sum of a demand is called by what it is.
                let name = name_of(rest);
                names.insert(if name == "total" { "demand".to_owned() } else { name });
            }
        }
    }
    names
}

fn name_of(declaration: &str) -> String {
    declaration.chars().take_while(|letter| letter.is_alphanumeric() || *letter == '_').collect()
}

fn sources() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/physics");
    let mut found: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.path().extension().is_some_and(|ending| ending == "rs"))
        .map(|entry| {
            let name = entry.file_name().into_string().unwrap();
            (name, std::fs::read_to_string(entry.path()).unwrap())
        })
        .collect();
    found.sort();
    found
}

/// A circuit by hand: 210 bar, K = 1.6 GPa by the shop rule V p/K, lines already full. 6
/// single-acting clamps 25 mm × 12 mm; 2 pull clamps 40/22 mm × 20 mm; 4 m of tube 10 × 1.5 and
/// 1.5 m of 8 × 1.5 (steel 206 GPa, ν 0.3); manifold passages 60 cm³; 0.8 m of hose, bore 6.4 mm,
/// 1.0 cm³/m per 70 bar. Expected values: summed by hand from the same data.
#[test]
fn a_whole_circuit_by_hand() {
    use clampbook::physics::dilation::{hose_compliance, tube_compliance};
    use clampbook::physics::flow::clamp_time;
    use clampbook::physics::quantity::{Area, Expansion, Flow, Length, Pressure, Volume};
    use clampbook::physics::volume::{circle_area, conductor_volume, fill, swept_volume};

    let mm = Length::from_mm;
    let swept = |area: Area, stroke: f64| swept_volume(Some(area), Some(mm(stroke)), None, None).unwrap();
    let near = |found: f64, expected: f64| {
        assert!((found / expected - 1.0).abs() < 1e-6, "{found} instead of {expected}");
    };
    let (pressure, modulus) = (Pressure::from_bar(210.0), Pressure::from_gpa(1.6));

    let clamps =
        swept(circle_area(mm(25.0)), 12.0) * 6.0 + swept(circle_area(mm(40.0)) - circle_area(mm(22.0)), 20.0) * 2.0;
    near(clamps.cm3(), 70.40309);
    let tubes = conductor_volume(mm(7.0), Length::new(4.0)) + conductor_volume(mm(5.0), Length::new(1.5));
    near(tubes.cm3(), 183.3905);
    let rest = Volume::from_cm3(60.0) + conductor_volume(mm(6.4), Length::new(0.8));
    near(rest.cm3(), 85.73593);
    let compression = (clamps + tubes + rest) * (pressure / modulus);
    near(compression.cm3(), 4.456_325);

    let steel = Pressure::from_gpa(206.0);
    let tube = |bore, outside, length| tube_compliance(mm(bore), mm(outside), Length::new(length), steel, 0.3);
    let dilation = (tube(7.0, 10.0, 4.0) + tube(5.0, 8.0, 1.5)) * pressure;
    near(dilation.cm3(), 0.113_214_8);
    let hose = hose_compliance(Length::new(0.8), Expansion::from_cm3_per_m(1.0), Pressure::from_bar(70.0)) * pressure;
    near(hose.cm3(), 2.4);

    let delivered = clamps + compression + dilation + hose;
    near(delivered.cm3(), 77.37263);
    near(fill(delivered, Volume::from_cm3(120.0)).unwrap(), 0.644_771_9);
    near(clamp_time(1.0, delivered, delivered, Flow::from_l_per_min(0.5), None).si(), 9.284_716);
}

#[test]
fn a_wrong_row_is_noticed() {
    let mut row: Row = rows().into_iter().find(|row| row.function == "density").unwrap();
    row.expected *= 1.0001;
    assert!((evaluate(&row) - row.expected).abs() > row.tolerance);
}
