//! What is to be bought and what falls due, against a computation of its own on random plants.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "buying/expected.rs"]
mod expected;
#[path = "plants/folder.rs"]
mod folder;
#[path = "buying/pages.rs"]
mod pages;
#[path = "buying/plant.rs"]
mod plant;
#[path = "buying/requests.rs"]
mod requests;
#[path = "buying/retrofit.rs"]
mod retrofit;
#[path = "plants/run.rs"]
mod run;

use std::collections::BTreeMap;

use expected::{due_list, purchase};
use plant::{Dice, Plant};
use run::{Row, check, rows};

/// Plants that are made; each is audited once.
const PLANTS: u64 = 200;

/// Numbers that are the same but for the last digits, or the same text.
fn is_same(one: &str, other: &str) -> bool {
    let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
    one == other || matches!((one.parse(), other.parse()), (Ok(a), Ok(b)) if close(a, b))
}

fn compare(plant: &Plant, expected: &BTreeMap<String, Row>, found: &[Row]) {
    let names: Vec<&String> = found.iter().map(|row| &row["part_no"]).collect();
    assert_eq!(names, expected.keys().collect::<Vec<_>>(), "{plant:#?}");
    for row in found {
        for (column, cell) in &expected[&row["part_no"]] {
            assert!(is_same(cell, &row[column]), "{column}: expected {cell}, found {row:#?}\n{plant:#?}");
        }
    }
}

#[test]
fn purchase_and_due_are_those_of_a_computation_of_its_own() {
    let mut seen: BTreeMap<&str, u64> = BTreeMap::new();
    for seed in 0..PLANTS {
        let plant = Plant::of(&mut Dice(seed));
        let folder = tempfile::tempdir().unwrap();
        let (root, data) = (folder.path().join("plant"), folder.path().join("data"));
        plant.write(&root);
        check(&root, &data, &["--quiet", "--threads", "1"]);
        let found = rows(&data.join("purchase.csv"));
        compare(&plant, &purchase(&plant), &found);
        let due = rows(&data.join("due.csv"));
        assert!(due.is_sorted_by_key(|row| row["date"].clone()), "{due:#?}");
        let mut cells: Vec<Vec<String>> = due.iter().map(|row| row.values().cloned().collect()).collect();
        cells.sort();
        let mut wanted: Vec<Vec<String>> = due_list(&plant, &rows(&data.join("circuits.csv")))
            .iter()
            .map(|row| row.values().cloned().collect())
            .collect();
        wanted.sort();
        assert_eq!(cells, wanted, "{plant:#?}");
        for row in &found {
            *seen.entry("rows").or_default() += 1;
            *seen.entry("to order").or_default() += u64::from(!matches!(row["order_qty"].as_str(), "" | "0"));
            *seen.entry("lower bounds").or_default() += u64::from(row["needed"].is_empty());
            *seen.entry("ordered as another").or_default() += u64::from(row["order_part"] != row["part_no"]);
        }
        due.iter().for_each(|row| match row["what"].as_str() {
            "service life" => *seen.entry("service life").or_default() += 1,
            "cycle life" => *seen.entry("cycle life").or_default() += 1,
            "top-up" => *seen.entry("top-up").or_default() += 1,
            "waiver" => *seen.entry("waiver").or_default() += 1,
            _ => *seen.entry("order").or_default() += 1,
        });
    }
    // Else nothing was tried.
    assert_eq!(seen.len(), 9, "{seen:?}");
    assert!(seen.values().all(|count| *count >= 20), "{seen:?}");
    eprintln!("{seen:?}");
}
