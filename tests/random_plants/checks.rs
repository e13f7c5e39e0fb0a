//! What holds of every report.

use std::collections::BTreeSet;

use clampbook::report::data_rows::TEXT_COLUMNS;

use crate::report::{Record, Report, key_of};
use crate::tables::{Plant, place_of};

/// Every figure is finite or empty, and none that can't be is negative.
pub fn figures_are_sound(circuits: &[Record]) {
    for circuit in circuits {
        for (column, cell) in
            circuit.iter().filter(|(column, cell)| !TEXT_COLUMNS.contains(&column.as_str()) && !cell.is_empty())
        {
            let value: f64 = cell.parse().unwrap_or(f64::NAN);
            assert!(value.is_finite(), "{column}: {cell}");
            let may_be_negative = column.ends_with("reserve_cm3") || column.ends_with("potential_bar");
            assert!(value >= 0.0 || may_be_negative, "{column}: {cell}");
        }
        for side in ["clamp", "unclamp"] {
            demand_is_the_sum(circuit, side);
        }
    }
}

/// The parts of a demand make it up, as far as the digits of the file go.
fn demand_is_the_sum(circuit: &Record, side: &str) {
    let cell = |name: &str| circuit[&format!("{side}_{name}")].parse::<f64>().ok();
    let parts = ["swept_cm3", "compression_cm3", "air_cm3", "dilation_cm3", "elastic_cm3", "accumulator_cm3"].map(cell);
    let Some(demand) = cell("demand_cm3") else {
        return;
    };
    let sum: f64 =
        parts.iter().map(|part| part.unwrap_or_else(|| panic!("a demand of unknown parts: {circuit:?}"))).sum();
    assert!((demand - sum).abs() <= 1e-6 * demand.abs().max(1.0), "{side}: {demand} is not {sum}");
    if let (Some(fill), Some(capacity)) = (cell("fill"), cell("capacity_cm3")) {
        assert!(
            (fill * capacity - demand).abs() <= 1e-6 * demand.abs().max(1.0),
            "{side}: fill {fill} of {capacity} is not {demand}"
        );
    }
}

/// The verdict as it follows from the findings.
pub fn verdict_of(plant: &Plant, circuit: &Record, findings: &[Record]) -> &'static str {
    let place = key_of(circuit);
    let (parts, station) = (plant.parts_of(&place), plant.station_of(&place));
    let concerns = |finding: &&Record| {
        // What a waiver lacks stands under the places it names, and concerns none of them.
        let of_waiver = finding["rule"].starts_with('W') || finding["file"].ends_with("waivers.csv");
        let weighs = finding["severity"] != "observation" && !finding["rule"].starts_with('B') && !of_waiver;
        let elsewhere = key_of(finding).iter().all(String::is_empty);
        let mine = if elsewhere && finding["fixture"].is_empty() {
            let of_part = finding["position"].is_empty() && parts.contains(&finding["part_no"]);
            let of_station = finding["part_no"].is_empty() && station.as_ref() == Some(&finding["position"]);
            of_part || of_station
        } else {
            key_of(finding) == place
        };
        weighs && mine
    };
    let mine: Vec<&Record> = findings.iter().filter(concerns).collect();
    if mine.iter().any(|finding| finding["state"] != "waived") {
        "does not conform"
    } else if !circuit["not_assessed"].is_empty() {
        "not assessed"
    } else if mine.is_empty() {
        "conforms"
    } else {
        "conforms with waivers"
    }
}

