//! What proved remedies need is needed, on built circuits too; those of observations only where asked.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::run::{Row, check, rows};

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant")
}

fn run(more: &[&str]) -> (Vec<Row>, BTreeMap<String, Row>) {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let options: Vec<&str> = ["--quiet"].iter().chain(more).copied().collect();
    check(&sample(), &data, &options);
    let purchase = rows(&data.join("purchase.csv")).into_iter().map(|row| (row["part_no"].clone(), row)).collect();
    (rows(&data.join("remedies.csv")), purchase)
}

fn needed(purchase: &BTreeMap<String, Row>, part: &str) -> f64 {
    purchase.get(part).map_or(0.0, |row| row["needed"].parse().unwrap())
}

/// What is applied of a circuit's remedies at a position.
fn applied<'a>(remedies: &'a [Row], fixture: &str, circuit: &str, position: &str) -> Vec<&'a str> {
    let here = |row: &&Row| row["fixture"] == fixture && row["circuit"] == circuit && row["position"] == position;
    remedies.iter().filter(here).map(|row| row["applied"].as_str()).collect()
}

#[test]
fn parts_of_remedies_are_needed_on_built_circuits_too() {
    let (_, before) = run(&[]);
    let (remedies, after) = run(&["--with-remedies"]);
    let (_, again) = run(&["--with-remedies"]);
    assert_eq!(after, again);
    // Every circuit of the sample plant with a remedy is built. In the lists: 2 work supports at T03 / drum / 2 / S1, 1
    // cylinder at T09 / tower / 1 / CC, 2 clamps at T08 / fan / 6 / C9; these parts come in nowhere else.
    for (fixture, circuit, position, part, pieces) in [
        ("drum", "2", "S1", "HAZEL-30", 2.0),
        ("tower", "1", "CC", "PIKE-215", 1.0),
        ("fan", "6", "C9", "SWIFT-22", 2.0),
    ] {
        assert_eq!(applied(&remedies, fixture, circuit, position), ["yes"], "{remedies:#?}");
        let more = needed(&after, part) - needed(&before, part);
        assert!((more - pieces).abs() < 1e-12, "{part}: {more}");
    }
    // What is taken off a built circuit was bought long ago.
    assert!(!before.contains_key("DIAL-1000") && !after.contains_key("DIAL-1000"));
    // B02 and the rest follow: what nobody ordered is found.
    assert_eq!(after["PIKE-215"]["order_qty"], "1");
    // Price is pieces by price: two HAZEL-30 at 254.00.
    let supports = remedies.iter().find(|row| row["part_to"] == "HAZEL-30").unwrap();
    assert_eq!((supports["price"].as_str(), supports["currency"].as_str()), ("508", "EUR"));
}

#[test]
fn remedies_of_observations_wait_until_they_are_asked_for() {
    // V03 of Q01 / plate / 3, which is built: a quarter of its cylinder would do.
    let told = |more: &[&str]| {
        let (remedies, purchase) = run(more);
        let said = applied(&remedies, "plate", "3", "CC").concat();
        (said, needed(&purchase, "PIKE-24"))
    };
    let on_built = ("no: it clears an observation alone, on what is built".to_owned(), 1.0);
    assert_eq!(told(&["--with-remedies"]), on_built);
    assert_eq!(told(&["--with-remedies", "--apply", "observations"]), on_built);
    assert_eq!(told(&["--with-remedies", "--apply", "observations-built"]), ("yes".to_owned(), 2.0));
}