/// Counts of the summary are those of the tables; the exit status says the same.
pub fn totals_add_up(plant: &Plant, report: &Report) {
    let (circuits, findings, summary) = (report.table("circuits.csv"), report.table("findings.csv"), report.summary());
    let keys: BTreeSet<_> = circuits.iter().map(key_of).collect();
    assert_eq!(keys.len(), circuits.len());
    let listed: BTreeSet<_> =
        plant.lists.iter().flatten().chain(plant.circuits.iter().flatten()).map(|row| place_of(row)).collect();
    assert_eq!(keys, listed);
    let number =
        |group: &str, name: &str| summary[group][name].as_u64().unwrap_or_else(|| panic!("{group} {name}: {summary}"));
    assert_eq!(number("circuits", "total"), circuits.len() as u64);
    for verdict in ["conforms", "conforms with waivers", "does not conform", "not assessed"] {
        let count = circuits.iter().filter(|circuit| circuit["verdict"] == verdict).count();
        assert_eq!(number("circuits", &verdict.replace(' ', "_")), count as u64, "{verdict}");
    }
    let lines: usize = plant.lists.iter().map(Vec::len).sum();
    assert_eq!(number("lines", "read"), lines as u64);
    let groups = ["findings", "purchasing", "waivers"];
    for (severity, plural) in [("major", "majors"), ("minor", "minors"), ("observation", "observations")] {
        let count =
            findings.iter().filter(|finding| finding["severity"] == severity && finding["state"] != "waived").count();
        assert_eq!(groups.map(|group| number(group, plural)).iter().sum::<u64>(), count as u64, "{plural}");
    }
    let waived = findings.iter().filter(|finding| finding["state"] == "waived").count();
    assert_eq!(groups.map(|group| number(group, "waived")).iter().sum::<u64>(), waived as u64);
    let is_open = findings.iter().any(|finding| finding["severity"] != "observation" && finding["state"] != "waived");
    let is_unknown = circuits.iter().any(|circuit| circuit["verdict"] == "not assessed");
    assert_eq!(report.status, i32::from(is_open || is_unknown));
}

/// A finding without what hangs on the order: where it was read, and how it is told.
fn gist(findings: &[Record]) -> Vec<Vec<String>> {
    let columns = [
        "rule", "severity", "state", "plant", "pallet", "fixture", "circuit", "side", "position", "part_no",
        "measured", "limit", "unit",
    ];
    let named_later = ["L03", "L11", "L12"];
    let kept = findings.iter().filter(|finding| !named_later.contains(&finding["rule"].as_str()));
    let mut rows: Vec<Vec<String>> =
        kept.map(|finding| columns.map(|column| finding[column].clone()).to_vec()).collect();
    rows.sort();
    rows
}

fn is_close(one: &str, other: &str) -> bool {
    one == other
        || matches!((one.parse::<f64>(), other.parse::<f64>()), (Ok(a), Ok(b)) if (a - b).abs() <= 1e-9 * a.abs().max(b.abs()))
}

fn are_close<'a>(one: impl IntoIterator<Item = &'a String>, other: impl IntoIterator<Item = &'a String>) -> bool {
    one.into_iter().zip(other).all(|(one, other)| is_close(one, other))
}

pub fn order_does_not_matter(one: &Report, other: &Report) {
    let (circuits, others) = (one.table("circuits.csv"), other.table("circuits.csv"));
    assert_eq!(circuits.len(), others.len());
    for (circuit, other) in circuits.iter().zip(&others) {
        assert!(are_close(circuit.values(), other.values()), "{circuit:?}\n{other:?}");
    }
    let (findings, others) = (gist(&one.table("findings.csv")), gist(&other.table("findings.csv")));
    assert_eq!(findings.len(), others.len(), "{findings:#?}\n{others:#?}");
    for (finding, other) in findings.iter().zip(&others) {
        assert!(are_close(finding, other), "{finding:?}\n{other:?}");
    }
    let (purchase, others) = (one.table("purchase.csv"), other.table("purchase.csv"));
    assert_eq!(purchase.len(), others.len());
    for (row, other) in purchase.iter().zip(&others) {
        assert!(are_close(row.values(), other.values()), "{row:?}\n{other:?}");
    }
}

pub fn differing(one: &Report, other: &Report) -> Vec<String> {
    let names: BTreeSet<&String> = one.files.keys().chain(other.files.keys()).collect();
    names.into_iter().filter(|name| one.files.get(*name) != other.files.get(*name)).cloned().collect()
}
